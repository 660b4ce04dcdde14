//! A book of two snapshots: the facts of one, the records that rest on them of another.

use super::{Entry, Source, SourceError, What};
use std::collections::BTreeMap;

/// Checks, reviews and nonconformities are those of `records`, everything else is that of `facts`.
pub struct Mixed<'a> {
    pub facts: &'a dyn Source,
    pub records: &'a dyn Source,
    /// Files of the facts as they might have been; `None` stands for one that is not there.
    pub instead: BTreeMap<String, Option<Vec<u8>>>,
}

impl Mixed<'_> {
    fn of(&self, path: &str) -> &dyn Source {
        let folder = path.split('/').next().unwrap_or(path);
        match folder {
            "checks" | "reviews" | "nonconformities" => self.records,
            _ => self.facts,
        }
    }
}

impl Source for Mixed<'_> {
    fn list(&self, folder: &str) -> Result<Vec<Entry>, SourceError> {
        let mut entries = self.of(folder).list(folder)?;
        for (path, bytes) in &self.instead {
            if path.rsplit_once('/').map(|(folder, _)| folder) != Some(folder) {
                continue;
            }
            let at = entries.binary_search_by(|entry| entry.path.as_str().cmp(path));
            match (bytes, at) {
                (None, Ok(at)) => drop(entries.remove(at)),
                (Some(_), Err(at)) => entries.insert(
                    at,
                    Entry {
                        path: path.clone(),
                        what: What::File,
                    },
                ),
                _ => {}
            }
        }
        Ok(entries)
    }

    fn top(&self) -> Result<Vec<String>, SourceError> {
        self.facts.top()
    }

    fn what(&self, path: &str) -> Result<Option<What>, SourceError> {
        match self.instead.get(path) {
            Some(bytes) => Ok(bytes.as_ref().map(|_| What::File)),
            None => self.of(path).what(path),
        }
    }

    fn read(&self, path: &str) -> Result<Option<Vec<u8>>, SourceError> {
        match self.instead.get(path) {
            Some(bytes) => Ok(bytes.clone()),
            None => self.of(path).read(path),
        }
    }
}
