//! Texts with separators, as spreadsheets and instruments write them: quotation marks, any line ends, any encoding.

use super::{Cell, MAX_CELLS, Row, Sheet, Unreadable};
use encoding_rs::{Encoding, UTF_8};

/// The text of a file's bytes. A byte order mark decides; else what was said, and UTF-8 where nothing was.
pub fn decoded(bytes: &[u8], said: Option<&str>) -> Result<String, Unreadable> {
    let named = match said {
        Some(name) => Some(Encoding::for_label(name.as_bytes()).ok_or_else(|| {
            Unreadable::new(
                format!("there is no encoding {name}"),
                "write utf-8, windows-1252, utf-16le or another name of a text encoding",
            )
        })?),
        None => None,
    };
    if let Some((marked, length)) = Encoding::for_bom(bytes) {
        if let Some(named) = named.filter(|named| *named != marked) {
            return Err(Unreadable::new(
                format!(
                    "the file begins with the mark of {}, and the map says {}",
                    marked.name(),
                    named.name()
                ),
                format!(
                    "write encoding = \"{}\" in the map",
                    marked.name().to_lowercase()
                ),
            ));
        }
        return whole(bytes.get(length..).unwrap_or_default(), marked);
    }
    let used = named.unwrap_or(UTF_8);
    whole(bytes, used).map_err(|mut unreadable| {
        if said.is_none() {
            unreadable.help = "spreadsheets often write CSV in another encoding: try encoding = \"windows-1252\" in the map, and look whether accents and degree signs come out right".to_owned();
        }
        unreadable
    })
}

fn whole(bytes: &[u8], encoding: &'static Encoding) -> Result<String, Unreadable> {
    if encoding == UTF_8 {
        return std::str::from_utf8(bytes)
            .map(str::to_owned)
            .map_err(|error| {
                let before = bytes.get(..error.valid_up_to()).unwrap_or_default();
                let line = memchr::memchr_iter(b'\n', before).count() + 1;
                Unreadable::new(
                    format!("line {line} of the file is not UTF-8 text"),
                    "say in the map by which encoding the file was written",
                )
            });
    }
    let text = encoding.decode_without_bom_handling_and_without_replacement(bytes);
    text.map(|text| text.into_owned()).ok_or_else(|| {
        Unreadable::new(
            format!("the file is no text in {}", encoding.name()),
            "say in the map by which encoding the file was written",
        )
    })
}

/// The rows of a text, each with its number as a spreadsheet counts it: blank lines count, and lines within quotation marks do not.
pub fn sheet(text: &str, separator: char) -> Result<Sheet, Unreadable> {
    let mut reader = Reader {
        rest: text.chars().peekable(),
        line: 1,
        separator,
    };
    let mut rows = Vec::new();
    let mut number = 0u32;
    let mut cells = 0;
    while reader.rest.peek().is_some() {
        number = number.saturating_add(1);
        let (row, _) = reader.row(number)?;
        cells += row.len();
        if cells > MAX_CELLS {
            return Err(too_many());
        }
        if !row.is_empty() {
            rows.push(Row { number, cells: row });
        }
    }
    Ok(Sheet {
        rows,
        ..Sheet::default()
    })
}

/// How many columns each row has that is not blank, counting blank cells; `None` where the separator does not fit the text.
pub fn widths(text: &str, separator: char) -> Option<Vec<u32>> {
    let mut reader = Reader {
        rest: text.chars().peekable(),
        line: 1,
        separator,
    };
    let mut widths = Vec::new();
    while reader.rest.peek().is_some() && widths.len() < MAX_CELLS {
        let (row, width) = reader.row(1).ok()?;
        if !row.is_empty() {
            widths.push(width);
        }
    }
    Some(widths)
}

pub(super) fn too_many() -> Unreadable {
    Unreadable::new(
        format!("the file has more than {MAX_CELLS} cells"),
        "split it, and import the parts one by one",
    )
}

struct Reader<'a> {
    rest: std::iter::Peekable<std::str::Chars<'a>>,
    line: u32,
    separator: char,
}

