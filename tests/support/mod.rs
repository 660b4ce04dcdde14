//! A book in a repository of its own, worked on by real git, untouched by whoever runs the tests.
#![allow(
    dead_code,
    clippy::disallowed_methods,
    reason = "each test file uses its part; tests may use files and the environment"
)]

pub mod history;

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Mutex;
use tempfile::TempDir;

pub const FLUID: &str = "fluids/K-1.toml";
pub const MARKER: &str = "shearbook.toml";

const BASE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/src/rules/base");
const CHECK: &str = "checks/2026/VM-1/2026-03-02-0900.toml";

/// The path of the check at a time of the day, such as `0900`.
pub fn check_path(time: &str) -> String {
    format!("checks/2026/VM-1/2026-03-02-{time}.toml")
}

/// A check as the analyst wrote it, not sealed yet.
pub fn draft(time: &str) -> String {
    let (hour, minute) = time.split_at(2);
    std::fs::read_to_string(Path::new(BASE).join(CHECK))
        .unwrap()
        .replace("T09:00:00", &format!("T{hour}:{minute}:00"))
        .replace(
            "condition = \"as-found\"\n",
            "condition = \"as-found\"\nlate_reason = \"entered from the bench sheet\"\n",
        )
}

/// A draft whose readings lie 2.9 % under the certified 484.0 mPa.s: at 60 rpm, where the range is
/// 30000 / 60 = 500 mPa.s, the limit is 1 % of 484.0 plus 1 % of 500, which is 9.84 mPa.s.
pub fn failing_draft(time: &str) -> String {
    draft(time)
        .replace("viscosity_mpa_s = 485.0", "viscosity_mpa_s = 470.0")
        .replace("torque_percent = 19.4", "torque_percent = 18.8")
        .replace("torque_percent = 48.5", "torque_percent = 47.0")
        .replace("torque_percent = 97.0", "torque_percent = 94.0")
}

/// The same check made with a lot of the same values that had expired by then, so that no computed figure differs.
pub fn with_expired_lot(sound: &str) -> String {
    let bad = sound.replace("fluid = \"K-1\"\n", "fluid = \"K-0\"\n");
    assert_ne!(bad, sound);
    bad
}

/// The rule that such a check breaks.
pub const EXPIRED: &str = "fluid-expired";

#[derive(Debug)]
pub struct Done {
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

impl Done {
    pub fn of(output: Output) -> Done {
        Done {
            code: output.status.code(),
            out: String::from_utf8_lossy(&output.stdout).into_owned(),
            err: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }

    #[track_caller]
    pub fn ends(self, code: i32) -> Done {
        assert_eq!(self.code, Some(code), "{}{}", self.out, self.err);
        self
    }

    /// A commit or merge that the hook stopped, naming rule and file.
    #[track_caller]
    pub fn refused_for(self, rule: &str, path: &str) -> Done {
        assert_ne!(self.code, Some(0), "{}{}", self.out, self.err);
        for word in [rule, path] {
            assert!(self.err.contains(word), "no {word} in {}", self.err);
        }
        self
    }
}

/// What the gate said, as programs read it.
#[derive(Debug)]
pub struct Judged {
    pub code: i32,
    /// Rule, severity, path.
    pub findings: Vec<(String, String, String)>,
}

impl Judged {
    fn of(done: Done) -> Judged {
        let json: serde_json::Value = serde_json::from_str(&done.out)
            .unwrap_or_else(|error| panic!("{error}: {}{}", done.out, done.err));
        let word = |value: &serde_json::Value| value.as_str().unwrap().to_owned();
        let findings: Vec<_> = json["findings"]
            .as_array()
            .unwrap()
            .iter()
            .map(|one| {
                (
                    word(&one["rule"]),
                    word(&one["severity"]),
                    word(&one["path"]),
                )
            })
            .collect();
        for severity in ["error", "warning", "notice"] {
            let count = findings.iter().filter(|one| one.1 == severity).count();
            assert_eq!(json["counts"][severity], count, "{json}");
        }
        Judged {
            code: done.code.unwrap(),
            findings,
        }
    }

    /// Rule and path of each error.
    pub fn errors(&self) -> Vec<(&str, &str)> {
        self.findings
            .iter()
            .filter(|one| one.1 == "error")
            .map(|one| (one.0.as_str(), one.2.as_str()))
            .collect()
    }

    /// Exactly these errors, and the exit code that goes with them.
    #[track_caller]
    pub fn refuses(&self, errors: &[(&str, &str)]) {
        assert_eq!(self.errors(), errors);
        assert_eq!(self.code, 1);
    }

