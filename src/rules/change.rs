//! Judges what one commit does to a book: its parents' books, its own, and what it says of author and time.

use super::commit::{Before, Commit, Effect, NewCheck, Why};
use super::effect::effects;
use super::facts::{self, Rests};
use super::run::{each_rule, raise_by_policy};
use super::{Out, Run};
use crate::book::view::View;
use crate::book::{Book, Clock, LoadError, Loaded};
use crate::finding::{Finding, Place};
use crate::parse::layout::{MARKER, Slot, path_of, slot};
use crate::parse::parse;
use crate::record::book::{Book as Marker, Gate};
use crate::record::check::Check;
use crate::record::nonconformity::Nonconformity;
use crate::record::review::Review;
use crate::record::{Kind, Record};
use crate::source::mixed::Mixed;
use crate::source::overlay::Overlay;
use crate::source::{Source, SourceError};
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// A commit, or the one in the making, against each of its parents.
pub struct Change<'a> {
    /// `None` in the making.
    pub id: Option<&'a str>,
    /// The author's e-mail, where it is known.
    pub author: Option<&'a str>,
    /// The committer's date; in the making the time of the clock.
    pub at: Timestamp,
    pub now: Timestamp,
    /// None of a first commit.
    pub parents: Vec<Parent<'a>>,
    /// What a first commit brings; else that is told by its parents.
    pub first: Vec<String>,
    pub after: &'a dyn Source,
    /// The book whose settings and authorisations judge; `None` where there was none before.
    pub judges: Option<&'a dyn Source>,
    /// The books at which two parents of a merge parted, by their places in the list.
    pub parted: &'a Parted<'a>,
    /// Whether a file that is new to the parents was committed since a time, and first with the bytes that it has now.
    pub earlier: &'a Earlier<'a>,
}

pub type Earlier<'a> = dyn Fn(&str, Timestamp) -> Result<Option<bool>, SourceError> + 'a;

pub type Parted<'a> = dyn Fn(usize, usize) -> Result<Vec<Box<dyn Source>>, SourceError> + 'a;

pub struct Parent<'a> {
    pub id: &'a str,
    pub at: Timestamp,
    pub before: &'a dyn Source,
    /// The paths at which the commit differs from it, in order.
    pub changed: Vec<String>,
}

/// What a change came to.
#[derive(Default)]
pub struct JudgedChange {
    pub findings: Vec<Finding>,
    /// The committed checks that rest on facts whose values it changes.
    pub resting: BTreeSet<String>,
}

/// Whether a path holds a fact: what checks rest on, and the marker.
pub fn is_fact(path: &str) -> bool {
    match slot(path) {
        Slot::Record(kind, _) => !matches!(kind, Kind::Check | Kind::Review | Kind::Nonconformity),
        _ => false,
    }
}

impl<'a> Change<'a> {
    /// The paths that are as no parent has them.
    fn own(&self) -> Vec<&str> {
        let Some((first, others)) = self.parents.split_first() else {
            return self.first.iter().map(String::as_str).collect();
        };
        let everywhere = |path: &&str| {
            let holds = |parent: &Parent<'_>| {
                let found = parent
                    .changed
                    .binary_search_by(|own| own.as_str().cmp(path));
                found.is_ok()
            };
            others.iter().all(holds)
        };
        let changed = first.changed.iter().map(String::as_str);
        changed.filter(everywhere).collect()
    }

    /// The other parents from which a merge took a file rightly: this parent's side had left it as it was where the two parted.
    fn taken_from(&self, parent: usize, path: &str) -> Result<Vec<usize>, LoadError> {
        let mut from = Vec::new();
        if self.parents.len() < 2 {
            return Ok(from);
        }
        let after = self.after.read(path)?;
        let own = self.parents[parent].before.read(path)?;
        for (index, other) in self.parents.iter().enumerate() {
            if index == parent || other.before.read(path)? != after {
                continue;
            }
            for base in (self.parted)(parent, index)? {
                if base.read(path)? == own {
                    from.push(index);
                    break;
                }
            }
        }
        Ok(from)
    }
}

/// How much of the facts is needed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The marker and the named people.
    People,
    All,
}

/// Reads the facts as the commit leaves them, at least that part.
pub type Facts<'a> = dyn Fn(&BTreeSet<String>, Part) -> Result<Arc<Book>, LoadError> + 'a;

