//! One check: every figure of every point, and the verdict.

use super::FIGURE_DIGITS;
use super::exact::Exact;
use super::limits::{
    Limits, deviation_of_range_percent, deviation_percent, half_width, relative_band_percent,
};
use super::range::{Geometry, reading_from_torque, torque_from_reading};
use super::temperature::{CertifiedRow, Correction, Curve, correction, nearest_row, slope_per_k};
use super::uncertainty::{Budget, Sources, budget};
use super::zone::{Zone, ZoneBounds, zone};

/// What a reading is compared with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// The certified value.
    Certified,
    /// The certified value moved to the measured temperature.
    Corrected,
}

/// By which rule a reading inside or outside the limits is decided upon (ILAC-G8, JCGM 106).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decision {
    /// The limits alone.
    Simple,
    /// Pass within the acceptance limits, which lie inside the limits by the expanded uncertainty.
    Guarded,
    /// As guarded, with a conditional pass up to the limits and a conditional fail as far outside them.
    GuardedFourWay,
}

/// What the policy of the check asks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PolicyFigures {
    /// Half-width allowed in % of the reference ...
    pub fluid_percent: Exact,
    /// ... plus in % of the full-scale range.
    pub range_percent: Exact,
    /// How far from the certified temperature a reference may be moved, in K.
    pub window_k: Exact,
    pub basis: Basis,
    pub decision: Decision,
    pub zones: ZoneBounds,
}

/// What certificates and records state of uncertainty. What is not known is `None`, and then there is no budget.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Stated {
    /// For each certified row the expanded uncertainty in mPa.s and its coverage factor.
    pub fluid: Vec<Option<(f64, f64)>>,
    /// The thermometer's expanded uncertainty in K and its coverage factor.
    pub thermometer: Option<(f64, f64)>,
    pub thermometer_resolution_k: Option<f64>,
    /// Of the bath; zero where none is named.
    pub uniformity_k: Option<f64>,
    /// In % of full scale.
    pub torque_resolution_percent: Option<f64>,
    /// In % of the full-scale range.
    pub repeatability_percent: Option<f64>,
}

/// One row of the check, as recorded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PointFigures {
    pub speed_rpm: Exact,
    pub torque_percent: Option<Exact>,
    pub viscosity_mpa_s: Option<Exact>,
    /// As shown by the thermometer, in degrees C.
    pub temperature_c: Option<Exact>,
    /// Whether the instrument showed no figure (over-range, nothing, unstable).
    pub shown: bool,
}

/// A check with what it names.
#[derive(Clone, Copy, Debug)]
pub struct Subject<'a> {
    pub points: &'a [PointFigures],
    pub geometry: Option<&'a Geometry>,
    pub full_scale_torque_un_m: Option<&'a Exact>,
    /// The certified rows of the fluid, ascending by temperature.
    pub rows: &'a [CertifiedRow],
    /// The thermometer's corrections; `None` where its calibration is unknown, so that no temperature can be had.
    pub corrections: Option<&'a [Correction]>,
    pub stated: &'a Stated,
    pub policy: &'a PolicyFigures,
}

/// From the mildest to the worst.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Verdict {
    Pass,
    ConditionalPass,
    ConditionalFail,
    Fail,
}

impl Verdict {
    /// A conditional fail is a fail, a conditional pass is none.
    pub fn is_fail(self) -> bool {
        self >= Verdict::ConditionalFail
    }
}

/// What a check comes to. A figure that cannot be had is `None`, with all that rests on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// The certified row nearest the mean corrected temperature; without points the first.
    pub row: Option<usize>,
    /// The corrected temperature of each point in degrees C.
    pub corrected_c: Vec<Option<Exact>>,
    /// The mean of the corrected temperatures that are known.
    pub mean_c: Option<Exact>,
    /// The certified value, or with basis corrected that at the mean temperature; 6 significant digits.
    pub reference_mpa_s: Option<Exact>,
    /// In the order of the points of the check.
    pub points: Vec<JudgedPoint>,
    /// The worst of the points'; `None` without points and where one of theirs is.
    pub verdict: Option<Verdict>,
}

/// What a point comes to. Replicates (points of equal speed) share range, reference, zone and limits.
#[derive(Clone, Debug, PartialEq)]
pub struct JudgedPoint {
    pub zone: Option<Zone>,
    /// 6 significant digits.
    pub range_mpa_s: Option<Exact>,
    /// In mPa.s, unrounded.
    pub range_unrounded: Option<Exact>,
    /// As shown, else from the reading, unrounded.
    pub torque_percent: Option<Exact>,
    /// As shown, else from the torque and the unrounded range.
    pub reading_mpa_s: Option<Exact>,
    /// 6 significant digits.
    pub reference_mpa_s: Option<Exact>,
    /// In mPa.s, unrounded.
    pub reference_unrounded: Option<Exact>,
    /// In mPa.s, 6 significant digits, rounded once from unrounded figures.
    pub lower: Option<Exact>,
    /// In mPa.s, 6 significant digits, rounded once from unrounded figures.
    pub upper: Option<Exact>,
    /// In mPa.s, unrounded.
    pub half_width: Option<Exact>,
    /// Of the point's own reading, in % of the reference, 2 decimals; none where no figure was shown.
    pub deviation_percent: Option<Exact>,
    /// The torque that the reference should show, unrounded; the zone goes by it.
    pub expected_torque_percent: Option<Exact>,
    /// The mean of the replicates that showed a figure, in mPa.s, unrounded; of a point that showed none, none.
    pub replicate_mean: Option<Exact>,
    /// What a guarded decision goes by; none with a simple one.
    pub guarded: Option<Box<Guarded>>,
    /// The mean's, or fail where no figure was shown.
    pub verdict: Option<Verdict>,
}

impl JudgedPoint {
    /// Of the point's own reading, in % of the full-scale range, 2 decimals; none where no figure was shown.
    pub fn deviation_of_range_percent(&self) -> Option<Exact> {
        self.deviation_percent.as_ref()?;
        let reference = self.reference_unrounded.as_ref()?;
        let range = self.range_unrounded.as_ref()?;
        deviation_of_range_percent(self.reading_mpa_s.as_ref()?, reference, range)
    }

    /// The half-width in % of the reference, 2 decimals.
    pub fn relative_band_percent(&self) -> Option<Exact> {
        relative_band_percent(
            self.reference_unrounded.as_ref()?,
            self.half_width.as_ref()?,
        )
    }

    /// Between which a reading passes: the acceptance limits of a guarded decision, else the limits; in mPa.s.
    pub fn limits_that_judge(&self) -> Option<Limits> {
        match &self.guarded {
            Some(guarded) => Some(guarded.acceptance.clone()),
            None => Some(Limits {
                lower: self.lower.clone()?,
                upper: self.upper.clone()?,
            }),
        }
    }
}

