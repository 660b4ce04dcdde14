use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "operator-not-authorised",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("operator_not_authorised.md"),
    run: &[],
};
