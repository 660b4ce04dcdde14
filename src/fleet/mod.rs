//! The fleet at a date: which instruments may be used, why not, and what falls due.
//!
//! A day is seen as it was: checks performed, amendments made, reviews decided and nonconformities opened later are not seen.

pub mod plan;
pub mod reviews;
pub mod session;
pub mod trace;
pub mod trend;
pub mod trend_words;
pub mod witness;

use crate::book::review::{ReviewFacts, decision};
use crate::book::view::{FullCalibration, full_calibration_at, spring_at, standing_at};
use crate::book::{Book, CheckFacts, Links, Loaded, Named};
use crate::finding::Place;
use crate::parse::layout::{self, CheckName};
use crate::record::check::{Verdict, VoidCause};
use crate::record::instrument::{Instrument, ServiceKind};
use crate::record::nonconformity::Nonconformity;
use crate::record::person::{Authorised, Person};
use crate::record::policy::Policy;
use crate::record::{Kind, State as StandingState, words};
use jiff::Timestamp;
use jiff::civil::Date;
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use trend::{Sessions, Trend, trend};

/// The longest notice that the fleet gives of what falls due, in days, where the policy names none.
const NOTICE_DAYS: i64 = 14;

/// After how many days a check and its repeat that failed must stand in a nonconformity.
pub const NONCONFORMITY_DAYS: i64 = 7;

/// How many days a nonconformity may stay open.
pub const OPEN_DAYS: i64 = 30;

words! {
    /// From the worst to the best; the first that holds is the state.
    State {
        OutOfService = "out-of-service",
        NeverChecked = "never-checked",
        Failed = "failed",
        RepeatNeeded = "repeat-needed",
        CheckNeeded = "check-needed",
        Overdue = "overdue",
        DueSoon = "due-soon",
        InDate = "in-date",
    }
}

/// A check as the fleet sees it.
#[derive(Clone, Copy, Debug)]
pub struct Seen<'a> {
    pub id: &'a str,
    pub facts: &'a CheckFacts,
    /// In the book's zone.
    pub day: Date,
}

impl Seen<'_> {
    /// Of its verdict.
    pub fn place(&self) -> Place {
        self.facts.place(self.id)
    }
}

/// A check that failed and its repeat that failed too.
pub type Pair<'a> = (Seen<'a>, Seen<'a>);

/// What changed how an instrument reads, with no check passed since.
#[derive(Clone, Debug)]
pub struct Change {
    /// In the instrument's file.
    pub pointer: String,
    pub what: &'static str,
    pub day: Date,
}

/// An instrument on the day.
pub struct Member<'a> {
    pub id: &'a str,
    /// `None` where its file is broken.
    pub record: Option<&'a Loaded<Instrument>>,
    pub state: State,
    pub usable: bool,
    /// Why it may not be used, in words.
    pub reasons: Vec<String>,
    /// The last check that counted or was void for the instrument's sake.
    pub last: Option<Seen<'a>>,
    pub last_pass: Option<Seen<'a>>,
    /// The last check, where it asks for a repeat.
    pub awaits_repeat: Option<Seen<'a>>,
    /// A check and its repeat that failed since the last pass.
    pub failed_twice: Option<Pair<'a>>,
    /// All such pairs, in order of time.
    pub pairs: Vec<Pair<'a>>,
    pub changes: Vec<Change>,
    /// Days between checks, by the policy in force.
    pub interval: Option<(&'a Loaded<Policy>, i64)>,
    pub next_due: Option<Date>,
    pub days_left: Option<i64>,
    /// Days before `next_due` from which notice is given.
    pub notice_days: i64,
    pub calibration: Option<FullCalibration<'a>>,
    /// Days before the calibration's due date from which notice is given.
    pub calibration_notice_days: i64,
    /// `None` where its file is broken.
    pub trend: Option<Trend<'a>>,
}

/// The fleet on a day.
pub struct Fleet<'a> {
    pub book: &'a Book,
    pub as_of: Date,
    /// The end of that day.
    pub at: Timestamp,
    /// The policy in force for instruments without a group.
    pub policy: Option<&'a Loaded<Policy>>,
    /// In order of id.
    pub members: Vec<Member<'a>>,
    /// How many checks do not count for an error, their own or one of what they rest on.
    pub uncounted: usize,
    /// Files with errors that are no checks, in order of path.
    pub with_errors: Vec<String>,
}

