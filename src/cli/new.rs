//! `new`: a record ready to fill in, at its right place. It holds what the book knows and no figure of its own: every key
//! that a person must answer for has no value, so that the record does not validate until it has one.

use super::ask::answers::Answers;
use super::ask::form::{self, Known, Sheet};
use super::ask::{Asked, Asker, Question, Stop};
use super::here::Here;
use super::template::{Filling, fill, quoted, schema_line, schema_path, template};
use super::{Common, End, Ended, Trouble, enter, interrupt, output, review, validate};
use crate::book::review::Digest;
use crate::book::zone::{NoInstant, Zone};
use crate::book::{Book, Loaded};
use crate::finding::Finding;
use crate::fleet::plan::stock::{Lot, Stock};
use crate::parse::form::Form;
use crate::parse::layout::{self, CheckName, path_of, unfit_id};
use crate::record::geometry::{Geometry, GeometryKind};
use crate::record::instrument::{Instrument, Speeds};
use crate::record::person::{Duty, Person};
use crate::record::policy::{Policy, ZoneName};
use crate::record::thermometer::Thermometer;
use crate::record::{Kind, Stamp, Word};
use crate::rules::{Wanted, run as judge};
use crate::source::disk::Disk;
use crate::source::overlay::Overlay;
use crate::source::{Source, SourceError};
use crate::text::nearest;
use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// policy, person, instrument, geometry, fluid, thermometer, bath, check, review or nonconformity; asked for where left out
    kind: Option<String>,
    /// The new record's id. Of a check: its instrument, or INSTRUMENT/YYYY-MM-DD-HHMM. Of a review: the check, or
    /// FOLDER/ID of another record
    id: Option<String>,
    /// Of a geometry: factored, coaxial-cylinders, cone-plate or parallel-plates
    #[arg(long = "kind", value_name = "KIND")]
    geometry: Option<String>,
    /// Of a nonconformity: a check that it is about; may be given several times
    #[arg(long = "check", value_name = "CHECK")]
    checks: Vec<String>,
    /// Of a review: who reviews
    #[arg(long, value_name = "PERSON")]
    by: Option<String>,
    /// Write the file to be filled in by an editor, and ask nothing
    #[arg(long)]
    blank: bool,
}

/// A record about to be written.
struct Draft {
    kind: Kind,
    path: String,
    filling: Filling,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let mut asker = match arguments.blank {
        true => None,
        false => Asker::at_terminal(output::style(common), Answers::default()),
    };
    if asker.is_some() {
        interrupt::say_last(Some(
            "Stopped. Nothing was written, and no answer is kept.".to_owned(),
        ));
    }
    let made = match &mut asker {
        Some(asker) => asker.run(|asker| make(common, arguments, Some(asker))),
        None => make(common, arguments, None),
    };
    match (made, asker) {
        (Ok(end), _) => {
            interrupt::say_last(None);
            Ok(end)
        }
        (Err(stop), Some(asker)) => Err(stop.end(asker)),
        (Err(Stop::Trouble(trouble)), None) => Err(trouble),
        (Err(_), None) => Err(Trouble::Ours("nobody was asked, and stopped".to_owned())),
    }
}

