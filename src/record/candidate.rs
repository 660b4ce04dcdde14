//! A fluid on offer, as a file of candidates lists it. It is no record of a book.

use super::Number;

#[derive(Clone, Debug)]
pub struct Candidate {
    pub id: String,
    pub viscosity_mpa_s: Number,
    /// At which that viscosity is offered.
    pub temperature_c: Option<Number>,
    pub expanded_uncertainty_percent: Option<Number>,
    pub note: Option<String>,
}