/// Judges a commit by the change rules.
pub fn judge_commit(
    change: &Change<'_>,
    facts_after: &Facts<'_>,
    rests: &Rests,
) -> Result<JudgedChange, LoadError> {
    let own = change.own();
    if change.parents.is_empty() && own.is_empty() {
        return Ok(JudgedChange::default());
    }
    let mut checks = Vec::new();
    let mut reviews = Vec::new();
    let mut decided = Vec::new();
    let mut facts = Vec::new();
    for path in own {
        let brought = || -> Result<bool, LoadError> {
            for parent in &change.parents {
                if parent.before.what(path)?.is_some() {
                    return Ok(false);
                }
            }
            Ok(true)
        };
        match slot(path) {
            Slot::Record(Kind::Check, id) => {
                if brought()?
                    && let Some(bytes) = change.after.read(path)?
                {
                    let parsed = parse::<Check>(path, bytes)?;
                    if let (Some(doc), Some(check)) = (parsed.doc, parsed.record) {
                        checks.push(NewCheck {
                            id,
                            doc,
                            check,
                            before: Before::Nothing,
                        });
                    }
                }
            }
            Slot::Record(Kind::Review, _) => {
                if brought()?
                    && let Some(bytes) = change.after.read(path)?
                {
                    let parsed = parse::<Review>(path, bytes)?;
                    if let (Some(doc), Some(record)) = (parsed.doc, parsed.record) {
                        reviews.push(Loaded { doc, record });
                    }
                }
            }
            Slot::Record(Kind::Nonconformity, _) => {
                let mut known = false;
                for parent in &change.parents {
                    let before = read_as::<Nonconformity>(path, parent.before)?;
                    known |= before.is_some_and(|before| before.outcome.is_some());
                }
                let after = read_as::<Nonconformity>(path, change.after)?;
                decided.extend(after.filter(|after| !known && after.outcome.is_some()));
            }
            _ if is_fact(path) => {
                let before = change.parents.first().map(|parent| parent.before);
                facts.push(facts::difference(path, before, change.after)?.place);
            }
            _ => {}
        }
    }
    let mut wanted = BTreeSet::new();
    for new in &checks {
        let people = [&new.check.entered_by, &new.check.amended_by];
        let people = people.into_iter().flatten().chain([&new.check.operator]);
        wanted.extend(people.map(|id| path_of(Kind::Person, id)));
    }
    for review in &reviews {
        wanted.insert(path_of(Kind::Person, &review.reviewer));
    }
    for outcome in decided.iter().filter_map(|record| record.outcome.as_ref()) {
        wanted.insert(path_of(Kind::Person, &outcome.by));
    }
    let book = facts_after(&wanted, Part::People)?;
    let book: &Book = &book;
    let marker_of = |source| read_as::<Marker>(MARKER, source);
    let mut markers = Vec::new();
    for (index, parent) in change.parents.iter().enumerate() {
        let changed = parent
            .changed
            .binary_search_by(|path| path.as_str().cmp(MARKER));
        if changed.is_ok() && change.taken_from(index, MARKER)?.is_empty() {
            markers.extend(marker_of(parent.before)?);
        }
    }
    let judging = match change.judges {
        Some(source) => marker_of(source)?,
        None => None,
    };
    let own_settings = || book.marker.as_ref().map(|marker| marker.gate.clone());
    let settings: Gate = match judging {
        Some(marker) => marker.record.gate,
        None => own_settings().unwrap_or_default(),
    };
    let clock = Clock {
        now: change.at,
        as_of: None,
    };
    // Who may keep records matters only where some are touched.
    let keepers = match (facts.is_empty(), change.judges) {
        (true, _) => None,
        (false, Some(source)) if source.read(MARKER)?.is_some() => {
            Some(Book::facts(source, clock)?)
        }
        (false, _) => Some(Book::facts(change.after, clock)?),
    };
    let (altered, backdated, resting) = of_facts(change, clock, rests)?;
    let parents: Vec<(String, Timestamp)> = change
        .parents
        .iter()
        .map(|parent| (parent.id.to_owned(), parent.at))
        .collect();
    let by_rules = |checks: &[NewCheck]| {
        let commit = Commit {
            id: change.id,
            author: change.author,
            at: change.at,
            now: change.now,
            parents: &parents,
            settings: &settings,
            keepers: keepers.as_ref().unwrap_or(book),
            book,
            markers: &markers,
            checks,
            reviews: &reviews,
            decided: &decided,
            facts: &facts,
            altered: &altered,
            backdated: &backdated,
        };
        let mut findings = Vec::new();
        each_rule(&mut findings, |_, run, out: &mut Out<'_>| {
            if let Run::Commit(rule) = run {
                rule(&commit, out);
            }
        });
        findings
    };
    let mut findings = by_rules(&checks);
    // A record that was lost and is put back is neither late nor somebody else's, and one that is written anew is no new one. Only
    // history can tell; it is asked where a rule speaks, or where a reason for being late keeps it silent.
    let mut any_before = false;
    for new in &mut checks {
        let said = findings
            .iter()
            .any(|finding| finding.place.path == new.doc.path);
        if (said || new.check.late_reason.is_some())
            && let Ok(performed) = book.zone.instant(&new.check.performed)
            && let Some(same) = (change.earlier)(&new.doc.path, performed)?
        {
            any_before = true;
            new.before = match same {
                true => Before::Same,
                false => Before::Other,
            };
        }
    }
    if any_before {
        findings = by_rules(&checks);
    }
    if findings.is_empty() {
        return Ok(JudgedChange { findings, resting });
    }
    // How grave they are only the policies tell.
    let book = facts_after(&wanted, Part::All)?;
    let book: &Book = &book;
    for new in &checks {
        let policy = View::of(book, &new.doc, &new.check, &new.id).and_then(|view| view.policy);
        for finding in &mut findings {
            if finding.place.path == new.doc.path {
                raise_by_policy(policy, std::slice::from_mut(finding));
            }
        }
    }
    let in_force = book.policy_at(book.zone.date(change.at), None);
    for finding in &mut findings {
        if !checks.iter().any(|new| new.doc.path == finding.place.path) {
            raise_by_policy(in_force, std::slice::from_mut(finding));
        }
        finding.commit = change.id.map(str::to_owned);
    }
    Ok(JudgedChange { findings, resting })
}

