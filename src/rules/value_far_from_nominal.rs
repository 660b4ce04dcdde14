use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "value-far-from-nominal",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("value_far_from_nominal.md"),
    run: &[],
};
