//! Which fluid, geometry and speeds an instrument is best checked with on a day.
//!
//! The reference is the certified value itself; each certified temperature of a lot is a choice of its own. What a rule of a
//! check would refuse is left out, with the reason.

pub mod purchase;
pub mod sheet;
pub mod stock;

use crate::book::evidence::laminar_limit_of;
use crate::book::view::{soak_row, spring_at, standing_at, zone_bounds};
use crate::book::{Book, Loaded};
use crate::measure::limits::Limits;
use crate::measure::plan::{Miss, Point, Rank, Reference, Rig, Speeds as Turns, Terms, worst};
use crate::measure::zone::Zone;
use crate::measure::{Exact, FIGURE_DIGITS, PERCENT_PLACES};
use crate::parse::METHOD;
use crate::record::fluid::{Bottle, CertifiedValue, Fluid};
use crate::record::geometry::Geometry;
use crate::record::instrument::{Instrument, Speeds, Spring};
use crate::record::policy::{Basis, Decision, Policy, ZoneName};
use crate::record::{Number, State, words};
use compact_str::CompactString;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};
use stock::{Lot, Row, Stock, refused, stands};

words! {
    /// What may be left out.
    What { Fluid = "fluid", Geometry = "geometry" }
}

words! {
    /// Why something is left out.
    Reason {
        Broken = "broken",
        NotYetCertified = "not-yet-certified",
        Expired = "expired",
        Quarantined = "quarantined",
        Withdrawn = "withdrawn",
        UncertaintyTooLarge = "uncertainty-too-large",
        TemperatureCoefficientMissing = "temperature-coefficient-missing",
        NoSpeedForZone = "no-speed-for-zone",
        NoGeometry = "no-geometry",
        Damaged = "damaged",
        DoesNotFit = "does-not-fit",
        NoRange = "no-range",
        NoFluid = "no-fluid",
    }
}

/// A lot or a geometry that no choice is made with, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    pub what: What,
    pub id: String,
    pub reason: Reason,
    pub message: String,
}

/// A point as it is planned.
#[derive(Clone, Debug)]
pub struct PlannedPoint {
    pub zone: Zone,
    /// As the instrument's file writes it; a free speed with the digits that it was rounded to.
    pub speed_rpm: Number,
    /// That the reference should show, unrounded.
    pub torque_percent: Exact,
    /// Full scale, in mPa.s, 6 significant digits.
    pub range_mpa_s: Exact,
    /// As a check will write them, in mPa.s; of a guarded decision those that it takes the uncertainty off.
    pub limits: Limits,
    /// Half the width of the limits, in % of the reference and of full scale, unrounded.
    pub band_percent: Exact,
    pub band_of_range_percent: Exact,
    /// From the middle of the zone, in % of half its width, unrounded.
    pub off_centre_percent: Exact,
    pub shear_rate_per_s: Option<f64>,
}

/// One way to check an instrument: lot, certified temperature, geometry, and a speed for each zone.
#[derive(Clone, Debug)]
pub struct Choice<'a> {
    pub fluid: &'a Loaded<Fluid>,
    /// Of `[[value]]`.
    pub row: usize,
    pub value: &'a CertifiedValue,
    /// `None` where none is open.
    pub bottle: Option<&'a Bottle>,
    pub geometry: &'a Loaded<Geometry>,
    /// In mPa.s, 6 significant digits.
    pub reference_mpa_s: Exact,
    pub expanded_uncertainty_percent: Option<Exact>,
    pub soak_minutes: Option<&'a Number>,
    pub days_to_expiry: i64,
    /// Of its points the farthest from the middle of its zone, and the widest band; unrounded.
    pub off_centre_percent: Exact,
    pub widest_band_percent: Exact,
    /// One a zone, from the lowest.
    pub points: Vec<PlannedPoint>,
}

