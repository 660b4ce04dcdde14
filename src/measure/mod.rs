//! The metrology: plain numbers in, plain numbers out.
//!
//! A check compares what an instrument shows in a certified fluid with what it should show. This floor computes every
//! figure of that comparison: the full-scale range of a geometry and a spring ([`range`]), the torque zone of a point
//! ([`zone`]), the reference at a temperature ([`temperature`]), the limits round it ([`limits`]), the uncertainty of the
//! deviation ([`uncertainty`]), the verdict ([`judge`]) and what the pattern over the points suggests ([`pattern`]). Beside
//! these stand the speed up to which the flow is laminar ([`flow`]), the law of petroleum oils ([`d341`]) and the risks of
//! decisions over many instruments ([`risk`]). It knows no record, file, clock or repository.
//!
//! Of many checks it tells how their deviation moves with time ([`series`]), and what as-found results say of the interval
//! between checks ([`interval`]). What others have published is held against all of it in [`published`].
//!
//! Figures that people wrote are kept exactly as decimals ([`exact`]), so that 25.2 is inside 25.0 +/- 0.2; `f64` enters
//! only with pi, a logarithm, an exponential or statistics. Figures are rounded half to even, at the last step only: ranges,
//! references and limits to [`FIGURE_DIGITS`] significant digits, percentages to [`PERCENT_PLACES`] decimals. A figure
//! that cannot be had is `None`, and so is all that rests on it; nothing here panics.

pub mod d341;
pub mod distribution;
pub mod exact;
pub mod flow;
pub mod interval;
pub mod judge;
pub mod limits;
pub mod pattern;
pub mod plan;
pub mod published;
pub mod range;
pub mod risk;
pub mod series;
pub mod temperature;
pub mod uncertainty;
pub mod zone;

pub use exact::Exact;

/// Significant digits of a range, a reference or a limit as it is written.
pub const FIGURE_DIGITS: u32 = 6;

/// Decimals of a percentage as it is written.
pub const PERCENT_PLACES: u32 = 2;
