//! The gate: a change of the book, judged before it becomes part of what may not change any more.

use crate::book::{Book, Clock, LoadError};
use crate::finding::{Finding, Severity};
use crate::parse::layout::{MARKER, Slot, slot};
use crate::record::Kind;
use crate::rules::{self, Outcome, Part, Rests, Wanted};
use crate::source::git::{Change, Comparison, Repository, Staged, Version};
use crate::source::{Source, SourceError, What};
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// What the gate found.
pub enum Gate {
    Judged(Box<Outcome>),
    /// Neither side of the change holds a book here.
    NoBook,
}

/// Judges a snapshot: `rules::run`, watched by whoever asked.
pub type Judge<'a> = dyn Fn(&dyn Source, &Wanted<'_>) -> Result<Outcome, LoadError> + Sync + 'a;

/// What a change brings, as the rules for records need it.
#[derive(Default)]
pub(super) struct Brought {
    /// The checks, reviews and other files that are new or changed, each with the commit that did it last.
    pub new: BTreeMap<String, Option<String>>,
    /// The committed checks that rest on changed facts, with the commit that changed one last.
    pub resting: BTreeMap<String, Option<String>>,
    /// A fact is gone: whatever names it must be told.
    pub fact_gone: bool,
}

/// Judges what is staged: staged records by every rule, the others by what the change does to them.
pub fn staged(
    repository: &Repository,
    comparison: Comparison,
    clock: Clock,
    judge: &Judge<'_>,
) -> Result<Gate, LoadError> {
    let parents = repository.parents()?;
    let against = || -> Result<Vec<Vec<Change>>, SourceError> {
        let mut against = vec![repository.staged(comparison)?];
        for other in parents.iter().skip(1) {
            against.push(repository.staged_against(other)?);
        }
        Ok(against)
    };
    let head = parents.first().map(String::as_str);
    // While git compares, what nearly every gate needs is made ready. Waiting is what the other thread does: a new
    // thread with work of its own is put beside git on one processor, as was seen, while the first lies idle.
    let (against, before, author) = std::thread::scope(|scope| {
        let against = scope.spawn(against);
        let before = Staged::open(repository, head);
        if let Ok(before) = &before {
            let last = before.last_below(Kind::Check.folder()).ok().flatten();
            // Nobody asked about that check, so not even a panic over it may be the gate's answer.
            let rehearse = || rules::rehearse(before, last.unwrap_or_default());
            let _ = std::panic::catch_unwind(std::panic::AssertUnwindSafe(rehearse));
        }
        let author = repository.author();
        (against.join(), before, author)
    });
    let against = against.unwrap_or_else(|panic| std::panic::resume_unwind(panic))?;
    let before = before?;
    let first = against.first().cloned().unwrap_or_default();
    if let Some(change) = first.iter().find(|change| change.unmerged) {
        return Err(LoadError::Source(SourceError::new(
            format!("{} is not merged yet", change.path),
            "resolve the conflict, stage the file with git add, then commit",
        )));
    }
    let committed = before.at(head)?;
    let source = before.with(&first);
    let has_marker = source.read(MARKER)?.is_some();
    let had_marker = against
        .iter()
        .flatten()
        .any(|change| change.path == MARKER && change.old.is_some());
    if !has_marker && !had_marker {
        if holds_records(&source)? {
            return Err(no_marker());
        }
        return Ok(Gate::NoBook);
    }
    let mut findings = Vec::new();
    let names: Vec<String> = parents.iter().enumerate().map(parent_name).collect();
    let snapshots = || -> Result<Vec<Staged>, SourceError> {
        let mut snapshots = Vec::new();
        for parent in &parents {
            snapshots.push(committed.at(Some(parent))?);
        }
        Ok(snapshots)
    };
    let snapshots = snapshots()?;
    findings.extend(sealed(
        repository, &parents, &names, &source, &against, None,
    )?);
    if !has_marker {
        findings.sort();
        findings.dedup();
        return Ok(Gate::Judged(Box::new(Outcome {
            findings,
            ..Outcome::default()
        })));
    }
    let parted = parted(repository, &committed, &parents);
    let earlier = earlier(repository, &parents, &against);
    let touches_facts = against
        .iter()
        .flatten()
        .any(|change| rules::is_fact(&change.path));
    let facts = |wanted: &BTreeSet<String>, part: Part| {
        let book = match part {
            Part::People if !touches_facts => Book::people(&source, clock, wanted)?,
            _ => Book::facts(&source, clock)?,
        };
        Ok(Arc::new(book))
    };
    let by_change = || -> Result<rules::JudgedChange, LoadError> {
        let changes = rules::Change {
            id: None,
            author: author.as_deref(),
            at: clock.now,
            now: clock.now,
            parents: parents
                .iter()
                .zip(&snapshots)
                .zip(&against)
                .map(|((id, before), changes)| {
                    Ok(rules::Parent {
                        id,
                        at: repository.commit_head(before, id)?.committed,
                        before,
                        changed: changed(changes),
                    })
                })
                .collect::<Result<_, SourceError>>()?,
            first: match parents.is_empty() {
                true => changed(&first),
                false => Vec::new(),
            },
            after: &source,
            judges: snapshots.first().map(|snapshot| snapshot as &dyn Source),
            parted: &parted,
            earlier: &earlier,
        };
        rules::judge_commit(&changes, &facts, &Rests::default())
    };
    let mut brought = Brought {
        new: own_changes(&against)
            .filter(|change| change.new.is_some())
            .map(|change| (change.path.clone(), None))
            .collect(),
        resting: BTreeMap::new(),
        fact_gone: first
            .iter()
            .any(|change| change.new.is_none() && rules::is_fact(&change.path)),
    };
    let added = added(&first);
    let judged = by_change()?;
    // Only the change rules tell which checks rest on what is changed.
    let resting = judged.resting.iter().map(|path| (path.clone(), None));
    brought.resting = resting.collect();
    let mut outcome = of_records(&source, &brought, &added, judge)?;
    findings.extend(judged.findings);
    findings.append(&mut outcome.findings);
    findings.extend(links_among(&first, &brought.new));
    findings.sort();
    findings.dedup();
    mention_unstaged(repository, &mut findings)?;
    outcome.findings = findings;
    Ok(Gate::Judged(Box::new(outcome)))
}

