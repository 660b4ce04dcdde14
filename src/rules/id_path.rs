use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "id-path",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("id_path.md"),
    run: &[],
};
