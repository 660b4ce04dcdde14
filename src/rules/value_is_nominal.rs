use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "value-is-nominal",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("value_is_nominal.md"),
    run: &[],
};
