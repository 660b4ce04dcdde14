//! What is in stock at a time: lots, bottles and geometries that the rules of a check accept, and why the others are left out.

use super::super::days_between;
use super::{LeftOut, Reason, What};
use crate::book::view::{inspection_at, standing_at};
use crate::book::zone::months_after;
use crate::book::{Book, Loaded, Named};
use crate::measure::Exact;
use crate::measure::temperature::Curve;
use crate::parse::layout::path_of;
use crate::record::fluid::{Bottle, Fluid};
use crate::record::geometry::{Geometry, Outcome};
use crate::record::policy::{Basis, Policy};
use crate::record::{Kind, Standing, State};
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::BTreeSet;

/// A lot that may be used.
pub struct Lot<'a> {
    pub fluid: &'a Loaded<Fluid>,
    /// Until the last day of its certificate.
    pub days_to_expiry: i64,
    pub rows: Vec<Row>,
}

/// A certified value as plans take it.
pub struct Row {
    pub mpa_s: Exact,
    pub expanded_uncertainty_percent: Option<Exact>,
    pub standard_uncertainty_mpa_s: Option<Exact>,
    /// Whether it can be moved to a measured temperature.
    pub has_curve: bool,
}

/// The lots and geometries of a book at a time.
pub struct Stock<'a> {
    pub book: &'a Book,
    pub day: Date,
    pub at: Timestamp,
    pub lots: Vec<Lot<'a>>,
    /// Sound ones, whatever they fit.
    pub geometries: Vec<&'a Loaded<Geometry>>,
    /// Lots that nobody may use, and geometries that are damaged or whose files have errors.
    left_out: Vec<LeftOut>,
    damaged: BTreeSet<&'a str>,
    with_errors: BTreeSet<String>,
}

impl<'a> Stock<'a> {
    /// At the end of a day. Of records whose files are among those with errors no check would count.
    pub fn on(book: &'a Book, day: Date, with_errors: &BTreeSet<String>) -> Stock<'a> {
        Stock::at(book, day, book.end_of(day), with_errors)
    }

    /// At a time of a day.
    pub fn at(
        book: &'a Book,
        day: Date,
        at: Timestamp,
        with_errors: &BTreeSet<String>,
    ) -> Stock<'a> {
        let mut stock = Stock {
            book,
            day,
            at,
            lots: Vec::new(),
            geometries: Vec::new(),
            left_out: Vec::new(),
            damaged: BTreeSet::new(),
            with_errors: with_errors.clone(),
        };
        for id in book.fluids.ids() {
            match book.fluids.named(id) {
                Named::Sound(fluid) if !with_errors.contains(&fluid.doc.path) => {
                    match unusable(book, fluid, day, at) {
                        Some((reason, message)) => {
                            stock.leave_out(What::Fluid, id, reason, message);
                        }
                        None => stock.lots.push(lot(fluid, day)),
                    }
                }
                _ => stock.broken(What::Fluid, Kind::Fluid, id),
            }
        }
        for id in book.geometries.ids() {
            match book.geometries.named(id) {
                Named::Sound(geometry) if !with_errors.contains(&geometry.doc.path) => {
                    let last = inspection_at(book, geometry, at);
                    match last.filter(|(_, outcome)| *outcome == Outcome::Damaged) {
                        Some((row, _)) => {
                            let on = geometry.inspections.get(row).map(|(date, _)| date);
                            let on = on.map(|date| format!(" on {date}")).unwrap_or_default();
                            stock.damaged.insert(id);
                            let message = format!("it was found damaged{on}");
                            stock.leave_out(What::Geometry, id, Reason::Damaged, message);
                        }
                        None => stock.geometries.push(geometry),
                    }
                }
                _ => stock.broken(What::Geometry, Kind::Geometry, id),
            }
        }
        stock
    }

    /// Whether a file has errors, as far as they are known.
    pub(super) fn has_errors(&self, path: &str) -> bool {
        self.with_errors.contains(path)
    }

    fn leave_out(&mut self, what: What, id: &str, reason: Reason, message: String) {
        self.left_out.push(LeftOut {
            what,
            id: id.to_owned(),
            reason,
            message,
        });
    }

    fn broken(&mut self, what: What, kind: Kind, id: &str) {
        let message = format!(
            "{} has errors, which shearbook validate tells",
            path_of(kind, id)
        );
        self.leave_out(what, id, Reason::Broken, message);
    }

    /// What nobody may use, but for damaged geometries that would not fit an instrument anyway; those are told as not fitting.
    pub(super) fn left_out_for(&self, instrument: &str) -> Vec<LeftOut> {
        let mut left_out: Vec<LeftOut> = self
            .left_out
            .iter()
            .filter(|one| one.what != What::Geometry || !self.misfits(&one.id, instrument))
            .cloned()
            .collect();
        let others = self.geometries.iter().map(|geometry| geometry.id.as_str());
        let others = others.chain(self.damaged.iter().copied());
        for id in others.filter(|id| self.misfits(id, instrument)) {
            left_out.push(LeftOut {
                what: What::Geometry,
                id: id.to_owned(),
                reason: Reason::DoesNotFit,
                message: format!("its file says that it does not fit {instrument}"),
            });
        }
        left_out
    }

