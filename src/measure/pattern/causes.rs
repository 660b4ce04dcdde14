//! What may have caused the deviations of a check, the likeliest first.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::evidence::{
    DensityFrom, Elsewhere, Evidence, GeometryKind, Reading, by_speed, counted_means, means,
};
use super::gauss::{chi_squared, ln_density, ln_sum};
use super::hypotheses::{Component, Hypothesis, Instead, Row, hypotheses};
use super::{Mean, Pattern, pattern, proportional_percent};
use crate::measure::{Exact, FIGURE_DIGITS};

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
                "hang it again to the mark, without bubbles, and read again: the reading changes"
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
const NOISE_ALONE: f64 = 0.003;
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
/// other checks show. Deviations within the noise name no cause. It suggests, and judges nothing.
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
    if check.is_noise() && !evidence.unstable {
        return Ranked {
            pattern,
            within_noise: true,
            ..Ranked::default()
        };
    }
    let mut scored: Vec<Scored> = hypotheses(evidence, &readings)
        .into_iter()
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
struct Scored {
    hypothesis: Hypothesis,
    /// Logarithms: of how plausible it is with the figures, and of how likely the figures are by its best size.
    score: f64,
    fit: f64,
    /// Its component that fares best, by place, and the size that this one comes to.
    component: usize,
    size: f64,
}

impl Scored {
    fn best(&self) -> Option<&Component> {
        self.hypothesis.components.get(self.component)
    }
}

