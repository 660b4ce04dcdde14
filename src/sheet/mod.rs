//! What a spreadsheet or a text with separators holds: sheets of typed cells with their addresses. It knows nothing of checks.

pub mod csv;
pub mod read;
pub mod xlsx;

use jiff::civil::{Date, Time};

/// The largest file that is read, in bytes.
pub const MAX_FILE: u64 = 32 << 20;

/// The most that a workbook may unpack to, in bytes.
pub const MAX_UNPACKED: u64 = 256 << 20;

/// The most cells of one file that are read.
pub const MAX_CELLS: usize = 2_000_000;

/// A day, a time of day, or both, as a cell shows it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Moment {
    pub date: Option<Date>,
    pub time: Option<Time>,
    /// Minutes ahead of UTC, where the cell says so.
    pub offset_minutes: Option<i16>,
}

/// What stands in a cell. A blank one is not there.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    Text(String),
    /// A number that the workbook keeps as one.
    Number(Number),
    Flag(bool),
    Moment(Moment),
    /// An error value such as `#DIV/0!`, or a date that is none.
    Error(String),
    /// A formula whose result the file does not hold.
    Unworked,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Number {
    /// In decimal digits, as few as tell it from others.
    pub digits: String,
    /// Decimals that the cell's format shows at least.
    pub decimals: Option<usize>,
    /// The format shows it times a hundred, with a percent sign.
    pub percent: bool,
}

impl Number {
    /// The digits as they are shown: nothing is rounded, and zeros that the format shows are there.
    pub fn shown(&self) -> String {
        let digits = match self.percent {
            true => read::plain(&read::shifted(&self.digits, 2)),
            false => self.digits.clone(),
        };
        let wanted = self.decimals.unwrap_or(0);
        if digits.contains('e') || wanted == 0 {
            return digits;
        }
        let there = digits.split_once('.').map_or(0, |(_, after)| after.len());
        let zeros = "0".repeat(wanted.saturating_sub(there));
        match there {
            0 => format!("{digits}.{zeros}"),
            _ => digits + &zeros,
        }
    }
}

impl Cell {
    /// As a person sees it.
    pub fn shown(&self) -> String {
        match self {
            Cell::Text(text) | Cell::Error(text) => text.clone(),
            Cell::Number(number) if number.percent => format!("{} %", number.shown()),
            Cell::Number(number) => number.shown(),
            Cell::Flag(true) => "TRUE".to_owned(),
            Cell::Flag(false) => "FALSE".to_owned(),
            Cell::Moment(moment) => moment.to_string(),
            Cell::Unworked => "a formula without a result".to_owned(),
        }
    }

    /// What kind of thing it is, for a survey of a column.
    pub fn kind(&self) -> &'static str {
        match self {
            Cell::Text(_) => "text",
            Cell::Number(number) if number.percent => "percentage",
            Cell::Number(_) => "number",
            Cell::Flag(_) => "true or false",
            Cell::Moment(Moment { date: None, .. }) => "time of day",
            Cell::Moment(Moment { time: None, .. }) => "date",
            Cell::Moment(_) => "date and time",
            Cell::Error(_) => "error value",
            Cell::Unworked => "formula without a result",
        }
    }
}

impl std::fmt::Display for Moment {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let time = self.time.map(|time| match time.second() {
            0 => time.strftime("%H:%M"),
            _ => time.strftime("%H:%M:%S"),
        });
        match (self.date, time) {
            (Some(date), Some(time)) => write!(formatter, "{date} {time}"),
            (Some(date), None) => write!(formatter, "{date}"),
            (None, Some(time)) => write!(formatter, "{time}"),
            (None, None) => Ok(()),
        }
    }
}

/// A place in a sheet; both count from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct At {
    pub row: u32,
    pub column: u32,
}

impl std::fmt::Display for At {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "{}{}", letters(self.column), self.row)
    }
}

/// `A`, `B`, ... `AA` for columns counted from 1.
pub fn letters(column: u32) -> String {
    let mut rest = column;
    let mut backwards = Vec::new();
    while rest > 0 {
        let digit = u8::try_from((rest - 1) % 26).unwrap_or(0);
        backwards.push(char::from(b'A' + digit));
        rest = (rest - 1) / 26;
    }
    backwards.into_iter().rev().collect()
}

