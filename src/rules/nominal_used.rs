use super::{Out, Rule, Run, support};
use crate::book::view::View;
use crate::finding::Severity;
use crate::measure::pattern::{Compared, nominal_fits_better};

pub(super) static RULE: Rule = Rule {
    id: "nominal-used",
    severity: Severity::Warning,
    spares_void: true,
    doc: include_str!("nominal_used.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let (Some(judgement), Some(fluid)) = (&view.judgement, view.fluid) else {
        return;
    };
    let Some((row, certified)) = view.certified() else {
        return;
    };
    let points: Vec<Compared<'_>> = view
        .check
        .points
        .iter()
        .zip(&judgement.points)
        .filter(|(point, _)| point.shown.is_none())
        .filter_map(|(_, judged)| {
            Some(Compared {
                reading: judged.reading_mpa_s.as_ref()?,
                reference: judged.reference_unrounded.as_ref()?,
                range: judged.range_unrounded.as_ref()?,
            })
        })
        .collect();
    let value = certified.mpa_s();
    let nominal = &fluid.nominal_mpa_s;
    let fit = nominal_fits_better(
        &points,
        &value,
        &nominal.value,
        &certified.expanded_uncertainty_mpa_s(),
    );
    let Some(fit) = fit else {
        return;
    };
    out.say(
        view.at("/fluid"),
        format!(
            "the readings fit the label's {nominal} mPa.s far better than the certified {} mPa.s: they lie {:.2} % of range from it, and {:.2} % from the certified value (root mean square)",
            support::figure(&value),
            fit.to_nominal_percent,
            fit.to_certified_percent
        ),
    )
    .because(fluid.at("/nominal_mpa_s"), "the label's value")
    .because(fluid.at(&format!("/value/{row}")), "the certified value of the lot")
    .help("were the readings written down as they were shown, or was the instrument set by the label's value? Was it this lot? The certificate's value counts; repeat the check, or amend it if it was mistyped");
}
