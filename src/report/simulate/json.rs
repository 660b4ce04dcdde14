//! For programs; `schema/output/simulate.schema.json` describes it.

use super::Simulated;
use crate::record::check::Verdict;
use crate::rules::{Differing, Figure, Group};
use serde::Serialize;
use serde_json::Value;

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    as_of: String,
    policy: Policy<'a>,
    since: Option<String>,
    instrument: Option<&'a str>,
    totals: Totals,
    instruments: Vec<Instrument<'a>>,
    rules: Vec<Rule>,
    checks: Vec<Check<'a>>,
}

#[derive(Serialize)]
struct Policy<'a> {
    id: &'a str,
    file: &'a str,
    effective: String,
    groups: Option<&'a [String]>,
}

#[derive(Serialize)]
struct Totals {
    checks: usize,
    verdicts_differ: usize,
    pass_to_fail: usize,
    fail_to_pass: usize,
    refused: usize,
    accepted: usize,
    limits_differ: usize,
}

#[derive(Serialize)]
struct Instrument<'a> {
    id: &'a str,
    checks: usize,
    pass_before: usize,
    fail_before: usize,
    pass_after: usize,
    fail_after: usize,
    counted_before: usize,
    counted_after: usize,
    verdicts_differ: usize,
    limits_differ: usize,
}

#[derive(Serialize)]
struct Rule {
    rule: &'static str,
    comes: usize,
    goes: usize,
}

#[derive(Serialize)]
struct Check<'a> {
    check: &'a str,
    instrument: &'a str,
    day: String,
    policy_before: Option<&'a str>,
    verdict_before: Option<&'static str>,
    verdict_after: Option<&'static str>,
    counts_before: bool,
    counts_after: bool,
    errors_come: &'a [&'static str],
    errors_go: &'a [&'static str],
    figures: Vec<Changed<'a>>,
}

#[derive(Serialize)]
struct Changed<'a> {
    point: Option<usize>,
    key: &'a str,
    before: Option<Value>,
    after: Option<Value>,
}

pub fn render(simulated: &Simulated<'_>) -> String {
    let totals = simulated.totals();
    let rules = simulated.rules().into_iter();
    super::super::check_json::pretty(&Document {
        format: 1,
        as_of: simulated.fleet.as_of.to_string(),
        policy: Policy {
            id: &simulated.policy.id,
            file: simulated.file,
            effective: simulated.policy.effective.to_string(),
            groups: simulated.policy.groups.as_deref(),
        },
        since: simulated.selection.since.map(|day| day.to_string()),
        instrument: simulated.selection.instrument,
        totals: Totals {
            checks: totals.checks,
            verdicts_differ: totals.verdicts_differ,
            pass_to_fail: totals.pass_to_fail,
            fail_to_pass: totals.fail_to_pass,
            refused: totals.refused,
            accepted: totals.accepted,
            limits_differ: totals.limits_differ,
        },
        instruments: simulated
            .groups
            .iter()
            .map(|(id, group)| instrument(id, group))
            .collect(),
        rules: rules
            .map(|(rule, (comes, goes))| Rule { rule, comes, goes })
            .collect(),
        checks: simulated.checks.iter().map(check).collect(),
    })
}

fn instrument<'a>(id: &'a str, group: &Group) -> Instrument<'a> {
    Instrument {
        id,
        checks: group.checks,
        pass_before: group.pass_before,
        fail_before: group.fail_before,
        pass_after: group.pass_after,
        fail_after: group.fail_after,
        counted_before: group.counted_before,
        counted_after: group.counted_after,
        verdicts_differ: group.verdicts_differ,
        limits_differ: group.limits_differ,
    }
}

fn check<'a>(one: &'a Differing<'_>) -> Check<'a> {
    Check {
        check: one.id,
        instrument: one.facts.instrument(),
        day: one.date.to_string(),
        policy_before: one.policy,
        verdict_before: one.before.map(Verdict::word),
        verdict_after: one.after.map(Verdict::word),
        counts_before: one.counts_before,
        counts_after: one.counts_after,
        errors_come: &one.comes,
        errors_go: &one.goes,
        figures: one.figures.iter().map(changed).collect(),
    }
}

fn changed(figure: &Figure) -> Changed<'_> {
    // A key with a unit holds a number.
    let words = ["verdict", "zone", "policy", "date"];
    let value = |text: &String| match text.parse::<f64>() {
        Ok(number) if !words.contains(&figure.key.as_str()) => Value::from(number),
        _ => Value::from(text.as_str()),
    };
    Changed {
        point: figure.point.map(|point| point + 1),
        key: &figure.key,
        before: figure.before.as_ref().map(value),
        after: figure.after.as_ref().map(value),
    }
}
