//! What the records say of a check that may tell why it deviates.

use super::agreement::Pair;
use super::view::View;
use crate::measure::Exact;
use crate::measure::d341::D341;
use crate::measure::flow::laminar_limit_rpm;
use crate::measure::pattern::{Density, DensityFrom, Evidence, OtherGeometry, Reading, Witness};
use crate::measure::temperature::{Viscosity, slope_per_k};
use crate::record::check::Shown;
use crate::record::fluid::{Base, CertifiedFigures, CertifiedValue, Fluid};
use crate::record::geometry::{Geometry, Guard};
use crate::record::instrument::Speeds;

/// Days of a month, on average.
const MONTH: f64 = 365.25 / 12.0;

/// The figures of one check by which causes are ranked, with what other checks say of them. What is not known is left out.
pub fn evidence(view: &View<'_>, witness: Witness) -> Evidence {
    let check = view.check;
    let policy = view.policy;
    let budgets = view.budgets();
    let first_budget = budgets.iter().flatten().next();
    let readings = readings(view);
    let reference = readings.first().map(|reading| reading.reference_mpa_s);
    let certified = view.certified();
    let instrument = view.instrument;
    Evidence {
        readings,
        unstable: check
            .points
            .iter()
            .any(|point| point.shown == Some(Shown::Unstable)),
        scatter_percent: instrument.map(|instrument| {
            let resolution = instrument.torque_resolution_percent.value.to_f64() / 12f64.sqrt();
            resolution.hypot(instrument.repeatability_percent.value.to_f64())
        }),
        shared_percent: first_budget
            .zip(reference)
            .map(|(budget, reference)| 100.0 * budget.fluid.hypot(budget.temperature) / reference),
        beta_per_k: view
            .fluid
            .zip(certified)
            .and_then(|(fluid, (row, _))| slope_per_k(&fluid.rows, row)),
        certified_mpa_s: certified.map(|(_, row)| row.mpa_s().to_f64()),
        nominal_mpa_s: view.fluid.map(|fluid| fluid.nominal_mpa_s.value.to_f64()),
        density: density(view),
        days_in_use: view.bottle.map(|(_, bottle)| {
            let days = bottle
                .opened
                .until(view.date)
                .map_or(0, |span| span.get_days());
            f64::from(days)
        }),
        days_in_use_allowed: policy
            .and_then(|policy| policy.in_use_months)
            .map(|months| months as f64 * MONTH),
        geometry: view.geometry.map(|geometry| (&geometry.figures).into()),
        guard_required: view
            .geometry
            .and_then(|geometry| geometry.guard)
            .map(|guard| guard == Guard::Required),
        guard_fitted: check.preparation.guard,
        other_geometries: other_geometries(view),
        speeds_rpm: match instrument.map(|instrument| &instrument.speeds) {
            Some(Speeds::These(speeds)) => {
                speeds.iter().map(|speed| speed.value.to_f64()).collect()
            }
            _ => Vec::new(),
        },
        torque_disagrees: torque_disagrees(view),
        laminar_limit_rpm: laminar_limit(view),
        zero_percent: check
            .preparation
            .zero_percent
            .as_ref()
            .map(|zero| zero.value.to_f64()),
        zero_limit_percent: policy.map(|policy| policy.zero_limit_percent.value.to_f64()),
        soak_minutes: check
            .preparation
            .soak_started
            .as_ref()
            .and_then(|started| view.book.zone.instant(started).ok())
            .map(|started| view.performed.duration_since(started).as_secs_f64() / 60.0),
        soak_asked_minutes: view.soak_row().map(|(_, row)| row.minutes.value.to_f64()),
        witness,
    }
}

fn readings(view: &View<'_>) -> Vec<Reading> {
    let Some(judgement) = &view.judgement else {
        return Vec::new();
    };
    let temperatures = judgement.corrected_c.iter();
    view.check
        .points
        .iter()
        .zip(&judgement.points)
        .zip(temperatures)
        .filter(|((point, _), _)| point.shown.is_none())
        .filter_map(|((point, judged), temperature)| {
            Some(Reading {
                speed_rpm: point.speed_rpm.value.to_f64(),
                reading_mpa_s: judged.reading_mpa_s.as_ref()?.to_f64(),
                reference_mpa_s: judged.reference_unrounded.as_ref()?.to_f64(),
                range_mpa_s: judged.range_unrounded.as_ref()?.to_f64(),
                temperature_c: temperature.as_ref().map(Exact::to_f64),
            })
        })
        .collect()
}

fn density(view: &View<'_>) -> Option<Density> {
    let (_, row) = view.certified()?;
    density_of(view.fluid?, row)
}

