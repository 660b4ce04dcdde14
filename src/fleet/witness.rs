//! The fleet as a witness: what other checks say of what a check deviates by.

use super::session::Session;
use super::trend::Sessions;
use crate::measure::pattern::{Elsewhere, LastGood, Mean, Witness};
use crate::record::check::Verdict;
use jiff::Timestamp;

/// How far from a check others are asked, in days: those that share what may change soon.
pub const NEAR_DAYS: f64 = 30.0;

/// Those of the same lot or geometry, which change slowly, and those of the same instrument.
pub const FAR_DAYS: f64 = 180.0;

/// What is known of a check among others.
pub struct Case<'a> {
    pub id: &'a str,
    pub session: &'a Session,
    /// When something was last done to the instrument before the check; nothing is compared across that.
    pub since: Option<Timestamp>,
}

fn days_apart(one: &Session, other: &Session) -> f64 {
    let seconds = one.performed.as_second() - other.performed.as_second();
    seconds as f64 / 86_400.0
}

/// One mean a speed, on a range of 100, since only shares matter.
fn means(session: &Session) -> Vec<Mean> {
    session
        .readings
        .iter()
        .filter_map(|reading| {
            let expected = reading.expected_torque_percent?;
            Some(Mean {
                reading_mpa_s: expected + reading.deviation_of_range_percent?,
                reference_mpa_s: expected,
                range_mpa_s: 100.0,
            })
        })
        .collect()
}

fn passed(session: &Session) -> bool {
    matches!(
        session.verdict,
        Some(Verdict::Pass | Verdict::ConditionalPass)
    )
}

/// A check of the same instrument with the same lot and geometry that passed soon after, by its id. `touched` tells when
/// something was last done to the instrument up to a time: it must not lie between the two.
pub fn passed_after<'a>(
    case: &Case<'_>,
    others: &'a Sessions,
    touched: &dyn Fn(Timestamp) -> Option<Timestamp>,
) -> Option<&'a str> {
    let own = case.session;
    let soon = |other: &Session| {
        let days = days_apart(other, own);
        days > 0.0 && days <= NEAR_DAYS
    };
    others
        .iter()
        .filter(|(_, other)| {
            other.instrument == own.instrument
                && other.fluid == own.fluid
                && other.geometry == own.geometry
                && !other.void
                && passed(other)
                && soon(other)
                && touched(other.performed).is_none_or(|at| at <= own.performed)
        })
        .min_by_key(|(_, other)| other.performed)
        .map(|(id, _)| &**id)
}

