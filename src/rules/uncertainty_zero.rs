use super::{Out, Rule, Run};
use crate::book::{Book, Fact};
use crate::finding::Severity;
use crate::record::fluid::Uncertainty;

pub(super) static RULE: Rule = Rule {
    id: "uncertainty-zero",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("uncertainty_zero.md"),
    run: &[Run::Fact(fact)],
};

fn fact(_: &Book, fact: Fact<'_>, out: &mut Out<'_>) {
    let mut zero = Vec::new();
    match fact {
        Fact::Fluid(fluid) => {
            for (index, row) in fluid.values.iter().enumerate() {
                let (key, figure) = match &row.uncertainty {
                    Uncertainty::Percent(percent) => ("expanded_uncertainty_percent", percent),
                    Uncertainty::MpaS(size) => ("expanded_uncertainty_mpa_s", size),
                };
                if figure.value.is_zero() {
                    zero.push((
                        format!("/value/{index}/{key}"),
                        format!("the certified value at {} degrees C", row.temperature_c),
                    ));
                }
            }
        }
        Fact::Thermometer(thermometer) => {
            for (index, row) in thermometer.calibrations.iter().enumerate() {
                if row.expanded_uncertainty_k.value.is_zero() {
                    zero.push((
                        format!("/calibration/{index}/expanded_uncertainty_k"),
                        format!("the calibration of {}", row.date),
                    ));
                }
            }
        }
        _ => {}
    }
    for (pointer, what) in zero {
        out.say(fact.doc().place(&pointer), format!("{what} has an expanded uncertainty of 0; nothing is certified that well"))
            .help("write the figure of the certificate; a paper that states none certifies nothing, so ask its issuer");
    }
}
