//! What each cause would have done to the readings, and how plausible it is beforehand.
//!
//! A cause is a handful of shapes over the readings (and over what other checks show), each times a size that is normally
//! distributed: as large as it usually is, and with a smaller weight a few times as large. The shares and sizes are common
//! practice of the trade, without a source; they order causes that fit alike, and mean nothing by themselves.

use std::cmp::Ordering;

use super::causes::Kind;
use super::evidence::{DensityFrom, Evidence, GeometryKind, Reading};

/// Where a check shows its deviation to others: gains in % of the value, offsets in % of range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Row {
    LotThatDay,
    LotOtherDays,
    OtherBottle,
    Thermometer,
    Bath,
    Geometry,
    LotsHere,
    LotsHereOffset,
    LastGood,
    LastGoodOffset,
}

/// One shape of a cause.
#[derive(Clone, Debug)]
pub(super) struct Component {
    pub weight: f64,
    /// What one unit of size does to each reading, in % of range.
    pub shape: Vec<f64>,
    /// Where else it is seen, in the same unit of size.
    pub seen: &'static [Row],
    /// The size that is expected, and its standard deviation.
    pub size: f64,
    pub sd: f64,
    /// What it adds to the scatter of each reading by itself, in % of range and in % of the value.
    pub scatter: f64,
    pub scatter_of_value: f64,
    /// The other geometry or speed that it supposes.
    pub instead: Option<Instead>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Instead {
    /// By its place among the other geometries.
    Geometry(usize),
    Speed {
        recorded_rpm: f64,
        rpm: f64,
    },
}

pub(super) struct Hypothesis {
    pub kind: Kind,
    /// How often this is what is wrong, by what is recorded; relative to the others.
    pub prior: f64,
    pub components: Vec<Component>,
}

/// Usual weights of a size as it usually is and of a larger one.
const USUAL: f64 = 0.7;
const LARGE: f64 = 0.3;

/// Wrong speeds are looked for where recorded times possible speeds are no more than this.
const MOST_SPEEDS_TRIED: usize = 400;

/// The readings as the shapes see them.
struct Seen<'a> {
    evidence: &'a Evidence,
    readings: &'a [Reading],
    /// Expected torque, a share of full scale.
    share: Vec<f64>,
    /// Speed over the slowest.
    times_slowest: Vec<f64>,
    /// Place in the order of reading, from 0 to 1.
    place: Vec<f64>,
    /// Which reading of its speed it is, from 0.
    replicate: Vec<i32>,
    slowest_rpm: f64,
    fastest_rpm: f64,
    slow_first: bool,
}

/// Every cause that the record does not rule out.
pub(super) fn hypotheses(evidence: &Evidence, readings: &[Reading]) -> Vec<Hypothesis> {
    let seen = Seen::new(evidence, readings);
    [
        seen.temperature(),
        seen.nominal(),
        seen.kinematic(),
        seen.geometry_or_speed(),
        seen.bent(),
        seen.guard(),
        seen.friction(),
        seen.zero(),
        seen.spring(),
        seen.bubble(),
        seen.too_soon(),
        seen.not_soaked(),
        seen.fluid(),
        seen.vortices(),
    ]
    .into_iter()
    .flatten()
    .collect()
}

