//! From the cells of one check to its record, or to every reason why it is none.

use super::map::{Class, Layout, Map, Spec, Where, fault};
use super::rows::{Found, Table};
use crate::book::Book;
use crate::book::zone::{NoInstant, Zone};
use crate::parse::Fault;
use crate::parse::layout::CheckName;
use crate::parse::write::{CheckText, OriginText, PointText, PreparationText};
use crate::record::check::{Condition, Occasion};
use crate::record::{Kind, Stamp, Word};
use crate::sheet::read::{self, Unfit, squeezed};
use crate::sheet::{Cell, Moment};
use crate::text::nearest;
use jiff::civil::{Date, DateTime, Time};
use jiff::{Timestamp, ToSpan};
use std::collections::BTreeMap;

/// Why a row is refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Problem {
    pub(super) row: u32,
    pub(super) cell: Option<String>,
    /// What stands there.
    pub(super) found: Option<String>,
    pub(super) why: String,
    pub(super) help: String,
    pub(super) rule: Option<&'static str>,
}

/// A check as the sheet has it, not judged yet.
#[derive(Clone, Debug)]
pub(super) struct Draft {
    pub(super) text: CheckText,
    pub(super) id: String,
    pub(super) path: String,
    pub(super) performed: Timestamp,
    pub(super) sheet: Option<String>,
    pub(super) row: u32,
    pub(super) last_row: u32,
    /// Where each value stands, by the pointer to it in the record, and what stands there.
    pub(super) cells: BTreeMap<String, (String, String)>,
    /// What the sheet does not say and every check needs.
    pub(super) lacks: Vec<String>,
}

/// Where a file comes from, and who enters it.
pub(super) struct Origin<'a> {
    pub(super) file: &'a str,
    pub(super) sha256: &'a str,
    pub(super) by: Option<&'a str>,
    /// The zone whose clock the sheet follows.
    pub(super) zone: &'a Zone,
}

struct Reading<'a> {
    book: &'a Book,
    table: &'a Table<'a>,
    map: &'a Map,
    rows: &'a [u32],
    cells: BTreeMap<String, (String, String)>,
    problems: Vec<Problem>,
}

/// The check of some rows.
pub(super) fn check(
    book: &Book,
    table: &Table<'_>,
    rows: &[u32],
    from: &Origin<'_>,
) -> Result<Draft, Vec<Problem>> {
    let mut reading = Reading {
        book,
        table,
        map: table.map,
        rows,
        cells: BTreeMap::new(),
        problems: Vec::new(),
    };
    let draft = reading.draft(from);
    match draft {
        Some(draft) if reading.problems.is_empty() => Ok(draft),
        _ => Err(reading.problems),
    }
}

/// Whether the book lacks a record, and the ids that it has.
fn lacks<'b>(book: &'b Book, kind: Kind, id: &str) -> (bool, Vec<&'b str>) {
    match kind {
        Kind::Instrument => (book.instruments.lacks(id), book.instruments.ids().collect()),
        Kind::Geometry => (book.geometries.lacks(id), book.geometries.ids().collect()),
        Kind::Fluid => (book.fluids.lacks(id), book.fluids.ids().collect()),
        Kind::Thermometer => (
            book.thermometers.lacks(id),
            book.thermometers.ids().collect(),
        ),
        Kind::Bath => (book.baths.lacks(id), book.baths.ids().collect()),
        _ => (book.people.lacks(id), book.people.ids().collect()),
    }
}

/// What kind of record a key of `[check]` names.
fn named_by(key: &str) -> Option<Kind> {
    Some(match key {
        "instrument" => Kind::Instrument,
        "geometry" => Kind::Geometry,
        "fluid" => Kind::Fluid,
        "thermometer" => Kind::Thermometer,
        "bath" => Kind::Bath,
        "operator" | "entered_by" => Kind::Person,
        _ => return None,
    })
}

