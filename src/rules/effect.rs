//! What a change of facts does to committed checks: which of their figures and findings would become others.

use super::run::{Outcome, Wanted, judge_with, run};
use crate::book::figures::figures;
use crate::book::view::View;
use crate::book::{Book, Clock, LoadError};
use crate::finding::{Place, Severity};
use crate::parse::layout::{self, CheckName, Slot, slot};
use crate::parse::parse;
use crate::record::Kind;
use crate::record::check::Check;
use crate::source::each_of;
use crate::source::{Source, What};
use std::collections::BTreeMap;

/// One committed check that a change of facts would make another.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Affected {
    /// The check's file.
    pub path: String,
    /// Its verdict, or what is nearest.
    pub place: Place,
    /// Key, as it was, as it is; `None` where it cannot be had.
    pub figures: Vec<(String, Option<String>, Option<String>)>,
    /// Findings that come.
    pub gained: Vec<(&'static str, Severity)>,
    /// Findings that go.
    pub lost: Vec<(&'static str, Severity)>,
}

/// What two books say of all their checks, and of which of them not the same.
pub struct Both {
    pub before: Outcome,
    pub after: Outcome,
    pub affected: Vec<Affected>,
}

impl Affected {
    /// The check's id.
    pub fn id(&self) -> &str {
        layout::record(&self.path).map_or(self.path.as_str(), |(_, id)| id)
    }

    /// The rules of the findings that come or go.
    pub fn rules(&self) -> impl Iterator<Item = &'static str> {
        self.gained.iter().chain(&self.lost).map(|(rule, _)| *rule)
    }

    /// In words, the most telling first.
    pub fn say(&self) -> String {
        const SAID: usize = 6;
        let or_none = |value: &Option<String>| value.clone().unwrap_or_else(|| "none".to_owned());
        let mut parts = Vec::new();
        let verdict = |key: &str| key.ends_with("/verdict");
        let (verdicts, others): (Vec<_>, Vec<_>) =
            self.figures.iter().partition(|(key, _, _)| verdict(key));
        for (key, was, is) in verdicts.iter().chain(&others) {
            parts.push(format!(
                "{} {} becomes {}",
                in_words(key),
                or_none(was),
                or_none(is)
            ));
        }
        for (rule, severity) in &self.gained {
            parts.push(format!("{rule} ({}) comes", severity.name()));
        }
        for (rule, severity) in &self.lost {
            parts.push(format!("{rule} ({}) goes", severity.name()));
        }
        let more = parts.len().saturating_sub(SAID);
        parts.truncate(SAID);
        let more = match more {
            0 => String::new(),
            more => format!("; and {more} more"),
        };
        parts.join(", ") + &more
    }
}

/// `/point/0/lower_mpa_s` as `lower_mpa_s of point 1`.
fn in_words(key: &str) -> String {
    let key = key.trim_start_matches('/');
    let point = key
        .strip_prefix("point/")
        .and_then(|rest| rest.split_once('/'));
    match point.and_then(|(index, name)| Some((index.parse::<usize>().ok()?, name))) {
        Some((index, name)) => format!("{name} of point {}", index + 1),
        None => key.to_owned(),
    }
}

