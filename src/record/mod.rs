//! The typed records, one file a kind. A record holds plain values; where a value stands is known to its document, by pointer.

pub mod bath;
pub mod book;
pub mod candidate;
pub mod check;
pub mod fluid;
pub mod geometry;
pub mod instrument;
pub mod nonconformity;
pub mod person;
pub mod policy;
pub mod review;
pub mod thermometer;

use crate::measure::Exact;
use compact_str::CompactString;
use jiff::civil;

/// A number with the digits that were written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Number {
    pub value: Exact,
    pub written: CompactString,
}

impl Number {
    /// The unit of the last digit that was written: 0.1 for `516.0`.
    pub fn last_digit(&self) -> Exact {
        Exact::last_digit(&self.written).unwrap_or_else(Exact::zero)
    }
}

impl std::fmt::Display for Number {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str(&self.written)
    }
}

/// A time as written: with an offset, or as wall time in the book's zone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    pub wall: civil::DateTime,
    pub offset_minutes: Option<i16>,
}

/// The `from` or `date` of a dated row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    Date(civil::Date),
    Time(Stamp),
}

impl std::fmt::Display for Stamp {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // Seconds and their parts where there are any.
        let pattern = match (self.wall.second(), self.wall.subsec_nanosecond()) {
            (0, 0) => "%Y-%m-%d %H:%M",
            _ => "%Y-%m-%d %H:%M:%S%.f",
        };
        write!(formatter, "{}", self.wall.strftime(pattern))?;
        if let Some(offset) = self.offset_minutes {
            let sign = if offset < 0 { '-' } else { '+' };
            let size = offset.unsigned_abs();
            write!(formatter, "{sign}{:02}:{:02}", size / 60, size % 60)?;
        }
        Ok(())
    }
}

impl std::fmt::Display for When {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            When::Date(date) => date.fmt(formatter),
            When::Time(stamp) => stamp.fmt(formatter),
        }
    }
}

/// A word out of a fixed list, as the schema lists it.
pub trait Word: Sized + Copy + 'static {
    const ALL: &'static [(&'static str, Self)];

    fn from_word(word: &str) -> Option<Self> {
        Self::ALL
            .iter()
            .find(|(name, _)| *name == word)
            .map(|(_, value)| *value)
    }
}

/// Declares an enumeration whose words are those of the schema.
macro_rules! words {
    ($(#[$meta:meta])* $name:ident { $($variant:ident = $word:literal),+ $(,)? }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum $name { $($variant),+ }

        impl $crate::record::Word for $name {
            const ALL: &'static [(&'static str, $name)] = &[$(($word, $name::$variant)),+];
        }

        impl $name {
            pub fn word(self) -> &'static str {
                match self { $($name::$variant => $word),+ }
            }
        }
    };
}
pub(crate) use words;

/// One kind of record: which schema describes it and how it is read.
pub trait Record: Sized + Send + Sync {
    const KIND: Kind;

    fn read(fields: &mut dyn Fields) -> Option<Self>;
}

words! {
    /// The kinds of record, named as their schemas are.
    Kind {
        Book = "book",
        Policy = "policy",
        Person = "person",
        Instrument = "instrument",
        Geometry = "geometry",
        Fluid = "fluid",
        Thermometer = "thermometer",
        Bath = "bath",
        Check = "check",
        Review = "review",
        Nonconformity = "nonconformity",
    }
}

impl Kind {
    /// The folder that holds the records of this kind; the marker has none.
    pub fn folder(self) -> &'static str {
        match self {
            Kind::Book => "",
            Kind::Policy => "policies",
            Kind::Person => "people",
            Kind::Instrument => "instruments",
            Kind::Geometry => "geometries",
            Kind::Fluid => "fluids",
            Kind::Thermometer => "thermometers",
            Kind::Bath => "baths",
            Kind::Check => "checks",
            Kind::Review => "reviews",
            Kind::Nonconformity => "nonconformities",
        }
    }

    /// How a sentence names one record of this kind.
    pub fn noun(self) -> &'static str {
        match self {
            Kind::Book => "book",
            Kind::Fluid => "fluid lot",
            other => other.word(),
        }
    }
}

