//! A file of fluids on offer: TOML with `[[candidate]]` rows, or CSV with a header line of the same names.

use super::toml::{self, Node, Value};
use super::{Fault, FaultKind, MAX_BYTES, place_in};
use crate::finding::Place;
use crate::measure::Exact;
use crate::record::Number;
use crate::record::candidate::Candidate;
use crate::text::{Span, Text, nearest};
use std::collections::BTreeMap;

const COLUMNS: [&str; 5] = [
    "id",
    "viscosity_mpa_s",
    "temperature_c",
    "expanded_uncertainty_percent",
    "note",
];

const NEEDED: [&str; 2] = ["id", "viscosity_mpa_s"];

const LIST: &str = "id and viscosity_mpa_s are needed; temperature_c, expanded_uncertainty_percent and note may stand beside them";

/// How a value stands in the file.
enum Written {
    /// A cell of CSV may be either.
    Cell(String),
    Text(String),
    Figure(String),
    Other,
}

struct Cell {
    written: Written,
    place: Place,
}

/// One row, whatever the format.
struct Row {
    place: Place,
    cells: BTreeMap<&'static str, Cell>,
}

/// What a file holds, and every fault that is in the way. CSV where its name ends so, else TOML.
pub fn candidates(path: &str, bytes: Vec<u8>) -> (Vec<Candidate>, Vec<Fault>) {
    let mut faults = Vec::new();
    let rows = match path.to_lowercase().ends_with(".csv") {
        true => csv_rows(path, bytes, &mut faults),
        false => toml_rows(path, bytes, &mut faults),
    };
    let Some(rows) = rows else {
        return (Vec::new(), faults);
    };
    if rows.is_empty()
        && faults
            .iter()
            .all(|fault| fault.kind == FaultKind::ByteOrderMark)
    {
        faults.push(schema(
            Place::whole(path),
            "this file names no candidate".to_owned(),
            format!("write a row for each fluid on offer: {LIST}"),
        ));
    }
    let mut seen: BTreeMap<String, Place> = BTreeMap::new();
    let mut candidates = Vec::new();
    for row in &rows {
        if let Some(cell) = row.cells.get("id")
            && let Written::Text(id) | Written::Cell(id) = &cell.written
        {
            let first = seen.entry(id.to_lowercase()).or_insert(cell.place.clone());
            if *first != cell.place {
                let mut fault = schema(
                    cell.place.clone(),
                    format!("there are two candidates {id}"),
                    "give each an id of its own, also in other letters".to_owned(),
                );
                fault.because = Some((first.clone(), "the first one".to_owned()));
                faults.push(fault);
            }
        }
        candidates.extend(candidate(row, &mut faults));
    }
    (candidates, faults)
}

fn schema(place: Place, message: String, help: String) -> Fault {
    Fault {
        kind: FaultKind::Schema,
        place,
        message,
        help,
        because: None,
    }
}

fn candidate(row: &Row, faults: &mut Vec<Fault>) -> Option<Candidate> {
    let before = faults.len();
    let id = text(row, "id", faults);
    let viscosity = figure(row, "viscosity_mpa_s", faults, "more than 0", |value| {
        value.is_positive()
    });
    let coldest = Exact::hundredths(-27_315);
    let temperature = figure(row, "temperature_c", faults, "more than -273.15", |value| {
        *value > coldest
    });
    let key = "expanded_uncertainty_percent";
    let uncertainty = figure(row, key, faults, "0 or more", |value| !value.is_negative());
    let note = text(row, "note", faults);
    for key in NEEDED {
        if !row.cells.contains_key(key) {
            faults.push(schema(
                row.place.clone(),
                format!("{key} is missing"),
                match key {
                    "id" => "give the candidate a name by which the plan can tell it".to_owned(),
                    _ => "write the viscosity on offer, in mPa.s".to_owned(),
                },
            ));
        }
    }
    if faults.len() > before {
        return None;
    }
    Some(Candidate {
        id: id?,
        viscosity_mpa_s: viscosity?,
        temperature_c: temperature,
        expanded_uncertainty_percent: uncertainty,
        note,
    })
}