/// The uncertainty of a point and the limits that it moves. In mPa.s, 6 significant digits, each rounded once from unrounded
/// figures.
#[derive(Clone, Debug, PartialEq)]
pub struct Guarded {
    pub budget: Budget,
    pub expanded: Exact,
    /// Inside the limits by the expanded uncertainty; the lower is above the upper where that is larger than the half-width.
    pub acceptance: Limits,
    /// Outside the limits by the expanded uncertainty.
    pub outer: Limits,
    /// The expanded uncertainty is as large as the half-width or larger, both unrounded, so that no reading can pass.
    pub too_large: bool,
}

impl Guarded {
    fn of(budget: Budget, reference: &Exact, half_width: &Exact) -> Option<Guarded> {
        let expanded = Exact::from_f64(budget.expanded)?;
        Some(Guarded {
            expanded: as_figure(&expanded),
            acceptance: Limits::around(reference, &(half_width - &expanded)),
            outer: Limits::around(reference, &(half_width + &expanded)),
            too_large: expanded >= *half_width,
            budget,
        })
    }
}

/// Judges a check: a point passes where the mean of its replicates lies inside or on the limits, with a guarded decision
/// inside or on the acceptance limits.
///
/// Basis certified compares with the certified value of the row nearest the mean corrected temperature. Basis corrected
/// moves that value along the fluid's curve to the temperature of the point (of replicates: to the mean of those that
/// showed a figure), which must lie within the window round the certified temperature.
pub fn judge(subject: &Subject) -> Judgement {
    let corrected_c: Vec<Option<Exact>> = subject
        .points
        .iter()
        .map(|point| {
            let shown_c = point.temperature_c.as_ref()?;
            Some(shown_c + correction(shown_c, subject.corrections?))
        })
        .collect();
    let mean_c = Exact::mean(corrected_c.iter().flatten());
    let row = if subject.points.is_empty() {
        (!subject.rows.is_empty()).then_some(0)
    } else {
        mean_c
            .as_ref()
            .and_then(|mean_c| nearest_row(subject.rows, mean_c))
    };
    let reference = row.and_then(|row| Reference::of(subject, row));
    let sources = match subject.policy.decision {
        Decision::Simple => None,
        Decision::Guarded | Decision::GuardedFourWay => sources(subject, row, &corrected_c),
    };

    let speed = |index: &usize| &subject.points[*index].speed_rpm;
    let mut by_speed: Vec<usize> = (0..subject.points.len()).collect();
    by_speed.sort_by(|one, other| speed(one).cmp(speed(other)));
    let mut points: Vec<Option<JudgedPoint>> = vec![None; subject.points.len()];
    for replicates in by_speed.chunk_by(|one, other| speed(one) == speed(other)) {
        let speed_rpm = speed(&replicates[0]);
        let reference = reference.as_ref();
        let mut shared = shared_figures(subject, reference, &corrected_c, speed_rpm, replicates);
        decide(subject, sources.as_ref(), replicates, &mut shared);
        for &index in replicates {
            points[index] = Some(judge_point(&subject.points[index], &shared));
        }
    }
    let points: Vec<JudgedPoint> = points.into_iter().flatten().collect();

    let reference_mpa_s = reference.and_then(|reference| match &mean_c {
        Some(mean_c) => reference.at(Some(mean_c)),
        None => Some(reference.certified),
    });
    Judgement {
        row,
        reference_mpa_s: reference_mpa_s.as_ref().map(as_figure),
        verdict: worst(&points),
        corrected_c,
        mean_c,
        points,
    }
}

/// The certified value, and how it may be moved.
struct Reference<'a> {
    certified: Exact,
    certified_c: &'a Exact,
    basis: Basis,
    window_k: &'a Exact,
    curve: Option<Curve>,
}

