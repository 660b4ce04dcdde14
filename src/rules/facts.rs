//! How the facts of two books differ, and which committed checks rest on one of them.

use crate::book::LoadError;
use crate::finding::Place;
use crate::parse::layout::{CheckName, MARKER, Slot, record, slot};
use crate::parse::{Doc, Node, Value, document, parse};
use crate::record::Kind;
use crate::record::check::Check;
use crate::record::policy::Policy;
use crate::source::Source;
use crate::source::each_of;
use compact_str::CompactString;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, PoisonError};
use toml_edit::{DocumentMut, Item, TableLike};

/// Where a fact became another.
pub(super) struct Difference {
    pub place: Place,
    /// The same before, where there was something.
    pub was: Option<Place>,
}

fn read(path: &str, source: &dyn Source) -> Result<Option<Doc>, LoadError> {
    Ok(source.read(path)?.and_then(|bytes| document(path, bytes)))
}

/// The first key whose value differs; the file as a whole where it came, went or differs in remarks alone.
pub(super) fn difference(
    path: &str,
    before: Option<&dyn Source>,
    after: &dyn Source,
) -> Result<Difference, LoadError> {
    let was = match before {
        Some(before) => read(path, before)?,
        None => None,
    };
    let is = read(path, after)?;
    let whole = Difference {
        place: match (&was, &is) {
            // What a new policy does hangs on when it begins.
            (None, Some(is)) if path.starts_with(Kind::Policy.folder()) => is.place("/effective"),
            _ => Place::whole(path),
        },
        was: None,
    };
    let (Some(was), Some(is)) = (was, is) else {
        return Ok(whole);
    };
    let moved = path == MARKER && value(&was, "/time_zone") != value(&is, "/time_zone");
    let pointer = match moved {
        true => Some("/time_zone".to_owned()),
        false => first_difference(&was, &was.root, &is, &is.root, String::new()),
    };
    Ok(match pointer {
        None => whole,
        Some(pointer) => Difference {
            place: is.place_of_key(&pointer),
            was: Some(was.place_of_key(&pointer)),
        },
    })
}

fn value(doc: &Doc, pointer: &str) -> Option<serde_json::Value> {
    doc.root.get(pointer).map(Node::to_json)
}

/// Alike to the last digit, whatever the order of keys.
fn alike(one: &Doc, a: &Node, other: &Doc, b: &Node) -> bool {
    first_difference(one, a, other, b, String::new()).is_none()
}

fn first_difference(one: &Doc, a: &Node, other: &Doc, b: &Node, pointer: String) -> Option<String> {
    match (&a.value, &b.value) {
        (Value::Table(was), Value::Table(is)) => {
            for (key, node) in is {
                let below = format!("{pointer}/{}", key.replace('~', "~0").replace('/', "~1"));
                match was.iter().find(|(name, _)| name == key) {
                    None => return Some(below),
                    Some((_, old)) => {
                        let found = first_difference(one, old, other, node, below);
                        if found.is_some() {
                            return found;
                        }
                    }
                }
            }
            let gone = was
                .iter()
                .find(|(key, _)| !is.iter().any(|(name, _)| name == key));
            gone.map(|(key, _)| format!("{pointer}/{}", key.replace('~', "~0").replace('/', "~1")))
        }
        (Value::Array(was), Value::Array(is)) => {
            for (index, node) in is.iter().enumerate() {
                let below = format!("{pointer}/{index}");
                match was.get(index) {
                    None => return Some(below),
                    Some(old) => {
                        let found = first_difference(one, old, other, node, below);
                        if found.is_some() {
                            return found;
                        }
                    }
                }
            }
            (was.len() > is.len()).then(|| format!("{pointer}/{}", is.len()))
        }
        // Two numbers of one double may be two decimals.
        (Value::Float(_), Value::Float(_)) => {
            let text = |doc: &Doc, node: &Node| {
                let text = doc.text.as_str();
                text.get(node.span.start as usize..node.span.end as usize)
                    .map(str::to_owned)
            };
            (text(one, a) != text(other, b)).then_some(pointer)
        }
        (was, is) => (was != is).then_some(pointer),
    }
}

/// Whether a file says the same in both books, in whatever order and with whatever remarks.
pub(super) fn same_values(
    path: &str,
    before: &dyn Source,
    after: &dyn Source,
) -> Result<bool, LoadError> {
    let (was, is) = (read(path, before)?, read(path, after)?);
    Ok(match (was, is) {
        // Of the marker only the zone has to do with checks.
        (Some(was), Some(is)) if path == MARKER => {
            value(&was, "/time_zone") == value(&is, "/time_zone")
        }
        (Some(was), Some(is)) => alike(&was, &was.root, &is, &is.root),
        _ => false,
    })
}

/// One row of a file.
pub(super) struct Row {
    key: String,
    value: serde_json::Value,
    pub place: Place,
}

impl Row {
    /// It tells of a correction.
    pub fn is_correction(&self) -> bool {
        self.key == "correction"
    }
}

