//! `amend`: a corrected copy of a committed check, beside it, that names what it amends.

use super::ask::answers::Answers;
use super::ask::{Asked, Asker, Question};
use super::here::{self, Here};
use super::{Common, End, Ended, Trouble, interrupt, new, output, seal, show};
use crate::book::line::{line, of_substance};
use crate::book::{Book, Loaded};
use crate::finding::Severity;
use crate::parse::edit::{self, Unfit};
use crate::parse::layout::{CheckName, Slot, check_path, slot};
use crate::parse::{Doc, parse};
use crate::record::Kind;
use crate::record::check::{Check, Verdict};
use crate::report::{amendments, wrapped};
use crate::rules::{Wanted, is_reading, run as judge};
use crate::source::disk::Disk;
use crate::source::git::Repository;
use crate::source::overlay::Overlay;
use crate::source::{Source, SourceError, What};
use crate::text::nearest;
use clap::ValueEnum;

#[derive(Clone, Copy, ValueEnum)]
enum Cause {
    /// Something went wrong in the doing: spilled, interrupted, bath too warm
    Procedure,
    /// The instrument was at fault; it then needs a repeat
    Instrument,
    /// An imported sheet lacks what a check needs
    IncompleteSource,
}

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The check: INSTRUMENT/YYYY-MM-DD-HHMM, or its file; asked for where left out
    check: Option<String>,
    /// Why it is amended; where left out, this and what was wrong are asked for
    #[arg(long, value_name = "TEXT")]
    reason: Option<String>,
    /// Who amends it; else the person whose e-mail git commits with
    #[arg(long, value_name = "PERSON")]
    by: Option<String>,
    /// A value that was wrong, such as /point/1/temperature_c=25.02; may be given several times
    #[arg(long = "set", value_name = "KEY=VALUE")]
    values: Vec<String>,
    /// Keep it as evidence that never counts
    #[arg(long, requires = "cause")]
    void: bool,
    /// Of a void check: why it is void
    #[arg(long, value_name = "CAUSE", requires = "void")]
    cause: Option<Cause>,
}

