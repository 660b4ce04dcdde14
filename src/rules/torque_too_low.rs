use super::{Out, Rule, Run, support};
use crate::book::view::View;
use crate::finding::{Place, Severity};
use crate::measure::Exact;

pub(super) static RULE: Rule = Rule {
    id: "torque-too-low",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("torque_too_low.md"),
    run: &[Run::Check(check)],
};

/// The torque of a point: as shown, else as its reading makes it.
pub(super) struct Torque {
    pub percent: Exact,
    /// The figure that it was had from.
    pub place: Place,
    /// What the point showed, as a sentence begins with it.
    pub shows: String,
}

/// The torque of a point by itself, for the many that are as they must be.
pub(super) fn percent_of<'a>(view: &'a View<'_>, index: usize) -> Option<&'a Exact> {
    if let Some(torque) = &view.check.points.get(index)?.torque_percent {
        return Some(&torque.value);
    }
    let judged = view.judgement.as_ref()?.points.get(index)?;
    judged.torque_percent.as_ref()
}

/// `None` where no figure was shown, or where the range cannot be had.
pub(super) fn torque_of(view: &View<'_>, index: usize) -> Option<Torque> {
    let point = view.check.points.get(index)?;
    let number = index + 1;
    let speed = &point.speed_rpm;
    if let Some(torque) = &point.torque_percent {
        return Some(Torque {
            percent: torque.value.clone(),
            place: view.at(&format!("/point/{index}/torque_percent")),
            shows: format!("point {number} shows {torque} % torque at {speed} rpm"),
        });
    }
    let reading = point.viscosity_mpa_s.as_ref()?;
    let judged = view.judgement.as_ref()?.points.get(index)?;
    let percent = judged.torque_percent.clone()?;
    let range = judged.range_unrounded.as_ref()?;
    Some(Torque {
        place: view.at(&format!("/point/{index}/viscosity_mpa_s")),
        shows: format!(
            "point {number} shows {reading} mPa.s at {speed} rpm, {} % torque of the range {} mPa.s",
            support::figure(&percent),
            support::figure(range)
        ),
        percent,
    })
}

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(policy) = view.policy else { return };
    let minimum = &policy.minimum_percent;
    for index in 0..view.check.points.len() {
        if percent_of(view, index).is_none_or(|percent| *percent >= minimum.value) {
            continue;
        }
        let Some(torque) = torque_of(view, index) else {
            continue;
        };
        if torque.percent < minimum.value {
            out.say(
                torque.place,
                format!(
                    "{}; policy {} asks for at least {minimum} %",
                    torque.shows, policy.id
                ),
            )
            .because(
                policy.at("/torque/minimum_percent"),
                "the least torque that counts",
            )
            .help(format!(
                "take the point at a faster speed or with a larger geometry, so that the fluid shows {minimum} % or more"
            ));
        }
    }
}
