//! One check for a person: figures, limits, verdict, and where each reading lies between its limits.

use super::{printable, wrapped};
use crate::book::Named;
use crate::book::evidence;
use crate::book::figures::{MEAN_PLACES, rounded, verdict};
use crate::book::view::View;
use crate::measure::judge::JudgedPoint;
use crate::measure::{Exact, PERCENT_PLACES};
use crate::record::Number;
use crate::record::check::{Point, Verdict};
use crate::record::policy::{Basis, Decision, ZoneName};

/// The columns of the chart between the marks of the limits.
const CHART: usize = 25;

pub const CAUTION: &str = "A check says how the instrument reads on the day; it does not replace calibration by a competent laboratory.";

/// `width` in columns; the table of figures alone may be wider.
pub fn render(view: &View<'_>, width: usize) -> String {
    let check = view.check;
    let mut text = format!("check {}\n", printable(view.id));
    let mut line = |name: &str, value: String| {
        let name = format!("  {name:<12} ");
        text += &wrapped(&printable(&value), width, &name, &" ".repeat(name.len()));
    };
    line("performed", check.performed.to_string());
    line("instrument", check.instrument.to_string());
    if let Some(geometry) = &check.geometry {
        line("geometry", geometry.to_string());
    }
    let bottle = check
        .bottle
        .as_ref()
        .map(|bottle| format!(", bottle {bottle}"))
        .unwrap_or_default();
    line("fluid", format!("{}{bottle}", check.fluid));
    if let Some(thermometer) = &check.thermometer {
        line("thermometer", thermometer.to_string());
    }
    line("operator", check.operator.to_string());
    if let (Some(occasion), Some(condition)) = (check.occasion, check.condition) {
        line(
            "occasion",
            format!("{}, {}", occasion.word(), condition.word()),
        );
    }
    if let Some(other) = &check.repeats {
        line("repeats", other.to_string());
    }
    if let Some(other) = &check.amends {
        line("amends", other.to_string());
    }
    if let Some(reason) = &check.reason {
        line("reason", reason.to_string());
    }
    match view.policy {
        Some(policy) => line(
            "policy",
            format!(
                "{}: {} % of value + {} % of range{}",
                policy.id,
                policy.fluid_percent,
                policy.range_percent,
                match policy.decision {
                    Decision::Simple => String::new(),
                    decision => format!(", decision {}", decision.word()),
                }
            ),
        ),
        None => line("policy", "none that can judge this check".to_owned()),
    }
    if let Some((_, row)) = view.certified() {
        line(
            "certified",
            format!(
                "{} mPa.s at {} \u{b0}C",
                figure(&row.mpa_s()),
                row.temperature_c
            ),
        );
    }
    let judgement = view.judgement.as_ref();
    if let Some(mean) = judgement.and_then(|judgement| judgement.mean_c.as_ref()) {
        line(
            "temperature",
            format!(
                "{} \u{b0}C, mean as corrected{}",
                mean.to_fixed_string(MEAN_PLACES),
                match view.policy.map(|policy| policy.basis) {
                    Some(Basis::Certified) => "; the reference is not moved to it",
                    _ => "",
                }
            ),
        );
    }
    if let Some(reference) = judgement.and_then(|judgement| judgement.reference_mpa_s.as_ref()) {
        line("reference", format!("{} mPa.s", figure(reference)));
    }
    if let Some(viscosity) = evidence::d341_mpa_s(view).and_then(rounded) {
        line(
            "ASTM D341",
            format!(
                "{} mPa.s at that temperature through the certified rows, to compare with",
                figure(&viscosity)
            ),
        );
    }
    let Some(judgement) = judgement else {
        let broken = view.book.policies.any_broken()
            || matches!(
                view.book.instruments.named(&view.check.instrument),
                Named::Broken
            );
        return text
            + match broken {
                true => {
                    "\nNothing can be judged: its instrument's or a policy's file has\nerrors, which shearbook validate tells.\n"
                }
                false => "\nNo policy that this shearbook can judge by was in force.\n",
            };
    };
    let rows: Vec<[String; 7]> = judgement
        .points
        .iter()
        .zip(&check.points)
        .map(|(point, written)| row(point, written))
        .collect();
    text += "\n";
    text += &table(&rows);
    if rows.is_empty() {
        text += "  no points\n";
    }
    for (point, written) in judgement.points.iter().zip(&check.points) {
        text += &chart(point, written);
    }
    text += &relative_bands(view).map_or(String::new(), |line| wrapped(&line, width, "", "  "));
    text += &acceptance(view).map_or(String::new(), |line| wrapped(&line, width, "", "  "));
    text += &laminar(view, width);
    let word = verdict(view).map_or("cannot be had: a figure is missing", Verdict::word);
    text + &format!("\nverdict: {word}\n")
}

/// What is told of each speed, once, since replicates share it.
fn once_a_speed(
    view: &View<'_>,
    tell: impl Fn(&JudgedPoint, &Number) -> Option<String>,
) -> Option<String> {
    let points = view
        .judgement
        .iter()
        .flat_map(|judgement| &judgement.points);
    let mut speeds: Vec<&Exact> = Vec::new();
    let mut told: Vec<String> = Vec::new();
    for (point, written) in points.zip(&view.check.points) {
        let speed = &written.speed_rpm;
        if !speeds.contains(&&speed.value)
            && let Some(one) = tell(point, speed)
        {
            speeds.push(&speed.value);
            told.push(one);
        }
    }
    (!told.is_empty()).then(|| told.join(", "))
}

