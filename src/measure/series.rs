//! A series of results over time: control charts, the straight line through it, and where that line leads.
//!
//! Values are whatever the caller charts, in one unit all along: the deviation in % of range of one instrument, geometry
//! and zone, oldest first. A new spring, a repair or an adjustment changes what is measured, so it begins a new series.
//! Times are plain numbers, such as days. Whatever is not finite has no chart and no line.

use super::distribution::coverage_factor;

/// The mean of the range of two values of a normal distribution with standard deviation 1 (d2 of NIST/SEMATECH e-Handbook
/// 6.3.2), to the three decimals that are in use.
pub const D2: f64 = 1.128;

/// How many standard deviations the limits of a control chart lie from its centre.
pub const CHART_WIDTH: f64 = 3.0;

/// The weight of the newest value in the moving average of this method.
pub const EWMA_LAMBDA: f64 = 0.2;

/// The coverage of the intervals of slopes and of predictions.
pub const LINE_COVERAGE: f64 = 0.95;

/// The fewest results whose line is used to predict: with fewer, Student's factor is above 3 and the band shows how little
/// is known, and not what the instrument does.
pub const LINE_LEAST: usize = 6;

/// The fewest results that set control limits. With six about 4 in 100 sound results fall outside (normal ones, simulated),
/// in place of the 3 in 1000 of a chart whose limits are known; with fewer it soon is one in ten.
pub const BASELINE_LEAST: usize = 6;

/// How many results set the control limits where there are more. With 15, between 1 and 2 in 100 sound results fall outside,
/// and between 1 and 4 in 100 moving averages; more would make a laboratory with a check a month wait for years.
pub const BASELINE_MOST: usize = 15;

/// One of two limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    Lower,
    Upper,
}

/// A Shewhart chart of single values with its limits, all in the unit of the values.
#[derive(Clone, Debug, PartialEq)]
pub struct Individuals {
    /// The mean of the values that set the limits.
    pub centre: f64,
    /// The mean distance between neighbours among them.
    pub moving_range: f64,
    /// The standard deviation that the limits rest on.
    pub sd: f64,
    pub lower: f64,
    pub upper: f64,
    /// How many values, from the first on, set the limits.
    pub baseline: usize,
    /// The places, from 0, of all values outside the limits. One on a limit is inside.
    pub outside: Vec<usize>,
}

/// The chart of single values that all take part in its limits: centre +/- 3 x mean moving range / 1.128. `None` below two
/// values.
///
/// NIST/SEMATECH e-Handbook 6.3.2.2.
pub fn individuals(values: &[f64]) -> Option<Individuals> {
    individuals_on_baseline(values, values.len(), 0.0)
}

/// The chart of single values whose limits are set by the first `baseline` of them, so that what comes later is not judged
/// by limits that it has moved. A scatter below `least_sd`, a standard deviation, is taken to be that: where the display
/// shows few digits, a few equal results would else make limits that the next digit breaks. `None` below two values of a
/// baseline, for a baseline longer than the series, and for a negative `least_sd`.
pub fn individuals_on_baseline(
    values: &[f64],
    baseline: usize,
    least_sd: f64,
) -> Option<Individuals> {
    let setting = values.get(..baseline).filter(|it| it.len() >= 2)?;
    if !(all_finite(values) && least_sd.is_finite() && least_sd >= 0.0) {
        return None;
    }
    let centre = mean(setting)?;
    let ranges: Vec<f64> = setting
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs())
        .collect();
    let moving_range = mean(&ranges)?;
    let sd = (moving_range / D2).max(least_sd);
    let (lower, upper) = (centre - CHART_WIDTH * sd, centre + CHART_WIDTH * sd);
    let outside = (0..values.len())
        .filter(|&at| side_of(values[at], lower, upper).is_some())
        .collect();
    (lower.is_finite() && upper.is_finite()).then_some(Individuals {
        centre,
        moving_range,
        sd,
        lower,
        upper,
        baseline,
        outside,
    })
}

/// How many results, from the first on, set the control limits of a series of `count`: the first [`BASELINE_MOST`], and all
/// but the newest while there are not yet so many. `None` below [`BASELINE_LEAST`] before the newest.
///
/// So the newest result never has a say in the limits that it is judged by, and a drift does not widen or move them once
/// they are set. This is our choice between two ills: limits from a few results alone raise false alarms, and limits from
/// all results hide a drift in themselves. A slow drift within the baseline is for the line to show, which takes all results.
pub fn baseline_length(count: usize) -> Option<usize> {
    let before_newest = count.checked_sub(1)?;
    (before_newest >= BASELINE_LEAST).then_some(before_newest.min(BASELINE_MOST))
}

/// One step of a moving average, with its exact limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EwmaStep {
    pub average: f64,
    pub lower: f64,
    pub upper: f64,
}

/// An exponentially weighted moving average (EWMA) and its limits, all in the unit of the values.
#[derive(Clone, Debug, PartialEq)]
pub struct Ewma {
    /// One step a value. Its limits are those of so many values: narrow at first.
    pub steps: Vec<EwmaStep>,
    /// The limits after very many values.
    pub lower: f64,
    pub upper: f64,
    /// The places, from 0, of the averages outside the exact limits of their step. One on a limit is inside.
    pub outside: Vec<usize>,
    /// The places of those outside the limits after very many values.
    pub outside_asymptotic: Vec<usize>,
}