impl<'a> Reference<'a> {
    fn of(subject: &Subject<'a>, row: usize) -> Option<Reference<'a>> {
        let certified = subject.rows.get(row)?;
        let basis = subject.policy.basis;
        Some(Reference {
            certified: certified.viscosity.mpa_s(),
            certified_c: &certified.temperature_c,
            basis,
            window_k: &subject.policy.window_k,
            curve: match basis {
                Basis::Certified => None,
                Basis::Corrected => Curve::around(subject.rows, row),
            },
        })
    }

    /// What a reading at this temperature is compared with, in mPa.s, unrounded.
    fn at(&self, temperature_c: Option<&Exact>) -> Option<Exact> {
        if self.basis == Basis::Certified {
            return Some(self.certified.clone());
        }
        let temperature_c = temperature_c?;
        if (temperature_c - self.certified_c).abs() > *self.window_k {
            return None;
        }
        let ratio = self.curve.as_ref()?.ratio(temperature_c)?;
        Some(&self.certified * Exact::from_f64(ratio)?)
    }
}

/// The sources of uncertainty of a check that is judged by a certified row.
fn sources(
    subject: &Subject,
    row: Option<usize>,
    corrected_c: &[Option<Exact>],
) -> Option<Sources> {
    let stated = subject.stated;
    let row = row?;
    let (fluid_expanded_mpa_s, fluid_coverage_factor) = (*stated.fluid.get(row)?)?;
    let (thermometer_expanded_k, thermometer_coverage_factor) = stated.thermometer?;
    let known = corrected_c.iter().flatten();
    let spread = known.clone().max()? - known.min()?;
    Some(Sources {
        fluid_expanded_mpa_s,
        fluid_coverage_factor,
        thermometer_expanded_k,
        thermometer_coverage_factor,
        thermometer_resolution_k: stated.thermometer_resolution_k?,
        spread_k: spread.to_f64(),
        uniformity_k: stated.uniformity_k?,
        slope_per_k: slope_per_k(subject.rows, row)?,
        torque_resolution_percent: stated.torque_resolution_percent?,
        repeatability_percent: stated.repeatability_percent?,
    })
}

/// The budget of the deviation of each point, in the order of the points; of replicates that of their mean. `None` where a
/// figure that it rests on cannot be had.
pub fn budgets(subject: &Subject, judgement: &Judgement) -> Vec<Option<Budget>> {
    let sources = sources(subject, judgement.row, &judgement.corrected_c);
    let points = judgement.points.iter().zip(subject.points);
    points
        .map(|(judged, point)| {
            let at_this_speed: Vec<usize> = (0..subject.points.len())
                .filter(|&index| subject.points[index].speed_rpm == point.speed_rpm)
                .collect();
            budget_of(subject, sources.as_ref()?, &at_this_speed, judged)
        })
        .collect()
}

fn budget_of(
    subject: &Subject,
    sources: &Sources,
    members: &[usize],
    shared: &JudgedPoint,
) -> Option<Budget> {
    let range = shared.range_unrounded.as_ref()?;
    let readings = members
        .iter()
        .map(|&index| &subject.points[index])
        .filter(|point| !point.shown)
        .map(|point| Some(reading(point, Some(range))?.to_f64()));
    budget(
        sources,
        shared.reference_unrounded.as_ref()?.to_f64(),
        range.to_f64(),
        &readings.collect::<Option<Vec<f64>>>()?,
    )
}

/// The verdict of points of one speed, that of their mean; `None` where a figure that it rests on cannot be had.
fn decide(
    subject: &Subject,
    sources: Option<&Sources>,
    members: &[usize],
    shared: &mut JudgedPoint,
) {
    let decision = subject.policy.decision;
    if decision != Decision::Simple {
        let budget = sources.and_then(|sources| budget_of(subject, sources, members, shared));
        let band = shared
            .reference_unrounded
            .as_ref()
            .zip(shared.half_width.as_ref());
        shared.guarded = budget
            .zip(band)
            .and_then(|(budget, (reference, half))| Guarded::of(budget, reference, half))
            .map(Box::new);
    }
    shared.verdict = verdict(decision, shared);
}

fn verdict(decision: Decision, shared: &JudgedPoint) -> Option<Verdict> {
    let mean = shared.replicate_mean.as_ref()?;
    let limits = Limits {
        lower: shared.lower.clone()?,
        upper: shared.upper.clone()?,
    };
    let guarded = match decision {
        Decision::Simple => None,
        Decision::Guarded | Decision::GuardedFourWay => Some(shared.guarded.as_ref()?),
    };
    let accepted = match guarded {
        None => limits.contain(mean),
        Some(guarded) => guarded.acceptance.contain(mean),
    };
    Some(match guarded {
        _ if accepted => Verdict::Pass,
        Some(_) if decision == Decision::GuardedFourWay && limits.contain(mean) => {
            Verdict::ConditionalPass
        }
        Some(guarded) if decision == Decision::GuardedFourWay && guarded.outer.contain(mean) => {
            Verdict::ConditionalFail
        }
        _ => Verdict::Fail,
    })
}

/// What points of one speed share; their own figures and the verdict are left empty.
fn shared_figures(
    subject: &Subject,
    reference: Option<&Reference>,
    corrected_c: &[Option<Exact>],
    speed_rpm: &Exact,
    members: &[usize],
) -> JudgedPoint {
    let policy = subject.policy;
    let range = subject
        .geometry
        .and_then(|geometry| geometry.range_mpa_s(subject.full_scale_torque_un_m?, speed_rpm));

    let with_figure: Vec<usize> = members
        .iter()
        .copied()
        .filter(|&index| !subject.points[index].shown)
        .collect();
    let mean = mean_of_all(
        with_figure
            .iter()
            .map(|&index| reading(&subject.points[index], range.as_ref())),
    );
    let compared = if with_figure.is_empty() {
        members
    } else {
        &with_figure
    };
    let temperature_c = mean_of_all(compared.iter().map(|&index| corrected_c[index].clone()));
    let reference = reference.and_then(|reference| reference.at(temperature_c.as_ref()));

    let both = reference.as_ref().zip(range.as_ref());
    let half = both.map(|(reference, range)| {
        half_width(
            reference,
            range,
            &policy.fluid_percent,
            &policy.range_percent,
        )
    });
    let band = reference.as_ref().zip(half.as_ref());
    let limits = band.map(|(reference, half)| Limits::around(reference, half));
    let expected = both.and_then(|(reference, range)| torque_from_reading(reference, range));
    JudgedPoint {
        zone: expected
            .as_ref()
            .and_then(|torque| zone(torque, &policy.zones)),
        range_mpa_s: range.as_ref().map(as_figure),
        torque_percent: None,
        reading_mpa_s: None,
        reference_mpa_s: reference.as_ref().map(as_figure),
        guarded: None,
        verdict: None,
        lower: limits.as_ref().map(|limits| limits.lower.clone()),
        upper: limits.map(|limits| limits.upper),
        deviation_percent: None,
        replicate_mean: mean,
        expected_torque_percent: expected,
        half_width: half,
        range_unrounded: range,
        reference_unrounded: reference,
    }
}

/// One point: what it shares with its replicates, and its own figures.
fn judge_point(point: &PointFigures, shared: &JudgedPoint) -> JudgedPoint {
    let mut judged = shared.clone();
    let range = shared.range_unrounded.as_ref();
    let reading = reading(point, range);
    judged.torque_percent = point
        .torque_percent
        .clone()
        .or_else(|| torque_from_reading(reading.as_ref()?, range?));
    if point.shown {
        judged.replicate_mean = None;
        judged.verdict = Some(Verdict::Fail);
    } else if let (Some(reading), Some(reference)) = (&reading, &shared.reference_unrounded) {
        judged.deviation_percent = deviation_percent(reading, reference);
    }
    judged.reading_mpa_s = reading;
    judged
}

fn reading(point: &PointFigures, range: Option<&Exact>) -> Option<Exact> {
    match &point.viscosity_mpa_s {
        Some(viscosity) => Some(viscosity.clone()),
        None => Some(reading_from_torque(point.torque_percent.as_ref()?, range?)),
    }
}

/// The mean, where each value is known and there is one.
fn mean_of_all(values: impl Iterator<Item = Option<Exact>>) -> Option<Exact> {
    Exact::mean(&values.collect::<Option<Vec<_>>>()?)
}

fn as_figure(value: &Exact) -> Exact {
    value.rounded_significant(FIGURE_DIGITS)
}

fn worst(points: &[JudgedPoint]) -> Option<Verdict> {
    let verdicts: Option<Vec<Verdict>> = points.iter().map(|point| point.verdict).collect();
    verdicts?.into_iter().max()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::measure::temperature::Viscosity;

    fn x(text: &str) -> Exact {
        Exact::parse(text).unwrap()
    }

    fn some(text: &str) -> Option<Exact> {
        Some(x(text))
    }

    /// A laboratory's check, to be changed by each test: one spindle of 36000 mPa.s rpm at 80 uN.m, a spring of 80 uN.m,
    /// 1 % + 1 %, a window of 0.2 K and a thermometer without corrections.
    struct Bench {
        points: Vec<PointFigures>,
        geometry: Option<Geometry>,
        spring: Option<Exact>,
        rows: Vec<CertifiedRow>,
        corrections: Option<Vec<Correction>>,
        stated: Stated,
        policy: PolicyFigures,
    }

    impl Bench {
        fn subject(&self) -> Subject<'_> {
            Subject {
                points: &self.points,
                geometry: self.geometry.as_ref(),
                full_scale_torque_un_m: self.spring.as_ref(),
                rows: &self.rows,
                corrections: self.corrections.as_deref(),
                stated: &self.stated,
                policy: &self.policy,
            }
        }

        fn judge(&self) -> Judgement {
            judge(&self.subject())
        }

        fn budgets(&self, judgement: &Judgement) -> Vec<Option<Budget>> {
            budgets(&self.subject(), judgement)
        }
    }

