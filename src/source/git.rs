//! A book in git: what is staged, read from the commit and what the index changes in it, and nothing else.
//!
//! The index as a whole is never listed: git says what differs from a commit, and the rest is the commit's tree.
//! Lists come from the git program, objects from libgit2, or from `git cat-file` where libgit2 cannot open the repository.

use super::found::{Found, by_git, find, speaks_of};
use super::tree::Tree;
use super::walk::{Limits, bounded, too_much};
use super::{Brought, Entry, Part, Source, SourceError, What};
use crate::parse::MAX_BYTES;
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsString;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::{Arc, Mutex};

/// The variables that tie git to one repository (`git rev-parse --local-env-vars`), and the quarantine's.
pub(super) const REPOSITORY_VARIABLES: [&str; 18] = [
    "GIT_DIR",
    "GIT_WORK_TREE",
    "GIT_INDEX_FILE",
    "GIT_OBJECT_DIRECTORY",
    "GIT_ALTERNATE_OBJECT_DIRECTORIES",
    "GIT_COMMON_DIR",
    "GIT_NAMESPACE",
    "GIT_PREFIX",
    "GIT_GRAFT_FILE",
    "GIT_SHALLOW_FILE",
    "GIT_REPLACE_REF_BASE",
    "GIT_INTERNAL_SUPER_PREFIX",
    "GIT_IMPLICIT_WORK_TREE",
    "GIT_CONFIG",
    "GIT_CONFIG_PARAMETERS",
    "GIT_CONFIG_COUNT",
    "GIT_QUARANTINE_PATH",
    "GIT_NO_REPLACE_OBJECTS",
];

/// The variables that change how git reads the paths that it is asked about.
const PATHSPEC_VARIABLES: [&str; 4] = [
    "GIT_LITERAL_PATHSPECS",
    "GIT_GLOB_PATHSPECS",
    "GIT_NOGLOB_PATHSPECS",
    "GIT_ICASE_PATHSPECS",
];

/// Settings of the user that would change what git answers, or have it write or start something.
const SETTINGS: [&str; 6] = [
    "diff.autoRefreshIndex=false",
    "diff.relative=false",
    "log.follow=false",
    "log.showSignature=false",
    "core.fsmonitor=false",
    // Told of each command, since GIT_GRAFT_FILE is set.
    "advice.graftFileDeprecated=false",
];

/// A version of a file: its mode and the id of its blob.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Version {
    pub mode: u32,
    pub id: String,
}

fn what_is(mode: u32) -> What {
    match mode & 0o170_000 {
        0o100_000 => What::File,
        _ => What::NotAFile,
    }
}

impl Version {
    pub fn what(&self) -> What {
        what_is(self.mode)
    }

    /// The same kind of file with the same bytes; the executable bit does not count.
    pub fn same_as(&self, other: &Version) -> bool {
        self.what() == other.what() && self.id == other.id
    }
}

/// One path that differs between a commit and the index.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// Relative to the book's root.
    pub path: String,
    pub old: Option<Version>,
    pub new: Option<Version>,
    pub unmerged: bool,
}

/// A repository, as the environment of a hook or the place of a book names it.
#[derive(Clone, Debug)]
pub struct Repository {
    /// The folder in which git runs.
    pub(super) cwd: PathBuf,
    /// Whether git's own variables lead to the repository of the book.
    from_environment: bool,
    /// The top of the work tree.
    pub top: PathBuf,
    /// The book's folder below the top, empty or ending in `/`.
    pub prefix: String,
    /// Where git keeps what is of this work tree alone.
    git_folder: PathBuf,
    /// The commit that HEAD stood for when the repository was found.
    head: Option<String>,
    /// How much may be looked at.
    pub limits: Limits,
}

const DIFF_STAGED: [&str; 8] = [
    "diff",
    "--cached",
    "--raw",
    "-z",
    "--no-abbrev",
    "--no-renames",
    "--no-ext-diff",
    "--ignore-submodules=none",
];

/// What has glibc take large pages for its heap: to fetch the memory for an index of 100,000 files page by page is a fifth of
/// git's time. Other libraries do not read it; what the user says of it goes first.
fn large_pages() -> (&'static str, OsString) {
    const NAME: &str = "GLIBC_TUNABLES";
    const SETTING: &str = "glibc.malloc.hugetlb";
    #[expect(clippy::disallowed_methods, reason = "what git inherits")]
    let mut value = std::env::var_os(NAME).unwrap_or_default();
    if !value.to_string_lossy().contains(SETTING) {
        if !value.is_empty() {
            value.push(":");
        }
        value.push(SETTING);
        value.push("=1");
    }
    (NAME, value)
}

/// git at work, comparing the index with HEAD.
pub struct Comparison(Option<Child>);

