//! A book of two snapshots: the facts of one, the records that rest on them of another.

use super::{Entry, Source, SourceError, What};

/// Checks, reviews and nonconformities are those of `records`, everything else is that of `facts`.
pub struct Mixed<'a> {
    pub facts: &'a dyn Source,
    pub records: &'a dyn Source,
}

impl Mixed<'_> {
    fn of(&self, path: &str) -> &dyn Source {
        match path.split('/').next() {
            Some("checks" | "reviews" | "nonconformities") => self.records,
            _ => self.facts,
        }
    }
}

impl Source for Mixed<'_> {
    fn list(&self, folder: &str) -> Result<Vec<Entry>, SourceError> {
        self.of(folder).list(folder)
    }

    fn top(&self) -> Result<Vec<String>, SourceError> {
        self.facts.top()
    }

    fn what(&self, path: &str) -> Result<Option<What>, SourceError> {
        self.of(path).what(path)
    }

    fn read(&self, path: &str) -> Result<Option<Vec<u8>>, SourceError> {
        self.of(path).read(path)
    }
}
