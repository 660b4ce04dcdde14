use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "deviation-not-allowed",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("deviation_not_allowed.md"),
    run: &[],
};
