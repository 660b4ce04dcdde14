//! The sentence that gives a cause with its size.

use super::causes::{Check, Kind, Scored, Size};
use super::evidence::{DensityFrom, GeometryKind, by_speed};
use super::hypotheses::Instead;
use super::{Mean, Pattern, proportional_percent};
use crate::measure::{Exact, FIGURE_DIGITS};

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
    pub(super) fn words(
        &self,
        scored: &Scored,
        pattern: Option<&Pattern>,
    ) -> (Option<Size>, String) {
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
                            "a bent spindle or shaft would explain this: readings at one speed lie {} % of range apart",
                            figure(spread)
                        ),
                        None => "a bent spindle or shaft would explain this: the readings scatter"
                            .to_owned(),
                    },
                )
            }
            Kind::GuardMissing => (
                value,
                match gain {
                    Some(gain) => format!(
                        "a missing guard would explain this: it reads {} % {}",
                        figure(gain.abs()),
                        reads(gain)
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
            Kind::Spring => match gain.filter(|gain| *gain > -90.0) {
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
                None => (value, "a changed spring would explain this".to_owned()),
            },
            Kind::BubbleOrImmersion => {
                let what = match self.evidence.geometry {
                    Some(GeometryKind::ConePlate | GeometryKind::ParallelPlates) => {
                        "a wrong gap, a bubble or a wrong filling"
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
