//! Where git is: the top of the work tree, git's own folder and the commit of HEAD.

use super::SourceError;
use super::git::{REPOSITORY_VARIABLES, Repository, no_git};
use std::path::{Path, PathBuf};

/// What git says of the place that it is started in.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Found {
    /// The top of the work tree.
    pub top: PathBuf,
    pub git_folder: PathBuf,
    /// The commit of HEAD; none before the first.
    pub head: Option<String>,
}

/// Asks libgit2, for a process more would have to wait beside a comparison under way; git itself where that may not do.
pub(super) fn find(repository: &Repository) -> Result<Found, SourceError> {
    match by_library(&repository.cwd) {
        Some(found) => Ok(found),
        None => by_git(repository),
    }
}

/// `None` where libgit2 sees no repository with a work tree, or where git might see another one.
fn by_library(cwd: &Path) -> Option<Found> {
    let set = |name: &&str| {
        #[expect(clippy::disallowed_methods, reason = "what git tells its hooks")]
        let value = std::env::var_os(name);
        value
    };
    let harmless = ["GIT_INDEX_FILE", "GIT_PREFIX", "GIT_NO_REPLACE_OBJECTS"];
    let mut telling = REPOSITORY_VARIABLES
        .iter()
        .filter(|name| !harmless.contains(name))
        .chain(&["GIT_DISCOVERY_ACROSS_FILESYSTEM"]);
    if telling.any(|name| set(name).is_some()) {
        return None;
    }
    let ceilings: Vec<PathBuf> = set(&"GIT_CEILING_DIRECTORIES")
        .map(|named| std::env::split_paths(&named).collect())
        .unwrap_or_default();
    if ceilings.iter().any(|ceiling| !ceiling.is_absolute()) {
        return None;
    }
    let here = cwd.canonicalize().ok()?;
    let search = git2::RepositoryOpenFlags::empty();
    let library = git2::Repository::open_ext(&here, search, ceilings).ok()?;
    let top = library.workdir()?.canonicalize().ok()?;
    let git_folder = library.path().canonicalize().ok()?;
    if !here.starts_with(&top) || here.starts_with(&git_folder) {
        return None;
    }
    let head = match library.head() {
        Ok(head) => {
            let id = head.target()?;
            let (_, kind) = library.odb().ok()?.read_header(id).ok()?;
            (kind == git2::ObjectType::Commit).then(|| Some(id.to_string()))?
        }
        Err(error) if error.code() == git2::ErrorCode::UnbornBranch => None,
        Err(_) => return None,
    };
    Some(Found {
        top,
        git_folder,
        head,
    })
}

/// Asks git where it is, in one question.
fn by_git(repository: &Repository) -> Result<Found, SourceError> {
    let real = |path: &str| {
        PathBuf::from(path).canonicalize().map_err(|error| {
            SourceError::new(
                format!("{path} cannot be opened: {error}"),
                "look at its permissions",
            )
        })
    };
    let top = ["rev-parse", "--show-toplevel"];
    let all = ["--absolute-git-dir", "--verify", "--quiet", "HEAD^{commit}"];
    let output = repository
        .git()
        .args(top)
        .args(all)
        .output()
        .map_err(no_git)?;
    let said = String::from_utf8_lossy(&output.stdout);
    // Before the first commit there is no HEAD, and git ends with an error behind what it has said.
    let lines: Vec<&str> = said.lines().collect();
    match lines[..] {
        [top, git_folder] if !output.status.success() => Ok(Found {
            top: real(top)?,
            git_folder: real(git_folder)?,
            head: None,
        }),
        [top, git_folder, head] if output.status.success() => Ok(Found {
            top: real(top)?,
            git_folder: real(git_folder)?,
            head: Some(head.to_owned()),
        }),
        // A path of several lines, or none.
        _ => {
            let top = repository.line(&top).map_err(no_top)?;
            let head = repository.line(&["rev-parse", "--verify", "--quiet", "HEAD^{commit}"]);
            Ok(Found {
                top: real(&top)?,
                git_folder: real(&repository.line(&["rev-parse", "--absolute-git-dir"])?)?,
                head: head.ok(),
            })
        }
    }
}

/// Why git names no work tree, and what to do about it.
pub(super) fn no_top(error: SourceError) -> SourceError {
    if error.message.contains("dubious ownership") {
        let command = error
            .message
            .find("git config --global --add safe.directory")
            .map_or("", |at| &error.message[at..]);
        return SourceError::new(
            "git does not trust this repository, since another user of this computer owns it",
            format!(
                "give the folder to the user who works here; or, if you trust whoever owns it, run: {command}"
            ),
        );
    }
    if !error.message.contains("not a git repository") {
        return error;
    }
    SourceError::new(
        format!("this folder is in no git work tree: {}", error.message),
        "make a repository with git init, or name the book's folder with --book DIR",
    )
}