/// What the others say, of those that count; the check itself and void ones are left out.
pub fn witness(case: &Case<'_>, others: &Sessions) -> Witness {
    let own = case.session;
    let others: Vec<&Session> = others
        .iter()
        .filter(|(id, other)| &***id != case.id && !other.void)
        .map(|(_, other)| other)
        .collect();
    let of = |asked: &dyn Fn(&Session) -> bool| {
        let asked: Vec<Vec<Mean>> = others
            .iter()
            .filter(|other| asked(other))
            .map(|other| means(other))
            .filter(|means| !means.is_empty())
            .collect();
        Elsewhere::of(&asked)
    };
    let elsewhere = |other: &Session| other.instrument != own.instrument;
    let within = |other: &Session, days: f64| days_apart(own, other).abs() <= days;
    let same_day = |other: &Session| other.date == own.date;
    let same_lot = |other: &Session| other.fluid == own.fluid;
    let same_bottle = |other: &Session| same_lot(other) && other.bottle == own.bottle;
    let untouched = |other: &Session| {
        case.since.is_none_or(|since| other.performed >= since) && other.performed <= own.performed
    };
    let here = |other: &Session| other.instrument == own.instrument && untouched(other);
    let lot_that_day = of(&|other| elsewhere(other) && same_day(other) && same_bottle(other))
        .or_else(|| of(&|other| elsewhere(other) && same_day(other) && same_lot(other)));
    let last_good = others
        .iter()
        .filter(|other| {
            here(other)
                && passed(other)
                && other.performed < own.performed
                && (same_lot(other) || other.geometry == own.geometry)
        })
        .max_by_key(|other| (other.performed, same_lot(other)));
    // What came before the last good check says nothing of a sudden change.
    let other_lots_here = |other: &Session| {
        let since = last_good.map(|good| good.performed);
        here(other)
            && !same_lot(other)
            && within(other, FAR_DAYS)
            && since.is_none_or(|since| other.performed > since)
    };
    Witness {
        lot_that_day,
        lot_other_days: of(&|other| {
            elsewhere(other) && same_lot(other) && !same_day(other) && within(other, NEAR_DAYS)
        }),
        other_bottle: of(&|other| {
            same_lot(other)
                && own.bottle.is_some()
                && other.bottle.is_some()
                && other.bottle != own.bottle
                && within(other, NEAR_DAYS)
        }),
        thermometer: of(&|other| {
            elsewhere(other)
                && !same_lot(other)
                && own.thermometer.is_some()
                && other.thermometer == own.thermometer
                && within(other, NEAR_DAYS)
        }),
        bath: of(&|other| {
            elsewhere(other)
                && !same_lot(other)
                && own.bath.is_some()
                && other.bath == own.bath
                && same_day(other)
        }),
        geometry: of(&|other| {
            elsewhere(other)
                && own.geometry.is_some()
                && other.geometry == own.geometry
                && within(other, FAR_DAYS)
        }),
        lots_here: of(&|other| other_lots_here(other) && !same_day(other))
            .or_else(|| of(&|other| other_lots_here(other))),
        last_good: last_good.map(|other| LastGood {
            means: means(other),
            same_lot: same_lot(other),
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::zone::Zone;
    use crate::fleet::session::Reading;
    use crate::measure::Exact;

    fn session(instrument: &str, day: i64, fluid: &str, off_percent: f64) -> Session {
        let start: Timestamp = "2026-03-01T09:00:00Z".parse().expect("time");
        let performed = start + jiff::SignedDuration::from_hours(24 * day);
        Session {
            instrument: instrument.into(),
            geometry: Some("G-1".into()),
            fluid: fluid.into(),
            bottle: Some("1".into()),
            thermometer: Some("TH-1".into()),
            bath: None,
            policy: None,
            operator: "op-01".into(),
            entered_by: None,
            amended_by: None,
            consents: Vec::new(),
            performed,
            date: Zone::utc().date(performed),
            occasion: None,
            condition: None,
            void: false,
            verdict: Some(Verdict::Pass),
            readings: [25.0, 50.0]
                .into_iter()
                .map(|expected| Reading {
                    zone: None,
                    speed_rpm: Exact::integer(6),
                    replicates: 1,
                    expected_torque_percent: Some(expected),
                    deviation_percent: Some(off_percent),
                    deviation_of_range_percent: Some(expected * off_percent / 100.0),
                    half_width_of_range_percent: None,
                    acceptance_of_range_percent: None,
                    fluid_of_range_percent: None,
                })
                .collect(),
        }
    }

    fn ask(others: Vec<(&str, Session)>, since_day: Option<i64>) -> Witness {
        let own = session("VM-1", 0, "K-1", -2.0);
        let since = since_day.map(|day| session("x", day, "x", 0.0).performed);
        let mut all: Sessions = others
            .into_iter()
            .map(|(id, session)| (Box::from(id), session))
            .collect();
        all.insert(Box::from("own"), own.clone());
        witness(
            &Case {
                id: "own",
                session: &own,
                since,
            },
            &all,
        )
    }

    #[test]
    fn each_question_is_asked_of_its_own_checks() {
        let mut here = session("VM-1", -7, "K-2", 0.2);
        here.verdict = Some(Verdict::Fail);
        let found = ask(
            vec![
                ("good", session("VM-1", -9, "K-2", 0.1)),
                ("before", session("VM-1", -20, "K-2", 7.0)),
                ("same day", session("VM-2", 0, "K-1", -1.9)),
                ("other day", session("VM-2", -5, "K-1", 0.1)),
                ("long ago", session("VM-2", -50, "K-1", 5.0)),
                ("other lot", session("VM-2", -6, "K-2", 0.3)),
                ("here", here),
                ("here later", session("VM-1", 3, "K-2", 9.0)),
            ],
            None,
        );
        let gain = |elsewhere: &Option<Elsewhere>| {
            elsewhere.map(|it| ((it.gain_percent * 10.0).round() / 10.0, it.checks))
        };
        assert_eq!(gain(&found.lot_that_day), Some((-1.9, 1)));
        assert_eq!(gain(&found.lot_other_days), Some((0.1, 1)));
        assert_eq!(gain(&found.thermometer), Some((0.3, 1)));
        // The same geometry on the other instrument, whatever the lot, within half a year.
        assert_eq!(gain(&found.geometry).map(|(_, checks)| checks), Some(4));
        assert_eq!(gain(&found.lots_here), Some((0.2, 1)));
        assert_eq!((found.bath, found.other_bottle), (None, None));
        let good = found.last_good.expect("a pass before");
        assert!(!good.same_lot && good.means.len() == 2);
    }

    #[test]
    fn nothing_is_compared_across_a_repair() {
        let mut failed = session("VM-1", -6, "K-2", 0.2);
        failed.verdict = Some(Verdict::Fail);
        let others = || {
            vec![
                ("good", session("VM-1", -7, "K-1", 0.2)),
                ("failed", failed.clone()),
            ]
        };
        let found = ask(others(), Some(-3));
        assert_eq!((found.lots_here, found.last_good), (None, None));
        let found = ask(others(), Some(-8));
        assert!(found.lots_here.is_some() && found.last_good.is_some());
        // A pass with the same lot soon after, nothing having been done in between.
        let own = session("VM-1", 0, "K-1", -2.0);
        let later: Sessions = [(Box::from("later"), session("VM-1", 1, "K-1", 0.1))].into();
        let case = Case {
            id: "own",
            session: &own,
            since: None,
        };
        assert_eq!(passed_after(&case, &later, &|_| None), Some("later"));
        let repaired = Some(own.performed + jiff::SignedDuration::from_hours(1));
        assert_eq!(passed_after(&case, &later, &|_| repaired), None);
        // A void check says nothing.
        let mut void = session("VM-2", 0, "K-1", 1.0);
        void.void = true;
        assert_eq!(ask(vec![("void", void)], None), Witness::default());
    }
}