fn text(row: &Row, key: &str, faults: &mut Vec<Fault>) -> Option<String> {
    let cell = row.cells.get(key)?;
    match &cell.written {
        Written::Text(text) | Written::Cell(text) if !text.trim().is_empty() => Some(text.clone()),
        Written::Text(_) | Written::Cell(_) => {
            faults.push(schema(
                cell.place.clone(),
                format!("{key} is empty"),
                "write a text that is not blank, or leave it out where it is not needed".to_owned(),
            ));
            None
        }
        Written::Figure(figure) => {
            faults.push(schema(
                cell.place.clone(),
                format!("{key} = {figure} is a number, and must be a text"),
                format!("put it in quotation marks: {key} = \"{figure}\""),
            ));
            None
        }
        Written::Other => {
            faults.push(schema(
                cell.place.clone(),
                format!("{key} must be a text"),
                format!("write {key} = \"...\""),
            ));
            None
        }
    }
}

fn figure(
    row: &Row,
    key: &str,
    faults: &mut Vec<Fault>,
    must_be: &str,
    fits: impl Fn(&Exact) -> bool,
) -> Option<Number> {
    let cell = row.cells.get(key)?;
    let mut refuse = |message: String, help: String| {
        faults.push(schema(cell.place.clone(), message, help));
        None
    };
    let written = match &cell.written {
        // What is no number has been told where the file was read.
        Written::Figure(written) if written.contains("nan") || written.contains("inf") => {
            return None;
        }
        Written::Figure(written) => written.as_str(),
        Written::Cell(written) => written.as_str(),
        Written::Text(text) => {
            return refuse(
                format!("{key} is a text here, \"{text}\", and must be a number"),
                "write the number without quotation marks, with a point for the decimals"
                    .to_owned(),
            );
        }
        Written::Other => {
            return refuse(
                format!("{key} must be a number"),
                format!("write {key} = 100.0, or the figure of the offer"),
            );
        }
    };
    let is_plain = written
        .bytes()
        .all(|byte| byte.is_ascii_digit() || b"+-.eE_".contains(&byte));
    let Some(value) = Exact::parse(written).filter(|_| is_plain) else {
        let help = match written.contains(',') {
            true => "write a point for the decimals, and nothing between the thousands",
            false => "write the figure alone, such as 100.0, without a unit",
        };
        return refuse(format!("{key} = {written} is no number"), help.to_owned());
    };
    if !fits(&value) {
        return refuse(
            format!("{key} = {written} must be {must_be}"),
            "compare it with the offer, digit by digit and unit by unit".to_owned(),
        );
    }
    Some(Number {
        value,
        written: written.replace('_', "").into(),
    })
}

/// A column that is none, with the one that was probably meant.
fn unknown(place: Place, what: &str, name: &str) -> Fault {
    let help = match nearest(name, COLUMNS.into_iter()) {
        Some(meant) => format!("did you mean {meant}?"),
        None => LIST.to_owned(),
    };
    schema(place, format!("there is no {what} {name} here"), help)
}

fn column(name: &str) -> Option<&'static str> {
    COLUMNS.into_iter().find(|column| *column == name)
}

/// `None` where the file cannot be read, which the faults say.
fn toml_rows(path: &str, bytes: Vec<u8>, faults: &mut Vec<Fault>) -> Option<Vec<Row>> {
    let doc = toml::read(path, bytes, faults)?;
    if faults.iter().any(|fault| fault.kind == FaultKind::Syntax) {
        return None;
    }
    let Value::Table(entries) = &doc.root.value else {
        return Some(Vec::new());
    };
    let mut rows = Vec::new();
    for (key, node) in entries {
        let place = || doc.place_of(node.key_span, &format!("/{key}"));
        match (key.as_str(), &node.value) {
            ("candidate", Value::Array(items)) => {
                for (index, item) in items.iter().enumerate() {
                    let pointer = format!("/candidate/{index}");
                    match &item.value {
                        Value::Table(cells) => {
                            let cells = cells.iter().map(|(key, node)| (key.as_str(), node));
                            let cells: Vec<(&str, &Node)> = cells.collect();
                            rows.push(toml_row(&doc, &pointer, item, &cells, faults));
                        }
                        _ => faults.push(schema(
                            doc.place_of(item.span, &pointer),
                            "a candidate must be a table".to_owned(),
                            "begin each with a line [[candidate]] of its own".to_owned(),
                        )),
                    }
                }
            }
            ("candidate", _) => faults.push(schema(
                place(),
                "candidate is one table here, and must be rows".to_owned(),
                "write [[candidate]], with two brackets, above each".to_owned(),
            )),
            ("format" | "note", _) => {}
            (other, _) => faults.push(schema(
                place(),
                format!("there is no key {other} here"),
                match column(other) {
                    Some(_) => "it belongs under a line [[candidate]]".to_owned(),
                    None => "the file has [[candidate]] rows alone".to_owned(),
                },
            )),
        }
    }
    Some(rows)
}

