//! The commands that follow, so that they can be typed where the last one was; and who types them.

use super::template::typed;
use super::{Common, Trouble};
use crate::book::Book;
use crate::source::disk::Disk;
use crate::source::git::Repository;
use crate::source::{Source, SourceError};
use crate::text::nearest;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

pub(super) struct Here {
    /// `shearbook`, with the book where it must be named.
    pub(super) tool: String,
    /// `git`, with the folder where it must be named.
    pub(super) git: String,
    /// What stands before a path of the book.
    folder: Option<PathBuf>,
}

impl Here {
    pub(super) fn of(common: &Common, disk: &Disk) -> Here {
        let here = Path::new(".").canonicalize().unwrap_or_default();
        let (tool, folder) = match &common.book {
            Some(folder) => (
                format!("shearbook --book {}", typed(folder)),
                Some(folder.clone()),
            ),
            None if here == disk.root => ("shearbook".to_owned(), None),
            None => ("shearbook".to_owned(), Some(disk.root.clone())),
        };
        let git = match &folder {
            None => "git".to_owned(),
            Some(folder) => format!("git -C {}", typed(folder)),
        };
        Here { tool, git, folder }
    }

    /// A path of the book as it is typed.
    pub(super) fn file(&self, path: &str) -> String {
        match &self.folder {
            None => typed(Path::new(path)),
            Some(folder) => typed(&folder.join(path)),
        }
    }

    /// Stages files of the book, one a line.
    pub(super) fn add(&self, paths: &[&str]) -> String {
        let mut text = format!("    {} add", self.git);
        for path in paths {
            let sep = if paths.len() > 1 {
                " \\\n        "
            } else {
                " "
            };
            text += &format!("{sep}{}", typed(Path::new(path)));
        }
        text + "\n"
    }
}

/// The person who does it: the one that was named, else the one whose e-mail git would commit with.
pub(super) fn person(
    book: &Book,
    repository: &Repository,
    by: Option<&str>,
) -> Result<String, Trouble> {
    if let Some(id) = by {
        if !book.people.lacks(id) {
            return Ok(id.to_owned());
        }
        let help = match nearest(id, book.people.ids()) {
            Some(meant) => format!("did you mean {meant}? Nothing was written"),
            None => {
                let ids: Vec<&str> = book.people.ids().collect();
                format!(
                    "write --by with one of {}; nothing was written",
                    ids.join(", ")
                )
            }
        };
        return Err(Trouble::Refused(SourceError::new(
            format!("there is no person {id}"),
            help,
        )));
    }
    let help = "say who it is: --by with the person's id, such as --by op-07";
    let email = repository.author().ok_or_else(|| {
        Trouble::Refused(SourceError::new(
            "git does not know who you are, so neither does shearbook",
            help,
        ))
    })?;
    let people = book.people.sound().filter(|person| {
        let mut emails = person.emails.iter();
        emails.any(|own| own.eq_ignore_ascii_case(&email))
    });
    let ids: Vec<&str> = people.map(|person| person.id.as_str()).collect();
    match ids[..] {
        [only] => Ok(only.to_owned()),
        [] => Err(Trouble::Refused(SourceError::new(
            format!("git would commit as {email}, an e-mail of nobody in people/"),
            format!("{help}; or add the e-mail to that person's emails"),
        ))),
        _ => Err(Trouble::Refused(SourceError::new(
            format!("{email} is the e-mail of {}", ids.join(" and ")),
            help,
        ))),
    }
}

/// Which of the paths of a folder, or of one file, the newest commit holds.
pub(super) fn committed(
    repository: &Repository,
    path: &str,
) -> Result<BTreeSet<String>, SourceError> {
    if repository
        .ask(&["rev-parse", "--verify", "--quiet", "HEAD^{commit}"])
        .is_err()
    {
        return Ok(BTreeSet::new());
    }
    let full = format!("{}{path}", repository.prefix);
    let listed = repository.ask(&[
        "ls-tree",
        "-r",
        "-z",
        "--name-only",
        "--full-tree",
        "HEAD",
        "--",
        &full,
    ])?;
    Ok(paths(repository, &listed))
}

/// Those of the files that git does not hold as they are in the folder.
pub(super) fn uncommitted(
    disk: &Disk,
    repository: &Repository,
    paths: &[String],
) -> Result<Vec<String>, SourceError> {
    let mut found = Vec::new();
    for path in paths {
        let Some(bytes) = disk.read(path)? else {
            continue;
        };
        let name = format!("HEAD:{}{path}", repository.prefix);
        let held = repository.ask(&["rev-parse", "--verify", "--quiet", &name]);
        let held = held.map(|id| String::from_utf8_lossy(&id).trim().to_owned());
        if held.ok() != Some(repository.kept_id(path, &bytes)?) {
            found.push(path.clone());
        }
    }
    Ok(found)
}

fn paths(repository: &Repository, listed: &[u8]) -> BTreeSet<String> {
    let names = listed
        .split(|byte| *byte == 0)
        .map(String::from_utf8_lossy)
        .filter(|name| !name.is_empty());
    names
        .filter_map(|name| name.strip_prefix(&repository.prefix).map(str::to_owned))
        .collect()
}
