use super::torque_too_low::{percent_of, torque_of};
use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::finding::Severity;
use crate::measure::Exact;
use crate::record::check::Shown;

pub(super) static RULE: Rule = Rule {
    id: "torque-over-range",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("torque_over_range.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    for (index, point) in view.check.points.iter().enumerate() {
        let (place, message) = if point.shown == Some(Shown::OverRange) {
            (
                view.at(&format!("/point/{index}/shown")),
                format!(
                    "point {} was over range at {} rpm",
                    index + 1,
                    point.speed_rpm
                ),
            )
        } else if percent_of(view, index).is_none_or(|percent| *percent <= Exact::integer(100)) {
            continue;
        } else {
            match torque_of(view, index) {
                Some(torque) if torque.percent > Exact::integer(100) => (
                    torque.place,
                    format!("{}; the scale ends at 100 %", torque.shows),
                ),
                _ => continue,
            }
        };
        out.say(place, message).help(
            "take the point at a slower speed or with a smaller geometry; look first whether speed, geometry and lot are those that the check names",
        );
    }
}
