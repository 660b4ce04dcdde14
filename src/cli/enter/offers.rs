//! The planned choices, as the dialogue offers them.

use super::bench::Bench;
use crate::fleet::plan::plan_instrument;
use crate::record::Number;

/// So many of the best are offered.
const OFFERED: usize = 5;

/// Lot, bottle, geometry and speeds that go together.
#[derive(Clone, Debug, Default)]
pub(super) struct Offer {
    /// Names it among the others.
    pub(super) word: String,
    pub(super) label: String,
    pub(super) fluid: String,
    pub(super) bottle: Option<String>,
    pub(super) geometry: String,
    pub(super) certified_c: Option<String>,
    /// In the order of the zones.
    pub(super) speeds_rpm: Vec<String>,
    pub(super) soak_minutes: Option<Number>,
}

/// The best choices for the instrument on the day of the check.
pub(super) fn offers(bench: &Bench) -> Vec<Offer> {
    let Some(instrument) = bench.record() else {
        return Vec::new();
    };
    let plan = plan_instrument(&bench.book, instrument, bench.day());
    let choices = plan.choices.iter().take(OFFERED);
    choices
        .map(|choice| {
            let certified = choice.value.temperature_c.to_string();
            let speeds: Vec<String> = choice
                .points
                .iter()
                .map(|point| point.speed_rpm.to_string())
                .collect();
            let torques: Vec<String> = choice
                .points
                .iter()
                .map(|point| point.torque_percent.to_fixed_string(0))
                .collect();
            let bottle = match choice.bottle {
                Some(bottle) => format!("bottle {}", bottle.id),
                None => "no bottle is open".to_owned(),
            };
            let soak = choice
                .soak_minutes
                .map(|minutes| format!(", soak {minutes} min"))
                .unwrap_or_default();
            Offer {
                word: format!("{}/{certified}/{}", choice.fluid.id, choice.geometry.id),
                label: format!(
                    "{bottle}{soak}; {} rpm should show {} %",
                    speeds.join(", "),
                    torques.join(", ")
                ),
                fluid: choice.fluid.id.clone(),
                bottle: choice.bottle.map(|bottle| bottle.id.clone()),
                geometry: choice.geometry.id.clone(),
                certified_c: Some(certified),
                speeds_rpm: speeds,
                soak_minutes: choice.soak_minutes.cloned(),
            }
        })
        .collect()
}
