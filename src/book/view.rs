//! One check with all that it names, and what its figures come to.

use super::zone::months_after;
use super::{Book, Loaded, Named};
use crate::finding::Place;
use crate::measure::Exact;
use crate::measure::judge::{
    self, Basis, Judgement, PointFigures, PolicyFigures, Stated, Subject, Verdict, judge,
};
use crate::measure::uncertainty::Budget;
use crate::measure::zone::ZoneBounds;
use crate::parse::Doc;
use crate::record::bath::Bath;
use crate::record::check::{Check, Condition, Point};
use crate::record::fluid::{Bottle, CertifiedValue, Fluid};
use crate::record::geometry::{Geometry, GeometryKind, Outcome};
use crate::record::instrument::{Instrument, ServiceKind, Spring};
use crate::record::policy::{self, Policy, Soak};
use crate::record::thermometer::{Calibration, Thermometer};
use crate::record::{Number, Standing, State};
use jiff::Timestamp;
use jiff::civil::Date;

pub struct View<'a> {
    pub book: &'a Book,
    pub doc: &'a Doc,
    pub check: &'a Check,
    /// `<instrument>/<name>` by the path.
    pub id: &'a str,
    pub performed: Timestamp,
    /// Of `performed`, in the book's zone.
    pub date: Date,
    /// The policy that judges; `None` where there is none, or where a broken one leaves it open.
    pub policy: Option<&'a Loaded<Policy>>,
    /// What the check names; `None` where it is missing or broken.
    pub instrument: Option<&'a Loaded<Instrument>>,
    pub geometry: Option<&'a Loaded<Geometry>>,
    pub fluid: Option<&'a Loaded<Fluid>>,
    pub thermometer: Option<&'a Loaded<Thermometer>>,
    pub bath: Option<&'a Loaded<Bath>>,
    /// The row of `[[calibration]]` in force, or failing that the newest begun.
    pub calibration: Option<(usize, &'a Calibration)>,
    pub spring: Option<(usize, &'a Spring)>,
    pub bottle: Option<(usize, &'a Bottle)>,
    /// What the figures come to; `None` without a policy that can judge.
    pub judgement: Option<Judgement>,
}

impl<'a> View<'a> {
    /// `None` where `performed` names no instant.
    pub fn of(book: &'a Book, doc: &'a Doc, check: &'a Check, id: &'a str) -> Option<View<'a>> {
        if !book.zone_known() {
            return None;
        }
        let performed = book.zone.instant(&check.performed).ok()?;
        let date = book.zone.date(performed);
        let instrument = book.instruments.named(&check.instrument);
        let instrument_record = instrument.sound();
        let group = instrument_record.and_then(|instrument| instrument.group.as_deref());
        let policy = match instrument {
            // Which group a broken instrument belongs to, and when a broken policy begins, is not known.
            Named::Broken => None,
            _ if book.policies.any_broken() => None,
            _ => book.policy_at(date, group),
        };
        let fluid = book.fluids.named(&check.fluid).sound();
        let thermometer = check
            .thermometer
            .as_deref()
            .and_then(|id| book.thermometers.named(id).sound());
        let mut view = View {
            book,
            doc,
            check,
            id,
            performed,
            date,
            policy,
            instrument: instrument_record,
            geometry: check
                .geometry
                .as_deref()
                .and_then(|id| book.geometries.named(id).sound()),
            fluid,
            thermometer,
            bath: check
                .bath
                .as_deref()
                .and_then(|id| book.baths.named(id).sound()),
            calibration: thermometer
                .and_then(|thermometer| calibration_at(book, thermometer, performed)),
            spring: instrument_record.and_then(|instrument| spring_at(book, instrument, performed)),
            bottle: fluid.and_then(|fluid| {
                let id = check.bottle.as_deref()?;
                fluid
                    .bottles
                    .iter()
                    .enumerate()
                    .find(|(_, bottle)| bottle.id == id)
            }),
            judgement: None,
        };
        view.judgement = view.judge();
        Some(view)
    }

    pub fn at(&self, pointer: &str) -> Place {
        self.doc.place(pointer)
    }

    /// The shear rate of a point in 1/s; `None` where the geometry is unknown or tells none.
    pub fn shear_rate_per_s(&self, point: &Point) -> Option<f64> {
        let figures = &self.geometry?.figures;
        figures.shear_rate_per_s(&point.speed_rpm.value)
    }

    fn judge(&self) -> Option<Judgement> {
        let guarded = self.policy?.decision != policy::Decision::Simple;
        self.with_subject(guarded, judge)
    }

    /// The uncertainty of the deviation of each point, in the order of the points; that of their mean for replicates. `None`
    /// where a figure that it rests on cannot be had; empty without a judgement.
    pub fn budgets(&self) -> Vec<Option<Budget>> {
        let budgets = |judgement: &Judgement| {
            self.with_subject(true, |subject| judge::budgets(subject, judgement))
        };
        self.judgement
            .as_ref()
            .and_then(budgets)
            .unwrap_or_default()
    }

    /// Does something with what the metrology takes of the check; `None` without a policy that can judge.
    fn with_subject<T>(
        &self,
        with_uncertainty: bool,
        function: impl FnOnce(&Subject<'_>) -> T,
    ) -> Option<T> {
        let policy = self.policy?;
        let unguarded = policy.decision == policy::Decision::Simple;
        // A guarded decision without a correction for the temperature is an error of the policy, and judges nothing.
        if policy.method != crate::parse::METHOD
            || (!unguarded && policy.basis == policy::Basis::Certified)
        {
            return None;
        }
        let points: Vec<PointFigures> = self
            .check
            .points
            .iter()
            .map(|point| PointFigures {
                speed_rpm: point.speed_rpm.value.clone(),
                torque_percent: point
                    .torque_percent
                    .as_ref()
                    .map(|torque| torque.value.clone()),
                viscosity_mpa_s: point
                    .viscosity_mpa_s
                    .as_ref()
                    .map(|value| value.value.clone()),
                temperature_c: point
                    .temperature_c
                    .as_ref()
                    .map(|value| value.value.clone()),
                shown: point.shown.is_some(),
            })
            .collect();
        let corrections: Option<Vec<_>> = self.calibration.map(|(_, calibration)| {
            let rows = calibration.rows.iter();
            rows.map(|(at, correction)| (at.value.clone(), correction.value.clone()))
                .collect()
        });
        let stated = match with_uncertainty {
            true => self.stated(),
            false => Stated::default(),
        };
        Some(function(&Subject {
            points: &points,
            geometry: self.geometry.map(|geometry| &geometry.figures),
            full_scale_torque_un_m: self
                .spring
                .map(|(_, spring)| &spring.full_scale_torque_un_m.value),
            rows: self.fluid.map_or(&[], |fluid| &fluid.rows),
            corrections: corrections.as_deref(),
            stated: &stated,
            policy: &policy_figures(policy),
        }))
    }

    /// What the records that the check names state of uncertainty.
    fn stated(&self) -> Stated {
        let values = self.fluid.iter().flat_map(|fluid| &fluid.values);
        let figure = |number: &Number| number.value.to_f64();
        let instrument = self.instrument;
        Stated {
            fluid: values
                .map(|value| {
                    let expanded = value.expanded_uncertainty_mpa_s();
                    Some((expanded.to_f64(), figure(&value.coverage_factor)))
                })
                .collect(),
            thermometer: self.calibration.map(|(_, row)| {
                let expanded = figure(&row.expanded_uncertainty_k);
                (expanded, figure(&row.coverage_factor))
            }),
            thermometer_resolution_k: self
                .thermometer
                .map(|thermometer| figure(&thermometer.resolution_k)),
            uniformity_k: match (&self.check.bath, self.bath) {
                (None, _) => Some(0.0),
                (Some(_), bath) => bath.map(|bath| figure(&bath.uniformity_k)),
            },
            torque_resolution_percent: instrument
                .map(|instrument| figure(&instrument.torque_resolution_percent)),
            repeatability_percent: instrument
                .map(|instrument| figure(&instrument.repeatability_percent)),
        }
    }

    /// The certified row that the check is judged by, with its index.
    pub fn certified(&self) -> Option<(usize, &'a CertifiedValue)> {
        let row = self.judgement.as_ref()?.row?;
        Some((row, self.fluid?.record.values.get(row)?))
    }

    /// The policy's first row of least times at temperature that fits; `None` where what it goes by is unknown before one does.
    pub fn soak_row(&self) -> Option<(usize, &'a Soak)> {
        let viscosity = self.certified().map(|(_, certified)| certified.mpa_s());
        let kind = self.geometry.map(|geometry| geometry.kind);
        soak_row(&self.policy?.record, kind, viscosity.as_ref())
    }

    /// The verdict says fail and the instrument was read as it was found.
    pub fn failed_as_found(&self) -> bool {
        self.check.condition == Some(Condition::AsFound)
            && self
                .judgement
                .as_ref()
                .is_some_and(|judgement| judgement.verdict.is_some_and(Verdict::is_fail))
    }
}

/// A policy's first row of least times at temperature that fits a kind of geometry and a certified viscosity in mPa.s; `None` where
/// what it goes by is unknown before one does.
pub fn soak_row<'a>(
    policy: &'a Policy,
    kind: Option<GeometryKind>,
    viscosity_mpa_s: Option<&Exact>,
) -> Option<(usize, &'a Soak)> {
    for (index, row) in policy.soak.iter().enumerate() {
        let kind_fits = match &row.kinds {
            None => true,
            Some(kinds) => kinds.contains(&kind?),
        };
        if !kind_fits {
            continue;
        }
        let viscosity_fits = match &row.up_to_mpa_s {
            None => true,
            Some(up_to) => *viscosity_mpa_s? <= up_to.value,
        };
        if viscosity_fits {
            return Some((index, row));
        }
    }
    None
}

/// The torque zones of a policy, as the metrology takes them.
pub fn zone_bounds(policy: &Policy) -> ZoneBounds {
    ZoneBounds {
        minimum_percent: policy.minimum_percent.value.clone(),
        low_below_percent: policy.low_below_percent.value.clone(),
        high_above_percent: policy.high_above_percent.value.clone(),
    }
}

fn policy_figures(policy: &Policy) -> PolicyFigures {
    PolicyFigures {
        fluid_percent: policy.fluid_percent.value.clone(),
        range_percent: policy.range_percent.value.clone(),
        window_k: policy.window_k.value.clone(),
        basis: match policy.basis {
            policy::Basis::Certified => Basis::Certified,
            policy::Basis::Corrected => Basis::Corrected,
        },
        decision: match policy.decision {
            policy::Decision::Simple => judge::Decision::Simple,
            policy::Decision::Guarded => judge::Decision::Guarded,
            policy::Decision::GuardedFourWay => judge::Decision::GuardedFourWay,
        },
        zones: zone_bounds(policy),
    }
}

/// The newest calibration that covers the day, else the newest begun.
fn calibration_at<'a>(
    book: &Book,
    thermometer: &'a Loaded<Thermometer>,
    at: Timestamp,
) -> Option<(usize, &'a Calibration)> {
    let day = book.zone.date(at);
    let rows = thermometer.record.calibrations.iter().enumerate();
    let begun: Vec<_> = rows
        .filter(|(_, row)| book.zone.begins(&row.date) <= at)
        .collect();
    let covering = begun.iter().rev().find(|(_, row)| day <= row.due);
    covering.or(begun.last()).copied()
}

