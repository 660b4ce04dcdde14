//! Trends: how far an instrument reads from the reference over time, a series for each geometry and torque zone.
//!
//! What may change how an instrument reads starts a new series: a new spring, a repair, an adjustment, and a check of the
//! instrument as left. Deviations are in % of the full-scale range, since then fluids and speeds of one zone can be compared.

use super::Seen;
use super::session::{Reading, Session};
use crate::book::zone::Zone as TimeZone;
use crate::book::{Book, Loaded};
use crate::measure::interval::{Advice, Answer, AsFound, CHART_LEAST, Practice, Reason, advise};
use crate::measure::series::{
    CHART_WIDTH, Drifting, EWMA_LAMBDA, Ewma, Individuals, LINE_LEAST, Line, Outlook,
    baseline_length, crossing, drifting, ewma, individuals_on_baseline, line,
};
use crate::measure::zone::Zone;
use crate::record::When;
use crate::record::check::{Condition, Occasion, Verdict};
use crate::record::instrument::{Instrument, ServiceKind};
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::BTreeMap;

/// Sessions by the id of their check.
pub type Sessions = BTreeMap<Box<str>, Session>;

/// Nothing is predicted from checks that lie closer together than this, in days: what a series does in a week is scatter.
pub const LEAST_SPAN_DAYS: f64 = 7.0;

/// How far ahead a crossing is predicted, in days.
pub const HORIZON_DAYS: f64 = 3650.0;

/// Why a series starts where it does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Start {
    First,
    Spring,
    Repair,
    Adjustment,
    AsLeft,
}

impl Start {
    /// In words.
    pub fn word(self) -> &'static str {
        match self {
            Start::First => "first check",
            Start::Spring => "new spring",
            Start::Repair => "repair",
            Start::Adjustment => "adjustment",
            Start::AsLeft => "as left",
        }
    }
}

/// One check in a series.
#[derive(Clone, Debug)]
pub struct Mark<'a> {
    pub check: &'a str,
    pub performed: Timestamp,
    pub day: Date,
    /// Days since the first check of the series.
    pub x: f64,
    /// Of the mean of the readings in the zone, in % of the full-scale range.
    pub deviation: f64,
    /// The half-width of the limits, in % of the full-scale range.
    pub half_width: f64,
    /// The same, less the expanded uncertainty where the decision is a guarded one.
    pub acceptance: f64,
    pub fluid: &'a str,
    pub condition: Option<Condition>,
    pub verdict: Option<Verdict>,
    fluid_uncertainty: f64,
}

/// The deviations in one zone with one geometry, from one start to the next.
#[derive(Clone, Debug)]
pub struct Series<'a> {
    pub geometry: &'a str,
    pub zone: Zone,
    pub start: Start,
    /// No later series of this geometry and zone has begun.
    pub is_current: bool,
    /// In order of time, never empty.
    pub marks: Vec<Mark<'a>>,
    time_zone: &'a TimeZone,
    /// The day on which one looks.
    pub as_of: Date,
    /// `None` while there are too few results to set limits.
    pub chart: Option<Individuals>,
    pub ewma: Option<Ewma>,
    /// `None` below three results, or where all are of one time.
    pub line: Option<Line>,
    /// Where the line leads within [`HORIZON_DAYS`]; `None` without a line or below the results that a prediction needs.
    pub outlook: Option<Outlook>,
    /// `None` for what is not current, and below the results that it needs.
    pub drifting: Option<Drifting>,
}

impl Series<'_> {
    pub fn newest(&self) -> Option<&Mark<'_>> {
        self.marks.last()
    }

    pub fn is_drifting(&self) -> bool {
        self.drifting.as_ref().is_some_and(Drifting::is_drifting)
    }

    /// The day that lies so many days after the first check of the series; `None` beyond the calendar.
    pub fn day_at(&self, x: f64) -> Option<Date> {
        let first = self.marks.first()?;
        let after = jiff::SignedDuration::try_from_secs_f64(x * 86_400.0).ok()?;
        let at = first.performed.checked_add(after).ok()?;
        Some(self.time_zone.date(at))
    }
}

/// What the methods advise for the interval between checks.
#[derive(Clone, Debug)]
pub struct IntervalAdvice<'a> {
    /// The staircase and the reliability, of the worst zone of each check; the control chart of the series below.
    pub advice: Advice,
    /// The series whose line advises the shortest interval.
    pub chart_of: Option<(&'a str, Zone)>,
    /// The policy's longest class, which no advice exceeds.
    pub longest_days: i64,
}

/// All series of one instrument.
#[derive(Clone, Debug)]
pub struct Trend<'a> {
    /// By geometry, zone and time.
    pub series: Vec<Series<'a>>,
    /// `None` where no policy says how long a check holds.
    pub advice: Option<IntervalAdvice<'a>>,
    /// Checks with a point that showed no figure, which no series holds.
    pub not_drawn: Vec<(&'a str, Date)>,
}

