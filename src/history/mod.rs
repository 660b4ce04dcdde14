//! Commits as changes between books.

pub mod difference;
pub mod gate;
