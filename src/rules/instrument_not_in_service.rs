use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "instrument-not-in-service",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("instrument_not_in_service.md"),
    run: &[],
};