/// A table of a file, as the records read it. A required key that is missing or of another type makes the reading `None`;
/// the schema has refused such a file before.
pub trait Fields {
    /// The text of a key, which nearly always is short.
    fn written(&mut self, key: &'static str) -> Option<CompactString>;
    fn opt_number(&mut self, key: &'static str) -> Option<Number>;
    fn opt_integer(&mut self, key: &'static str) -> Option<i64>;
    fn opt_flag(&mut self, key: &'static str) -> Option<bool>;
    fn opt_date(&mut self, key: &'static str) -> Option<civil::Date>;
    fn opt_stamp(&mut self, key: &'static str) -> Option<Stamp>;
    fn opt_when(&mut self, key: &'static str) -> Option<When>;
    fn opt_texts(&mut self, key: &'static str) -> Option<Vec<String>>;
    fn opt_numbers(&mut self, key: &'static str) -> Option<Vec<Number>>;
    /// The keys of a table whose keys the laboratory chooses.
    fn free_keys(&mut self, key: &'static str) -> Vec<(String, Option<i64>)>;
    /// The texts of such a table.
    fn free_texts(&mut self, key: &'static str) -> Vec<(String, String)>;
    /// Reads a table; `None` where there is none.
    fn table(&mut self, key: &'static str, read: &mut dyn FnMut(&mut dyn Fields));
    /// Reads each row of an array of tables.
    fn rows(&mut self, key: &'static str, read: &mut dyn FnMut(&mut dyn Fields));
    /// Notes that a key is known though nothing of it is kept.
    fn known(&mut self, key: &'static str);
    /// Notes that a required key could not be read.
    fn lacks(&mut self, key: &'static str);
}

impl dyn Fields + '_ {
    pub fn opt_text<T: From<CompactString>>(&mut self, key: &'static str) -> Option<T> {
        self.written(key).map(T::from)
    }

    pub fn text<T: From<CompactString>>(&mut self, key: &'static str) -> Option<T> {
        let value = self.opt_text(key);
        self.required(key, value)
    }

    pub fn number(&mut self, key: &'static str) -> Option<Number> {
        let value = self.opt_number(key);
        self.required(key, value)
    }

    pub fn integer(&mut self, key: &'static str) -> Option<i64> {
        let value = self.opt_integer(key);
        self.required(key, value)
    }

    pub fn flag(&mut self, key: &'static str) -> Option<bool> {
        let value = self.opt_flag(key);
        self.required(key, value)
    }

    pub fn date(&mut self, key: &'static str) -> Option<civil::Date> {
        let value = self.opt_date(key);
        self.required(key, value)
    }

    pub fn stamp(&mut self, key: &'static str) -> Option<Stamp> {
        let value = self.opt_stamp(key);
        self.required(key, value)
    }

    pub fn when(&mut self, key: &'static str) -> Option<When> {
        let value = self.opt_when(key);
        self.required(key, value)
    }

    pub fn texts(&mut self, key: &'static str) -> Option<Vec<String>> {
        let value = self.opt_texts(key);
        self.required(key, value)
    }

    pub fn opt_word<W: Word>(&mut self, key: &'static str) -> Option<W> {
        self.written(key).and_then(|word| W::from_word(&word))
    }

    pub fn word<W: Word>(&mut self, key: &'static str) -> Option<W> {
        let value = self.opt_word(key);
        self.required(key, value)
    }

    /// The rows of an array of tables; a row that cannot be read is left out and has been noted.
    pub fn list<T>(
        &mut self,
        key: &'static str,
        read: impl Fn(&mut dyn Fields) -> Option<T>,
    ) -> Vec<T> {
        let mut list = Vec::new();
        self.rows(key, &mut |row| list.extend(read(row)));
        list
    }

    pub fn sub<T>(
        &mut self,
        key: &'static str,
        read: impl Fn(&mut dyn Fields) -> Option<T>,
    ) -> Option<T> {
        let mut found = None;
        self.table(key, &mut |table| found = read(table));
        found
    }

    pub fn required_sub<T>(
        &mut self,
        key: &'static str,
        read: impl Fn(&mut dyn Fields) -> Option<T>,
    ) -> Option<T> {
        let value = self.sub(key, read);
        self.required(key, value)
    }

    /// The keys every file has: `format` is judged before, `note` is the reader's.
    pub fn common(&mut self) {
        self.known("format");
        self.known("note");
    }

    fn required<T>(&mut self, key: &'static str, value: Option<T>) -> Option<T> {
        if value.is_none() {
            self.lacks(key);
        }
        value
    }
}

/// Says that a fact was corrected: which key, what it was, why, by whom and when.
#[derive(Clone, Debug)]
pub struct Correction {
    pub key: String,
    pub reason: String,
    pub by: String,
    pub date: When,
}

pub fn corrections(fields: &mut dyn Fields) -> Vec<Correction> {
    fields.list("correction", |row| {
        row.known("was");
        Some(Correction {
            key: row.text("key")?,
            reason: row.text("reason")?,
            by: row.text("by")?,
            date: row.when("date")?,
        })
    })
}

/// A row that says from when something may or may not be used.
#[derive(Clone, Debug)]
pub struct Standing {
    pub from: When,
    pub state: State,
    pub by: String,
    pub reason: Option<String>,
}

words! {
    State {
        InService = "in-service",
        Usable = "usable",
        Quarantined = "quarantined",
        Withdrawn = "withdrawn",
    }
}

pub fn standings(fields: &mut dyn Fields) -> Vec<Standing> {
    fields.list("standing", |row| {
        row.known("late_reason");
        Some(Standing {
            from: row.when("from")?,
            state: row.word("state")?,
            by: row.text("by")?,
            reason: row.opt_text("reason"),
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_keeps_its_seconds_where_it_has_any() {
        let shown = |text: &str, offset_minutes| {
            let wall = text.parse().expect("time");
            Stamp {
                wall,
                offset_minutes,
            }
            .to_string()
        };
        assert_eq!(shown("2026-11-24T14:15:00", None), "2026-11-24 14:15");
        assert_eq!(shown("2026-11-24T14:15:30", None), "2026-11-24 14:15:30");
        assert_eq!(
            shown("2026-11-24T14:15:00.5", Some(-90)),
            "2026-11-24 14:15:00.5-01:30"
        );
    }
}
