//! Probabilities: the normal, Student's and the beta distribution, as uncertainty, control charts and shares of results
//! need them.

use statrs::distribution::{Beta, Continuous, ContinuousCDF, Normal, StudentsT};
use statrs::function::beta::checked_beta_reg;

/// The coverage of an expanded uncertainty in this edition of the method: the share of a normal distribution within two
/// standard deviations, to four digits (JCGM 100, G.3).
pub const COVERAGE: f64 = 0.9545;

/// The share of a standard normal distribution below `z`.
pub fn normal_below(z: f64) -> f64 {
    0.5 * statrs::function::erf::erfc(-z / std::f64::consts::SQRT_2)
}

/// The share of a normal distribution of mean `mean` and standard deviation `sd` within `half_width` of zero, all in one
/// unit. With `sd` zero it is 1 inside or on the limits, else 0. `None` for what is no number or a negative spread.
///
/// Conformance probability of JCGM 106, 7.4.
pub fn normal_within(half_width: f64, mean: f64, sd: f64) -> Option<f64> {
    if !(half_width.is_finite() && mean.is_finite() && sd.is_finite()) || sd < 0.0 {
        return None;
    }
    if sd == 0.0 {
        return Some(f64::from(u8::from(mean.abs() <= half_width)));
    }
    // By symmetry of the side on which the mean lies, so that a small share is no difference of two large ones.
    let mean = mean.abs();
    let share = normal_below((half_width - mean) / sd) - normal_below((-half_width - mean) / sd);
    Some(share.clamp(0.0, 1.0))
}

/// Student's factor for a two-sided coverage between 0 and 1 with whole degrees of freedom, normal where there are `None`
/// (infinitely many). `None` for zero degrees of freedom and for no coverage between 0 and 1.
///
/// JCGM 100, table G.2.
pub fn coverage_factor(coverage: f64, degrees_of_freedom: Option<u32>) -> Option<f64> {
    if !(coverage > 0.0 && coverage < 1.0) {
        return None;
    }
    let below = 0.5 + coverage / 2.0;
    match degrees_of_freedom {
        Some(0) => None,
        Some(degrees) if degrees > MANY_DEGREES => {
            Some(expanded_about(normal_quantile(below)?, f64::from(degrees)))
        }
        Some(degrees) => {
            let student = StudentsT::new(0.0, 1.0, f64::from(degrees)).ok()?;
            polished(&student, below)
        }
        None => normal_quantile(below),
    }
}

fn normal_quantile(below: f64) -> Option<f64> {
    polished(&Normal::new(0.0, 1.0).ok()?, below)
}

/// Above so many degrees of freedom the library's incomplete beta function loses digits, and in the end does not come back.
const MANY_DEGREES: u32 = 10_000;

/// Student's quantile from the normal one, for many degrees of freedom (Abramowitz and Stegun, 26.7.5).
fn expanded_about(z: f64, degrees: f64) -> f64 {
    let square = z * z;
    let terms = [
        (square + 1.0) / 4.0,
        ((5.0 * square + 16.0) * square + 3.0) / 96.0,
        (((3.0 * square + 19.0) * square + 17.0) * square - 15.0) / 384.0,
        ((((79.0 * square + 776.0) * square + 1482.0) * square - 1920.0) * square - 945.0)
            / 92_160.0,
    ];
    let last_first = terms.iter().rev();
    z * (1.0 + last_first.fold(0.0, |sum, term| (sum + term) / degrees))
}

/// The factor by which a standard uncertainty is expanded: Student's for a coverage of 95.45 %, and 2 where the degrees of
/// freedom are `None` (infinitely many), which is what this coverage means. `None` for zero degrees of freedom.
pub fn expansion_factor(degrees_of_freedom: Option<u32>) -> Option<f64> {
    match degrees_of_freedom {
        None => Some(2.0),
        Some(_) => coverage_factor(COVERAGE, degrees_of_freedom),
    }
}

/// The value below which the share `below` of a beta distribution lies, for shapes above zero that are a hundred thousand
/// together at most: beyond, the library's incomplete beta function loses its digits. `None` for other shapes, and for a
/// share that is not between 0 and 1.
pub fn beta_quantile(below: f64, shape_a: f64, shape_b: f64) -> Option<f64> {
    if !(below > 0.0 && below < 1.0 && shape_a + shape_b <= 1e5) {
        return None;
    }
    let distribution = Beta::new(shape_a, shape_b).ok()?;
    // Newton's rule between bounds that close in: the library's own quantile keeps fewer digits.
    let (mut low, mut high) = (0.0, 1.0);
    let mut quantile = shape_a / (shape_a + shape_b);
    for _ in 0..200 {
        let excess = checked_beta_reg(shape_a, shape_b, quantile).ok()? - below;
        if excess > 0.0 {
            high = quantile;
        } else {
            low = quantile;
        }
        let mut next = quantile - excess / distribution.pdf(quantile);
        if !(next > low && next < high) {
            next = f64::midpoint(low, high);
        }
        let moved = (next - quantile).abs();
        quantile = next;
        if moved <= 1e-15 * quantile {
            break;
        }
    }
    quantile.is_finite().then_some(quantile)
}