/// The last full calibration of an instrument that had begun at a time.
pub struct FullCalibration<'a> {
    pub row: usize,
    pub day: Date,
    /// The last day it holds; `None` where neither the certificate nor a policy says so.
    pub due: Option<Date>,
    /// The policy whose interval gave the due date, where the certificate names none.
    pub by_policy: Option<&'a Loaded<Policy>>,
}

pub fn full_calibration_at<'a>(
    book: &Book,
    instrument: &Instrument,
    at: Timestamp,
    policy: Option<&'a Loaded<Policy>>,
) -> Option<FullCalibration<'a>> {
    let rows = instrument.services.iter().enumerate();
    let mut begun = rows.filter(|(_, row)| {
        row.kind == ServiceKind::Calibration && book.zone.begins(&row.date) <= at
    });
    let (row, calibration) = begun.next_back()?;
    let day = book.zone.date(book.zone.begins(&calibration.date));
    let by_policy = policy.filter(|_| calibration.due.is_none());
    Some(FullCalibration {
        row,
        day,
        due: calibration
            .due
            .or_else(|| months_after(day, by_policy?.service_interval_months)),
        by_policy,
    })
}

/// The spring in force.
pub fn spring_at<'a>(
    book: &Book,
    instrument: &'a Loaded<Instrument>,
    at: Timestamp,
) -> Option<(usize, &'a Spring)> {
    let mut rows = instrument.record.springs.iter().enumerate();
    rows.rfind(|(_, row)| book.zone.begins(&row.from) <= at)
}

/// The standing row in force: a row that worsens binds from the next day where it is given as a date.
pub fn standing_at<'a>(
    book: &Book,
    rows: &'a [Standing],
    at: Timestamp,
) -> Option<(usize, &'a Standing)> {
    let begins = |row: &Standing| match row.state {
        State::InService | State::Usable => book.zone.begins(&row.from),
        State::Quarantined | State::Withdrawn => book.zone.worsens(&row.from),
    };
    rows.iter().enumerate().rfind(|(_, row)| begins(row) <= at)
}

/// The last inspection that binds at a time.
pub fn inspection_at(book: &Book, geometry: &Geometry, at: Timestamp) -> Option<(usize, Outcome)> {
    let rows = geometry.inspections.iter().enumerate();
    let mut begun = rows.filter(|(_, (date, outcome))| {
        let begins = match outcome {
            Outcome::Sound => book.zone.begins(date),
            Outcome::Damaged => book.zone.worsens(date),
        };
        begins <= at
    });
    begun
        .next_back()
        .map(|(index, (_, outcome))| (index, *outcome))
}
