//! `enter`: the check at the bench, from what is due to a sealed and committed record.

mod after;
mod bench;
mod dialogue;
mod finish;
mod offers;
mod points;
mod told;

use super::ask::answers::Answers;
use super::ask::{Asked, Asker, Question, Stop};
use super::here::Here;
use super::{Common, End, Ended, Trouble, interrupt, new, output};
use crate::record::check::Verdict;
use crate::report::{cautions, wrapped};
use crate::source::{Source, SourceError};
use bench::Bench;
use dialogue::Ended as Dialogue;
use std::path::PathBuf;
use std::rc::Rc;

/// A file of answers, as the help shows it.
const ANSWERS: &str =
    "A file of answers holds the keys of a check, those of its preparation without a table:

    operator = \"op-07\"
    fluid = \"K-2291\"
    bottle = \"2\"
    geometry = \"C2-118\"
    thermometer = \"TH-01\"
    levelled = true
    zero_percent = \"0,0\"            # in quotation marks a comma will do
    soak_started = 2026-11-24T13:05:00
    immersed_to_mark = true
    free_of_bubbles = true
    vessel_as_specified = true
    guard = true
    performed = 2026-11-24T14:15:00
    commit = true                    # only where it is to be committed

    [[point]]
    speed_rpm = 15.0
    torque_percent = 21.4
    viscosity_mpa_s = 514.5
    temperature_c = 25.03";

#[derive(clap::Args)]
#[command(after_long_help = ANSWERS)]
pub(crate) struct Arguments {
    /// The instrument that is checked
    instrument: String,
    /// Take the answers from this TOML file and ask nobody
    #[arg(long, value_name = "FILE")]
    answers: Option<PathBuf>,
}

impl Arguments {
    /// At a terminal.
    pub(super) fn of(instrument: String) -> Arguments {
        Arguments {
            instrument,
            answers: None,
        }
    }
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let style = output::style(common);
    let bench = Rc::new(Bench::of(common, &arguments.instrument)?);
    let asker = match &arguments.answers {
        Some(file) => Some(Asker::of_file(style, Answers::of_file(file)?)),
        None => Asker::at_terminal(style, Answers::kept_in(draft(&bench)?)?),
    };
    let Some(mut asker) = asker else {
        return Err(Trouble::Usage(
            "there is no terminal to ask at: give a file of answers with --answers FILE".to_owned(),
        ));
    };
    let tool = Here::of(common, &bench.disk).tool;
    let kept = format!(
        "Stopped. What was answered is kept: {tool} enter {} goes on from here.",
        bench.instrument
    );
    if asker.is_attended() {
        interrupt::say_last(Some(
            wrapped(&kept, style.width, "", "  ").trim_end().to_owned(),
        ));
    }
    let ended = enter(&bench, &mut asker);
    ended.map_err(|stop| stop.end(asker))
}

/// Where the answers of a dialogue under way are kept: beside what git keeps for this clone, so that they are never committed.
fn draft(bench: &Bench) -> Result<PathBuf, Trouble> {
    let name = format!("enter-{}.toml", bench.instrument);
    Ok(match &bench.repository {
        Some(repository) => repository.git_path("shearbook")?.join(name),
        None => bench.disk.root.join(".shearbook").join(name),
    })
}

