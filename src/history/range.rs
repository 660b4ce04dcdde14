//! A range of commits, and a push: each commit against its parents, and what they bring in the book as they leave it.

use super::gate::{
    Brought, Gate, Judge, changed, earlier, holds_records, links_among, no_marker, of_records,
    own_changes, parted, sealed,
};
use crate::book::{Book, Clock, LoadError};
use crate::finding::Finding;
use crate::parse::layout::MARKER;
use crate::parse::parse;
use crate::record::Kind;
use crate::record::book::{Book as Marker, Gate as Settings};
use crate::rules::{self, Moved, Outcome, Rests};
use crate::source::git::{Change, FactsKey, Repository, Staged};
use crate::source::walk::Commit;
use crate::source::{self, Entry, Part, Source, SourceError, What};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Which commits are judged, and by whose settings.
pub struct Range {
    /// The last commit.
    pub tip: String,
    /// What leads to these was judged before.
    pub known: Vec<String>,
    /// The commit whose book's settings, people and keys judge; `None` for the tip's own.
    pub judges: Option<String>,
}

/// One line that git tells a server's hook: a ref, from and to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    pub name: String,
    /// `None` where it is new.
    pub was: Option<String>,
    /// `None` where it is deleted.
    pub is: Option<String>,
}

impl Line {
    /// `<old> <new> <ref>`; a name of zeros stands for nothing.
    pub fn read(line: &str) -> Option<Line> {
        let mut parts = line.splitn(3, ' ');
        let (was, is, name) = (parts.next()?, parts.next()?, parts.next()?);
        let id = |text: &str| {
            let shape =
                matches!(text.len(), 40 | 64) && text.bytes().all(|byte| byte.is_ascii_hexdigit());
            shape.then(|| (!text.bytes().all(|byte| byte == b'0')).then(|| text.to_owned()))
        };
        Some(Line {
            name: name.to_owned(),
            was: id(was)?,
            is: id(is)?,
        })
    }
}

/// The book as a range leaves it, with what is known of how it came so.
struct Tip<'a> {
    repository: &'a Repository,
    tree: &'a Staged,
    tip: &'a str,
    brought: &'a Brought,
    added: &'a BTreeSet<String>,
    /// The author's e-mail of each commit of the range.
    authors: &'a BTreeMap<String, String>,
}

impl Source for Tip<'_> {
    fn list(&self, folder: &str) -> Result<Vec<Entry>, SourceError> {
        self.tree.list(folder)
    }

    fn top(&self) -> Result<Vec<String>, SourceError> {
        self.tree.top()
    }

    fn what(&self, path: &str) -> Result<Option<What>, SourceError> {
        self.tree.what(path)
    }

    fn read(&self, path: &str) -> Result<Option<Vec<u8>>, SourceError> {
        self.tree.read(path)
    }

    fn is_new(&self, path: &str) -> Result<bool, SourceError> {
        Ok(self.added.contains(path))
    }

    fn is_pending(&self, path: &str) -> bool {
        self.brought.new.contains_key(path)
    }

    fn brought_by(
        &self,
        review: &str,
        covered: &str,
        part: Part,
    ) -> Result<Option<source::Brought>, SourceError> {
        if !self.added.contains(review) {
            return Ok(None);
        }
        let by = match part {
            Part::File if !self.added.contains(covered) => None,
            _ => self.brought.new.get(covered).cloned().flatten(),
        };
        match by.and_then(|id| Some((self.authors.get(&id)?, id))) {
            Some((email, id)) => Ok(Some(source::Brought {
                email: email.clone(),
                commit: Some(id.chars().take(12).collect()),
            })),
            None => self
                .repository
                .brought(&[self.tip.to_owned()], covered, part),
        }
    }
}

/// So many snapshots are kept at hand; the next commit mostly needs the one before.
const KEPT: usize = 32;

/// Snapshots of commits, and the facts that they hold.
struct Books<'a> {
    snapshot: &'a Staged,
    clock: Clock,
    commits: BTreeMap<String, Arc<Staged>>,
    facts: Option<(FactsKey, Arc<Book>)>,
}

impl Books<'_> {
    fn at(&mut self, commit: &str) -> Result<Arc<Staged>, SourceError> {
        if let Some(known) = self.commits.get(commit) {
            return Ok(known.clone());
        }
        if self.commits.len() >= KEPT {
            self.commits.clear();
        }
        let made = Arc::new(self.snapshot.at(Some(commit))?);
        self.commits.insert(commit.to_owned(), made.clone());
        Ok(made)
    }

    /// The facts of a commit; commits with the same facts share them.
    fn facts(&mut self, source: &Staged) -> Result<Arc<Book>, LoadError> {
        let key = source.facts_key()?;
        if let Some((known, book)) = &self.facts
            && *known == key
        {
            return Ok(book.clone());
        }
        let book = Arc::new(Book::facts(source, self.clock)?);
        self.facts = Some((key, book.clone()));
        Ok(book)
    }
}

