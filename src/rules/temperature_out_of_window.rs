use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "temperature-out-of-window",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("temperature_out_of_window.md"),
    run: &[],
};