/// How an instrument may be checked on a day.
pub struct InstrumentPlan<'a> {
    pub instrument: &'a Loaded<Instrument>,
    pub day: Date,
    pub policy: Option<&'a Loaded<Policy>>,
    /// In force on the day, with its row.
    pub spring: Option<(usize, &'a Spring)>,
    /// Why nothing can be planned for it at all.
    pub hindrance: Option<String>,
    /// Its newest standing is quarantined.
    pub is_quarantined: bool,
    /// The best first.
    pub choices: Vec<Choice<'a>>,
    /// Lots, then geometries, in order of id.
    pub left_out: Vec<LeftOut>,
}

/// A figure for a sentence: without needless zeros, cut to six significant digits.
pub fn figure(value: &Exact) -> String {
    let text = value.rounded_significant(FIGURE_DIGITS).to_decimal_string();
    text.strip_suffix(".0").unwrap_or(&text).to_owned()
}

/// A percentage for a sentence, to two decimals at most.
pub fn percent(value: &Exact) -> String {
    figure(&value.rounded_decimals(PERCENT_PLACES))
}

/// The best choices for an instrument on a day, in order; seen at the end of the day. Of each lot, certified temperature and
/// geometry the best speeds are given.
pub fn plan_instrument<'a>(
    book: &'a Book,
    instrument: &'a Loaded<Instrument>,
    day: Date,
) -> InstrumentPlan<'a> {
    let stock = Stock::on(book, day, &BTreeSet::new());
    stock.plan(instrument, Extent::Best)
}

/// How much is worked out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Extent {
    /// The best speeds of each lot, temperature and geometry.
    Best,
    /// Every choice of speeds.
    Every,
}

/// What is the same for all choices of an instrument.
pub(crate) struct Bench<'a> {
    pub instrument: &'a Loaded<Instrument>,
    pub policy: &'a Loaded<Policy>,
    pub terms: Terms,
    pub rigs: Vec<(&'a Loaded<Geometry>, Option<Rig>)>,
}

/// Why an instrument cannot be planned for, by its own file and the policies.
fn hindrance(
    stock: &Stock<'_>,
    instrument: &Loaded<Instrument>,
    policy: Option<&Loaded<Policy>>,
) -> Option<String> {
    match standing_at(stock.book, &instrument.standings, stock.at) {
        None => return Some("it has not been put into service yet".to_owned()),
        Some((_, row)) if row.state == State::Withdrawn => return Some(stands(row)),
        Some(_) => {}
    }
    if spring_at(stock.book, instrument, stock.at).is_none() {
        return Some("it has no spring in force".to_owned());
    }
    if stock.book.policies.any_broken() {
        return Some(
            "a file of policies/ has errors, so nobody knows which policy judges".to_owned(),
        );
    }
    match policy {
        None => Some("no policy is in force for it on that day".to_owned()),
        Some(policy) if policy.method != METHOD => Some(format!(
            "policy {} judges by method {}, which this shearbook does not know",
            policy.id, policy.method
        )),
        Some(policy) if stock.has_errors(&policy.doc.path) => Some(format!(
            "{} has errors, which shearbook validate tells",
            policy.doc.path
        )),
        Some(policy) if policy.decision != Decision::Simple && policy.basis == Basis::Certified => {
            Some(format!(
                "policy {} has a guarded decision and does not correct for the temperature, so it judges nothing",
                policy.id
            ))
        }
        Some(_) => None,
    }
}

/// The instrument's speeds as the metrology takes them.
fn turns(speeds: &Speeds) -> Turns<'_> {
    match speeds {
        Speeds::These(speeds) => Turns::These(speeds.iter().map(|speed| &speed.value).collect()),
        Speeds::Between(slow, fast) => Turns::Between(&slow.value, &fast.value),
    }
}

/// A speed with the digits of the instrument's file, where it stands there.
fn written(speeds: &Speeds, speed: &Exact) -> Number {
    let known = match speeds {
        Speeds::These(speeds) => speeds.iter().find(|one| one.value == *speed),
        Speeds::Between(slow, fast) => [slow, fast].into_iter().find(|one| one.value == *speed),
    };
    known.cloned().unwrap_or_else(|| Number {
        value: speed.clone(),
        written: CompactString::from(figure(speed)),
    })
}

