//! Which cells of a sheet the map means, and which rows are one check.

use super::map::{Layout, Map, Skip, Spec, Where, fault};
use crate::parse::Fault;
use crate::sheet::read::{Unit, squeezed, units};
use crate::sheet::{At, Cell, Row, Sheet, letters};
use crate::text::nearest;
use std::collections::BTreeMap;

/// A sheet with the columns that the map names.
pub(super) struct Table<'a> {
    pub(super) map: &'a Map,
    pub(super) sheet: &'a Sheet,
    /// By the place of the row of the map that names it.
    columns: BTreeMap<&'a str, u32>,
    /// Of each column that fills down the rows where something stands.
    standing: BTreeMap<u32, Vec<u32>>,
}

/// What stands where the map points to.
#[derive(Clone, Debug)]
pub(super) struct Found<'a> {
    /// `None` of a value that holds for all.
    pub(super) at: Option<At>,
    pub(super) cell: &'a Cell,
}

/// A row that no check is taken from, though something stands in it.
#[derive(Clone, Debug)]
pub(super) struct LeftOut {
    pub(super) row: u32,
    pub(super) at: At,
    pub(super) found: String,
    /// The map says so; else nothing stands where the map looks.
    pub(super) skipped: bool,
}

/// The rows of a sheet, sorted out.
#[derive(Default)]
pub(super) struct Sorted {
    /// The rows of each check.
    pub(super) sessions: Vec<Vec<u32>>,
    pub(super) left_out: Vec<LeftOut>,
    pub(super) rows: usize,
}

/// The heading of a column: the texts of its heading rows.
pub(super) fn heading(sheet: &Sheet, rows: &[u32], column: u32) -> String {
    let mut parts: Vec<String> = Vec::new();
    for row in rows {
        let at = At { row: *row, column };
        let part = sheet.shown_at(at).map(|cell| squeezed(&cell.shown()));
        if let Some(part) = part.filter(|part| !part.is_empty() && parts.last() != Some(part)) {
            parts.push(part);
        }
    }
    parts.join(" / ")
}

