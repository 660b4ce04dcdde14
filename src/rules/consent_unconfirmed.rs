use super::{Out, Rule, Run, support};
use crate::book::view::View;
use crate::book::{Links, Named};
use crate::finding::Severity;
use crate::record::review::ReviewDecision;

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
        let newest = reviews
            .iter()
            .filter(|review| review.reviewer == *person)
            .max_by_key(|review| review.decided);
        let message = match newest.map(|review| (review.decision, review.decided)) {
            Some((ReviewDecision::Approve, _)) => continue,
            Some((ReviewDecision::Reject, decided)) => format!(
                "{person} is said to consent to the deviation from {}, and rejected the check on {}",
                deviation.rule,
                view.book.zone.date(decided)
            ),
            None => format!(
                "{person} is said to consent to the deviation from {}, and has not reviewed the check",
                deviation.rule
            ),
        };
        out.say(view.at(&format!("/deviation/{index}/consent")), message)
            .help(format!(
                "ask {person} to review the check in a file under reviews/; an approval confirms the consent"
            ));
    }
}
