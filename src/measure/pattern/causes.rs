//! What may have caused the deviations of a check, the likeliest first.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::evidence::{Elsewhere, Evidence, Reading, means};
use super::gauss::{chi_squared, ln_density, ln_sum};
use super::hypotheses::{Component, Hypothesis, Row, hypotheses};
use super::{Mean, Pattern, pattern, proportional_percent};

/// A cause that the trade knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    FluidTemperature,
    NominalUsed,
    KinematicUsed,
    WrongGeometryOrSpeed,
    BentSpindle,
    GuardMissing,
    Friction,
    ZeroOffset,
    Spring,
    BubbleOrImmersion,
    ReadTooSoon,
    NotSoaked,
    FluidOld,
    Vortices,
}

impl Kind {
    pub const ALL: [Kind; 14] = [
        Kind::FluidTemperature,
        Kind::NominalUsed,
        Kind::KinematicUsed,
        Kind::WrongGeometryOrSpeed,
        Kind::BentSpindle,
        Kind::GuardMissing,
        Kind::Friction,
        Kind::ZeroOffset,
        Kind::Spring,
        Kind::BubbleOrImmersion,
        Kind::ReadTooSoon,
        Kind::NotSoaked,
        Kind::FluidOld,
        Kind::Vortices,
    ];

    /// The word by which machines know it; it stays.
    pub fn word(self) -> &'static str {
        match self {
            Kind::FluidTemperature => "fluid-temperature",
            Kind::NominalUsed => "nominal-used",
            Kind::KinematicUsed => "kinematic-used",
            Kind::WrongGeometryOrSpeed => "wrong-geometry-or-speed",
            Kind::BentSpindle => "bent-spindle",
            Kind::GuardMissing => "guard-missing",
            Kind::Friction => "friction",
            Kind::ZeroOffset => "zero-offset",
            Kind::Spring => "spring",
            Kind::BubbleOrImmersion => "bubble-or-immersion",
            Kind::ReadTooSoon => "read-too-soon",
            Kind::NotSoaked => "not-soaked",
            Kind::FluidOld => "fluid-old",
            Kind::Vortices => "vortices",
        }
    }

    /// The look or measurement that tells it from others that leave the same trace.
    pub fn tells_apart(self) -> &'static str {
        match self {
            Kind::FluidTemperature => {
                "hold a second thermometer into the fluid; with this lot every instrument in the same bath deviates alike that day"
            }
            Kind::NominalUsed => {
                "compare the value in the lot's record with its certificate; with this lot every instrument deviates alike on every day"
            }
            Kind::KinematicUsed => {
                "look on the certificate whether the value is in mm2/s or in mPa.s; with this lot every instrument deviates alike on every day"
            }
            Kind::WrongGeometryOrSpeed => {
                "compare geometry and speeds with what hangs there and what is set; where the display is set to another geometry, torque and viscosity disagree"
            }
            Kind::BentSpindle => {
                "watch it turn: a bent one swings, and the reading swings once a turn"
            }
            Kind::GuardMissing => "look whether the guard is on, and read again with it",
            Kind::Friction => {
                "let it turn with nothing hung and come to rest: with friction the zero does not return"
            }
            Kind::ZeroOffset => "read the zero with nothing hung and the motor running",
            Kind::Spring => {
                "check another lot on another geometry: a spring is off by the same share with all of them, since a certain day"
            }
            Kind::BubbleOrImmersion => {
                "set it up again (to the mark, or the gap and the filling), without bubbles, and read again: the reading changes"
            }
            Kind::ReadTooSoon => {
                "read the slowest speed again after some more turns: the second reading differs"
            }
            Kind::NotSoaked => {
                "leave it in the bath and read again: the reading still moves, and so does the fluid's temperature"
            }
            Kind::FluidOld => "open a fresh bottle of the lot: with it the deviation is gone",
            Kind::Vortices => {
                "read at a slower speed, below the laminar limit: there the deviation is gone"
            }
        }
    }

    /// Whether it stays until something is done or written otherwise, so that a later check with the same lot would show it.
    pub fn stays(self) -> bool {
        matches!(
            self,
            Kind::Spring | Kind::FluidOld | Kind::NominalUsed | Kind::KinematicUsed
        )
    }

    /// Whether it goes with the lot, its value or its temperature, and so is seen on other instruments.
    fn is_of_fluid(self) -> bool {
        matches!(
            self,
            Kind::FluidTemperature | Kind::NominalUsed | Kind::KinematicUsed | Kind::FluidOld
        )
    }

    /// Whether it goes with the lot alone.
    fn is_of_lot(self) -> bool {
        self.is_of_fluid() && self != Kind::FluidTemperature
    }
}

/// How large a cause would have to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Size {
    /// How much warmer the fluid would be than shown, in K; negative for colder.
    Kelvin(f64),
    /// In % of the value, positive where it makes the reading high.
    OfValuePercent(f64),
    /// In % of the full-scale range, positive where it makes the reading high.
    OfRangePercent(f64),
    /// So many times the value.
    Times(f64),
    /// The fastest speed over the laminar limit.
    TimesLaminarLimit(f64),
}

