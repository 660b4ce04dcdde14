//! What is known of a check and of others beside it, as plain figures.

use super::{Mean, pattern, proportional_percent};
use crate::measure::range::Geometry;

/// One reading of a check. In mPa.s, unrounded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    pub speed_rpm: f64,
    pub reading_mpa_s: f64,
    pub reference_mpa_s: f64,
    pub range_mpa_s: f64,
    /// Corrected, in degrees C.
    pub temperature_c: Option<f64>,
}

impl Reading {
    fn mean(&self) -> Mean {
        Mean {
            reading_mpa_s: self.reading_mpa_s,
            reference_mpa_s: self.reference_mpa_s,
            range_mpa_s: self.range_mpa_s,
        }
    }

    /// In % of full scale.
    pub(super) fn torque(&self) -> f64 {
        self.mean().expected_torque_percent()
    }

    /// In % of range.
    pub(super) fn deviation(&self) -> f64 {
        self.mean().deviation_of_range_percent()
    }

    /// Whether sums of squares of its figures are numbers.
    pub(super) fn is_usable(&self) -> bool {
        self.mean().is_usable()
            && self.speed_rpm.is_finite()
            && self.speed_rpm > 0.0
            && (1e-6..1e6).contains(&self.torque())
            && self.deviation().abs() < 1e6
    }
}

/// One mean a speed, slowest first; readings that cannot be used are left out.
pub fn means(readings: &[Reading]) -> Vec<Mean> {
    let mean_of = |group: &Vec<&Reading>| {
        let mean = |figure: fn(&Reading) -> f64| {
            group.iter().map(|one| figure(one)).sum::<f64>() / group.len() as f64
        };
        Mean {
            reading_mpa_s: mean(|one| one.reading_mpa_s),
            reference_mpa_s: mean(|one| one.reference_mpa_s),
            range_mpa_s: mean(|one| one.range_mpa_s),
        }
    };
    by_speed(readings).iter().map(mean_of).collect()
}

/// The usable readings of each speed, slowest first, each in the order in which they were read.
pub(super) fn by_speed(readings: &[Reading]) -> Vec<Vec<&Reading>> {
    let mut sorted: Vec<&Reading> = readings.iter().filter(|one| one.is_usable()).collect();
    sorted.sort_by(|one, other| one.speed_rpm.total_cmp(&other.speed_rpm));
    sorted
        .chunk_by(|one, other| one.speed_rpm == other.speed_rpm)
        .map(<[&Reading]>::to_vec)
        .collect()
}

/// The kind of the geometry, since some causes need one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GeometryKind {
    Factored,
    CoaxialCylinders,
    ConePlate,
    ParallelPlates,
}

impl From<&Geometry> for GeometryKind {
    fn from(geometry: &Geometry) -> GeometryKind {
        match geometry {
            Geometry::Factored { .. } => GeometryKind::Factored,
            Geometry::CoaxialCylinders { .. } => GeometryKind::CoaxialCylinders,
            Geometry::ConePlate { .. } => GeometryKind::ConePlate,
            Geometry::ParallelPlates { .. } => GeometryKind::ParallelPlates,
        }
    }
}

/// Where a density was taken from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DensityFrom {
    Certificate,
    /// Typical of the base, common practice: [`Density::SILICONE`], [`Density::MINERAL_OIL`].
    Typical,
}

/// The density of a fluid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Density {
    pub g_ml: f64,
    pub from: DensityFrom,
    /// Whether the lot's record holds kinematic values, so that the density has entered the reference already.
    pub in_reference: bool,
}

impl Density {
    /// Typical of silicone, in g/mL. Common practice.
    pub const SILICONE: f64 = 0.97;
    /// Typical of mineral oil, in g/mL. Common practice.
    pub const MINERAL_OIL: f64 = 0.88;
}

/// Another geometry that fits the instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct OtherGeometry {
    pub name: String,
    /// The range of the recorded geometry over that of this one, at one speed and spring: so many times the value would
    /// this one have shown.
    pub range_ratio: f64,
}

/// What other checks say: their mean deviation, and how sure it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Elsewhere {
    pub checks: usize,
    /// Proportional, in % of the value.
    pub gain_percent: f64,
    pub gain_uncertainty_percent: f64,
    /// The zero offset in % of range with its standard uncertainty, where the checks have a pattern.
    pub offset_percent: Option<(f64, f64)>,
}

impl Elsewhere {
    /// The mean over checks, each by its means. The standard uncertainty is the scatter of the checks over the root of
    /// their number; it is taken as no less than 0.3 % (of the value, of range) over that root, since checks are few.
    /// `None` where no check has a figure.
    pub fn of(checks: &[Vec<Mean>]) -> Option<Elsewhere> {
        let gains: Vec<f64> = checks
            .iter()
            .filter_map(|means| proportional_percent(means))
            .collect();
        let offsets: Vec<f64> = checks
            .iter()
            .filter_map(|means| Some(pattern(means)?.zero_offset_percent))
            .collect();
        let (gain_percent, gain_uncertainty_percent) = mean_and_uncertainty(&gains)?;
        Some(Elsewhere {
            checks: gains.len(),
            gain_percent,
            gain_uncertainty_percent,
            offset_percent: mean_and_uncertainty(&offsets),
        })
    }
}

