//! Reads the tree of a file as the typed records ask for it.

use super::{Doc, Fault, FaultKind};
use crate::measure::Exact;
use crate::parse::toml::{Node, Value, escape};
use crate::record::{Fields, Number, Stamp, When};
use compact_str::CompactString;
use jiff::civil;
#[cfg(test)]
use std::collections::BTreeSet;
use std::fmt::Write as _;
use toml::value::{Datetime, Offset};

pub(super) struct Table<'a> {
    doc: &'a Doc,
    node: &'a Node,
    notes: Notes,
    /// Where the next key probably stands: people keep to the order of the templates.
    next: usize,
}

/// To a table, or to a row of an array of tables.
struct Step {
    key: &'static str,
    row: Option<usize>,
}

#[derive(Default)]
struct Notes {
    faults: Vec<Fault>,
    lacking: Vec<String>,
    /// The way from the root to the table that is read.
    steps: Vec<Step>,
    /// The keys that the record knows, rows as `*`; the parity with the schema is tested by them.
    #[cfg(test)]
    asked: BTreeSet<String>,
}

impl<'a> Table<'a> {
    pub fn new(doc: &'a Doc) -> Table<'a> {
        Table {
            doc,
            node: &doc.root,
            notes: Notes::default(),
            next: 0,
        }
    }

    /// The faults of the file, and the keys that could not be read though the schema accepts them.
    pub fn finish(self) -> (Vec<Fault>, Vec<String>) {
        (self.notes.faults, self.notes.lacking)
    }

    #[cfg(test)]
    pub fn asked(self) -> BTreeSet<String> {
        self.notes.asked
    }

    /// The pointer to a key of the table. Few tables are asked for it.
    fn at(&self, key: &str) -> String {
        let mut pointer = String::new();
        for step in &self.notes.steps {
            let _ = write!(pointer, "/{}", escape(step.key));
            if let Some(row) = step.row {
                let _ = write!(pointer, "/{row}");
            }
        }
        let _ = write!(pointer, "/{}", escape(key));
        pointer
    }

    fn ask(&mut self, key: &str) -> Option<&'a Node> {
        #[cfg(test)]
        self.notes.asked.insert(shape(&self.at(key)));
        self.node.child_near(key, &mut self.next)
    }

    fn refuse(&mut self, pointer: &str, message: String, help: &str) {
        self.notes.faults.push(Fault {
            kind: FaultKind::Schema,
            place: self.doc.place(pointer),
            message,
            help: help.to_owned(),
            because: None,
        });
    }

    fn as_number(&mut self, node: &Node, key: &str, index: Option<usize>) -> Option<Number> {
        let written = match node.value {
            Value::Integer(_) | Value::LargeInteger | Value::Float(_) => {
                self.doc.text.slice(node.span)
            }
            _ => return None,
        };
        // On a line that is no TOML a value may stand nowhere.
        if written.is_empty() {
            return None;
        }
        match Exact::parse(written) {
            Some(value) => Some(Number {
                value,
                written: match written.contains('_') {
                    true => written.replace('_', "").into(),
                    false => written.into(),
                },
            }),
            None => {
                let pointer = match index {
                    Some(index) => format!("{}/{index}", self.at(key)),
                    None => self.at(key),
                };
                self.refuse(
                    &pointer,
                    format!("{written} is no figure that an instrument or a certificate shows"),
                    "write it with at most 64 characters and a sensible exponent",
                );
                None
            }
        }
    }

    fn as_time(&mut self, key: &str) -> Option<Datetime> {
        let node = self.ask(key)?;
        match &node.value {
            Value::Time(time) => Some(time.value),
            Value::Text(text) => {
                let text = text.clone();
                let pointer = self.at(key);
                self.refuse(
                    &pointer,
                    format!("{key} is a text here, \"{text}\", and must be a date or time of TOML"),
                    &format!("write {key} = {text} without the quotation marks"),
                );
                None
            }
            _ => None,
        }
    }

    fn as_stamp(&mut self, key: &str, time: &Datetime) -> Option<Stamp> {
        let stamp = stamp_of(time);
        if stamp.is_none() {
            let pointer = self.at(key);
            self.refuse(
                &pointer,
                format!("{time} is no date and time of the calendar"),
                "look at the day of the month and at the seconds",
            );
        }
        stamp
    }

    fn as_date(&mut self, key: &str, time: &Datetime) -> Option<civil::Date> {
        let date = time.date.and_then(|date| civil_date(&date));
        if date.is_none() {
            let pointer = self.at(key);
            self.refuse(
                &pointer,
                format!("{time} is no day of the calendar"),
                "look at the day of the month",
            );
        }
        date
    }

    fn within(&mut self, node: &'a Node, step: Step, read: &mut dyn FnMut(&mut dyn Fields)) {
        let mut inner = Table {
            doc: self.doc,
            node,
            notes: std::mem::take(&mut self.notes),
            next: 0,
        };
        inner.notes.steps.push(step);
        read(&mut inner);
        inner.notes.steps.pop();
        self.notes = inner.notes;
    }
}

#[cfg(test)]
fn shape(pointer: &str) -> String {
    let index = |step: &&str| step.parse::<usize>().is_ok();
    let steps: Vec<&str> = pointer
        .split('/')
        .map(|step| if index(&step) { "*" } else { step })
        .collect();
    steps.join("/")
}

