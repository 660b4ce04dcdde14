use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "bottle-missing",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("bottle_missing.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(policy) = view.policy else { return };
    let Some(months) = policy.in_use_months else {
        return;
    };
    if view.check.bottle.is_none() {
        out.say(
            view.at("/bottle"),
            format!(
                "the check names no bottle; policy {} lets a bottle be used for {months} month{} after opening",
                policy.id,
                if months == 1 { "" } else { "s" }
            ),
        )
        .because(policy.at("/fluid/in_use_months"), "the limit to the time in use")
        .help("write bottle = \"...\" with the bottle that the fluid came from, as the lot's file names it; add its [[bottle]] row there if it has none");
    }
}
