use super::commit::Commit;
use super::{Out, Rule, Run};
use crate::finding::{Place, Severity};
use crate::parse::layout::MARKER;

pub(super) static RULE: Rule = Rule {
    id: "audit-start-moved",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("audit_start_moved.md"),
    run: &[Run::Commit(commit)],
};

const KEY: &str = "/gate/audit_from";

fn commit(commit: &Commit<'_>, out: &mut Out<'_>) {
    let marker = commit.book.marker.as_ref();
    let is = marker.and_then(|marker| marker.gate.audit_from.as_deref());
    for before in commit.markers {
        let Some(was) = before.gate.audit_from.as_deref() else {
            continue;
        };
        if is == Some(was) {
            continue;
        }
        let place = marker.map_or_else(|| Place::whole(MARKER), |marker| marker.at(KEY));
        let message = match is {
            Some(is) => format!(
                "{} moves the beginning of the audited history from {was} to {is}",
                commit.name()
            ),
            None => format!(
                "{} takes the beginning of the audited history away, which was {was}",
                commit.name()
            ),
        };
        out.say(place, message)
            .because(before.at(KEY), "as it was committed")
            .help(format!(
                "put audit_from = \"{was}\" back: once set it never changes, else history could be taken out of sight"
            ));
        return;
    }
}
