//! Plans as JSON; `schema/output/plan*.schema.json` describe them.

use super::cautions::cautions;
use super::plan_buy::Shopping;
use super::plan_sheet::{self, Benched};
use super::plan_text::Planned;
use crate::book::figures::rounded;
use crate::fleet::plan::purchase::Service;
use crate::fleet::plan::sheet::{Beaker, Line};
use crate::fleet::plan::{Choice, LeftOut, PlannedPoint};
use crate::measure::{Exact, FIGURE_DIGITS, PERCENT_PLACES};
use crate::record::policy::ZoneName;
use serde::Serialize;

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    book: &'a str,
    as_of: String,
    instrument: &'a str,
    state: &'static str,
    usable: bool,
    reasons: Vec<String>,
    policy: Option<&'a str>,
    choices: Vec<ChoiceEntry<'a>>,
    left_out: Vec<LeftOutEntry<'a>>,
    cautions: Vec<&'static str>,
}

#[derive(Serialize)]
struct ChoiceEntry<'a> {
    fluid: &'a str,
    bottle: Option<&'a str>,
    temperature_c: f64,
    geometry: &'a str,
    reference_mpa_s: f64,
    expanded_uncertainty_percent: Option<f64>,
    soak_minutes: Option<f64>,
    days_to_expiry: i64,
    off_centre_percent: f64,
    widest_band_percent: f64,
    remarks: Vec<String>,
    points: Vec<PointEntry>,
}

#[derive(Serialize)]
struct PointEntry {
    zone: &'static str,
    speed_rpm: f64,
    torque_percent: f64,
    range_mpa_s: f64,
    lower_mpa_s: f64,
    upper_mpa_s: f64,
    relative_band_percent: f64,
    off_centre_percent: f64,
    shear_rate_per_s: Option<f64>,
}

#[derive(Serialize)]
struct LeftOutEntry<'a> {
    kind: &'static str,
    id: &'a str,
    reason: &'static str,
    message: &'a str,
}

fn percentage(value: &Exact) -> f64 {
    value.rounded_decimals(PERCENT_PLACES).to_f64()
}

fn point(point: &PlannedPoint) -> PointEntry {
    PointEntry {
        zone: ZoneName::from(point.zone).word(),
        speed_rpm: point.speed_rpm.value.to_f64(),
        torque_percent: percentage(&point.torque_percent),
        range_mpa_s: point.range_mpa_s.to_f64(),
        lower_mpa_s: point.limits.lower.to_f64(),
        upper_mpa_s: point.limits.upper.to_f64(),
        relative_band_percent: percentage(&point.band_percent),
        off_centre_percent: percentage(&point.off_centre_percent),
        shear_rate_per_s: point
            .shear_rate_per_s
            .and_then(rounded)
            .map(|rate| rate.to_f64()),
    }
}

fn choice<'a>(choice: &'a Choice<'_>, remarks: Vec<String>) -> ChoiceEntry<'a> {
    let uncertainty = choice.expanded_uncertainty_percent.as_ref();
    ChoiceEntry {
        fluid: &choice.fluid.id,
        bottle: choice.bottle.map(|bottle| bottle.id.as_str()),
        temperature_c: choice.value.temperature_c.value.to_f64(),
        geometry: &choice.geometry.id,
        reference_mpa_s: choice.reference_mpa_s.to_f64(),
        expanded_uncertainty_percent: uncertainty
            .map(|percent| percent.rounded_significant(FIGURE_DIGITS).to_f64()),
        soak_minutes: choice.soak_minutes.map(|minutes| minutes.value.to_f64()),
        days_to_expiry: choice.days_to_expiry,
        off_centre_percent: percentage(&choice.off_centre_percent),
        widest_band_percent: percentage(&choice.widest_band_percent),
        remarks,
        points: choice.points.iter().map(point).collect(),
    }
}

fn left_out(one: &LeftOut) -> LeftOutEntry<'_> {
    LeftOutEntry {
        kind: one.what.word(),
        id: &one.id,
        reason: one.reason.word(),
        message: &one.message,
    }
}

/// The plan for one instrument.
pub fn instrument(planned: &Planned<'_>) -> String {
    let plan = planned.plan;
    let temperatures = plan
        .choices
        .iter()
        .map(|one| &one.value.temperature_c.value);
    super::check_json::pretty(&Document {
        format: 1,
        book: planned.book,
        as_of: plan.day.to_string(),
        instrument: &plan.instrument.id,
        state: planned.member.state.word(),
        usable: planned.member.usable,
        reasons: planned.reasons(),
        policy: plan.policy.map(|policy| policy.id.as_str()),
        choices: plan
            .choices
            .iter()
            .map(|one| choice(one, plan.all_remarks(one)))
            .collect(),
        left_out: plan.left_out.iter().map(left_out).collect(),
        cautions: cautions(temperatures),
    })
}

