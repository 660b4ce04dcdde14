//! One check as JSON; `schema/output/show.schema.json` describes it.

use super::pattern_text::{self, Told};
use crate::book::evidence;
use crate::book::figures::{self, UncertaintyFigures};
use crate::book::line::Amendment;
use crate::book::view::View;
use crate::measure::uncertainty::Repeatability;
use crate::measure::{Exact, PERCENT_PLACES};
use crate::parse::METHOD;
use crate::record::check::Verdict;
use crate::record::policy::ZoneName;
use serde::Serialize;

/// Decimals of the figures of a pattern.
const PATTERN_PLACES: u32 = 6;

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    check: &'a str,
    method: i64,
    policy: Option<&'a str>,
    reference_mpa_s: Option<f64>,
    verdict: Option<&'static str>,
    points: Vec<Point>,
    pattern: Option<Pattern>,
    laminar_limit_rpm: Option<f64>,
    d341_mpa_s: Option<f64>,
    amendments: Vec<Step<'a>>,
}

#[derive(Serialize)]
struct Point {
    speed_rpm: f64,
    zone: Option<&'static str>,
    torque_percent: Option<f64>,
    range_mpa_s: Option<f64>,
    shear_rate_per_s: Option<f64>,
    viscosity_mpa_s: Option<f64>,
    reference_mpa_s: Option<f64>,
    lower_mpa_s: Option<f64>,
    upper_mpa_s: Option<f64>,
    acceptance_lower_mpa_s: Option<f64>,
    acceptance_upper_mpa_s: Option<f64>,
    deviation_percent: Option<f64>,
    deviation_of_range_percent: Option<f64>,
    relative_band_percent: Option<f64>,
    standard_uncertainty_mpa_s: Option<f64>,
    degrees_of_freedom: Option<f64>,
    expanded_uncertainty_mpa_s: Option<f64>,
    test_uncertainty_ratio: Option<f64>,
    conformance_probability: Option<f64>,
    budget: Option<Budget>,
    verdict: Option<&'static str>,
}

#[derive(Serialize)]
struct Pattern {
    zero_offset_percent: Option<f64>,
    gain_error_percent: Option<f64>,
    non_linearity_percent: Option<f64>,
    causes: Vec<Cause>,
    cannot_tell: Vec<Indistinct>,
    witnesses: Vec<Asked>,
    passed_after: Option<String>,
}

#[derive(Serialize)]
struct Cause {
    cause: &'static str,
    message: String,
    tells_apart: &'static str,
}

#[derive(Serialize)]
struct Indistinct {
    causes: Vec<&'static str>,
    would_tell: Vec<&'static str>,
}

#[derive(Serialize)]
struct Asked {
    asked: &'static str,
    checks: usize,
    deviation_percent: Option<f64>,
}

impl Pattern {
    fn of(told: &Told) -> Option<Pattern> {
        let pattern = told.ranked.pattern.as_ref()?;
        let figure = |value: f64| {
            Exact::from_f64(value).map(|value| value.rounded_decimals(PATTERN_PLACES).to_f64())
        };
        let causes = told.ranked.causes.iter().map(|cause| Cause {
            cause: cause.kind.word(),
            message: cause.message().to_owned(),
            tells_apart: cause.tells_apart(),
        });
        let cannot_tell = told.ranked.cannot_tell.iter().map(|group| Indistinct {
            causes: group.causes.iter().map(|kind| kind.word()).collect(),
            would_tell: group.would_tell.clone(),
        });
        let witnesses = pattern_text::witnesses(&told.witness).into_iter();
        Some(Pattern {
            zero_offset_percent: figure(pattern.zero_offset_percent),
            gain_error_percent: figure(pattern.gain_error_percent),
            non_linearity_percent: figure(pattern.non_linearity_percent),
            causes: causes.collect(),
            cannot_tell: cannot_tell.collect(),
            witnesses: witnesses
                .map(|(asked, found)| Asked {
                    asked,
                    checks: found.checks,
                    deviation_percent: figure(found.gain_percent),
                })
                .collect(),
            passed_after: told.passed_after.clone(),
        })
    }
}

/// What makes up the standard uncertainty; standard uncertainties all.
#[derive(Serialize)]
struct Budget {
    fluid_mpa_s: Option<f64>,
    temperature_mpa_s: Option<f64>,
    resolution_mpa_s: Option<f64>,
    repeatability_mpa_s: Option<f64>,
    repeatability_from: &'static str,
    sensitivity_mpa_s_per_k: Option<f64>,
    temperature_k: Option<f64>,
    thermometer_k: Option<f64>,
    thermometer_resolution_k: Option<f64>,
    spread_k: Option<f64>,
    uniformity_k: Option<f64>,
    coverage_factor: Option<f64>,
}

impl Budget {
    fn of(told: &UncertaintyFigures) -> Budget {
        let budget = &told.budget;
        let parts = &budget.temperature_parts;
        let figure = |value: f64| figures::rounded(value).map(|value| value.to_f64());
        Budget {
            fluid_mpa_s: figure(budget.fluid),
            temperature_mpa_s: figure(budget.temperature),
            resolution_mpa_s: figure(budget.resolution),
            repeatability_mpa_s: figure(budget.repeatability),
            repeatability_from: match budget.repeatability_from {
                Repeatability::Stated => "stated",
                Repeatability::Replicates(_) => "replicates",
            },
            sensitivity_mpa_s_per_k: figure(budget.sensitivity_mpa_s_per_k),
            temperature_k: figure(budget.temperature_k),
            thermometer_k: figure(parts.thermometer_k),
            thermometer_resolution_k: figure(parts.resolution_k),
            spread_k: figure(parts.spread_k),
            uniformity_k: figure(parts.uniformity_k),
            coverage_factor: figure(budget.coverage_factor),
        }
    }
}

