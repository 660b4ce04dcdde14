use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "zero-out-of-limits",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("zero_out_of_limits.md"),
    run: &[],
};