impl<'a> Seen<'a> {
    fn new(evidence: &'a Evidence, readings: &'a [Reading]) -> Seen<'a> {
        let speeds = readings.iter().map(|one| one.speed_rpm);
        let slowest_rpm = speeds.clone().fold(f64::INFINITY, f64::min);
        let fastest_rpm = speeds.fold(0.0, f64::max);
        let first_at = |rpm: f64| readings.iter().position(|one| one.speed_rpm == rpm);
        let last = readings.len().saturating_sub(1).max(1) as f64;
        let mut counts: std::collections::BTreeMap<u64, i32> = std::collections::BTreeMap::new();
        Seen {
            evidence,
            readings,
            share: readings.iter().map(|one| one.torque() / 100.0).collect(),
            times_slowest: readings
                .iter()
                .map(|one| one.speed_rpm / slowest_rpm)
                .collect(),
            place: (0..readings.len()).map(|at| at as f64 / last).collect(),
            replicate: readings
                .iter()
                .map(|one| {
                    let count = counts.entry(one.speed_rpm.to_bits()).or_default();
                    *count = count.saturating_add(1);
                    *count - 1
                })
                .collect(),
            slowest_rpm,
            fastest_rpm,
            slow_first: first_at(slowest_rpm) <= first_at(fastest_rpm),
        }
    }

    fn proportional(&self) -> Vec<f64> {
        self.share.clone()
    }

    fn constant(&self) -> Vec<f64> {
        vec![1.0; self.readings.len()]
    }

    /// In % of the value, by a factor for each reading.
    fn of_value(&self, factor: impl Fn(usize) -> f64) -> Vec<f64> {
        let shares = self.share.iter().enumerate();
        shares.map(|(at, share)| share * factor(at)).collect()
    }

    /// The fluid's slope in % per K, or a usual one.
    fn percent_per_k(&self) -> f64 {
        let known = self.evidence.beta_per_k.map(|beta| 100.0 * beta.abs());
        known.filter(|slope| *slope > 0.0).unwrap_or(3.0)
    }

    fn soak(&self) -> Soak {
        match (self.evidence.soak_minutes, self.evidence.soak_asked_minutes) {
            (Some(had), Some(asked)) if had < asked => Soak::Short,
            (Some(_), Some(_)) => Soak::Enough,
            _ => Soak::Unknown,
        }
    }

    fn temperature(&self) -> Option<Hypothesis> {
        const FOLLOWS: &[(f64, &[Row])] = &[
            (0.35, &[Row::LotThatDay, Row::Bath]),
            (0.3, &[Row::LotThatDay, Row::Thermometer]),
            (0.35, &[]),
        ];
        let (prior, kelvin) = match self.soak() {
            Soak::Enough => (0.2, 0.5),
            Soak::Unknown => (0.22, 0.8),
            Soak::Short => (0.25, 1.2),
        };
        let usual = kelvin * self.percent_per_k();
        Some(Hypothesis {
            kind: Kind::FluidTemperature,
            prior,
            components: spread(self.proportional(), usual, FOLLOWS),
        })
    }

    /// The readings fit the label's value. Where that is also the one in the record, the true one may be another.
    fn nominal(&self) -> Option<Hypothesis> {
        const FOLLOWS: &[(f64, &[Row])] = &[
            (
                0.9,
                &[
                    Row::LotThatDay,
                    Row::LotOtherDays,
                    Row::OtherBottle,
                    Row::LastGood,
                ],
            ),
            (0.1, &[]),
        ];
        let certified = self.evidence.certified_mpa_s.filter(|value| *value > 0.0)?;
        let nominal = self.evidence.nominal_mpa_s.filter(|value| *value > 0.0)?;
        let shape = self.proportional();
        let percent = 100.0 * (nominal / certified - 1.0);
        let (prior, components) = if percent.abs() < 1e-7 {
            (0.12, spread(shape, 2.5, FOLLOWS))
        } else if percent.abs() < 0.3 {
            return None;
        } else {
            (0.08, around(shape, percent, 0.15, FOLLOWS))
        };
        Some(Hypothesis {
            kind: Kind::NominalUsed,
            prior,
            components,
        })
    }

    /// A kinematic value in the record as a dynamic one, or the other way round.
    fn kinematic(&self) -> Option<Hypothesis> {
        const FOLLOWS: &[(f64, &[Row])] = &[
            (
                0.95,
                &[
                    Row::LotThatDay,
                    Row::LotOtherDays,
                    Row::OtherBottle,
                    Row::LastGood,
                ],
            ),
            (0.05, &[]),
        ];
        let density = self.evidence.density.filter(|density| density.g_ml > 0.0)?;
        let ratio = if density.in_reference {
            1.0 / density.g_ml
        } else {
            density.g_ml
        };
        let percent = 100.0 * (ratio - 1.0);
        if !percent.is_finite() || percent.abs() < 0.3 {
            return None;
        }
        // Silicones lie closer together than oils do.
        let sd = match density.from {
            DensityFrom::Certificate => 0.15,
            DensityFrom::Typical => 0.35 + 0.1 * percent.abs(),
        };
        Some(Hypothesis {
            kind: Kind::KinematicUsed,
            prior: 0.07,
            components: around(self.proportional(), percent, sd, FOLLOWS),
        })
    }

    fn geometry_or_speed(&self) -> Option<Hypothesis> {
        const FOLLOWS: &[(f64, &[Row])] = &[(0.9, &[]), (0.1, &[Row::Geometry])];
        let mut components = Vec::new();
        for (sd, weight) in [(20.0, 0.1), (80.0, 0.1)] {
            for mut component in spread(self.proportional(), sd, FOLLOWS) {
                component.weight *= weight;
                components.push(component);
            }
        }
        let reaches = |ratio: f64, share: &f64| {
            ratio.is_finite() && ratio > 0.0 && (ratio - 1.0).abs() > 0.01 && ratio * share < 1.05
        };
        let geometries: Vec<(usize, f64)> = self
            .evidence
            .other_geometries
            .iter()
            .map(|other| other.range_ratio)
            .enumerate()
            .filter(|(_, ratio)| self.share.iter().all(|share| reaches(*ratio, share)))
            .collect();
        for (at, ratio) in &geometries {
            for mut component in around(
                self.proportional(),
                100.0 * (ratio - 1.0),
                0.5 * ratio,
                &[(1.0, &[])],
            ) {
                component.weight *= 0.5 / geometries.len() as f64;
                component.instead = Some(Instead::Geometry(*at));
                components.push(component);
            }
        }
        let mut speeds: Vec<(f64, f64, f64)> = Vec::new();
        let mut recorded: Vec<f64> = self.readings.iter().map(|one| one.speed_rpm).collect();
        recorded.sort_by(f64::total_cmp);
        recorded.dedup();
        if recorded.len() * self.evidence.speeds_rpm.len() <= MOST_SPEEDS_TRIED {
            for &recorded_rpm in &recorded {
                let share = self
                    .readings
                    .iter()
                    .zip(&self.share)
                    .find(|(one, _)| one.speed_rpm == recorded_rpm)
                    .map_or(1.0, |(_, share)| *share);
                for &rpm in &self.evidence.speeds_rpm {
                    let ratio = rpm / recorded_rpm;
                    if reaches(ratio, &share) {
                        speeds.push((recorded_rpm, rpm, ratio));
                    }
                }
            }
        }
        for &(recorded_rpm, rpm, ratio) in &speeds {
            let at_speed = |at: usize| {
                let here = self.readings.get(at).map(|one| one.speed_rpm) == Some(recorded_rpm);
                f64::from(u8::from(here))
            };
            let shape = self.of_value(at_speed);
            for mut component in around(shape, 100.0 * (ratio - 1.0), 0.3 * ratio, &[(1.0, &[])]) {
                component.weight *= 0.3 / speeds.len() as f64;
                component.instead = Some(Instead::Speed { recorded_rpm, rpm });
                components.push(component);
            }
        }
        Some(Hypothesis {
            kind: Kind::WrongGeometryOrSpeed,
            prior: match self.evidence.torque_disagrees {
                Some(true) => 3.0,
                Some(false) => 0.08,
                None => 0.1,
            },
            components,
        })
    }

    fn bent(&self) -> Option<Hypothesis> {
        let mut components = Vec::new();
        for (scatter, scatter_of_value) in [(0.4, 0.0), (1.0, 0.0), (0.0, 0.8), (0.0, 2.0)] {
            components.push(Component {
                weight: 0.25,
                scatter,
                scatter_of_value,
                ..plain(self.proportional(), 0.0, 0.5, &[])
            });
        }
        Some(Hypothesis {
            kind: Kind::BentSpindle,
            prior: if self.evidence.unstable { 0.2 } else { 0.05 },
            components,
        })
    }

    /// A guard that a spindle needs and that was not there; what is not recorded is not known.
    fn guard(&self) -> Option<Hypothesis> {
        const FOLLOWS: &[(f64, &[Row])] = &[(0.8, &[]), (0.2, &[Row::LotsHere])];
        let factored = matches!(self.evidence.geometry, None | Some(GeometryKind::Factored));
        if !factored || self.evidence.guard_required == Some(false) {
            return None;
        }
        let fitted = match self.evidence.guard_fitted {
            Some(false) => 1.0,
            None if self.evidence.guard_required == Some(true) => 0.15,
            None => 0.03,
            Some(true) => 0.01,
        };
        // A large spindle has a small range, which is what others of the instrument are compared with.
        let others = &self.evidence.other_geometries;
        let wider = others.iter().filter(|other| other.range_ratio < 1.0);
        let large = match (2 * wider.count()).cmp(&others.len()) {
            Ordering::Greater => 1.5,
            Ordering::Equal => 1.0,
            Ordering::Less => 0.4,
        };
        let shape = self.proportional();
        let mut components = Vec::new();
        for (weight, size, sd) in [(0.7, -6.0, 2.5), (0.3, -13.0, 5.0)] {
            for mut component in around(shape.clone(), size, sd, FOLLOWS) {
                component.weight *= weight;
                components.push(component);
            }
        }
        Some(Hypothesis {
            kind: Kind::GuardMissing,
            prior: fitted * large,
            components,
        })
    }

    /// Readings lag behind what they come from: low where the slow ones were read first.
    fn friction(&self) -> Option<Hypothesis> {
        const FOLLOWS: &[(f64, &[Row])] = &[
            (0.6, &[Row::LotsHereOffset]),
            (0.2, &[]),
            (0.2, &[Row::LotsHereOffset, Row::LastGoodOffset]),
        ];
        let low = if self.slow_first { 0.95 } else { 0.5 };
        let mut components = Vec::new();
        for (weight, size, sd) in [
            (0.7 * low, -0.8, 0.4),
            (0.3 * low, -2.0, 1.0),
            (0.7 * (1.0 - low), 0.8, 0.4),
            (0.3 * (1.0 - low), 2.0, 1.0),
        ] {
            for mut component in around(self.constant(), size, sd, FOLLOWS) {
                component.weight *= weight;
                components.push(component);
            }
        }
        Some(Hypothesis {
            kind: Kind::Friction,
            prior: 0.08,
            components,
        })
    }

    fn zero(&self) -> Option<Hypothesis> {
        const FOLLOWS: &[(f64, &[Row])] = &[(0.7, &[Row::LotsHereOffset]), (0.3, &[])];
        let mut components = Vec::new();
        let shown = self.evidence.zero_percent.filter(|zero| zero.is_finite());
        let limit = self
            .evidence
            .zero_limit_percent
            .filter(|limit| *limit > 0.0);
        let near_limit = match (shown, limit) {
            (Some(zero), Some(limit)) => zero.abs() >= 0.8 * limit,
            _ => false,
        };
        if let Some(zero) = shown {
            for mut component in around(self.constant(), zero, 0.15, FOLLOWS) {
                component.weight *= 0.5;
                components.push(component);
            }
        }
        for mut component in spread(self.constant(), 0.6, FOLLOWS) {
            component.weight *= if shown.is_some() { 0.5 } else { 1.0 };
            components.push(component);
        }
        Some(Hypothesis {
            kind: Kind::ZeroOffset,
            prior: if near_limit { 0.25 } else { 0.13 },
            components,
        })
    }

    fn spring(&self) -> Option<Hypothesis> {
        const FOLLOWS: &[(f64, &[Row])] = &[
            (0.75, &[Row::LotsHere]),
            (0.25, &[Row::LotsHere, Row::LastGood]),
        ];
        Some(Hypothesis {
            kind: Kind::Spring,
            prior: 0.1,
            components: spread(self.proportional(), 2.0, FOLLOWS),
        })
    }

    fn bubble(&self) -> Option<Hypothesis> {
        let mut components = Vec::new();
        for (weight, scatter_of_value) in [(0.2, 0.0), (0.25, 0.5), (0.3, 1.0), (0.25, 2.0)] {
            for mut component in spread(self.proportional(), 2.5, &[(1.0, &[])]) {
                component.weight *= weight;
                component.scatter_of_value = scatter_of_value;
                components.push(component);
            }
        }
        Some(Hypothesis {
            kind: Kind::BubbleOrImmersion,
            prior: if self.evidence.unstable { 0.2 } else { 0.08 },
            components,
        })
    }

    /// The torque had not settled: at the slowest speed, for a share of the value that is gone at twice or thrice that
    /// speed, and less in a second reading.
    fn too_soon(&self) -> Option<Hypothesis> {
        if self.slowest_rpm == self.fastest_rpm && self.replicate.iter().all(|at| *at == 0) {
            return None;
        }
        let low = if self.slow_first { 0.9 } else { 0.4 };
        let mut components = Vec::new();
        for power in [2, 3, 40] {
            for kept in [1.0_f64, 0.5, 0.15] {
                let shape = self.of_value(|at| {
                    let replicate = self.replicate.get(at).copied().unwrap_or(0);
                    let times = self.times_slowest.get(at).copied().unwrap_or(1.0);
                    kept.powi(replicate) / times.powi(power)
                });
                for (weight, size, sd) in [
                    (0.5 * low, -3.0, 1.5),
                    (0.5 * low, -7.0, 3.0),
                    (0.5 * (1.0 - low), 3.0, 1.5),
                    (0.5 * (1.0 - low), 7.0, 3.0),
                ] {
                    components.push(Component {
                        weight: weight / 9.0,
                        ..plain(shape.clone(), size, sd, &[])
                    });
                }
            }
        }
        Some(Hypothesis {
            kind: Kind::ReadTooSoon,
            prior: 0.07,
            components,
        })
    }

    /// The fluid was on its way to the bath's temperature: what it is off by falls from reading to reading.
    fn not_soaked(&self) -> Option<Hypothesis> {
        const FOLLOWS: &[(f64, &[Row])] = &[(0.75, &[]), (0.25, &[Row::LotThatDay])];
        let usual = self.percent_per_k();
        let mut components = Vec::new();
        for decay in [0.5, 1.0, 1.8, 3.0] {
            let shape = self.of_value(|at| (-decay * self.place.get(at).unwrap_or(&0.0)).exp());
            for mut component in spread(shape, usual, FOLLOWS) {
                component.weight /= 4.0;
                components.push(component);
            }
        }
        let soak = match self.soak() {
            Soak::Short => 0.4,
            Soak::Unknown => 0.12,
            Soak::Enough => 0.02,
        };
        Some(Hypothesis {
            kind: Kind::NotSoaked,
            prior: soak * self.warming(),
            components,
        })
    }

    /// How well the temperatures, first to last, go with readings that fall or rise in % of the value.
    fn warming(&self) -> f64 {
        let known = || {
            let with = |one: &Reading| Some((one.temperature_c?, one.deviation() / one.torque()));
            self.readings.iter().filter_map(with)
        };
        let (Some(first), Some(last)) = (known().next(), known().next_back()) else {
            return 1.0;
        };
        let warmer_k = last.0 - first.0;
        if !warmer_k.is_finite() || warmer_k.abs() < 0.05 {
            return 0.7;
        }
        if (warmer_k > 0.0) != (last.1 < first.1) {
            0.4
        } else if warmer_k.abs() < 0.1 {
            3.0
        } else {
            6.0
        }
    }

    fn fluid(&self) -> Option<Hypothesis> {
        const FOLLOWS: &[(f64, &[Row])] = &[
            (0.4, &[Row::LotThatDay, Row::LotOtherDays]),
            (0.3, &[Row::LotThatDay]),
            (
                0.15,
                &[Row::LotThatDay, Row::LotOtherDays, Row::OtherBottle],
            ),
            (0.15, &[Row::LotThatDay, Row::LotOtherDays, Row::LastGood]),
        ];
        let in_use = match (self.evidence.days_in_use, self.evidence.days_in_use_allowed) {
            (Some(days), Some(allowed)) if days > allowed => 2.0,
            (Some(days), _) if days > 180.0 => 1.3,
            (Some(days), _) if days < 7.0 => 0.6,
            _ => 1.0,
        };
        Some(Hypothesis {
            kind: Kind::FluidOld,
            prior: 0.1 * in_use,
            components: spread(self.proportional(), 2.0, FOLLOWS),
        })
    }

    /// Above the laminar limit the torque rises faster than the speed.
    fn vortices(&self) -> Option<Hypothesis> {
        let limit = self.evidence.laminar_limit_rpm.filter(|limit| *limit > 0.0);
        let speed = |at: usize| self.readings.get(at).map_or(0.0, |one| one.speed_rpm);
        let thinnest = self
            .readings
            .iter()
            .map(|one| one.reference_mpa_s)
            .fold(f64::INFINITY, f64::min);
        let mut shapes =
            vec![self.of_value(|at| f64::from(u8::from(speed(at) == self.fastest_rpm)))];
        let prior = match limit {
            Some(limit) => {
                let above = |at: usize| (speed(at) / limit).min(1e3);
                shapes.push(self.of_value(|at| (above(at) - 1.0).clamp(0.0, 3.0)));
                shapes.push(self.of_value(|at| 1.0 - 1.0 / above(at).max(1.0).powi(2)));
                let fastest = self.fastest_rpm / limit;
                if fastest > 1.0 {
                    0.5
                } else if fastest > 0.8 {
                    0.1
                } else {
                    return None;
                }
            }
            None if thinnest < 10.0 => 0.06,
            None if thinnest < 30.0 => 0.03,
            None => 0.004,
        };
        if self.fastest_rpm == self.slowest_rpm && limit.is_none() {
            return None;
        }
        let weight = 1.0 / shapes.len() as f64;
        let mut components = Vec::new();
        for shape in shapes {
            for (share, size, sd) in [(0.5, 3.0, 1.5), (0.3, 8.0, 4.0), (0.2, 20.0, 10.0)] {
                components.push(Component {
                    weight: weight * share,
                    ..plain(shape.clone(), size, sd, &[])
                });
            }
        }
        Some(Hypothesis {
            kind: Kind::Vortices,
            prior,
            components,
        })
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Soak {
    Enough,
    Short,
    Unknown,
}

fn plain(shape: Vec<f64>, size: f64, sd: f64, seen: &'static [Row]) -> Component {
    Component {
        weight: 1.0,
        shape,
        seen,
        size,
        sd,
        scatter: 0.0,
        scatter_of_value: 0.0,
        instead: None,
    }
}

/// A size of either sign, as large as it usually is or larger.
fn spread(
    shape: Vec<f64>,
    usual: f64,
    follows: &'static [(f64, &'static [Row])],
) -> Vec<Component> {
    let sizes = [(USUAL, usual), (LARGE, 2.5 * usual)];
    let each = |(weight, sd): (f64, f64)| {
        let shape = &shape;
        follows.iter().map(move |(share, seen)| Component {
            weight: weight * share,
            ..plain(shape.clone(), 0.0, sd, seen)
        })
    };
    sizes.into_iter().flat_map(each).collect()
}

/// A size that is foretold.
fn around(
    shape: Vec<f64>,
    size: f64,
    sd: f64,
    follows: &'static [(f64, &'static [Row])],
) -> Vec<Component> {
    follows
        .iter()
        .map(|(share, seen)| Component {
            weight: *share,
            ..plain(shape.clone(), size, sd, seen)
        })
        .collect()
}