impl<'a> Bench<'a> {
    /// `Err` says why nothing can be planned.
    pub(crate) fn of(
        stock: &Stock<'a>,
        instrument: &'a Loaded<Instrument>,
    ) -> Result<Bench<'a>, String> {
        let policy = stock.book.policy_at(stock.day, instrument.group.as_deref());
        if let Some(why) = hindrance(stock, instrument, policy) {
            return Err(why);
        }
        let spring = spring_at(stock.book, instrument, stock.at);
        let (Some(policy), Some((_, spring))) = (policy, spring) else {
            return Err("it has no policy or no spring in force".to_owned());
        };
        let required: Vec<Zone> = policy
            .zones_required
            .iter()
            .map(|zone| (*zone).into())
            .collect();
        let torque = &spring.full_scale_torque_un_m.value;
        let turns = turns(&instrument.speeds);
        let rig = |geometry: &Loaded<Geometry>| Rig::of(&geometry.figures, torque, &turns);
        Ok(Bench {
            instrument,
            policy,
            terms: Terms::new(
                &policy.fluid_percent.value,
                &policy.range_percent.value,
                zone_bounds(policy),
                &required,
            ),
            rigs: stock
                .fitting(&instrument.id)
                .map(|geometry| (geometry, rig(geometry)))
                .collect(),
        })
    }

    /// The reference of a certified value, with what a guarded decision needs.
    pub(crate) fn reference(&self, mpa_s: &Exact, standard_mpa_s: Option<&Exact>) -> Reference {
        let reference = Reference::new(mpa_s);
        match self.policy.decision {
            Decision::Guarded | Decision::GuardedFourWay => {
                let resolution = &self.instrument.torque_resolution_percent.value;
                // Where nothing is known of the value, the display alone may be too coarse.
                let none = Exact::zero();
                reference.guarded(standard_mpa_s.unwrap_or(&none), resolution)
            }
            Decision::Simple => reference,
        }
    }

    pub(crate) fn planned(
        &self,
        geometry: &Geometry,
        reference: &Reference,
        point: &Point,
    ) -> PlannedPoint {
        let of_range = (&point.half_width * Exact::integer(100)).divide(&point.range);
        PlannedPoint {
            zone: point.zone,
            speed_rpm: written(&self.instrument.speeds, &point.speed_rpm),
            torque_percent: point.torque_percent.clone(),
            range_mpa_s: point.range.rounded_significant(FIGURE_DIGITS),
            limits: point.limits(reference),
            band_percent: point.band_percent.clone(),
            band_of_range_percent: of_range.unwrap_or_else(Exact::zero),
            off_centre_percent: point.off_centre_percent.clone(),
            shear_rate_per_s: geometry.figures.shear_rate_per_s(&point.speed_rpm),
        }
    }
}

/// Every choice of one point a zone.
fn combinations(zones: &[Vec<Point>]) -> Vec<Vec<Point>> {
    let mut choices: Vec<Vec<Point>> = vec![Vec::new()];
    for points in zones {
        choices = choices
            .iter()
            .flat_map(|choice| {
                points.iter().map(|point| {
                    let mut longer = choice.clone();
                    longer.push(point.clone());
                    longer
                })
            })
            .collect();
    }
    choices
}

/// A choice before its figures are worked out: the places of its lot, row and geometry, which stand in order of id.
struct Outline {
    rank: Rank,
    lot: usize,
    row: usize,
    rig: usize,
    points: Vec<Point>,
}

impl Outline {
    /// By rank, then by lot, temperature, geometry and speeds.
    fn order(&self, other: &Outline) -> std::cmp::Ordering {
        let place = |outline: &Outline| (outline.lot, outline.row, outline.rig);
        let speeds = |outline: &'_ Outline| -> Vec<Exact> {
            let points = outline.points.iter();
            points.map(|point| point.speed_rpm.clone()).collect()
        };
        self.rank
            .cmp(&other.rank)
            .then_with(|| place(self).cmp(&place(other)))
            .then_with(|| speeds(self).cmp(&speeds(other)))
    }
}

