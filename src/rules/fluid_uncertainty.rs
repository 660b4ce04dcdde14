use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "fluid-uncertainty",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("fluid_uncertainty.md"),
    run: &[],
};