fn make(common: &Common, arguments: &Arguments, mut asker: Option<&mut Asker>) -> Asked<End> {
    let kind = match (&arguments.kind, asker.as_mut()) {
        (Some(word), _) => kind(word)?,
        (None, Some(asker)) => {
            let kinds: Vec<(String, String)> = layout::folder_kinds()
                .map(|kind| (kind.word().to_owned(), String::new()))
                .collect();
            let chosen = asker.choose(Question::new("kind", "What is entered?"), &kinds)?;
            kind(&kinds[chosen].0)?
        }
        (None, None) => {
            let kinds: Vec<&str> = layout::folder_kinds().map(Kind::word).collect();
            return Err(Stop::Trouble(Trouble::Usage(format!(
                "say what is entered: shearbook new KIND ID, with a kind out of {}",
                kinds.join(", ")
            ))));
        }
    };
    only_for(kind, Kind::Geometry, "--kind", arguments.geometry.is_some())?;
    only_for(kind, Kind::Review, "--by", arguments.by.is_some())?;
    let about = !arguments.checks.is_empty();
    only_for(kind, Kind::Nonconformity, "--check", about)?;
    let fits = |id: &str| match kind {
        Kind::Check | Kind::Review => None,
        _ => unfit_id(id),
    };
    // People name the file where the id is meant.
    let stem = |id: &str| match kind {
        Kind::Check | Kind::Review => id.to_owned(),
        _ => id.strip_suffix(".toml").unwrap_or(id).to_owned(),
    };
    let id = match (&arguments.id, asker.as_mut()) {
        (Some(id), _) => stem(id),
        (None, Some(asker)) => {
            let text = match kind {
                Kind::Check => "Of which instrument?".to_owned(),
                Kind::Review => "Of which check, or record as FOLDER/ID?".to_owned(),
                _ => format!("Id of the new {}", kind.noun()),
            };
            asker.ask(&Question::new("id", text), |id| match fits(&stem(id)) {
                None => Ok(stem(id)),
                Some(why) => Err(format!("{id} is no id: {why}")),
            })?
        }
        (None, None) => {
            return Err(Stop::Trouble(Trouble::Usage(format!(
                "say its id too: shearbook new {} ID",
                kind.word()
            ))));
        }
    };
    let id = id.as_str();
    if let Some(why) = fits(id) {
        return Err(Stop::Trouble(Trouble::Usage(format!(
            "{id} is no id: {why}"
        ))));
    }
    let (disk, book) = validate::facts(common)?;
    let mut geometry = arguments.geometry.clone();
    if let (Kind::Geometry, None, Some(asker)) = (kind, &geometry, asker.as_mut()) {
        let kinds: Vec<(String, String)> = GeometryKind::ALL
            .iter()
            .map(|(word, _)| ((*word).to_owned(), String::new()))
            .collect();
        let chosen = asker.choose(Question::new("geometry", "Of what kind is it?"), &kinds)?;
        geometry = Some(kinds[chosen].0.clone());
    }
    let mut by = arguments.by.clone();
    if let (Kind::Review, None, Some(asker)) = (kind, &by, asker.as_mut()) {
        let people: Vec<(String, String)> = book
            .people
            .sound()
            .filter(|person| book.authorised_on(person, Duty::Review, book.as_of()))
            .map(|person| (person.id.clone(), String::new()))
            .collect();
        if !people.is_empty() {
            let chosen = asker.choose(Question::new("by", "Who reviews?"), &people)?;
            by = Some(people[chosen].0.clone());
        }
    }
    let mut draft = match kind {
        Kind::Check => check(&book, id)?,
        Kind::Review => self::review(&disk, &book, id, by.as_deref())?,
        _ => fact(&book, kind, id, geometry.as_deref())?,
    };
    if about {
        let checks = about_checks(&disk, &arguments.checks)?;
        draft.filling.value("checks", Some(checks));
        let today = book.as_of().to_string();
        draft.filling.value("opened", Some(today));
    }
    let (folder, _) = draft.path.rsplit_once('/').unwrap_or(("", ""));
    real_folders(&disk.root, folder)?;
    free(&disk.root, &draft, id)?;
    if disk.root.join(schema_path(kind)).is_file() {
        let line = schema_line(kind, &draft.path);
        draft.filling.text("schema", line);
    }
    let mut text = fill(template(kind), &draft.filling);
    let mut asked = false;
    // A check of a given time is no check of now, so it is not run at the bench.
    let at_bench = kind != Kind::Check || !id.contains('/');
    if let Some(asker) = asker.filter(|_| at_bench) {
        let options = [
            ("ask", "question by question"),
            ("file", "write the file, to be filled in by an editor"),
        ];
        let options = options.map(|(word, label)| (word.to_owned(), label.to_owned()));
        let how = Question::new("how", "How is it filled in?").default(Some("ask"));
        asked = asker.choose(how, &options)? == 0;
        match kind {
            Kind::Check if asked => {
                let instrument = id.split('/').next().unwrap_or(id).to_owned();
                return Ok(enter::run(common, &enter::Arguments::of(instrument))?);
            }
            _ if asked => {
                // Each question that rests on a day lists who was authorised on it.
                draft.filling.text("recorders", "");
                let template = fill(template(kind), &draft.filling);
                let sheet = Sheet {
                    kind,
                    path: &draft.path,
                    template: &template,
                    judge: &|text| findings(common, &disk, &draft.path, text),
                    known: &|form, pointer| known_of(&book, kind, form, pointer),
                };
                let (filled, findings) = form::fill_in(asker, &sheet)?;
                text = filled;
                if !findings.is_empty() {
                    output::say_findings(common, &findings, (1, 0));
                }
            }
            _ => {}
        }
    }
    put(&disk.root, &draft.path, text.as_bytes())?;
    if !common.quiet {
        output::say(&next_steps(common, &disk, &draft, asked));
    }
    Ok(End::Fine)
}

