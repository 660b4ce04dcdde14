use super::{Out, Rule, Run, support};
use crate::book::{Book, Fact};
use crate::finding::Severity;
use crate::record::fluid::CertifiedFigures;

pub(super) static RULE: Rule = Rule {
    id: "value-is-nominal",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("value_is_nominal.md"),
    run: &[Run::Fact(fact)],
};

fn fact(_: &Book, fact: Fact<'_>, out: &mut Out<'_>) {
    let Fact::Fluid(fluid) = fact else { return };
    for (index, row) in fluid.values.iter().enumerate() {
        let value = row.mpa_s();
        if value != fluid.nominal_mpa_s.value {
            continue;
        }
        let (key, certified) = match &row.figures {
            CertifiedFigures::Dynamic { mpa_s } => ("viscosity_mpa_s", mpa_s.written.to_string()),
            CertifiedFigures::Kinematic { .. } => ("kinematic_mm2_s", support::figure(&value)),
        };
        out.say(
            fluid.at(&format!("/value/{index}/{key}")),
            format!(
                "the certified value at {} degrees C, {certified} mPa.s, is the label's to the last digit; a certificate seldom hits it",
                row.temperature_c
            ),
        )
        .because(fluid.at("/nominal_mpa_s"), "the value on the label")
        .help("compare with the certificate; where it says exactly this, a note in this file spares others the question");
    }
}