impl Drop for Comparison {
    fn drop(&mut self) {
        if let Some(mut child) = self.0.take() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

pub(super) fn failed(what: &str, output: &std::process::Output) -> SourceError {
    let said = String::from_utf8_lossy(&output.stderr);
    let lines: Vec<&str> = said.split_whitespace().collect();
    SourceError::new(
        format!("git {what} failed: {}", lines.join(" ")),
        "try the same git command by hand; nothing was said of the records",
    )
}

pub(super) fn no_git(error: std::io::Error) -> SourceError {
    SourceError::new(
        format!("the program git cannot be started: {error}"),
        "install git, or put it on the PATH",
    )
}

/// git in a folder, without what the environment says of any repository.
pub(super) fn by_itself(folder: &Path) -> Command {
    let mut command = Command::new("git");
    command.current_dir(folder).stdin(Stdio::null());
    for variable in REPOSITORY_VARIABLES {
        command.env_remove(variable);
    }
    command.env("LC_ALL", "C");
    command
}

impl Repository {
    /// The repository that a book's folder lies in.
    ///
    /// The environment that git gives a hook is honoured only where it speaks of that repository.
    pub fn of(folder: &Path) -> Result<Repository, SourceError> {
        Ok(Repository::of_with(folder, by_git, &|_| ())?.0)
    }

    /// The same, and git already at work to tell what is staged, which is the longest part of a gate.
    pub fn with_staged(folder: &Path) -> Result<(Repository, Comparison), SourceError> {
        let (repository, begun) = Repository::of_with(folder, find, &|place| place.compare())?;
        Ok((repository, begun?))
    }

    /// Begins something in the place that will most likely be the right one.
    fn of_with<T>(
        folder: &Path,
        find: fn(&Repository) -> Result<Found, SourceError>,
        begin: &dyn Fn(&Repository) -> T,
    ) -> Result<(Repository, T), SourceError> {
        let (existing, folder) = nearest_existing(folder)?;
        let own = Repository::at(existing, false);
        #[expect(clippy::disallowed_methods, reason = "what git tells its hooks")]
        let told =
            std::env::var_os("GIT_DIR").is_some() || std::env::var_os("GIT_INDEX_FILE").is_some();
        let (begun, found) = match told {
            false => (begin(&own), find(&own)?),
            true => {
                let named = Repository::at(PathBuf::from("."), true);
                let begun = begin(&named);
                let (own_found, found) = std::thread::scope(|scope| {
                    let own_found = scope.spawn(|| find(&own));
                    let found = find(&named);
                    (own_found.join(), found)
                });
                let own_found = own_found.unwrap_or_else(|_| find(&own));
                if let Ok(found) = found
                    && let Some(prefix) = prefix_of(&found.top, &folder)
                    && own_found
                        .as_ref()
                        .map_or(true, |own| speaks_of(&found, own))
                {
                    return Ok((named.with(found, prefix), begun));
                }
                drop(begun);
                (begin(&own), own_found?)
            }
        };
        let prefix = prefix_of(&found.top, &folder).ok_or_else(|| {
            SourceError::new(
                format!(
                    "{} is not in the work tree {}",
                    folder.display(),
                    found.top.display()
                ),
                "name the book's folder with --book DIR",
            )
        })?;
        Ok((own.with(found, prefix), begun))
    }

    /// A repository as the server has it: without a work tree, the book a folder of what is committed.
    pub fn without_work_tree(book: &str) -> Result<Repository, SourceError> {
        #[expect(clippy::disallowed_methods, reason = "what git tells its hooks")]
        let told = std::env::var_os("GIT_DIR").is_some();
        let mut repository = Repository::at(PathBuf::from("."), told);
        let folder = repository.line(&["rev-parse", "--absolute-git-dir"])?;
        repository.git_folder = PathBuf::from(&folder);
        repository.top = PathBuf::from(folder);
        let mut steps = Vec::new();
        for step in book.split('/') {
            match step {
                "" | "." => {}
                ".." => {
                    return Err(SourceError::new(
                        format!("{book} is no folder of what is committed"),
                        "name the book's folder as git does, from the top of the repository",
                    ));
                }
                step => steps.push(format!("{step}/")),
            }
        }
        repository.prefix = steps.concat();
        Ok(repository)
    }

    /// Whether git runs here without a work tree.
    pub fn is_bare() -> bool {
        #[expect(clippy::disallowed_methods, reason = "what git tells its hooks")]
        let told = std::env::var_os("GIT_DIR").is_some();
        let here = Repository::at(PathBuf::from("."), told);
        here.line(&["rev-parse", "--is-bare-repository"])
            .is_ok_and(|said| said == "true")
    }

    pub(super) fn at(cwd: PathBuf, from_environment: bool) -> Repository {
        Repository {
            cwd,
            from_environment,
            top: PathBuf::new(),
            prefix: String::new(),
            git_folder: PathBuf::new(),
            head: None,
            limits: Limits::default(),
        }
    }

    fn with(self, found: Found, prefix: String) -> Repository {
        Repository {
            top: found.top,
            prefix,
            git_folder: found.git_folder,
            head: found.head,
            ..self
        }
    }

    /// Whether a folder lies in the work tree of a repository, whatever the environment says.
    pub fn around(folder: &Path) -> Result<bool, SourceError> {
        let asked = ["rev-parse", "--is-inside-work-tree"];
        let output = by_itself(folder).args(asked).output().map_err(no_git)?;
        if output.status.success() {
            return match output.stdout.starts_with(b"true") {
                true => Ok(true),
                false => Err(SourceError::new(
                    format!(
                        "{} belongs to git itself: a .git folder or a bare repository",
                        folder.display()
                    ),
                    "choose a folder of a work tree, or one outside of any repository",
                )),
            };
        }
        let said = String::from_utf8_lossy(&output.stderr);
        match said.contains("not a git repository (or any") {
            true => Ok(false),
            false => Err(failed(&asked.join(" "), &output)),
        }
    }

    /// Makes a repository of a folder that lies in none. Its branch is main unless the user's settings name another.
    pub fn make(folder: &Path) -> Result<(), SourceError> {
        let asked = ["init", "--quiet"];
        let named = by_itself(folder)
            .args(["config", "--get", "init.defaultBranch"])
            .output()
            .map_err(no_git)?;
        let mut command = by_itself(folder);
        // Ctrl-C is for us to heed: a repository is made as a whole or taken back.
        #[cfg(unix)]
        std::os::unix::process::CommandExt::process_group(&mut command, 0);
        if !named.status.success() {
            command.args(["-c", "init.defaultBranch=main"]);
        }
        let output = command.args(asked).output().map_err(no_git)?;
        match output.status.success() {
            true => Ok(()),
            false => Err(failed(&asked.join(" "), &output)),
        }
    }

    /// A git command on this repository. It never writes to index, refs or work tree.
    pub fn git(&self) -> Command {
        let mut command = Command::new("git");
        command.current_dir(&self.cwd).stdin(Stdio::null());
        for setting in SETTINGS {
            command.args(["-c", setting]);
        }
        for variable in PATHSPEC_VARIABLES {
            command.env_remove(variable);
        }
        if !self.from_environment {
            for variable in REPOSITORY_VARIABLES {
                command.env_remove(variable);
            }
        }
        command
            .env("GIT_NO_REPLACE_OBJECTS", "1")
            .env("GIT_OPTIONAL_LOCKS", "0");
        // Grafts would change who is whose parent.
        command.env(
            "GIT_GRAFT_FILE",
            if cfg!(windows) { "NUL" } else { "/dev/null" },
        );
        command.env("LC_ALL", "C");
        command
    }

    /// The output of a git command.
    pub fn ask(&self, arguments: &[&str]) -> Result<Vec<u8>, SourceError> {
        let mut command = self.git();
        command.args(arguments);
        let output = match self.limits.until {
            None => command.output().map_err(no_git)?,
            Some(_) => bounded(
                command,
                arguments.first().unwrap_or(&""),
                Vec::new(),
                &self.limits,
            )?,
        };
        match output.status.success() {
            true => Ok(output.stdout),
            false => Err(failed(&arguments.join(" "), &output)),
        }
    }

    pub(super) fn line(&self, arguments: &[&str]) -> Result<String, SourceError> {
        let bytes = self.ask(arguments)?;
        Ok(String::from_utf8_lossy(&bytes)
            .trim_end_matches(['\n', '\r'])
            .to_owned())
    }

    /// Commits these files alone, as they are in the folder, by git as its user has set it up, hooks and all. Where that is
    /// refused nothing of them stays staged. What git and its hooks said is given either way.
    pub fn commit_files(
        &self,
        paths: &[&str],
        message: &str,
        width: usize,
    ) -> Result<Result<String, String>, SourceError> {
        let full: Vec<String> = paths
            .iter()
            .map(|path| format!(":(top,literal){}{path}", self.prefix))
            .collect();
        let run = |arguments: &[&str]| {
            let mut command = Command::new("git");
            command.current_dir(&self.cwd).stdin(Stdio::null());
            for variable in PATHSPEC_VARIABLES {
                command.env_remove(variable);
            }
            if !self.from_environment {
                for variable in REPOSITORY_VARIABLES {
                    command.env_remove(variable);
                }
            }
            // What the hook says goes to the same terminal.
            command.env("COLUMNS", width.to_string());
            command.args(arguments).arg("--").args(&full);
            command.output().map_err(no_git)
        };
        let said = |output: &std::process::Output| {
            let text = [output.stdout.as_slice(), output.stderr.as_slice()].concat();
            String::from_utf8_lossy(&text).trim().to_owned()
        };
        let added = run(&["add"])?;
        if !added.status.success() {
            return Ok(Err(said(&added)));
        }
        let committed = run(&["commit", "--quiet", "-m", message])?;
        if committed.status.success() {
            return Ok(Ok(said(&committed)));
        }
        // Before the first commit there is nothing to go back to but an index without them.
        if !run(&["reset", "--quiet"])?.status.success() {
            run(&["rm", "--cached", "--quiet"])?;
        }
        Ok(Err(said(&committed)))
    }

    /// A path that git keeps for this repository, such as `hooks` or `MERGE_HEAD`.
    pub fn git_path(&self, name: &str) -> Result<PathBuf, SourceError> {
        let path = self.line(&["rev-parse", "--git-path", name])?;
        Ok(self.cwd.join(path))
    }

    /// The value of a setting with the file that it comes from, if it is set.
    pub fn setting(&self, name: &str) -> Option<(String, String)> {
        let line = self
            .line(&["config", "--show-origin", "--type=path", "--get", name])
            .ok()?;
        let (origin, value) = line.split_once('\t')?;
        Some((
            value.to_owned(),
            origin.trim_start_matches("file:").to_owned(),
        ))
    }

    /// The e-mail of the author that a commit made now would have.
    pub fn author(&self) -> Option<String> {
        let said = |name: &str| {
            #[expect(clippy::disallowed_methods, reason = "what git tells its hooks")]
            let value = std::env::var_os(name);
            value
        };
        if let Some(mail) = said("GIT_AUTHOR_EMAIL") {
            return Some(mail.to_string_lossy().trim().to_owned());
        }
        let plain = ["GIT_CONFIG_COUNT", "GIT_CONFIG_PARAMETERS", "GIT_CONFIG"];
        if plain.iter().all(|name| said(name).is_none())
            && let Some(mail) = self.configured_mail()
        {
            return Some(mail);
        }
        let line = self.line(&["var", "GIT_AUTHOR_IDENT"]).ok()?;
        Some(super::walk::e_mail(&line).to_owned()).filter(|mail| !mail.is_empty())
    }

    /// Without asking git, which costs a process: where nothing but plain settings can have a say.
    fn configured_mail(&self) -> Option<String> {
        let library = match self.from_environment {
            true => git2::Repository::open_from_env(),
            false => git2::Repository::discover(&self.top),
        };
        let config = library.ok()?.config().ok()?.snapshot().ok()?;
        let mut includes = config.entries(Some("^include")).ok()?;
        if includes.next().is_some() {
            return None;
        }
        let mail = |name| config.get_string(name).ok();
        mail("author.email").or_else(|| mail("user.email"))
    }

    /// The commits that the commit in the making will have as parents; none in an empty repository.
    pub fn parents(&self) -> Result<Vec<String>, SourceError> {
        let mut parents = Vec::new();
        match &self.head {
            Some(head) => parents.push(head.clone()),
            None => {
                self.line(&["symbolic-ref", "--quiet", "HEAD"])?;
            }
        }
        let merge_head = self.git_folder.join("MERGE_HEAD");
        #[expect(
            clippy::disallowed_methods,
            reason = "git's own note of a merge under way"
        )]
        let merging = std::fs::read_to_string(merge_head).unwrap_or_default();
        parents.extend(merging.lines().map(str::to_owned));
        // git merge names the other parents to its hook by variables alone.
        #[expect(
            clippy::disallowed_methods,
            reason = "git's own note of a merge under way"
        )]
        let named = std::env::vars_os().filter_map(|(name, _)| {
            let name = name.into_string().ok()?;
            Some(name.strip_prefix("GITHEAD_")?.to_owned())
        });
        if self.from_environment {
            parents.extend(named.filter(|id| id.bytes().all(|byte| byte.is_ascii_hexdigit())));
        }
        // What is staged is compared with HEAD first, and there is none.
        if self.head.is_none() && !parents.is_empty() {
            return Err(SourceError::new(
                "a merge is under way, but HEAD has no commit yet",
                "end the merge with git merge --abort, or put HEAD back: git reflog tells where it was",
            ));
        }
        let mut unique = Vec::new();
        for parent in parents {
            if !unique.contains(&parent) {
                unique.push(parent);
            }
        }
        Ok(unique)
    }

    /// Lets git compare the index with HEAD, or with nothing before the first commit.
    fn compare(&self) -> Result<Comparison, SourceError> {
        let mut command = self.git();
        command.args(DIFF_STAGED).arg("--");
        let (name, value) = large_pages();
        let child = command
            .env(name, value)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(no_git)?;
        Ok(Comparison(Some(child)))
    }

    /// What git found, below the book's folder.
    pub fn staged(&self, mut comparison: Comparison) -> Result<Vec<Change>, SourceError> {
        let output = match comparison.0.take() {
            Some(child) => child.wait_with_output().map_err(no_git)?,
            None => return Ok(Vec::new()),
        };
        match output.status.success() {
            true => self.changes(&output.stdout),
            // Where git does not open what libgit2 did, it says why when it is asked for the place.
            false => Err(by_git(self)
                .err()
                .unwrap_or_else(|| failed(&DIFF_STAGED.join(" "), &output))),
        }
    }

    /// What differs between a commit and the index, below the book's folder. Renames are not looked for.
    pub fn staged_against(&self, commit: &str) -> Result<Vec<Change>, SourceError> {
        let mut arguments = DIFF_STAGED.to_vec();
        arguments.extend([commit, "--"]);
        let spec = format!(":(top,literal){}", self.prefix);
        if !self.prefix.is_empty() {
            arguments.push(&spec);
        }
        self.changes(&self.ask(&arguments)?)
    }

    /// The lines of a raw comparison.
    pub(super) fn changes(&self, bytes: &[u8]) -> Result<Vec<Change>, SourceError> {
        let mut fields = bytes.split(|byte| *byte == 0);
        let mut changes = Vec::new();
        while let Some(head) = fields.next().filter(|head| !head.is_empty()) {
            let path = fields.next().unwrap_or_default();
            let change = self.change(head, path).map_err(|()| {
                SourceError::new(
                    format!(
                        "git diff said something unknown: {}",
                        String::from_utf8_lossy(head)
                    ),
                    "report this with your git version",
                )
            })?;
            changes.extend(change);
        }
        Ok(changes)
    }

    /// One line of a raw comparison; `None` where it is of no file of the book.
    pub(super) fn change(&self, head: &[u8], path: &[u8]) -> Result<Option<Change>, ()> {
        let path = String::from_utf8_lossy(path);
        let head = String::from_utf8_lossy(head);
        let parts: Vec<&str> = head.trim_start_matches(':').split(' ').collect();
        let [old_mode, new_mode, old_id, new_id, status] = parts[..] else {
            return Err(());
        };
        Ok(path.strip_prefix(&self.prefix).map(|path| Change {
            path: path.to_owned(),
            old: version(old_mode, old_id),
            new: version(new_mode, new_id),
            unmerged: status.starts_with('U'),
        }))
    }

    /// The blob that a path had in the first commit, among those that lead to the parents, that brought it.
    pub fn first_version(
        &self,
        parents: &[String],
        path: &str,
    ) -> Result<Option<String>, SourceError> {
        self.first_version_since(parents, path, None)
    }

    /// The same among the commits that are dated since a time; the walk ends there.
    pub fn first_version_since(
        &self,
        parents: &[String],
        path: &str,
        since: Option<jiff::Timestamp>,
    ) -> Result<Option<String>, SourceError> {
        if parents.is_empty() {
            return Ok(None);
        }
        let since = since.map(|since| format!("--since={}", since.as_second()));
        let full = format!("{}{path}", self.prefix);
        let spec = format!(":(top,literal){full}");
        let mut arguments = vec![
            "log",
            "--topo-order",
            "--no-renames",
            "--diff-filter=A",
            "--format=%H",
        ];
        arguments.extend(since.as_deref());
        arguments.extend(parents.iter().map(String::as_str));
        arguments.extend(["--", &spec]);
        let commits = self.line(&arguments)?;
        match commits.lines().last() {
            Some(first) => self
                .line(&["rev-parse", &format!("{first}:{full}")])
                .map(Some),
            None => Ok(None),
        }
    }

    /// The commit that HEAD stands for.
    pub fn head(&self) -> Option<&str> {
        self.head.as_deref()
    }

    /// A path of the book as an argument of git.
    fn spec(&self, path: &str) -> String {
        format!(":(top,literal){}{path}", self.prefix)
    }

    /// The paths of the book among the names that git lists.
    fn own_paths(&self, listed: &[u8]) -> BTreeSet<String> {
        let names = listed.split(|byte| *byte == 0).map(String::from_utf8_lossy);
        names
            .filter_map(|path| path.strip_prefix(&self.prefix).map(str::to_owned))
            .filter(|path| !path.is_empty())
            .collect()
    }

    /// The files below some folders that the work tree has in another state than a commit. One of which git knows
    /// nothing is not among them.
    pub fn differing(
        &self,
        commit: &str,
        folders: &[&str],
    ) -> Result<BTreeSet<String>, SourceError> {
        let specs: Vec<String> = folders.iter().map(|folder| self.spec(folder)).collect();
        let mut arguments = vec![
            "diff-index",
            "--name-only",
            "-z",
            "--no-renames",
            "--no-ext-diff",
            commit,
            "--",
        ];
        arguments.extend(specs.iter().map(String::as_str));
        Ok(self.own_paths(&self.ask(&arguments)?))
    }

    /// The blob of a path in the index, where it is not in conflict.
    pub fn staged_blob(&self, path: &str) -> Result<Option<String>, SourceError> {
        let listed = self.ask(&["ls-files", "--stage", "-z", "--", &self.spec(path)])?;
        let listed = String::from_utf8_lossy(&listed);
        let row = listed.split('\0').next().unwrap_or_default();
        let fields: Vec<&str> = row
            .split('\t')
            .next()
            .unwrap_or_default()
            .split(' ')
            .collect();
        Ok(match fields[..] {
            [mode, id, "0"] if mode.starts_with("100") => Some(id.to_owned()),
            _ => None,
        })
    }

    /// The id of the blob that git would make of some bytes at a path.
    fn blob_id(&self, how: &[&str], bytes: &[u8]) -> Result<String, SourceError> {
        let mut command = self.git();
        // The path is told from where git runs.
        if !self.from_environment {
            command.current_dir(&self.top);
        }
        let mut child = command
            .args(["hash-object", "--stdin"])
            .args(how)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(no_git)?;
        if let Some(mut input) = child.stdin.take() {
            // Where git does not take it all, it says why itself.
            let _ = input.write_all(bytes);
        }
        let output = child.wait_with_output().map_err(no_git)?;
        match output.status.success() {
            true => Ok(String::from_utf8_lossy(&output.stdout).trim().to_owned()),
            false => Err(failed("hash-object", &output)),
        }
    }

    /// The blob that git would keep of a file, by its attributes and settings.
    pub fn kept_id(&self, path: &str, bytes: &[u8]) -> Result<String, SourceError> {
        self.blob_id(&[&format!("--path={}{path}", self.prefix)], bytes)
    }

    /// The bytes that git would keep of a file that it does not know yet: line ends are all that its rules may change.
    pub fn as_kept<'a>(&self, path: &str, bytes: &'a [u8]) -> Result<Cow<'a, [u8]>, SourceError> {
        if !bytes.contains(&b'\r')
            || self.kept_id(path, bytes)? == self.blob_id(&["--no-filters"], bytes)?
        {
            return Ok(Cow::Borrowed(bytes));
        }
        let mut kept = Vec::with_capacity(bytes.len());
        for (at, byte) in bytes.iter().enumerate() {
            if *byte != b'\r' || bytes.get(at + 1) != Some(&b'\n') {
                kept.push(*byte);
            }
        }
        Ok(Cow::Owned(kept))
    }

    /// The commit among those that lead to the parents that first brought a file, or that brought its present content;
    /// `None` where none did, or where the history is cut off there.
    pub fn brought(
        &self,
        parents: &[String],
        path: &str,
        part: Part,
    ) -> Result<Option<Brought>, SourceError> {
        if parents.is_empty() {
            return Ok(None);
        }
        let spec = self.spec(path);
        let ask = |merges: &[&str]| -> Result<String, SourceError> {
            let mut arguments = vec!["log", "--topo-order", "--no-renames"];
            arguments.push("--format=%H%x09%ae%x09%P");
            match part {
                Part::File => arguments.push("--diff-filter=A"),
                Part::Content => arguments.push("--max-count=1"),
            }
            arguments.extend(merges);
            arguments.extend(parents.iter().map(String::as_str));
            arguments.extend(["--", &spec]);
            self.line(&arguments)
        };
        let mut commits = ask(&[])?;
        if commits.is_empty() {
            // A file that a merge itself brought is in no other commit.
            commits = ask(&["-m"])?;
        }
        let Some(found) = commits.lines().rfind(|line| !line.is_empty()) else {
            return Ok(None);
        };
        let mut words = found.splitn(3, '\t');
        let (Some(id), Some(email)) = (words.next(), words.next()) else {
            return Ok(None);
        };
        let begins = words.next().is_none_or(str::is_empty);
        if begins && self.line(&["rev-parse", "--is-shallow-repository"])? == "true" {
            return Ok(None);
        }
        Ok(Some(Brought {
            email: email.to_owned(),
            commit: Some(id.chars().take(12).collect()),
        }))
    }

    /// The files of the book that the index has and a sparse checkout leaves out of the work tree.
    pub fn not_checked_out(&self) -> Result<Vec<String>, SourceError> {
        let folder = match self.prefix.as_str() {
            "" => ".",
            prefix => prefix,
        };
        let spec = format!(":(top,literal){}", folder.trim_end_matches('/'));
        let spec = match folder {
            "." => ":(top)".to_owned(),
            _ => spec,
        };
        let listed = self.ask(&["ls-files", "-t", "-z", "--full-name", "--", &spec])?;
        let rows = listed.split(|byte| *byte == 0);
        Ok(rows
            .filter_map(|row| row.strip_prefix(b"S "))
            .map(|path| String::from_utf8_lossy(path).into_owned())
            .map(|path| path.strip_prefix(&self.prefix).unwrap_or(&path).to_owned())
            .collect())
    }

    /// Those of the paths whose file in the work tree is not what is staged.
    pub fn unstaged_edits(&self, paths: &[String]) -> Result<Vec<String>, SourceError> {
        let paths: Vec<&str> = paths.iter().map(String::as_str).collect();
        let touched = self.touched(&paths)?.into_iter();
        let unstaged = touched.filter(|(state, _)| state[1] != b' ');
        Ok(unstaged.map(|(_, path)| path).collect())
    }

    /// The files at or below some paths that are staged or in the work tree otherwise than the newest commit has them.
    pub fn edited(&self, paths: &[&str]) -> Result<BTreeSet<String>, SourceError> {
        let touched = self.touched(paths)?.into_iter();
        Ok(touched.map(|(_, path)| path).collect())
    }

    /// Files with git's two letters of their state. It is status that looks into a file whose time alone has changed,
    /// as after a copy of the folder, and writes nothing.
    fn touched(&self, paths: &[&str]) -> Result<Vec<([u8; 2], String)>, SourceError> {
        let specs: Vec<String> = paths.iter().map(|path| self.spec(path)).collect();
        let mut arguments = vec![
            "status",
            "--porcelain=v1",
            "-z",
            "--no-renames",
            "--untracked-files=no",
            "--ignore-submodules=all",
            "--",
        ];
        arguments.extend(specs.iter().map(String::as_str));
        let listed = self.ask(&arguments)?;
        let rows = listed.split(|byte| *byte == 0);
        Ok(rows
            .filter_map(|row| match row {
                [index, folder, b' ', path @ ..] => {
                    let path = String::from_utf8_lossy(path);
                    let own = path.strip_prefix(&self.prefix)?;
                    Some(([*index, *folder], own.to_owned()))
                }
                _ => None,
            })
            .collect())
    }
}

