use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "zone-missing",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("zone_missing.md"),
    run: &[],
};
