//! The fewest fluids on offer that serve every instrument in service.

use super::stock::Stock;
use super::{Bench, PlannedPoint, figure, missed};
use crate::book::view::{soak_row, standing_at};
use crate::book::{Loaded, Named};
use crate::measure::Exact;
use crate::measure::plan::{Rank, Reference, cover};
use crate::record::State;
use crate::record::candidate::Candidate;
use crate::record::geometry::Geometry;
use crate::record::instrument::Instrument;
use crate::record::policy::Policy;
use crate::source::each_of;
use std::collections::BTreeSet;
use std::convert::Infallible;

/// What to buy.
pub struct Purchase<'a> {
    /// No smaller number of candidates would do.
    pub exact: bool,
    /// Instruments that stock serves need no candidate.
    pub beside_stock: bool,
    /// In order of id.
    pub buy: Vec<Bought<'a>>,
    /// Instruments in service that what is in stock serves already.
    pub covered_by_stock: Vec<&'a str>,
    pub not_covered: Vec<NotCovered<'a>>,
}

pub struct Bought<'a> {
    pub candidate: &'a Candidate,
    /// In order of the instruments' ids.
    pub serves: Vec<Service<'a>>,
}

/// How a candidate serves an instrument.
#[derive(Clone)]
pub struct Service<'a> {
    pub instrument: &'a Loaded<Instrument>,
    pub geometry: &'a Loaded<Geometry>,
    pub points: Vec<PlannedPoint>,
    rank: Rank,
}

pub struct NotCovered<'a> {
    pub instrument: &'a str,
    pub message: String,
}

/// What is known of one instrument.
enum Need<'a> {
    /// In the order of the candidates how each serves it; why where none does.
    Served(Vec<Option<Service<'a>>>),
    Not(String),
}

/// The fewest candidates that serve every instrument in service: some geometry and speeds give a point in each required zone.
/// With `beside_stock` those that stock serves on the day are left out of what must be served.
pub fn purchase<'a>(
    stock: &Stock<'a>,
    with_errors: &BTreeSet<String>,
    candidates: &'a [Candidate],
    beside_stock: bool,
) -> Purchase<'a> {
    let mut candidates: Vec<&Candidate> = candidates.iter().collect();
    candidates.sort_by(|one, other| one.id.cmp(&other.id));
    let mut purchase = Purchase {
        exact: true,
        beside_stock,
        buy: Vec::new(),
        covered_by_stock: Vec::new(),
        not_covered: Vec::new(),
    };
    let mut in_service: Vec<&'a Loaded<Instrument>> = Vec::new();
    for id in stock.book.instruments.ids() {
        match stock.book.instruments.named(id) {
            Named::Sound(instrument) if !with_errors.contains(&instrument.doc.path) => {
                if is_in_service(stock, instrument) {
                    in_service.push(instrument);
                }
            }
            _ => purchase.not_covered.push(NotCovered {
                instrument: id,
                message: "its file has errors, which shearbook validate tells".to_owned(),
            }),
        }
    }
    let needs = each_of(&in_service, |instrument| -> Result<_, Infallible> {
        let bench = Bench::of(stock, instrument);
        let has = bench.as_ref().is_ok_and(|bench| stock.serves(bench));
        let need = match bench {
            Ok(bench) => need(&bench, &candidates),
            Err(hindrance) => Need::Not(hindrance),
        };
        Ok((has, need))
    });
    let Ok(needs) = needs;
    let mut wanted: Vec<Vec<Option<Service<'a>>>> = Vec::new();
    for (instrument, (has, need)) in in_service.iter().zip(needs) {
        if has {
            purchase.covered_by_stock.push(&instrument.record.id);
            if beside_stock {
                continue;
            }
        }
        match need {
            Need::Served(services) => wanted.push(services),
            Need::Not(message) => purchase.not_covered.push(NotCovered {
                instrument: &instrument.record.id,
                message,
            }),
        }
    }
    purchase
        .not_covered
        .sort_by(|one, other| one.instrument.cmp(other.instrument));
    let places: Vec<Vec<Option<u32>>> = wanted.iter().map(|services| places(services)).collect();
    let ranks: Vec<Vec<Option<u32>>> = (0..candidates.len())
        .map(|index| {
            let rows = places.iter();
            rows.map(|places| places.get(index).copied().flatten())
                .collect()
        })
        .collect();
    let cover = cover(&ranks);
    purchase.exact = cover.exact;
    for index in cover.chosen {
        let Some(candidate) = candidates.get(index) else {
            continue;
        };
        let serves = wanted.iter();
        purchase.buy.push(Bought {
            candidate,
            serves: serves
                .filter_map(|services| services.get(index)?.clone())
                .collect(),
        });
    }
    purchase
}

/// Not withdrawn, and put into service.
fn is_in_service(stock: &Stock<'_>, instrument: &Instrument) -> bool {
    standing_at(stock.book, &instrument.standings, stock.at)
        .is_some_and(|(_, row)| row.state != State::Withdrawn)
}