fn version(mode: &str, id: &str) -> Option<Version> {
    let mode = u32::from_str_radix(mode, 8).ok()?;
    let none = mode == 0 || id.bytes().all(|byte| byte == b'0');
    (!none).then(|| Version {
        mode,
        id: id.to_owned(),
    })
}

/// The nearest folder that exists, and the folder itself below it.
pub fn nearest_existing(folder: &Path) -> Result<(PathBuf, PathBuf), SourceError> {
    let unusable = || {
        SourceError::new(
            format!("the folder {} cannot be opened", folder.display()),
            "name the folder of a book with --book DIR",
        )
    };
    let mut missing: Vec<OsString> = Vec::new();
    let mut at = if folder.as_os_str().is_empty() {
        PathBuf::from(".")
    } else {
        folder.to_owned()
    };
    loop {
        if let Ok(real) = at.canonicalize() {
            let whole = missing
                .iter()
                .rev()
                .fold(real.clone(), |path, step| path.join(step));
            return Ok((real, whole));
        }
        missing.push(at.file_name().ok_or_else(unusable)?.to_owned());
        at = at.parent().ok_or_else(unusable)?.to_owned();
        if at.as_os_str().is_empty() {
            at = PathBuf::from(".");
        }
    }
}

fn prefix_of(top: &Path, folder: &Path) -> Option<String> {
    let below = folder.strip_prefix(top).ok()?;
    let mut prefix = String::new();
    for step in below.components() {
        prefix += &step.as_os_str().to_string_lossy();
        prefix.push('/');
    }
    Some(prefix)
}

