//! The trend of an instrument as JSON; `schema/output/trend.schema.json` describes it.

use super::advice;
use crate::book::figures::rounded;
use crate::fleet::Member;
use crate::fleet::trend::{IntervalAdvice, Series, Trend};
use crate::fleet::trend_words::{day, side, signs, slope_per_year, zone};
use crate::measure::interval::Answer;
use crate::measure::series::{Crossing, Meeting, Outlook};
use crate::record::check::{Condition, Verdict};
use crate::record::policy::ZoneName;
use jiff::civil::Date;
use serde::Serialize;

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    as_of: String,
    instrument: &'a str,
    next_due: Option<String>,
    drifting: bool,
    series: Vec<One<'a>>,
    not_drawn: Vec<&'a str>,
    advice: Option<Advised<'a>>,
}

#[derive(Serialize)]
struct One<'a> {
    geometry: &'a str,
    zone: &'static str,
    start: &'static str,
    current: bool,
    from: Option<String>,
    to: Option<String>,
    points: Vec<Point<'a>>,
    control: Option<Control>,
    line: Option<Line>,
    crossing: Option<Ahead>,
    drifting: bool,
    signs: Vec<String>,
}

#[derive(Serialize)]
struct Point<'a> {
    check: &'a str,
    date: String,
    days: Option<f64>,
    deviation_of_range_percent: Option<f64>,
    half_width_of_range_percent: Option<f64>,
    acceptance_of_range_percent: Option<f64>,
    fluid: &'a str,
    condition: Option<&'static str>,
    verdict: Option<&'static str>,
    outside_control: Option<bool>,
    moving_average_percent: Option<f64>,
    moving_average_lower_percent: Option<f64>,
    moving_average_upper_percent: Option<f64>,
}

#[derive(Serialize)]
struct Control {
    centre_percent: Option<f64>,
    lower_percent: Option<f64>,
    upper_percent: Option<f64>,
    mean_moving_range_percent: Option<f64>,
    standard_deviation_percent: Option<f64>,
    baseline_checks: usize,
}

#[derive(Serialize)]
struct Line {
    slope_percent_per_year: Option<f64>,
    slope_lower_percent_per_year: Option<f64>,
    slope_upper_percent_per_year: Option<f64>,
    at_newest_percent: Option<f64>,
    residual_standard_deviation_percent: Option<f64>,
    degrees_of_freedom: u32,
    trend: bool,
}

#[derive(Serialize)]
struct Ahead {
    line: Option<Met>,
    prediction_band: Option<Met>,
}

#[derive(Serialize)]
struct Met {
    date: Option<String>,
    limit: &'static str,
}

#[derive(Serialize)]
struct Advised<'a> {
    present_days: u32,
    longest_days: i64,
    shortest_days: Option<u32>,
    control_chart_geometry: Option<&'a str>,
    control_chart_zone: Option<&'static str>,
    staircase: Method,
    control_chart: Method,
    reliability: Method,
}

#[derive(Serialize)]
struct Method {
    days: Option<u32>,
    change: Option<&'static str>,
    message: String,
}

fn figure(value: f64) -> Option<f64> {
    rounded(value).map(|value| value.to_f64())
}

fn met(series: &Series<'_>, meeting: Option<&Meeting>) -> Option<Met> {
    let meeting = meeting?;
    Some(Met {
        date: day(series, meeting).map(|day| day.to_string()),
        limit: side(meeting.side),
    })
}

fn one<'a>(series: &'a Series<'_>) -> One<'a> {
    let ahead = match &series.outlook {
        Some(Outlook::Trend(Crossing { centre, band })) => Some(Ahead {
            line: met(series, centre.as_ref()),
            prediction_band: met(series, band.as_ref()),
        }),
        _ => None,
    };
    let step = |at: usize| series.ewma.as_ref().and_then(|ewma| ewma.steps.get(at));
    let points = series.marks.iter().enumerate().map(|(at, mark)| Point {
        check: mark.check,
        date: mark.day.to_string(),
        days: figure(mark.x),
        deviation_of_range_percent: figure(mark.deviation),
        half_width_of_range_percent: figure(mark.half_width),
        acceptance_of_range_percent: figure(mark.acceptance),
        fluid: mark.fluid,
        condition: mark.condition.map(Condition::word),
        verdict: mark.verdict.map(Verdict::word),
        outside_control: series
            .chart
            .as_ref()
            .map(|chart| chart.outside.contains(&at)),
        moving_average_percent: step(at).and_then(|step| figure(step.average)),
        moving_average_lower_percent: step(at).and_then(|step| figure(step.lower)),
        moving_average_upper_percent: step(at).and_then(|step| figure(step.upper)),
    });
    let line = series.line.as_ref().map(|line| {
        let slope = slope_per_year(series);
        Line {
            slope_percent_per_year: slope.and_then(|(slope, _, _)| figure(slope)),
            slope_lower_percent_per_year: slope.and_then(|(_, lower, _)| figure(lower)),
            slope_upper_percent_per_year: slope.and_then(|(_, _, upper)| figure(upper)),
            at_newest_percent: series.newest().and_then(|newest| figure(line.at(newest.x))),
            residual_standard_deviation_percent: figure(line.residual_sd),
            degrees_of_freedom: line.degrees_of_freedom,
            trend: line.has_trend(),
        }
    });
    One {
        geometry: series.geometry,
        zone: zone(series),
        start: series.start.word(),
        current: series.is_current,
        from: series.marks.first().map(|mark| mark.day.to_string()),
        to: series.newest().map(|mark| mark.day.to_string()),
        points: points.collect(),
        control: series.chart.as_ref().map(|chart| Control {
            centre_percent: figure(chart.centre),
            lower_percent: figure(chart.lower),
            upper_percent: figure(chart.upper),
            mean_moving_range_percent: figure(chart.moving_range),
            standard_deviation_percent: figure(chart.sd),
            baseline_checks: chart.baseline,
        }),
        line,
        crossing: ahead,
        drifting: series.is_drifting(),
        signs: signs(series),
    }
}

fn method(advised: &IntervalAdvice<'_>, answer: &Answer) -> Method {
    let proposal = answer.proposal();
    Method {
        days: proposal.map(|proposal| proposal.days),
        change: proposal.map(|proposal| advice::change(proposal.change)),
        message: advice::sentence(advised, answer),
    }
}

pub fn render(member: &Member<'_>, trend: &Trend<'_>, as_of: Date) -> String {
    let advised = trend.advice.as_ref().map(|advised| Advised {
        present_days: advised.advice.present_days,
        longest_days: advised.longest_days,
        shortest_days: advised.advice.shortest_days(),
        control_chart_geometry: advised.chart_of.map(|(geometry, _)| geometry),
        control_chart_zone: advised
            .chart_of
            .map(|(_, zone)| ZoneName::from(zone).word()),
        staircase: method(advised, &advised.advice.staircase),
        control_chart: method(advised, &advised.advice.control_chart),
        reliability: method(advised, &advised.advice.reliability),
    });
    super::check_json::pretty(&Document {
        format: 1,
        as_of: as_of.to_string(),
        instrument: member.id,
        next_due: member.next_due.map(|due| due.to_string()),
        drifting: trend.drifting().next().is_some(),
        series: trend.series.iter().map(one).collect(),
        not_drawn: trend.not_drawn.iter().map(|(id, _)| *id).collect(),
        advice: advised,
    })
}