impl<'a> Stock<'a> {
    /// The choices for an instrument, the best first: of each lot, temperature and geometry the best speeds, or all.
    pub fn plan(&self, instrument: &'a Loaded<Instrument>, extent: Extent) -> InstrumentPlan<'a> {
        let mut plan = self.without_choices(instrument);
        match Bench::of(self, instrument) {
            Ok(bench) => {
                let outlines = self.outlines(&bench, extent).into_iter();
                let choices = outlines.filter_map(|outline| self.choice(&bench, &outline));
                plan.choices = choices.collect();
                plan.left_out = self.left_out(&bench, &plan.choices);
            }
            Err(why) => plan.hindrance = Some(why),
        }
        plan
    }

    /// Of each lot and temperature the best choice for an instrument, with its place among all choices, counted from 1; beside a
    /// plan without choices, which says what hinders.
    fn by_beaker(
        &self,
        instrument: &'a Loaded<Instrument>,
    ) -> (InstrumentPlan<'a>, Vec<(u32, Choice<'a>)>) {
        let mut plan = self.without_choices(instrument);
        let bench = match Bench::of(self, instrument) {
            Ok(bench) => bench,
            Err(why) => {
                plan.hindrance = Some(why);
                return (plan, Vec::new());
            }
        };
        let mut seen = BTreeSet::new();
        let outlines = (1_u32..).zip(self.outlines(&bench, Extent::Best));
        let best = outlines
            .filter(|(_, outline)| seen.insert((outline.lot, outline.row)))
            .filter_map(|(place, outline)| Some((place, self.choice(&bench, &outline)?)));
        (plan, best.collect())
    }

