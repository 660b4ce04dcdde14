use super::{Out, Rule, Run, amends_of};
use crate::book::view::View;
use crate::book::{Book, Fact, Links, LoadError, Loaded, Shelf};
use crate::finding::{Finding, Place, Severity};
use crate::parse::Doc;
use crate::parse::layout;
use crate::record::instrument::Instrument;
use crate::record::nonconformity::Nonconformity;
use crate::record::review::Review;
use crate::record::{Correction, Kind, Standing};
use crate::text::nearest;

pub(super) static RULE: Rule = Rule {
    id: "reference-missing",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("reference_missing.md"),
    run: &[Run::Check(check), Run::Fact(fact), Run::Linked(linked)],
};

/// Lists of more ids than this are not read.
const SHORT_LIST: usize = 8;

/// Which id was meant, and which there are where they are few.
fn there_are<'a>(given: &str, ids: impl Iterator<Item = &'a str> + Clone) -> String {
    let meant = nearest(given, ids.clone());
    let mut few: Vec<&str> = ids.take(SHORT_LIST + 1).collect();
    few.sort_unstable();
    let mut help = meant
        .map(|id| format!("did you mean {id}? "))
        .unwrap_or_default();
    match few.len() {
        0 => help += "there is none yet; ",
        1 if meant.is_some() => {}
        1..=SHORT_LIST => help += &format!("there are {}; ", few.join(", ")),
        _ => {}
    }
    help
}

fn say_missing<'a>(
    out: &mut Out<'_>,
    place: Place,
    kind: Kind,
    id: &str,
    ids: impl Iterator<Item = &'a str> + Clone,
) {
    out.say(place, format!("there is no {} {id}", kind.noun()))
        .help(format!(
            "{}correct the name, or add the record {}",
            there_are(id, ids),
            layout::path_of(kind, id)
        ));
}

/// A name that stands for a record of a shelf; a broken record has its own finding.
fn ask<R>(
    out: &mut Out<'_>,
    shelf: &Shelf<R>,
    kind: Kind,
    id: &str,
    place: impl FnOnce() -> Place,
) {
    if shelf.lacks(id) {
        say_missing(out, place(), kind, id, shelf.ids());
    }
}

fn say_no_check<'a>(out: &mut Out<'_>, place: Place, id: &str, ids: impl Iterator<Item = &'a str>) {
    let meant = nearest(id, ids)
        .map(|id| format!("did you mean {id}? "))
        .unwrap_or_default();
    let at = layout::check_path(id)
        .map_or_else(String::new, |path| format!("; it would stand in {path}"));
    out.say(place, format!("there is no check {id}"))
        .help(format!(
            "{meant}a check's id is its instrument, a slash and its file name without .toml{at}"
        ));
}

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let (book, check) = (view.book, view.check);
    let at = |pointer: &'static str| move || view.at(pointer);
    ask(
        out,
        &book.instruments,
        Kind::Instrument,
        &check.instrument,
        at("/instrument"),
    );
    if let Some(id) = &check.geometry {
        ask(out, &book.geometries, Kind::Geometry, id, at("/geometry"));
    }
    ask(out, &book.fluids, Kind::Fluid, &check.fluid, at("/fluid"));
    if let (Some(fluid), Some(bottle), None) = (view.fluid, &check.bottle, view.bottle) {
        let ids = fluid.bottles.iter().map(|bottle| bottle.id.as_str());
        out.say(
            view.at("/bottle"),
            format!("lot {} has no bottle {bottle}", fluid.id),
        )
        .because(fluid.at("/bottle"), "the bottles of the lot")
        .help(format!(
            "{}correct the name, or add the [[bottle]] with its date to {}",
            there_are(bottle, ids),
            fluid.doc.path
        ));
    }
    if let Some(id) = &check.thermometer {
        ask(
            out,
            &book.thermometers,
            Kind::Thermometer,
            id,
            at("/thermometer"),
        );
    }
    if let Some(id) = &check.bath {
        ask(out, &book.baths, Kind::Bath, id, at("/bath"));
    }
    person(out, book, &check.operator, at("/operator"));
    if let Some(id) = &check.entered_by {
        person(out, book, id, at("/entered_by"));
    }
    if let Some(id) = &check.amended_by {
        person(out, book, id, at("/amended_by"));
    }
    for (index, deviation) in check.deviations.iter().enumerate() {
        person(out, book, &deviation.consent, || {
            view.at(&format!("/deviation/{index}/consent"))
        });
    }
}

fn person(out: &mut Out<'_>, book: &Book, id: &str, place: impl FnOnce() -> Place) {
    ask(out, &book.people, Kind::Person, id, place);
}

fn linked(view: &View<'_>, links: &Links, out: &mut Out<'_>) {
    let check = view.check;
    // An amendment that does not name the record before it is amends-of, whether or not what it names exists.
    let amends = check
        .amends
        .as_ref()
        .filter(|id| amends_of::names_the_one_before(view.id, id));
    for (pointer, named) in [("/repeats", check.repeats.as_ref()), ("/amends", amends)] {
        if let Some(id) = named.filter(|id| !links.checks.contains(id)) {
            say_no_check(out, view.at(pointer), id, known(links));
        }
    }
}

fn known(links: &Links) -> impl Iterator<Item = &str> {
    links.checks.iter().map(|(id, _)| id)
}