/// What is said of one check.
#[derive(Default, PartialEq)]
struct Said {
    place: Option<Place>,
    figures: Vec<(String, String)>,
    /// Rule, pointer and severity, each as often as it is said.
    findings: BTreeMap<(&'static str, String, Severity), usize>,
}

fn said(
    source: &dyn Source,
    checks: &[String],
    clock: Clock,
) -> Result<BTreeMap<String, Said>, LoadError> {
    // Without its marker a book says nothing of any check.
    if source.read(layout::MARKER)?.is_none() {
        return Ok(BTreeMap::new());
    }
    let book = Book::facts(source, clock)?;
    let outcome = judge_with(source, book, &Wanted::Only(checks))?;
    said_in(&outcome, source, checks)
}

/// What an outcome says of checks, which are in order of path.
fn said_in(
    outcome: &Outcome,
    source: &dyn Source,
    checks: &[String],
) -> Result<BTreeMap<String, Said>, LoadError> {
    let mut all: BTreeMap<String, Said> = BTreeMap::new();
    for finding in &outcome.findings {
        // That a written figure differs follows from the figure itself.
        let follows = finding.rule == super::computed_differs::RULE.id;
        let at = &finding.place;
        if !follows && checks.binary_search(&at.path).is_ok() {
            let key = (finding.rule, at.pointer.clone(), finding.severity);
            let said = all.entry(at.path.clone()).or_default();
            *said.findings.entry(key).or_default() += 1;
        }
    }
    let Some(book) = &outcome.book else {
        return Ok(all);
    };
    let each = each_of(checks, |path| -> Result<_, LoadError> {
        let Slot::Record(Kind::Check, id) = slot(path) else {
            return Ok(None);
        };
        let Some(bytes) = source.read(path)? else {
            return Ok(None);
        };
        let parsed = parse::<Check>(path, bytes)?;
        let (Some(doc), Some(check)) = (&parsed.doc, &parsed.record) else {
            return Ok(None);
        };
        let figures = View::of(book, doc, check, &id).map(|view| figures(&view));
        Ok(Some((doc.place("/computed/verdict"), figures)))
    })?;
    for (path, each) in checks.iter().zip(each) {
        if let Some((place, figures)) = each {
            let said = all.entry(path.clone()).or_default();
            said.place = Some(place);
            said.figures = figures.unwrap_or_default();
        }
    }
    Ok(all)
}

/// Compares what two books, which differ in their facts, say of each check that both hold unchanged and none amends.
pub fn effects_on_all(
    before: &dyn Source,
    after: &dyn Source,
    clock: Clock,
) -> Result<Both, LoadError> {
    let old = run(before, clock, &Wanted::All)?;
    let new = run(after, clock, &Wanted::All)?;
    let entries = after.list(Kind::Check.folder())?;
    let paths: Vec<&str> = entries
        .iter()
        .filter(|entry| entry.what == What::File)
        .map(|entry| entry.path.as_str())
        .collect();
    let is_amended = |id: &str| {
        let next = CheckName::parse(id).map(|name| name.next().path());
        next.is_some_and(|next| paths.binary_search(&next.as_str()).is_ok())
    };
    let own: Vec<&str> = paths
        .iter()
        .filter(|path| layout::record(path).is_ok_and(|(_, id)| !is_amended(id)))
        .copied()
        .collect();
    let unchanged = each_of(&own, |path| -> Result<_, LoadError> {
        let same = before.read(path)? == after.read(path)?;
        Ok(same.then(|| (*path).to_owned()))
    })?;
    let checks: Vec<String> = unchanged.into_iter().flatten().collect();
    let (was, is) = (
        said_in(&old, before, &checks)?,
        said_in(&new, after, &checks)?,
    );
    Ok(Both {
        affected: differences(&was, &is, &checks),
        before: old,
        after: new,
    })
}

/// The checks, in order of path, of which another book says something else.
pub fn effects(
    before: &dyn Source,
    after: &dyn Source,
    checks: &[String],
    clock: Clock,
) -> Result<Vec<Affected>, LoadError> {
    if checks.is_empty() {
        return Ok(Vec::new());
    }
    let (was, is) = (said(before, checks, clock)?, said(after, checks, clock)?);
    Ok(differences(&was, &is, checks))
}

fn differences(
    was: &BTreeMap<String, Said>,
    is: &BTreeMap<String, Said>,
    checks: &[String],
) -> Vec<Affected> {
    let none = Said::default();
    let mut affected = Vec::new();
    for path in checks {
        let (was, is) = (
            was.get(path).unwrap_or(&none),
            is.get(path).unwrap_or(&none),
        );
        if was == is {
            continue;
        }
        let find = |said: &Said, key: &str| {
            let found = said.figures.iter().find(|(own, _)| own == key);
            found.map(|(_, value)| value.clone())
        };
        // In the order in which they are shown.
        let gone = was
            .figures
            .iter()
            .filter(|(key, _)| find(is, key).is_none());
        let figures = is.figures.iter().chain(gone).filter_map(|(key, _)| {
            let (was, is) = (find(was, key), find(is, key));
            (was != is).then(|| (key.clone(), was, is))
        });
        let more = |one: &Said, other: &Said| {
            let many = one.findings.iter();
            let more = many
                .filter(|(key, count)| other.findings.get(key).is_none_or(|other| other < count));
            let mut rules: Vec<_> = more
                .map(|((rule, _, severity), _)| (*rule, *severity))
                .collect();
            rules.dedup();
            rules
        };
        affected.push(Affected {
            path: path.clone(),
            place: is
                .place
                .clone()
                .or_else(|| was.place.clone())
                .unwrap_or_else(|| Place::whole(path)),
            figures: figures.collect(),
            gained: more(is, was),
            lost: more(was, is),
        });
    }
    affected
}
