use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "guard-differs",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("guard_differs.md"),
    run: &[],
};