pub(super) fn no_marker() -> LoadError {
    LoadError::Source(SourceError::new(
        format!(
            "there are checks here, committed or staged, but no {MARKER}, so nothing can judge them"
        ),
        format!("put {MARKER} back: git log -- {MARKER} tells when it went"),
    ))
}

/// What a change does to sealed records and to the marker, against each parent.
pub(super) fn sealed(
    repository: &Repository,
    parents: &[String],
    names: &[String],
    source: &Staged,
    against: &[Vec<Change>],
    commit: Option<&str>,
) -> Result<Vec<Finding>, LoadError> {
    let mut findings = Vec::new();
    for (changes, parent) in against.iter().zip(names) {
        for change in changes {
            let clash = clashes(against, change);
            findings.extend(touched(
                repository, parents, source, change, parent, clash, commit,
            )?);
        }
    }
    let gone = against.iter().zip(names).find_map(|(changes, parent)| {
        let is_file = |version: &&Version| version.what() == What::File;
        let change = changes.iter().find(|change| change.path == MARKER)?;
        let old = change.old.as_ref().filter(is_file)?;
        let stays = change.new.as_ref().filter(is_file).is_some();
        (!stays).then_some((old, parent))
    });
    if let Some((old, parent)) = gone
        && holds_records(source).unwrap_or(true)
    {
        findings.extend(rules::judge_change(&rules::Touched {
            path: MARKER,
            before: &source.blob(&old.id)?,
            after: None,
            restores_first: false,
            parent,
            clash: false,
            commit,
        }));
    }
    Ok(findings)
}

