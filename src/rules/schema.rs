use super::{Out, Rule, Run, run::NamedRecord};
use crate::book::zone::{NoInstant, Zone};
use crate::book::{Book, Fact, Loaded, Named};
use crate::finding::Severity;
use crate::measure::range::Geometry as Figures;
use crate::parse::{Doc, FaultKind};
use crate::record::fluid::Fluid;
use crate::record::geometry::Geometry;
use crate::record::instrument::{Instrument, Speeds};
use crate::record::person::Duty;
use crate::record::policy::{Basis, Decision, Policy};
use crate::record::thermometer::Thermometer;
use crate::record::{Correction, Number, Stamp, Standing, State, When};
use crate::text::nearest;
use jiff::civil::Date;

pub(super) static RULE: Rule = Rule {
    id: "schema",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("schema.md"),
    run: &[
        Run::Reading(FaultKind::Schema),
        Run::Fact(fact),
        Run::Named(check),
    ],
};

fn fact(book: &Book, fact: Fact<'_>, out: &mut Out<'_>) {
    match fact {
        Fact::Marker(marker) => {
            if Zone::named(&marker.time_zone).is_none() {
                let names: Vec<String> = jiff::tz::db()
                    .available()
                    .map(|name| name.to_string())
                    .collect();
                let help = match nearest(&marker.time_zone, names.iter().map(String::as_str)) {
                    Some(name) => format!("did you mean {name}? Until the zone is known, no check has a date"),
                    None => "write the zone by its IANA name, a continent or ocean and a city, as Europe/Dublin; until then no check has a date".to_owned(),
                };
                out.say(
                    marker.at("/time_zone"),
                    format!("there is no time zone {}", marker.time_zone),
                )
                .help(help);
            }
        }
        Fact::Policy(policy) => self::policy(policy, out),
        Fact::Instrument(instrument) => self::instrument(book, instrument, out),
        Fact::Geometry(geometry) => self::geometry(book, geometry, out),
        Fact::Fluid(fluid) => self::fluid(book, fluid, out),
        Fact::Thermometer(thermometer) => self::thermometer(book, thermometer, out),
        Fact::Review(review) => instant(book, &review.doc, "/decided", &review.decided, out),
        Fact::Person(person) => {
            let rows = person.authorised.iter().enumerate();
            let rights = rows.map(|(index, row)| (format!("/authorised/{index}/from"), row.from));
            let rows = person.signing_keys.iter().enumerate();
            let keys = rows.map(|(index, row)| (format!("/signing_key/{index}/from"), row.0));
            for (pointer, when) in rights.chain(keys) {
                row_time(book, &person.doc, &pointer, &when, out);
            }
        }
        Fact::Nonconformity(record) => {
            if let Some(outcome) = &record.outcome
                && book.zone_known()
                && let Named::Sound(person) = book.people.named(&outcome.by)
                && !book.authorised_on(person, Duty::Review, outcome.date)
            {
                out.say(
                    record.at("/outcome/by"),
                    format!("{} was not authorised to review on {}, and decides this outcome", outcome.by, outcome.date),
                )
                .because(person.at("/authorised"), "what this person may do, and when")
                .help("name the reviewer who decided it; or add the right that the person had that day to the person's own file");
            }
        }
        Fact::Bath(_) => {}
    }
    for (index, row) in corrections(fact).iter().enumerate() {
        row_time(
            book,
            fact.doc(),
            &format!("/correction/{index}/date"),
            &row.date,
            out,
        );
    }
}

fn corrections(fact: Fact<'_>) -> &[Correction] {
    match fact {
        Fact::Policy(record) => &record.record.corrections,
        Fact::Person(record) => &record.record.corrections,
        Fact::Instrument(record) => &record.record.corrections,
        Fact::Geometry(record) => &record.record.corrections,
        Fact::Fluid(record) => &record.record.corrections,
        Fact::Thermometer(record) => &record.record.corrections,
        Fact::Bath(record) => &record.record.corrections,
        Fact::Marker(_) | Fact::Review(_) | Fact::Nonconformity(_) => &[],
    }
}

/// The times of a check: one that names no instant leaves the check without a date, so nothing else speaks of it.
fn check(book: &Book, named: NamedRecord<'_>, out: &mut Out<'_>) {
    let NamedRecord::Check { doc, check, .. } = named else {
        return;
    };
    instant(book, doc, "/performed", &check.performed, out);
    for (pointer, stamp) in [
        ("/amended", &check.amended),
        ("/preparation/soak_started", &check.preparation.soak_started),
    ] {
        if let Some(stamp) = stamp {
            instant(book, doc, pointer, stamp, out);
        }
    }
}

