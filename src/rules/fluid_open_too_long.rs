use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "fluid-open-too-long",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("fluid_open_too_long.md"),
    run: &[],
};
