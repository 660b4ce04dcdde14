use super::{Rule, Run};
use crate::parse::FaultKind;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "schema",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("schema.md"),
    run: &[Run::Reading(FaultKind::Schema)],
};