/// Whole days from one day to another.
pub fn days_between(from: Date, to: Date) -> i64 {
    // Within the calendar's span this cannot fail.
    from.until(to).map_or(0, |span| i64::from(span.get_days()))
}

/// `today`, `tomorrow` or `in 9 days`.
pub fn in_days(days: i64) -> String {
    match days {
        0 => "today".to_owned(),
        1 => "tomorrow".to_owned(),
        _ => format!("in {days} days"),
    }
}

/// How many days early notice is given of what ends a span.
pub fn notice_days(policy: Option<&Loaded<Policy>>, span_days: i64) -> i64 {
    policy
        .and_then(|policy| policy.notice_days)
        .unwrap_or(NOTICE_DAYS.min(span_days / 4))
}

/// Whether a day lies ahead, or is today, and within the notice.
pub fn is_soon(as_of: Date, day: Date, notice_days: i64) -> bool {
    (0..=notice_days).contains(&days_between(as_of, day))
}

fn is_fail(facts: &CheckFacts) -> bool {
    matches!(
        facts.verdict,
        Some(Verdict::Fail | Verdict::ConditionalFail)
    )
}

fn is_pass(facts: &CheckFacts) -> bool {
    matches!(
        facts.verdict,
        Some(Verdict::Pass | Verdict::ConditionalPass)
    )
}

/// A check's id without the number of an amendment.
fn first_id(id: &str) -> String {
    match CheckName::parse(id) {
        Some(name) => CheckName {
            amendment: 0,
            ..name
        }
        .id(),
        None => id.to_owned(),
    }
}

/// When a check, or an amendment of one, was made.
pub fn made(facts: &CheckFacts) -> Timestamp {
    facts.amended().unwrap_or(facts.performed)
}

words! {
    /// Why a check does not count.
    Uncounted {
        Amended = "amended",
        WithErrors = "with-errors",
        Rejected = "rejected",
        Void = "void",
    }
}

/// Of a check and its amendments the newest that had been made by a time, which stands; `None` where none had been.
pub fn standing_record<'a>(
    links: &'a Links,
    id: &str,
    at: Timestamp,
) -> Option<(&'a str, Option<&'a CheckFacts>)> {
    let Some(name) = CheckName::parse(id) else {
        return links.checks.entry(id);
    };
    let first = match name.amendment {
        0 => Cow::Borrowed(id),
        _ => Cow::Owned(first_id(id)),
    };
    let had_been = |facts: Option<&CheckFacts>| facts.is_none_or(|facts| made(facts) <= at);
    let number = |id: &str| CheckName::parse(id).map_or(0, |name| name.amendment);
    let mut line = links.checks.line(&first);
    let mut newest = line.next().filter(|(_, facts)| had_been(*facts));
    // Most checks were never amended.
    for other in line.filter(|(_, facts)| had_been(*facts)) {
        if newest.is_none_or(|(newest, _)| number(newest) <= number(other.0)) {
            newest = Some(other);
        }
    }
    newest
}

/// Why a check does not count at a time by which it had been made; `None` where it does.
pub fn uncounted(
    links: &Links,
    with_errors: &BTreeSet<String>,
    (id, facts): (&str, Option<&CheckFacts>),
    at: Timestamp,
) -> Option<Uncounted> {
    if standing_record(links, id, at).is_none_or(|(newest, _)| newest != id) {
        return Some(Uncounted::Amended);
    }
    let has_errors = CheckName::parse(id).is_none_or(|name| with_errors.contains(&name.path()));
    let Some(facts) = facts.filter(|facts| facts.confirmed && !has_errors) else {
        return Some(Uncounted::WithErrors);
    };
    if facts.needs_review && is_rejected(links, id, at) {
        return Some(Uncounted::Rejected);
    }
    (facts.verdict == Some(Verdict::Void)).then_some(Uncounted::Void)
}

