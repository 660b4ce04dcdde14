use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "void-without-reason",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("void_without_reason.md"),
    run: &[],
};
