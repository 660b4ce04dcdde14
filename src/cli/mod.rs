//! The command line: arguments, the clock, streams and exit codes. One file a command.

mod amend;
mod ask;
mod compare;
mod completions;
mod correct;
mod enter;
mod explain;
mod gate;
mod here;
mod hook;
mod import;
mod init;
mod interrupt;
mod new;
mod output;
mod plan;
mod progress;
mod rehearse;
mod review;
mod schema;
mod seal;
mod selftest;
mod show;
mod simulate;
mod status;
mod template;
mod tour;
mod trace;
mod trend;
mod validate;

use crate::book::{Clock, LoadError};
use crate::source::SourceError;
use crate::source::disk::Disk;
use clap::{Args, Parser, Subcommand};
use jiff::civil::Date;
use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;

/// Keeps the checks of rotational viscometers against certified reference fluids: records, limits, verdicts, the gate.
#[derive(Parser)]
#[command(name = "shearbook", version, max_term_width = 100)]
struct Cli {
    #[command(flatten)]
    common: Common,
    #[command(subcommand)]
    command: Command,
}

/// A day as it is written everywhere in the book.
fn day(text: &str) -> Result<Date, String> {
    let shape = text.len() == 10
        && text.bytes().enumerate().all(|(at, byte)| match at {
            4 | 7 => byte == b'-',
            _ => byte.is_ascii_digit(),
        });
    let date = text.parse().ok().filter(|_| shape);
    date.ok_or_else(|| "write a day of the calendar as YYYY-MM-DD, such as 2026-11-25".to_owned())
}

/// What every command understands.
#[derive(Args, Clone)]
pub(crate) struct Common {
    /// The folder of the book; else it is found by walking up from here
    #[arg(long, global = true, value_name = "DIR")]
    book: Option<PathBuf>,
    /// Look at the book as of this day, YYYY-MM-DD; today where left out
    #[arg(long, global = true, value_name = "DATE", value_parser = day)]
    as_of: Option<Date>,
    /// Whether to use colour
    #[arg(long, global = true, value_name = "WHEN", default_value = "auto")]
    color: output::When,
    /// Say less
    #[arg(short, long, global = true)]
    quiet: bool,
    /// Say more
    #[arg(short, long, global = true, action = clap::ArgAction::Count)]
    verbose: u8,
}