/// What an amendment says of itself.
pub(super) struct Why<'a> {
    pub(super) reason: &'a str,
    pub(super) by: &'a str,
    /// As TOML writes it.
    pub(super) amended: String,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let asked;
    let arguments = match (&arguments.reason, &arguments.check) {
        (Some(_), Some(_)) => arguments,
        _ => {
            asked = ask(common, arguments)?;
            &asked
        }
    };
    let reason = reason(arguments.reason.as_deref().unwrap_or_default())?;
    let values = values(&arguments.values)?;
    let mut common = common.clone();
    let given = arguments.check.as_deref().unwrap_or_default();
    let (disk, book, path) = show::find(&mut common, given)?;
    let name = match slot(&path) {
        Slot::Record(Kind::Check, id) => CheckName::parse(&id),
        _ => None,
    }
    .ok_or_else(|| {
        Trouble::Usage(format!(
            "{path} is no check; a check is named as VM-01/2026-11-20-0942"
        ))
    })?;
    new::zone_known(&book)?;
    let mut line = line(&disk, &name)?;
    let Some(newest) = line.pop() else {
        return Err(no_such_check(&disk, &name)?);
    };
    let path = newest.name.path();
    if disk.what(&path)? == Some(What::NotAFile) {
        return Err(refused(
            format!("{path} is a link or a special file; a record is a file of its own"),
            "put the record itself there, as a plain file",
        ));
    }
    let repository = Repository::of(&disk.root)?;
    untouched(&repository, &path, "seal")?;
    let Some(old) = newest.record else {
        return Err(refused(
            format!("{path} cannot be understood, so nothing can be copied from it"),
            format!("shearbook validate {path} tells what is wrong with it"),
        ));
    };
    let by = here::person(&book, &repository, arguments.by.as_deref())?;
    let why = Why {
        reason,
        by: &by,
        amended: now(&book),
    };
    let mut amended = copy(&old, &newest.name, &why)?;
    if let Some(cause) = arguments.cause {
        let word = cause.to_possible_value();
        let word = word.as_ref().map_or("procedure", |word| word.get_name());
        for (pointer, value) in [
            ("/void", "true".to_owned()),
            ("/void_cause", edit::quoted(word)),
        ] {
            amended = put(&amended, pointer, &value)?;
        }
    }
    let before = amended.text.clone();
    for (pointer, value) in &values {
        let fitted = edit::fit(Kind::Check, &amended, pointer, value);
        amended = fitted
            .map_err(|ours| Trouble::Ours(ours.to_string()))?
            .map_err(unfit)?;
    }
    if !values.is_empty() && amended.text.as_str() == before.as_str() && !arguments.void {
        return Err(refused(
            format!(
                "{} says so already, so there is nothing to amend",
                newest.name.id()
            ),
            format!(
                "shearbook show {} tells what it holds. Nothing was written",
                newest.name.id()
            ),
        ));
    }
    let by_hand = values.is_empty() && !arguments.void;
    let next = newest.name.next();
    let sealed = sealed(&book, &amended, &next.id())?;
    let amended = sealed.as_ref().unwrap_or(&amended);
    let text = amended.text.as_str();

    let mut overlay = Overlay::over(&disk);
    overlay.files.insert(next.path(), text.as_bytes().to_vec());
    let only = [next.path()];
    let mut outcome = judge(&overlay, common.clock(), &Wanted::Only(&only))?;
    outcome.findings.retain(|finding| {
        let own = finding.place.path == next.path();
        let of_amendment = ["/amend", "/reason"]
            .iter()
            .any(|key| finding.place.pointer.starts_with(key));
        // What is left to be put right by hand is no reason to refuse the copy.
        let refuses = !by_hand || of_amendment;
        finding.severity == Severity::Error
            && ((own && refuses)
                || (is_reading(finding.rule) && outcome.rests_on.contains(&finding.place.path)))
    });
    if outcome.findings.is_empty() && sealed.is_none() && !by_hand {
        return Err(refused(
            format!(
                "with these values a figure of {} cannot be had",
                newest.name.id()
            ),
            "look at the values once more, or keep the check as void: --void --cause. Nothing was written",
        ));
    }
    if !outcome.findings.is_empty() {
        output::say_findings(&common, &outcome.findings, (outcome.files, 1));
        output::say(&wrapped(
            &format!(
                "Not amended, since the commit would be refused: {} was not written.",
                next.path()
            ),
            output::style(&common).width,
            "",
            "",
        ));
        return Ok(End::Refused);
    }
    output::write_new(&disk.root.join(next.path()), text.as_bytes())?;
    if !common.quiet {
        let new = checked(amended)?;
        let here = Here::of(&common, &disk);
        let width = output::style(&common).width;
        let head = format!(
            "{} amends {}, by {by} on {}",
            next.id(),
            newest.name.id(),
            why.amended.replace('T', " ")
        );
        let mut said = format!("made {}\n", next.path());
        said += &wrapped(&head, width, "", "  ");
        said += "\n";
        said += &told(&old, &new, width);
        said += &match by_hand {
            true => format!(
                "Next: put right in it what was wrong, then have its figures worked out and\nlet git keep it:\n    {} seal {}\n",
                here.tool,
                here.file(&next.path())
            ),
            false => "Next: let git keep it; then somebody authorised reviews it:\n".to_owned(),
        };
        said += &here.add(&[&next.path()]);
        output::say(&said);
    }
    Ok(End::Fine)
}

/// What is left to say, asked at the terminal.
fn ask(common: &Common, arguments: &Arguments) -> Result<Arguments, Trouble> {
    let mut asker =
        Asker::at_terminal(output::style(common), Answers::default()).ok_or_else(|| {
            Trouble::Usage(
                "say which check is amended and why: shearbook amend CHECK --reason TEXT; there is no terminal to ask at"
                    .to_owned(),
            )
        })?;
    interrupt::say_last(Some("Stopped. Nothing was written.".to_owned()));
    let answered = asker.run(|asker| dialogue(common, arguments, asker));
    let answered = answered.map_err(|stop| stop.end(asker))?;
    interrupt::say_last(None);
    Ok(answered)
}

