use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "value-rises-with-temperature",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("value_rises_with_temperature.md"),
    run: &[],
};
