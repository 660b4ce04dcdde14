//! A source with some files as they would be, and nothing written yet.

use super::{Entry, Source, SourceError, What};
use std::collections::{BTreeMap, BTreeSet};

pub struct Overlay<'a> {
    below: &'a dyn Source,
    pub files: BTreeMap<String, Vec<u8>>,
}

impl<'a> Overlay<'a> {
    pub fn over(below: &'a dyn Source) -> Overlay<'a> {
        Overlay {
            below,
            files: BTreeMap::new(),
        }
    }
}

impl Source for Overlay<'_> {
    fn list(&self, folder: &str) -> Result<Vec<Entry>, SourceError> {
        let mut entries = self.below.list(folder)?;
        let prefix = format!("{folder}/");
        entries.retain(|entry| !self.files.contains_key(&entry.path));
        let own = self.files.keys().filter(|path| path.starts_with(&prefix));
        entries.extend(own.map(|path| Entry {
            path: path.clone(),
            what: What::File,
        }));
        entries.sort_unstable_by(|one, other| one.path.cmp(&other.path));
        Ok(entries)
    }

    fn top(&self) -> Result<Vec<String>, SourceError> {
        let mut names: BTreeSet<String> = self.below.top()?.into_iter().collect();
        let own = self.files.keys().filter_map(|path| path.split('/').next());
        names.extend(own.map(str::to_owned));
        Ok(names.into_iter().collect())
    }

    fn what(&self, path: &str) -> Result<Option<What>, SourceError> {
        match self.files.contains_key(path) {
            true => Ok(Some(What::File)),
            false => self.below.what(path),
        }
    }

    fn read(&self, path: &str) -> Result<Option<Vec<u8>>, SourceError> {
        match self.files.get(path) {
            Some(bytes) => Ok(Some(bytes.clone())),
            None => self.below.read(path),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::memory::Memory;

    #[test]
    fn what_would_be_hides_what_is() {
        let mut below = Memory::default();
        for path in ["a/1.toml", "a/3.toml", "b/1.toml"] {
            below.files.insert(path.to_owned(), b"old".to_vec());
        }
        let mut overlay = Overlay::over(&below);
        for path in ["a/2.toml", "a/3.toml", "c/1.toml"] {
            overlay.files.insert(path.to_owned(), b"new".to_vec());
        }
        let listed = overlay.list("a").expect("listed");
        let paths: Vec<&str> = listed.iter().map(|entry| entry.path.as_str()).collect();
        assert_eq!(paths, ["a/1.toml", "a/2.toml", "a/3.toml"]);
        assert_eq!(overlay.top().expect("top"), ["a", "b", "c"]);
        let read = |path: &str| overlay.read(path).expect("read");
        assert_eq!(read("a/1.toml").as_deref(), Some(&b"old"[..]));
        assert_eq!(read("a/3.toml").as_deref(), Some(&b"new"[..]));
        assert_eq!(overlay.what("a/2.toml").expect("what"), Some(What::File));
        assert_eq!(overlay.what("a/9.toml").expect("what"), None);
    }
}