fn policy(policy: &Loaded<Policy>, out: &mut Out<'_>) {
    if policy.decision != Decision::Simple && policy.basis == Basis::Certified {
        let written = policy.decision.word();
        out.say(
            policy.at("/acceptance/decision"),
            format!("decision = \"{written}\" needs basis = \"corrected\", and the basis is certified"),
        )
        .because(policy.at("/temperature/basis"), "the basis of this policy")
        .help("write basis = \"corrected\", so that the temperature is corrected for and not only allowed for, or decision = \"simple\"");
    }
    let (minimum, low, high) = (
        &policy.minimum_percent,
        &policy.low_below_percent,
        &policy.high_above_percent,
    );
    if low.value > high.value {
        out.say(
            policy.at("/torque/low_below_percent"),
            format!("the low zone ends at {low} %, above {high} %, where the high zone begins"),
        )
        .because(policy.at("/torque/high_above_percent"), "where the high zone begins")
        .help("write low_below_percent no larger than high_above_percent; the middle zone lies between them");
    }
    if minimum.value > low.value {
        out.say(
            policy.at("/torque/minimum_percent"),
            format!("the least torque allowed is {minimum} %, above {low} %, where the low zone ends: no point could be in the low zone"),
        )
        .because(policy.at("/torque/low_below_percent"), "where the low zone ends")
        .help("write minimum_percent no larger than low_below_percent");
    }
    if let Some(last) = policy.soak.last()
        && (last.kinds.is_some() || last.up_to_mpa_s.is_some())
    {
        let index = policy.soak.len() - 1;
        let key = if last.kinds.is_some() {
            "kinds"
        } else {
            "up_to_mpa_s"
        };
        out.say(
            policy.at(&format!("/soak/{index}/{key}")),
            format!("the last [[soak]] row is for some checks only, by its {key}: the others would have no soak time"),
        )
        .help("add a last [[soak]] row with minutes alone, for every check that no row above fits");
    }
    for id in &policy.severity {
        let pointer = format!("/severity/{id}");
        match super::rule(id) {
            None => unknown_rule(policy, &pointer, id, out),
            Some(rule) if rule.severity != Severity::Warning => {
                out.say(
                    policy.doc.place_of_key(&pointer),
                    format!(
                        "{id} is {} by itself; only a warning can be raised",
                        an(rule.severity)
                    ),
                )
                .help("delete this line; [severity] makes a warning an error, and nothing else");
            }
            Some(_) => {}
        }
    }
    for (index, id) in policy.deviation_allowed.iter().enumerate() {
        let pointer = format!("/deviation/allowed/{index}");
        match super::rule(id) {
            None => unknown_rule(policy, &pointer, id, out),
            Some(rule) if rule.severity != Severity::Error || !rule.spares_void => {
                let why = match rule.severity {
                    Severity::Error => format!(
                        "{id} holds for every check, void ones too, and nobody can consent to break it"
                    ),
                    other => format!(
                        "{id} is {}, which keeps no check from being committed",
                        an(other)
                    ),
                };
                out.say(policy.at(&pointer), why)
                    .help("take it out of allowed; only an error that a void check is spared can be allowed, such as \"soak-too-short\"");
            }
            Some(_) => {}
        }
    }
}

fn an(severity: Severity) -> &'static str {
    match severity {
        Severity::Error => "an error",
        Severity::Warning => "a warning",
        Severity::Notice => "a notice",
    }
}

fn unknown_rule(policy: &Loaded<Policy>, pointer: &str, id: &str, out: &mut Out<'_>) {
    let help = match nearest(id, super::RULES.iter().map(|rule| rule.id)) {
        Some(known) => format!("did you mean {known}?"),
        None => "`shearbook explain` lists the rules".to_owned(),
    };
    out.say(
        policy.doc.place_of_key(pointer),
        format!("there is no rule {id}"),
    )
    .help(help);
}

fn instrument(book: &Book, instrument: &Loaded<Instrument>, out: &mut Out<'_>) {
    if let Speeds::Between(slow, fast) = &instrument.speeds
        && slow.value >= fast.value
    {
        out.say(
            instrument.at("/speed_range_rpm"),
            format!("the range of speeds goes from {slow} to {fast} rpm, which is no range"),
        )
        .help("write the lowest speed first, then the highest");
    }
    let springs: Vec<When> = instrument.springs.iter().map(|row| row.from).collect();
    in_order(book, &instrument.doc, "spring", "from", &springs, true, out);
    let services: Vec<When> = instrument.services.iter().map(|row| row.date).collect();
    in_order(
        book,
        &instrument.doc,
        "service",
        "date",
        &services,
        false,
        out,
    );
    standings(book, &instrument.doc, &instrument.standings, out);
}

