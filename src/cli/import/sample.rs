//! `import --sample`: looks at a file, tells what it saw, and begins a map. What it cannot know is left without a value.

use super::rows::heading;
use super::{file, unreadable};
use crate::cli::template::typed;
use crate::cli::{Common, End, Ended, Trouble, output};
use crate::parse::edit::quoted;
use crate::report::{printable, wrapped};
use crate::sheet::read::{Unit, parts, squeezed, units};
use crate::sheet::{self, At, Cell, Kind, Sheet, letters};
use crate::source::SourceError;
use crate::text::decimal::{Mark, figure};
use std::path::Path;

/// Examples of a column.
const EXAMPLES: usize = 3;

/// The longest example that is told.
const ROOM: usize = 28;

/// Rows of a sheet without headings that are told.
const ROWS: usize = 12;

/// What stands in a file, before anybody has said how it is to be read.
struct Seen {
    kind: &'static str,
    sheets: Vec<Sheet>,
    /// `separator = ";"` and the like: the key, its value where it can be told, and why.
    source: Vec<(&'static str, Option<String>, String)>,
}

/// A column of the sheet that is looked at.
#[derive(Default)]
struct Column {
    number: u32,
    heading: String,
    kinds: Vec<(&'static str, usize)>,
    examples: Vec<String>,
    cells: usize,
    /// Where a text has a decimal mark that can be no other, and where it may part thousands as well.
    point: Option<String>,
    comma: Option<String>,
    either: Option<String>,
    day_first: Option<String>,
    month_first: Option<String>,
    year_first: Option<String>,
    any_order: Option<String>,
    short_year: Option<String>,
}

pub(super) fn run(common: &Common, path: &Path, map: &Path) -> Ended {
    if map.symlink_metadata().is_ok() {
        return Err(Trouble::Refused(SourceError::new(
            format!("{} is there already, and was left as it is", map.display()),
            "name the new map otherwise, or move that one",
        )));
    }
    let bytes = file(path)?;
    let seen = seen(path, &bytes)?;
    let (index, sheet) = seen
        .sheets
        .iter()
        .enumerate()
        .max_by_key(|(index, sheet)| {
            let cells: usize = sheet.rows.iter().map(|row| row.cells.len()).sum();
            (cells, usize::MAX - index)
        })
        .ok_or_else(|| {
            Trouble::Unusable(SourceError::new(
                format!("{} has no sheet with cells", path.display()),
                "look whether it is the right file",
            ))
        })?;
    let headings = heading_row(sheet);
    let columns = columns(sheet, headings);
    let text = map_text(path, &seen, headings, &columns);
    output::write_new(map, text.as_bytes())?;
    if !common.quiet {
        let width = output::style(common).width;
        output::say(&told(path, map, &seen, index, headings, &columns, width));
    }
    Ok(End::Fine)
}

fn seen(path: &Path, bytes: &[u8]) -> Result<Seen, Trouble> {
    let kind = sheet::kind(bytes);
    if let Some(error) = sheet::unfit(kind) {
        return Err(unreadable(path, error));
    }
    if kind == Kind::Xlsx {
        let sheets = sheet::xlsx::sheets(bytes).map_err(|error| unreadable(path, error))?;
        let names: Vec<String> = sheets
            .iter()
            .filter_map(|sheet| sheet.name.clone())
            .collect();
        let source = match &names[..] {
            [only] => (
                "sheets",
                Some(format!("[{}]", quoted(only))),
                "its only sheet".to_owned(),
            ),
            _ => {
                let list: Vec<String> = names.iter().map(|name| quoted(name)).collect();
                (
                    "sheets",
                    None,
                    format!(
                        "the sheets with checks, or \"all\"; there are {}",
                        list.join(", ")
                    ),
                )
            }
        };
        return Ok(Seen {
            kind: "xlsx",
            sheets,
            source: vec![source],
        });
    }
    let (encoding, text) = encoding(bytes);
    let (separator, mark) = separator(&text);
    let sheet = sheet::csv::sheet(&text, mark).map_err(|error| unreadable(path, error))?;
    Ok(Seen {
        kind: "csv",
        sheets: vec![sheet],
        source: vec![separator, encoding],
    })
}

type Said = (&'static str, Option<String>, String);

/// The encoding where it can be told; else the text is looked at in one that reads any bytes.
fn encoding(bytes: &[u8]) -> (Said, String) {
    if let Some((marked, _)) = encoding_rs::Encoding::for_bom(bytes) {
        let text = sheet::csv::decoded(bytes, None).unwrap_or_default();
        let name = quoted(&marked.name().to_lowercase());
        return (
            (
                "encoding",
                Some(name),
                "by the mark at the beginning of the file".to_owned(),
            ),
            text,
        );
    }
    if let Ok(text) = sheet::csv::decoded(bytes, None) {
        let why = match bytes.is_ascii() {
            true => "there are plain letters only, so others would do as well",
            false => "accents and signs read well so",
        };
        return (
            ("encoding", Some("\"utf-8\"".to_owned()), why.to_owned()),
            text,
        );
    }
    let text = sheet::csv::decoded(bytes, Some("windows-1252"))
        .unwrap_or_else(|_| String::from_utf8_lossy(bytes).into_owned());
    let odd = text
        .split(['\n', '\r'])
        .find(|line| !line.is_ascii())
        .unwrap_or_default();
    let odd: String = odd.chars().skip_while(char::is_ascii).take(6).collect();
    let why = format!(
        "no UTF-8; as \"windows-1252\", which is usual, a text reads {}: is that right?",
        shown(&odd)
    );
    (("encoding", None, why), text)
}

/// What parts the columns where it can be told; and what the file is looked at with.
fn separator(text: &str) -> (Said, char) {
    let mut fits = Vec::new();
    for (name, mark) in [(";", ';'), ("tab", '\t'), (",", ','), ("|", '|')] {
        let Some(widths) = sheet::csv::widths(text, mark) else {
            continue;
        };
        let mut counts: Vec<(usize, u32)> = Vec::new();
        for width in widths.iter().copied().filter(|width| *width > 1) {
            match counts.iter_mut().find(|(_, own)| *own == width) {
                Some((count, _)) => *count += 1,
                None => counts.push((1, width)),
            }
        }
        if let Some((count, width)) = counts.into_iter().max() {
            let even = count * 10 >= widths.len() * 8;
            let said = format!(
                "\"{name}\" gives {width} columns in {count} of {} rows",
                widths.len()
            );
            fits.push((even, width, name, mark, said));
        }
    }
    let even: Vec<_> = fits.iter().filter(|(even, ..)| *even).collect();
    let best = fits.iter().max_by_key(|(even, width, ..)| (*even, *width));
    let mark = best.map_or(',', |(_, _, _, mark, _)| *mark);
    let evidence: Vec<String> = fits.iter().map(|(.., said)| said.clone()).collect();
    let evidence = match evidence.is_empty() {
        true => "no row has more than one column".to_owned(),
        false => evidence.join("; "),
    };
    let value = match even[..] {
        [(_, _, name, ..)] => Some(quoted(name)),
        _ => None,
    };
    (("separator", value, evidence), mark)
}

/// The first row that holds words alone, before one with figures.
fn heading_row(sheet: &Sheet) -> Option<u32> {
    let has_digit = |cell: &Cell| match cell {
        Cell::Text(text) => {
            let digits = text.chars().filter(char::is_ascii_digit).count();
            digits * 2
                >= text
                    .chars()
                    .filter(|letter| letter.is_alphanumeric())
                    .count()
        }
        _ => true,
    };
    let width = usize::try_from(sheet.last_column()).unwrap_or(0);
    let mut rows = sheet.rows.iter().zip(sheet.rows.iter().skip(1));
    let found = rows.find(|(row, next)| {
        row.cells.len() >= 2
            && row.cells.len() * 2 >= width
            && !row.cells.iter().any(|(_, cell)| has_digit(cell))
            && next.cells.iter().any(|(_, cell)| has_digit(cell))
    });
    found.map(|(row, _)| row.number)
}

fn shown(text: &str) -> String {
    let text = printable(&squeezed(text));
    match text.chars().count() > ROOM {
        true => text.chars().take(ROOM - 1).chain(['\u{2026}']).collect(),
        false => text,
    }
}

fn columns(sheet: &Sheet, headings: Option<u32>) -> Vec<Column> {
    let mut columns: Vec<Column> = Vec::new();
    let rows: Vec<u32> = headings.into_iter().collect();
    for number in 1..=sheet.last_column() {
        let mut column = Column {
            number,
            heading: heading(sheet, &rows, number),
            ..Column::default()
        };
        for row in &sheet.rows {
            let at = At {
                row: row.number,
                column: number,
            };
            if headings.is_some_and(|heading| row.number <= heading) {
                continue;
            }
            if let Some(cell) = row.cell(number) {
                column.look(at, cell);
            }
        }
        if column.cells > 0 || !column.heading.is_empty() {
            columns.push(column);
        }
    }
    columns
}

impl Column {
    fn look(&mut self, at: At, cell: &Cell) {
        self.cells += 1;
        let kind = cell.kind();
        match self.kinds.iter_mut().find(|(own, _)| *own == kind) {
            Some((_, count)) => *count += 1,
            None => self.kinds.push((kind, 1)),
        }
        let example = shown(&cell.shown());
        if self.examples.len() < EXAMPLES && !self.examples.contains(&example) {
            self.examples.push(example.clone());
        }
        let Cell::Text(text) = cell else {
            return;
        };
        let text = squeezed(text);
        let place = || format!("{at} holds {example}");
        let digits =
            |part: &str| !part.is_empty() && part.bytes().all(|digit| digit.is_ascii_digit());
        let day = text.split(' ').next().unwrap_or_default();
        if let Some([one, two, three]) =
            parts(day).filter(|parts| parts.iter().all(|part| digits(part)))
        {
            let over_12 = |part: &str| part.parse::<u32>().is_ok_and(|number| number > 12);
            let slot = match (one.len(), three.len()) {
                (4, _) => &mut self.year_first,
                _ if over_12(one) => &mut self.day_first,
                _ if over_12(two) => &mut self.month_first,
                _ => &mut self.any_order,
            };
            slot.get_or_insert_with(place);
            if one.len() < 4 && three.len() == 2 {
                self.short_year.get_or_insert_with(place);
            }
            return;
        }
        // A figure, with or without its unit.
        let number: String = text
            .chars()
            .take_while(|letter| letter.is_ascii_digit() || matches!(letter, '.' | ',' | '-' | '+'))
            .collect();
        let marks: Vec<(usize, char)> = number
            .char_indices()
            .filter(|(_, letter)| matches!(letter, '.' | ','))
            .collect();
        let Some((last, mark)) = marks.last().copied() else {
            return;
        };
        let plain = |mark| figure(&number, Some(mark)).is_ok();
        let of_three = number.len() - last - 1 == 3;
        let slot = match (marks.len(), mark) {
            // With two kinds of marks the last one is the decimal mark.
            (2.., ',') if number.contains('.') => &mut self.comma,
            (2.., '.') if number.contains(',') => &mut self.point,
            (1, _) if of_three && !number.starts_with(['0', '-']) => &mut self.either,
            (1, ',') if plain(Mark::Comma) => &mut self.comma,
            (1, '.') if plain(Mark::Point) => &mut self.point,
            _ => return,
        };
        slot.get_or_insert_with(place);
    }

    fn kinds(&self) -> String {
        let kinds: Vec<String> = self
            .kinds
            .iter()
            .map(|(kind, count)| format!("{count} {kind}"))
            .collect();
        match kinds.is_empty() {
            true => "nothing below".to_owned(),
            false => kinds.join(", "),
        }
    }

    /// The unit that the heading names.
    fn unit(&self, among: &[(&'static str, Unit)]) -> Option<&'static str> {
        let found = units(&self.heading).find(|unit| among.iter().any(|(_, own)| own == unit))?;
        Some(found.name())
    }

    fn words(&self) -> Vec<String> {
        let heading = self.heading.to_lowercase();
        let words = heading.split(|letter: char| !letter.is_alphanumeric());
        words
            .filter(|word| !word.is_empty())
            .map(str::to_owned)
            .collect()
    }

    /// The keys that the heading may mean.
    fn keys(&self) -> Vec<&'static str> {
        let own = self.words();
        let has = |words: &[&str]| own.iter().any(|word| words.contains(&word.as_str()));
        let meant = |words: &[&str], weak: bool| {
            own.iter()
                .any(|word| words.contains(&word.as_str()) && WEAK.contains(&word.as_str()) == weak)
        };
        let fit = |key: &str| match key {
            "operator" => !has(&OTHERS),
            "temperature" => !self.heading.contains('%'),
            _ => true,
        };
        let keys = |weak: bool| -> Vec<&'static str> {
            WORDS
                .iter()
                .filter(|(key, words)| fit(key) && meant(words, weak))
                .map(|(key, _)| *key)
                .collect()
        };
        let strong = keys(false);
        match strong.is_empty() {
            true => keys(true),
            false => strong,
        }
    }
}

/// The words of headings, by the key of the map that they mean. What is not found so a person has to say.
const WORDS: [(&str, &[&str]); 20] = [
    ("date", &["date", "day"]),
    ("time", &["time", "clock"]),
    (
        "instrument",
        &["instrument", "instr", "viscometer", "device"],
    ),
    ("geometry", &["spindle", "geometry", "bob", "cone", "plate"]),
    ("fluid", &["lot", "fluid", "oil", "batch"]),
    ("bottle", &["bottle"]),
    ("thermometer", &["thermometer", "probe"]),
    ("bath", &["bath"]),
    (
        "operator",
        &["operator", "analyst", "who", "initials", "by"],
    ),
    ("occasion", &["occasion"]),
    ("condition", &["condition"]),
    ("levelled", &["levelled", "level"]),
    ("guard", &["guard"]),
    ("zero_percent", &["zero"]),
    ("soak_started", &["soak"]),
    (
        "note",
        &["remark", "remarks", "note", "notes", "comment", "comments"],
    ),
    ("speed_rpm", &["rpm", "speed"]),
    ("torque_percent", &["torque"]),
    ("viscosity", &["viscosity", "visc", "reading"]),
    ("temperature", &["temperature", "temp", "t"]),
];

/// Words that stand for a key where no other word of the heading does: a soak has a time too.
const WEAK: [&str; 3] = ["time", "by", "reading"];

/// Who did other things than to run the check.
const OTHERS: [&str; 9] = [
    "reviewed", "reviewer", "approved", "approver", "checked", "verified", "released", "signed",
    "entered",
];

/// What the map's author has to say for every check, or to take out.
const NEEDED: [&str; 8] = [
    "date",
    "instrument",
    "fluid",
    "operator",
    "geometry",
    "thermometer",
    "occasion",
    "condition",
];

/// The columns whose heading may mean a key.
fn meant<'c>(columns: &'c [Column], key: &str) -> Vec<&'c Column> {
    let means = |column: &&Column| column.keys().contains(&key);
    columns.iter().filter(means).collect()
}

/// What is said of a column or of several, where nobody can tell which is meant.
fn perhaps(columns: &[&Column]) -> String {
    let which: Vec<String> = columns
        .iter()
        .map(|column| letters(column.number))
        .collect();
    match &which[..] {
        [only] => format!("# column {only}? Its heading means other things as well"),
        _ => format!("# one of the columns {}", which.join(", ")),
    }
}

fn remark(text: &str) -> String {
    let mut lines = String::new();
    for line in wrapped(&printable(text), 78, "", "").lines() {
        lines += &format!("# {line}\n");
    }
    lines
}

fn place_of(column: &Column) -> String {
    match column.heading.is_empty() {
        true => format!("letter = \"{}\"", letters(column.number)),
        false => format!("column = {}", quoted(&column.heading)),
    }
}

fn map_text(path: &Path, seen: &Seen, headings: Option<u32>, columns: &[Column]) -> String {
    let name = path
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    let mut text = remark(&format!(
        "How {name} is read. Give a value to every key that has none: this map is not read before. \
         Keys behind #, without a blank between, are optional. shearbook schema import-map describes them all."
    ));
    text += &format!("format = 1\n\n[source]\nkind = \"{}\"\n", seen.kind);
    for (key, value, why) in &seen.source {
        text += &remark(why);
        text += &format!("{key} = {}\n", value.as_deref().unwrap_or_default()).replace(" \n", "\n");
    }
    text += &remark(
        "row-a-reading: each row is one reading. row-a-check: each row is a check with all its readings. form: each sheet is one check.",
    );
    text += "layout =\n";
    match headings {
        Some(row) => {
            text += &remark(&format!(
                "guessed: row {row} holds words alone, and figures stand below it"
            ));
            text += &format!("heading_rows = [{row}]\n");
        }
        None => {
            text += &remark(
                "no row holds words alone with figures below it; take the line out for a form",
            );
            text += "heading_rows =\n";
        }
    }
    text += &remark("for row-a-reading: the keys of [check] that tell one check from the next");
    text += "#session = [\"instrument\", \"date\", \"time\"]\n";
    text += &remark("texts that say nothing");
    text += "#blank = [\"-\", \"n/a\"]\n\n";
    text += &remark("Rows that are no checks, by the text that a cell begins with.");
    text += "#[[skip]]\n#column = \"...\"\n#starts_with = [\"Total\"]\n\n[read]\n";
    text += &decimal_mark(columns);
    text += &date_order(columns);
    text += &remark("the zone whose clock the sheet follows; left out: the book's own");
    text += "#time_zone = \"Europe/Dublin\"\n";
    text += &remark(
        "where the sheet has no times: one that stands for all of them, and is said in each note",
    );
    text += "#time_of_day = \"12:00\"\n";
    text += &remark("what stands for yes and no");
    text += "#yes = [\"x\"]\n#no = [\"-\"]\n\n[check]\n";
    text += &remark(
        "Each key has a column = \"heading\", a letter = \"C\", a cell = \"C4\" or a value = \"...\". values = { \"in the sheet\" = \"id in the book\" } translates. Take out what the sheet does not say of geometry, thermometer, occasion or condition: such checks come in as void.",
    );
    let keys = super::map::CHECK.iter().map(|(key, _)| *key);
    for key in keys {
        text += &match key {
            "soak_started" => soak_lines(columns),
            _ => check_line(columns, key),
        };
    }
    text += "\n";
    text += &remark(
        "row-a-reading has one [[point]]; the others have one a reading: copy it, and name its speed and columns.",
    );
    text += "[[point]]\n";
    text += &point_lines(columns);
    text
}

fn decimal_mark(columns: &[Column]) -> String {
    let first =
        |get: fn(&Column) -> &Option<String>| columns.iter().find_map(|column| get(column).clone());
    let (point, comma) = (first(|column| &column.point), first(|column| &column.comma));
    let either = first(|column| &column.either);
    match (point, comma, either) {
        (Some(point), None, _) => {
            remark(&format!("{point}, and no text has a decimal comma")) + "decimal_mark = \".\"\n"
        }
        (None, Some(comma), _) => {
            remark(&format!("{comma}, and no text has a decimal point")) + "decimal_mark = \",\"\n"
        }
        (Some(point), Some(comma), _) => {
            remark(&format!("both are there: {point}, {comma}")) + "decimal_mark =\n"
        }
        (None, None, Some(either)) => {
            remark(&format!(
                "{either}, where the mark may part thousands as well"
            )) + "decimal_mark =\n"
        }
        (None, None, None) => remark("no text has a decimal mark") + "#decimal_mark = \".\"\n",
    }
}

fn date_order(columns: &[Column]) -> String {
    let first =
        |get: fn(&Column) -> &Option<String>| columns.iter().find_map(|column| get(column).clone());
    let seen = [
        ("dmy", first(|column| &column.day_first)),
        ("mdy", first(|column| &column.month_first)),
        ("ymd", first(|column| &column.year_first)),
    ];
    let told: Vec<(&str, String)> = seen
        .into_iter()
        .filter_map(|(order, place)| Some((order, place?)))
        .collect();
    let mut text = match &told[..] {
        [(order, place)] => {
            remark(&format!("{place}, which no other order allows"))
                + &format!("date_order = \"{order}\"\n")
        }
        [] => match first(|column| &column.any_order) {
            Some(place) => {
                remark(&format!("{place}, and no day over 12 tells the order")) + "date_order =\n"
            }
            None => remark("no text looks like a date") + "#date_order = \"dmy\"\n",
        },
        _ => {
            let places: Vec<String> = told
                .iter()
                .map(|(order, place)| format!("{place} ({order})"))
                .collect();
            remark(&format!(
                "one order does not fit all: {}",
                places.join(", ")
            )) + "date_order =\n"
        }
    };
    if let Some(place) = first(|column| &column.short_year) {
        text += &remark(&format!("{place}, a year of two digits: 2000 or 1900?"));
        text += "century =\n";
    }
    text
}

/// What a line says of the column that it names.
fn because(column: &Column) -> String {
    format!(
        "# {}, by its heading: {}",
        letters(column.number),
        column.examples.join("; ")
    )
}

fn check_line(columns: &[Column], key: &str) -> String {
    let found = meant(columns, key);
    let needed = NEEDED.contains(&key);
    match &found[..] {
        [column] if column.keys().len() == 1 => {
            format!("{key} = {{ {} }}  {}\n", place_of(column), because(column))
        }
        [column] if !needed => format!("#{key} =  {}\n", perhaps(&[column])),
        [] if key == "late_reason" => {
            let why =
                "why these checks are entered only now, as { value = \"...\" }; the gate asks";
            remark(why) + "late_reason =\n"
        }
        [] if needed => format!("{key} =\n"),
        [] => format!("#{key} =\n"),
        several => format!("{key} =  {}\n", perhaps(several)),
    }
}

/// When the soak started, or how long it took: a heading that names no minutes leaves that open.
fn soak_lines(columns: &[Column]) -> String {
    let found = meant(columns, "soak_started");
    let in_minutes = |column: &&&Column| {
        let words = column.words();
        let mut words = words.iter().map(String::as_str);
        words.any(|word| matches!(word, "min" | "mins" | "minute" | "minutes"))
    };
    let minutes: Vec<&Column> = found.iter().filter(in_minutes).copied().collect();
    match (&minutes[..], &found[..]) {
        ([column], _) if column.keys().len() == 1 => format!(
            "#soak_started =\nsoak_minutes = {{ {} }}  {}\n",
            place_of(column),
            because(column)
        ),
        (_, []) => "#soak_started =\n#soak_minutes =\n".to_owned(),
        (_, several) => {
            let told: Vec<String> = several
                .iter()
                .map(|column| {
                    format!(
                        "{} \"{}\" ({})",
                        letters(column.number),
                        column.heading,
                        column.examples.join("; ")
                    )
                })
                .collect();
            remark(&format!(
                "soak_started is when the soak began, soak_minutes how long it took, in minutes or as 1:10; keep the one that is meant by {}",
                told.join(", ")
            )) + "soak_started =\nsoak_minutes =\n"
        }
    }
}

fn point_lines(columns: &[Column]) -> String {
    let mut text = String::new();
    for (key, units) in [
        ("speed_rpm", &[][..]),
        ("torque_percent", &[][..]),
        ("viscosity", &Unit::VISCOSITY[..]),
        ("temperature", &Unit::TEMPERATURE[..]),
    ] {
        let found = meant(columns, key);
        let unit = |column: &Column| match units.is_empty() {
            true => String::new(),
            false => match column.unit(units) {
                Some(unit) => format!(", unit = \"{unit}\""),
                None => ", unit =".to_owned(),
            },
        };
        text += &match &found[..] {
            [column] if column.keys().len() == 1 => format!(
                "{key} = {{ {}{} }}  {}\n",
                place_of(column),
                unit(column),
                because(column)
            ),
            [] => format!("{key} =\n"),
            several => format!("{key} =  {}\n", perhaps(several)),
        };
    }
    text
}

fn told(
    path: &Path,
    map: &Path,
    seen: &Seen,
    looked_at: usize,
    headings: Option<u32>,
    columns: &[Column],
    width: usize,
) -> String {
    let say =
        |text: &str, first: &str| wrapped(&printable(text), width, first, &format!("{first}  "));
    let mut text = say(
        &format!(
            "{} is {}.",
            path.display(),
            match seen.kind {
                "xlsx" => "a workbook",
                _ => "a text with separators",
            }
        ),
        "",
    );
    for (index, sheet) in seen.sheets.iter().enumerate() {
        let name = sheet
            .name
            .as_ref()
            .map_or(String::new(), |name| format!("sheet \"{name}\": "));
        let hidden = if sheet.hidden { ", hidden" } else { "" };
        let here = if index == looked_at && seen.sheets.len() > 1 {
            "; looked at here, as the fullest"
        } else {
            ""
        };
        text += &say(
            &format!(
                "{name}{} rows with something in them, the last is {}; columns up to {}{hidden}{here}",
                sheet.rows.len(),
                sheet.last_row(),
                letters(sheet.last_column())
            ),
            "",
        );
    }
    for (key, value, why) in &seen.source {
        let value = value.as_deref().unwrap_or("not known");
        text += &say(&format!("{key}: {value}; {why}"), "");
    }
    text += &say(
        &match headings {
            Some(row) => {
                format!("Row {row} looks like the headings: words alone, and figures below.")
            }
            None => "No row looks like headings.".to_owned(),
        },
        "",
    );
    text.push('\n');
    for column in columns {
        let heading = match column.heading.is_empty() {
            true => "no heading".to_owned(),
            false => format!("\"{}\"", column.heading),
        };
        text += &say(
            &format!(
                "{}  {heading}: {}; {}",
                letters(column.number),
                column.kinds(),
                column.examples.join("; ")
            ),
            "",
        );
        for (place, what) in [
            (&column.point, "so a decimal point"),
            (&column.comma, "so a decimal comma"),
            (&column.either, "where the mark may part thousands as well"),
            (&column.day_first, "so the day stands first"),
            (&column.month_first, "so the month stands first"),
            (&column.year_first, "so the year stands first"),
            (&column.any_order, "which does not tell day from month"),
        ] {
            if let Some(place) = place {
                text += &say(&format!("{place}, {what}"), "   ");
            }
        }
    }
    if headings.is_none()
        && let Some(sheet) = seen.sheets.get(looked_at)
    {
        text.push('\n');
        for row in sheet.rows.iter().take(ROWS) {
            let cells: Vec<String> = row
                .cells
                .iter()
                .map(|(column, cell)| {
                    let at = At {
                        row: row.number,
                        column: *column,
                    };
                    format!("{at} {}", shown(&cell.shown()))
                })
                .collect();
            text += &say(&cells.join("; "), "");
        }
    }
    text.push('\n');
    text += &say(
        &format!(
            "A map to begin with is in {}. What could not be told has no value there.",
            map.display()
        ),
        "",
    );
    text + &format!(
        "Next, give a value to each; this names those that are left:\n    shearbook import {} --map {}\n",
        typed(path),
        typed(map)
    )
}
