//! For programs; `schema/output/import.schema.json` describes it.

use super::{Brought, Imported, Outcome};
use crate::finding::{Finding, Severity};
use crate::record::check::Verdict;
use serde::Serialize;

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    file: &'a str,
    sha256: &'a str,
    map: &'a str,
    outcome: &'static str,
    totals: Totals,
    checks: Vec<Check<'a>>,
    refused: Vec<Refused<'a>>,
    left_out: Vec<LeftOut<'a>>,
    findings: Vec<MapFinding<'a>>,
}

#[derive(Serialize)]
struct Totals {
    rows: usize,
    new: usize,
    pass: usize,
    fail: usize,
    void: usize,
    already: usize,
    refused_checks: usize,
    refused_rows: usize,
}

#[derive(Serialize)]
struct Check<'a> {
    check: &'a str,
    path: &'a str,
    sheet: Option<&'a str>,
    row: u32,
    last_row: u32,
    state: &'static str,
    verdict: Option<&'static str>,
    void_cause: Option<&'static str>,
    reason: Option<&'a str>,
    warnings: Vec<Warning<'a>>,
}

#[derive(Serialize)]
struct Warning<'a> {
    rule: &'static str,
    message: &'a str,
}

#[derive(Serialize)]
struct Refused<'a> {
    sheet: Option<&'a str>,
    row: u32,
    first_row: u32,
    last_row: u32,
    cell: Option<&'a str>,
    found: Option<&'a str>,
    reason: &'a str,
    help: &'a str,
    rule: Option<&'static str>,
    check: Option<&'a str>,
}

#[derive(Serialize)]
struct LeftOut<'a> {
    sheet: Option<&'a str>,
    row: u32,
    cell: &'a str,
    found: &'a str,
    by_map: bool,
}

#[derive(Serialize)]
struct MapFinding<'a> {
    rule: &'static str,
    severity: Severity,
    path: &'a str,
    line: u32,
    column: u32,
    pointer: &'a str,
    message: &'a str,
    help: &'a str,
}

pub fn render(imported: &Imported) -> String {
    let totals = imported.totals();
    let checks = imported.checks.iter().map(|line| Check {
        check: &line.check,
        path: &line.path,
        sheet: line.sheet.as_deref(),
        row: line.row,
        last_row: line.last_row,
        state: match line.state {
            Brought::New => "new",
            Brought::Already => "already",
        },
        verdict: line.verdict.map(Verdict::word),
        void_cause: line.void_cause,
        reason: line.reason.as_deref(),
        warnings: line
            .warnings
            .iter()
            .map(|(rule, message)| Warning { rule, message })
            .collect(),
    });
    let refused = imported.refused.iter().map(|one| Refused {
        sheet: one.sheet.as_deref(),
        row: one.row,
        first_row: one.first_row,
        last_row: one.last_row,
        cell: one.cell.as_deref(),
        found: one.found.as_deref(),
        reason: &one.why,
        help: &one.help,
        rule: one.rule,
        check: one.check.as_deref(),
    });
    let left_out = imported.left_out.iter().map(|row| LeftOut {
        sheet: row.sheet.as_deref(),
        row: row.row,
        cell: &row.cell,
        found: &row.found,
        by_map: row.skipped,
    });
    super::super::check_json::pretty(&Document {
        format: 1,
        file: &imported.file,
        sha256: &imported.sha256,
        map: &imported.map,
        outcome: match imported.outcome {
            Outcome::Tried => "tried",
            Outcome::Written => "written",
            Outcome::NothingWritten => "nothing-written",
        },
        totals: Totals {
            rows: imported.rows,
            new: totals.new,
            pass: totals.pass,
            fail: totals.fail,
            void: totals.void,
            already: totals.already,
            refused_checks: imported.refused_checks,
            refused_rows: totals.refused_rows,
        },
        checks: checks.collect(),
        refused: refused.collect(),
        left_out: left_out.collect(),
        findings: imported.findings.iter().map(finding).collect(),
    })
}

fn finding(finding: &Finding) -> MapFinding<'_> {
    MapFinding {
        rule: finding.rule,
        severity: finding.severity,
        path: &finding.place.path,
        line: finding.place.line,
        column: finding.place.column,
        pointer: &finding.place.pointer,
        message: &finding.message,
        help: &finding.help,
    }
}
