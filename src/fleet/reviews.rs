//! The checks that wait for a review on a day, and those that were rejected and nobody has amended yet.

use super::days_between;
use crate::book::review::{ReviewFacts, decision};
use crate::book::zone::days_after;
use crate::book::{Book, CheckFacts, Links};
use crate::parse::layout::CheckName;
use jiff::Timestamp;
use jiff::civil::Date;

pub struct Waiting<'a> {
    pub id: &'a str,
    pub facts: &'a CheckFacts,
    /// When it was performed, or amended.
    pub made: Timestamp,
    /// The last day for its review; `None` where no policy tells any more.
    pub due: Option<Date>,
    pub days_left: Option<i64>,
    /// The rejection that stands.
    pub rejected: Option<&'a ReviewFacts>,
}

/// The checks of a book that wait on its day, the oldest first. Of a check and its amendments only the newest waits.
pub fn waiting<'a>(book: &Book, links: &'a Links) -> Vec<Waiting<'a>> {
    let day = book.as_of();
    let at = book.end_of(day);
    let made = |facts: &CheckFacts| facts.amended().unwrap_or(facts.performed);
    let mut waiting = Vec::new();
    for (id, facts) in links.checks.iter() {
        let Some(facts) = facts.filter(|facts| facts.needs_review && made(facts) <= at) else {
            continue;
        };
        let next = CheckName::parse(id).and_then(|name| links.checks.get(&name.next().id()));
        if next.is_some_and(|next| next.is_none_or(|next| made(next) <= at)) {
            continue;
        }
        let reviews = links.reviews.get(id).map_or(&[][..], Vec::as_slice);
        let rejected = match decision(reviews, at) {
            Some(review) if !review.rejects() => continue,
            other => other,
        };
        let instrument = book.instruments.named(facts.instrument()).sound();
        let group = instrument.and_then(|instrument| instrument.group.as_deref());
        let policy = book.policy_at(book.zone.date(facts.performed), group);
        let due = policy
            .and_then(|policy| days_after(book.zone.date(made(facts)), policy.review_within_days));
        waiting.push(Waiting {
            id,
            facts,
            made: made(facts),
            due,
            days_left: due.map(|due| days_between(day, due)),
            rejected,
        });
    }
    waiting.sort_by_key(|one| (one.made, one.id));
    waiting
}
