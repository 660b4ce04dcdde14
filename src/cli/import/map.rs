//! The map: which column of a sheet holds what. A fault in it is told with its line.

use crate::finding::Severity;
use crate::parse::{Disagreement, Doc, Fault, FaultKind, Parsed, parse_import_map};
use crate::record::{Fields, words};
use crate::rules::rule;
use crate::sheet::read::{Habits, Order, Unit};
use crate::sheet::{self, At, Cell, Number};
use crate::text::decimal::Mark;
use crate::text::nearest;
use jiff::civil::Time;

/// What kind of thing a key of the map holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Class {
    Text,
    Flag,
    Moment,
    Figure,
    Viscosity,
    Temperature,
}

/// The keys of `[check]`.
pub(super) const CHECK: [(&str, Class); 23] = [
    ("instrument", Class::Text),
    ("geometry", Class::Text),
    ("fluid", Class::Text),
    ("bottle", Class::Text),
    ("thermometer", Class::Text),
    ("bath", Class::Text),
    ("operator", Class::Text),
    ("entered_by", Class::Text),
    ("date", Class::Moment),
    ("time", Class::Moment),
    ("occasion", Class::Text),
    ("condition", Class::Text),
    ("repeats", Class::Text),
    ("note", Class::Text),
    ("late_reason", Class::Text),
    ("levelled", Class::Flag),
    ("immersed_to_mark", Class::Flag),
    ("free_of_bubbles", Class::Flag),
    ("vessel_as_specified", Class::Flag),
    ("guard", Class::Flag),
    ("gap_set", Class::Flag),
    ("zero_percent", Class::Figure),
    ("soak_started", Class::Moment),
];

/// How long the soak took, instead of when it started.
const SOAK_MINUTES: (&str, Class) = ("soak_minutes", Class::Figure);

/// The keys of `[[point]]`.
pub(super) const POINT: [(&str, Class); 4] = [
    ("speed_rpm", Class::Figure),
    ("torque_percent", Class::Figure),
    ("viscosity", Class::Viscosity),
    ("temperature", Class::Temperature),
];

words! {
    Layout { RowAReading = "row-a-reading", RowACheck = "row-a-check", Form = "form" }
}

words! {
    Kind { Csv = "csv", Xlsx = "xlsx" }
}

/// Where something comes from.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Where {
    Heading(String),
    Letter(u32),
    Cell(At),
    /// The same everywhere.
    Value(Cell),
}

#[derive(Clone, Debug)]
pub(super) struct Spec {
    pub(super) key: &'static str,
    /// Where it stands in the map.
    pub(super) pointer: String,
    pub(super) from: Where,
    pub(super) values: Vec<(String, String)>,
    pub(super) if_blank: Option<String>,
    pub(super) fill_down: bool,
    pub(super) unit: Unit,
}

/// A row of the map as it is written, which may name two sources or none.
struct Written {
    key: &'static str,
    pointer: String,
    column: Option<String>,
    letter: Option<String>,
    cell: Option<String>,
    value: Option<Cell>,
    values: Vec<(String, String)>,
    if_blank: Option<String>,
    fill_down: bool,
    unit: Option<String>,
}

pub(super) struct Skip {
    pub(super) pointer: String,
    pub(super) from: Where,
    pub(super) starts_with: Vec<String>,
}

struct WrittenSkip {
    column: Option<String>,
    letter: Option<String>,
    starts_with: Vec<String>,
}

pub(super) enum Sheets {
    All,
    Named(Vec<String>),
}

/// What the file is, and how it is to be read.
pub(super) struct Map {
    pub(super) doc: Doc,
    pub(super) kind: Kind,
    pub(super) separator: char,
    pub(super) encoding: Option<String>,
    pub(super) sheets: Sheets,
    pub(super) layout: Layout,
    pub(super) heading_rows: Vec<u32>,
    pub(super) first_row: u32,
    pub(super) last_row: Option<u32>,
    pub(super) session: Vec<String>,
    pub(super) blank: Vec<String>,
    pub(super) skip: Vec<Skip>,
    pub(super) habits: Habits,
    pub(super) time_zone: Option<String>,
    /// Of an hour that the clock repeats the second is meant.
    pub(super) second_hour: Option<bool>,
    pub(super) time_of_day: Option<Time>,
    pub(super) shown: Vec<(String, String)>,
    /// Rules whose breach makes a check void.
    pub(super) void: Vec<String>,
    pub(super) check: Vec<Spec>,
    pub(super) points: Vec<Vec<Spec>>,
}