#[derive(Clone, Debug, PartialEq)]
pub struct Cause {
    pub kind: Kind,
    /// Unrounded; `None` where the figures give none.
    pub size: Option<Size>,
    /// How it fares against the other causes, from 0 to 1; over all of them 1. It orders, and is no probability to rely on.
    pub share: f64,
    message: String,
}

impl Cause {
    /// One sentence with the figures, without a full stop.
    pub fn message(&self) -> &str {
        &self.message
    }

    /// The look or measurement that tells it from others that leave the same trace.
    pub fn tells_apart(&self) -> &'static str {
        self.kind.tells_apart()
    }
}

/// Causes that the figures cannot tell apart, the likeliest first, and what would.
#[derive(Clone, Debug, PartialEq)]
pub struct Indistinct {
    pub causes: Vec<Kind>,
    /// Measurements and looks, the one that tells most first.
    pub would_tell: Vec<&'static str>,
}

/// What may have caused the deviations of a check.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ranked {
    pub pattern: Option<Pattern>,
    /// Whether the deviations are no more than scatter and the uncertainty of what they are compared with; then no cause is
    /// named.
    pub within_noise: bool,
    /// The likeliest first. What is far less likely than the first is left out.
    pub causes: Vec<Cause>,
    pub cannot_tell: Vec<Indistinct>,
}

/// What the scatter of a reading is taken as where nothing is known, in % of range. Common practice.
const USUAL_SCATTER: f64 = 0.2;
/// Standard uncertainty of certified value and temperature together where nothing is known, in % of the value.
const USUAL_SHARED: f64 = 0.25;
/// The scatter that causes are ranked by, over the one that is stated, as variances: more things scatter than are stated.
const UNSTATED_SCATTER: f64 = 1.5;
/// How far an instrument in good order may be off: in % of range, and in % of the value.
const SOUND_OFFSET: f64 = 0.1;
const SOUND_GAIN: f64 = 0.2;
/// How far the same deviation may differ between two instruments or days: in % of the value, and in % of range.
const BETWEEN_GAIN: f64 = 0.4;
const BETWEEN_OFFSET: f64 = 0.2;
/// How often deviations of noise alone would be as large as those that are taken for more.
const NOISE_ALONE: f64 = 0.002;
/// What other checks show may have a cause of its own: so often, and so large, in %.
const ANOTHER_CAUSE: f64 = 0.03;
const ANOTHER_SIZE: f64 = 5.0;
/// A cause is named where its share is this much of the first's; where the figures do not tell it from the first, this much.
const NAMED: f64 = 0.03;
const NAMED_ALIKE: f64 = 0.01;
/// Causes are not told apart where the figures are this many times as likely by one as by the other, or less.
const ALIKE: f64 = 8.0;

/// Ranks what may have caused the deviations of a check.
///
/// Each cause has its own shape over the readings, in % of range: constant, growing with the torque, worst at the slowest
/// speed, at the fastest alone, scattered. It is scored by how well that shape fits for a plausible size, by the exact figure
/// where it foretells one, by how often it is what is wrong, given what the record says of the preparation, and by what
/// other checks show. Deviations within the noise name no cause, but for what makes a display unsteady where it was. No
/// cause is named without readings. It suggests, and judges nothing.
pub fn causes(evidence: &Evidence) -> Ranked {
    let readings: Vec<Reading> = evidence
        .readings
        .iter()
        .copied()
        .filter(Reading::is_usable)
        .collect();
    let means = means(&readings);
    let pattern = pattern(&means);
    let Some(check) = Check::new(evidence, &readings, &means) else {
        return Ranked {
            pattern,
            ..Ranked::default()
        };
    };
    let unsteady = |kind: Kind| matches!(kind, Kind::BentSpindle | Kind::BubbleOrImmersion);
    let only_unsteady = check.is_noise();
    if only_unsteady && !evidence.unstable {
        return Ranked {
            pattern,
            within_noise: true,
            ..Ranked::default()
        };
    }
    let mut scored: Vec<Scored> = hypotheses(evidence, &readings)
        .into_iter()
        .filter(|hypothesis| !only_unsteady || unsteady(hypothesis.kind))
        .filter_map(|hypothesis| check.score(hypothesis))
        .collect();
    scored.sort_by(|one, other| {
        let by_score = other.score.total_cmp(&one.score);
        by_score.then(one.hypothesis.kind.cmp(&other.hypothesis.kind))
    });
    let whole = ln_sum(&scored.iter().map(|one| one.score).collect::<Vec<_>>());
    let Some((best, fit)) = scored.first().map(|one| (one.score, one.fit)) else {
        return Ranked {
            pattern,
            ..Ranked::default()
        };
    };
    let offset = pattern
        .as_ref()
        .map_or(0.0, |pattern| pattern.zero_offset_percent);
    scored.retain(|one| match one.hypothesis.kind {
        // Friction takes torque and never gives any.
        Kind::Friction => one.size <= 0.0,
        // The sentence gives the offset of the pattern, which must explain the readings.
        Kind::ZeroOffset => pattern.is_none() || offset * one.size >= 0.0,
        _ => true,
    });
    scored.retain(|one| {
        let least = if are_alike(one.fit, fit) {
            NAMED_ALIKE
        } else {
            NAMED
        };
        one.score >= best + least.ln()
    });
    let cannot_tell = groups(evidence, &scored);
    let named = scored.iter().map(|one| {
        let (size, message) = check.words(one, pattern.as_ref());
        Cause {
            kind: one.hypothesis.kind,
            size,
            share: (one.score - whole).exp(),
            message,
        }
    });
    Ranked {
        causes: named.collect(),
        pattern,
        within_noise: false,
        cannot_tell,
    }
}