    fn dynamic(rows: &[(&str, &str)]) -> Vec<CertifiedRow> {
        rows.iter()
            .map(|(temperature_c, mpa_s)| CertifiedRow {
                temperature_c: x(temperature_c),
                viscosity: Viscosity::Dynamic { mpa_s: x(mpa_s) },
                coefficient_percent_per_k: None,
            })
            .collect()
    }

    fn spindle(range_constant: &str) -> Option<Geometry> {
        Some(Geometry::Factored {
            range_constant_mpa_s_rpm: x(range_constant),
            at_torque_un_m: x("80.0"),
            shear_rate_per_rpm: some("0.22"),
        })
    }

    /// Speed, reading and shown temperature.
    fn point(speed: &str, reading: &str, temperature: &str) -> PointFigures {
        PointFigures {
            speed_rpm: x(speed),
            torque_percent: None,
            viscosity_mpa_s: some(reading),
            temperature_c: some(temperature),
            shown: false,
        }
    }

    fn over_range(speed: &str, temperature: &str) -> PointFigures {
        PointFigures {
            viscosity_mpa_s: None,
            shown: true,
            ..point(speed, "0", temperature)
        }
    }

    fn bench(points: Vec<PointFigures>) -> Bench {
        Bench {
            points,
            geometry: spindle("36000.0"),
            spring: some("80.0"),
            rows: dynamic(&[("25.0", "512.6")]),
            corrections: Some(Vec::new()),
            stated: Stated::default(),
            policy: PolicyFigures {
                fluid_percent: x("1.0"),
                range_percent: x("1.0"),
                window_k: x("0.2"),
                basis: Basis::Certified,
                decision: Decision::Simple,
                zones: ZoneBounds {
                    minimum_percent: x("10.0"),
                    low_below_percent: x("30.0"),
                    high_above_percent: x("70.0"),
                },
            },
        }
    }

    /// Rows at 20, 25 and 40 degrees C, 640, 450 and 180 mPa.s, basis corrected.
    fn corrected(points: Vec<PointFigures>) -> Bench {
        let mut bench = bench(points);
        bench.rows = dynamic(&[("20.0", "640"), ("25.0", "450"), ("40.0", "180")]);
        bench.policy.basis = Basis::Corrected;
        bench
    }

    fn verdicts(judgement: &Judgement) -> Vec<Option<Verdict>> {
        judgement.points.iter().map(|point| point.verdict).collect()
    }

    const PASS: Option<Verdict> = Some(Verdict::Pass);
    const FAIL: Option<Verdict> = Some(Verdict::Fail);

    #[test]
    fn every_figure_of_a_point() {
        // By hand: R = 36000 / 15 = 2400, H = 5.126 + 24 = 29.126, d = 3.4, 100 x 3.4 / 512.6 = 0.6633,
        // 100 x 3.4 / 2400 = 0.1417, 100 x 29.126 / 512.6 = 5.682, p = 51260 / 2400.
        let mut bench = bench(vec![point("15.0", "516.0", "25.03")]);
        bench.points[0].torque_percent = some("21.4");
        let judgement = bench.judge();
        assert_eq!(judgement.row, Some(0));
        assert_eq!(judgement.corrected_c, vec![some("25.03")]);
        assert_eq!(judgement.mean_c, some("25.03"));
        assert_eq!(judgement.reference_mpa_s, some("512.6"));
        assert_eq!(judgement.verdict, PASS);
        let expected = JudgedPoint {
            zone: Some(Zone::Low),
            range_mpa_s: some("2400"),
            range_unrounded: some("2400"),
            torque_percent: some("21.4"),
            reading_mpa_s: some("516"),
            reference_mpa_s: some("512.6"),
            reference_unrounded: some("512.6"),
            lower: some("483.474"),
            upper: some("541.726"),
            half_width: some("29.126"),
            deviation_percent: some("0.66"),
            expected_torque_percent: x("51260").divide(&x("2400")),
            replicate_mean: some("516"),
            guarded: None,
            verdict: PASS,
        };
        assert_eq!(expected.deviation_of_range_percent(), some("0.14"));
        assert_eq!(expected.relative_band_percent(), some("5.68"));
        assert_eq!(judgement.points, vec![expected]);
    }

    #[test]
    fn points_keep_their_order_and_their_own_range() {
        // By hand: 36000 / 60, / 45, / 15; 512.6 of each is 85.4, 64.1 and 21.4 %.
        let judgement = bench(vec![
            point("60", "512.6", "25.0"),
            point("15", "512.6", "25.0"),
            point("45", "512.6", "25.0"),
        ])
        .judge();
        let ranges: Vec<_> = judgement
            .points
            .iter()
            .map(|point| point.range_mpa_s.clone())
            .collect();
        assert_eq!(ranges, vec![some("600"), some("2400"), some("800")]);
        let zones: Vec<_> = judgement.points.iter().map(|point| point.zone).collect();
        assert_eq!(
            zones,
            vec![Some(Zone::High), Some(Zone::Low), Some(Zone::Middle)]
        );
        assert_eq!(judgement.points[0].lower, some("501.474"));
        assert_eq!(judgement.points[2].upper, some("525.726"));
        assert_eq!(judgement.verdict, PASS);
    }

    #[test]
    fn on_the_limit_and_one_digit_beyond() {
        for (reading, verdict) in [
            ("483.473", FAIL),
            ("483.474", PASS),
            ("541.726", PASS),
            ("541.727", FAIL),
        ] {
            let judgement = bench(vec![point("15", reading, "25")]).judge();
            assert_eq!(verdicts(&judgement), vec![verdict], "{reading}");
            assert_eq!(judgement.verdict, verdict, "{reading}");
        }
    }

    #[test]
    fn the_written_limit_judges() {
        // Python fractions: range 200000 / 30, upper limit 5099.496667 written as 5099.5.
        let mut bench = bench(vec![point("30", "5099.5", "25")]);
        bench.geometry = spindle("200000");
        bench.rows = dynamic(&[("25.0", "4983")]);
        assert_eq!(bench.judge().verdict, PASS);
        bench.points[0].viscosity_mpa_s = some("5099.501");
        assert_eq!(bench.judge().verdict, FAIL);
    }

