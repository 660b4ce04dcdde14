//! The trend of an instrument for people: what it says, then a chart of each series.

use super::{advice, printable, wrapped};
use crate::fleet::Member;
use crate::fleet::trend::{Mark, Series, Trend};
use crate::fleet::trend_words::{outlook, signed, signs, slope_per_year, zone};
use crate::measure::series::D2;
use crate::record::check::Condition;
use jiff::civil::Date;

/// Rows of a chart, an odd number, so that zero has one.
const ROWS: usize = 9;

/// Columns before the chart.
const MARGIN: usize = 9;

const LEGEND: &str =
    "o as found, a as left, x beyond the limits, = limits, . control limits, - reference";

const CAUTION: &str = "A trend speaks of checks, not of what was measured between them, and a prediction holds only while nothing changes. An interval is decided upon by whoever answers for the laboratory, by its own rules; nothing is changed by this advice.";

pub fn render(member: &Member<'_>, trend: &Trend<'_>, as_of: Date, width: usize) -> String {
    let id = printable(member.id);
    let mut text = wrapped(
        &format!(
            "The trend of {id} on {as_of}: deviation from the reference in % of the full-scale range"
        ),
        width,
        "",
        "  ",
    );
    if trend.series.is_empty() {
        return text + &wrapped("No check of it counts yet.", width, "  ", "  ");
    }
    text += &wrapped(&summary(trend), width, "  ", "  ");
    for series in trend.series.iter().filter(|series| series.is_current) {
        text += "\n";
        text += &one(series, width);
    }
    text += &wrapped(LEGEND, width, "  ", "  ");
    if !trend.not_drawn.is_empty() {
        let days: Vec<String> = trend
            .not_drawn
            .iter()
            .map(|(_, day)| day.to_string())
            .collect();
        let line = format!(
            "Not drawn, since a point showed no figure: {}.",
            days.join(", ")
        );
        text += &wrapped(&line, width, "  ", "    ");
    }
    let earlier: Vec<&Series<'_>> = trend
        .series
        .iter()
        .filter(|series| !series.is_current)
        .collect();
    if !earlier.is_empty() {
        text += "\nearlier series\n";
        for series in earlier {
            text += &wrapped(&in_short(series), width, "  ", "    ");
        }
    }
    text += "\ninterval advice\n";
    match &trend.advice {
        None => {
            text += &wrapped(
                "None: no policy in force says how long a check of it holds.",
                width,
                "  ",
                "  ",
            );
        }
        Some(advice) => {
            text += &wrapped(
                &format!(
                    "The policy's interval is {}. From results as found:",
                    advice::days(f64::from(advice.advice.present_days))
                ),
                width,
                "  ",
                "  ",
            );
            for (name, answer) in advice::methods(advice) {
                let sentence = format!("{name}: {}", advice::sentence(advice, answer));
                text += &wrapped(&printable(&sentence), width, "  ", "    ");
            }
            if trend.drifting().next().is_some() {
                let first = "It drifts: find the cause before an interval is made longer.";
                text += &wrapped(first, width, "  ", "  ");
            }
        }
    }
    text += "\n";
    text + &wrapped(CAUTION, width, "", "")
}

fn summary(trend: &Trend<'_>) -> String {
    let drifting: Vec<String> = trend
        .drifting()
        .map(|series| format!("{} {}", printable(series.geometry), zone(series)))
        .collect();
    match drifting.is_empty() {
        true => "No series of it drifts.".to_owned(),
        false => format!("It drifts: {}.", drifting.join(", ")),
    }
}

/// Since when a series goes on, and why from there.
fn since(series: &Series<'_>) -> String {
    let first = series.marks.first().map(|mark| mark.day);
    let count = series.marks.len();
    format!(
        "{count} check{} since {} ({})",
        if count == 1 { "" } else { "s" },
        first.map_or_else(String::new, |day| day.to_string()),
        series.start.word()
    )
}

fn mean(series: &Series<'_>) -> f64 {
    let count = series.marks.len().max(1) as f64;
    series.marks.iter().map(|mark| mark.deviation).sum::<f64>() / count
}

fn in_short(series: &Series<'_>) -> String {
    let last = series.newest().map(|mark| mark.day);
    format!(
        "{}, {} zone: {}, the last on {}, mean {} %",
        printable(series.geometry),
        zone(series),
        since(series),
        last.map_or_else(String::new, |day| day.to_string()),
        signed(mean(series))
    )
}

