//! XLSX workbooks: every sheet, formulas by the result that the file holds, dates as dates, merged cells, hidden rows kept.

use super::read::{self, shifted};
use super::{
    At, Cell, MAX_CELLS, MAX_UNPACKED, Merged, Moment, Number, Row, Sheet, Unreadable, csv,
    mebibytes,
};
use calamine::{DataRef, Dimensions, Reader, SheetType, SheetVisible, Xlsx, XlsxError};
use jiff::ToSpan;
use jiff::civil::{Date, Time, date};
use std::collections::BTreeMap;
use std::io::{Cursor, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Parts of a workbook; more are no workbook of a laboratory.
const MAX_PARTS: usize = 10_000;

/// Its sheets, in their order.
pub fn sheets(bytes: &[u8]) -> Result<Vec<Sheet>, Unreadable> {
    bounded(bytes)?;
    // The library is for honest files; what it cannot stand is an unreadable file too.
    let read = catch_unwind(AssertUnwindSafe(|| all(bytes)));
    match read {
        Ok(read) => read,
        Err(_) => Err(damaged("its parts do not fit together")),
    }
}

fn damaged(why: impl std::fmt::Display) -> Unreadable {
    Unreadable::new(
        format!("the workbook cannot be read: {why}"),
        "open it, and save it again as an XLSX workbook, or save its sheets as CSV",
    )
}

/// Refuses what would unpack to more than any sheet of checks.
fn bounded(bytes: &[u8]) -> Result<(), Unreadable> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(damaged)?;
    let large = || {
        Unreadable::new(
            format!(
                "the workbook unpacks to more than {} in {MAX_PARTS} parts, the most that is read",
                mebibytes(MAX_UNPACKED)
            ),
            "take pictures and other sheets out of it, or save the sheet that matters as CSV",
        )
    };
    if archive.len() > MAX_PARTS {
        return Err(large());
    }
    let mut unpacked = 0u64;
    let mut buffer = vec![0; 1 << 16];
    for index in 0..archive.len() {
        let mut part = archive.by_index(index).map_err(damaged)?;
        loop {
            let got = part.read(&mut buffer).map_err(damaged)?;
            if got == 0 {
                break;
            }
            unpacked += u64::try_from(got).unwrap_or(u64::MAX);
            if unpacked > MAX_UNPACKED {
                return Err(large());
            }
        }
    }
    Ok(())
}

fn all(bytes: &[u8]) -> Result<Vec<Sheet>, Unreadable> {
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).map_err(damaged)?;
    let listed: Vec<(String, bool)> = book
        .sheets_metadata()
        .iter()
        .filter(|sheet| sheet.typ == SheetType::WorkSheet)
        .map(|sheet| (sheet.name.clone(), sheet.visible != SheetVisible::Visible))
        .collect();
    let mut room = MAX_CELLS;
    let mut sheets = Vec::new();
    for (name, hidden) in listed {
        let cells = match cells(&mut book, &name, room) {
            Ok(cells) => cells.ok_or_else(csv::too_many)?,
            Err(error) => return Err(damaged(format!("sheet {name}: {error}"))),
        };
        room = room.saturating_sub(cells.len());
        let merged = book
            .merge_cells_by_sheet_name(&name)
            .map_err(|error| damaged(format!("sheet {name}: {error}")))?;
        sheets.push(Sheet {
            name: Some(name),
            rows: rows(cells),
            merged: merged.iter().map(region).collect(),
            hidden,
        });
    }
    Ok(sheets)
}

type Cells = BTreeMap<(u32, u32), Cell>;

/// Its cells by row and column; `None` where there are too many.
fn cells<R: Read + std::io::Seek>(
    book: &mut Xlsx<R>,
    name: &str,
    room: usize,
) -> Result<Option<Cells>, XlsxError> {
    let since_1904 = book.has_1904_epoch();
    let mut cells = Cells::new();
    let mut seen = 0usize;
    let mut reader = book.worksheet_cells_reader(name)?;
    let formats: Vec<Format> = reader
        .styles()
        .iter()
        .map(|style| {
            let code = style
                .number_format
                .as_ref()
                .map(|format| format.format_code.as_str());
            Format::of(code.unwrap_or("General"))
        })
        .collect();
    while let Some((found, style)) = reader.next_cell_with_style_id()? {
        seen += 1;
        if seen > room {
            return Ok(None);
        }
        let format = formats.get(style).copied().unwrap_or_default();
        if let Some(cell) = cell(found.get_value(), format, since_1904) {
            cells.insert(found.get_position(), cell);
        }
    }
    drop(reader);
    // A formula without a result looks blank and is not.
    let mut reader = book.worksheet_cells_reader(name)?;
    while let Some(found) = reader.next_cell_with_formula_metadata()? {
        if found.formula.is_some() && matches!(found.value, DataRef::Empty) {
            cells.entry(found.pos).or_insert(Cell::Unworked);
        }
    }
    Ok(Some(cells))
}

