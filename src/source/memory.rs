//! A book held in memory: for examples and tests.

use super::{Entry, Source, SourceError, What};
use std::collections::{BTreeMap, BTreeSet};

#[derive(Clone, Debug, Default)]
pub struct Memory {
    pub files: BTreeMap<String, Vec<u8>>,
    /// Paths among the files that are links, and so are never followed.
    pub links: BTreeSet<String>,
}

impl Source for Memory {
    fn list(&self, folder: &str) -> Result<Vec<Entry>, SourceError> {
        let prefix = format!("{folder}/");
        // A folder may itself be a link.
        let own = |path: &str| path == folder && self.links.contains(path);
        let mut below = self.files.keys().collect::<Vec<_>>();
        below.retain(|path| path.starts_with(&prefix) || own(path));
        Ok(below
            .into_iter()
            .map(|path| Entry {
                path: path.clone(),
                what: match self.links.contains(path) {
                    true => What::NotAFile,
                    false => What::File,
                },
            })
            .collect())
    }

    fn top(&self) -> Result<Vec<String>, SourceError> {
        let names = self
            .files
            .keys()
            .map(|path| path.split('/').next().unwrap_or(path).to_owned());
        Ok(names.collect::<BTreeSet<_>>().into_iter().collect())
    }

    fn what(&self, path: &str) -> Result<Option<What>, SourceError> {
        Ok(self
            .files
            .contains_key(path)
            .then(|| match self.links.contains(path) {
                true => What::NotAFile,
                false => What::File,
            }))
    }

    fn read(&self, path: &str) -> Result<Option<Vec<u8>>, SourceError> {
        let followed = !self.links.contains(path);
        Ok(self.files.get(path).filter(|_| followed).cloned())
    }
}