/// The figures of a check and of others beside it, in one row.
struct Check<'a> {
    evidence: &'a Evidence,
    readings: &'a [Reading],
    means: &'a [Mean],
    /// The deviations of the readings in % of range, then what other checks show.
    figures: Vec<f64>,
    /// The expected torque of each reading as a share, and how many figures others show.
    shares: Vec<f64>,
    /// Where else, with the variance.
    elsewhere: Vec<(Row, f64)>,
    scatter: f64,
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

    /// Whether scatter and the shared uncertainty explain the readings, and so their means.
    fn is_noise(&self) -> bool {
        let variance = self.scatter * self.scatter;
        let readings = self.figures.get(..self.readings.len()).unwrap_or_default();
        let counted = counted_means(self.readings);
        let of_means: Vec<f64> = counted
            .iter()
            .map(|(mean, _)| mean.deviation_of_range_percent())
            .collect();
        let shares_of_means: Vec<f64> = counted
            .iter()
            .map(|(mean, _)| mean.expected_torque_percent() / 100.0)
            .collect();
        let variances_of_means: Vec<f64> = counted
            .iter()
            .map(|(_, count)| variance / *count as f64)
            .collect();
        let explained = |figures: &[f64], shares: &[f64], variances: &[f64]| {
            let chi = chi_squared(figures, variances, &[(self.shared, shares)]);
            let beyond = ChiSquared::new(figures.len() as f64).map(|law| law.sf(chi));
            beyond.is_ok_and(|beyond| beyond >= NOISE_ALONE)
        };
        explained(readings, &self.shares, &vec![variance; readings.len()])
            && explained(&of_means, &shares_of_means, &variances_of_means)
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
                .clamp(component.size - reach, component.size + reach);
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
            "check another instrument with the same beaker: deviates it alike, it is the fluid, its temperature or its value, else this instrument and how it was set up",
        );
    }
    if of_fluid && has(Kind::Spring) && evidence.witness.lots_here.is_none() {
        tells.push(
            "check this instrument with another lot: deviates it alike, it is the instrument, else this lot or its temperature",
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

impl Check<'_> {
    /// The deviation in % of the value, if it is proportional: the slope of the pattern, or, where the torques lie too close
    /// together for one, that of the line through zero.
    fn gain(&self, pattern: Option<&Pattern>) -> Option<f64> {
        let torques = self.means.iter().map(Mean::expected_torque_percent);
        let count = self.means.len() as f64;
        let mean = torques.clone().sum::<f64>() / count;
        let squares: f64 = torques.map(|torque| (torque - mean).powi(2)).sum();
        let uncertainty = 100.0 * self.scatter / squares.sqrt();
        match pattern {
            Some(pattern) if uncertainty <= 0.5 => Some(pattern.gain_error_percent),
            _ => proportional_percent(self.means),
        }
    }

    /// The size of a cause, and the sentence that gives it.
    fn words(&self, scored: &Scored, pattern: Option<&Pattern>) -> (Option<Size>, String) {
        let gain = self.gain(pattern).filter(|gain| gain.is_finite());
        let value = gain.map(Size::OfValuePercent);
        let reads = |percent: f64| if percent < 0.0 { "low" } else { "high" };
        let size = scored.size;
        match scored.hypothesis.kind {
            Kind::FluidTemperature => {
                let slope = self.evidence.beta_per_k.filter(|slope| *slope != 0.0);
                let kelvin = gain.zip(slope).map(|(gain, slope)| gain / 100.0 / slope);
                match kelvin.filter(|kelvin| kelvin.is_finite()) {
                    Some(kelvin) => (
                        Some(Size::Kelvin(kelvin)),
                        format!(
                            "a fluid {} K {} than shown would explain this",
                            figure(kelvin.abs()),
                            if kelvin < 0.0 { "colder" } else { "warmer" }
                        ),
                    ),
                    None => (
                        value,
                        match gain {
                            Some(gain) if gain < 0.0 => {
                                "a fluid warmer than shown would explain this".to_owned()
                            }
                            _ => "a fluid colder than shown would explain this".to_owned(),
                        },
                    ),
                }
            }
            Kind::NominalUsed => self.nominal_words(value, gain),
            Kind::KinematicUsed => self.kinematic_words(),
            Kind::WrongGeometryOrSpeed => self.instead_words(scored, value, gain),
            Kind::BentSpindle => {
                let spread = self.widest_spread();
                (
                    spread.map(Size::OfRangePercent),
                    match spread {
                        Some(spread) => format!(
                            "a bent spindle would explain this: readings at one speed lie {} % of range apart",
                            figure(spread)
                        ),
                        None => {
                            "a bent spindle would explain this: the readings scatter".to_owned()
                        }
                    },
                )
            }
            Kind::GuardMissing => (
                value,
                match gain {
                    Some(gain) => format!(
                        "a missing guard would explain this: it reads {} % low",
                        figure(gain.abs())
                    ),
                    None => "a missing guard would explain this".to_owned(),
                },
            ),
            Kind::Friction => (
                Some(Size::OfRangePercent(size)),
                format!(
                    "friction at pivot or bearing that takes {} % of range would explain this",
                    figure(size.abs())
                ),
            ),
            Kind::ZeroOffset => {
                let offset = pattern.map_or(size, |pattern| pattern.zero_offset_percent);
                (
                    Some(Size::OfRangePercent(offset)),
                    format!(
                        "a zero {} % of range too {} would explain this",
                        figure(offset.abs()),
                        reads(offset)
                    ),
                )
            }
            Kind::Spring => match gain {
                // What reads high turns farther at the same torque.
                Some(gain) => {
                    let stiffness = 100.0 / (1.0 + gain / 100.0) - 100.0;
                    (
                        value,
                        format!(
                            "a spring {} % too {} would explain this",
                            figure(stiffness.abs()),
                            if stiffness < 0.0 { "weak" } else { "strong" }
                        ),
                    )
                }
                None => (None, "a changed spring would explain this".to_owned()),
            },
            Kind::BubbleOrImmersion => {
                let what = match self.evidence.geometry {
                    Some(GeometryKind::ConePlate | GeometryKind::ParallelPlates) => {
                        "a bubble or a wrong filling"
                    }
                    _ => "a bubble or a wrong immersion",
                };
                (
                    value,
                    match gain {
                        Some(gain) => format!(
                            "{what} would explain this: it reads {} % {}",
                            figure(gain.abs()),
                            reads(gain)
                        ),
                        None => format!("{what} would explain this"),
                    },
                )
            }
            Kind::ReadTooSoon => (
                Some(Size::OfValuePercent(size)),
                format!(
                    "a reading taken too soon would explain this: the slowest speed reads {} % {}",
                    figure(size.abs()),
                    reads(size)
                ),
            ),
            Kind::NotSoaked => {
                let at = |place: usize| {
                    let shape = scored.best().and_then(|best| best.shape.get(place));
                    let share = self.shares.get(place);
                    shape
                        .zip(share)
                        .map_or(0.0, |(shape, share)| size * shape / share)
                };
                let (first, last) = (at(0), at(self.readings.len().saturating_sub(1)));
                (
                    Some(Size::OfValuePercent(first)),
                    format!(
                        "a fluid still on its way to the bath's temperature would explain this: {} % {} in the first reading, {} % in the last",
                        figure(first.abs()),
                        reads(first),
                        figure(last.abs())
                    ),
                )
            }
            Kind::FluidOld => (
                value,
                match gain {
                    Some(gain) => format!(
                        "a fluid that has become {} % {} would explain this",
                        figure(gain.abs()),
                        if gain < 0.0 { "thinner" } else { "thicker" }
                    ),
                    None => "a fluid that has changed would explain this".to_owned(),
                },
            ),
            Kind::Vortices => {
                let fastest = self
                    .readings
                    .iter()
                    .map(|one| one.speed_rpm)
                    .fold(0.0, f64::max);
                let limit = self.evidence.laminar_limit_rpm.filter(|limit| *limit > 0.0);
                match limit {
                    Some(limit) => (
                        Some(Size::TimesLaminarLimit(fastest / limit)),
                        format!(
                            "vortices would explain this: the fastest speed is {} times the laminar limit of {} rpm",
                            significant(fastest / limit, 3),
                            significant(limit, 3)
                        ),
                    ),
                    None => (
                        None,
                        "vortices at the fastest speed would explain this, in a thin fluid"
                            .to_owned(),
                    ),
                }
            }
        }
    }

    fn nominal_words(&self, value: Option<Size>, gain: Option<f64>) -> (Option<Size>, String) {
        let (Some(certified), Some(nominal)) =
            (self.evidence.certified_mpa_s, self.evidence.nominal_mpa_s)
        else {
            return (value, "the label's value would explain this".to_owned());
        };
        let percent = 100.0 * (nominal / certified - 1.0);
        if percent.abs() >= 1e-7 {
            let side = if percent < 0.0 { "below" } else { "above" };
            return (
                Some(Size::OfValuePercent(percent)),
                format!(
                    "the readings fit the label's {} mPa.s, {} % {side} the certified value",
                    significant(nominal, FIGURE_DIGITS),
                    figure(percent.abs())
                ),
            );
        }
        let message = match gain {
            Some(gain) => format!(
                "the value in the lot's record is the label's: a certified one {} % {} would explain this",
                figure(gain.abs()),
                if gain < 0.0 { "lower" } else { "higher" }
            ),
            None => "the value in the lot's record is the label's".to_owned(),
        };
        (value, message)
    }

    fn kinematic_words(&self) -> (Option<Size>, String) {
        let Some(density) = self.evidence.density else {
            return (
                None,
                "a kinematic value taken for a dynamic one would explain this".to_owned(),
            );
        };
        let typical = match density.from {
            DensityFrom::Certificate => "",
            DensityFrom::Typical => " (typical of such fluids, common practice)",
        };
        let (what, ratio) = if density.in_reference {
            (
                "a dynamic value taken for a kinematic one",
                1.0 / density.g_ml,
            )
        } else {
            ("a kinematic value taken for a dynamic one", density.g_ml)
        };
        let percent = 100.0 * (ratio - 1.0);
        (
            Some(Size::OfValuePercent(percent)),
            format!(
                "{what} would explain this: a density of {} g/mL{typical} makes {} % {}",
                significant(density.g_ml, 3),
                figure(percent.abs()),
                if percent < 0.0 { "less" } else { "more" }
            ),
        )
    }

    fn instead_words(
        &self,
        scored: &Scored,
        value: Option<Size>,
        gain: Option<f64>,
    ) -> (Option<Size>, String) {
        match scored.best().and_then(|best| best.instead) {
            Some(Instead::Geometry(at)) => match self.evidence.other_geometries.get(at) {
                Some(other) => (
                    Some(Size::Times(other.range_ratio)),
                    format!(
                        "geometry {} in place of the recorded one would explain this: it makes {} times the value",
                        other.name,
                        significant(other.range_ratio, 3)
                    ),
                ),
                None => (value, "another geometry would explain this".to_owned()),
            },
            Some(Instead::Speed { recorded_rpm, rpm }) => (
                Some(Size::Times(rpm / recorded_rpm)),
                format!(
                    "{} rpm in place of the recorded {} rpm would explain this: it makes {} times the value",
                    significant(rpm, FIGURE_DIGITS),
                    significant(recorded_rpm, FIGURE_DIGITS),
                    significant(rpm / recorded_rpm, 3)
                ),
            ),
            None => match gain {
                Some(gain) => {
                    let times = 1.0 + gain / 100.0;
                    (
                        Some(Size::Times(times)),
                        format!(
                            "another geometry or range than recorded would explain this: one that makes {} times the value",
                            significant(times, 3)
                        ),
                    )
                }
                None => (
                    None,
                    "another geometry or speed than recorded would explain this".to_owned(),
                ),
            },
        }
    }

    /// The largest spread of readings at one speed, in % of range; `None` without replicates.
    fn widest_spread(&self) -> Option<f64> {
        by_speed(self.readings)
            .iter()
            .filter(|group| group.len() > 1)
            .map(|group| {
                let deviations = group.iter().map(|one| one.deviation());
                deviations.clone().fold(f64::NEG_INFINITY, f64::max)
                    - deviations.fold(f64::INFINITY, f64::min)
            })
            .reduce(f64::max)
    }
}

/// A size for people: one decimal, two where it is small.
fn figure(size: f64) -> String {
    if size < 0.3 {
        format!("{size:.2}")
    } else {
        format!("{size:.1}")
    }
}

/// So many significant digits, without zeros at the end.
fn significant(size: f64, digits: u32) -> String {
    let rounded = Exact::from_f64(size).map(|exact| exact.rounded_significant(digits));
    let text = rounded.unwrap_or_else(Exact::zero).to_decimal_string();
    text.strip_suffix(".0").unwrap_or(&text).to_owned()
}