/// Checks by instrument, in order of time: those that count, and those void for the instrument's sake.
fn history<'a>(
    book: &Book,
    links: &'a Links,
    with_errors: &BTreeSet<String>,
    at: Timestamp,
) -> (BTreeMap<&'a str, Vec<Seen<'a>>>, usize) {
    let mut checks: BTreeMap<&str, Vec<Seen<'_>>> = BTreeMap::new();
    let mut with_error = 0;
    for (id, facts) in links.checks.iter() {
        if facts.is_some_and(|facts| made(facts) > at || facts.performed > at) {
            continue;
        }
        let why_not = uncounted(links, with_errors, (id, facts), at);
        with_error += usize::from(why_not == Some(Uncounted::WithErrors));
        let Some(facts) = facts else { continue };
        let for_instrument = facts.void_cause == Some(VoidCause::Instrument);
        if why_not.is_none() || (why_not == Some(Uncounted::Void) && for_instrument) {
            checks.entry(facts.instrument()).or_default().push(Seen {
                id,
                facts,
                day: book.zone.date(facts.performed),
            });
        }
    }
    for seen in checks.values_mut() {
        seen.sort_by_key(|seen| (seen.facts.performed, seen.id));
    }
    (checks, with_error)
}

/// The checks that count, with their verdicts, by instrument and in order of time.
pub fn counted<'a>(
    book: &Book,
    links: &'a Links,
    with_errors: &BTreeSet<String>,
) -> BTreeMap<&'a str, Vec<Seen<'a>>> {
    let (mut checks, _) = history(book, links, with_errors, Timestamp::MAX);
    for seen in checks.values_mut() {
        seen.retain(|seen| seen.facts.verdict != Some(Verdict::Void));
    }
    checks
}

/// Whether a rejection stands.
fn is_rejected(links: &Links, id: &str, at: Timestamp) -> bool {
    let reviews = links.reviews.get(id);
    reviews.is_some_and(|reviews| decision(reviews, at).is_some_and(ReviewFacts::rejects))
}

/// Each check that failed whose repeat failed too.
fn pairs<'a>(checks: &[Seen<'a>]) -> Vec<Pair<'a>> {
    let failed: BTreeMap<String, Seen<'a>> = checks
        .iter()
        .filter(|seen| is_fail(seen.facts))
        .map(|seen| (first_id(seen.id), *seen))
        .collect();
    checks
        .iter()
        .filter(|seen| is_fail(seen.facts))
        .filter_map(|seen| {
            let first = failed.get(&first_id(seen.facts.repeats()?))?;
            Some((*first, *seen))
        })
        .collect()
}

/// Springs and services that began since a time, up to another.
fn changes(book: &Book, instrument: &Instrument, since: Timestamp, at: Timestamp) -> Vec<Change> {
    let mut changes = Vec::new();
    let mut add = |when, pointer: String, what| {
        let begins = book.zone.begins(when);
        if begins > since && begins <= at {
            changes.push(Change {
                pointer,
                what,
                day: book.zone.date(begins),
            });
        }
    };
    for (row, spring) in instrument.springs.iter().enumerate() {
        add(&spring.from, format!("/spring/{row}"), "new spring");
    }
    for (row, service) in instrument.services.iter().enumerate() {
        let what = match service.kind {
            ServiceKind::Repair => "repair",
            ServiceKind::Adjustment => "adjustment",
            ServiceKind::Move => "move",
            ServiceKind::Calibration => continue,
        };
        add(&service.date, format!("/service/{row}"), what);
    }
    changes
}