/// What of the values that the map itself gives cannot be: told once, and not row by row.
pub(super) fn values(book: &Book, map: &Map) -> Vec<Fault> {
    let mut faults = Vec::new();
    let mut say = |pointer: &str, message: String, help: String| {
        faults.push(fault(&map.doc, pointer, message, help));
    };
    for spec in &map.check {
        let mut given: Vec<(String, &str)> = Vec::new();
        if let Where::Value(Cell::Text(text)) = &spec.from {
            given.push((format!("{}/value", spec.pointer), text));
        }
        if let Some(text) = &spec.if_blank {
            given.push((format!("{}/if_blank", spec.pointer), text));
        }
        let meant = spec.values.iter();
        given.extend(meant.map(|(_, id)| (format!("{}/values", spec.pointer), id.as_str())));
        for (pointer, text) in given {
            let words = |words: Vec<&str>| match nearest(text, words.iter().copied()) {
                Some(meant) => format!("did you mean {meant}?"),
                None => format!("it is one of {}", words.join(", ")),
            };
            if let Some(kind) = named_by(spec.key) {
                let (lacks, ids) = lacks(book, kind, text);
                if lacks {
                    let help = match ids.is_empty() {
                        true => format!("enter it first: shearbook new {} {text}", kind.word()),
                        false => words(ids),
                    };
                    say(
                        &pointer,
                        format!("there is no {} {text} in the book", kind.noun()),
                        help,
                    );
                }
            } else if spec.key == "occasion" && Occasion::from_word(text).is_none() {
                let all = Occasion::ALL.iter().map(|(word, _)| *word);
                say(
                    &pointer,
                    format!("{text} is no occasion"),
                    words(all.collect()),
                );
            } else if spec.key == "condition" && Condition::from_word(text).is_none() {
                let all = Condition::ALL.iter().map(|(word, _)| *word);
                say(
                    &pointer,
                    format!("{text} is no condition"),
                    words(all.collect()),
                );
            } else if matches!(spec.key, "date" | "time" | "soak_started")
                && let Err(unfit) = read::time(&Cell::Text(text.to_owned()), &map.habits)
            {
                say(&pointer, format!("{text} {}", unfit.why), unfit.help);
            }
        }
    }
    faults
}

fn shown(cell: &Cell) -> String {
    squeezed(&cell.shown())
}

/// What stands in a cell, as a sentence quotes it.
fn told(cell: &Cell) -> String {
    /// The longest text that is told.
    const ROOM: usize = 80;
    let text = shown(cell);
    match text.chars().count() > ROOM {
        true => text.chars().take(ROOM - 1).chain(['\u{2026}']).collect(),
        false => text,
    }
}

impl<'a> Reading<'a> {
    fn first_row(&self) -> u32 {
        self.rows.first().copied().unwrap_or(1)
    }

    fn say(&mut self, found: Option<&Found<'_>>, why: impl Into<String>, help: impl Into<String>) {
        let at = found.and_then(|found| found.at);
        self.problems.push(Problem {
            row: at.map_or(self.first_row(), |at| at.row),
            cell: at.map(|at| at.to_string()),
            found: found.map(|found| told(found.cell)),
            why: why.into(),
            help: help.into(),
            rule: None,
        });
    }

    fn unfit(&mut self, found: &Found<'_>, unfit: Unfit) {
        self.say(Some(found), unfit.why, unfit.help);
    }

    fn note_place(&mut self, pointer: &str, found: &Found<'_>) {
        if let Some(at) = found.at {
            let place = (at.to_string(), told(found.cell));
            self.cells.entry(pointer.to_owned()).or_insert(place);
        }
    }