fn dialogue(common: &Common, arguments: &Arguments, asker: &mut Asker) -> Asked<Arguments> {
    const DONE: &str = "done";
    const VOID: &str = "void";
    const OTHER: &str = "other";
    let mut answered = Arguments {
        check: arguments.check.clone(),
        reason: None,
        by: arguments.by.clone(),
        values: arguments.values.clone(),
        void: arguments.void,
        cause: arguments.cause,
    };
    let given = match &arguments.check {
        Some(check) => check.clone(),
        None => {
            let disk = common.disk()?;
            let question = Question::new("check", "Which check?")
                .help("INSTRUMENT/YYYY-MM-DD-HHMM, such as VM-01/2026-11-20-0942");
            asker.ask(&question, |text| match check_path(text) {
                Some(path) if matches!(disk.what(&path), Ok(Some(_))) => Ok(text.to_owned()),
                Some(_) => Err(format!("there is no check {text} in the book")),
                None => Err(format!(
                    "{text} names no check: write INSTRUMENT/YYYY-MM-DD-HHMM"
                )),
            })?
        }
    };
    answered.check = Some(given.clone());
    let mut named = common.clone();
    let (disk, _, path) = show::find(&mut named, &given)?;
    let name = match slot(&path) {
        Slot::Record(Kind::Check, id) => CheckName::parse(&id),
        _ => None,
    };
    let newest = match &name {
        Some(name) => line(&disk, name)?.pop(),
        None => None,
    };
    // What is wrong with the name or the record is told where the command looks for itself.
    let old = newest.and_then(|newest| newest.record);
    let mut doc = old.map(|old| old.doc);
    let ready = !answered.values.is_empty() || answered.void;
    let mut number = 0;
    while let (Some(before), false) = (&doc, ready) {
        let mut options: Vec<(String, String)> = edit::values(before)
            .into_iter()
            .filter(|(pointer, _)| settable(pointer).is_ok())
            .collect();
        options.push((
            OTHER.to_owned(),
            "a key that it does not have yet".to_owned(),
        ));
        options.push(match number {
            0 => (
                VOID.to_owned(),
                "nothing can be put right: keep it as evidence that never counts".to_owned(),
            ),
            _ => (DONE.to_owned(), "that is all".to_owned()),
        });
        let text = match number {
            0 => "Which value was wrong?",
            _ => "Which other value was wrong?",
        };
        let question = Question::new(format!("/change/{number}/key"), text)
            .default((number > 0).then_some(DONE));
        let chosen = asker.choose(question, &options)?;
        let mut pointer = options[chosen].0.clone();
        match pointer.as_str() {
            DONE => break,
            VOID => {
                let causes: Vec<(String, String)> = Cause::value_variants()
                    .iter()
                    .filter_map(Cause::to_possible_value)
                    .map(|cause| {
                        let help = cause.get_help().map(ToString::to_string);
                        (cause.get_name().to_owned(), help.unwrap_or_default())
                    })
                    .collect();
                let chosen = asker.choose(Question::new("cause", "Why is it void?"), &causes)?;
                answered.void = true;
                answered.cause = Cause::value_variants().get(chosen).copied();
                break;
            }
            OTHER => {
                let question = Question::new(format!("/change/{number}/other"), "Which key?")
                    .help("from the outside in, rows counted from 0, such as /point/0/temperature_c or late_reason");
                pointer = asker.ask(&question, |text| {
                    edit::pointer_of(text).map_err(|unfit| unfit.message)
                })?;
            }
            _ => {}
        }
        let question = Question::new(format!("/change/{number}/value"), "The right value")
            .help("as it should have been, with all its digits");
        let (value, after) = asker.fitting(&question, Kind::Check, before, &pointer)?;
        answered.values.push(format!("{pointer}={value}"));
        doc = Some(after);
        number += 1;
    }
    let question = Question::new(
        "reason",
        "In a few words: what was wrong, and how is that known?",
    );
    answered.reason = Some(match &arguments.reason {
        Some(reason) => reason.clone(),
        None => asker.ask(&question, |text| Ok(text.to_owned()))?,
    });
    Ok(answered)
}