/// One amendment of the check, or of the check that this one amends.
#[derive(Serialize)]
struct Step<'a> {
    check: &'a str,
    reason: Option<&'a str>,
    amended: Option<&'a str>,
    amended_by: Option<&'a str>,
    changes: Vec<Changed<'a>>,
}

#[derive(Serialize)]
struct Changed<'a> {
    pointer: &'a str,
    was: Option<&'a serde_json::Value>,
    is: Option<&'a serde_json::Value>,
}

/// JSON with two blanks of indent and a line end.
pub(super) fn pretty<T: Serialize>(document: &T) -> String {
    serde_json::to_string_pretty(document).unwrap_or_default() + "\n"
}

fn figure(value: Option<&Exact>) -> Option<f64> {
    value.map(Exact::to_f64)
}

fn six_digits(value: Option<f64>) -> Option<f64> {
    figures::rounded(value?).map(|value| value.to_f64())
}

pub fn render(view: &View<'_>, told: &Told, amendments: &[Amendment]) -> String {
    let judgement = view.judgement.as_ref();
    let points = judgement
        .map(|judgement| judgement.points.as_slice())
        .unwrap_or_default();
    let uncertainties = figures::uncertainties(view);
    let uncertainty = |index: usize| uncertainties.get(index).and_then(Option::as_ref);
    pretty(&Document {
        format: 1,
        check: view.id,
        method: METHOD,
        policy: view.policy.map(|policy| policy.id.as_str()),
        reference_mpa_s: figure(judgement.and_then(|judgement| judgement.reference_mpa_s.as_ref())),
        verdict: figures::verdict(view).map(Verdict::word),
        points: points
            .iter()
            .zip(&view.check.points)
            .enumerate()
            .map(|(index, (point, written))| Point {
                speed_rpm: written.speed_rpm.value.to_f64(),
                zone: point.zone.map(|zone| ZoneName::from(zone).word()),
                torque_percent: point.torque_percent.as_ref().map(|torque| {
                    match &written.torque_percent {
                        Some(shown) => shown.value.to_f64(),
                        None => torque.rounded_decimals(PERCENT_PLACES).to_f64(),
                    }
                }),
                range_mpa_s: figure(point.range_mpa_s.as_ref()),
                shear_rate_per_s: view.shear_rate_per_s(written).and_then(|rate| {
                    Exact::from_f64(rate).map(|rate| rate.rounded_significant(6).to_f64())
                }),
                viscosity_mpa_s: point.reading_mpa_s.as_ref().map(|reading| {
                    match &written.viscosity_mpa_s {
                        Some(shown) => shown.value.to_f64(),
                        None => reading.rounded_significant(6).to_f64(),
                    }
                }),
                reference_mpa_s: figure(point.reference_mpa_s.as_ref()),
                lower_mpa_s: figure(point.lower.as_ref()),
                upper_mpa_s: figure(point.upper.as_ref()),
                acceptance_lower_mpa_s: figure(
                    point.guarded.as_ref().map(|by| &by.acceptance.lower),
                ),
                acceptance_upper_mpa_s: figure(
                    point.guarded.as_ref().map(|by| &by.acceptance.upper),
                ),
                deviation_percent: figure(point.deviation_percent.as_ref()),
                deviation_of_range_percent: figure(point.deviation_of_range_percent().as_ref()),
                relative_band_percent: figure(point.relative_band_percent().as_ref()),
                standard_uncertainty_mpa_s: figure(
                    uncertainty(index).map(|told| &told.standard_mpa_s),
                ),
                degrees_of_freedom: uncertainty(index)
                    .and_then(|told| told.degrees_of_freedom)
                    .map(f64::from),
                expanded_uncertainty_mpa_s: figure(
                    uncertainty(index).map(|told| &told.expanded_mpa_s),
                ),
                test_uncertainty_ratio: figure(
                    uncertainty(index).and_then(|told| told.test_uncertainty_ratio.as_ref()),
                ),
                conformance_probability: figure(
                    uncertainty(index).and_then(|told| told.conformance_probability.as_ref()),
                ),
                budget: uncertainty(index).map(Budget::of),
                verdict: point.verdict.map(|verdict| Verdict::from(verdict).word()),
            })
            .collect(),
        pattern: Pattern::of(told),
        laminar_limit_rpm: six_digits(evidence::laminar_limit(view)),
        d341_mpa_s: six_digits(evidence::d341_mpa_s(view)),
        amendments: amendments.iter().map(step).collect(),
    })
}

fn step(amendment: &Amendment) -> Step<'_> {
    let changes = amendment.changes.iter().map(|change| Changed {
        pointer: &change.pointer,
        was: change.was.as_ref().map(|value| &value.json),
        is: change.is.as_ref().map(|value| &value.json),
    });
    Step {
        check: &amendment.id,
        reason: amendment.reason.as_deref(),
        amended: amendment.amended.as_deref(),
        amended_by: amendment.amended_by.as_deref(),
        changes: changes.collect(),
    }
}
