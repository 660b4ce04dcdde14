//! The risks of a decision over many instruments (JCGM 106, clause 9): how often one that is out of tolerance is accepted, and
//! one that is inside is rejected.

use super::distribution::normal_below;

/// Both shares of all instruments.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GlobalRisk {
    /// Out of tolerance and accepted.
    pub false_accept: f64,
    /// In tolerance and rejected.
    pub false_reject: f64,
}

/// Steps of the integration; an even number.
const STEPS: u32 = 20_000;

/// How many standard deviations of the instruments are integrated over, on either side.
const REACH: f64 = 9.0;

/// The global risks of accepting what reads within `acceptance`, for instruments whose true deviations are normal round zero
/// with `prior_sd`, read with the standard uncertainty `u`, against the tolerance `tolerance`; all half-widths, in one unit.
/// By Simpson's rule. `None` unless all are above zero and numbers.
pub fn global_risk(prior_sd: f64, u: f64, tolerance: f64, acceptance: f64) -> Option<GlobalRisk> {
    let figures = [prior_sd, u, tolerance, acceptance];
    if !figures
        .iter()
        .all(|figure| figure.is_finite() && *figure > 0.0)
    {
        return None;
    }
    let accepted = |true_value: f64| {
        normal_below((acceptance - true_value) / u) - normal_below((-acceptance - true_value) / u)
    };
    let density = |true_value: f64| {
        let z = true_value / prior_sd;
        (-0.5 * z * z).exp() / (prior_sd * (2.0 * std::f64::consts::PI).sqrt())
    };
    let end = (REACH * prior_sd).max(tolerance);
    // Of each side, since both are alike.
    let out = integral(tolerance, end, &|at| density(at) * accepted(at));
    let inside = integral(0.0, tolerance, &|at| density(at) * (1.0 - accepted(at)));
    Some(GlobalRisk {
        false_accept: 2.0 * out,
        false_reject: 2.0 * inside,
    })
}

fn integral(from: f64, to: f64, function: &dyn Fn(f64) -> f64) -> f64 {
    let step = (to - from) / f64::from(STEPS);
    let inner: f64 = (1..STEPS)
        .map(|at| {
            let weight = if at % 2 == 1 { 4.0 } else { 2.0 };
            weight * function(from + step * f64::from(at))
        })
        .sum();
    (function(from) + inner + function(to)) * step / 3.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_normalised_case_comes_out() {
        // 95 % of the instruments in tolerance, ratio 4, no guard; recomputed with scipy: 0.0085826648 and 0.0155365130.
        let prior = 1.0 / 1.959_963_984_540_054;
        let risk = global_risk(prior, 0.125, 1.0, 1.0).unwrap();
        assert!((risk.false_accept - 0.0085826648).abs() < 1e-9);
        assert!((risk.false_reject - 0.0155365130).abs() < 1e-9);
    }

    #[test]
    fn a_guard_band_trades_one_risk_for_the_other() {
        let risk = |acceptance| global_risk(0.5, 0.125, 1.0, acceptance).unwrap();
        for (narrow, wide) in [(0.7, 0.8), (0.8, 0.9), (0.9, 1.0), (1.0, 1.1)] {
            assert!(risk(narrow).false_accept < risk(wide).false_accept);
            assert!(risk(narrow).false_reject > risk(wide).false_reject);
        }
        for figure in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(global_risk(figure, 0.1, 1.0, 1.0), None);
            assert_eq!(global_risk(0.5, figure, 1.0, 1.0), None);
            assert_eq!(global_risk(0.5, 0.1, figure, 1.0), None);
            assert_eq!(global_risk(0.5, 0.1, 1.0, figure), None);
        }
    }
}