fn mean_and_uncertainty(figures: &[f64]) -> Option<(f64, f64)> {
    let count = figures.len() as f64;
    let mean = figures.iter().sum::<f64>() / count;
    let squares: f64 = figures.iter().map(|figure| (figure - mean).powi(2)).sum();
    let scatter = if figures.len() > 1 {
        (squares / (count - 1.0)).sqrt()
    } else {
        0.0
    };
    let uncertainty = scatter.max(0.3) / count.sqrt();
    (mean.is_finite() && uncertainty.is_finite()).then_some((mean, uncertainty))
}

/// The last check of the same instrument that passed, with the same lot or the same geometry.
#[derive(Clone, Debug, PartialEq)]
pub struct LastGood {
    pub means: Vec<Mean>,
    pub same_lot: bool,
}

/// What checks beside this one say. Leave out the check itself.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Witness {
    /// The same lot (better: the same bottle), the same day, other instruments.
    pub lot_that_day: Option<Elsewhere>,
    /// The same lot on other days, other instruments.
    pub lot_other_days: Option<Elsewhere>,
    /// The same lot from another bottle, about that time.
    pub other_bottle: Option<Elsewhere>,
    /// Other lots with the same thermometer about that time, other instruments.
    pub thermometer: Option<Elsewhere>,
    /// Other lots in the same bath that day, other instruments.
    pub bath: Option<Elsewhere>,
    /// The same geometry on other instruments.
    pub geometry: Option<Elsewhere>,
    /// Other lots on the same instrument since nothing was done to it; on another day, where there is one.
    pub lots_here: Option<Elsewhere>,
    pub last_good: Option<LastGood>,
}

/// What is known of a check. What is not known is `None` or empty, and then it speaks neither for a cause nor against.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Evidence {
    /// In the order in which they were read; a point that showed no figure is left out.
    pub readings: Vec<Reading>,
    /// Whether the display was unsteady at a point.
    pub unstable: bool,
    /// Standard uncertainty of one reading by itself, in % of range: repeatability and resolution.
    pub scatter_percent: Option<f64>,
    /// Standard uncertainty that all readings of the check share, in % of the value: the certified value's and the
    /// temperature's.
    pub shared_percent: Option<f64>,

    /// d ln(eta)/dT, per K, negative.
    pub beta_per_k: Option<f64>,
    /// The certified value at the certified temperature, in mPa.s.
    pub certified_mpa_s: Option<f64>,
    /// The label's, in mPa.s.
    pub nominal_mpa_s: Option<f64>,
    pub density: Option<Density>,
    pub days_in_use: Option<f64>,
    /// How long a bottle may be in use.
    pub days_in_use_allowed: Option<f64>,

    pub geometry: Option<GeometryKind>,
    pub guard_required: Option<bool>,
    pub guard_fitted: Option<bool>,
    /// Those that fit the instrument, but for the recorded one.
    pub other_geometries: Vec<OtherGeometry>,
    /// The speeds of the instrument, where they are a list.
    pub speeds_rpm: Vec<f64>,
    /// Whether torque and viscosity as shown disagree at a point.
    pub torque_disagrees: Option<bool>,
    /// As [`laminar_limit_rpm`](crate::measure::flow::laminar_limit_rpm) gives it.
    pub laminar_limit_rpm: Option<f64>,

    pub zero_percent: Option<f64>,
    pub zero_limit_percent: Option<f64>,
    pub soak_minutes: Option<f64>,
    pub soak_asked_minutes: Option<f64>,

    pub witness: Witness,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mean(reading: f64, range: f64) -> Mean {
        Mean {
            reading_mpa_s: reading,
            reference_mpa_s: 500.0,
            range_mpa_s: range,
        }
    }

    #[test]
    fn what_other_checks_have_in_common() {
        // By hand: 1 % and 3 % of the value, so 2 % with a scatter of root 2 over root 2.
        let high = |share: f64| vec![mean(500.0 * share, 1000.0), mean(500.0 * share, 2000.0)];
        let two = Elsewhere::of(&[high(1.01), high(1.03)]).unwrap();
        assert_eq!(two.checks, 2);
        assert!((two.gain_percent - 2.0).abs() < 1e-9);
        assert!((two.gain_uncertainty_percent - 1.0).abs() < 1e-9);
        let (offset, uncertainty) = two.offset_percent.unwrap();
        assert!(offset.abs() < 1e-9 && (uncertainty - 0.3 / 2_f64.sqrt()).abs() < 1e-9);
        // One check of one speed: no pattern, and no scatter of its own.
        let one = Elsewhere::of(&[vec![mean(505.0, 1000.0)]]).unwrap();
        assert!((one.gain_percent - 1.0).abs() < 1e-9);
        assert_eq!(one.gain_uncertainty_percent, 0.3);
        assert_eq!(one.offset_percent, None);
        assert_eq!(Elsewhere::of(&[]), None);
        assert_eq!(Elsewhere::of(&[vec![mean(f64::NAN, 1000.0)]]), None);
    }

    #[test]
    fn replicates_enter_by_their_mean() {
        let reading = |speed_rpm, reading_mpa_s| Reading {
            speed_rpm,
            reading_mpa_s,
            reference_mpa_s: 500.0,
            range_mpa_s: 24000.0 / speed_rpm,
            temperature_c: None,
        };
        let rows = [
            reading(30.0, 510.0),
            reading(12.0, 498.0),
            reading(30.0, 504.0),
            reading(6.0, f64::INFINITY),
        ];
        assert_eq!(means(&rows), [mean(498.0, 2000.0), mean(507.0, 800.0)]);
    }
}
