//! Plans for people: what to take, at which speeds, what to expect, and why something is left out.

use super::cautions::cautions;
use super::table::{plural, table};
use super::{printable, wrapped};
use crate::fleet::plan::{
    Choice, InstrumentPlan, LeftOut, PlannedPoint, Reason, What, figure, percent,
};
use crate::fleet::{Member, State, in_days};
use crate::record::geometry::{Geometry, GeometryKind, Guard};
use crate::record::policy::ZoneName;

/// So many choices are told in full.
pub(super) const IN_FULL: usize = 3;

/// So many more are told in a line each.
const IN_A_LINE: usize = 12;

/// The plan for one instrument, and how that instrument stands.
pub struct Planned<'a> {
    /// As the user named it.
    pub book: &'a str,
    pub member: &'a Member<'a>,
    pub plan: &'a InstrumentPlan<'a>,
    /// Every choice of speeds is asked for.
    pub all: bool,
}

impl Planned<'_> {
    /// Why the instrument may not be used, and why nothing can be planned for it.
    pub fn reasons(&self) -> Vec<String> {
        let mut reasons = self.member.reasons.clone();
        if let Some(hindrance) = &self.plan.hindrance
            && !reasons.contains(hindrance)
        {
            reasons.push(hindrance.clone());
        }
        reasons
    }

    pub(super) fn standing(&self) -> String {
        let member = self.member;
        let state = spoken(member);
        let due = match (member.state, member.next_due, member.days_left) {
            (State::OutOfService, ..) => String::new(),
            (_, Some(due), Some(left)) if left < 0 => {
                format!("; its check was due on {due}, {} ago", plural_days(-left))
            }
            (_, Some(due), Some(left)) => {
                format!("; its next check is due on {due}, {}", in_days(left))
            }
            _ => String::new(),
        };
        let policy = self.plan.policy.map(|policy| {
            format!(
                " Policy {}: {} % of value + {} % of range.",
                policy.id, policy.fluid_percent, policy.range_percent
            )
        });
        format!("{}: {state}{due}.{}", member.id, policy.unwrap_or_default())
    }
}

/// A state as it is read out.
pub(super) fn spoken(member: &Member<'_>) -> String {
    member.state.word().replace('-', " ")
}

fn plural_days(days: i64) -> String {
    plural(usize::try_from(days).unwrap_or(0), "day")
}

/// A lot at its temperature, with its bottle.
pub(super) fn beaker(choice: &Choice<'_>) -> String {
    let bottle = match choice.bottle {
        Some(bottle) => format!("bottle {}", bottle.id),
        None => "a new bottle".to_owned(),
    };
    format!(
        "{} at {} \u{b0}C, {bottle}",
        choice.fluid.id, choice.value.temperature_c
    )
}

/// A geometry: whether its guard belongs to it, what it is dipped in and how much that takes.
pub(super) fn fitted(geometry: &Geometry) -> String {
    let guard = match geometry.guard {
        Some(Guard::Required) => " with its guard",
        Some(Guard::NotUsed) => " without a guard",
        None => "",
    };
    let mut parts = vec![format!("{}{guard}", geometry.id)];
    parts.extend(geometry.vessel.clone());
    if let Some(sample) = &geometry.sample_ml {
        let own = match geometry.kind {
            GeometryKind::Factored => "",
            _ => " of its own",
        };
        parts.push(format!("{} mL{own}", figure(&sample.value)));
    }
    parts.join(", ")
}

/// The reference, how well it is known, how long it must stand, and how long it may be used.
pub(super) fn reference(choice: &Choice<'_>) -> String {
    let (reference, expires) = certified(choice);
    format!("{reference}; {}; {expires}", soak(choice))
}

/// The reference with how well it is known, and how long it may be used.
pub(super) fn certified(choice: &Choice<'_>) -> (String, String) {
    let uncertainty = choice.expanded_uncertainty_percent.as_ref();
    let uncertainty = uncertainty
        .map(|percent| {
            format!(
                ", expanded uncertainty {} %",
                figure(&percent.rounded_significant(3))
            )
        })
        .unwrap_or_default();
    (
        format!(
            "reference {} mPa.s{uncertainty}",
            figure(&choice.reference_mpa_s)
        ),
        match choice.days_to_expiry {
            0 => "expires today".to_owned(),
            1 => "expires tomorrow".to_owned(),
            days => format!("expires in {days} days"),
        },
    )
}