impl<'a> Table<'a> {
    /// Looks the columns up; what is not there is a fault of the map.
    pub(super) fn of(map: &'a Map, sheet: &'a Sheet) -> Result<Table<'a>, Vec<Fault>> {
        let last = sheet.last_column();
        let headings: Vec<(u32, String)> = (1..=last)
            .map(|column| (column, heading(sheet, &map.heading_rows, column)))
            .filter(|(_, heading)| !heading.is_empty())
            .collect();
        let mut table = Table {
            map,
            sheet,
            columns: BTreeMap::new(),
            standing: BTreeMap::new(),
        };
        let mut faults = Vec::new();
        let specs = map.check.iter().chain(map.points.iter().flatten());
        let specs = specs.map(|spec: &Spec| (spec.pointer.as_str(), &spec.from));
        let skips = map
            .skip
            .iter()
            .map(|skip: &Skip| (skip.pointer.as_str(), &skip.from));
        for (pointer, from) in specs.chain(skips) {
            match from {
                Where::Letter(column) => {
                    table.columns.insert(pointer, *column);
                }
                Where::Heading(wanted) => match one(&headings, wanted) {
                    Ok(column) => {
                        table.columns.insert(pointer, column);
                    }
                    Err(columns) => {
                        faults.push(table.no_column(pointer, wanted, &headings, &columns))
                    }
                },
                Where::Cell(_) | Where::Value(_) => {}
            }
        }
        faults.extend(table.shared());
        faults.extend(table.other_units(&headings));
        if !faults.is_empty() {
            return Err(faults);
        }
        table.standing = table.filled();
        Ok(table)
    }

    fn specs(&self) -> impl Iterator<Item = &'a Spec> + use<'a> {
        let map = self.map;
        map.check.iter().chain(map.points.iter().flatten())
    }

    /// A column, or a cell of a form, that two keys name.
    fn shared(&self) -> Vec<Fault> {
        let mut first: BTreeMap<(u32, u32), &Spec> = BTreeMap::new();
        let mut faults = Vec::new();
        for spec in self.specs() {
            let (place, named) = match (&spec.from, self.column(&spec.pointer)) {
                (Where::Cell(at), _) => ((at.row, at.column), format!("cell {at}")),
                (_, Some(column)) => ((0, column), format!("column {}", letters(column))),
                _ => continue,
            };
            let own = *first.entry(place).or_insert(spec);
            if own.key == spec.key {
                continue;
            }
            let help = match (own.key, spec.key) {
                ("date", "time") => {
                    "where it holds day and time, keep date and take time out; else name the column of the time"
                }
                _ => {
                    "keep the key that the column is about; of the other take the line out, or name its own column"
                }
            };
            faults.push(fault(
                &self.map.doc,
                &spec.pointer,
                format!("{named} is named for {} and for {}", own.key, spec.key),
                help,
            ));
        }
        faults
    }

    /// A unit of viscosity that the heading names and the map does not.
    fn other_units(&self, headings: &[(u32, String)]) -> Vec<Fault> {
        let mut faults = Vec::new();
        for spec in self.specs().filter(|spec| spec.key == "viscosity") {
            let column = self.column(&spec.pointer);
            let Some((_, heading)) = headings.iter().find(|(own, _)| Some(*own) == column) else {
                continue;
            };
            let of_viscosity = |unit: &Unit| Unit::VISCOSITY.iter().any(|(_, own)| own == unit);
            let named: Vec<Unit> = units(heading).filter(of_viscosity).collect();
            let Some(other) = named.first() else {
                continue;
            };
            if named.iter().any(|unit| unit.is(spec.unit)) {
                continue;
            }
            faults.push(fault(
                &self.map.doc,
                &format!("{}/unit", spec.pointer),
                format!(
                    "the map says {}, and the heading \"{heading}\" says {}",
                    spec.unit.name(),
                    other.name()
                ),
                format!(
                    "look at a figure of the column, and write unit = \"{}\" here where the heading is right; else put the heading right",
                    other.name()
                ),
            ));
        }
        faults
    }

    /// The rows where something stands, of the columns that fill down.
    fn filled(&self) -> BTreeMap<u32, Vec<u32>> {
        let mut columns: BTreeMap<u32, Vec<u32>> = self
            .specs()
            .filter(|spec| spec.fill_down)
            .filter_map(|spec| Some((self.column(&spec.pointer)?, Vec::new())))
            .collect();
        if columns.is_empty() {
            return columns;
        }
        for row in &self.sheet.rows {
            if row.number < self.map.first_row || self.is_skipped(row) {
                continue;
            }
            for (column, rows) in &mut columns {
                let at = At {
                    row: row.number,
                    column: *column,
                };
                if self.at(at).is_some() {
                    rows.push(row.number);
                }
            }
        }
        columns
    }

    /// ` of sheet 2025`, where there are sheets.
    fn of_sheet(&self) -> String {
        let name = self.sheet.name.as_ref();
        name.map_or(String::new(), |name| format!(" of sheet \"{name}\""))
    }

    fn no_column(
        &self,
        pointer: &str,
        wanted: &str,
        headings: &[(u32, String)],
        columns: &[u32],
    ) -> Fault {
        const MOST: usize = 12;
        let rows: Vec<String> = self.map.heading_rows.iter().map(u32::to_string).collect();
        let rows = format!("row {}{}", rows.join(" and "), self.of_sheet());
        let doc = &self.map.doc;
        if !columns.is_empty() {
            let named: Vec<String> = columns.iter().map(|column| letters(*column)).collect();
            return fault(
                doc,
                pointer,
                format!(
                    "the heading \"{wanted}\" stands over the columns {} in {rows}",
                    named.join(" and ")
                ),
                format!(
                    "name the one that is meant by its letter: {{ letter = \"{}\" }}",
                    named.first().cloned().unwrap_or_default()
                ),
            );
        }
        let texts = headings.iter().map(|(_, text)| text.as_str());
        let help = match nearest(wanted, texts.clone()) {
            Some(meant) => format!("did you mean \"{meant}\"?"),
            None if headings.is_empty() => "nothing stands there: look at heading_rows, at the sheet and, for CSV, at the separator; or this map belongs to another file".to_owned(),
            None => {
                let some: Vec<String> = texts.clone().take(MOST).map(|text| format!("\"{text}\"")).collect();
                let more = headings.len().saturating_sub(MOST);
                let more = if more > 0 { format!(" and {more} more") } else { String::new() };
                format!("there stand {}{more}; or this map belongs to another file", some.join(", "))
            }
        };
        fault(
            doc,
            pointer,
            format!("there is no heading \"{wanted}\" in {rows}"),
            help,
        )
    }

    fn is_blank(&self, cell: &Cell) -> bool {
        let text = match cell {
            Cell::Text(text) => squeezed(text),
            _ => return false,
        };
        text.is_empty() || self.map.blank.contains(&text)
    }

    fn column(&self, pointer: &str) -> Option<u32> {
        self.columns.get(pointer).copied()
    }

    /// The cell that the map means for a row, blank or not.
    pub(super) fn place(&self, spec: &Spec, row: u32) -> Option<At> {
        match &spec.from {
            Where::Value(_) => None,
            Where::Cell(at) => Some(*at),
            Where::Heading(_) | Where::Letter(_) => Some(At {
                row,
                column: self.column(&spec.pointer)?,
            }),
        }
    }

    /// What the map means for a row; `None` where that is blank.
    pub(super) fn find(&self, spec: &'a Spec, row: u32) -> Option<Found<'a>> {
        match &spec.from {
            Where::Value(cell) => Some(Found { at: None, cell }),
            Where::Cell(at) => self.at(*at),
            Where::Heading(_) | Where::Letter(_) => {
                let column = self.column(&spec.pointer)?;
                let found = self.at(At { row, column });
                match found {
                    None if spec.fill_down => self.above(row, column),
                    found => found,
                }
            }
        }
    }

    fn at(&self, at: At) -> Option<Found<'a>> {
        let (at, cell) = self.sheet.merged_down(at)?;
        let found = Found { at: Some(at), cell };
        (!self.is_blank(cell)).then_some(found)
    }

    /// The nearest cell above that is not blank, of rows that are not left out.
    fn above(&self, row: u32, column: u32) -> Option<Found<'a>> {
        let rows = self.standing.get(&column)?;
        let end = rows.partition_point(|other| *other < row);
        let row = *rows.get(..end)?.last()?;
        self.at(At { row, column })
    }

    fn is_skipped(&self, row: &Row) -> bool {
        self.map.skip.iter().any(|skip| {
            let cell = self
                .column(&skip.pointer)
                .and_then(|column| row.cell(column));
            let text = cell.map(|cell| squeezed(&cell.shown()).to_lowercase());
            text.is_some_and(|text| skip.starts_with.iter().any(|begin| text.starts_with(begin)))
        })
    }

    /// Every place in the sheet that the map looks at, by rows.
    fn mapped_columns(&self) -> Vec<u32> {
        let specs = self
            .map
            .check
            .iter()
            .chain(self.map.points.iter().flatten());
        let mut columns: Vec<u32> = specs
            .filter_map(|spec| self.column(&spec.pointer))
            .collect();
        columns.sort_unstable();
        columns.dedup();
        columns
    }

    /// Sorts the rows out into checks.
    pub(super) fn sorted(&self) -> Sorted {
        let mut sorted = Sorted::default();
        if self.map.layout == Layout::Form {
            let specs = self
                .map
                .check
                .iter()
                .chain(self.map.points.iter().flatten());
            let rows = specs.filter_map(|spec| match spec.from {
                Where::Cell(at) => self.at(at).and_then(|found| found.at).map(|at| at.row),
                _ => None,
            });
            match (rows.min(), self.sheet.rows.first()) {
                (Some(first), _) => {
                    sorted.rows = self.sheet.rows.len();
                    sorted.sessions.push(vec![first]);
                }
                // Among all sheets of a workbook there may be one that is no form.
                (None, Some(row)) => {
                    sorted
                        .left_out
                        .extend(row.cells.first().map(|(column, cell)| LeftOut {
                            row: row.number,
                            at: At {
                                row: row.number,
                                column: *column,
                            },
                            found: squeezed(&cell.shown()),
                            skipped: false,
                        }))
                }
                (None, None) => {}
            }
            return sorted;
        }
        let mapped = self.mapped_columns();
        let last = self.map.last_row.unwrap_or(u32::MAX);
        let mut open: Option<(Vec<Option<String>>, Vec<u32>)> = None;
        for row in &self.sheet.rows {
            if !(self.map.first_row..=last).contains(&row.number) {
                continue;
            }
            let Some((column, cell)) = row.cells.iter().find(|(_, cell)| !self.is_blank(cell))
            else {
                continue;
            };
            let left_out = |skipped| LeftOut {
                row: row.number,
                at: At {
                    row: row.number,
                    column: *column,
                },
                found: squeezed(&cell.shown()),
                skipped,
            };
            if self.is_skipped(row) {
                sorted.left_out.push(left_out(true));
                continue;
            }
            let read = mapped
                .iter()
                .any(|column| row.cell(*column).is_some_and(|cell| !self.is_blank(cell)));
            if !read {
                sorted.left_out.push(left_out(false));
                continue;
            }
            sorted.rows += 1;
            if self.map.layout == Layout::RowACheck {
                sorted.sessions.push(vec![row.number]);
                continue;
            }
            let key = self.session_key(row.number);
            match &mut open {
                Some((own, rows)) if *own == key => rows.push(row.number),
                _ => {
                    let closed = open.replace((key, vec![row.number]));
                    sorted.sessions.extend(closed.map(|(_, rows)| rows));
                }
            }
        }
        sorted.sessions.extend(open.map(|(_, rows)| rows));
        sorted
    }

    fn session_key(&self, row: u32) -> Vec<Option<String>> {
        let keys = self.map.session.iter();
        keys.map(|key| {
            let spec = self.map.check.iter().find(|spec| spec.key == key)?;
            self.find(spec, row)
                .map(|found| squeezed(&found.cell.shown()))
        })
        .collect()
    }
}

/// The column of a heading; where it is not one, those that have it.
fn one(headings: &[(u32, String)], wanted: &str) -> Result<u32, Vec<u32>> {
    let wanted = squeezed(wanted).to_lowercase();
    let found: Vec<u32> = headings
        .iter()
        .filter(|(_, heading)| heading.to_lowercase() == wanted)
        .map(|(column, _)| *column)
        .collect();
    match found[..] {
        [only] => Ok(only),
        _ => Err(found),
    }
}
