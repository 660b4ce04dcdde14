use super::reviews::{Covers, Reviewing};
use super::{Out, Rule, Run};
use crate::finding::{Place, Severity};

pub(super) static RULE: Rule = Rule {
    id: "review-not-independent",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("review_not_independent.md"),
    run: &[Run::Review(check)],
};

fn check(reviewing: &Reviewing<'_>, out: &mut Out<'_>) {
    let reviewer = &reviewing.review.reviewer;
    let named = reviewing.named();
    let mut parts: Vec<String> = Vec::new();
    let mut places: Vec<(Place, String)> = Vec::new();
    if let Covers::Check(view) = &reviewing.covers {
        for (pointer, person, did, who) in [
            (
                "/operator",
                Some(&view.check.operator),
                "ran it",
                "the operator",
            ),
            (
                "/entered_by",
                view.check.entered_by.as_ref(),
                "typed it",
                "who typed it",
            ),
            (
                "/amended_by",
                view.check.amended_by.as_ref(),
                "amended it",
                "who amended it",
            ),
        ] {
            if person.is_some_and(|person| person == reviewer) {
                parts.push(did.to_owned());
                places.push((view.at(pointer), who.to_owned()));
            }
        }
    }
    if let Some(brought) = &reviewing.brought
        && let Some(person) = reviewing.book.people.named(reviewer).sound()
        && let Some(at) = person
            .emails
            .iter()
            .position(|email| email.eq_ignore_ascii_case(&brought.email))
    {
        parts.push(match &brought.commit {
            Some(commit) => format!("authored the commit {commit} that brought it"),
            None => "brings it with this commit".to_owned(),
        });
        places.push((
            person.at(&format!("/emails/{at}")),
            "the commit's author".to_owned(),
        ));
    }
    if parts.is_empty() {
        return;
    }
    let mut said = out.say(
        reviewing.review.at("/reviewer"),
        format!("{reviewer} reviews {named} and {}", parts.join(" and ")),
    );
    for (place, what) in places {
        said = said.because(place, what);
    }
    said.help(format!(
        "have somebody review it who had no part in it: shearbook review {named}; shearbook review --open lists what waits"
    ));
}
