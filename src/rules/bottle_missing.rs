use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "bottle-missing",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("bottle_missing.md"),
    run: &[],
};