impl<'a> Member<'a> {
    fn broken(id: &'a str) -> Member<'a> {
        Member {
            id,
            record: None,
            state: State::OutOfService,
            usable: false,
            reasons: vec!["its file has errors, which shearbook validate tells".to_owned()],
            last: None,
            last_pass: None,
            awaits_repeat: None,
            failed_twice: None,
            pairs: Vec::new(),
            changes: Vec::new(),
            interval: None,
            next_due: None,
            days_left: None,
            notice_days: 0,
            calibration: None,
            calibration_notice_days: 0,
            trend: None,
        }
    }

    fn of(
        book: &'a Book,
        record: &'a Loaded<Instrument>,
        id: &'a str,
        (checks, sessions): (&[Seen<'a>], &'a Sessions),
        as_of: Date,
        at: Timestamp,
    ) -> Member<'a> {
        let policy = book.policy_at(as_of, record.group.as_deref());
        let last_pass = checks.iter().rfind(|seen| is_pass(seen.facts)).copied();
        let first_counted = checks
            .iter()
            .find(|seen| seen.facts.verdict != Some(Verdict::Void));
        let last = checks.last().copied();
        let pairs = pairs(checks);
        let after_pass = |seen: &Seen<'_>| {
            last_pass.is_none_or(|pass| {
                (seen.facts.performed, seen.id) > (pass.facts.performed, pass.id)
            })
        };
        let failed_twice = pairs
            .iter()
            .rfind(|(_, repeat)| after_pass(repeat))
            .copied();
        let awaits_repeat = last.filter(|seen| {
            failed_twice.is_none()
                && (is_fail(seen.facts) || seen.facts.verdict == Some(Verdict::Void))
        });
        let since = last_pass.or(first_counted.copied());
        let changes = since
            .map(|since| changes(book, record, since.facts.performed, at))
            .unwrap_or_default();
        let interval = policy.and_then(|policy| {
            let class = policy
                .interval
                .iter()
                .find(|(name, _)| *name == record.usage);
            Some((policy, class?.1?))
        });
        let next_due = last_pass.zip(interval).and_then(|(pass, (_, days))| {
            pass.day
                .checked_add(jiff::Span::new().try_days(days).ok()?)
                .ok()
        });
        let days_left = next_due.map(|due| days_between(as_of, due));
        let calibration = full_calibration_at(book, record, at, policy);
        let span = calibration
            .as_ref()
            .and_then(|calibration| Some(days_between(calibration.day, calibration.due?)));
        let longest = policy.and_then(|policy| {
            let classes = policy.interval.iter();
            classes.filter_map(|(_, days)| *days).max()
        });
        let trend = trend(&trend::Basis {
            book,
            instrument: record,
            checks,
            sessions,
            next: next_due.map(|due| due.max(as_of)),
            interval: interval.map(|(_, days)| days).zip(longest),
            at,
        });
        let mut member = Member {
            id,
            record: Some(record),
            state: State::InDate,
            usable: false,
            reasons: Vec::new(),
            last,
            last_pass,
            awaits_repeat,
            failed_twice,
            pairs,
            changes,
            interval,
            next_due,
            days_left,
            notice_days: notice_days(policy, interval.map_or(0, |(_, days)| days)),
            calibration,
            calibration_notice_days: notice_days(policy, span.unwrap_or(0)),
            trend: Some(trend),
        };
        member.settle(book, record, first_counted.is_some(), at, as_of);
        member
    }

    /// Finds the state and the reasons.
    fn settle(
        &mut self,
        book: &Book,
        record: &Loaded<Instrument>,
        checked: bool,
        at: Timestamp,
        as_of: Date,
    ) {
        let mut held = Vec::new();
        let out = match standing_at(book, &record.standings, at) {
            None => Some("it has not been put into service yet".to_owned()),
            Some((_, row)) if row.state == StandingState::InService => None,
            Some((_, row)) => {
                let reason = row.reason.as_deref().unwrap_or("no reason given");
                Some(format!("{} from {}: {reason}", row.state.word(), row.from))
            }
        };
        let no_spring = spring_at(book, record, at).is_none();
        let no_spring = no_spring.then(|| "it has no spring in force".to_owned());
        if let Some(reason) = out.or(no_spring) {
            self.state = State::OutOfService;
            self.reasons = vec![reason];
            return;
        }
        if !checked {
            held.push((
                State::NeverChecked,
                "no check of it has counted yet".to_owned(),
            ));
        }
        if let Some((first, repeat)) = &self.failed_twice {
            let reason = format!(
                "check {} and its repeat {} both failed",
                first.id, repeat.id
            );
            held.push((State::Failed, reason));
        }
        if let Some(last) = &self.awaits_repeat {
            let how = match is_fail(last.facts) {
                true => "failed",
                false => "was void for the instrument's sake",
            };
            held.push((
                State::RepeatNeeded,
                format!("check {} {how} and no check followed", last.id),
            ));
        }
        for change in &self.changes {
            let reason = format!(
                "{} on {}, and no check has passed since",
                change.what, change.day
            );
            held.push((State::CheckNeeded, reason));
        }
        if self.last_pass.is_some() && self.next_due.is_none() {
            let reason = "no policy in force says how long its last check holds".to_owned();
            held.push((State::CheckNeeded, reason));
        }
        if let Some(due) = self.next_due {
            if as_of > due {
                held.push((State::Overdue, format!("its check was due on {due}")));
            } else if is_soon(as_of, due, self.notice_days) {
                self.state = State::DueSoon;
            }
        }
        if let Some((worst, _)) = held.first() {
            self.state = *worst;
        }
        self.reasons = held.into_iter().map(|(_, reason)| reason).collect();
        match self.service_due() {
            _ if self.calibration.is_none() => {
                self.reasons
                    .push("it has had no full calibration".to_owned());
            }
            Some(due) if as_of > due => {
                self.reasons
                    .push(format!("its full calibration was due on {due}"));
            }
            None => self
                .reasons
                .push("nothing says how long its full calibration holds".to_owned()),
            Some(_) => {}
        }
        self.usable = self.reasons.is_empty();
    }

