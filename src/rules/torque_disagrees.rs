use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "torque-disagrees",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("torque_disagrees.md"),
    run: &[],
};