#[derive(Subcommand)]
enum Command {
    /// The whole job in a minute, on a copy of the example book in a temporary folder
    ///
    /// Example: shearbook tour
    Tour(tour::Arguments),
    /// Begin a book: marker, a policy to decide on, schemas for editors, git repository
    ///
    /// Example: shearbook init book --time-zone Europe/Dublin --hooks
    Init(init::Arguments),
    /// Write a record that is ready to fill in, at its right place
    ///
    /// Example: shearbook new instrument VM-01
    New(new::Arguments),
    /// Judge the whole book, or report on some files of it
    ///
    /// Example: shearbook validate checks/2026/VM-01
    Validate(validate::Arguments),
    /// Run a check at the bench: asks in the order of the work, tells limits while figures are typed, writes a sealed record
    ///
    /// Example: shearbook enter VM-01
    Enter(enter::Arguments),
    /// Fill in the computed figures of a check, leaving every other byte as it was
    ///
    /// Example: shearbook seal checks/2026/VM-01/2026-11-20-0942.toml
    Seal(seal::Arguments),
    /// Correct a committed check by an amendment beside it, which names what it amends
    ///
    /// Example: shearbook amend VM-01/2026-11-20-0942 --set /point/1/temperature_c=25.02 --reason "mistyped"
    Amend(amend::Arguments),
    /// Correct a wrong fact in its file, and amend every check that rests on it
    ///
    /// Example: shearbook correct fluids/K-2291 /value/0/viscosity_mpa_s 512.6 --reason "certificate mistyped"
    Correct(correct::Arguments),
    /// Show one check: figures, limits, verdict
    ///
    /// Example: shearbook show VM-01/2026-11-20-0942
    Show(show::Arguments),
    /// Decide on a check or a record as a second person, or list what waits for that
    ///
    /// Example: shearbook review VM-01/2026-11-20-0942 --approve
    Review(review::Arguments),
    /// The fleet at a date: which instruments may be used, why not, and what falls due
    ///
    /// Example: shearbook status --as-of 2026-11-25
    Status(status::Arguments),
    /// With which fluid, geometry and speeds an instrument is best checked; the bench sheet of what is due; what to buy
    ///
    /// The plan is for the day of --as-of, today where left out. The reference is the certified value; each certified
    /// temperature of a lot is a choice of its own. A choice has a speed for each torque zone that the policy requires; of an
    /// instrument that turns freely that of the zone's middle, rounded to two digits. The first of these that differs puts
    /// one choice before another: how far its worst point is off the middle of the zone, in steps of 10 % of half the zone; the
    /// widest band, to 0.1 %; the lot's expanded uncertainty; what expires first; the shorter soak; an open bottle. What a
    /// rule of a check would refuse is left out, and why.
    ///
    /// Example: shearbook plan VM-01, or shearbook plan --within 7 --output html=sheet.html, or shearbook plan --buy offer.csv
    Plan(plan::Arguments),
    /// How an instrument reads over time: series, control limits, slope, where it leads, advice on the interval
    ///
    /// Example: shearbook trend VM-01
    Trend(trend::Arguments),
    /// All that rests on a lot, bottle, thermometer, bath, geometry, instrument, person or policy; or the window behind a failed check
    ///
    /// Example: shearbook trace K-2291 --since 2026-06-01
    Trace(trace::Arguments),
    /// Which past verdicts would differ under a policy that is not in force; changes nothing
    ///
    /// Example: shearbook simulate --policy draft.toml --since 2026-01-01
    Simulate(simulate::Arguments),
    /// Bring in old checks from a CSV file or an XLSX workbook, by a map of its columns; tries first, writes with --write
    ///
    /// Example: shearbook import checks-2024.xlsx --map bench.toml
    Import(import::Arguments),
    /// Judge what is staged, as the commit hook does
    ///
    /// Example: shearbook gate
    Gate(gate::Arguments),
    /// What a change brings to the book, as Markdown for whoever reviews it
    ///
    /// Example: shearbook compare main..my-branch
    Compare(compare::Arguments),
    /// Install or remove the hooks of this clone
    ///
    /// Example: shearbook hook install
    Hook(hook::Arguments),
    /// What a rule means, why the trade has it, and what to do
    ///
    /// Example: shearbook explain fluid-expired
    Explain(explain::Arguments),
    /// Published values beside what this program computes: what a laboratory files as its software validation
    ///
    /// Example: shearbook selftest > selftest-2026-11-25.txt
    Selftest(selftest::Arguments),
    /// Print the JSON Schema of a kind of record
    ///
    /// Example: shearbook schema check
    Schema(schema::Arguments),
    /// Print what a shell needs to complete commands and options
    ///
    /// Example: shearbook completions bash > ~/.local/share/bash-completion/completions/shearbook
    Completions(completions::Arguments),
    /// Print a manual page, or write those of all commands into a folder
    ///
    /// Example: shearbook man --out ~/.local/share/man/man1
    Man(completions::Man),
}

impl Command {
    /// As it is typed.
    fn name(&self) -> &'static str {
        match self {
            Command::Tour(_) => "tour",
            Command::Init(_) => "init",
            Command::New(_) => "new",
            Command::Validate(_) => "validate",
            Command::Enter(_) => "enter",
            Command::Seal(_) => "seal",
            Command::Amend(_) => "amend",
            Command::Correct(_) => "correct",
            Command::Show(_) => "show",
            Command::Review(_) => "review",
            Command::Status(_) => "status",
            Command::Plan(_) => "plan",
            Command::Trend(_) => "trend",
            Command::Trace(_) => "trace",
            Command::Simulate(_) => "simulate",
            Command::Import(_) => "import",
            Command::Gate(_) => "gate",
            Command::Compare(_) => "compare",
            Command::Hook(_) => "hook",
            Command::Explain(_) => "explain",
            Command::Selftest(_) => "selftest",
            Command::Schema(_) => "schema",
            Command::Completions(_) => "completions",
            Command::Man(_) => "man",
        }
    }
}

/// How a command ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum End {
    /// Nothing was refused.
    Fine,
    /// Findings of severity error, or a change refused.
    Refused,
}

/// Why a command could not do its work.
pub(crate) enum Trouble {
    /// The command line is wrong.
    Usage(String),
    /// What was asked for would change or spoil what is there.
    Refused(SourceError),
    /// The book, the repository or the disk could not be used.
    Unusable(SourceError),
    /// A fault of the program.
    Ours(String),
}

impl From<SourceError> for Trouble {
    fn from(error: SourceError) -> Trouble {
        Trouble::Unusable(error)
    }
}

impl From<LoadError> for Trouble {
    fn from(error: LoadError) -> Trouble {
        match error {
            LoadError::Source(error) => Trouble::Unusable(error),
            LoadError::Ours(error) => Trouble::Ours(error.to_string()),
        }
    }
}

pub(crate) type Ended = Result<End, Trouble>;

