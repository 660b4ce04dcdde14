//! A book with a history of its own, and the three gates that look at it: what is staged, a range, a push.
//!
//! All dates are counted back from today, since lateness and the future go by the clock.

use super::{Done, EXPIRED, FLUID, MARKER, Scratch, check_path, draft};
use jiff::civil::Date;
use jiff::{ToSpan as _, tz::TimeZone};
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write as _;
use std::ops::Deref;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;

pub const INSTRUMENT: &str = "instruments/VM-1.toml";
pub const POLICY: &str = "policies/P-1.toml";
pub const THERMOMETER: &str = "thermometers/TH-1.toml";
pub const OPERATOR: &str = "people/op-01.toml";

/// What the contract attaches to no file: these findings are compared without their path.
const PLACELESS: [&str; 5] = [
    "history-rewritten",
    "commit-dated-back",
    "commit-unsigned",
    "signature-bad",
    "signing-switched-off",
];
/// What the contract attaches to no commit, since it is about a ref.
const COMMITLESS: [&str; 1] = ["history-rewritten"];

/// The date so many days ago, in the book's zone.
pub fn day(ago: i64) -> Date {
    static TODAY: OnceLock<Date> = OnceLock::new();
    *TODAY.get_or_init(|| TimeZone::UTC.to_datetime(jiff::Timestamp::now()).date()) - ago.days()
}

/// A time as git reads it.
pub fn at(ago: i64, time: &str) -> String {
    format!("{}T{time}:00+00:00", day(ago))
}

pub fn noon(ago: i64) -> String {
    at(ago, "12:00")
}

/// A finding as a scenario names it: who reads it sees severity, rule, path and commit.
#[derive(Clone, Debug)]
pub struct Line {
    severity: &'static str,
    rule: &'static str,
    path: String,
    commit: Option<String>,
}

pub fn error(rule: &'static str, path: impl Into<String>) -> Line {
    Line {
        severity: "error",
        rule,
        path: path.into(),
        commit: None,
    }
}

pub fn warning(rule: &'static str, path: impl Into<String>) -> Line {
    Line {
        severity: "warning",
        ..error(rule, path)
    }
}

impl Line {
    /// The commit that brought it.
    pub fn by(mut self, commit: &str) -> Line {
        self.commit = Some(commit.to_owned());
        self
    }

    fn shown(&self) -> String {
        shown(
            self.severity,
            self.rule,
            &self.path,
            self.commit.as_deref().unwrap_or("staged"),
        )
    }
}

fn shown(severity: &str, rule: &str, path: &str, commit: &str) -> String {
    let path = match PLACELESS.contains(&rule) {
        true => "*",
        false => path,
    };
    let commit = match COMMITLESS.contains(&rule) {
        true => "*",
        false => commit,
    };
    format!("{severity} {rule} {path} {commit}")
}

/// What a gate said, and how it ended.
#[derive(Debug)]
pub struct Verdict {
    what: &'static str,
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

impl Verdict {
    pub fn of(what: &'static str, done: Done) -> Verdict {
        Verdict {
            what,
            code: done.code,
            out: done.out,
            err: done.err,
        }
    }

