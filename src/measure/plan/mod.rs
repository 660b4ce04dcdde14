//! Which speeds show a certified value in each torque zone, and which choice of them makes the best check.
//!
//! The torque that a reference shows, p = 100 r / R, decides the zone of a point, by the same rule as in a check
//! ([`zone`]). A choice has one point in each zone that is asked for; [`best`] finds the best one of a
//! reference and a geometry, [`Rank`] orders choices of all references and geometries, and [`cover()`] finds the
//! fewest references that serve everybody.

mod cover;

pub use cover::{Cover, EXACT_UP_TO, cover};

use super::exact::Exact;
use super::limits::{Limits, half_width};
use super::range::{Geometry, torque_from_reading};
use super::zone::{Zone, ZoneBounds, zone};

/// Off-centre by less than this many % is alike.
const STEP_PERCENT: i64 = 10;

/// Speeds that a person sets have so many digits, or one more where the zone is missed, or two.
const SPEED_DIGITS: std::ops::RangeInclusive<u32> = 2..=4;

/// Rough torques are trusted so far, in % of full scale; nearer to a bound the exact one decides.
const ROUGH_PERCENT: f64 = 1e-6;

/// What a policy asks of the points of a check.
#[derive(Clone, Debug)]
pub struct Terms {
    fluid_percent: Exact,
    range_percent: Exact,
    bounds: ZoneBounds,
    /// The zones that need a point, from the lowest, with their bounds as doubles.
    required: Vec<(Zone, f64, f64)>,
}

impl Terms {
    /// Where no zone is asked for, a point in the middle one is planned.
    pub fn new(
        fluid_percent: &Exact,
        range_percent: &Exact,
        bounds: ZoneBounds,
        required: &[Zone],
    ) -> Terms {
        let mut zones = required.to_vec();
        if zones.is_empty() {
            zones.push(Zone::Middle);
        }
        zones.sort_unstable();
        zones.dedup();
        let with_bounds = |zone: Zone| {
            let (bottom, top) = span(zone, &bounds);
            (zone, bottom.to_f64(), top.to_f64())
        };
        Terms {
            fluid_percent: fluid_percent.clone(),
            range_percent: range_percent.clone(),
            required: zones.into_iter().map(with_bounds).collect(),
            bounds,
        }
    }

    /// The zones that need a point, from the lowest.
    pub fn required(&self) -> impl Iterator<Item = Zone> {
        self.required.iter().map(|(zone, ..)| *zone)
    }
}

/// The lowest and the highest torque of a zone, in %: minimum to low, low to high, high to 100.
pub fn span(zone: Zone, bounds: &ZoneBounds) -> (Exact, Exact) {
    let (least, low, high) = (
        &bounds.minimum_percent,
        &bounds.low_below_percent,
        &bounds.high_above_percent,
    );
    let (bottom, top) = match zone {
        Zone::Low => (least, low),
        Zone::Middle => (low, high),
        Zone::High => (high, &Exact::integer(100)),
    };
    (bottom.clone(), top.clone())
}

/// The torque in the middle of a zone, in %.
pub fn middle(zone: Zone, bounds: &ZoneBounds) -> Exact {
    let (bottom, top) = span(zone, bounds);
    (bottom + top) * Exact::hundredths(50)
}

/// How far a torque lies from the middle of a zone, in % of half the zone's width: 0 in the middle, 100 at a bound, unrounded.
///
/// Zero in a zone without width, which only its middle lies in.
pub fn off_centre_percent(torque_percent: &Exact, zone: Zone, bounds: &ZoneBounds) -> Exact {
    let (bottom, top) = span(zone, bounds);
    let middle = middle(zone, bounds);
    let half = (top - bottom) * Exact::hundredths(50);
    let away = (torque_percent - middle).abs() * Exact::integer(100);
    away.divide(&half).unwrap_or_else(Exact::zero)
}