/// What the rules find in a record that is not written yet.
fn findings(common: &Common, disk: &Disk, path: &str, text: &str) -> Result<Vec<Finding>, Trouble> {
    let mut overlay = Overlay::over(disk);
    overlay
        .files
        .insert(path.to_owned(), text.as_bytes().to_vec());
    let only = [path.to_owned()];
    let mut findings = judge(&overlay, common.clock(), &Wanted::Only(&only))?.findings;
    findings.retain(|finding| finding.place.path == path);
    Ok(findings)
}

/// What the book has for a key: classes of use, and who was authorised on the day of a row.
fn known_of(book: &Book, kind: Kind, form: &Form, pointer: &str) -> Known {
    if (kind, pointer) == (Kind::Instrument, "/usage") {
        let policy = book.policy_at(book.as_of(), None);
        let classes = policy.iter().flat_map(|policy| policy.interval.iter());
        return Known {
            words: classes.map(|(class, _)| class.clone()).collect(),
            told: String::new(),
        };
    }
    let Some(row) = pointer
        .strip_suffix("/by")
        .filter(|row| row.starts_with("/standing/"))
    else {
        return Known::default();
    };
    let from = form.value(&format!("{row}/from")).unwrap_or_default();
    let day = from.get(..10).and_then(|day| super::day(day).ok());
    let day = day.unwrap_or(book.as_of());
    let duties = [Duty::Records, Duty::Review];
    let authorised = authorised_on(book, &duties, day);
    let told = match authorised[..] {
        [] => format!(
            "Nobody was authorised for records or review on {day}: give a later day with back, or let the person's own file say since when."
        ),
        _ => listed(
            &format!("Authorised for records or review on {day}"),
            &authorised,
        ),
    };
    Known {
        words: book.people.ids().map(str::to_owned).collect(),
        told,
    }
}

fn authorised_on<'b>(book: &'b Book, duties: &[Duty], day: Date) -> Vec<&'b str> {
    let may = |person: &Person| {
        let mut duties = duties.iter();
        duties.any(|duty| book.authorised_on(person, *duty, day))
    };
    book.people
        .sound()
        .filter(|person| may(person))
        .map(|person| person.id.as_str())
        .collect()
}

fn kind(word: &str) -> Result<Kind, Trouble> {
    let kinds: Vec<&str> = layout::folder_kinds().map(Kind::word).collect();
    match Kind::from_word(word) {
        Some(Kind::Book) => Err(Trouble::Usage(
            "a book is begun with shearbook init".to_owned(),
        )),
        Some(kind) => Ok(kind),
        None => {
            let meant = layout::folder_kind(word)
                .map(Kind::word)
                .or_else(|| nearest(word, kinds.iter().copied()))
                .map(|word| format!("did you mean {word}? "))
                .unwrap_or_default();
            Err(Trouble::Usage(format!(
                "there is no kind of record {word}; {meant}it is one of {}",
                kinds.join(", ")
            )))
        }
    }
}

fn only_for(kind: Kind, right: Kind, option: &str, given: bool) -> Result<(), Trouble> {
    match given && kind != right {
        true => Err(Trouble::Usage(format!(
            "{option} belongs to a {}, not to a {}",
            right.word(),
            kind.word()
        ))),
        false => Ok(()),
    }
}

fn next_steps(common: &Common, disk: &Disk, draft: &Draft, whole: bool) -> String {
    let here = Here::of(common, disk);
    let (tool, file) = (&here.tool, here.file(&draft.path));
    if whole {
        return format!("made {}\n\nNext: let git keep it:\n", draft.path)
            + &here.add(&[&draft.path]);
    }
    let mut text = format!(
        "made {}\n\nNext: give a value to every key that has none. This names those that are\nleft:\n    {tool} validate {file}\n",
        draft.path
    );
    text += match draft.kind {
        Kind::Check => "Then have the limits and the verdict worked out, and let git keep it:\n",
        Kind::Review => "Then let git keep it, under the reviewer's own name:\n",
        _ => "Then let git keep it:\n",
    };
    if draft.kind == Kind::Check {
        text += &format!("    {tool} seal {file}\n");
    }
    text + &here.add(&[&draft.path])
}

