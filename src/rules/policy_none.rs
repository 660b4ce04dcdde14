use super::{Out, Rule, Run};
use crate::book::Loaded;
use crate::book::view::View;
use crate::finding::Severity;
use crate::record::policy::Policy;

pub(super) static RULE: Rule = Rule {
    id: "policy-none",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("policy_none.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(instrument) = view.instrument else {
        return;
    };
    if view.policy.is_some() || view.book.policies.any_broken() {
        return;
    }
    let group = instrument.group.as_deref();
    let applies = |policy: &&Loaded<Policy>| match &policy.groups {
        None => true,
        Some(groups) => group.is_some_and(|group| groups.iter().any(|name| name == group)),
    };
    let first = view
        .book
        .policies
        .sound()
        .filter(applies)
        .min_by_key(|policy| policy.effective);
    match first {
        Some(policy) => out
            .say(
                view.at("/performed"),
                format!(
                    "no policy was in force on {}; {} is the earliest for {} and is effective from {}",
                    view.date, policy.id, instrument.id, policy.effective
                ),
            )
            .because(policy.at("/effective"), "the first day that it judges"),
        None => {
            let whose = match group {
                Some(group) => format!("group {group} of instrument {}", instrument.id),
                None => format!("instrument {}, which names no group", instrument.id),
            };
            out.say(view.at("/performed"), format!("no policy is for {whose}; nothing judges this check"))
                .because(instrument.at("/group"), "a policy is chosen by the instrument's group")
        }
    }
    .help("correct performed if it is mistyped; else add the policy that was valid that day to policies/, with its effective date");
}
