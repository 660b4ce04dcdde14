use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "consent-unconfirmed",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("consent_unconfirmed.md"),
    run: &[],
};
