//! Changes single values in a file's text and leaves every other byte as it was; tells what differs between two files.

use super::toml::escape;
use super::{Disagreement, Doc, Fault, Node, Parsed, Value, parse, toml};
use crate::record::{Kind, Record};
use std::collections::BTreeMap;

/// Why a value cannot be put in, and what to do instead.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unfit {
    pub message: String,
    pub help: String,
}

impl Unfit {
    fn new(message: impl Into<String>, help: impl Into<String>) -> Unfit {
        Unfit {
            message: message.into(),
            help: help.into(),
        }
    }
}

/// The pointer that a person means: `/point/0/torque_percent`, `point[0].torque_percent` or `point.0.torque_percent`.
pub fn pointer_of(key: &str) -> Result<String, Unfit> {
    let key = key.trim();
    let steps: Vec<String> = match key.strip_prefix('/') {
        Some(rest) => rest.split('/').map(str::to_owned).collect(),
        None => key
            .replace('[', ".")
            .replace(']', "")
            .split('.')
            .map(|step| escape(step).into_owned())
            .collect(),
    };
    match steps
        .iter()
        .any(|step| step.is_empty() || step.contains(char::is_whitespace))
    {
        true => Err(Unfit::new(
            format!("{key} names no key"),
            "write the names from the outside in, rows counted from 0, such as /point/0/temperature_c or point[0].temperature_c",
        )),
        false => Ok(steps.iter().map(|step| format!("/{step}")).collect()),
    }
}

/// One TOML value as it was written; `None` where the text is none.
pub fn value_of(text: &str) -> Option<String> {
    let line = format!("x = {}\n", text.trim());
    let mut faults = Vec::new();
    let doc = toml::read("", line.into_bytes(), &mut faults)?;
    match &doc.root.value {
        Value::Table(entries) if faults.is_empty() => match &entries[..] {
            [(key, node)] if key == "x" => Some(doc.text.slice(node.span).to_owned()),
            _ => None,
        },
        _ => None,
    }
}

/// A text as TOML writes it.
pub fn quoted(text: &str) -> String {
    toml_edit::Value::from(text).to_string()
}

/// What ends a line of this text.
pub fn line_end(text: &str) -> &'static str {
    match text.find('\n') {
        Some(at) if text[..at].ends_with('\r') => "\r\n",
        _ => "\n",
    }
}

/// Whether a header such as `[preparation]` or `[[point]]` made it.
fn has_header(doc: &Doc, node: &Node) -> bool {
    match &node.value {
        Value::Table(_) => doc.text.slice(node.span).starts_with('['),
        Value::Array(_) => {
            node.span.start < node.key_span.start && node.key_span.end < node.span.end
        }
        _ => false,
    }
}

/// The text with this value at a pointer: in place of the one that stands there, else as a new key of its table.
pub fn set(doc: &Doc, pointer: &str, value: &str) -> Result<String, Unfit> {
    let text = match doc.root.get(pointer) {
        Some(node) => replaced(doc, pointer, node, value)?,
        None => added(doc, pointer, value)?,
    };
    let mut faults = Vec::new();
    let after = toml::read(&doc.path, text.clone().into_bytes(), &mut faults);
    let others = |doc: &Doc| -> Vec<(String, String)> {
        let below = format!("{pointer}/");
        let leaves = leaves(doc).into_iter();
        leaves
            .filter(|(at, _)| at != pointer && !at.starts_with(&below))
            .map(|(at, node)| (at, doc.text.slice(node.span).to_owned()))
            .collect()
    };
    // A value that is no TOML is told by whoever reads the file next.
    match after {
        Some(after) if faults.is_empty() && others(&after) != others(doc) => Err(by_hand(pointer)),
        _ => Ok(text),
    }
}

fn by_hand(pointer: &str) -> Unfit {
    Unfit::new(
        format!("{pointer} is written in a way that only a person can change"),
        "change it by hand in the file",
    )
}

fn replaced(doc: &Doc, pointer: &str, node: &Node, value: &str) -> Result<String, Unfit> {
    let inline = match node.value {
        Value::Table(_) => doc.text.slice(node.span).starts_with('{'),
        _ => !has_header(doc, node),
    };
    if !inline {
        return Err(Unfit::new(
            format!("{pointer} is a table, not one value"),
            format!("name one of its keys: {}", keys_below(node, pointer)),
        ));
    }
    let text = doc.text.as_str();
    let range = node.span.range();
    Ok(format!(
        "{}{value}{}",
        &text[..range.start],
        &text[range.end..]
    ))
}

