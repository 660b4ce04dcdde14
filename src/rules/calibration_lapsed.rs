use super::{Out, Rule, Run};
use crate::book::view::{View, full_calibration_at};
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "calibration-lapsed",
    severity: Severity::Warning,
    spares_void: true,
    doc: include_str!("calibration_lapsed.md"),
    run: &[Run::Check(check)],
};

const HELP: &str = "enter the certificate as a [[service]] row if the instrument was calibrated; else have it calibrated by a competent laboratory";

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(instrument) = view.instrument else {
        return;
    };
    let last = full_calibration_at(view.book, instrument, view.performed, view.policy);
    let Some(calibration) = last else {
        out.say(
            view.at("/instrument"),
            format!(
                "instrument {} had no full calibration by {}",
                instrument.id, view.date
            ),
        )
        .because(
            instrument.at("/service"),
            "no [[service]] row of kind calibration before the check",
        )
        .help(HELP);
        return;
    };
    let Some(due) = calibration.due.filter(|due| view.date > *due) else {
        return;
    };
    let service_at = |key: &str| instrument.at(&format!("/service/{}/{key}", calibration.row));
    let Some(policy) = calibration.by_policy else {
        out.say(
            view.at("/instrument"),
            format!(
                "the full calibration of instrument {} was due on {due}, and the check was performed on {}",
                instrument.id, view.date
            ),
        )
        .because(service_at("due"), "the last day of the last calibration")
        .help(HELP);
        return;
    };
    let months = policy.service_interval_months;
    out.say(
        view.at("/instrument"),
        format!(
            "instrument {} was last calibrated on {} and was due again on {due}; the check was performed on {}",
            instrument.id, calibration.day, view.date
        ),
    )
    .because(service_at("date"), "the last full calibration, without a due date of its own")
    .because(
        policy.at("/service/interval_months"),
        format!("policy {} asks for one every {months} month{}", policy.id, if months == 1 { "" } else { "s" }),
    )
    .help(HELP);
}
