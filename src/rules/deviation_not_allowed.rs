use super::support::{self, Refusal};
use super::{Out, RULES, Rule, Run};
use crate::book::view::View;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "deviation-not-allowed",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("deviation_not_allowed.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    for (index, deviation) in view.check.deviations.iter().enumerate() {
        let Err(refusal) = support::judge_deviation(view, index) else {
            continue;
        };
        let rule = view.at(&format!("/deviation/{index}/rule"));
        let consent = view.at(&format!("/deviation/{index}/consent"));
        let named = &deviation.rule;
        let person = &deviation.consent;
        match refusal {
            Refusal::NotSoftenable if super::rule(named).is_none() => {
                let ids = RULES.iter().map(|rule| rule.id);
                let meant = crate::text::nearest(named, ids)
                    .map(|id| format!("did you mean {id}? "))
                    .unwrap_or_default();
                out.say(rule, format!("there is no rule {named}"))
                    .help(format!(
                        "{meant}copy the rule's id from the finding that this deviation is about"
                    ));
            }
            Refusal::NotSoftenable => {
                out.say(rule, format!("no consent can set {named} aside")).help(
                    "take the deviation out and do what the finding of that rule says; only errors about how a check was run can be set aside",
                );
            }
            Refusal::NotInPolicy => {
                let Some(policy) = view.policy else { continue };
                let allowed = match policy.deviation_allowed.is_empty() {
                    true => "it allows none".to_owned(),
                    false => format!("it allows {}", policy.deviation_allowed.join(", ")),
                };
                out.say(
                    rule,
                    format!("policy {} allows no deviation from {named}; {allowed}", policy.id),
                )
                .because(policy.at("/deviation/allowed"), "what the policy lets a check break")
                .help("repeat the check within the rule; keep this one with void = true, void_cause and reason");
            }
            Refusal::OwnConsent => {
                out.say(
                    consent,
                    format!("{person} ran the check and consents to its own deviation from {named}"),
                )
                .because(view.at("/operator"), "the operator")
                .help("ask another person, authorised to review, and name them; who consented confirms it by a review");
            }
            Refusal::NotAuthorised => {
                let mut said = out.say(
                    consent,
                    format!(
                        "{person} was not authorised to review on {}, so the consent does not hold",
                        view.date
                    ),
                );
                if let Some(record) = view.book.people.named(person).sound() {
                    said = said.because(record.at("/authorised"), "what this person may do");
                }
                said.help("name a person who was authorised to review that day and agreed; else the check is void or is repeated");
            }
        }
    }
}
