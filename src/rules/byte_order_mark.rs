use super::{Rule, Run};
use crate::finding::Severity;
use crate::parse::FaultKind;

pub(super) static RULE: Rule = Rule {
    id: "byte-order-mark",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("byte_order_mark.md"),
    run: &[Run::Reading(FaultKind::ByteOrderMark)],
};