/// The column of some letters, counted from 1.
pub fn column(letters: &str) -> Option<u32> {
    if letters.is_empty() || letters.len() > 3 {
        return None;
    }
    letters.bytes().try_fold(0u32, |sum, letter| {
        let upper = letter.to_ascii_uppercase();
        let digit = upper
            .is_ascii_uppercase()
            .then(|| u32::from(upper - b'A'))?;
        Some(sum * 26 + digit + 1)
    })
}

/// The place that an address such as `B7` names.
pub fn at(address: &str) -> Option<At> {
    let split = address.find(|letter: char| letter.is_ascii_digit())?;
    let (letters, row) = address.split_at(split);
    let digits = row.bytes().all(|digit| digit.is_ascii_digit());
    let row: u32 = row.parse().ok().filter(|row| digits && *row > 0)?;
    Some(At {
        row,
        column: column(letters)?,
    })
}

/// Cells that are shown as one, whose content is that of the first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Merged {
    pub first: At,
    pub last: At,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    pub number: u32,
    /// By column, in order.
    pub cells: Vec<(u32, Cell)>,
}

impl Row {
    pub fn cell(&self, column: u32) -> Option<&Cell> {
        let found = self.cells.binary_search_by_key(&column, |(own, _)| *own);
        found
            .ok()
            .and_then(|index| self.cells.get(index))
            .map(|(_, cell)| cell)
    }
}

#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sheet {
    /// A text with separators has none.
    pub name: Option<String>,
    /// Rows with anything in them, in order.
    pub rows: Vec<Row>,
    pub merged: Vec<Merged>,
    pub hidden: bool,
}

impl Sheet {
    pub fn row(&self, number: u32) -> Option<&Row> {
        let found = self.rows.binary_search_by_key(&number, |row| row.number);
        found.ok().and_then(|index| self.rows.get(index))
    }

    pub fn cell(&self, at: At) -> Option<&Cell> {
        self.row(at.row)?.cell(at.column)
    }

    /// What is shown at a place: of merged cells what stands in the first of them.
    pub fn shown_at(&self, at: At) -> Option<&Cell> {
        self.cell(at).or_else(|| self.cell(self.first_of(at)?))
    }

    /// What is shown at a place: of cells that are merged down a column, what stands in the uppermost.
    pub fn merged_down(&self, at: At) -> Option<(At, &Cell)> {
        match self.cell(at) {
            Some(cell) => Some((at, cell)),
            None => {
                let first = self
                    .first_of(at)
                    .filter(|first| first.column == at.column)?;
                Some((first, self.cell(first)?))
            }
        }
    }

    fn first_of(&self, at: At) -> Option<At> {
        let holds = |merged: &&Merged| {
            (merged.first.row..=merged.last.row).contains(&at.row)
                && (merged.first.column..=merged.last.column).contains(&at.column)
        };
        self.merged.iter().find(holds).map(|merged| merged.first)
    }

    pub fn last_row(&self) -> u32 {
        self.rows.last().map_or(0, |row| row.number)
    }

    pub fn last_column(&self) -> u32 {
        let last = |row: &Row| row.cells.last().map_or(0, |(column, _)| *column);
        self.rows.iter().map(last).max().unwrap_or(0)
    }
}

/// Why a file cannot be read as sheets.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unreadable {
    pub why: String,
    pub help: String,
}

impl Unreadable {
    pub fn new(why: impl Into<String>, help: impl Into<String>) -> Unreadable {
        Unreadable {
            why: why.into(),
            help: help.into(),
        }
    }
}

/// What a file is by its first bytes, whatever its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A text with separators, as far as anybody can tell.
    Csv,
    Xlsx,
    /// A workbook of an older kind, or one that asks for a password.
    OldOrLocked,
    /// A spreadsheet of the OpenDocument kind.
    OpenDocument,
    /// No text at all.
    Other,
}

pub fn kind(bytes: &[u8]) -> Kind {
    const OPEN_DOCUMENT: &[u8] = b"application/vnd.oasis.opendocument.spreadsheet";
    let bom = encoding_rs::Encoding::for_bom(bytes).is_some();
    let head = bytes.get(..bytes.len().min(4096)).unwrap_or_default();
    match bytes {
        [0xd0, 0xcf, 0x11, 0xe0, ..] => Kind::OldOrLocked,
        [b'P', b'K', 3 | 5, ..] => {
            let mark = memchr::memmem::find(head, OPEN_DOCUMENT);
            match mark.is_some() {
                true => Kind::OpenDocument,
                false => Kind::Xlsx,
            }
        }
        [b'%', b'P', b'D', b'F', ..] => Kind::Other,
        // UTF-16 without its mark has zeros too; a person can say so in the map.
        _ if !bom && head.iter().filter(|byte| **byte == 0).count() * 4 > head.len() * 3 => {
            Kind::Other
        }
        _ => Kind::Csv,
    }
}