    fn without_choices(&self, instrument: &'a Loaded<Instrument>) -> InstrumentPlan<'a> {
        InstrumentPlan {
            instrument,
            day: self.day,
            policy: self.book.policy_at(self.day, instrument.group.as_deref()),
            spring: spring_at(self.book, instrument, self.at),
            hindrance: None,
            is_quarantined: standing_at(self.book, &instrument.standings, self.at)
                .is_some_and(|(_, row)| row.state == State::Quarantined),
            choices: Vec::new(),
            left_out: Vec::new(),
        }
    }

    /// In order.
    fn outlines(&self, bench: &Bench<'a>, extent: Extent) -> Vec<Outline> {
        let policy = bench.policy;
        let mut outlines = Vec::new();
        for (lot_index, lot) in self.lots.iter().enumerate() {
            let must_be_opened = lot.open_bottle(Some(policy), self.day).is_none();
            for (row_index, row) in lot.rows.iter().enumerate() {
                if !row.is_allowed(policy) {
                    continue;
                }
                let standard = row.standard_uncertainty_mpa_s.as_ref();
                let reference = bench.reference(&row.mpa_s, standard);
                for (rig_index, (geometry, rig)) in bench.rigs.iter().enumerate() {
                    let Some(rig) = rig else { continue };
                    let chosen: Vec<Vec<Point>> = match extent {
                        Extent::Every => {
                            let zones = rig.points(&reference, &bench.terms);
                            zones.iter().flat_map(|zones| combinations(zones)).collect()
                        }
                        Extent::Best => rig.best(&reference, &bench.terms).into_iter().collect(),
                    };
                    if chosen.is_empty() {
                        continue;
                    }
                    let soak = soak_row(policy, Some(geometry.kind), Some(&row.mpa_s));
                    for points in chosen {
                        outlines.push(Outline {
                            rank: Rank::of(
                                &points,
                                row.expanded_uncertainty_percent.clone(),
                                Some(lot.days_to_expiry),
                                soak.map(|(_, row)| row.minutes.value.clone()),
                                must_be_opened,
                            ),
                            lot: lot_index,
                            row: row_index,
                            rig: rig_index,
                            points,
                        });
                    }
                }
            }
        }
        outlines.sort_by(Outline::order);
        outlines
    }

    fn choice(&self, bench: &Bench<'a>, outline: &Outline) -> Option<Choice<'a>> {
        let policy = bench.policy;
        let lot = self.lots.get(outline.lot)?;
        let row = lot.rows.get(outline.row)?;
        let (geometry, _) = bench.rigs.get(outline.rig)?;
        let reference = bench.reference(&row.mpa_s, row.standard_uncertainty_mpa_s.as_ref());
        let (off_centre_percent, widest_band_percent) = worst(&outline.points);
        let soak = soak_row(policy, Some(geometry.kind), Some(&row.mpa_s));
        let points = outline.points.iter();
        Some(Choice {
            fluid: lot.fluid,
            row: outline.row,
            value: lot.fluid.record.values.get(outline.row)?,
            bottle: lot.open_bottle(Some(policy), self.day),
            geometry,
            reference_mpa_s: row.mpa_s.rounded_significant(FIGURE_DIGITS),
            expanded_uncertainty_percent: row.expanded_uncertainty_percent.clone(),
            soak_minutes: soak.map(|(_, row)| &row.minutes),
            days_to_expiry: lot.days_to_expiry,
            off_centre_percent,
            widest_band_percent,
            points: points
                .map(|point| bench.planned(geometry, &reference, point))
                .collect(),
        })
    }

    /// Whether something in stock serves an instrument.
    pub(crate) fn serves(&self, bench: &Bench<'a>) -> bool {
        self.lots.iter().any(|lot| {
            lot.rows.iter().any(|row| {
                let standard = row.standard_uncertainty_mpa_s.as_ref();
                let reference = bench.reference(&row.mpa_s, standard);
                let gives = |rig: &Rig| rig.points(&reference, &bench.terms).is_some();
                row.is_allowed(bench.policy)
                    && bench
                        .rigs
                        .iter()
                        .any(|(_, rig)| rig.as_ref().is_some_and(gives))
            })
        })
    }

    /// What of all in stock comes nearest to serving an instrument, in words; `None` where nothing can be compared.
    pub(crate) fn nearest_of_all(&self, instrument: &'a Loaded<Instrument>) -> Option<String> {
        let bench = Bench::of(self, instrument).ok()?;
        let mut nearest = BTreeMap::new();
        let lots = self.lots.iter();
        for lot in lots {
            self.nearest(&bench, lot, &BTreeSet::new(), &mut nearest);
        }
        let nearest = nearest.into_values();
        let by_far = |one: &Near<'_>, other: &Near<'_>| {
            let (zones, away) = one.far;
            zones.cmp(&other.far.0).then(away.total_cmp(&other.far.1))
        };
        let near = nearest.min_by(by_far)?;
        Some(near.told(&bench, near.with_both()).1)
    }

    /// Lots, then geometries, of which there is no choice, and why.
    fn left_out(&self, bench: &Bench<'a>, choices: &[Choice<'a>]) -> Vec<LeftOut> {
        let mut left_out = self.left_out_for(&bench.instrument.id);
        let fluids: BTreeSet<&str> = choices.iter().map(|one| one.fluid.id.as_str()).collect();
        let used: BTreeSet<&str> = choices.iter().map(|one| one.geometry.id.as_str()).collect();
        let mut nearest: BTreeMap<&str, Near<'_>> = BTreeMap::new();
        for lot in &self.lots {
            let id = lot.fluid.id.as_str();
            let (refusal, near) = self.nearest(bench, lot, &used, &mut nearest);
            if fluids.contains(id) {
                continue;
            }
            let (reason, message) = match (refusal, near) {
                (_, Some(near)) => near.told(bench, near.with_geometry()),
                (Some(refusal), None) => refusal,
                (None, None) => (
                    Reason::NoGeometry,
                    format!("no sound geometry fits {}", bench.instrument.id),
                ),
            };
            left_out.push(LeftOut {
                what: What::Fluid,
                id: id.to_owned(),
                reason,
                message,
            });
        }
        for (geometry, rig) in &bench.rigs {
            let id = geometry.id.as_str();
            if used.contains(id) {
                continue;
            }
            let (reason, message) = match (rig, nearest.get(id)) {
                (None, _) => (Reason::NoRange, "its figures give no range".to_owned()),
                (_, Some(near)) => near.told(bench, near.with_fluid()),
                (_, None) => (Reason::NoFluid, "no lot can be used".to_owned()),
            };
            left_out.push(LeftOut {
                what: What::Geometry,
                id: id.to_owned(),
                reason,
                message,
            });
        }
        left_out.sort_by(|one, other| (one.what, &one.id).cmp(&(other.what, &other.id)));
        left_out
    }

    /// Of a lot why its last refused value is, and the nearest that its others come to all zones. Those of geometries
    /// that are in no choice are noted, too.
    fn nearest<'b>(
        &self,
        bench: &'b Bench<'a>,
        lot: &'b Lot<'a>,
        used: &BTreeSet<&str>,
        nearest: &mut BTreeMap<&'b str, Near<'b>>,
    ) -> (Option<(Reason, String)>, Option<Near<'b>>) {
        let mut refusal = None;
        let mut any_allowed = false;
        let mut best: Option<Near<'b>> = None;
        let values = lot.fluid.record.values.iter();
        for (value, row) in values.zip(&lot.rows) {
            if let Some(refused) = refused(bench.policy, row) {
                refusal = Some(refused);
                continue;
            }
            any_allowed = true;
            let reference = bench.reference(&row.mpa_s, row.standard_uncertainty_mpa_s.as_ref());
            for (geometry, rig) in &bench.rigs {
                let Some(rig) = rig else { continue };
                let far = rig.far(&reference, &bench.terms);
                let is_nearer =
                    |other: Option<&Near<'_>>| other.is_none_or(|other| far < other.far);
                let near = || Near {
                    fluid: lot.fluid,
                    temperature_c: &value.temperature_c,
                    geometry: &geometry.id,
                    far,
                    reference: reference.clone(),
                    rig,
                };
                if is_nearer(best.as_ref()) {
                    best = Some(near());
                }
                let id = geometry.id.as_str();
                if !used.contains(id) && is_nearer(nearest.get(id)) {
                    nearest.insert(id, near());
                }
            }
        }
        // A value that may be used is what the lot is left out for, not another that may not.
        (refusal.filter(|_| !any_allowed), best)
    }
}

