//! Commits as changes between books.

pub mod compare;
pub mod difference;
pub mod gate;
pub mod range;