/// The certified viscosity that a check would compare with.
#[derive(Clone, Debug)]
pub struct Reference {
    mpa_s: Exact,
    rough: f64,
    least: Option<Least>,
}

/// What alone makes a guarded decision uncertain, however well a check is done.
#[derive(Clone, Debug)]
struct Least {
    fluid_standard_mpa_s: Exact,
    torque_resolution_percent: Exact,
}

impl Reference {
    pub fn new(mpa_s: &Exact) -> Reference {
        Reference {
            rough: mpa_s.to_f64(),
            mpa_s: mpa_s.clone(),
            least: None,
        }
    }

    /// For a guarded decision: the standard uncertainty of the value in mPa.s, and the instrument's resolution in % of range.
    ///
    /// A point is then left out where twice these two reach the half-width of its limits, since no reading could pass.
    pub fn guarded(
        mut self,
        fluid_standard_mpa_s: &Exact,
        torque_resolution_percent: &Exact,
    ) -> Reference {
        self.least = Some(Least {
            fluid_standard_mpa_s: fluid_standard_mpa_s.clone(),
            torque_resolution_percent: torque_resolution_percent.clone(),
        });
        self
    }

    /// In mPa.s.
    pub fn mpa_s(&self) -> &Exact {
        &self.mpa_s
    }

    /// Whether the uncertainty is sure to reach the half-width: 4 (u_fluid^2 + u_res^2) >= H^2, u_res = R x resolution / 100 /
    /// sqrt(12).
    fn is_too_uncertain(&self, range: &Exact, half_width: &Exact) -> bool {
        let Some(least) = &self.least else {
            return false;
        };
        let fluid = &least.fluid_standard_mpa_s;
        let step = range * &least.torque_resolution_percent * Exact::hundredths(1);
        // Twelve times both sides.
        let twelvefold = Exact::integer(48) * fluid * fluid + Exact::integer(4) * &step * &step;
        twelvefold >= Exact::integer(12) * half_width * half_width
    }
}

/// The speeds of an instrument, in rpm.
#[derive(Clone, Debug)]
pub enum Speeds<'a> {
    These(Vec<&'a Exact>),
    /// Any from the slowest to the fastest.
    Between(&'a Exact, &'a Exact),
}

/// A geometry on an instrument, with the full-scale range at each speed.
#[derive(Clone, Debug)]
pub struct Rig(Turning);

#[derive(Clone, Debug)]
enum Turning {
    Steps(Vec<Step>),
    Freely(Box<Freely>),
}

#[derive(Clone, Debug)]
struct Freely {
    geometry: Geometry,
    full_scale_torque_un_m: Exact,
    slow: Step,
    fast: Step,
    /// The range at 1 rpm.
    at_one: Exact,
}

#[derive(Clone, Debug)]
struct Step {
    speed_rpm: Exact,
    range: Exact,
    rough: f64,
}

impl Step {
    fn of(geometry: &Geometry, full_scale_torque_un_m: &Exact, speed_rpm: &Exact) -> Option<Step> {
        let range = geometry.range_mpa_s(full_scale_torque_un_m, speed_rpm)?;
        Some(Step {
            speed_rpm: speed_rpm.clone(),
            rough: range.to_f64(),
            range,
        })
    }

    /// The torque that a reference shows, in %.
    fn torque(&self, reference: &Reference) -> Option<Exact> {
        torque_from_reading(&reference.mpa_s, &self.range)
    }

    /// Roughly the torque that a reference shows, in %.
    fn rough_torque(&self, reference: &Reference) -> f64 {
        100.0 * reference.rough / self.rough
    }

    /// Roughly how far that lies from the middle of a zone, in % of half its width.
    fn rough_off(&self, zone_wanted: Zone, reference: &Reference, terms: &Terms) -> f64 {
        let mut zones = terms.required.iter();
        let (bottom, top) = zones
            .find(|(zone, ..)| *zone == zone_wanted)
            .map_or((0.0, 0.0), |(_, bottom, top)| (*bottom, *top));
        let away = (self.rough_torque(reference) - (bottom + top) / 2.0).abs();
        match top > bottom {
            true => 200.0 * away / (top - bottom),
            false => 0.0,
        }
    }

