//! The facts of one snapshot of a book, indexed. A broken record is known as broken, so that it causes one finding and not thirty.

pub mod agreement;
pub mod computed;
pub mod evidence;
pub mod figures;
pub mod line;
pub mod review;
pub mod view;
pub mod zone;

use crate::finding::Place;
use crate::parse::layout;
use crate::parse::{Disagreement, Doc, Fault, Parsed, parse};
use crate::record::bath::Bath;
use crate::record::book::Book as Marker;
use crate::record::check::{Verdict, VoidCause};
use crate::record::fluid::Fluid;
use crate::record::geometry::Geometry;
use crate::record::instrument::Instrument;
use crate::record::nonconformity::Nonconformity;
use crate::record::person::{Duty, Person};
use crate::record::policy::Policy;
use crate::record::review::Review;
use crate::record::thermometer::Thermometer;
use crate::record::{Kind, Record};
use crate::source::{Entry, Source, SourceError, What, each_of};
use crate::text::Position;
use compact_str::CompactString;
use jiff::civil::Date;
use jiff::{Timestamp, ToSpan};
use review::ReviewFacts;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, PoisonError};
use view::View;
use zone::Zone;

/// A record with the file that it was read from.
#[derive(Clone, Debug)]
pub struct Loaded<R> {
    pub doc: Doc,
    pub record: R,
}

impl<R> Loaded<R> {
    /// The place of a key in the record's file; where it is missing, of the nearest table.
    pub fn at(&self, pointer: &str) -> Place {
        self.doc.place(pointer)
    }
}

impl<R> std::ops::Deref for Loaded<R> {
    type Target = R;

    fn deref(&self) -> &R {
        &self.record
    }
}

/// What is known of one record.
#[derive(Debug)]
enum Held<R> {
    Sound(Loaded<R>),
    Broken,
    /// Its file was not asked for.
    Unread,
}

/// The records of one kind by id.
#[derive(Debug)]
pub struct Shelf<R> {
    records: BTreeMap<String, Held<R>>,
    /// The folder itself is a link or a special file, so nobody knows what is in it.
    unknown: bool,
    /// The ids of records that somebody wanted to see and that were not read.
    missed: Mutex<BTreeSet<String>>,
}

impl<R> Default for Shelf<R> {
    fn default() -> Self {
        Shelf {
            records: BTreeMap::new(),
            unknown: false,
            missed: Mutex::default(),
        }
    }
}

/// What a name stands for.
#[derive(Debug)]
pub enum Named<'a, R> {
    Sound(&'a Loaded<R>),
    /// Its file has findings of its own.
    Broken,
    Missing,
}

impl<'a, R> Named<'a, R> {
    pub fn sound(&self) -> Option<&'a Loaded<R>> {
        match self {
            Named::Sound(loaded) => Some(loaded),
            _ => None,
        }
    }
}

impl<R> Shelf<R> {
    pub fn named(&self, id: &str) -> Named<'_, R> {
        match self.records.get(id) {
            Some(Held::Sound(loaded)) => Named::Sound(loaded),
            Some(Held::Broken) => Named::Broken,
            Some(Held::Unread) => {
                self.miss(id);
                Named::Broken
            }
            None if self.unknown => Named::Broken,
            None => Named::Missing,
        }
    }

    /// There is no such record, sound or broken.
    pub fn lacks(&self, id: &str) -> bool {
        !self.unknown && !self.records.contains_key(id)
    }

    pub fn sound(&self) -> impl Iterator<Item = &Loaded<R>> {
        self.miss_unread();
        self.read()
    }

    /// The sound ones among those that were read.
    fn read(&self) -> impl Iterator<Item = &Loaded<R>> {
        self.records.values().filter_map(|held| match held {
            Held::Sound(loaded) => Some(loaded),
            _ => None,
        })
    }

    pub fn any_broken(&self) -> bool {
        self.miss_unread();
        let broken = |held: &Held<R>| matches!(held, Held::Broken);
        self.unknown || self.records.values().any(broken)
    }

    fn miss(&self, id: &str) {
        let mut missed = self.missed.lock().unwrap_or_else(PoisonError::into_inner);
        missed.insert(id.to_owned());
    }

    fn miss_unread(&self) {
        for (id, held) in &self.records {
            if matches!(held, Held::Unread) {
                self.miss(id);
            }
        }
    }

    pub fn ids(&self) -> impl Iterator<Item = &str> + Clone {
        self.records.keys().map(String::as_str)
    }
}

