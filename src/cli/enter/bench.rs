//! What a dialogue at the bench knows: the book, the instrument and how it stands, who types; and what a check not yet whole would come to.

use crate::book::view::{View, standing_at};
use crate::book::{Book, Loaded};
use crate::cli::ask::{Line, Live, Tone};
use crate::cli::rehearse::{Rehearsed, rehearse};
use crate::cli::{Common, Trouble, here, new, validate};
use crate::finding::Finding;
use crate::fleet::{Fleet, State};
use crate::measure::judge::JudgedPoint;
use crate::measure::{Exact, PERCENT_PLACES};
use crate::parse::layout::CheckName;
use crate::parse::parse;
use crate::parse::write::{CheckText, PointText};
use crate::record::check::Check;
use crate::record::fluid::CertifiedValue;
use crate::record::geometry::{Geometry, GeometryKind};
use crate::record::instrument::Instrument;
use crate::record::policy::{Confirm, Policy};
use crate::record::{Kind, State as StandingState};
use crate::rules::{Wanted, run as judge};
use crate::source::disk::Disk;
use crate::source::git::Repository;
use crate::source::{Source, SourceError};
use crate::text::decimal;
use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use std::cell::RefCell;
use std::rc::Rc;

/// Of the instrument's newest checks so many tell how it stands.
const NEWEST: usize = 40;

pub(super) struct Bench {
    pub(super) common: Common,
    pub(super) disk: Disk,
    pub(super) book: Book,
    pub(super) instrument: String,
    /// `None` where the book is in no repository.
    pub(super) repository: Option<Repository>,
    /// The person with the address that git would commit with.
    pub(super) me: Option<String>,
    pub(super) standing: Standing,
    /// The certified temperature that the fluid is held at, in degrees C, once it is known.
    pub(super) certified_c: RefCell<Option<String>>,
}

/// How the instrument stands before this check.
pub(super) struct Standing {
    pub(super) state: State,
    pub(super) reasons: Vec<String>,
    /// A failed check that waits for its repeat.
    pub(super) awaits_repeat: Option<String>,
    /// What changed how it reads, with no check passed since: `after-service` or `after-move`.
    pub(super) changed: Option<&'static str>,
    /// A failed check and its repeat that failed too, where the instrument is not in quarantine yet.
    pub(super) failed_twice: Option<(String, String)>,
    pub(super) next_due: Option<Date>,
}

impl Bench {
    pub(super) fn of(common: &Common, instrument: &str) -> Result<Bench, Trouble> {
        let (disk, book) = validate::facts(common)?;
        let ids: Vec<&str> = book.instruments.ids().collect();
        new::known(&ids, Kind::Instrument, instrument)?;
        new::zone_known(&book)?;
        if book.instruments.named(instrument).sound().is_none() {
            return Err(Trouble::Unusable(SourceError::new(
                format!(
                    "instruments/{instrument}.toml has errors, so no check of it can be judged"
                ),
                format!(
                    "shearbook validate instruments/{instrument}.toml tells what is wrong there"
                ),
            )));
        }
        let repository = match Repository::around(&disk.root) {
            Ok(true) => Some(Repository::of(&disk.root)?),
            _ => None,
        };
        let me = repository
            .as_ref()
            .and_then(|repository| here::person(&book, repository, None).ok());
        let standing = standing(common, &disk, &book, instrument)?;
        Ok(Bench {
            common: common.clone(),
            disk,
            book,
            instrument: instrument.to_owned(),
            repository,
            me,
            standing,
            certified_c: RefCell::new(None),
        })
    }

    pub(super) fn now(&self) -> Timestamp {
        self.common.clock().now
    }

    /// Wall time in the book's zone, without parts of seconds.
    pub(super) fn wall(&self) -> DateTime {
        let wall = self.book.zone.wall(self.now());
        wall.with().subsec_nanosecond(0).build().unwrap_or(wall)
    }

    /// The day of the check.
    pub(super) fn day(&self) -> Date {
        self.common.as_of.unwrap_or_else(|| self.wall().date())
    }

    /// What stands of the facts is looked at as of then: now, or the end of the day that was asked for.
    pub(super) fn at(&self) -> Timestamp {
        match self.common.as_of {
            Some(day) => self.book.end_of(day),
            None => self.now(),
        }
    }

    pub(super) fn record(&self) -> Option<&Loaded<Instrument>> {
        self.book.instruments.named(&self.instrument).sound()
    }

    pub(super) fn is_quarantined(&self) -> bool {
        let standing = self
            .record()
            .and_then(|record| standing_at(&self.book, &record.standings, self.at()));
        standing.is_some_and(|(_, row)| row.state == StandingState::Quarantined)
    }

    pub(super) fn policy(&self) -> Option<&Loaded<Policy>> {
        let group = self.record().and_then(|record| record.group.as_deref());
        self.book.policy_at(self.day(), group)
    }

    pub(super) fn geometry(&self, id: Option<&String>) -> Option<&Loaded<Geometry>> {
        self.book.geometries.named(id?).sound()
    }

