//! For people: how many, then check by check, then every row that is refused.

use super::super::table::plural;
use super::super::{Findings, printable, terminal, wrapped};
use super::{Brought, Imported, Line, Outcome, reason, rows};
use crate::finding::Counts;
use crate::record::check::Verdict;

/// Old checks have no reviews yet, so this is told of all of them at once.
const TOLD_ONCE: &str = "review-missing";

/// What is told at each check.
pub(super) fn one_by_one(line: &Line) -> impl Iterator<Item = &(&'static str, String)> {
    let warnings = line.warnings.iter();
    warnings.filter(|(rule, _)| *rule != TOLD_ONCE)
}

/// The sentences that come first.
pub(super) fn summary(imported: &Imported) -> Vec<String> {
    let totals = imported.totals();
    let mut said = vec![match imported.outcome {
        Outcome::Tried => format!(
            "Tried, nothing is written: {} by map {}",
            imported.file, imported.map
        ),
        Outcome::Written => format!("Imported: {} by map {}", imported.file, imported.map),
        Outcome::NothingWritten => format!(
            "Nothing was written: {} by map {}",
            imported.file, imported.map
        ),
    }];
    let verdicts = [
        (totals.pass, "pass"),
        (totals.fail, "fail"),
        (totals.void, "void"),
    ];
    let verdicts: Vec<String> = verdicts
        .iter()
        .filter(|(count, _)| *count > 0)
        .map(|(count, word)| format!("{count} {word}"))
        .collect();
    let verdicts = match verdicts.is_empty() {
        true => String::new(),
        false => format!(": {}", verdicts.join(", ")),
    };
    let would = match imported.outcome {
        Outcome::Written => "written",
        _ => "to be written",
    };
    said.push(format!(
        "{} read; {} {would}{verdicts}.",
        plural(imported.rows, "row"),
        plural(totals.new, "check")
    ));
    if totals.already > 0 {
        said.push(format!(
            "{} imported already, by an earlier run.",
            plural(totals.already, "check")
        ));
    }
    let late = imported
        .checks
        .iter()
        .filter(|line| line.warnings.iter().any(|(rule, _)| *rule == TOLD_ONCE));
    match late.count() {
        0 => {}
        1 => said.push(format!(
            "The review of 1 check is overdue by its policy ({TOLD_ONCE})."
        )),
        count => said.push(format!(
            "The reviews of {count} checks are overdue by their policies ({TOLD_ONCE})."
        )),
    }
    if imported.refused_checks > 0 {
        said.push(format!(
            "{} refused; what is wrong is told by {} below.",
            plural(imported.refused_checks, "check"),
            plural(totals.refused_rows, "row")
        ));
    }
    said
}

pub(super) fn findings(imported: &Imported) -> Findings<'_> {
    Findings {
        book: &imported.map,
        as_of: String::new(),
        findings: &imported.findings,
        counts: Counts::of(&imported.findings),
        files: 1,
        checks: imported.checks.len(),
    }
}

/// Every line fits the width.
pub fn render(imported: &Imported, style: terminal::Style) -> String {
    let wrapped =
        |text: &str, first: &str, rest: &str| wrapped(&printable(text), style.width, first, rest);
    let mut text = String::new();
    if !imported.findings.is_empty() {
        text += &terminal::render(&findings(imported), style);
        text += &wrapped(
            "The map has to be put right first; nothing was written.",
            "",
            "  ",
        );
        if !imported.was_read() {
            return text;
        }
        text.push('\n');
    }
    for line in summary(imported) {
        text += &wrapped(&line, "", "  ");
    }
    if !imported.checks.is_empty() {
        text.push('\n');
    }
    for line in &imported.checks {
        let at = rows(line.sheet.as_ref(), line.row, line.last_row);
        let state = match (line.state, line.verdict) {
            (Brought::Already, _) => "imported already",
            (Brought::New, verdict) => verdict.map_or("no verdict", Verdict::word),
        };
        text += &wrapped(&format!("{}  {state}  {at}", line.check), "", "    ");
        if let (Some(cause), Some(reason)) = (line.void_cause, &line.reason) {
            text += &wrapped(&format!("void, {cause}: {reason}"), "    ", "    ");
        }
        for (rule, message) in one_by_one(line) {
            text += &wrapped(&format!("warning, {rule}: {message}"), "    ", "    ");
        }
    }
    for (skipped, heading) in [
        (true, "Left out, as the map says:"),
        (false, "Left out, since nothing stands where the map looks:"),
    ] {
        let rows_of: Vec<_> = imported
            .left_out
            .iter()
            .filter(|row| row.skipped == skipped)
            .collect();
        if !rows_of.is_empty() {
            text += &format!("\n{heading}\n");
        }
        for row in rows_of {
            let at = rows(row.sheet.as_ref(), row.row, row.row);
            text += &wrapped(
                &format!("{at}, cell {}, \"{}\"", row.cell, row.found),
                "  ",
                "    ",
            );
        }
    }
    if !imported.refused.is_empty() {
        text += "\nRefused:\n";
    }
    for one in &imported.refused {
        text += &wrapped(&reason(one), "  ", "    ");
        if one.first_row != one.last_row {
            let at = rows(None, one.first_row, one.last_row);
            text += &wrapped(&format!("so none of the check in {at}"), "    ", "    ");
        }
        text += &wrapped(&format!("next: {}", one.help), "    ", "      ");
    }
    if !imported.next.is_empty() {
        text += match imported.outcome {
            Outcome::Written => "\nNext, let git keep them:\n",
            _ if imported.refused.is_empty() => "\nNext, write them:\n",
            _ => "\nNext, put right what is refused; or write the others alone:\n",
        };
        for line in &imported.next {
            text += &format!("    {}\n", printable(line));
        }
    }
    text
}