    /// A point, where the reference shows torque in the zone and could pass.
    fn point(&self, zone_wanted: Zone, reference: &Reference, terms: &Terms) -> Option<Point> {
        let torque_percent = self.torque(reference)?;
        if zone(&torque_percent, &terms.bounds) != Some(zone_wanted) {
            return None;
        }
        let half_width = half_width(
            &reference.mpa_s,
            &self.range,
            &terms.fluid_percent,
            &terms.range_percent,
        );
        if reference.is_too_uncertain(&self.range, &half_width) {
            return None;
        }
        let off_centre_percent = off_centre_percent(&torque_percent, zone_wanted, &terms.bounds);
        let band_percent = (&half_width * Exact::integer(100)).divide(&reference.mpa_s)?;
        Some(Point {
            zone: zone_wanted,
            speed_rpm: self.speed_rpm.clone(),
            tens: whole_tens(
                &off_centre_percent,
                self.rough_off(zone_wanted, reference, terms),
            ),
            band_tenths: band_percent.rounded_decimals(1),
            off_centre_percent,
            band_percent,
            torque_percent,
            range: self.range.clone(),
            half_width,
        })
    }
}

/// A speed at which a reference shows torque in a zone. Unrounded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Point {
    pub zone: Zone,
    pub speed_rpm: Exact,
    /// That the reference shows.
    pub torque_percent: Exact,
    /// Full scale, in mPa.s.
    pub range: Exact,
    /// Of the limits round the reference, in mPa.s.
    pub half_width: Exact,
    /// The half-width in % of the reference.
    pub band_percent: Exact,
    /// From the middle of the zone, in % of half its width.
    pub off_centre_percent: Exact,
    /// What orders choices: whole tens off centre, and the band to 0.1 %.
    tens: i64,
    band_tenths: Exact,
}

impl Point {
    /// The limits round the reference, as a check writes them.
    pub fn limits(&self, reference: &Reference) -> Limits {
        Limits::around(&reference.mpa_s, &self.half_width)
    }
}

/// What keeps a reference from one of the zones.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Miss {
    /// The zones without a point, from the lowest.
    pub zones: Vec<Zone>,
    /// Of the zone that is farthest away.
    pub zone: Zone,
    /// The speed that comes nearest to it, and what the reference shows there, in %.
    pub speed_rpm: Exact,
    pub torque_percent: Exact,
    /// How far that lies from the zone, in % of full scale.
    pub away_percent: Exact,
    /// The torque would do, and the uncertainty is as large as the limits or larger.
    pub is_uncertain: bool,
}

impl Rig {
    /// `None` where the geometry's figures give no range.
    pub fn of(
        geometry: &Geometry,
        full_scale_torque_un_m: &Exact,
        speeds: &Speeds<'_>,
    ) -> Option<Rig> {
        let step = |speed: &Exact| Step::of(geometry, full_scale_torque_un_m, speed);
        Some(Rig(match speeds {
            Speeds::These(speeds) => Turning::Steps(
                speeds
                    .iter()
                    .map(|speed| step(speed))
                    .collect::<Option<_>>()?,
            ),
            Speeds::Between(slow, fast) => Turning::Freely(Box::new(Freely {
                slow: step(slow)?,
                fast: step(fast)?,
                at_one: step(&Exact::integer(1))?.range,
                geometry: geometry.clone(),
                full_scale_torque_un_m: full_scale_torque_un_m.clone(),
            })),
        }))
    }

