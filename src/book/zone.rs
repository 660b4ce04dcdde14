//! The book's time zone: wall time, instants, days.

use crate::record::{Stamp, When};
use jiff::civil::{Date, DateTime};
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};
use jiff::{Timestamp, ToSpan};

#[derive(Clone, Debug)]
pub struct Zone(TimeZone);

/// Why a time without an offset names no single instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoInstant {
    /// The clock repeats this hour.
    Repeated,
    /// The clock skips this hour.
    Skipped,
    /// Beyond the calendar.
    Beyond,
}

impl Zone {
    /// By IANA name; `None` where there is no such zone.
    pub fn named(name: &str) -> Option<Zone> {
        TimeZone::get(name).ok().map(Zone)
    }

    pub fn utc() -> Zone {
        Zone(TimeZone::UTC)
    }

    pub fn instant(&self, stamp: &Stamp) -> Result<Timestamp, NoInstant> {
        if let Some(minutes) = stamp.offset_minutes {
            let offset = Offset::from_seconds(i32::from(minutes) * 60);
            return offset
                .and_then(|offset| offset.to_timestamp(stamp.wall))
                .map_err(|_| NoInstant::Beyond);
        }
        let ambiguous = self.0.to_ambiguous_timestamp(stamp.wall);
        match ambiguous.offset() {
            AmbiguousOffset::Unambiguous { .. } => {
                ambiguous.compatible().map_err(|_| NoInstant::Beyond)
            }
            AmbiguousOffset::Gap { .. } => Err(NoInstant::Skipped),
            AmbiguousOffset::Fold { .. } => Err(NoInstant::Repeated),
        }
    }

    /// Of a time in an hour that the clock repeats, the first or the second; `None` beyond the calendar.
    pub fn repeated(&self, wall: DateTime, second: bool) -> Option<Timestamp> {
        let ambiguous = self.0.to_ambiguous_timestamp(wall);
        match second {
            true => ambiguous.later().ok(),
            false => ambiguous.earlier().ok(),
        }
    }

    /// The instant, or for a time that names none the nearest reading of it; such a time has its own finding.
    fn nearest(&self, stamp: &Stamp) -> Timestamp {
        self.instant(stamp).unwrap_or_else(|_| {
            let ambiguous = self.0.to_ambiguous_timestamp(stamp.wall);
            ambiguous.compatible().unwrap_or(Timestamp::MAX)
        })
    }

    /// Wall time in the zone.
    pub fn wall(&self, at: Timestamp) -> DateTime {
        self.0.to_datetime(at)
    }

    pub fn date(&self, at: Timestamp) -> Date {
        self.wall(at).date()
    }

    pub fn start_of(&self, date: Date) -> Timestamp {
        self.nearest(&Stamp {
            wall: date.to_datetime(jiff::civil::Time::midnight()),
            offset_minutes: None,
        })
    }

    /// When a row begins to bind that restores a state or brings something new: from the start of its day.
    pub fn begins(&self, when: &When) -> Timestamp {
        match when {
            When::Date(date) => self.start_of(*date),
            When::Time(stamp) => self.nearest(stamp),
        }
    }

    /// When a row begins to bind that worsens a state: given as a date, from the next day.
    pub fn worsens(&self, when: &When) -> Timestamp {
        match when {
            When::Date(date) => date
                .checked_add(1.day())
                .map_or(Timestamp::MAX, |next| self.start_of(next)),
            When::Time(stamp) => self.nearest(stamp),
        }
    }
}

/// A date some calendar months later, cut to the last day of a shorter month.
pub fn months_after(date: Date, months: i64) -> Option<Date> {
    date.checked_add(jiff::Span::new().try_months(months).ok()?)
        .ok()
}

/// A date some days later; `None` beyond the calendar.
pub fn days_after(date: Date, days: i64) -> Option<Date> {
    date.checked_add(jiff::Span::new().try_days(days).ok()?)
        .ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamp(text: &str, offset_minutes: Option<i16>) -> Stamp {
        Stamp {
            wall: text.parse().expect("time"),
            offset_minutes,
        }
    }

    // The clock of Europe/Dublin: forward on 2026-03-29 at 01:00, back on 2026-10-25 at 02:00 (IANA tz database).
    #[test]
    fn only_the_repeated_hour_needs_an_offset_and_the_skipped_one_is_none() {
        let zone = Zone::named("Europe/Dublin").expect("zone");
        assert!(zone.instant(&stamp("2026-10-25T00:59:59", None)).is_ok());
        assert_eq!(
            zone.instant(&stamp("2026-10-25T01:00:00", None)),
            Err(NoInstant::Repeated)
        );
        assert_eq!(
            zone.instant(&stamp("2026-10-25T01:59:59", None)),
            Err(NoInstant::Repeated)
        );
        assert!(zone.instant(&stamp("2026-10-25T02:00:00", None)).is_ok());
        assert_eq!(
            zone.instant(&stamp("2026-03-29T01:30:00", None)),
            Err(NoInstant::Skipped)
        );
        let first = zone
            .instant(&stamp("2026-10-25T01:30:00", Some(60)))
            .expect("first");
        let second = zone
            .instant(&stamp("2026-10-25T01:30:00", Some(0)))
            .expect("second");
        assert_eq!((second - first).as_mins(), 60);
        assert_eq!(zone.wall(first), zone.wall(second));
    }

    #[test]
    fn months_are_cut_to_the_last_day() {
        let day = |text: &str| text.parse::<Date>().expect("date");
        assert_eq!(months_after(day("2026-01-31"), 1), Some(day("2026-02-28")));
        assert_eq!(months_after(day("2024-02-29"), 12), Some(day("2025-02-28")));
        assert_eq!(months_after(day("2026-04-01"), 12), Some(day("2027-04-01")));
        assert_eq!(months_after(day("2026-04-01"), i64::MAX), None);
    }

    #[test]
    fn a_worsening_date_binds_from_the_next_day() {
        let zone = Zone::named("Europe/Dublin").expect("zone");
        let when = When::Date("2026-11-20".parse().expect("date"));
        assert_eq!(
            zone.wall(zone.begins(&when)).to_string(),
            "2026-11-20T00:00:00"
        );
        assert_eq!(
            zone.wall(zone.worsens(&when)).to_string(),
            "2026-11-21T00:00:00"
        );
        assert_eq!(Zone::named("Atlantis/Deep").map(|_| ()), None);
    }
}