/// Folders one in another.
const DEEPEST: usize = 64;

/// So much of a blob is enough to see that it is too large for a record.
fn most_bytes() -> usize {
    usize::try_from(MAX_BYTES + 1).unwrap_or(usize::MAX)
}

/// Whether an object of a size that has a file of its own can be unpacked to its end. A file that was cut short, as by a power
/// failure, sends libgit2 1.9 into an endless loop.
fn is_whole(library: &git2::Repository, id: &str, size: usize) -> bool {
    let Some((folder, name)) = id.split_at_checked(2) else {
        return false;
    };
    let path = library.commondir().join("objects").join(folder).join(name);
    #[expect(clippy::disallowed_methods, reason = "a file of git's own")]
    let Ok(file) = std::fs::File::open(path) else {
        return true;
    };
    // Before its bytes stand kind and size; one that goes on beyond the size it tells is refused when it is read.
    let most = (size as u64).saturating_add(64);
    let mut unpacked = flate2::read::ZlibDecoder::new(BufReader::new(file)).take(most);
    std::io::copy(&mut unpacked, &mut std::io::sink()).is_ok()
}

/// Reads objects by id.
enum Objects {
    Library(git2::Repository),
    Program {
        child: Child,
        input: ChildStdin,
        output: BufReader<ChildStdout>,
    },
}

