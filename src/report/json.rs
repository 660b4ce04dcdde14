//! Findings as JSON; `schema/output/findings.schema.json` describes it.

use super::Findings;
use crate::finding::{Counts, Finding, Place, Severity};
use serde::Serialize;

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    book: &'a str,
    as_of: &'a str,
    findings: Vec<Entry<'a>>,
    counts: Counts,
    read: Read,
}

#[derive(Serialize)]
struct Read {
    files: usize,
    checks: usize,
}

#[derive(Serialize)]
pub(super) struct Entry<'a> {
    rule: &'a str,
    severity: Severity,
    path: &'a str,
    line: u32,
    column: u32,
    pointer: &'a str,
    message: &'a str,
    help: &'a str,
    commit: Option<&'a str>,
    related: Vec<Other<'a>>,
}

#[derive(Serialize)]
struct Other<'a> {
    path: &'a str,
    line: u32,
    column: u32,
    pointer: &'a str,
    message: &'a str,
}

pub(super) fn entry(finding: &Finding) -> Entry<'_> {
    let at: &Place = &finding.place;
    Entry {
        rule: finding.rule,
        severity: finding.severity,
        path: &at.path,
        line: at.line,
        column: at.column,
        pointer: &at.pointer,
        message: &finding.message,
        help: &finding.help,
        commit: finding.commit.as_deref(),
        related: finding
            .related
            .iter()
            .map(|related| Other {
                path: &related.place.path,
                line: related.place.line,
                column: related.place.column,
                pointer: &related.place.pointer,
                message: &related.message,
            })
            .collect(),
    }
}

pub fn render(report: &Findings<'_>) -> String {
    let document = Document {
        format: 1,
        book: report.book,
        as_of: &report.as_of,
        findings: report.findings.iter().map(entry).collect(),
        counts: report.counts,
        read: Read {
            files: report.files,
            checks: report.checks,
        },
    };
    super::check_json::pretty(&document)
}
