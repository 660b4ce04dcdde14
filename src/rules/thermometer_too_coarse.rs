use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "thermometer-too-coarse",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("thermometer_too_coarse.md"),
    run: &[],
};
