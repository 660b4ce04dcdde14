use super::{Out, Rule, Run};
use crate::finding::Severity;
use crate::fleet::{Fleet, Member};

pub(super) static RULE: Rule = Rule {
    id: "check-overdue",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("check_overdue.md"),
    run: &[Run::Fleet(fleet)],
};

fn fleet(fleet: &Fleet<'_>, out: &mut Out<'_>) {
    for member in &fleet.members {
        let (Some(record), Some(due), Some(left)) =
            (member.speaks(), member.next_due, member.days_left)
        else {
            continue;
        };
        if left >= 0 {
            continue;
        }
        let late = -left;
        let said = out
            .say(
                record.at("/usage"),
                format!(
                    "the check of {} was due on {due}, {late} day{} ago",
                    member.id,
                    if late == 1 { "" } else { "s" }
                ),
            )
            .help("check it before it is used again; if it is not used, say so with a [[standing]] row");
        reasons(member, said);
    }
}

/// The last pass and the interval, which together give the due date.
pub(super) fn reasons(member: &Member<'_>, mut said: super::Said<'_>) {
    if let Some(pass) = &member.last_pass {
        said = said.because(pass.place(), format!("the last pass, on {}", pass.day));
    }
    if let (Some((policy, days)), Some(record)) = (member.interval, member.record) {
        said.because(
            policy.at(&format!("/interval/{}", record.usage)),
            format!(
                "policy {} gives class {} {days} days",
                policy.id, record.usage
            ),
        );
    }
}
