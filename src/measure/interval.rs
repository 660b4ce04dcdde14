//! Advice on the interval between checks, from what the checks found: three methods side by side, each with its reason.
//!
//! It is advice. Nothing here is applied by itself, and who answers for the laboratory decides. All of it rests on results
//! **as found** ([`AsFound`]): how far an instrument had moved when it came to its check tells how long it may go without
//! one; what it showed after an adjustment tells how good the adjustment was. Times are in days, and deviations are shares
//! of the permissible error, so that 1 and -1 are its limits.

use super::distribution::beta_quantile;
use super::series::{LINE_COVERAGE, LINE_LEAST, Line, Side, line};

/// The share of the permissible error within which a result makes the staircase longer (ILAC-G24 / OIML D 10).
pub const WITHIN_SHARE: f64 = 0.8;

/// The factor of a step longer. The two steps are our choice, after common practice: a result outside takes back about
/// what three good ones gave, since a good result shows less than a bad one.
pub const LONGER: f64 = 1.25;

/// The factor of a step shorter; see [`LONGER`].
pub const SHORTER: f64 = 0.5;

/// The share of the present interval that makes a whole one for the staircase. Our choice: results closer together, such as
/// a failed check and its repeat, count as one by their worst, and none of them makes the interval longer, since a check well
/// before its time says nothing of the days that were left.
pub const EARLY_SHARE: f64 = 0.75;

/// How many times the present interval an advice may be. Our choice, after common practice: advice should not reach far
/// beyond the record that it rests on, and the next results may carry it further.
pub const LONGEST_FACTOR: f64 = 2.0;

/// The share of results that are to be found within the permissible error, where nothing else is aimed at (common
/// practice).
pub const TARGET_SHARE: f64 = 0.95;

/// The coverage of each one-sided bound of a share of results.
pub const BOUND_COVERAGE: f64 = 0.95;

/// The fewest results for the staircase. It needs but one, by its source; we ask for three, so that the first results of an
/// instrument do not move an interval that a person has just settled.
pub const STAIRCASE_LEAST: usize = 3;

/// The fewest results for the control-chart method, since the last adjustment: those from which a line may predict.
pub const CHART_LEAST: usize = LINE_LEAST;

/// The fewest results for the reliability method. Below, a single result moves the share by a fifth and more.
pub const RELIABILITY_LEAST: usize = 6;

/// What an instrument was found to show at a check, **before** anything was done to it. A result as left, after an
/// adjustment, must not be put here.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AsFound {
    /// When, in days from any day.
    pub day: f64,
    /// Its deviation as a share of the permissible error, with its sign: 1 is on the upper limit, -1 on the lower one, and
    /// both are inside. Divide exact figures, so that what lies on a limit stays there.
    pub used: f64,
    /// Whether the instrument was adjusted or repaired after it was found so. No line is drawn across that.
    pub adjusted_after: bool,
}

impl AsFound {
    /// Whether it lies within the permissible error; one on the limit does.
    pub fn is_inside(&self) -> bool {
        self.used.abs() <= 1.0
    }
}

/// The steps of the staircase.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steps {
    /// Within which share of the permissible error a result makes it longer, above 0 and at most 1.
    pub within_share: f64,
    /// The factor of a step longer, above 1.
    pub longer: f64,
    /// The factor of a step shorter, between 0 and 1.
    pub shorter: f64,
}

impl Default for Steps {
    fn default() -> Steps {
        Steps {
            within_share: WITHIN_SHARE,
            longer: LONGER,
            shorter: SHORTER,
        }
    }
}

/// How long an advice may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Caps {
    /// How many times the present interval, at least 1.
    pub factor: f64,
    /// How many days, at least 1: what a policy or a procedure allows.
    pub longest_days: u32,
}

impl Caps {
    /// At most [`LONGEST_FACTOR`] times the present interval.
    pub fn up_to(longest_days: u32) -> Caps {
        Caps {
            factor: LONGEST_FACTOR,
            longest_days,
        }
    }
}

/// What kept an advice from being what its method came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cap {
    /// The factor by which the present interval may grow.
    Factor,
    /// The longest interval allowed.
    LongestDays,
    /// No interval is below a day.
    OneDay,
}

/// How an advice compares with the present interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    Shorter,
    Unchanged,
    Longer,
}

/// What one method advises.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Proposal {
    /// The interval, in whole days.
    pub days: u32,
    pub change: Change,
    /// What cut it, if anything did.
    pub cap: Option<Cap>,
    pub reason: Reason,
}

/// What one method says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Answer {
    /// Nothing: it has `results`, and needs `least`.
    TooFew {
        results: usize,
        least: usize,
    },
    Proposal(Proposal),
}

impl Answer {
    pub fn proposal(&self) -> Option<&Proposal> {
        match self {
            Answer::TooFew { .. } => None,
            Answer::Proposal(proposal) => Some(proposal),
        }
    }
}

