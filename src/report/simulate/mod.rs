//! What a policy that is not in force would have said of past checks.

pub mod csv;
pub mod json;
pub mod text;

use crate::book::{Book, Loaded};
use crate::fleet::Fleet;
use crate::record::check::Verdict;
use crate::record::policy::Policy;
use crate::rules::{Differing, Group, Selection};
use std::collections::BTreeMap;

/// What one policy, tried on a book, comes to.
pub struct Simulated<'a> {
    pub book: &'a Book,
    pub fleet: &'a Fleet<'a>,
    pub policy: &'a Loaded<Policy>,
    /// The policy's file as it was named.
    pub file: &'a str,
    pub selection: Selection<'a>,
    pub groups: BTreeMap<&'a str, Group>,
    /// In order of time.
    pub checks: Vec<Differing<'a>>,
}

/// All groups together, and what kind of differences there are.
#[derive(Default)]
struct Totals {
    checks: usize,
    verdicts_differ: usize,
    pass_to_fail: usize,
    fail_to_pass: usize,
    limits_differ: usize,
    /// Checks that count and would not for an error.
    refused: usize,
    /// Checks that do not count for an error and would.
    accepted: usize,
}

fn passes(verdict: Option<Verdict>) -> bool {
    matches!(verdict, Some(Verdict::Pass | Verdict::ConditionalPass))
}

fn fails(verdict: Option<Verdict>) -> bool {
    matches!(verdict, Some(Verdict::Fail | Verdict::ConditionalFail))
}

impl Simulated<'_> {
    fn totals(&self) -> Totals {
        let mut totals = Totals::default();
        for group in self.groups.values() {
            totals.checks += group.checks;
            totals.verdicts_differ += group.verdicts_differ;
            totals.limits_differ += group.limits_differ;
        }
        for one in &self.checks {
            let (before, after) = (one.before, one.after);
            totals.pass_to_fail += usize::from(passes(before) && fails(after));
            totals.fail_to_pass += usize::from(fails(before) && passes(after));
            totals.refused += usize::from(one.counts_before && !one.counts_after);
            totals.accepted += usize::from(!one.counts_before && one.counts_after);
        }
        totals
    }

    /// How many checks have errors of a rule that would come, and that would go.
    fn rules(&self) -> BTreeMap<&'static str, (usize, usize)> {
        let mut rules: BTreeMap<&'static str, (usize, usize)> = BTreeMap::new();
        for one in &self.checks {
            for rule in &one.comes {
                rules.entry(rule).or_default().0 += 1;
            }
            for rule in &one.goes {
                rules.entry(rule).or_default().1 += 1;
            }
        }
        rules
    }
}

fn word(verdict: Option<Verdict>) -> &'static str {
    verdict.map_or("none", Verdict::word)
}

/// The points of a check of which the verdict, or where there is none the limits, would be others.
fn changed_points(one: &Differing<'_>) -> Vec<usize> {
    let with = |keys: &[&str]| -> Vec<usize> {
        let points = 0..one.speeds_rpm.len();
        points
            .filter(|point| keys.iter().any(|key| one.figure(*point, key).is_some()))
            .collect()
    };
    match with(&["verdict"]) {
        points if points.is_empty() && one.verdict_differs() => {
            with(&["lower_mpa_s", "upper_mpa_s", "zone"])
        }
        points => points,
    }
}

/// What would become of one point.
fn of_point(one: &Differing<'_>, point: usize) -> String {
    let or_none = |value: &Option<String>| value.clone().unwrap_or_else(|| "none".to_owned());
    let mut parts = Vec::new();
    if let Some(verdict) = one.figure(point, "verdict") {
        parts.push(format!(
            "{} becomes {}",
            or_none(&verdict.before),
            or_none(&verdict.after)
        ));
    }
    for (lower, upper, name) in [
        ("lower_mpa_s", "upper_mpa_s", ""),
        (
            "acceptance_lower_mpa_s",
            "acceptance_upper_mpa_s",
            "acceptance ",
        ),
    ] {
        let (lower, upper) = (one.figure(point, lower), one.figure(point, upper));
        if let (Some(lower), Some(upper)) = (lower, upper) {
            let both = |one: &Option<String>, other: &Option<String>| {
                one.as_ref()
                    .zip(other.as_ref())
                    .map(|(one, other)| format!("{one} to {other}"))
            };
            let before = both(&lower.before, &upper.before);
            let after = both(&lower.after, &upper.after);
            parts.push(match (before, after) {
                (Some(before), Some(after)) => {
                    format!("{name}limits {before} become {after} mPa.s")
                }
                (None, Some(after)) => format!("with {name}limits {after} mPa.s"),
                (_, None) => format!("without {name}limits"),
            });
            continue;
        }
        for (which, limit) in [("lower", lower), ("upper", upper)] {
            parts.extend(limit.map(|limit| {
                format!(
                    "{which} {name}limit {} becomes {} mPa.s",
                    or_none(&limit.before),
                    or_none(&limit.after)
                )
            }));
        }
    }
    if let Some(zone) = one.figure(point, "zone") {
        parts.push(format!(
            "zone {} becomes {}",
            or_none(&zone.before),
            or_none(&zone.after)
        ));
    }
    let speed = one.speeds_rpm.get(point).map_or("", String::as_str);
    format!("point {} at {speed} rpm: {}", point + 1, parts.join(", "))
}
