use super::{Out, Rule, Run, support};
use crate::book::review::decision;
use crate::book::view::View;
use crate::book::{Links, Named};
use crate::finding::Severity;
use jiff::Timestamp;

pub(super) static RULE: Rule = Rule {
    id: "consent-unconfirmed",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("consent_unconfirmed.md"),
    run: &[Run::Linked(check)],
};

fn check(view: &View<'_>, links: &Links, out: &mut Out<'_>) {
    if view.policy.is_none() {
        return;
    }
    for (index, deviation) in view.check.deviations.iter().enumerate() {
        let person = &deviation.consent;
        let known = matches!(view.book.people.named(person), Named::Sound(_));
        if !known || support::judge_deviation(view, index).is_err() {
            continue;
        }
        let reviews = links.reviews.get(view.id).map_or(&[][..], Vec::as_slice);
        let mut own = reviews.iter().filter(|review| *review.reviewer == **person);
        let message = match decision(own.clone(), Timestamp::MAX) {
            Some(review) if !review.rejects() => continue,
            Some(review) => format!(
                "{person} is said to consent to the deviation from {}, and rejected the check on {}",
                deviation.rule,
                view.book.zone.date(review.decided)
            ),
            None if own.next().is_some() => format!(
                "{person} is said to consent to the deviation from {}, and their review of the check has an error, so it approves nothing",
                deviation.rule
            ),
            None => format!(
                "{person} is said to consent to the deviation from {}, and has not reviewed the check",
                deviation.rule
            ),
        };
        out.say(view.at(&format!("/deviation/{index}/consent")), message)
            .help(format!(
                "ask {person} to review the check: shearbook review {} --approve confirms the consent",
                view.id
            ));
    }
}
