//! The bench sheet: the checks that are due, grouped so that one soaked beaker serves many instruments, in working order.

use super::stock::Stock;
use super::{Choice, Extent, InstrumentPlan, Reason, What};
use crate::book::{Loaded, zone};
use crate::fleet::{Fleet, Member, State};
use crate::measure::Exact;
use crate::measure::plan::cover;
use crate::record::fluid::{Bottle, CertifiedValue, Fluid};
use crate::record::geometry::GeometryKind;
use crate::source::each_of;
use jiff::civil::Date;
use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::convert::Infallible;

/// What is due up to a day, and how it is best done.
pub struct Sheet<'a> {
    pub day: Date,
    pub within_days: u32,
    /// No smaller number of beakers would do.
    pub exact: bool,
    /// In working order: by temperature, the longest soak first.
    pub beakers: Vec<Beaker<'a>>,
    /// In order of id.
    pub not_planned: Vec<NotPlanned<'a>>,
}

/// A lot at one of its certified temperatures.
pub struct Beaker<'a> {
    pub fluid: &'a Loaded<Fluid>,
    pub value: &'a CertifiedValue,
    /// That most of its instruments take.
    pub bottle: Option<&'a Bottle>,
    /// The longest of its instruments.
    pub soak_minutes: Option<Exact>,
    /// Of spindles that are dipped into the same vessel the largest sample, and that of each cup, cone or plates.
    pub sample_ml: Option<Exact>,
    /// The worst state first, then by id.
    pub lines: Vec<Line<'a>>,
}

/// One instrument at a beaker.
pub struct Line<'a> {
    pub member: &'a Member<'a>,
    pub choice: Choice<'a>,
    pub remarks: Vec<String>,
}

impl Line<'_> {
    /// Whether it takes a sample of its own, and is not dipped into what others are dipped into.
    pub fn takes_own_sample(&self) -> bool {
        self.choice.geometry.kind != GeometryKind::Factored
    }
}

pub struct NotPlanned<'a> {
    pub member: &'a Member<'a>,
    pub message: String,
}

/// Whether an instrument needs a check now, or its next one is due up to a day.
fn is_due(member: &Member<'_>, last: Date) -> bool {
    let now = matches!(
        member.state,
        State::NeverChecked
            | State::Failed
            | State::RepeatNeeded
            | State::CheckNeeded
            | State::Overdue
    );
    // When the check of an instrument is due whose file is broken, nobody knows.
    now || member.record.is_none() || member.next_due.is_some_and(|due| due <= last)
}

/// A lot and one of its certified values.
type Place<'a> = (&'a str, usize);

/// The best choice of an instrument with each beaker, and at which place of all its choices that stands.
struct Best<'a> {
    member: &'a Member<'a>,
    by_beaker: BTreeMap<Place<'a>, (u32, Choice<'a>)>,
    /// Without its choices.
    plan: InstrumentPlan<'a>,
}

/// The bench sheet of a fleet on its day.
pub fn bench_sheet<'a>(fleet: &'a Fleet<'a>, stock: &Stock<'a>, within_days: u32) -> Sheet<'a> {
    let last = zone::days_after(fleet.as_of, i64::from(within_days)).unwrap_or(Date::MAX);
    let due: Vec<&Member<'_>> = fleet
        .members
        .iter()
        .filter(|member| is_due(member, last))
        .collect();
    let planned = each_of(&due, |member| -> Result<_, Infallible> {
        Ok(best(stock, member))
    });
    let Ok(planned) = planned;
    let mut able = Vec::new();
    let mut not_planned = Vec::new();
    for (member, planned) in due.into_iter().zip(planned) {
        match planned {
            Ok(best) => able.push(best),
            Err(message) => not_planned.push(NotPlanned { member, message }),
        }
    }
    let mut places: Vec<Place<'_>> = able
        .iter()
        .flat_map(|best| best.by_beaker.keys().copied())
        .collect();
    places.sort_unstable();
    places.dedup();
    let rank =
        |place: &Place<'_>, best: &Best<'_>| best.by_beaker.get(place).map(|(rank, _)| *rank);
    let ranks: Vec<Vec<Option<u32>>> = places
        .iter()
        .map(|place| able.iter().map(|best| rank(place, best)).collect())
        .collect();
    let cover = cover(&ranks);
    let mut lines: BTreeMap<Place<'_>, Vec<Line<'_>>> = BTreeMap::new();
    for mut best in able {
        let chosen = cover.chosen.iter().filter_map(|index| places.get(*index));
        let place = chosen
            .filter(|place| best.by_beaker.contains_key(place))
            .min_by_key(|place| rank(place, &best));
        let Some((place, (_, choice))) =
            place.and_then(|place| Some((*place, best.by_beaker.remove(place)?)))
        else {
            continue;
        };
        lines.entry(place).or_default().push(Line {
            member: best.member,
            remarks: best.plan.all_remarks(&choice),
            choice,
        });
    }
    let mut beakers: Vec<Beaker<'_>> = lines.into_values().filter_map(beaker).collect();
    beakers.sort_by_key(|beaker| {
        (
            beaker.value.temperature_c.value.clone(),
            Reverse(beaker.soak_minutes.clone()),
            &beaker.fluid.id,
        )
    });
    Sheet {
        day: fleet.as_of,
        within_days,
        exact: cover.exact,
        beakers,
        not_planned,
    }
}