fn keys_below(node: &Node, pointer: &str) -> String {
    let (node, pointer) = match &node.value {
        Value::Array(rows) => match rows.first() {
            Some(row) => (row, format!("{pointer}/0")),
            None => (node, pointer.to_owned()),
        },
        _ => (node, pointer.to_owned()),
    };
    let Value::Table(entries) = &node.value else {
        return pointer;
    };
    let keys = entries
        .iter()
        .map(|(key, _)| format!("{pointer}/{}", escape(key)));
    keys.collect::<Vec<_>>().join(", ")
}

fn added(doc: &Doc, pointer: &str, value: &str) -> Result<String, Unfit> {
    let (above, key) = pointer.rsplit_once('/').unwrap_or(("", pointer));
    let key = key.replace("~1", "/").replace("~0", "~");
    let bare = !key.is_empty()
        && key
            .bytes()
            .all(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b'_' | b'-'));
    let key = if bare { key } else { quoted(&key) };
    let Some(table) = doc.root.get(above) else {
        return new_table(doc, above, &key, value);
    };
    let Value::Table(entries) = &table.value else {
        return Err(match &table.value {
            Value::Array(rows) => no_row(pointer, above, rows.len()),
            _ => Unfit::new(
                format!("there is no {pointer}: {above} is one value and has no keys"),
                format!("name {above} itself"),
            ),
        });
    };
    if !above.is_empty() && !has_header(doc, table) {
        return Err(by_hand(pointer));
    }
    let behind = entries
        .iter()
        .filter_map(|(_, node)| end_of(doc, node))
        .max();
    let at = behind.unwrap_or(table.span.end);
    let line = format!("{key} = {value}");
    Ok(inserted(doc.text.as_str(), at as usize, &line))
}

fn no_row(pointer: &str, array: &str, rows: usize) -> Unfit {
    let has = match rows {
        1 => "1 row, number 0".to_owned(),
        many => format!("{many} rows, numbers 0 to {}", many.saturating_sub(1)),
    };
    Unfit::new(
        format!("there is no {pointer}: {array} has {has}"),
        "name a row that is there; a further row is written by hand",
    )
}

/// The end of the values that stand in the body of the table above; `None` of what has headers of its own.
fn end_of(doc: &Doc, node: &Node) -> Option<u32> {
    if has_header(doc, node) {
        return None;
    }
    match &node.value {
        Value::Table(entries) if !doc.text.slice(node.span).starts_with('{') => entries
            .iter()
            .filter_map(|(_, node)| end_of(doc, node))
            .max(),
        _ => Some(node.span.end),
    }
}

/// With a line behind the one that holds a place.
fn inserted(text: &str, at: usize, line: &str) -> String {
    let end = line_end(text);
    match text[at..].find('\n') {
        Some(length) => {
            let (before, after) = text.split_at(at + length + 1);
            format!("{before}{line}{end}{after}")
        }
        None => format!("{text}{end}{line}{end}"),
    }
}

/// A table that is missing is added before `[computed]`, or at the end.
fn new_table(doc: &Doc, above: &str, key: &str, value: &str) -> Result<String, Unfit> {
    let name = above.trim_start_matches('/');
    if name.is_empty() || name.contains('/') || name.bytes().all(|byte| byte.is_ascii_digit()) {
        let (node, found) = doc.root.nearest(above);
        if let Value::Array(rows) = &node.value {
            return Err(no_row(above, found, rows.len()));
        }
        let there = if found.is_empty() { "the file" } else { found };
        return Err(Unfit::new(
            format!("there is no {above} in which {key} could stand"),
            format!("{there} has {}", keys_below(node, found)),
        ));
    }
    let text = doc.text.as_str();
    let end = line_end(text);
    let table = format!("[{name}]{end}{key} = {value}{end}");
    let computed = doc
        .root
        .get("/computed")
        .filter(|node| has_header(doc, node));
    Ok(match computed {
        Some(node) => {
            let (before, after) = text.split_at(node.span.range().start);
            format!("{before}{table}{end}{after}")
        }
        None => with_block(text, &table),
    })
}