fn enter(bench: &Rc<Bench>, asker: &mut Asker) -> Asked<End> {
    greet(bench, asker);
    if let Some(pair) = &bench.standing.failed_twice
        && asker.is_attended()
        && asker.answers.is_empty()
    {
        let end = after::failed_twice(bench, asker, pair)?;
        let further = Question::new("further", "Go on with a check of it?").default(Some("n"));
        if !asker.yes_or_no(further.unkept())? {
            return Ok(end);
        }
    }
    if !asker.answers.is_empty() && asker.is_attended() {
        let options = vec![
            (
                "on".to_owned(),
                "go on with the check that was begun".to_owned(),
            ),
            (
                "anew".to_owned(),
                "throw its answers away and begin anew".to_owned(),
            ),
        ];
        let question = Question::new("resume", begun(bench, asker))
            .default(Some("on"))
            .unkept();
        if asker.choose(question, &options)? == 1 {
            asker.answers.forget();
        }
    }
    let ended = asker.run(|asker| dialogue::dialogue(bench, asker))?;
    let Dialogue::Write(rehearsed) = ended else {
        let tool = Here::of(&bench.common, &bench.disk).tool;
        asker.tell(&match asker.answers.is_empty() {
            true => "Nothing was written, and no answer is kept.".to_owned(),
            false => format!(
                "Nothing was written. {tool} enter {} goes on from here.",
                bench.instrument
            ),
        });
        return Ok(End::Fine);
    };
    asker
        .answers
        .expect(&["commit", "quarantine", "quarantine_by", "nonconformity"]);
    if !asker.is_attended() {
        asker.answers.all_asked()?;
    }
    if bench.disk.what(&rehearsed.path)?.is_some() {
        return Err(Stop::Trouble(Trouble::Refused(SourceError::new(
            format!(
                "{} was written meanwhile, perhaps in another window",
                rehearsed.path
            ),
            "begin again: the answers are kept, and the time of the first reading is asked for once more",
        ))));
    }
    let (folder, _) = rehearsed.path.rsplit_once('/').unwrap_or(("", ""));
    new::real_folders(&bench.disk.root, folder)?;
    new::put(&bench.disk.root, &rehearsed.path, rehearsed.text.as_bytes())?;
    asker.answers.take_away();
    interrupt::say_last(Some("Stopped. The record is written.".to_owned()));
    let verdict = rehearsed
        .figures
        .as_ref()
        .and_then(|figures| figures.verdict);
    let word = verdict.map_or("no verdict", Verdict::word);
    if !bench.common.quiet {
        let width = asker.style.width;
        let made = format!("made {}: sealed, verdict {word}", rehearsed.path);
        output::say(&format!("\n{}", wrapped(&made, width, "", "  ")));
    }
    let what = match rehearsed.path.rsplit_once('/') {
        Some((_, name)) => format!(
            "Check {} of {}: {word}",
            bench.instrument,
            name.trim_end_matches(".toml")
        ),
        None => format!("Check {}: {word}", bench.instrument),
    };
    let rests_on = rehearsed.names();
    let mut end = after::commit(bench, asker, &[&rehearsed.path], &rests_on, &what)?;
    if verdict.is_some_and(|verdict| matches!(verdict, Verdict::Fail | Verdict::ConditionalFail)) {
        let then = after::failed(bench, asker)?;
        if then == End::Refused {
            end = then;
        }
    }
    Ok(end)
}

/// A check that was begun, with what tells it from another.
fn begun(bench: &Bench, asker: &Asker) -> String {
    let mut told = format!("A check of {} was begun and not finished", bench.instrument);
    for (name, before) in [("operator", "by"), ("choice", "with"), ("fluid", "with")] {
        if let Some(text) = asker.answers.text(name) {
            told += &format!(" {before} {text}");
        }
    }
    let last = asker
        .answers
        .last_kept()
        .and_then(|at| jiff::Timestamp::try_from(at).ok());
    if let Some(last) = last {
        let wall = bench.book.zone.wall(last);
        told += &format!(
            "; the last answer is of {}",
            wall.strftime("%Y-%m-%d %H:%M")
        );
    }
    told + "."
}

/// What is known of the instrument before the first question.
fn greet(bench: &Bench, asker: &mut Asker) {
    let standing = &bench.standing;
    let due = match standing.next_due {
        Some(due) => format!(", next due {due}"),
        None => String::new(),
    };
    let mut told = format!(
        "Check of {}: {}{due}.",
        bench.instrument,
        standing.state.word()
    );
    for reason in &standing.reasons {
        told += &format!("\n  {reason}");
    }
    if let Some(policy) = bench.policy() {
        told += &format!("\n  judged by policy {}", policy.id);
    }
    told += "\nEnter takes what stands in brackets; ? tells more, back goes a step back, void keeps a spoiled check as evidence, stop or Ctrl-C stops and keeps the answers. For a check of an earlier day begin with --as-of and its day.";
    asker.tell(&told);
    asker.tell(cautions::AT_THE_BENCH);
}
