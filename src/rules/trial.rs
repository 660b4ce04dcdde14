//! What a policy that is not in force would make of the checks of a book.

use super::run::{Outcome, Wanted, judge_with, run, run_and_watch};
use crate::book::figures::{figures, verdict};
use crate::book::view::View;
use crate::book::{Book, CheckFacts, Clock, LoadError, Loaded};
use crate::finding::{Finding, Severity};
use crate::fleet::{Uncounted, made, uncounted};
use crate::parse::layout::{check_path, path_of, unfit_id};
use crate::parse::parse;
use crate::record::Kind;
use crate::record::check::{Check, Verdict};
use crate::record::policy::Policy;
use crate::source::Source;
use crate::source::each_of;
use crate::source::overlay::Overlay;
use compact_str::CompactString;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Mutex, PoisonError};

/// Rules whose findings under another policy say nothing of that policy: what was sealed was sealed by the policy of its
/// day, and what was repeated had failed by that one.
const OF_ITS_DAY: [&str; 3] = ["computed-missing", "computed-differs", "repeat-of"];

/// What was made of one check by the policy of its day, and by the one that is tried.
struct Tried {
    date: Date,
    policy: Option<CompactString>,
    before: Option<Verdict>,
    after: Option<Verdict>,
    limits_differ: bool,
}

/// A book as its policies judge it, and as one that is tried would.
pub struct Trial {
    pub before: Outcome,
    pub after: Outcome,
    /// The checks that the policy would judge.
    checks: BTreeMap<Box<str>, Tried>,
}

/// Which checks are looked at.
#[derive(Clone, Copy, Debug, Default)]
pub struct Selection<'a> {
    pub since: Option<Date>,
    pub instrument: Option<&'a str>,
}

/// The checks of one instrument.
#[derive(Clone, Copy, Debug, Default)]
pub struct Group {
    pub checks: usize,
    pub pass_before: usize,
    pub fail_before: usize,
    pub pass_after: usize,
    pub fail_after: usize,
    pub counted_before: usize,
    pub counted_after: usize,
    pub verdicts_differ: usize,
    /// Of those with the same verdict.
    pub limits_differ: usize,
}

/// A figure that would be another one.
pub struct Figure {
    /// As it is counted in the check, from 0; `None` where it is one of the whole check.
    pub point: Option<usize>,
    /// With its unit, as in a record.
    pub key: String,
    /// `None` where it cannot be had.
    pub before: Option<String>,
    pub after: Option<String>,
}

/// A check of which the policy would say something else: another verdict, or other errors.
pub struct Differing<'a> {
    pub id: &'a str,
    pub facts: &'a CheckFacts,
    pub date: Date,
    /// The policy of its day.
    pub policy: Option<&'a str>,
    pub before: Option<Verdict>,
    pub after: Option<Verdict>,
    pub counts_before: bool,
    pub counts_after: bool,
    /// Rules whose errors would come.
    pub comes: Vec<&'static str>,
    /// Rules whose errors would go.
    pub goes: Vec<&'static str>,
    /// Of each point, as written.
    pub speeds_rpm: Vec<String>,
    pub figures: Vec<Figure>,
}

impl Differing<'_> {
    pub fn verdict_differs(&self) -> bool {
        self.before != self.after
    }

    /// One figure of a point that would be another one.
    pub fn figure(&self, point: usize, key: &str) -> Option<&Figure> {
        let mut figures = self.figures.iter();
        figures.find(|figure| figure.point == Some(point) && figure.key == key)
    }
}

/// What is wrong with a policy in a file anywhere, as it would be told in the book, and the policy where nothing is.
pub fn faults_of(
    source: &dyn Source,
    clock: Clock,
    file: &str,
    bytes: &[u8],
) -> Result<(Vec<Finding>, Option<Loaded<Policy>>), LoadError> {
    let parsed = parse::<Policy>(file, bytes.to_vec())?;
    let id = parsed.record.as_ref().map(|record| record.id.as_str());
    // What it clashes with in the book does not matter: it takes the place of all others.
    let id = id.filter(|id| unfit_id(id).is_none()).unwrap_or("policy");
    let path = path_of(Kind::Policy, id);
    let mut overlay = Overlay::over(source);
    overlay.files.insert(path.clone(), bytes.to_vec());
    let only = [path.clone()];
    let outcome = run(&overlay, clock, &Wanted::Only(&only))?;
    let mut findings = outcome.findings;
    let of_the_book = ["id-clash", "record-unreviewed"];
    findings.retain(|finding| finding.place.path == path && !of_the_book.contains(&finding.rule));
    for finding in &mut findings {
        finding.place.path = file.to_owned();
    }
    let policy = parsed.doc.zip(parsed.record);
    Ok((findings, policy.map(|(doc, record)| Loaded { doc, record })))
}

