use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "dates-reversed",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("dates_reversed.md"),
    run: &[],
};
