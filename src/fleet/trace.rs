//! What rests on a record; and for one check what its verdict rests on and, where it failed, the window since the last
//! good one.

use super::session::{Session, readings};
use super::{
    Change, Fleet, Member, Uncounted, changes, days_between, first_id, is_fail, is_pass, made,
    standing_record, uncounted,
};
use crate::book::review::{ReviewFacts, standing};
use crate::book::view::{View, full_calibration_at, inspection_at, standing_at};
use crate::book::{Book, CheckFacts, Fact, Links, LoadError, Loaded};
use crate::finding::Place;
use crate::measure::zone::Zone;
use crate::measure::{Exact, FIGURE_DIGITS};
use crate::parse::layout::{self, CheckName};
use crate::parse::{Value, parse};
use crate::record::check::{Check, Verdict};
use crate::record::nonconformity::Nonconformity;
use crate::record::person::{Duty, Person};
use crate::record::{Kind, words};
use crate::source::Source;
use jiff::Timestamp;
use jiff::civil::Date;
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

/// A record that checks rest on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FactName {
    pub kind: Kind,
    pub id: String,
    /// Of a lot: only what was checked with this bottle.
    pub bottle: Option<String>,
}

words! {
    /// What a check has to do with what is traced.
    Role {
        Named = "named",
        JudgedBy = "judged-by",
        Operator = "operator",
        EnteredBy = "entered-by",
        AmendedBy = "amended-by",
        Consent = "consent",
        Reviewer = "reviewer",
        LastGood = "last-good",
        Between = "between",
        Traced = "traced",
        Repeat = "repeat",
        NextPass = "next-pass",
    }
}

words! {
    /// How another record names what is traced.
    Naming {
        Standing = "standing",
        Correction = "correction",
        Service = "service",
        Calibration = "calibration",
        Outcome = "outcome",
        Fits = "fits",
        Nonconformity = "nonconformity",
        Review = "review",
    }
}

impl FactName {
    pub fn path(&self) -> String {
        layout::path_of(self.kind, &self.id)
    }

    /// What a check has to do with it by what stands in the check.
    fn roles(&self, session: &Session) -> Vec<Role> {
        let id = self.id.as_str();
        let is = |name: &Option<_>| named(name) == Some(id);
        let mut roles = Vec::new();
        let mut add = |role, holds: bool| roles.extend(holds.then_some(role));
        match self.kind {
            Kind::Instrument => add(Role::Named, session.instrument == id),
            Kind::Geometry => add(Role::Named, is(&session.geometry)),
            Kind::Thermometer => add(Role::Named, is(&session.thermometer)),
            Kind::Bath => add(Role::Named, is(&session.bath)),
            Kind::Fluid => {
                let bottle = self.bottle.as_deref();
                let own = bottle.is_none_or(|bottle| named(&session.bottle) == Some(bottle));
                add(Role::Named, session.fluid == id && own);
            }
            Kind::Policy => add(Role::JudgedBy, is(&session.policy)),
            Kind::Person => {
                add(Role::Operator, session.operator == id);
                add(Role::EnteredBy, is(&session.entered_by));
                add(Role::AmendedBy, is(&session.amended_by));
                add(Role::Consent, session.consents.iter().any(|own| own == id));
            }
            Kind::Book | Kind::Check | Kind::Review | Kind::Nonconformity => {}
        }
        roles
    }

    /// Whether a check may rest on it. Who reviewed a check does not stand in the check.
    pub fn concerns(&self, view: &View<'_>) -> bool {
        let id = Some(self.id.as_str());
        let check = view.check;
        match self.kind {
            Kind::Instrument => Some(check.instrument.as_str()) == id,
            Kind::Geometry => check.geometry.as_deref() == id,
            Kind::Thermometer => check.thermometer.as_deref() == id,
            Kind::Bath => check.bath.as_deref() == id,
            Kind::Fluid => Some(check.fluid.as_str()) == id,
            Kind::Policy => view.policy.map(|policy| policy.id.as_str()) == id,
            _ => true,
        }
    }
}

