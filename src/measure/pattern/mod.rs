//! What the deviations over the points of one check say together.
//!
//! A zero offset is constant in % of the range, a gain error grows with the torque, and what neither explains is
//! non-linearity ([`pattern`]). What may have caused them is ranked in [`causes`](causes::causes). Nothing here judges.

pub mod causes;
mod evidence;
mod gauss;
mod hypotheses;
#[cfg(test)]
mod seeded;
mod words;

pub use causes::{Cause, Indistinct, Kind, Ranked, Size, causes};
pub use evidence::{
    Density, DensityFrom, Elsewhere, Evidence, GeometryKind, LastGood, OtherGeometry, Reading,
    Witness, means,
};

use super::exact::Exact;

/// What a check showed at one speed, replicates by their mean. Figures in mPa.s, unrounded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mean {
    pub reading_mpa_s: f64,
    pub reference_mpa_s: f64,
    pub range_mpa_s: f64,
}

impl Mean {
    /// The torque that the reference should show, in % of full scale.
    pub fn expected_torque_percent(&self) -> f64 {
        100.0 * self.reference_mpa_s / self.range_mpa_s
    }

    /// In % of the full-scale range.
    pub fn deviation_of_range_percent(&self) -> f64 {
        100.0 * (self.reading_mpa_s - self.reference_mpa_s) / self.range_mpa_s
    }

    /// In % of the reference.
    pub fn deviation_percent(&self) -> f64 {
        100.0 * (self.reading_mpa_s - self.reference_mpa_s) / self.reference_mpa_s
    }

    fn is_usable(&self) -> bool {
        self.reference_mpa_s > 0.0
            && self.range_mpa_s > 0.0
            && self.range_mpa_s.is_finite()
            && self.expected_torque_percent().is_finite()
            && self.deviation_of_range_percent().is_finite()
    }
}

/// The line through the deviations in % of range against the expected torque in %, by least squares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pattern {
    /// Where the line meets no torque, in % of full scale.
    pub zero_offset_percent: f64,
    /// The slope, in % of the value.
    pub gain_error_percent: f64,
    /// The largest distance of a point from the line, in % of full scale; none to speak of with two points.
    pub non_linearity_percent: f64,
}

/// The pattern over the speeds of a check, unrounded. `None` with fewer than two expected torques, and where a figure cannot
/// be used: no number, or a reference or a range that is not above zero.
pub fn pattern(means: &[Mean]) -> Option<Pattern> {
    if !means.iter().all(Mean::is_usable) {
        return None;
    }
    let mut points: Vec<(f64, f64)> = means
        .iter()
        .map(|mean| {
            (
                mean.expected_torque_percent(),
                mean.deviation_of_range_percent(),
            )
        })
        .collect();
    // Sums of doubles depend on their order, and the order of the points is of no matter.
    points.sort_by(|one, other| one.0.total_cmp(&other.0).then(one.1.total_cmp(&other.1)));
    if points.first()?.0 == points.last()?.0 {
        return None;
    }
    let count = points.len() as f64;
    let mean_of = |figure: fn(&(f64, f64)) -> f64| points.iter().map(figure).sum::<f64>() / count;
    let (torque, deviation) = (mean_of(|point| point.0), mean_of(|point| point.1));
    let squares: f64 = points.iter().map(|point| (point.0 - torque).powi(2)).sum();
    let products: f64 = points
        .iter()
        .map(|point| (point.0 - torque) * (point.1 - deviation))
        .sum();
    let slope = products / squares;
    let intercept = deviation - slope * torque;
    let residuals = points
        .iter()
        .map(|point| (point.1 - intercept - slope * point.0).abs());
    let pattern = Pattern {
        zero_offset_percent: intercept,
        gain_error_percent: 100.0 * slope,
        non_linearity_percent: residuals.fold(0.0, f64::max),
    };
    let figures = [
        pattern.zero_offset_percent,
        pattern.gain_error_percent,
        pattern.non_linearity_percent,
    ];
    figures.iter().all(|f| f.is_finite()).then_some(pattern)
}

