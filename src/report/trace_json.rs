//! What rests on a record, or one check with its window, as JSON; `schema/output/trace.schema.json` describes it.

use crate::finding::Place;
use crate::fleet::trace::{Bias, Group, OfCheck, OfFact, Role, Row, Trace, Window, ZoneBias};
use crate::fleet::{Fleet, Uncounted};
use crate::measure::Exact;
use crate::record::Kind;
use crate::record::check::Verdict;
use crate::record::nonconformity::Nonconformity;
use crate::record::policy::ZoneName;
use serde::Serialize;

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    as_of: String,
    subject: Subject<'a>,
    since: Option<String>,
    until: Option<String>,
    totals: Totals,
    instruments: Vec<Instrument<'a>>,
    checks: Vec<Check<'a>>,
    mentions: Vec<Mention<'a>>,
    rests_on: Option<Vec<Ground<'a>>>,
    window: Option<Span<'a>>,
}

#[derive(Serialize)]
struct Subject<'a> {
    asked: &'a str,
    kind: &'static str,
    id: &'a str,
    bottle: Option<&'a str>,
    path: String,
}

#[derive(Serialize)]
struct Totals {
    checks: usize,
    counted: usize,
    pass: usize,
    fail: usize,
    void: usize,
    amended: usize,
    rejected: usize,
    with_errors: usize,
    first: Option<String>,
    last: Option<String>,
}

#[derive(Serialize)]
struct Instrument<'a> {
    id: &'a str,
    checks: usize,
    pass: usize,
    fail: usize,
    uncounted: usize,
    first: String,
    last: String,
    state: Option<&'static str>,
    usable: Option<bool>,
    last_pass: Option<&'a str>,
    last_pass_is_among_them: bool,
}

#[derive(Serialize)]
struct Check<'a> {
    check: &'a str,
    instrument: &'a str,
    day: String,
    performed: String,
    verdict: Option<&'static str>,
    counts: bool,
    why_not: Option<&'static str>,
    roles: Vec<&'static str>,
    is_last_pass: bool,
    calibration_covers: Option<bool>,
    geometry: Option<&'a str>,
    fluid: &'a str,
    bottle: Option<&'a str>,
    thermometer: Option<&'a str>,
    bath: Option<&'a str>,
    policy: Option<&'a str>,
    operator: &'a str,
    entered_by: Option<&'a str>,
    amended_by: Option<&'a str>,
    consents: Vec<&'a str>,
}

#[derive(Serialize)]
struct Mention<'a> {
    how: &'static str,
    path: &'a str,
    line: u32,
    pointer: &'a str,
    says: &'a str,
}

#[derive(Serialize)]
struct Ground<'a> {
    what: &'static str,
    path: &'a str,
    line: u32,
    pointer: &'a str,
    says: &'a str,
}

#[derive(Serialize)]
struct Span<'a> {
    last_good: Option<&'a str>,
    from: Option<String>,
    to: String,
    days: Option<i64>,
    last_calibration: Option<String>,
    zones: Vec<Zone>,
    between: Vec<&'a str>,
    changes: Vec<Changed<'a>>,
    repeats: Vec<&'a str>,
    next_pass: Option<&'a str>,
    nonconformities: Vec<Decided<'a>>,
}

#[derive(Serialize)]
struct Changed<'a> {
    what: &'a str,
    day: String,
    pointer: &'a str,
}

#[derive(Serialize)]
struct Zone {
    zone: Option<&'static str>,
    speeds: usize,
    without_figure: usize,
    deviation_percent: Option<f64>,
    deviation_of_range_percent: Option<f64>,
    allowed_of_range_percent: Option<f64>,
    verdict: Option<&'static str>,
    last_good_deviation_percent: Option<f64>,
    last_good_deviation_of_range_percent: Option<f64>,
}

#[derive(Serialize)]
struct Decided<'a> {
    id: &'a str,
    opened: String,
    decided: Option<String>,
}

/// Checks in order of time, instruments in order of id, mentions in order of path.
pub fn render(fleet: &Fleet<'_>, trace: &Trace<'_>, asked: &str) -> String {
    let rows = trace.rows();
    let day = |day: Option<jiff::civil::Date>| day.map(|day| day.to_string());
    let (since, until) = match trace {
        Trace::Fact(of) => (of.since, of.until),
        Trace::Check(_) => (None, None),
    };
    super::check_json::pretty(&Document {
        format: 1,
        as_of: fleet.as_of.to_string(),
        subject: subject(trace, asked),
        since: day(since),
        until: day(until),
        totals: totals(&rows),
        instruments: match trace {
            Trace::Fact(of) => of.instruments.iter().map(instrument).collect(),
            Trace::Check(_) => Vec::new(),
        },
        checks: rows.iter().map(|row| check(fleet, row)).collect(),
        mentions: match trace {
            Trace::Fact(of) => mentions(of),
            Trace::Check(_) => Vec::new(),
        },
        rests_on: match trace {
            Trace::Fact(_) => None,
            Trace::Check(of) => Some(grounds(of)),
        },
        window: match trace {
            Trace::Fact(_) => None,
            Trace::Check(of) => of.window.as_ref().map(|span| window(fleet, of, span)),
        },
    })
}

fn subject<'a>(trace: &'a Trace<'_>, asked: &'a str) -> Subject<'a> {
    match trace {
        Trace::Fact(of) => Subject {
            asked,
            kind: of.fact.kind.word(),
            id: &of.fact.id,
            bottle: of.fact.bottle.as_deref(),
            path: of.fact.path(),
        },
        Trace::Check(of) => Subject {
            asked,
            kind: Kind::Check.word(),
            id: of.row.id,
            bottle: None,
            path: of.row.facts.place(of.row.id).path,
        },
    }
}