pub(super) fn refused(message: impl Into<String>, help: impl Into<String>) -> Trouble {
    Trouble::Refused(SourceError::new(message, help))
}

pub(super) fn unfit(unfit: Unfit) -> Trouble {
    let help = unfit.help.trim_end_matches('.');
    refused(unfit.message, format!("{help}. Nothing was written"))
}

pub(super) fn reason(given: &str) -> Result<&str, Trouble> {
    match given.trim() {
        "" => Err(Trouble::Usage(
            "the reason is blank: say in a few words what was wrong, and how that is known"
                .to_owned(),
        )),
        reason => Ok(reason),
    }
}

/// Present time as wall time in the book's zone.
pub(super) fn now(book: &Book) -> String {
    let wall = book.zone.wall(book.clock.now);
    new::performed(&book.zone, wall, Some(book.clock.now)).0
}

/// Pointers and values as they were given.
fn values(given: &[String]) -> Result<Vec<(String, &str)>, Trouble> {
    let mut values: Vec<(String, &str)> = Vec::new();
    for one in given {
        let Some((key, value)) = one.split_once('=') else {
            return Err(Trouble::Usage(format!(
                "--set {one} has no value: write KEY=VALUE, such as --set /point/1/temperature_c=25.02"
            )));
        };
        let pointer = edit::pointer_of(key).map_err(unfit)?;
        settable(&pointer)?;
        if values.iter().any(|(other, _)| *other == pointer) {
            return Err(Trouble::Usage(format!("{pointer} is set twice")));
        }
        values.push((pointer, value));
    }
    Ok(values)
}

/// Refuses what makes the record another one, and what has its own way of being set.
fn settable(pointer: &str) -> Result<(), Trouble> {
    let first = pointer.split('/').nth(1).unwrap_or("");
    let (message, help) = match first {
        "instrument" => (
            "a check of another instrument is another check, not an amendment of this one".to_owned(),
            "keep this one as void (--void --cause procedure) and enter the right one with shearbook new check".to_owned(),
        ),
        "format" | "computed" => (
            format!("{pointer} is written by shearbook alone"),
            "set the value that it is worked out from".to_owned(),
        ),
        "reason" => (
            "the reason of an amendment is given with --reason".to_owned(),
            "leave it out of --set".to_owned(),
        ),
        "amends" | "amended" | "amended_by" => (
            format!("{first} is written by shearbook: what is amended, when, and by whom (--by)"),
            "leave it out of --set".to_owned(),
        ),
        _ => return Ok(()),
    };
    Err(refused(message, format!("{help}. Nothing was written")))
}

fn no_such_check(disk: &Disk, name: &CheckName) -> Result<Trouble, Trouble> {
    let path = name.path();
    let (folder, _) = path.rsplit_once('/').unwrap_or(("checks", ""));
    let entries = disk.list(folder)?;
    let ids = entries.iter().filter_map(|entry| match slot(&entry.path) {
        Slot::Record(Kind::Check, id) => Some(id),
        _ => None,
    });
    let ids: Vec<String> = ids.collect();
    let help = match nearest(&name.id(), ids.iter().map(String::as_str)) {
        Some(meant) => format!("did you mean {meant}?"),
        None => format!("look into the folder {folder}"),
    };
    Ok(refused(
        format!("there is no check {}", name.id()),
        format!("{help} Nothing was written"),
    ))
}

/// Refuses a file that no commit holds, or that is not as the commit holds it. `then` is what follows an edit.
pub(super) fn untouched(repository: &Repository, path: &str, then: &str) -> Result<(), Trouble> {
    if !here::committed(repository, path)?.contains(path) {
        return Err(refused(
            format!("{path} is not committed yet, so it can simply be edited"),
            format!("change what is wrong in the file, then shearbook {then} {path}"),
        ));
    }
    if repository.edited(&[path])?.is_empty() {
        return Ok(());
    }
    Err(refused(
        format!("{path} has been edited since it was committed"),
        format!(
            "put it back first: git restore --source=HEAD --staged --worktree -- '{path}'; then give the right value to this command"
        ),
    ))
}