/// When the book is looked at.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    /// The real time.
    pub now: Timestamp,
    /// The day that the fleet is looked at, where it is not today.
    pub as_of: Option<Date>,
}

/// The book, but for its checks.
#[derive(Debug)]
pub struct Book {
    pub clock: Clock,
    pub zone: Zone,
    zone_known: bool,
    /// `None` where the marker is broken.
    pub marker: Option<Loaded<Marker>>,
    pub policies: Shelf<Policy>,
    pub people: Shelf<Person>,
    pub instruments: Shelf<Instrument>,
    pub geometries: Shelf<Geometry>,
    pub fluids: Shelf<Fluid>,
    pub thermometers: Shelf<Thermometer>,
    pub baths: Shelf<Bath>,
    pub nonconformities: Shelf<Nonconformity>,
    /// Faults of the files above, as they were read.
    pub faults: Vec<Fault>,
    /// All paths seen in the fact folders.
    pub entries: Vec<Entry>,
    pub files_read: usize,
    /// A policy that judges as if it had always been in force; it stands on no shelf.
    tried: Option<Loaded<Policy>>,
}

/// Why a book could not be judged.
#[derive(Clone, Debug)]
pub enum LoadError {
    Source(SourceError),
    Ours(Disagreement),
}

impl From<SourceError> for LoadError {
    fn from(error: SourceError) -> LoadError {
        LoadError::Source(error)
    }
}

impl From<Disagreement> for LoadError {
    fn from(error: Disagreement) -> LoadError {
        LoadError::Ours(error)
    }
}

struct Loading<'a> {
    source: &'a dyn Source,
    /// The paths of the records that are read; `None` for all.
    wanted: Option<&'a BTreeSet<String>>,
    faults: Vec<Fault>,
    entries: Vec<Entry>,
    files_read: usize,
}

impl Loading<'_> {
    fn read<R: Record>(&mut self, path: &str) -> Result<Option<Loaded<R>>, LoadError> {
        let Some(bytes) = self.source.read(path)? else {
            return Ok(None);
        };
        let parsed = parse::<R>(path, bytes)?;
        Ok(self.keep(parsed))
    }

    fn keep<R: Record>(&mut self, parsed: Parsed<R>) -> Option<Loaded<R>> {
        self.files_read += 1;
        self.faults.extend(parsed.faults);
        Some(Loaded {
            doc: parsed.doc?,
            record: parsed.record?,
        })
    }

    fn shelf<R: Record>(&mut self) -> Result<Shelf<R>, LoadError> {
        let mut shelf = Shelf::default();
        let entries = self.source.list(R::KIND.folder())?;
        let records: Vec<(&str, &str)> = entries
            .iter()
            .filter(|entry| entry.what == What::File)
            .filter_map(|entry| Some((entry.path.as_str(), layout::record(&entry.path).ok()?)))
            .filter(|(_, (kind, _))| *kind == R::KIND)
            .map(|(path, (_, id))| (path, id))
            .collect();
        let wanted = self.wanted;
        // Which policy is in force only all of them tell.
        let is_wanted = |path: &str| {
            R::KIND == Kind::Policy || wanted.is_none_or(|wanted| wanted.contains(path))
        };
        let (wanted, others): (Vec<_>, Vec<_>) =
            records.into_iter().partition(|(path, _)| is_wanted(path));
        shelf.unknown = entries.iter().any(|entry| entry.path == R::KIND.folder());
        for (_, id) in others {
            shelf.records.insert(id.to_owned(), Held::Unread);
        }
        self.fill(&mut shelf, &wanted)?;
        self.entries.extend(entries);
        Ok(shelf)
    }

    /// Reads records, by path and id, into their shelf.
    fn fill<R: Record>(
        &mut self,
        shelf: &mut Shelf<R>,
        wanted: &[(&str, &str)],
    ) -> Result<(), LoadError> {
        let source = self.source;
        let read = each_of(wanted, |(path, _)| -> Result<_, LoadError> {
            let bytes = source.read(path)?;
            Ok(bytes.map(|bytes| parse::<R>(path, bytes)).transpose()?)
        })?;
        for ((_, id), parsed) in wanted.iter().zip(read) {
            let held = match parsed.and_then(|parsed| self.keep(parsed)) {
                Some(loaded) => Held::Sound(loaded),
                None => Held::Broken,
            };
            shelf.records.insert((*id).to_owned(), held);
        }
        Ok(())
    }

    /// Reads what somebody missed on a shelf; `false` where there was nothing.
    fn complete<R: Record>(&mut self, shelf: &mut Shelf<R>) -> Result<bool, LoadError> {
        let missed = shelf.missed.get_mut();
        let ids = std::mem::take(missed.unwrap_or_else(PoisonError::into_inner));
        let paths: Vec<String> = ids.iter().map(|id| layout::path_of(R::KIND, id)).collect();
        let wanted: Vec<(&str, &str)> = paths
            .iter()
            .map(String::as_str)
            .zip(ids.iter().map(String::as_str))
            .collect();
        self.fill(shelf, &wanted)?;
        Ok(!ids.is_empty())
    }
}