/// The moving average in which the newest value has the weight `lambda`, from `start`, the value aimed at or the centre of a
/// baseline. Its limits lie `width` of its own standard deviations round `start`, where `sd` is that of a single value.
/// `None` unless lambda is above 0 and at most 1, and for a negative `sd` or `width`.
///
/// NIST/SEMATECH e-Handbook 6.3.2.4.
pub fn ewma(values: &[f64], lambda: f64, start: f64, sd: f64, width: f64) -> Option<Ewma> {
    let sound = lambda > 0.0 && lambda <= 1.0 && sd >= 0.0 && width >= 0.0;
    if !(sound && start.is_finite() && all_finite(values)) {
        return None;
    }
    let half_at_last = width * sd * (lambda / (2.0 - lambda)).sqrt();
    let (lower, upper) = (start - half_at_last, start + half_at_last);
    let mut average = start;
    let mut steps = Vec::with_capacity(values.len());
    let (mut outside, mut outside_asymptotic) = (vec![], vec![]);
    for (at, value) in values.iter().enumerate() {
        average += lambda * (value - average);
        // The share of the late variance that so many values have reached, 1 - (1 - lambda)^(2 x count).
        let reached = -(2.0 * (at + 1) as f64 * (-lambda).ln_1p()).exp_m1();
        let half = half_at_last * reached.sqrt();
        let step = EwmaStep {
            average,
            lower: start - half,
            upper: start + half,
        };
        if side_of(average, step.lower, step.upper).is_some() {
            outside.push(at);
        }
        if side_of(average, lower, upper).is_some() {
            outside_asymptotic.push(at);
        }
        steps.push(step);
    }
    let finite = steps.iter().all(|step| step.average.is_finite());
    (finite && lower.is_finite() && upper.is_finite()).then_some(Ewma {
        steps,
        lower,
        upper,
        outside,
        outside_asymptotic,
    })
}

/// A straight line by least squares, y = intercept + slope x, with what it leaves unexplained.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// In units of y for one of x.
    pub slope: f64,
    /// Where the line stands at x = 0, in units of y.
    pub intercept: f64,
    pub slope_se: f64,
    pub intercept_se: f64,
    /// The standard deviation of the residuals, in units of y.
    pub residual_sd: f64,
    pub degrees_of_freedom: u32,
    /// The share of the variance of y that the line explains; `None` where all y are equal.
    pub r_squared: Option<f64>,
    count: f64,
    mean_x: f64,
    mean_y: f64,
    /// The sum of the squared distances of x from its mean.
    spread_x: f64,
}

/// A range of values round its centre.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    pub centre: f64,
    pub half_width: f64,
}

/// The line through points of `x` and `y`, in whatever order. `None` below three points (two leave no residual, so nothing
/// would be known of the scatter), where all x are equal, and for lists of different lengths.
pub fn line(x: &[f64], y: &[f64]) -> Option<Line> {
    let degrees_of_freedom = u32::try_from(x.len().checked_sub(2)?).ok()?;
    if degrees_of_freedom == 0 || x.len() != y.len() || !(all_finite(x) && all_finite(y)) {
        return None;
    }
    let count = x.len() as f64;
    let (mean_x, mean_y) = (mean(x)?, mean(y)?);
    let from_mean_x: Vec<f64> = x.iter().map(|x| x - mean_x).collect();
    let from_mean_y: Vec<f64> = y.iter().map(|y| y - mean_y).collect();
    let products =
        |left: &[f64], right: &[f64]| sum(left.iter().zip(right).map(|(left, right)| left * right));
    let spread_x = products(&from_mean_x, &from_mean_x);
    let spread_y = products(&from_mean_y, &from_mean_y);
    if spread_x == 0.0 {
        return None;
    }
    let slope = products(&from_mean_x, &from_mean_y) / spread_x;
    let residuals: Vec<f64> = from_mean_x
        .iter()
        .zip(&from_mean_y)
        .map(|(x, y)| (-slope).mul_add(*x, *y))
        .collect();
    let unexplained = products(&residuals, &residuals);
    let residual_sd = (unexplained / f64::from(degrees_of_freedom)).sqrt();
    let line = Line {
        slope,
        intercept: (-slope).mul_add(mean_x, mean_y),
        slope_se: residual_sd / spread_x.sqrt(),
        intercept_se: residual_sd * (1.0 / count + mean_x * mean_x / spread_x).sqrt(),
        residual_sd,
        degrees_of_freedom,
        r_squared: (spread_y > 0.0).then(|| (1.0 - unexplained / spread_y).clamp(0.0, 1.0)),
        count,
        mean_x,
        mean_y,
        spread_x,
    };
    let figures = [
        line.slope,
        line.intercept,
        line.slope_se,
        line.intercept_se,
        spread_y,
        spread_x,
    ];
    all_finite(&figures).then_some(line)
}

impl Line {
    /// Where the line stands at `x`, in units of y.
    pub fn at(&self, x: f64) -> f64 {
        self.slope.mul_add(x - self.mean_x, self.mean_y)
    }

    /// Between which two values the slope lies with this coverage. `None` for no coverage between 0 and 1.
    pub fn slope_interval(&self, coverage: f64) -> Option<(f64, f64)> {
        let half_width = coverage_factor(coverage, Some(self.degrees_of_freedom))? * self.slope_se;
        Some((self.slope - half_width, self.slope + half_width))
    }

    /// The band in which one more result at `x` would fall with this coverage, in units of y. `None` for no coverage between
    /// 0 and 1 and for an `x` that is not finite.
    pub fn prediction(&self, x: f64, coverage: f64) -> Option<Band> {
        let factor = coverage_factor(coverage, Some(self.degrees_of_freedom))?;
        let band = self.band(x, factor);
        (band.centre.is_finite() && band.half_width.is_finite()).then_some(band)
    }

    fn band(&self, x: f64, factor: f64) -> Band {
        let from_mean = x - self.mean_x;
        let share = 1.0 + 1.0 / self.count + from_mean * from_mean / self.spread_x;
        Band {
            centre: self.at(x),
            half_width: factor * self.residual_sd * share.sqrt(),
        }
    }

