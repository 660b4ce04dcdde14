//! A book in a folder.

use super::committed::Committed;
use super::{Entry, Source, SourceError, What, each_of};
use crate::parse::MAX_BYTES;
use crate::parse::layout::MARKER;
use std::borrow::Cow;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

#[derive(Clone)]
pub struct Disk {
    pub root: PathBuf,
    committed: Arc<OnceLock<Result<Option<Committed>, SourceError>>>,
}

impl Disk {
    /// The book that a folder lies in, found by walking up.
    pub fn find(from: &Path) -> Result<Disk, SourceError> {
        let start = from.canonicalize().map_err(|error| {
            SourceError::new(
                format!("the folder {} cannot be opened: {error}", from.display()),
                "name the folder of a book with --book DIR",
            )
        })?;
        let found = start
            .ancestors()
            .find(|folder| folder.join(MARKER).is_file());
        match found {
            Some(root) => Ok(Disk {
                root: root.to_owned(),
                committed: Arc::default(),
            }),
            None => Err(SourceError::new(
                format!(
                    "{} is not in a book: no {MARKER} here or above",
                    from.display()
                ),
                "go to the folder of your book, or name it with --book DIR",
            )),
        }
    }

    /// A path of the file system as a path of the book; `None` outside of it.
    pub fn inside(&self, path: &Path) -> Option<String> {
        let full = if path.is_dir() {
            path.canonicalize().ok()?
        } else {
            let folder = path
                .parent()
                .filter(|folder| !folder.as_os_str().is_empty());
            let folder = folder.unwrap_or(Path::new(".")).canonicalize().ok()?;
            folder.join(path.file_name()?)
        };
        Some(slashed(full.strip_prefix(&self.root).ok()?))
    }
}

impl Disk {
    /// The files that a walk comes by, and the folders at its greatest depth of two, in the order of their names.
    fn walk(&self, walk: walkdir::WalkDir) -> Result<(Vec<Entry>, Vec<PathBuf>), SourceError> {
        let mut entries = Vec::new();
        let mut folders = Vec::new();
        for entry in walk {
            let entry = entry.map_err(|error| {
                SourceError::new(
                    format!("a folder of the book cannot be read: {error}"),
                    "look at the folder's permissions",
                )
            })?;
            let kind = entry.file_type();
            if kind.is_dir() {
                if entry.depth() == 2 {
                    folders.push(entry.into_path());
                }
                continue;
            }
            let path = entry.path();
            entries.push(Entry {
                path: slashed(path.strip_prefix(&self.root).unwrap_or(path)),
                what: match kind.is_file() {
                    true => What::File,
                    false => What::NotAFile,
                },
            });
        }
        folders.sort();
        Ok((entries, folders))
    }
}

/// The bytes of a file that need not be in a book, cut as those of a record; `None` where there is no such file.
pub fn lone(path: &Path) -> Result<Option<Vec<u8>>, SourceError> {
    lone_up_to(path, MAX_BYTES)
}