/// At which place of all that serve an instrument each candidate stands.
fn places(services: &[Option<Service<'_>>]) -> Vec<Option<u32>> {
    let mut order: Vec<(&Rank, usize)> = services
        .iter()
        .enumerate()
        .filter_map(|(index, service)| Some((&service.as_ref()?.rank, index)))
        .collect();
    order.sort();
    let mut places = vec![None; services.len()];
    for (place, (_, index)) in (1_u32..).zip(order) {
        if let Some(slot) = places.get_mut(index) {
            *slot = Some(place);
        }
    }
    places
}

/// Why the uncertainty of a candidate is more than the policy allows.
fn too_uncertain(policy: &Loaded<Policy>, candidate: &Candidate) -> Option<String> {
    let limit = &policy.fluid_max_expanded_uncertainty_percent;
    let percent = candidate.expanded_uncertainty_percent.as_ref()?;
    (percent.value > limit.value).then(|| {
        format!(
            "the expanded uncertainty of {} is {percent} %, and policy {} allows {limit} %",
            candidate.id, policy.id
        )
    })
}

/// How many zones are missed, and by how much.
type Far = (usize, f64);

fn need<'a>(bench: &Bench<'a>, candidates: &[&Candidate]) -> Need<'a> {
    let mut services = Vec::with_capacity(candidates.len());
    let mut refused = None;
    for candidate in candidates {
        let why = too_uncertain(bench.policy, candidate);
        services.push(match why {
            None => service(bench, candidate),
            Some(_) => None,
        });
        refused = refused.or(why);
    }
    if services.iter().any(Option::is_some) {
        return Need::Served(services);
    }
    let allowed = candidates
        .iter()
        .filter(|candidate| too_uncertain(bench.policy, candidate).is_none());
    let mut nearest: Option<(Far, &Candidate, usize)> = None;
    for candidate in allowed {
        let reference = reference(bench, candidate);
        for (index, (_, rig)) in bench.rigs.iter().enumerate() {
            let Some(rig) = rig else { continue };
            let far = rig.far(&reference, &bench.terms);
            if nearest.is_none_or(|(other, ..)| far < other) {
                nearest = Some((far, candidate, index));
            }
        }
    }
    let nearest = nearest.and_then(|(_, candidate, index)| {
        let (geometry, rig) = bench.rigs.get(index)?;
        Some((candidate, geometry, rig.as_ref()?))
    });
    Need::Not(match (nearest, refused) {
        (Some((candidate, geometry, rig)), _) => {
            let miss = rig.miss(&reference(bench, candidate), &bench.terms);
            let with = format!(
                "with {} in {} ({} mPa.s)",
                geometry.id, candidate.id, candidate.viscosity_mpa_s
            );
            missed(bench, miss.as_ref(), &with)
        }
        (None, _) if bench.rigs.is_empty() => "no sound geometry fits it".to_owned(),
        (None, Some(refused)) => refused,
        (None, None) => "no geometry that fits it gives a range".to_owned(),
    })
}

fn reference(bench: &Bench<'_>, candidate: &Candidate) -> Reference {
    let value = &candidate.viscosity_mpa_s.value;
    // Offers give the expanded uncertainty alone, which goes with a coverage factor of 2.
    let standard = candidate
        .expanded_uncertainty_percent
        .as_ref()
        .and_then(|percent| (value * &percent.value).divide(&Exact::integer(200)));
    bench.reference(value, standard.as_ref())
}

/// The best way in which a candidate serves an instrument.
fn service<'a>(bench: &Bench<'a>, candidate: &Candidate) -> Option<Service<'a>> {
    let reference = reference(bench, candidate);
    let value = &candidate.viscosity_mpa_s.value;
    let uncertainty = candidate.expanded_uncertainty_percent.as_ref();
    let services = bench.rigs.iter().filter_map(|(geometry, rig)| {
        let points = rig.as_ref()?.best(&reference, &bench.terms)?;
        let soak = soak_row(bench.policy, Some(geometry.kind), Some(value));
        Some(Service {
            rank: Rank::of(
                &points,
                uncertainty.map(|percent| percent.value.clone()),
                None,
                soak.map(|(_, row)| row.minutes.value.clone()),
                false,
            ),
            instrument: bench.instrument,
            geometry,
            points: points
                .iter()
                .map(|point| bench.planned(geometry, &reference, point))
                .collect(),
        })
    });
    services.min_by(|one, other| {
        let by_id = one.geometry.id.cmp(&other.geometry.id);
        one.rank.cmp(&other.rank).then(by_id)
    })
}

/// A candidate with its temperature and uncertainty, for a sentence.
pub fn offered(candidate: &Candidate) -> String {
    let mut text = format!("{} mPa.s", figure(&candidate.viscosity_mpa_s.value));
    if let Some(temperature) = &candidate.temperature_c {
        text += &format!(" at {temperature} degrees C");
    }
    if let Some(percent) = &candidate.expanded_uncertainty_percent {
        text += &format!(", expanded uncertainty {percent} %");
    }
    text
}