fn settings(source: &dyn Source) -> Result<Option<Settings>, LoadError> {
    Ok(match source.read(MARKER)? {
        Some(bytes) => parse::<Marker>(MARKER, bytes)?
            .record
            .map(|marker| marker.gate),
        None => None,
    })
}

/// Judges the commits of a range.
pub fn range(
    repository: &Repository,
    range: &Range,
    clock: Clock,
    judge: &Judge<'_>,
) -> Result<Gate, LoadError> {
    repository.whole_history()?;
    known_range(repository, range, clock, judge)
}

/// The same, where whoever asks knows that the commits of the range and their parents are there.
pub(super) fn known_range(
    repository: &Repository,
    range: &Range,
    clock: Clock,
    judge: &Judge<'_>,
) -> Result<Gate, LoadError> {
    let snapshot = Staged::open(repository, Some(&range.tip))?;
    let rests = Rests::default();
    range_with(repository, &snapshot, range, clock, judge, &rests)
}

fn range_with(
    repository: &Repository,
    snapshot: &Staged,
    range: &Range,
    clock: Clock,
    judge: &Judge<'_>,
    rests: &Rests,
) -> Result<Gate, LoadError> {
    let tip = snapshot.at(Some(&range.tip))?;
    let judges = match &range.judges {
        Some(commit) => Some(snapshot.at(Some(commit))?),
        None => None,
    };
    // Where there was no book yet, the book judges itself.
    let judges = match judges {
        Some(judges) if judges.read(MARKER)?.is_some() => Some(judges),
        _ => None,
    };
    let asked = match &judges {
        Some(judges) => settings(judges)?,
        None => settings(&tip)?,
    };
    let mut known = range.known.clone();
    if let Some(from) = asked.and_then(|settings| settings.audit_from)
        && let Some(from) = repository.commit(&from)?
    {
        known.push(from);
    }
    let commits = repository.commits(snapshot, std::slice::from_ref(&range.tip), &known)?;
    let mut books = Books {
        snapshot,
        clock,
        commits: BTreeMap::new(),
        facts: None,
    };
    let judges: &dyn Source = match &judges {
        Some(judges) => judges,
        None => &tip,
    };
    let mut findings = Vec::new();
    let mut brought = Brought::default();
    let mut added = BTreeSet::new();
    let mut book_seen = false;
    for commit in &commits {
        repository.limits.time()?;
        book_seen |= one(
            repository,
            &mut books,
            commit,
            judges,
            clock,
            rests,
            &mut findings,
            &mut brought,
            &mut added,
        )?;
    }
    if tip.read(MARKER)?.is_none() {
        let gone = findings.iter().any(|finding| finding.place.path == MARKER);
        if !gone && holds_records(&tip)? {
            return Err(no_marker());
        }
        if !book_seen && findings.is_empty() {
            return Ok(Gate::NoBook);
        }
        findings.sort();
        findings.dedup();
        return Ok(Gate::Judged(Box::new(Outcome {
            findings,
            ..Outcome::default()
        })));
    }
    let authors = commits
        .iter()
        .map(|commit| (commit.id.clone(), commit.author.clone()))
        .collect();
    let source = Tip {
        repository,
        tree: &tip,
        tip: &range.tip,
        brought: &brought,
        added: &added,
        authors: &authors,
    };
    let mut outcome = of_records(&source, &brought, &added, judge)?;
    findings.append(&mut outcome.findings);
    findings.sort();
    findings.dedup();
    outcome.findings = findings;
    Ok(Gate::Judged(Box::new(outcome)))
}

