//! The commits of a range, and what each changes in the book against each of its parents.

use super::SourceError;
use super::git::{Change, Repository, no_git};
use jiff::Timestamp;
use std::io::{Read, Write};
use std::process::{Command, Stdio};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

/// How much of a history may be looked at; a push from outside can be made to be endless.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    pub until: Option<Instant>,
    pub commits: usize,
    /// Paths that differ, over all commits.
    pub changes: usize,
    /// Of one answer of git.
    pub bytes: u64,
}

impl Default for Limits {
    fn default() -> Limits {
        Limits {
            until: None,
            commits: 2_000_000,
            changes: 4_000_000,
            bytes: 2 << 30,
        }
    }
}

impl Limits {
    /// Whether there is time left.
    pub fn time(&self) -> Result<(), SourceError> {
        let over = self.until.is_some_and(|until| Instant::now() > until);
        match over {
            true => Err(out_of_time()),
            false => Ok(()),
        }
    }
}

fn out_of_time() -> SourceError {
    SourceError::new(
        "the change could not be judged in the time that the gate has",
        "push fewer commits at once, or have whoever keeps the server raise --timeout",
    )
}

pub(super) fn too_much(what: &str, limit: usize) -> SourceError {
    SourceError::new(
        format!("the change is too large to be judged: over {limit} {what}"),
        "push it in parts",
    )
}

/// A commit and what it changes. What it says of people and times is what whoever made it wrote.
#[derive(Clone, Debug)]
pub struct Commit {
    pub id: String,
    pub parents: Vec<String>,
    /// The author's e-mail.
    pub author: String,
    pub committed: Timestamp,
    /// Against each parent; of a first commit against nothing.
    pub changes: Vec<Vec<Change>>,
}

/// What the object of a commit says.
pub struct Head {
    pub parents: Vec<String>,
    pub author: String,
    pub committed: Timestamp,
}

/// Reads the object of a commit: parents come from it, and not from grafts.
fn head(object: &[u8]) -> Head {
    let text = String::from_utf8_lossy(object);
    let lines = text.lines().take_while(|line| !line.is_empty());
    let mut head = Head {
        parents: Vec::new(),
        author: String::new(),
        committed: Timestamp::UNIX_EPOCH,
    };
    for line in lines {
        if let Some(parent) = line.strip_prefix("parent ") {
            head.parents.push(parent.to_owned());
        } else if let Some(author) = line.strip_prefix("author ") {
            head.author = e_mail(author).to_owned();
        } else if let Some(committer) = line.strip_prefix("committer ") {
            head.committed = seconds(committer);
        }
    }
    head
}

/// The e-mail in `Name <e-mail> seconds zone`.
pub(super) fn e_mail(person: &str) -> &str {
    let inside = person
        .rsplit_once('>')
        .and_then(|(before, _)| before.rsplit_once('<'));
    inside.map_or("", |(_, mail)| mail)
}

fn seconds(person: &str) -> Timestamp {
    let after = person.rsplit_once('>').map_or("", |(_, after)| after);
    let first = after.split_whitespace().next();
    let number = first.and_then(|number| number.parse::<i64>().ok());
    Timestamp::from_second(number.unwrap_or(0)).unwrap_or(Timestamp::MAX)
}