fn civil_date(date: &toml::value::Date) -> Option<civil::Date> {
    let year = i16::try_from(date.year).ok()?;
    civil::Date::new(
        year,
        i8::try_from(date.month).ok()?,
        i8::try_from(date.day).ok()?,
    )
    .ok()
}

fn stamp_of(time: &Datetime) -> Option<Stamp> {
    let date = civil_date(&time.date?)?;
    let clock = time.time?;
    let wall = civil::Time::new(
        i8::try_from(clock.hour).ok()?,
        i8::try_from(clock.minute).ok()?,
        i8::try_from(clock.second.unwrap_or(0)).ok()?,
        i32::try_from(clock.nanosecond.unwrap_or(0)).ok()?,
    )
    .ok()?;
    Some(Stamp {
        wall: date.to_datetime(wall),
        offset_minutes: time.offset.map(|offset| match offset {
            Offset::Z => 0,
            Offset::Custom { minutes } => minutes,
        }),
    })
}

impl Fields for Table<'_> {
    fn written(&mut self, key: &'static str) -> Option<CompactString> {
        match &self.ask(key)?.value {
            Value::Text(text) => Some(text.clone()),
            Value::Time(..) => {
                let pointer = self.at(key);
                self.refuse(
                    &pointer,
                    format!("{key} is a date here and must be a text"),
                    "put quotation marks round it",
                );
                None
            }
            _ => None,
        }
    }

    fn opt_number(&mut self, key: &'static str) -> Option<Number> {
        let node = self.ask(key)?;
        self.as_number(node, key, None)
    }

    fn opt_integer(&mut self, key: &'static str) -> Option<i64> {
        match self.ask(key)?.value {
            Value::Integer(value) => Some(value),
            Value::Float(value) if value.fract() == 0.0 && value.abs() < 1e15 => {
                let pointer = self.at(key);
                self.refuse(
                    &pointer,
                    format!("{key} is a whole number and has no decimal point"),
                    &format!("write {key} = {value:.0}"),
                );
                None
            }
            Value::LargeInteger => {
                let pointer = self.at(key);
                self.refuse(
                    &pointer,
                    format!("{key} is larger than any real figure"),
                    "look at its digits",
                );
                None
            }
            _ => None,
        }
    }

    fn opt_flag(&mut self, key: &'static str) -> Option<bool> {
        match self.ask(key)?.value {
            Value::Flag(value) => Some(value),
            _ => None,
        }
    }

    fn opt_date(&mut self, key: &'static str) -> Option<civil::Date> {
        let time = self.as_time(key)?;
        self.as_date(key, &time)
    }

    fn opt_stamp(&mut self, key: &'static str) -> Option<Stamp> {
        let time = self.as_time(key)?;
        self.as_stamp(key, &time)
    }

    fn opt_when(&mut self, key: &'static str) -> Option<When> {
        let time = self.as_time(key)?;
        match time.time {
            None => self.as_date(key, &time).map(When::Date),
            Some(_) => self.as_stamp(key, &time).map(When::Time),
        }
    }

    fn opt_texts(&mut self, key: &'static str) -> Option<Vec<String>> {
        let Value::Array(items) = &self.ask(key)?.value else {
            return None;
        };
        let texts = items.iter().map(|item| match &item.value {
            Value::Text(text) => Some(text.as_str().to_owned()),
            _ => None,
        });
        texts.collect()
    }

    fn opt_numbers(&mut self, key: &'static str) -> Option<Vec<Number>> {
        let Value::Array(items) = &self.ask(key)?.value else {
            return None;
        };
        items
            .iter()
            .enumerate()
            .map(|(index, item)| self.as_number(item, key, Some(index)))
            .collect()
    }

    fn free_keys(&mut self, key: &'static str) -> Vec<(String, Option<i64>)> {
        match self.ask(key).map(|node| &node.value) {
            Some(Value::Table(entries)) => entries
                .iter()
                .map(|(name, node)| {
                    let value = match node.value {
                        Value::Integer(value) => Some(value),
                        _ => None,
                    };
                    (name.as_str().to_owned(), value)
                })
                .collect(),
            _ => Vec::new(),
        }
    }

    fn free_texts(&mut self, key: &'static str) -> Vec<(String, String)> {
        let Some(Value::Table(entries)) = self.ask(key).map(|node| &node.value) else {
            return Vec::new();
        };
        let texts = entries.iter().filter_map(|(name, node)| match &node.value {
            Value::Text(text) => Some((name.as_str().to_owned(), text.as_str().to_owned())),
            _ => None,
        });
        texts.collect()
    }

    fn table(&mut self, key: &'static str, read: &mut dyn FnMut(&mut dyn Fields)) {
        if let Some(node) = self.ask(key)
            && matches!(node.value, Value::Table(_))
        {
            self.within(node, Step { key, row: None }, read);
        }
    }

    fn rows(&mut self, key: &'static str, read: &mut dyn FnMut(&mut dyn Fields)) {
        let Some(Value::Array(items)) = self.ask(key).map(|node| &node.value) else {
            return;
        };
        for (index, item) in items.iter().enumerate() {
            let row = Some(index);
            self.within(item, Step { key, row }, read);
        }
    }

    fn known(&mut self, key: &'static str) {
        self.ask(key);
    }

    fn lacks(&mut self, key: &'static str) {
        let pointer = self.at(key);
        self.notes.lacking.push(pointer);
    }
}
