//! `hook install` and `hook remove`: beside what is there, never over it.

use super::{Common, End, Ended, Trouble, output};
use crate::source::SourceError;
use crate::source::disk::Disk;
use crate::source::git::Repository;
use clap::Subcommand;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    #[command(subcommand)]
    action: Action,
}

#[derive(Clone, Copy, Subcommand)]
enum Action {
    /// Install the commit and merge hooks of this clone, beside what is there
    Install,
    /// Remove them and put back what was there
    Remove,
}

/// The hooks that see a commit before it is made: git runs the second for a merge without conflicts.
const HOOKS: [&str; 2] = ["pre-commit", "pre-merge-commit"];

/// A hook that was there before is kept under its name with this behind it, and runs first.
const KEPT: &str = ".before-shearbook";

const MARK: &str =
    "# shearbook hook 2: written by shearbook hook install; shearbook hook remove takes it away";

/// How the lines begin that name the program and that run a gate.
const TOOL: &str = "tool=";
const GATE: &str = "\"$tool\" --book=";

const COURTESY: &str = "These hooks are a courtesy to whoever commits here: cherry-pick, revert, rebase, fast-forward and --no-verify run none of them. What binds is the gate of the server or of the forge: shearbook gate --pre-receive or gate --range, ready to copy in the folder hooks of shearbook's source.";

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let folder = match &common.book {
        Some(folder) => folder.clone(),
        None => Disk::find(&common.folder())?.root,
    };
    act(common, Repository::of(&folder)?, arguments.action)
}

/// Installs the hooks for the book in a folder of a repository.
pub(crate) fn install_for(common: &Common, repository: Repository) -> Ended {
    act(common, repository, Action::Install)
}

fn act(common: &Common, repository: Repository, action: Action) -> Ended {
    let hooks = repository.git_path("hooks")?;
    if let Some((value, origin)) = repository.setting("core.hooksPath") {
        let git_folder = repository.git_path("config")?;
        let own = git_folder
            .parent()
            .and_then(|folder| folder.canonicalize().ok());
        let named = hooks.canonicalize().unwrap_or_else(|_| hooks.clone());
        if !own.is_some_and(|own| named.starts_with(own)) {
            output::say(&foreign(&repository, &value, &origin)?);
            return Ok(End::Refused);
        }
    }
    match action {
        Action::Install => install(common, &repository, &hooks),
        Action::Remove => remove(&repository, &hooks),
    }
}

fn foreign(repository: &Repository, value: &str, origin: &str) -> Result<String, Trouble> {
    Ok(format!(
        "git takes its hooks from {value}, as core.hooksPath in\n{origin} says. That folder belongs to somebody else's\nset-up, so nothing was changed. Whoever keeps it can add this line to its\npre-commit and pre-merge-commit:\n\n    {}\n",
        gate_line(repository)?
    ))
}

/// A word for the shell, whatever it holds.
pub(super) fn quoted(word: &str) -> String {
    format!("'{}'", word.replace('\'', "'\\''"))
}

fn program() -> Result<PathBuf, Trouble> {
    std::env::current_exe().map_err(|error| {
        Trouble::Unusable(SourceError::new(
            format!("the place of this program is not known: {error}"),
            "start shearbook by its full path",
        ))
    })
}

fn gate_line(repository: &Repository) -> Result<String, Trouble> {
    let book = match repository.prefix.as_str() {
        "" => ".",
        prefix => prefix.trim_end_matches('/'),
    };
    Ok(format!(
        "{} --book={} gate --if-book",
        quoted(&program()?.to_string_lossy()),
        quoted(book)
    ))
}

/// The line of a hook that runs the gate of one book.
fn book_line(repository: &Repository) -> String {
    let book = match repository.prefix.as_str() {
        "" => ".",
        prefix => prefix.trim_end_matches('/'),
    };
    format!("{GATE}{} gate --if-book || failed=$?", quoted(book))
}

/// The gates of several books, one after another.
fn script(name: &str, tool: &str, books: &BTreeSet<String>) -> String {
    let gates: Vec<&str> = books.iter().map(String::as_str).collect();
    format!(
        "#!/bin/sh\n{MARK}\nkept=\"$(dirname \"$0\")/{name}{KEPT}\"\nif [ -x \"$kept\" ]; then\n    \"$kept\" \"$@\" || exit $?\nfi\n{TOOL}{tool}\n[ -x \"$tool\" ] || tool=$(command -v shearbook) || {{\n    echo 'shearbook is not found, so this commit cannot be checked; install it, or run: shearbook hook install' >&2\n    exit 1\n}}\n{}\nexit ${{failed:-0}}\n",
        gates.join("\n")
    )
}

/// A hook of ours as it stands: the books whose gates it runs, and whether somebody has put lines of their own into it.
struct Ours {
    books: BTreeSet<String>,
    edited: bool,
}

fn ours(name: &str, bytes: &[u8]) -> Option<Ours> {
    if !is_ours(bytes) {
        return None;
    }
    let text = String::from_utf8_lossy(bytes);
    let gates = text.lines().filter(|line| line.starts_with(GATE));
    let books: BTreeSet<String> = gates.map(str::to_owned).collect();
    let tool = text.lines().find_map(|line| line.strip_prefix(TOOL));
    Some(Ours {
        edited: script(name, tool.unwrap_or_default(), &books) != text,
        books,
    })
}

