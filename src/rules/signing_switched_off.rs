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
    for key in ["require_signed_commits", "require_known_authors"] {
        let before = commit.markers.iter().find(|before| asks(&before.gate, key));
        let Some(before) = before.filter(|_| !asks(&marker.gate, key)) else {
            continue;
        };
        let pointer = format!("/gate/{key}");
        out.say(
            marker.at(&pointer),
            format!(
                "{} ends what the gate required: {key} was true. This change is still judged by it",
                commit.name()
            ),
        )
        .because(before.at(&pointer), "as it was committed")
        .help("say in the commit message who decided this and why; an assessor will ask");
    }
}

fn asks(gate: &Gate, key: &str) -> bool {
    match key {
        "require_signed_commits" => gate.require_signed_commits,
        _ => gate.require_known_authors,
    }
}