    pub fn service_due(&self) -> Option<Date> {
        self.calibration.as_ref()?.due
    }

    /// It stands in service on the day, so what is due concerns somebody.
    pub fn in_service(&self) -> bool {
        self.state != State::OutOfService
    }

    /// The instrument's file, where the fleet has something to say of it: only while it stands in service.
    pub fn speaks(&self) -> Option<&'a Loaded<Instrument>> {
        self.record.filter(|_| self.in_service())
    }
}

impl<'a> Fleet<'a> {
    /// The fleet of a book on a day, from its judged checks, the paths of the checks with errors, and what was kept of each
    /// check for its trends.
    pub fn on(
        book: &'a Book,
        links: &'a Links,
        with_errors: &BTreeSet<String>,
        sessions: &'a Sessions,
        as_of: Date,
    ) -> Fleet<'a> {
        let at = book.end_of(as_of);
        let (checks, uncounted) = history(book, links, with_errors, at);
        let members = book
            .instruments
            .ids()
            .map(|id| match book.instruments.named(id) {
                Named::Sound(record) if !with_errors.contains(&record.doc.path) => {
                    let own = checks.get(id).map(Vec::as_slice).unwrap_or_default();
                    Member::of(book, record, id, (own, sessions), as_of, at)
                }
                _ => Member::broken(id),
            })
            .collect();
        Fleet {
            book,
            as_of,
            at,
            policy: book.policy_at(as_of, None),
            members,
            uncounted,
            with_errors: with_errors
                .iter()
                .filter(|path| !matches!(layout::record(path), Ok((Kind::Check, _))))
                .cloned()
                .collect(),
        }
    }

    /// As [`Fleet::on`], for those that ask for no trend.
    pub fn without_trends(
        book: &'a Book,
        links: &'a Links,
        with_errors: &BTreeSet<String>,
        as_of: Date,
    ) -> Fleet<'a> {
        static NONE: Sessions = Sessions::new();
        Fleet::on(book, links, with_errors, &NONE, as_of)
    }

    /// How many instruments are in each state, from the worst.
    pub fn totals(&self) -> Vec<(State, usize)> {
        use crate::record::Word;
        let count = |state: State| {
            self.members
                .iter()
                .filter(|member| member.state == state)
                .count()
        };
        State::ALL
            .iter()
            .map(|(_, state)| (*state, count(*state)))
            .collect()
    }

    /// The nonconformities that had been opened.
    pub fn opened(&self) -> impl Iterator<Item = &'a Loaded<Nonconformity>> {
        let as_of = self.as_of;
        self.book
            .nonconformities
            .sound()
            .filter(move |record| record.opened <= as_of)
    }

    /// Whether nonconformities name both checks of a pair, in whatever amendment.
    pub fn is_answered(&self, pair: &Pair<'_>) -> bool {
        let named: BTreeSet<String> = self
            .opened()
            .flat_map(|record| &record.checks)
            .map(|id| first_id(id))
            .collect();
        named.contains(&first_id(pair.0.id)) && named.contains(&first_id(pair.1.id))
    }

    /// The last day of a duty that a person has on the day, where no other row goes on.
    pub fn last_day(&self, person: &Person, row: &Authorised) -> Option<Date> {
        let until = row.until?;
        let begun = self.book.zone.begins(&row.from) <= self.at;
        let goes_on = person.authorised.iter().any(|other| {
            other.duty == row.duty
                && other.until.is_none_or(|last| last > until)
                && days_between(
                    until,
                    self.book.zone.date(self.book.zone.begins(&other.from)),
                ) <= 1
        });
        (begun && !goes_on).then_some(until)
    }
}