/// Why a method advises what it does, with the figures. Shares are those of the permissible error, times are in days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reason {
    /// Staircase, longer: the newest result is within this share.
    WithinShare { used: f64, within_share: f64 },
    /// Staircase, unchanged: the newest result is within that share, but was found so soon after the one before (or the
    /// first) that it says nothing of a whole interval.
    FoundEarly { used: f64, after_days: f64 },
    /// Staircase, unchanged: the newest result is inside, but not within that share.
    NearLimit { used: f64, within_share: f64 },
    /// Staircase, shorter, and control chart, unchanged: the newest result is outside.
    Outside { used: f64 },

    /// Control chart or reliability, unchanged: all results are of one time, so nothing is known of how they change.
    OneTime,
    /// Control chart: there is a trend, and its band of prediction meets a limit so many days after the newest result.
    /// After 0 days it is there already, and what the instrument needs is an adjustment rather than another interval.
    TrendMeetsLimit { trend: Trend, days: f64, side: Side },
    /// Control chart, as long as is allowed: there is a trend, but its band stays inside for all these days.
    TrendStaysInside { trend: Trend, days: f64 },
    /// Control chart: no trend can be told, and with what is not known of it the band meets a limit after so many days,
    /// which is not before the present interval ends.
    SteadyUntil { trend: Trend, days: f64 },
    /// Control chart, as long as is allowed: no trend can be told, and the band stays inside for all these days.
    SteadyInside { trend: Trend, days: f64 },
    /// Control chart, unchanged: no trend can be told, and the band meets a limit before the present interval ends, after
    /// so many days. That is scatter, or an offset, or too few results; a shorter interval would cure none of them.
    ScatterReachesLimit { trend: Trend, days: f64, side: Side },

    /// Reliability, longer: even the lower bound of the share inside is not below the target.
    ShareProven(Share),
    /// Reliability, shorter: even the upper bound of the share inside is below the target.
    ShareRefuted(Share),
    /// Reliability, unchanged: the results neither prove nor refute the target.
    ShareOpen(Share),
}

/// The line through the results since the last adjustment, in shares of the permissible error and days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    pub results: usize,
    /// The share gained each day.
    pub slope: f64,
    /// Between which two values the slope lies, with a coverage of 95 %.
    pub slope_interval: (f64, f64),
    /// Where the line stands at the newest result.
    pub at_newest: f64,
    pub residual_sd: f64,
}

/// How many results were found inside, and what that shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    pub inside: u32,
    pub results: u32,
    /// One-sided bounds of the true share, each with a coverage of 95 %.
    pub lower: f64,
    pub upper: f64,
    pub target: f64,
    /// After how many days the results are taken to have been found: the mean time between them, but not more than the
    /// present interval.
    pub found_after_days: f64,
    /// The interval at which the exponential model reaches the target with the share as it was found; `None` where all or
    /// no results are inside, from which it draws nothing.
    pub model_days: Option<f64>,
}

/// What all methods say, side by side. They look at different things, so they need not agree.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Advice {
    pub present_days: u32,
    pub staircase: Answer,
    pub control_chart: Answer,
    pub reliability: Answer,
}

impl Advice {
    /// The shortest interval that any method advises; `None` where all have too few results.
    pub fn shortest_days(&self) -> Option<u32> {
        [&self.staircase, &self.control_chart, &self.reliability]
            .into_iter()
            .filter_map(|answer| answer.proposal())
            .map(|proposal| proposal.days)
            .min()
    }
}

/// What may be settled for an advice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Practice {
    pub steps: Steps,
    pub caps: Caps,
    /// The share of results to be found inside, between 0 and 1.
    pub target_share: f64,
}

impl Practice {
    /// The figures of common practice, with the longest interval allowed.
    pub fn common(longest_days: u32) -> Practice {
        Practice {
            steps: Steps::default(),
            caps: Caps::up_to(longest_days),
            target_share: TARGET_SHARE,
        }
    }

    fn is_sound(&self) -> bool {
        let Practice { steps, caps, .. } = self;
        steps.within_share > 0.0
            && steps.within_share <= 1.0
            && steps.longer > 1.0
            && steps.longer.is_finite()
            && steps.shorter > 0.0
            && steps.shorter < 1.0
            && caps.factor >= 1.0
            && caps.factor.is_finite()
            && caps.longest_days >= 1
            && self.target_share > 0.0
            && self.target_share < 1.0
    }
}

/// What the results `found`, all of one series and in whatever order, say of the interval of `present_days`. Of two results
/// at the same time the later in the list is the newer. `None` for an interval of no days, settings that make no sense, and
/// results that are no numbers.
///
/// The staircase and the control-chart method are those of ILAC-G24 / OIML D 10.
pub fn advise(found: &[AsFound], present_days: u32, practice: &Practice) -> Option<Advice> {
    let finite = found
        .iter()
        .all(|result| result.day.is_finite() && result.used.is_finite());
    if !(finite && present_days >= 1 && practice.is_sound()) {
        return None;
    }
    let mut found = found.to_vec();
    found.sort_by(|left, right| left.day.total_cmp(&right.day));
    let present = Present {
        days: present_days,
        caps: practice.caps,
    };
    let adjusted = found.iter().rposition(|result| result.adjusted_after);
    let since_adjustment = found.get(adjusted.map_or(0, |at| at + 1)..)?;
    let answer = |results: &[AsFound], least, method: &dyn Fn() -> Option<Proposal>| {
        if results.len() < least {
            let results = results.len();
            return Some(Answer::TooFew { results, least });
        }
        method().map(Answer::Proposal)
    };
    Some(Advice {
        present_days,
        staircase: answer(&found, STAIRCASE_LEAST, &|| {
            staircase(&found, &present, &practice.steps)
        })?,
        control_chart: answer(since_adjustment, CHART_LEAST, &|| {
            control_chart(since_adjustment, &present)
        })?,
        reliability: answer(&found, RELIABILITY_LEAST, &|| {
            reliability(&found, &present, practice.target_share)
        })?,
    })
}

