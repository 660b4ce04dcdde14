use super::{Rule, Run};
use crate::finding::Severity;
use crate::parse::FaultKind;

pub(super) static RULE: Rule = Rule {
    id: "toml-newer-syntax",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("toml_newer_syntax.md"),
    run: &[Run::Reading(FaultKind::NewerSyntax)],
};
