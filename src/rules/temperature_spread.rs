use super::{Out, Rule, Run};
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
    let [least, most, size] = shown(least, most, &spread, &policy.max_spread_k.value);
    out.say(
        view.at(&format!("/point/{high}/temperature_c")),
        format!(
            "the points run from {least} to {most} degrees C, corrected; that is {size} K, and policy {} allows {}",
            policy.id,
            policy.max_spread_k
        ),
    )
    .because(view.at(&format!("/point/{low}/temperature_c")), "the coldest point")
    .because(policy.at("/temperature/max_spread_k"), "the most between the points of one check, in K")
    .help("wait until the temperature stands still before the first reading; look at the bath, the stirring and draughts");
}

/// Both ends and the spread with as few decimals as let the spread be the difference of the ends and exceed what is allowed.
fn shown(least: &Exact, most: &Exact, spread: &Exact, allowed: &Exact) -> [String; 3] {
    for places in 2..=9 {
        let texts = [least, most, spread].map(|value| value.to_fixed_string(places));
        let [Some(low), Some(high), Some(size)] =
            [0, 1, 2].map(|index| Exact::parse(&texts[index]))
        else {
            continue;
        };
        if &high - &low == size && size > *allowed {
            return texts;
        }
    }
    [least, most, spread].map(Exact::to_decimal_string)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_figures_shown_add_up_and_exceed_what_is_allowed() {
        for (least, most, allowed, wanted) in [
            ("25", "25.25", "0.2", ["25.00", "25.25", "0.25"]),
            ("25", "25.10001", "0.1", ["25.00000", "25.10001", "0.10001"]),
            // With two decimals the ends would be 0.21 apart.
            ("25.0049", "25.2051", "0.1", ["25.005", "25.205", "0.200"]),
        ] {
            let [low, high, most_allowed] =
                [least, most, allowed].map(|text| Exact::parse(text).expect("figure"));
            let spread = &high - &low;
            assert_eq!(shown(&low, &high, &spread, &most_allowed), wanted);
        }
    }
}