/// A cause with how it fares.
pub(super) struct Scored {
    pub hypothesis: Hypothesis,
    /// Logarithms: of how plausible it is with the figures, and of how likely the figures are by its best size.
    score: f64,
    fit: f64,
    /// Its component that fares best, by place, and the size that this one comes to.
    component: usize,
    pub size: f64,
}

impl Scored {
    pub fn best(&self) -> Option<&Component> {
        self.hypothesis.components.get(self.component)
    }
}

/// The figures of a check and of others beside it, in one row.
pub(super) struct Check<'a> {
    pub evidence: &'a Evidence,
    pub readings: &'a [Reading],
    pub means: &'a [Mean],
    /// The deviations of the readings in % of range, then what other checks show.
    figures: Vec<f64>,
    /// The expected torque of each reading as a share.
    pub shares: Vec<f64>,
    /// Where the latter are from, each with its variance.
    elsewhere: Vec<(Row, f64)>,
    pub scatter: f64,
    shared: f64,
}

impl<'a> Check<'a> {
    fn new(
        evidence: &'a Evidence,
        readings: &'a [Reading],
        means: &'a [Mean],
    ) -> Option<Check<'a>> {
        if readings.is_empty() {
            return None;
        }
        let usable = |figure: Option<f64>| figure.filter(|f| f.is_finite() && *f >= 0.0);
        let others = elsewhere(evidence);
        let deviations = readings.iter().map(Reading::deviation);
        Some(Check {
            evidence,
            readings,
            means,
            figures: deviations
                .chain(others.iter().map(|(_, figure, _)| *figure))
                .collect(),
            shares: readings.iter().map(|one| one.torque() / 100.0).collect(),
            elsewhere: others
                .into_iter()
                .map(|(row, _, variance)| (row, variance))
                .collect(),
            scatter: usable(evidence.scatter_percent)
                .unwrap_or(USUAL_SCATTER)
                .clamp(0.02, 1e6),
            shared: usable(evidence.shared_percent)
                .unwrap_or(USUAL_SHARED)
                .min(1e6),
        })
    }

    /// Whether scatter and the shared uncertainty explain the readings, by themselves, as an offset and as a gain.
    fn is_noise(&self) -> bool {
        let count = self.readings.len();
        let readings = self.figures.get(..count).unwrap_or_default();
        let variances = vec![self.scatter * self.scatter; count];
        let distance =
            |figures: &[f64]| chi_squared(figures, &variances, &[(self.shared, &self.shares)]);
        // How much of the distance a shape takes away, by its best size.
        let along = |shape: &[f64]| {
            let shifted = |by: f64| -> Vec<f64> {
                let each = readings.iter().zip(shape);
                each.map(|(figure, shape)| figure + by * shape).collect()
            };
            let product = (distance(&shifted(1.0)) - distance(&shifted(-1.0))) / 4.0;
            product * product / distance(shape)
        };
        let is_usual = |distance: f64, freedom: usize| {
            let beyond = ChiSquared::new(freedom as f64).map(|law| law.sf(distance));
            beyond.is_ok_and(|beyond| beyond >= NOISE_ALONE)
        };
        is_usual(distance(readings), count)
            && is_usual(along(&vec![1.0; count]), 1)
            && is_usual(along(&self.shares), 1)
    }

    fn score(&self, hypothesis: Hypothesis) -> Option<Scored> {
        let mut parts = Vec::new();
        let mut fit = f64::NEG_INFINITY;
        let mut best: Option<(usize, f64, f64)> = None;
        for (at, component) in hypothesis.components.iter().enumerate() {
            let rows = self.rows(hypothesis.kind, component);
            let part = component.weight.ln() + rows.likelihood(component.size, component.sd);
            let size = rows.size(component.size, component.sd);
            let reach = 3.0 * component.sd;
            let held = rows
                .size(component.size, f64::INFINITY)
                .max(component.size - reach)
                .min(component.size + reach);
            fit = fit.max(rows.likelihood(held, 0.0));
            if best.is_none_or(|(_, most, _)| part > most) {
                best = Some((at, part, size));
            }
            parts.push(part);
        }
        let (component, _, size) = best?;
        let score = hypothesis.prior.ln() + ln_sum(&parts);
        score.is_finite().then_some(Scored {
            hypothesis,
            score,
            fit,
            component,
            size,
        })
    }

    /// The figures as one component of a cause sees them.
    fn rows(&self, kind: Kind, component: &Component) -> Rows<'_> {
        let mut shape = component.shape.clone();
        let mut variances: Vec<f64> = self
            .shares
            .iter()
            .map(|share| {
                let of_value = component.scatter_of_value * share;
                let stated = self.scatter * self.scatter;
                UNSTATED_SCATTER * stated + component.scatter.powi(2) + of_value * of_value
            })
            .collect();
        let same_lot = self
            .evidence
            .witness
            .last_good
            .as_ref()
            .is_some_and(|last| last.same_lot);
        for (row, variance) in &self.elsewhere {
            let seen = component.seen.contains(row)
                && (*row != Row::LastGood || same_lot || !kind.is_of_lot());
            shape.push(f64::from(u8::from(seen)));
            variances.push(*variance);
        }
        Rows {
            readings: self.readings.len(),
            figures: &self.figures,
            shape,
            variances,
            offset: padded(vec![1.0; self.readings.len()], self.figures.len()),
            gain: padded(self.shares.clone(), self.figures.len()),
            gain_sd: self.shared.hypot(SOUND_GAIN),
        }
    }
}