fn with_block(text: &str, block: &str) -> String {
    let end = line_end(text);
    let gap = if text.ends_with('\n') {
        end.to_owned()
    } else {
        end.repeat(2)
    };
    format!("{text}{gap}{block}")
}

/// The text with one more row of an array of tables at its end; values are TOML.
pub fn with_row(text: &str, name: &str, entries: &[(&str, String)]) -> String {
    let end = line_end(text);
    let mut row = format!("[[{name}]]{end}");
    for (key, value) in entries {
        row += &format!("{key} = {value}{end}");
    }
    with_block(text, &row)
}

/// Every single value of a file with its pointer, in the order of the file. A list of plain values is one.
fn leaves(doc: &Doc) -> Vec<(String, &Node)> {
    fn gather<'d>(node: &'d Node, pointer: &mut String, found: &mut Vec<(String, &'d Node)>) {
        let mut below = |step: &str, node: &'d Node| {
            let length = pointer.len();
            pointer.push('/');
            pointer.push_str(step);
            gather(node, pointer, found);
            pointer.truncate(length);
        };
        let is_table = |node: &Node| matches!(node.value, Value::Table(_));
        match &node.value {
            Value::Table(entries) => {
                for (key, node) in entries {
                    below(&escape(key), node);
                }
            }
            Value::Array(rows) if !rows.is_empty() && rows.iter().all(is_table) => {
                for (index, row) in rows.iter().enumerate() {
                    below(&index.to_string(), row);
                }
            }
            _ => found.push((pointer.clone(), node)),
        }
    }
    let mut found = Vec::new();
    gather(&doc.root, &mut String::new(), &mut found);
    found
}

/// Every single value of a file: its pointer, and what is written there.
pub fn values(doc: &Doc) -> Vec<(String, String)> {
    let written = |node: &Node| doc.text.slice(node.span).to_owned();
    leaves(doc)
        .into_iter()
        .map(|(pointer, node)| (pointer, written(node)))
        .collect()
}

/// A value of a file, as people read it and as JSON has it.
#[derive(Clone, Debug, PartialEq)]
pub struct Written {
    /// A text without its quotation marks, anything else as it was written.
    pub text: String,
    pub json: serde_json::Value,
}

impl Written {
    fn of(doc: &Doc, node: &Node) -> Written {
        Written {
            text: match &node.value {
                Value::Text(text) => text.to_string(),
                _ => doc.text.slice(node.span).to_owned(),
            },
            json: node.to_json(),
        }
    }
}

/// A value that differs between two files; `None` where the key is missing.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    pub pointer: String,
    pub was: Option<Written>,
    pub is: Option<Written>,
}

/// Every value that differs, in the order of the first file; what only the second has comes last.
pub fn changes(before: &Doc, after: &Doc) -> Vec<Change> {
    let written = |doc: &Doc| -> Vec<(String, Written)> {
        let leaves = leaves(doc).into_iter();
        leaves
            .map(|(pointer, node)| (pointer, Written::of(doc, node)))
            .collect()
    };
    let (old, new) = (written(before), written(after));
    let known: BTreeMap<&str, &Written> =
        new.iter().map(|(at, value)| (at.as_str(), value)).collect();
    let had: BTreeMap<&str, &Written> =
        old.iter().map(|(at, value)| (at.as_str(), value)).collect();
    let mut changes = Vec::new();
    for (pointer, was) in &old {
        let is = known.get(pointer.as_str()).copied();
        if is != Some(was) {
            changes.push(Change {
                pointer: pointer.clone(),
                was: Some(was.clone()),
                is: is.cloned(),
            });
        }
    }
    for (pointer, is) in &new {
        if !had.contains_key(pointer.as_str()) {
            changes.push(Change {
                pointer: pointer.clone(),
                was: None,
                is: Some(is.clone()),
            });
        }
    }
    changes
}

/// A file as read for its kind, where the caller needs no typed record.
pub struct Reading {
    pub doc: Option<Doc>,
    /// Nothing keeps the record from being understood.
    pub sound: bool,
    pub faults: Vec<Fault>,
}

