//! A range of commits, as git understands it: what a branch brings that another did not have.

use super::SourceError;
use super::git::{Change, Repository};
use crate::text::nearest;

/// Two commits of one history, and what differs between them in the book's folder.
#[derive(Clone, Debug)]
pub struct Range {
    /// As it was asked for.
    pub from: String,
    pub to: String,
    /// The commit at which the two parted: what the change begins with.
    pub before: String,
    pub after: String,
    /// The commit that `from` names, which may have gone on since.
    pub other: String,
    /// The commits that `to` has and `from` has not.
    pub commits: usize,
    /// The branch that `to` names, without its remote.
    pub branch: Option<String>,
    /// Below the book's folder.
    pub changes: Vec<Change>,
}

/// Why a range cannot be looked at.
pub enum NoRange {
    /// It is not written as a range, or names no commit.
    Asked {
        message: String,
        help: String,
    },
    Source(SourceError),
}

impl From<SourceError> for NoRange {
    fn from(error: SourceError) -> NoRange {
        NoRange::Source(error)
    }
}

/// The two ends of `A..B`, `A...B` or `A`; an end that is left out is HEAD.
fn ends(text: &str) -> Result<(String, String), NoRange> {
    let or_head = |end: &str| match end {
        "" => "HEAD".to_owned(),
        end => end.to_owned(),
    };
    let (from, to) = match text.split_once("...").or_else(|| text.split_once("..")) {
        Some((from, to)) => (from, to),
        None => (text, "HEAD"),
    };
    let odd = |end: &str| {
        end.starts_with('-') || end.contains("..") || end.chars().any(|mark| mark.is_control())
    };
    if text.trim_matches('.').is_empty() || odd(from) || odd(to) {
        return Err(NoRange::Asked {
            message: format!("{text:?} is no range of commits"),
            help: "write it as A..B, such as main..my-branch: what my-branch has and main has not"
                .to_owned(),
        });
    }
    Ok((or_head(from), or_head(to)))
}

impl Range {
    pub fn of(repository: &Repository, text: &str) -> Result<Range, NoRange> {
        let (from, to) = ends(text)?;
        let (first, after) = (commit(repository, &from)?, commit(repository, &to)?);
        let before = merge_base(repository, (&from, &first), (&to, &after))?;
        let count = repository.ask(&["rev-list", "--count", &format!("{first}..{after}")])?;
        let changes = repository.between(&before, &after)?;
        Ok(Range {
            branch: branch(repository, &to)?,
            commits: String::from_utf8_lossy(&count).trim().parse().unwrap_or(0),
            from,
            to,
            before,
            after,
            other: first,
            changes,
        })
    }

    /// The folders that held a book where the change begins, relative to the top of the repository, each empty or ending in `/`.
    pub fn books_before(
        &self,
        repository: &Repository,
        marker: &str,
    ) -> Result<Vec<String>, SourceError> {
        repository.books(&self.before, marker)
    }
}

/// The commit that a name stands for.
fn commit(repository: &Repository, name: &str) -> Result<String, NoRange> {
    if let Some(commit) = repository.commit(name)? {
        return Ok(commit);
    }
    let known = repository.ask(&[
        "for-each-ref",
        "--format=%(refname:short)",
        "refs/heads",
        "refs/remotes",
        "refs/tags",
    ])?;
    let known = String::from_utf8_lossy(&known).into_owned();
    let help = match nearest(name, known.lines()) {
        Some(other) => format!("did you mean {other}?"),
        None => "git branch --all lists the branches; git fetch brings what the server has".into(),
    };
    Err(NoRange::Asked {
        message: format!("this repository has no commit that is named {name}"),
        help,
    })
}

/// The newest commit that both ends have.
fn merge_base(
    repository: &Repository,
    from: (&str, &str),
    to: (&str, &str),
) -> Result<String, NoRange> {
    let output = repository
        .git()
        .args(["merge-base", from.1, to.1])
        .output()
        .map_err(super::git::no_git)?;
    let said = String::from_utf8_lossy(&output.stdout).trim().to_owned();
    if output.status.success() && !said.is_empty() {
        return Ok(said);
    }
    let shallow = repository.ask(&["rev-parse", "--is-shallow-repository"])?;
    let parted = format!("where {} and {} parted", from.0, to.0);
    Err(NoRange::Source(match shallow.starts_with(b"true") {
        true => SourceError::new(
            format!("this clone is shallow: its history ends before the commit {parted}"),
            "bring the rest with git fetch --unshallow, or have CI fetch the whole history",
        ),
        false => SourceError::new(
            format!("there is no commit {parted}: the two have no history in common"),
            "name two branches of one history",
        ),
    }))
}

/// The branch that a name stands for, as the forge knows it; none of a bare commit.
fn branch(repository: &Repository, name: &str) -> Result<Option<String>, SourceError> {
    let output = repository
        .git()
        .args(["rev-parse", "--symbolic-full-name", "--verify", "--quiet"])
        .arg(name)
        .output()
        .map_err(super::git::no_git)?;
    let full = String::from_utf8_lossy(&output.stdout).trim().to_owned();
    if let Some(own) = full.strip_prefix("refs/heads/") {
        return Ok(Some(own.to_owned()));
    }
    let Some(remote) = full.strip_prefix("refs/remotes/") else {
        return Ok(None);
    };
    let remotes = repository.ask(&["remote"])?;
    let remotes = String::from_utf8_lossy(&remotes).into_owned();
    let below = remotes
        .lines()
        .filter_map(|name| remote.strip_prefix(name)?.strip_prefix('/'))
        .min_by_key(|below| below.len());
    Ok(below.filter(|below| *below != "HEAD").map(str::to_owned))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_is_read_as_git_reads_it() {
        let read = |text: &str| ends(text).ok();
        let pair = |from: &str, to: &str| Some((from.to_owned(), to.to_owned()));
        assert_eq!(read("main..topic"), pair("main", "topic"));
        assert_eq!(read("main...topic"), pair("main", "topic"));
        assert_eq!(read("main"), pair("main", "HEAD"));
        assert_eq!(read("main.."), pair("main", "HEAD"));
        assert_eq!(read("..topic"), pair("HEAD", "topic"));
        assert_eq!(read("v1.0..v1.1"), pair("v1.0", "v1.1"));
        for wrong in ["", "..", "...", "--all", "main..--all", "a..b..c", "a\nb"] {
            assert_eq!(read(wrong), None, "{wrong}");
        }
    }
}
