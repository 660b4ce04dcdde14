use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "performed-in-future",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("performed_in_future.md"),
    run: &[],
};