/// Judges one commit by the change rules; whether there is a book in it.
#[allow(clippy::too_many_arguments)]
fn one(
    repository: &Repository,
    books: &mut Books<'_>,
    commit: &Commit,
    judges: &dyn Source,
    clock: Clock,
    rests: &Rests,
    findings: &mut Vec<Finding>,
    brought: &mut Brought,
    added: &mut BTreeSet<String>,
) -> Result<bool, LoadError> {
    let after = books.at(&commit.id)?;
    let mut folders: BTreeSet<&str> = BTreeSet::from([""]);
    for change in commit.changes.iter().flatten() {
        let mut path = change.path.as_str();
        while let Some((folder, _)) = path.rsplit_once('/') {
            folders.insert(folder);
            path = folder;
        }
    }
    for folder in folders {
        after.must_be_sound(folder)?;
    }
    let mut befores = Vec::new();
    for parent in &commit.parents {
        let before = books.at(parent)?;
        let head = repository.commit_head(&before, parent)?;
        befores.push((parent, head.committed, before));
    }
    let names: Vec<String> = commit
        .parents
        .iter()
        .map(|id| id.chars().take(12).collect())
        .collect();
    let own_id = Some(commit.id.clone());
    let mut said = Vec::new();
    if !commit.parents.is_empty() {
        said.extend(sealed(
            repository,
            &commit.parents,
            &names,
            &after,
            &commit.changes,
            Some(&commit.id),
        )?);
        for finding in &mut said {
            finding.commit.clone_from(&own_id);
        }
    }
    let has_book = after.read(MARKER)?.is_some();
    let mut had_book = false;
    for (_, _, before) in &befores {
        had_book |= before.read(MARKER)?.is_some();
    }
    let moved = match has_book && !had_book {
        true => moved(repository, commit, &mut said)?,
        false => BTreeSet::new(),
    };
    let changes: Vec<Vec<Change>> = commit
        .changes
        .iter()
        .map(|changes| {
            let stay = changes
                .iter()
                .filter(|change| !moved.contains(&change.path));
            stay.cloned().collect()
        })
        .collect();
    let mut new = BTreeMap::new();
    for change in own_changes(&changes) {
        match &change.new {
            Some(_) => {
                if change.old.is_none() {
                    added.insert(change.path.clone());
                }
                new.insert(change.path.clone(), own_id.clone());
            }
            None => {
                brought.new.remove(&change.path);
                brought.fact_gone |= rules::is_fact(&change.path);
            }
        }
    }
    // What lies among the records and is none stays told, even where a later commit takes it away.
    let all: Vec<_> = own_changes(&changes).cloned().collect();
    said.extend(links_among(&all, &new));
    if has_book {
        let snapshot = books.snapshot;
        let earlier = earlier(repository, &commit.parents, &changes);
        let parted = parted(repository, snapshot, &commit.parents);
        let change = rules::Change {
            id: Some(&commit.id),
            author: Some(commit.author.as_str()),
            at: commit.committed,
            now: clock.now,
            parents: befores
                .iter()
                .zip(&changes)
                .map(|((id, at, before), changes)| rules::Parent {
                    id,
                    at: *at,
                    before: before.as_ref(),
                    changed: changed(changes),
                })
                .collect(),
            first: match commit.parents.is_empty() {
                true => changes.first().map(|one| changed(one)).unwrap_or_default(),
                false => Vec::new(),
            },
            after: after.as_ref(),
            judges: Some(judges),
            parted: &parted,
            earlier: &earlier,
        };
        let book = books.facts(&after)?;
        let facts = |_: &BTreeSet<String>, _| Ok(book.clone());
        let judged = rules::judge_commit(&change, &facts, rests)?;
        said.extend(judged.findings);
        for path in judged.resting {
            brought.resting.insert(path, own_id.clone());
        }
    }
    for (path, id) in new {
        brought.new.insert(path, id);
    }
    findings.append(&mut said);
    Ok(has_book)
}

/// The records of a book that a commit moves here from another folder: each has another name now, which alters it.
fn moved(
    repository: &Repository,
    commit: &Commit,
    said: &mut Vec<Finding>,
) -> Result<BTreeSet<String>, LoadError> {
    let mut moved = BTreeSet::new();
    let stay = repository.books(&commit.id, MARKER)?;
    for parent in &commit.parents {
        for folder in repository.books(parent, MARKER)? {
            if stay.contains(&folder) {
                continue;
            }
            let before = Staged::open(&repository.with_book(&folder), Some(parent))?;
            for kind in [Kind::Check, Kind::Review, Kind::Nonconformity] {
                for entry in before.list(kind.folder())? {
                    let path = entry.path;
                    if !rules::is_sealed(&path) || moved.contains(&path) {
                        continue;
                    }
                    let touched = rules::Touched {
                        path: &path,
                        before: &before.read(&path)?.unwrap_or_default(),
                        after: None,
                        restores_first: false,
                        parent: &parent.chars().take(12).collect::<String>(),
                        clash: false,
                        commit: Some(&commit.id),
                    };
                    for mut finding in rules::judge_change(&touched) {
                        finding.commit = Some(commit.id.clone());
                        said.push(finding);
                    }
                    moved.insert(path);
                }
            }
        }
    }
    Ok(moved)
}