/// The output of a command, within the limits. The command is ended where it goes beyond them.
pub(super) fn bounded(
    mut command: Command,
    what: &str,
    input: Vec<u8>,
    limits: &Limits,
) -> Result<std::process::Output, SourceError> {
    limits.time()?;
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(no_git)?;
    let (stdin, stdout, stderr) = (child.stdin.take(), child.stdout.take(), child.stderr.take());
    let child = Arc::new(Mutex::new(child));
    let kill = |child: &Mutex<std::process::Child>| {
        let _ = child.lock().unwrap_or_else(PoisonError::into_inner).kill();
    };
    std::thread::scope(|scope| {
        let (done, waiting) = channel::<()>();
        let watched = child.clone();
        let watch = scope.spawn(move || {
            let Some(until) = limits.until else {
                return false;
            };
            let left = until.saturating_duration_since(Instant::now());
            let late = waiting.recv_timeout(left) == Err(RecvTimeoutError::Timeout);
            if late {
                kill(&watched);
            }
            late
        });
        scope.spawn(move || {
            // Who does not read to the end has ended, and says why.
            let _ = stdin.map(|mut stdin| stdin.write_all(&input));
        });
        let said = scope.spawn(move || {
            let mut said = Vec::new();
            if let Some(mut stderr) = stderr {
                let _ = (&mut stderr).take(1 << 16).read_to_end(&mut said);
                let _ = std::io::copy(&mut stderr, &mut std::io::sink());
            }
            said
        });
        let mut out = Vec::new();
        if let Some(mut stdout) = stdout {
            let _ = (&mut stdout).take(limits.bytes + 1).read_to_end(&mut out);
        }
        let over = out.len() as u64 > limits.bytes;
        if over {
            kill(&child);
        }
        let said = said.join().unwrap_or_default();
        drop(done);
        let late = watch.join().unwrap_or(false);
        let ended = child.lock().unwrap_or_else(PoisonError::into_inner).wait();
        if late {
            return Err(out_of_time());
        }
        if over {
            return Err(SourceError::new(
                format!(
                    "the answer of git {what} is too long: over {} bytes",
                    limits.bytes
                ),
                "push the change in parts",
            ));
        }
        Ok(std::process::Output {
            status: ended.map_err(no_git)?,
            stdout: out,
            stderr: said,
        })
    })
}

impl Repository {
    /// A history that was cut off cannot be judged.
    pub fn whole_history(&self) -> Result<(), SourceError> {
        let said = self.ask(&["rev-parse", "--is-shallow-repository"])?;
        match said.starts_with(b"true") {
            true => Err(SourceError::new(
                "this clone is shallow: its history was cut off, so nothing can be said of it",
                "fetch all of it with git fetch --unshallow (in CI: check out with the whole depth)",
            )),
            false => Ok(()),
        }
    }

    /// The id of the commit that a name stands for; `None` where it stands for none.
    pub fn commit(&self, name: &str) -> Result<Option<String>, SourceError> {
        let asked = format!("{name}^{{commit}}");
        let output = self.run(
            &[
                "rev-parse",
                "--verify",
                "--quiet",
                "--end-of-options",
                &asked,
            ],
            Vec::new(),
        )?;
        let said = String::from_utf8_lossy(&output.stdout).trim().to_owned();
        Ok((output.status.success() && !said.is_empty()).then_some(said))
    }

    /// Whether one commit is the other, or leads to it.
    pub fn leads_to(&self, one: &str, other: &str) -> Result<bool, SourceError> {
        let asked = ["merge-base", "--is-ancestor", one, other];
        let output = self.run(&asked, Vec::new())?;
        match output.status.code() {
            Some(0) => Ok(true),
            Some(1) => Ok(false),
            _ => Err(super::git::failed(&asked.join(" "), &output)),
        }
    }

    /// The commits from which two parted; none where they have nothing in common.
    pub fn parted_at(&self, one: &str, other: &str) -> Result<Vec<String>, SourceError> {
        let asked = ["merge-base", "--all", one, other];
        let output = self.run(&asked, Vec::new())?;
        match output.status.code() {
            Some(0 | 1) => Ok(String::from_utf8_lossy(&output.stdout)
                .lines()
                .map(str::to_owned)
                .collect()),
            _ => Err(super::git::failed(&asked.join(" "), &output)),
        }
    }

    /// The full name of the branch that HEAD names.
    pub fn head_branch(&self) -> Option<String> {
        let said = self.ask(&["symbolic-ref", "--quiet", "HEAD"]).ok()?;
        Some(String::from_utf8_lossy(&said).trim().to_owned())
    }