/// A linked folder is not followed when a book is read, so nothing is written into one.
pub(super) fn real_folders(root: &Path, folder: &str) -> Result<(), Trouble> {
    let mut at = root.to_owned();
    for step in folder.split('/') {
        at = at.join(step);
        match at.symlink_metadata() {
            Ok(data) if !data.is_dir() => {
                return Err(Trouble::Unusable(SourceError::new(
                    format!("{} is in the way: a folder belongs there", at.display()),
                    "move it elsewhere; a folder of records is a folder of its own and no link",
                )));
            }
            Ok(_) => {}
            Err(_) => break,
        }
    }
    Ok(())
}

/// Refuses an id that is there already, be it in other letters.
fn free(root: &Path, draft: &Draft, id: &str) -> Result<(), Trouble> {
    let (folder, name) = draft.path.rsplit_once('/').unwrap_or(("", &draft.path));
    let Ok(entries) = std::fs::read_dir(root.join(folder)) else {
        return Ok(());
    };
    let mut names: Vec<String> = entries
        .filter_map(Result::ok)
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .filter(|other| other.to_lowercase() == name.to_lowercase())
        .collect();
    names.sort();
    let Some(other) = names.first() else {
        return Ok(());
    };
    let noun = draft.kind.noun();
    Err(Trouble::Refused(
        if names.iter().any(|other| other == name) {
            SourceError::new(
            format!("{} is there already, and was left as it is", draft.path),
            match draft.kind {
                Kind::Check => "wait a minute, or give the check's own time: shearbook new check INSTRUMENT/YYYY-MM-DD-HHMM".to_owned(),
                _ => format!("edit that file, or give the new {noun} another id"),
            },
        )
        } else {
            SourceError::new(
                format!(
                    "{folder}/{other} differs from {id} only by capital letters; on some disks they would be one file"
                ),
                format!("give the new {noun} another id, or edit that file if it is meant"),
            )
        },
    ))
}

/// Writes a file that is not there yet, with the folders that it needs.
pub(super) fn put(root: &Path, path: &str, bytes: &[u8]) -> Result<(), Trouble> {
    let full = root.join(path);
    let missing: Vec<PathBuf> = full
        .ancestors()
        .skip(1)
        .take_while(|folder| folder.symlink_metadata().is_err())
        .map(Path::to_path_buf)
        .collect();
    let folder = full.parent().unwrap_or(root);
    let written = std::fs::create_dir_all(folder)
        .map_err(|error| {
            Trouble::Unusable(SourceError::new(
                format!("the folder {} cannot be made: {error}", folder.display()),
                "look at the permissions of the book's folder",
            ))
        })
        .and_then(|()| output::write_new(&full, bytes));
    if written.is_err() {
        for folder in missing {
            let _ = std::fs::remove_dir(folder);
        }
    }
    written
}

/// A record of the facts, or a nonconformity.
fn fact(book: &Book, kind: Kind, id: &str, geometry: Option<&str>) -> Result<Draft, Trouble> {
    let mut filling = Filling::default();
    let today = book.as_of();
    let people = |rights: &str, duties: &[Duty]| {
        let what = format!(
            "Whoever decides must have been authorised for {rights} on that day; authorised today"
        );
        match authorised_on(book, duties, today)[..] {
            [] => format!("{what}: nobody"),
            ref ids => listed(&what, ids),
        }
    };
    filling.text("id", id);
    filling.text(
        "recorders",
        people("records or review", &[Duty::Records, Duty::Review]),
    );
    filling.text("reviewers", people("review", &[Duty::Review]));
    match kind {
        Kind::Geometry => {
            let kind = geometry_kind(geometry)?;
            filling.text("kind", kind.word());
            for (word, other) in GeometryKind::ALL {
                let shown = (*other == kind).then(String::new);
                filling.part(word, shown.into_iter().collect());
            }
            let ids: Vec<&str> = book.instruments.ids().collect();
            filling.text("instruments", listed("Instruments of the book", &ids));
        }
        Kind::Instrument => {
            if let Some(policy) = book.policy_at(today, None) {
                let classes: Vec<&str> = policy
                    .interval
                    .iter()
                    .map(|(class, _)| class.as_str())
                    .collect();
                let what = format!("Classes of policy {}", policy.id);
                filling.text("classes", listed(&what, &classes));
            }
        }
        Kind::Nonconformity => {
            filling.value("opened", None);
        }
        _ => {}
    }
    Ok(Draft {
        kind,
        path: path_of(kind, id),
        filling,
    })
}