/// The map as written.
pub(super) struct Raw {
    kind: Option<Kind>,
    separator: Option<String>,
    encoding: Option<String>,
    all_sheets: bool,
    sheets: Option<Vec<String>>,
    layout: Option<Layout>,
    heading_rows: Vec<u32>,
    first_row: Option<u32>,
    last_row: Option<u32>,
    session: Option<Vec<String>>,
    blank: Vec<String>,
    skip: Vec<WrittenSkip>,
    decimal_mark: Option<String>,
    grouping_mark: Option<String>,
    date_order: Option<String>,
    century: Option<i64>,
    time_zone: Option<String>,
    repeated_hour: Option<String>,
    time_of_day: Option<String>,
    yes: Vec<String>,
    no: Vec<String>,
    shown: Vec<(String, String)>,
    refuse: Vec<String>,
    check: Vec<Written>,
    points: Vec<Vec<Written>>,
}

fn row_number(value: i64) -> Option<u32> {
    u32::try_from(value).ok().filter(|row| *row > 0)
}

impl Raw {
    pub(super) fn read(fields: &mut dyn Fields) -> Option<Raw> {
        fields.known("format");
        let mut raw = Raw {
            kind: None,
            separator: None,
            encoding: None,
            all_sheets: false,
            sheets: None,
            layout: None,
            heading_rows: Vec::new(),
            first_row: None,
            last_row: None,
            session: None,
            blank: Vec::new(),
            skip: Vec::new(),
            decimal_mark: None,
            grouping_mark: None,
            date_order: None,
            century: None,
            time_zone: None,
            repeated_hour: None,
            time_of_day: None,
            yes: Vec::new(),
            no: Vec::new(),
            shown: fields.free_texts("shown"),
            refuse: Vec::new(),
            check: Vec::new(),
            points: Vec::new(),
        };
        let refuse = fields.free_texts("refuse");
        raw.refuse = refuse.into_iter().map(|(rule, _)| rule).collect();
        fields.table("source", &mut |source| {
            raw.kind = source.word("kind");
            raw.separator = source.opt_text("separator");
            raw.encoding = source.opt_text("encoding");
            raw.all_sheets = source.opt_text::<String>("sheets").is_some();
            raw.sheets = source.opt_texts("sheets");
            raw.layout = source.word("layout");
            let rows = source.opt_numbers("heading_rows").unwrap_or_default();
            let row = |number: &crate::record::Number| number.written.parse().ok();
            raw.heading_rows = rows.iter().filter_map(row).collect();
            raw.first_row = source.opt_integer("first_row").and_then(row_number);
            raw.last_row = source.opt_integer("last_row").and_then(row_number);
            raw.session = source.opt_texts("session");
            raw.blank = source.opt_texts("blank").unwrap_or_default();
        });
        raw.skip = fields.list("skip", |row| {
            Some(WrittenSkip {
                column: row.opt_text("column"),
                letter: row.opt_text("letter"),
                starts_with: row.texts("starts_with")?,
            })
        });
        fields.table("read", &mut |read| {
            raw.decimal_mark = read.opt_text("decimal_mark");
            raw.grouping_mark = read.opt_text("grouping_mark");
            raw.date_order = read.opt_text("date_order");
            raw.century = read.opt_integer("century");
            raw.time_zone = read.opt_text("time_zone");
            raw.repeated_hour = read.opt_text("repeated_hour");
            raw.time_of_day = read.opt_text("time_of_day");
            raw.yes = read.opt_texts("yes").unwrap_or_default();
            raw.no = read.opt_texts("no").unwrap_or_default();
        });
        fields.table("check", &mut |check| {
            for (key, class) in CHECK.iter().copied().chain([SOAK_MINUTES]) {
                check.table(key, &mut |row| {
                    raw.check
                        .push(Written::read(row, key, class, format!("/check/{key}")));
                });
            }
        });
        fields.rows("point", &mut |point| {
            let index = raw.points.len();
            let mut specs = Vec::new();
            for (key, class) in POINT {
                let pointer = format!("/point/{index}/{key}");
                point.table(key, &mut |row| {
                    specs.push(Written::read(row, key, class, pointer.clone()));
                });
            }
            raw.points.push(specs);
        });
        Some(raw)
    }
}

