use super::{Rule, Run};
use crate::finding::Severity;
use crate::parse::FaultKind;

pub(super) static RULE: Rule = Rule {
    id: "not-a-number",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("not_a_number.md"),
    run: &[Run::Reading(FaultKind::NotANumber)],
};
