use super::{Out, Rule, Run, support};
use crate::book::view::View;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "temperature-out-of-window",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("temperature_out_of_window.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let (Some(policy), Some(fluid), Some(judgement)) = (view.policy, view.fluid, &view.judgement)
    else {
        return;
    };
    let Some((row, certified)) = view.certified() else {
        return;
    };
    let points = view
        .check
        .points
        .iter()
        .zip(&judgement.corrected_c)
        .enumerate();
    for (index, (point, corrected_c)) in points {
        let (Some(shown), Some(corrected_c)) = (&point.temperature_c, corrected_c) else {
            continue;
        };
        let distance = (corrected_c - &certified.temperature_c.value).abs();
        if distance <= policy.window_k.value {
            continue;
        }
        let measured = match *corrected_c == shown.value {
            true => format!("{shown} degrees C is"),
            false => format!(
                "{shown} degrees C shown, {} corrected, is",
                support::figure(corrected_c)
            ),
        };
        let mut size = support::figure(&distance);
        if size == support::figure(&policy.window_k.value) {
            size = distance.to_decimal_string();
        }
        out.say(
            view.at(&format!("/point/{index}/temperature_c")),
            format!(
                "{measured} {size} K from the certified {}; policy {} allows {}",
                certified.temperature_c, policy.id, policy.window_k
            ),
        )
        .because(
            fluid.at(&format!("/value/{row}/temperature_c")),
            "the certified temperature nearest the points of this check",
        )
        .because(policy.at("/temperature/window_k"), "how far the fluid may be from it, in K")
        .help("let the fluid settle at the certified temperature and repeat the check; keep this one as evidence with void = true, void_cause and reason");
    }
}