fn rows(cells: Cells) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for ((row, column), cell) in cells {
        let (number, column) = (row.saturating_add(1), column.saturating_add(1));
        match rows.last_mut().filter(|row| row.number == number) {
            Some(row) => row.cells.push((column, cell)),
            None => rows.push(Row {
                number,
                cells: vec![(column, cell)],
            }),
        }
    }
    rows
}

fn region(region: &Dimensions) -> Merged {
    let at = |(row, column): (u32, u32)| At {
        row: row.saturating_add(1),
        column: column.saturating_add(1),
    };
    Merged {
        first: at(region.start),
        last: at(region.end),
    }
}

/// What a number format says of how a number is shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Format {
    decimals: Option<usize>,
    percent: bool,
    /// It shows a time of day.
    hours: bool,
}

impl Format {
    fn of(code: &str) -> Format {
        let mut format = Format::default();
        let mut letters = code.chars();
        let mut fraction = None;
        let mut scientific = false;
        while let Some(letter) = letters.next() {
            match letter {
                ';' => break,
                '"' => {
                    letters.by_ref().find(|letter| *letter == '"');
                }
                '\\' | '_' | '*' => {
                    letters.next();
                }
                '%' => format.percent = true,
                '.' => fraction = Some(0),
                '0' => fraction = fraction.map(|zeros: usize| zeros + 1),
                'h' | 'H' => format.hours = true,
                'E' | 'e' | '/' => scientific = true,
                _ => {}
            }
        }
        format.decimals = fraction.filter(|zeros| *zeros <= 15 && !scientific);
        format
    }
}

fn cell(value: &DataRef<'_>, format: Format, since_1904: bool) -> Option<Cell> {
    let text = |text: &str| (!text.trim().is_empty()).then(|| Cell::Text(text.to_owned()));
    match value {
        DataRef::Empty => None,
        DataRef::String(held) => text(held),
        DataRef::SharedString(held) => text(held),
        DataRef::Int(value) => Some(number(value.to_string(), format)),
        DataRef::Float(value) => Some(match digits(*value) {
            Some(digits) => number(digits, format),
            None => Cell::Error(value.to_string()),
        }),
        DataRef::Bool(value) => Some(Cell::Flag(*value)),
        DataRef::Error(error) => Some(Cell::Error(error.to_string())),
        DataRef::DateTime(moment) => {
            Some(match serial(moment.as_f64(), since_1904, format.hours) {
                Some(moment) => Cell::Moment(moment),
                None => Cell::Error(format!("{} as a date", moment.as_f64())),
            })
        }
        DataRef::DateTimeIso(held) => Some(match read::iso(held) {
            Some(moment) => Cell::Moment(moment),
            None => Cell::Error(held.clone()),
        }),
        DataRef::DurationIso(held) => Some(Cell::Error(held.clone())),
    }
}

fn number(digits: String, format: Format) -> Cell {
    Cell::Number(Number {
        digits,
        decimals: format.decimals,
        percent: format.percent,
    })
}

/// A number in its 15 significant digits, as spreadsheets show it: what comes behind them is noise of binary fractions.
fn digits(value: f64) -> Option<String> {
    if !value.is_finite() {
        return None;
    }
    let text = format!("{value:.14e}");
    let (mantissa, exponent) = text.split_once('e')?;
    let exponent: i32 = exponent.parse().ok()?;
    let mantissa = mantissa.trim_end_matches('0').trim_end_matches('.');
    match mantissa {
        "0" | "-0" => Some("0".to_owned()),
        _ if exponent.abs() > 18 => Some(format!("{mantissa}e{exponent}")),
        _ => Some(read::plain(&shifted(mantissa, exponent))),
    }
}