/// Judges a book by its policies, and once more with one of them tried. Nothing is written.
pub fn try_policy(
    source: &dyn Source,
    clock: Clock,
    policy: &Loaded<Policy>,
) -> Result<Trial, LoadError> {
    let other = tried_book(source, clock, policy)?;
    let checks: Mutex<BTreeMap<Box<str>, Tried>> = Mutex::default();
    let watch = |view: &View<'_>| {
        let Some(after) = View::of(&other, view.doc, view.check, view.id) else {
            return;
        };
        let applies = after.policy.zip(other.tried());
        if applies.is_none_or(|(judges, tried)| !std::ptr::eq(judges, tried)) {
            return;
        }
        let tried = Tried {
            date: view.date,
            policy: view.policy.map(|policy| CompactString::from(&policy.id)),
            before: verdict(view),
            after: verdict(&after),
            limits_differ: limits(view) != limits(&after),
        };
        let mut checks = checks.lock().unwrap_or_else(PoisonError::into_inner);
        checks.insert(Box::from(view.id), tried);
    };
    let before = run_and_watch(source, clock, &Wanted::All, Some(&watch))?;
    Ok(Trial {
        before,
        after: judge_with(source, other, &Wanted::All)?,
        checks: checks.into_inner().unwrap_or_else(PoisonError::into_inner),
    })
}

fn tried_book(
    source: &dyn Source,
    clock: Clock,
    policy: &Loaded<Policy>,
) -> Result<Book, LoadError> {
    let mut book = Book::facts(source, clock)?;
    book.try_policy(policy.clone());
    Ok(book)
}

/// The figures by which a point is judged.
fn limits(view: &View<'_>) -> Vec<(String, String)> {
    let mut all = figures(view);
    all.retain(|(key, _)| key.ends_with("lower_mpa_s") || key.ends_with("upper_mpa_s"));
    all
}

/// The rules of the errors of each file, softened by a nonconformity or not.
fn errors(outcome: &Outcome) -> BTreeMap<&str, BTreeSet<&'static str>> {
    let mut errors: BTreeMap<&str, BTreeSet<&'static str>> = BTreeMap::new();
    for finding in &outcome.findings {
        if finding.severity == Severity::Error {
            let own = errors.entry(&finding.place.path).or_default();
            own.insert(finding.rule);
        }
    }
    for (rule, path) in &outcome.softened {
        errors.entry(path).or_default().insert(*rule);
    }
    errors
}

fn is_pass(verdict: Option<Verdict>) -> bool {
    matches!(verdict, Some(Verdict::Pass | Verdict::ConditionalPass))
}

fn is_fail(verdict: Option<Verdict>) -> bool {
    matches!(verdict, Some(Verdict::Fail | Verdict::ConditionalFail))
}