pub(super) fn soak(choice: &Choice<'_>) -> String {
    match choice.soak_minutes {
        Some(minutes) => format!("soak {} min", figure(&minutes.value)),
        None => "no soak stated".to_owned(),
    }
}

pub(super) const HEADS: [&str; 7] = [
    "zone",
    "rpm",
    "torque",
    "limits in mPa.s",
    "band",
    "off centre",
    "1/s",
];

pub(super) fn row(point: &PlannedPoint) -> Vec<String> {
    vec![
        ZoneName::from(point.zone).word().to_owned(),
        point.speed_rpm.to_string(),
        format!("{} %", point.torque_percent.to_fixed_string(1)),
        format!(
            "{} to {}",
            figure(&point.limits.lower),
            figure(&point.limits.upper)
        ),
        format!("{} %", point.band_percent.to_fixed_string(1)),
        format!("{} %", point.off_centre_percent.to_fixed_string(0)),
        match point.shear_rate_per_s {
            Some(rate) => format!("{rate:.2}"),
            None => "-".to_owned(),
        },
    ]
}

/// The points of a choice, indented.
pub(super) fn points(choice: &Choice<'_>, width: usize, indent: &str) -> String {
    let rows: Vec<Vec<String>> = choice.points.iter().map(row).collect();
    let text = table(&HEADS, &rows, width.saturating_sub(indent.len()));
    text.lines()
        .map(|line| format!("{indent}{line}\n"))
        .collect()
}

pub(super) fn speeds(choice: &Choice<'_>) -> String {
    let speeds = choice
        .points
        .iter()
        .map(|point| point.speed_rpm.to_string());
    speeds.collect::<Vec<_>>().join(", ")
}

fn in_full(planned: &Planned<'_>, number: usize, choice: &Choice<'_>, width: usize) -> String {
    let mut text = wrapped(
        &printable(&format!("{number}. {}", beaker(choice))),
        width,
        "",
        "   ",
    );
    text += &wrapped(&printable(&fitted(choice.geometry)), width, "   ", "   ");
    text += &wrapped(&reference(choice), width, "   ", "   ");
    text += &points(choice, width, "   ");
    for remark in planned.plan.remarks(choice) {
        text += &wrapped(&printable(&remark), width, "   ! ", "     ");
    }
    text
}

/// The choices behind those told in full, a line each.
fn further(planned: &Planned<'_>, width: usize) -> String {
    let choices = &planned.plan.choices;
    let most = if planned.all { usize::MAX } else { IN_A_LINE };
    let rows: Vec<Vec<String>> = choices
        .iter()
        .enumerate()
        .skip(IN_FULL)
        .take(most)
        .map(|(index, choice)| {
            vec![
                (index + 1).to_string(),
                choice.fluid.id.clone(),
                choice.value.temperature_c.to_string(),
                choice.geometry.id.clone(),
                speeds(choice),
                format!("{} %", choice.off_centre_percent.to_fixed_string(0)),
                format!("{} %", choice.widest_band_percent.to_fixed_string(1)),
            ]
        })
        .collect();
    if rows.is_empty() {
        return String::new();
    }
    let heads = [
        "",
        "lot",
        "\u{b0}C",
        "geometry",
        "rpm",
        "off centre",
        "widest band",
    ];
    let mut text = format!("\nFurther choices\n{}", table(&heads, &rows, width));
    let left = choices.len() - IN_FULL - rows.len();
    if left > 0 {
        let more = format!("{left} more are told by --format json.");
        text += &wrapped(&more, width, "", "");
    }
    text
}

pub(super) fn noun(what: What) -> &'static str {
    match what {
        What::Fluid => "lot",
        What::Geometry => "geometry",
    }
}

/// Lots and geometries that no choice is made with; those that do not fit in one line.
fn left_out(left_out: &[LeftOut], width: usize) -> String {
    let misfits: Vec<&str> = left_out
        .iter()
        .filter(|one| one.reason == Reason::DoesNotFit)
        .map(|one| one.id.as_str())
        .collect();
    let mut text = String::new();
    for one in left_out
        .iter()
        .filter(|one| one.reason != Reason::DoesNotFit)
    {
        let line = format!("{} {}: {}", noun(one.what), one.id, one.message);
        text += &wrapped(&printable(&line), width, "- ", "  ");
    }
    if !misfits.is_empty() {
        let line = format!("do not fit: {}", misfits.join(", "));
        text += &wrapped(&printable(&line), width, "- ", "  ");
    }
    match text.is_empty() {
        true => text,
        false => format!("\nLeft out\n{text}"),
    }
}