/// The deviation of a check in % of the value, as one figure: the line through no torque and no deviation, by least squares.
/// It is what checks with one lot on several instruments have in common. `None` where no figure can be used.
pub fn proportional_percent(means: &[Mean]) -> Option<f64> {
    let usable = means.iter().filter(|mean| mean.is_usable());
    let (mut products, mut squares) = (0.0, 0.0);
    for mean in usable {
        let torque = mean.expected_torque_percent();
        products += torque * mean.deviation_of_range_percent();
        squares += torque * torque;
    }
    let share = 100.0 * products / squares;
    share.is_finite().then_some(share)
}

/// One reading (or the mean of replicates) with the certified value, moved where the basis is corrected, and the range.
/// In mPa.s, unrounded.
#[derive(Clone, Copy, Debug)]
pub struct Compared<'a> {
    pub reading: &'a Exact,
    pub reference: &'a Exact,
    pub range: &'a Exact,
}

/// How far the points lie from the certified value and from the label's nominal one: the root mean square of the deviations,
/// in % of range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LabelFit {
    pub to_certified_percent: f64,
    pub to_nominal_percent: f64,
}

/// Doubles settle it for most checks: exact sums are dear, and only what is near a third needs them.
fn is_clearly_nearer_to_certified(
    points: &[Compared<'_>],
    certified: &Exact,
    nominal: &Exact,
) -> bool {
    let share = || Some(nominal.to_f64_about()? / certified.to_f64_about()?);
    let Some(share) = share() else {
        return false;
    };
    let (mut to_certified, mut to_nominal) = (0.0, 0.0);
    for point in points {
        let figures = [point.reading, point.reference, point.range].map(Exact::to_f64_about);
        let [Some(reading), Some(reference), Some(range)] = figures else {
            return false;
        };
        // Where figures hardly differ, their doubles may differ by chance.
        let unsure = (reading.abs() + reference.abs() * (1.0 + share.abs())) * 1e-12;
        let certified = (reading - reference).abs() + unsure;
        let nominal = ((reading - reference * share).abs() - unsure).max(0.0);
        to_certified += (certified / range).powi(2);
        to_nominal += (nominal / range).powi(2);
    }
    to_nominal * 9.0 > to_certified * 1.01
}

/// Whether the points fit the label's nominal value far better than the certified one: the root mean square to nominal is
/// under a third of that to certified, and the two values lie more than twice the expanded uncertainty apart. Then the two
/// figures, else `None`. All in mPa.s; a reading exactly on the third is not under it.
///
/// The nominal value is moved as the reference was, in proportion.
pub fn nominal_fits_better(
    points: &[Compared<'_>],
    certified: &Exact,
    nominal: &Exact,
    expanded_uncertainty: &Exact,
) -> Option<LabelFit> {
    let apart = (certified - nominal).abs();
    if apart <= expanded_uncertainty * Exact::integer(2) || points.is_empty() {
        return None;
    }
    if is_clearly_nearer_to_certified(points, certified, nominal) {
        return None;
    }
    let share = nominal.divide(certified)?;
    let (mut to_certified, mut to_nominal, mut nearer) = (0.0, 0.0, 0.0);
    for point in points {
        let square = |reference: &Exact| {
            let deviation = point.reading - reference;
            &deviation * &deviation
        };
        let certified = square(point.reference);
        let nominal = square(&(point.reference * &share));
        // Exact as long as one figure decides: sums over ranges with pi in them would have no end of digits.
        let weight = (100.0 / point.range.to_f64()).powi(2);
        nearer += weight * (&certified - &nominal * Exact::integer(9)).to_f64();
        to_certified += weight * certified.to_f64();
        to_nominal += weight * nominal.to_f64();
    }
    let root = |sum: f64| (sum / points.len() as f64).sqrt();
    let fit = LabelFit {
        to_certified_percent: root(to_certified),
        to_nominal_percent: root(to_nominal),
    };
    let known = fit.to_certified_percent.is_finite() && fit.to_nominal_percent.is_finite();
    (known && nearer > 0.0).then_some(fit)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn x(text: &str) -> Exact {
        Exact::parse(text).unwrap()
    }

    /// On a range of 100, so that mPa.s are % of range.
    fn mean(expected: f64, read: f64) -> Mean {
        Mean {
            reading_mpa_s: read,
            reference_mpa_s: expected,
            range_mpa_s: 100.0,
        }
    }

    fn of(points: &[(f64, f64)]) -> Option<Pattern> {
        let means: Vec<Mean> = points
            .iter()
            .map(|(expected, read)| mean(*expected, *read))
            .collect();
        pattern(&means)
    }

    fn near(left: f64, right: f64, within: f64) -> bool {
        (left - right).abs() <= within
    }

    #[test]
    fn patterns_of_three_points() {
        // Offsets, gains and largest residuals, recomputed with numpy.polyfit; the last by hand: the middle lies 0.0667 off.
        for (read, offset, gain, residual) in [
            ([25.5, 50.5, 75.5], 0.5, 0.0, 0.0),
            ([24.5, 49.0, 73.5], 0.0, -2.0, 0.0),
            ([25.0, 49.5, 74.0], 0.5, -2.0, 0.0),
            ([24.2, 49.4, 74.5], -0.9333, 0.60, 0.0333),
        ] {
            let points = [(25.0, read[0]), (50.0, read[1]), (75.0, read[2])];
            let found = of(&points).unwrap();
            assert!(near(found.zero_offset_percent, offset, 5e-5), "{found:?}");
            assert!(near(found.gain_error_percent, gain, 1e-9), "{found:?}");
            assert!(
                near(found.non_linearity_percent, residual, 5e-5),
                "{found:?}"
            );
        }
    }

    #[test]
    fn two_points_have_no_residual_and_one_no_pattern() {
        // By hand: -0.5 at 20 and -1.5 at 60.
        let two = of(&[(20.0, 19.5), (60.0, 58.5)]).unwrap();
        assert!(near(two.zero_offset_percent, 0.0, 1e-12));
        assert!(near(two.gain_error_percent, -2.5, 1e-12));
        assert!(near(two.non_linearity_percent, 0.0, 1e-12));
        assert_eq!(of(&[(20.0, 19.5)]), None);
        assert_eq!(of(&[(20.0, 19.5), (20.0, 19.7)]), None);
        assert_eq!(of(&[]), None);
    }

    #[test]
    fn figures_that_give_no_pattern() {
        for bad in [0.0, -5.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(of(&[(20.0, 19.5), (bad, 19.7)]), None, "{bad}");
            let range = Mean {
                range_mpa_s: bad,
                ..mean(20.0, 19.5)
            };
            assert_eq!(pattern(&[mean(50.0, 50.0), range]), None, "{bad}");
        }
        assert_eq!(of(&[(20.0, 19.5), (40.0, f64::NAN)]), None);
        assert_eq!(of(&[(20.0, 1e308), (40.0, -1e308)]), None);
    }

    #[test]
    fn deviations_of_a_mean() {
        // By hand: 3.4 of 512.6 is 0.663 %, of 2400 0.1417 %; 512.6 is 21.358 % of 2400.
        let mean = Mean {
            reading_mpa_s: 516.0,
            reference_mpa_s: 512.6,
            range_mpa_s: 2400.0,
        };
        assert!(near(mean.deviation_percent(), 0.66329, 1e-5));
        assert!(near(mean.deviation_of_range_percent(), 0.14167, 1e-5));
        assert!(near(mean.expected_torque_percent(), 21.35833, 1e-5));
        // -2 % at 25 and 0 % at 50 make, by hand, 100 x (25 x -0.5) / (25^2 + 50^2).
        let share = proportional_percent(&[self::mean(25.0, 24.5), self::mean(50.0, 50.0)]);
        assert!(near(share.unwrap(), -0.4, 1e-12));
        assert_eq!(proportional_percent(&[]), None);
    }

    /// The points that read so, of a lot certified at 512.6 and labelled 500, on ranges of 2400 and 1200.
    fn label(readings: [&str; 2], expanded_uncertainty: &str) -> Option<LabelFit> {
        let (certified, nominal) = (x("512.6"), x("500"));
        let [one, other] = readings.map(x);
        let (slow, fast) = (x("2400"), x("1200"));
        let points = [(&one, &slow), (&other, &fast)].map(|(reading, range)| Compared {
            reading,
            reference: &certified,
            range,
        });
        nominal_fits_better(&points, &certified, &nominal, &x(expanded_uncertainty))
    }

    #[test]
    fn readings_that_fit_the_label() {
        let fit = label(["500.0", "500.0"], "2.05").unwrap();
        // By hand: 12.6 of 2400 and of 1200 are 0.525 % and 1.05 %.
        assert!(near(fit.to_certified_percent, (0.689_06_f64).sqrt(), 1e-5));
        assert_eq!(fit.to_nominal_percent, 0.0);
        assert_eq!(label(["512.6", "512.6"], "2.05"), None);
    }

    #[test]
    fn a_third_is_not_under_a_third() {
        // 503.15 lies 3.15 from the label's and 9.45 from the certified value; exactly a third.
        assert_eq!(label(["503.15", "503.15"], "2.05"), None);
        assert!(label(["503.14", "503.15"], "2.05").is_some());
        // 496.85 is as far from the label, and farther from the certified value.
        assert!(label(["496.85", "496.85"], "2.05").is_some());
        // The root mean square, not each: 0 and 4.2 on their ranges against 12.6 and 8.4.
        assert_eq!(label(["500", "504.2"], "2.05"), None);
        assert!(label(["504.2", "500"], "2.05").is_some());
    }

    #[test]
    fn values_that_the_certificate_does_not_tell_apart() {
        // The two lie 12.6 apart: twice 6.3, no more.
        assert_eq!(label(["500", "500"], "6.3"), None);
        assert!(label(["500", "500"], "6.29").is_some());
        assert_eq!(
            nominal_fits_better(&[], &x("512.6"), &x("500"), &x("2")),
            None
        );
        let compared = Compared {
            reading: &x("500"),
            reference: &x("512.6"),
            range: &x("0"),
        };
        assert_eq!(
            nominal_fits_better(&[compared], &x("512.6"), &x("500"), &x("2")),
            None
        );
        assert_eq!(
            nominal_fits_better(&[compared], &x("0"), &x("500"), &x("2")),
            None
        );
    }

    #[test]
    fn the_label_moves_with_the_reference() {
        // The reference at another temperature is 1 % less, and so is the label's value: 495.
        let reference = x("512.6") * x("0.99");
        let compared = Compared {
            reading: &x("495"),
            reference: &reference,
            range: &x("2400"),
        };
        let fit = nominal_fits_better(&[compared], &x("512.6"), &x("500"), &x("2")).unwrap();
        assert!(near(fit.to_nominal_percent, 0.0, 1e-12));
    }

    #[test]
    fn figures_of_many_digits_are_told_apart() {
        // Doubles hold 15 to 17 digits: which of two such neighbours is nearer they cannot say.
        for (nominal, certified) in [
            ("433.72154230415614", "433.72154230415606"),
            ("425.33382274103802", "425.33382274103790"),
            ("490.88544365128327", "490.88544365128324"),
            ("457.46595818690752", "457.46595818690749"),
            ("410.08579486605052", "410.08579486605043"),
        ] {
            let (nominal, certified, range) = (x(nominal), x(certified), x("2400"));
            let fits = |reading| {
                let points = [Compared {
                    reading,
                    reference: &certified,
                    range: &range,
                }];
                nominal_fits_better(&points, &certified, &nominal, &x("1e-20")).is_some()
            };
            assert!(fits(&nominal));
            assert!(!fits(&certified));
        }
    }

    proptest! {
        /// Near a third and near the last digits of doubles: what they settle, exact sums say too. On one range, which then
        /// does not matter.
        #[test]
        fn doubles_settle_what_exact_sums_say(
            certified in 1_i64..1_000_000, apart in -1000_i64..1000, digits in 0_i64..18,
            readings in prop::collection::vec((-20_i64..20, -3_i64..3), 1..4),
        ) {
            let step = x(&format!("1e-{digits}"));
            let certified = Exact::integer(certified);
            let nominal = &certified + Exact::integer(apart) * &step;
            let share = nominal.divide(&certified).unwrap();
            // In quarters of the way from the certified value to the label's, and a little more or less.
            let readings: Vec<Exact> = readings
                .iter()
                .map(|(quarters, off)| {
                    let way = (&nominal - &certified) * Exact::hundredths(25 * quarters);
                    &certified + way + Exact::integer(*off) * &step * x("1e-3")
                })
                .collect();
            let range = x("2400");
            let points: Vec<Compared<'_>> = readings
                .iter()
                .map(|reading| Compared { reading, reference: &certified, range: &range })
                .collect();
            let nearer = readings.iter().fold(Exact::zero(), |sum, reading| {
                let square = |at: &Exact| (reading - at) * (reading - at);
                sum + square(&certified) - square(&(&certified * &share)) * Exact::integer(9)
            });
            let settled = is_clearly_nearer_to_certified(&points, &certified, &nominal);
            prop_assert!(!settled || !nearer.is_positive());
        }

        #[test]
        fn the_order_of_the_points_is_of_no_matter(
            points in prop::collection::vec((1.0..100.0_f64, 1.0..100.0_f64), 0..8),
            turn in 0_usize..8,
        ) {
            let mut turned = points.clone();
            turned.rotate_left(turn.min(points.len()));
            turned.reverse();
            prop_assert_eq!(of(&points), of(&turned));
        }

        #[test]
        fn offset_and_gain_go_with_the_deviations(
            points in prop::collection::vec((10.0..100.0_f64, -3.0..3.0_f64), 2..8),
            times in -4.0..4.0_f64,
        ) {
            let at = |times: f64| {
                let points: Vec<(f64, f64)> = points.iter().map(|(p, e)| (*p, p + times * e)).collect();
                of(&points)
            };
            let torques: Vec<f64> = points.iter().map(|point| point.0).collect();
            let spread = torques.iter().copied().fold(0.0, f64::max)
                - torques.iter().copied().fold(100.0, f64::min);
            prop_assume!(spread > 1.0);
            let (once, scaled) = (at(1.0).unwrap(), at(times).unwrap());
            prop_assert!(near(scaled.zero_offset_percent, times * once.zero_offset_percent, 1e-6));
            prop_assert!(near(scaled.gain_error_percent, times * once.gain_error_percent, 1e-6));
            prop_assert!(near(scaled.non_linearity_percent, times.abs() * once.non_linearity_percent, 1e-6));
        }

        #[test]
        fn nothing_breaks_on_any_number(
            figures in prop::collection::vec(prop::num::f64::ANY, 0..18),
            known in prop::collection::vec(prop::option::of(prop::num::f64::ANY), 12),
            usual in prop::bool::ANY,
        ) {
            let readings: Vec<Reading> = figures
                .chunks_exact(4)
                .map(|row| Reading {
                    speed_rpm: if usual { 12.0 } else { row[3] },
                    reading_mpa_s: row[0],
                    reference_mpa_s: if usual { 500.0 } else { row[1] },
                    range_mpa_s: if usual { 1000.0 } else { row[2] },
                    temperature_c: Some(row[3]),
                })
                .collect();
            let other = known[0].zip(known[1]).map(|(gain_percent, gain_uncertainty_percent)| Elsewhere {
                checks: 1,
                gain_percent,
                gain_uncertainty_percent,
                offset_percent: known[2].zip(known[3]),
            });
            let evidence = Evidence {
                scatter_percent: known[4],
                shared_percent: known[5],
                beta_per_k: known[6],
                certified_mpa_s: known[7],
                nominal_mpa_s: known[8],
                density: known[9].map(|g_ml| Density {
                    g_ml,
                    from: DensityFrom::Certificate,
                    in_reference: usual,
                }),
                other_geometries: known[10]
                    .map(|range_ratio| OtherGeometry { name: "C-2".to_owned(), range_ratio })
                    .into_iter()
                    .collect(),
                speeds_rpm: figures.clone(),
                laminar_limit_rpm: known[11],
                zero_percent: known[0],
                zero_limit_percent: known[1],
                soak_minutes: known[2],
                soak_asked_minutes: known[3],
                days_in_use: known[4],
                days_in_use_allowed: known[5],
                unstable: usual,
                witness: Witness {
                    lot_that_day: other,
                    lots_here: other,
                    last_good: Some(LastGood { means: means(&readings), same_lot: usual }),
                    ..Witness::default()
                },
                readings,
                ..Evidence::default()
            };
            let ranked = causes(&evidence);
            let shares: f64 = ranked.causes.iter().map(|cause| cause.share).sum();
            prop_assert!((0.0..=1.000001).contains(&shares), "{shares}");
            for cause in &ranked.causes {
                let message = cause.message();
                prop_assert!(!message.contains("NaN") && !message.contains("inf"), "{message}");
            }
        }
    }
}