impl Objects {
    fn open(repository: &Repository) -> Result<Objects, SourceError> {
        let library = match repository.from_environment {
            true => git2::Repository::open_from_env(),
            false => git2::Repository::discover(&repository.top),
        };
        if let Ok(library) = library {
            return Ok(Objects::Library(library));
        }
        let child = repository
            .git()
            .args(["cat-file", "--batch"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn();
        let unusable = || {
            SourceError::new(
                "the repository's objects cannot be read",
                "look whether git status works here",
            )
        };
        let mut child = child.map_err(|_| unusable())?;
        match (child.stdin.take(), child.stdout.take()) {
            (Some(input), Some(output)) => Ok(Objects::Program {
                child,
                input,
                output: BufReader::new(output),
            }),
            _ => Err(unusable()),
        }
    }

    fn read(&mut self, id: &str) -> Result<Vec<u8>, SourceError> {
        let missing = || {
            SourceError::new(
                format!("the object {id} cannot be read from the repository"),
                "git fsck tells what is wrong; in a partial clone fetch it first",
            )
        };
        match self {
            Objects::Library(library) => {
                let oid = git2::Oid::from_str(id).map_err(|_| missing())?;
                let odb = library.odb().map_err(|_| missing())?;
                let (size, kind) = odb.read_header(oid).map_err(|_| missing())?;
                if kind == git2::ObjectType::Blob && size > most_bytes() {
                    return Ok(vec![b' '; most_bytes()]);
                }
                if !is_whole(library, id, size) {
                    return Err(missing());
                }
                let object = odb.read(oid).map_err(|_| missing())?;
                Ok(object.data().to_vec())
            }
            Objects::Program { input, output, .. } => {
                writeln!(input, "{id}")
                    .and_then(|()| input.flush())
                    .map_err(|_| missing())?;
                let mut head = String::new();
                output.read_line(&mut head).map_err(|_| missing())?;
                let size = head
                    .trim_end()
                    .rsplit(' ')
                    .next()
                    .and_then(|size| size.parse::<usize>().ok());
                let size = size.ok_or_else(missing)?;
                let blob = head.contains(" blob ");
                if blob && size > most_bytes() {
                    let passed = size as u64 + 1;
                    std::io::copy(&mut output.take(passed), &mut std::io::sink())
                        .map_err(|_| missing())?;
                    return Ok(vec![b' '; most_bytes()]);
                }
                let mut bytes = vec![0; size + 1];
                output.read_exact(&mut bytes).map_err(|_| missing())?;
                bytes.truncate(size);
                Ok(bytes)
            }
        }
    }
}

impl Drop for Objects {
    fn drop(&mut self) {
        if let Objects::Program { child, .. } = self {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

/// Names in the book's root with the ids of what they hold.
pub type FactsKey = Vec<(String, String)>;

/// The objects that were read first: those of a small change, which are read more than once.
#[derive(Default)]
struct First {
    objects: BTreeMap<String, Vec<u8>>,
    bytes: usize,
}

impl First {
    const MOST_BYTES: usize = 1 << 20;

    fn keep(&mut self, id: &str, bytes: &[u8]) {
        let fits = self.bytes + bytes.len() <= First::MOST_BYTES;
        if fits && self.objects.insert(id.to_owned(), bytes.to_vec()).is_none() {
            self.bytes += bytes.len();
        }
    }
}

/// The book as the commit in the making holds it: a commit's tree, with what the index changes in it.
pub struct Staged {
    repository: Repository,
    /// Readers that are at rest; each thread that reads takes one, or opens one where there is none.
    objects: Arc<Mutex<Vec<Objects>>>,
    first: Arc<Mutex<First>>,
    commit: Option<String>,
    /// The tree of the book's folder in the commit.
    root: Option<String>,
    changed: BTreeMap<String, Option<Version>>,
    trees: Mutex<BTreeMap<String, Arc<Tree>>>,
}

impl Staged {
    /// The book as a commit holds it, without changes.
    pub fn open(repository: &Repository, head: Option<&str>) -> Result<Staged, SourceError> {
        let mut staged = Staged {
            repository: repository.clone(),
            objects: Arc::new(Mutex::new(vec![Objects::open(repository)?])),
            first: Arc::default(),
            commit: head.map(str::to_owned),
            root: None,
            changed: BTreeMap::new(),
            trees: Mutex::new(BTreeMap::new()),
        };
        staged.root = match head {
            Some(head) => staged.folder_of(head)?,
            None => None,
        };
        Ok(staged)
    }

    /// Another commit of the same repository.
    pub fn at(&self, commit: Option<&str>) -> Result<Staged, SourceError> {
        let mut other = Staged {
            repository: self.repository.clone(),
            objects: self.objects.clone(),
            first: self.first.clone(),
            commit: commit.map(str::to_owned),
            root: None,
            changed: BTreeMap::new(),
            trees: Mutex::new(BTreeMap::new()),
        };
        match commit {
            Some(_) if other.commit == self.commit => {
                let trees = self
                    .trees
                    .lock()
                    .unwrap_or_else(std::sync::PoisonError::into_inner);
                other.trees = Mutex::new(trees.clone());
                other.root.clone_from(&self.root);
            }
            Some(commit) => other.root = other.folder_of(commit)?,
            None => {}
        }
        Ok(other)
    }

    /// What tells whether two commits hold the same facts: the ids of all that lies in the book's root but checks and reviews.
    pub fn facts_key(&self) -> Result<FactsKey, SourceError> {
        let tree = self.tree("")?;
        let mut key = Vec::new();
        for (name, _) in tree.names() {
            if !matches!(&*name, "checks" | "reviews")
                && let Some(version) = tree.get(&name)
            {
                key.push((name.into_owned(), version.id));
            }
        }
        Ok(key)
    }

    /// The same with the changes that are staged.
    pub fn with(mut self, changes: &[Change]) -> Staged {
        let changes = changes.iter();
        self.changed = changes
            .map(|change| (change.path.clone(), change.new.clone()))
            .collect();
        self
    }

    /// The last file below a folder of the commit, by the names along the way.
    pub fn last_below(&self, folder: &str) -> Result<Option<String>, SourceError> {
        let mut path = folder.to_owned();
        loop {
            let tree = self.tree(&path)?;
            let Some((name, mode)) = tree.names().last() else {
                return Ok(None);
            };
            path = format!("{path}/{name}");
            if mode != 0o40_000 {
                return Ok(Some(path));
            }
        }
    }

    /// The tree of the book's folder in a commit.
    fn folder_of(&self, commit: &str) -> Result<Option<String>, SourceError> {
        let object = self.object(commit)?;
        let first = object.split(|byte| *byte == b'\n').next();
        let tree = first.and_then(|line| line.strip_prefix(b"tree "));
        let mut id = tree.map(|id| String::from_utf8_lossy(id).into_owned());
        for step in self.repository.prefix.split_terminator('/') {
            let Some(tree) = id else { return Ok(None) };
            let tree = Tree::new(self.object(&tree)?, tree.len());
            let below = tree.get(step).filter(|entry| entry.mode == 0o40_000);
            id = below.map(|entry| entry.id);
        }
        Ok(id)
    }

    /// The bytes of a blob, cut as those of a file are.
    pub fn blob(&self, id: &str) -> Result<Vec<u8>, SourceError> {
        let mut bytes = self.object(id)?;
        bytes.truncate(most_bytes());
        Ok(bytes)
    }

    pub(super) fn object(&self, id: &str) -> Result<Vec<u8>, SourceError> {
        self.repository.limits.time()?;
        let first = || {
            self.first
                .lock()
                .unwrap_or_else(std::sync::PoisonError::into_inner)
        };
        if let Some(bytes) = first().objects.get(id) {
            return Ok(bytes.clone());
        }
        let resting = || {
            self.objects
                .lock()
                .unwrap_or_else(std::sync::PoisonError::into_inner)
        };
        let taken = resting().pop();
        let mut reader = match taken {
            Some(reader) => reader,
            None => Objects::open(&self.repository)?,
        };
        let bytes = reader.read(id)?;
        // One that met damage may have ended; the next read opens another.
        resting().push(reader);
        first().keep(id, &bytes);
        Ok(bytes)
    }

    /// Refuses a commit whose folders, few as they may be, unfold to more files than may be looked at: a folder that stands in many places
    /// is one object, and git would gather all its files before it says a word.
    pub(super) fn must_be_small(
        &self,
        known: &mut BTreeMap<String, usize>,
    ) -> Result<(), SourceError> {
        let most = self.repository.limits.changes;
        match &self.root {
            Some(root) if self.unfolded(root, known)? > most => Err(too_much("files", most)),
            _ => Ok(()),
        }
    }

    /// How many files lie below a folder, each folder read once. Without recursion, for folders can lie one in another without end.
    fn unfolded(
        &self,
        tree: &str,
        known: &mut BTreeMap<String, usize>,
    ) -> Result<usize, SourceError> {
        let mut open = vec![tree.to_owned()];
        while let Some(id) = open.last().cloned() {
            if known.contains_key(&id) {
                open.pop();
                continue;
            }
            let read = Tree::new(self.object(&id)?, id.len());
            let mut count: usize = 0;
            let mut unknown = Vec::new();
            for (mode, below) in read.below() {
                match (mode, known.get(&below)) {
                    (0o40_000, None) => unknown.push(below),
                    (0o40_000, Some(files)) => count = count.saturating_add(*files),
                    _ => count = count.saturating_add(1),
                }
            }
            match unknown.is_empty() {
                true => drop(known.insert(id, count)),
                false => open.append(&mut unknown),
            }
        }
        Ok(known.get(tree).copied().unwrap_or(0))
    }

    /// A folder that names one file twice is read as the one and checked out as the other, so nothing can be said of it.
    pub fn must_be_sound(&self, folder: &str) -> Result<(), SourceError> {
        match self.tree(folder)?.named_twice() {
            None => Ok(()),
            Some(name) => Err(SourceError::new(
                format!(
                    "the folder {}{folder} of commit {} names {name} twice, which no git makes",
                    self.repository.prefix,
                    self.commit.as_deref().unwrap_or("HEAD")
                ),
                "git fsck tells of such folders; make the commit anew from a sound clone",
            )),
        }
    }

    /// The entries of one folder of the commit.
    fn tree(&self, folder: &str) -> Result<Arc<Tree>, SourceError> {
        let known = self
            .trees
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
            .get(folder)
            .cloned();
        if let Some(known) = known {
            return Ok(known);
        }
        let id = match folder.rsplit_once('/') {
            _ if folder.is_empty() => self.root.clone(),
            Some((parent, name)) => self
                .tree(parent)?
                .get(name)
                .filter(|entry| entry.mode == 0o40_000)
                .map(|entry| entry.id.clone()),
            None => self
                .tree("")?
                .get(folder)
                .filter(|entry| entry.mode == 0o40_000)
                .map(|entry| entry.id.clone()),
        };
        let entries = Arc::new(match id {
            None => Tree::default(),
            Some(id) => Tree::new(self.object(&id)?, id.len()),
        });
        let mut trees = self
            .trees
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        trees.insert(folder.to_owned(), entries.clone());
        Ok(entries)
    }

    fn version(&self, path: &str) -> Result<Option<Version>, SourceError> {
        match self.changed.get(path) {
            Some(changed) => Ok(changed.clone()),
            None => self.committed(path),
        }
    }

    /// What the commit has, whatever is staged.
    pub fn committed(&self, path: &str) -> Result<Option<Version>, SourceError> {
        let (folder, name) = path.rsplit_once('/').unwrap_or(("", path));
        Ok(self
            .tree(folder)?
            .get(name)
            .filter(|entry| entry.mode != 0o40_000))
    }

    /// What the commit holds below a folder.
    fn collect(&self, folder: &str, into: &mut BTreeMap<String, What>) -> Result<(), SourceError> {
        if folder.bytes().filter(|byte| *byte == b'/').count() > DEEPEST {
            return Err(too_much("folders one in another", DEEPEST));
        }
        for (name, mode) in self.tree(folder)?.names() {
            let mut path = String::with_capacity(folder.len() + 1 + name.len());
            path.push_str(folder);
            path.push('/');
            path.push_str(&name);
            match mode {
                0o40_000 => self.collect(&path, into)?,
                _ => {
                    into.insert(path, what_is(mode));
                }
            }
            if into.len() > self.repository.limits.changes {
                return Err(too_much("files", self.repository.limits.changes));
            }
        }
        Ok(())
    }
}

impl Source for Staged {
    fn list(&self, folder: &str) -> Result<Vec<Entry>, SourceError> {
        let mut found = BTreeMap::new();
        self.collect(folder, &mut found)?;
        let prefix = format!("{folder}/");
        for (path, version) in self.changed.range(prefix.clone()..) {
            if !path.starts_with(&prefix) {
                break;
            }
            match version {
                Some(version) => found.insert(path.clone(), version.what()),
                None => found.remove(path),
            };
        }
        Ok(found
            .into_iter()
            .map(|(path, what)| Entry { path, what })
            .collect())
    }

    fn top(&self) -> Result<Vec<String>, SourceError> {
        let tree = self.tree("")?;
        let mut names: BTreeSet<String> = tree.names().map(|(name, _)| name.into_owned()).collect();
        for (path, version) in &self.changed {
            let (name, below) = path.split_once('/').unwrap_or((path, ""));
            match version {
                Some(_) => names.insert(name.to_owned()),
                None => below.is_empty() && names.remove(name),
            };
        }
        Ok(names.into_iter().collect())
    }

    fn what(&self, path: &str) -> Result<Option<What>, SourceError> {
        Ok(self.version(path)?.map(|version| version.what()))
    }

    fn read(&self, path: &str) -> Result<Option<Vec<u8>>, SourceError> {
        match self.version(path)? {
            Some(version) if version.what() == What::File => self.blob(&version.id).map(Some),
            _ => Ok(None),
        }
    }

    fn covered<'a>(&self, path: &str, read: &'a [u8]) -> Result<Cow<'a, [u8]>, SourceError> {
        if !self.changed.contains_key(path) {
            return Ok(Cow::Borrowed(read));
        }
        match self.committed(path)? {
            Some(version) if version.what() == What::File => self.blob(&version.id).map(Cow::Owned),
            _ => Ok(Cow::Borrowed(read)),
        }
    }

    fn is_new(&self, path: &str) -> Result<bool, SourceError> {
        Ok(self.changed.contains_key(path) && self.committed(path)?.is_none())
    }

    fn is_pending(&self, path: &str) -> bool {
        self.changed.contains_key(path)
    }

    fn brought_by(
        &self,
        review: &str,
        covered: &str,
        part: Part,
    ) -> Result<Option<Brought>, SourceError> {
        if !self.is_new(review)? {
            return Ok(None);
        }
        let parents = self.repository.parents()?;
        if parents.len() < 2 && self.is_new(covered)? {
            let email = self.repository.author();
            return Ok(email.map(|email| Brought {
                email,
                commit: None,
            }));
        }
        self.repository.brought(&parents, covered, part)
    }
}
