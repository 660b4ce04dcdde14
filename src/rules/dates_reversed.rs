use super::{Out, Rule, Run};
use crate::book::{Book, Fact};
use crate::finding::Severity;
use crate::record::When;
use jiff::civil::Date;

pub(super) static RULE: Rule = Rule {
    id: "dates-reversed",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("dates_reversed.md"),
    run: &[Run::Fact(fact)],
};

/// A day that must not be before another: each with its pointer.
struct Pair {
    first: (String, Date),
    last: (String, Date),
}

fn fact(book: &Book, fact: Fact<'_>, out: &mut Out<'_>) {
    let day = |when: &When| match when {
        When::Date(date) => *date,
        When::Time(_) => book.zone.date(book.zone.begins(when)),
    };
    let pair = |first: String, from: Date, last: String, to: Option<Date>| {
        to.map(|to| Pair {
            first: (first, from),
            last: (last, to),
        })
    };
    let mut pairs = Vec::new();
    match fact {
        Fact::Fluid(fluid) => {
            pairs.push(pair(
                "/certified".to_owned(),
                fluid.certified,
                "/expires".to_owned(),
                Some(fluid.expires),
            ));
            for (index, bottle) in fluid.bottles.iter().enumerate() {
                let opened = format!("/bottle/{index}/opened");
                pairs.push(pair(
                    "/certified".to_owned(),
                    fluid.certified,
                    opened.clone(),
                    Some(bottle.opened),
                ));
                pairs.push(pair(
                    opened,
                    bottle.opened,
                    format!("/bottle/{index}/discarded"),
                    bottle.discarded,
                ));
            }
        }
        Fact::Thermometer(thermometer) => {
            for (index, row) in thermometer.calibrations.iter().enumerate() {
                let date = format!("/calibration/{index}/date");
                pairs.push(pair(
                    date,
                    day(&row.date),
                    format!("/calibration/{index}/due"),
                    Some(row.due),
                ));
            }
        }
        Fact::Instrument(instrument) => {
            for (index, row) in instrument.services.iter().enumerate() {
                let date = format!("/service/{index}/date");
                pairs.push(pair(
                    date,
                    day(&row.date),
                    format!("/service/{index}/due"),
                    row.due,
                ));
            }
        }
        Fact::Person(person) => {
            for (index, row) in person.authorised.iter().enumerate() {
                let from = format!("/authorised/{index}/from");
                pairs.push(pair(
                    from,
                    day(&row.from),
                    format!("/authorised/{index}/until"),
                    row.until,
                ));
            }
            for (index, (from, until)) in person.signing_keys.iter().enumerate() {
                let pointer = format!("/signing_key/{index}/from");
                pairs.push(pair(
                    pointer,
                    day(from),
                    format!("/signing_key/{index}/until"),
                    *until,
                ));
            }
        }
        Fact::Nonconformity(nonconformity) => {
            pairs.push(pair(
                "/opened".to_owned(),
                nonconformity.opened,
                "/outcome/date".to_owned(),
                nonconformity.outcome.as_ref().map(|outcome| outcome.date),
            ));
        }
        _ => {}
    }
    let help = match fact {
        Fact::Nonconformity(_) => {
            "nothing is decided before it was opened: look which of the two is mistyped"
        }
        Fact::Person(_) => {
            "the right or the key holds from the first of these days to the last, both included: look which of the two is mistyped"
        }
        _ => {
            "compare both dates with the certificate or the label; day, month or year may have changed places"
        }
    };
    let doc = fact.doc();
    for Pair { first, last } in pairs.into_iter().flatten() {
        if last.1 >= first.1 {
            continue;
        }
        let name = |pointer: &str| pointer.rsplit('/').next().unwrap_or("").to_owned();
        let (before, after) = (name(&first.0), name(&last.0));
        out.say(
            doc.place(&last.0),
            format!("{after} is {}, before {before}, {}", last.1, first.1),
        )
        .because(doc.place(&first.0), format!("{before}, which comes first"))
        .help(help);
    }
}