fn totals(rows: &[Row<'_>]) -> Totals {
    let count = |holds: &dyn Fn(&Row<'_>) -> bool| rows.iter().filter(|row| holds(row)).count();
    let because = |why| count(&|row| row.why_not == Some(why));
    Totals {
        checks: rows.len(),
        counted: count(&|row| row.counts()),
        pass: count(&|row| row.counts() && row.passed()),
        fail: count(&|row| row.counts() && row.failed()),
        void: because(Uncounted::Void),
        amended: because(Uncounted::Amended),
        rejected: because(Uncounted::Rejected),
        with_errors: because(Uncounted::WithErrors),
        first: rows.first().map(|row| row.session.date.to_string()),
        last: rows.last().map(|row| row.session.date.to_string()),
    }
}

fn instrument<'a>(group: &Group<'a>) -> Instrument<'a> {
    let last_pass = group.member.and_then(|member| member.last_pass);
    Instrument {
        id: group.id,
        checks: group.checks,
        pass: group.pass,
        fail: group.fail,
        uncounted: group.uncounted(),
        first: group.first.to_string(),
        last: group.last.to_string(),
        state: group.member.map(|member| member.state.word()),
        usable: group.member.map(|member| member.usable),
        last_pass: last_pass.map(|pass| pass.id),
        last_pass_is_among_them: group.rests,
    }
}

fn check<'a>(fleet: &Fleet<'_>, row: &Row<'a>) -> Check<'a> {
    let session = row.session;
    Check {
        check: row.id,
        instrument: &session.instrument,
        day: session.date.to_string(),
        performed: fleet.book.zone.wall(session.performed).to_string(),
        verdict: row.facts.verdict.map(Verdict::word),
        counts: row.counts(),
        why_not: row.why_not.map(Uncounted::word),
        roles: row.roles.iter().copied().map(Role::word).collect(),
        is_last_pass: row.is_last_pass,
        calibration_covers: row.calibration_covers,
        geometry: session.geometry.as_deref(),
        fluid: &session.fluid,
        bottle: session.bottle.as_deref(),
        thermometer: session.thermometer.as_deref(),
        bath: session.bath.as_deref(),
        policy: session.policy.as_deref(),
        operator: &session.operator,
        entered_by: session.entered_by.as_deref(),
        amended_by: session.amended_by.as_deref(),
        consents: session.consents.iter().map(|id| id.as_str()).collect(),
    }
}

fn at(place: &Place) -> (&str, u32, &str) {
    (&place.path, place.line, &place.pointer)
}

fn mentions<'a>(of: &'a OfFact<'_>) -> Vec<Mention<'a>> {
    of.mentions
        .iter()
        .map(|mention| {
            let (path, line, pointer) = at(&mention.place);
            Mention {
                how: mention.how.word(),
                path,
                line,
                pointer,
                says: &mention.says,
            }
        })
        .collect()
}

fn grounds<'a>(of: &'a OfCheck<'_>) -> Vec<Ground<'a>> {
    of.grounds
        .iter()
        .map(|ground| {
            let (path, line, pointer) = at(&ground.place);
            Ground {
                what: ground.what,
                path,
                line,
                pointer,
                says: &ground.says,
            }
        })
        .collect()
}

fn window<'a>(fleet: &Fleet<'_>, of: &'a OfCheck<'_>, window: &'a Window<'_>) -> Span<'a> {
    let ids = |rows: &'a [Row<'_>]| rows.iter().map(|row| row.id).collect();
    let decided = |record: &Nonconformity| {
        let outcome = record.outcome.as_ref()?;
        (outcome.date <= fleet.as_of).then(|| outcome.date.to_string())
    };
    Span {
        last_good: window.last_good.as_ref().map(|row| row.id),
        from: window
            .last_good
            .as_ref()
            .map(|row| row.session.date.to_string()),
        to: of.row.session.date.to_string(),
        days: window.days,
        last_calibration: window.last_calibration.map(|day| day.to_string()),
        zones: window.zones.iter().map(zone).collect(),
        between: ids(&window.between),
        changes: window
            .changes
            .iter()
            .map(|change| Changed {
                what: change.what,
                day: change.day.to_string(),
                pointer: &change.pointer,
            })
            .collect(),
        repeats: ids(&window.repeats),
        next_pass: window.next_pass.as_ref().map(|row| row.id),
        nonconformities: of
            .nonconformities
            .iter()
            .map(|record| Decided {
                id: &record.id,
                opened: record.opened.to_string(),
                decided: decided(record),
            })
            .collect(),
    }
}

fn zone(bias: &ZoneBias) -> Zone {
    let figure = |value: &Option<Exact>| value.as_ref().map(Exact::to_f64);
    let failed = &bias.failed;
    let good = |of: &dyn Fn(&Bias) -> Option<f64>| bias.last_good.as_ref().and_then(of);
    Zone {
        zone: bias.zone.map(|zone| ZoneName::from(zone).word()),
        speeds: failed.speeds,
        without_figure: failed.without_figure,
        deviation_percent: figure(&failed.deviation_percent),
        deviation_of_range_percent: figure(&failed.deviation_of_range_percent),
        allowed_of_range_percent: figure(&failed.allowed_of_range_percent),
        verdict: failed.verdict.map(Verdict::word),
        last_good_deviation_percent: good(&|bias| figure(&bias.deviation_percent)),
        last_good_deviation_of_range_percent: good(&|bias| {
            figure(&bias.deviation_of_range_percent)
        }),
    }
}