    /// Whether the slope can be told from none: its interval of [`LINE_COVERAGE`] does not hold zero.
    pub fn has_trend(&self) -> bool {
        self.slope_interval(LINE_COVERAGE)
            .is_some_and(|(low, high)| low > 0.0 || high < 0.0)
    }

    /// Where the line itself first meets a limit, from `from_x` on and not beyond `horizon_x`; at `from_x` if it is beyond one
    /// there already.
    fn centre_meets(&self, stretch: &Stretch) -> Option<Meeting> {
        let Stretch {
            from, lower, upper, ..
        } = *stretch;
        if let Some(side) = reached(self.at(from), self.at(from), lower, upper) {
            return Some(Meeting { x: from, side });
        }
        let (limit, side) = match self.slope.partial_cmp(&0.0)? {
            std::cmp::Ordering::Greater => (upper, Side::Upper),
            std::cmp::Ordering::Less => (lower, Side::Lower),
            std::cmp::Ordering::Equal => return None,
        };
        let x = (self.mean_x + (limit - self.mean_y) / self.slope).max(from);
        (x <= stretch.horizon).then_some(Meeting { x, side })
    }

    /// Where the band of prediction with [`LINE_COVERAGE`] first meets a limit, from `from_x` on and not beyond `horizon_x`,
    /// whether there is a trend or not: without one it widens with what is not known of the slope. At `from_x` if it reaches
    /// beyond a limit there already. `None` where it meets none, and for a horizon before `from_x` or what is no number.
    pub fn band_meets(
        &self,
        from_x: f64,
        lower: f64,
        upper: f64,
        horizon_x: f64,
    ) -> Option<Meeting> {
        self.band_meets_in(&Stretch::new(from_x, lower, upper, horizon_x)?)
    }

    fn band_meets_in(&self, stretch: &Stretch) -> Option<Meeting> {
        let factor = coverage_factor(LINE_COVERAGE, Some(self.degrees_of_freedom))?;
        let side_at = |x: f64| {
            let band = self.band(x, factor);
            let (low, high) = (band.centre - band.half_width, band.centre + band.half_width);
            reached(low, high, stretch.lower, stretch.upper)
        };
        let from = stretch.from;
        if let Some(side) = side_at(from) {
            return Some(Meeting { x: from, side });
        }
        // The upper edge of the band is convex and the lower one concave: inside at both ends is inside all along, and an
        // edge that is inside here and outside there passes its limit once.
        let mut side = side_at(stretch.horizon)?;
        let (mut inside, mut beyond) = (from, stretch.horizon);
        loop {
            let middle = f64::midpoint(inside, beyond);
            if middle <= inside || middle >= beyond {
                return Some(Meeting { x: beyond, side });
            }
            match side_at(middle) {
                Some(there) => (beyond, side) = (middle, there),
                None => inside = middle,
            }
        }
    }
}

/// Where something first meets a limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Meeting {
    pub x: f64,
    pub side: Side,
}

/// Where a line with a trend leads, as far as one looks. A meeting at the `x` from which one looks says that it lies in the
/// past.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// Where the line itself meets a limit.
    pub centre: Option<Meeting>,
    /// Where its band of prediction with [`LINE_COVERAGE`] does; never later than the line.
    pub band: Option<Meeting>,
}

/// What a line says of the time to come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Outlook {
    /// The slope cannot be told from none at [`LINE_COVERAGE`], so no day is predicted.
    NoTrend,
    Trend(Crossing),
}

/// Where `line` leads, from `from_x` on and not beyond `horizon_x`, between limits that are the same all along, in units of
/// y. `None` for a horizon before `from_x`, a lower limit above the upper one, or what is no number.
pub fn crossing(
    line: &Line,
    from_x: f64,
    lower: f64,
    upper: f64,
    horizon_x: f64,
) -> Option<Outlook> {
    let stretch = Stretch::new(from_x, lower, upper, horizon_x)?;
    if !line.has_trend() {
        return Some(Outlook::NoTrend);
    }
    Some(Outlook::Trend(Crossing {
        centre: line.centre_meets(&stretch),
        band: line.band_meets_in(&stretch),
    }))
}

/// The stretch of x on which one looks, and the limits on it.
struct Stretch {
    from: f64,
    lower: f64,
    upper: f64,
    horizon: f64,
}

impl Stretch {
    /// `None` where it would have no length or no width. A limit may be infinite: that side has none.
    fn new(from: f64, lower: f64, upper: f64, horizon: f64) -> Option<Stretch> {
        let sound = from.is_finite() && horizon.is_finite() && from <= horizon && lower <= upper;
        sound.then_some(Stretch {
            from,
            lower,
            upper,
            horizon,
        })
    }
}

/// A value outside its limits, with the limit that it passed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outside {
    pub value: f64,
    pub limit: f64,
    pub side: Side,
}

/// What speaks for a drift in a series, each sign on its own.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Drifting {
    /// The newest result is outside the control limits: rather a jump.
    pub newest: Option<Outside>,
    /// The moving average is, at the newest result: rather a slow change.
    pub average: Option<Outside>,
    /// There is a trend, and the line or its band meets a limit of acceptance before the next result is due.
    pub ahead: Option<Crossing>,
}

impl Drifting {
    pub fn is_drifting(&self) -> bool {
        self.newest.is_some() || self.average.is_some() || self.ahead.is_some()
    }
}

