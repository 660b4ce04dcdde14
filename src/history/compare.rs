//! What a change brings to the book, for whoever reviews it: read from two commits, never from the work tree.

use super::difference::{Difference, differences};
use super::gate::{Gate, Judge};
use super::range::known_range;
use crate::book::figures::verdict;
use crate::book::view::View;
use crate::book::{Book, Clock, LoadError};
use crate::finding::Finding;
use crate::fleet;
use crate::parse::layout::{CheckName, MARKER, Slot, slot};
use crate::parse::{Doc, parse, read};
use crate::record::Kind;
use crate::record::check::{Check, Verdict};
use crate::record::person::Duty;
use crate::record::review::{Review, ReviewDecision};
use crate::rules::{self, Outcome, Wanted};
use crate::source::each_of;
use crate::source::git::{Change, Repository, Staged};
use crate::source::range::Range;
use crate::source::{Source, SourceError, What};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};

/// So many counted checks stand beside a new one ...
const BESIDE: usize = 3;

/// ... out of so many that are looked at.
const LOOKED_AT: usize = 24;

/// So many of the checks that rest on a fact are named.
const NAMED: usize = 3;

/// What a change brings.
pub struct Brought {
    /// As the change leaves it.
    pub after: Book,
    /// The folders that held a book before, where this one held none.
    pub books_before: Option<Vec<String>>,
    /// By instrument, of each the newest first.
    pub checks: Vec<NewCheck>,
    /// Files among the new checks that cannot be understood.
    pub unreadable: Vec<String>,
    /// Checks that stand beside the new ones, by id.
    pub earlier: BTreeMap<String, (Doc, Check)>,
    /// Committed checks, reviews and other records of what happened that are no longer what they were.
    pub altered: Vec<Altered>,
    pub facts: Vec<ChangedFact>,
    pub new_facts: Vec<NewFact>,
    pub reviews: Vec<NewReview>,
    pub nonconformities: Vec<ChangedNonconformity>,
    /// In the order of the book.
    pub findings: Vec<Finding>,
    /// Files in the book's folder that are no records.
    pub others: Vec<String>,
}

pub struct NewCheck {
    pub id: String,
    pub doc: Doc,
    pub check: Check,
    /// Of the committed bytes.
    pub sha256: String,
    /// An amendment of it stands in the book as well.
    pub amended: bool,
    /// Counted checks before it, in order of time: ids in [`Brought::earlier`] or among the new checks.
    pub beside: Vec<String>,
    /// Of an amendment: how it differs from what it amends. `None` where that cannot be read.
    pub amends: Option<Vec<Difference>>,
    /// Of an amendment: who rejected what it amends, with the comment.
    pub rejected_before: Vec<(String, String)>,
    /// Somebody must still review it.
    pub awaits_review: bool,
    /// The names of the reviews of it that are there.
    pub reviews: Vec<String>,
}

/// A committed record that the change alters.
pub struct Altered {
    pub path: String,
    /// `None` where it is removed, or where one of the versions cannot be read.
    pub differences: Option<Vec<Difference>>,
    pub removed: bool,
}

pub struct ChangedFact {
    pub path: String,
    pub kind: Kind,
    pub id: String,
    /// `None` where it is removed, or where one of the versions cannot be read.
    pub differences: Option<Vec<Difference>>,
    pub removed: bool,
    /// How many checks of the book as it was rest on it, and the newest of them.
    pub rest_on_it: usize,
    pub newest: Vec<String>,
}

pub struct NewFact {
    pub path: String,
    pub kind: Kind,
    pub id: String,
    /// `None` where it cannot be read.
    pub doc: Option<Doc>,
}

pub struct NewReview {
    pub path: String,
    /// With the comment, where there is one; `None` where it cannot be read.
    pub review: Option<(Review, Option<String>)>,
    /// Its sha256 is that of the record as the change leaves it.
    pub covers: bool,
}

