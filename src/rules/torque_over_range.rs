use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "torque-over-range",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("torque_over_range.md"),
    run: &[],
};
