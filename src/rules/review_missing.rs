use super::reviews::{Decision, made};
use super::support::days;
use super::{Out, Rule, Run};
use crate::book::review::decision;
use crate::book::view::View;
use crate::book::zone::days_after;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "review-missing",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("review_missing.md"),
    run: &[Run::Reviewed(check)],
};

fn check(view: &View<'_>, decisions: &[Decision<'_>], out: &mut Out<'_>) {
    let Some(policy) = view.policy.filter(|policy| policy.review_required) else {
        return;
    };
    let book = view.book;
    let Some((pointer, at, done)) = made(view) else {
        return;
    };
    let day = book.zone.date(at);
    let today = book.as_of();
    let Some(due) = days_after(day, policy.review_within_days).filter(|due| today > *due) else {
        return;
    };
    let facts = decisions.iter().map(|decision| &decision.facts);
    if decision(facts, book.end_of(today)).is_some() {
        return;
    }
    let late = today.duration_since(due).as_hours() / 24;
    let late = days(late);
    let id = view.id;
    let lead = match decisions.is_empty() {
        true => "nobody has reviewed this check",
        false => "no review of this check counts",
    };
    let within = days(policy.review_within_days);
    out.say(
        view.at(pointer),
        format!(
            "{lead}: it was {done} on {day}, and policy {} asks for a review within {within}, so by {due}; that is {late} ago",
            policy.id
        ),
    )
    .because(policy.at("/review/within_days"), "what the policy asks for")
    .help(format!(
        "have somebody look at it who may review and had no part in it: shearbook review {id} --approve, or --reject with --comment"
    ));
}