impl Written {
    fn read(row: &mut dyn Fields, key: &'static str, class: Class, pointer: String) -> Written {
        let value = match class {
            Class::Text | Class::Moment => row.opt_text("value").map(Cell::Text),
            Class::Flag => row.opt_flag("value").map(Cell::Flag),
            Class::Figure | Class::Viscosity | Class::Temperature => {
                row.opt_number("value").map(|number| {
                    Cell::Number(Number {
                        digits: number.written.to_string(),
                        decimals: None,
                        percent: false,
                    })
                })
            }
        };
        let is_text = class == Class::Text;
        let has_unit = matches!(class, Class::Viscosity | Class::Temperature);
        Written {
            key,
            pointer,
            column: row.opt_text("column"),
            letter: row.opt_text("letter"),
            cell: row.opt_text("cell"),
            value,
            values: match is_text {
                true => row.free_texts("values"),
                false => Vec::new(),
            },
            if_blank: is_text.then(|| row.opt_text("if_blank")).flatten(),
            fill_down: row.opt_flag("fill_down").unwrap_or(false),
            unit: has_unit.then(|| row.opt_text("unit")).flatten(),
        }
    }

    /// Where it comes from; `None` where that is not said once.
    fn origin(&self) -> Option<Where> {
        let column = self.column.clone().map(Where::Heading);
        let letter = self
            .letter
            .as_deref()
            .map(|letter| sheet::column(letter).map(Where::Letter));
        let cell = self
            .cell
            .as_deref()
            .map(|cell| sheet::at(cell).map(Where::Cell));
        let value = self.value.clone().map(Where::Value);
        let mut said = [column, letter.flatten(), cell.flatten(), value]
            .into_iter()
            .flatten();
        said.next().filter(|_| said.next().is_none())
    }

    fn unit(&self) -> Unit {
        let units = Unit::VISCOSITY.iter().chain(&Unit::TEMPERATURE);
        let named = self.unit.as_deref();
        let found = units.clone().find(|(name, _)| Some(*name) == named);
        match (found, self.key) {
            (Some((_, unit)), _) => *unit,
            (None, "speed_rpm") => Unit::PerMinute,
            (None, "soak_minutes") => Unit::Minute,
            (None, _) => Unit::Percent,
        }
    }
}

/// Reads a map. Where it has faults, they are told and there is none.
pub(super) fn read(path: &str, bytes: Vec<u8>) -> Result<Result<Map, Vec<Fault>>, Disagreement> {
    let Parsed {
        doc,
        record,
        mut faults,
    } = parse_import_map(path, bytes, Raw::read)?;
    let (Some(doc), Some(raw)) = (doc, record) else {
        return Ok(Err(faults));
    };
    faults.retain(|fault| {
        fault.kind != FaultKind::ByteOrderMark && fault.kind != FaultKind::NewerSyntax
    });
    let mut reading = Reading { doc: &doc, faults };
    let parts = reading.parts(raw);
    let Reading { faults, .. } = reading;
    match (parts, faults.is_empty()) {
        (Some(mut map), true) => {
            map.doc = doc;
            Ok(Ok(map))
        }
        _ => Ok(Err(faults)),
    }
}

