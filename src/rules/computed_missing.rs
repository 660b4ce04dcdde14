use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "computed-missing",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("computed_missing.md"),
    run: &[],
};
