use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::book::zone::months_after;
use crate::finding::Severity;
use crate::record::When;
use crate::record::instrument::ServiceKind;

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
    let rows = instrument.services.iter().enumerate();
    let mut begun = rows.filter(|(_, row)| {
        row.kind == ServiceKind::Calibration && view.book.zone.begins(&row.date) <= view.performed
    });
    let Some((row, calibration)) = begun.next_back() else {
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
    let service_at = |key: &str| instrument.at(&format!("/service/{row}/{key}"));
    if let Some(due) = calibration.due {
        if view.date > due {
            out.say(
                view.at("/instrument"),
                format!(
                    "the full calibration of instrument {} was due on {due}, and the check was performed on {}",
                    instrument.id, view.date
                ),
            )
            .because(service_at("due"), "the last day of the last calibration")
            .help(HELP);
        }
        return;
    }
    let Some(policy) = view.policy else { return };
    let day = match &calibration.date {
        When::Date(date) => *date,
        when @ When::Time(_) => view.book.zone.date(view.book.zone.begins(when)),
    };
    let months = policy.service_interval_months;
    let Some(due) = months_after(day, months) else {
        return;
    };
    if view.date > due {
        out.say(
            view.at("/instrument"),
            format!(
                "instrument {} was last calibrated on {day} and was due again on {due}; the check was performed on {}",
                instrument.id, view.date
            ),
        )
        .because(service_at("date"), "the last full calibration, without a due date of its own")
        .because(
            policy.at("/service/interval_months"),
            format!("policy {} asks for one every {months} month{}", policy.id, if months == 1 { "" } else { "s" }),
        )
        .help(HELP);
    }
}