    #[track_caller]
    pub fn passes(&self) {
        assert_eq!(self.errors(), []);
        assert_eq!(self.code, 0);
    }
}

pub struct Scratch {
    temp: TempDir,
    /// The top of the work tree.
    pub top: PathBuf,
    /// The book's folder.
    pub book: PathBuf,
    extra: Vec<(String, String)>,
}

impl Scratch {
    /// A repository without a book or a commit; the name is the folder's.
    pub fn named(name: &str, init: &[&str]) -> Scratch {
        let temp = TempDir::new().unwrap();
        let root = temp.path().canonicalize().unwrap();
        std::fs::create_dir(root.join("home")).unwrap();
        let top = root.join(name);
        std::fs::create_dir_all(&top).unwrap();
        let scratch = Scratch {
            temp,
            book: top.clone(),
            top,
            extra: Vec::new(),
        };
        scratch.git(&[&["init", "--quiet", "--initial-branch=main"], init].concat());
        scratch
    }

    pub fn empty() -> Scratch {
        Scratch::named("work", &[])
    }

    /// A sound book, its facts committed, without a check.
    pub fn book() -> Scratch {
        Scratch::empty().with_book("")
    }

    /// Puts the facts of a sound book into a folder of the repository and commits them.
    pub fn with_book(self, folder: &str) -> Scratch {
        let scratch = self.with_facts(folder);
        scratch.git(&["add", "--all"]);
        scratch.git(&["commit", "--quiet", "--message", "Begin the book"]);
        scratch
    }

    /// Puts the facts of a sound book into a folder of the work tree.
    pub fn with_facts(mut self, folder: &str) -> Scratch {
        if !folder.is_empty() {
            self.book = self.top.join(folder);
        }
        for part in [
            MARKER,
            FLUID,
            "baths/WB-1.toml",
            "geometries/G-1.toml",
            "instruments/VM-1.toml",
            "people/op-01.toml",
            "people/qa-01.toml",
            "policies/P-1.toml",
            "thermometers/TH-1.toml",
        ] {
            self.write(part, std::fs::read(Path::new(BASE).join(part)).unwrap());
        }
        let old = self
            .read(FLUID)
            .replace("id = \"K-1\"", "id = \"K-0\"")
            .replace("expires = 2027-01-14", "expires = 2026-02-20");
        self.write("fluids/K-0.toml", old);
        self
    }

    /// Sets a variable for every later command.
    pub fn set(&mut self, name: &str, value: &str) {
        self.extra.push((name.to_owned(), value.to_owned()));
    }

    /// The temporary folder that holds the repository.
    pub fn outside(&self) -> PathBuf {
        self.temp.path().canonicalize().unwrap()
    }

    /// A command that sees nothing of the configuration or repository of whoever runs the tests.
    pub fn command(&self, program: impl AsRef<OsStr>, folder: &Path) -> Command {
        let mut command = Command::new(program);
        for (name, _) in std::env::vars_os() {
            let shown = name.to_string_lossy();
            if shown.starts_with("GIT") || shown.starts_with("XDG_") {
                command.env_remove(&name);
            }
        }
        command
            .current_dir(folder)
            .stdin(std::process::Stdio::null())
            .env("HOME", self.outside().join("home"))
            .env("GIT_CONFIG_GLOBAL", "/dev/null")
            .env("GIT_CONFIG_NOSYSTEM", "1")
            .env("GIT_CEILING_DIRECTORIES", self.outside())
            .env("GIT_AUTHOR_NAME", "Operator one")
            .env("GIT_AUTHOR_EMAIL", "op-01@lab.example")
            .env("GIT_AUTHOR_DATE", "2026-03-02T12:00:00+00:00")
            .env("GIT_COMMITTER_NAME", "Operator one")
            .env("GIT_COMMITTER_EMAIL", "op-01@lab.example")
            .env("GIT_COMMITTER_DATE", "2026-03-02T12:00:00+00:00")
            .env("GIT_MERGE_AUTOEDIT", "no")
            .env("GIT_EDITOR", "true")
            .env("LC_ALL", "C");
        for (name, value) in &self.extra {
            command.env(name, value);
        }
        command
    }

    pub fn try_git_in(&self, folder: &Path, arguments: &[&str]) -> Done {
        Done::of(
            self.command("git", folder)
                .args(arguments)
                .output()
                .unwrap(),
        )
    }

    pub fn try_git(&self, arguments: &[&str]) -> Done {
        self.try_git_in(&self.top, arguments)
    }

    /// The output of a git command that must succeed.
    #[track_caller]
    pub fn git(&self, arguments: &[&str]) -> String {
        self.try_git(arguments).ends(0).out
    }