#[derive(Serialize)]
struct SheetDocument<'a> {
    format: u32,
    book: &'a str,
    as_of: String,
    within_days: u32,
    exact: bool,
    beakers: Vec<BeakerEntry<'a>>,
    not_planned: Vec<NotPlannedEntry<'a>>,
    cautions: Vec<&'static str>,
}

#[derive(Serialize)]
struct BeakerEntry<'a> {
    fluid: &'a str,
    bottle: Option<&'a str>,
    temperature_c: f64,
    soak_minutes: Option<f64>,
    sample_ml: Option<f64>,
    instruments: Vec<LineEntry<'a>>,
}

#[derive(Serialize)]
struct LineEntry<'a> {
    instrument: &'a str,
    state: &'static str,
    due: Option<String>,
    choice: ChoiceEntry<'a>,
}

#[derive(Serialize)]
struct NotPlannedEntry<'a> {
    instrument: &'a str,
    state: &'static str,
    message: &'a str,
}

fn line<'a>(line: &'a Line<'_>) -> LineEntry<'a> {
    LineEntry {
        instrument: line.member.id,
        state: line.member.state.word(),
        due: line.member.next_due.map(|due| due.to_string()),
        choice: choice(&line.choice, line.remarks.clone()),
    }
}

fn beaker<'a>(beaker: &'a Beaker<'_>) -> BeakerEntry<'a> {
    BeakerEntry {
        fluid: &beaker.fluid.id,
        bottle: beaker.bottle.map(|bottle| bottle.id.as_str()),
        temperature_c: beaker.value.temperature_c.value.to_f64(),
        soak_minutes: beaker.soak_minutes.as_ref().map(Exact::to_f64),
        sample_ml: beaker.sample_ml.as_ref().map(Exact::to_f64),
        instruments: beaker.lines.iter().map(line).collect(),
    }
}

/// The bench sheet.
pub fn sheet(benched: &Benched<'_>) -> String {
    let sheet = benched.sheet;
    super::check_json::pretty(&SheetDocument {
        format: 1,
        book: benched.book,
        as_of: sheet.day.to_string(),
        within_days: sheet.within_days,
        exact: sheet.exact,
        beakers: sheet.beakers.iter().map(beaker).collect(),
        not_planned: sheet
            .not_planned
            .iter()
            .map(|one| NotPlannedEntry {
                instrument: one.member.id,
                state: one.member.state.word(),
                message: &one.message,
            })
            .collect(),
        cautions: plan_sheet::care(sheet),
    })
}

#[derive(Serialize)]
struct PurchaseDocument<'a> {
    format: u32,
    book: &'a str,
    as_of: String,
    exact: bool,
    candidates: usize,
    buy: Vec<BoughtEntry<'a>>,
    covered_by_stock: &'a [&'a str],
    not_covered: Vec<NotCoveredEntry<'a>>,
}

#[derive(Serialize)]
struct BoughtEntry<'a> {
    id: &'a str,
    viscosity_mpa_s: f64,
    serves: Vec<ServiceEntry<'a>>,
}

#[derive(Serialize)]
struct ServiceEntry<'a> {
    instrument: &'a str,
    geometry: &'a str,
    points: Vec<PointEntry>,
}

#[derive(Serialize)]
struct NotCoveredEntry<'a> {
    instrument: &'a str,
    message: &'a str,
}

fn service<'a>(service: &'a Service<'_>) -> ServiceEntry<'a> {
    ServiceEntry {
        instrument: &service.instrument.id,
        geometry: &service.geometry.id,
        points: service.points.iter().map(point).collect(),
    }
}

/// What to buy.
pub fn purchase(shopping: &Shopping<'_>) -> String {
    let purchase = shopping.purchase;
    super::check_json::pretty(&PurchaseDocument {
        format: 1,
        book: shopping.book,
        as_of: shopping.day.to_string(),
        exact: purchase.exact,
        candidates: shopping.candidates,
        buy: purchase
            .buy
            .iter()
            .map(|bought| BoughtEntry {
                id: &bought.candidate.id,
                viscosity_mpa_s: bought.candidate.viscosity_mpa_s.value.to_f64(),
                serves: bought.serves.iter().map(service).collect(),
            })
            .collect(),
        covered_by_stock: &purchase.covered_by_stock,
        not_covered: purchase
            .not_covered
            .iter()
            .map(|one| NotCoveredEntry {
                instrument: one.instrument,
                message: &one.message,
            })
            .collect(),
    })
}
