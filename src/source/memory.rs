//! A book held in memory: for examples and tests.

use super::{Entry, Source, SourceError, What};
use std::collections::BTreeMap;

#[derive(Clone, Debug, Default)]
pub struct Memory {
    pub files: BTreeMap<String, Vec<u8>>,
}

impl Source for Memory {
    fn list(&self, folder: &str) -> Result<Vec<Entry>, SourceError> {
        let prefix = format!("{folder}/");
        let below = self.files.keys().filter(|path| path.starts_with(&prefix));
        Ok(below
            .map(|path| Entry {
                path: path.clone(),
                what: What::File,
            })
            .collect())
    }

    fn read(&self, path: &str) -> Result<Option<Vec<u8>>, SourceError> {
        Ok(self.files.get(path).cloned())
    }
}
