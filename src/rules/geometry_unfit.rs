use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "geometry-unfit",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("geometry_unfit.md"),
    run: &[],
};
