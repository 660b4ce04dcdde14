//! What a change of facts does to committed checks: which of their figures and findings would become others.

use super::run::{Wanted, judge_with};
use crate::book::figures::figures;
use crate::book::view::View;
use crate::book::{Book, Clock, LoadError};
use crate::finding::{Place, Severity};
use crate::parse::layout::{Slot, slot};
use crate::parse::parse;
use crate::record::Kind;
use crate::record::check::Check;
use crate::source::Source;
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
    pub gained: Vec<String>,
    /// Findings that go.
    pub lost: Vec<String>,
}

impl Affected {
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
        for rule in &self.gained {
            parts.push(format!("{rule} comes"));
        }
        for rule in &self.lost {
            parts.push(format!("{rule} goes"));
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
    let mut all: BTreeMap<String, Said> = BTreeMap::new();
    // Without its marker a book says nothing of any check.
    if source.read(crate::parse::layout::MARKER)?.is_none() {
        return Ok(all);
    }
    let book = Book::facts(source, clock)?;
    let outcome = judge_with(source, book, &Wanted::Only(checks))?;
    for finding in outcome.findings {
        if checks.binary_search(&finding.place.path).is_ok() {
            let key = (finding.rule, finding.place.pointer, finding.severity);
            let said = all.entry(finding.place.path).or_default();
            *said.findings.entry(key).or_default() += 1;
        }
    }
    let Some(book) = &outcome.book else {
        return Ok(all);
    };
    let each = crate::book::each_of(checks, |path| -> Result<_, LoadError> {
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
            let mut rules: Vec<String> = more
                .map(|((rule, _, severity), _)| format!("{rule} ({})", severity.name()))
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
    Ok(affected)
}