fn fact(book: &Book, fact: Fact<'_>, out: &mut Out<'_>) {
    match fact {
        Fact::Marker(_) => {}
        Fact::Policy(record) => corrected(out, book, &record.doc, &record.corrections),
        Fact::Person(record) => corrected(out, book, &record.doc, &record.corrections),
        Fact::Thermometer(record) => corrected(out, book, &record.doc, &record.corrections),
        Fact::Bath(record) => corrected(out, book, &record.doc, &record.corrections),
        Fact::Fluid(record) => {
            stands(out, book, &record.doc, &record.standings);
            corrected(out, book, &record.doc, &record.corrections);
        }
        Fact::Instrument(record) => {
            usage(out, book, record);
            stands(out, book, &record.doc, &record.standings);
            corrected(out, book, &record.doc, &record.corrections);
        }
        Fact::Geometry(record) => {
            for (index, id) in record.fits.iter().flatten().enumerate() {
                let place = || record.at(&format!("/fits/{index}"));
                ask(out, &book.instruments, Kind::Instrument, id, place);
            }
            corrected(out, book, &record.doc, &record.corrections);
        }
        Fact::Nonconformity(record) => {
            if let Some(outcome) = &record.outcome {
                person(out, book, &outcome.by, || record.at("/outcome/by"));
            }
        }
        Fact::Review(record) => {
            person(out, book, &record.reviewer, || record.at("/reviewer"));
            reviewed(out, book, record);
        }
    }
}

fn corrected(out: &mut Out<'_>, book: &Book, doc: &Doc, rows: &[Correction]) {
    for (index, row) in rows.iter().enumerate() {
        person(out, book, &row.by, || {
            doc.place(&format!("/correction/{index}/by"))
        });
    }
}

fn stands(out: &mut Out<'_>, book: &Book, doc: &Doc, rows: &[Standing]) {
    for (index, row) in rows.iter().enumerate() {
        person(out, book, &row.by, || {
            doc.place(&format!("/standing/{index}/by"))
        });
    }
}

/// The usage class against the policy in force.
fn usage(out: &mut Out<'_>, book: &Book, record: &Loaded<Instrument>) {
    if book.policies.any_broken() {
        return;
    }
    let Some(policy) = book.policy_at(book.as_of(), record.group.as_deref()) else {
        return;
    };
    let classes = policy.interval.iter().map(|(class, _)| class.as_str());
    if classes.clone().any(|class| class == record.usage) {
        return;
    }
    out.say(
        record.at("/usage"),
        format!("policy {} has no usage class {}", policy.id, record.usage),
    )
    .because(
        policy.at("/interval"),
        "the classes and their days between checks",
    )
    .help(format!(
        "{}name one of them, or give the next policy this class",
        there_are(&record.usage, classes)
    ));
}

/// The record, other than a check, that a review names.
fn reviewed(out: &mut Out<'_>, book: &Book, review: &Loaded<Review>) {
    let Some(named) = &review.record.record else {
        return;
    };
    let Some((folder, id)) = named.split_once('/') else {
        return;
    };
    let Some(kind) = layout::folder_kind(folder) else {
        return;
    };
    let place = || review.at("/record");
    match kind {
        Kind::Policy => ask(out, &book.policies, kind, id, place),
        Kind::Person => ask(out, &book.people, kind, id, place),
        Kind::Instrument => ask(out, &book.instruments, kind, id, place),
        Kind::Geometry => ask(out, &book.geometries, kind, id, place),
        Kind::Fluid => ask(out, &book.fluids, kind, id, place),
        Kind::Thermometer => ask(out, &book.thermometers, kind, id, place),
        Kind::Bath => ask(out, &book.baths, kind, id, place),
        Kind::Book | Kind::Check | Kind::Review | Kind::Nonconformity => {}
    }
}

/// Whether there is a check of an id, broken or sound.
type Exists<'a> = dyn Fn(&str) -> Result<bool, LoadError> + 'a;

/// Checks that nonconformities name.
pub(super) fn nonconformities(
    book: &Book,
    links: &Links,
    exists: &Exists<'_>,
    findings: &mut Vec<Finding>,
) -> Result<(), LoadError> {
    let mut out = Out {
        rule: &RULE,
        findings,
    };
    for record in book.nonconformities.sound() {
        of_nonconformity(record, links, exists, &mut out)?;
    }
    Ok(())
}

fn of_nonconformity(
    record: &Loaded<Nonconformity>,
    links: &Links,
    exists: &Exists<'_>,
    out: &mut Out<'_>,
) -> Result<(), LoadError> {
    for (index, id) in record.checks.iter().enumerate() {
        if !exists(id)? {
            say_no_check(
                out,
                record.at(&format!("/checks/{index}")),
                id,
                known(links),
            );
        }
    }
    Ok(())
}

/// The check that a review names.
pub(super) fn review(
    record: &Loaded<Review>,
    links: &Links,
    exists: &Exists<'_>,
    findings: &mut Vec<Finding>,
) -> Result<(), LoadError> {
    let Some(id) = &record.check else {
        return Ok(());
    };
    if !exists(id)? {
        let mut out = Out {
            rule: &RULE,
            findings,
        };
        say_no_check(&mut out, record.at("/check"), id, known(links));
    }
    Ok(())
}
