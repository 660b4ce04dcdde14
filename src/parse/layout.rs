//! What a path says: the only place that knows how a book's folders are laid out.

use crate::record::{Kind, Word};
use jiff::civil;

/// The name of the marker at the root of a book.
pub const MARKER: &str = "shearbook.toml";

/// What stands at a path of the book.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Slot {
    /// A record of this kind with this id: of a check `<instrument>/<name>`, of a review its path below `reviews`.
    Record(Kind, String),
    /// A file in a record folder that is no record.
    Stray,
    /// None of the tool's business.
    Elsewhere,
}

/// What the path of a file, relative to the book's root, says of it.
pub fn slot(path: &str) -> Slot {
    if path == MARKER {
        return Slot::Record(Kind::Book, String::new());
    }
    match record(path) {
        Ok((kind, id)) => Slot::Record(kind, id.to_owned()),
        Err(slot) => slot,
    }
}

/// The kind and id of the record at a path below a record folder, the id as a part of the path; else what stands there.
pub fn record(path: &str) -> Result<(Kind, &str), Slot> {
    let (folder, below) = first_step(path).ok_or(Slot::Elsewhere)?;
    let kind = folder_kind(folder).ok_or(Slot::Elsewhere)?;
    let bytes = below.as_bytes();
    if bytes.starts_with(b".") || bytes.windows(2).any(|two| two == b"/.") {
        return Err(Slot::Elsewhere);
    }
    let stem = below.strip_suffix(".toml").ok_or(Slot::Stray)?;
    match (kind, bytes.iter().filter(|byte| **byte == b'/').count()) {
        (Kind::Check, 2) => {
            let (_, id) = first_step(stem).ok_or(Slot::Stray)?;
            Ok((kind, id))
        }
        (Kind::Review, 3) => Ok((kind, stem)),
        (Kind::Check | Kind::Review, _) => Err(Slot::Stray),
        (_, 0) => Ok((kind, stem)),
        _ => Err(Slot::Stray),
    }
}

/// The first step of a path, and what stands below it. Paths are short, and every file of a book has one.
fn first_step(path: &str) -> Option<(&str, &str)> {
    let at = path.bytes().position(|byte| byte == b'/')?;
    Some((path.get(..at)?, path.get(at + 1..)?))
}

/// The kinds that have a folder, in the order in which a book is read.
pub fn folder_kinds() -> impl Iterator<Item = Kind> {
    Kind::ALL
        .iter()
        .map(|(_, kind)| *kind)
        .filter(|kind| !kind.folder().is_empty())
}

pub fn folder_kind(folder: &str) -> Option<Kind> {
    folder_kinds().find(|kind| kind.folder() == folder)
}

/// The path of a record that is named by its id.
pub fn path_of(kind: Kind, id: &str) -> String {
    format!("{}/{id}.toml", kind.folder())
}

/// A number below ten thousand, with zeros in front.
fn push_digits(to: &mut String, number: u16, places: u32) {
    for place in (0..places).rev() {
        let digit = number / 10_u16.pow(place) % 10;
        to.push(char::from(b'0' + digit as u8));
    }
}

/// A check's id taken apart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CheckName {
    pub instrument: String,
    pub date: civil::Date,
    /// `HHMM`.
    pub clock: String,
    /// The number of the amendment; 0 for the first record.
    pub amendment: u32,
}

impl CheckName {
    /// `None` where the id is not `<instrument>/<YYYY-MM-DD-HHMM>` with or without `.aN`.
    pub fn parse(id: &str) -> Option<CheckName> {
        let (instrument, name) = first_step(id)?;
        let digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
        let date = name.get(..10)?;
        let clock = name.get(11..15)?;
        if name.as_bytes().get(10) != Some(&b'-') || !digits(clock) {
            return None;
        }
        let (hour, minute) = (clock.get(..2)?, clock.get(2..)?);
        if hour > "23" || minute > "59" {
            return None;
        }
        let amendment = match name.get(15..)? {
            "" => 0,
            rest => {
                let number = rest.strip_prefix(".a")?;
                if number.starts_with('0') || !digits(number) {
                    return None;
                }
                number.parse().ok()?
            }
        };
        let date: civil::Date = date.parse().ok()?;
        Some(CheckName {
            instrument: instrument.to_owned(),
            date,
            clock: clock.to_owned(),
            amendment,
        })
    }

    pub fn id(&self) -> String {
        let mut id = String::with_capacity(self.instrument.len() + 24);
        self.write_id(&mut id);
        id
    }