    /// Whether each zone may have a point; where not, none has.
    fn may_serve(&self, reference: &Reference, terms: &Terms) -> bool {
        let torque = |step: &Step| step.rough_torque(reference);
        let inside = |bottom: f64, top: f64, low: f64, high: f64| {
            high >= bottom - ROUGH_PERCENT && low <= top + ROUGH_PERCENT
        };
        terms.required.iter().all(|(_, bottom, top)| match &self.0 {
            Turning::Steps(steps) => steps.iter().any(|step| {
                let torque = torque(step);
                inside(*bottom, *top, torque, torque)
            }),
            // A rounded speed may lie farther in than the bounds by which it was chosen, never beyond them.
            Turning::Freely(free) => inside(*bottom, *top, torque(&free.slow), torque(&free.fast)),
        })
    }

    /// For each zone that needs a point the speeds that serve, in the order of the instrument's; `None` where one has none.
    ///
    /// Of an instrument that turns freely one speed a zone: that of the zone's middle, rounded half to even to two digits,
    /// or to three or four where that leaves the zone or the instrument's range, else cut to that range.
    pub fn points(&self, reference: &Reference, terms: &Terms) -> Option<Vec<Vec<Point>>> {
        match self.may_serve(reference, terms) {
            true => self.points_within(reference, terms, f64::INFINITY),
            false => None,
        }
    }

    /// The best choice of [`Rig::points`], by [`best`].
    pub fn best(&self, reference: &Reference, terms: &Terms) -> Option<Vec<Point>> {
        if !self.may_serve(reference, terms) {
            return None;
        }
        // Most points are so far off centre that none of a best choice can be; those need no exact figures.
        let tens = self.rough_tens(reference, terms);
        let near = (tens + 1.0) * STEP_PERCENT as f64 + ROUGH_PERCENT;
        let zones = self.points_within(reference, terms, near);
        let is_sure = zones.as_ref().is_some_and(|zones| {
            let least = zones
                .iter()
                .map(|points| points.iter().map(|point| point.tens).min());
            least.flatten().all(|least| least as f64 <= tens)
        });
        let zones = match is_sure {
            true => zones?,
            false => self.points_within(reference, terms, f64::INFINITY)?,
        };
        Some(best(&zones)?.into_iter().cloned().collect())
    }

    /// Roughly how many whole tens the worst point of the best choice is off centre.
    fn rough_tens(&self, reference: &Reference, terms: &Terms) -> f64 {
        let Turning::Steps(steps) = &self.0 else {
            return f64::INFINITY;
        };
        let least = terms.required().map(|zone| {
            let off = steps
                .iter()
                .map(|step| step.rough_off(zone, reference, terms));
            off.fold(f64::INFINITY, f64::min)
        });
        (least.fold(0.0, f64::max) / STEP_PERCENT as f64).floor()
    }

    /// As [`Rig::points`], of speeds that are roughly no more than so many % off centre.
    fn points_within(
        &self,
        reference: &Reference,
        terms: &Terms,
        most: f64,
    ) -> Option<Vec<Vec<Point>>> {
        let mut zones = Vec::with_capacity(terms.required.len());
        for (zone, bottom, top) in &terms.required {
            let points = match &self.0 {
                Turning::Steps(steps) => steps
                    .iter()
                    .filter(|step| {
                        let torque = step.rough_torque(reference);
                        torque >= bottom - ROUGH_PERCENT
                            && torque <= top + ROUGH_PERCENT
                            && step.rough_off(*zone, reference, terms) <= most
                    })
                    .filter_map(|step| step.point(*zone, reference, terms))
                    .collect(),
                Turning::Freely(free) => Vec::from_iter(free.point(*zone, reference, terms)),
            };
            if points.is_empty() {
                return None;
            }
            zones.push(points);
        }
        Some(zones)
    }