    #[test]
    fn rounds_at_the_last_step() {
        // Python fractions: 300.05 mm2/s x 0.8713 g/mL = 261.433565 mPa.s; with 261.434 the upper limit would be 288.048
        // too, the lower 234.820.
        let mut bench = bench(vec![point("15", "261.4335", "25")]);
        bench.rows[0].viscosity = Viscosity::Kinematic {
            mm2_s: x("300.05"),
            density_g_ml: x("0.8713"),
        };
        let judgement = bench.judge();
        let judged = &judgement.points[0];
        assert_eq!(judgement.reference_mpa_s, some("261.434"));
        assert_eq!(judged.reference_mpa_s, some("261.434"));
        assert_eq!(judged.reference_unrounded, some("261.433565"));
        assert_eq!(judged.half_width, some("26.61433565"));
        assert_eq!(
            (&judged.lower, &judged.upper),
            (&some("234.819"), &some("288.048"))
        );
        // 36000 / 7 to 6 digits.
        bench.points[0].speed_rpm = x("7");
        let judged = &bench.judge().points[0];
        assert_eq!(judged.range_mpa_s, some("5142.86"));
        assert_eq!(judged.range_unrounded, x("36000").divide(&x("7")));
    }

    #[test]
    fn an_instrument_that_shows_torque_alone() {
        // Python fractions: 75.25 % of 200000 / 30 is 5016.666667; 0.67563 % over 4983; 0.505 % of range.
        let mut bench = bench(vec![point("30", "0", "25")]);
        bench.geometry = spindle("200000");
        bench.rows = dynamic(&[("25.0", "4983")]);
        bench.points[0].viscosity_mpa_s = None;
        bench.points[0].torque_percent = some("75.25");
        let judged = &bench.judge().points[0];
        assert_eq!(judged.reading_mpa_s, x("15050").divide(&x("3")));
        assert_eq!(judged.replicate_mean, x("15050").divide(&x("3")));
        assert_eq!(judged.torque_percent, some("75.25"));
        assert_eq!(judged.deviation_percent, some("0.68"));
        assert_eq!(judged.deviation_of_range_percent(), some("0.50"));
        assert_eq!(judged.verdict, PASS);
        // Without a range there is no reading.
        bench.geometry = None;
        let judged = &bench.judge().points[0];
        assert_eq!(judged.reading_mpa_s, None);
        assert_eq!(judged.torque_percent, some("75.25"));
        assert_eq!(judged.deviation_percent, None);
    }

    #[test]
    fn an_instrument_that_shows_viscosity_alone() {
        let judged = &bench(vec![point("15", "516", "25")]).judge().points[0];
        assert_eq!(judged.torque_percent, some("21.5"));
    }

    #[test]
    fn replicates_are_judged_by_their_mean() {
        // By hand: 530 and 550 have the mean 540, under 541.726; 550 alone would fail.
        let judgement = bench(vec![point("15", "530", "25"), point("15.0", "550", "25")]).judge();
        assert_eq!(verdicts(&judgement), vec![PASS, PASS]);
        assert_eq!(judgement.points[0].replicate_mean, some("540"));
        assert_eq!(judgement.points[1].replicate_mean, some("540"));
        assert_eq!(judgement.points[0].reading_mpa_s, some("530"));
        assert_eq!(judgement.points[0].deviation_percent, some("3.39"));
        assert_eq!(judgement.points[1].deviation_percent, some("7.30"));
        // 530 and 554 have 542: both fail, also the one that alone would pass. Another speed stands by itself.
        let judgement = bench(vec![
            point("15", "530", "25"),
            point("45", "512.6", "25"),
            point("1.5e1", "554", "25"),
        ])
        .judge();
        assert_eq!(verdicts(&judgement), vec![FAIL, PASS, FAIL]);
        assert_eq!(judgement.verdict, FAIL);
    }

    #[test]
    fn a_point_that_showed_no_figure_fails_alone() {
        let mut bench = bench(vec![
            point("15", "530", "25"),
            over_range("15", "25"),
            over_range("60", "25"),
        ]);
        bench.points[1].torque_percent = some("99");
        let judgement = bench.judge();
        assert_eq!(verdicts(&judgement), vec![PASS, FAIL, FAIL]);
        assert_eq!(judgement.verdict, FAIL);
        assert_eq!(judgement.points[0].replicate_mean, some("530"));
        let shown = &judgement.points[1];
        assert_eq!(shown.replicate_mean, None);
        assert_eq!(shown.deviation_percent, None);
        assert_eq!(shown.deviation_of_range_percent(), None);
        assert_eq!(shown.lower, some("483.474"));
        assert_eq!(shown.torque_percent, some("99"));
        // It counts for its zone.
        let shown = &judgement.points[2];
        assert_eq!(shown.zone, Some(Zone::High));
        assert_eq!(shown.upper, some("523.726"));
        assert_eq!(shown.reading_mpa_s, None);
        // It fails even where no limit can be had.
        bench.geometry = None;
        let judgement = bench.judge();
        assert_eq!(verdicts(&judgement), vec![None, FAIL, FAIL]);
        assert_eq!(judgement.verdict, None);
    }

    #[test]
    fn without_points_the_first_row_is_the_reference() {
        for basis in [Basis::Certified, Basis::Corrected] {
            let mut bench = corrected(Vec::new());
            bench.policy.basis = basis;
            bench.corrections = None;
            let judgement = bench.judge();
            assert_eq!(judgement.row, Some(0));
            assert_eq!(judgement.reference_mpa_s, some("640"));
            assert_eq!(judgement.mean_c, None);
            assert_eq!(judgement.verdict, None);
            assert_eq!(judgement.points, Vec::new());
            bench.rows.clear();
            let judgement = bench.judge();
            assert_eq!((judgement.row, judgement.reference_mpa_s), (None, None));
        }
    }

    #[test]
    fn the_row_goes_by_the_mean_corrected_temperature() {
        let mut bench = corrected(vec![point("15", "450", "22.4"), point("45", "450", "22.6")]);
        bench.policy.basis = Basis::Certified;
        let judgement = bench.judge();
        assert_eq!((judgement.row, judgement.mean_c), (Some(0), some("22.5")));
        assert_eq!(judgement.reference_mpa_s, some("640"));
        assert_eq!(judgement.points[1].reference_mpa_s, some("640"));
        // A correction of 0.01 K tips it to the upper row.
        bench.corrections = Some(vec![(x("20"), x("0.01"))]);
        let judgement = bench.judge();
        assert_eq!(judgement.corrected_c, vec![some("22.41"), some("22.61")]);
        assert_eq!((judgement.row, judgement.mean_c), (Some(1), some("22.51")));
        assert_eq!(judgement.reference_mpa_s, some("450"));
        // So does the temperature of a point that showed no figure, and one whose own is unknown does not count.
        bench.corrections = Some(Vec::new());
        bench.points[1] = over_range("45", "22.7");
        bench.points.push(point("60", "450", "22"));
        bench.points[2].temperature_c = None;
        let judgement = bench.judge();
        assert_eq!(
            judgement.corrected_c,
            vec![some("22.4"), some("22.7"), None]
        );
        assert_eq!((judgement.row, judgement.mean_c), (Some(1), some("22.55")));
    }

