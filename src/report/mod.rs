//! One file a format. A report reads findings and figures, and decides nothing.

pub mod check_json;
pub mod check_text;
pub mod fleet_json;
pub mod fleet_text;
pub mod json;
pub mod plain;
pub mod terminal;

use crate::finding::{Counts, Finding};

/// The findings of one run, as every format tells them.
pub struct Findings<'a> {
    /// The book as the user named it.
    pub book: &'a str,
    pub as_of: String,
    pub findings: &'a [Finding],
    pub counts: Counts,
    pub files: usize,
    pub checks: usize,
}

/// `1 error, 2 warnings, no notices`.
pub fn tally(counts: Counts) -> String {
    let count = |number: usize, word: &str| match number {
        0 => format!("no {word}s"),
        1 => format!("1 {word}"),
        _ => format!("{number} {word}s"),
    };
    format!(
        "{}, {}, {}",
        count(counts.error, "error"),
        count(counts.warning, "warning"),
        count(counts.notice, "notice")
    )
}

/// The last line of a report on findings.
pub fn summary(report: &Findings<'_>) -> String {
    let files = if report.files == 1 { "file" } else { "files" };
    let checks = if report.checks == 1 {
        "check"
    } else {
        "checks"
    };
    format!(
        "{} {files} read, {} {checks} judged.\n{}.",
        report.files,
        report.checks,
        tally(report.counts)
    )
}

/// A text that a record holds, safe to print: control characters become visible.
pub fn printable(text: &str) -> String {
    text.chars()
        .map(|character| {
            if character.is_control() && character != '\t' {
                '\u{fffd}'
            } else {
                character
            }
        })
        .collect()
}