    /// Roughly how far a reference is from serving: how many zones no speed reaches, and how far the farthest of them is, in % of
    /// full scale.
    pub fn far(&self, reference: &Reference, terms: &Terms) -> (usize, f64) {
        let torque = |step: &Step| step.rough_torque(reference);
        let mut zones = 0;
        let mut farthest = 0.0_f64;
        for (_, bottom, top) in &terms.required {
            let away = |low: f64, high: f64| (bottom - high).max(low - top).max(0.0);
            let nearest = match &self.0 {
                Turning::Steps(steps) => {
                    let away = steps.iter().map(|step| away(torque(step), torque(step)));
                    away.fold(f64::INFINITY, f64::min)
                }
                Turning::Freely(free) => away(torque(&free.slow), torque(&free.fast)),
            };
            if nearest > 0.0 {
                zones += 1;
                farthest = farthest.max(nearest);
            }
        }
        (zones, farthest)
    }

    /// What keeps the reference from the zone that is farthest away; `None` where each has a point.
    pub fn miss(&self, reference: &Reference, terms: &Terms) -> Option<Miss> {
        let steps: Vec<&Step> = match &self.0 {
            Turning::Steps(steps) => steps.iter().collect(),
            Turning::Freely(free) => vec![&free.slow, &free.fast],
        };
        let mut zones = Vec::new();
        let mut farthest: Option<Miss> = None;
        for zone in terms.required() {
            let serves = match &self.0 {
                Turning::Steps(steps) => steps
                    .iter()
                    .any(|step| step.point(zone, reference, terms).is_some()),
                Turning::Freely(free) => free.point(zone, reference, terms).is_some(),
            };
            if serves {
                continue;
            }
            zones.push(zone);
            let (bottom, top) = span(zone, &terms.bounds);
            let nearest = steps.iter().filter_map(|step| {
                let torque = step.torque(reference)?;
                let away = (&bottom - &torque).max(&torque - &top).max(Exact::zero());
                Some((away, step.speed_rpm.clone(), torque))
            });
            let Some((mut away, mut speed, mut torque)) = nearest.min() else {
                continue;
            };
            // Between the ends of its range a speed is there whose torque would do.
            if let Turning::Freely(free) = &self.0
                && let Some(centring) = free.centring_speed(zone, reference, terms)
                && free.slow.speed_rpm <= centring
                && centring <= free.fast.speed_rpm
            {
                away = Exact::zero();
                speed = centring.rounded_significant(*SPEED_DIGITS.end());
                torque = middle(zone, &terms.bounds);
            }
            if farthest
                .as_ref()
                .is_none_or(|miss| away > miss.away_percent)
            {
                farthest = Some(Miss {
                    zones: Vec::new(),
                    zone,
                    speed_rpm: speed,
                    is_uncertain: reference.least.is_some()
                        && self::zone(&torque, &terms.bounds) == Some(zone),
                    torque_percent: torque,
                    away_percent: away,
                });
            }
        }
        let mut miss = farthest?;
        miss.zones = zones;
        Some(miss)
    }
}

impl Freely {
    fn point(&self, zone: Zone, reference: &Reference, terms: &Terms) -> Option<Point> {
        let centring = self.centring_speed(zone, reference, terms)?;
        let (slowest, fastest) = (&self.slow.speed_rpm, &self.fast.speed_rpm);
        let rounded = SPEED_DIGITS
            .map(|digits| centring.rounded_significant(digits))
            .filter(|speed| slowest <= speed && speed <= fastest)
            .filter_map(|speed| Step::of(&self.geometry, &self.full_scale_torque_un_m, &speed))
            .find_map(|step| step.point(zone, reference, terms));
        rounded.or_else(|| {
            let cut = match centring < *slowest {
                true => &self.slow,
                false if centring > *fastest => &self.fast,
                false => return None,
            };
            cut.point(zone, reference, terms)
        })
    }

    /// The speed at which the reference shows the middle of the zone; torque grows with the speed.
    fn centring_speed(&self, zone: Zone, reference: &Reference, terms: &Terms) -> Option<Exact> {
        let hundredfold = Exact::integer(100) * &reference.mpa_s;
        (middle(zone, &terms.bounds) * &self.at_one).divide(&hundredfold)
    }
}