    #[test]
    fn corrections_move_the_reference() {
        // By hand: -0.01 - 0.01 x 5.03 / 10 at 25.03.
        let mut bench = corrected(vec![point("15", "450", "25.03")]);
        bench.corrections = Some(vec![(x("20.0"), x("-0.01")), (x("30.0"), x("-0.02"))]);
        assert_eq!(bench.judge().corrected_c, vec![some("25.01497")]);
    }

    #[test]
    fn basis_corrected_compares_at_the_measured_temperature() {
        // mpmath: Vogel through the rows, T at 25.05 (mean of the replicates) and 25.12, the check's at 75.22 / 3.
        let judgement = corrected(vec![
            point("15", "450.0", "25.00"),
            point("45", "455.0", "25.12"),
            point("15", "440.0", "25.10"),
        ])
        .judge();
        assert_eq!(judgement.row, Some(1));
        assert_eq!(judgement.reference_mpa_s, some("447.768"));
        let [first, other, second] = &judgement.points[..] else {
            panic!("{judgement:?}");
        };
        for replicate in [first, second] {
            assert_eq!(replicate.reference_mpa_s, some("448.477"));
            assert_eq!(replicate.lower, some("419.992"));
            assert_eq!(replicate.upper, some("476.961"));
            assert_eq!(replicate.relative_band_percent(), some("6.35"));
            assert_eq!(replicate.replicate_mean, some("445"));
            assert_eq!(replicate.zone, Some(Zone::Low));
            let torque = replicate
                .expected_torque_percent
                .as_ref()
                .map(Exact::to_f64);
            assert!(torque.is_some_and(|torque| (torque - 18.686_525_78).abs() < 1e-8));
        }
        assert_eq!(first.deviation_percent, some("0.34"));
        assert_eq!(second.deviation_percent, some("-1.89"));
        assert_eq!(first.deviation_of_range_percent(), some("0.06"));
        assert_eq!(second.deviation_of_range_percent(), some("-0.35"));
        assert_eq!(other.reference_mpa_s, some("446.354"));
        assert_eq!(other.lower, some("433.891"));
        assert_eq!(other.upper, some("458.818"));
        assert_eq!(other.deviation_percent, some("1.94"));
        assert_eq!(other.deviation_of_range_percent(), some("1.08"));
        assert_eq!(other.zone, Some(Zone::Middle));
        assert_eq!(judgement.verdict, PASS);
    }

    #[test]
    fn replicates_without_a_figure_leave_the_mean_temperature_alone() {
        // The reading at 25.00 stands by itself.
        let judgement = corrected(vec![
            point("15", "450.0", "25.00"),
            over_range("15", "25.10"),
        ])
        .judge();
        assert_eq!(judgement.points[0].reference_mpa_s, some("450"));
        assert_eq!(judgement.points[1].reference_mpa_s, some("450"));
        // With none that showed a figure, the mean of all: 25.05 (mpmath).
        let judgement =
            corrected(vec![over_range("15", "25.00"), over_range("15", "25.10")]).judge();
        assert_eq!(judgement.points[0].reference_mpa_s, some("448.477"));
        assert_eq!(verdicts(&judgement), vec![FAIL, FAIL]);
        assert_eq!(judgement.points[0].zone, Some(Zone::Low));
    }

    #[test]
    fn basis_corrected_reaches_as_far_as_the_window() {
        // mpmath at the edges.
        for (temperature, reference) in [
            ("24.79", None),
            ("24.8", some("456.157")),
            ("25.2", some("443.944")),
            ("25.20000000001", None),
        ] {
            let judgement = corrected(vec![point("15", "450.0", temperature)]).judge();
            let judged = &judgement.points[0];
            assert_eq!(judgement.row, Some(1));
            assert_eq!(judgement.reference_mpa_s, reference, "{temperature}");
            assert_eq!(judged.reference_mpa_s, reference, "{temperature}");
            assert_eq!(judged.verdict.is_some(), reference.is_some());
            assert_eq!(judged.zone.is_some(), reference.is_some());
            assert_eq!(judged.range_mpa_s, some("2400"));
            assert_eq!(judged.torque_percent, some("18.75"));
            assert_eq!(judgement.verdict.is_some(), reference.is_some());
        }
    }

    #[test]
    fn basis_certified_has_no_window() {
        let judgement = bench(vec![point("15", "516", "35")]).judge();
        assert_eq!(judgement.reference_mpa_s, some("512.6"));
        assert_eq!(judgement.verdict, PASS);
    }

    #[test]
    fn basis_corrected_by_a_coefficient() {
        // mpmath: 512.6 x exp(-0.021 x 0.15) = 510.98785.
        let mut bench = bench(vec![point("15", "516", "25.15")]);
        bench.policy.basis = Basis::Corrected;
        bench.rows[0].coefficient_percent_per_k = some("-2.1");
        assert_eq!(bench.judge().reference_mpa_s, some("510.988"));
        bench.rows[0].coefficient_percent_per_k = None;
        let judgement = bench.judge();
        assert_eq!(judgement.row, Some(0));
        assert_eq!(judgement.reference_mpa_s, None);
        assert_eq!(judgement.verdict, None);
    }