/// Reads a file of a kind that is known at run time only.
pub fn read(kind: Kind, path: &str, text: &str) -> Result<Reading, Disagreement> {
    fn of<R: Record>(path: &str, text: &str) -> Result<Reading, Disagreement> {
        let Parsed {
            doc,
            record,
            faults,
        } = parse::<R>(path, text.as_bytes().to_vec())?;
        Ok(Reading {
            doc,
            sound: record.is_some(),
            faults,
        })
    }
    use crate::record as kinds;
    match kind {
        Kind::Book => of::<kinds::book::Book>(path, text),
        Kind::Policy => of::<kinds::policy::Policy>(path, text),
        Kind::Person => of::<kinds::person::Person>(path, text),
        Kind::Instrument => of::<kinds::instrument::Instrument>(path, text),
        Kind::Geometry => of::<kinds::geometry::Geometry>(path, text),
        Kind::Fluid => of::<kinds::fluid::Fluid>(path, text),
        Kind::Thermometer => of::<kinds::thermometer::Thermometer>(path, text),
        Kind::Bath => of::<kinds::bath::Bath>(path, text),
        Kind::Check => of::<kinds::check::Check>(path, text),
        Kind::Review => of::<kinds::review::Review>(path, text),
        Kind::Nonconformity => of::<kinds::nonconformity::Nonconformity>(path, text),
    }
}

/// The file with a value that a person gave put in: as TOML, or as a text where the kind wants one.
pub fn fit(
    kind: Kind,
    doc: &Doc,
    pointer: &str,
    given: &str,
) -> Result<Result<Doc, Unfit>, Disagreement> {
    let given = given.trim();
    let as_toml = value_of(given);
    let as_text = quoted(given);
    let mut told: Option<Unfit> = None;
    // A figure or an answer that is no TOML is told as such; any other word is meant as a text.
    let like_figure = given
        .starts_with(|first: char| first.is_ascii_digit() || "+-.".contains(first))
        || matches!(
            given.to_ascii_lowercase().as_str(),
            "yes" | "no" | "true" | "false"
        );
    let raw = match &as_toml {
        Some(value) => Some(value.clone()),
        None if like_figure && !given.contains(['\n', '\r']) => Some(given.to_owned()),
        None => None,
    };
    for value in raw.into_iter().chain([as_text]) {
        let text = match set(doc, pointer, &value) {
            Ok(text) => text,
            Err(unfit) => return Ok(Err(unfit)),
        };
        let reading = read(kind, &doc.path, &text)?;
        if let (Some(after), true) = (reading.doc, reading.sound) {
            return Ok(Ok(after));
        }
        let fault = reading
            .faults
            .into_iter()
            .find(|fault| fault.kind.hides_the_record());
        if told.is_none() {
            told =
                fault.map(|fault| Unfit::new(format!("{pointer}: {}", fault.message), fault.help));
        }
    }
    Ok(Err(told.unwrap_or_else(|| by_hand(pointer))))
}

#[cfg(test)]
mod tests {
    use super::*;

    const CHECK: &str = include_str!("../rules/base/checks/2026/VM-1/2026-03-02-0900.toml");
    const THERMOMETER: &str = "format = 1\nid = \"TH-1\" # ours\ncalibration = [ { date = 2026-01-10, corrections = [ { at_c = 20.0, correction_k = -0.01 } ] } ]\n";

    fn doc(kind: Kind, text: &str) -> Doc {
        let reading = read(kind, "x.toml", text).expect("read");
        reading.doc.expect("a document")
    }

    fn check(text: &str) -> Doc {
        doc(Kind::Check, text)
    }

    #[test]
    fn keys_are_understood_as_people_write_them() {
        for key in [
            "/point/0/torque_percent",
            "point[0].torque_percent",
            "point.0.torque_percent",
            " point[0].torque_percent ",
        ] {
            let pointer = pointer_of(key);
            assert_eq!(pointer.as_deref(), Ok("/point/0/torque_percent"), "{key}");
        }
        for key in ["", "/", "point..x", "a b", "/point//x"] {
            assert!(pointer_of(key).is_err(), "{key}");
        }
    }