fn named(name: &Option<compact_str::CompactString>) -> Option<&str> {
    name.as_deref()
}

/// What was read and judged.
#[derive(Clone, Copy)]
pub struct Judged<'a> {
    pub fleet: &'a Fleet<'a>,
    pub links: &'a Links,
    pub with_errors: &'a BTreeSet<String>,
    /// The checks that may matter, by id.
    pub sessions: &'a BTreeMap<Box<str>, Session>,
}

/// One check.
#[derive(Clone)]
pub struct Row<'a> {
    pub id: &'a str,
    pub facts: &'a CheckFacts,
    pub session: &'a Session,
    /// `None` where it counts.
    pub why_not: Option<Uncounted>,
    pub roles: Vec<Role>,
    /// Whether the thermometer's calibration covered its day; `None` where its records do not tell.
    pub calibration_covers: Option<bool>,
    /// It is the last counted pass of its instrument, so that the instrument's fitness rests on it.
    pub is_last_pass: bool,
}

impl Row<'_> {
    pub fn counts(&self) -> bool {
        self.why_not.is_none()
    }

    pub fn passed(&self) -> bool {
        is_pass(self.facts)
    }

    pub fn failed(&self) -> bool {
        is_fail(self.facts)
    }

    fn order(&self) -> (Timestamp, &str) {
        (self.facts.performed, self.id)
    }
}

/// The checks of one instrument among those that rest on a record.
pub struct Group<'a> {
    pub id: &'a str,
    /// `None` where the book has no such instrument.
    pub member: Option<&'a Member<'a>>,
    pub first: Date,
    pub last: Date,
    pub checks: usize,
    /// Of those that count.
    pub pass: usize,
    pub fail: usize,
    /// The last counted pass of the instrument is one of them.
    pub rests: bool,
}

impl Group<'_> {
    pub fn uncounted(&self) -> usize {
        self.checks - self.pass - self.fail
    }
}

/// Another record that names what is traced.
pub struct Mention {
    pub how: Naming,
    pub place: Place,
    pub says: String,
}

/// What rests on a record.
pub struct OfFact<'a> {
    pub fact: FactName,
    pub since: Option<Date>,
    pub until: Option<Date>,
    /// In order of time.
    pub rows: Vec<Row<'a>>,
    /// In order of id.
    pub instruments: Vec<Group<'a>>,
    /// In order of path and line.
    pub mentions: Vec<Mention>,
}

/// A row that was in force, and what stands there.
pub struct Ground {
    pub what: &'static str,
    pub place: Place,
    pub says: String,
}

/// How far the readings of one zone lay from the reference.
#[derive(Clone, Debug)]
pub struct Bias {
    /// How many speeds.
    pub speeds: usize,
    /// At how many of them no figure was shown.
    pub without_figure: usize,
    /// The mean over the speeds that showed a figure, in % of the reference.
    pub deviation_percent: Option<Exact>,
    /// The same in % of the full-scale range.
    pub deviation_of_range_percent: Option<Exact>,
    /// The mean half-width of the limits in % of the full-scale range.
    pub allowed_of_range_percent: Option<Exact>,
    /// The worst of its points'.
    pub verdict: Option<Verdict>,
}

/// One zone at a failed check, and at the last good one.
pub struct ZoneBias {
    /// `None` of readings that lie in no zone.
    pub zone: Option<Zone>,
    pub failed: Bias,
    pub last_good: Option<Bias>,
}

/// From the last good check of an instrument to one that failed.
pub struct Window<'a> {
    /// `None` where none had passed before.
    pub last_good: Option<Row<'a>>,
    pub days: Option<i64>,
    /// The last full calibration before the failed check.
    pub last_calibration: Option<Date>,
    pub zones: Vec<ZoneBias>,
    /// Checks of the instrument in between, in order of time.
    pub between: Vec<Row<'a>>,
    /// What was done to the instrument since the last good check.
    pub changes: Vec<Change>,
    /// Checks that repeat the failed one, in order of time.
    pub repeats: Vec<Row<'a>>,
    /// The first pass that counts after it.
    pub next_pass: Option<Row<'a>>,
}