impl Book {
    /// Reads all facts of a book: everything but checks and reviews.
    pub fn facts(source: &dyn Source, clock: Clock) -> Result<Book, LoadError> {
        Book::some_facts(source, clock, None)
    }

    /// Reads the marker, the policies and the facts of these paths. Of the others it is known that they are there;
    /// [`Book::complete`] reads those among them that were wanted since.
    pub fn some_facts(
        source: &dyn Source,
        clock: Clock,
        wanted: Option<&BTreeSet<String>>,
    ) -> Result<Book, LoadError> {
        let mut loading = Loading {
            source,
            wanted,
            faults: Vec::new(),
            entries: Vec::new(),
            files_read: 0,
        };
        if source.read(layout::MARKER)?.is_none() {
            return Err(LoadError::Source(SourceError::new(
                format!("there is no {} here", layout::MARKER),
                "go to the folder of your book, or name it with --book DIR",
            )));
        }
        if source.what(layout::MARKER)? == Some(What::NotAFile) {
            loading.entries.push(Entry {
                path: layout::MARKER.to_owned(),
                what: What::NotAFile,
            });
        }
        for name in source
            .top()?
            .iter()
            .filter(|name| layout::twin(name).is_some())
        {
            let below = source.list(name)?;
            let lone = || Entry {
                path: name.clone(),
                what: What::File,
            };
            match below.is_empty() {
                true => loading.entries.push(lone()),
                false => loading.entries.extend(below),
            }
        }
        let marker = loading.read::<Marker>(layout::MARKER)?;
        let zone = marker
            .as_ref()
            .and_then(|marker| Zone::named(&marker.time_zone));
        Ok(Book {
            clock,
            zone_known: zone.is_some(),
            zone: zone.unwrap_or_else(Zone::utc),
            marker,
            policies: loading.shelf()?,
            people: loading.shelf()?,
            instruments: loading.shelf()?,
            geometries: loading.shelf()?,
            fluids: loading.shelf()?,
            thermometers: loading.shelf()?,
            baths: loading.shelf()?,
            nonconformities: loading.shelf()?,
            faults: loading.faults,
            entries: loading.entries,
            files_read: loading.files_read,
            tried: None,
        })
    }

    /// Reads the marker and some people, by the paths of their files; whatever else is asked about is not known.
    pub fn people(
        source: &dyn Source,
        clock: Clock,
        wanted: &BTreeSet<String>,
    ) -> Result<Book, LoadError> {
        fn unknown<R>() -> Shelf<R> {
            Shelf {
                unknown: true,
                ..Shelf::default()
            }
        }
        let mut loading = Loading {
            source,
            wanted: Some(wanted),
            faults: Vec::new(),
            entries: Vec::new(),
            files_read: 0,
        };
        let marker = loading.read::<Marker>(layout::MARKER)?;
        let zone = marker
            .as_ref()
            .and_then(|marker| Zone::named(&marker.time_zone));
        Ok(Book {
            clock,
            zone_known: zone.is_some(),
            zone: zone.unwrap_or_else(Zone::utc),
            marker,
            policies: unknown(),
            people: loading.shelf()?,
            instruments: unknown(),
            geometries: unknown(),
            fluids: unknown(),
            thermometers: unknown(),
            baths: unknown(),
            nonconformities: unknown(),
            faults: loading.faults,
            entries: loading.entries,
            files_read: loading.files_read,
            tried: None,
        })
    }

