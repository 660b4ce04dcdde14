//! `tour`: the whole job in a minute, by running the real commands on a copy of the example book.

use super::{Common, End, Ended, Trouble, interrupt, output};
use crate::report::wrapped;
use crate::source::SourceError;
use include_dir::{Dir, include_dir};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

static EXAMPLE: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/records-example");

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Keep the folder, to go on by hand
    #[arg(long)]
    keep: bool,
}

/// The check that the tour writes: its path, and the check of the example that it is like.
const NEW: &str = "checks/2026/VM-01/2026-11-24-1415.toml";
const LIKE: &str = "checks/2026/VM-01/2026-11-20-0942.toml";

struct Tour {
    home: PathBuf,
    book: PathBuf,
    tool: PathBuf,
    /// Columns.
    width: usize,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let folder = interrupt::Temporary::new("shearbook-tour-").map_err(trouble)?;
    let home = folder.path().canonicalize().map_err(trouble)?;
    let tour = Tour {
        book: home.join("book"),
        tool: std::env::current_exe().map_err(trouble)?,
        home,
        width: output::style(common).width,
    };
    {
        let _writing = interrupt::writing();
        std::fs::create_dir(&tour.book).map_err(trouble)?;
        EXAMPLE.extract(&tour.book).map_err(trouble)?;
    }
    let walked = tour.walk();
    if arguments.keep {
        let kept = folder.keep();
        output::say(&format!(
            "\nThe book is kept in {}\n",
            kept.join("book").display()
        ));
    }
    walked
}

fn trouble(error: std::io::Error) -> Trouble {
    Trouble::Unusable(SourceError::new(
        format!("the tour cannot use its temporary folder: {error}"),
        "look at the free space and the permissions of the temporary folder",
    ))
}