/// The quantile of the library, brought to the last digits by Newton's rule on its own distribution function.
fn polished<D>(distribution: &D, below: f64) -> Option<f64>
where
    D: ContinuousCDF<f64, f64> + Continuous<f64, f64>,
{
    let mut quantile = distribution.inverse_cdf(below);
    for _ in 0..8 {
        // The upper tail holds more digits than the share below.
        let step = (distribution.sf(quantile) - (1.0 - below)) / distribution.pdf(quantile);
        if !step.is_finite() {
            break;
        }
        quantile += step;
        if step.abs() <= 1e-14 * quantile.abs() {
            break;
        }
    }
    quantile.is_finite().then_some(quantile)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn assert_near(computed: f64, expected: f64, within: f64) {
        assert!(
            (computed - expected).abs() <= within,
            "{computed} is not {expected}"
        );
    }

    #[test]
    fn student_factors_are_those_of_the_guide() {
        // JCGM 100 (GUM), table G.2, as printed, to two decimals.
        for (coverage, degrees, printed) in [
            (0.9545, 1, 13.97),
            (0.9545, 2, 4.53),
            (0.9545, 5, 2.65),
            (0.9545, 10, 2.28),
            (0.9545, 50, 2.05),
            (0.99, 16, 2.92),
            (0.95, 19, 2.09),
        ] {
            let factor = coverage_factor(coverage, Some(degrees)).unwrap();
            assert_near(factor, printed, 0.005);
        }
        // At infinity the table prints 2.000 for 95.45 %.
        assert_eq!(expansion_factor(None), Some(2.0));
    }

    #[test]
    fn student_factors_agree_with_another_library() {
        // Quantiles solved with mpmath 1.4.1 at 40 digits, from its incomplete beta and inverse error functions.
        for (coverage, degrees, expected) in [
            (0.9545, Some(1), 13.967811487502577),
            (0.9545, Some(3), 3.3068299207201116),
            (0.9545, Some(16), 2.1689429956774147),
            (0.9545, Some(25), 2.105_090_599_989_558),
            (0.9545, Some(96), 2.026_379_751_201_226),
            (0.9545, Some(1000), 2.002_505_517_218_673),
            (0.9545, Some(9_999), 2.000_252_500_330_589_7),
            (0.9545, Some(10_001), 2.000_252_450_318_178_6),
            (0.9545, Some(1_000_000), 2.000_004_943_910_609),
            (0.9545, Some(u32::MAX), 2.000_002_444_481_682_4),
            (0.99, Some(16), 2.9207816224251),
            (0.95, Some(19), 2.0930240544083098),
            (0.9973, Some(5), 5.506_984_967_354_847),
            (0.95, None, 1.9599639845400542),
            (0.99, None, 2.575_829_303_548_901),
        ] {
            let factor = coverage_factor(coverage, degrees).unwrap();
            assert_near(factor, expected, 1e-11 * expected);
        }
    }

    #[test]
    fn normal_shares_are_those_of_the_guide() {
        // JCGM 106, table 1 (published numbers from memory, recomputed with scipy): share below z.
        for (share, z) in [
            (0.80, 0.84),
            (0.90, 1.28),
            (0.95, 1.64),
            (0.99, 2.33),
            (0.999, 3.09),
        ] {
            let factor = coverage_factor(2.0 * share - 1.0, None).unwrap();
            assert_near(factor, z, 0.005);
            assert_near(normal_below(factor), share, 1e-14);
        }
        // JCGM 106, 7.4: tolerance 12.5 to 16.3, measured 13.6, u 1.8: printed 0.66 (from memory), scipy 0.6626297865.
        let within = normal_within((16.3 - 12.5) / 2.0, 13.6 - 14.4, 1.8).unwrap();
        assert_near(within, 0.6626297865, 1e-10);
        // JCGM 106, one-sided: limit -5.40, measured -5.47, u 0.05: printed 0.92 (from memory), scipy 0.9192433408.
        assert_near(normal_below((-5.40 + 5.47) / 0.05), 0.9192433408, 1e-10);
    }

    #[test]
    fn beta_quantiles_agree_with_another_library() {
        // mpmath 1.4.1 at 30 digits, from its incomplete beta function; the two last by symmetry.
        for (below, shape_a, shape_b, expected) in [
            (0.05, 18.0, 3.0, 0.7173814751141391),
            (0.95, 19.0, 2.0, 0.9819347969145814),
            (0.025, 2.0, 30.0, 0.007910983461854709),
            (0.05, 2.0, 5.0, 0.06284989170835438),
            (0.95, 3.0, 4.0, 0.7286616274802475),
            (0.5, 0.5, 0.5, 0.5),
            (0.5, 4e4, 4e4, 0.5),
        ] {
            let quantile = beta_quantile(below, shape_a, shape_b).unwrap();
            assert_near(quantile, expected, 1e-12 * expected);
        }
    }

    #[test]
    fn what_is_no_probability_has_none() {
        assert_eq!(coverage_factor(0.95, Some(0)), None);
        for coverage in [0.0, 1.0, -1.0, f64::NAN, 2.0] {
            assert_eq!(coverage_factor(coverage, Some(3)), None);
            assert_eq!(coverage_factor(coverage, None), None);
        }
        for below in [0.0, 1.0, -1.0, f64::NAN] {
            assert_eq!(beta_quantile(below, 2.0, 3.0), None);
        }
        for shape in [0.0, -1.0, 1e5, f64::NAN, f64::INFINITY] {
            assert_eq!(beta_quantile(0.5, shape, 3.0), None);
            assert_eq!(beta_quantile(0.5, 3.0, shape), None);
        }
        assert_eq!(normal_within(1.0, 0.0, -1.0), None);
        assert_eq!(normal_within(f64::NAN, 0.0, 1.0), None);
        assert_eq!(normal_within(1.0, 1.0, 0.0), Some(1.0));
        assert_eq!(normal_within(1.0, -1.1, 0.0), Some(0.0));
    }
}
