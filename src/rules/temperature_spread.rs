use super::{Out, Rule, Run, support};
use crate::book::view::View;
use crate::finding::Severity;
use crate::measure::Exact;

pub(super) static RULE: Rule = Rule {
    id: "temperature-spread",
    severity: Severity::Warning,
    spares_void: true,
    doc: include_str!("temperature_spread.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let (Some(policy), Some(judgement)) = (view.policy, &view.judgement) else {
        return;
    };
    let mut coldest: Option<(usize, &Exact)> = None;
    let mut warmest: Option<(usize, &Exact)> = None;
    for (index, corrected_c) in judgement.corrected_c.iter().enumerate() {
        let Some(corrected_c) = corrected_c else {
            continue;
        };
        if coldest.is_none_or(|(_, least)| corrected_c < least) {
            coldest = Some((index, corrected_c));
        }
        if warmest.is_none_or(|(_, most)| corrected_c > most) {
            warmest = Some((index, corrected_c));
        }
    }
    let (Some((low, least)), Some((high, most))) = (coldest, warmest) else {
        return;
    };
    let spread = most - least;
    if spread <= policy.max_spread_k.value {
        return;
    }
    let mut size = support::figure(&spread);
    if size == support::figure(&policy.max_spread_k.value) {
        size = spread.to_decimal_string();
    }
    out.say(
        view.at(&format!("/point/{high}/temperature_c")),
        format!(
            "the points run from {} to {} degrees C, corrected; that is {size} K, and policy {} allows {}",
            support::figure(least),
            support::figure(most),
            policy.id,
            policy.max_spread_k
        ),
    )
    .because(view.at(&format!("/point/{low}/temperature_c")), "the coldest point")
    .because(policy.at("/temperature/max_spread_k"), "the most between the points of one check, in K")
    .help("wait until the temperature stands still before the first reading; look at the bath, the stirring and draughts");
}
