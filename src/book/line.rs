//! A check with all its amendments, and what each of them changed.

use super::{LoadError, Loaded};
use crate::parse::edit::{Change, changes};
use crate::parse::layout::CheckName;
use crate::parse::parse;
use crate::record::check::Check;
use crate::source::{Source, What};

/// One record of a line; `None` where it is broken.
pub struct Member {
    pub name: CheckName,
    pub record: Option<Loaded<Check>>,
}

/// The first record of a check and its amendments, in order; empty where there is no such check.
pub fn line(source: &dyn Source, name: &CheckName) -> Result<Vec<Member>, LoadError> {
    let mut next = CheckName {
        amendment: 0,
        ..name.clone()
    };
    let mut line = Vec::new();
    while let Some(bytes) = source.read(&next.path())? {
        let record = match source.what(&next.path())? {
            Some(What::NotAFile) => None,
            _ => {
                let parsed = parse::<Check>(&next.path(), bytes)?;
                let (doc, record) = (parsed.doc, parsed.record);
                doc.zip(record).map(|(doc, record)| Loaded { doc, record })
            }
        };
        line.push(Member {
            name: next.clone(),
            record,
        });
        next = next.next();
    }
    Ok(line)
}

/// What an amendment says of itself, and what it changed in the record before it.
pub struct Amendment {
    pub id: String,
    pub reason: Option<String>,
    pub amended: Option<String>,
    pub amended_by: Option<String>,
    pub changes: Vec<Change>,
}

/// The amendments of a line, as far as both records of a step are sound.
pub fn amendments(line: &[Member]) -> Vec<Amendment> {
    line.windows(2)
        .filter_map(|pair| {
            let [before, after] = pair else { return None };
            let (old, new) = (before.record.as_ref()?, after.record.as_ref()?);
            let amended = new.doc.root.get("/amended");
            Some(Amendment {
                id: after.name.id(),
                reason: new.reason.clone().map(String::from),
                amended: amended.map(|node| new.doc.text.slice(node.span).to_owned()),
                amended_by: new.amended_by.clone().map(String::from),
                changes: of_substance(old, new),
            })
        })
        .collect()
}

/// What differs between two records of a line, but for what an amendment says of itself.
pub fn of_substance(old: &Loaded<Check>, new: &Loaded<Check>) -> Vec<Change> {
    let mut changes = changes(&old.doc, &new.doc);
    changes.retain(|change| {
        !matches!(
            change.pointer.as_str(),
            "/amends" | "/reason" | "/amended" | "/amended_by"
        )
    });
    changes
}