    fn misfits(&self, geometry: &str, instrument: &str) -> bool {
        let geometry = self.book.geometries.named(geometry).sound();
        geometry.is_some_and(|geometry| !geometry.fits_on(instrument))
    }

    /// The sound geometries that fit an instrument.
    pub fn fitting(&self, instrument: &str) -> impl Iterator<Item = &'a Loaded<Geometry>> {
        let fits = |geometry: &&'a Loaded<Geometry>| geometry.fits_on(instrument);
        self.geometries.iter().copied().filter(fits)
    }
}

/// Why a lot may not be used by anybody.
fn unusable(
    book: &Book,
    fluid: &Loaded<Fluid>,
    day: Date,
    at: Timestamp,
) -> Option<(Reason, String)> {
    if day < fluid.certified {
        let message = format!("it is certified from {} on", fluid.certified);
        return Some((Reason::NotYetCertified, message));
    }
    if day > fluid.expires {
        let message = format!("it expired on {}", fluid.expires);
        return Some((Reason::Expired, message));
    }
    let (_, standing) = standing_at(book, &fluid.standings, at)?;
    let reason = match standing.state {
        State::Quarantined => Reason::Quarantined,
        State::Withdrawn => Reason::Withdrawn,
        State::InService | State::Usable => return None,
    };
    Some((reason, stands(standing)))
}

/// A standing row in words.
pub(super) fn stands(row: &Standing) -> String {
    let reason = row.reason.as_deref().unwrap_or("no reason given");
    format!("{} from {}: {reason}", row.state.word(), row.from)
}

fn lot<'a>(fluid: &'a Loaded<Fluid>, day: Date) -> Lot<'a> {
    let rows = fluid.values.iter().enumerate().map(|(index, value)| {
        let expanded = value.expanded_uncertainty_mpa_s();
        Row {
            mpa_s: value.mpa_s(),
            expanded_uncertainty_percent: value.expanded_uncertainty_percent(),
            standard_uncertainty_mpa_s: expanded.divide(&value.coverage_factor.value),
            has_curve: Curve::around(&fluid.rows, index).is_some(),
        }
    });
    Lot {
        fluid,
        days_to_expiry: days_between(day, fluid.expires),
        rows: rows.collect(),
    }
}

impl<'a> Lot<'a> {
    /// Whether a policy lets one of its certified values be used.
    pub fn is_allowed(&self, policy: &Loaded<Policy>) -> bool {
        self.rows.iter().any(|row| row.is_allowed(policy))
    }

    /// The bottles that may be poured from: opened, not discarded, not open for too long.
    pub fn open_bottles(
        &self,
        policy: Option<&Policy>,
        day: Date,
    ) -> impl Iterator<Item = &'a Bottle> {
        let bottles = &self.fluid.record.bottles;
        let open = move |bottle: &&'a Bottle| closed(bottle, policy, day).is_none();
        bottles.iter().filter(open)
    }

    /// Of the open bottles the one opened first.
    pub fn open_bottle(&self, policy: Option<&Policy>, day: Date) -> Option<&'a Bottle> {
        let open = self.open_bottles(policy, day);
        open.min_by_key(|bottle| bottle.opened)
    }

    /// Why each of its bottles may not be poured from.
    pub fn closed_bottles(&self, policy: &Policy, day: Date) -> Vec<String> {
        let bottles = &self.fluid.record.bottles;
        bottles
            .iter()
            .filter_map(|bottle| {
                Some(format!(
                    "bottle {} {}",
                    bottle.id,
                    closed(bottle, Some(policy), day)?
                ))
            })
            .collect()
    }
}

/// Why a bottle may not be poured from on a day, as the rules of a check see it.
fn closed(bottle: &Bottle, policy: Option<&Policy>, day: Date) -> Option<String> {
    if day < bottle.opened {
        return Some(format!("is opened on {}", bottle.opened));
    }
    if let Some(discarded) = bottle.discarded.filter(|last| day > *last) {
        return Some(format!("was discarded on {discarded}"));
    }
    let months = policy.and_then(|policy| policy.in_use_months)?;
    let last = months_after(bottle.opened, months)?;
    (day > last).then(|| format!("could be used until {last}"))
}

/// Why a certified value may not be used under a policy.
pub(super) fn refused(policy: &Loaded<Policy>, row: &Row) -> Option<(Reason, String)> {
    let limit = &policy.fluid_max_expanded_uncertainty_percent;
    if let Some(percent) = &row.expanded_uncertainty_percent
        && *percent > limit.value
    {
        let figure = super::figure(percent);
        let message = format!(
            "its expanded uncertainty is {figure} %, and policy {} allows {limit} %",
            policy.id
        );
        return Some((Reason::UncertaintyTooLarge, message));
    }
    if policy.basis == Basis::Corrected && !row.has_curve {
        let message = format!(
            "policy {} compares at the measured temperature, and its file does not say how it changes with temperature",
            policy.id
        );
        return Some((Reason::TemperatureCoefficientMissing, message));
    }
    None
}
