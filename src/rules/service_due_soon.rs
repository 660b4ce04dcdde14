use super::{Out, Rule, Run};
use crate::finding::Severity;
use crate::fleet::{Fleet, is_soon};

pub(super) static RULE: Rule = Rule {
    id: "service-due-soon",
    severity: Severity::Notice,
    spares_void: false,
    doc: include_str!("service_due_soon.md"),
    run: &[Run::Fleet(fleet)],
};

fn fleet(fleet: &Fleet<'_>, out: &mut Out<'_>) {
    for member in &fleet.members {
        let (Some(record), Some(calibration)) = (member.speaks(), &member.calibration) else {
            continue;
        };
        let Some(due) = calibration.due else { continue };
        if is_soon(fleet.as_of, due, member.calibration_notice_days) {
            let said = out
                .say(
                    record.at(&super::service_overdue::place(calibration)),
                    format!("the full calibration of {} is due on {due}", member.id),
                )
                .help("arrange it with a competent laboratory; check the instrument as found before it leaves, and again when it is back");
            super::service_overdue::reasons(calibration, said);
        }
    }
}