fn padded(mut row: Vec<f64>, length: usize) -> Vec<f64> {
    row.resize(length, 0.0);
    row
}

/// What other checks show, with its variance: their own uncertainty, and how far two may differ.
fn elsewhere(evidence: &Evidence) -> Vec<(Row, f64, f64)> {
    let witness = &evidence.witness;
    let mut rows = Vec::new();
    let gains = [
        (Row::LotThatDay, &witness.lot_that_day),
        (Row::LotOtherDays, &witness.lot_other_days),
        (Row::OtherBottle, &witness.other_bottle),
        (Row::Thermometer, &witness.thermometer),
        (Row::Bath, &witness.bath),
        (Row::Geometry, &witness.geometry),
        (Row::LotsHere, &witness.lots_here),
    ];
    let mut add = |row: Row, figure: f64, uncertainty: f64, between: f64| {
        if figure.abs() < 1e6 && uncertainty.abs() < 1e6 {
            rows.push((row, figure, uncertainty.powi(2) + between * between));
        }
    };
    for (row, other) in gains {
        if let Some(other) = other {
            let uncertainty = other.gain_uncertainty_percent;
            add(row, other.gain_percent, uncertainty, BETWEEN_GAIN);
        }
    }
    let offset = |other: &Elsewhere| other.offset_percent;
    if let Some((figure, uncertainty)) = witness.lots_here.as_ref().and_then(offset) {
        add(Row::LotsHereOffset, figure, uncertainty, BETWEEN_OFFSET);
    }
    if let Some(last) = &witness.last_good {
        if let Some(gain) = proportional_percent(&last.means) {
            add(Row::LastGood, gain, 0.2, BETWEEN_GAIN);
        }
        if let Some(pattern) = pattern(&last.means) {
            add(
                Row::LastGoodOffset,
                pattern.zero_offset_percent,
                0.2,
                BETWEEN_OFFSET,
            );
        }
    }
    rows
}

/// The figures, and what a component of a cause makes of them.
struct Rows<'a> {
    readings: usize,
    figures: &'a [f64],
    shape: Vec<f64>,
    variances: Vec<f64>,
    offset: Vec<f64>,
    gain: Vec<f64>,
    gain_sd: f64,
}

impl Rows<'_> {
    /// The logarithm of how likely the figures are for a size with this standard deviation.
    fn likelihood(&self, size: f64, sd: f64) -> f64 {
        let rest: Vec<f64> = self
            .figures
            .iter()
            .zip(&self.shape)
            .map(|(figure, shape)| figure - size * shape)
            .collect();
        let upto = |length: usize| {
            let cut = |row: &'_ [f64]| row.get(..length).unwrap_or_default().to_vec();
            let (rest, shape) = (cut(&rest), cut(&self.shape));
            let (offset, gain) = (cut(&self.offset), cut(&self.gain));
            let terms = [
                (sd, &shape[..]),
                (SOUND_OFFSET, &offset[..]),
                (self.gain_sd, &gain[..]),
            ];
            ln_density(&rest, &self.variances, &terms)
        };
        let here = upto(self.readings);
        if self.figures.len() == self.readings {
            return here;
        }
        let others = upto(self.figures.len()) - here;
        let own: Vec<f64> = self
            .figures
            .iter()
            .zip(&self.variances)
            .skip(self.readings)
            .map(|(figure, variance)| {
                ln_density(&[*figure], &[variance + ANOTHER_SIZE * ANOTHER_SIZE], &[])
            })
            .collect();
        let another = ANOTHER_CAUSE.ln() + own.iter().sum::<f64>();
        here + ln_sum(&[others, another])
    }

    /// The size that fits the figures best, drawn towards what is expected of it.
    fn size(&self, size: f64, sd: f64) -> f64 {
        // Of a sharp pull this is the ordinary weighted fit; offset and gain of a sound instrument are left to the scatter.
        let (mut products, mut squares) = (0.0, 1.0 / (sd * sd));
        for ((figure, shape), variance) in self.figures.iter().zip(&self.shape).zip(&self.variances)
        {
            products += shape * (figure - size * shape) / variance;
            squares += shape * shape / variance;
        }
        let fitted = size + products / squares;
        if fitted.is_finite() { fitted } else { size }
    }
}

fn are_alike(fit: f64, other: f64) -> bool {
    (fit - other).abs() <= ALIKE.ln()
}

