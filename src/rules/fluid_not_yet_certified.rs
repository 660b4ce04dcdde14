use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "fluid-not-yet-certified",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("fluid_not_yet_certified.md"),
    run: &[],
};
