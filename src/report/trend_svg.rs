//! The trend of an instrument as a drawing: one panel a current series, in SVG that needs no script and no other file.
//!
//! What it shows does not rest on colour alone: shapes and kinds of line differ too.

use super::printable;
use crate::fleet::Member;
use crate::fleet::trend::{Mark, Series, Trend};
use crate::fleet::trend_words::{outlook, signed, signs, zone};
use crate::measure::series::LINE_COVERAGE;
use crate::record::check::Condition;
use jiff::civil::Date;
use std::fmt::Write;

const WIDTH: f64 = 720.0;
const PANEL: f64 = 200.0;
const HEAD: f64 = 56.0;
const LEFT: f64 = 64.0;
const RIGHT: f64 = 16.0;
/// Of a panel, above and below its plot.
const ABOVE: f64 = 34.0;
const BELOW: f64 = 30.0;

const STYLE: &str = "text{font:12px sans-serif;fill:#222}.head{font:bold 15px sans-serif}.limit{stroke:#222;stroke-width:1.5}.control{stroke:#555;stroke-dasharray:2 3}.zero{stroke:#999;stroke-dasharray:8 4}.line{stroke:#06c;stroke-width:1.5;fill:none}.band{fill:#06c;fill-opacity:.12;stroke:none}.average{stroke:#a50;fill:none}.mark{fill:#222}.left{fill:#fff;stroke:#222;stroke-width:1.5}.out{stroke:#b00;stroke-width:2}";

/// Text for the inside of an element.
fn escaped(text: &str) -> String {
    let text = printable(text);
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe += "&amp;",
            '<' => safe += "&lt;",
            '>' => safe += "&gt;",
            '"' => safe += "&quot;",
            '\'' => safe += "&#39;",
            '\n' | '\r' | '\t' => safe.push(' '),
            letter => safe.push(letter),
        }
    }
    safe
}

pub fn render(member: &Member<'_>, trend: &Trend<'_>, as_of: Date) -> String {
    let current: Vec<&Series<'_>> = trend
        .series
        .iter()
        .filter(|series| series.is_current)
        .collect();
    let height = HEAD + PANEL * current.len().max(1) as f64;
    let title = format!("Trend of {} on {as_of}", member.id);
    let description = match current.is_empty() {
        true => "No check of it counts yet.".to_owned(),
        false => current
            .iter()
            .map(|series| in_words(series))
            .collect::<Vec<_>>()
            .join(" "),
    };
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{height}\" viewBox=\"0 0 {WIDTH} {height}\" role=\"img\" aria-labelledby=\"title desc\">\n<title id=\"title\">{}</title>\n<desc id=\"desc\">{}</desc>\n<style>{STYLE}</style>\n<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n<text class=\"head\" x=\"16\" y=\"24\">{}</text>\n<text x=\"16\" y=\"42\">Deviation from the reference in % of the full-scale range; solid lines are the limits, dotted ones the control limits.</text>\n",
        escaped(&title),
        escaped(&description),
        escaped(&title),
    );
    if current.is_empty() {
        let _ = writeln!(
            svg,
            "<text x=\"16\" y=\"90\">No check of it counts yet.</text>"
        );
    }
    for (index, series) in current.iter().enumerate() {
        panel(&mut svg, series, HEAD + PANEL * index as f64);
    }
    svg + "</svg>\n"
}

fn in_words(series: &Series<'_>) -> String {
    let count = series.marks.len();
    let mut words = format!(
        "{}, {} zone: {count} check{} since {}",
        series.geometry,
        zone(series),
        if count == 1 { "" } else { "s" },
        series.start.word()
    );
    for more in outlook(series).into_iter().chain(signs(series)) {
        words += "; ";
        words += &more;
    }
    words + "."
}