impl Trend<'_> {
    /// The current series that drift.
    pub fn drifting(&self) -> impl Iterator<Item = &Series<'_>> {
        self.series.iter().filter(|series| series.is_drifting())
    }
}

/// What the trend of an instrument is worked out from.
pub struct Basis<'a, 'b> {
    pub book: &'a Book,
    pub instrument: &'a Loaded<Instrument>,
    /// The checks that count, in order of time.
    pub checks: &'b [Seen<'a>],
    pub sessions: &'a Sessions,
    /// When the next check is due, or the day on which one looks where that has passed.
    pub next: Option<Date>,
    /// The present interval and the longest that the policy knows, in days.
    pub interval: Option<(i64, i64)>,
    pub at: Timestamp,
}

/// The checks in one zone with one geometry since something began.
struct Part<'a> {
    /// What began, as an index; `None` before anything did.
    begun: Option<usize>,
    marks: Vec<Mark<'a>>,
}

/// The trend of an instrument.
pub fn trend<'a>(basis: &Basis<'a, '_>) -> Trend<'a> {
    let sessions: Vec<(&'a str, &'a Session)> = basis
        .checks
        .iter()
        .filter(|seen| seen.facts.verdict != Some(Verdict::Void))
        .filter_map(|seen| Some((seen.id, basis.sessions.get(seen.id)?)))
        .collect();
    let starts = starts(basis, &sessions);
    let since = |at: Timestamp| starts.iter().rposition(|(from, _)| *from <= at);
    let mut all: BTreeMap<(&'a str, Zone), Vec<Part<'a>>> = BTreeMap::new();
    for (id, session) in &sessions {
        let begun = since(session.performed);
        let geometry = session.geometry.as_deref().unwrap_or_default();
        for zone in [Zone::Low, Zone::Middle, Zone::High] {
            let Some(mark) = mark(id, session, zone) else {
                continue;
            };
            let parts = all.entry((geometry, zone)).or_default();
            match parts.last_mut() {
                Some(part) if part.begun == begun => part.marks.push(mark),
                _ => parts.push(Part {
                    begun,
                    marks: vec![mark],
                }),
            }
        }
    }
    let newest = since(basis.at);
    let mut series: Vec<Series<'a>> = Vec::new();
    for ((geometry, zone), parts) in all {
        for (index, part) in parts.into_iter().enumerate() {
            let start = match part.begun {
                // What began before the first check is no news.
                Some(begun) if index > 0 => starts[begun].1,
                _ => Start::First,
            };
            let is_current = part.begun == newest;
            series.push(series_of(
                basis, geometry, zone, start, part.marks, is_current,
            ));
        }
    }
    let advice = advice(basis, &sessions, &starts, &series);
    let not_drawn = sessions
        .iter()
        .filter(|(_, session)| {
            let readings = session.readings.iter();
            readings
                .clone()
                .any(|reading| reading.deviation_percent.is_none())
        })
        .map(|(id, session)| (*id, session.date))
        .collect();
    Trend {
        series,
        advice,
        not_drawn,
    }
}

/// When new series begin, in order of time.
fn starts(basis: &Basis<'_, '_>, sessions: &[(&str, &Session)]) -> Vec<(Timestamp, Start)> {
    let book = basis.book;
    // A row with a date alone binds from the start of its day; a check of that day that was made after it says better when.
    let begins = |when: &When| {
        let begins = book.zone.begins(when);
        let after = sessions.iter().find(|(_, session)| {
            matches!(when, When::Date(day) if *day == session.date)
                && (session.condition == Some(Condition::AsLeft)
                    || session.occasion == Some(Occasion::AfterService))
        });
        after.map_or(begins, |(_, session)| session.performed)
    };
    let mut starts: Vec<(Timestamp, Start)> = Vec::new();
    for spring in basis.instrument.springs.iter().skip(1) {
        starts.push((begins(&spring.from), Start::Spring));
    }
    for service in &basis.instrument.services {
        let start = match service.kind {
            ServiceKind::Repair => Start::Repair,
            ServiceKind::Adjustment => Start::Adjustment,
            ServiceKind::Calibration | ServiceKind::Move => continue,
        };
        starts.push((begins(&service.date), start));
    }
    for (_, session) in sessions {
        if session.condition == Some(Condition::AsLeft) {
            starts.push((session.performed, Start::AsLeft));
        }
    }
    starts.retain(|(from, _)| *from <= basis.at);
    // Of several at one time the first tells most.
    starts.sort_by_key(|(from, _)| *from);
    starts.dedup_by_key(|(from, _)| *from);
    starts
}

/// When something was last done to an instrument that may change how it reads, up to a time.
pub fn last_touched(book: &Book, instrument: &Instrument, at: Timestamp) -> Option<Timestamp> {
    let springs = instrument.springs.iter().map(|row| &row.from);
    let services = instrument
        .services
        .iter()
        .filter(|row| matches!(row.kind, ServiceKind::Repair | ServiceKind::Adjustment));
    springs
        .chain(services.map(|row| &row.date))
        .map(|when| book.zone.begins(when))
        .filter(|begins| *begins <= at)
        .max()
}

/// A check in a zone: the mean of its readings there.
fn mark<'a>(check: &'a str, session: &'a Session, zone: Zone) -> Option<Mark<'a>> {
    let readings: Vec<&Reading> = session.in_zone(zone).collect();
    let mean = |figure: &dyn Fn(&Reading) -> Option<f64>| {
        let values: Option<Vec<f64>> = readings.iter().map(|reading| figure(reading)).collect();
        let values = values.filter(|values| !values.is_empty())?;
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        mean.is_finite().then_some(mean)
    };
    Some(Mark {
        check,
        performed: session.performed,
        day: session.date,
        x: 0.0,
        deviation: mean(&|reading| reading.deviation_of_range_percent)?,
        half_width: mean(&|reading| reading.half_width_of_range_percent)?,
        acceptance: mean(&|reading| reading.acceptance_of_range_percent)?,
        fluid: &session.fluid,
        condition: session.condition,
        verdict: session.verdict,
        fluid_uncertainty: mean(&|reading| reading.fluid_of_range_percent).unwrap_or(0.0),
    })
}

fn days_from(first: Timestamp, at: Timestamp) -> f64 {
    (at.as_second() - first.as_second()) as f64 / 86_400.0
}

fn series_of<'a>(
    basis: &Basis<'a, '_>,
    geometry: &'a str,
    zone: Zone,
    start: Start,
    mut marks: Vec<Mark<'a>>,
    is_current: bool,
) -> Series<'a> {
    let first = marks.first().map_or(basis.at, |mark| mark.performed);
    for mark in &mut marks {
        mark.x = days_from(first, mark.performed);
    }
    let x: Vec<f64> = marks.iter().map(|mark| mark.x).collect();
    let y: Vec<f64> = marks.iter().map(|mark| mark.deviation).collect();
    let least = least_scatter(basis.instrument, &marks);
    let chart =
        baseline_length(y.len()).and_then(|baseline| individuals_on_baseline(&y, baseline, least));
    let ewma = chart
        .as_ref()
        .and_then(|chart| ewma(&y, EWMA_LAMBDA, chart.centre, chart.sd, CHART_WIDTH));
    let line = line(&x, &y);
    let newest = marks.last();
    let limit = newest.map_or(0.0, |mark| mark.acceptance);
    let newest_x = newest.map_or(0.0, |mark| mark.x);
    let long_enough = newest_x >= LEAST_SPAN_DAYS;
    let enough = y.len() >= LINE_LEAST && long_enough;
    let outlook = line
        .as_ref()
        .filter(|_| is_current && enough)
        .and_then(|line| crossing(line, newest_x, -limit, limit, newest_x + HORIZON_DAYS));
    let next_x = basis.next.map_or(newest_x, |next| {
        days_from(first, basis.book.end_of(next)).max(newest_x)
    });
    let drifting = match is_current {
        true => drifting(&x, &y, least, -limit, limit, next_x).map(|signs| Drifting {
            ahead: signs.ahead.filter(|_| long_enough),
            ..signs
        }),
        false => None,
    };
    Series {
        geometry,
        zone,
        start,
        is_current,
        marks,
        time_zone: &basis.book.zone,
        as_of: basis.book.zone.date(basis.at),
        chart,
        ewma,
        line,
        outlook,
        drifting,
    }
}