/// A fault at a place of the map.
pub(super) fn fault(
    doc: &Doc,
    pointer: &str,
    message: impl Into<String>,
    help: impl Into<String>,
) -> Fault {
    Fault {
        kind: FaultKind::Schema,
        place: doc.place(pointer),
        message: message.into(),
        help: help.into(),
        because: None,
    }
}

struct Reading<'a> {
    doc: &'a Doc,
    faults: Vec<Fault>,
}

impl Reading<'_> {
    fn say(&mut self, pointer: &str, message: impl Into<String>, help: impl Into<String>) {
        self.faults.push(fault(self.doc, pointer, message, help));
    }

    fn parts(&mut self, raw: Raw) -> Option<Map> {
        let (kind, layout) = (raw.kind?, raw.layout?);
        self.source(kind, layout, &raw);
        let mut specs = |written: Vec<Written>, layout| {
            let mut specs = Vec::new();
            for one in written {
                specs.extend(self.spec(one, layout, &raw.heading_rows));
            }
            specs
        };
        let check = specs(raw.check, layout);
        let points: Vec<Vec<Spec>> = raw
            .points
            .into_iter()
            .map(|point| specs(point, layout))
            .collect();
        self.points(layout, &points);
        self.keys(&check, raw.session.as_deref().unwrap_or_default());
        let skip = self.skip(raw.skip, &raw.heading_rows);
        let mark = raw.decimal_mark.as_deref().map(|mark| match mark {
            "," => Mark::Comma,
            _ => Mark::Point,
        });
        let grouping = raw
            .grouping_mark
            .as_deref()
            .and_then(|mark| mark.chars().next());
        if raw.grouping_mark.is_some() && raw.grouping_mark == raw.decimal_mark {
            self.say(
                "/read/grouping_mark",
                "one mark cannot both part thousands and be the decimal mark",
                "look at a figure of the sheet, and say of each mark what it does there",
            );
        }
        let order = raw.date_order.as_deref().map(|order| match order {
            "dmy" => Order::DayMonthYear,
            "mdy" => Order::MonthDayYear,
            _ => Order::YearMonthDay,
        });
        for name in &raw.refuse {
            self.refuse(name);
        }
        let below = raw.heading_rows.iter().max().map(|row| row + 1);
        Some(Map {
            doc: self.doc.clone(),
            kind,
            separator: match raw.separator.as_deref() {
                Some("tab") => '\t',
                Some(mark) => mark.chars().next().unwrap_or(','),
                None => ',',
            },
            encoding: raw.encoding,
            sheets: match raw.all_sheets {
                true => Sheets::All,
                false => Sheets::Named(raw.sheets.unwrap_or_default()),
            },
            layout,
            first_row: raw.first_row.or(below).unwrap_or(1),
            heading_rows: raw.heading_rows,
            last_row: raw.last_row,
            session: raw.session.unwrap_or_default(),
            blank: raw
                .blank
                .iter()
                .map(|text| sheet::read::squeezed(text))
                .collect(),
            skip,
            habits: Habits {
                mark,
                grouping,
                order,
                century: raw.century.and_then(|century| i16::try_from(century).ok()),
                yes: raw.yes,
                no: raw.no,
            },
            time_zone: raw.time_zone,
            second_hour: raw.repeated_hour.map(|which| which == "second"),
            time_of_day: raw
                .time_of_day
                .as_deref()
                .and_then(|time| sheet::read::clock_time(time).ok()),
            shown: raw
                .shown
                .iter()
                .map(|(text, word)| (sheet::read::squeezed(text), word.clone()))
                .collect(),
            void: raw.refuse,
            check,
            points,
        })
    }

    fn source(&mut self, kind: Kind, layout: Layout, raw: &Raw) {
        let sheets = raw.all_sheets || raw.sheets.is_some();
        match kind {
            Kind::Csv => {
                if raw.separator.is_none() {
                    self.say("/source", "separator is missing, and a CSV file needs one", "open the file in an editor, see what parts the columns, and write separator = \";\", \",\", \"|\" or \"tab\"");
                }
                if sheets {
                    self.say(
                        "/source/sheets",
                        "a CSV file has no sheets",
                        "take the line out, or write kind = \"xlsx\"",
                    );
                }
            }
            Kind::Xlsx => {
                if !sheets {
                    self.say(
                        "/source",
                        "sheets is missing, and a workbook needs it",
                        "write sheets = [\"the name on the tab\"], or sheets = \"all\"",
                    );
                }
                for (key, given) in [
                    ("separator", raw.separator.is_some()),
                    ("encoding", raw.encoding.is_some()),
                ] {
                    if given {
                        self.say(
                            &format!("/source/{key}"),
                            format!("a workbook has no {key}"),
                            "take the line out, or write kind = \"csv\"",
                        );
                    }
                }
            }
        }
        let (headings, session) = (!raw.heading_rows.is_empty(), raw.session.is_some());
        if layout == Layout::RowAReading && !session {
            self.say("/source", "session is missing: nothing says which rows are one check", "list the keys of [check] that tell one check from the next, such as session = [\"instrument\", \"date\", \"time\"]");
        }
        if layout != Layout::RowAReading && session {
            self.say(
                "/source/session",
                format!(
                    "session belongs to layout row-a-reading, and the layout is {}",
                    layout.word()
                ),
                "take the line out, or look at the layout",
            );
        }
        if layout == Layout::Form {
            for (key, given) in [
                ("heading_rows", headings),
                ("first_row", raw.first_row.is_some()),
                ("last_row", raw.last_row.is_some()),
            ] {
                if given {
                    self.say(
                        &format!("/source/{key}"),
                        format!("{key} belongs to a sheet with rows, and a form has cells"),
                        "take the line out, or look at the layout",
                    );
                }
            }
        } else if !headings && raw.first_row.is_none() {
            self.say("/source", "neither heading_rows nor first_row is there, so nobody knows where the checks begin", "write heading_rows = [1] where row 1 holds the headings; else first_row");
        }
        if let (Some(first), Some(last)) = (raw.first_row, raw.last_row)
            && last < first
        {
            self.say(
                "/source/last_row",
                format!("the last row, {last}, comes before the first, {first}"),
                "look at both",
            );
        }
    }

    fn spec(&mut self, written: Written, layout: Layout, headings: &[u32]) -> Option<Spec> {
        let pointer = written.pointer.as_str();
        let Some(from) = written.origin() else {
            self.say(
                pointer,
                format!("{} needs one of column, letter, cell and value", written.key),
                "write { column = \"the heading\" }, { letter = \"C\" }, { cell = \"C4\" } or { value = ... }, and one of them alone",
            );
            return None;
        };
        let of_a_column = matches!(from, Where::Heading(_) | Where::Letter(_));
        if layout == Layout::Form && of_a_column {
            self.say(
                pointer,
                format!("{} names a column, and a form has cells", written.key),
                "write { cell = \"C4\" }, or look at the layout",
            );
            return None;
        }
        if matches!(from, Where::Heading(_)) && headings.is_empty() {
            self.say(
                pointer,
                format!(
                    "{} names a heading, and heading_rows is not there",
                    written.key
                ),
                "write heading_rows under [source], or name the column by its letter",
            );
            return None;
        }
        if written.fill_down && !of_a_column {
            self.say(
                pointer,
                format!("fill_down of {} has no column to fill", written.key),
                "take it out",
            );
            return None;
        }
        Some(Spec {
            key: written.key,
            unit: written.unit(),
            from,
            values: written
                .values
                .iter()
                .map(|(text, id)| (sheet::read::squeezed(text), id.clone()))
                .collect(),
            if_blank: written.if_blank,
            fill_down: written.fill_down,
            pointer: written.pointer,
        })
    }

    fn points(&mut self, layout: Layout, points: &[Vec<Spec>]) {
        if layout == Layout::RowAReading && points.len() > 1 {
            self.say(
                "/point/1",
                "a second [[point]], where each row is one reading",
                "take it out, or write layout = \"row-a-check\"",
            );
        }
        for (index, point) in points.iter().enumerate() {
            let has = |key: &str| point.iter().any(|spec| spec.key == key);
            if !has("torque_percent") && !has("viscosity") {
                self.say(
                    &format!("/point/{index}"),
                    "a reading needs torque_percent, viscosity or both",
                    "say in which column stands what the instrument showed",
                );
            }
        }
    }

    fn keys(&mut self, check: &[Spec], session: &[String]) {
        let has = |key: &str| check.iter().any(|spec| spec.key == key);
        if has("soak_started") && has("soak_minutes") {
            self.say(
                "/check/soak_minutes",
                "soak_minutes stands beside soak_started, and both say the same",
                "keep the one that the sheet has",
            );
        }
        for (index, key) in session.iter().enumerate() {
            if !has(key) {
                self.say(
                    &format!("/source/session/{index}"),
                    format!("session names {key}, and [check] has no {key}"),
                    format!("add {key} to [check], or take it out here"),
                );
            }
        }
    }

    fn skip(&mut self, written: Vec<WrittenSkip>, headings: &[u32]) -> Vec<Skip> {
        let mut skip = Vec::new();
        for (index, one) in written.into_iter().enumerate() {
            let pointer = format!("/skip/{index}");
            let letter = one.letter.as_deref().and_then(sheet::column);
            let from = match (one.column, letter) {
                (Some(_), None) if headings.is_empty() => {
                    self.say(
                        &pointer,
                        "this row of skip names a heading, and heading_rows is not there",
                        "write heading_rows under [source], or name the column by its letter",
                    );
                    continue;
                }
                (Some(column), None) => Where::Heading(column),
                (None, Some(letter)) => Where::Letter(letter),
                _ => {
                    self.say(
                        &pointer,
                        "this row of skip needs one of column and letter",
                        "say in which column the text stands",
                    );
                    continue;
                }
            };
            let starts_with = one
                .starts_with
                .iter()
                .map(|text| sheet::read::squeezed(text).to_lowercase());
            skip.push(Skip {
                pointer,
                from,
                starts_with: starts_with.collect(),
            });
        }
        skip
    }

    fn refuse(&mut self, name: &str) {
        let pointer = format!("/refuse/{name}");
        let softens =
            |rule: &&&crate::rules::Rule| rule.spares_void && rule.severity == Severity::Error;
        match rule(name) {
            Some(found) if softens(&&found) => {}
            Some(_) => self.say(
                &pointer,
                format!("{name} holds for void checks too, so void does not keep its rule"),
                "take the line out; such rows are refused",
            ),
            None => {
                let known = crate::rules::RULES
                    .iter()
                    .filter(softens)
                    .map(|rule| rule.id);
                let help = match nearest(name, known) {
                    Some(meant) => format!("did you mean {meant}?"),
                    None => "shearbook explain lists the rules".to_owned(),
                };
                self.say(&pointer, format!("there is no rule {name}"), help);
            }
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use std::path::{Path, PathBuf};

    fn files(which: &str) -> Vec<(PathBuf, Vec<u8>)> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("tests/corpus/import-map")
            .join(which);
        let mut files: Vec<_> = walkdir::WalkDir::new(folder)
            .into_iter()
            .map(|entry| entry.expect("entry").into_path())
            .filter(|path| path.is_file())
            .collect();
        files.sort();
        #[expect(clippy::disallowed_methods, reason = "a test reads its corpus")]
        let read = |path: PathBuf| (path.clone(), std::fs::read(path).expect("file"));
        files.into_iter().map(read).collect()
    }

    fn messages(text: &str) -> Vec<(u32, String)> {
        match read("map.toml", text.as_bytes().to_vec()).expect("ours agree") {
            Ok(_) => Vec::new(),
            Err(faults) => faults
                .into_iter()
                .map(|fault| {
                    assert!(!fault.help.is_empty(), "{}", fault.message);
                    (fault.place.line, fault.message)
                })
                .collect(),
        }
    }

    #[test]
    fn schema_and_map_know_the_same_keys() {
        let texts: Vec<String> = files("valid")
            .into_iter()
            .map(|(_, bytes)| String::from_utf8(bytes).expect("text"))
            .collect();
        let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
        let (known, asked) = crate::parse::parity::import_map_keys(&texts, Raw::read);
        assert_eq!(asked, known);
    }

    #[test]
    fn the_corpus_is_judged_as_its_names_say() {
        for (path, bytes) in files("valid") {
            let text = String::from_utf8(bytes).expect("text");
            assert_eq!(messages(&text), [], "{}", path.display());
        }
        let invalid = files("invalid");
        assert!(invalid.len() > 20);
        for (path, bytes) in invalid {
            let text = String::from_utf8(bytes).expect("text");
            assert!(!messages(&text).is_empty(), "{}", path.display());
        }
    }

    const SOUND: &str = "format = 1\n[source]\nkind = \"csv\"\nseparator = \";\"\nlayout = \"row-a-check\"\nheading_rows = [1]\n[check]\ninstrument = { column = \"I\" }\nfluid = { column = \"F\" }\noperator = { column = \"O\" }\ndate = { column = \"D\" }\n[[point]]\nspeed_rpm = { value = 12 }\ntorque_percent = { column = \"T\" }\n";

    #[test]
    fn what_does_not_fit_together_is_told_with_its_line() {
        assert_eq!(messages(SOUND), []);
        for (from, to, line, words) in [
            ("separator = \";\"\n", "", 2, "separator is missing"),
            ("kind = \"csv\"", "kind = \"xlsx\"", 2, "sheets is missing"),
            (
                "kind = \"csv\"",
                "kind = \"csv\"\nsheets = \"all\"",
                4,
                "has no sheets",
            ),
            ("row-a-check", "row-a-reading", 2, "session is missing"),
            ("row-a-check", "form", 6, "a form has cells"),
            (
                "heading_rows = [1]\n",
                "",
                2,
                "neither heading_rows nor first_row",
            ),
            (
                "heading_rows = [1]\n",
                "first_row = 2\n",
                8,
                "heading_rows is not there",
            ),
            (
                "heading_rows = [1]\n",
                "heading_rows = [1]\nfirst_row = 9\nlast_row = 3\n",
                8,
                "comes before the first",
            ),
            (
                "heading_rows = [1]\n",
                "heading_rows = [1]\nsession = [\"date\"]\n",
                7,
                "session belongs to",
            ),
            (
                "{ column = \"F\" }",
                "{ column = \"F\", letter = \"B\" }",
                9,
                "one of column, letter, cell and value",
            ),
            (
                "{ column = \"F\" }",
                "{ fill_down = true }",
                9,
                "one of column, letter, cell and value",
            ),
            (
                "{ column = \"F\" }",
                "{ value = \"K-1\", fill_down = true }",
                9,
                "fill_down",
            ),
            (
                "torque_percent = { column = \"T\" }\n",
                "",
                12,
                "torque_percent, viscosity or both",
            ),
            (
                "[check]",
                "[refuse]\nfluid-expird = \"void\"\n[check]",
                8,
                "there is no rule fluid-expird",
            ),
            (
                "[check]",
                "[refuse]\npolicy-none = \"void\"\n[check]",
                8,
                "holds for void checks too",
            ),
            (
                "[check]",
                "[read]\ndecimal_mark = \",\"\ngrouping_mark = \",\"\n[check]",
                9,
                "one mark cannot both",
            ),
            (
                "[[point]]",
                "soak_minutes = { column = \"S\" }\nsoak_started = { column = \"S\" }\n[[point]]",
                12,
                "both say the same",
            ),
            (
                "[check]",
                "[[skip]]\nstarts_with = [\"Total\"]\n[check]",
                7,
                "one of column and letter",
            ),
            ("separator = \";\"", "separator =", 4, "no value"),
        ] {
            assert!(SOUND.contains(from), "{from}");
            let found = messages(&SOUND.replacen(from, to, 1));
            assert!(
                found
                    .iter()
                    .any(|(own, message)| *own == line && message.contains(words)),
                "{to}: {found:?}"
            );
        }
    }
}
