use super::{Rule, Run};
use crate::parse::FaultKind;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "limits-exceeded",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("limits_exceeded.md"),
    run: &[Run::Reading(FaultKind::Limits)],
};