/// Judges a push before any ref moves. The objects are seen through what git tells its hook.
pub fn push(
    repository: &Repository,
    lines: &[Line],
    clock: Clock,
    judge: &Judge<'_>,
) -> Result<Gate, LoadError> {
    repository.whole_history()?;
    let lines_of = |name: &str| lines.iter().find(|line| line.name == name);
    let head = repository.head_branch();
    // What a ref stood for before the push; refs that it does not name stand where they are.
    let stood = |name: &str| -> Result<Option<String>, SourceError> {
        match lines_of(name) {
            Some(line) => Ok(line.was.clone()),
            None => repository.commit(name),
        }
    };
    let mut any: Option<Staged> = None;
    let mut snapshot_at = |commit: &str| -> Result<Staged, SourceError> {
        match &any {
            Some(any) => any.at(Some(commit)),
            None => {
                let first = Staged::open(repository, Some(commit))?;
                let same = first.at(Some(commit))?;
                any = Some(first);
                Ok(same)
            }
        }
    };
    let at_head = match &head {
        Some(head) => stood(head)?,
        None => None,
    };
    let named = match &at_head {
        Some(commit) => settings(&snapshot_at(commit)?)?.and_then(|settings| settings.sealed_refs),
        None => None,
    };
    let sealed: Vec<String> = match named {
        Some(named) => named
            .into_iter()
            .map(|name| match name.starts_with("refs/") {
                true => name,
                false => format!("refs/heads/{name}"),
            })
            .collect(),
        None => head.into_iter().collect(),
    };
    let mut tips = Vec::new();
    for name in &sealed {
        tips.extend(stood(name)?);
    }
    let mut total = Outcome::default();
    let mut judged_any = false;
    let mut without_book = false;
    let mut seen: BTreeSet<(String, Option<String>)> = BTreeSet::new();
    let rests = Rests::default();
    for line in lines {
        repository.limits.time()?;
        let is_sealed = sealed.contains(&line.name);
        let commit = match &line.is {
            // A tag may stand for something that is no commit.
            Some(is) => repository.commit(is)?,
            None => None,
        };
        let was = match &line.was {
            Some(was) => repository.commit(was)?,
            None => None,
        };
        let grows = match (&was, &commit) {
            (Some(was), Some(is)) => repository.leads_to(was, is)?,
            _ => false,
        };
        let moved = rules::judge_moved(&Moved {
            name: &line.name,
            sealed: is_sealed,
            was: line.was.as_deref(),
            is: line.is.as_deref(),
            grows,
        });
        for mut finding in moved {
            finding.commit.clone_from(&line.is);
            total.findings.push(finding);
            judged_any = true;
        }
        let Some(tip) = commit else { continue };
        let mut known = tips.clone();
        known.extend(was.clone());
        let judges = match (is_sealed, &was) {
            (true, Some(was)) => Some(was.clone()),
            _ => match tips.first() {
                None => None,
                Some(sealed_tip) => match &line.was {
                    Some(_) => Some(sealed_tip.clone()),
                    None => repository.parted_at(sealed_tip, &tip)?.into_iter().next(),
                },
            },
        };
        if !seen.insert((tip.clone(), judges.clone())) {
            continue;
        }
        let snapshot = snapshot_at(&tip)?;
        let asked = Range { tip, known, judges };
        match range_with(repository, &snapshot, &asked, clock, judge, &rests)? {
            Gate::NoBook => without_book = true,
            Gate::Judged(outcome) => {
                judged_any = true;
                total.files += outcome.files;
                total.checks += outcome.checks;
                total.findings.extend(outcome.findings);
                if outcome.book.is_some() {
                    total.book = outcome.book;
                }
            }
        }
    }
    total.findings.sort();
    total.findings.dedup();
    Ok(match without_book && !judged_any {
        true => Gate::NoBook,
        false => Gate::Judged(Box::new(total)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_of_git_says_what_moves() {
        let one = "1".repeat(40);
        let none = "0".repeat(40);
        let line = |text: &str| Line::read(text);
        let read = line(&format!("{none} {one} refs/heads/a b")).expect("line");
        assert_eq!(read.name, "refs/heads/a b");
        assert_eq!((read.was, read.is), (None, Some(one.clone())));
        let gone = line(&format!("{one} {none} refs/tags/x")).expect("line");
        assert_eq!((gone.was, gone.is), (Some(one.clone()), None));
        for wrong in [
            "",
            "a b c",
            &format!("{one} {one}"),
            &format!("{one} x refs/heads/a"),
        ] {
            assert_eq!(line(wrong), None, "{wrong}");
        }
    }
}
