use super::{Out, Rule, Run, support};
use crate::book::{Book, Fact};
use crate::finding::Severity;
use crate::measure::Exact;

pub(super) static RULE: Rule = Rule {
    id: "value-far-from-nominal",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("value_far_from_nominal.md"),
    run: &[Run::Fact(fact)],
};

/// How far from the label's value the nearest certified value may lie, in % of the label's. A rough sieve for slips, from no standard.
const FAR_PERCENT: i64 = 15;

fn fact(_: &Book, fact: Fact<'_>, out: &mut Out<'_>) {
    let Fact::Fluid(fluid) = fact else { return };
    let nominal = &fluid.nominal_mpa_s;
    let away = |value: &Exact| (value - &nominal.value).abs();
    let nearest = fluid
        .values
        .iter()
        .map(|row| (row.mpa_s(), row))
        .min_by_key(|(value, _)| away(value));
    let Some((value, row)) = nearest else { return };
    let hundredfold = &Exact::integer(100) * &away(&value);
    if hundredfold <= &Exact::integer(FAR_PERCENT) * &nominal.value {
        return;
    }
    let Some(percent) = hundredfold.divide(&nominal.value) else {
        return;
    };
    out.say(
        fluid.at("/nominal_mpa_s"),
        format!(
            "the label says {nominal} mPa.s, and no certified value is within {FAR_PERCENT} % of it: the nearest is {} at {} degrees C, {} % away",
            support::figure(&value),
            row.temperature_c,
            support::figure(&percent)
        ),
    )
    .help("compare the label and the certificate with this file, digit by digit and unit by unit");
}