    /// Reads the facts that were not read and that somebody wanted to see; `false` where there was none.
    pub fn complete(&mut self, source: &dyn Source) -> Result<bool, LoadError> {
        let mut loading = Loading {
            source,
            wanted: None,
            faults: Vec::new(),
            entries: Vec::new(),
            files_read: 0,
        };
        let read = [
            loading.complete(&mut self.policies)?,
            loading.complete(&mut self.people)?,
            loading.complete(&mut self.instruments)?,
            loading.complete(&mut self.geometries)?,
            loading.complete(&mut self.fluids)?,
            loading.complete(&mut self.thermometers)?,
            loading.complete(&mut self.baths)?,
            loading.complete(&mut self.nonconformities)?,
        ];
        self.files_read += loading.files_read;
        self.faults.append(&mut loading.faults);
        Ok(read.contains(&true))
    }

    /// The zone is known; without one no check has a date.
    pub fn zone_known(&self) -> bool {
        self.zone_known
    }

    /// Today in the book's zone, or the day that was asked for.
    pub fn as_of(&self) -> Date {
        self.clock
            .as_of
            .unwrap_or_else(|| self.zone.date(self.clock.now))
    }

    /// Has a policy judge in place of every other that would judge the same instruments, on every day.
    pub fn try_policy(&mut self, policy: Loaded<Policy>) {
        self.tried = Some(policy);
    }

    /// The policy that is tried.
    pub fn tried(&self) -> Option<&Loaded<Policy>> {
        self.tried.as_ref()
    }

    /// The policy in force on a day for a group of instruments.
    pub fn policy_at(&self, date: Date, group: Option<&str>) -> Option<&Loaded<Policy>> {
        let in_force = |policy: &&Loaded<Policy>| policy.effective <= date;
        let newest = |policies: Vec<&'_ Loaded<Policy>>| -> Option<usize> {
            let best = policies
                .iter()
                .enumerate()
                .max_by_key(|(_, policy)| policy.effective)?;
            Some(best.0)
        };
        let names = |policy: &&Loaded<Policy>| {
            let groups = policy.groups.as_deref().unwrap_or_default();
            group.is_some_and(|group| groups.iter().any(|name| name == group))
        };
        let own: Vec<_> = self
            .policies
            .sound()
            .filter(in_force)
            .filter(names)
            .collect();
        // One without groups leaves those to the policies that name them.
        let tried = self.tried.as_ref().filter(|tried| match tried.groups {
            Some(_) => names(tried),
            None => own.is_empty(),
        });
        if tried.is_some() {
            return tried;
        }
        if let Some(index) = newest(own.clone()) {
            return own.get(index).copied();
        }
        let general: Vec<_> = self
            .policies
            .sound()
            .filter(in_force)
            .filter(|policy| policy.groups.is_none())
            .collect();
        let index = newest(general.clone())?;
        general.get(index).copied()
    }

    /// Whether a person may do this at that time: some row begins not later and ends not before that day.
    pub fn authorised(&self, person: &Person, duty: Duty, at: Timestamp) -> bool {
        let day = self.zone.date(at);
        person.authorised.iter().any(|row| {
            row.duty == duty
                && self.zone.begins(&row.from) <= at
                && row.until.is_none_or(|until| day <= until)
        })
    }

    /// The last instant of a day in the book's zone: what is dated later is not seen on that day.
    pub fn end_of(&self, day: Date) -> Timestamp {
        let next = day.checked_add(1.day());
        next.map_or(Timestamp::MAX, |next| {
            let start = self.zone.start_of(next);
            start.checked_sub(1.nanosecond()).unwrap_or(start)
        })
    }

    /// As [`Book::authorised`], on any time of a day.
    pub fn authorised_on(&self, person: &Person, duty: Duty, day: Date) -> bool {
        person.authorised.iter().any(|row| {
            row.duty == duty
                && self.zone.date(self.zone.begins(&row.from)) <= day
                && row.until.is_none_or(|until| day <= until)
        })
    }
}

/// What is kept of a check once it has been judged: enough for those that name it, and for the fleet.
///
/// A book has many checks, so texts that many share are held once.
#[derive(Clone, Debug)]
pub struct CheckFacts {
    common: Arc<Common>,
    pub performed: Timestamp,
    /// What most checks do not have.
    seldom: Option<Box<Seldom>>,
    /// Its policy asks for a review, so a rejected one does not count.
    pub needs_review: bool,
    /// It is sealed, and its figures could be worked out anew; else nobody knows whether its verdict holds.
    pub confirmed: bool,
    /// As judged now, else as recorded.
    pub verdict: Option<Verdict>,
    pub void_cause: Option<VoidCause>,
    position: Position,
    /// So much of the pointer to the verdict as was found.
    found: u8,
}

