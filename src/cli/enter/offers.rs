//! The planned choices, as the dialogue offers them.

use super::bench::Bench;
use crate::record::Number;

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

pub(super) fn offers(_bench: &Bench) -> Vec<Offer> {
    Vec::new()
}