    /// What the object of a commit says of it.
    pub fn commit_head(
        &self,
        snapshot: &super::git::Staged,
        id: &str,
    ) -> Result<Head, SourceError> {
        Ok(head(&snapshot.object(id)?))
    }

    /// The commits that lead to the wanted ones and not to the excluded ones, parents before children.
    pub fn commits(
        &self,
        snapshot: &super::git::Staged,
        wanted: &[String],
        excluded: &[String],
    ) -> Result<Vec<Commit>, SourceError> {
        let limits = &self.limits;
        let mut lines = String::new();
        for id in wanted {
            lines += &format!("{id}\n");
        }
        for id in excluded {
            lines += &format!("^{id}\n");
        }
        let most = format!("--max-count={}", limits.commits + 1);
        let asked = ["rev-list", "--topo-order", "--reverse", &most, "--stdin"];
        let listed = self.answer(&asked, lines.into_bytes())?;
        let listed = String::from_utf8_lossy(&listed).into_owned();
        let ids: Vec<&str> = listed.lines().collect();
        if ids.len() > limits.commits {
            return Err(too_much("commits", limits.commits));
        }
        let mut commits = Vec::with_capacity(ids.len());
        let mut pairs = String::new();
        for id in ids {
            limits.time()?;
            let head = self.commit_head(snapshot, id)?;
            // Given its parents, git compares with these; given none, with nothing.
            match head.parents.is_empty() {
                true => pairs += &format!("{id}\n"),
                false => {
                    for parent in &head.parents {
                        pairs += &format!("{id} {parent}\n");
                    }
                }
            }
            commits.push(Commit {
                id: id.to_owned(),
                changes: vec![Vec::new(); head.parents.len().max(1)],
                parents: head.parents,
                author: head.author,
                committed: head.committed,
            });
        }
        if commits.is_empty() {
            return Ok(commits);
        }
        if limits.until.is_some() {
            let mut known = std::collections::BTreeMap::new();
            for commit in &commits {
                snapshot.at(Some(&commit.id))?.must_be_small(&mut known)?;
            }
        }
        self.compare_all(pairs, &mut commits)?;
        Ok(commits)
    }

    /// Fills in what each commit changes, by one git for all of them.
    fn compare_all(&self, pairs: String, commits: &mut [Commit]) -> Result<(), SourceError> {
        const ASKED: [&str; 11] = [
            "diff-tree",
            "--stdin",
            "-r",
            "--raw",
            "-z",
            "--no-renames",
            "--no-abbrev",
            "--no-ext-diff",
            "--ignore-submodules=none",
            "--root",
            "--always",
        ];
        let mut asked = ASKED.to_vec();
        let spec = format!(":(top,literal){}", self.prefix.trim_end_matches('/'));
        if !self.prefix.is_empty() {
            asked.extend(["--", &spec]);
        }
        let said = self.answer(&asked, pairs.into_bytes())?;
        let mut slots: Vec<&mut Vec<Change>> = Vec::new();
        let mut names: Vec<&str> = Vec::new();
        for commit in commits.iter_mut() {
            let id: &str = &commit.id;
            for slot in &mut commit.changes {
                slots.push(slot);
                names.push(id);
            }
        }
        let unknown = |said: &[u8]| {
            SourceError::new(
                format!(
                    "git diff-tree said something unknown: {}",
                    String::from_utf8_lossy(said)
                ),
                "report this with your git version",
            )
        };
        let mut fields = said.split(|byte| *byte == 0);
        let mut at: Option<usize> = None;
        let mut count = 0;
        while let Some(field) = fields.next().filter(|field| !field.is_empty()) {
            if !field.starts_with(b":") {
                let next = at.map_or(0, |at| at + 1);
                if names.get(next).is_none_or(|name| name.as_bytes() != field) {
                    return Err(unknown(field));
                }
                at = Some(next);
                continue;
            }
            let path = fields.next().unwrap_or_default();
            let change = self.change(field, path).map_err(|()| unknown(field))?;
            let slot = at.and_then(|at| slots.get_mut(at));
            let slot = slot.ok_or_else(|| unknown(field))?;
            slot.extend(change);
            count += 1;
            if count > self.limits.changes {
                return Err(too_much("changed files", self.limits.changes));
            }
        }
        match at.map_or(0, |at| at + 1) == slots.len() {
            true => Ok(()),
            false => Err(unknown(b"the end")),
        }
    }

