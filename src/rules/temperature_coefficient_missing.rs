use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::finding::Severity;
use crate::record::policy::Basis;

pub(super) static RULE: Rule = Rule {
    id: "temperature-coefficient-missing",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("temperature_coefficient_missing.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let (Some(policy), Some(fluid)) = (view.policy, view.fluid) else {
        return;
    };
    let Some((row, certified)) = view.certified() else {
        return;
    };
    // A reference that could be moved was moved along the curve.
    let moved = view.judgement.as_ref();
    if policy.basis != Basis::Corrected
        || moved.is_some_and(|judged| judged.reference_mpa_s.is_some())
    {
        return;
    }
    if fluid.slope_percent_per_k(row).is_some() {
        return;
    }
    let lacks = match fluid.rows.len() {
        1 => "its one certified value has no temperature coefficient",
        _ => "its certified values give no curve",
    };
    out.say(
        view.at("/fluid"),
        format!(
            "policy {} compares at the measured temperature, and lot {} does not say how it changes round {} degrees C: {lacks}",
            policy.id, fluid.id, certified.temperature_c
        ),
    )
    .because(
        fluid.at(&format!("/value/{row}/temperature_coefficient_percent_per_k")),
        "the certified value that would have to be moved",
    )
    .because(policy.at("/temperature/basis"), "the certified value is moved to the measured temperature")
    .help("copy the other certified temperatures or the temperature coefficient from the certificate to the lot's file; if it has neither, use another lot");
}