/// What many checks have in common.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Common {
    instrument: CompactString,
    folder: CompactString,
    /// The line of the verdict.
    excerpt: CompactString,
}

#[derive(Clone, Debug)]
struct Seldom {
    amended: Option<Timestamp>,
    repeats: Option<Box<str>>,
}

/// Where the verdict of a check stands.
const VERDICT: &str = "/computed/verdict";

impl CheckFacts {
    pub fn instrument(&self) -> &str {
        &self.common.instrument
    }

    /// Of an amendment: when.
    pub fn amended(&self) -> Option<Timestamp> {
        self.seldom.as_ref()?.amended
    }

    /// The check that it repeats.
    pub fn repeats(&self) -> Option<&str> {
        self.seldom.as_ref()?.repeats.as_deref()
    }

    /// The place of the verdict of the check with this id; without one of the nearest table.
    pub fn place(&self, id: &str) -> Place {
        Place {
            path: format!("{}/{id}.toml", self.common.folder),
            line: self.position.line,
            column: self.position.column,
            width: self.position.width,
            pointer: VERDICT[..usize::from(self.found).min(VERDICT.len())].to_owned(),
            excerpt: self.common.excerpt.to_string(),
        }
    }
}

/// What was kept of checks and many more of them will have.
#[derive(Debug, Default)]
pub struct Shared(Mutex<BTreeSet<Arc<Common>>>);

impl Shared {
    fn once(&self, common: Common) -> Arc<Common> {
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = known.get(&common) {
            return known.clone();
        }
        let new = Arc::new(common);
        known.insert(new.clone());
        new
    }

    /// What is kept of a check.
    pub fn facts(
        &self,
        view: &View<'_>,
        verdict: Option<Verdict>,
        void_cause: Option<VoidCause>,
    ) -> CheckFacts {
        let (node, found) = view.doc.root.nearest(VERDICT);
        let (position, excerpt) = view.doc.text.only_position(node.span);
        let suffix = view.id.len() + "/.toml".len();
        let folder = view.doc.path.len().saturating_sub(suffix);
        let amended = view.check.amended.as_ref();
        let amended = amended.and_then(|amended| view.book.zone.instant(amended).ok());
        let repeats = view.check.repeats.as_deref().map(Box::from);
        CheckFacts {
            common: self.once(Common {
                instrument: view.check.instrument.clone(),
                folder: view.doc.path.get(..folder).unwrap_or("").into(),
                excerpt: excerpt.into(),
            }),
            performed: view.performed,
            seldom: (amended.is_some() || repeats.is_some())
                .then(|| Box::new(Seldom { amended, repeats })),
            confirmed: view.check.computed.is_some()
                && (view.check.void
                    || view
                        .judgement
                        .as_ref()
                        .is_some_and(|judgement| judgement.verdict.is_some())),
            needs_review: view.policy.is_some_and(|policy| policy.review_required),
            verdict,
            void_cause,
            position,
            found: u8::try_from(found.len()).unwrap_or(0),
        }
    }
}

/// What is kept of checks, in order of id; a list, since a tree would take twice the memory.
///
/// A check that is there but broken has no facts.
#[derive(Debug, Default)]
pub struct Checks(Vec<(Box<str>, Option<CheckFacts>)>);

impl Checks {
    /// Of checks in any order; of two with one id, one of them in the wrong folder, the last.
    pub fn of(mut checks: Vec<(Box<str>, Option<CheckFacts>)>) -> Checks {
        checks.sort_by(|one, other| one.0.cmp(&other.0));
        checks.dedup_by(|later, earlier| {
            let same = later.0 == earlier.0;
            if same {
                std::mem::swap(later, earlier);
            }
            same
        });
        Checks(checks)
    }

    fn find(&self, id: &str) -> Result<usize, usize> {
        self.0.binary_search_by(|(known, _)| (**known).cmp(id))
    }

    /// `None` where there is no such check; within it `None` where it is broken.
    pub fn get(&self, id: &str) -> Option<Option<&CheckFacts>> {
        let at = self.find(id).ok()?;
        self.0.get(at).map(|(_, facts)| facts.as_ref())
    }

    pub fn contains(&self, id: &str) -> bool {
        self.find(id).is_ok()
    }

    /// One more check, where it is not there already. Meant for few.
    pub fn insert(&mut self, id: &str, facts: Option<CheckFacts>) {
        if let Err(at) = self.find(id) {
            self.0.insert(at, (id.into(), facts));
        }
    }

