use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "fluid-not-usable",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("fluid_not_usable.md"),
    run: &[],
};