fn read_as<R: Record>(path: &str, source: &dyn Source) -> Result<Option<Loaded<R>>, LoadError> {
    let Some(bytes) = source.read(path)? else {
        return Ok(None);
    };
    let parsed = parse::<R>(path, bytes)?;
    let read = parsed.doc.zip(parsed.record);
    Ok(read.map(|(doc, record)| Loaded { doc, record }))
}

/// The facts that a commit changes for one of its parents, and what that does to checks committed there.
#[allow(clippy::type_complexity)]
fn of_facts(
    change: &Change<'_>,
    clock: Clock,
    rests: &Rests,
) -> Result<(Vec<Effect>, Vec<Effect>, BTreeSet<String>), LoadError> {
    let mut altered = Vec::new();
    let mut backdated = Vec::new();
    let mut all_resting = BTreeSet::new();
    for (index, parent) in change.parents.iter().enumerate() {
        let mut known_elsewhere: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        let mut changed = Vec::new();
        for path in parent.changed.iter().filter(|path| is_fact(path)) {
            let from = change.taken_from(index, path)?;
            if change.parents.len() > 1
                && let Some(lost) = lost_rows(change, index, path)?
            {
                altered.push(lost);
            }
            // What was corrected stays told, whoever took the file from where.
            let lost = facts::rows_lost(path, parent.before, change.after)?;
            if from.is_empty()
                && let Some(row) = lost.into_iter().find(facts::Row::is_correction)
                && change.after.read(path)?.is_some()
            {
                altered.push(Effect {
                    place: facts::difference(path, Some(parent.before), change.after)?.place,
                    was: Some(row.place),
                    why: Why::LostCorrection,
                    affected: Vec::new(),
                });
            }
            if facts::same_values(path, parent.before, change.after)? {
                continue;
            }
            if !from.is_empty() {
                known_elsewhere.insert(path, from);
            }
            changed.push(path.as_str());
        }
        // What a side of the merge brought was judged there for all checks that this side knows too.
        let judged_there = |path: &str, fact: &str| -> Result<bool, LoadError> {
            for other in known_elsewhere.get(fact).into_iter().flatten() {
                if change.parents[*other].before.what(path)?.is_some() {
                    return Ok(true);
                }
            }
            Ok(false)
        };
        let mut resting: BTreeMap<&str, Vec<String>> = BTreeMap::new();
        let mut checks = BTreeSet::new();
        for fact in &changed {
            let mut own = Vec::new();
            for path in rests.on(fact, parent.before, change.after)? {
                all_resting.insert(path.clone());
                if !judged_there(&path, fact)? {
                    checks.insert(path.clone());
                    own.push(path);
                }
            }
            resting.insert(fact, own);
        }
        if checks.is_empty() {
            continue;
        }
        let checks: Vec<String> = checks.into_iter().collect();
        let mixed = Mixed {
            facts: change.after,
            records: parent.before,
        };
        let instead = |files| {
            let mut overlay = Overlay::over(&mixed);
            overlay.files = files;
            overlay
        };
        let all = effects(parent.before, &mixed, &checks, clock)?;
        if all.is_empty() {
            continue;
        }
        // The change without what it is allowed to do.
        let mut bare = BTreeMap::new();
        let mut uncorrected = BTreeMap::new();
        let mut in_time = BTreeMap::new();
        for fact in &changed {
            let allowed = facts::allowed(fact, parent.before, change.after)?;
            for (without, into) in [
                (allowed.without_both, &mut bare),
                (allowed.without_corrections, &mut uncorrected),
                (allowed.without_late_rows, &mut in_time),
            ] {
                if let Some(bytes) = without {
                    into.insert((*fact).to_owned(), bytes);
                }
            }
        }
        let strict = match bare.is_empty() {
            true => all,
            false => effects(parent.before, &instead(bare), &checks, clock)?,
        };
        let is_strict = |path: &str| strict.iter().any(|one| one.path == path);
        let mut not_amended = Vec::new();
        if !uncorrected.is_empty() {
            for one in effects(parent.before, &instead(in_time), &checks, clock)? {
                if !is_strict(&one.path) && !is_amended(change.after, &one.path)? {
                    not_amended.push(one);
                }
            }
        }
        let late: Vec<_> = effects(parent.before, &instead(uncorrected), &checks, clock)?
            .into_iter()
            .filter(|one| !is_strict(&one.path))
            .collect();
        for fact in &changed {
            let rests = resting.get(fact).map(Vec::as_slice).unwrap_or_default();
            let difference = facts::difference(fact, Some(parent.before), change.after)?;
            let tell = |why, affected: &[super::effect::Affected], into: &mut Vec<Effect>| {
                let own = affected.iter().filter(|one| rests.contains(&one.path));
                let affected: Vec<_> = own.cloned().collect();
                if !affected.is_empty() {
                    into.push(Effect {
                        place: difference.place.clone(),
                        was: difference.was.clone(),
                        why,
                        affected,
                    });
                }
            };
            tell(Why::Effect, &strict, &mut altered);
            tell(Why::NotAmended, &not_amended, &mut altered);
            tell(Why::Late, &late, &mut backdated);
        }
    }
    Ok((altered, backdated, all_resting))
}

