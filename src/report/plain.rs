//! Findings as plain sentences, one fact a line, for screen readers and for logs.

use super::{Findings, printable, summary};

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
            text += &format!("  it reads: {}\n", printable(at.excerpt.trim()));
        }
        text += &format!("  what: {}\n", printable(&finding.message));
        for related in &finding.related {
            text += &format!(
                "  because: {}\n    file: {}\n    line {}, it reads: {}\n",
                printable(&related.message),
                printable(&related.place.path),
                related.place.line,
                printable(related.place.excerpt.trim())
            );
        }
        if !finding.help.is_empty() {
            text += &format!("  next: {}\n", printable(&finding.help));
        }
        text.push('\n');
    }
    text + &summary(report) + "\n"
}
