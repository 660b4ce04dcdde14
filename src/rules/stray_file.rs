use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "stray-file",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("stray_file.md"),
    run: &[],
};
