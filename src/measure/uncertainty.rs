//! The uncertainty of the deviation of a reading from its reference (JCGM 100, the GUM), and what follows from it.

use super::distribution::{expansion_factor, normal_within};

/// What is known of the uncertainty of the comparison, but for the point itself. Temperatures in K, viscosities in mPa.s.
#[derive(Clone, Debug, PartialEq)]
pub struct Sources {
    /// Expanded uncertainty of the certified value, and its coverage factor.
    pub fluid_expanded_mpa_s: f64,
    pub fluid_coverage_factor: f64,
    /// Of the thermometer's calibration, and its coverage factor.
    pub thermometer_expanded_k: f64,
    pub thermometer_coverage_factor: f64,
    /// The last digit of the thermometer.
    pub thermometer_resolution_k: f64,
    /// Largest less smallest corrected temperature of the check.
    pub spread_k: f64,
    /// From the fluid to the thermometer, at most; zero where no bath is named.
    pub uniformity_k: f64,
    /// d ln(eta)/dT at the certified temperature, per K, negative.
    pub slope_per_k: f64,
    /// The last digit of the torque shown, in % of full scale.
    pub torque_resolution_percent: f64,
    /// Standard deviation of the instrument as stated, in % of the full-scale range.
    pub repeatability_percent: f64,
}

/// Standard uncertainties of the temperature of the fluid, in K.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TemperatureParts {
    pub thermometer_k: f64,
    /// Rectangular, half a digit to either side.
    pub resolution_k: f64,
    /// Rectangular, half the spread to either side.
    pub spread_k: f64,
    /// Rectangular, the whole figure to either side.
    pub uniformity_k: f64,
}

/// Where the repeatability of a point was taken from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Repeatability {
    /// As stated of the instrument.
    Stated,
    /// The scatter of so many replicates.
    Replicates(usize),
}

/// The budget of the deviation at one point. All in mPa.s as standard uncertainties, where nothing else is said.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    pub fluid: f64,
    /// The temperature's, by the slope of the fluid.
    pub temperature: f64,
    pub resolution: f64,
    pub repeatability: f64,
    pub repeatability_from: Repeatability,
    pub temperature_parts: TemperatureParts,
    /// Standard uncertainty of the temperature of the fluid, in K.
    pub temperature_k: f64,
    /// How the reference changes with temperature, in mPa.s per K.
    pub sensitivity_mpa_s_per_k: f64,
    /// Combined standard uncertainty.
    pub standard: f64,
    /// Effective degrees of freedom by Welch and Satterthwaite, rounded to one decimal and cut to the integer below; `None`
    /// where they are infinite.
    pub degrees_of_freedom: Option<u32>,
    /// Student's factor for a coverage of 95.45 %, 2 at infinite degrees of freedom.
    pub coverage_factor: f64,
    pub expanded: f64,
}

/// Half-width of a rectangular distribution as a standard uncertainty.
fn rectangular(half_width: f64) -> f64 {
    half_width / 3f64.sqrt()
}

fn root_of_squares(parts: &[f64]) -> f64 {
    parts.iter().fold(0.0, |sum: f64, part| sum.hypot(*part))
}

/// The budget of the deviation of the mean of `readings` (replicates) from a reference.
///
/// The fluid's share is the certificate's, whatever the temperature; the temperature's is moved to mPa.s by the fluid's
/// slope. The resolution does not lessen with replicates, since they share its error. The scatter of two or more replicates
/// over the root of their number counts, but never less than the stated repeatability does over the same root; then alone
/// are the degrees of freedom finite. JCGM 100, 4.3, 5.1.2, G.4.1. `None` where a figure is no number, or a factor that
/// divides is not above zero.
pub fn budget(
    sources: &Sources,
    reference_mpa_s: f64,
    range_mpa_s: f64,
    readings: &[f64],
) -> Option<Budget> {
    let factors = [
        sources.fluid_coverage_factor,
        sources.thermometer_coverage_factor,
    ];
    if factors.iter().any(|factor| *factor <= 0.0) {
        return None;
    }
    let parts = TemperatureParts {
        thermometer_k: sources.thermometer_expanded_k / sources.thermometer_coverage_factor,
        resolution_k: rectangular(sources.thermometer_resolution_k / 2.0),
        spread_k: rectangular(sources.spread_k / 2.0),
        uniformity_k: rectangular(sources.uniformity_k),
    };
    let temperature_k = root_of_squares(&[
        parts.thermometer_k,
        parts.resolution_k,
        parts.spread_k,
        parts.uniformity_k,
    ]);
    let sensitivity = reference_mpa_s * sources.slope_per_k;
    let fluid = sources.fluid_expanded_mpa_s / sources.fluid_coverage_factor;
    let temperature = (sensitivity * temperature_k).abs();
    let resolution = rectangular(range_mpa_s * sources.torque_resolution_percent / 100.0 / 2.0);
    let (repeatability, repeatability_from) = repeatability(sources, range_mpa_s, readings);

    let standard = root_of_squares(&[fluid, temperature, resolution, repeatability]);
    let degrees_of_freedom = match repeatability_from {
        Repeatability::Stated => None,
        Repeatability::Replicates(count) => {
            effective_degrees(standard, &[(repeatability, (count - 1) as f64)])
        }
    };
    let coverage_factor = expansion_factor(degrees_of_freedom)?;
    let expanded = coverage_factor * standard;
    expanded.is_finite().then_some(Budget {
        fluid,
        temperature,
        resolution,
        repeatability,
        repeatability_from,
        temperature_parts: parts,
        temperature_k,
        sensitivity_mpa_s_per_k: sensitivity,
        standard,
        degrees_of_freedom,
        coverage_factor,
        expanded,
    })
}