    fn spec(&self, key: &str) -> Option<&'a Spec> {
        self.map.check.iter().find(|spec| spec.key == key)
    }

    /// What all rows of the check say of a key; `None` where they say nothing.
    fn found(&mut self, key: &str) -> Option<(&'a Spec, Found<'a>)> {
        let spec = self.spec(key)?;
        let table: &'a Table<'a> = self.table;
        let mut first: Option<Found<'a>> = None;
        // Where the time does not tell checks apart, each reading may have its own, and the first is that of the check.
        let has_own = key == "time" && !self.map.session.iter().any(|other| other == key);
        for row in self.rows {
            let Some(next) = table.find(spec, *row) else {
                continue;
            };
            match &first {
                None => first = Some(next),
                Some(own) if has_own || shown(own.cell) == shown(next.cell) => {}
                Some(own) => {
                    let place = own.at.map_or(String::new(), |at| at.to_string());
                    let why = format!(
                        "differs from {place}, which holds {}, and both rows are of one check",
                        quoted(&told(own.cell))
                    );
                    self.say(Some(&next), why, format!("put one of them right; where they are two checks, list what tells them apart under session (here: {key})"));
                    return None;
                }
            }
        }
        first.map(|found| (spec, found))
    }

    /// A name or a word.
    fn text(&mut self, key: &'static str) -> Option<(String, Option<Found<'a>>)> {
        let spec = self.spec(key)?;
        let Some((_, found)) = self.found(key) else {
            return Some((spec.if_blank.clone()?, None));
        };
        self.note_place(&format!("/{key}"), &found);
        match read::text(found.cell) {
            Ok(text) => {
                let meant = spec.values.iter().find(|(from, _)| *from == text);
                let text = meant.map_or(text, |(_, meant)| meant.clone());
                Some((text, Some(found)))
            }
            Err(unfit) => {
                self.unfit(&found, unfit);
                None
            }
        }
    }

    /// The id of a record that the book must have.
    fn named(&mut self, key: &'static str, kind: Kind) -> Option<String> {
        let (id, found) = self.text(key)?;
        let (lacks, ids) = lacks(self.book, kind, &id);
        if !lacks {
            return Some(id);
        }
        let noun = kind.noun();
        let meant = match nearest(&id, ids.into_iter()) {
            Some(meant) => format!("did you mean {meant}? "),
            None => String::new(),
        };
        let help = format!(
            "{meant}let the map turn it into an id of the book, {key} = {{ ..., values = {{ {} = \"...\" }} }}, or enter it first: shearbook new {} ID",
            quoted(
                found
                    .as_ref()
                    .map_or(id.as_str(), |found| match found.cell {
                        Cell::Text(text) => text.as_str(),
                        _ => id.as_str(),
                    })
            ),
            kind.word()
        );
        self.say(
            found.as_ref(),
            format!("there is no {noun} {id} in the book"),
            help,
        );
        None
    }

    /// What is needed and blank.
    fn needed<T>(&mut self, key: &str, what: &str, value: Option<T>, before: usize) -> Option<T> {
        if value.is_none() && self.problems.len() == before {
            let row = self.first_row();
            let cell = self.spec(key).and_then(|spec| self.table.place(spec, row));
            let spread = self.rows.len() > 1 || self.map.session.iter().any(|own| own == key);
            self.problems.push(Problem {
                row,
                cell: cell.map(|at| at.to_string()),
                found: None,
                why: format!("is blank, and every check needs {what}"),
                help: match spread {
                    true => format!("fill it in; where a blank means the same as above, write fill_down = true for {key} in the map; where the row is no check, leave it out with [[skip]]"),
                    false => "fill it in; where the row is no check, let the map leave it out with [[skip]]".to_owned(),
                },
                rule: None,
            });
        }
        value
    }

    fn word<W: Word>(&mut self, key: &'static str) -> Option<String> {
        let (word, found) = self.text(key)?;
        if W::from_word(&word).is_some() {
            return Some(word);
        }
        let words: Vec<&str> = W::ALL.iter().map(|(word, _)| *word).collect();
        self.say(
            found.as_ref(),
            format!("{word} is no {key}"),
            format!(
                "let the map turn it into one of {}: {key} = {{ ..., values = {{ {} = \"{}\" }} }}",
                words.join(", "),
                quoted(&word),
                words.first().copied().unwrap_or_default()
            ),
        );
        None
    }

    fn flag(&mut self, key: &'static str) -> Option<bool> {
        let (_, found) = self.found(key)?;
        self.note_place(&format!("/preparation/{key}"), &found);
        match read::flag(found.cell, &self.map.habits) {
            Ok(flag) => Some(flag),
            Err(unfit) => {
                self.unfit(&found, unfit);
                None
            }
        }
    }

    fn moment(&mut self, key: &'static str) -> Option<(Moment, Found<'a>)> {
        let (_, found) = self.found(key)?;
        let read = match key {
            "date" => read::moment,
            _ => read::time,
        };
        match read(found.cell, &self.map.habits) {
            Ok(moment) => Some((moment, found)),
            Err(unfit) => {
                self.unfit(&found, unfit);
                None
            }
        }
    }

    fn figure(&mut self, spec: &Spec, pointer: &str, found: &Found<'_>) -> Option<String> {
        self.note_place(pointer, found);
        match read::figure(found.cell, &self.map.habits, spec.unit) {
            Ok(figure) => Some(figure),
            Err(unfit) => {
                self.unfit(found, unfit);
                None
            }
        }
    }

    fn draft(&mut self, from: &Origin<'_>) -> Option<Draft> {
        let before = self.problems.len();
        let instrument = self.named("instrument", Kind::Instrument);
        let instrument = self.needed("instrument", "its instrument", instrument, before);
        let before = self.problems.len();
        let fluid = self.named("fluid", Kind::Fluid);
        let fluid = self.needed("fluid", "the lot of its fluid", fluid, before);
        let before = self.problems.len();
        let operator = self.named("operator", Kind::Person);
        let operator = self.needed("operator", "who ran it", operator, before);
        let performed = self.performed(from.zone);
        let geometry = self.named("geometry", Kind::Geometry);
        let thermometer = self.named("thermometer", Kind::Thermometer);
        let bath = self.named("bath", Kind::Bath);
        let bottle = self.text("bottle").map(|(bottle, _)| bottle);
        let entered_by = match from.by {
            Some(by) => Some(by.to_owned()),
            None => self.named("entered_by", Kind::Person),
        };
        let occasion = self.word::<Occasion>("occasion");
        let condition = self.word::<Condition>("condition");
        let repeats = self.text("repeats").map(|(repeats, _)| repeats);
        let late_reason = self.text("late_reason").map(|(reason, _)| reason);
        let mut notes = self.notes();
        let preparation = self.preparation(performed.as_ref(), from.zone);
        let (points, mut lacks) = self.points();
        for (lacking, what) in [
            (geometry.is_none(), "the geometry"),
            (thermometer.is_none(), "the thermometer"),
            (occasion.is_none(), "the occasion"),
            (condition.is_none(), "whether it was as found or as left"),
        ] {
            if lacking {
                lacks.insert(lacks.len().min(4), what.to_owned());
            }
        }
        let performed = performed?;
        if performed.stated {
            notes.push(format!(
                "The sheet has no time of day; {} stands for it.",
                performed.wall.strftime("%H:%M")
            ));
        }
        let (instrument, written) = (instrument?, self.in_the_book(performed.instant)?);
        let clock = written.wall.strftime("%H%M").to_string();
        let name = CheckName {
            instrument: instrument.clone(),
            date: written.wall.date(),
            clock,
            amendment: 0,
        };
        let row = self.first_row();
        let entered_by = entered_by.filter(|by| Some(by) != operator.as_ref());
        Some(Draft {
            text: CheckText {
                note: (!notes.is_empty()).then(|| notes.join("\n")),
                instrument,
                geometry,
                fluid: fluid?,
                bottle,
                thermometer,
                bath,
                operator: operator?,
                entered_by,
                performed: written.text,
                occasion,
                condition,
                repeats,
                late_reason,
                reason: None,
                void_cause: None,
                preparation,
                deviations: Vec::new(),
                origin: Some(OriginText {
                    file: from.file.to_owned(),
                    sheet: self.table.sheet.name.clone(),
                    row: usize::try_from(row).ok(),
                    sha256: from.sha256.to_owned(),
                }),
                points,
            },
            id: name.id(),
            path: name.path(),
            performed: performed.instant,
            sheet: self.table.sheet.name.clone(),
            row,
            last_row: self.rows.last().copied().unwrap_or(row),
            cells: std::mem::take(&mut self.cells),
            lacks,
        })
    }

    /// Remarks of all rows, each once.
    fn notes(&mut self) -> Vec<String> {
        let Some(spec) = self.spec("note") else {
            return Vec::new();
        };
        let mut notes: Vec<String> = Vec::new();
        for row in self.rows {
            let Some(found) = self.table.find(spec, *row) else {
                continue;
            };
            match read::text(found.cell) {
                Ok(note) if !notes.contains(&note) => notes.push(note),
                Ok(_) => {}
                Err(unfit) => self.unfit(&found, unfit),
            }
        }
        notes
    }

    fn performed(&mut self, zone: &Zone) -> Option<Performed> {
        let before = self.problems.len();
        let date = self.moment("date");
        let date = self.needed("date", "its day", date, before);
        let clock = self.moment("time");
        let (moment, found) = date?;
        if self.problems.len() > before {
            return None;
        }
        let Some(day) = moment.date else {
            self.say(
                Some(&found),
                "is a time of day, and a day belongs here",
                "look whether the column is the right one",
            );
            return None;
        };
        // Spreadsheets keep a day without a time as its midnight.
        let bare = moment.time == Some(Time::midnight()) && moment.offset_minutes.is_none();
        let own_time = moment.time.filter(|_| !bare);
        if let Some((clock, at)) = &clock
            && let Some(own) = contradiction(day, own_time, clock)
        {
            let place = found.at.map_or(String::new(), |at| format!(" in {at}"));
            self.say(
                Some(at),
                format!(
                    "contradicts {}{place}: {own}",
                    quoted(&told(found.cell))
                ),
                "put one of them right; where one is another thing, such as the day of typing, name another column in the map",
            );
            return None;
        }
        let (time, offset, stated, place) = match (clock, own_time) {
            (Some((clock, found)), _) => match clock.time {
                Some(time) => (time, clock.offset_minutes, false, found),
                None => {
                    self.say(
                        Some(&found),
                        "is a day, and a time of day belongs here",
                        "look whether the column is the right one",
                    );
                    return None;
                }
            },
            (None, Some(time)) => (time, moment.offset_minutes, false, found.clone()),
            (None, None) => match self.map.time_of_day {
                Some(time) => (time, None, true, found.clone()),
                None => {
                    let why = match bare {
                        true => {
                            "is a day without a time, since 00:00 is what spreadsheets keep where there is none; the name of a check has its time"
                        }
                        false => "is a day without a time, and the name of a check has its time",
                    };
                    self.say(
                        Some(&found),
                        why,
                        "map the time of the first reading; where the sheet has none, write time_of_day = \"12:00\" under [read], which each check then says in its note",
                    );
                    return None;
                }
            },
        };
        let stamp = Stamp {
            wall: day.to_datetime(time),
            offset_minutes: offset,
        };
        self.note_place("/performed", &place);
        let instant = self.instant(zone, stamp, &place)?;
        Some(Performed {
            instant,
            wall: stamp.wall,
            stated,
        })
    }

    fn instant(&mut self, zone: &Zone, stamp: Stamp, found: &Found<'_>) -> Option<Timestamp> {
        match zone.instant(&stamp) {
            Ok(instant) => Some(instant),
            Err(NoInstant::Repeated) => {
                let which = self.map.second_hour;
                let chosen = which.and_then(|second| zone.repeated(stamp.wall, second));
                if chosen.is_none() {
                    self.say(
                        Some(found),
                        format!("{} came twice that day, since the clock was put back", stamp.wall.strftime("%Y-%m-%d %H:%M")),
                        "write day and time with their offset in one cell, such as 2026-10-25T01:30+01:00; or say for the whole file repeated_hour = \"first\" or \"second\" under [read]",
                    );
                }
                chosen
            }
            Err(NoInstant::Skipped) => {
                self.say(
                    Some(found),
                    format!(
                        "{} never came: the clock was put forward over it",
                        stamp.wall.strftime("%Y-%m-%d %H:%M")
                    ),
                    "look at the day and the time, and at time_zone under [read] in the map",
                );
                None
            }
            Err(NoInstant::Beyond) => {
                self.say(Some(found), "lies beyond the calendar", "look at the year");
                None
            }
        }
    }

    /// As a record writes it: wall time of the book, with an offset in the hour that the clock repeats.
    fn in_the_book(&self, instant: Timestamp) -> Option<WrittenTime> {
        let zone = &self.book.zone;
        let wall = zone.wall(instant);
        let plain = Stamp {
            wall,
            offset_minutes: None,
        };
        let offset = match zone.instant(&plain) {
            Ok(_) => String::new(),
            Err(_) => {
                let utc = Zone::utc().wall(instant);
                let minutes = wall.duration_since(utc).as_mins();
                let sign = if minutes < 0 { '-' } else { '+' };
                let size = minutes.unsigned_abs();
                format!("{sign}{:02}:{:02}", size / 60, size % 60)
            }
        };
        (0..=9999).contains(&wall.year()).then(|| WrittenTime {
            wall,
            text: format!("{}{offset}", wall.strftime("%Y-%m-%dT%H:%M:%S")),
        })
    }

    fn preparation(&mut self, performed: Option<&Performed>, zone: &Zone) -> PreparationText {
        let mut confirmed = Vec::new();
        for (key, class) in super::map::CHECK {
            if class == Class::Flag
                && let Some(flag) = self.flag(key)
            {
                confirmed.push((key.to_owned(), flag));
            }
        }
        let zero = self.found("zero_percent");
        let zero_percent =
            zero.and_then(|(spec, found)| self.figure(spec, "/preparation/zero_percent", &found));
        let soak = self.soak(performed, zone);
        PreparationText {
            confirmed,
            zero_percent,
            soak_started: soak,
        }
    }

    fn soak(&mut self, performed: Option<&Performed>, zone: &Zone) -> Option<String> {
        const POINTER: &str = "/preparation/soak_started";
        if let Some((spec, found)) = self.found("soak_minutes") {
            let seconds = match read::duration(found.cell) {
                Some(seconds) => {
                    self.note_place(POINTER, &found);
                    Some(f64::from(seconds))
                }
                None => {
                    let minutes = self.figure(spec, POINTER, &found)?;
                    let minutes = minutes.parse::<f64>().ok();
                    minutes.map(|minutes| (minutes * 60.0).round())
                }
            };
            let performed = performed?;
            let seconds = seconds.filter(|seconds| (0.0..=31_536_000.0).contains(seconds));
            let Some(seconds) = seconds else {
                self.say(
                    Some(&found),
                    "is no time that a soak takes",
                    "write it in minutes, or as hours and minutes such as 1:10",
                );
                return None;
            };
            #[expect(
                clippy::cast_possible_truncation,
                reason = "a whole number of seconds of a year"
            )]
            let began = performed
                .instant
                .checked_sub((seconds as i64).seconds())
                .ok()?;
            return self.in_the_book(began).map(|time| time.text);
        }
        let (moment, found) = self.moment("soak_started")?;
        self.note_place(POINTER, &found);
        let performed = performed?;
        let Some(time) = moment.time else {
            self.say(
                Some(&found),
                "is a day, and the soak starts at a time",
                "write the time, or day and time",
            );
            return None;
        };
        let day = moment.date.unwrap_or_else(|| performed.wall.date());
        let stamp = Stamp {
            wall: day.to_datetime(time),
            offset_minutes: moment.offset_minutes,
        };
        let began = self.instant(zone, stamp, &found)?;
        if began > performed.instant {
            let help = match moment.date {
                None => {
                    "where the soak began the day before, write day and time; else put the time right"
                }
                Some(_) => "put day or time right",
            };
            self.say(
                Some(&found),
                format!(
                    "is later than the first reading, at {}",
                    performed.wall.strftime("%Y-%m-%d %H:%M")
                ),
                help,
            );
            return None;
        }
        self.in_the_book(began).map(|time| time.text)
    }

    /// The readings, and what of them the sheet does not say.
    fn points(&mut self) -> (Vec<PointText>, Vec<String>) {
        let (mut points, mut lacks) = (Vec::new(), Vec::new());
        let rows = match self.map.layout {
            Layout::Form => self.rows.get(..1).unwrap_or_default(),
            _ => self.rows,
        };
        let map = self.map;
        for row in rows {
            for specs in &map.points {
                if let Some(point) = self.point(specs, *row, points.len(), &mut lacks) {
                    points.push(point);
                }
            }
        }
        if points.is_empty() && lacks.is_empty() {
            lacks.push("any reading".to_owned());
        }
        (points, lacks)
    }

    fn point(
        &mut self,
        specs: &'a [Spec],
        row: u32,
        index: usize,
        lacks: &mut Vec<String>,
    ) -> Option<PointText> {
        let table: &'a Table<'a> = self.table;
        let find = |key: &str| -> Option<(&'a Spec, Found<'a>)> {
            let spec = specs.iter().find(|spec| spec.key == key)?;
            Some((spec, table.find(spec, row)?))
        };
        let (speed, torque) = (find("speed_rpm"), find("torque_percent"));
        let (viscosity, temperature) = (find("viscosity"), find("temperature"));
        let stands = |found: &Option<(&Spec, Found<'_>)>| {
            found.as_ref().is_some_and(|(_, found)| found.at.is_some())
        };
        // A speed that is printed on the sheet is no reading; nor is a temperature that all readings share.
        if !stands(&torque) && !stands(&viscosity) {
            return None;
        }
        let pointer = |key: &str| format!("/point/{index}/{key}");
        let before = self.problems.len();
        let speed_text = match &speed {
            Some((spec, found)) => self.figure(spec, &pointer("speed_rpm"), found),
            None => {
                let at = specs
                    .iter()
                    .find(|spec| spec.key == "speed_rpm")
                    .and_then(|spec| table.place(spec, row));
                self.problems.push(Problem {
                    row,
                    cell: at.map(|at| at.to_string()),
                    found: None,
                    why: "is blank, and a reading needs its speed".to_owned(),
                    help: "fill the speed in; where the row is no reading, let the map leave it out with [[skip]]".to_owned(),
                    rule: None,
                });
                None
            }
        };
        let word = |found: &Option<(&Spec, Found<'_>)>| -> Option<String> {
            let text = shown(found.as_ref()?.1.cell);
            let word = map_word(&self.map.shown, &text)?;
            Some(word.to_owned())
        };
        let words = (word(&torque), word(&viscosity));
        let mut shown_word = None;
        let (mut torque_text, mut viscosity_text) = (None, None);
        match words {
            (None, None) => {
                if let Some((spec, found)) = &torque {
                    torque_text = self.figure(spec, &pointer("torque_percent"), found);
                }
                if let Some((spec, found)) = &viscosity {
                    viscosity_text = self.figure(spec, &pointer("viscosity_mpa_s"), found);
                }
            }
            (one, other) => {
                let agree = one.is_none() || other.is_none() || one == other;
                let beside = match (&one, &other) {
                    (Some(_), None) => viscosity.as_ref(),
                    (None, Some(_)) => torque.as_ref(),
                    _ => None,
                };
                let said = one.or(other).unwrap_or_default();
                for found in [&torque, &viscosity].into_iter().flatten() {
                    self.note_place(&pointer("shown"), &found.1);
                }
                match (beside, agree) {
                    (None, true) => shown_word = Some(said),
                    (beside, _) => {
                        let found = beside
                            .or(viscosity.as_ref())
                            .map(|(_, found)| found.clone());
                        self.say(
                            found.as_ref(),
                            format!("stands beside a cell that says {said}, and a reading is one or the other"),
                            "leave that cell blank which the instrument did not show",
                        );
                    }
                }
            }
        }
        let temperature_text = match &temperature {
            Some((spec, found)) => self.figure(spec, &pointer("temperature_c"), found),
            None => None,
        };
        let speed_text = speed_text?;
        if self.problems.len() > before {
            return None;
        }
        if temperature_text.is_none() {
            lacks.push(format!("the temperature at {speed_text} rpm"));
        }
        Some(PointText {
            speed_rpm: speed_text,
            torque_percent: torque_text,
            viscosity_mpa_s: viscosity_text,
            temperature_c: temperature_text,
            shown: shown_word,
        })
    }
}

/// What of a day and its time a cell with the time says otherwise.
fn contradiction(day: Date, time: Option<Time>, clock: &Moment) -> Option<String> {
    if let Some(other) = clock.date.filter(|other| *other != day) {
        return Some(format!("the days are {other} and {day}"));
    }
    let minute = |time: Time| (time.hour(), time.minute());
    let (own, other) = (time?, clock.time?);
    (minute(own) != minute(other)).then(|| {
        format!(
            "the times are {} and {}",
            other.strftime("%H:%M"),
            own.strftime("%H:%M")
        )
    })
}

fn map_word<'m>(words: &'m [(String, String)], text: &str) -> Option<&'m str> {
    let found = words.iter().find(|(from, _)| from == text);
    found.map(|(_, word)| word.as_str())
}

struct Performed {
    instant: Timestamp,
    /// By the sheet's clock.
    wall: DateTime,
    /// By the map, not by the sheet.
    stated: bool,
}

struct WrittenTime {
    wall: DateTime,
    text: String,
}

fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('"', "'"))
}
