use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "calibration-lapsed",
    severity: Severity::Warning,
    spares_void: true,
    doc: include_str!("calibration_lapsed.md"),
    run: &[],
};