fn geometry(book: &Book, geometry: &Loaded<Geometry>, out: &mut Out<'_>) {
    if let Figures::CoaxialCylinders {
        bob_radius_mm: bob,
        cup_radius_mm: cup,
        ..
    } = &geometry.figures
        && cup <= bob
    {
        let written = |pointer: &str| {
            let node = geometry.doc.root.get(pointer);
            node.map_or("", |node| geometry.doc.text.slice(node.span))
        };
        out.say(
            geometry.at("/cup_radius_mm"),
            format!(
                "the cup's radius {} mm is not larger than the bob's, {} mm",
                written("/cup_radius_mm"),
                written("/bob_radius_mm")
            ),
        )
        .because(
            geometry.at("/bob_radius_mm"),
            "the bob that turns in the cup",
        )
        .help("look at both radii; a bore or a diameter is twice the radius");
    }
    let dates: Vec<When> = geometry.inspections.iter().map(|(date, _)| *date).collect();
    in_order(
        book,
        &geometry.doc,
        "inspection",
        "date",
        &dates,
        false,
        out,
    );
}

fn fluid(book: &Book, fluid: &Loaded<Fluid>, out: &mut Out<'_>) {
    let temperatures: Vec<&Number> = fluid.values.iter().map(|row| &row.temperature_c).collect();
    ascending(&fluid.doc, "/value", "temperature_c", &temperatures, out);
    for (index, bottle) in fluid.bottles.iter().enumerate() {
        let first = fluid.bottles.iter().position(|other| other.id == bottle.id);
        if let Some(first) = first.filter(|first| *first < index) {
            out.say(
                fluid.at(&format!("/bottle/{index}/id")),
                format!(
                    "bottle {} stands here twice: a check that names it would not say which",
                    bottle.id
                ),
            )
            .because(fluid.at(&format!("/bottle/{first}/id")), "the first one")
            .help("give each bottle a name of its own");
        }
    }
    standings(book, &fluid.doc, &fluid.standings, out);
}

fn thermometer(book: &Book, thermometer: &Loaded<Thermometer>, out: &mut Out<'_>) {
    let dates: Vec<When> = thermometer
        .calibrations
        .iter()
        .map(|row| row.date)
        .collect();
    in_order(
        book,
        &thermometer.doc,
        "calibration",
        "date",
        &dates,
        false,
        out,
    );
    for (index, calibration) in thermometer.calibrations.iter().enumerate() {
        let shown: Vec<&Number> = calibration.rows.iter().map(|(at, _)| at).collect();
        ascending(
            &thermometer.doc,
            &format!("/calibration/{index}/corrections"),
            "at_c",
            &shown,
            out,
        );
    }
}

/// Rows by temperature: each once, ascending.
fn ascending(doc: &Doc, table: &str, key: &str, rows: &[&Number], out: &mut Out<'_>) {
    for (index, pair) in rows.windows(2).enumerate() {
        let [before, here] = pair else { continue };
        let message = match here.value.cmp(&before.value) {
            std::cmp::Ordering::Greater => continue,
            std::cmp::Ordering::Equal => format!("{key} = {here} stands here twice"),
            std::cmp::Ordering::Less => {
                format!("{key} = {here} stands after {before}: the rows are not ascending")
            }
        };
        out.say(doc.place(&format!("{table}/{}/{key}", index + 1)), message)
            .because(
                doc.place(&format!("{table}/{index}/{key}")),
                "the row before it",
            )
            .help("put the rows in the order of their temperatures, each temperature once");
    }
}

