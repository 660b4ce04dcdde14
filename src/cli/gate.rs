//! `gate`: what is staged, a range of commits, or a push.

use super::{Common, End, Ended, Trouble, output, progress};
use crate::history::gate::{Gate, staged};
use crate::history::range::{Line, Range, push, range};
use crate::rules::{self, Wanted};
use crate::source::disk::Disk;
use crate::source::git::Repository;
use crate::source::walk::Limits;
use crate::source::{Source, SourceError};
use std::io::Read;
use std::path::PathBuf;
use std::time::{Duration, Instant};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Judge the commits that lead to B and not to A, one by one, as CI does
    #[arg(long, value_name = "A..B", conflicts_with = "pre_receive")]
    range: Option<String>,
    /// Judge a push, on the server, in its pre-receive hook: git's lines come on standard input
    #[arg(long)]
    pre_receive: bool,
    /// End with 3 after so many seconds; a push from outside can be made to be endless
    #[arg(long, value_name = "SECONDS")]
    timeout: Option<u64>,
    /// Say nothing where there is no book, as a hook in a repository with older branches must
    #[arg(long)]
    if_book: bool,
    #[command(flatten)]
    outputs: output::Outputs,
}

/// How long a push may be judged where nobody says.
const PUSH_SECONDS: u64 = 300;

/// So many findings of a push are told; the pusher's terminal shows them all at once.
const TOLD: usize = 100;

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let clock = common.clock();
    let judge = |source: &dyn Source, wanted: &Wanted<'_>| {
        progress::watched(common.quiet, source, |source| {
            rules::run(source, clock, wanted)
        })
    };
    let folder = match &common.book {
        Some(folder) => folder.clone(),
        None => match arguments.pre_receive {
            true => PathBuf::from("."),
            false => Disk::find(&common.folder())
                .map(|disk| disk.root)
                .unwrap_or_else(|_| common.folder()),
        },
    };
    let (repository, gate) = if arguments.pre_receive {
        let mut repository = Repository::without_work_tree(&folder.to_string_lossy())?;
        repository.limits = limits(arguments.timeout.or(Some(PUSH_SECONDS)));
        let lines = lines()?;
        let gate = push(&repository, &lines, clock, &judge)?;
        (repository, gate)
    } else if let Some(named) = &arguments.range {
        let mut repository = of_range(&folder)?;
        repository.limits = limits(arguments.timeout);
        let asked = asked(&repository, named)?;
        let gate = range(&repository, &asked, clock, &judge)?;
        (repository, gate)
    } else {
        let (repository, comparison) = Repository::with_staged(&folder)?;
        let gate = staged(&repository, comparison, clock, &judge)?;
        (repository, gate)
    };
    let outcome = match gate {
        Gate::Judged(outcome) => outcome,
        Gate::NoBook if arguments.if_book => return Ok(End::Fine),
        Gate::NoBook => {
            let (message, help) = match arguments.pre_receive || arguments.range.is_some() {
                true => (
                    format!("no book is committed at {}", folder.display()),
                    "name the book's folder with --book DIR, from the top of the repository; --if-book passes what has no book",
                ),
                false => (
                    format!("no book is staged or committed at {}", folder.display()),
                    "stage its shearbook.toml with git add, or name the book's folder with --book DIR",
                ),
            };
            return Err(SourceError::new(message, help).into());
        }
    };
    let as_of = outcome.as_of(clock);
    let name = common.book_name(&repository.top.join(&repository.prefix));
    output::report_at_most(
        common,
        &arguments.outputs,
        &name,
        as_of,
        &outcome.findings,
        (outcome.files, outcome.checks),
        arguments.pre_receive.then_some(TOLD),
    )
}

fn limits(seconds: Option<u64>) -> Limits {
    let mut limits = Limits::default();
    if let Some(seconds) = seconds {
        let now = Instant::now();
        limits.until = now.checked_add(Duration::from_secs(seconds));
        limits.commits = 200_000;
        limits.changes = 1_000_000;
        limits.bytes = 1 << 27;
    }
    limits
}

/// The repository of a book in a work tree, else a bare one, in which the book's folder is one of the tree.
fn of_range(folder: &std::path::Path) -> Result<Repository, Trouble> {
    match Repository::of(folder) {
        Ok(repository) => Ok(repository),
        Err(error) => match Repository::is_bare() {
            true => Ok(Repository::without_work_tree(&folder.to_string_lossy())?),
            false => Err(error.into()),
        },
    }
}

/// What git tells its hook: one line a ref.
fn lines() -> Result<Vec<Line>, Trouble> {
    const MOST: u64 = 16 << 20;
    let mut bytes = Vec::new();
    let read = std::io::stdin()
        .lock()
        .take(MOST + 1)
        .read_to_end(&mut bytes);
    let unusable = |message: String| {
        Trouble::Unusable(SourceError::new(
            message,
            "git starts shearbook gate --pre-receive in the server's pre-receive hook and tells it which refs move, one line each: OLD NEW REF",
        ))
    };
    read.map_err(|error| unusable(format!("standard input cannot be read: {error}")))?;
    if bytes.len() as u64 > MOST {
        return Err(unusable("the push names too many refs".to_owned()));
    }
    let text = String::from_utf8_lossy(&bytes);
    let mut lines = Vec::new();
    for line in text.lines().filter(|line| !line.is_empty()) {
        let read = Line::read(line);
        lines.push(read.ok_or_else(|| unusable(format!("standard input says: {line}")))?);
    }
    Ok(lines)
}

/// Which commits `A..B` names.
fn asked(repository: &Repository, named: &str) -> Result<Range, Trouble> {
    let (base, tip) = match named.split_once("...").or_else(|| named.split_once("..")) {
        Some((base, tip)) => (Some(base), tip),
        None => (None, named),
    };
    let or_head = |name: &str| match name {
        "" => "HEAD".to_owned(),
        name => name.to_owned(),
    };
    let commit = |name: String| -> Result<String, Trouble> {
        repository.commit(&name)?.ok_or_else(|| {
            Trouble::Usage(format!(
                "{name} names no commit here: write --range A..B with names that git log understands, such as origin/main..HEAD"
            ))
        })
    };
    let tip = commit(or_head(tip))?;
    // A variable of CI that is empty must not pass for a range without commits.
    if base == Some("") || named.is_empty() {
        return Err(Trouble::Usage(format!(
            "\"{named}\" does not say where the range begins: write --range A..B, such as origin/main..HEAD"
        )));
    }
    // CI names a branch that is new by zeros.
    let base = base.filter(|base| base.is_empty() || !base.bytes().all(|byte| byte == b'0'));
    let base = base.map(|base| commit(or_head(base))).transpose()?;
    Ok(Range {
        tip,
        known: base.iter().cloned().collect(),
        judges: base,
    })
}