fn toml_row(
    doc: &super::Doc,
    pointer: &str,
    item: &Node,
    entries: &[(&str, &Node)],
    faults: &mut Vec<Fault>,
) -> Row {
    let mut row = Row {
        place: doc.place_of(item.span, pointer),
        cells: BTreeMap::new(),
    };
    for (key, node) in entries {
        let at = format!("{pointer}/{}", toml::escape(key));
        let Some(name) = column(key) else {
            faults.push(unknown(doc.place_of(node.key_span, &at), "key", key));
            continue;
        };
        let written = match &node.value {
            Value::Text(text) => Written::Text(text.to_string()),
            Value::Integer(_) | Value::LargeInteger | Value::Float(_) => {
                Written::Figure(doc.text.slice(node.span).to_owned())
            }
            _ => Written::Other,
        };
        let place = doc.place_of(node.span, &at);
        row.cells.insert(name, Cell { written, place });
    }
    row
}

/// `None` where the file cannot be read, which the faults say.
fn csv_rows(path: &str, bytes: Vec<u8>, faults: &mut Vec<Fault>) -> Option<Vec<Row>> {
    let mut whole = |kind, message: String, help: &str| {
        faults.push(Fault {
            kind,
            place: Place::whole(path),
            message,
            help: help.to_owned(),
            because: None,
        });
        None
    };
    if bytes.len() as u64 > MAX_BYTES {
        return whole(
            FaultKind::Limits,
            format!("this file has more than {MAX_BYTES} bytes, the most that is read"),
            "look whether another file was saved under this name",
        );
    }
    let body = match String::from_utf8(bytes) {
        Ok(body) => body,
        Err(error) => {
            let at = error.utf8_error().valid_up_to() + 1;
            return whole(
                FaultKind::Syntax,
                format!("this file is not UTF-8 text: byte {at} is none"),
                "save the sheet again as CSV with the encoding UTF-8",
            );
        }
    };
    let text = Text::new(body);
    let mut lines = records(&text).into_iter();
    let Some(header) = lines.next() else {
        return Some(Vec::new());
    };
    let columns = columns(path, &text, &header, faults)?;
    let mut rows = Vec::new();
    for (index, record) in lines.enumerate() {
        let pointer = |name: &str| format!("/candidate/{index}/{name}");
        let mut row = Row {
            place: place_in(path, &text, record.span, &format!("/candidate/{index}")),
            cells: BTreeMap::new(),
        };
        if let Some((_, span)) = record.cells.get(columns.len()) {
            faults.push(schema(
                place_in(path, &text, *span, ""),
                format!(
                    "this line has {} cells, and the header {}",
                    record.cells.len(),
                    columns.len()
                ),
                "write a point for the decimals, and put a text that holds a comma in quotation marks"
                    .to_owned(),
            ));
            continue;
        }
        for (name, (cell, span)) in columns.iter().zip(record.cells) {
            let cell = cell.trim();
            // An empty cell is one that was left out.
            if !cell.is_empty() {
                let cell = Cell {
                    written: Written::Cell(cell.to_owned()),
                    place: place_in(path, &text, span, &pointer(name)),
                };
                row.cells.insert(name, cell);
            }
        }
        rows.push(row);
    }
    Some(rows)
}

/// The columns that a header names; `None` where they cannot be told.
fn columns(
    path: &str,
    text: &Text,
    header: &Record,
    faults: &mut Vec<Fault>,
) -> Option<Vec<&'static str>> {
    let before = faults.len();
    if let [(only, span)] = &header.cells[..]
        && only.contains([';', '\t'])
    {
        faults.push(schema(
            place_in(path, text, *span, ""),
            "the columns of this file are not separated by commas".to_owned(),
            "save the sheet as CSV with commas between the columns and a point for the decimals"
                .to_owned(),
        ));
        return None;
    }
    let mut columns = Vec::new();
    for (name, span) in &header.cells {
        let place = place_in(path, text, *span, "");
        match column(name.trim()) {
            Some(column) if columns.contains(&column) => faults.push(schema(
                place,
                format!("the column {column} stands here twice"),
                "delete one of them".to_owned(),
            )),
            Some(column) => columns.push(column),
            None => faults.push(unknown(place, "column", name.trim())),
        }
    }
    for key in NEEDED {
        if !columns.contains(&key) && faults.len() == before {
            faults.push(schema(
                place_in(path, text, header.span, ""),
                format!("the header has no column {key}"),
                format!("the first line names the columns: {LIST}"),
            ));
        }
    }
    (faults.len() == before).then_some(columns)
}