    #[track_caller]
    fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out).unwrap_or_else(|fault| {
            panic!(
                "{}: {fault}: ended with {:?}: {}{}",
                self.what, self.code, self.out, self.err
            )
        })
    }

    /// Every error and warning that it told, as lines.
    #[track_caller]
    pub fn lines(&self) -> BTreeSet<String> {
        let json = self.json();
        let findings = json["findings"].as_array().unwrap();
        findings
            .iter()
            .filter(|one| one["severity"] != "notice")
            .map(|one| {
                shown(
                    one["severity"].as_str().unwrap(),
                    one["rule"].as_str().unwrap(),
                    one["path"].as_str().unwrap(),
                    one["commit"].as_str().unwrap_or("staged"),
                )
            })
            .collect()
    }

    /// Exactly these errors and warnings, and the exit code that goes with them.
    #[track_caller]
    pub fn says(&self, expected: &[Line]) {
        let wanted: BTreeSet<String> = expected.iter().map(Line::shown).collect();
        let told = || self.messages().join("\n");
        assert_eq!(self.lines(), wanted, "{}:\n{}", self.what, told());
        let refused = expected.iter().any(|one| one.severity == "error");
        assert_eq!(self.code, Some(i32::from(refused)), "{}", self.what);
    }

    /// What was told, for whoever reads why a test failed.
    fn messages(&self) -> Vec<String> {
        let json = self.json();
        let findings = json["findings"].as_array().unwrap();
        let shown = |one: &serde_json::Value| {
            format!("{} {}: {}", one["rule"], one["path"], one["message"])
        };
        findings.iter().take(20).map(shown).collect()
    }

    /// This finding among others, and a refusal.
    #[track_caller]
    pub fn tells(&self, expected: &Line) {
        self.holds(std::slice::from_ref(expected));
        assert_eq!(self.code, Some(1), "{}", self.what);
    }

    /// These findings among others.
    #[track_caller]
    pub fn holds(&self, expected: &[Line]) {
        let lines = self.lines();
        for one in expected.iter().map(Line::shown) {
            assert!(
                lines.contains(&one),
                "{}: no {one} in {lines:#?}",
                self.what
            );
        }
    }

    /// Nothing to say, not even a warning.
    #[track_caller]
    pub fn passes(&self) {
        self.says(&[]);
    }

    /// Could not look, says why to people, and nothing of the records.
    #[track_caller]
    pub fn cannot_look(&self, word: &str) {
        assert_eq!(self.code, Some(3), "{}{}", self.out, self.err);
        assert_eq!(self.out, "", "{}", self.what);
        assert!(self.err.contains(word), "no {word} in {}", self.err);
    }
}

/// A laboratory's clone of its book. op-01 and op-02 may check; qa-01 keeps the records and reviews, qa-02 reviews.
pub struct Lab {
    scratch: Scratch,
    /// The book's folder in the repository, `""` for the top.
    folder: &'static str,
    /// Two checks of op-01, committed on their days.
    pub one: String,
    pub two: String,
    /// The commit with both.
    pub base: String,
}

impl Deref for Lab {
    type Target = Scratch;
    fn deref(&self) -> &Scratch {
        &self.scratch
    }
}

/// Nothing in it falls due in our time.
fn lasting(scratch: &Scratch) {
    scratch.edit(MARKER, "Europe/Dublin", "UTC");
    scratch.edit(FLUID, "expires = 2027-01-14", "expires = 2099-01-14");
    scratch.edit(THERMOMETER, "due = 2027-01-10", "due = 2099-01-10");
    scratch.edit(
        INSTRUMENT,
        "certificate = \"C-100\"\n",
        "certificate = \"C-100\"\ndue = 2099-01-12\n",
    );
    scratch.edit(POLICY, "in_use_months = 12\n", "");
    scratch.edit(OPERATOR, "until = 2026-12-31\n", "");
    let operator = scratch.read(OPERATOR);
    scratch.write("people/op-02.toml", operator.replace("op-01", "op-02"));
    let reviewer = operator
        .replace("op-01", "qa-02")
        .replace("for = \"check\"", "for = \"review\"");
    scratch.write("people/qa-02.toml", reviewer);
}

/// What sealing adds to a sound check over the facts of a new book; it is the same on every day.
fn computed() -> &'static str {
    static COMPUTED: OnceLock<String> = OnceLock::new();
    COMPUTED.get_or_init(|| {
        let scratch = Scratch::empty().with_facts("");
        lasting(&scratch);
        let (path, text) = (check_path("0900"), draft("0900"));
        scratch.write(&path, &text);
        scratch.shearbook(&["seal", &path]).ends(0);
        scratch.read(&path).strip_prefix(&text).unwrap().to_owned()
    })
}

impl Lab {
    /// A book of 60 days ago, without a check.
    pub fn new_in(folder: &'static str) -> Lab {
        Lab::begun(folder, &[])
    }

    fn begun(folder: &'static str, init: &[&str]) -> Lab {
        let init = [&["--template="], init].concat();
        let scratch = Scratch::named("work", &init).with_facts(folder);
        lasting(&scratch);
        let mut lab = Lab {
            scratch,
            folder,
            one: String::new(),
            two: String::new(),
            base: String::new(),
        };
        lab.base = lab.commit("qa-01", 60);
        lab
    }

    pub fn new() -> Lab {
        Lab::new_in("")
    }

    /// With two checks, of 40 and of 30 days ago, and what the edit of the facts makes of the book before them.
    pub fn after(folder: &'static str, facts: impl FnOnce(&Lab)) -> Lab {
        let lab = Lab::new_in(folder);
        facts(&lab);
        lab.checked()
    }

