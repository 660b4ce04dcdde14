use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "policy-none",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("policy_none.md"),
    run: &[],
};