/// The day and time of a serial number; `None` where there is no such day.
fn serial(value: f64, since_1904: bool, hours: bool) -> Option<Moment> {
    // The last day of the year 9999.
    if !(0.0..2_958_466.0).contains(&value) {
        return None;
    }
    let (mut day, mut second) = (value.floor(), ((value - value.floor()) * 86_400.0).round());
    if second >= 86_400.0 {
        (day, second) = (day + 1.0, 0.0);
    }
    #[expect(
        clippy::cast_possible_truncation,
        reason = "both are small whole numbers"
    )]
    let (day, second) = (day as i64, second as i32);
    let clock = Time::midnight().checked_add(second.seconds()).ok()?;
    if day == 0 {
        return Some(Moment {
            time: Some(clock),
            ..Moment::default()
        });
    }
    let start: Date = match (since_1904, day) {
        (true, _) => date(1904, 1, 1),
        // These sheets count a 29 February 1900, which never was.
        (false, 60) => return None,
        (false, ..60) => date(1899, 12, 31),
        (false, _) => date(1899, 12, 30),
    };
    Some(Moment {
        date: Some(start.checked_add(day.days()).ok()?),
        time: (second > 0 || hours).then_some(clock),
        offset_minutes: None,
    })
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    #[test]
    fn noise_of_binary_fractions_is_no_digit() {
        for (value, text) in [
            (25.03, "25.03"),
            (0.1 + 0.2, "0.3"),
            (516.0, "516"),
            (12000.0, "12000"),
            (-0.05, "-0.05"),
            (0.0, "0"),
            (-0.0, "0"),
            (0.000123, "0.000123"),
            (1234567.125, "1234567.125"),
            (1e21, "1e21"),
        ] {
            assert_eq!(digits(value).as_deref(), Some(text));
        }
        assert_eq!(digits(f64::NAN), None);
    }

    #[test]
    fn a_format_tells_decimals_and_percent() {
        for (code, decimals, percent) in [
            ("General", None, false),
            ("0.00", Some(2), false),
            ("#,##0.0;[Red]-#,##0.000", Some(1), false),
            ("0.0%", Some(1), true),
            ("0.0\" % of 3.14\"", Some(1), false),
            ("0.00E+00", None, false),
            ("0", None, false),
            ("# ?/?", None, false),
        ] {
            let format = Format::of(code);
            assert_eq!(
                (format.decimals, format.percent),
                (decimals, percent),
                "{code}"
            );
        }
        assert!(Format::of("dd.mm.yyyy hh:mm").hours);
    }

    fn shown(value: f64, since_1904: bool) -> Option<String> {
        serial(value, since_1904, false).map(|moment| moment.to_string())
    }

    // Day numbers of ECMA-376, part 1, 18.17.4.1: 2 is 1900-01-02 from 1900, and 1904-01-03 from 1904.
    #[test]
    fn both_ways_to_count_days_are_known() {
        assert_eq!(shown(2.0, false).as_deref(), Some("1900-01-02"));
        assert_eq!(shown(2.0, true).as_deref(), Some("1904-01-03"));
        assert_eq!(shown(59.0, false).as_deref(), Some("1900-02-28"));
        assert_eq!(shown(60.0, false), None);
        assert_eq!(shown(61.0, false).as_deref(), Some("1900-03-01"));
        // 2026-03-02 is day 46083; the other count begins 1462 days later.
        assert_eq!(
            shown(46_083.404_166_666_7, false).as_deref(),
            Some("2026-03-02 09:42")
        );
        assert_eq!(
            shown(44_621.404_166_666_7, true).as_deref(),
            Some("2026-03-02 09:42")
        );
        assert_eq!(shown(0.404_166_666_7, false).as_deref(), Some("09:42"));
        // What rounds up to midnight is the next day.
        assert_eq!(
            shown(46_082.999_999_9, false).as_deref(),
            Some("2026-03-02")
        );
        assert_eq!(shown(-1.0, false), None);
        assert_eq!(shown(3e6, false), None);
    }

    #[test]
    fn what_is_no_workbook_is_told_and_not_followed() {
        for bytes in [&b"PK\x03\x04"[..], b"PK\x05\x06", b"", b"Date;Time"] {
            let error = sheets(bytes).expect_err("no workbook");
            assert!(!error.help.is_empty());
        }
    }
}
