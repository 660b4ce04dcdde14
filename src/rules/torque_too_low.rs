use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "torque-too-low",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("torque_too_low.md"),
    run: &[],
};