/// `Err` says why nothing can be planned.
fn best<'a>(stock: &Stock<'a>, member: &'a Member<'a>) -> Result<Best<'a>, String> {
    let Some(record) = member.record else {
        return Err("its file has errors, which shearbook validate tells".to_owned());
    };
    let (plan, choices) = stock.by_beaker(record);
    if choices.is_empty() {
        return Err(why_not(stock, plan));
    }
    let by_beaker = choices.into_iter().map(|(rank, choice)| {
        let place: Place<'_> = (&choice.fluid.record.id, choice.row);
        (place, (rank, choice))
    });
    Ok(Best {
        member,
        by_beaker: by_beaker.collect(),
        plan,
    })
}

/// Why there is no choice for an instrument: its own fault, else what comes nearest.
fn why_not<'a>(stock: &Stock<'a>, plan: InstrumentPlan<'a>) -> String {
    if let Some(hindrance) = plan.hindrance {
        return hindrance;
    }
    let nearest = stock.nearest_of_all(plan.instrument);
    nearest.unwrap_or_else(|| {
        let left_out = stock.plan(plan.instrument, Extent::Best).left_out;
        let geometry = left_out.iter().any(|one| one.reason == Reason::NoGeometry);
        let usable = left_out
            .iter()
            .any(|one| one.what == What::Fluid && one.reason != Reason::Broken);
        match (geometry, usable) {
            (true, _) => "no sound geometry fits it".to_owned(),
            (false, true) => "no lot can be used".to_owned(),
            (false, false) => "there is no lot".to_owned(),
        }
    })
}

fn beaker<'a>(mut lines: Vec<Line<'a>>) -> Option<Beaker<'a>> {
    lines.sort_by_key(|line| (line.member.state, line.member.id));
    let first = lines.first()?;
    let (fluid, value) = (first.choice.fluid, first.choice.value);
    let soaks = lines.iter().filter_map(|line| line.choice.soak_minutes);
    let soak_minutes = soaks.map(|minutes| minutes.value.clone()).max();
    let mut bottles: Vec<(usize, Option<&'a Bottle>)> = Vec::new();
    for line in &lines {
        let id = |bottle: &Option<&Bottle>| bottle.map(|bottle| bottle.id.clone());
        let own = line.choice.bottle;
        match bottles.iter_mut().find(|(_, other)| id(other) == id(&own)) {
            Some((count, _)) => *count += 1,
            None => bottles.push((1, own)),
        }
    }
    // Of as many the first.
    let bottle = bottles.iter().rev().max_by_key(|(count, _)| *count);
    Some(Beaker {
        fluid,
        value,
        bottle: bottle.and_then(|(_, bottle)| *bottle),
        soak_minutes,
        sample_ml: sample(&lines),
        lines,
    })
}

/// `None` where a geometry does not say how much it takes.
fn sample(lines: &[Line<'_>]) -> Option<Exact> {
    let mut dipped: BTreeMap<Option<&str>, Exact> = BTreeMap::new();
    let mut total = Exact::zero();
    for line in lines {
        let geometry = line.choice.geometry;
        let own = &geometry.sample_ml.as_ref()?.value;
        match line.takes_own_sample() {
            true => total = total + own,
            false => {
                let largest = dipped
                    .entry(geometry.vessel.as_deref())
                    .or_insert_with(Exact::zero);
                *largest = std::mem::replace(largest, Exact::zero()).max(own.clone());
            }
        }
    }
    Some(dipped.into_values().fold(total, |sum, one| sum + one))
}