impl Trial {
    /// The checks that count, or do not for an error alone: by instrument how many, and each of which the policy would say
    /// something else, in order of time.
    pub fn differences(
        &self,
        source: &dyn Source,
        policy: &Loaded<Policy>,
        selection: Selection<'_>,
    ) -> Result<(BTreeMap<&str, Group>, Vec<Differing<'_>>), LoadError> {
        let Some(book) = &self.before.book else {
            return Ok((BTreeMap::new(), Vec::new()));
        };
        let at = book.end_of(book.as_of());
        let (was, is) = (errors(&self.before), errors(&self.after));
        let none = BTreeSet::new();
        let mut groups: BTreeMap<&str, Group> = BTreeMap::new();
        let mut differing = Vec::new();
        for (id, tried) in &self.checks {
            let Some((id, Some(facts))) = self.before.links.checks.entry(id) else {
                continue;
            };
            let wanted = selection.since.is_none_or(|since| tried.date >= since)
                && selection
                    .instrument
                    .is_none_or(|instrument| instrument == facts.instrument());
            if !wanted || made(facts) > at || facts.performed > at {
                continue;
            }
            let links = &self.before.links;
            let why_not = uncounted(links, &self.before.with_errors, (id, Some(facts)), at);
            let counts_before = match why_not {
                None => true,
                Some(Uncounted::WithErrors) => false,
                Some(_) => continue,
            };
            let path = check_path(id).unwrap_or_default();
            let of = |errors: &BTreeMap<&str, BTreeSet<&'static str>>| {
                errors.get(path.as_str()).unwrap_or(&none).clone()
            };
            let (old, mut new) = (of(&was), of(&is));
            for rule in OF_ITS_DAY {
                new.remove(rule);
                new.extend(old.get(rule));
            }
            let counts_after = new.is_empty() && tried.after.is_some();
            let group = groups.entry(facts.instrument()).or_default();
            group.checks += 1;
            group.pass_before += usize::from(is_pass(tried.before));
            group.fail_before += usize::from(is_fail(tried.before));
            group.pass_after += usize::from(is_pass(tried.after));
            group.fail_after += usize::from(is_fail(tried.after));
            group.counted_before += usize::from(counts_before);
            group.counted_after += usize::from(counts_after);
            let differs = tried.before != tried.after;
            group.verdicts_differ += usize::from(differs);
            group.limits_differ += usize::from(!differs && tried.limits_differ);
            if differs || old != new {
                differing.push(Differing {
                    id,
                    facts,
                    date: tried.date,
                    policy: tried.policy.as_deref(),
                    before: tried.before,
                    after: tried.after,
                    counts_before,
                    counts_after,
                    comes: new.difference(&old).copied().collect(),
                    goes: old.difference(&new).copied().collect(),
                    speeds_rpm: Vec::new(),
                    figures: Vec::new(),
                });
            }
        }
        differing.sort_by_key(|one| (one.facts.performed, one.id));
        let other = tried_book(source, book.clock, policy)?;
        let paths: Vec<String> = differing
            .iter()
            .map(|one| check_path(one.id).unwrap_or_default())
            .collect();
        let all = each_of(&paths, |path| compared(source, path, book, &other))?;
        for (one, (speeds_rpm, figures)) in differing.iter_mut().zip(all) {
            one.speeds_rpm = speeds_rpm;
            one.figures = figures;
        }
        Ok((groups, differing))
    }
}

/// The speeds of a check, and the figures of which two books say something else.
fn compared(
    source: &dyn Source,
    path: &str,
    one: &Book,
    other: &Book,
) -> Result<(Vec<String>, Vec<Figure>), LoadError> {
    let Some(bytes) = source.read(path)? else {
        return Ok((Vec::new(), Vec::new()));
    };
    let parsed = parse::<Check>(path, bytes)?;
    let (Some(doc), Some(check)) = (&parsed.doc, &parsed.record) else {
        return Ok((Vec::new(), Vec::new()));
    };
    let speeds = check.points.iter().map(|point| point.speed_rpm.to_string());
    let of = |book: &Book| View::of(book, doc, check, "").map_or(Vec::new(), |view| figures(&view));
    let (was, is) = (of(one), of(other));
    let find = |list: &[(String, String)], key: &str| {
        let found = list.iter().find(|(own, _)| own == key);
        found.map(|(_, value)| value.clone())
    };
    let gone = was.iter().filter(|(key, _)| find(&is, key).is_none());
    let figures = is.iter().chain(gone).filter_map(|(key, _)| {
        let (before, after) = (find(&was, key), find(&is, key));
        let name = key.trim_start_matches('/');
        let of_point = name
            .strip_prefix("point/")
            .and_then(|rest| rest.split_once('/'));
        let point = of_point.and_then(|(point, _)| point.parse().ok());
        (before != after).then(|| Figure {
            point,
            key: of_point.map_or(name, |(_, key)| key).to_owned(),
            before,
            after,
        })
    });
    Ok((speeds.collect(), figures.collect()))
}