/// The least standard deviation that results of a series can have, in % of the full-scale range: that of the last digit shown,
/// and where several lots were used that of their certified values, since a new lot moves all readings by what its
/// certificate does not know.
fn least_scatter(instrument: &Instrument, marks: &[Mark<'_>]) -> f64 {
    let resolution = instrument.torque_resolution_percent.value.to_f64() / 12f64.sqrt();
    let lots = marks.windows(2).any(|pair| pair[0].fluid != pair[1].fluid);
    let fluid = match lots {
        true => marks
            .iter()
            .map(|mark| mark.fluid_uncertainty)
            .fold(0.0, f64::max),
        false => 0.0,
    };
    resolution.hypot(fluid)
}

fn advice<'a>(
    basis: &Basis<'a, '_>,
    sessions: &[(&'a str, &'a Session)],
    starts: &[(Timestamp, Start)],
    series: &[Series<'a>],
) -> Option<IntervalAdvice<'a>> {
    let (present, longest) = basis.interval?;
    let present = u32::try_from(present).ok()?;
    let practice = Practice::common(u32::try_from(longest).ok()?.max(1));
    let first = sessions
        .first()
        .map_or(basis.at, |(_, session)| session.performed);
    // Whether something was done to the instrument between a check and the next one found.
    let adjusted_after = |performed: Timestamp, next: Option<Timestamp>| {
        starts.iter().any(|(from, start)| {
            *start != Start::First && *from > performed && next.is_none_or(|next| *from <= next)
        })
    };
    let found: Vec<(Timestamp, f64)> = sessions
        .iter()
        .filter(|(_, session)| session.condition == Some(Condition::AsFound))
        .filter_map(|(_, session)| Some((session.performed, worst_share(session)?)))
        .collect();
    let as_found = |results: &[(Timestamp, f64)]| -> Vec<AsFound> {
        let nexts = results
            .iter()
            .skip(1)
            .map(|(next, _)| Some(*next))
            .chain(std::iter::once(None));
        results
            .iter()
            .zip(nexts)
            .map(|((performed, used), next)| AsFound {
                day: days_from(first, *performed),
                used: *used,
                adjusted_after: adjusted_after(*performed, next),
            })
            .collect()
    };
    let mut advice = advise(&as_found(&found), present, &practice)?;
    // Of the control charts the one that advises the least; among equals one that tells a trend.
    let mut least: Option<(&Series<'a>, Answer)> = None;
    let nearness = |one: &Series<'a>| {
        let newest = one.marks.last();
        newest.map_or(0.0, |mark| mark.deviation.abs() / mark.acceptance)
    };
    for one in series.iter().filter(|one| one.is_current) {
        let limit = one.marks.last().map_or(0.0, |mark| mark.acceptance);
        if limit <= 0.0 {
            continue;
        }
        let results: Vec<(Timestamp, f64)> = one
            .marks
            .iter()
            .filter(|mark| mark.condition == Some(Condition::AsFound))
            .map(|mark| {
                // By the limits of today, or a new policy would look like a drift.
                let share = mark.deviation / limit;
                let passed = mark.verdict == Some(Verdict::Pass) && mark.acceptance <= limit;
                let share = if passed {
                    share.clamp(-1.0, 1.0)
                } else {
                    share
                };
                (mark.performed, share)
            })
            .collect();
        let own = advise(&as_found(&results), present, &practice);
        let Some(own) = own.map(|own| own.control_chart) else {
            continue;
        };
        if least.as_ref().is_none_or(|(other, known)| {
            let (mine, its) = (rank(&own), rank(known));
            mine < its || (mine == its && nearness(one) > nearness(other))
        }) {
            least = Some((one, own));
        }
    }
    advice.control_chart = match &least {
        Some((_, answer)) => *answer,
        None => Answer::TooFew {
            results: 0,
            least: CHART_LEAST,
        },
    };
    let chart_of = least
        .filter(|(_, answer)| answer.proposal().is_some())
        .map(|(one, _)| (one.geometry, one.zone));
    Some(IntervalAdvice {
        advice,
        chart_of,
        longest_days: longest,
    })
}

