use super::{Out, Rule, Run, support};
use crate::book::view::View;
use crate::finding::Severity;
use crate::record::fluid::Uncertainty;

pub(super) static RULE: Rule = Rule {
    id: "fluid-uncertainty",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("fluid_uncertainty.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let (Some(policy), Some(fluid)) = (view.policy, view.fluid) else {
        return;
    };
    let Some((row, certified)) = view.certified() else {
        return;
    };
    let limit = &policy.fluid_max_expanded_uncertainty_percent;
    let Some(percent) = certified.expanded_uncertainty_percent() else {
        return;
    };
    if percent <= limit.value {
        return;
    }
    let (size, key) = match &certified.uncertainty {
        Uncertainty::Percent(percent) => (format!("{percent} %"), "expanded_uncertainty_percent"),
        Uncertainty::MpaS(size) => {
            let mut part = support::figure(&percent);
            if part == support::figure(&limit.value) {
                part = percent.to_decimal_string();
            }
            (
                format!("{size} mPa.s, that is {part} %"),
                "expanded_uncertainty_mpa_s",
            )
        }
    };
    out.say(
        view.at("/fluid"),
        format!(
            "the expanded uncertainty of lot {} at {} degrees C is {size}; policy {} allows {limit} %",
            fluid.id, certified.temperature_c, policy.id
        ),
    )
    .because(fluid.at(&format!("/value/{row}/{key}")), "as certified")
    .because(policy.at("/fluid/max_expanded_uncertainty_percent"), "the most that a lot may have")
    .help("compare the lot's file with its certificate; if it is right, repeat the check with a better certified lot and keep this one as evidence with void = true, void_cause and reason");
}
