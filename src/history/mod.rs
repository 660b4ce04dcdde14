//! Commits as changes between books.

pub mod altered;
pub mod gate;
