use super::commit::Commit;
use super::{Out, Rule, Run};
use crate::finding::Severity;
use crate::record::book::Gate;

pub(super) static RULE: Rule = Rule {
    id: "signing-switched-off",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("signing_switched_off.md"),
    run: &[Run::Commit(commit)],
};

fn commit(commit: &Commit<'_>, out: &mut Out<'_>) {
    let Some(marker) = &commit.book.marker else {
        return;
    };
    for key in [
        "require_signed_commits",
        "require_known_authors",
        "sealed_refs",
        "late_entry_days",
    ] {
        let mut before = commit.markers.iter();
        let Some(before) = before.find(|before| ends(key, &before.gate, &marker.gate)) else {
            continue;
        };
        let pointer = format!("/gate/{key}");
        out.say(
            marker.at(&pointer),
            format!(
                "{} asks less of changes than the gate did: {key} was {}. This change is still judged by that",
                commit.name(),
                written(key, &before.gate)
            ),
        )
        .because(before.at(&pointer), "as it was committed")
        .help("say in the commit message who decided this and why; an assessor will ask");
    }
}

/// Whether a setting asks less than it did.
fn ends(key: &str, before: &Gate, after: &Gate) -> bool {
    match key {
        "require_signed_commits" => before.require_signed_commits && !after.require_signed_commits,
        "require_known_authors" => before.require_known_authors && !after.require_known_authors,
        "late_entry_days" => after.late_entry_days > before.late_entry_days,
        _ => {
            let sealed = before.sealed_refs.iter().flatten();
            let mut still = sealed.map(|name| match &after.sealed_refs {
                Some(names) => names.contains(name),
                None => true,
            });
            still.any(|still| !still)
        }
    }
}

fn written(key: &str, gate: &Gate) -> String {
    match key {
        "late_entry_days" => gate.late_entry_days.to_string(),
        "sealed_refs" => gate
            .sealed_refs
            .as_ref()
            .map(|names| names.join(", "))
            .unwrap_or_default(),
        _ => "true".to_owned(),
    }
}
