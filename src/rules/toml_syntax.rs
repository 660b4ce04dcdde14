use super::{Rule, Run};
use crate::parse::FaultKind;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "toml-syntax",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("toml_syntax.md"),
    run: &[Run::Reading(FaultKind::Syntax)],
};