impl Tour {
    fn command(&self, program: &Path) -> Command {
        let mut command = Command::new(program);
        command.current_dir(&self.book);
        #[expect(
            clippy::disallowed_methods,
            reason = "the tour must not touch the user's repositories"
        )]
        for (name, _) in std::env::vars_os() {
            if name.to_string_lossy().starts_with("GIT_") {
                command.env_remove(name);
            }
        }
        for (name, value) in [
            ("GIT_CONFIG_NOSYSTEM", "1"),
            ("GIT_CONFIG_GLOBAL", "/dev/null"),
            ("GIT_AUTHOR_NAME", "op-07"),
            ("GIT_AUTHOR_EMAIL", "op-07@lab.example"),
            ("GIT_COMMITTER_NAME", "op-07"),
            ("GIT_COMMITTER_EMAIL", "op-07@lab.example"),
            ("GIT_TERMINAL_PROMPT", "0"),
        ] {
            command.env(name, value);
        }
        command.env("HOME", &self.home);
        command.env("COLUMNS", self.width.to_string());
        command
    }

    fn output(&self, program: &Path, arguments: &[&str]) -> Result<Output, Trouble> {
        interrupt::stop_if_asked();
        self.command(program)
            .args(arguments)
            .output()
            .map_err(|error| {
                Trouble::Unusable(SourceError::new(
                    format!("{} cannot be started: {error}", program.display()),
                    "the tour needs git; install it",
                ))
            })
    }

    /// Runs a command for its effect.
    fn quietly(&self, arguments: &[&str]) -> Result<(), Trouble> {
        let done = self.output(Path::new("git"), arguments)?;
        match done.status.success() {
            true => Ok(()),
            false => Err(unexpected(&format!("git {}", arguments.join(" ")), &done)),
        }
    }

    /// Runs a command in front of the user, and insists on how it ends.
    fn shown(
        &self,
        program: &Path,
        name: &str,
        arguments: &[&str],
        ends: i32,
    ) -> Result<(), Trouble> {
        output::say(&format!("\n$ {name} {}\n", arguments.join(" ")));
        let done = self.output(program, arguments)?;
        output::say(&String::from_utf8_lossy(&done.stdout));
        output::say(&String::from_utf8_lossy(&done.stderr));
        match done.status.code() == Some(ends) {
            true => Ok(()),
            false => Err(unexpected(
                &format!("{name} {}", arguments.join(" ")),
                &done,
            )),
        }
    }

    fn tool(&self, arguments: &[&str], ends: i32) -> Result<(), Trouble> {
        self.shown(&self.tool.clone(), "shearbook", arguments, ends)
    }

    fn git(&self, arguments: &[&str], ends: i32) -> Result<(), Trouble> {
        self.shown(Path::new("git"), "git", arguments, ends)
    }

    fn edit(&self, path: &str, from: &str, to: &str) -> Result<(), Trouble> {
        let full = self.book.join(path);
        #[expect(clippy::disallowed_methods, reason = "the tour's own copy")]
        let text = std::fs::read_to_string(&full).map_err(trouble)?;
        if !text.contains(from) {
            return Err(Trouble::Ours(format!(
                "the tour does not find {from} in {path}"
            )));
        }
        output::write_whole(&full, text.replacen(from, to, 1).as_bytes())
    }

    fn say(&self, text: &str) {
        output::say("\n");
        output::say(&wrapped(&format!("== {text}"), self.width, "", "   "));
    }

    fn walk(&self) -> Ended {
        self.say("1. A laboratory's book: one file a fact, one file a check, in git.");
        self.quietly(&["-c", "init.defaultBranch=main", "init", "--quiet"])?;
        self.quietly(&["add", "."])?;
        self.quietly(&["commit", "--quiet", "-m", "The book so far"])?;
        self.tool(&["hook", "install"], 0)?;
        self.tool(&["validate", "checks/2026/VM-01"], 0)?;

        self.say("2. A check of today: the analyst writes what was seen, seal computes the rest.");
        let like = EXAMPLE.get_file(LIKE).and_then(|file| file.contents_utf8());
        let like = like.ok_or_else(|| Trouble::Ours(format!("the tour does not find {LIKE}")))?;
        let (draft, _) = like.split_once("[computed]").unwrap_or((like, ""));
        let draft = draft
            .replace("2026-11-20", "2026-11-24")
            .replace("T09:42", "T14:15")
            .replace("T08:", "T12:")
            .replace("T09:", "T13:");
        output::write_whole(
            &self.book.join(NEW),
            (draft.trim_end().to_owned() + "\n").as_bytes(),
        )?;
        self.tool(&["seal", NEW], 0)?;
        self.tool(&["show", "VM-01/2026-11-24-1415"], 0)?;
        self.quietly(&["add", NEW])?;
        self.git(&["commit", "--quiet", "-m", "Check VM-01"], 0)?;

        self.say("3. A warm bath: the hook refuses the commit and says why.");
        let warm = "checks/2026/VM-01/2026-11-24-1605.toml";
        let text = draft
            .replace("T14:15", "T16:05")
            .replace("T12:", "T14:")
            .replace("T13:", "T15:");
        output::write_whole(
            &self.book.join(warm),
            (text.trim_end().to_owned() + "\n").as_bytes(),
        )?;
        let shown = first_temperature(&text)
            .ok_or_else(|| Trouble::Ours("the tour finds no temperature".to_owned()))?;
        self.edit(
            warm,
            &format!("temperature_c = {shown}"),
            "temperature_c = 25.61",
        )?;
        self.quietly(&["add", warm])?;
        self.git(&["commit", "--quiet", "-m", "Check VM-01 again"], 1)?;
        self.quietly(&["rm", "--quiet", "--force", warm])?;

        self.say("4. An old record, edited to look better: refused.");
        let old = "checks/2026/VM-01/2026-09-08-0950.toml";
        let committed = EXAMPLE
            .get_file(old)
            .and_then(|file| file.contents_utf8())
            .and_then(first_temperature);
        let committed = committed
            .ok_or_else(|| Trouble::Ours(format!("the tour finds no temperature in {old}")))?;
        self.edit(
            old,
            &format!("temperature_c = {committed}"),
            "temperature_c = 25.00",
        )?;
        self.git(&["commit", "--quiet", "-a", "-m", "Tidy up"], 1)?;
        self.quietly(&["restore", "--source=HEAD", "--staged", "--worktree", "."])?;

        self.say("5. The fleet on a day: which instruments may be used, and what to do.");
        self.tool(&["status", "--as-of", "2026-11-25"], 0)?;

        self.say("6. What a rule means: explain.");
        self.tool(&["explain", "temperature-out-of-window"], 0)?;
        self.say("That was the job. README.md goes on with a first hour by hand.");
        Ok(End::Fine)
    }
}

fn first_temperature(text: &str) -> Option<&str> {
    text.split_once("temperature_c = ")?
        .1
        .split([' ', '\n', '\r'])
        .next()
}

fn unexpected(what: &str, done: &Output) -> Trouble {
    Trouble::Ours(format!(
        "the tour did not expect {what} to end with {:?}: {}{}",
        done.status.code(),
        String::from_utf8_lossy(&done.stdout),
        String::from_utf8_lossy(&done.stderr)
    ))
}