    /// The same in a repository of another make, as `git init` is told.
    pub fn made_with(init: &[&str]) -> Lab {
        Lab::begun("", init).checked()
    }

    fn checked(self) -> Lab {
        let mut lab = self;
        if !lab.git(&["status", "--porcelain"]).is_empty() {
            lab.commit("qa-01", 59);
        }
        lab.one = lab.check(40, "0900");
        lab.commit("op-01", 40);
        lab.two = lab.check(30, "0900");
        lab.base = lab.commit("op-01", 30);
        lab
    }

    pub fn with_checks() -> Lab {
        Lab::after("", |_| {})
    }

    /// The id of a check by its path.
    pub fn id_of<'path>(&self, path: &'path str) -> &'path str {
        let rest = path.strip_prefix("checks/").unwrap();
        let rest = rest.strip_suffix(".toml").unwrap();
        rest.split_once('/').unwrap().1
    }

    /// The path of a check by day and time of the day, such as `0900`.
    pub fn path_of(&self, ago: i64, time: &str) -> String {
        let date = day(ago);
        format!("checks/{}/VM-1/{date}-{time}.toml", date.year())
    }

    /// A check of op-01 as the analyst wrote it.
    pub fn draft(&self, ago: i64, time: &str) -> String {
        let date = day(ago).to_string();
        draft(time)
            .replace("2026-03-02", &date)
            .replace("late_reason = \"entered from the bench sheet\"\n", "")
    }

    /// Writes a sound, sealed check of op-01; its path.
    pub fn check(&self, ago: i64, time: &str) -> String {
        self.check_but(ago, time, "", "")
    }

    /// The same with one text replaced, which must leave every computed figure as it is.
    #[track_caller]
    pub fn check_but(&self, ago: i64, time: &str, from: &str, to: &str) -> String {
        let text = self.draft(ago, time) + computed();
        assert!(text.contains(from), "no {from} in {text}");
        let path = self.path_of(ago, time);
        self.write(&path, text.replacen(from, to, 1));
        path
    }

    /// A check that the gate refuses for its expired lot alone; its path.
    pub fn bad_check(&self, ago: i64, time: &str) -> String {
        self.check_but(ago, time, "fluid = \"K-1\"", "fluid = \"K-0\"")
    }

    /// That finding.
    pub fn expired(&self, path: &str) -> Line {
        error(EXPIRED, path)
    }

    /// Writes a draft and has the program seal it, over the facts as they are now; its path.
    #[track_caller]
    pub fn sealed(&self, path: &str, draft: &str) -> String {
        self.write(path, draft);
        self.shearbook(&["seal", path]).ends(0);
        path.to_owned()
    }

    /// The amendment of a check, sealed over the facts as they are now; its path.
    #[track_caller]
    pub fn amendment(&self, path: &str, ago: i64, by: &str) -> String {
        let text = self.read(path);
        let text = text.split("\n[computed]").next().unwrap();
        let name = path.strip_suffix(".toml").unwrap();
        let more = format!(
            "amends = \"{}\"\namended = {}T11:00:00\namended_by = \"{by}\"\nreason = \"see the file of the fact\"\n\n[preparation]",
            self.id_of(path),
            day(ago)
        );
        self.sealed(
            &format!("{name}.a1.toml"),
            &text.replacen("\n[preparation]", &more, 1),
        )
    }

    /// A review of a file of the book as it stands in the folder; its path.
    pub fn review(&self, path: &str, by: &str, ago: i64) -> String {
        let id = self.id_of(path);
        let text = format!(
            "format = 1\ncheck = \"{id}\"\nsha256 = \"{}\"\nreviewer = \"{by}\"\ndecided = {}T10:00:00\ndecision = \"approve\"\n",
            sha256(&self.read(path)),
            day(ago)
        );
        let name = path.strip_suffix(".toml").unwrap();
        let path = format!("{}/{by}-1.toml", name.replacen("checks", "reviews", 1));
        self.write(&path, text);
        path
    }

    /// Writes an earlier soak into a check, which no other rule minds.
    #[track_caller]
    pub fn tamper(&self, path: &str) {
        self.edit(path, ":50:00", ":40:00");
    }

    /// Adds text at the end of a file.
    pub fn append(&self, path: &str, text: &str) {
        self.write(path, self.read(path) + text);
    }

    /// A git command by a person at a time; its outcome.
    pub fn try_git_by(&self, who: &str, authored: &str, committed: &str, words: &[&str]) -> Done {
        let mut git = self.command("git", &self.top);
        let mail = format!("{who}@lab.example");
        git.env("GIT_AUTHOR_NAME", who)
            .env("GIT_AUTHOR_EMAIL", &mail);
        git.env("GIT_COMMITTER_NAME", who)
            .env("GIT_COMMITTER_EMAIL", &mail);
        git.env("GIT_AUTHOR_DATE", authored)
            .env("GIT_COMMITTER_DATE", committed);
        Done::of(git.args(words).output().unwrap())
    }

    #[track_caller]
    pub fn git_by(&self, who: &str, ago: i64, words: &[&str]) -> String {
        self.try_git_by(who, &noon(ago), &noon(ago), words)
            .ends(0)
            .out
    }

    /// Commits all that is in the folder, at noon of a day; the commit's id.
    #[track_caller]
    pub fn commit(&self, who: &str, ago: i64) -> String {
        self.commit_dated(who, &noon(ago), &noon(ago))
    }

    #[track_caller]
    pub fn commit_dated(&self, who: &str, authored: &str, committed: &str) -> String {
        self.git(&["add", "--all"]);
        self.commit_index(who, authored, committed)
    }

    /// Commits what is staged and no more.
    #[track_caller]
    pub fn commit_index(&self, who: &str, authored: &str, committed: &str) -> String {
        let words = ["commit", "--quiet", "--no-verify", "--message", "Enter"];
        self.try_git_by(who, authored, committed, &words).ends(0);
        self.tip()
    }

    /// A new key pair of that name; its public line.
    pub fn key(&self, name: &str) -> String {
        let path = self.outside().join(name);
        let words = ["-q", "-t", "ed25519", "-N", "", "-C", name, "-f"];
        let mut keygen = self.command("ssh-keygen", &self.top);
        Done::of(keygen.args(words).arg(&path).output().unwrap()).ends(0);
        let public = std::fs::read_to_string(path.with_extension("pub")).unwrap();
        public.trim().to_owned()
    }

    /// The git words that have a commit or merge signed by a key.
    pub fn signing<'words>(
        &self,
        key: &str,
        words: &[&'words str],
    ) -> Vec<std::borrow::Cow<'words, str>> {
        let path = self.outside().join(key);
        let mut all = vec!["-c".into(), "gpg.format=ssh".into(), "-c".into()];
        all.push(format!("user.signingKey={}", path.display()).into());
        all.extend(words.iter().map(|&word| word.into()));
        all.push("--gpg-sign".into());
        all
    }

    /// Commits all that is in the folder with a signature; the commit's id.
    #[track_caller]
    pub fn commit_signed(&self, who: &str, ago: i64, key: &str) -> String {
        self.git(&["add", "--all"]);
        let words = ["commit", "--quiet", "--no-verify", "--message", "Enter"];
        let words = self.signing(key, &words);
        self.git_by(
            who,
            ago,
            &words.iter().map(AsRef::as_ref).collect::<Vec<_>>(),
        );
        self.tip()
    }

    pub fn tip(&self) -> String {
        self.head().trim().to_owned()
    }

    /// Goes to a new branch at HEAD.
    pub fn branch(&self, name: &str) {
        self.git(&["switch", "--quiet", "--create", name]);
    }

    pub fn switch(&self, name: &str) {
        self.git(&["switch", "--quiet", name]);
    }

    /// A merge as forges make it, on a day, by a keeper of the records; its id.
    #[track_caller]
    pub fn merge(&self, ago: i64, words: &[&str]) -> String {
        self.git_by(
            "qa-01",
            ago,
            &[&["merge", "--quiet", "--no-ff"], words].concat(),
        );
        self.tip()
    }

    /// A merge that waits for its commit, so that more can be put into it.
    #[track_caller]
    pub fn merge_open(&self, words: &[&str]) {
        self.git(&[&["merge", "--quiet", "--no-ff", "--no-commit"], words].concat());
    }

    /// What the gate says of the index.
    #[track_caller]
    pub fn staged(&self, who: &str) -> Verdict {
        let mut tool = self.tool(&self.book);
        let mail = format!("{who}@lab.example");
        tool.env("GIT_AUTHOR_EMAIL", &mail)
            .env("GIT_COMMITTER_EMAIL", &mail);
        tool.env_remove("GIT_AUTHOR_DATE")
            .env_remove("GIT_COMMITTER_DATE");
        let done = tool.args(["gate", "--format", "json"]).output().unwrap();
        Verdict::of("staged", Done::of(done))
    }

    /// What the gate says of `A..B`.
    #[track_caller]
    pub fn range(&self, from: &str, to: &str) -> Verdict {
        let range = format!("{from}..{to}");
        Verdict::of(
            "range",
            self.shearbook(&["gate", "--range", &range, "--format", "json"]),
        )
    }

    /// What it says of all since the book as it began.
    #[track_caller]
    pub fn since_base(&self) -> Verdict {
        self.range(&self.base, "HEAD")
    }

    /// A server that holds what is committed now, and has the built program judge each push.
    pub fn server(&self) -> Server {
        let path = self.outside().join("server.git");
        let text = path.to_str().unwrap().to_owned();
        self.git(&["clone", "--quiet", "--bare", "--template=", ".", &text]);
        self.git(&["remote", "add", "server", &text]);
        Server::with_hook(path, self.folder, "json")
    }

    /// The same, once more has been committed.
    pub fn server_again(&self) -> Server {
        let path = self.outside().join("server.git");
        std::fs::remove_dir_all(&path).unwrap();
        self.git(&["remote", "remove", "server"]);
        self.server()
    }

    /// An empty server.
    pub fn empty_server(&self) -> Server {
        let path = self.outside().join("server.git");
        let text = path.to_str().unwrap().to_owned();
        let words = [
            "init",
            "--quiet",
            "--bare",
            "--template=",
            "--initial-branch=main",
            &text,
        ];
        self.git(&words);
        self.git(&["remote", "add", "server", &text]);
        Server::with_hook(path, self.folder, "json")
    }

    /// The change that lies in the folder, judged three ways: staged, as a range of one commit of yesterday, pushed.
    #[track_caller]
    pub fn everywhere(&self, who: &str, expected: &[Line]) {
        let server = self.server();
        let before = self.tip();
        self.git(&["add", "--all"]);
        self.index_everywhere(&server, &before, who, expected);
    }

    /// The same of what is staged already.
    #[track_caller]
    pub fn index_everywhere(&self, server: &Server, before: &str, who: &str, expected: &[Line]) {
        self.staged(who).says(expected);
        let id = self.commit_index(who, &noon(1), &noon(1));
        let expected: Vec<Line> = expected.iter().map(|one| one.clone().by(&id)).collect();
        self.range(before, "HEAD").says(&expected);
        server.push(self, &["main"]).says(&expected);
    }

    /// Commits files onto main that no work tree could hold, or not in time; paths from the top; main's tip.
    pub fn import(&self, files: &[(&str, &[u8])]) -> String {
        let mut stream = Vec::new();
        let mut known: BTreeMap<&[u8], usize> = BTreeMap::new();
        for (_, bytes) in files {
            let next = known.len() + 1;
            if *known.entry(bytes).or_insert(next) == next {
                stream.extend(format!("blob\nmark :{next}\ndata {}\n", bytes.len()).into_bytes());
                stream.extend(*bytes);
                stream.push(b'\n');
            }
        }
        stream.extend(self.commit_head(1));
        stream.extend(b"from refs/heads/main^0\n");
        for (path, bytes) in files {
            let quoted: String = path
                .bytes()
                .map(|byte| match byte {
                    b'"' | b'\\' | 0..=31 | 127.. => format!("\\{byte:03o}"),
                    _ => char::from(byte).to_string(),
                })
                .collect();
            stream.extend(format!("M 100644 :{} \"{quoted}\"\n", known[bytes]).into_bytes());
        }
        self.fast_import(&stream)
    }

    /// Commits onto main that change nothing of the book; main's tip.
    pub fn import_commits(&self, count: usize) -> String {
        let mut stream = Vec::new();
        for number in 0..count {
            stream.extend(self.commit_head(2));
            if number == 0 {
                stream.extend(b"from refs/heads/main^0\n");
            }
            let text = format!("M 100644 inline notes.txt\ndata <<END\n{number}\nEND\n\n");
            stream.extend(text.into_bytes());
        }
        self.fast_import(&stream)
    }

    fn commit_head(&self, ago: i64) -> Vec<u8> {
        let seconds = noon(ago).parse::<jiff::Timestamp>().unwrap().as_second();
        let who = format!("op-01 <op-01@lab.example> {seconds} +0000");
        format!("commit refs/heads/main\nauthor {who}\ncommitter {who}\ndata 5\nEnter\n")
            .into_bytes()
    }

    fn fast_import(&self, stream: &[u8]) -> String {
        let mut git = self.command("git", &self.top);
        self.fed(git.args(["fast-import", "--quiet"]), stream)
            .ends(0);
        self.git(&["rev-parse", "main"]).trim().to_owned()
    }

    /// A tree of these lines, as `git ls-tree` writes them; its id.
    pub fn mktree(&self, lines: &str) -> String {
        let mut git = self.command("git", &self.top);
        let done = self.fed(git.arg("mktree"), lines.as_bytes()).ends(0);
        done.out.trim().to_owned()
    }

    /// The program with text on its standard input.
    pub fn shearbook_fed(&self, folder: &Path, arguments: &[&str], input: &str) -> Done {
        self.fed(self.tool(folder).args(arguments), input.as_bytes())
    }

    fn fed(&self, command: &mut Command, input: &[u8]) -> Done {
        command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        // A program that does not read to the end has told its reason.
        let _ = child.stdin.take().unwrap().write_all(input);
        Done::of(child.wait_with_output().unwrap())
    }

    /// What is committed since `from`, as a range and as a push to a server that had it.
    #[track_caller]
    pub fn range_and_push(&self, server: &Server, from: &str, expected: &[Line]) {
        self.range(from, "HEAD").says(expected);
        server.push(self, &["main"]).says(expected);
    }
}