/// Causes under which the figures are about as likely, by the best size of each.
fn groups(evidence: &Evidence, scored: &[Scored]) -> Vec<Indistinct> {
    let mut left: Vec<&Scored> = scored.iter().collect();
    let mut groups = Vec::new();
    while let Some(first) = left.first().copied() {
        let (group, rest): (Vec<&Scored>, Vec<&Scored>) = left
            .into_iter()
            .partition(|one| are_alike(one.fit, first.fit));
        left = rest;
        let causes: Vec<Kind> = group.iter().map(|one| one.hypothesis.kind).collect();
        if causes.len() > 1 {
            groups.push(Indistinct {
                would_tell: would_tell(evidence, &causes),
                causes,
            });
        }
        // Without a number there is no likeness, not even to itself.
        if !first.fit.is_finite() {
            break;
        }
    }
    groups
}

/// What to do next, so that at least one of the causes is told from another.
fn would_tell(evidence: &Evidence, causes: &[Kind]) -> Vec<&'static str> {
    let has = |kind: Kind| causes.contains(&kind);
    let of_fluid = causes.iter().any(|kind| kind.is_of_fluid());
    let of_check = causes.iter().any(|kind| !kind.is_of_fluid());
    let mut tells = Vec::new();
    if of_fluid && of_check && evidence.witness.lot_that_day.is_none() {
        tells.push(
            "check another instrument with the same beaker: if it deviates alike, it is the fluid, its temperature or its value, else this instrument and how it was set up",
        );
    }
    if of_fluid && has(Kind::Spring) && evidence.witness.lots_here.is_none() {
        tells.push(
            "check this instrument with another lot: if it deviates alike, it is the instrument, else this lot or its temperature",
        );
    }
    if has(Kind::FluidTemperature) || has(Kind::NotSoaked) {
        tells.push("hold a second thermometer into the fluid");
    }
    if has(Kind::NominalUsed) || has(Kind::KinematicUsed) {
        tells.push("compare the value and its unit in the lot's record with the certificate");
    }
    if has(Kind::FluidOld) {
        tells.push("open a fresh bottle of the lot");
    }
    if has(Kind::ZeroOffset) || has(Kind::Friction) {
        tells.push("read the zero with nothing hung, before and after a run");
    }
    if has(Kind::BubbleOrImmersion) || has(Kind::BentSpindle) {
        tells.push("hang the geometry again, watch it turn, and read each speed twice");
    }
    if has(Kind::WrongGeometryOrSpeed) || has(Kind::GuardMissing) {
        tells.push("compare geometry, guard and speeds with what hangs there and what is set");
    }
    if has(Kind::ReadTooSoon) || has(Kind::Vortices) {
        tells.push("read the slowest and the fastest speed again after some more turns");
    }
    tells
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::pattern::{
        Density, DensityFrom, GeometryKind, LastGood, OtherGeometry, Witness,
    };

    /// Speeds, and what they deviate by in % of range from 25, 50 and 75 % of torque.
    fn readings(deviations: [f64; 3]) -> Vec<Reading> {
        let speeds = [15.0, 30.0, 45.0].into_iter().zip(deviations);
        speeds
            .map(|(speed_rpm, deviation)| {
                let range_mpa_s = 30_000.0 / speed_rpm;
                Reading {
                    speed_rpm,
                    reading_mpa_s: 500.0 + range_mpa_s * deviation / 100.0,
                    reference_mpa_s: 500.0,
                    range_mpa_s,
                    temperature_c: Some(25.0),
                }
            })
            .collect()
    }

    /// A check with a full record, of a lot that loses 2 % a kelvin.
    fn check(deviations: [f64; 3]) -> Evidence {
        Evidence {
            readings: readings(deviations),
            scatter_percent: Some(0.1),
            shared_percent: Some(0.2),
            beta_per_k: Some(-0.02),
            certified_mpa_s: Some(500.0),
            geometry: Some(GeometryKind::Factored),
            guard_required: Some(false),
            zero_percent: Some(0.0),
            zero_limit_percent: Some(0.1),
            soak_minutes: Some(120.0),
            soak_asked_minutes: Some(120.0),
            ..Evidence::default()
        }
    }

    /// So many % of the value at each point.
    fn alike(percent: f64) -> [f64; 3] {
        [25.0, 50.0, 75.0].map(|torque| torque * percent / 100.0)
    }

    fn elsewhere(gain_percent: f64) -> Option<Elsewhere> {
        Some(Elsewhere {
            checks: 3,
            gain_percent,
            gain_uncertainty_percent: 0.2,
            offset_percent: Some((0.0, 0.2)),
        })
    }

    fn first(evidence: &Evidence) -> Cause {
        causes(evidence).causes.into_iter().next().unwrap()
    }

    fn of(kind: Kind, evidence: &Evidence) -> Option<Cause> {
        let named = causes(evidence).causes;
        named.into_iter().find(|cause| cause.kind == kind)
    }

    fn kelvin(evidence: &Evidence) -> f64 {
        match of(Kind::FluidTemperature, evidence).unwrap().size {
            Some(Size::Kelvin(kelvin)) => kelvin,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn how_much_warmer() {
        // By hand: -1.8 % at -2 % per K are 0.9 K.
        let low = check(alike(-1.8));
        assert!((kelvin(&low) - 0.9).abs() < 1e-9);
        assert_eq!(
            of(Kind::FluidTemperature, &low).unwrap().message(),
            "a fluid 0.9 K warmer than shown would explain this"
        );
        let high = check(alike(1.8));
        assert!((kelvin(&high) + 0.9).abs() < 1e-9);
        assert_eq!(
            of(Kind::FluidTemperature, &high).unwrap().message(),
            "a fluid 0.9 K colder than shown would explain this"
        );
        let unknown = Evidence {
            beta_per_k: None,
            ..low
        };
        let cause = of(Kind::FluidTemperature, &unknown).unwrap();
        assert_eq!(
            cause.message(),
            "a fluid warmer than shown would explain this"
        );
        assert!(
            matches!(cause.size, Some(Size::OfValuePercent(percent)) if (percent + 1.8).abs() < 1e-9)
        );
    }

    #[test]
    fn the_gain_of_the_pattern_counts_unless_the_torques_lie_together() {
        // A zero of 0.3 % beside -2 % of the value: the slope tells the second alone.
        let both = alike(-2.0).map(|deviation| deviation + 0.3);
        assert!((kelvin(&check(both)) - 1.0).abs() < 1e-9);
        // At 49 and 50 % the slope is scatter; -2 % of the value it is all the same.
        let mut close = check([0.0; 3]);
        close.readings = [(29.4, -0.93), (30.0, -1.05)]
            .into_iter()
            .map(|(speed_rpm, deviation)| {
                let range_mpa_s = 30_000.0 / speed_rpm;
                Reading {
                    speed_rpm,
                    reading_mpa_s: 500.0 + range_mpa_s * deviation / 100.0,
                    range_mpa_s,
                    ..close.readings[0]
                }
            })
            .collect();
        assert!((kelvin(&close) - 1.0).abs() < 0.05, "{}", kelvin(&close));
    }

    #[test]
    fn sizes_that_cannot_be_are_not_named() {
        // 18 % are 9 K, which no soaked beaker at a sound thermometer has, and no spring is off by 30 %.
        assert_eq!(of(Kind::FluidTemperature, &check(alike(-18.0))), None);
        assert_eq!(of(Kind::Spring, &check(alike(-30.0))), None);
        assert_eq!(first(&check(alike(-30.0))).kind, Kind::WrongGeometryOrSpeed);
        // Of an oil that loses 9 % a kelvin they would be 2 K.
        let oil = Evidence {
            beta_per_k: Some(-0.09),
            ..check(alike(-18.0))
        };
        assert!(of(Kind::FluidTemperature, &oil).is_some());
    }

    #[test]
    fn zero_offset_and_friction_are_alike() {
        let ranked = causes(&check([-0.7; 3]));
        let group = &ranked.cannot_tell[0];
        assert!(group.causes.contains(&Kind::ZeroOffset) && group.causes.contains(&Kind::Friction));
        let zero = "read the zero with nothing hung, before and after a run";
        assert!(group.would_tell.contains(&zero));
        assert_eq!(
            of(Kind::ZeroOffset, &check([-0.7; 3])).unwrap().message(),
            "a zero 0.7 % of range too low would explain this"
        );
        // The zero was read, and is what the points are off by.
        let read = Evidence {
            zero_percent: Some(-0.7),
            ..check([-0.7; 3])
        };
        assert_eq!(first(&read).kind, Kind::ZeroOffset);
        // Friction makes what is read upwards low, not high.
        assert_eq!(first(&check([0.7; 3])).kind, Kind::ZeroOffset);
        let friction = of(Kind::Friction, &check([0.7; 3]));
        let zero = of(Kind::ZeroOffset, &check([0.7; 3])).unwrap();
        assert!(friction.is_none_or(|friction| friction.share < zero.share / 4.0));
    }

    #[test]
    fn one_check_alone() {
        let ranked = causes(&check(alike(-2.0)));
        let group = &ranked.cannot_tell[0];
        for kind in [Kind::FluidTemperature, Kind::FluidOld, Kind::Spring] {
            assert!(group.causes.contains(&kind), "{kind:?}");
        }
        assert!(group.would_tell[0].starts_with("check another instrument with the same beaker"));
        assert!(group.would_tell[1].starts_with("check this instrument with another lot"));
        let shares: f64 = ranked.causes.iter().map(|cause| cause.share).sum();
        assert!(shares > 0.9 && shares <= 1.0 + 1e-9, "{shares}");
        let falling = ranked
            .causes
            .windows(2)
            .all(|two| two[0].share >= two[1].share);
        assert!(falling);
    }

    #[test]
    fn what_others_show_tells() {
        let with = |lot_that_day, lot_other_days, lots_here| Evidence {
            witness: Witness {
                lot_that_day,
                lot_other_days,
                lots_here,
                ..Witness::default()
            },
            ..check(alike(-2.0))
        };
        let bath = with(elsewhere(-2.0), elsewhere(0.0), elsewhere(0.0));
        assert_eq!(first(&bath).kind, Kind::FluidTemperature);
        let lot = with(elsewhere(-2.0), elsewhere(-2.0), elsewhere(0.0));
        assert_eq!(first(&lot).kind, Kind::FluidOld);
        let instrument = with(elsewhere(0.0), elsewhere(0.0), elsewhere(-2.0));
        assert_eq!(first(&instrument).kind, Kind::Spring);
        assert_eq!(
            first(&instrument).message(),
            "a spring 2.0 % too strong would explain this"
        );
        // What has been asked already is not asked again.
        for evidence in [&bath, &lot, &instrument] {
            let groups = causes(evidence).cannot_tell;
            let told = groups.iter().flat_map(|group| &group.would_tell);
            assert!(told.into_iter().all(|tell| !tell.starts_with("check ")));
        }
        // The thermometer deviates with other lots too.
        let thermometer = Evidence {
            witness: Witness {
                lot_that_day: elsewhere(-2.0),
                thermometer: elsewhere(-2.0),
                ..Witness::default()
            },
            ..check(alike(-2.0))
        };
        assert_eq!(first(&thermometer).kind, Kind::FluidTemperature);
        assert!(first(&thermometer).share > 0.9);
    }

    #[test]
    fn a_step_speaks_against_a_record() {
        // The lot's record was wrong on the day of the last good check as well.
        let good = LastGood {
            means: means(&readings([0.0; 3])),
            same_lot: true,
        };
        let evidence = |last_good: Option<LastGood>| Evidence {
            nominal_mpa_s: Some(490.0),
            witness: Witness {
                last_good,
                ..Witness::default()
            },
            ..check(alike(-2.0))
        };
        assert_eq!(first(&evidence(None)).kind, Kind::NominalUsed);
        assert_ne!(first(&evidence(Some(good.clone()))).kind, Kind::NominalUsed);
        // With another lot it says nothing of this one's record.
        let other_lot = LastGood {
            same_lot: false,
            ..good
        };
        assert_eq!(first(&evidence(Some(other_lot))).kind, Kind::NominalUsed);
    }

    #[test]
    fn the_labels_value() {
        let fits = Evidence {
            nominal_mpa_s: Some(490.0),
            ..check(alike(-2.0))
        };
        assert_eq!(
            first(&fits).message(),
            "the readings fit the label's 490 mPa.s, 2.0 % below the certified value"
        );
        assert_eq!(
            first(&fits).size,
            Some(Size::OfValuePercent(100.0 * (490.0 / 500.0 - 1.0)))
        );
        // The other way round it explains nothing.
        let opposite = Evidence {
            nominal_mpa_s: Some(510.0),
            ..check(alike(-2.0))
        };
        assert_eq!(of(Kind::NominalUsed, &opposite), None);
        let typed = Evidence {
            nominal_mpa_s: Some(500.0),
            ..check(alike(-2.0))
        };
        assert_eq!(
            of(Kind::NominalUsed, &typed).unwrap().message(),
            "the value in the lot's record is the label's: a certified one 2.0 % lower would explain this"
        );
    }

    #[test]
    fn a_density_explains() {
        let oil = |in_reference, from, percent| Evidence {
            density: Some(Density {
                g_ml: 0.88,
                from,
                in_reference,
            }),
            ..check(alike(percent))
        };
        let typed = oil(false, DensityFrom::Typical, -12.0);
        assert_eq!(first(&typed).kind, Kind::KinematicUsed);
        assert_eq!(
            first(&typed).message(),
            "a kinematic value taken for a dynamic one would explain this: a density of 0.88 g/mL (typical of such fluids, common practice) makes 12.0 % less"
        );
        // By hand: 1/0.88 is 13.64 % more.
        let twice = oil(true, DensityFrom::Certificate, 13.64);
        assert_eq!(first(&twice).kind, Kind::KinematicUsed);
        assert_eq!(
            first(&twice).message(),
            "a dynamic value taken for a kinematic one would explain this: a density of 0.88 g/mL makes 13.6 % more"
        );
        assert_ne!(
            first(&oil(true, DensityFrom::Certificate, -12.0)).kind,
            Kind::KinematicUsed
        );
    }

    #[test]
    fn another_geometry_or_speed_by_name() {
        let geometry = Evidence {
            other_geometries: vec![
                OtherGeometry {
                    name: "C-3".to_owned(),
                    range_ratio: 2.5,
                },
                OtherGeometry {
                    name: "C-2".to_owned(),
                    range_ratio: 0.4,
                },
            ],
            ..check(alike(-60.0))
        };
        assert_eq!(
            first(&geometry).message(),
            "geometry C-2 in place of the recorded one would explain this: it makes 0.4 times the value"
        );
        assert_eq!(first(&geometry).size, Some(Size::Times(0.4)));
        let speed = Evidence {
            speeds_rpm: vec![7.5, 15.0, 30.0, 45.0, 60.0],
            ..check([0.0, -37.5, 0.0])
        };
        assert_eq!(
            first(&speed).message(),
            "7.5 rpm in place of the recorded 30 rpm would explain this: it makes 0.25 times the value"
        );
    }

    #[test]
    fn words_of_the_others() {
        let guard = Evidence {
            guard_required: Some(true),
            guard_fitted: Some(false),
            ..check(alike(-7.0))
        };
        assert_eq!(
            first(&guard).message(),
            "a missing guard would explain this: it reads 7.0 % low"
        );
        let mut vortices = check([0.0, 0.0, 6.0]);
        vortices.laminar_limit_rpm = Some(36.0);
        assert_eq!(
            first(&vortices).message(),
            "vortices would explain this: the fastest speed is 1.25 times the laminar limit of 36 rpm"
        );
        assert_eq!(first(&vortices).size, Some(Size::TimesLaminarLimit(1.25)));
        // Well below the limit there are none.
        vortices.laminar_limit_rpm = Some(100.0);
        assert_eq!(of(Kind::Vortices, &vortices), None);

        let mut too_soon = check([-1.25, 0.0, 0.0]);
        let again = Reading {
            reading_mpa_s: 499.0,
            ..too_soon.readings[0]
        };
        too_soon.readings.insert(1, again);
        let cause = first(&too_soon);
        assert_eq!(cause.kind, Kind::ReadTooSoon);
        assert!(
            matches!(cause.size, Some(Size::OfValuePercent(percent)) if (percent + 5.0).abs() < 0.3)
        );

        let mut bent = check([0.9, 0.1, -0.2]);
        for (at, deviation) in [(0, -0.8), (2, 1.1), (4, 0.7)] {
            let one = bent.readings[at];
            let reading_mpa_s = 500.0 + one.range_mpa_s * deviation / 100.0;
            bent.readings.insert(
                at + 1,
                Reading {
                    reading_mpa_s,
                    ..one
                },
            );
        }
        assert_eq!(
            first(&bent).message(),
            "a bent spindle or shaft would explain this: readings at one speed lie 1.7 % of range apart"
        );
        let cone = Evidence {
            geometry: Some(GeometryKind::ConePlate),
            ..check(alike(-2.0))
        };
        assert_eq!(
            of(Kind::BubbleOrImmersion, &cone).unwrap().message(),
            "a wrong gap, a bubble or a wrong filling would explain this: it reads 2.0 % low"
        );
        assert_eq!(
            of(Kind::FluidOld, &cone).unwrap().message(),
            "a fluid that has become 2.0 % thinner would explain this"
        );
    }

    #[test]
    fn a_fluid_on_its_way() {
        // 3 % in the first reading, by halves; the soak was short, and the fluid warmed by a tenth of a kelvin.
        let mut evidence = check([0.75, 0.75, 0.56]);
        evidence.soak_minutes = Some(20.0);
        evidence.readings[2].temperature_c = Some(25.12);
        let cause = first(&evidence);
        assert_eq!(cause.kind, Kind::NotSoaked);
        let words = "a fluid still on its way to the bath's temperature would explain this: 3.";
        assert!(cause.message().starts_with(words), "{}", cause.message());
        assert!(cause.message().contains("% high in the first reading, 0."));
        assert!(
            matches!(cause.size, Some(Size::OfValuePercent(percent)) if (percent - 3.0).abs() < 0.4)
        );
    }

    #[test]
    fn noise_names_nothing() {
        let noise = causes(&check([0.12, -0.05, 0.2]));
        assert!(noise.within_noise && noise.causes.is_empty() && noise.cannot_tell.is_empty());
        assert!(noise.pattern.is_some());
        // An unsteady display is told all the same, and nothing but what makes it so.
        let unsteady = Evidence {
            unstable: true,
            ..check([0.12, -0.05, 0.2])
        };
        let kinds: Vec<Kind> = causes(&unsteady)
            .causes
            .iter()
            .map(|one| one.kind)
            .collect();
        assert!(kinds.contains(&Kind::BentSpindle));
        assert!(
            kinds
                .iter()
                .all(|kind| [Kind::BentSpindle, Kind::BubbleOrImmersion].contains(kind))
        );
        // What the certificate leaves open is no cause either.
        let uncertain = Evidence {
            shared_percent: Some(1.0),
            ..check(alike(-2.0))
        };
        assert!(causes(&uncertain).within_noise);
        let none = causes(&Evidence::default());
        assert_eq!(none, Ranked::default());
    }

    #[test]
    fn one_speed_has_causes_and_no_pattern() {
        let mut evidence = check(alike(-4.0));
        evidence.readings.truncate(1);
        let ranked = causes(&evidence);
        assert_eq!(ranked.pattern, None);
        assert!(
            ranked.cannot_tell[0]
                .causes
                .contains(&Kind::FluidTemperature)
        );
        assert!(ranked.cannot_tell[0].causes.contains(&Kind::ZeroOffset));
    }

    #[test]
    fn words_are_those_of_the_contract() {
        let mut words: Vec<&str> = Kind::ALL.iter().map(|kind| kind.word()).collect();
        words.sort_unstable();
        assert_eq!(
            words,
            [
                "bent-spindle",
                "bubble-or-immersion",
                "fluid-old",
                "fluid-temperature",
                "friction",
                "guard-missing",
                "kinematic-used",
                "nominal-used",
                "not-soaked",
                "read-too-soon",
                "spring",
                "vortices",
                "wrong-geometry-or-speed",
                "zero-offset",
            ]
        );
    }
}