/// The present interval and how far advice may go from it.
struct Present {
    days: u32,
    caps: Caps,
}

impl Present {
    /// The longest interval that may be advised, in days, and what holds it there.
    fn longest(&self) -> (u32, Cap) {
        let grown = (f64::from(self.days) * self.caps.factor).floor() as u32;
        if grown < self.caps.longest_days {
            (grown, Cap::Factor)
        } else {
            (self.caps.longest_days, Cap::LongestDays)
        }
    }

    /// So many days, cut to whole ones and to the caps.
    fn propose(&self, days: f64, reason: Reason) -> Proposal {
        let (longest, cap_of_longest) = self.longest();
        // 1.15 times 100 days are 115 days, also in binary digits.
        let wanted = (days * (1.0 + 1e-12)).floor();
        let (days, cap) = if wanted > f64::from(longest) {
            (longest, Some(cap_of_longest))
        } else if wanted < 1.0 {
            (1, Some(Cap::OneDay))
        } else {
            (wanted as u32, None)
        };
        let change = match days.cmp(&self.days) {
            std::cmp::Ordering::Less => Change::Shorter,
            std::cmp::Ordering::Equal => Change::Unchanged,
            std::cmp::Ordering::Greater => Change::Longer,
        };
        Proposal {
            days,
            change,
            cap,
            reason,
        }
    }

    /// A longer interval, by a day at least.
    fn propose_longer(&self, days: f64, reason: Reason) -> Proposal {
        self.propose(days.max(f64::from(self.days) + 1.0), reason)
    }

    /// A shorter interval, by a day at least.
    fn propose_shorter(&self, days: f64, reason: Reason) -> Proposal {
        self.propose(days.min(f64::from(self.days) - 1.0), reason)
    }

    fn keep(&self, reason: Reason) -> Proposal {
        self.propose(f64::from(self.days), reason)
    }
}

fn staircase(found: &[AsFound], present: &Present, steps: &Steps) -> Option<Proposal> {
    let Steps {
        within_share,
        longer,
        shorter,
    } = *steps;
    let days = f64::from(present.days);
    let (first, newest) = (found.first()?, found.last()?);
    let whole = days * EARLY_SHARE;
    let (before, close) =
        found.split_at(found.partition_point(|result| newest.day - result.day >= whole));
    let worst = close
        .iter()
        .max_by(|left, right| left.used.abs().total_cmp(&right.used.abs()))?;
    let after_days = close.first()?.day - before.last().unwrap_or(first).day;
    let used = worst.used;
    Some(if !worst.is_inside() {
        present.propose_shorter(days * shorter, Reason::Outside { used })
    } else if used.abs() > within_share {
        present.keep(Reason::NearLimit { used, within_share })
    } else if after_days < whole {
        present.keep(Reason::FoundEarly { used, after_days })
    } else {
        present.propose_longer(days * longer, Reason::WithinShare { used, within_share })
    })
}

fn control_chart(found: &[AsFound], present: &Present) -> Option<Proposal> {
    let (days, used): (Vec<f64>, Vec<f64>) =
        found.iter().map(|result| (result.day, result.used)).unzip();
    let newest = *days.last()?;
    let Some(line) = line(&days, &used) else {
        return Some(present.keep(Reason::OneTime));
    };
    let trend = trend_of(&line, found.len(), newest)?;
    let longest = f64::from(present.longest().0);
    let meeting = line.band_meets(newest, -1.0, 1.0, newest + longest);
    let has_trend = line.has_trend();
    // However steady the line, what was found outside is no reason for longer.
    let is_outside = found.last().is_some_and(|newest| !newest.is_inside());
    let Some(meeting) = meeting else {
        if is_outside {
            let used = *used.last()?;
            return Some(present.keep(Reason::Outside { used }));
        }
        let reason = if has_trend {
            Reason::TrendStaysInside {
                trend,
                days: longest,
            }
        } else {
            Reason::SteadyInside {
                trend,
                days: longest,
            }
        };
        return Some(present.propose(f64::INFINITY, reason));
    };
    let (days, side) = (meeting.x - newest, meeting.side);
    Some(if has_trend {
        present.propose(days, Reason::TrendMeetsLimit { trend, days, side })
    } else if days < f64::from(present.days) || is_outside {
        present.keep(Reason::ScatterReachesLimit { trend, days, side })
    } else {
        present.propose(days, Reason::SteadyUntil { trend, days })
    })
}

fn trend_of(line: &Line, results: usize, newest: f64) -> Option<Trend> {
    Some(Trend {
        results,
        slope: line.slope,
        slope_interval: line.slope_interval(LINE_COVERAGE)?,
        at_newest: line.at(newest),
        residual_sd: line.residual_sd,
    })
}

