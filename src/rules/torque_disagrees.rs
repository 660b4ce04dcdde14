use super::{Out, Rule, Run, support};
use crate::book::agreement::Pair;
use crate::book::view::View;
use crate::finding::Severity;
use crate::measure::Exact;
use crate::record::Number;
use crate::record::instrument::Speeds;

pub(super) static RULE: Rule = Rule {
    id: "torque-disagrees",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("torque_disagrees.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let (Some(policy), Some(judgement)) = (view.policy, &view.judgement) else {
        return;
    };
    for (index, (point, judged)) in view.check.points.iter().zip(&judgement.points).enumerate() {
        let (Some(pair), Some(range)) = (Pair::of(policy, point), &judged.range_unrounded) else {
            continue;
        };
        let (torque, viscosity) = (pair.torque, pair.viscosity);
        if pair.agree(range) {
            continue;
        }
        let by_torque = pair.by_torque(range);
        let apart = (&viscosity.value - &by_torque).abs();
        let speed = &point.speed_rpm;
        let mut message = format!(
            "{viscosity} mPa.s does not agree with {torque} % torque: at {speed} rpm the range is {} mPa.s, so the torque makes {} mPa.s; they lie {} mPa.s apart, policy {} and the digits written allow {}",
            support::figure(range),
            support::figure(&by_torque),
            support::figure(&apart),
            policy.id,
            support::figure(&pair.allowed(range)),
        );
        let explains = explanations(view, &pair, &speed.value);
        if !explains.is_empty() {
            message += &format!("; they would agree {}", explains.join(", or "));
        }
        let mut said = out
            .say(view.at(&format!("/point/{index}/viscosity_mpa_s")), message)
            .because(
                policy.at("/torque/agreement_percent"),
                "how far they may differ, in % of range",
            );
        if let Some(geometry) = view.geometry {
            said = said.because(geometry.at("/kind"), "the geometry that gives the range");
        }
        if let (Some(instrument), Some((row, _))) = (view.instrument, view.spring) {
            said = said.because(
                instrument.at(&format!("/spring/{row}/full_scale_torque_un_m")),
                "the spring that gives the range",
            );
        }
        said.help(
            "compare speed, geometry, torque and viscosity with the bench sheet and with what was set on the instrument; a display set to another geometry shows another viscosity",
        );
    }
}

/// The speeds of the instrument and the geometries of the book with which torque and viscosity would agree.
fn explanations(view: &View<'_>, pair: &Pair<'_>, speed: &Exact) -> Vec<String> {
    let (Some(instrument), Some(geometry), Some((_, spring))) =
        (view.instrument, view.geometry, view.spring)
    else {
        return Vec::new();
    };
    let spring = &spring.full_scale_torque_un_m.value;
    let at_speed = |other: &Exact| {
        let range = geometry.figures.range_mpa_s(spring, other);
        other != speed && range.is_some_and(|range| pair.agree(&range))
    };
    let speeds: Vec<String> = match &instrument.speeds {
        Speeds::These(speeds) => speeds
            .iter()
            .filter(|other| at_speed(&other.value))
            .map(Number::to_string)
            .collect(),
        // Some speed always would; one that somebody sets has few digits.
        Speeds::Between(slow, fast) => {
            let range = geometry.figures.range_mpa_s(spring, speed);
            let ideal = range
                .and_then(|range| (speed * pair.by_torque(&range)).divide(&pair.viscosity.value));
            ideal
                .map(|ideal| ideal.rounded_significant(2))
                .filter(|other| slow.value <= *other && *other <= fast.value && at_speed(other))
                .iter()
                .map(support::figure)
                .collect()
        }
    };
    let geometries: Vec<&str> = view
        .book
        .geometries
        .sound()
        .filter(|other| other.id != geometry.id && other.fits_on(&instrument.id))
        .filter(|other| {
            let range = other.figures.range_mpa_s(spring, speed);
            range.is_some_and(|range| pair.agree(&range))
        })
        .map(|other| other.id.as_str())
        .collect();
    let mut explains = Vec::new();
    if !speeds.is_empty() {
        explains.push(format!("at {} rpm", speeds.join(" or ")));
    }
    if !geometries.is_empty() {
        explains.push(format!("with geometry {}", geometries.join(" or ")));
    }
    explains
}
