//! What an import brings, or would bring: checks with their verdicts, and every row that is refused.

pub mod json;
pub mod plain;
pub mod text;

use crate::finding::Finding;
use crate::record::check::Verdict;
use std::collections::BTreeSet;

/// What became of the files.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Outcome {
    /// Nothing was to be written.
    #[default]
    Tried,
    Written,
    /// Something was to be written, and rows are refused.
    NothingWritten,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Brought {
    New,
    /// By an earlier run, from a file of the same name, and it says the same.
    Already,
}

/// A check of the sheet.
pub struct Line {
    pub check: String,
    pub path: String,
    pub sheet: Option<String>,
    pub row: u32,
    pub last_row: u32,
    pub state: Brought,
    /// `None` of one that was there already.
    pub verdict: Option<Verdict>,
    pub void_cause: Option<&'static str>,
    pub reason: Option<String>,
    /// Rule and sentence.
    pub warnings: Vec<(&'static str, String)>,
}

/// A reason why the rows of a check are refused.
pub struct Refused {
    pub sheet: Option<String>,
    /// Where the reason stands.
    pub row: u32,
    /// The rows of the check.
    pub first_row: u32,
    pub last_row: u32,
    pub cell: Option<String>,
    pub found: Option<String>,
    pub why: String,
    pub help: String,
    pub rule: Option<&'static str>,
    /// Where instrument and time could be read.
    pub check: Option<String>,
}

/// A row that something stands in and no check is taken from.
pub struct LeftOut {
    pub sheet: Option<String>,
    pub row: u32,
    pub cell: String,
    pub found: String,
    /// By the map; else nothing stands where the map looks.
    pub skipped: bool,
}

#[derive(Default)]
pub struct Imported {
    pub file: String,
    pub map: String,
    pub sha256: String,
    pub outcome: Outcome,
    /// Rows that checks are taken from.
    pub rows: usize,
    /// In order of the sheet.
    pub checks: Vec<Line>,
    pub refused: Vec<Refused>,
    pub refused_checks: usize,
    pub left_out: Vec<LeftOut>,
    /// What is wrong with the map.
    pub findings: Vec<Finding>,
    /// The commands that follow.
    pub next: Vec<String>,
}

#[derive(Default)]
struct Totals {
    new: usize,
    pass: usize,
    fail: usize,
    void: usize,
    already: usize,
    refused_rows: usize,
}

impl Imported {
    fn totals(&self) -> Totals {
        let mut totals = Totals::default();
        for line in &self.checks {
            match (line.state, line.verdict) {
                (Brought::Already, _) => totals.already += 1,
                (Brought::New, verdict) => {
                    totals.new += 1;
                    match verdict {
                        Some(Verdict::Pass | Verdict::ConditionalPass) => totals.pass += 1,
                        Some(Verdict::Fail | Verdict::ConditionalFail) => totals.fail += 1,
                        Some(Verdict::Void) => totals.void += 1,
                        None => {}
                    }
                }
            }
        }
        let rows: BTreeSet<(&Option<String>, u32)> = self
            .refused
            .iter()
            .map(|one| (&one.sheet, one.row))
            .collect();
        totals.refused_rows = rows.len();
        totals
    }

    /// Whether the map could be followed at all.
    fn was_read(&self) -> bool {
        self.findings.is_empty() || !self.checks.is_empty() || !self.refused.is_empty()
    }
}

/// `rows 5 to 7 of sheet 2025`.
fn rows(sheet: Option<&String>, first: u32, last: u32) -> String {
    let sheet = sheet.map_or(String::new(), |sheet| format!(" of sheet {sheet}"));
    match first == last {
        true => format!("row {first}{sheet}"),
        false => format!("rows {first} to {last}{sheet}"),
    }
}

/// Where a reason stands, and what stands there.
fn place(one: &Refused) -> String {
    let row = rows(one.sheet.as_ref(), one.row, one.row);
    match (&one.cell, &one.found) {
        (Some(cell), Some(found)) => format!("{row}, cell {cell}, \"{found}\""),
        (Some(cell), None) => format!("{row}, cell {cell}"),
        _ => row,
    }
}

/// Where, what stands there, and why it is refused.
fn reason(one: &Refused) -> String {
    let rule = one.rule.map_or(String::new(), |rule| format!(" ({rule})"));
    format!("{}: {}{rule}", place(one), one.why)
}