/// What comes nearest to a point in each zone.
struct Near<'b> {
    fluid: &'b Fluid,
    temperature_c: &'b Number,
    geometry: &'b str,
    far: (usize, f64),
    reference: Reference,
    rig: &'b Rig,
}

impl Near<'_> {
    fn with_geometry(&self) -> String {
        format!("with {} at {} degrees C", self.geometry, self.temperature_c)
    }

    fn with_fluid(&self) -> String {
        format!("in {} at {} degrees C", self.fluid.id, self.temperature_c)
    }

    fn with_both(&self) -> String {
        format!("{} with {}", self.with_fluid(), self.geometry)
    }

    fn told(&self, bench: &Bench<'_>, with: String) -> (Reason, String) {
        let miss = self.rig.miss(&self.reference, &bench.terms);
        let reason = match &miss {
            Some(miss) if miss.is_uncertain => Reason::UncertaintyTooLarge,
            _ => Reason::NoSpeedForZone,
        };
        (reason, missed(bench, miss.as_ref(), &with))
    }
}

/// The torque of a zone of a policy, in words.
pub fn extent(policy: &Policy, zone: Zone) -> String {
    let (low, high) = (&policy.low_below_percent, &policy.high_above_percent);
    match zone {
        Zone::Low => format!("{} to under {low} %", policy.minimum_percent),
        Zone::Middle => format!("{low} to {high} %"),
        Zone::High => format!("over {high} to 100 %"),
    }
}