/// The checks that a nonconformity is about, as TOML lists them.
fn about_checks(disk: &Disk, given: &[String]) -> Result<String, Trouble> {
    let mut ids: Vec<String> = Vec::new();
    for id in given {
        let name = CheckName::parse(id).ok_or_else(|| {
            Trouble::Usage(format!(
                "{id} names no check: write INSTRUMENT/YYYY-MM-DD-HHMM"
            ))
        })?;
        if disk.read(&name.path())?.is_none() {
            return Err(Trouble::Usage(format!(
                "there is no check {id}; it would stand in {}",
                name.path()
            )));
        }
        if !ids.contains(id) {
            ids.push(id.clone());
        }
    }
    let ids: Vec<String> = ids.iter().map(|id| quoted(id)).collect();
    Ok(format!("[{}]", ids.join(", ")))
}

fn geometry_kind(word: Option<&str>) -> Result<GeometryKind, Trouble> {
    let words: Vec<&str> = GeometryKind::ALL.iter().map(|(word, _)| *word).collect();
    let all = words.join(", ");
    let Some(word) = word else {
        return Err(Trouble::Usage(format!(
            "say of what kind the geometry is: --kind with one of {all}"
        )));
    };
    GeometryKind::from_word(word).ok_or_else(|| {
        let meant = nearest(word, words.iter().copied())
            .map(|word| format!("did you mean {word}? "))
            .unwrap_or_default();
        Trouble::Usage(format!(
            "there is no kind of geometry {word}; {meant}it is one of {all}"
        ))
    })
}

/// A remark that lists what there is; nothing where there is none.
fn listed(what: &str, ids: &[&str]) -> String {
    match ids {
        [] => String::new(),
        _ => format!("{what}: {}", ids.join(", ")),
    }
}

/// The one value that the rules would accept, and else a remark that lists those which they would.
fn one_of(filling: &mut Filling, key: &str, remark: &str, ids: &[&str], what: &str, make: &str) {
    match ids {
        [only] => {
            filling.value(key, Some(quoted(only)));
            filling.text(
                remark,
                format!("{what}: only this one. Correct it if it was another."),
            );
        }
        [] => {
            filling.value(key, None);
            filling.text(remark, format!("{what}: none of the book. {make}"));
        }
        _ => {
            filling.value(key, None);
            filling.text(remark, listed(what, ids));
        }
    }
}

fn check(book: &Book, id: &str) -> Result<Draft, Trouble> {
    let (instrument, given) = match id.split_once('/') {
        Some((instrument, _)) => (instrument, true),
        None => (id, false),
    };
    known(
        &book.instruments.ids().collect::<Vec<_>>(),
        Kind::Instrument,
        instrument,
    )?;
    zone_known(book)?;
    let (name, wall) = match given {
        true => named_time(book, id)?,
        false => {
            let wall = book.zone.wall(book.clock.now);
            let minute = format!("{instrument}/{}", wall.strftime("%Y-%m-%d-%H%M"));
            named_time(book, &minute)?
        }
    };
    let now = (!given).then_some(book.clock.now);
    let (performed, at) = performed(&book.zone, wall, now);
    let mut filling = Filling::default();
    filling
        .text("instrument", instrument)
        .text("performed", performed)
        .text("date", name.date.to_string());
    suggest(book, instrument, name.date, at, &mut filling);
    Ok(Draft {
        kind: Kind::Check,
        path: name.path(),
        filling,
    })
}

/// Without its time zone a book has no time of day.
pub(super) fn zone_known(book: &Book) -> Result<(), Trouble> {
    match book.zone_known() {
        true => Ok(()),
        false => Err(Trouble::Unusable(SourceError::new(
            "the book's time zone is not known, so no check has a time",
            "shearbook validate shearbook.toml tells what is wrong there",
        ))),
    }
}