/// What to take care of.
pub(super) fn take_care(texts: &[&str], width: usize) -> String {
    let texts = texts.iter().map(|text| wrapped(text, width, "- ", "  "));
    format!("\nTake care\n{}", texts.collect::<String>())
}

pub(super) const BEST_FIRST: &str = "Best first: zones well centred, a narrow band, a well known value, what expires first, a short soak, an open bottle.";

/// What is said where there is nothing to choose from.
pub(super) fn nothing(plan: &InstrumentPlan<'_>) -> String {
    match &plan.hindrance {
        Some(why) => format!("Nothing can be planned for {}: {why}.", plan.instrument.id),
        None => format!(
            "Nothing in stock serves {}: no usable lot and fitting geometry show torque in each zone that the policy asks for.",
            plan.instrument.id
        ),
    }
}

/// The plan for one instrument; every line fits the width.
pub fn instrument(planned: &Planned<'_>, width: usize) -> String {
    let plan = planned.plan;
    let head = format!("Plan for {} on {}", plan.instrument.id, plan.day);
    let mut text = wrapped(&printable(&head), width, "", "  ");
    text += &wrapped(&printable(&planned.standing()), width, "", "  ");
    let remark = plan.remark().filter(|_| !plan.choices.is_empty());
    for reason in planned
        .member
        .reasons
        .iter()
        .map(String::as_str)
        .chain(remark)
    {
        text += &wrapped(&printable(reason), width, "  ! ", "    ");
    }
    if plan.choices.is_empty() {
        text += "\n";
        text += &wrapped(&printable(&nothing(plan)), width, "", "  ");
    } else {
        text += &wrapped(BEST_FIRST, width, "", "  ");
    }
    for (index, choice) in plan.choices.iter().enumerate().take(IN_FULL) {
        text += "\n";
        text += &in_full(planned, index + 1, choice, width);
    }
    text += &further(planned, width);
    text += &left_out(&plan.left_out, width);
    let temperatures = plan
        .choices
        .iter()
        .map(|one| &one.value.temperature_c.value);
    text + &take_care(&cautions(temperatures), width)
}

/// One fact a line, for screen readers.
pub fn instrument_plain(planned: &Planned<'_>) -> String {
    let plan = planned.plan;
    let mut text = format!("Plan for {} on {}\n", plan.instrument.id, plan.day);
    text += &format!("{}\n", planned.standing());
    for reason in &planned.member.reasons {
        text += &format!("why it may not be used: {reason}\n");
    }
    if plan.choices.is_empty() {
        text += &format!("{}\n", nothing(plan));
    }
    for (index, choice) in plan.choices.iter().enumerate() {
        text += &format!("choice {}: {}\n", index + 1, beaker(choice));
        text += &choice_plain(choice);
        for remark in plan.all_remarks(choice) {
            text += &format!("remark: {remark}\n");
        }
    }
    for one in &plan.left_out {
        let (what, reason) = (one.what.word(), one.reason.word());
        text += &format!("left out: {what} {}: {reason}: {}\n", one.id, one.message);
    }
    let temperatures = plan
        .choices
        .iter()
        .map(|one| &one.value.temperature_c.value);
    for caution in cautions(temperatures) {
        text += &format!("take care: {caution}\n");
    }
    text.lines().map(|line| printable(line) + "\n").collect()
}

pub(super) fn choice_plain(choice: &Choice<'_>) -> String {
    let mut text = format!(
        "geometry: {}\n{}\n",
        fitted(choice.geometry),
        reference(choice)
    );
    for point in &choice.points {
        text += &format!(
            "{} zone: {} rpm, torque {} %, limits {} to {} mPa.s, band {} %, off centre {} %\n",
            ZoneName::from(point.zone).word(),
            point.speed_rpm,
            percent(&point.torque_percent),
            figure(&point.limits.lower),
            figure(&point.limits.upper),
            percent(&point.band_percent),
            percent(&point.off_centre_percent),
        );
    }
    text
}
