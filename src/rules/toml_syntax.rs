use super::{Rule, Run};
use crate::finding::Severity;
use crate::parse::FaultKind;

pub(super) static RULE: Rule = Rule {
    id: "toml-syntax",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("toml_syntax.md"),
    run: &[Run::Reading(FaultKind::Syntax)],
};