    pub fn tool(&self, folder: &Path) -> Command {
        self.command(env!("CARGO_BIN_EXE_shearbook"), folder)
    }

    pub fn shearbook_in(&self, folder: &Path, arguments: &[&str]) -> Done {
        Done::of(self.tool(folder).args(arguments).output().unwrap())
    }

    /// Runs the program in the book's folder.
    pub fn shearbook(&self, arguments: &[&str]) -> Done {
        self.shearbook_in(&self.book, arguments)
    }

    pub fn gate(&self) -> Judged {
        self.gate_in(&self.book)
    }

    pub fn gate_in(&self, folder: &Path) -> Judged {
        Judged::of(self.shearbook_in(folder, &["gate", "--format", "json"]))
    }

    /// The gate with variables that some other program left behind.
    pub fn gate_with(
        &self,
        folder: &Path,
        arguments: &[&str],
        variables: &[(&str, &str)],
    ) -> Judged {
        let mut tool = self.tool(folder);
        tool.args(arguments).args(["gate", "--format", "json"]);
        tool.envs(variables.iter().copied());
        Judged::of(Done::of(tool.output().unwrap()))
    }

    pub fn install(&self) {
        self.shearbook(&["hook", "install"]).ends(0);
    }

    pub fn path(&self, path: &str) -> PathBuf {
        self.book.join(path)
    }

    pub fn write(&self, path: &str, bytes: impl AsRef<[u8]>) {
        let full = self.path(path);
        std::fs::create_dir_all(full.parent().unwrap()).unwrap();
        std::fs::write(full, bytes).unwrap();
    }

    pub fn read(&self, path: &str) -> String {
        std::fs::read_to_string(self.path(path)).unwrap()
    }

    /// Replaces one text in a file, which must hold it.
    #[track_caller]
    pub fn edit(&self, path: &str, from: &str, to: &str) {
        let old = self.read(path);
        assert!(old.contains(from), "no {from} in {path}");
        self.write(path, old.replacen(from, to, 1));
    }

    pub fn remove(&self, path: &str) {
        std::fs::remove_file(self.path(path)).unwrap();
    }

    /// Writes a draft and has it sealed. Drafts that were sealed once over the same facts are not sealed again.
    pub fn seal(&self, time: &str, draft: &str) -> String {
        static SEALED: Mutex<BTreeMap<String, String>> = Mutex::new(BTreeMap::new());
        let path = check_path(time);
        let key = format!("{draft}{}", self.read(FLUID));
        let known = SEALED.lock().unwrap().get(&key).cloned();
        match known {
            Some(known) => self.write(&path, known),
            None => {
                self.write(&path, draft);
                self.shearbook(&["seal", &path]).ends(0);
                SEALED.lock().unwrap().insert(key, self.read(&path));
            }
        }
        path
    }

    /// A sound, sealed check in the work tree; its path.
    pub fn sound_check(&self, time: &str) -> String {
        self.seal(time, &draft(time))
    }

    /// A sealed check that the gate refuses for its expired lot alone; its path.
    pub fn bad_check(&self, time: &str) -> String {
        let path = self.sound_check(time);
        self.write(&path, with_expired_lot(&self.read(&path)));
        path
    }

    /// A path of the book in the form that git wants at the top.
    pub fn path_at_top(&self, path: &str) -> String {
        let full = self.path(path);
        full.strip_prefix(&self.top)
            .unwrap()
            .to_str()
            .unwrap()
            .to_owned()
    }

    pub fn stage(&self, path: &str) {
        self.git(&["add", "--", &self.path_at_top(path)]);
    }

    /// Commits what is staged, hook or no hook.
    pub fn commit_unverified(&self) {
        self.git(&["commit", "--quiet", "--no-verify", "--message", "Enter"]);
    }

    pub fn try_commit(&self, more: &[&str]) -> Done {
        self.try_git(&[&["commit", "--quiet", "--message", "Enter"], more].concat())
    }

    /// A sound check, committed; its path.
    pub fn committed_check(&self, time: &str) -> String {
        let path = self.sound_check(time);
        self.stage(&path);
        self.commit_unverified();
        path
    }

    pub fn head(&self) -> String {
        self.git(&["rev-parse", "HEAD"])
    }

    /// Every file below a folder with its bytes.
    pub fn snapshot(&self, folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
        let mut files = BTreeMap::new();
        let mut folders = vec![folder.to_owned()];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                match path.is_dir() {
                    true => folders.push(path),
                    false => {
                        files.insert(path.clone(), std::fs::read(&path).unwrap());
                    }
                }
            }
        }
        files
    }
}