/// What keeps a reference from a zone, in words.
pub(crate) fn missed(bench: &Bench<'_>, miss: Option<&Miss>, with: &str) -> String {
    let Some(miss) = miss else {
        return format!("no speed for a zone {with}");
    };
    let zones: Vec<&str> = miss
        .zones
        .iter()
        .map(|zone| ZoneName::from(*zone).word())
        .collect();
    let zones = match zones.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last} zones", rest.join(", ")),
        _ => format!("{} zone", zones.join(", ")),
    };
    let speed = written(&bench.instrument.speeds, &miss.speed_rpm);
    let torque = percent(&miss.torque_percent);
    let zone = ZoneName::from(miss.zone).word();
    match miss.is_uncertain {
        true => format!(
            "no point for the {zones}: {with} its uncertainty at {speed} rpm is as large as the limits, so no reading could pass"
        ),
        false => format!(
            "no speed for the {zones}: {with} the nearest is {torque} % torque at {speed} rpm, and the {zone} zone is {}",
            extent(bench.policy, miss.zone)
        ),
    }
}

impl InstrumentPlan<'_> {
    /// What whoever makes any check of the instrument should know.
    pub fn remark(&self) -> Option<&'static str> {
        self.is_quarantined.then_some(
            "the instrument is quarantined: it takes a repeat, a check after service or a move, or an investigation, and no scheduled check",
        )
    }

    /// What whoever makes a choice should know of it, besides.
    pub fn remarks(&self, choice: &Choice<'_>) -> Vec<String> {
        match self.policy {
            Some(policy) => remarks(self.instrument, policy, self.day, choice),
            None => Vec::new(),
        }
    }

    /// All that is remarked of a choice.
    pub fn all_remarks(&self, choice: &Choice<'_>) -> Vec<String> {
        let own = self.remark().map(str::to_owned);
        own.into_iter().chain(self.remarks(choice)).collect()
    }
}

fn remarks(
    instrument: &Instrument,
    policy: &Policy,
    day: Date,
    choice: &Choice<'_>,
) -> Vec<String> {
    let mut remarks = Vec::new();
    if choice.bottle.is_none() {
        let lot = Lot {
            fluid: choice.fluid,
            days_to_expiry: choice.days_to_expiry,
            rows: Vec::new(),
        };
        let closed = lot.closed_bottles(policy, day);
        let closed = match closed.is_empty() {
            true => String::new(),
            false => format!(" ({})", closed.join(", ")),
        };
        remarks.push(format!(
            "no bottle of {} is open{closed}: open a new one, and write its [[bottle]] row into {} first",
            choice.fluid.id, choice.fluid.doc.path
        ));
    }
    if let Some(limit) = laminar_limit_of(choice.geometry, choice.fluid, choice.value) {
        let fast: Vec<String> = choice
            .points
            .iter()
            .filter(|point| point.speed_rpm.value.to_f64() > limit)
            .map(|point| point.speed_rpm.to_string())
            .collect();
        if !fast.is_empty() {
            remarks.push(format!(
                "the flow is laminar up to {limit:.1} rpm in this fluid; at {} rpm it is not, so the reading will be too high",
                fast.join(" and ")
            ));
        }
    }
    let step = &instrument.torque_resolution_percent;
    for point in &choice.points {
        if point.band_of_range_percent < step.value {
            remarks.push(format!(
                "at {} rpm the limits lie {} % of full scale from the reference, less than the step of the display, {step} %",
                point.speed_rpm,
                percent(&point.band_of_range_percent)
            ));
        }
    }
    if policy.decision != Decision::Simple {
        remarks.push(
            "the decision is a guarded one: the limits that judge lie inside these by the expanded uncertainty, which the check itself tells".to_owned(),
        );
    }
    remarks
}

impl Row {
    /// Whether a policy lets it be used.
    pub fn is_allowed(&self, policy: &Loaded<Policy>) -> bool {
        refused(policy, self).is_none()
    }
}