/// Refuses a name that the book does not know.
pub(super) fn known(ids: &[&str], kind: Kind, id: &str) -> Result<(), Trouble> {
    if ids.contains(&id) {
        return Ok(());
    }
    let noun = kind.noun();
    let meant = match nearest(id, ids.iter().copied()) {
        Some(meant) => format!("; did you mean {meant}?"),
        None if ids.is_empty() => format!("; the first is entered with shearbook new {noun}"),
        None => format!("; the book has {}", ids.join(", ")),
    };
    Err(Trouble::Usage(format!("there is no {noun} {id}{meant}")))
}

/// The time that a check's id names.
fn named_time(book: &Book, id: &str) -> Result<(CheckName, DateTime), Trouble> {
    let wrong = || {
        Trouble::Usage(format!(
            "{id} names no check: write the instrument, or INSTRUMENT/YYYY-MM-DD-HHMM with the time of the first reading"
        ))
    };
    let name = CheckName::parse(id).ok_or_else(wrong)?;
    if name.amendment > 0 {
        return Err(Trouble::Usage(format!(
            "{id} would be an amendment: shearbook amend writes it, from the check that it corrects"
        )));
    }
    let number = |text: &str| text.parse::<i8>().ok();
    let (hour, minute) = name.clock.split_at(2);
    let wall = number(hour)
        .zip(number(minute))
        .and_then(|(hour, minute)| {
            DateTime::new(
                name.date.year(),
                name.date.month(),
                name.date.day(),
                hour,
                minute,
                0,
                0,
            )
            .ok()
        })
        .ok_or_else(wrong)?;
    let stamp = Stamp {
        wall,
        offset_minutes: None,
    };
    if book.zone.instant(&stamp) == Err(NoInstant::Skipped) {
        return Err(Trouble::Usage(format!(
            "{} did not happen on {}: the clock is set forward over it",
            wall.strftime("%H:%M"),
            name.date
        )));
    }
    Ok((name, wall))
}

/// `performed` as it is written, and its instant. In the hour that the clock repeats only the present tells which is meant;
/// a time that was given gets no offset, and validation asks for one.
pub(super) fn performed(
    zone: &Zone,
    wall: DateTime,
    now: Option<Timestamp>,
) -> (String, Timestamp) {
    let written = wall.strftime("%Y-%m-%dT%H:%M:%S").to_string();
    let stamp = Stamp {
        wall,
        offset_minutes: None,
    };
    match (zone.instant(&stamp), now) {
        (Ok(at), _) => (written, at),
        (Err(_), Some(now)) => {
            let utc = TimeZone::UTC.to_datetime(now);
            let minutes = utc
                .until(zone.wall(now))
                .map(|span| {
                    span.get_days() * 1440 + span.get_hours() * 60 + span.get_minutes() as i32
                })
                .unwrap_or_default();
            let sign = if minutes < 0 { '-' } else { '+' };
            let size = minutes.abs();
            (
                format!("{written}{sign}{:02}:{:02}", size / 60, size % 60),
                now,
            )
        }
        (Err(_), None) => (written, zone.start_of(wall.date())),
    }
}