/// One check.
pub struct OfCheck<'a> {
    pub row: Row<'a>,
    /// What its verdict rests on.
    pub grounds: Vec<Ground>,
    /// Where it failed.
    pub window: Option<Window<'a>>,
    /// Nonconformities that name it.
    pub nonconformities: Vec<&'a Loaded<Nonconformity>>,
}

/// What a trace found.
pub enum Trace<'a> {
    Fact(OfFact<'a>),
    Check(Box<OfCheck<'a>>),
}

impl<'a> Trace<'a> {
    /// Every check of it once, in order of time: of one that failed those of its window and what followed.
    pub fn rows(&self) -> Cow<'_, [Row<'a>]> {
        let of = match self {
            Trace::Fact(of) => return Cow::Borrowed(&of.rows),
            Trace::Check(of) => of,
        };
        let mut rows = vec![of.row.clone()];
        if let Some(window) = &of.window {
            let ends = window.last_good.iter().chain(&window.next_pass);
            let others = window.between.iter().chain(&window.repeats);
            rows.extend(ends.chain(others).cloned());
        }
        rows.sort_by(|one, other| one.order().cmp(&other.order()));
        rows.dedup_by(|later, earlier| {
            let same = later.id == earlier.id;
            if same {
                earlier.roles.append(&mut later.roles);
                earlier.roles.sort();
            }
            same
        });
        Cow::Owned(rows)
    }
}

