use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "uncertainty-zero",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("uncertainty_zero.md"),
    run: &[],
};
