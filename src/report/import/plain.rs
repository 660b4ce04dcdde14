//! One fact a line, for screen readers and for logs.

use super::super::{plain, printable};
use super::{Brought, Imported, place, rows, text};
use crate::record::check::Verdict;

pub fn render(imported: &Imported) -> String {
    let mut out = String::new();
    let mut say = |line: &str| out += &format!("{}\n", printable(line));
    if !imported.findings.is_empty() {
        for line in plain::render(&text::findings(imported)).lines() {
            say(line);
        }
        say("the map has to be put right first; nothing was written");
        if !imported.was_read() {
            return out;
        }
    }
    for line in text::summary(imported) {
        say(&line);
    }
    for (index, line) in imported.checks.iter().enumerate() {
        let state = match (line.state, line.verdict) {
            (Brought::Already, _) => "imported already",
            (Brought::New, verdict) => verdict.map_or("no verdict", Verdict::word),
        };
        say(&format!(
            "check {} of {}: {}",
            index + 1,
            imported.checks.len(),
            line.check
        ));
        say(&format!(
            "  from: {}",
            rows(line.sheet.as_ref(), line.row, line.last_row)
        ));
        say(&format!("  verdict: {state}"));
        if let (Some(cause), Some(reason)) = (line.void_cause, &line.reason) {
            say(&format!("  void: {cause}: {reason}"));
        }
        for (rule, message) in text::one_by_one(line) {
            say(&format!("  warning: {rule}: {message}"));
        }
    }
    for row in &imported.left_out {
        let why = match row.skipped {
            true => "as the map says",
            false => "nothing stands where the map looks",
        };
        let at = rows(row.sheet.as_ref(), row.row, row.row);
        say(&format!(
            "left out: {at}, cell {}, \"{}\": {why}",
            row.cell, row.found
        ));
    }
    for (index, one) in imported.refused.iter().enumerate() {
        say(&format!(
            "refused {} of {}: {}",
            index + 1,
            imported.refused.len(),
            place(one)
        ));
        if let Some(rule) = one.rule {
            say(&format!("  rule: {rule}"));
        }
        say(&format!("  what: {}", one.why));
        say(&format!("  next: {}", one.help));
    }
    for line in &imported.next {
        say(&format!("next: {line}"));
    }
    out
}