/// Rows by time. Where two rows of one day would leave it open which of them holds, they need times.
fn in_order(
    book: &Book,
    doc: &Doc,
    table: &str,
    key: &str,
    rows: &[When],
    need_times: bool,
    out: &mut Out<'_>,
) {
    for (index, when) in rows.iter().enumerate() {
        row_time(book, doc, &format!("/{table}/{index}/{key}"), when, out);
    }
    if !book.zone_known() {
        return;
    }
    for (index, pair) in rows.windows(2).enumerate() {
        let [before, here] = pair else { continue };
        let one_day = day(book, before) == day(book, here);
        let both_times = matches!((before, here), (When::Time(_), When::Time(_)));
        let order = match one_day && !both_times {
            true => std::cmp::Ordering::Equal,
            false => book.zone.begins(here).cmp(&book.zone.begins(before)),
        };
        let (message, help) = match order {
            std::cmp::Ordering::Greater => continue,
            std::cmp::Ordering::Less => (
                format!("the [[{table}]] row of {here} stands after the one of {before}"),
                "put the rows in order of time, the oldest first".to_owned(),
            ),
            std::cmp::Ordering::Equal if !need_times => continue,
            std::cmp::Ordering::Equal if both_times => (
                format!("two [[{table}]] rows begin at {here}"),
                "give each row its own time, or delete the wrong one".to_owned(),
            ),
            std::cmp::Ordering::Equal => (
                format!(
                    "two [[{table}]] rows are of {}, and do not both say at what time",
                    day(book, here)
                ),
                format!(
                    "give both rows a time, as {key} = {}T09:00:00",
                    day(book, here)
                ),
            ),
        };
        out.say(doc.place(&format!("/{table}/{}/{key}", index + 1)), message)
            .because(
                doc.place(&format!("/{table}/{index}/{key}")),
                "the row before it",
            )
            .help(help);
    }
}

fn day(book: &Book, when: &When) -> Date {
    match when {
        When::Date(date) => *date,
        When::Time(_) => book.zone.date(book.zone.begins(when)),
    }
}

fn standings(book: &Book, doc: &Doc, rows: &[Standing], out: &mut Out<'_>) {
    let times: Vec<When> = rows.iter().map(|row| row.from).collect();
    in_order(book, doc, "standing", "from", &times, true, out);
    for (index, row) in rows.iter().enumerate() {
        let first_good = index == 0 && matches!(row.state, State::InService | State::Usable);
        if row.reason.is_none() && !first_good {
            out.say(
                doc.place(&format!("/standing/{index}/reason")),
                format!(
                    "the row says {} from {} without a reason",
                    row.state.word(),
                    row.from
                ),
            )
            .help("add reason = \"...\" to the row: why the state changed");
        }
        let day = day(book, &row.from);
        if book.zone_known()
            && let Named::Sound(person) = book.people.named(&row.by)
            && !book.authorised_on(person, Duty::Records, day)
            && !book.authorised_on(person, Duty::Review, day)
        {
            out.say(
                doc.place(&format!("/standing/{index}/by")),
                format!("{} was authorised for neither records nor review on {day}", row.by),
            )
            .because(person.at("/authorised"), "what this person may do, and when")
            .help("name who decided it; or add the right that the person had that day to the person's own file");
        }
    }
}

fn row_time(book: &Book, doc: &Doc, pointer: &str, when: &When, out: &mut Out<'_>) {
    if let When::Time(stamp) = when {
        instant(book, doc, pointer, stamp, out);
    }
}

/// A time that names no single instant in the book's zone.
fn instant(book: &Book, doc: &Doc, pointer: &str, stamp: &Stamp, out: &mut Out<'_>) {
    if !book.zone_known() {
        return;
    }
    let Err(why) = book.zone.instant(stamp) else {
        return;
    };
    let zone = book
        .marker
        .as_ref()
        .map_or("the book's zone", |marker| marker.time_zone.as_str());
    let (message, help) = match why {
        NoInstant::Repeated => (
            format!("{stamp} comes twice in {zone}: the clock repeats this hour"),
            format!("say which one by its offset from UTC, as {}{}", stamp.wall, offsets(book, stamp)),
        ),
        NoInstant::Skipped => (
            format!("{stamp} never comes in {zone}: the clock skips this hour"),
            "look at the clock by which the time was taken, and write the time that it should have shown".to_owned(),
        ),
        NoInstant::Beyond => (
            format!("{stamp} lies beyond the calendar"),
            "look at the year and at the offset".to_owned(),
        ),
    };
    let said = out.say(doc.place(pointer), message).help(help);
    if let Some(marker) = &book.marker {
        said.because(marker.at("/time_zone"), "the zone of the book");
    }
}

/// The two offsets of a time that comes twice, as a remark.
fn offsets(book: &Book, stamp: &Stamp) -> String {
    let either: Vec<String> = (-56..=56)
        .filter_map(|quarter| {
            let minutes: i16 = quarter * 15;
            let with = Stamp {
                wall: stamp.wall,
                offset_minutes: Some(minutes),
            };
            let at = book.zone.instant(&with).ok()?;
            let sign = if minutes < 0 { '-' } else { '+' };
            let size = minutes.unsigned_abs();
            (book.zone.wall(at) == stamp.wall)
                .then(|| format!("{sign}{:02}:{:02}", size / 60, size % 60))
        })
        .rev()
        .collect();
    match either.as_slice() {
        [first, second] => format!("{first} for the first or {second} for the second"),
        _ => "+01:00".to_owned(),
    }
}
