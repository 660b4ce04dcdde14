//! The fleet as JSON; `schema/output/status.schema.json` describes it.

use super::json::{Entry, entry};
use crate::finding::{Counts, Finding};
use crate::fleet::{Fleet, Member};
use crate::record::check::Verdict;
use serde::Serialize;
use std::collections::BTreeMap;

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    as_of: String,
    instruments: Vec<Instrument<'a>>,
    totals: BTreeMap<&'static str, usize>,
    findings: Vec<Entry<'a>>,
    counts: Counts,
}

#[derive(Serialize)]
struct Instrument<'a> {
    id: &'a str,
    state: &'static str,
    usable: bool,
    reasons: &'a [String],
    last_check: Option<&'a str>,
    last_verdict: Option<&'static str>,
    next_due: Option<String>,
    days_left: Option<i64>,
    service_due: Option<String>,
}

fn instrument<'a>(member: &'a Member<'a>) -> Instrument<'a> {
    Instrument {
        id: member.id,
        state: member.state.word(),
        usable: member.usable,
        reasons: &member.reasons,
        last_check: member.last.map(|last| last.id),
        last_verdict: member
            .last
            .and_then(|last| last.facts.verdict)
            .map(Verdict::word),
        next_due: member.next_due.map(|due| due.to_string()),
        days_left: member.days_left,
        service_due: member.service_due().map(|due| due.to_string()),
    }
}

/// Instruments in order of id, so that two days can be compared.
pub fn render(fleet: &Fleet<'_>, findings: &[Finding]) -> String {
    super::check_json::pretty(&Document {
        format: 1,
        as_of: fleet.as_of.to_string(),
        instruments: fleet.members.iter().map(instrument).collect(),
        totals: fleet
            .totals()
            .into_iter()
            .map(|(state, count)| (state.word(), count))
            .collect(),
        findings: findings.iter().map(entry).collect(),
        counts: Counts::of(findings),
    })
}