/// Whether the environment means the repository that is found where the book lies, and not the one whose hook
/// went on to a book elsewhere: git takes the current folder for the work tree of whatever GIT_DIR names.
pub(super) fn speaks_of(named: &Found, own: &Found) -> bool {
    #[expect(clippy::disallowed_methods, reason = "what git tells its hooks")]
    let (work_tree, index) = (
        std::env::var_os("GIT_WORK_TREE"),
        std::env::var_os("GIT_INDEX_FILE"),
    );
    if named.git_folder != own.git_folder {
        let explicit = work_tree.is_some_and(|tree| Path::new(&tree).is_absolute());
        return explicit && named.top.starts_with(&own.top);
    }
    let Some(index) = index else {
        return true;
    };
    let index = named.top.join(index);
    let Some(Ok(folder)) = index.parent().map(Path::canonicalize) else {
        return true;
    };
    let of_a_repository = folder.join("HEAD").is_file()
        && (folder.join("objects").is_dir() || folder.join("commondir").is_file());
    folder == named.git_folder || !of_a_repository
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::process::Command;

    fn git(folder: &Path, arguments: &[&str]) {
        let output = Command::new("git")
            .args([
                "-c",
                "user.name=op-01",
                "-c",
                "user.email=op-01@lab.example",
            ])
            .args(["-c", "protocol.file.allow=always"])
            .args(arguments)
            .current_dir(folder)
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "git {arguments:?}: {said}");
    }

    /// A repository with a folder and so many commits.
    fn made(at: &Path, commits: usize) {
        std::fs::create_dir_all(at.join("book/checks")).unwrap();
        git(at, &["init", "--quiet"]);
        for _ in 0..commits {
            git(at, &["commit", "--quiet", "--allow-empty", "-m", "Begin"]);
        }
    }

    /// Both agree wherever libgit2 has an answer.
    fn agreed(folder: &Path) -> Option<Found> {
        let asked = by_git(&Repository::at(folder.to_owned(), false)).ok();
        let found = by_library(folder);
        if found.is_some() {
            assert_eq!(found, asked, "{}", folder.display());
        }
        found
    }

    #[test]
    fn libgit2_finds_what_git_finds() {
        let scratch = tempfile::tempdir().unwrap();
        let at = |name: &str| scratch.path().canonicalize().unwrap().join(name);
        let (plain, unborn) = (at("plain"), at("un born"));
        made(&plain, 2);
        made(&unborn, 0);
        let found = agreed(&plain.join("book/checks")).unwrap();
        assert_eq!(found.top, plain);
        assert_eq!(found.git_folder, plain.join(".git"));
        assert_eq!(found.head.unwrap().len(), 40);
        let none = agreed(&unborn).unwrap();
        assert_eq!((none.top, none.head), (unborn, None));
        git(&plain, &["pack-refs", "--all"]);
        agreed(&plain).unwrap();
        git(&plain, &["checkout", "--quiet", "--detach", "HEAD~1"]);
        let detached = agreed(&plain).unwrap();
        git(
            &plain,
            &["worktree", "add", "--quiet", "../linked", "-b", "other"],
        );
        let linked = agreed(&at("linked")).unwrap();
        assert_eq!(linked.head, detached.head);
        assert_ne!(linked.git_folder, detached.git_folder);
        let apart = at("apart.git");
        git(
            &plain,
            &[
                "clone",
                "--quiet",
                "--separate-git-dir",
                apart.to_str().unwrap(),
                ".",
                "../apart",
            ],
        );
        assert_eq!(agreed(&at("apart")).unwrap().git_folder, apart);
        let whole = at("whole");
        made(&whole, 3);
        git(
            &whole,
            &["submodule", "--quiet", "add", "../plain", "book/part"],
        );
        let part = agreed(&whole.join("book/part")).unwrap();
        assert_eq!(part.top, whole.join("book/part"));
        assert_ne!(part.head, agreed(&whole).unwrap().head);
    }

    #[test]
    fn git_is_asked_where_libgit2_may_see_it_otherwise() {
        let scratch = tempfile::tempdir().unwrap();
        let top = scratch.path().canonicalize().unwrap();
        assert_eq!(by_library(&top), None);
        let (bare, moved) = (top.join("bare.git"), top.join("moved"));
        git(&top, &["init", "--quiet", "--bare", "bare.git"]);
        made(&moved, 1);
        for within_git in [&bare, &moved.join(".git"), &moved.join(".git/objects")] {
            assert_eq!(agreed(within_git), None);
            assert!(by_git(&Repository::at(within_git.clone(), false)).is_err());
        }
        git(&moved, &["config", "core.worktree", "../book"]);
        assert_eq!(agreed(&moved.join("book")).unwrap().top, moved.join("book"));
        assert_eq!(agreed(&moved), None);
        git(&moved, &["config", "extensions.unheardof", "true"]);
        git(
            &moved.join("book"),
            &["config", "core.repositoryformatversion", "1"],
        );
        assert_eq!(by_library(&moved.join("book")), None);
    }

    #[test]
    fn each_trouble_with_the_work_tree_has_its_own_help() {
        let said = |message: &str| SourceError::new(message, "as it was");
        let owned = no_top(said(
            "git rev-parse --show-toplevel failed: fatal: detected dubious ownership in repository at '/srv/book' To add an exception for this directory, call: git config --global --add safe.directory /srv/book",
        ));
        assert!(
            owned
                .help
                .ends_with("run: git config --global --add safe.directory /srv/book"),
            "{}",
            owned.help
        );
        assert!(!owned.help.contains("git init"), "{}", owned.help);
        let none = no_top(said(
            "fatal: not a git repository (or any of the parent directories)",
        ));
        assert!(none.help.contains("git init"), "{}", none.help);
        let missing = no_top(said("the program git cannot be started"));
        assert_eq!(missing.help, "as it was");
    }
}
