use super::Rule;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "id-clash",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("id_clash.md"),
    run: &[],
};