    /// Whether the policy asks that this is confirmed, and it applies to the geometry.
    pub(super) fn asks(&self, confirm: Confirm, kind: Option<GeometryKind>) -> bool {
        let hung = matches!(
            kind,
            Some(GeometryKind::Factored | GeometryKind::CoaxialCylinders) | None
        );
        let plated = matches!(
            kind,
            Some(GeometryKind::ConePlate | GeometryKind::ParallelPlates) | None
        );
        let applies = match confirm {
            Confirm::Levelled | Confirm::VesselAsSpecified => true,
            Confirm::ImmersedToMark | Confirm::FreeOfBubbles => hung,
            Confirm::GapSet => plated,
        };
        applies
            && self
                .policy()
                .is_none_or(|policy| policy.confirm.contains(&confirm))
    }

    /// What the check would come to; nothing where it cannot be understood yet.
    pub(super) fn view<T>(&self, check: &CheckText, see: impl FnOnce(&View<'_>) -> T) -> Option<T> {
        let (path, id) = self.named(check)?;
        let parsed = parse::<Check>(&path, check.to_toml().into_bytes()).ok()?;
        let (doc, record) = (parsed.doc?, parsed.record?);
        Some(see(&View::of(&self.book, &doc, &record, &id)?))
    }

    /// Path and id of the check, by its time.
    pub(super) fn named(&self, check: &CheckText) -> Option<(String, String)> {
        let minute = check.performed.get(..16)?;
        let id = format!(
            "{}/{}",
            self.instrument,
            minute.replace('T', "-").replace(':', "")
        );
        let name = CheckName::parse(&id)?;
        Some((name.path(), id))
    }

    /// The check as it would be judged.
    pub(super) fn rehearse(&self, check: &CheckText) -> Result<Option<Rehearsed>, Trouble> {
        let Some((path, _)) = self.named(check) else {
            return Ok(None);
        };
        let drafts = vec![(path, check.to_toml())];
        Ok(rehearse(&self.common, &self.disk, &self.book, drafts)?.pop())
    }

    /// A reading that passes, for a check that has none yet: a check that fails is judged more mildly.
    pub(super) fn stand_in(&self, check: &CheckText) -> PointText {
        let fluid = self.book.fluids.named(&check.fluid).sound();
        let certified = self.certified_c.borrow();
        let is_it = |row: &&CertifiedValue| {
            certified
                .as_ref()
                .is_none_or(|certified| row.temperature_c.to_string() == *certified)
        };
        let row = fluid.and_then(|fluid| fluid.values.iter().find(is_it));
        let or = |figure: Option<String>, other: &str| figure.or(Some(other.to_owned()));
        PointText {
            speed_rpm: "1".to_owned(),
            viscosity_mpa_s: or(row.map(|row| figure(&row.mpa_s())), "1"),
            temperature_c: or(row.map(|row| row.temperature_c.to_string()), "25"),
            ..PointText::default()
        }
    }

    /// What the rules say of these keys of a check that is not whole yet.
    pub(super) fn findings_at(
        &self,
        check: &CheckText,
        pointers: &[&str],
    ) -> Result<Vec<Finding>, Trouble> {
        let mut whole = check.clone();
        if whole.points.is_empty() {
            whole.points.push(self.stand_in(check));
        }
        let Some(rehearsed) = self.rehearse(&whole)? else {
            return Ok(Vec::new());
        };
        let about = |finding: &Finding| {
            pointers.iter().any(|pointer| {
                let rest = finding.place.pointer.strip_prefix(pointer);
                rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
            })
        };
        Ok(rehearsed.findings.into_iter().filter(about).collect())
    }
}

pub(super) fn standing(
    common: &Common,
    disk: &Disk,
    book: &Book,
    instrument: &str,
) -> Result<Standing, Trouble> {
    let mut paths = Vec::new();
    let year = book.as_of().year();
    for year in [year - 1, year] {
        let listed = disk.list(&format!("checks/{year:04}/{instrument}"))?;
        paths.extend(listed.into_iter().map(|entry| entry.path));
    }
    let newest = paths.split_off(paths.len().saturating_sub(NEWEST));
    let outcome = judge(disk, common.clock(), &Wanted::Only(&newest))?;
    let fleet = Fleet::without_trends(book, &outcome.links, &outcome.with_errors, book.as_of());
    let member = fleet.members.iter().find(|member| member.id == instrument);
    let Some(member) = member else {
        return Err(Trouble::Ours(format!(
            "{instrument} is not in its own fleet"
        )));
    };
    let changed = member.changes.last().map(|change| match change.what {
        "move" => "after-move",
        _ => "after-service",
    });
    let quarantined = member.record.is_some_and(|record| {
        let newest = record.standings.last().map(|row| row.state);
        newest.is_some_and(|state| state != StandingState::InService)
    });
    let pair = member.failed_twice.filter(|_| !quarantined);
    Ok(Standing {
        failed_twice: pair.map(|(first, second)| (first.id.to_owned(), second.id.to_owned())),
        state: member.state,
        reasons: member.reasons.clone(),
        awaits_repeat: member.awaits_repeat.as_ref().map(|seen| seen.id.to_owned()),
        changed,
        next_due: member.next_due,
    })
}

/// Which figure of a point is being typed.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Typing {
    Speed,
    Torque,
    Viscosity,
    Temperature,
}