fn density_of(fluid: &Fluid, row: &CertifiedValue) -> Option<Density> {
    if let CertifiedFigures::Kinematic { density_g_ml, .. } = &row.figures {
        return Some(Density {
            g_ml: density_g_ml.value.to_f64(),
            from: DensityFrom::Certificate,
            in_reference: true,
        });
    }
    let g_ml = match fluid.base? {
        Base::Silicone => Density::SILICONE,
        Base::MineralOil => Density::MINERAL_OIL,
        Base::Other => return None,
    };
    Some(Density {
        g_ml,
        from: DensityFrom::Typical,
        in_reference: false,
    })
}

fn other_geometries(view: &View<'_>) -> Vec<OtherGeometry> {
    let (Some(instrument), Some(geometry), Some((_, spring)), Some(point)) = (
        view.instrument,
        view.geometry,
        view.spring,
        view.check.points.first(),
    ) else {
        return Vec::new();
    };
    let speed = &point.speed_rpm.value;
    let range_of = |geometry: &crate::record::geometry::Geometry| {
        geometry
            .figures
            .range_mpa_s(&spring.full_scale_torque_un_m.value, speed)
    };
    let Some(own) = range_of(geometry) else {
        return Vec::new();
    };
    view.book
        .geometries
        .sound()
        .filter(|other| other.id != geometry.id && other.fits_on(&instrument.id))
        .filter_map(|other| {
            Some(OtherGeometry {
                name: other.id.clone(),
                range_ratio: own.divide(&range_of(other)?)?.to_f64(),
            })
        })
        .collect()
}

fn torque_disagrees(view: &View<'_>) -> Option<bool> {
    let (policy, judgement) = (view.policy?, view.judgement.as_ref()?);
    let agree: Vec<bool> = view
        .check
        .points
        .iter()
        .zip(&judgement.points)
        .filter_map(|(point, judged)| {
            Some(Pair::of(policy, point)?.agree(judged.range_unrounded.as_ref()?))
        })
        .collect();
    (!agree.is_empty()).then(|| agree.iter().any(|agree| !agree))
}

/// The speed above which the flow is not laminar, in rpm; `None` where the geometry's figures or the density do not tell.
pub fn laminar_limit(view: &View<'_>) -> Option<f64> {
    let (_, row) = view.certified()?;
    laminar_limit_of(view.geometry?, view.fluid?, row)
}

/// As [`laminar_limit`], of a certified value that a geometry would turn in.
pub fn laminar_limit_of(geometry: &Geometry, fluid: &Fluid, row: &CertifiedValue) -> Option<f64> {
    let density = density_of(fluid, row).map_or(1.0, |density| density.g_ml);
    laminar_limit_rpm(&geometry.figures, row.mpa_s().to_f64(), density)
}

/// The viscosity of a mineral oil in mPa.s at the mean temperature of the points, by ASTM D341 through the certified row and its
/// nearest neighbour; `None` for other fluids, with one certified temperature, and where the law has none.
///
/// The law is of the kinematic viscosity: where the certificate gives the dynamic one, the density is taken as
/// [`Density::MINERAL_OIL`] at all temperatures, which matters in thin oils alone.
pub fn d341_mpa_s(view: &View<'_>) -> Option<f64> {
    let fluid = view
        .fluid
        .filter(|fluid| fluid.base == Some(Base::MineralOil))?;
    let (row, _) = view.certified()?;
    let judgement = view.judgement.as_ref()?;
    let mean_c = judgement.mean_c.as_ref()?.to_f64();
    let knot = |row: usize| {
        let row = fluid.rows.get(row)?;
        let density = match &row.viscosity {
            Viscosity::Dynamic { .. } => Density::MINERAL_OIL,
            Viscosity::Kinematic { density_g_ml, .. } => density_g_ml.to_f64(),
        };
        let temperature_c = row.temperature_c.to_f64();
        Some((
            temperature_c,
            row.viscosity.mpa_s().to_f64() / density,
            density,
        ))
    };
    let own = knot(row)?;
    let other = (0..fluid.rows.len())
        .filter(|other| *other != row)
        .filter_map(knot)
        .min_by(|one, other| {
            let distance = |knot: &(f64, f64, f64)| (knot.0 - own.0).abs();
            distance(one).total_cmp(&distance(other))
        })?;
    let law = D341::through((own.0, own.1), (other.0, other.1))?;
    let share = (mean_c - own.0) / (other.0 - own.0);
    let density = own.2 + share * (other.2 - own.2);
    let viscosity = law.kinematic_mm2_s(mean_c)? * density;
    (viscosity.is_finite() && viscosity > 0.0).then_some(viscosity)
}