/// How many whole tens a figure of zero or more has, near which a guess lies.
fn whole_tens(percent: &Exact, guess: f64) -> i64 {
    let mut tens = (guess / STEP_PERCENT as f64).floor().clamp(0.0, 10.0) as i64;
    while Exact::integer((tens + 1) * STEP_PERCENT) <= *percent {
        tens += 1;
    }
    while tens > 0 && Exact::integer(tens * STEP_PERCENT) > *percent {
        tens -= 1;
    }
    tens
}

/// Of the points of each zone one, so that the choice is the best: the fewest whole tens of % off centre at its worst point, then
/// the narrowest widest band to 0.1 %, then the slowest speeds from the lowest zone on. `None` where a zone has no point.
pub fn best(zones: &[Vec<Point>]) -> Option<Vec<&Point>> {
    // Neither figure of the worst point depends on which the other points are, so each bound can be found zone by zone.
    let mut least_step = 0;
    for points in zones {
        least_step = least_step.max(points.iter().map(|point| point.tens).min()?);
    }
    let centred = |point: &&Point| point.tens <= least_step;
    let mut narrowest = Exact::zero();
    for points in zones {
        let bands = points
            .iter()
            .filter(centred)
            .map(|point| &point.band_tenths);
        narrowest = narrowest.max(bands.min()?.clone());
    }
    let slowest = |points: &'_ [Point]| -> Option<usize> {
        let fits = points
            .iter()
            .enumerate()
            .filter(|(_, point)| centred(point) && point.band_tenths <= narrowest);
        fits.min_by(|one, other| one.1.speed_rpm.cmp(&other.1.speed_rpm))
            .map(|(index, _)| index)
    };
    zones
        .iter()
        .map(|points| points.get(slowest(points)?))
        .collect()
}

/// What orders choices, the better first: the first of these that differs decides.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Rank {
    /// Whole tens of % that the worst point is off centre.
    pub tens_off_centre: i64,
    /// The widest band in % of the reference, to 0.1 %.
    pub widest_band_percent: Exact,
    /// Of the certified value, in %; what is not known stands behind.
    pub expanded_uncertainty: Known<Exact>,
    /// What expires first is used first.
    pub days_to_expiry: Known<i64>,
    pub soak_minutes: Known<Exact>,
    /// No bottle is open.
    pub must_be_opened: bool,
}

/// A figure that may not be known, which then stands behind all that are.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Known<T> {
    Figure(T),
    Unknown,
}

impl<T> From<Option<T>> for Known<T> {
    fn from(figure: Option<T>) -> Known<T> {
        match figure {
            Some(figure) => Known::Figure(figure),
            None => Known::Unknown,
        }
    }
}

/// Of the points of a choice the farthest from the middle of its zone, in % of half its width, and the widest band, in % of the
/// reference; unrounded. Zeros of none.
pub fn worst<'p>(points: impl IntoIterator<Item = &'p Point>) -> (Exact, Exact) {
    let none = (Exact::zero(), Exact::zero());
    points.into_iter().fold(none, |(off, band), point| {
        (
            off.max(point.off_centre_percent.clone()),
            band.max(point.band_percent.clone()),
        )
    })
}

impl Rank {
    /// Of the points of a choice, and of what it is made with.
    pub fn of<'p>(
        points: impl IntoIterator<Item = &'p Point>,
        expanded_uncertainty_percent: Option<Exact>,
        days_to_expiry: Option<i64>,
        soak_minutes: Option<Exact>,
        must_be_opened: bool,
    ) -> Rank {
        let none = (0, Exact::zero());
        let worst = points.into_iter().fold(none, |(tens, band), point| {
            (tens.max(point.tens), band.max(point.band_tenths.clone()))
        });
        Rank {
            tens_off_centre: worst.0,
            widest_band_percent: worst.1,
            expanded_uncertainty: expanded_uncertainty_percent.into(),
            days_to_expiry: days_to_expiry.into(),
            soak_minutes: soak_minutes.into(),
            must_be_opened,
        }
    }
}

#[cfg(test)]
mod tests;
