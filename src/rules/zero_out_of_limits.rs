use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "zero-out-of-limits",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("zero_out_of_limits.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(policy) = view.policy else { return };
    let limit = &policy.zero_limit_percent;
    let (message, help) = match &view.check.preparation.zero_percent {
        None => (
            format!(
                "the check does not say what torque was shown at zero; policy {} allows up to {limit} %",
                policy.id
            ),
            "write zero_percent under [preparation]: the torque shown with nothing hung and the motor running; if nobody read it, repeat the check",
        ),
        Some(zero) if zero.value.abs() > limit.value => (
            format!(
                "the torque shown at zero was {zero} %; policy {} allows {limit} either way",
                policy.id
            ),
            "zero the instrument with nothing hung and repeat the check; if the zero does not hold, have it serviced; keep this check as evidence with void = true, void_cause and reason",
        ),
        Some(_) => return,
    };
    out.say(view.at("/preparation/zero_percent"), message)
        .because(
            policy.at("/torque/zero_limit_percent"),
            "the most that may be shown at zero, in %",
        )
        .help(help);
}
