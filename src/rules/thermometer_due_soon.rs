use super::{Out, Rule, Run};
use crate::finding::Severity;
use crate::fleet::{Fleet, days_between, in_days, is_soon, notice_days};

pub(super) static RULE: Rule = Rule {
    id: "thermometer-due-soon",
    severity: Severity::Notice,
    spares_void: false,
    doc: include_str!("thermometer_due_soon.md"),
    run: &[Run::Fleet(fleet)],
};

fn fleet(fleet: &Fleet<'_>, out: &mut Out<'_>) {
    let zone = &fleet.book.zone;
    for thermometer in fleet.book.thermometers.sound() {
        let rows = thermometer.calibrations.iter().enumerate();
        let begun = rows.filter(|(_, row)| zone.begins(&row.date) <= fleet.at);
        // The one that holds longest.
        let Some((index, row)) = begun.max_by_key(|(_, row)| row.due) else {
            continue;
        };
        let begins = zone.date(zone.begins(&row.date));
        let notice = notice_days(fleet.policy, days_between(begins, row.due));
        if !is_soon(fleet.as_of, row.due, notice) {
            continue;
        }
        let days = in_days(days_between(fleet.as_of, row.due));
        out.say(
            thermometer.at(&format!("/calibration/{index}/due")),
            format!(
                "the calibration of thermometer {} ends on {}, {days}",
                thermometer.id, row.due
            ),
        )
        .help("have it calibrated, or plan the checks with another thermometer");
    }
}