/// Those that say something before those that say nothing, the shortest first, and a trend before none.
fn rank(answer: &Answer) -> (bool, u32, bool, usize) {
    match answer {
        Answer::Proposal(proposal) => {
            let tells_trend = matches!(
                proposal.reason,
                Reason::TrendMeetsLimit { .. } | Reason::TrendStaysInside { .. }
            );
            (false, proposal.days, !tells_trend, 0)
        }
        Answer::TooFew { results, .. } => (true, 0, false, usize::MAX - results),
    }
}

/// The largest share of the half-width that a check used in any zone, with its sign. A point that showed no figure is beyond
/// all limits.
fn worst_share(session: &Session) -> Option<f64> {
    let mut worst: Option<f64> = None;
    // What lies on a limit is inside, whatever the last bits of a division say.
    let passed = matches!(
        session.verdict,
        Some(Verdict::Pass | Verdict::ConditionalPass)
    );
    for reading in &session.readings {
        let share = match (
            reading.deviation_of_range_percent,
            reading.acceptance_of_range_percent,
        ) {
            (Some(deviation), Some(half)) if half > 0.0 => deviation / half,
            (None, Some(_)) => 2.0,
            _ => continue,
        };
        if worst.is_none_or(|worst| share.abs() > worst.abs()) {
            worst = Some(share);
        }
    }
    worst.map(|worst| {
        if passed {
            worst.clamp(-1.0, 1.0)
        } else {
            worst
        }
    })
}
