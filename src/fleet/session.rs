//! What series and traces keep of a check: whom and what it names, and how far its readings lay from the reference.

use crate::book::view::View;
use crate::measure::Exact;
use crate::measure::zone::Zone;
use crate::record::check::{Condition, Occasion, Verdict};
use compact_str::CompactString;
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

/// A check as series and traces see it.
#[derive(Clone, Debug)]
pub struct Session {
    pub instrument: CompactString,
    pub geometry: Option<CompactString>,
    pub fluid: CompactString,
    pub bottle: Option<CompactString>,
    pub thermometer: Option<CompactString>,
    pub bath: Option<CompactString>,
    /// The policy that judges it.
    pub policy: Option<CompactString>,
    pub operator: CompactString,
    pub entered_by: Option<CompactString>,
    pub amended_by: Option<CompactString>,
    /// Who consented to its deviations.
    pub consents: Vec<CompactString>,
    pub performed: Timestamp,
    /// Of `performed`, in the book's zone.
    pub date: Date,
    pub occasion: Option<Occasion>,
    pub condition: Option<Condition>,
    pub void: bool,
    pub verdict: Option<Verdict>,
    /// One a speed, in the order in which the speeds first stand in the check.
    pub readings: Vec<Reading>,
}

/// The mean of the replicates at one speed against its reference.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    pub zone: Option<Zone>,
    pub speed_rpm: Exact,
    pub replicates: usize,
    /// The torque that the reference should show, in %.
    pub expected_torque_percent: Option<f64>,
    /// In % of the reference; `None` where no figure was shown.
    pub deviation_percent: Option<f64>,
    /// In % of the full-scale range.
    pub deviation_of_range_percent: Option<f64>,
    /// The half-width of the limits in % of the full-scale range.
    pub half_width_of_range_percent: Option<f64>,
    /// The same, less the expanded uncertainty where the decision is a guarded one.
    pub acceptance_of_range_percent: Option<f64>,
    /// Standard uncertainty of the certified value in % of the full-scale range.
    pub fluid_of_range_percent: Option<f64>,
}

impl Session {
    pub fn of(view: &View<'_>) -> Session {
        Session {
            readings: readings(view),
            ..Session::without_readings(view)
        }
    }

    /// Whom and what it names alone, where many are kept.
    pub fn without_readings(view: &View<'_>) -> Session {
        let check = view.check;
        Session {
            instrument: check.instrument.clone(),
            geometry: check.geometry.clone(),
            fluid: check.fluid.clone(),
            bottle: check.bottle.clone(),
            thermometer: check.thermometer.clone(),
            bath: check.bath.clone(),
            policy: view.policy.map(|policy| CompactString::from(&policy.id)),
            operator: check.operator.clone(),
            entered_by: check.entered_by.clone(),
            amended_by: check.amended_by.clone(),
            consents: check
                .deviations
                .iter()
                .map(|deviation| deviation.consent.clone())
                .collect(),
            performed: view.performed,
            date: view.date,
            occasion: check.occasion,
            condition: check.condition,
            void: check.void,
            verdict: crate::book::figures::verdict(view),
            readings: Vec::new(),
        }
    }

    /// The readings in a zone.
    pub fn in_zone(&self, zone: Zone) -> impl Iterator<Item = &Reading> {
        let inside = move |reading: &&Reading| reading.zone == Some(zone);
        self.readings.iter().filter(inside)
    }
}

/// The mean reading at each speed of a check against its reference.
pub fn readings(view: &View<'_>) -> Vec<Reading> {
    let Some(judgement) = &view.judgement else {
        return Vec::new();
    };
    let fluid_percent = view.certified().and_then(|(_, row)| {
        let expanded = row.expanded_uncertainty_percent()?;
        Some(expanded.to_f64() / row.coverage_factor.value.to_f64())
    });
    let mut readings: Vec<Reading> = Vec::new();
    for (judged, written) in judgement.points.iter().zip(&view.check.points) {
        let speed = &written.speed_rpm.value;
        let share = |whole: &Option<Exact>| {
            let part = judged.replicate_mean.as_ref()? - judged.reference_unrounded.as_ref()?;
            Some(part.divide(whole.as_ref()?)?.to_f64() * 100.0)
        };
        let of_range = |size: &Exact| {
            let size = size.divide(judged.range_unrounded.as_ref()?)?;
            Some(size.to_f64() * 100.0)
        };
        let expected = judged.expected_torque_percent.as_ref().map(Exact::to_f64);
        let half_width = judged.half_width.as_ref().and_then(of_range);
        let expanded = judged
            .guarded
            .as_ref()
            .map_or(Some(0.0), |by| of_range(&by.expanded));
        let reading = Reading {
            zone: judged.zone,
            speed_rpm: speed.clone(),
            replicates: usize::from(judged.replicate_mean.is_some()),
            expected_torque_percent: expected,
            deviation_percent: share(&judged.reference_unrounded),
            deviation_of_range_percent: share(&judged.range_unrounded),
            half_width_of_range_percent: half_width,
            acceptance_of_range_percent: half_width
                .zip(expanded)
                .map(|(half, expanded)| (half - expanded).max(0.0)),
            fluid_of_range_percent: fluid_percent
                .zip(expected)
                .map(|(fluid, expected)| fluid * expected / 100.0),
        };
        match readings.iter_mut().find(|known| known.speed_rpm == *speed) {
            // A replicate that showed no figure has no part in the mean of the others.
            Some(known) if known.replicates == 0 => *known = reading,
            Some(known) => known.replicates += reading.replicates,
            None => readings.push(reading),
        }
    }
    readings
}

/// Gathers sessions as checks are judged.
#[derive(Debug, Default)]
pub struct Gathering(Mutex<BTreeMap<Box<str>, Session>>);

impl Gathering {
    pub fn take(&self, view: &View<'_>) {
        self.put(view, Session::of(view));
    }

    /// As [`Gathering::take`], without the readings.
    pub fn take_names(&self, view: &View<'_>) {
        self.put(view, Session::without_readings(view));
    }

    fn put(&self, view: &View<'_>, session: Session) {
        let mut sessions = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        sessions.insert(Box::from(view.id), session);
    }

    /// By the id of the check.
    pub fn sessions(self) -> BTreeMap<Box<str>, Session> {
        self.0.into_inner().unwrap_or_else(PoisonError::into_inner)
    }
}
