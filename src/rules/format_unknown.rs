use super::{Rule, Run};
use crate::parse::FaultKind;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "format-unknown",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("format_unknown.md"),
    run: &[Run::Reading(FaultKind::Format)],
};
