use super::{Out, Rule, Run};
use crate::book::view::FullCalibration;
use crate::finding::Severity;
use crate::fleet::Fleet;

pub(super) static RULE: Rule = Rule {
    id: "service-overdue",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("service_overdue.md"),
    run: &[Run::Fleet(fleet)],
};

fn fleet(fleet: &Fleet<'_>, out: &mut Out<'_>) {
    const HELP: &str = "have it calibrated by a competent laboratory, and enter the certificate as a [[service]] row; until then do not use it";
    for member in &fleet.members {
        let Some(record) = member.speaks() else {
            continue;
        };
        let Some(calibration) = &member.calibration else {
            out.say(
                record.at("/service"),
                format!("{} has had no full calibration", member.id),
            )
            .help(HELP);
            continue;
        };
        if let Some(due) = calibration.due.filter(|due| fleet.as_of > *due) {
            let said = out
                .say(
                    record.at(&place(calibration)),
                    format!("the full calibration of {} was due on {due}", member.id),
                )
                .help(HELP);
            reasons(calibration, said);
        }
    }
}

/// Where the due date stands, or what it is counted from.
pub(super) fn place(calibration: &FullCalibration<'_>) -> String {
    let key = match calibration.by_policy {
        Some(_) => "date",
        None => "due",
    };
    format!("/service/{}/{key}", calibration.row)
}

/// What the due date is counted by, where the certificate does not name it.
pub(super) fn reasons(calibration: &FullCalibration<'_>, said: super::Said<'_>) {
    if let Some(policy) = calibration.by_policy {
        said.because(
            policy.at("/service/interval_months"),
            format!(
                "policy {} asks for one every {} months, counted from {}",
                policy.id, policy.service_interval_months, calibration.day
            ),
        );
    }
}