/// The standard uncertainty of the mean of replicates, and where it was taken from.
fn repeatability(sources: &Sources, range_mpa_s: f64, readings: &[f64]) -> (f64, Repeatability) {
    let count = readings.len();
    let root = (count.max(1) as f64).sqrt();
    let stated = range_mpa_s * sources.repeatability_percent / 100.0 / root;
    match deviation(readings) {
        Some(deviation) if deviation / root > stated => {
            (deviation / root, Repeatability::Replicates(count))
        }
        _ => (stated, Repeatability::Stated),
    }
}

/// The standard deviation of two or more values.
fn deviation(values: &[f64]) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    Some((squares / (values.len() - 1) as f64).sqrt())
}

/// Effective degrees of freedom of a combined standard uncertainty from the parts that have finite ones, each with its own:
/// by Welch and Satterthwaite (JCGM 100, G.4.1), rounded to one decimal and cut to the integer below, at least 1. More than
/// a `u32` holds are told as the most that it holds: a factor of six digits does not tell them apart. `None` where they are
/// infinite.
pub fn effective_degrees(combined: f64, parts: &[(f64, f64)]) -> Option<u32> {
    let sum: f64 = parts
        .iter()
        .map(|(part, degrees)| (part / combined).powi(4) / degrees)
        .sum();
    let degrees = 1.0 / sum;
    let rounded = (degrees * 10.0).round_ties_even() / 10.0;
    degrees
        .is_finite()
        .then(|| rounded.floor().clamp(1.0, f64::from(u32::MAX)) as u32)
}

impl Budget {
    /// The chance that the true deviation lies within the half-width of the limits, both in mPa.s, for a measured one
    /// (JCGM 106, 7.4).
    pub fn conformance_probability(&self, half_width: f64, deviation: f64) -> Option<f64> {
        normal_within(half_width, deviation, self.standard)
    }

