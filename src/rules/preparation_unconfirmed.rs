use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "preparation-unconfirmed",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("preparation_unconfirmed.md"),
    run: &[],
};