/// The digits of the text's SHA-256.
pub fn sha256(text: &str) -> String {
    use sha2::Digest as _;
    let digest = sha2::Sha256::digest(text.as_bytes());
    digest.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A bare repository with a `pre-receive` hook.
pub struct Server {
    pub path: PathBuf,
}

impl Server {
    fn with_hook(path: PathBuf, folder: &str, format: &str) -> Server {
        let server = Server { path };
        server.hook(folder, format);
        server
    }

    /// The hook keeps what the program said beside the repository, and tells it to whoever pushes.
    pub fn hook(&self, folder: &str, format: &str) {
        let book = match folder {
            "" => String::new(),
            _ => format!(" --book '{folder}'"),
        };
        let said = self.path.with_file_name("said");
        let script = format!(
            "#!/bin/sh\n'{}' gate --pre-receive --format {format}{book} >'{said}' 2>'{said}.err'\ncode=$?\n\
             echo $code >'{said}.code'\nexit $code\n",
            env!("CARGO_BIN_EXE_shearbook"),
            said = said.display(),
        );
        let hook = self.path.join("hooks/pre-receive");
        std::fs::create_dir_all(hook.parent().unwrap()).unwrap();
        std::fs::write(&hook, script).unwrap();
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            std::fs::set_permissions(&hook, std::fs::Permissions::from_mode(0o755)).unwrap();
        }
    }

    /// Pushes, and returns what the hook said; a push fails where it ended with another code than 0.
    #[track_caller]
    pub fn push(&self, lab: &Lab, words: &[&str]) -> Verdict {
        let said = |end: &str| self.path.with_file_name(format!("said{end}"));
        for end in ["", ".err", ".code"] {
            let _ = std::fs::remove_file(said(end));
        }
        let before = self.refs(lab);
        let mut git = lab.command("git", &lab.top);
        git.args(["push", "--quiet", "server"])
            .args(words)
            .stdin(Stdio::null());
        let done = Done::of(git.output().unwrap());
        let read = |end: &str| {
            let bytes =
                std::fs::read(said(end)).unwrap_or_else(|_| panic!("no hook ran: {done:?}"));
            String::from_utf8_lossy(&bytes).into_owned()
        };
        let code: i32 = read(".code").trim().parse().unwrap();
        if code != 0 {
            assert_ne!(done.code, Some(0), "the push went through: {done:?}");
            assert_eq!(self.refs(lab), before, "a refused push left something");
        } else {
            assert_eq!(done.code, Some(0), "{done:?}");
        }
        Verdict {
            what: "push",
            code: Some(code),
            out: read(""),
            err: read(".err"),
        }
    }

    pub fn refs(&self, lab: &Lab) -> String {
        lab.try_git_in(&self.path, &["for-each-ref"]).out
    }
}