pub struct ChangedNonconformity {
    pub path: String,
    pub id: String,
    pub doc: Option<Doc>,
    pub is_new: bool,
    /// Its outcome comes with this change.
    pub decided: bool,
    /// Of one that was there: how it differs.
    pub differences: Vec<Difference>,
}

/// Looks at a change; `None` where neither side holds a book in this folder.
pub fn compare(
    repository: &Repository,
    range: &Range,
    clock: Clock,
    judge: &Judge<'_>,
) -> Result<Option<Brought>, LoadError> {
    let before = Staged::open(repository, Some(&range.before))?;
    let after = Staged::open(repository, Some(&range.after))?;
    let was_there = before.read(MARKER)?.is_some();
    if after.read(MARKER)?.is_none() {
        return match was_there {
            false => Ok(None),
            true => Err(LoadError::Source(SourceError::new(
                format!(
                    "{} takes {MARKER} away, so there is no book to compare with",
                    range.to
                ),
                format!(
                    "put it back on that branch: git restore --source={} -- {}{MARKER}; or name the book's folder with --book DIR",
                    short(&range.before),
                    repository.prefix
                ),
            ))),
        };
    }
    let books_before = match was_there {
        true => None,
        false => Some(range.books_before(repository, MARKER)?),
    };
    // A review or a check that is named by a new one is read by the rules themselves.
    let facts_change = range.changes.iter().any(|change| is_fact(&change.path));
    let records: Vec<String> = range
        .changes
        .iter()
        .filter(|change| is_there(change) && is_of(&change.path, &[Kind::Check, Kind::Review]))
        .map(|change| change.path.clone())
        .collect();
    let wanted = match facts_change {
        true => Wanted::All,
        false => Wanted::Only(&records),
    };
    let outcome = judge(&after, &wanted)?;
    let findings = findings_of(repository, range, clock, judge)?;
    let mut brought = Brought {
        after: Book::facts(&after, clock)?,
        books_before,
        checks: Vec::new(),
        unreadable: Vec::new(),
        earlier: BTreeMap::new(),
        altered: Vec::new(),
        facts: Vec::new(),
        new_facts: Vec::new(),
        reviews: Vec::new(),
        nonconformities: Vec::new(),
        findings,
        others: Vec::new(),
    };
    for change in &range.changes {
        brought.sort_in(change, &before, &after)?;
    }
    brought.stand_beside(&after, judge, facts_change.then_some(&outcome))?;
    if !brought.facts.is_empty() {
        brought.find_what_rests(&before, clock)?;
    }
    Ok(Some(brought))
}

/// What the gate of CI says of the change: its new records, and what each commit does to committed ones.
fn findings_of(
    repository: &Repository,
    range: &Range,
    clock: Clock,
    judge: &Judge<'_>,
) -> Result<Vec<Finding>, LoadError> {
    let asked = super::range::Range {
        tip: range.after.clone(),
        known: vec![range.other.clone()],
        judges: Some(range.other.clone()),
    };
    Ok(match known_range(repository, &asked, clock, judge)? {
        Gate::Judged(outcome) => outcome.findings,
        Gate::NoBook => Vec::new(),
    })
}

/// What other records rest on or speak of.
fn is_fact(path: &str) -> bool {
    rules::is_fact(path) || is_of(path, &[Kind::Nonconformity])
}

/// A commit's id as git's commands take it.
pub fn short(commit: &str) -> String {
    commit.chars().take(12).collect()
}

fn is_there(change: &Change) -> bool {
    let is_file = |version: &crate::source::git::Version| version.what() == What::File;
    change.new.as_ref().is_some_and(is_file)
}

fn is_of(path: &str, kinds: &[Kind]) -> bool {
    matches!(slot(path), Slot::Record(kind, _) if kinds.contains(&kind))
}

