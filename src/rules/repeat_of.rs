use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "repeat-of",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("repeat_of.md"),
    run: &[],
};