/// What speaks for a drift in `values` at the times `x`, oldest first: the newest against control limits of the baseline
/// ([`baseline_length`], `least_sd` as in [`individuals_on_baseline`]), and the line against the limits of acceptance `lower`
/// and `upper` until `next_x`, when the next result is due. The control limits are not looked at while the baseline is too
/// short, nor is the line after `next_x`. `None` below [`LINE_LEAST`] results, for times that run backwards, and for what is
/// no number.
pub fn drifting(
    x: &[f64],
    values: &[f64],
    least_sd: f64,
    lower: f64,
    upper: f64,
    next_x: f64,
) -> Option<Drifting> {
    let sound = x.len() == values.len()
        && values.len() >= LINE_LEAST
        && all_finite(x)
        && all_finite(values)
        && x.is_sorted()
        && next_x.is_finite()
        && lower <= upper
        && least_sd >= 0.0;
    if !sound {
        return None;
    }
    let mut signs = Drifting::default();
    if let Some(baseline) = baseline_length(values.len()) {
        let chart = individuals_on_baseline(values, baseline, least_sd)?;
        signs.newest = outside(*values.last()?, chart.lower, chart.upper);
        let averages = ewma(values, EWMA_LAMBDA, chart.centre, chart.sd, CHART_WIDTH)?;
        let last = averages.steps.last()?;
        signs.average = outside(last.average, last.lower, last.upper);
    }
    let ahead = line(x, values).and_then(|line| crossing(&line, *x.last()?, lower, upper, next_x));
    if let Some(Outlook::Trend(crossing)) = ahead
        && (crossing.centre.is_some() || crossing.band.is_some())
    {
        signs.ahead = Some(crossing);
    }
    Some(signs)
}

fn outside(value: f64, lower: f64, upper: f64) -> Option<Outside> {
    let side = side_of(value, lower, upper)?;
    let limit = match side {
        Side::Lower => lower,
        Side::Upper => upper,
    };
    Some(Outside { value, limit, side })
}

/// On which side of two limits a value lies; none inside or on them.
fn side_of(value: f64, lower: f64, upper: f64) -> Option<Side> {
    if value > upper {
        Some(Side::Upper)
    } else if value < lower {
        Some(Side::Lower)
    } else {
        None
    }
}

/// Which limit is met by what reaches from `low` to `high`. Where it meets both, the one that it passes by more.
fn reached(low: f64, high: f64, lower: f64, upper: f64) -> Option<Side> {
    let above = high - upper;
    let below = lower - low;
    if above >= 0.0 && above >= below {
        Some(Side::Upper)
    } else if below >= 0.0 {
        Some(Side::Lower)
    } else {
        None
    }
}

fn all_finite(values: &[f64]) -> bool {
    values.iter().all(|value| value.is_finite())
}

/// The mean, equal to the values where they are all equal. `None` of none.
fn mean(values: &[f64]) -> Option<f64> {
    let first = *values.first()?;
    let count = values.len() as f64;
    let near = first + sum(values.iter().map(|value| value - first)) / count;
    Some(near + sum(values.iter().map(|value| value - near)) / count)
}