/// A line of CSV: its cells without their quotation marks, each with its place.
struct Record {
    span: Span,
    cells: Vec<(String, Span)>,
}

/// The lines of a text but for blank ones.
fn records(text: &Text) -> Vec<Record> {
    let body = text.as_str();
    let skipped = body.len() - body.trim_start_matches('\u{feff}').len();
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .from_reader(&body.as_bytes()[skipped..]);
    let mut records = Vec::new();
    let mut record = csv::StringRecord::new();
    // The text is UTF-8 and lines may have any number of cells, so nothing is left to go wrong.
    while let Ok(true) = reader.read_record(&mut record) {
        let begin = record.position().map_or(0, |position| position.byte());
        let mut start = skipped + usize::try_from(begin).unwrap_or(0);
        let rest = body.get(start..).unwrap_or("");
        start += rest.len() - rest.trim_start_matches(['\r', '\n']).len();
        let spans = spans(body, start);
        let end = spans.last().map_or(start, |span| span.end as usize);
        let cells: Vec<(String, Span)> = record
            .iter()
            .enumerate()
            .map(|(index, cell)| {
                let span = spans.get(index).copied();
                (cell.to_owned(), span.unwrap_or(Span::new(start, end)))
            })
            .collect();
        // A line of blanks, or of commas alone, as sheets have at their end.
        if cells.iter().any(|(cell, _)| !cell.trim().is_empty()) {
            records.push(Record {
                span: Span::new(start, end),
                cells,
            });
        }
    }
    records
}

