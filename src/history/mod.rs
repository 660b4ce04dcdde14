//! Commits as changes between books.

pub mod gate;
pub mod range;