/// A hook with lines of somebody's own is theirs to change.
fn refuse_edited(name: &str) -> Ended {
    output::say(&format!(
        "The hook {name} has been edited since shearbook wrote it, so nothing was\nchanged. Move the lines that are yours into {name}{KEPT}\n(it runs first), take the hook away, then run this again.\n"
    ));
    Ok(End::Refused)
}

fn read(path: &Path) -> Result<Option<Vec<u8>>, Trouble> {
    #[expect(clippy::disallowed_methods, reason = "a hook is no record")]
    match std::fs::read(path) {
        Ok(bytes) => Ok(Some(bytes)),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(unusable(path, &error)),
    }
}

fn unusable(path: &Path, error: &std::io::Error) -> Trouble {
    Trouble::Unusable(SourceError::new(
        format!("{} cannot be used: {error}", path.display()),
        "look at the permissions of the hooks folder",
    ))
}

fn is_ours(bytes: &[u8]) -> bool {
    String::from_utf8_lossy(bytes).lines().nth(1) == Some(MARK)
}

fn kept_path(hooks: &Path, name: &str) -> PathBuf {
    hooks.join(format!("{name}{KEPT}"))
}

fn install(common: &Common, repository: &Repository, hooks: &Path) -> Ended {
    std::fs::create_dir_all(hooks).map_err(|error| unusable(hooks, &error))?;
    let tool = quoted(&program()?.to_string_lossy());
    let own = book_line(repository);
    let _writing = super::interrupt::writing();
    // Look at both before writing either.
    for name in HOOKS {
        let old = read(&hooks.join(name))?;
        if old.as_ref().is_some_and(|old| !is_ours(old)) && read(&kept_path(hooks, name))?.is_some()
        {
            output::say(&format!(
                "There is a hook {name} and beside it a kept {name}{KEPT}, so nothing was\nchanged. Join the two by hand, then install again.\n"
            ));
            return Ok(End::Refused);
        }
        if old
            .and_then(|old| ours(name, &old))
            .is_some_and(|ours| ours.edited)
        {
            return refuse_edited(name);
        }
    }
    for name in HOOKS {
        let path = hooks.join(name);
        let old = read(&path)?;
        let others = old.as_deref().and_then(|old| ours(name, old));
        let mut books = others.map(|ours| ours.books).unwrap_or_default();
        books.insert(own.clone());
        let more = books.len() - 1;
        let text = script(name, &tool, &books);
        if old.as_deref() == Some(text.as_bytes()) {
            if !common.quiet {
                output::say(&format!("{name}: is installed already\n"));
            }
            continue;
        }
        let foreign = old.as_ref().is_some_and(|old| !is_ours(old));
        if foreign {
            std::fs::rename(&path, kept_path(hooks, name))
                .map_err(|error| unusable(&path, &error))?;
        }
        output::write_whole(&path, text.as_bytes())?;
        make_executable(&path)?;
        if !common.quiet {
            output::say(&format!(
                "{name}: installed{}\n",
                match (foreign, more) {
                    (true, _) =>
                        format!(";\n  the hook that was there runs first, as {name}{KEPT}"),
                    (false, 0) => String::new(),
                    (false, _) =>
                        " for this book too; it judges each book of the\n  repository".to_owned(),
                }
            ));
        }
    }
    if !common.quiet {
        let width = output::style(common).width;
        output::say(&crate::report::wrapped(COURTESY, width, "", ""));
    }
    Ok(End::Fine)
}

fn remove(repository: &Repository, hooks: &Path) -> Ended {
    let own = book_line(repository);
    let _writing = super::interrupt::writing();
    for name in HOOKS {
        let old = read(&hooks.join(name))?;
        if old
            .and_then(|old| ours(name, &old))
            .is_some_and(|ours| ours.edited)
        {
            return refuse_edited(name);
        }
    }
    for name in HOOKS {
        let path = hooks.join(name);
        let old = read(&path)?;
        let Some(Ours { mut books, .. }) = old.as_deref().and_then(|old| ours(name, old)) else {
            output::say(&format!("{name}: none of shearbook's\n"));
            continue;
        };
        books.remove(&own);
        if !books.is_empty() {
            let tool = quoted(&program()?.to_string_lossy());
            output::write_whole(&path, script(name, &tool, &books).as_bytes())?;
            make_executable(&path)?;
            output::say(&format!(
                "{name}: removed for this book; it still judges others\n"
            ));
            continue;
        }
        let kept = kept_path(hooks, name);
        if read(&kept)?.is_some() {
            std::fs::rename(&kept, &path).map_err(|error| unusable(&kept, &error))?;
            output::say(&format!(
                "{name}: removed; the hook that was there before is back\n"
            ));
        } else {
            std::fs::remove_file(&path).map_err(|error| unusable(&path, &error))?;
            output::say(&format!("{name}: removed\n"));
        }
    }
    Ok(End::Fine)
}

#[cfg(unix)]
fn make_executable(path: &Path) -> Result<(), Trouble> {
    use std::os::unix::fs::PermissionsExt;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o755))
        .map_err(|error| unusable(path, &error))
}

#[cfg(not(unix))]
fn make_executable(_path: &Path) -> Result<(), Trouble> {
    Ok(())
}
