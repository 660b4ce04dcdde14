//! How lists are offered and findings told, the same at every question.

use super::bench::Bench;
use crate::cli::ask::{Asked, Asker, Line, Tone};
use crate::finding::{Finding, Severity};
use crate::parse::write::CheckText;
use crate::record::Word;

/// What is answered where there is nothing to say.
pub(super) const NOTHING: &str = "-";

/// Words with what is said beside each.
pub(super) type Options = Vec<(String, String)>;

/// What the rules say at these keys, told at once and once; whether there was anything new.
pub(super) fn tell_findings(
    bench: &Bench,
    asker: &mut Asker,
    check: &CheckText,
    pointers: &[&str],
) -> Asked<bool> {
    let findings = bench.findings_at(check, pointers)?;
    let told = findings
        .iter()
        .filter(|finding| finding.severity != Severity::Notice)
        .filter(|finding| asker.is_new(finding.rule, &finding.place.pointer));
    let lines: Vec<Line> = told.map(spoken).collect();
    asker.tell_lines(&lines);
    Ok(!lines.is_empty())
}

pub(super) fn spoken(finding: &Finding) -> Line {
    let word = match finding.severity {
        Severity::Error => "Refused as it is",
        _ => "Look",
    };
    let next = match finding.help.as_str() {
        "" => String::new(),
        help => format!("\n    next: {help}"),
    };
    (Tone::Bad, format!("  {word}: {}{next}", finding.message))
}

/// The words of a list in the given order, with what is said beside each.
pub(super) fn words_of<W: Word + PartialEq>(labels: &[(W, &str)]) -> Options {
    let word = |wanted: &W| {
        W::ALL
            .iter()
            .find(|(_, one)| one == wanted)
            .map(|(word, _)| *word)
    };
    labels
        .iter()
        .filter_map(|(one, label)| Some((word(one)?.to_owned(), (*label).to_owned())))
        .collect()
}

pub(super) fn not_blank(text: &str) -> Result<String, String> {
    match text.trim() {
        "" => Err("write a few words".to_owned()),
        text => Ok(text.to_owned()),
    }
}