/// The bytes of a file that need not be in a book, cut after one more than so many; `None` where there is no such file.
pub fn lone_up_to(path: &Path, most: u64) -> Result<Option<Vec<u8>>, SourceError> {
    let failed = |error: std::io::Error| {
        SourceError::new(
            format!("{} cannot be read: {error}", path.display()),
            "look at the file's permissions",
        )
    };
    if !path.is_file() {
        return Ok(None);
    }
    #[expect(clippy::disallowed_methods, reason = "this is the source")]
    let file = std::fs::File::open(path).map_err(failed)?;
    let mut bytes = Vec::new();
    file.take(most.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(failed)?;
    Ok(Some(bytes))
}

fn slashed(path: &Path) -> String {
    if let (Some(text), '/') = (path.to_str(), std::path::MAIN_SEPARATOR) {
        return text.to_owned();
    }
    let steps: Vec<_> = path
        .components()
        .map(|step| step.as_os_str().to_string_lossy())
        .collect();
    steps.join("/")
}

/// The file whose name is no UTF-8 and is listed under this path, with the replacement character for what is not.
fn odd_name(path: &Path) -> Option<PathBuf> {
    let name = path.file_name()?.to_string_lossy();
    if !name.contains('\u{fffd}') {
        return None;
    }
    let entries = std::fs::read_dir(path.parent()?).ok()?;
    let mut paths = entries.filter_map(|entry| Some(entry.ok()?.path()));
    paths.find(|other| {
        other
            .file_name()
            .is_some_and(|other| other.to_string_lossy() == name)
    })
}

impl Disk {
    /// What git has committed; `None` where the book lies in no repository.
    fn committed(&self) -> Result<Option<&Committed>, SourceError> {
        let asked = self.committed.get_or_init(|| Committed::of(&self.root));
        asked.as_ref().map(Option::as_ref).map_err(Clone::clone)
    }

    fn read_odd(&self, odd: &Path, path: &str) -> Result<Option<Vec<u8>>, SourceError> {
        #[expect(clippy::disallowed_methods, reason = "this is the source")]
        let mut bytes = std::fs::read(odd).map_err(|error| {
            SourceError::new(
                format!("{path} cannot be read: {error}"),
                "look at the file's permissions",
            )
        })?;
        bytes.truncate(usize::try_from(MAX_BYTES + 1).unwrap_or(usize::MAX));
        Ok(Some(bytes))
    }
}

impl Source for Disk {
    fn list(&self, folder: &str) -> Result<Vec<Entry>, SourceError> {
        let top = self.root.join(folder);
        if top.symlink_metadata().is_err() {
            return Ok(Vec::new());
        }
        // The folders of the instruments hold nearly all, and are looked through on all cores.
        let outer = walkdir::WalkDir::new(&top).follow_root_links(false);
        let (mut entries, inner) = self.walk(outer.max_depth(2))?;
        let below = each_of(&inner, |folder| -> Result<_, SourceError> {
            let (mut entries, _) = self.walk(walkdir::WalkDir::new(folder).min_depth(1))?;
            entries.sort_unstable_by(|one, other| one.path.cmp(&other.path));
            Ok(entries)
        })?;
        entries.reserve_exact(below.iter().map(Vec::len).sum());
        entries.extend(below.into_iter().flatten());
        // Stable, since that is fast where most is in order.
        entries.sort_by(|one, other| one.path.cmp(&other.path));
        Ok(entries)
    }

    fn top(&self) -> Result<Vec<String>, SourceError> {
        let failed = |error: std::io::Error| {
            SourceError::new(
                format!("the folder of the book cannot be read: {error}"),
                "look at the folder's permissions",
            )
        };
        let mut names = Vec::new();
        for entry in std::fs::read_dir(&self.root).map_err(failed)? {
            let entry = entry.map_err(failed)?;
            names.push(entry.file_name().to_string_lossy().into_owned());
        }
        names.sort();
        Ok(names)
    }

    fn what(&self, path: &str) -> Result<Option<What>, SourceError> {
        let found = self.root.join(path).symlink_metadata();
        Ok(found.ok().map(|found| found.file_type()).and_then(|kind| {
            match (kind.is_file(), kind.is_dir()) {
                (true, _) => Some(What::File),
                (_, true) => None,
                _ => Some(What::NotAFile),
            }
        }))
    }

    fn read(&self, path: &str) -> Result<Option<Vec<u8>>, SourceError> {
        let full = self.root.join(path);
        let failed = |error: std::io::Error| {
            SourceError::new(
                format!("{path} cannot be read: {error}"),
                "look at the file's permissions",
            )
        };
        #[expect(clippy::disallowed_methods, reason = "this is the source")]
        let opened = std::fs::File::open(&full);
        let file = match opened {
            Ok(file) => file,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                return match odd_name(&full) {
                    Some(odd) => self.read_odd(&odd, path),
                    None => Ok(None),
                };
            }
            Err(error) => return Err(failed(error)),
        };
        // Most records fit, so that one read does.
        let mut bytes = Vec::with_capacity(4096);
        file.take(MAX_BYTES + 1)
            .read_to_end(&mut bytes)
            .map_err(failed)?;
        Ok(Some(bytes))
    }

    fn covered<'a>(&self, path: &str, read: &'a [u8]) -> Result<Cow<'a, [u8]>, SourceError> {
        match self.committed()? {
            Some(committed) => committed.covered(path, read),
            None => Ok(Cow::Borrowed(read)),
        }
    }

    fn is_new(&self, path: &str) -> Result<bool, SourceError> {
        match self.committed()? {
            Some(committed) => committed.is_new(path),
            None => Ok(false),
        }
    }
}