    #[test]
    fn what_rests_on_a_missing_figure_is_missing() {
        let whole = || bench(vec![point("15", "516", "25")]);

        let mut no_calibration = whole();
        no_calibration.corrections = None;
        let mut no_temperature = whole();
        no_temperature.points[0].temperature_c = None;
        let mut no_fluid = whole();
        no_fluid.rows.clear();
        for bench in [&no_calibration, &no_temperature, &no_fluid] {
            let judgement = bench.judge();
            let judged = &judgement.points[0];
            assert_eq!((judgement.row, &judgement.reference_mpa_s), (None, &None));
            assert_eq!(judged.reference_unrounded, None);
            assert_eq!((&judged.lower, &judged.upper), (&None, &None));
            assert_eq!((&judged.half_width, judged.zone), (&None, None));
            assert_eq!(
                (
                    &judged.deviation_percent,
                    &judged.deviation_of_range_percent()
                ),
                (&None, &None)
            );
            assert_eq!(
                (
                    &judged.relative_band_percent(),
                    &judged.expected_torque_percent
                ),
                (&None, &None)
            );
            assert_eq!((judged.verdict, judgement.verdict), (None, None));
            assert_eq!(judged.range_mpa_s, some("2400"));
            assert_eq!(judged.torque_percent, some("21.5"));
            assert_eq!(judged.replicate_mean, some("516"));
        }
        assert_eq!(no_calibration.judge().corrected_c, vec![None]);
        assert_eq!(no_fluid.judge().mean_c, some("25"));

        let mut no_geometry = whole();
        no_geometry.geometry = None;
        let mut no_spring = whole();
        no_spring.spring = None;
        for bench in [&no_geometry, &no_spring] {
            let judgement = bench.judge();
            let judged = &judgement.points[0];
            assert_eq!(judgement.reference_mpa_s, some("512.6"));
            assert_eq!(
                (&judged.range_mpa_s, &judged.torque_percent),
                (&None, &None)
            );
            assert_eq!((&judged.lower, judged.zone), (&None, None));
            assert_eq!(judged.deviation_percent, some("0.66"));
            assert_eq!(judged.deviation_of_range_percent(), None);
            assert_eq!((judged.verdict, judgement.verdict), (None, None));
        }
    }

    #[test]
    fn a_replicate_without_its_figure_takes_the_mean_along() {
        let mut bench = corrected(vec![
            point("15", "450", "25"),
            point("15", "0", "25"),
            point("45", "450", "25"),
        ]);
        bench.points[1].viscosity_mpa_s = None;
        let judgement = bench.judge();
        assert_eq!(verdicts(&judgement), vec![None, None, PASS]);
        assert_eq!(judgement.points[0].deviation_percent, some("0"));
        assert_eq!(judgement.points[0].lower, some("421.5"));
        assert_eq!(judgement.verdict, None);
        // A reading at an unknown temperature has no reference, and so none is shared.
        bench.points[1].viscosity_mpa_s = some("450");
        bench.points[1].temperature_c = None;
        let judgement = bench.judge();
        assert_eq!(judgement.points[0].reference_mpa_s, None);
        assert_eq!(verdicts(&judgement), vec![None, None, PASS]);
        assert_eq!(judgement.points[0].replicate_mean, some("450"));
    }

    #[test]
    fn verdicts_stand_in_order_of_strictness() {
        assert!(Verdict::Pass < Verdict::ConditionalPass);
        assert!(Verdict::ConditionalPass < Verdict::ConditionalFail);
        assert!(Verdict::ConditionalFail < Verdict::Fail);
        assert!(!Verdict::ConditionalPass.is_fail() && Verdict::ConditionalFail.is_fail());
    }

    /// A fluid of 4983 mPa.s on a range of 10000 at 20 rpm, whose expanded uncertainty, 36.5 mPa.s, is the only one.
    fn guarded(decision: Decision, reading: &str) -> Bench {
        let mut bench = bench(vec![point("20", reading, "25")]);
        bench.geometry = spindle("200000");
        bench.rows = dynamic(&[("25.0", "4983")]);
        bench.rows[0].coefficient_percent_per_k = some("-2.1");
        bench.policy.basis = Basis::Corrected;
        bench.policy.decision = decision;
        bench.stated = Stated {
            fluid: vec![Some((36.5, 2.0))],
            thermometer: Some((0.0, 2.0)),
            thermometer_resolution_k: Some(0.0),
            uniformity_k: Some(0.0),
            torque_resolution_percent: Some(0.0),
            repeatability_percent: Some(0.0),
        };
        bench
    }

    #[test]
    fn four_ways_to_decide() {
        // ILAC-G8 speaks of pass, conditional pass, conditional fail and fail. Recomputed by hand: limits 4833.17 and 5132.83,
        // U 36.5, so acceptance limits 4869.67 and 5096.33, outer limits 4796.67 and 5169.33.
        let first = guarded(Decision::GuardedFourWay, "4990").judge();
        let by = first.points[0].guarded.as_ref().unwrap();
        assert_eq!(
            (&first.points[0].lower, &first.points[0].upper),
            (&some("4833.17"), &some("5132.83"))
        );
        assert_eq!(by.expanded, x("36.5"));
        assert_eq!(
            (&by.acceptance.lower, &by.acceptance.upper),
            (&x("4869.67"), &x("5096.33"))
        );
        assert_eq!(
            (&by.outer.lower, &by.outer.upper),
            (&x("4796.67"), &x("5169.33"))
        );
        assert!(!by.too_large);
        for (reading, four_way, two_way) in [
            ("4990", Verdict::Pass, Verdict::Pass),
            ("5100", Verdict::ConditionalPass, Verdict::Fail),
            ("5120", Verdict::ConditionalPass, Verdict::Fail),
            ("5140", Verdict::ConditionalFail, Verdict::Fail),
            ("5180", Verdict::Fail, Verdict::Fail),
            ("5096.33", Verdict::Pass, Verdict::Pass),
            ("5096.34", Verdict::ConditionalPass, Verdict::Fail),
            ("5132.83", Verdict::ConditionalPass, Verdict::Fail),
            ("5132.84", Verdict::ConditionalFail, Verdict::Fail),
            ("5169.33", Verdict::ConditionalFail, Verdict::Fail),
            ("5169.34", Verdict::Fail, Verdict::Fail),
            ("4869.67", Verdict::Pass, Verdict::Pass),
            ("4869.66", Verdict::ConditionalPass, Verdict::Fail),
            ("4833.16", Verdict::ConditionalFail, Verdict::Fail),
            ("4796.66", Verdict::Fail, Verdict::Fail),
        ] {
            let verdict = |decision| guarded(decision, reading).judge().verdict;
            assert_eq!(
                verdict(Decision::GuardedFourWay),
                Some(four_way),
                "{reading}"
            );
            assert_eq!(verdict(Decision::Guarded), Some(two_way), "{reading}");
        }
        assert_eq!(guarded(Decision::Simple, "5120").judge().verdict, PASS);
    }

    #[test]
    fn an_uncertainty_as_large_as_the_half_width_lets_nothing_pass() {
        // The half-width is 1 % of 4983 and of 10000: 149.83.
        for (expanded, too_large, verdict) in [
            (149.82, false, Verdict::Pass),
            (149.83, true, Verdict::Pass),
            (149.84, true, Verdict::Fail),
        ] {
            let mut bench = guarded(Decision::Guarded, "4983");
            bench.stated.fluid = vec![Some((expanded, 2.0))];
            let judgement = bench.judge();
            let by = judgement.points[0].guarded.as_ref().unwrap();
            assert_eq!(
                (by.too_large, judgement.verdict),
                (too_large, Some(verdict)),
                "{expanded}"
            );
        }
    }

