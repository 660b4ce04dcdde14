use super::{Rule, Run};
use crate::finding::Severity;
use crate::parse::FaultKind;

pub(super) static RULE: Rule = Rule {
    id: "limits-exceeded",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("limits_exceeded.md"),
    run: &[Run::Reading(FaultKind::Limits)],
};
