use super::{Out, Rule, Run, support};
use crate::book::view::View;
use crate::finding::Severity;
use crate::measure::Exact;
use crate::measure::uncertainty::Repeatability;

pub(super) static RULE: Rule = Rule {
    id: "uncertainty-too-large",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("uncertainty_too_large.md"),
    run: &[Run::Check(check)],
};

/// With fewer than five readings the factor is above this.
const FEW_READINGS: f64 = 2.65;

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let (Some(judgement), Some(policy)) = (&view.judgement, view.policy) else {
        return;
    };
    let mut said: Vec<&Exact> = Vec::new();
    for (index, (point, judged)) in view.check.points.iter().zip(&judgement.points).enumerate() {
        let (Some(guarded), Some(half)) = (&judged.guarded, &judged.half_width) else {
            continue;
        };
        // Replicates share one uncertainty.
        if !guarded.too_large || said.contains(&&point.speed_rpm.value) {
            continue;
        }
        said.push(&point.speed_rpm.value);
        let parts = [
            (guarded.budget.fluid, "the certified value"),
            (guarded.budget.temperature, "the temperature"),
            (guarded.budget.resolution, "the resolution of the display"),
            (guarded.budget.repeatability, "the repeatability"),
        ];
        let largest = parts.iter().max_by(|one, other| one.0.total_cmp(&other.0));
        let largest = largest.map_or("", |(_, name)| name);
        let mut said = out
            .say(
                view.at(&format!("/point/{index}")),
                format!(
                    "at {} rpm the expanded uncertainty is {} mPa.s and the limits lie {} mPa.s from the reference: no reading could pass; {largest} has the largest share",
                    point.speed_rpm,
                    support::figure(&guarded.expanded),
                    support::figure(half),
                ),
            )
            .because(
                policy.at("/acceptance/decision"),
                "this decision takes the expanded uncertainty off the limits",
            );
        if let (Some(fluid), Some((row, _))) = (view.fluid, view.certified()) {
            said = said.because(
                fluid.at(&format!("/value/{row}")),
                "the certified value with its uncertainty",
            );
        }
        let few = match (
            guarded.budget.repeatability_from,
            guarded.budget.coverage_factor,
        ) {
            (Repeatability::Replicates(count), factor) if factor > FEW_READINGS => format!(
                "; {count} readings give a factor of {factor:.2} where many give 2, so read more often at this speed"
            ),
            _ => String::new(),
        };
        let lessen = match largest {
            "the certified value" => "use a lot with a smaller uncertainty",
            "the temperature" => "use a better thermometer and hold the temperature closer",
            "the resolution of the display" => "use a speed or a geometry with a smaller range",
            _ => "take more readings at this speed, whose mean is known better",
        };
        said.help(format!(
            "shearbook show {} --budget tells what each source adds: {lessen}{few}; or ask whether the policy's limits suit this instrument",
            view.id
        ));
    }
}