/// What stands below the line while a figure of the check's last point is typed.
pub(super) fn live(bench: &Rc<Bench>, check: &CheckText, typing: Typing) -> Live {
    let (bench, check) = (Rc::clone(bench), check.clone());
    let certified_c = bench.certified_c.borrow().clone();
    Rc::new(move |typed: &str| {
        let mut check = check.clone();
        let Some(point) = check.points.last_mut() else {
            return Vec::new();
        };
        let figure = decimal::figure(typed, None).ok();
        match typing {
            Typing::Speed => match figure
                .or_else(|| Some(point.speed_rpm.clone()).filter(|speed| !speed.is_empty()))
            {
                Some(speed) => point.speed_rpm = speed,
                None => return Vec::new(),
            },
            Typing::Torque => point.torque_percent = figure,
            Typing::Viscosity => point.viscosity_mpa_s = figure,
            Typing::Temperature => point.temperature_c = figure,
        }
        let given = point.torque_percent.is_some() || point.viscosity_mpa_s.is_some();
        if !given && point.shown.is_none() {
            point.shown = Some("nothing".to_owned());
        }
        // Until the temperatures are read the certified one stands for them.
        for point in &mut check.points {
            if point.temperature_c.is_none() {
                point.temperature_c.clone_from(&certified_c);
            }
        }
        let read = typing == Typing::Temperature && !typed.is_empty();
        bench
            .view(&check, |view| below(view, given, read))
            .unwrap_or_default()
    })
}

pub(super) fn figure(value: &Exact) -> String {
    value.rounded_significant(6).to_decimal_string()
}

/// What the last reading came to, in a line.
pub(super) fn came_to(bench: &Bench, check: &CheckText) -> Option<Line> {
    bench.view(check, |view| {
        compared(view.judgement.as_ref()?.points.last()?)
    })?
}

fn below(view: &View<'_>, given: bool, temperature: bool) -> Vec<Line> {
    let Some(judgement) = &view.judgement else {
        return Vec::new();
    };
    let Some(point) = judgement.points.last() else {
        return Vec::new();
    };
    let mut lines = vec![expected(point)];
    if let Some(line) = compared(point).filter(|_| given) {
        lines.push(line);
    }
    if temperature {
        lines.extend(bath(view));
    }
    lines
}

/// What the certified value should show at this speed.
fn expected(point: &JudgedPoint) -> Line {
    let (Some(torque), Some(lower), Some(upper)) =
        (&point.expected_torque_percent, &point.lower, &point.upper)
    else {
        return (Tone::Plain, "no limits can be worked out here".to_owned());
    };
    let torque = torque.to_fixed_string(1);
    match point.zone {
        Some(zone) => (
            Tone::Plain,
            format!(
                "expected {torque} % torque, {} zone; limits {} to {} mPa.s",
                crate::record::policy::ZoneName::from(zone).word(),
                figure(lower),
                figure(upper)
            ),
        ),
        None => (
            Tone::Bad,
            format!("expected {torque} % torque, which is in no zone: another speed"),
        ),
    }
}

/// The reading against the limits that judge: of a guarded decision those inside by the expanded uncertainty.
fn compared(point: &JudgedPoint) -> Option<Line> {
    let reading = point.reading_mpa_s.as_ref()?;
    let limits = point.limits_that_judge()?;
    let inside = limits.lower <= *reading && *reading <= limits.upper;
    let deviation = point.deviation_percent.as_ref()?;
    let torque = point.torque_percent.as_ref()?;
    let which = match point.guarded {
        Some(_) => format!(
            "acceptance limits {} to {}",
            figure(&limits.lower),
            figure(&limits.upper)
        ),
        None => "limits".to_owned(),
    };
    let word = match inside {
        true => "inside the",
        false => "OUTSIDE the",
    };
    Some((
        if inside { Tone::Good } else { Tone::Bad },
        format!(
            "{} mPa.s, {} % torque, {} %: {word} {which}",
            figure(reading),
            torque.to_fixed_string(1),
            deviation.to_fixed_string(PERCENT_PLACES),
        ),
    ))
}

/// The fluid's temperature against the certified one.
fn bath(view: &View<'_>) -> Option<Line> {
    let judgement = view.judgement.as_ref()?;
    let corrected = judgement.corrected_c.last()?.as_ref()?;
    let (_, row) = view.certified()?;
    let window = &view.policy?.window_k;
    let off = corrected - &row.temperature_c.value;
    let inside = off.abs() <= window.value;
    let word = match inside {
        true => "inside the window",
        false => "OUTSIDE the window",
    };
    Some((
        if inside { Tone::Good } else { Tone::Bad },
        format!(
            "as corrected {} \u{b0}C, {} K from certified {} \u{b0}C; {word} of {window} K",
            corrected.to_fixed_string(3),
            off.to_fixed_string(3),
            row.temperature_c
        ),
    ))
}