fn panel(svg: &mut String, series: &Series<'_>, top: f64) {
    let (Some(first), Some(newest)) = (series.marks.first(), series.newest()) else {
        return;
    };
    let limit = series
        .marks
        .iter()
        .map(|mark| mark.half_width)
        .fold(0.0, f64::max);
    let largest = series
        .marks
        .iter()
        .map(|mark| mark.deviation.abs())
        .fold(limit, f64::max);
    let span = newest.x.max(1.0);
    let reach = if largest > 0.0 { largest * 1.1 } else { 1.0 };
    let (left, right) = (LEFT, WIDTH - RIGHT);
    let (upper, lower) = (top + ABOVE, top + PANEL - BELOW);
    let x = |at: f64| left + at / span * (right - left);
    let y = |value: f64| {
        let share = (value / reach).clamp(-1.0, 1.0);
        (upper + lower) / 2.0 - share * (lower - upper) / 2.0
    };
    let _ = writeln!(
        svg,
        "<g><text x=\"16\" y=\"{:.1}\">{}</text>",
        top + 20.0,
        escaped(&format!(
            "{}, {} zone, since {} ({})",
            series.geometry,
            zone(series),
            first.day,
            series.start.word()
        ))
    );
    let mut rule = |class: &str, value: f64, label: bool| {
        let at = y(value);
        let _ = writeln!(
            svg,
            "<line class=\"{class}\" x1=\"{left:.1}\" y1=\"{at:.1}\" x2=\"{right:.1}\" y2=\"{at:.1}\"/>"
        );
        if label {
            let _ = writeln!(
                svg,
                "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
                left - 6.0,
                at + 4.0,
                signed(value)
            );
        }
    };
    rule("limit", newest.acceptance, true);
    rule("limit", -newest.acceptance, true);
    rule("zero", 0.0, true);
    if let Some(chart) = &series.chart {
        rule("control", chart.upper, false);
        rule("control", chart.lower, false);
    }
    if let Some(line) = series.line.as_ref().filter(|line| line.has_trend()) {
        const STEPS: usize = 24;
        let at = |step: usize| span * step as f64 / STEPS as f64;
        let edge = |sign: f64| {
            (0..=STEPS).filter_map(move |step| {
                let band = line.prediction(at(step), LINE_COVERAGE)?;
                Some((at(step), band.centre + sign * band.half_width))
            })
        };
        let mut outline: Vec<(f64, f64)> = edge(1.0).collect();
        let mut back: Vec<(f64, f64)> = edge(-1.0).collect();
        back.reverse();
        outline.extend(back);
        let points: Vec<String> = outline
            .iter()
            .map(|(at, value)| format!("{:.1},{:.1}", x(*at), y(*value)))
            .collect();
        let _ = writeln!(
            svg,
            "<polygon class=\"band\" points=\"{}\"/>",
            points.join(" ")
        );
        let _ = writeln!(
            svg,
            "<line class=\"line\" x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\"/>",
            x(0.0),
            y(line.at(0.0)),
            x(span),
            y(line.at(span))
        );
    }
    if let Some(ewma) = &series.ewma {
        let points: Vec<String> = series
            .marks
            .iter()
            .zip(&ewma.steps)
            .map(|(mark, step)| format!("{:.1},{:.1}", x(mark.x), y(step.average)))
            .collect();
        let _ = writeln!(
            svg,
            "<polyline class=\"average\" points=\"{}\"/>",
            points.join(" ")
        );
    }
    for mark in &series.marks {
        let _ = writeln!(svg, "{}", drawn(mark, x(mark.x), y(mark.deviation)));
    }
    let _ = writeln!(
        svg,
        "<text x=\"{left:.1}\" y=\"{:.1}\">{}</text><text x=\"{right:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text></g>",
        lower + 18.0,
        first.day,
        lower + 18.0,
        newest.day
    );
}

/// A check: a filled dot as found, a ring as left, a cross beyond the limits.
fn drawn(mark: &Mark<'_>, x: f64, y: f64) -> String {
    let told = escaped(&format!(
        "{}: {} % of range",
        mark.check,
        signed(mark.deviation)
    ));
    if mark.deviation.abs() > mark.acceptance {
        let (a, b, c, d) = (x - 5.0, x + 5.0, y - 5.0, y + 5.0);
        return format!(
            "<path class=\"out\" d=\"M{a:.1} {c:.1}L{b:.1} {d:.1}M{a:.1} {d:.1}L{b:.1} {c:.1}\"><title>{told}</title></path>"
        );
    }
    let class = match mark.condition {
        Some(Condition::AsLeft) => "left",
        _ => "mark",
    };
    format!(
        "<circle class=\"{class}\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.5\"><title>{told}</title></circle>"
    )
}