fn rows(doc: &Doc) -> Vec<Row> {
    let Value::Table(entries) = &doc.root.value else {
        return Vec::new();
    };
    let mut rows = Vec::new();
    for (key, node) in entries {
        let Value::Array(items) = &node.value else {
            continue;
        };
        for (index, item) in items.iter().enumerate() {
            if matches!(item.value, Value::Table(_)) {
                rows.push(Row {
                    key: key.to_string(),
                    value: item.to_json(),
                    place: doc.place(&format!("/{key}/{index}")),
                });
            }
        }
    }
    rows
}

/// The rows of a file that another book does not have.
pub(super) fn rows_lost(
    path: &str,
    before: &dyn Source,
    after: &dyn Source,
) -> Result<Vec<Row>, LoadError> {
    let was = read(path, before)?
        .map(|doc| rows(&doc))
        .unwrap_or_default();
    let is = read(path, after)?.map(|doc| rows(&doc)).unwrap_or_default();
    Ok(was
        .into_iter()
        .filter(|row| {
            !is.iter()
                .any(|own| own.key == row.key && own.value == row.value)
        })
        .collect())
}

pub(super) fn has_row(path: &str, source: &dyn Source, row: &Row) -> Result<bool, LoadError> {
    let own = read(path, source)?
        .map(|doc| rows(&doc))
        .unwrap_or_default();
    Ok(own
        .iter()
        .any(|own| own.key == row.key && own.value == row.value))
}

/// A fact's text without what a change of it may do; `None` where it does no such thing.
#[derive(Default)]
pub(super) struct Allowed {
    /// Without rows that say why they are late, and with the corrected values as they were.
    pub without_both: Option<Vec<u8>>,
    pub without_corrections: Option<Vec<u8>>,
    pub without_late_rows: Option<Vec<u8>>,
}

pub(super) fn allowed(
    path: &str,
    before: &dyn Source,
    after: &dyn Source,
) -> Result<Allowed, LoadError> {
    let (Some(was), Some(is)) = (read(path, before)?, read(path, after)?) else {
        return Ok(Allowed::default());
    };
    let Ok(text) = is.text.as_str().parse::<DocumentMut>() else {
        return Ok(Allowed::default());
    };
    let known = rows(&was);
    let new = |row: &Row| {
        !known
            .iter()
            .any(|own| own.key == row.key && own.value == row.value)
    };
    let mut late: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    let mut corrections = Vec::new();
    let mut index = BTreeMap::new();
    for row in rows(&is) {
        let at: &mut usize = index.entry(row.key.clone()).or_default();
        let own = *at;
        *at += 1;
        if !new(&row) {
            continue;
        }
        let text = |key: &str| row.value.get(key).and_then(serde_json::Value::as_str);
        if row.key == "correction" {
            corrections.push(own);
        } else if text("late_reason").is_some_and(|reason| !reason.trim().is_empty()) {
            late.entry(row.key).or_default().push(own);
        }
    }
    let with = |doc: DocumentMut| Some(doc.to_string().into_bytes());
    let mut allowed = Allowed::default();
    if corrections.is_empty() && late.is_empty() {
        return Ok(allowed);
    }
    let mut uncorrected = text.clone();
    for own in &corrections {
        put_back(&mut uncorrected, &text, *own);
    }
    let mut in_time = text;
    let mut both = uncorrected.clone();
    for (key, rows) in &late {
        for doc in [&mut in_time, &mut both] {
            if let Some(array) = doc.get_mut(key).and_then(Item::as_array_of_tables_mut) {
                for row in rows
                    .iter()
                    .rev()
                    .filter(|row| **row < array.len())
                    .copied()
                    .collect::<Vec<_>>()
                {
                    array.remove(row);
                }
            }
        }
    }
    if !corrections.is_empty() {
        allowed.without_corrections = with(uncorrected);
    }
    if !late.is_empty() {
        allowed.without_late_rows = with(in_time);
    }
    allowed.without_both = with(both);
    Ok(allowed)
}

/// Undoes one correction: the value as the row says that it was.
fn put_back(doc: &mut DocumentMut, text: &DocumentMut, correction: usize) {
    let row = text
        .get("correction")
        .and_then(Item::as_array_of_tables)
        .and_then(|rows| rows.get(correction));
    let Some(row) = row else { return };
    let Some(key) = row.get("key").and_then(Item::as_str) else {
        return;
    };
    let steps: Vec<String> = key
        .split('/')
        .skip(1)
        .map(|step| step.replace("~1", "/").replace("~0", "~"))
        .collect();
    put(doc.as_table_mut(), &steps, row.get("was"));
}

