//! Findings as plain sentences, one fact a line, for screen readers and for logs.

use super::{Findings, cut_round, printable, summary};
use crate::finding::Place;

/// The line of a place; of a line that nobody wrote by hand the part round the place.
fn excerpt(place: &Place) -> String {
    const ROOM: usize = 240;
    let (line, _) = cut_round(&place.excerpt, place.column as usize, ROOM);
    printable(line.trim())
}

pub fn render(report: &Findings<'_>) -> String {
    let mut text = String::new();
    for (index, finding) in report.findings.iter().enumerate() {
        let at = &finding.place;
        text += &format!(
            "{} {} of {}: {}\n",
            finding.severity.name(),
            index + 1,
            report.findings.len(),
            finding.rule
        );
        text += &format!(
            "  file: {}\n  line {}, column {}\n",
            printable(&at.path),
            at.line,
            at.column
        );
        if !at.excerpt.is_empty() {
            text += &format!("  it reads: {}\n", excerpt(at));
        }
        if let Some(commit) = &finding.commit {
            text += &format!("  commit: {}\n", printable(commit));
        }
        text += &format!("  what: {}\n", printable(&finding.message));
        for related in &finding.related {
            text += &format!(
                "  because: {}\n    file: {}\n    line {}, it reads: {}\n",
                printable(&related.message),
                printable(&related.place.path),
                related.place.line,
                excerpt(&related.place)
            );
        }
        if !finding.help.is_empty() {
            text += &format!("  next: {}\n", printable(&finding.help));
        }
        text.push('\n');
    }
    text + &summary(report) + "\n"
}
