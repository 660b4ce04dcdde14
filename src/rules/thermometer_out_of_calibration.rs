use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "thermometer-out-of-calibration",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("thermometer_out_of_calibration.md"),
    run: &[Run::Check(check)],
};

const HELP: &str = "enter the missing certificate in the thermometer's file if there is one; else repeat the check with a calibrated thermometer and keep this one as evidence with void = true, void_cause and reason";

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(thermometer) = view.thermometer else {
        return;
    };
    let (message, place, why) = match view.calibration {
        Some((_, calibration)) if view.date <= calibration.due => return,
        Some((row, calibration)) => (
            format!(
                "the calibration of thermometer {} held until {}, and the check was performed on {}",
                thermometer.id, calibration.due, view.date
            ),
            format!("/calibration/{row}/due"),
            "the last day of the calibration",
        ),
        None => match thermometer.calibrations.first() {
            Some(first) => (
                format!(
                    "thermometer {} was first calibrated on {}, after this check of {}",
                    thermometer.id, first.date, view.date
                ),
                "/calibration/0/date".to_owned(),
                "its first calibration",
            ),
            None => (
                format!("thermometer {} has no calibration", thermometer.id),
                "/calibration".to_owned(),
                "no [[calibration]] row",
            ),
        },
    };
    out.say(view.at("/thermometer"), message)
        .because(thermometer.at(&place), why)
        .help(HELP);
}