fn reliability(found: &[AsFound], present: &Present, target: f64) -> Option<Proposal> {
    let results = u32::try_from(found.len()).ok()?;
    let inside = u32::try_from(found.iter().filter(|it| it.is_inside()).count()).ok()?;
    let gaps = f64::from(results - 1);
    let between = (found.last()?.day - found.first()?.day) / gaps;
    let found_after_days = between.min(f64::from(present.days));
    if found_after_days <= 0.0 {
        return Some(present.keep(Reason::OneTime));
    }
    let observed = f64::from(inside) / f64::from(results);
    let share = Share {
        inside,
        results,
        lower: share_at_least(inside, results, BOUND_COVERAGE)?,
        upper: share_at_most(inside, results, BOUND_COVERAGE)?,
        target,
        found_after_days,
        model_days: interval_for_target(found_after_days, observed, target),
    };
    Some(if share.upper < target {
        // Where no result is inside the model gives no interval above 0.
        let days = share.model_days.unwrap_or(0.0);
        present.propose_shorter(days, Reason::ShareRefuted(share))
    } else if share.lower >= target {
        // By what is proven, not by what was found: with all results inside the model would have no end.
        let days = interval_for_target(found_after_days, share.lower, target)?;
        present.propose(
            days.max(f64::from(present.days)),
            Reason::ShareProven(share),
        )
    } else {
        present.keep(Reason::ShareOpen(share))
    })
}

/// The interval after which the share `target` is still inside, where `observed` is after `days` and the share falls
/// exponentially with time: days x ln target / ln observed, in the unit of `days`. `None` unless both shares are between 0
/// and 1, for then it has no such interval, or no end.
pub fn interval_for_target(days: f64, observed: f64, target: f64) -> Option<f64> {
    let is_share = |share: f64| share > 0.0 && share < 1.0;
    if !(is_share(observed) && is_share(target) && days >= 0.0) {
        return None;
    }
    let interval = days * (target.ln() / observed.ln());
    interval.is_finite().then_some(interval)
}

/// The lower bound of the true share of results inside, one-sided, with this coverage, where `inside` of `results` were
/// found so. `None` without results, for more inside than there are, for a hundred thousand and more of which some are
/// outside, and for no coverage between 0 and 1.
///
/// Clopper and Pearson 1934.
pub fn share_at_least(inside: u32, results: u32, coverage: f64) -> Option<f64> {
    if results == 0 || inside > results || !(coverage > 0.0 && coverage < 1.0) {
        return None;
    }
    let outside = f64::from(results - inside);
    if inside == 0 {
        Some(0.0)
    } else if outside == 0.0 {
        Some(((-coverage).ln_1p() / f64::from(results)).exp())
    } else {
        beta_quantile(1.0 - coverage, f64::from(inside), outside + 1.0)
    }
}

