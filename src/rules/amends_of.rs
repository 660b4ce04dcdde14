use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "amends-of",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("amends_of.md"),
    run: &[],
};
