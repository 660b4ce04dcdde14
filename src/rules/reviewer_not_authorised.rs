use super::{Out, Rule, Run};
use crate::book::{Book, Fact, Named};
use crate::finding::Severity;
use crate::record::person::Duty;

pub(super) static RULE: Rule = Rule {
    id: "reviewer-not-authorised",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("reviewer_not_authorised.md"),
    run: &[Run::Fact(fact)],
};

fn fact(book: &Book, fact: Fact<'_>, out: &mut Out<'_>) {
    let Fact::Review(review) = fact else { return };
    if !book.zone_known() {
        return;
    }
    let (Named::Sound(person), Ok(decided)) = (
        book.people.named(&review.reviewer),
        book.zone.instant(&review.decided),
    ) else {
        return;
    };
    let day = book.zone.date(decided);
    if book.authorised_on(person, Duty::Review, day) {
        return;
    }
    let id = &person.id;
    let rows = person.authorised.iter();
    let spans: Vec<String> = rows
        .filter(|row| row.duty == Duty::Review)
        .map(|row| match row.until {
            Some(until) => format!("from {} until {until}", row.from),
            None => format!("from {}", row.from),
        })
        .collect();
    let message = match spans.is_empty() {
        true => format!("{id} was never authorised to review"),
        false => format!(
            "{id} was not authorised to review on {day}, only {}",
            spans.join(" and ")
        ),
    };
    out.say(review.at("/reviewer"), message)
        .because(person.at("/authorised"), "what this person may do")
        .help("have an authorised person review it; where this one was authorised that day, add the [[authorised]] row that is missing, with late_reason");
}
