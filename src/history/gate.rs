//! The gate: what is staged, judged before it becomes a commit.

use crate::book::LoadError;
use crate::finding::{Finding, Severity};
use crate::parse::layout::{MARKER, Slot, folder_kind, slot};
use crate::record::Kind;
use crate::rules::{self, Outcome, Wanted};
use crate::source::git::{Change, Comparison, Repository, Staged};
use crate::source::{Source, SourceError};
use std::collections::BTreeSet;

/// What the gate found.
pub enum Gate {
    Judged(Box<Outcome>),
    /// Neither the commit nor the index holds a book here.
    NoBook,
}

/// Judges a snapshot: `rules::run`, watched by whoever asked.
pub type Judge<'a> = dyn Fn(&dyn Source, &Wanted<'_>) -> Result<Outcome, LoadError> + 'a;

/// Judges what is staged: staged records by every rule, the others by what the change does to them.
pub fn staged(
    repository: &Repository,
    comparison: Comparison,
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
    // While git compares, what nearly every gate needs is made ready.
    let (against, before) = std::thread::scope(|scope| {
        let before = scope.spawn(|| {
            let before = Staged::open(repository, head);
            if let Ok(before) = &before {
                let last = before.last_below(Kind::Check.folder()).ok().flatten();
                rules::rehearse(before, last.unwrap_or_default());
            }
            before
        });
        let against = against();
        (against, before.join())
    });
    let against = against?;
    let before = before.unwrap_or_else(|_| Staged::open(repository, head))?;
    let first = against.first().cloned().unwrap_or_default();
    if let Some(change) = first.iter().find(|change| change.unmerged) {
        return Err(LoadError::Source(SourceError::new(
            format!("{} is not merged yet", change.path),
            "resolve the conflict, stage the file with git add, then commit",
        )));
    }
    let source = before.with(&first);
    let has_marker = source.read(MARKER)?.is_some();
    let marker = against.iter().zip(&parents).find_map(|(changes, parent)| {
        let change = changes.iter().find(|change| change.path == MARKER);
        Some((change?.old.as_ref()?, parent))
    });
    if !has_marker && marker.is_none() {
        if holds_records(&source)? {
            return Err(LoadError::Source(SourceError::new(
                format!(
                    "there are checks here, committed or staged, but no {MARKER}, so nothing can judge them"
                ),
                format!("put {MARKER} back: git log -- {MARKER} tells when it went"),
            )));
        }
        return Ok(Gate::NoBook);
    }

    let mut findings = Vec::new();
    let names: Vec<String> = parents.iter().enumerate().map(parent_name).collect();
    for (changes, parent) in against.iter().zip(&names) {
        for change in changes {
            let clash = clashes(&against, change);
            findings.extend(touched(
                repository, &parents, &source, change, parent, clash,
            )?);
        }
    }
    if !has_marker {
        if let Some((old, _)) = marker.filter(|_| holds_records(&source).unwrap_or(true)) {
            findings.extend(rules::judge_change(&rules::Touched {
                path: MARKER,
                before: &source.blob(&old.id)?,
                after: None,
                restores_first: false,
                parent: "HEAD",
                clash: false,
            }));
        }
        findings.sort();
        findings.dedup();
        return Ok(Gate::Judged(Box::new(Outcome {
            findings,
            ..Outcome::default()
        })));
    }

    // What came unchanged from another parent is not new.
    let new: BTreeSet<String> = first
        .iter()
        .filter(|change| {
            against[1..]
                .iter()
                .all(|changes| changes.iter().any(|other| other.path == change.path))
        })
        .map(|change| change.path.clone())
        .collect();
    // In a merge a fact of one side may change what a check of the other rests on.
    let facts_change = against.iter().flatten().any(|change| is_fact(&change.path));
    let records: Vec<String> = new
        .iter()
        .filter(|path| matches!(slot(path), Slot::Record(Kind::Check | Kind::Review, _)))
        .filter(|path| {
            first
                .iter()
                .any(|change| change.path == **path && change.new.is_some())
        })
        .cloned()
        .collect();
    let wanted = match facts_change {
        true => Wanted::All,
        false => Wanted::Only(&records),
    };
    let mut outcome = judge(&source, &wanted)?;
    let rests_on = std::mem::take(&mut outcome.rests_on);
    // A nonconformity decides about what cannot be undone; what is not committed yet can be.
    for finding in &mut outcome.findings {
        let path = &finding.place.path;
        if new.contains(path)
            && outcome.softened.contains(&(finding.rule, path.clone()))
            && first
                .iter()
                .any(|change| change.path == *path && change.old.is_none())
        {
            finding.severity = Severity::Error;
        }
    }
    outcome.findings.retain(|finding| {
        let path = &finding.place.path;
        let follows =
            facts_change && matches!(finding.rule, "computed-differs" | "reference-missing");
        let unreadable = rules::is_reading(finding.rule)
            && finding.severity == Severity::Error
            && rests_on.contains(path);
        new.contains(path) || follows || unreadable
    });
    findings.append(&mut outcome.findings);
    findings.extend(links_among(&first, &new));
    findings.sort();
    findings.dedup();
    mention_unstaged(repository, &mut findings)?;
    outcome.findings = findings;
    Ok(Gate::Judged(Box::new(outcome)))
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
    against.iter().any(|changes| {
        let other = changes.iter().find(|other| other.path == change.path);
        match (other.map_or(&change.new, |other| &other.old), &change.old) {
            (Some(other), Some(own)) => !other.same_as(own),
            _ => false,
        }
    })
}

/// Whether checks or reviews stand in what is judged.
fn holds_records(source: &Staged) -> Result<bool, SourceError> {
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

pub(super) fn is_fact(path: &str) -> bool {
    let folder = path.split('/').next().unwrap_or("");
    let facts = folder_kind(folder).is_some_and(|kind| !matches!(kind, Kind::Check | Kind::Review));
    path == MARKER || (facts && path.contains('/'))
}

/// Links, special files and strays among staged checks and reviews, which are not listed as a whole.
pub(super) fn links_among(changes: &[Change], new: &BTreeSet<String>) -> Vec<Finding> {
    let entries: Vec<_> = changes
        .iter()
        .filter(|change| new.contains(&change.path))
        .filter_map(|change| {
            let what = change.new.as_ref()?.what();
            Some(crate::source::Entry {
                path: change.path.clone(),
                what,
            })
        })
        .collect();
    rules::judge_entries(&entries)
}

/// What the change does to one path, against one parent.
fn touched(
    repository: &Repository,
    parents: &[String],
    source: &Staged,
    change: &Change,
    parent: &str,
    clash: bool,
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