    /// Without the formatter: every check of a book asks for that of its amendment.
    fn write_id(&self, to: &mut String) {
        to.push_str(&self.instrument);
        to.push('/');
        push_digits(to, self.date.year().unsigned_abs(), 4);
        to.push('-');
        push_digits(to, self.date.month().unsigned_abs().into(), 2);
        to.push('-');
        push_digits(to, self.date.day().unsigned_abs().into(), 2);
        to.push('-');
        to.push_str(&self.clock);
        if self.amendment > 0 {
            to.push_str(".a");
            to.push_str(&self.amendment.to_string());
        }
    }

    pub fn path(&self) -> String {
        let mut path = String::with_capacity(self.instrument.len() + 44);
        path.push_str("checks/");
        push_digits(&mut path, self.date.year().unsigned_abs(), 4);
        path.push('/');
        self.write_id(&mut path);
        path.push_str(".toml");
        path
    }

    /// Counted from midnight.
    pub fn minute_of_day(&self) -> Option<i32> {
        let part = |text: Option<&str>| text?.parse::<i32>().ok();
        Some(part(self.clock.get(..2))? * 60 + part(self.clock.get(2..))?)
    }

    /// The record that an amendment of this one would be.
    pub fn next(&self) -> CheckName {
        CheckName {
            amendment: self.amendment.saturating_add(1),
            ..self.clone()
        }
    }

    /// The record that this amendment amends; `None` of a first record.
    pub fn previous(&self) -> Option<CheckName> {
        Some(CheckName {
            amendment: self.amendment.checked_sub(1)?,
            ..self.clone()
        })
    }

    /// The folder of the reviews of this check.
    pub fn reviews_folder(&self) -> String {
        format!("reviews/{:04}/{}", self.date.year(), self.id())
    }
}

/// The check whose review stands at a path.
pub fn reviewed_check(path: &str) -> Option<CheckName> {
    let (folder, _) = path.rsplit_once('/')?;
    let (_, id) = folder.strip_prefix("reviews/")?.split_once('/')?;
    CheckName::parse(id).filter(|name| name.reviews_folder() == folder)
}

/// The path at which a check's id says that it stands, whether or not the id is well formed.
pub fn check_path(id: &str) -> Option<String> {
    CheckName::parse(id).map(|name| name.path())
}

/// The record folder or marker that a name in the book's root is but for its case; such a name is the same on some disks.
pub fn twin(name: &str) -> Option<&'static str> {
    let folders = Kind::ALL.iter().map(|(_, kind)| kind.folder());
    let mut all = folders.filter(|folder| !folder.is_empty()).chain([MARKER]);
    all.find(|own| own.eq_ignore_ascii_case(name) && *own != name)
}

/// The most characters of an id.
const LONGEST_ID: usize = 64;

/// Whether a stem is a name that a disk somewhere refuses, or no id at all; says why, and what would be one.
pub fn unfit_id(id: &str) -> Option<String> {
    let why = unfit(id)?;
    let near = near_id(id);
    Some(match unfit(&near) {
        None => format!("{why}; {near} would be one"),
        Some(_) => why,
    })
}

fn unfit(id: &str) -> Option<String> {
    const HAS: &str =
        "an id has the letters A to Z without accents, digits, points, hyphens and underscores";
    let fits = |at: char| at.is_ascii_alphanumeric() || matches!(at, '.' | '_' | '-');
    if let Some(other) = id.chars().find(|at| !fits(*at)) {
        let other = match other {
            ' ' => "a blank".to_owned(),
            other if other.is_control() || other.is_whitespace() => {
                "a character that cannot be seen".to_owned()
            }
            other => other.to_string(),
        };
        return Some(format!("{HAS}, but not {other}"));
    }
    match id.chars().next() {
        None => return Some(format!("{HAS}; it is empty")),
        Some(first) if !first.is_ascii_alphanumeric() => {
            return Some(format!(
                "an id begins with a letter or digit, not with {first}"
            ));
        }
        Some(_) => {}
    }
    if id.len() > LONGEST_ID {
        return Some(format!(
            "an id has at most {LONGEST_ID} characters, and this has {}",
            id.len()
        ));
    }
    if id.ends_with('.') {
        return Some("an id does not end in a point: some disks drop it".to_owned());
    }
    let base = id.split('.').next().unwrap_or("").to_ascii_uppercase();
    let numbered = base.len() == 4
        && (base.starts_with("COM") || base.starts_with("LPT"))
        && base.as_bytes()[3].is_ascii_digit()
        && !base.ends_with('0');
    if numbered || matches!(base.as_str(), "CON" | "PRN" | "AUX" | "NUL") {
        return Some(
            "this name is reserved on Windows disks, and a book must survive any disk".to_owned(),
        );
    }
    None
}