    /// The half-width of the limits over the expanded uncertainty; `None` where that is zero.
    pub fn test_uncertainty_ratio(&self, half_width: f64) -> Option<f64> {
        let ratio = half_width / self.expanded;
        ratio.is_finite().then_some(ratio)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn assert_near(computed: f64, expected: f64, within: f64) {
        assert!(
            (computed - expected).abs() <= within,
            "{computed} is not {expected}"
        );
    }

    /// The budget of the worked example: certified 4983 mPa.s with 0.40 % (k = 2), a thermometer of 0.05 K (k = 2), a bath of
    /// +/-0.05 K, 0.1 % resolution.
    fn example(slope_per_k: f64) -> Sources {
        Sources {
            fluid_expanded_mpa_s: 4983.0 * 0.004,
            fluid_coverage_factor: 2.0,
            thermometer_expanded_k: 0.05,
            thermometer_coverage_factor: 2.0,
            thermometer_resolution_k: 0.0,
            spread_k: 0.0,
            uniformity_k: 0.05,
            slope_per_k,
            torque_resolution_percent: 0.1,
            repeatability_percent: 0.0,
        }
    }

    /// Three readings round 4983 with a standard deviation of 12.
    const THREE: [f64; 3] = [4971.0, 4983.0, 4995.0];

    #[test]
    fn the_worked_budget_comes_out() {
        // Worked with an independent library; slope 7 %/K and 2 %/K.
        for (slope, standard, degrees, factor) in [
            (-0.07, 18.2506875527, 96, 2.0264),
            (-0.02, 13.0437274037, 25, 2.1051),
        ] {
            let budget = budget(&example(slope), 4983.0, 10_000.0, &THREE).unwrap();
            assert_near(budget.standard, standard, 1e-9);
            assert_eq!(budget.degrees_of_freedom, Some(degrees));
            assert_near(budget.coverage_factor, factor, 5e-5);
            assert_near(budget.expanded, standard * budget.coverage_factor, 1e-9);
        }
    }

    #[test]
    fn effective_degrees_are_those_of_the_guide() {
        // JCGM 100, G.4.1 (published values from memory, recomputed with another library): relative 0.25, 0.57 and 0.82 % of
        // n = 10, 5, 15 readings make 1.03 % with 19.0 degrees of freedom and U95 = 2.2 %.
        let parts = [(0.25, 9.0), (0.57, 4.0), (0.82, 14.0)];
        let combined = root_of_squares(&[0.25, 0.57, 0.82]);
        assert_near(combined, 1.03, 0.005);
        assert_eq!(effective_degrees(combined, &parts), Some(19));
        let factor = super::super::distribution::coverage_factor(0.95, Some(19)).unwrap();
        assert_near(combined * factor, 2.2, 0.05);
    }

    #[test]
    fn the_end_gauge_of_the_guide_comes_out() {
        // JCGM 100, H.1, published: 25, 9.7, 2.9 and 16.6 nm make 32 nm, with 16 degrees of freedom U99 = 93 nm. The first has
        // 18, the second 25.6, the fourth 2 degrees of freedom (H.1.6). Recomputed from unrounded parts: 31.7106.
        let parts = [25.0, 9.7, 2.9, 16.675];
        let combined = root_of_squares(&parts);
        assert_near(combined, 31.710609640, 2e-4);
        let degrees = effective_degrees(combined, &[(25.0, 18.0), (9.7, 25.6), (16.675, 2.0)]);
        assert_eq!(degrees, Some(16));
        let factor = super::super::distribution::coverage_factor(0.99, degrees).unwrap();
        assert_near(combined * factor, 93.0, 0.5);
    }

    #[test]
    fn degrees_are_rounded_to_a_decimal_before_they_are_cut() {
        // By hand: a part as large as the whole has its own degrees. 18.96 rounds to 19.0, 18.94 to 18.9.
        assert_eq!(effective_degrees(1.0, &[(1.0, 18.96)]), Some(19));
        assert_eq!(effective_degrees(1.0, &[(1.0, 18.94)]), Some(18));
        assert_eq!(effective_degrees(1.0, &[(1.0, 0.2)]), Some(1));
        assert_eq!(effective_degrees(1.0, &[(0.0, 2.0)]), None);
        // 2 over the fourth power: many are not infinite, for there the factor is 2 by definition and not Student's.
        assert_eq!(effective_degrees(1.0, &[(0.01, 2.0)]), Some(200_000_000));
        assert_eq!(effective_degrees(1.0, &[(1e-3, 2.0)]), Some(u32::MAX));
    }

    #[test]
    fn replicates_count_only_where_they_scatter_more_than_stated() {
        let mut sources = example(-0.02);
        sources.repeatability_percent = 0.2;
        // By hand: stated 20 mPa.s over the root of 3 is 11.547; the replicates' 12 over it 6.928.
        let kept = budget(&sources, 4983.0, 10_000.0, &THREE).unwrap();
        assert_eq!(kept.repeatability_from, Repeatability::Stated);
        assert_near(kept.repeatability, 20.0 / 3f64.sqrt(), 1e-9);
        assert_eq!((kept.degrees_of_freedom, kept.coverage_factor), (None, 2.0));
        let alone = budget(&sources, 4983.0, 10_000.0, &[4983.0]).unwrap();
        assert_near(alone.repeatability, 20.0, 1e-12);
        let none = budget(&sources, 4983.0, 10_000.0, &[]).unwrap();
        assert_near(none.repeatability, 20.0, 1e-12);
        sources.repeatability_percent = 0.1;
        let scattered = budget(&sources, 4983.0, 10_000.0, &THREE).unwrap();
        assert_eq!(scattered.repeatability_from, Repeatability::Replicates(3));
        assert_near(scattered.repeatability, 12.0 / 3f64.sqrt(), 1e-9);
    }

    #[test]
    fn each_part_of_the_temperature_has_its_own_shape() {
        let mut sources = example(-0.05);
        sources.thermometer_resolution_k = 0.12;
        sources.spread_k = 0.06;
        let budget = budget(&sources, 1000.0, 2000.0, &[]).unwrap();
        // By hand: 0.05/2; 0.12/sqrt 12; 0.06/2/sqrt 3; 0.05/sqrt 3.
        let parts = budget.temperature_parts;
        assert_near(parts.thermometer_k, 0.025, 1e-15);
        assert_near(parts.resolution_k, 0.0346410161514, 1e-12);
        assert_near(parts.spread_k, 0.0173205080757, 1e-12);
        assert_near(parts.uniformity_k, 0.0288675134595, 1e-12);
        // Their squares: 6.25e-4 + 1.2e-3 + 3e-4 + 8.3333e-4 = 2.95833e-3.
        assert_near(budget.temperature_k, 2.958_333_333_33e-3f64.sqrt(), 1e-12);
        assert_near(budget.sensitivity_mpa_s_per_k, -50.0, 1e-9);
        assert_near(budget.temperature, 50.0 * budget.temperature_k, 1e-12);
        assert_near(budget.resolution, 2.0 / 12f64.sqrt(), 1e-12);
    }

    #[test]
    fn ratio_and_probability_of_a_worked_point() {
        let budget = budget(&example(-0.07), 4983.0, 10_000.0, &THREE).unwrap();
        // 1 % + 1 % of 10000: half-width 149.83. Deviation 137: z = (149.83 - 137)/18.2506875527 = 0.7029873 and -15.716; the
        // share below the first, from scipy 1.17 stats.norm.cdf.
        let within = budget.conformance_probability(149.83, 137.0).unwrap();
        assert_near(within, 0.758_968_3, 2e-6);
        assert_near(
            budget.test_uncertainty_ratio(149.83).unwrap(),
            149.83 / (18.2506875527 * budget.coverage_factor),
            1e-9,
        );
    }

    #[test]
    fn what_cannot_be_had_is_none() {
        let mut sources = example(-0.07);
        sources.fluid_coverage_factor = 0.0;
        assert_eq!(budget(&sources, 4983.0, 10_000.0, &[]), None);
        let mut sources = example(f64::NAN);
        assert_eq!(budget(&sources, 4983.0, 10_000.0, &[]), None);
        sources.slope_per_k = f64::INFINITY;
        assert_eq!(budget(&sources, 4983.0, 10_000.0, &[]), None);
    }

    proptest! {
        #[test]
        fn each_source_adds_to_the_whole(
            slope in -0.2f64..0.0,
            reference in 1f64..1e6,
            shown in 0.1f64..1.0,
            more in 0.0f64..1.0,
        ) {
            let range = reference / shown;
            let plain = budget(&example(slope), reference, range, &[]).unwrap();
            for grow in [
                |sources: &mut Sources, more: f64| sources.spread_k += more,
                |sources: &mut Sources, more: f64| sources.uniformity_k += more,
                |sources: &mut Sources, more: f64| sources.thermometer_resolution_k += more,
                |sources: &mut Sources, more: f64| sources.thermometer_expanded_k += more,
                |sources: &mut Sources, more: f64| sources.fluid_expanded_mpa_s += more,
                |sources: &mut Sources, more: f64| sources.repeatability_percent += more,
                |sources: &mut Sources, more: f64| sources.torque_resolution_percent += more,
            ] {
                let mut sources = example(slope);
                grow(&mut sources, more);
                let grown = budget(&sources, reference, range, &[]).unwrap();
                prop_assert!(grown.standard >= plain.standard);
                prop_assert!(grown.expanded >= plain.expanded);
            }
        }

        #[test]
        fn conformance_falls_with_distance_and_rises_with_the_limits(
            half in 1f64..1000.0,
            one in 0f64..2000.0,
            other in 0f64..2000.0,
            wider in 0f64..1000.0,
        ) {
            let budget = budget(&example(-0.03), 4983.0, 10_000.0, &[]).unwrap();
            let (near, far) = (one.min(other), one.max(other));
            let at = |half: f64, deviation: f64| budget.conformance_probability(half, deviation).unwrap();
            prop_assert!(at(half, near) >= at(half, far));
            prop_assert!(at(half + wider, near) >= at(half, near));
            prop_assert!((at(half, near) - at(half, -near)).abs() < 1e-12);
        }
    }
}