/// Where two parents of a merge parted.
pub(super) fn parted<'a>(
    repository: &'a Repository,
    snapshot: &'a Staged,
    parents: &'a [String],
) -> impl Fn(usize, usize) -> Result<Vec<Box<dyn Source>>, SourceError> + 'a {
    move |one, other| {
        let (Some(one), Some(other)) = (parents.get(one), parents.get(other)) else {
            return Ok(Vec::new());
        };
        let mut bases: Vec<Box<dyn Source>> = Vec::new();
        for base in repository.parted_at(one, other)? {
            bases.push(Box::new(snapshot.at(Some(&base))?));
        }
        Ok(bases)
    }
}

/// Whether a check that is new to the parents was committed before all the same, and with these bytes.
pub(super) fn earlier<'a>(
    repository: &'a Repository,
    parents: &'a [String],
    against: &'a [Vec<Change>],
) -> impl Fn(&str, Timestamp) -> Result<Option<bool>, SourceError> + 'a {
    move |path, since| {
        let Some(first) = repository.first_version_since(parents, path, Some(since))? else {
            return Ok(None);
        };
        let new = against.first().and_then(|changes| {
            let change = changes.iter().find(|change| change.path == path)?;
            change.new.as_ref()
        });
        Ok(Some(new.is_some_and(|new| new.id == first)))
    }
}

/// The paths that changes are about, in order.
pub(super) fn changed(changes: &[Change]) -> Vec<String> {
    let mut paths: Vec<String> = changes.iter().map(|change| change.path.clone()).collect();
    paths.sort();
    paths.dedup();
    paths
}

/// What is as no parent has it; what came unchanged from another parent is not new.
pub(super) fn own_changes(against: &[Vec<Change>]) -> impl Iterator<Item = &Change> {
    let others: Vec<BTreeSet<&str>> = against
        .iter()
        .skip(1)
        .map(|changes| changes.iter().map(|change| change.path.as_str()).collect())
        .collect();
    let first = against.first().map(Vec::as_slice).unwrap_or_default();
    first.iter().filter(move |change| {
        others
            .iter()
            .all(|paths| paths.contains(change.path.as_str()))
    })
}

/// The paths that were not there before.
fn added(changes: &[Change]) -> BTreeSet<String> {
    let new = changes.iter().filter(|change| change.old.is_none());
    new.map(|change| change.path.clone()).collect()
}

/// Judges what a change brings by the rules for records, in the book as the change leaves it.
pub(super) fn of_records(
    source: &dyn Source,
    brought: &Brought,
    added: &BTreeSet<String>,
    judge: &Judge<'_>,
) -> Result<Outcome, LoadError> {
    let mut wanted = BTreeSet::new();
    for path in brought.new.keys() {
        if matches!(slot(path), Slot::Record(..)) && source.what(path)?.is_some() {
            wanted.insert(path.clone());
        }
    }
    for path in brought.resting.keys() {
        if source.what(path)?.is_some() {
            wanted.insert(path.clone());
        }
    }
    let wanted: Vec<String> = wanted.into_iter().collect();
    let mut outcome = match brought.fact_gone {
        true => judge(source, &Wanted::All)?,
        false => judge(source, &Wanted::Only(&wanted))?,
    };
    let rests_on = std::mem::take(&mut outcome.rests_on);
    // A nonconformity decides about what cannot be undone; what is not committed yet can be.
    for finding in &mut outcome.findings {
        let path = &finding.place.path;
        if outcome.softened.contains(&(finding.rule, path.clone())) && added.contains(path) {
            finding.severity = Severity::Error;
        }
    }
    // One figure tells that the facts moved under a committed check; all the others follow.
    let mut told = BTreeSet::new();
    outcome.findings.retain_mut(|finding| {
        let path = &finding.place.path;
        // The facts moved under it after it was committed.
        if finding.rule == "computed-differs"
            && let Some(commit) = brought.resting.get(path)
        {
            finding.commit.clone_from(commit);
            return told.insert(path.clone());
        }
        if let Some(commit) = brought.new.get(path) {
            finding.commit.clone_from(commit);
            return true;
        }
        let unreadable = rules::is_reading(finding.rule)
            && finding.severity == Severity::Error
            && rests_on.contains(path);
        // Of checks fact-altered says so.
        let names_what_is_gone = brought.fact_gone
            && finding.rule == "reference-missing"
            && !matches!(slot(path), Slot::Record(Kind::Check, _));
        unreadable || names_what_is_gone
    });
    Ok(outcome)
}

