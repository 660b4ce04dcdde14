use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "speed-unavailable",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("speed_unavailable.md"),
    run: &[],
};
