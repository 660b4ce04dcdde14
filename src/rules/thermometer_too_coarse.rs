use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "thermometer-too-coarse",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("thermometer_too_coarse.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let (Some(policy), Some(thermometer)) = (view.policy, view.thermometer) else {
        return;
    };
    let Some((row, calibration)) = view.calibration else {
        return;
    };
    // Of a calibration that has lapsed another rule speaks.
    if view.date > calibration.due {
        return;
    }
    let (size, limit) = (
        &calibration.expanded_uncertainty_k,
        &policy.thermometer_max_expanded_uncertainty_k,
    );
    if size.value > limit.value {
        out.say(
            view.at("/thermometer"),
            format!(
                "the expanded uncertainty of thermometer {} is {size} K; policy {} allows {limit}",
                thermometer.id, policy.id
            ),
        )
        .because(thermometer.at(&format!("/calibration/{row}/expanded_uncertainty_k")), "as its certificate says")
        .because(policy.at("/thermometer/max_expanded_uncertainty_k"), "the most that a thermometer may have, in K")
        .help("compare the thermometer's file with its certificate; if it is right, repeat the check with a better thermometer and keep this one as evidence with void = true, void_cause and reason");
    }
}
