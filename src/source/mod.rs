//! Where the bytes of a book come from. The only floor with the file system and git.

mod committed;
pub mod disk;
mod found;
pub mod git;
pub mod memory;
pub mod mixed;
pub mod overlay;
pub mod range;
mod tree;
pub mod walk;

use rayon::prelude::*;
use std::borrow::Cow;

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

/// The commit that brought a file, or its present content.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Brought {
    /// Its author's address.
    pub email: String,
    /// The beginning of its id; `None` of the commit in the making.
    pub commit: Option<String>,
}

/// What of a file a commit brought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The file, whatever became of it.
    File,
    /// What it holds now.
    Content,
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

    /// The bytes that a review of a file covers: those that git keeps of it, where they are not those that were read.
    fn covered<'a>(&self, _path: &str, read: &'a [u8]) -> Result<Cow<'a, [u8]>, SourceError> {
        Ok(Cow::Borrowed(read))
    }

    /// Whether it is known that a file is not committed yet.
    fn is_new(&self, _path: &str) -> Result<bool, SourceError> {
        Ok(false)
    }

    /// Whether the change in the making touches a file, so that nobody can have reviewed what it holds.
    fn is_pending(&self, _path: &str) -> bool {
        false
    }

    /// Who brought what a review covers; `None` where nobody looks into the history, or where the review is no part of
    /// the change in the making.
    fn brought_by(
        &self,
        _review: &str,
        _covered: &str,
        _part: Part,
    ) -> Result<Option<Brought>, SourceError> {
        Ok(None)
    }
}

/// More are worth the cores that they are shared among.
const FEW: usize = 16;

/// What a function makes of each item, on all cores where there are many.
pub fn each_of<T: Sync, U: Send, E: Send>(
    items: &[T],
    function: impl Fn(&T) -> Result<U, E> + Sync + Send,
) -> Result<Vec<U>, E> {
    match items.len() > FEW {
        true => items.par_iter().map(function).collect(),
        false => items.iter().map(function).collect(),
    }
}
