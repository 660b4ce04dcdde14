use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "thermometer-out-of-calibration",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("thermometer_out_of_calibration.md"),
    run: &[],
};