/// A copy of a record that says what it amends; every other byte is kept.
pub(super) fn copy(old: &Loaded<Check>, name: &CheckName, why: &Why<'_>) -> Result<Doc, Trouble> {
    let mut doc = Doc {
        path: name.next().path(),
        ..old.doc.clone()
    };
    for (pointer, value) in [
        ("/amends", edit::quoted(&name.id())),
        ("/amended", why.amended.clone()),
        ("/amended_by", edit::quoted(why.by)),
        ("/reason", edit::quoted(why.reason)),
    ] {
        doc = put(&doc, pointer, &value)?;
    }
    Ok(doc)
}

/// A check with a value put in.
fn put(doc: &Doc, pointer: &str, value: &str) -> Result<Doc, Trouble> {
    let text = edit::set(doc, pointer, value).map_err(unfit)?;
    read(&doc.path, &text)
}

fn read(path: &str, text: &str) -> Result<Doc, Trouble> {
    let reading = edit::read(Kind::Check, path, text);
    let reading = reading.map_err(|ours| Trouble::Ours(ours.to_string()))?;
    reading
        .doc
        .ok_or_else(|| Trouble::Ours(format!("{path} cannot be read any more once it is edited")))
}

/// The typed record of a document that is known to be sound.
pub(super) fn checked(doc: &Doc) -> Result<Loaded<Check>, Trouble> {
    let parsed = parse::<Check>(&doc.path, doc.text.as_str().as_bytes().to_vec())
        .map_err(|ours| Trouble::Ours(ours.to_string()))?;
    match (parsed.doc, parsed.record) {
        (Some(doc), Some(record)) => Ok(Loaded { doc, record }),
        _ => Err(Trouble::Ours(format!(
            "{} cannot be understood any more once it is edited",
            doc.path
        ))),
    }
}

/// The record with its figures worked out anew; `None` where one that it needs cannot be had.
pub(super) fn sealed(book: &Book, doc: &Doc, id: &str) -> Result<Option<Doc>, Trouble> {
    let loaded = checked(doc)?;
    let Some(figures) = seal::figures(book, &loaded.doc, &loaded.record, id) else {
        return Ok(None);
    };
    let text = seal::splice(&loaded.doc, &figures).map_err(Trouble::Refused)?;
    read(&doc.path, &text).map(Some)
}

/// The verdict that stands in a record.
pub(super) fn verdict(record: &Check) -> Option<Verdict> {
    match record.void {
        true => Some(Verdict::Void),
        false => record.computed.as_ref()?.verdict,
    }
}

/// What changes, and what a changed verdict asks for.
fn told(old: &Loaded<Check>, new: &Loaded<Check>, width: usize) -> String {
    let changes = of_substance(old, new);
    if changes.is_empty() {
        return "Nothing else differs yet.\n\n".to_owned();
    }
    let mut text = amendments::table(&changes, ["what changes", "was", "is"], width) + "\n";
    let verdicts = (verdict(&old.record), verdict(&new.record));
    if let (Some(was), Some(is)) = verdicts
        && was != is
    {
        text += &wrapped(&consequence(was, is), width, "", "");
        text += "\n";
    }
    text
}

/// What follows from a verdict that becomes another one.
pub(super) fn consequence(was: Verdict, is: Verdict) -> String {
    let next = match is {
        Verdict::Fail | Verdict::ConditionalFail => {
            "The instrument read wrong all along: open a nonconformity (shearbook new nonconformity ID --check CHECK) and judge what was measured since the last check that passed."
        }
        Verdict::Void => {
            "It counts no more: what was measured on the strength of it has to be evaluated, and the instrument may need another check (shearbook status)."
        }
        Verdict::Pass | Verdict::ConditionalPass => {
            "What was decided because it did not pass (repeat, quarantine, nonconformity) has to be looked at again by whoever decided it."
        }
    };
    format!(
        "The verdict changes from {} to {}. {next}",
        was.word(),
        is.word()
    )
}