    #[test]
    fn without_an_uncertainty_a_guarded_decision_has_no_verdict() {
        for lose in [
            |stated: &mut Stated| stated.fluid.clear(),
            |stated: &mut Stated| stated.thermometer = None,
            |stated: &mut Stated| stated.thermometer_resolution_k = None,
            |stated: &mut Stated| stated.uniformity_k = None,
            |stated: &mut Stated| stated.torque_resolution_percent = None,
            |stated: &mut Stated| stated.repeatability_percent = None,
        ] {
            let mut bench = guarded(Decision::Guarded, "4983");
            lose(&mut bench.stated);
            let judgement = bench.judge();
            assert_eq!(judgement.verdict, None);
            assert_eq!(judgement.points[0].lower, some("4833.17"));
            bench.policy.decision = Decision::Simple;
            assert_eq!(bench.judge().verdict, PASS);
        }
        // What showed no figure fails whatever its uncertainty.
        let mut bench = guarded(Decision::Guarded, "0");
        bench.points = vec![over_range("20", "25")];
        assert_eq!(bench.judge().verdict, FAIL);
    }

    #[test]
    fn the_budget_of_a_check_takes_the_spread_of_its_temperatures() {
        // By hand: temperatures 24.95 and 25.05 spread 0.1 K, rectangular over half of it 0.05/sqrt 3; slope -2.1 %/K.
        let mut bench = guarded(Decision::Guarded, "4983");
        bench.points = vec![point("20", "4983", "24.95"), point("40", "4983", "25.05")];
        bench.stated.fluid = vec![Some((0.0, 2.0))];
        let judgement = bench.judge();
        let reference = judgement.points[0]
            .reference_unrounded
            .as_ref()
            .unwrap()
            .to_f64();
        let expected = reference * 0.021 * 0.05 / 3f64.sqrt();
        let by = judgement.points[0].guarded.as_ref().unwrap();
        assert!((by.budget.standard - expected).abs() < 1e-9 * expected);
        // On request a simple decision has the same budget.
        bench.policy.decision = Decision::Simple;
        let judgement = bench.judge();
        assert_eq!(judgement.points[0].guarded, None);
        let budgets = bench.budgets(&judgement);
        assert_eq!(budgets[0].as_ref(), Some(&by.budget));
    }

    /// Mostly a figure as people write it, sometimes one that nobody would.
    fn figure() -> impl Strategy<Value = Exact> {
        let exponent = prop_oneof![15 => -3_i64..3, 1 => -400_i64..400];
        (-10_000_i64..10_000, exponent).prop_map(|(digits, exponent)| {
            Exact::parse(&format!("{digits}e{exponent}")).unwrap_or_else(Exact::zero)
        })
    }

    fn any_point() -> impl Strategy<Value = PointFigures> {
        let optional = || proptest::option::of(figure());
        (figure(), optional(), optional(), optional(), any::<bool>()).prop_map(
            |(speed_rpm, torque_percent, viscosity_mpa_s, temperature_c, shown)| PointFigures {
                speed_rpm,
                torque_percent,
                viscosity_mpa_s,
                temperature_c,
                shown,
            },
        )
    }

    fn any_row() -> impl Strategy<Value = CertifiedRow> {
        (
            figure(),
            figure(),
            proptest::option::of(figure()),
            proptest::option::of(figure()),
        )
            .prop_map(
                |(temperature_c, viscosity, density, coefficient_percent_per_k)| CertifiedRow {
                    temperature_c,
                    viscosity: match density {
                        None => Viscosity::Dynamic { mpa_s: viscosity },
                        Some(density_g_ml) => Viscosity::Kinematic {
                            mm2_s: viscosity,
                            density_g_ml,
                        },
                    },
                    coefficient_percent_per_k,
                },
            )
    }

    proptest! {
        #[test]
        fn a_guarded_decision_is_never_milder(reading in 4700_i64..5300, expanded in 0f64..200.0) {
            let verdict = |decision| {
                let mut bench = guarded(decision, &reading.to_string());
                bench.stated.fluid = vec![Some((expanded, 2.0))];
                bench.judge().verdict.unwrap()
            };
            let simple = verdict(Decision::Simple);
            let guarded = verdict(Decision::Guarded);
            let four_way = verdict(Decision::GuardedFourWay);
            prop_assert!(guarded >= simple);
            prop_assert_eq!(four_way == Verdict::Pass, guarded == Verdict::Pass);
            prop_assert!(four_way.is_fail() || simple == Verdict::Pass);
            prop_assert!(four_way <= guarded);
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn no_figures_panic(
            points in proptest::collection::vec(any_point(), 0..5),
            rows in proptest::collection::vec(any_row(), 0..5),
            corrections in proptest::collection::vec((figure(), figure()), 0..4),
            figures in proptest::collection::vec(figure(), 6),
            kind in 0..4,
            is_corrected in any::<bool>(),
            uncertainties in proptest::collection::vec(figure(), 8),
            decision in 0_usize..3,
        ) {
            let [a, b, c, d, spring, window_k] = figures.try_into().unwrap();
            let mut bench = bench(points);
            bench.geometry = Some(match kind {
                0 => Geometry::Factored {
                    range_constant_mpa_s_rpm: a,
                    at_torque_un_m: b,
                    shear_rate_per_rpm: Some(c),
                },
                1 => Geometry::CoaxialCylinders {
                    bob_radius_mm: a,
                    cup_radius_mm: b,
                    bob_length_mm: c,
                    end_effect: d,
                },
                2 => Geometry::ConePlate { radius_mm: a, angle_deg: b },
                _ => Geometry::ParallelPlates { radius_mm: a, gap_mm: b },
            });
            bench.spring = Some(spring);
            bench.rows = rows;
            bench.corrections = Some(corrections);
            bench.policy.window_k = window_k;
            if is_corrected {
                bench.policy.basis = Basis::Corrected;
            }
            let stated: Vec<f64> = uncertainties.iter().map(Exact::to_f64).collect();
            bench.stated = Stated {
                fluid: vec![Some((stated[0], stated[1])); 4],
                thermometer: Some((stated[2], stated[3])),
                thermometer_resolution_k: Some(stated[4]),
                uniformity_k: Some(stated[5]),
                torque_resolution_percent: Some(stated[6]),
                repeatability_percent: Some(stated[7]),
            };
            bench.policy.decision =
                [Decision::Simple, Decision::Guarded, Decision::GuardedFourWay][decision];
            let judgement = bench.judge();
            prop_assert_eq!(judgement.points.len(), bench.points.len());
            prop_assert_eq!(bench.budgets(&judgement).len(), bench.points.len());
            for row in 0..bench.rows.len() {
                let _ = crate::measure::temperature::window_slope(&bench.rows, row);
            }
        }
    }
}