/// The upper bound of that share, likewise.
pub fn share_at_most(inside: u32, results: u32, coverage: f64) -> Option<f64> {
    let outside = results.checked_sub(inside)?;
    Some(1.0 - share_at_least(outside, results, coverage)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn assert_near(computed: f64, expected: f64, within: f64) {
        assert!(
            (computed - expected).abs() <= within,
            "{computed} is not {expected}"
        );
    }

    fn as_found(day: f64, used: f64) -> AsFound {
        AsFound {
            day,
            used,
            adjusted_after: false,
        }
    }

    /// Results every `days`, none of them followed by an adjustment.
    fn every(days: f64, used: &[f64]) -> Vec<AsFound> {
        let mut day = 0.0;
        used.iter()
            .map(|used| {
                day += days;
                as_found(day, *used)
            })
            .collect()
    }

    fn common(found: &[AsFound], present_days: u32) -> Advice {
        advise(found, present_days, &Practice::common(1000)).unwrap()
    }

    #[track_caller]
    fn proposal(answer: Answer) -> Proposal {
        *answer.proposal().unwrap()
    }

    #[test]
    fn the_staircase_goes_by_the_newest_result() {
        // ILAC-G24 / OIML D 10: longer within 80 % of the permissible error, shorter outside it, else unchanged. The steps
        // of 1.25 and 0.5 are ours; 450 and 180 days by hand.
        for (used, change, days) in [
            (0.0, Change::Longer, 450),
            (0.8, Change::Longer, 450),
            (-0.8, Change::Longer, 450),
            (0.801, Change::Unchanged, 360),
            (1.0, Change::Unchanged, 360),
            (-1.0, Change::Unchanged, 360),
            (1.001, Change::Shorter, 180),
            (-2.5, Change::Shorter, 180),
        ] {
            let said = proposal(common(&every(360.0, &[0.9, -1.5, used]), 360).staircase);
            assert_eq!(
                (said.change, said.days, said.cap),
                (change, days, None),
                "{used}"
            );
            let named = match said.reason {
                Reason::WithinShare { used, within_share } => {
                    assert_eq!((change, within_share), (Change::Longer, 0.8));
                    used
                }
                Reason::NearLimit { used, within_share } => {
                    assert_eq!((change, within_share), (Change::Unchanged, 0.8));
                    used
                }
                Reason::Outside { used } => {
                    assert_eq!(change, Change::Shorter);
                    used
                }
                other => panic!("{other:?}"),
            };
            assert_eq!(named, used);
        }
    }

    #[test]
    fn results_close_together_count_by_their_worst() {
        let mut found = every(360.0, &[0.1, 0.2, 1.3]);
        // The repeat a day after the failure passes; the failure still counts.
        found.push(as_found(1081.0, 0.5));
        let said = proposal(common(&found, 360).staircase);
        assert_eq!(said.reason, Reason::Outside { used: 1.3 });
        assert_eq!(said.change, Change::Shorter);
        // A whole interval later it no longer does.
        found.push(as_found(1441.0, 0.6));
        assert_eq!(proposal(common(&found, 360).staircase).days, 450);
        // Where the instrument is checked each month, a good result does not say that it may go for longer than a year.
        let said = proposal(common(&every(30.0, &[0.1; 24]), 360).staircase);
        assert_eq!(
            said.reason,
            Reason::FoundEarly {
                used: 0.1,
                after_days: 30.0
            }
        );
        assert_eq!((said.days, said.change), (360, Change::Unchanged));
        // Three results within one interval have none before them.
        let said = proposal(common(&every(30.0, &[0.1, 0.2, 0.1]), 360).staircase);
        assert_eq!(
            said.reason,
            Reason::FoundEarly {
                used: 0.2,
                after_days: 0.0
            }
        );
        // 270 days are three quarters of 360, and enough; what was found before them counts no more.
        let said = common(&every(270.0, &[0.1, 1.5, 0.1]), 360);
        assert_eq!(proposal(said.staircase).days, 450);
        assert_eq!(
            proposal(common(&every(270.0, &[0.1; 3]), 360).staircase).days,
            450
        );
        assert_eq!(
            proposal(common(&every(269.9, &[0.1; 3]), 360).staircase).days,
            360
        );
    }

    #[test]
    fn too_few_results_have_no_advice() {
        let too_few = |results, least| Answer::TooFew { results, least };
        let said = common(&every(360.0, &[1.5, 1.5]), 360);
        assert_eq!(said.staircase, too_few(2, 3));
        assert_eq!(said.control_chart, too_few(2, 6));
        assert_eq!(said.reliability, too_few(2, 6));
        assert_eq!(said.shortest_days(), None);
        let said = common(&[], 360);
        assert_eq!(said.staircase, too_few(0, 3));
        let said = common(&every(360.0, &[1.5; 5]), 360);
        assert_eq!(said.shortest_days(), Some(180));
        assert_eq!(said.reliability, too_few(5, 6));
        // No line is drawn across an adjustment.
        let mut found = every(360.0, &[0.1; 9]);
        found[4].adjusted_after = true;
        assert_eq!(common(&found, 360).control_chart, too_few(4, 6));
        found[4].adjusted_after = false;
        found[2].adjusted_after = true;
        assert!(common(&found, 360).control_chart.proposal().is_some());
        found[8].adjusted_after = true;
        assert_eq!(common(&found, 360).control_chart, too_few(0, 6));
    }

    #[test]
    fn a_trend_shortens_to_where_its_band_meets_the_limit() {
        // Invented results; the line and its band recomputed with mpmath 1.4.1.
        let slow = every(180.0, &[0.05, 0.14, 0.27, 0.33, 0.47, 0.55]);
        let said = proposal(common(&slow, 180).control_chart);
        let Reason::TrendStaysInside { trend, days } = said.reason else {
            panic!("{:?}", said.reason);
        };
        assert_eq!((said.days, said.cap, days), (360, Some(Cap::Factor), 360.0));
        assert_near(trend.slope, 0.0005634920634920635, 1e-16);
        assert_near(trend.slope_interval.0, 0.0004983729372880877, 1e-15);
        assert_near(trend.slope_interval.1, 0.0006286111896960393, 1e-15);
        assert_near(trend.residual_sd, 0.01766082562919304, 1e-14);
        assert_near(trend.at_newest, 0.5552380952380952, 1e-14);
        assert_eq!(trend.results, 6);
        let said = proposal(common(&slow, 400).control_chart);
        let Reason::TrendMeetsLimit { days, side, .. } = said.reason else {
            panic!("{:?}", said.reason);
        };
        assert_near(days, 632.795849705909, 1e-9);
        assert_eq!(
            (said.days, said.change, side),
            (632, Change::Longer, Side::Upper)
        );

        let used = [0.05, 0.20, 0.39, 0.53, 0.72, 0.88];
        let falling: Vec<f64> = used.iter().map(|used| -used).collect();
        for (used, expected) in [(used.to_vec(), Side::Upper), (falling, Side::Lower)] {
            let said = proposal(common(&every(180.0, &used), 180).control_chart);
            let Reason::TrendMeetsLimit { days, side, .. } = said.reason else {
                panic!("{:?}", said.reason);
            };
            assert_near(days, 82.83374938455852, 1e-9);
            assert_eq!(
                (said.days, said.change, side),
                (82, Change::Shorter, expected)
            );
        }
        // It has gone past the limit.
        let past = every(180.0, &[0.05, 0.30, 0.59, 0.83, 1.12, 1.38]);
        let said = proposal(common(&past, 180).control_chart);
        assert!(matches!(
            said.reason,
            Reason::TrendMeetsLimit { days: 0.0, .. }
        ));
        assert_eq!((said.days, said.cap), (1, Some(Cap::OneDay)));
    }

    #[test]
    fn scatter_never_shortens() {
        // Invented results; the bands recomputed with mpmath 1.4.1.
        let steady = every(180.0, &[0.05, -0.14, 0.17, -0.03, 0.07, 0.05]);
        let said = proposal(common(&steady, 180).control_chart);
        assert!(matches!(
            said.reason,
            Reason::SteadyInside { days: 360.0, .. }
        ));
        assert_eq!(said.days, 360);
        let wider = every(180.0, &[0.11, -0.28, 0.34, -0.06, 0.14, 0.10]);
        let said = proposal(common(&wider, 160).control_chart);
        let Reason::SteadyUntil { days, .. } = said.reason else {
            panic!("{:?}", said.reason);
        };
        assert_near(days, 168.3477155321518, 1e-9);
        assert_eq!((said.days, said.change), (168, Change::Longer));
        let said = proposal(common(&wider, 180).control_chart);
        let Reason::ScatterReachesLimit { days, side, .. } = said.reason else {
            panic!("{:?}", said.reason);
        };
        assert_near(days, 168.3477155321518, 1e-9);
        assert_eq!(
            (said.days, said.change, side),
            (180, Change::Unchanged, Side::Upper)
        );
        let wild = every(180.0, &[0.05, -0.54, 0.57, -0.43, 0.47, -0.05]);
        let said = proposal(common(&wild, 180).control_chart);
        assert!(matches!(
            said.reason,
            Reason::ScatterReachesLimit { days: 0.0, .. }
        ));
        assert_eq!(said.change, Change::Unchanged);
    }

    #[test]
    fn reliability_moves_the_interval_only_where_the_share_is_settled() {
        let results = |inside: usize, outside: usize| {
            let mut used = vec![0.5; inside];
            used.extend(vec![1.5; outside]);
            proposal(common(&every(365.0, &used), 365).reliability)
        };
        // 18 of 20 is a share of 0.90: the model has 177.695 days (mpmath 1.4.1), but they may well be 95 %. Bounds by
        // scipy 1.17.1, binomtest.
        let said = results(18, 2);
        let Reason::ShareOpen(share) = said.reason else {
            panic!("{:?}", said.reason);
        };
        assert_near(share.model_days.unwrap(), 177.69514826843246, 1e-9);
        assert_near(share.lower, 0.7173814751141391, 1e-12);
        assert_near(share.upper, 0.9819347969145814, 1e-12);
        assert_eq!(
            (share.inside, share.results, share.found_after_days),
            (18, 20, 365.0)
        );
        assert_eq!((said.days, said.change), (365, Change::Unchanged));
        // 2 of 6: at most 0.7287 by scipy, so fewer than 95 % for sure.
        let said = results(2, 4);
        assert!(matches!(said.reason, Reason::ShareRefuted(share) if share.upper < 0.73));
        assert_eq!((said.days, said.change), (17, Change::Shorter));
        assert_eq!(results(0, 6).cap, Some(Cap::OneDay));
        // All of 58 are at least 0.94966, all of 59 at least 0.95049 (scipy); 80 give 499.97 days (mpmath).
        assert!(
            matches!(results(58, 0).reason, Reason::ShareOpen(share) if share.model_days.is_none())
        );
        assert_eq!(
            (results(59, 0).days, results(59, 0).change),
            (368, Change::Longer)
        );
        assert_eq!(results(80, 0).days, 499);
        assert!(matches!(results(80, 0).reason, Reason::ShareProven(_)));
        // Checks more often than the interval show what holds for their own time.
        let weekly = proposal(common(&every(36.5, &[0.5; 80]), 365).reliability);
        assert!(
            matches!(weekly.reason, Reason::ShareProven(share) if share.found_after_days < 37.0)
        );
        assert_eq!(weekly.change, Change::Unchanged);
    }

    #[test]
    fn the_model_of_reliability() {
        // mpmath 1.4.1: 12 ln 0.95 / ln 0.90.
        assert_near(
            interval_for_target(12.0, 0.90, 0.95).unwrap(),
            5.8420322718388755,
            1e-14,
        );
        assert_near(interval_for_target(12.0, 0.95, 0.95).unwrap(), 12.0, 1e-14);
        assert_eq!(interval_for_target(0.0, 0.9, 0.95), Some(0.0));
        for (days, observed, target) in [
            (12.0, 1.0, 0.95),
            (12.0, 0.0, 0.95),
            (12.0, 0.9, 1.0),
            (12.0, 0.9, f64::NAN),
            (-1.0, 0.9, 0.95),
            (f64::INFINITY, 0.9, 0.95),
        ] {
            assert_eq!(interval_for_target(days, observed, target), None);
        }
    }

    #[test]
    fn the_shortest_of_the_advices() {
        // Eight checks as good as new: the staircase has 456 days, the control chart 730, and eight prove no share.
        let said = common(&every(365.0, &[0.1; 8]), 365);
        let days =
            [said.staircase, said.control_chart, said.reliability].map(|it| proposal(it).days);
        assert_eq!(days, [456, 730, 365]);
        assert_eq!(said.shortest_days(), Some(365));
        let mut used = [0.1; 8];
        used[7] = 1.2;
        assert_eq!(common(&every(365.0, &used), 365).shortest_days(), Some(182));
    }

    #[test]
    fn what_a_share_proves() {
        // scipy 1.17.1: binomtest(...).proportion_ci(method="exact"); 20 of 20 also by hand, 0.05^(1/20).
        for (inside, results, coverage, lower, upper) in [
            (20, 20, 0.95, 0.8608916593317348, 1.0),
            (0, 20, 0.95, 0.0, 0.1391083406682652),
            (19, 20, 0.95, 0.783893835793151, 0.9974386212234697),
            (1, 20, 0.95, 0.002561378776530283, 0.2161061642068695),
            (45, 50, 0.95, 0.801166997484, 0.959763409597887),
            (97, 100, 0.99, 0.903028954735, 0.995605023544113),
            (4, 5, 0.95, 0.342591681998862, 0.989793781686957),
            (9_900, 10_000, 0.95, 0.98820276602854, 0.99157980106326),
        ] {
            assert_near(
                share_at_least(inside, results, coverage).unwrap(),
                lower,
                1e-11,
            );
            assert_near(
                share_at_most(inside, results, coverage).unwrap(),
                upper,
                1e-11,
            );
        }
        assert_eq!(share_at_least(0, 0, 0.95), None);
        assert_eq!(share_at_least(1, 1_000_000, 0.95), None);
        assert_eq!(share_at_least(3, 2, 0.95), None);
        assert_eq!(share_at_most(3, 2, 0.95), None);
        assert_eq!(share_at_least(1, 2, 1.0), None);
        assert_eq!(share_at_least(1, 2, f64::NAN), None);
        assert_eq!(share_at_least(2, 2, 1.0), None);
        assert_eq!(share_at_least(2, 2, 0.0), None);
    }

    #[test]
    fn caps_hold_and_days_are_whole() {
        let good = every(365.0, &[0.1; 3]);
        let with = |practice: &Practice, present: u32| {
            proposal(advise(&good, present, practice).unwrap().staircase)
        };
        // 1.25 x 365 are 456.25 days.
        assert_eq!(
            (
                with(&Practice::common(1000), 365).days,
                with(&Practice::common(1000), 365).cap
            ),
            (456, None)
        );
        let capped = with(&Practice::common(400), 365);
        assert_eq!((capped.days, capped.cap), (400, Some(Cap::LongestDays)));
        let mut practice = Practice::common(1000);
        practice.caps.factor = 1.1;
        let capped = with(&practice, 365);
        assert_eq!((capped.days, capped.cap), (401, Some(Cap::Factor)));
        // The present interval itself is longer than what is allowed.
        let capped = with(&Practice::common(300), 365);
        assert_eq!((capped.days, capped.change), (300, Change::Shorter));
        assert_eq!(capped.cap, Some(Cap::LongestDays));
        // 1.15 x 100 is 114.99999999999999 in binary digits; a step longer is a day at least.
        let mut practice = Practice::common(1000);
        practice.steps.longer = 1.15;
        assert_eq!(with(&practice, 100).days, 115);
        assert_eq!(with(&practice, 2).days, 3);
        // What comes to a cap by itself is not cut by it; of two equal caps the days are named.
        let mut practice = Practice::common(450);
        assert_eq!(
            (with(&practice, 360).days, with(&practice, 360).cap),
            (450, None)
        );
        practice.steps.longer = 1.5;
        practice.caps.factor = 1.25;
        assert_eq!(with(&practice, 360).cap, Some(Cap::LongestDays));
        // Half of one day is one day.
        let bad = every(365.0, &[0.1, 0.1, 2.0]);
        let said = proposal(common(&bad, 1).staircase);
        assert_eq!(
            (said.days, said.change, said.cap),
            (1, Change::Unchanged, Some(Cap::OneDay))
        );
        assert_eq!(proposal(common(&bad, 3).staircase).days, 1);
        assert_eq!(proposal(common(&bad, 5).staircase).days, 2);
        assert_eq!(proposal(common(&bad, 2).staircase).cap, None);
        // A step shorter is a day at least.
        let mut practice = Practice::common(1000);
        practice.steps.shorter = 1.0 - 1e-13;
        let said = advise(&bad, 100, &practice).unwrap();
        assert_eq!(proposal(said.staircase).days, 99);
    }

    #[test]
    fn results_of_one_time_tell_no_change() {
        let said = common(&[as_found(5.0, 0.1); 8], 30);
        assert_eq!(proposal(said.control_chart).reason, Reason::OneTime);
        assert_eq!(proposal(said.reliability).reason, Reason::OneTime);
        assert_eq!(said.shortest_days(), Some(30));
    }

    #[test]
    fn settings_that_make_no_sense_have_no_advice() {
        let good = every(365.0, &[0.1; 8]);
        let mut settings = vec![];
        let mut with = |change: fn(&mut Practice)| {
            let mut practice = Practice::common(1000);
            change(&mut practice);
            settings.push(practice);
        };
        with(|it| it.steps.within_share = 1.1);
        with(|it| it.steps.within_share = 0.0);
        with(|it| it.steps.longer = 1.0);
        with(|it| it.steps.longer = f64::INFINITY);
        with(|it| it.steps.shorter = 1.0);
        with(|it| it.steps.shorter = 0.0);
        with(|it| it.caps.factor = 0.9);
        with(|it| it.caps.factor = f64::NAN);
        with(|it| it.caps.longest_days = 0);
        with(|it| it.target_share = 1.0);
        with(|it| it.target_share = 0.0);
        with(|it| it.target_share = f64::NAN);
        for practice in settings {
            assert_eq!(advise(&good, 365, &practice), None, "{practice:?}");
        }
        let practice = Practice::common(1000);
        assert!(advise(&good, 365, &practice).is_some());
        let mut extreme = Practice::common(1);
        extreme.caps.factor = 1.0;
        extreme.steps.within_share = 1.0;
        assert_eq!(advise(&good, 1, &extreme).unwrap().shortest_days(), Some(1));
        assert_eq!(advise(&good, 0, &practice), None);
        assert_eq!(advise(&[as_found(f64::NAN, 0.1)], 365, &practice), None);
        assert_eq!(
            advise(&[as_found(1.0, f64::INFINITY)], 365, &practice),
            None
        );
    }

    fn results() -> impl Strategy<Value = Vec<AsFound>> {
        let result = (
            0.0..3000.0_f64,
            -2.0..2.0_f64,
            proptest::bool::weighted(0.1),
        );
        let result = result.prop_map(|(day, used, adjusted_after)| AsFound {
            day,
            used,
            adjusted_after,
        });
        proptest::collection::vec(result, 0..30)
    }

    fn practices() -> impl Strategy<Value = Practice> {
        (
            0.1..1.0_f64,
            1.01..3.0_f64,
            0.1..0.99_f64,
            1.0..4.0_f64,
            1..2000_u32,
            0.5..0.99_f64,
        )
            .prop_map(
                |(within_share, longer, shorter, factor, longest_days, target_share)| Practice {
                    steps: Steps {
                        within_share,
                        longer,
                        shorter,
                    },
                    caps: Caps {
                        factor,
                        longest_days,
                    },
                    target_share,
                },
            )
    }

    fn answers(advice: &Advice) -> [Answer; 3] {
        [advice.staircase, advice.control_chart, advice.reliability]
    }

    proptest! {
        #[test]
        fn no_advice_is_longer_than_its_caps(
            found in results(),
            present in 1..1000_u32,
            practice in practices(),
        ) {
            let advice = advise(&found, present, &practice).unwrap();
            for said in answers(&advice).iter().filter_map(Answer::proposal) {
                prop_assert!(said.days >= 1 && said.days <= practice.caps.longest_days);
                prop_assert!(f64::from(said.days) <= f64::from(present) * practice.caps.factor);
                prop_assert_eq!(said.change == Change::Longer, said.days > present);
                prop_assert_eq!(said.change == Change::Shorter, said.days < present);
            }
        }

        #[test]
        fn the_staircase_is_shorter_after_a_result_outside(
            found in results(),
            beyond in 0.001..5.0_f64,
            present in 2..1000_u32,
            practice in practices(),
        ) {
            let mut found = found;
            found.push(as_found(3000.0, 1.0 + beyond));
            let advice = advise(&found, present, &practice).unwrap();
            if let Some(said) = advice.staircase.proposal() {
                prop_assert_eq!(said.change, Change::Shorter);
            }
        }

        #[test]
        fn neither_order_nor_direction_changes_the_advice(
            (found, shuffled) in results().prop_flat_map(|it| (Just(it.clone()), Just(it).prop_shuffle())),
            present in 1..1000_u32,
        ) {
            let advice = common(&found, present);
            let other = common(&shuffled, present);
            let mirrored: Vec<AsFound> = found
                .iter()
                .map(|it| AsFound { used: -it.used, ..*it })
                .collect();
            prop_assert_eq!(advice, other);
            prop_assert_eq!(advice.shortest_days(), common(&mirrored, present).shortest_days());
        }

        #[test]
        fn a_bound_of_a_share_encloses_it(results in 1..400_u32, part in 0.0..1.0_f64) {
            let inside = (f64::from(results) * part) as u32;
            let share = f64::from(inside) / f64::from(results);
            let lower = share_at_least(inside, results, 0.95).unwrap();
            let upper = share_at_most(inside, results, 0.95).unwrap();
            prop_assert!(0.0 <= lower && lower <= share && share <= upper && upper <= 1.0);
            // One result more inside never proves less.
            if inside < results {
                prop_assert!(share_at_least(inside + 1, results, 0.95).unwrap() > lower);
            }
        }

        #[test]
        fn nothing_panics(
            bits in proptest::collection::vec((any::<u64>(), any::<u64>()), 0..10),
            present in any::<u32>(),
            longest_days in any::<u32>(),
            (inside, count, coverage) in (any::<u32>(), any::<u32>(), any::<f64>()),
        ) {
            let found: Vec<AsFound> = bits
                .into_iter()
                .map(|(day, used)| as_found(f64::from_bits(day), f64::from_bits(used)))
                .collect();
            let _ = advise(&found, present, &Practice::common(longest_days));
            let _ = (share_at_least(inside, count, coverage), share_at_most(inside, count, coverage));
            let _ = share_at_least(inside, count, 0.95);
            let _ = interval_for_target(coverage, coverage, 0.95);
        }
    }
}
