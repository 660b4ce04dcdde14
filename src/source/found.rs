//! Where git is: the top of the work tree, git's own folder and the commit of HEAD.

use super::SourceError;
use super::git::{REPOSITORY_VARIABLES, Repository, no_git};
use std::ffi::OsString;
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

/// Asks libgit2 where that must see what git sees, since a second process waits its turn beside a comparison that is under way;
/// else git.
pub(super) fn find(repository: &Repository) -> Result<Found, SourceError> {
    #[expect(clippy::disallowed_methods, reason = "what git tells its hooks")]
    let set = |name: &str| std::env::var_os(name);
    match by_library(&repository.cwd, &set) {
        Some(found) => Ok(found),
        None => by_git(repository),
    }
}

/// Of a plain repository alone: a folder `.git` at the top of its own work tree, HEAD a commit or a branch, and no variable
/// that leads elsewhere. Of all others the two programs may see different ones.
fn by_library(cwd: &Path, set: &dyn Fn(&str) -> Option<OsString>) -> Option<Found> {
    let harmless = ["GIT_INDEX_FILE", "GIT_PREFIX", "GIT_NO_REPLACE_OBJECTS"];
    let mut telling = REPOSITORY_VARIABLES
        .iter()
        .filter(|name| !harmless.contains(name))
        .chain(&["GIT_DISCOVERY_ACROSS_FILESYSTEM"]);
    if telling.any(|name| set(name).is_some()) {
        return None;
    }
    let ceilings: Vec<PathBuf> = set("GIT_CEILING_DIRECTORIES")
        .map(|named| std::env::split_paths(&named).collect())
        .unwrap_or_default();
    if ceilings.iter().any(|ceiling| !ceiling.is_absolute()) {
        return None;
    }
    let here = cwd.canonicalize().ok()?;
    let top = here
        .ancestors()
        .find(|folder| folder.join(".git").symlink_metadata().is_ok())?;
    let git_folder = top.join(".git");
    let is_folder = git_folder.symlink_metadata().ok()?.is_dir();
    if !is_folder || here.starts_with(&git_folder) {
        return None;
    }
    let search = git2::RepositoryOpenFlags::empty();
    let library = git2::Repository::open_ext(&here, search, ceilings).ok()?;
    let same = |path: &Path, other: &Path| path.canonicalize().is_ok_and(|path| path == other);
    if !same(library.workdir()?, top) || !same(library.path(), &git_folder) {
        return None;
    }
    // git follows a chain of branches less far.
    let own = library.find_reference("HEAD").ok()?;
    let named = own.symbolic_target_bytes().map(String::from_utf8_lossy);
    let id = match named {
        None => own.target(),
        Some(name) => match library.find_reference(&name) {
            Ok(branch) => Some(branch.target()?),
            Err(error) if error.code() == git2::ErrorCode::NotFound => None,
            Err(_) => return None,
        },
    };
    if let Some(id) = id {
        let (_, kind) = library.odb().ok()?.read_header(id).ok()?;
        if kind != git2::ObjectType::Commit {
            return None;
        }
    }
    Some(Found {
        top: top.to_owned(),
        git_folder,
        head: id.map(|id| id.to_string()),
    })
}