impl Common {
    pub(crate) fn clock(&self) -> Clock {
        #[expect(clippy::disallowed_methods, reason = "the one place where time enters")]
        let now = jiff::Timestamp::now();
        Clock {
            now,
            as_of: self.as_of,
        }
    }

    pub(crate) fn disk(&self) -> Result<Disk, SourceError> {
        Disk::find(&self.folder())
    }

    pub(crate) fn folder(&self) -> PathBuf {
        self.book.clone().unwrap_or_else(|| PathBuf::from("."))
    }

    /// The book as reports name it.
    pub(crate) fn book_name(&self, root: &std::path::Path) -> String {
        match &self.book {
            Some(named) => named.to_string_lossy().into_owned(),
            None => root
                .file_name()
                .map(|name| name.to_string_lossy().into_owned())
                .unwrap_or_default(),
        }
    }
}

/// Runs the program.
pub fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            let lost = error
                .print()
                .is_err_and(|why| why.kind() != std::io::ErrorKind::BrokenPipe);
            return ExitCode::from(match error.use_stderr() {
                true => 2,
                false if lost => 3,
                false => 0,
            });
        }
    };
    interrupt::heed();
    let ended = match &cli.command {
        Command::Tour(arguments) => tour::run(&cli.common, arguments),
        Command::Init(arguments) => init::run(&cli.common, arguments),
        Command::New(arguments) => new::run(&cli.common, arguments),
        Command::Validate(arguments) => validate::run(&cli.common, arguments),
        Command::Enter(arguments) => enter::run(&cli.common, arguments),
        Command::Seal(arguments) => seal::run(&cli.common, arguments),
        Command::Amend(arguments) => amend::run(&cli.common, arguments),
        Command::Correct(arguments) => correct::run(&cli.common, arguments),
        Command::Show(arguments) => show::run(&cli.common, arguments),
        Command::Review(arguments) => review::run(&cli.common, arguments),
        Command::Status(arguments) => status::run(&cli.common, arguments),
        Command::Plan(arguments) => plan::run(&cli.common, arguments),
        Command::Trend(arguments) => trend::run(&cli.common, arguments),
        Command::Trace(arguments) => trace::run(&cli.common, arguments),
        Command::Simulate(arguments) => simulate::run(&cli.common, arguments),
        Command::Import(arguments) => import::run(&cli.common, arguments),
        Command::Gate(arguments) => gate::run(&cli.common, arguments),
        Command::Compare(arguments) => compare::run(&cli.common, arguments),
        Command::Hook(arguments) => hook::run(&cli.common, arguments),
        Command::Explain(arguments) => explain::run(&cli.common, arguments),
        Command::Selftest(arguments) => selftest::run(&cli.common, arguments),
        Command::Schema(arguments) => schema::run(arguments),
        Command::Completions(arguments) => completions::run(arguments),
        Command::Man(arguments) => completions::man(&cli.common, arguments),
    };
    interrupt::yield_to_it(ended.is_err());
    if matches!(ended, Err(Trouble::Unusable(_))) {
        interrupt::yield_to_one_on_its_way();
    }
    let ended = match output::unsaid() {
        Some(error) => Err(Trouble::Unusable(error)),
        None => ended,
    };
    match ended {
        Ok(End::Fine) => ExitCode::SUCCESS,
        Ok(End::Refused) => ExitCode::from(1),
        Err(Trouble::Usage(message)) => {
            let help = format!(
                "shearbook {} --help tells how it is written, with an example",
                cli.command.name()
            );
            complain(&message, &help);
            ExitCode::from(2)
        }
        Err(Trouble::Refused(error)) => {
            complain(&error.message, &error.help);
            ExitCode::from(1)
        }
        Err(Trouble::Unusable(error)) => {
            complain(&error.message, &error.help);
            ExitCode::from(3)
        }
        Err(Trouble::Ours(message)) => {
            complain(&message, "nothing was said of the records");
            ExitCode::from(3)
        }
    }
}

/// Something beside a report that only programs read.
pub(crate) fn warn(message: &str) {
    say_aside("shearbook: ", message);
}

fn complain(message: &str, help: &str) {
    say_aside("shearbook: ", message);
    say_aside("  next: ", help);
}

/// A line to standard error; a terminal gets it broken between words.
fn say_aside(before: &str, text: &str) {
    let text = crate::report::printable(text);
    let mut out = std::io::stderr().lock();
    let _ = match out.is_terminal() {
        true => {
            let width =
                terminal_size::terminal_size().map_or(80, |(width, _)| usize::from(width.0));
            let text = crate::report::wrapped(&text, width.clamp(40, 120), before, "    ");
            out.write_all(text.as_bytes())
        }
        false => writeln!(out, "{before}{text}"),
    };
}