    /// As [`Checks::get`], with the id as it is held here.
    pub fn entry(&self, id: &str) -> Option<(&str, Option<&CheckFacts>)> {
        let (id, facts) = self.0.get(self.find(id).ok()?)?;
        Some((id, facts.as_ref()))
    }

    /// The first record of a check and its amendments, by the id of the first.
    pub fn line<'a>(
        &'a self,
        first: &str,
    ) -> impl Iterator<Item = (&'a str, Option<&'a CheckFacts>)> {
        let from = self.find(first).unwrap_or_else(|at| at);
        let below = self.0.get(from..).unwrap_or_default().iter();
        below
            .map(|(id, facts)| (&**id, facts.as_ref()))
            .take_while(move |(id, _)| id.starts_with(first))
            .filter(move |(id, _)| {
                let rest = id.strip_prefix(first);
                rest.is_some_and(|rest| rest.is_empty() || rest.starts_with(".a"))
            })
    }

    pub fn iter(&self) -> impl Iterator<Item = (&str, Option<&CheckFacts>)> {
        self.0.iter().map(|(id, facts)| (&**id, facts.as_ref()))
    }
}

/// Other checks and their reviews, by check id; and the reviews of records, by folder and id.
#[derive(Debug, Default)]
pub struct Links {
    pub checks: Checks,
    pub reviews: BTreeMap<String, Vec<ReviewFacts>>,
    pub record_reviews: BTreeMap<String, Vec<ReviewFacts>>,
}

/// One record of the facts, for rules that look at one by itself.
#[derive(Clone, Copy)]
pub enum Fact<'a> {
    Marker(&'a Loaded<Marker>),
    Policy(&'a Loaded<Policy>),
    Person(&'a Loaded<Person>),
    Instrument(&'a Loaded<Instrument>),
    Geometry(&'a Loaded<Geometry>),
    Fluid(&'a Loaded<Fluid>),
    Thermometer(&'a Loaded<Thermometer>),
    Bath(&'a Loaded<Bath>),
    Review(&'a Loaded<Review>),
    Nonconformity(&'a Loaded<Nonconformity>),
}

impl<'a> Fact<'a> {
    pub fn doc(&self) -> &'a Doc {
        match self {
            Fact::Marker(record) => &record.doc,
            Fact::Policy(record) => &record.doc,
            Fact::Person(record) => &record.doc,
            Fact::Instrument(record) => &record.doc,
            Fact::Geometry(record) => &record.doc,
            Fact::Fluid(record) => &record.doc,
            Fact::Thermometer(record) => &record.doc,
            Fact::Bath(record) => &record.doc,
            Fact::Review(record) => &record.doc,
            Fact::Nonconformity(record) => &record.doc,
        }
    }

    /// The kind and the record's own id; a marker and a review have none.
    pub fn id(&self) -> (Kind, Option<&'a str>) {
        match self {
            Fact::Marker(_) => (Kind::Book, None),
            Fact::Policy(record) => (Kind::Policy, Some(&record.id)),
            Fact::Person(record) => (Kind::Person, Some(&record.id)),
            Fact::Instrument(record) => (Kind::Instrument, Some(&record.id)),
            Fact::Geometry(record) => (Kind::Geometry, Some(&record.id)),
            Fact::Fluid(record) => (Kind::Fluid, Some(&record.id)),
            Fact::Thermometer(record) => (Kind::Thermometer, Some(&record.id)),
            Fact::Bath(record) => (Kind::Bath, Some(&record.id)),
            Fact::Review(_) => (Kind::Review, None),
            Fact::Nonconformity(record) => (Kind::Nonconformity, Some(&record.id)),
        }
    }
}

impl Book {
    /// The sound facts that were read.
    pub fn each_fact(&self) -> Vec<Fact<'_>> {
        let mut facts: Vec<Fact<'_>> = self.marker.iter().map(Fact::Marker).collect();
        facts.extend(self.policies.read().map(Fact::Policy));
        facts.extend(self.people.read().map(Fact::Person));
        facts.extend(self.instruments.read().map(Fact::Instrument));
        facts.extend(self.geometries.read().map(Fact::Geometry));
        facts.extend(self.fluids.read().map(Fact::Fluid));
        facts.extend(self.thermometers.read().map(Fact::Thermometer));
        facts.extend(self.baths.read().map(Fact::Bath));
        facts.extend(self.nonconformities.read().map(Fact::Nonconformity));
        facts
    }
}