    /// The folders of a commit that hold a book, from the top of the repository, each empty or ending in `/`.
    pub fn books(&self, commit: &str, marker: &str) -> Result<Vec<String>, SourceError> {
        let asked = ["ls-tree", "-r", "-z", "--name-only", "--full-tree", commit];
        let listed = self.answer(&asked, Vec::new())?;
        let names = listed.split(|byte| *byte == 0).map(String::from_utf8_lossy);
        Ok(names
            .filter_map(|name| Some(name.strip_suffix(marker)?.to_owned()))
            .filter(|folder| folder.is_empty() || folder.ends_with('/'))
            .collect())
    }

    /// The same repository, and the book of another folder.
    pub fn with_book(&self, folder: &str) -> Repository {
        let mut other = self.clone();
        other.prefix = folder.to_owned();
        other
    }

    /// What differs between two commits, below the book's folder.
    pub fn between(&self, before: &str, after: &str) -> Result<Vec<Change>, SourceError> {
        let mut commits = [Commit {
            id: after.to_owned(),
            parents: vec![before.to_owned()],
            author: String::new(),
            committed: Timestamp::UNIX_EPOCH,
            changes: vec![Vec::new()],
        }];
        self.compare_all(format!("{after} {before}\n"), &mut commits)?;
        let [commit] = commits;
        Ok(commit.changes.into_iter().next().unwrap_or_default())
    }

    fn run(&self, asked: &[&str], input: Vec<u8>) -> Result<std::process::Output, SourceError> {
        let mut command = self.git();
        command.args(asked);
        bounded(command, asked.first().unwrap_or(&""), input, &self.limits)
    }

    /// The output of a git command that is told something on its standard input.
    fn answer(&self, asked: &[&str], input: Vec<u8>) -> Result<Vec<u8>, SourceError> {
        let output = self.run(asked, input)?;
        match output.status.success() {
            true => Ok(output.stdout),
            false => Err(super::git::failed(&asked.join(" "), &output)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_object_of_a_commit_says_who_and_when() {
        let head = head(
            b"tree 1\nparent 2\nparent 3\nauthor A <b> C <op-01@lab.example> 1795690931 +0100\ncommitter D <d@e> 1795690999 +0000\ngpgsig x\n parent 4\n\nparent 5\n",
        );
        assert_eq!(head.parents, ["2", "3"]);
        assert_eq!(head.author, "op-01@lab.example");
        assert_eq!(head.committed.as_second(), 1_795_690_999);
    }

    #[test]
    fn a_commit_that_no_git_made_is_read_all_the_same() {
        for object in [
            &b""[..],
            b"author",
            b"author <",
            b"committer > 99999999999999999999",
            b"committer a <b> -x",
            b"\xff\xfe",
        ] {
            let head = head(object);
            assert_eq!(head.author, "");
            assert_eq!(head.committed, Timestamp::UNIX_EPOCH);
        }
    }

    #[test]
    fn a_command_that_goes_on_too_long_is_ended() {
        let limits = Limits {
            until: Some(Instant::now() + std::time::Duration::from_millis(200)),
            ..Limits::default()
        };
        let mut command = Command::new("sleep");
        command.arg("60");
        let ended = bounded(command, "sleep", Vec::new(), &limits);
        assert_eq!(
            ended.err().map(|error| error.message),
            Some(out_of_time().message)
        );
        let limits = Limits {
            bytes: 1000,
            ..Limits::default()
        };
        let ended = bounded(Command::new("yes"), "yes", Vec::new(), &limits);
        assert!(ended.is_err_and(|error| error.message.contains("over 1000 bytes")));
    }
}
