use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::book::zone::months_after;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "fluid-open-too-long",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("fluid_open_too_long.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let (Some(policy), Some(fluid)) = (view.policy, view.fluid) else {
        return;
    };
    let (Some(months), Some((row, bottle))) = (policy.in_use_months, view.bottle) else {
        return;
    };
    let Some(last) = months_after(bottle.opened, months) else {
        return;
    };
    if view.date > last {
        out.say(
            view.at("/bottle"),
            format!(
                "bottle {} of lot {} was opened on {} and could be used until {last}; the check was performed on {}",
                bottle.id, fluid.id, bottle.opened, view.date
            ),
        )
        .because(fluid.at(&format!("/bottle/{row}/opened")), "the day it was opened")
        .because(
            policy.at("/fluid/in_use_months"),
            format!("policy {} allows {months} month{}", policy.id, if months == 1 { "" } else { "s" }),
        )
        .help("repeat the check with a fresh bottle and discard this one; keep this check as evidence with void = true, void_cause and reason");
    }
}
