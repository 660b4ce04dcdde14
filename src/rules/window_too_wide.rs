use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "window-too-wide",
    severity: Severity::Notice,
    spares_void: true,
    doc: include_str!("window_too_wide.md"),
    run: &[],
};
