use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "soak-too-short",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("soak_too_short.md"),
    run: &[],
};