fn is_amended(source: &dyn Source, path: &str) -> Result<bool, LoadError> {
    let Slot::Record(Kind::Check, id) = slot(path) else {
        return Ok(false);
    };
    let next = crate::parse::layout::CheckName::parse(&id).map(|name| name.next().path());
    Ok(match next {
        Some(next) => source.what(&next)?.is_some(),
        None => false,
    })
}

/// Rows that a parent of a merge has, that the merge lacks, and that no other side took away.
fn lost_rows(change: &Change<'_>, index: usize, path: &str) -> Result<Option<Effect>, LoadError> {
    let own = change.parents[index].before;
    let lost = facts::rows_lost(path, own, change.after)?;
    for row in lost {
        let mut taken_away = false;
        for (other, parent) in change.parents.iter().enumerate() {
            if other == index || facts::has_row(path, parent.before, &row)? {
                continue;
            }
            for base in (change.parted)(index, other)? {
                taken_away |= facts::has_row(path, base.as_ref(), &row)?;
            }
        }
        if !taken_away {
            let place = match change.after.read(path)? {
                Some(_) => facts::difference(path, Some(own), change.after)?.place,
                None => Place::whole(path),
            };
            return Ok(Some(Effect {
                place,
                was: Some(row.place),
                why: Why::LostRow,
                affected: Vec::new(),
            }));
        }
    }
    Ok(None)
}
