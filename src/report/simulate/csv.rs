//! A line a check, for spreadsheets.

use super::super::csv::line;
use super::{Simulated, changed_points, of_point};
use crate::record::check::Verdict;

const HEADS: [&str; 11] = [
    "check",
    "instrument",
    "day",
    "policy_before",
    "verdict_before",
    "verdict_after",
    "counts_before",
    "counts_after",
    "errors_come",
    "errors_go",
    "points",
];

pub fn render(simulated: &Simulated<'_>) -> String {
    let yes = |holds: bool| if holds { "yes" } else { "no" }.to_owned();
    let verdict = |verdict: Option<Verdict>| verdict.map_or("", Verdict::word).to_owned();
    let mut text = line(&HEADS);
    for one in &simulated.checks {
        let points = changed_points(one).into_iter();
        let points: Vec<String> = points.map(|point| of_point(one, point)).collect();
        text += &line(&[
            one.id.to_owned(),
            one.facts.instrument().to_string(),
            one.date.to_string(),
            one.policy.unwrap_or_default().to_owned(),
            verdict(one.before),
            verdict(one.after),
            yes(one.counts_before),
            yes(one.counts_after),
            one.comes.join(" "),
            one.goes.join(" "),
            points.join("; "),
        ]);
    }
    text
}