impl Reader<'_> {
    /// The cells of one row that are not blank, and the number of its columns.
    fn row(&mut self, number: u32) -> Result<(Vec<(u32, Cell)>, u32), Unreadable> {
        let mut cells = Vec::new();
        let mut column = 1u32;
        loop {
            let field = self.field(number)?;
            if !field.trim().is_empty() {
                cells.push((column, Cell::Text(field)));
            }
            match self.rest.next() {
                Some(next) if next == self.separator => column = column.saturating_add(1),
                next => {
                    if next == Some('\r') && self.rest.peek() == Some(&'\n') {
                        self.rest.next();
                    }
                    self.line += 1;
                    return Ok((cells, column));
                }
            }
        }
    }

    fn at_end(&mut self) -> bool {
        let next = self.rest.peek();
        next.is_none_or(|next| *next == self.separator || matches!(next, '\r' | '\n'))
    }

    fn field(&mut self, number: u32) -> Result<String, Unreadable> {
        let mut field = String::new();
        if self.rest.peek() != Some(&'"') {
            while !self.at_end() {
                field.extend(self.rest.next());
            }
            return Ok(field);
        }
        self.rest.next();
        let opened = self.line;
        loop {
            match self.rest.next() {
                Some('"') if self.rest.peek() == Some(&'"') => {
                    self.rest.next();
                    field.push('"');
                }
                Some('"') => break,
                Some(next) => {
                    self.line += u32::from(next == '\n');
                    field.push(next);
                }
                None => {
                    return Err(Unreadable::new(
                        format!(
                            "a quotation mark that opens in row {number}, line {opened} of the file, is never closed"
                        ),
                        "close it, or double it where it belongs to the text; all that follows would else be one cell",
                    ));
                }
            }
        }
        while !self.at_end() {
            let next = self.rest.next();
            if next.is_some_and(|next| !next.is_whitespace()) {
                return Err(Unreadable::new(
                    format!(
                        "in row {number}, line {} of the file, something follows a closed quotation mark",
                        self.line
                    ),
                    "double the quotation marks that belong to the text, or look whether the separator is the right one",
                ));
            }
        }
        Ok(field)
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    fn rows(text: &str, separator: char) -> Vec<(u32, Vec<(u32, String)>)> {
        let sheet = sheet(text, separator).expect("read");
        let cells = |row: &Row| {
            row.cells
                .iter()
                .map(|(column, cell)| (*column, cell.shown()))
                .collect()
        };
        sheet
            .rows
            .iter()
            .map(|row| (row.number, cells(row)))
            .collect()
    }

    fn text(column: u32, text: &str) -> (u32, String) {
        (column, text.to_owned())
    }

    #[test]
    fn rows_are_counted_as_a_spreadsheet_counts_them() {
        let held = "a;\"b\nc\";d\r\n\r\n;;\nlast;\"x\"\"y\" ";
        let read = rows(held, ';');
        assert_eq!(
            read,
            [
                (1, vec![text(1, "a"), text(2, "b\nc"), text(3, "d")]),
                (4, vec![text(1, "last"), text(2, "x\"y")]),
            ]
        );
        // Old line ends, and a mark within a text that opens none.
        assert_eq!(
            rows("5\" bob\ra", ';'),
            [(1, vec![text(1, "5\" bob")]), (2, vec![text(1, "a")])]
        );
        assert_eq!(rows("", ';'), []);
    }

    #[test]
    fn a_quotation_mark_that_is_never_closed_swallows_nothing() {
        let error = sheet("a;b\n\"c;d\ne;f\n", ';').expect_err("open");
        assert!(error.why.contains("row 2"), "{}", error.why);
        let error = sheet("a;\"b\"c;d\n", ';').expect_err("after");
        assert!(error.why.contains("row 1"), "{}", error.why);
    }

    #[test]
    fn bytes_are_read_by_their_mark_or_by_what_is_said() {
        let windows = b"T \xb0C\n";
        let error = decoded(windows, None).expect_err("no UTF-8");
        assert!(error.help.contains("windows-1252"), "{}", error.help);
        assert_eq!(
            decoded(windows, Some("windows-1252")).as_deref(),
            Ok("T \u{b0}C\n")
        );
        assert_eq!(decoded(b"\xef\xbb\xbfT", None).as_deref(), Ok("T"));
        assert_eq!(decoded(b"\xff\xfeT\x00", None).as_deref(), Ok("T"));
        assert!(decoded(b"\xff\xfeT\x00", Some("utf-8")).is_err());
        assert!(decoded(b"T", Some("klingon")).is_err());
        let error = decoded(b"a\nb\n\xff\n", Some("utf-8")).expect_err("line 3");
        assert!(error.why.contains("line 3"), "{}", error.why);
    }
}