/// A parent as git's commands take it.
fn parent_name((index, id): (usize, &String)) -> String {
    match index {
        0 => "HEAD".to_owned(),
        _ => id.chars().take(12).collect(),
    }
}

/// Whether the parents of a merge hold different versions of a path.
fn clashes(against: &[Vec<Change>], change: &Change) -> bool {
    against.len() > 1
        && against.iter().any(|changes| {
            let other = changes.iter().find(|other| other.path == change.path);
            match (other.map_or(&change.new, |other| &other.old), &change.old) {
                (Some(other), Some(own)) => !other.same_as(own),
                _ => false,
            }
        })
}

/// Whether checks or reviews stand in what is judged.
pub(super) fn holds_records(source: &Staged) -> Result<bool, SourceError> {
    for kind in [Kind::Check, Kind::Review] {
        let entries = source.list(kind.folder())?;
        if entries
            .iter()
            .any(|entry| matches!(slot(&entry.path), Slot::Record(..)))
        {
            return Ok(true);
        }
    }
    Ok(false)
}

/// Links, special files and strays among staged files, since checks and reviews are not listed as a whole.
pub(super) fn links_among(
    changes: &[Change],
    new: &BTreeMap<String, Option<String>>,
) -> Vec<Finding> {
    let entries: Vec<_> = changes
        .iter()
        .filter(|change| new.contains_key(&change.path))
        .filter_map(|change| {
            let what = change.new.as_ref()?.what();
            Some(crate::source::Entry {
                path: change.path.clone(),
                what,
            })
        })
        .collect();
    let mut findings = rules::judge_entries(&entries);
    for finding in &mut findings {
        if let Some(commit) = new.get(&finding.place.path) {
            finding.commit.clone_from(commit);
        }
    }
    findings
}

/// What the change does to one path, against one parent.
fn touched(
    repository: &Repository,
    parents: &[String],
    source: &Staged,
    change: &Change,
    parent: &str,
    clash: bool,
    commit: Option<&str>,
) -> Result<Vec<Finding>, LoadError> {
    let Some(old) = change
        .old
        .as_ref()
        .filter(|_| rules::is_sealed(&change.path))
    else {
        return Ok(Vec::new());
    };
    if change.new.as_ref().is_some_and(|new| new.same_as(old)) {
        return Ok(Vec::new());
    }
    let after = match &change.new {
        Some(new) => Some(source.blob(&new.id)?),
        None => None,
    };
    let restores_first = match &change.new {
        Some(new) => repository.first_version(parents, &change.path)?.as_deref() == Some(&new.id),
        None => false,
    };
    Ok(rules::judge_change(&rules::Touched {
        path: &change.path,
        before: &source.blob(&old.id)?,
        after: after.as_deref(),
        restores_first,
        parent,
        clash,
        commit,
    }))
}

/// Says where the file in the folder is not the staged one, so that nobody mends the wrong text.
fn mention_unstaged(repository: &Repository, findings: &mut [Finding]) -> Result<(), LoadError> {
    let paths: BTreeSet<String> = findings
        .iter()
        .map(|finding| finding.place.path.clone())
        .collect();
    if paths.is_empty() {
        return Ok(());
    }
    let paths: Vec<String> = paths.into_iter().collect();
    let edited = repository.unstaged_edits(&paths)?;
    for finding in findings
        .iter_mut()
        .filter(|finding| edited.contains(&finding.place.path))
    {
        finding.help += ". The gate read the staged text; the file in your folder differs from it: stage it with git add when it is right";
    }
    Ok(())
}
