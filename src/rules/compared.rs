//! What a changed fact does to the checks that rest on it.

use super::{Outcome, Wanted, run};
use crate::book::figures::{figures, verdict};
use crate::book::view::View;
use crate::book::{Clock, LoadError, each_of};
use crate::finding::{Finding, Severity};
use crate::parse::layout::{self, CheckName};
use crate::parse::parse;
use crate::record::Kind;
use crate::record::check::{Check, Verdict};
use crate::source::{Source, What};
use std::collections::{BTreeMap, BTreeSet};

/// A check of which something else is told than before.
pub struct Effect {
    pub path: String,
    pub id: String,
    pub figures: bool,
    /// The rules of the findings that came or went.
    pub rules: BTreeSet<&'static str>,
    pub was: Option<Verdict>,
    pub is: Option<Verdict>,
}

pub struct Effects {
    pub before: Outcome,
    pub after: Outcome,
    pub checks: Vec<Effect>,
}

type Told = BTreeSet<(&'static str, Severity, String)>;

/// Compares what two books, which differ in their facts, tell of each check that none amends and both hold unchanged.
pub fn effects(
    before: &dyn Source,
    after: &dyn Source,
    clock: Clock,
) -> Result<Effects, LoadError> {
    let old = run(before, clock, &Wanted::All)?;
    let new = run(after, clock, &Wanted::All)?;
    let (Some(old_book), Some(new_book)) = (&old.book, &new.book) else {
        return Ok(Effects {
            before: old,
            after: new,
            checks: Vec::new(),
        });
    };
    let entries = after.list(Kind::Check.folder())?;
    let files = entries.iter().filter(|entry| entry.what == What::File);
    let paths: Vec<&str> = files.map(|entry| entry.path.as_str()).collect();
    let is_amended = |id: &str| {
        let next = CheckName::parse(id).map(|name| name.next().path());
        next.is_some_and(|next| paths.binary_search(&next.as_str()).is_ok())
    };
    let own: Vec<(&str, &str)> = paths
        .iter()
        .filter_map(|path| Some((*path, layout::record(path).ok()?.1)))
        .filter(|(_, id)| !is_amended(id))
        .collect();
    let (old_told, new_told) = (told(&old.findings), told(&new.findings));
    let none = Told::new();
    let compared = each_of(&own, |(path, id)| -> Result<Option<Effect>, LoadError> {
        let (Some(bytes), Some(same)) = (before.read(path)?, after.read(path)?) else {
            return Ok(None);
        };
        if bytes != same {
            return Ok(None);
        }
        let parsed = parse::<Check>(path, bytes)?;
        let (Some(doc), Some(check)) = (parsed.doc, parsed.record) else {
            return Ok(None);
        };
        let old_view = View::of(old_book, &doc, &check, id);
        let new_view = View::of(new_book, &doc, &check, id);
        let one = old_told.get(*path).unwrap_or(&none);
        let other = new_told.get(*path).unwrap_or(&none);
        let effect = Effect {
            path: (*path).to_owned(),
            id: (*id).to_owned(),
            figures: old_view.as_ref().map(figures) != new_view.as_ref().map(figures),
            rules: one.symmetric_difference(other).map(|told| told.0).collect(),
            was: old_view.as_ref().and_then(verdict),
            is: new_view.as_ref().and_then(verdict),
        };
        Ok((effect.figures || !effect.rules.is_empty()).then_some(effect))
    })?;
    Ok(Effects {
        checks: compared.into_iter().flatten().collect(),
        before: old,
        after: new,
    })
}

/// By path: rule, severity and pointer. That a written figure differs follows from the figure itself.
fn told(findings: &[Finding]) -> BTreeMap<&str, Told> {
    let mut told: BTreeMap<&str, Told> = BTreeMap::new();
    let follows = |finding: &&Finding| finding.rule == super::computed_differs::RULE.id;
    for finding in findings.iter().filter(|finding| !follows(finding)) {
        told.entry(&finding.place.path).or_default().insert((
            finding.rule,
            finding.severity,
            finding.place.pointer.clone(),
        ));
    }
    told
}
