use super::{Out, Rule, Run};
use crate::book::Named;
use crate::book::view::View;
use crate::finding::Severity;
use crate::record::person::{Duty, Person};
use jiff::civil::Date;

pub(super) static RULE: Rule = Rule {
    id: "operator-not-authorised",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("operator_not_authorised.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let check = view.check;
    say(
        view,
        out,
        "/operator",
        &check.operator,
        "the operator",
        view.date,
    );
    if let Some(typist) = check
        .entered_by
        .as_deref()
        .filter(|id| *id != check.operator)
    {
        say(
            view,
            out,
            "/entered_by",
            typist,
            "who typed the check",
            view.date,
        );
    }
    let amended = check
        .amended
        .as_ref()
        .and_then(|at| view.book.zone.instant(at).ok());
    if let (Some(person), Some(amended)) = (&check.amended_by, amended) {
        let day = view.book.zone.date(amended);
        say(
            view,
            out,
            "/amended_by",
            person,
            "who amended the check",
            day,
        );
    }
}

fn say(view: &View<'_>, out: &mut Out<'_>, pointer: &str, id: &str, role: &str, day: Date) {
    let Named::Sound(person) = view.book.people.named(id) else {
        return;
    };
    if view.book.authorised_on(person, Duty::Check, day) {
        return;
    }
    let held = held(person);
    let message = match held.is_empty() {
        true => format!("{id}, {role}, was never authorised for checks"),
        false => format!("{id}, {role}, was not authorised for checks on {day}, only {held}"),
    };
    out.say(view.at(pointer), message)
        .because(person.at("/authorised"), "what this person may do")
        .help(
            "where the person was authorised that day, add the [[authorised]] row that is missing, with late_reason; else keep the check with void = true, void_cause and reason, and have an authorised person repeat it",
        );
}

/// The spans in which a person might run checks.
fn held(person: &Person) -> String {
    let rows = person
        .authorised
        .iter()
        .filter(|row| row.duty == Duty::Check);
    let spans: Vec<String> = rows
        .map(|row| match row.until {
            Some(until) => format!("from {} until {until}", row.from),
            None => format!("from {}", row.from),
        })
        .collect();
    spans.join(" and ")
}
