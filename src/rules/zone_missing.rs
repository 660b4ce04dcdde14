use super::{Out, Rule, Run, support};
use crate::book::view::{View, zone_bounds};
use crate::finding::Severity;
use crate::measure::Exact;
use crate::measure::range::torque_from_reading;
use crate::measure::zone::zone;
use crate::record::instrument::Speeds;
use crate::record::policy::{Policy, ZoneName};

pub(super) static RULE: Rule = Rule {
    id: "zone-missing",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("zone_missing.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let (Some(policy), Some(judgement)) = (view.policy, &view.judgement) else {
        return;
    };
    if judgement.points.is_empty() {
        return;
    }
    let covered = |wanted: &ZoneName| {
        let mut points = judgement.points.iter();
        points.any(|point| point.zone.map(ZoneName::from) == Some(*wanted))
    };
    if policy.zones_required.iter().all(covered) {
        return;
    }
    // A point whose torque cannot be had may lie in any zone.
    let mut lie: Vec<String> = Vec::new();
    for (judged, point) in judgement.points.iter().zip(&view.check.points) {
        let Some(torque) = &judged.expected_torque_percent else {
            return;
        };
        let zone = judged
            .zone
            .map_or("none", |zone| ZoneName::from(zone).word());
        let one = format!(
            "{} % at {} rpm ({zone})",
            support::figure(torque),
            point.speed_rpm
        );
        if !lie.contains(&one) {
            lie.push(one);
        }
    }
    for wanted in &policy.zones_required {
        if covered(wanted) {
            continue;
        }
        out.say(
            view.at("/point"),
            format!(
                "no point lies in the {} zone ({}); by its certified viscosity lot {} shows {}",
                wanted.word(),
                extent(policy, *wanted),
                view.check.fluid,
                lie.join(", ")
            ),
        )
        .because(
            policy.at("/torque/zones_required"),
            "the zones that a check needs",
        )
        .help(advice(view, policy, *wanted));
    }
}

fn extent(policy: &Policy, zone: ZoneName) -> String {
    let (low, high) = (&policy.low_below_percent, &policy.high_above_percent);
    match zone {
        ZoneName::Low => format!("{} to under {low} % torque", policy.minimum_percent),
        ZoneName::Middle => format!("{low} to {high} % torque"),
        ZoneName::High => format!("over {high} to 100 % torque"),
    }
}

fn advice(view: &View<'_>, policy: &Policy, wanted: ZoneName) -> String {
    let zone = wanted.word();
    match landing(view, policy, wanted) {
        Some(speeds) if !speeds.is_empty() => {
            let named: Vec<String> = speeds
                .iter()
                .map(|(speed, torque)| format!("{speed} rpm ({} %)", support::figure(torque)))
                .collect();
            format!(
                "take another point in the same fluid at {}; a check that can no longer be completed is kept with void = true, void_cause and reason",
                named.join(" or ")
            )
        }
        Some(_) => format!(
            "no speed of {} shows lot {} in the {zone} zone with this geometry: take another geometry or another lot for that point's check",
            view.check.instrument, view.check.fluid
        ),
        None => format!(
            "take a point at a speed, with a geometry or in a lot that shows torque in the {zone} zone"
        ),
    }
}

/// The speeds of the instrument, nearest the middle of the zone first and two at most, at which the reference shows torque
/// in a zone; `None` where that cannot be computed.
fn landing(view: &View<'_>, policy: &Policy, wanted: ZoneName) -> Option<Vec<(String, Exact)>> {
    let instrument = view.instrument?;
    let judgement = view.judgement.as_ref()?;
    let reference = judgement
        .points
        .iter()
        .find_map(|point| point.reference_unrounded.as_ref())?;
    let spring = &view.spring?.1.full_scale_torque_un_m.value;
    let figures = &view.geometry?.figures;
    let bounds = zone_bounds(policy);
    let (bottom, top) = match wanted {
        ZoneName::Low => (&bounds.minimum_percent, &bounds.low_below_percent),
        ZoneName::Middle => (&bounds.low_below_percent, &bounds.high_above_percent),
        ZoneName::High => (&bounds.high_above_percent, &Exact::integer(100)),
    };
    let centre = (bottom + top).divide(&Exact::integer(2))?;
    let torque_at = |speed: &Exact| {
        let range = figures.range_mpa_s(spring, speed)?;
        let torque = torque_from_reading(reference, &range)?;
        (zone(&torque, &bounds).map(ZoneName::from) == Some(wanted)).then_some(torque)
    };
    match &instrument.speeds {
        Speeds::These(speeds) => {
            let mut found: Vec<(String, Exact)> = speeds
                .iter()
                .filter_map(|speed| Some((speed.to_string(), torque_at(&speed.value)?)))
                .collect();
            found.sort_by_key(|(_, torque)| (torque - &centre).abs());
            found.truncate(2);
            Some(found)
        }
        Speeds::Between(slow, fast) => {
            // Torque grows with the speed.
            let range = figures.range_mpa_s(spring, &slow.value)?;
            let at_slow = torque_from_reading(reference, &range)?;
            let ideal = (&slow.value * &centre).divide(&at_slow)?;
            let ideal = ideal.min(fast.value.clone()).max(slow.value.clone());
            let speeds = [ideal.rounded_significant(2), ideal];
            let mut found = speeds.into_iter().filter_map(|speed| {
                let within = slow.value <= speed && speed <= fast.value;
                let torque = torque_at(&speed).filter(|_| within)?;
                Some((support::figure(&speed), torque))
            });
            Some(found.next().into_iter().collect())
        }
    }
}