/// Why a file of this kind is read as nothing.
pub fn unfit(kind: Kind) -> Option<Unreadable> {
    match kind {
        Kind::Csv | Kind::Xlsx => None,
        Kind::OldOrLocked => Some(Unreadable::new(
            "this is a workbook of an older kind, or one that asks for a password",
            "open it, and save it as an XLSX workbook without a password, or as CSV",
        )),
        Kind::OpenDocument => Some(Unreadable::new(
            "this is an OpenDocument spreadsheet",
            "open it, and save it as an XLSX workbook or as CSV",
        )),
        Kind::Other => Some(Unreadable::new(
            "this is neither a text nor a workbook",
            "name a CSV file or an XLSX workbook; a printed or scanned sheet has to be typed",
        )),
    }
}

/// Bytes as people say them.
pub fn mebibytes(bytes: u64) -> String {
    format!("{} MiB", bytes >> 20)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    #[test]
    fn addresses_are_read_as_they_are_written() {
        for (column, text) in [
            (1, "A"),
            (26, "Z"),
            (27, "AA"),
            (52, "AZ"),
            (702, "ZZ"),
            (703, "AAA"),
            (16384, "XFD"),
        ] {
            assert_eq!(letters(column), text);
            assert_eq!(super::column(text), Some(column));
            assert_eq!(super::column(&text.to_lowercase()), Some(column));
        }
        assert_eq!(at("B7").map(|at| at.to_string()).as_deref(), Some("B7"));
        for text in [
            "",
            "7",
            "B",
            "B0",
            "7B",
            "B7C",
            "ABCD1",
            "B-1",
            "Ä1",
            "B99999999999",
        ] {
            assert_eq!(at(text), None, "{text}");
        }
    }

    fn number(digits: &str, decimals: Option<usize>, percent: bool) -> String {
        let digits = digits.to_owned();
        Number {
            digits,
            decimals,
            percent,
        }
        .shown()
    }

    #[test]
    fn zeros_that_a_format_shows_are_kept_and_nothing_is_rounded() {
        assert_eq!(number("516", Some(1), false), "516.0");
        assert_eq!(number("25.03", Some(1), false), "25.03");
        assert_eq!(number("25.5", Some(3), false), "25.500");
        assert_eq!(number("0.215", Some(1), true), "21.5");
        assert_eq!(number("0.2", Some(1), true), "20.0");
        assert_eq!(number("12", None, false), "12");
    }

    #[test]
    fn a_file_is_known_by_its_bytes() {
        assert_eq!(kind(b"Date;Time\r\n"), Kind::Csv);
        assert_eq!(kind(b"PK\x03\x04rest"), Kind::Xlsx);
        assert_eq!(kind(b"\xd0\xcf\x11\xe0\xa1\xb1"), Kind::OldOrLocked);
        assert_eq!(
            kind(b"PK\x03\x04....mimetypeapplication/vnd.oasis.opendocument.spreadsheetPK"),
            Kind::OpenDocument
        );
        assert_eq!(kind(b"%PDF-1.7"), Kind::Other);
        assert_eq!(kind(&[0; 64]), Kind::Other);
        assert_eq!(kind(b""), Kind::Csv);
    }

    #[test]
    fn merged_cells_show_their_first() {
        let at = |row, column| At { row, column };
        let sheet = Sheet {
            rows: vec![Row {
                number: 1,
                cells: vec![(1, Cell::Text("15 rpm".to_owned()))],
            }],
            merged: vec![Merged {
                first: at(1, 1),
                last: at(2, 2),
            }],
            ..Sheet::default()
        };
        assert_eq!(
            sheet.shown_at(at(2, 2)),
            Some(&Cell::Text("15 rpm".to_owned()))
        );
        assert_eq!(sheet.shown_at(at(3, 1)), None);
        // Down a column only: a reading is never spread sideways.
        assert!(sheet.merged_down(at(2, 1)).is_some());
        assert!(sheet.merged_down(at(1, 2)).is_none());
    }
}
