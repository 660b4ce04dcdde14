use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "not-a-file",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("not_a_file.md"),
    run: &[],
};