/// Where the cells of the line stand that begins at a byte.
fn spans(body: &str, start: usize) -> Vec<Span> {
    let mut spans = Vec::new();
    let mut begin = start;
    let mut quoted = false;
    for (offset, byte) in body.bytes().enumerate().skip(start) {
        match byte {
            b'"' => quoted = !quoted,
            b',' | b'\r' | b'\n' if !quoted => {
                spans.push(Span::new(begin, offset));
                begin = offset + 1;
                if byte != b',' {
                    return spans;
                }
            }
            _ => {}
        }
    }
    spans.push(Span::new(begin, body.len()));
    spans
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(path: &str, text: &str) -> (Vec<String>, Vec<String>) {
        let (candidates, faults) = candidates(path, text.as_bytes().to_vec());
        let rows = candidates.iter().map(|one| {
            let optional = |number: &Option<Number>| {
                number.as_ref().map_or("-".to_owned(), ToString::to_string)
            };
            format!(
                "{} {} {} {} {}",
                one.id,
                one.viscosity_mpa_s,
                optional(&one.temperature_c),
                optional(&one.expanded_uncertainty_percent),
                one.note.as_deref().unwrap_or("-")
            )
        });
        let faults = faults.iter().map(|fault| {
            let place = &fault.place;
            format!(
                "{}:{} {} {}",
                place.line, place.column, place.pointer, fault.message
            )
        });
        (rows.collect(), faults.collect())
    }

    #[test]
    fn both_formats_give_the_same() {
        let toml = "[[candidate]]\nid = \"V-100\"\nviscosity_mpa_s = 100.0\n\n[[candidate]]\nid = \"V, 5\"\nviscosity_mpa_s = 5_000\ntemperature_c = 25.0\nexpanded_uncertainty_percent = 0.30\nnote = \"two bottles\"\n";
        let csv = "\u{feff}id,viscosity_mpa_s,temperature_c,expanded_uncertainty_percent,note\r\nV-100,100.0,,,\r\n\r\n\"V, 5\", 5000 ,25.0,0.30,\"two bottles\"\r\n,,,,\r\n";
        let rows = ["V-100 100.0 - - -", "V, 5 5000 25.0 0.30 two bottles"];
        for (path, text) in [("offer.toml", toml), ("Offer.CSV", csv)] {
            let (found, faults) = read(path, text);
            assert_eq!(found, rows, "{path}");
            assert_eq!(faults, [] as [&str; 0]);
        }
    }

    #[test]
    fn every_fault_has_its_place() {
        for (path, text, faults) in [
            ("a.toml", "", &["1:1  this file names no candidate"][..]),
            (
                "a.toml",
                "[candidate]\nid = \"A\"\n",
                &["1:2 /candidate candidate is one table here, and must be rows"],
            ),
            (
                "a.toml",
                "candidate = [1]\n",
                &["1:14 /candidate/0 a candidate must be a table"],
            ),
            (
                "a.toml",
                "id = \"A\"\n[[candidate]]\nid = 5\nviscosity = 5\n",
                &[
                    "1:1 /id there is no key id here",
                    "4:1 /candidate/0/viscosity there is no key viscosity here",
                    "3:6 /candidate/0/id id = 5 is a number, and must be a text",
                    "2:1 /candidate/0 viscosity_mpa_s is missing",
                ],
            ),
            (
                "a.toml",
                "[[candidate]]\nid = \" \"\nviscosity_mpa_s = \"5\"\n",
                &[
                    "2:6 /candidate/0/id id is empty",
                    "3:19 /candidate/0/viscosity_mpa_s viscosity_mpa_s is a text here, \"5\", and must be a number",
                ],
            ),
            (
                "a.toml",
                "[[candidate]]\nid = \"A\"\nviscosity_mpa_s = 0.0\ntemperature_c = -300\nexpanded_uncertainty_percent = -0.1\nnote = true\n",
                &[
                    "3:19 /candidate/0/viscosity_mpa_s viscosity_mpa_s = 0.0 must be more than 0",
                    "4:17 /candidate/0/temperature_c temperature_c = -300 must be more than -273.15",
                    "5:32 /candidate/0/expanded_uncertainty_percent expanded_uncertainty_percent = -0.1 must be 0 or more",
                    "6:8 /candidate/0/note note must be a text",
                ],
            ),
            (
                "a.toml",
                "[[candidate]]\nid = \"A\"\nviscosity_mpa_s = nan\n",
                &["3:19 /candidate/0/viscosity_mpa_s nan is no number that can be measured"],
            ),
            ("a.csv", "", &["1:1  this file names no candidate"]),
            (
                "a.csv",
                "id,viscosity_mpa_s\n",
                &["1:1  this file names no candidate"],
            ),
            (
                "a.csv",
                "id;viscosity_mpa_s\nA;5\n",
                &["1:1  the columns of this file are not separated by commas"],
            ),
            (
                "a.csv",
                "id,note\nA,b\n",
                &["1:1  the header has no column viscosity_mpa_s"],
            ),
            (
                "a.csv",
                "id,viscosity,id\nA,5,B\n",
                &[
                    "1:4  there is no column viscosity here",
                    "1:14  the column id stands here twice",
                ],
            ),
            (
                "a.csv",
                "id,viscosity_mpa_s\nA,100,5\nB,5 mPa.s\n,7\nb,5e2\nB,\"1,5\"\n",
                &[
                    "2:7  this line has 3 cells, and the header 2",
                    "3:3 /candidate/1/viscosity_mpa_s viscosity_mpa_s = 5 mPa.s is no number",
                    "4:1 /candidate/2 id is missing",
                    "5:1 /candidate/3/id there are two candidates b",
                    "6:1 /candidate/4/id there are two candidates B",
                    "6:3 /candidate/4/viscosity_mpa_s viscosity_mpa_s = 1,5 is no number",
                ],
            ),
        ] {
            assert_eq!(read(path, text).1, faults, "{text}");
        }
        let (_, faults) = candidates("a.csv", vec![b'i', 0xff]);
        assert_eq!(
            faults[0].message,
            "this file is not UTF-8 text: byte 2 is none"
        );
        let (_, faults) = candidates("a.csv", vec![b'a'; 1 << 20 | 1]);
        assert_eq!(faults[0].kind, FaultKind::Limits);
        let (_, faults) = candidates("a.toml", b"[[candidate]\n".to_vec());
        assert_eq!(faults[0].kind, FaultKind::Syntax);
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "(id|viscosity_mpa_s|,|\"|\n|\r|;|5|\u{feff}|é|[ -~]){0,60}") {
            for path in ["a.csv", "a.toml"] {
                let (rows, faults) = candidates(path, text.as_bytes().to_vec());
                prop_assert!(!rows.is_empty() || !faults.is_empty());
            }
        }
    }
}