/// Both versions of a file where they can be read, and whether their bytes are the same.
fn versions(
    change: &Change,
    before: &Staged,
    after: &Staged,
) -> Result<(Option<Doc>, Option<Doc>), LoadError> {
    let doc = |version: &Option<crate::source::git::Version>, side: &Staged| match version {
        Some(version) if version.what() == What::File => {
            Ok::<_, LoadError>(read(&change.path, side.blob(&version.id)?))
        }
        _ => Ok(None),
    };
    Ok((doc(&change.old, before)?, doc(&change.new, after)?))
}

fn hexadecimal(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

fn check_of(path: &str, source: &Staged) -> Result<Option<(Doc, Check)>, LoadError> {
    let Some(bytes) = source.read(path)? else {
        return Ok(None);
    };
    let parsed = parse::<Check>(path, bytes)?;
    Ok(parsed.doc.zip(parsed.record))
}

impl Brought {
    /// Puts one changed file where it belongs.
    fn sort_in(
        &mut self,
        change: &Change,
        before: &Staged,
        after: &Staged,
    ) -> Result<(), LoadError> {
        let path = &change.path;
        let Slot::Record(kind, id) = slot(path) else {
            self.others.push(path.clone());
            return Ok(());
        };
        let (old, new) = match (&change.old, &change.new) {
            // The executable bit says nothing.
            (Some(old), Some(new)) if new.same_as(old) => return Ok(()),
            (None, _) => (None, None),
            _ => versions(change, before, after)?,
        };
        let differences = old.as_ref().zip(new.as_ref());
        let differences = differences.map(|(old, new)| self::differences(old, new));
        let removed = change.new.is_none();
        match (kind, change.old.is_some()) {
            (Kind::Check, false) => self.new_check(path, id, after)?,
            (Kind::Review, false) => self.new_review(path, after)?,
            (Kind::Nonconformity, false) => {
                let doc = read(path, after.read(path)?.unwrap_or_default());
                let decided = doc.as_ref().is_some_and(has_outcome);
                self.nonconformities.push(ChangedNonconformity {
                    path: path.clone(),
                    id,
                    doc,
                    is_new: true,
                    decided,
                    differences: Vec::new(),
                });
            }
            (Kind::Nonconformity, true) if !removed => {
                let decided =
                    new.as_ref().is_some_and(has_outcome) && !old.as_ref().is_some_and(has_outcome);
                self.nonconformities.push(ChangedNonconformity {
                    path: path.clone(),
                    id,
                    doc: new,
                    is_new: false,
                    decided,
                    differences: differences.unwrap_or_default(),
                });
            }
            (Kind::Check | Kind::Review | Kind::Nonconformity, true) => {
                self.altered.push(Altered {
                    path: path.clone(),
                    differences,
                    removed,
                });
            }
            (_, false) => {
                let doc = match is_there(change) {
                    true => read(path, after.read(path)?.unwrap_or_default()),
                    false => None,
                };
                self.new_facts.push(NewFact {
                    path: path.clone(),
                    kind,
                    id,
                    doc,
                });
            }
            (_, true) => self.facts.push(ChangedFact {
                path: path.clone(),
                kind,
                id,
                differences,
                removed,
                rest_on_it: 0,
                newest: Vec::new(),
            }),
        }
        Ok(())
    }

    fn new_check(&mut self, path: &str, id: String, after: &Staged) -> Result<(), LoadError> {
        let bytes = after.read(path)?;
        let sha256 = bytes.as_deref().map(hexadecimal);
        let parsed = match bytes {
            Some(bytes) => {
                let parsed = parse::<Check>(path, bytes)?;
                parsed.doc.zip(parsed.record)
            }
            None => None,
        };
        let judged = parsed.as_ref().and_then(|(doc, check)| {
            let view = View::of(&self.after, doc, check, &id)?;
            Some(view.policy.is_some_and(|policy| policy.review_required))
        });
        let name = CheckName::parse(&id);
        let (Some((doc, check)), Some(sha256), Some(needs_review)) = (parsed, sha256, judged)
        else {
            self.unreadable.push(path.to_owned());
            return Ok(());
        };
        let amended = match &name {
            Some(name) => after.what(&name.next().path())?.is_some(),
            None => false,
        };
        let mut reviews = Vec::new();
        let mut is_reviewed = false;
        if let Some(name) = &name {
            for entry in after.list(&name.reviews_folder())? {
                if let Some(bytes) = after.read(&entry.path)?
                    && let Some(review) = parse::<Review>(&entry.path, bytes)?.record
                {
                    is_reviewed |= review.sha256 == sha256 && self.may_review(&review, &check);
                }
                let name = entry.path.rsplit_once('/').map_or("", |(_, name)| name);
                reviews.push(name.to_owned());
            }
        }
        let amends = match name.as_ref().and_then(CheckName::previous) {
            Some(previous) if check.amends.is_some() => match after.read(&previous.path())? {
                Some(bytes) => read(&previous.path(), bytes).map(|old| differences(&old, &doc)),
                None => None,
            },
            _ => None,
        };
        let mut rejected_before = Vec::new();
        if let Some(previous) = name.as_ref().and_then(CheckName::previous) {
            for entry in after.list(&previous.reviews_folder())? {
                let Some(bytes) = after.read(&entry.path)? else {
                    continue;
                };
                let parsed = parse::<Review>(&entry.path, bytes)?;
                let (Some(doc), Some(review)) = (parsed.doc, parsed.record) else {
                    continue;
                };
                if review.decision == ReviewDecision::Reject {
                    let comment = doc.root.get("/comment").map(|node| node.to_json());
                    let comment = comment.and_then(|text| text.as_str().map(str::to_owned));
                    rejected_before.push((review.reviewer, comment.unwrap_or_default()));
                }
            }
        }
        self.checks.push(NewCheck {
            rejected_before,
            id,
            doc,
            check,
            sha256,
            amended,
            beside: Vec::new(),
            amends,
            awaits_review: needs_review && !amended && !is_reviewed,
            reviews,
        });
        Ok(())
    }

    /// A person who may review, and who had no hand in the check.
    fn may_review(&self, review: &Review, check: &Check) -> bool {
        let hands = [
            Some(&check.operator),
            check.entered_by.as_ref(),
            check.amended_by.as_ref(),
        ];
        let person = self.after.people.named(&review.reviewer).sound();
        let decided = self.after.zone.instant(&review.decided).ok();
        let authorised = person
            .zip(decided)
            .is_some_and(|(person, at)| self.after.authorised(person, Duty::Review, at));
        authorised && !hands.into_iter().flatten().any(|id| *id == review.reviewer)
    }

    fn new_review(&mut self, path: &str, after: &Staged) -> Result<(), LoadError> {
        let parsed = parse::<Review>(path, after.read(path)?.unwrap_or_default())?;
        let review = parsed.record.zip(parsed.doc).map(|(review, doc)| {
            let comment = doc.root.get("/comment");
            let comment = comment.map(|node| super::difference::written(&doc, node));
            (review, comment)
        });
        let reviewed =
            review
                .as_ref()
                .and_then(|(review, _)| match (&review.check, &review.record) {
                    (Some(id), _) => crate::parse::layout::check_path(id),
                    (None, Some(id)) => Some(format!("{id}.toml")),
                    (None, None) => None,
                });
        let content = match reviewed {
            Some(path) => after.read(&path)?.as_deref().map(hexadecimal),
            None => None,
        };
        self.reviews.push(NewReview {
            path: path.to_owned(),
            covers: review
                .as_ref()
                .zip(content)
                .is_some_and(|((review, _), content)| review.sha256 == content),
            review,
        });
        Ok(())
    }

    /// Finds for each new check the counted ones before it that share its fluid lot or a speed.
    fn stand_beside(
        &mut self,
        after: &Staged,
        judge: &Judge<'_>,
        whole: Option<&Outcome>,
    ) -> Result<(), LoadError> {
        self.sort_checks();
        let instruments: BTreeSet<String> = self
            .checks
            .iter()
            .filter_map(|new| Some(CheckName::parse(&new.id)?.instrument))
            .collect();
        if instruments.is_empty() {
            return Ok(());
        }
        let mut of_instrument: BTreeMap<String, Vec<CheckName>> = BTreeMap::new();
        for entry in after.list(Kind::Check.folder())? {
            if let Slot::Record(Kind::Check, id) = slot(&entry.path)
                && let Some(name) = CheckName::parse(&id)
                && name.path() == entry.path
                && instruments.contains(&name.instrument)
            {
                of_instrument
                    .entry(name.instrument.clone())
                    .or_default()
                    .push(name);
            }
        }
        let time = |name: &CheckName| (name.date, name.clock.clone(), name.amendment);
        for names in of_instrument.values_mut() {
            names.sort_by_key(time);
            // Of a check and its amendments the newest stands.
            let same = |one: &CheckName, other: &CheckName| {
                (one.date, &one.clock) == (other.date, &other.clock)
            };
            names.dedup_by(|later, earlier| {
                let same = same(later, earlier);
                if same {
                    std::mem::swap(later, earlier);
                }
                same
            });
        }
        let mut known: BTreeMap<String, Option<(Doc, Check)>> = BTreeMap::new();
        let mut candidates: Vec<Vec<String>> = Vec::new();
        for new in &self.checks {
            let mut fitting = Vec::new();
            let own = CheckName::parse(&new.id);
            let names = own
                .as_ref()
                .and_then(|own| of_instrument.get(&own.instrument));
            for name in names.into_iter().flatten().rev() {
                let earlier = own
                    .as_ref()
                    .is_some_and(|own| (name.date, &name.clock) < (own.date, &own.clock));
                if !earlier || fitting.len() == LOOKED_AT {
                    continue;
                }
                let id = name.id();
                if !known.contains_key(&id) {
                    known.insert(id.clone(), check_of(&name.path(), after)?);
                }
                if let Some(Some((_, check))) = known.get(&id)
                    && is_comparable(&new.check, check)
                {
                    fitting.push(id);
                }
            }
            candidates.push(fitting);
        }
        let counted = self.counted(after, judge, whole, &candidates)?;
        for (new, fitting) in self.checks.iter_mut().zip(candidates) {
            let mut beside: Vec<String> = fitting
                .into_iter()
                .filter(|id| counted.contains(id))
                .take(BESIDE)
                .collect();
            beside.reverse();
            for id in &beside {
                if let Some(held) = known.get_mut(id).and_then(Option::take) {
                    self.earlier.insert(id.clone(), held);
                }
            }
            new.beside = beside;
        }
        Ok(())
    }

    /// Those of the checks that count.
    fn counted(
        &self,
        after: &Staged,
        judge: &Judge<'_>,
        whole: Option<&Outcome>,
        candidates: &[Vec<String>],
    ) -> Result<BTreeSet<String>, LoadError> {
        let among: BTreeSet<&String> = candidates.iter().flatten().collect();
        if among.is_empty() {
            return Ok(BTreeSet::new());
        }
        let own;
        let outcome = match whole {
            Some(whole) => whole,
            None => {
                let mut paths = Vec::new();
                for id in &among {
                    if let Some(name) = CheckName::parse(id) {
                        paths.push(name.path());
                        let reviews = after.list(&name.reviews_folder())?;
                        paths.extend(reviews.into_iter().map(|entry| entry.path));
                    }
                }
                own = judge(after, &Wanted::Only(&paths))?;
                &own
            }
        };
        let counted = fleet::counted(&self.after, &outcome.links, &outcome.with_errors);
        let ids = counted
            .into_values()
            .flatten()
            .map(|seen| seen.id.to_owned());
        Ok(ids.filter(|id| among.contains(id)).collect())
    }

    fn sort_checks(&mut self) {
        let book = &self.after;
        self.checks.sort_by(|one, other| {
            let newest_first = |check: &NewCheck| {
                let at = book.zone.instant(&check.check.performed).ok();
                (std::cmp::Reverse(at), std::cmp::Reverse(check.id.clone()))
            };
            (&one.check.instrument, newest_first(one))
                .cmp(&(&other.check.instrument, newest_first(other)))
        });
    }

    /// Counts the checks of the book as it was that rest on each changed fact.
    fn find_what_rests(&mut self, before: &Staged, clock: Clock) -> Result<(), LoadError> {
        if self.books_before.is_some() {
            return Ok(());
        }
        let book = Book::facts(before, clock)?;
        let wanted: BTreeSet<&str> = self.facts.iter().map(|fact| fact.path.as_str()).collect();
        let entries = before.list(Kind::Check.folder())?;
        let ids: Vec<(String, String)> = entries
            .into_iter()
            .filter_map(|entry| match slot(&entry.path) {
                Slot::Record(Kind::Check, id) if entry.what == What::File => Some((entry.path, id)),
                _ => None,
            })
            .collect();
        // What was amended is judged no more.
        let all: BTreeSet<String> = ids.iter().map(|(path, _)| path.clone()).collect();
        let is_amended =
            |id: &str| CheckName::parse(id).is_some_and(|name| all.contains(&name.next().path()));
        let mut ids = ids;
        ids.retain(|(_, id)| !is_amended(id));
        let rest: Vec<Vec<String>> = each_of(&ids, |(path, id)| -> Result<_, LoadError> {
            let Some((doc, check)) = check_of(path, before)? else {
                return Ok(Vec::new());
            };
            let mut names = rules::names_of(&check);
            let people = [&check.entered_by, &check.amended_by].into_iter().flatten();
            let consents = check.deviations.iter().map(|deviation| &deviation.consent);
            for person in people.chain(consents) {
                names.push(crate::parse::layout::path_of(Kind::Person, person));
            }
            if let Some(policy) = View::of(&book, &doc, &check, id)
                .and_then(|view| Some(view.policy?.doc.path.clone()))
            {
                names.push(policy);
            }
            names.retain(|name| wanted.contains(name.as_str()));
            names.sort();
            names.dedup();
            Ok(names)
        })?;
        let mut by_fact: BTreeMap<String, Vec<&str>> = BTreeMap::new();
        for ((_, id), names) in ids.iter().zip(rest) {
            for name in names {
                by_fact.entry(name).or_default().push(id);
            }
        }
        for fact in &mut self.facts {
            let mut ids = by_fact.remove(&fact.path).unwrap_or_default();
            fact.rest_on_it = ids.len();
            ids.sort_by_key(|id| {
                let name = CheckName::parse(id);
                std::cmp::Reverse(name.map(|name| (name.date, name.clock, name.amendment)))
            });
            fact.newest = ids.into_iter().take(NAMED).map(str::to_owned).collect();
        }
        Ok(())
    }

    /// A check that stands beside new ones, or is one of them.
    pub fn check(&self, id: &str) -> Option<(&Doc, &Check)> {
        if let Some((doc, check)) = self.earlier.get(id) {
            return Some((doc, check));
        }
        let new = self.checks.iter().find(|new| new.id == id)?;
        Some((&new.doc, &new.check))
    }

    /// What a new check comes to, as `show` tells it; `None` where a figure is missing.
    pub fn verdict(&self, new: &NewCheck) -> Option<Verdict> {
        let view = View::of(&self.after, &new.doc, &new.check, &new.id)?;
        verdict(&view)
    }
}

fn has_outcome(doc: &Doc) -> bool {
    doc.root.get("/outcome").is_some()
}

/// Two checks whose deviations can be looked at side by side.
fn is_comparable(one: &Check, other: &Check) -> bool {
    let speeds: BTreeSet<_> = one
        .points
        .iter()
        .map(|point| &point.speed_rpm.value)
        .collect();
    !other.void
        && (one.fluid == other.fluid
            || other
                .points
                .iter()
                .any(|point| speeds.contains(&point.speed_rpm.value)))
}