fn put(table: &mut dyn TableLike, steps: &[String], was: Option<&Item>) {
    let [step, below @ ..] = steps else { return };
    let Some(index) = below.first() else {
        match was {
            Some(was) => drop(table.insert(step, was.clone())),
            None => drop(table.remove(step)),
        }
        return;
    };
    let index = index.parse::<usize>().ok();
    match table.get_mut(step) {
        Some(Item::ArrayOfTables(rows)) => {
            if let Some(row) = index.and_then(|index| rows.get_mut(index)) {
                put(row, &below[1..], was);
            }
        }
        Some(Item::Value(toml_edit::Value::Array(items))) => {
            let Some(item) = index.and_then(|index| items.get_mut(index)) else {
                return;
            };
            match (item, &below[1..], was.and_then(Item::as_value)) {
                (toml_edit::Value::InlineTable(row), below @ [_, ..], _) => put(row, below, was),
                (item, [], Some(was)) => *item = was.clone(),
                _ => {}
            }
        }
        Some(item) => {
            if let Some(table) = item.as_table_like_mut() {
                put(table, below, was);
            }
        }
        None => {}
    }
}

/// What a check rests on by name.
#[derive(Default)]
struct Names(Vec<(Kind, Arc<str>)>);

/// Which committed checks rest on a fact. Each check is read once, and only where a fact that checks can name has changed.
#[derive(Default)]
pub struct Rests {
    known: Mutex<BTreeMap<String, Arc<Names>>>,
}

impl Rests {
    /// The files of the checks of a book that rest on a fact and that nothing amends, in order.
    pub(super) fn on(
        &self,
        fact: &str,
        before: &dyn Source,
        after: &dyn Source,
    ) -> Result<Vec<String>, LoadError> {
        let Slot::Record(kind, id) = slot(fact) else {
            return Ok(Vec::new());
        };
        // Nothing could rest on what was not there; but a policy judges whoever it finds.
        if kind != Kind::Policy && before.what(fact)?.is_none() {
            return Ok(Vec::new());
        }
        let mut checks: BTreeSet<String> = before
            .list(Kind::Check.folder())?
            .into_iter()
            .map(|entry| entry.path)
            .filter(|path| matches!(record(path), Ok((Kind::Check, _))))
            .collect();
        let name = |path: &str| record(path).ok().and_then(|(_, id)| CheckName::parse(id));
        let amended: Vec<String> = checks
            .iter()
            .filter(|path| name(path).is_some_and(|name| checks.contains(&name.next().path())))
            .cloned()
            .collect();
        for path in amended {
            checks.remove(&path);
        }
        match kind {
            Kind::Book => {}
            Kind::Policy => {
                let from = effective(fact, before, after)?;
                // Of an amendment the time performed may be another than its name says.
                let later = |name: CheckName| {
                    name.amendment > 0 || from.is_none_or(|from| name.date >= from)
                };
                checks.retain(|path| name(path).is_none_or(later));
            }
            Kind::Instrument => {
                checks.retain(|path| name(path).is_some_and(|name| name.instrument == id));
            }
            _ => {
                let checks: Vec<String> = checks.into_iter().collect();
                let names = each_of(&checks, |path| self.names(path, before))?;
                return Ok(checks
                    .into_iter()
                    .zip(names)
                    .filter(|(_, names)| {
                        names
                            .0
                            .iter()
                            .any(|(own, name)| *own == kind && **name == *id)
                    })
                    .map(|(path, _)| path)
                    .collect());
            }
        }
        Ok(checks.into_iter().collect())
    }

    fn names(&self, path: &str, source: &dyn Source) -> Result<Arc<Names>, LoadError> {
        let known = || self.known.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(names) = known().get(path) {
            return Ok(names.clone());
        }
        let check = match source.read(path)? {
            Some(bytes) => parse::<Check>(path, bytes)?.record,
            None => None,
        };
        let names = Arc::new(check.as_ref().map(names_of).unwrap_or_default());
        known().insert(path.to_owned(), names.clone());
        Ok(names)
    }
}

fn names_of(check: &Check) -> Names {
    let own = |kind, id: &CompactString| (kind, Arc::from(id.as_str()));
    let mut names = vec![
        own(Kind::Fluid, &check.fluid),
        own(Kind::Person, &check.operator),
    ];
    for (kind, id) in [
        (Kind::Geometry, &check.geometry),
        (Kind::Thermometer, &check.thermometer),
        (Kind::Bath, &check.bath),
        (Kind::Person, &check.entered_by),
        (Kind::Person, &check.amended_by),
    ] {
        names.extend(id.as_ref().map(|id| own(kind, id)));
    }
    for deviation in &check.deviations {
        names.push(own(Kind::Person, &deviation.consent));
    }
    Names(names)
}

/// The day from which a policy judges, by the earlier of its two versions, and a day before it for any zone.
fn effective(
    fact: &str,
    before: &dyn Source,
    after: &dyn Source,
) -> Result<Option<Date>, LoadError> {
    let mut earliest: Option<Date> = None;
    for source in [before, after] {
        let Some(bytes) = source.read(fact)? else {
            continue;
        };
        match parse::<Policy>(fact, bytes)?.record {
            Some(policy) => {
                let day = policy.effective.yesterday().unwrap_or(policy.effective);
                earliest = Some(earliest.map_or(day, |known| known.min(day)));
            }
            // When a broken policy begins is not known.
            None => return Ok(None),
        }
    }
    Ok(earliest)
}