/// What the rules would accept for this instrument at that time.
fn suggest(book: &Book, instrument: &str, date: Date, at: Timestamp, filling: &mut Filling) {
    let record = book.instruments.named(instrument).sound();
    let group = record.and_then(|record| record.group.as_deref());
    let policy = book.policy_at(date, group);

    let stock = Stock::at(book, date, at, &BTreeSet::new());
    let geometries: Vec<&Loaded<Geometry>> = stock.fitting(instrument).collect();
    let ids: Vec<&str> = geometries.iter().map(|one| one.id.as_str()).collect();
    let what = format!("Fit for {instrument}");
    one_of(
        filling,
        "geometry",
        "geometries",
        &ids,
        &what,
        "Enter one with shearbook new geometry.",
    );

    let lots: Vec<&Lot<'_>> = stock
        .lots
        .iter()
        .filter(|lot| policy.is_none_or(|policy| lot.is_allowed(policy)))
        .collect();
    let ids: Vec<&str> = lots.iter().map(|lot| lot.fluid.id.as_str()).collect();
    one_of(
        filling,
        "fluid",
        "fluids",
        &ids,
        "Usable that day",
        "Enter one with shearbook new fluid.",
    );
    bottles(&lots, date, policy, filling);

    let ids: Vec<&str> = book
        .thermometers
        .sound()
        .filter(|thermometer| calibrated(book, thermometer, date, at))
        .map(|one| one.id.as_str())
        .collect();
    one_of(
        filling,
        "thermometer",
        "thermometers",
        &ids,
        "Calibrated that day",
        "Enter one with shearbook new thermometer.",
    );

    let ids: Vec<&str> = book.baths.ids().collect();
    filling.text("baths", listed("Baths of the book", &ids));

    let ids: Vec<&str> = book
        .people
        .sound()
        .filter(|person| book.authorised(person, Duty::Check, at))
        .map(|one| one.id.as_str())
        .collect();
    one_of(
        filling,
        "operator",
        "operators",
        &ids,
        "Authorised to check",
        "Enter one with shearbook new person.",
    );

    preparation(&geometries, policy, filling);
    filling.text("speeds", speeds(instrument, record));
    points(policy, filling);
    if let Some(policy) = policy {
        let rows: Vec<String> = policy
            .soak
            .iter()
            .map(|row| {
                let kinds = row.kinds.iter().flatten().map(|kind| kind.word());
                let mut words: Vec<String> = kinds.map(str::to_owned).collect();
                if let Some(most) = &row.up_to_mpa_s {
                    words.push(format!("up to {most} mPa.s"));
                }
                match words.is_empty() {
                    true => format!("else {} minutes", row.minutes),
                    false => format!("{} {} minutes", words.join(", "), row.minutes),
                }
            })
            .collect();
        filling.text(
            "soak",
            format!(
                "At temperature before the first reading: {}",
                rows.join("; ")
            ),
        );
        let allowed: Vec<&str> = policy
            .deviation_allowed
            .iter()
            .map(String::as_str)
            .collect();
        let remark = match allowed[..] {
            [] => format!("Policy {} allows no [[deviation]].", policy.id),
            _ => listed(
                "Rules that a check may break with a reason and a reviewer's consent",
                &allowed,
            ),
        };
        filling.text("allowed", remark);
    }
}

fn calibrated(book: &Book, thermometer: &Thermometer, date: Date, at: Timestamp) -> bool {
    thermometer
        .calibrations
        .iter()
        .any(|row| book.zone.begins(&row.date) <= at && date <= row.due)
}

