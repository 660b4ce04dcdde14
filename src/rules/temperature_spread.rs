use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "temperature-spread",
    severity: Severity::Warning,
    spares_void: true,
    doc: include_str!("temperature_spread.md"),
    run: &[],
};
