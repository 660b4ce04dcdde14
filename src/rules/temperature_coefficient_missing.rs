use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "temperature-coefficient-missing",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("temperature_coefficient_missing.md"),
    run: &[],
};
