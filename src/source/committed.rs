//! What git has committed of a book in a folder. It is asked only where there are reviews, and once what differs.

use super::git::{Repository, Staged};
use super::{Source, SourceError};
use crate::record::{Kind, Word};
use std::borrow::Cow;
use std::collections::BTreeSet;
use std::path::Path;

pub(super) struct Committed {
    repository: Repository,
    /// The newest commit.
    tree: Staged,
    /// The files that are not as it has them; `None` before the first commit.
    differing: Option<BTreeSet<String>>,
}

impl Committed {
    /// `None` where the folder lies in no repository.
    pub fn of(root: &Path) -> Result<Option<Committed>, SourceError> {
        let inside = root.ancestors().any(|folder| folder.join(".git").exists());
        let repository = match Repository::of(root) {
            Ok(repository) => repository,
            Err(error) if inside => return Err(error),
            Err(_) => return Ok(None),
        };
        let head = repository.head();
        let tree = Staged::open(&repository, head)?;
        let differing = match head {
            Some(head) => {
                let all = Kind::ALL.iter().map(|(_, kind)| kind.folder());
                let folders: Vec<&str> = all.filter(|folder| !folder.is_empty()).collect();
                Some(repository.differing(head, &folders)?)
            }
            None => None,
        };
        Ok(Some(Committed {
            repository,
            tree,
            differing,
        }))
    }

    /// A file with other line ends than git keeps is no other file for git, so only the commit tells its bytes.
    pub fn covered<'a>(&self, path: &str, read: &'a [u8]) -> Result<Cow<'a, [u8]>, SourceError> {
        let differs = (self.differing.as_ref()).is_none_or(|differing| differing.contains(path));
        if !differs && !read.contains(&b'\r') {
            return Ok(Cow::Borrowed(read));
        }
        if let Some(bytes) = self.tree.read(path)? {
            return Ok(Cow::Owned(bytes));
        }
        if let Some(bytes) = self.in_index(path)? {
            return Ok(Cow::Owned(bytes));
        }
        self.repository.as_kept(path, read)
    }

    fn in_index(&self, path: &str) -> Result<Option<Vec<u8>>, SourceError> {
        let Some(id) = self.repository.staged_blob(path)? else {
            return Ok(None);
        };
        // One that is only meant to be added has an empty blob; no record is empty.
        Ok(Some(self.tree.blob(&id)?).filter(|bytes| !bytes.is_empty()))
    }

    pub fn is_new(&self, path: &str) -> Result<bool, SourceError> {
        Ok(self.tree.what(path)?.is_none())
    }
}