impl<'a> Judged<'a> {
    fn book(&self) -> &'a Book {
        self.fleet.book
    }

    fn at(&self) -> Timestamp {
        self.fleet.at
    }

    fn member(&self, id: &str) -> Option<&'a Member<'a>> {
        let members = &self.fleet.members;
        let found = members.binary_search_by(|member| member.id.cmp(id)).ok()?;
        members.get(found)
    }

    /// `None` where the check had not been made by the day.
    fn row(&self, id: &'a str, session: &'a Session, roles: Vec<Role>) -> Option<Row<'a>> {
        let (id, facts) = self.links.checks.entry(id)?;
        let facts = facts?;
        if made(facts) > self.at() || facts.performed > self.at() {
            return None;
        }
        let last_pass = self
            .member(facts.instrument())
            .and_then(|member| member.last_pass);
        Some(Row {
            id,
            facts,
            session,
            why_not: uncounted(self.links, self.with_errors, (id, Some(facts)), self.at()),
            roles,
            calibration_covers: self.covers(session),
            is_last_pass: last_pass.is_some_and(|pass| pass.id == id),
        })
    }

    fn covers(&self, session: &Session) -> Option<bool> {
        let book = self.book();
        let thermometer = book.thermometers.named(session.thermometer.as_deref()?);
        let mut rows = thermometer.sound()?.calibrations.iter();
        Some(
            rows.any(|row| {
                book.zone.begins(&row.date) <= session.performed && session.date <= row.due
            }),
        )
    }

    /// The decisions on a check that a person had made by the day.
    fn reviewed(&self, check: &str, person: &str) -> bool {
        let reviews = self.links.reviews.get(check).map_or(&[][..], Vec::as_slice);
        let at = self.at();
        let own = |review: &ReviewFacts| &*review.reviewer == person && review.decided <= at;
        reviews.iter().any(own)
    }

    /// What rests on a record, performed on days from `since` to `until`.
    pub fn of_fact(&self, fact: FactName, since: Option<Date>, until: Option<Date>) -> OfFact<'a> {
        let mut rows = Vec::new();
        for (id, session) in self.sessions {
            let mut roles = fact.roles(session);
            if fact.kind == Kind::Person && self.reviewed(id, &fact.id) {
                roles.push(Role::Reviewer);
            }
            let inside = since.is_none_or(|since| session.date >= since)
                && until.is_none_or(|until| session.date <= until);
            if inside && !roles.is_empty() {
                rows.extend(self.row(id, session, roles));
            }
        }
        rows.sort_by(|one, other| one.order().cmp(&other.order()));
        OfFact {
            instruments: self.groups(&rows),
            mentions: self.mentions(&fact, &rows),
            fact,
            since,
            until,
            rows,
        }
    }

    fn groups(&self, rows: &[Row<'a>]) -> Vec<Group<'a>> {
        let mut groups: BTreeMap<&'a str, Group<'a>> = BTreeMap::new();
        for row in rows {
            let id: &'a str = row.facts.instrument();
            let day = row.session.date;
            let group = groups.entry(id).or_insert_with(|| Group {
                id,
                member: self.member(id),
                first: day,
                last: day,
                checks: 0,
                pass: 0,
                fail: 0,
                rests: false,
            });
            group.last = day;
            group.checks += 1;
            group.pass += usize::from(row.counts() && row.passed());
            group.fail += usize::from(row.counts() && row.failed());
            group.rests |= row.is_last_pass;
        }
        groups.into_values().collect()
    }

    fn mentions(&self, fact: &FactName, rows: &[Row<'_>]) -> Vec<Mention> {
        let mut mentions = Vec::new();
        if fact.kind == Kind::Person {
            for record in self.book().each_fact() {
                self.rows_by(&record, &fact.id, &mut mentions);
            }
        }
        if fact.kind == Kind::Instrument {
            for geometry in self.book().geometries.sound() {
                let fits = geometry.fits.as_deref().unwrap_or_default();
                if fits.contains(&fact.id) {
                    mentions.push(Mention {
                        how: Naming::Fits,
                        place: geometry.at("/fits"),
                        says: format!("geometry {} fits it", geometry.id),
                    });
                }
            }
        }
        let checks: BTreeSet<String> = rows.iter().map(|row| first_id(row.id)).collect();
        for record in self.fleet.opened() {
            mentions.extend(self.about(record, fact, &checks));
        }
        let own = format!("{}/{}", fact.kind.folder(), fact.id);
        for (record, reviews) in &self.links.record_reviews {
            for review in reviews {
                let by = fact.kind == Kind::Person && *review.reviewer == *fact.id;
                if review.decided <= self.at() && (by || *record == own) {
                    mentions.push(self.review(record, review));
                }
            }
        }
        mentions.sort_by(|one, other| one.place.cmp(&other.place));
        mentions
    }

    fn review(&self, record: &str, review: &ReviewFacts) -> Mention {
        let path = format!(
            "reviews/records/{record}/{}-{}.toml",
            review.reviewer, review.number
        );
        let day = self.book().zone.date(review.decided);
        let verb = if review.rejects() {
            "rejects"
        } else {
            "approves"
        };
        Mention {
            how: Naming::Review,
            place: Place::whole(&path),
            says: format!("{} {verb} {record} on {day}", review.reviewer),
        }
    }

    /// A nonconformity about any of the checks, or about the record itself.
    fn about(
        &self,
        record: &Loaded<Nonconformity>,
        fact: &FactName,
        checks: &BTreeSet<String>,
    ) -> Option<Mention> {
        let is_one = |id: &str| checks.contains(&first_id(id));
        let path = fact.path();
        let check_of = |path: &str| layout::record(path).ok().map(|(_, id)| first_id(id));
        let finding = record.findings.iter().position(|finding| {
            finding.path == path || check_of(&finding.path).is_some_and(|id| checks.contains(&id))
        });
        let pointer = match (record.checks.iter().any(|id| is_one(id)), finding) {
            (true, _) => "/checks".to_owned(),
            (false, Some(row)) => format!("/finding/{row}"),
            (false, None) => return None,
        };
        Some(Mention {
            how: Naming::Nonconformity,
            place: record.at(&pointer),
            says: format!("nonconformity {} {}", record.id, self.decided(record)),
        })
    }

    /// How far a nonconformity had come by the day.
    pub fn decided(&self, record: &Nonconformity) -> String {
        let outcome = record.outcome.as_ref();
        let outcome = outcome.filter(|outcome| outcome.date <= self.fleet.as_of);
        match outcome {
            Some(outcome) => format!(
                "was opened on {} and decided by {} on {}",
                record.opened, outcome.by, outcome.date
            ),
            None => format!("was opened on {} and is not decided yet", record.opened),
        }
    }

    /// The rows of a record that say they are by a person.
    fn rows_by(&self, record: &Fact<'_>, person: &str, mentions: &mut Vec<Mention>) {
        let doc = record.doc();
        let is_by = |table: &crate::parse::Node| match table.child("by").map(|by| &by.value) {
            Some(Value::Text(by)) => by == person,
            _ => false,
        };
        let name = match record.id() {
            (kind, Some(id)) => format!("{} {id}", kind.noun()),
            (kind, None) => kind.noun().to_owned(),
        };
        let says = |pointer: &str| doc.root.get(pointer).map(|node| doc.text.slice(node.span));
        for (key, how, day, what) in [
            ("standing", Naming::Standing, "from", "state"),
            ("correction", Naming::Correction, "date", "key"),
            ("service", Naming::Service, "date", "kind"),
            ("calibration", Naming::Calibration, "date", "certificate"),
        ] {
            let Some(Value::Array(rows)) = doc.root.child(key).map(|rows| &rows.value) else {
                continue;
            };
            for (index, row) in rows.iter().enumerate().filter(|(_, row)| is_by(row)) {
                let day = says(&format!("/{key}/{index}/{day}")).unwrap_or_default();
                // A row dated later is not seen.
                let later = day.get(..10).and_then(|day| day.parse::<Date>().ok());
                if later.is_some_and(|day| day > self.fleet.as_of) {
                    continue;
                }
                let what = row.child(what).map(|node| match &node.value {
                    Value::Text(text) => text.to_string(),
                    _ => doc.text.slice(node.span).to_owned(),
                });
                let what = what.unwrap_or_else(|| key.to_owned());
                mentions.push(Mention {
                    how,
                    place: doc.place(&format!("/{key}/{index}/by")),
                    says: match how {
                        Naming::Standing => format!("{name}: {what} from {day}"),
                        Naming::Correction => format!("{name}: {what} corrected on {day}"),
                        _ => format!("{name}: {what} of {day}"),
                    },
                });
            }
        }
        let outcome = match record {
            Fact::Nonconformity(record) => record.outcome.as_ref(),
            _ => None,
        };
        let decided = outcome.filter(|one| one.by == person && one.date <= self.fleet.as_of);
        mentions.extend(decided.map(|outcome| Mention {
            how: Naming::Outcome,
            place: doc.place("/outcome/by"),
            says: format!("{name}: decided on {}", outcome.date),
        }));
    }
}

/// The record of a check; `None` where it cannot be understood.
fn loaded(source: &dyn Source, id: &str) -> Result<Option<Loaded<Check>>, LoadError> {
    let Some(path) = layout::check_path(id) else {
        return Ok(None);
    };
    let Some(bytes) = source.read(&path)? else {
        return Ok(None);
    };
    let parsed = parse::<Check>(&path, bytes)?;
    let both = parsed.doc.zip(parsed.record);
    Ok(both.map(|(doc, record)| Loaded { doc, record }))
}

impl<'a> Judged<'a> {
    /// Of a check and its amendments the record that stands on the day; within it `None` where that one is broken.
    pub fn standing(&self, asked: &str) -> Option<(&'a str, Option<&'a CheckFacts>)> {
        standing_record(self.links, asked, self.at())
            .filter(|(_, facts)| facts.is_none_or(|facts| facts.performed <= self.at()))
    }

    /// One check, by the id of a record that stands; `None` where it cannot be understood.
    pub fn of_check(
        &self,
        source: &dyn Source,
        id: &str,
    ) -> Result<Option<OfCheck<'a>>, LoadError> {
        let Some((id, session)) = self.sessions.get_key_value(id) else {
            return Ok(None);
        };
        let Some(row) = self.row(id, session, vec![Role::Traced]) else {
            return Ok(None);
        };
        let Some(record) = loaded(source, id)? else {
            return Ok(None);
        };
        let Some(view) = View::of(self.book(), &record.doc, &record.record, id) else {
            return Ok(None);
        };
        let window = match row.failed() {
            true => Some(self.window(source, &row, &view)?),
            false => None,
        };
        let first = first_id(id);
        let names_it = |record: &Nonconformity| {
            let finding = |path: &str| {
                layout::record(path)
                    .is_ok_and(|(kind, id)| kind == Kind::Check && first_id(id) == first)
            };
            record.checks.iter().any(|other| first_id(other) == first)
                || record.findings.iter().any(|one| finding(&one.path))
        };
        Ok(Some(OfCheck {
            grounds: self.grounds(&view),
            nonconformities: self
                .fleet
                .opened()
                .filter(|record| names_it(record))
                .collect(),
            window,
            row,
        }))
    }

    fn window(
        &self,
        source: &dyn Source,
        failed: &Row<'a>,
        view: &View<'_>,
    ) -> Result<Window<'a>, LoadError> {
        let own = first_id(failed.id);
        let mut others: Vec<Row<'a>> = Vec::new();
        for (id, session) in self.sessions {
            if session.instrument == failed.session.instrument && first_id(id) != own {
                others.extend(self.row(id, session, vec![Role::Between]));
            }
        }
        // The record that stands speaks for those that it amends.
        others.retain(|row| row.why_not != Some(Uncounted::Amended));
        others.sort_by(|one, other| one.order().cmp(&other.order()));
        let with = |row: &Row<'a>, role| Row {
            roles: vec![role],
            ..row.clone()
        };
        let after = others.partition_point(|row| row.order() < failed.order());
        let (earlier, later) = others.split_at(after);
        let good = |row: &Row<'_>| row.counts() && row.passed();
        let last = earlier.iter().rposition(good);
        let last_good = last.and_then(|last| earlier.get(last));
        let from = last.map_or(0, |last| last + 1);
        let repeats = others.iter().filter(|row| {
            row.facts
                .repeats()
                .is_some_and(|other| first_id(other) == own)
        });
        let calibration = view
            .instrument
            .and_then(|record| full_calibration_at(self.book(), record, view.performed, None));
        let before = match last_good {
            Some(row) => loaded(source, row.id)?,
            None => None,
        };
        let before = before.as_ref().and_then(|record| {
            let id = last_good?.id;
            View::of(self.book(), &record.doc, &record.record, id)
        });
        let mut before = before.as_ref().map(biases).unwrap_or_default();
        let zones = biases(view).into_iter().map(|(zone, failed)| ZoneBias {
            zone,
            failed,
            last_good: before.remove(&zone),
        });
        let mut zones: Vec<ZoneBias> = zones.collect();
        zones.sort_by_key(|bias| (bias.zone.is_none(), bias.zone));
        Ok(Window {
            days: last_good.map(|row| days_between(row.session.date, failed.session.date)),
            last_calibration: calibration.map(|calibration| calibration.day),
            zones,
            changes: match (view.instrument, last_good) {
                (Some(record), Some(good)) => {
                    changes(self.book(), record, good.facts.performed, view.performed)
                }
                _ => Vec::new(),
            },
            between: earlier.get(from..).unwrap_or_default().to_vec(),
            repeats: repeats.map(|row| with(row, Role::Repeat)).collect(),
            next_pass: later
                .iter()
                .find(|row| good(row))
                .map(|row| with(row, Role::NextPass)),
            last_good: last_good.map(|row| with(row, Role::LastGood)),
        })
    }

    /// Every row that the verdict of a check rests on.
    fn grounds(&self, view: &View<'_>) -> Vec<Ground> {
        let book = self.book();
        let at = view.performed;
        let mut grounds = Vec::new();
        let mut add = |what, place, says| grounds.push(Ground { what, place, says });
        if let Some(instrument) = view.instrument {
            if let Some((row, spring)) = view.spring {
                add(
                    "spring",
                    instrument.at(&format!("/spring/{row}")),
                    format!(
                        "{} \u{b5}N.m full scale, from {}",
                        spring.full_scale_torque_un_m, spring.from
                    ),
                );
            }
            if let Some((row, standing)) = standing_at(book, &instrument.standings, at) {
                add(
                    "standing",
                    instrument.at(&format!("/standing/{row}")),
                    format!("{} from {}", standing.state.word(), standing.from),
                );
            }
            if let Some(full) = full_calibration_at(book, instrument, at, view.policy) {
                let due = full.due.map(|due| format!(", due {due}"));
                add(
                    "full calibration",
                    instrument.at(&format!("/service/{}", full.row)),
                    format!("{}{}", full.day, due.unwrap_or_default()),
                );
            }
        }
        if let Some(geometry) = view.geometry {
            add(
                "geometry",
                geometry.at("/kind"),
                format!("{}, {}", geometry.id, geometry.kind.word()),
            );
            if let Some((row, outcome)) = inspection_at(book, geometry, at) {
                let when = geometry
                    .inspections
                    .get(row)
                    .map(|(date, _)| date.to_string());
                add(
                    "inspection",
                    geometry.at(&format!("/inspection/{row}")),
                    format!("{} on {}", outcome.word(), when.unwrap_or_default()),
                );
            }
        }
        if let Some(fluid) = view.fluid {
            if let Some((row, value)) = view.certified() {
                add(
                    "certified value",
                    fluid.at(&format!("/value/{row}")),
                    format!(
                        "{} mPa.s at {} \u{b0}C",
                        value
                            .mpa_s()
                            .rounded_significant(FIGURE_DIGITS)
                            .to_decimal_string(),
                        value.temperature_c
                    ),
                );
            }
            if let Some((row, bottle)) = view.bottle {
                add(
                    "bottle",
                    fluid.at(&format!("/bottle/{row}")),
                    format!("{}, opened {}", bottle.id, bottle.opened),
                );
            }
        }
        if let (Some(thermometer), Some((row, calibration))) = (view.thermometer, view.calibration)
        {
            let covers = match view.date <= calibration.due {
                true => "",
                false => ", which did not cover the day",
            };
            add(
                "calibration",
                thermometer.at(&format!("/calibration/{row}")),
                format!("{} to {}{covers}", calibration.date, calibration.due),
            );
        }
        let bath = view.check.bath.as_deref();
        if let Some(bath) = bath.and_then(|bath| book.baths.named(bath).sound()) {
            add(
                "bath",
                bath.at("/uniformity_k"),
                format!("{}, within {} K", bath.id, bath.uniformity_k),
            );
        }
        if let Some(policy) = view.policy {
            add(
                "policy",
                policy.at("/acceptance"),
                format!(
                    "{}: {} % of value + {} % of range, from {}",
                    policy.id, policy.fluid_percent, policy.range_percent, policy.effective
                ),
            );
        }
        self.people(view, &mut grounds);
        self.other_checks(view, &mut grounds);
        grounds
    }

    /// Who made the check, by the right that they had.
    fn people(&self, view: &View<'_>, grounds: &mut Vec<Ground>) {
        let check = view.check;
        let mut all = vec![("operator", Some(&check.operator), Duty::Check)];
        all.push(("typed by", check.entered_by.as_ref(), Duty::Check));
        all.push(("amended by", check.amended_by.as_ref(), Duty::Check));
        for deviation in &check.deviations {
            all.push(("consent", Some(&deviation.consent), Duty::Review));
        }
        for (what, id, duty) in all {
            let Some(id) = id else { continue };
            let Some(person) = self.book().people.named(id).sound() else {
                continue;
            };
            let row = self.right(person, duty, view.performed);
            let (pointer, from) = match row {
                Some((row, from)) => (format!("/authorised/{row}"), from),
                None => ("/id".to_owned(), "without the right that day".to_owned()),
            };
            grounds.push(Ground {
                what,
                place: person.at(&pointer),
                says: format!("{id}, {from}"),
            });
        }
    }

    fn right(&self, person: &Person, duty: Duty, at: Timestamp) -> Option<(usize, String)> {
        let zone = &self.book().zone;
        let rows = person.authorised.iter().enumerate();
        let mut in_force = rows.filter(|(_, row)| {
            row.duty == duty
                && zone.begins(&row.from) <= at
                && row.until.is_none_or(|until| zone.date(at) <= until)
        });
        let (row, found) = in_force.next_back()?;
        let until = found.until.map(|until| format!(" to {until}"));
        Some((
            row,
            format!(
                "authorised for {} from {}{}",
                duty.word(),
                found.from,
                until.unwrap_or_default()
            ),
        ))
    }

    fn other_checks(&self, view: &View<'_>, grounds: &mut Vec<Ground>) {
        let others = [
            ("repeats", &view.check.repeats),
            ("amends", &view.check.amends),
        ];
        for (what, other) in others {
            let Some(other) = other else { continue };
            let Some((id, facts)) = self.links.checks.entry(other) else {
                continue;
            };
            let verdict = facts.and_then(|facts| facts.verdict);
            let place = match facts {
                Some(facts) => facts.place(id),
                None => Place::whole(&layout::check_path(id).unwrap_or_default()),
            };
            grounds.push(Ground {
                what,
                place,
                says: format!("{id}, {}", verdict.map_or("no verdict", Verdict::word)),
            });
        }
        let reviews = self
            .links
            .reviews
            .get(view.id)
            .map_or(&[][..], Vec::as_slice);
        let folder = CheckName::parse(view.id).map(|name| name.reviews_folder());
        for review in standing(reviews, self.at()) {
            let folder = folder.clone().unwrap_or_default();
            let path = format!("{folder}/{}-{}.toml", review.reviewer, review.number);
            let verb = if review.rejects() {
                "rejected"
            } else {
                "approved"
            };
            grounds.push(Ground {
                what: "review",
                place: Place::whole(&path),
                says: format!(
                    "{verb} by {} on {}",
                    review.reviewer,
                    self.book().zone.date(review.decided)
                ),
            });
        }
    }
}

