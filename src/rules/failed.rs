use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "failed",
    severity: Severity::Notice,
    spares_void: true,
    doc: include_str!("failed.md"),
    run: &[],
};