/// The sum, with what each addition rounds off carried along (Neumaier 1974).
fn sum(values: impl Iterator<Item = f64>) -> f64 {
    let (mut total, mut lost) = (0.0_f64, 0.0);
    for value in values {
        let next = total + value;
        lost += if total.abs() >= value.abs() {
            (total - next) + value
        } else {
            (value - next) + total
        };
        total = next;
    }
    total + lost
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// NIST/SEMATECH e-Handbook 6.3.2.2.
    const SINGLE_VALUES: [f64; 10] = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];

    /// Invented: deviation in % of range, at months.
    const MONTHS: [f64; 5] = [0.0, 6.0, 12.0, 18.0, 24.0];
    const DRIFT: [f64; 5] = [0.10, 0.22, 0.41, 0.48, 0.69];

    #[track_caller]
    fn assert_near(computed: f64, expected: f64, within: f64) {
        assert!(
            (computed - expected).abs() <= within,
            "{computed} is not {expected}"
        );
    }

    #[test]
    fn single_values_are_charted_as_in_the_handbook() {
        // NIST/SEMATECH e-Handbook 6.3.2.2, as printed, to four decimals.
        let chart = individuals(&SINGLE_VALUES).unwrap();
        assert_near(chart.centre, 50.81, 1e-12);
        assert_near(chart.moving_range, 1.8778, 5e-5);
        assert_near(chart.upper, 55.8041, 5e-5);
        assert_near(chart.lower, 45.8159, 5e-5);
        assert_eq!(chart.outside, Vec::<usize>::new());
        assert_eq!(chart.baseline, 10);
    }

    #[test]
    fn a_baseline_sets_limits_for_what_comes_after_it() {
        // The first six of the handbook's values; the rest moved by 5. Recomputed with mpmath 1.4.1.
        let moved: Vec<f64> = SINGLE_VALUES
            .iter()
            .enumerate()
            .map(|(at, value)| if at < 6 { *value } else { value + 5.0 })
            .collect();
        let chart = individuals_on_baseline(&moved, 6, 0.0).unwrap();
        assert_near(chart.centre, 49.56666666666667, 1e-12);
        assert_near(chart.moving_range, 2.52, 1e-12);
        assert_near(chart.lower, 42.8645390070922, 1e-12);
        assert_near(chart.upper, 56.268794326241135, 1e-12);
        assert_eq!(chart.outside, [6, 7, 8, 9]);
        // Limits from all values hold the jump inside.
        assert_eq!(individuals(&moved).unwrap().outside, Vec::<usize>::new());
    }

    #[test]
    fn a_value_on_a_limit_is_inside() {
        // Mean 0 and moving range 1.128 of the two first, by hand: the limits are 3 and -3, as near as f64 comes.
        let chart = individuals_on_baseline(&[-0.564, 0.564], 2, 0.0).unwrap();
        assert_near(chart.upper, 3.0, 1e-15);
        let values = [
            -0.564,
            0.564,
            chart.upper,
            chart.upper + 1e-12,
            chart.lower - 1e-12,
        ];
        let chart = individuals_on_baseline(&values, 2, 0.0).unwrap();
        assert_eq!(chart.outside, [3, 4]);
    }

    #[test]
    fn a_few_equal_results_make_limits_as_wide_as_the_least_scatter() {
        let values = [0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.4];
        assert_eq!(
            individuals_on_baseline(&values, 6, 0.0).unwrap().outside,
            [6]
        );
        let chart = individuals_on_baseline(&values, 6, 0.1).unwrap();
        assert_eq!(chart.outside, Vec::<usize>::new());
        assert_near(chart.upper, 0.6, 1e-15);
        // Equal values lie on their centre, whatever their binary digits.
        assert_eq!(individuals(&[0.1; 7]).unwrap().outside, Vec::<usize>::new());
    }

    #[test]
    fn the_newest_result_has_no_say_in_its_limits() {
        let lengths: Vec<Option<usize>> = [0, 1, 6, 7, 8, 16, 17, 40]
            .into_iter()
            .map(baseline_length)
            .collect();
        assert_eq!(
            lengths,
            [
                None,
                None,
                None,
                Some(6),
                Some(7),
                Some(15),
                Some(15),
                Some(15)
            ]
        );
    }

    #[test]
    fn moving_averages_are_those_of_the_handbook() {
        // NIST/SEMATECH e-Handbook 6.3.2.4, as printed, to two decimals.
        let values = [
            52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3,
            47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
        ];
        let printed = [
            50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36,
            49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
        ];
        let chart = ewma(&values, 0.3, 50.0, 2.0539, 3.0).unwrap();
        for (step, printed) in chart.steps.iter().zip(printed) {
            assert_near(step.average, printed, 0.00501);
        }
        // The upper limit as printed; the lower one was cut there to 47.4115.
        assert_near(chart.upper, 52.5884, 5e-5);
        assert_near(chart.lower, 47.411568, 5e-7);
        assert_eq!(chart.outside, Vec::<usize>::new());
        // Exact limits of a step: recomputed with mpmath 1.4.1.
        for (at, upper) in [
            (0, 51.84851),
            (1, 52.256394012124),
            (2, 52.4314055707954),
            (9, 52.5873988478712),
            (19, 52.5884309141244),
        ] {
            assert_near(chart.steps[at].upper, upper, 1e-12);
            assert_near(chart.steps[at].lower, 100.0 - upper, 1e-12);
        }
    }

    #[test]
    fn exact_limits_see_an_early_jump_that_the_late_ones_miss() {
        // By hand: the first average is 0.2 x 4 = 0.8, its limit 3 x 0.2 = 0.6, the late limit 3 x sqrt(0.2 / 1.8) = 1.
        let chart = ewma(&[4.0, 0.0], 0.2, 0.0, 1.0, 3.0).unwrap();
        assert_near(chart.steps[0].average, 0.8, 1e-15);
        assert_near(chart.steps[0].upper, 0.6, 1e-15);
        assert_near(chart.upper, 1.0, 1e-15);
        assert_eq!(chart.outside, [0]);
        assert_eq!(chart.outside_asymptotic, Vec::<usize>::new());
        let chart = ewma(&[-4.0, -4.0], 0.2, 0.0, 1.0, 3.0).unwrap();
        assert_eq!(chart.outside, [0, 1]);
        assert_eq!(chart.outside_asymptotic, [1]);
        // With lambda 1 it is a chart of single values.
        let chart = ewma(&[2.9, 3.1], 1.0, 0.0, 1.0, 3.0).unwrap();
        assert_eq!(chart.outside, [1]);
        assert_eq!((chart.lower, chart.upper), (-3.0, 3.0));
    }

    #[test]
    fn the_line_is_that_of_the_certified_data() {
        // NIST Statistical Reference Datasets, Norris: certified to 15 digits.
        let y = [
            0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1,
            778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6,
            339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
        ];
        let x = [
            0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6,
            775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8,
            339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
        ];
        let line = line(&x, &y).unwrap();
        for (computed, certified) in [
            (line.intercept, -0.262323073774029),
            (line.intercept_se, 0.232818234301152),
            (line.slope, 1.00211681802045),
            (line.slope_se, 0.429796848199937e-3),
            (line.residual_sd, 0.884796396144373),
            (line.r_squared.unwrap(), 0.999993745883712),
        ] {
            assert_near(computed, certified, 2e-14_f64.max(2e-13 * certified.abs()));
        }
        assert_eq!(line.degrees_of_freedom, 34);
    }

    #[test]
    fn a_drift_is_told_with_its_day() {
        // Recomputed with scipy, and to more digits with mpmath 1.4.1.
        let line = line(&MONTHS, &DRIFT).unwrap();
        assert_near(line.slope, 0.024, 1e-15);
        assert_near(line.slope_se, 0.001835856849095367, 1e-15);
        assert_near(line.intercept, 0.092, 1e-14);
        assert_near(line.intercept_se, 0.02698147512646408, 1e-14);
        let (low, high) = line.slope_interval(0.95).unwrap();
        assert_near(low, 0.01815748415356666, 1e-14);
        assert_near(high, 0.02984251584643334, 1e-14);
        let band = line.prediction(30.0, 0.95).unwrap();
        assert_near(band.centre, 0.812, 1e-14);
        assert_near(band.half_width, 0.1606426266915588, 1e-13);

        let Some(Outlook::Trend(ahead)) = crossing(&line, 24.0, -1.0, 1.0, 60.0) else {
            panic!("no trend");
        };
        let (centre, band) = (ahead.centre.unwrap(), ahead.band.unwrap());
        assert_near(centre.x, 37.833333333333336, 1e-12);
        assert_near(band.x, 30.98114808896506, 1e-12);
        assert_eq!((centre.side, band.side), (Side::Upper, Side::Upper));
    }

    #[test]
    fn what_lies_beyond_the_horizon_is_not_predicted() {
        let line = line(&MONTHS, &DRIFT).unwrap();
        let ahead = |from, lower, upper, horizon| match crossing(&line, from, lower, upper, horizon)
        {
            Some(Outlook::Trend(Crossing { centre, band })) => (centre, band),
            other => panic!("{other:?}"),
        };
        assert_eq!(ahead(24.0, -1.0, 1.0, 30.9), (None, None));
        let (centre, band) = ahead(24.0, -1.0, 1.0, 37.8);
        assert!(centre.is_none() && band.is_some());
        // What was met before is met where one begins to look.
        let (centre, band) = ahead(50.0, -1.0, 1.0, 50.0);
        assert_eq!(
            centre,
            Some(Meeting {
                x: 50.0,
                side: Side::Upper
            })
        );
        assert_eq!(band, centre);
        // So is what is met on the very horizon, and limits that leave no room.
        let met = ahead(24.0, -1.0, 1.0, 60.0).0.unwrap().x;
        assert_eq!(ahead(24.0, -1.0, 1.0, met).0.unwrap().x, met);
        assert_eq!(ahead(24.0, 0.5, 0.5, 60.0).0.unwrap().x, 24.0);
        // To touch a limit is to meet it; where both are passed, the one passed by more is named.
        assert_eq!(reached(0.0, 1.0, -1.0, 1.0), Some(Side::Upper));
        assert_eq!(reached(-1.0, 0.0, -1.0, 1.0), Some(Side::Lower));
        assert_eq!(reached(-1.2, 1.3, -1.0, 1.0), Some(Side::Upper));
        assert_eq!(reached(-1.3, 1.2, -1.0, 1.0), Some(Side::Lower));
        assert_eq!(reached(-0.9, 0.9, -1.0, 1.0), None);
        // A lower limit alone, above which the line stands and from which it moves away.
        assert_eq!(ahead(24.0, -1.0, f64::INFINITY, 1e6), (None, None));
        // The line upside down meets the lower one, at the same month.
        let falling: Vec<f64> = DRIFT.iter().map(|value| -value).collect();
        let falling = super::line(&MONTHS, &falling).unwrap();
        let Some(Outlook::Trend(ahead)) = crossing(&falling, 24.0, -1.0, 1.0, 60.0) else {
            panic!("no trend");
        };
        assert_near(ahead.centre.unwrap().x, 37.833333333333336, 1e-12);
        assert_eq!(ahead.band.unwrap().side, Side::Lower);
    }

    #[test]
    fn scatter_alone_predicts_nothing() {
        // By symmetry the slope is 0.
        let line = line(&[0.0, 1.0, 2.0, 3.0], &[0.5, -0.5, -0.5, 0.5]).unwrap();
        assert_eq!(crossing(&line, 3.0, -1.0, 1.0, 1e6), Some(Outlook::NoTrend));
        // Its band widens all the same, and at 0.5 +/- 3 x 0.7 it is beyond from the start.
        assert_eq!(line.band_meets(3.0, -1.0, 1.0, 10.0).unwrap().x, 3.0);
        assert!(line.band_meets(3.0, -9.0, 9.0, 4.0).is_none());
        assert!(line.band_meets(3.0, -9.0, 9.0, 100.0).is_some());
        // Equal values have a line without slope, and nothing for it to explain.
        let level = super::line(&[0.0, 1.0, 2.0, 3.0], &[0.1; 4]).unwrap();
        assert_eq!((level.slope, level.residual_sd), (0.0, 0.0));
        assert_eq!(level.r_squared, None);
        assert_eq!(
            crossing(&level, 3.0, -1.0, 1.0, 1e6),
            Some(Outlook::NoTrend)
        );
    }

    #[test]
    fn a_drift_is_told_by_the_sign_that_shows_it() {
        // Invented. Ten steady results, of mean 0.01 and mean moving range 1.2 / 9, then one that jumps.
        let days: Vec<f64> = (0..11).map(|at| 30.0 * f64::from(at)).collect();
        let mut values = [0.1, -0.1, 0.0, 0.1, -0.1, 0.0, 0.1, -0.1, 0.0, 0.1, 0.0];
        let signs = |values: &[f64]| drifting(&days, values, 0.0, -2.0, 2.0, 330.0).unwrap();
        assert_eq!(signs(&values), Drifting::default());
        assert!(!signs(&values).is_drifting());
        values[10] = -1.1;
        let jump = signs(&values).newest.unwrap();
        assert_eq!((jump.value, jump.side), (-1.1, Side::Lower));
        // By hand: 0.01 - 3 x 0.13333 / 1.128.
        assert_near(jump.limit, -0.3446099290780142, 1e-14);
        // The same jump is inside where the instrument's own repeatability is known to be larger.
        let calm = drifting(&days, &values, 0.4, -2.0, 2.0, 330.0).unwrap();
        assert_eq!(calm.newest, None);
        // A small lasting shift, each result of which is inside: only the average tells.
        let days: Vec<f64> = (0..24).map(|at| 30.0 * f64::from(at)).collect();
        let shifted: Vec<f64> = (0..24)
            .map(|at| [0.1, -0.1, 0.0][at % 3] + if at < 15 { 0.0 } else { 0.2 })
            .collect();
        let slow = drifting(&days, &shifted, 0.0, -2.0, 2.0, 720.0).unwrap();
        assert_eq!(slow.newest, None);
        assert_eq!(slow.average.unwrap().side, Side::Upper);
        assert!(slow.average.unwrap().value > slow.average.unwrap().limit);
        // A trend that meets a limit before the next result, in a series too short for control limits.
        let months = [0.0, 6.0, 12.0, 18.0, 24.0, 30.0];
        let values = [0.10, 0.22, 0.41, 0.48, 0.69, 0.80];
        let trend = drifting(&months, &values, 0.0, -1.0, 1.0, 36.0).unwrap();
        assert_eq!((trend.newest, trend.average), (None, None));
        assert!(trend.ahead.unwrap().centre.is_none());
        assert_eq!(trend.ahead.unwrap().band.unwrap().side, Side::Upper);
        assert!(
            !drifting(&months, &values, 0.0, -2.0, 2.0, 36.0)
                .unwrap()
                .is_drifting()
        );
        // A next result that was due before the newest is no prediction.
        assert!(
            !drifting(&months, &values, 0.0, -1.0, 1.0, 20.0)
                .unwrap()
                .is_drifting()
        );
    }

    #[test]
    fn one_sign_is_enough() {
        let outside = Some(Outside {
            value: 2.0,
            limit: 1.0,
            side: Side::Upper,
        });
        let none = Drifting::default();
        for one in [
            Drifting {
                newest: outside,
                ..none
            },
            Drifting {
                average: outside,
                ..none
            },
            Drifting {
                ahead: Some(Crossing {
                    centre: None,
                    band: None,
                }),
                ..none
            },
        ] {
            assert!(one.is_drifting());
        }
    }

    #[test]
    fn too_few_or_no_numbers_have_no_figures() {
        assert_eq!(individuals(&[]), None);
        assert_eq!(individuals(&[1.0]), None);
        assert_eq!(individuals(&[1.0, f64::NAN]), None);
        assert_eq!(individuals(&[f64::MAX, f64::MIN]), None);
        assert_eq!(individuals(&[1.7e308, 1.6e308]), None);
        assert_eq!(individuals(&[-1.7e308, -1.6e308]), None);
        assert_eq!(individuals_on_baseline(&[1.0, 2.0], 3, 0.0), None);
        assert_eq!(individuals_on_baseline(&[1.0, 2.0], 1, 0.0), None);
        assert_eq!(individuals_on_baseline(&[1.0, 2.0], 2, -1.0), None);
        assert_eq!(
            individuals_on_baseline(&[1.0, 2.0, f64::INFINITY], 2, 0.0),
            None
        );
        for (lambda, sd) in [
            (0.0, 1.0),
            (1.1, 1.0),
            (f64::NAN, 1.0),
            (0.2, -1.0),
            (0.2, f64::NAN),
        ] {
            assert_eq!(ewma(&[1.0], lambda, 0.0, sd, 3.0), None, "{lambda} {sd}");
        }
        assert_eq!(ewma(&[f64::NAN], 0.2, 0.0, 1.0, 3.0), None);
        assert_eq!(ewma(&[1.7e308], 0.2, -1.7e308, 0.0, 3.0), None);
        assert_eq!(ewma(&[1.7e308], 0.2, 1.7e308, 1e308, 3.0), None);
        assert_eq!(ewma(&[-1.7e308], 0.2, -1.7e308, 1e308, 3.0), None);
        assert_eq!(ewma(&[1.0], 0.2, 0.0, f64::INFINITY, 0.0), None);
        // No scatter and no width are limits all the same.
        assert_eq!(ewma(&[1.0], 0.2, 0.0, 0.0, 3.0).unwrap().outside, [0]);
        assert_eq!(ewma(&[1.0], 0.2, 0.0, 1.0, 0.0).unwrap().outside, [0]);
        assert_eq!(ewma(&[], 0.2, 0.0, 1.0, 3.0).unwrap().steps, []);
        assert_eq!(line(&[], &[]), None);
        assert_eq!(line(&[1.0, 2.0], &[1.0, 2.0]), None);
        assert_eq!(line(&[1.0, 2.0, 3.0], &[1.0, 2.0]), None);
        assert_eq!(line(&[5.0; 4], &[1.0, 2.0, 3.0, 4.0]), None);
        assert_eq!(line(&[1.0, 2.0, f64::NAN], &[1.0, 2.0, 3.0]), None);
        assert_eq!(line(&[1.0, 2.0, 3.0], &[1.0, 2.0, f64::INFINITY]), None);
        assert_eq!(line(&[0.0, 1e200, 2e200], &[1.0, 2.0, 3.0]), None);
        let sound = line(&MONTHS, &DRIFT).unwrap();
        assert_eq!(sound.slope_interval(1.0), None);
        assert_eq!(sound.prediction(f64::NAN, 0.95), None);
        assert_eq!(sound.prediction(30.0, 0.0), None);
        assert_eq!(sound.prediction(1e200, 0.95), None);
        for (from, lower, upper, horizon) in [
            (24.0, 1.0, -1.0, 60.0),
            (24.0, -1.0, 1.0, 23.0),
            (f64::NAN, -1.0, 1.0, 60.0),
            (24.0, -1.0, f64::NAN, 60.0),
            (24.0, -1.0, 1.0, f64::INFINITY),
        ] {
            assert_eq!(crossing(&sound, from, lower, upper, horizon), None);
            assert_eq!(sound.band_meets(from, lower, upper, horizon), None);
        }
        let five = [1.0, 2.0, 3.0, 4.0, 5.0];
        assert_eq!(drifting(&five, &five, 0.0, -1.0, 1.0, 6.0), None);
        assert!(drifting(&[1.0; 6], &[0.0; 6], 0.0, 0.0, 0.0, 6.0).is_some());
        let backwards = [6.0, 5.0, 4.0, 3.0, 2.0, 1.0];
        assert_eq!(drifting(&backwards, &backwards, 0.0, -1.0, 1.0, 7.0), None);
        // A series on one day has a chart, and no line.
        let signs = drifting(&[1.0; 8], &[0.0; 8], 0.1, -1.0, 1.0, 7.0).unwrap();
        assert!(!signs.is_drifting());
    }

    fn values(count: std::ops::Range<usize>) -> impl Strategy<Value = Vec<f64>> {
        proptest::collection::vec(-3.0..3.0_f64, count)
    }

    fn pairs() -> impl Strategy<Value = Vec<(f64, f64)>> {
        proptest::collection::vec((0.0..2000.0_f64, -3.0..3.0_f64), 3..40)
    }

    fn line_of(pairs: &[(f64, f64)]) -> Option<Line> {
        let (x, y): (Vec<f64>, Vec<f64>) = pairs.iter().copied().unzip();
        line(&x, &y)
    }

    /// Any bits of an f64: also subnormal ones, infinities and what is no number.
    fn anything() -> impl Strategy<Value = f64> {
        prop_oneof![
            any::<u64>().prop_map(f64::from_bits),
            Just(0.0),
            Just(1.0),
            Just(f64::INFINITY),
            Just(f64::NAN),
            -3.0..3.0_f64,
        ]
    }

    proptest! {
        #[test]
        fn limits_move_and_widen_with_the_values(
            values in values(2..40),
            by in -100.0..100.0_f64,
            times in 0.01..100.0_f64,
        ) {
            let chart = individuals(&values).unwrap();
            let start = chart.centre;
            let averages = ewma(&values, 0.2, start, chart.sd, 3.0).unwrap();
            let changed: Vec<f64> = values.iter().map(|value| value * times + by).collect();
            let other = individuals(&changed).unwrap();
            let others = ewma(&changed, 0.2, start * times + by, chart.sd * times, 3.0).unwrap();
            for (before, after) in [
                (chart.lower, other.lower),
                (chart.centre, other.centre),
                (chart.upper, other.upper),
                (averages.lower, others.lower),
                (averages.steps[0].upper, others.steps[0].upper),
                (averages.steps.last().unwrap().average, others.steps.last().unwrap().average),
            ] {
                prop_assert!((before * times + by - after).abs() < 1e-10 * (1.0 + by.abs() + times));
            }
        }

        #[test]
        fn exact_limits_widen_to_the_late_ones(values in values(1..40), lambda in 0.01..1.0_f64) {
            let chart = ewma(&values, lambda, 0.0, 1.0, 3.0).unwrap();
            let mut before = 0.0;
            for step in &chart.steps {
                prop_assert!(step.upper >= before && step.upper <= chart.upper);
                before = step.upper;
            }
            for at in &chart.outside_asymptotic {
                prop_assert!(chart.outside.contains(at));
            }
        }

        #[test]
        fn the_order_of_the_points_does_not_move_the_line(
            (pairs, shuffled) in pairs().prop_flat_map(|it| (Just(it.clone()), Just(it).prop_shuffle())),
        ) {
            let (Some(line), Some(other)) = (line_of(&pairs), line_of(&shuffled)) else {
                return Ok(());
            };
            prop_assert!((line.slope - other.slope).abs() <= 1e-12 * (line.slope.abs() + line.slope_se));
            prop_assert!((line.residual_sd - other.residual_sd).abs() <= 1e-12);
            prop_assert!((line.intercept - other.intercept).abs() <= 1e-12 * (1.0 + line.intercept_se));
        }

        #[test]
        fn the_band_meets_a_limit_where_it_is_as_wide(pairs in pairs(), limit in 0.5..6.0_f64) {
            let Some(line) = line_of(&pairs) else { return Ok(()) };
            let Some(meeting) = line.band_meets(2000.0, -limit, limit, 20_000.0) else {
                let band = line.prediction(20_000.0, LINE_COVERAGE).unwrap();
                prop_assert!(band.centre.abs() + band.half_width < limit);
                return Ok(());
            };
            let band = line.prediction(meeting.x, LINE_COVERAGE).unwrap();
            let reach = band.centre.abs() + band.half_width;
            prop_assert!(reach >= limit * (1.0 - 1e-12));
            prop_assert!(meeting.x == 2000.0 || reach <= limit * (1.0 + 1e-9));
            if let Some(Outlook::Trend(Crossing { centre: Some(centre), .. })) =
                crossing(&line, 2000.0, -limit, limit, 20_000.0)
            {
                prop_assert!(centre.x >= meeting.x);
            }
        }

        #[test]
        fn nothing_panics_and_every_figure_is_finite(
            x in proptest::collection::vec(anything(), 0..12),
            y in proptest::collection::vec(anything(), 0..12),
            (a, b, c, d) in (anything(), anything(), anything(), anything()),
            baseline in 0..14_usize,
        ) {
            if let Some(chart) = individuals_on_baseline(&x, baseline, a) {
                prop_assert!(all_finite(&[chart.centre, chart.lower, chart.upper, chart.sd]));
            }
            if let Some(chart) = ewma(&x, a, b, c, d) {
                prop_assert!(chart.steps.iter().all(|it| all_finite(&[it.average, it.lower, it.upper])));
            }
            let shorter = x.len().min(y.len());
            if let Some(line) = line(&x[..shorter], &y[..shorter]) {
                prop_assert!(all_finite(&[line.slope, line.slope_se, line.intercept]));
                let _ = line.slope_interval(a);
                if let Some(band) = line.prediction(a, b) {
                    prop_assert!(all_finite(&[band.centre, band.half_width]));
                }
                let _ = crossing(&line, a, b, c, d);
                let _ = line.band_meets(a, b, c, d);
            }
            let _ = drifting(&x, &y, a, b, c, d);
        }
    }
}