fn one(series: &Series<'_>, width: usize) -> String {
    let mut text = wrapped(
        &format!(
            "{}, {} zone: {}",
            printable(series.geometry),
            zone(series),
            since(series)
        ),
        width,
        "",
        "  ",
    );
    let mut line = |sentence: &str| text += &wrapped(&printable(sentence), width, "  ", "    ");
    if let Some(newest) = series.newest() {
        line(&format!(
            "newest {} on {}, limits {} and {}",
            signed(newest.deviation),
            newest.day,
            signed(-newest.acceptance),
            signed(newest.acceptance)
        ));
    }
    match &series.chart {
        Some(chart) => line(&format!(
            "centre {}, control limits {} and {}, from the first {} checks{}",
            signed(chart.centre),
            signed(chart.lower),
            signed(chart.upper),
            chart.baseline,
            match chart.sd > chart.moving_range / D2 {
                true =>
                    ", whose scatter is less than the last digit shown or the certificates of several lots allow, so that is taken",
                false => "",
            }
        )),
        None => line(&format!(
            "too few checks for control limits, which take {} before the newest",
            crate::measure::series::BASELINE_LEAST
        )),
    }
    if let Some(step) = series.ewma.as_ref().and_then(|ewma| ewma.steps.last()) {
        line(&format!(
            "moving average {}, its control limits {} and {}",
            signed(step.average),
            signed(step.lower),
            signed(step.upper)
        ));
    }
    if let Some((slope, lower, upper)) = slope_per_year(series) {
        let leads = outlook(series).map_or_else(String::new, |leads| format!("; {leads}"));
        line(&format!(
            "slope {} % a year, between {} and {} with 95 % confidence{leads}",
            signed(slope),
            signed(lower),
            signed(upper)
        ));
    }
    for sign in signs(series) {
        line(&format!("drifting: {sign}"));
    }
    text + &chart(series, width)
}

/// The marks over time between the limits; what lies beyond them stands in the first or last row.
fn chart(series: &Series<'_>, width: usize) -> String {
    let columns = width.saturating_sub(MARGIN + 2).clamp(20, 100);
    let limit = series.newest().map_or(0.0, |newest| newest.acceptance);
    let span = series.newest().map_or(0.0, |newest| newest.x);
    if limit <= 0.0 || !limit.is_finite() {
        return String::new();
    }
    let middle = (ROWS / 2) as f64;
    let row_of = |value: f64| {
        let row = middle - (value / limit * middle).round();
        row.clamp(0.0, (ROWS - 1) as f64) as usize
    };
    let column_of = |mark: &Mark<'_>| match span > 0.0 {
        true => ((mark.x / span) * (columns - 1) as f64).round() as usize,
        false => columns / 2,
    };
    let mut cells = vec![vec![' '; columns]; ROWS];
    let mut rule = |value: f64, sign: char| cells[row_of(value)].fill(sign);
    if let Some(chart) = &series.chart {
        rule(chart.upper, '.');
        rule(chart.lower, '.');
    }
    rule(0.0, '-');
    rule(limit, '=');
    rule(-limit, '=');
    for mark in &series.marks {
        let sign = match (mark.deviation.abs() > mark.acceptance, mark.condition) {
            (true, _) => 'x',
            (false, Some(Condition::AsLeft)) => 'a',
            (false, _) => 'o',
        };
        let column = column_of(mark).min(columns - 1);
        cells[row_of(mark.deviation)][column] = sign;
    }
    let mut text = String::new();
    for (row, cells) in cells.iter().enumerate() {
        let label = match row {
            0 => signed(limit),
            row if row == ROWS / 2 => "0".to_owned(),
            row if row == ROWS - 1 => signed(-limit),
            _ => String::new(),
        };
        let cells: String = cells.iter().collect();
        text += format!("{label:>MARGIN$} {cells}").trim_end();
        text.push('\n');
    }
    let (first, last) = (
        series.marks.first().map(|mark| mark.day.to_string()),
        series.newest().map(|mark| mark.day.to_string()),
    );
    let (first, last) = (first.unwrap_or_default(), last.unwrap_or_default());
    let between = columns.saturating_sub(first.len() + last.len());
    text += &" ".repeat(MARGIN + 1);
    text + &match span > 0.0 && between > 0 {
        true => format!("{first}{}{last}\n", " ".repeat(between)),
        false => format!("{first:^columns$}").trim_end().to_owned() + "\n",
    }
}