fn bottles(lots: &[&Lot<'_>], date: Date, policy: Option<&Loaded<Policy>>, filling: &mut Filling) {
    let in_force = policy.map(|policy| &policy.record);
    let open: Vec<(&str, &str)> = lots
        .iter()
        .flat_map(|lot| {
            lot.open_bottles(in_force, date)
                .map(|bottle| (lot.fluid.id.as_str(), bottle.id.as_str()))
        })
        .collect();
    let needed = policy.is_none_or(|policy| policy.in_use_months.is_some());
    filling.text("no bottle", if needed { "" } else { "#" });
    let [_] = lots else {
        let all: Vec<String> = open
            .iter()
            .map(|(fluid, bottle)| format!("{bottle} of {fluid}"))
            .collect();
        let all: Vec<&str> = all.iter().map(String::as_str).collect();
        filling.value("bottle", None);
        filling.text("bottles", listed("Open that day", &all));
        return;
    };
    let ids: Vec<&str> = open.iter().map(|(_, bottle)| *bottle).collect();
    one_of(
        filling,
        "bottle",
        "bottles",
        &ids,
        "Open that day",
        "Add a [[bottle]] to the fluid's file.",
    );
}

/// A key that the policy asks for, or may, stands without a value; one that cannot apply is a remark.
fn preparation(
    geometries: &[&Loaded<Geometry>],
    policy: Option<&Loaded<Policy>>,
    filling: &mut Filling,
) {
    let any = |kinds: &[GeometryKind]| {
        geometries.is_empty() || geometries.iter().any(|one| kinds.contains(&one.kind))
    };
    let hung = any(&[GeometryKind::Factored, GeometryKind::CoaxialCylinders]);
    let plated = any(&[GeometryKind::ConePlate, GeometryKind::ParallelPlates]);
    let asked = |key: &str| {
        policy.is_none_or(|policy| policy.confirm.iter().any(|confirm| confirm.word() == key))
    };
    for (key, applies) in [
        ("levelled", true),
        ("immersed_to_mark", hung),
        ("free_of_bubbles", hung),
        ("vessel_as_specified", true),
        ("gap_set", plated),
    ] {
        let live = applies && asked(key);
        filling.text(&format!("no {key}"), if live { "" } else { "#" });
    }
    let guarded = any(&[GeometryKind::Factored]);
    filling.text("no guard", if guarded { "" } else { "#" });
}

fn speeds(instrument: &str, record: Option<&Loaded<Instrument>>) -> String {
    match record.map(|record| &record.speeds) {
        Some(Speeds::These(speeds)) => {
            let speeds: Vec<String> = speeds.iter().map(ToString::to_string).collect();
            format!("Speeds of {instrument} in rpm: {}", speeds.join(", "))
        }
        Some(Speeds::Between(slow, fast)) => {
            format!("Speeds of {instrument}: any from {slow} to {fast} rpm")
        }
        None => String::new(),
    }
}

/// One point for each zone that the policy asks for, else one.
fn points(policy: Option<&Loaded<Policy>>, filling: &mut Filling) {
    let mut remarks: Vec<String> = policy
        .map(|policy| {
            let torque = |from: &dyn std::fmt::Display, to: &dyn std::fmt::Display| {
                format!("torque {from} to {to} %")
            };
            let (least, low, high) = (
                &policy.minimum_percent,
                &policy.low_below_percent,
                &policy.high_above_percent,
            );
            policy
                .zones_required
                .iter()
                .map(|zone| {
                    let span = match zone {
                        ZoneName::Low => torque(least, low),
                        ZoneName::Middle => torque(low, high),
                        ZoneName::High => torque(high, &100),
                    };
                    format!("{} zone: {span}", zone.word())
                })
                .collect()
        })
        .unwrap_or_default();
    if remarks.is_empty() {
        remarks.push(String::new());
    }
    filling.part("point", remarks);
}

fn review(disk: &Disk, book: &Book, id: &str, by: Option<&str>) -> Result<Draft, Trouble> {
    let subject = review::subject(disk, id)?;
    let Some(by) = by else {
        return Err(Trouble::Usage(match review::reviewers(book) {
            may if may.is_empty() => {
                "say who reviews: --by PERSON, with an id from people/".to_owned()
            }
            may => format!("say who reviews: --by PERSON; authorised today: {may}"),
        }));
    };
    known(&book.people.ids().collect::<Vec<_>>(), Kind::Person, by)?;
    let (repository, bytes) = review::committed(disk, &subject.path)?;
    let mut filling = Filling::default();
    for one in ["check", "record"] {
        let value = (one == subject.key).then(|| quoted(&subject.id));
        filling.text(&format!("no {one}"), if value.is_some() { "" } else { "#" });
        filling.value(one, value);
    }
    filling
        .text("sha256", Digest::of(&bytes).to_string())
        .text("reviewer", by)
        .text("date", book.as_of().to_string());
    Ok(Draft {
        kind: Kind::Review,
        path: review::next_path(disk, &repository, &subject.folder, by)?,
        filling,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    // The clock of Europe/Dublin goes back on 2026-10-25 at 02:00 (IANA tz database).
    #[test]
    fn only_the_hour_that_repeats_is_written_with_its_offset() {
        let zone = Zone::named("Europe/Dublin").expect("zone");
        for (now, written) in [
            ("2026-10-24T23:59:30Z", "2026-10-25T00:59:00"),
            ("2026-10-25T00:30:30Z", "2026-10-25T01:30:00+01:00"),
            ("2026-10-25T01:30:30Z", "2026-10-25T01:30:00+00:00"),
            ("2026-10-25T02:00:30Z", "2026-10-25T02:00:00"),
        ] {
            let now: Timestamp = now.parse().expect("time");
            let wall = zone.wall(now);
            let minute = DateTime::new(
                wall.year(),
                wall.month(),
                wall.day(),
                wall.hour(),
                wall.minute(),
                0,
                0,
            );
            let minute = minute.expect("minute");
            assert_eq!(performed(&zone, minute, Some(now)).0, written);
        }
    }
}
