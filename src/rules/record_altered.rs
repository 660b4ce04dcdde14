use super::{Rule, Out};
use crate::finding::{Finding, Place, Severity};

pub(super) static RULE: Rule = Rule {
    id: "record-altered",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("record_altered.md"),
    run: &[],
};

/// A committed record that a change alters or removes.
pub fn record_altered(path: &str, what: &str, removed: bool) -> Finding {
    let mut findings = Vec::new();
    let did = if removed { "removes or renames" } else { "alters" };
    let mut out = Out { rule: &RULE, findings: &mut findings };
    out.say(
        Place::whole(path),
        format!("this change {did} a committed record: the {what} at {path}"),
    )
    .help(format!(
        "put it back with git restore --source=HEAD --staged --worktree -- '{path}', and write what is right as a new record: an amendment (its name with .a1, with amends, reason, amended and amended_by) beside the old one"
    ));
    findings.remove(0)
}
