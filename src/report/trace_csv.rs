//! What rests on a record, a line a check, for spreadsheets.

use super::csv::line;
use crate::fleet::Fleet;
use crate::fleet::Uncounted;
use crate::fleet::trace::{Role, Row, Trace};
use crate::record::check::Verdict;

const HEADS: [&str; 20] = [
    "check",
    "instrument",
    "day",
    "performed",
    "verdict",
    "counts",
    "why_not",
    "roles",
    "is_last_pass",
    "calibration_covers",
    "geometry",
    "fluid",
    "bottle",
    "thermometer",
    "bath",
    "policy",
    "operator",
    "entered_by",
    "amended_by",
    "consents",
];

pub fn render(fleet: &Fleet<'_>, trace: &Trace<'_>) -> String {
    let mut text = line(&HEADS);
    for row in trace.rows().iter() {
        text += &line(&cells(fleet, row));
    }
    text
}

fn cells(fleet: &Fleet<'_>, row: &Row<'_>) -> [String; 20] {
    let session = row.session;
    let yes = |holds: bool| if holds { "yes" } else { "no" }.to_owned();
    let or_none = |text: Option<&str>| text.unwrap_or_default().to_owned();
    let roles: Vec<&str> = row.roles.iter().copied().map(Role::word).collect();
    let consents: Vec<&str> = session.consents.iter().map(|id| id.as_str()).collect();
    [
        row.id.to_owned(),
        session.instrument.to_string(),
        session.date.to_string(),
        fleet.book.zone.wall(session.performed).to_string(),
        or_none(row.facts.verdict.map(Verdict::word)),
        yes(row.counts()),
        or_none(row.why_not.map(Uncounted::word)),
        roles.join(" "),
        yes(row.is_last_pass),
        row.calibration_covers.map(yes).unwrap_or_default(),
        or_none(session.geometry.as_deref()),
        session.fluid.to_string(),
        or_none(session.bottle.as_deref()),
        or_none(session.thermometer.as_deref()),
        or_none(session.bath.as_deref()),
        or_none(session.policy.as_deref()),
        session.operator.to_string(),
        or_none(session.entered_by.as_deref()),
        or_none(session.amended_by.as_deref()),
        consents.join(" "),
    ]
}
