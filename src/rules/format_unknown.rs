use super::{Rule, Run};
use crate::finding::Severity;
use crate::parse::FaultKind;

pub(super) static RULE: Rule = Rule {
    id: "format-unknown",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("format_unknown.md"),
    run: &[Run::Reading(FaultKind::Format)],
};
