use super::reviews::{Decision, made};
use super::support::days;
use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::book::zone::days_after;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "review-late",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("review_late.md"),
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
    let seen = book.end_of(book.as_of());
    let first = decisions
        .iter()
        .filter(|decision| decision.facts.counts() && decision.facts.decided <= seen)
        .min_by_key(|decision| decision.facts.decided);
    let day = book.zone.date(at);
    let (Some(first), Some(due)) = (first, days_after(day, policy.review_within_days)) else {
        return;
    };
    let decided = book.zone.date(first.facts.decided);
    if decided <= due {
        return;
    }
    let late = decided.duration_since(due).as_hours() / 24;
    let late = days(late);
    let within = days(policy.review_within_days);
    out.say(
        first.review.at("/decided"),
        format!(
            "the review was decided on {decided}, {late} late: policy {} asks for it within {within} of {day}, when the check was {done}, so by {due}",
            policy.id
        ),
    )
    .because(policy.at("/review/within_days"), "what the policy asks for")
    .because(view.at(pointer), format!("when the check was {done}"))
    .help("it counts all the same; shearbook review --open lists what waits, and until when");
}
