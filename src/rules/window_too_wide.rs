use super::{Out, Rule, Run, support};
use crate::book::view::View;
use crate::finding::Severity;
use crate::record::policy::Basis;

pub(super) static RULE: Rule = Rule {
    id: "window-too-wide",
    severity: Severity::Notice,
    spares_void: true,
    doc: include_str!("window_too_wide.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let (Some(policy), Some(fluid)) = (view.policy, view.fluid) else {
        return;
    };
    let Some((row, certified)) = view.certified() else {
        return;
    };
    if policy.basis != Basis::Certified {
        return;
    }
    let Some(slope) = fluid.slope_percent_per_k(row) else {
        return;
    };
    let share = slope * &policy.window_k.value;
    if share <= policy.fluid_percent.value {
        return;
    }
    let slope_at = match certified.coefficient_percent_per_k {
        Some(_) if fluid.rows.len() == 1 => {
            format!("/value/{row}/temperature_coefficient_percent_per_k")
        }
        _ => format!("/value/{row}"),
    };
    let mut size = support::figure(&share);
    if size == support::figure(&policy.fluid_percent.value) {
        size = share.to_decimal_string();
    }
    out.say(
        view.at("/fluid"),
        format!(
            "lot {} changes by {} % per K, so the window of {} K alone is worth {size} %; the fluid's share in policy {} is {} %",
            fluid.id,
            support::figure(slope),
            policy.window_k,
            policy.id,
            policy.fluid_percent
        ),
    )
    .because(fluid.at(&slope_at), "how the lot changes with temperature")
    .because(policy.at("/temperature/window_k"), "how far the fluid may be from the certified temperature, in K")
    .help("hold the fluid nearer the certified temperature than the policy asks; for the next policy think of a narrower window_k or of basis = \"corrected\"");
}
