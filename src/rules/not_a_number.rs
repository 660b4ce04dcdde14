use super::{Rule, Run};
use crate::parse::FaultKind;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "not-a-number",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("not_a_number.md"),
    run: &[Run::Reading(FaultKind::NotANumber)],
};
