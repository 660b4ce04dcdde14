//! One check with all that it names, and what its figures come to.

use super::zone::months_after;
use super::{Book, Loaded, Named};
use crate::finding::Place;
use crate::measure::judge::{
    Basis, Judgement, PointFigures, PolicyFigures, Subject, Verdict, judge,
};
use crate::measure::zone::ZoneBounds;
use crate::parse::Doc;
use crate::record::check::{Check, Condition};
use crate::record::fluid::{Bottle, CertifiedValue, Fluid};
use crate::record::geometry::{Geometry, Outcome};
use crate::record::instrument::{Instrument, ServiceKind, Spring};
use crate::record::policy::{self, Policy};
use crate::record::thermometer::{Calibration, Thermometer};
use crate::record::{Standing, State};
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

    fn judge(&self) -> Option<Judgement> {
        let policy = self.policy?;
        if policy.decision != policy::Decision::Simple || policy.method != crate::parse::METHOD {
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
        Some(judge(&Subject {
            points: &points,
            geometry: self.geometry.map(|geometry| &geometry.figures),
            full_scale_torque_un_m: self
                .spring
                .map(|(_, spring)| &spring.full_scale_torque_un_m.value),
            rows: self.fluid.map_or(&[], |fluid| &fluid.rows),
            corrections: corrections.as_deref(),
            policy: &policy_figures(policy),
        }))
    }

    /// The certified row that the check is judged by, with its index.
    pub fn certified(&self) -> Option<(usize, &'a CertifiedValue)> {
        let row = self.judgement.as_ref()?.row?;
        Some((row, self.fluid?.record.values.get(row)?))
    }

    /// The verdict says fail and the instrument was read as it was found.
    pub fn failed_as_found(&self) -> bool {
        self.check.condition == Some(Condition::AsFound)
            && self
                .judgement
                .as_ref()
                .is_some_and(|judgement| judgement.verdict == Some(Verdict::Fail))
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
        zones: ZoneBounds {
            minimum_percent: policy.minimum_percent.value.clone(),
            low_below_percent: policy.low_below_percent.value.clone(),
            high_above_percent: policy.high_above_percent.value.clone(),
        },
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