/// The id nearest to a text: its letters without accents, a hyphen for what else does not fit. It may still be none.
fn near_id(id: &str) -> String {
    let mut near = String::new();
    for letter in deunicode::deunicode(id.trim()).chars() {
        match letter {
            letter if letter.is_ascii_alphanumeric() || matches!(letter, '.' | '_' | '-') => {
                near.push(letter);
            }
            _ if near.ends_with('-') => {}
            _ => near.push('-'),
        }
    }
    let near = near.trim_matches(|at: char| !at.is_ascii_alphanumeric());
    near.chars().take(LONGEST_ID).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_says_what_a_file_is() {
        assert_eq!(
            slot("shearbook.toml"),
            Slot::Record(Kind::Book, String::new())
        );
        assert_eq!(
            slot("fluids/K-1.toml"),
            Slot::Record(Kind::Fluid, "K-1".to_owned())
        );
        assert_eq!(
            slot("checks/2026/VM-1/2026-03-02-0900.toml"),
            Slot::Record(Kind::Check, "VM-1/2026-03-02-0900".to_owned())
        );
        assert_eq!(slot("checks/2026/2026-03-02-0900.toml"), Slot::Stray);
        assert_eq!(
            slot("checks/2026/VM-1/deep/2026-03-02-0900.toml"),
            Slot::Stray
        );
        assert_eq!(slot("fluids/K-1.txt"), Slot::Stray);
        assert_eq!(slot("fluids/.K-1.toml"), Slot::Elsewhere);
        assert_eq!(slot("notes/a.toml"), Slot::Elsewhere);
        assert!(matches!(
            slot("reviews/2026/VM-1/2026-03-02-0900/qa-02-1.toml"),
            Slot::Record(Kind::Review, _)
        ));
        assert!(matches!(
            slot("reviews/records/fluids/K-1/qa-02-1.toml"),
            Slot::Record(Kind::Review, _)
        ));
        assert_eq!(slot("reviews/2026/qa-02-1.toml"), Slot::Stray);
    }

    #[test]
    fn a_check_name_comes_apart_and_together() {
        let name = CheckName::parse("VM-1/2026-03-02-0900.a2").expect("name");
        assert_eq!(name.amendment, 2);
        assert_eq!(name.id(), "VM-1/2026-03-02-0900.a2");
        assert_eq!(name.path(), "checks/2026/VM-1/2026-03-02-0900.a2.toml");
        assert_eq!(
            name.previous().map(|name| name.id()),
            Some("VM-1/2026-03-02-0900.a1".to_owned())
        );
        for wrong in [
            "VM-1/2026-03-02-09000",
            "VM-1/2026-13-02-0900",
            "VM-1/2026-03-02-2400",
            "VM-1/2026-03-02-0960",
            "VM-1/2026-03-02-0900.a0",
            "VM-1/2026-03-02-0900.a",
            "VM-1/2026-03-02_0900",
            "VM-1",
            "VM-1/ä026-03-02-0900",
        ] {
            assert_eq!(CheckName::parse(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn ids_survive_any_disk() {
        for good in ["VM-014", "2026-01", "a", "COM0", "COM10", "CONSOLE"] {
            assert_eq!(unfit_id(good), None, "{good}");
        }
        for bad in ["", "-a", "a b", "a.", "CON", "con.x", "Lpt1", "ä", "a/b"] {
            assert!(unfit_id(bad).is_some(), "{bad}");
        }
        let says = |id: &str| unfit_id(id).expect(id);
        for (id, what, near) in [
            ("Küvette", "but not ü", Some("Kuvette")),
            ("K 22", "but not a blank", Some("K-22")),
            ("K/22", "but not /", Some("K-22")),
            ("K\t22", "cannot be seen", Some("K-22")),
            ("-K22", "not with -", Some("K22")),
            ("K22.", "end in a point", Some("K22")),
            ("К22", "but not К", Some("K22")),
            ("", "it is empty", None),
            ("nul", "reserved", None),
        ] {
            let why = says(id);
            assert!(why.contains(what), "{why}");
            match near {
                Some(near) => assert!(why.ends_with(&format!("; {near} would be one")), "{why}"),
                None => assert!(!why.contains("would be one"), "{why}"),
            }
        }
        assert!(says(&"a".repeat(65)).contains("and this has 65"));
        assert_eq!(unfit_id(&"a".repeat(64)), None);
    }

    #[test]
    fn every_kind_but_the_marker_has_a_folder() {
        assert_eq!(folder_kinds().count(), Kind::ALL.len() - 1);
    }
}
