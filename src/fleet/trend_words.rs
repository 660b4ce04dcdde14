//! What a series says, in words, for the rule and for all formats of a trend.

use super::trend::Series;
use crate::measure::series::{Crossing, Meeting, Outlook, Side};
use crate::record::policy::ZoneName;
use jiff::civil::Date;

/// A percentage with its sign, two decimals, never -0.00.
pub fn signed(value: f64) -> String {
    let text = format!("{value:+.2}");
    match text.trim_start_matches(['-', '+']).trim_matches(['0', '.']) {
        "" => "0.00".to_owned(),
        _ => text,
    }
}

pub fn side(side: Side) -> &'static str {
    match side {
        Side::Lower => "lower",
        Side::Upper => "upper",
    }
}

pub fn zone(series: &Series<'_>) -> &'static str {
    ZoneName::from(series.zone).word()
}

/// Why a series is said to drift; empty where it is not.
pub fn signs(series: &Series<'_>) -> Vec<String> {
    let Some(drifting) = &series.drifting else {
        return Vec::new();
    };
    let mut signs = Vec::new();
    if let Some(newest) = &drifting.newest {
        signs.push(format!(
            "the newest result, {} % of range, lies beyond the {} control limit, {}",
            signed(newest.value),
            side(newest.side),
            signed(newest.limit)
        ));
    }
    if let Some(average) = &drifting.average {
        signs.push(format!(
            "the moving average, {} % of range, lies beyond its {} control limit, {}",
            signed(average.value),
            side(average.side),
            signed(average.limit)
        ));
    }
    if let Some(ahead) = &drifting.ahead {
        signs.push(format!(
            "before the next check {}",
            crossing(series, ahead).unwrap_or_else(|| "a limit may be met".to_owned())
        ));
    }
    signs
}

/// Where the line leads; `None` where nothing can be predicted.
pub fn outlook(series: &Series<'_>) -> Option<String> {
    match series.outlook.as_ref()? {
        Outlook::NoTrend => Some("no trend can be told from chance".to_owned()),
        Outlook::Trend(ahead) => {
            let said = crossing(series, ahead);
            Some(said.unwrap_or_else(|| "no limit is met within ten years".to_owned()))
        }
    }
}

/// The day of a meeting, `None` beyond the calendar.
pub fn day(series: &Series<'_>, meeting: &Meeting) -> Option<Date> {
    series.day_at(meeting.x)
}

fn crossing(series: &Series<'_>, ahead: &Crossing) -> Option<String> {
    let when = |meeting: &Meeting| {
        let passed = series.newest().is_some_and(|newest| meeting.x <= newest.x);
        let day = day(series, meeting)?;
        Some(match passed {
            true => "already".to_owned(),
            // The next check may be overdue.
            false if day < series.as_of => format!("on about {day}, which has passed"),
            false => format!("on about {day}"),
        })
    };
    match (&ahead.centre, &ahead.band) {
        (Some(line), Some(band)) => Some(format!(
            "the line meets the {} limit {}, and with its scatter a result may do so {}",
            side(line.side),
            when(line)?,
            when(band)?
        )),
        (Some(line), None) => Some(format!(
            "the line meets the {} limit {}",
            side(line.side),
            when(line)?
        )),
        (None, Some(band)) => Some(format!(
            "with the scatter of the line a result may meet the {} limit {}",
            side(band.side),
            when(band)?
        )),
        (None, None) => None,
    }
}

/// The slope of a series in % of range a year, with its interval; `None` without a line.
pub fn slope_per_year(series: &Series<'_>) -> Option<(f64, f64, f64)> {
    const YEAR: f64 = 365.25;
    let line = series.line.as_ref()?;
    let (lower, upper) = line.slope_interval(crate::measure::series::LINE_COVERAGE)?;
    Some((line.slope * YEAR, lower * YEAR, upper * YEAR))
}
