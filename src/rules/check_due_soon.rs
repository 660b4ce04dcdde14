use super::{Out, Rule, Run};
use crate::finding::Severity;
use crate::fleet::{Fleet, in_days};

pub(super) static RULE: Rule = Rule {
    id: "check-due-soon",
    severity: Severity::Notice,
    spares_void: false,
    doc: include_str!("check_due_soon.md"),
    run: &[Run::Fleet(fleet)],
};

fn fleet(fleet: &Fleet<'_>, out: &mut Out<'_>) {
    for member in &fleet.members {
        let (Some(record), Some(due), Some(left)) =
            (member.speaks(), member.next_due, member.days_left)
        else {
            continue;
        };
        if !(0..=member.notice_days).contains(&left) {
            continue;
        }
        let when = in_days(left);
        let said = out
            .say(
                record.at("/usage"),
                format!("the next check of {} is due {when}, on {due}", member.id),
            )
            .help("plan the check: the fluid, the speeds for the zones, and the time to soak");
        super::check_overdue::reasons(member, said);
    }
}