/// How far the readings lay from the reference, by zone.
fn biases(view: &View<'_>) -> BTreeMap<Option<Zone>, Bias> {
    let mut verdicts: BTreeMap<Option<Zone>, Option<Verdict>> = BTreeMap::new();
    let points = view
        .judgement
        .as_ref()
        .map_or(&[][..], |judged| &judged.points);
    for point in points {
        let verdict = point.verdict.map(Verdict::from);
        let worst = verdicts.entry(point.zone).or_insert(verdict);
        *worst = (*worst).max(verdict);
    }
    let mut zones = BTreeMap::new();
    let all = readings(view);
    for (zone, verdict) in verdicts {
        let own = || all.iter().filter(|reading| reading.zone == zone);
        let mean = |figure: &dyn Fn(&super::session::Reading) -> Option<f64>| {
            let figures: Vec<Exact> = own()
                .filter_map(figure)
                .filter_map(Exact::from_f64)
                .collect();
            Some(Exact::mean(&figures)?.rounded_decimals(crate::measure::PERCENT_PLACES))
        };
        zones.insert(
            zone,
            Bias {
                speeds: own().count(),
                without_figure: own().filter(|reading| reading.replicates == 0).count(),
                deviation_percent: mean(&|reading| reading.deviation_percent),
                deviation_of_range_percent: mean(&|reading| reading.deviation_of_range_percent),
                allowed_of_range_percent: mean(&|reading| reading.half_width_of_range_percent),
                verdict,
            },
        );
    }
    zones
}
