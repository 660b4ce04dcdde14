//! Where the bytes of a book come from. The only floor with the file system and git.

pub mod disk;
pub mod git;
pub mod memory;
pub mod mixed;
pub mod overlay;
pub mod range;
mod tree;
pub mod walk;

/// What a path of a source holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    File,
    /// A symbolic link, a submodule, a device: never followed.
    NotAFile,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Relative to the book's root, with `/`.
    pub path: String,
    pub what: What,
}

/// The book could not be looked at. Nothing is said of its records.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SourceError {
    pub message: String,
    pub help: String,
}

impl SourceError {
    pub fn new(message: impl Into<String>, help: impl Into<String>) -> SourceError {
        SourceError {
            message: message.into(),
            help: help.into(),
        }
    }
}

/// A snapshot of a book's files.
pub trait Source: Sync {
    /// All files below a folder, in order of path; none where there is no such folder.
    fn list(&self, folder: &str) -> Result<Vec<Entry>, SourceError>;

    /// The names of what lies directly in the book's root, in order.
    fn top(&self) -> Result<Vec<String>, SourceError>;

    /// What a path holds; `None` where there is nothing, or a folder.
    fn what(&self, path: &str) -> Result<Option<What>, SourceError>;

    /// The bytes of a file, cut after one byte more than a record may have; `None` where there is none.
    fn read(&self, path: &str) -> Result<Option<Vec<u8>>, SourceError>;
}
