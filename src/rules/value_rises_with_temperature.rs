use super::{Out, Rule, Run, support};
use crate::book::{Book, Fact};
use crate::finding::Severity;
use crate::record::fluid::CertifiedFigures;

pub(super) static RULE: Rule = Rule {
    id: "value-rises-with-temperature",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("value_rises_with_temperature.md"),
    run: &[Run::Fact(fact)],
};

fn fact(_: &Book, fact: Fact<'_>, out: &mut Out<'_>) {
    let Fact::Fluid(fluid) = fact else { return };
    for (index, pair) in fluid.values.windows(2).enumerate() {
        let [cool, warm] = pair else { continue };
        // Rows out of order have their own finding.
        if warm.temperature_c.value <= cool.temperature_c.value || warm.mpa_s() <= cool.mpa_s() {
            continue;
        }
        let key = |row: &crate::record::fluid::CertifiedValue| match row.figures {
            CertifiedFigures::Dynamic { .. } => "viscosity_mpa_s",
            CertifiedFigures::Kinematic { .. } => "kinematic_mm2_s",
        };
        out.say(
            fluid.at(&format!("/value/{}/{}", index + 1, key(warm))),
            format!(
                "{} mPa.s at {} degrees C is more than {} at {}; a liquid grows thinner as it grows warmer",
                support::figure(&warm.mpa_s()),
                warm.temperature_c,
                support::figure(&cool.mpa_s()),
                cool.temperature_c
            ),
        )
        .because(fluid.at(&format!("/value/{index}/{}", key(cool))), "the cooler row")
        .help("compare both rows with the certificate: two values may have changed places, or one has a digit too many");
    }
    for (index, row) in fluid.values.iter().enumerate() {
        if let Some(coefficient) = &row.coefficient_percent_per_k
            && coefficient.value.is_positive()
        {
            out.say(
                fluid.at(&format!("/value/{index}/temperature_coefficient_percent_per_k")),
                format!("the coefficient {coefficient} % per K says that the fluid grows thicker as it grows warmer"),
            )
            .help("compare with the certificate; a liquid's coefficient has a minus sign");
        }
    }
}
