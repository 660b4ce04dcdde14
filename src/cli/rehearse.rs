//! Checks as they would be: sealed and judged before anything is written.

use super::{Common, Trouble, seal};
use crate::book::Book;
use crate::book::computed::Expected;
use crate::finding::Finding;
use crate::parse::layout::{Slot, check_path, slot};
use crate::parse::parse;
use crate::record::Kind;
use crate::record::check::Check;
use crate::rules::{Wanted, names_of, run as judge};
use crate::source::Source;
use crate::source::overlay::Overlay;
use std::collections::BTreeMap;

/// A check that is not written yet.
pub(super) struct Rehearsed {
    pub(super) path: String,
    /// With `[computed]`, where its figures can be had.
    pub(super) text: String,
    pub(super) figures: Option<Expected>,
    /// At the check itself, in order.
    pub(super) findings: Vec<Finding>,
}

impl Rehearsed {
    /// The files that the check names.
    pub(super) fn names(&self) -> Vec<String> {
        let parsed = parse::<Check>(&self.path, self.text.clone().into_bytes());
        let Some(check) = parsed.ok().and_then(|parsed| parsed.record) else {
            return Vec::new();
        };
        let mut names = names_of(&check);
        names.extend(check.repeats.as_deref().and_then(check_path));
        names
    }
}

/// Seals checks, given by path and text, and judges them together over what is there.
pub(super) fn rehearse(
    common: &Common,
    below: &dyn Source,
    book: &Book,
    drafts: Vec<(String, String)>,
) -> Result<Vec<Rehearsed>, Trouble> {
    let mut overlay = Overlay::over(below);
    let mut rehearsed = Vec::with_capacity(drafts.len());
    for (path, text) in drafts {
        let (text, figures) = sealed(book, &path, text)?;
        overlay.files.insert(path.clone(), text.as_bytes().to_vec());
        rehearsed.push(Rehearsed {
            path,
            text,
            figures,
            findings: Vec::new(),
        });
    }
    let paths: Vec<String> = rehearsed.iter().map(|one| one.path.clone()).collect();
    let outcome = judge(&overlay, common.clock(), &Wanted::Only(&paths))?;
    let mut by_path: BTreeMap<String, Vec<Finding>> = BTreeMap::new();
    for finding in outcome.findings {
        let path = finding.place.path.clone();
        by_path.entry(path).or_default().push(finding);
    }
    for one in &mut rehearsed {
        one.findings = by_path.remove(&one.path).unwrap_or_default();
    }
    Ok(rehearsed)
}

/// A check's text with its figures, or as it is where one cannot be had.
fn sealed(book: &Book, path: &str, text: String) -> Result<(String, Option<Expected>), Trouble> {
    let Slot::Record(Kind::Check, id) = slot(path) else {
        return Ok((text, None));
    };
    let parsed = parse::<Check>(path, text.as_bytes().to_vec())
        .map_err(|ours| Trouble::Ours(ours.to_string()))?;
    let (Some(doc), Some(check)) = (&parsed.doc, &parsed.record) else {
        return Ok((text, None));
    };
    match seal::figures(book, doc, check, &id) {
        Some(figures) => {
            let text = seal::splice(doc, &figures).map_err(Trouble::Refused)?;
            Ok((text, Some(figures)))
        }
        None => Ok((text, None)),
    }
}