    #[test]
    fn a_value_is_put_in_place_and_nothing_else_moves() {
        let text = CHECK.replace("zero_percent = 0.0", "zero_percent = 0.0   # as shown");
        for crlf in [false, true] {
            let text = match crlf {
                true => text.replace('\n', "\r\n"),
                false => text.clone(),
            };
            let set = |pointer: &str, value: &str| set(&check(&text), pointer, value);
            assert_eq!(
                set("/preparation/zero_percent", "0.10"),
                Ok(text.replace("= 0.0   #", "= 0.10   #"))
            );
            assert_eq!(
                set("/point/1/torque_percent", "48.60"),
                Ok(text.replace("= 48.5", "= 48.60"))
            );
            let end = line_end(&text);
            // A key that is missing stands last in its own table.
            assert_eq!(
                set("/bath", "\"WB-1\""),
                Ok(text.replace(
                    &format!("\"as-found\"{end}"),
                    &format!("\"as-found\"{end}bath = \"WB-1\"{end}")
                ))
            );
            let behind = format!("07:50:00{end}");
            assert_eq!(
                set("/preparation/gap_set", "true"),
                Ok(text.replace(&behind, &format!("{behind}gap_set = true{end}")))
            );
            let last = text.trim_end().to_owned();
            assert_eq!(
                super::set(&check(&last), "/point/2/shown", "\"unstable\""),
                Ok(format!("{last}{end}shown = \"unstable\"{end}"))
            );
        }
    }

    #[test]
    fn a_missing_table_is_added_before_what_was_computed() {
        let (before, points) = CHECK.split_once("[preparation]").expect("a table");
        let (_, points) = points.split_once("[[point]]").expect("points");
        let bare = format!("{before}[[point]]{points}\n[computed]\nmethod = 1\n");
        let text = set(&check(&bare), "/preparation/levelled", "true").expect("set");
        assert_eq!(
            text,
            bare.replace("[computed]", "[preparation]\nlevelled = true\n\n[computed]")
        );
        let after = check(&text);
        assert!(after.root.get("/preparation/levelled").is_some());
    }

    #[test]
    fn values_inside_inline_tables_are_replaced_and_what_needs_a_person_is_said() {
        let thermometer = doc(Kind::Thermometer, THERMOMETER);
        assert_eq!(
            set(
                &thermometer,
                "/calibration/0/corrections/0/correction_k",
                "-0.02"
            ),
            Ok(THERMOMETER.replace("-0.01", "-0.02"))
        );
        for (pointer, words) in [
            ("/calibration/0/due", "only a person can change"),
            ("/calibration/3/due", "1 row, number 0"),
            ("/id/x", "has no keys"),
        ] {
            let unfit = set(&thermometer, pointer, "2027-01-10").expect_err(pointer);
            assert!(unfit.message.contains(words), "{}", unfit.message);
        }
        let unfit = set(&check(CHECK), "/point", "1").expect_err("a table");
        assert!(unfit.help.contains("/point/0/speed_rpm"), "{}", unfit.help);
    }

    #[test]
    fn what_differs_is_told_by_value_and_as_written() {
        let one = check(CHECK);
        let other = CHECK
            .replacen("torque_percent = 19.4", "torque_percent = 19.40", 1)
            .replace("bottle = \"1\"", "bottle = '1'")
            .replace("gap_set = true\n", "")
            .replace("guard = true", "gap_set = true");
        let found = changes(&one, &check(&other));
        let told: Vec<_> = found
            .iter()
            .map(|change| {
                let text = |value: &Option<Written>| value.as_ref().map(|one| one.text.clone());
                (change.pointer.as_str(), text(&change.was), text(&change.is))
            })
            .collect();
        let some = |text: &str| Some(text.to_owned());
        assert_eq!(
            told,
            [
                ("/preparation/guard", some("true"), None),
                ("/point/0/torque_percent", some("19.4"), some("19.40")),
                ("/preparation/gap_set", None, some("true")),
            ]
        );
        assert_eq!(changes(&one, &one), []);
    }

    #[test]
    fn only_one_value_is_taken_for_one() {
        for (given, value) in [
            ("25.02", Some("25.02")),
            (" \"a\" # b", Some("\"a\"")),
            ("[1, 2]", Some("[1, 2]")),
            ("25,02", None),
            ("1\nformat = 2", None),
            ("scheduled", None),
        ] {
            assert_eq!(value_of(given).as_deref(), value, "{given}");
        }
    }
}