/// How wide the limits are for each value: at low torque a pass says little.
fn relative_bands(view: &View<'_>) -> Option<String> {
    let bands = once_a_speed(view, |point, speed| {
        let band = point.relative_band_percent()?;
        let percent = band.to_fixed_string(PERCENT_PLACES);
        Some(format!("\u{b1}{percent} % at {speed} rpm"))
    })?;
    Some(format!("the band in % of value: {bands}"))
}

/// A remark where a point turned faster than the flow stays laminar.
fn laminar(view: &View<'_>, width: usize) -> String {
    let Some(limit) = evidence::laminar_limit(view) else {
        return String::new();
    };
    let beyond: Vec<String> = view
        .check
        .points
        .iter()
        .filter(|point| point.speed_rpm.value.to_f64() > limit)
        .map(|point| point.speed_rpm.to_string())
        .collect();
    match beyond.is_empty() {
        true => String::new(),
        false => wrapped(
            &format!(
                "The flow is laminar up to {} rpm in this fluid; at {} rpm it is not, so the reading is too high: choose a slower speed or a thicker fluid.",
                rounded(limit).map_or("-".to_owned(), |limit| limit
                    .rounded_significant(3)
                    .to_decimal_string()),
                beyond.join(", ")
            ),
            width,
            "",
            "  ",
        ),
    }
}

/// The acceptance limits of a guarded decision, once a speed; none with a simple one.
pub(super) fn acceptance(view: &View<'_>) -> Option<String> {
    let limits = once_a_speed(view, |point, speed| {
        let by = point.guarded.as_ref()?;
        Some(match by.too_large {
            true => format!("none at {speed} rpm, where the uncertainty is as large"),
            false => format!(
                "{} to {} at {speed} rpm",
                figure(&by.acceptance.lower),
                figure(&by.acceptance.upper),
            ),
        })
    })?;
    Some(format!(
        "acceptance limits, the limits less the expanded uncertainty: {limits}"
    ))
}

pub(super) fn figure(value: &Exact) -> String {
    value.rounded_significant(6).to_decimal_string()
}

fn or_dash(value: Option<String>) -> String {
    value.unwrap_or_else(|| "-".to_owned())
}

pub(super) fn row(point: &JudgedPoint, written: &Point) -> [String; 7] {
    let torque = match &written.torque_percent {
        Some(shown) => Some(shown.to_string()),
        None => point
            .torque_percent
            .as_ref()
            .map(|torque| torque.to_fixed_string(1)),
    };
    let reading = match (&written.viscosity_mpa_s, written.shown) {
        (Some(shown), _) => Some(shown.to_string()),
        (None, Some(shown)) => Some(shown.word().to_owned()),
        (None, None) => point.reading_mpa_s.as_ref().map(figure),
    };
    [
        written.speed_rpm.to_string(),
        or_dash(
            point
                .zone
                .map(|zone| ZoneName::from(zone).word().to_owned()),
        ),
        or_dash(torque),
        or_dash(reading),
        match (&point.lower, &point.upper) {
            (Some(lower), Some(upper)) => format!("{} to {}", figure(lower), figure(upper)),
            _ => "-".to_owned(),
        },
        or_dash(
            point
                .deviation_percent
                .as_ref()
                .map(|deviation| signed(&deviation.to_fixed_string(PERCENT_PLACES))),
        ),
        or_dash(
            point
                .verdict
                .map(|verdict| Verdict::from(verdict).word().to_owned()),
        ),
    ]
}

pub(super) fn signed(text: &str) -> String {
    if text.starts_with('-') {
        text.to_owned()
    } else {
        format!("+{text}")
    }
}

fn table(rows: &[[String; 7]]) -> String {
    let head = [
        "rpm", "zone", "torque %", "mPa.s", "limits", "dev. %", "verdict",
    ]
    .map(str::to_owned);
    let all: Vec<&[String; 7]> = std::iter::once(&head).chain(rows).collect();
    let width = |column: usize| {
        all.iter()
            .map(|row| row[column].chars().count())
            .max()
            .unwrap_or(0)
    };
    let mut text = String::new();
    for row in &all {
        let cells: Vec<String> = row
            .iter()
            .enumerate()
            .map(|(column, cell)| match column {
                0 | 2 | 3 | 5 => format!("{cell:>width$}", width = width(column)),
                _ => format!("{cell:<width$}", width = width(column)),
            })
            .collect();
        text += cells.join(" ").trim_end();
        text.push('\n');
    }
    text
}

/// Where the reading lies between its limits; the reference stands in the middle.
pub(super) fn chart(point: &JudgedPoint, written: &Point) -> String {
    let (Some(reference), Some(half), Some(reading)) = (
        &point.reference_unrounded,
        &point.half_width,
        &point.reading_mpa_s,
    ) else {
        return String::new();
    };
    let Some(share) = (reading - reference)
        .divide(half)
        .map(|share| share.to_f64())
    else {
        return String::new();
    };
    let middle = (CHART / 2) as f64;
    let mut cells = vec!['\u{b7}'; CHART];
    cells[CHART / 2] = '|';
    let place = (middle + share * middle).round();
    let (left, right) = match share {
        share if share < -1.0 => ("<", " "),
        share if share > 1.0 => (" ", ">"),
        _ => (" ", " "),
    };
    if place >= 0.0 && (place as usize) < CHART && share.abs() <= 1.0 {
        cells[place as usize] = 'o';
    }
    let cells: String = cells.into_iter().collect();
    format!(
        "{:>7} rpm {left}[{cells}]{right} {:+.0} % of the band\n",
        written.speed_rpm.to_string(),
        share * 100.0
    )
}