/// Asks git where it is, in one question.
pub(super) fn by_git(repository: &Repository) -> Result<Found, SourceError> {
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
fn no_top(error: SourceError) -> SourceError {
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
    use super::super::git::by_itself;
    use super::*;

    fn git(folder: &Path, arguments: &[&str]) {
        let output = by_itself(folder)
            .args([
                "-c",
                "user.name=op-01",
                "-c",
                "user.email=op-01@lab.example",
            ])
            .args(["-c", "protocol.file.allow=always"])
            .args(arguments)
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

    fn asked(folder: &Path) -> Option<Found> {
        by_git(&Repository::at(folder.to_owned(), false)).ok()
    }

    fn found(folder: &Path) -> Option<Found> {
        by_library(folder, &|_| None)
    }

    /// What both see.
    fn agreed(folder: &Path) -> Found {
        let found = found(folder);
        assert_eq!(found, asked(folder), "{}", folder.display());
        found.unwrap()
    }

    /// What git alone is asked for; none where it sees nothing either.
    fn left_to_git(folder: &Path) -> Option<Found> {
        assert_eq!(found(folder), None, "{}", folder.display());
        asked(folder)
    }

    #[test]
    fn libgit2_finds_what_git_finds() {
        let scratch = tempfile::tempdir().unwrap();
        let top = scratch.path().canonicalize().unwrap();
        let (plain, unborn) = (top.join("plain"), top.join("un born"));
        made(&plain, 2);
        made(&unborn, 0);
        let deep = agreed(&plain.join("book/checks"));
        assert_eq!(deep.top, plain);
        assert_eq!(deep.git_folder, plain.join(".git"));
        assert_eq!(deep.head.unwrap().len(), 40);
        let none = agreed(&unborn);
        assert_eq!((none.top, none.head), (unborn, None));
        git(&plain, &["pack-refs", "--all"]);
        let packed = agreed(&plain);
        git(&plain, &["checkout", "--quiet", "--detach", "HEAD~1"]);
        assert_ne!(agreed(&plain).head, packed.head);
        git(&plain, &["init", "--quiet", "book"]);
        assert_eq!(agreed(&plain.join("book/checks")).top, plain.join("book"));
    }

    #[test]
    fn git_is_asked_where_a_variable_leads_elsewhere() {
        let scratch = tempfile::tempdir().unwrap();
        let top = scratch.path().canonicalize().unwrap();
        made(&top, 1);
        let with = |name: &str, value: &Path| {
            let set = |asked: &str| (asked == name).then(|| value.as_os_str().to_owned());
            by_library(&top.join("book"), &set).is_some()
        };
        assert!(with("GIT_INDEX_FILE", Path::new(".git/index")));
        assert!(with("GIT_CEILING_DIRECTORIES", Path::new("/nowhere")));
        assert!(!with("GIT_CEILING_DIRECTORIES", &top));
        assert!(!with("GIT_CEILING_DIRECTORIES", Path::new("beside")));
        for name in [
            "GIT_DIR",
            "GIT_WORK_TREE",
            "GIT_COMMON_DIR",
            "GIT_CONFIG_PARAMETERS",
        ] {
            assert!(!with(name, &top), "{name}");
        }
    }

    #[test]
    fn git_is_asked_of_all_but_a_plain_repository() {
        let scratch = tempfile::tempdir().unwrap();
        let top = scratch.path().canonicalize().unwrap();
        let at = |name: &str| top.join(name);
        assert_eq!(left_to_git(&top), None);
        let (plain, whole) = (at("plain"), at("whole"));
        made(&plain, 1);
        git(
            &plain,
            &["worktree", "add", "--quiet", "../linked", "-b", "other"],
        );
        assert_eq!(left_to_git(&at("linked")).unwrap().top, at("linked"));
        // A linked work tree that was moved by hand, with a folder where it was.
        std::fs::rename(at("linked"), at("aside")).unwrap();
        std::fs::create_dir(at("linked")).unwrap();
        std::fs::rename(at("aside"), at("linked/inner")).unwrap();
        assert_eq!(
            left_to_git(&at("linked/inner")).unwrap().top,
            at("linked/inner")
        );
        let apart = at("apart.git");
        let into = [
            "--separate-git-dir",
            apart.to_str().unwrap(),
            ".",
            "../apart",
        ];
        git(&plain, &[&["clone", "--quiet"], &into[..]].concat());
        assert_eq!(left_to_git(&at("apart")).unwrap().git_folder, apart);
        made(&whole, 3);
        git(
            &whole,
            &["submodule", "--quiet", "add", "../plain", "book/part"],
        );
        assert_eq!(
            left_to_git(&whole.join("book/part")).unwrap().head,
            asked(&plain).unwrap().head
        );
        git(&top, &["init", "--quiet", "--bare", "bare.git"]);
        for within_git in [
            at("bare.git"),
            plain.join(".git"),
            plain.join(".git/objects"),
        ] {
            assert_eq!(left_to_git(&within_git), None);
        }
    }

    #[test]
    fn git_is_asked_where_settings_or_head_may_be_read_otherwise() {
        let scratch = tempfile::tempdir().unwrap();
        let top = scratch.path().canonicalize().unwrap();
        let at = |name: &str| top.join(name);
        made(&at("chain"), 1);
        git(&at("chain"), &["branch", "--move", "main"]);
        for (branch, next) in [("one", "main"), ("two", "one"), ("three", "two")] {
            let (branch, next) = (format!("refs/heads/{branch}"), format!("refs/heads/{next}"));
            git(&at("chain"), &["symbolic-ref", &branch, &next]);
        }
        git(&at("chain"), &["symbolic-ref", "HEAD", "refs/heads/three"]);
        assert!(left_to_git(&at("chain")).unwrap().head.is_some());
        // git takes a work tree from a repository's own settings alone, libgit2 from those of included files too.
        made(&at("included"), 1);
        let worktree = ["core.worktree", top.to_str().unwrap()];
        git(
            &top,
            &[&["config", "--file", "more"], &worktree[..]].concat(),
        );
        git(
            &at("included"),
            &["config", "include.path", at("more").to_str().unwrap()],
        );
        assert_eq!(left_to_git(&at("included")).unwrap().top, at("included"));
        made(&at("moved"), 1);
        git(&at("moved"), &["config", "core.worktree", "../book"]);
        assert_eq!(
            left_to_git(&at("moved/book")).unwrap().top,
            at("moved/book")
        );
        assert_eq!(left_to_git(&at("moved")).unwrap().top, at("moved/book"));
        made(&at("newer"), 1);
        git(&at("newer"), &["config", "extensions.unheardof", "true"]);
        git(
            &at("newer"),
            &["config", "core.repositoryformatversion", "1"],
        );
        assert_eq!(left_to_git(&at("newer")), None);
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
