//! Judges a snapshot of a book: reads its facts, then each check once, then what checks say of one another.

use super::{Out, RULES, Rule, Run, Touched, support};
use crate::book::review::ReviewFacts;
use crate::book::view::View;
use crate::book::zone::Zone;
use crate::book::{Book, CheckFacts, Checks, Clock, Fact, Links, LoadError, Loaded, Shared};
use crate::finding::{Finding, Place, Severity};
use crate::fleet::Fleet;
use crate::parse::layout::{self, CheckName};
use crate::parse::{Doc, Fault, parse};
use crate::record::Kind;
use crate::record::check::{Check, Occasion, Verdict};
use crate::record::policy::Policy;
use crate::record::review::Review;
use crate::source::each_of;
use crate::source::{Entry, Source, What};
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};

/// Which checks and reviews are judged; the facts always are.
pub enum Wanted<'a> {
    All,
    /// These records, and what they name.
    Only(&'a [String]),
}

/// What was found, in order.
#[derive(Debug, Default)]
pub struct Outcome {
    pub findings: Vec<Finding>,
    pub files: usize,
    pub checks: usize,
    /// The book's facts; `None` where nothing had to be read.
    pub book: Option<Book>,
    /// What was kept of the checks and reviews that were read.
    pub links: Links,
    /// The paths with an error. An error of a check that a nonconformity has made a warning stands here too: it does not count.
    pub with_errors: BTreeSet<String>,
    /// Rule and path of the errors that a nonconformity has made warnings.
    pub softened: BTreeSet<(&'static str, String)>,
    /// The facts that the wanted checks rest on, where only some checks were wanted.
    pub rests_on: BTreeSet<String>,
}

impl Outcome {
    /// The day that the book was looked at: as asked for, else today in its zone.
    pub fn as_of(&self, clock: Clock) -> Date {
        let today = || match &self.book {
            Some(book) => book.zone.date(clock.now),
            None => Zone::utc().date(clock.now),
        };
        clock.as_of.unwrap_or_else(today)
    }
}

/// A record with its path, for rules about names.
pub enum NamedRecord<'a> {
    Fact(Fact<'a>),
    Check {
        id: &'a str,
        doc: &'a Doc,
        check: &'a Check,
    },
}

/// What one check came to.
#[derive(Default)]
pub(super) struct Judged {
    pub(super) findings: Vec<Finding>,
    /// Those about its reviews.
    pub(super) review_findings: Vec<Finding>,
    /// Its reviews, with the check that each names.
    pub(super) reviews: Vec<(String, ReviewFacts)>,
    /// Those beside it that name another check.
    pub(super) misnamed: Vec<Loaded<Review>>,
    facts: Option<CheckFacts>,
    rests_on: Vec<String>,
    /// Kept where the check names other checks or people's consent.
    linked: Option<Box<(Doc, Check)>>,
}

/// The path of a record and its id in it.
pub(super) type Named<'a> = (&'a str, &'a str);

/// So many checks are judged before what is kept of them is put aside.
const BATCH: usize = 1024;

pub(super) struct Judge<'a> {
    pub(super) source: &'a dyn Source,
    pub(super) book: &'a Book,
    /// The checks of the book in order of path; `None` where they are looked up one by one.
    known: Option<&'a [Named<'a>]>,
    /// The reviews of the book in order of path; `None` where they are looked up check by check.
    pub(super) reviews: Option<&'a [Named<'a>]>,
    shared: Shared,
    watch: Option<&'a Watch<'a>>,
    /// Links and special files, some perhaps in place of a folder of checks: what is below them is unknown.
    closed: Vec<String>,
}

/// Looks at each check that is judged, in no order; at some of them more than once, the last look being the right one.
pub type Watch<'a> = dyn Fn(&View<'_>) + Sync + 'a;

/// Judges a book.
pub fn run(source: &dyn Source, clock: Clock, wanted: &Wanted<'_>) -> Result<Outcome, LoadError> {
    run_and_watch(source, clock, wanted, None)
}

/// As [`run`], and shows each check to somebody who keeps more of it than an outcome does.
pub fn run_and_watch(
    source: &dyn Source,
    clock: Clock,
    wanted: &Wanted<'_>,
    watch: Option<&Watch<'_>>,
) -> Result<Outcome, LoadError> {
    let Some(facts) = few_facts(source, wanted)? else {
        return judge_and_watch(source, Book::facts(source, clock)?, wanted, watch);
    };
    let mut book = Book::some_facts(source, clock, Some(&facts))?;
    complete(source, &mut book)?;
    loop {
        let mut outcome = judge_and_watch(source, book, wanted, watch)?;
        // What is read is never missed, so this comes to an end.
        match outcome.book.take() {
            Some(judged) => book = judged,
            None => return Ok(outcome),
        }
        if !book.complete(source)? {
            outcome.book = Some(book);
            return Ok(outcome);
        }
    }
}

/// Facts name further facts, which the rules about facts alone ask for: so nothing need be judged twice.
fn complete(source: &dyn Source, book: &mut Book) -> Result<(), LoadError> {
    loop {
        let mut unsaid = Vec::new();
        say_facts(book, &mut unsaid);
        if !book.complete(source)? {
            return Ok(());
        }
    }
}

/// Judges a check for nothing and once only: where the facts are, and how they are read, is then known when it matters.
pub fn rehearse(source: &dyn Source, path: String) {
    let clock = Clock {
        now: Timestamp::UNIX_EPOCH,
        as_of: None,
    };
    let checks = [path];
    let wanted = Wanted::Only(&checks);
    // What fails here fails again, and is told then.
    if let Ok(facts) = few_facts(source, &wanted)
        && let Ok(mut book) = Book::some_facts(source, clock, facts.as_ref())
        && complete(source, &mut book).is_ok()
    {
        let _ = judge_with(source, book, &wanted);
    }
}

/// The facts that a few checks name, as far as is seen at once; `None` where all facts had better be read.
fn few_facts(
    source: &dyn Source,
    wanted: &Wanted<'_>,
) -> Result<Option<BTreeSet<String>>, LoadError> {
    /// More checks than this name most facts, and would be read twice.
    const FEW: usize = 32;
    let Wanted::Only(paths) = wanted else {
        return Ok(None);
    };
    if paths.len() > FEW {
        return Ok(None);
    }
    let mut facts = BTreeSet::new();
    for path in *paths {
        let kind = layout::record(path).map(|(kind, _)| kind);
        let is_check = matches!(kind, Ok(Kind::Check));
        if is_fact(path) {
            facts.insert(path.clone());
        } else if is_check
            && let Some(bytes) = source.read(path)?
            && let Some(check) = parse::<Check>(path, bytes)?.record
        {
            facts.extend(names_of(&check));
        }
    }
    Ok(Some(facts))
}

/// What the rules about facts say of those that were read.
fn say_facts(book: &Book, findings: &mut Vec<Finding>) {
    for fact in book.each_fact() {
        each(
            |run, out| match run {
                Run::Fact(rule) => rule(book, fact, out),
                Run::Named(rule) => rule(book, NamedRecord::Fact(fact), out),
                _ => {}
            },
            findings,
        );
    }
}

pub(super) fn judge_with(
    source: &dyn Source,
    book: Book,
    wanted: &Wanted<'_>,
) -> Result<Outcome, LoadError> {
    judge_and_watch(source, book, wanted, None)
}

fn judge_and_watch(
    source: &dyn Source,
    book: Book,
    wanted: &Wanted<'_>,
    watch: Option<&Watch<'_>>,
) -> Result<Outcome, LoadError> {
    let mut findings = Vec::new();
    let mut entries = Vec::new();
    let mut named: Vec<Entry> = Vec::new();
    let mut reviews_from = 0;
    let mut reviews_to = 0;
    match wanted {
        Wanted::All => {
            entries = source.list(Kind::Check.folder())?;
            reviews_from = entries.len();
            let reviews = source.list(Kind::Review.folder())?;
            reviews_to = reviews_from + reviews.len();
            entries.reserve_exact(reviews.len() + book.entries.len());
            entries.extend(reviews);
        }
        Wanted::Only(paths) => named.extend(paths.iter().map(|path| Entry {
            path: path.clone(),
            what: What::File,
        })),
    }
    entries.extend_from_slice(&book.entries);
    let (checks, reviews) = match wanted {
        Wanted::All => (
            records(&entries[..reviews_from]),
            records(&entries[reviews_from..reviews_to]),
        ),
        Wanted::Only(_) => {
            let of = |kind| {
                let all = records(&named).into_iter();
                all.filter(|(path, _)| path.starts_with(&format!("{}/", Kind::folder(kind))))
                    .collect::<Vec<_>>()
            };
            (of(Kind::Check), of(Kind::Review))
        }
    };
    let known = matches!(wanted, Wanted::All).then_some(&checks[..]);
    let judge = Judge {
        source,
        book: &book,
        known,
        reviews: known.map(|_| &reviews[..]),
        shared: Shared::default(),
        watch,
        closed: closed(&entries),
    };

    say_faults(&book.faults, &mut findings);
    say_facts(&book, &mut findings);
    let of_paths = || {
        let mut findings = Vec::new();
        each(
            |run, out| match run {
                Run::Paths(rule) => rule(&book, &entries, out),
                Run::Entries(rule) => rule(&entries, out),
                _ => {}
            },
            &mut findings,
        );
        raise_by_policy_in_force(&book, &mut findings);
        findings
    };
    raise_by_policy_in_force(&book, &mut findings);

    let mut outcome = Outcome {
        files: book.files_read + checks.len(),
        checks: checks.len(),
        ..Outcome::default()
    };
    let mut kept = Vec::with_capacity(checks.len());
    let mut linked = Vec::new();
    let mut links = Links::default();
    // Reviews of a check are judged with it.
    let mut others = Vec::new();
    let mut companions = BTreeMap::new();
    let mut misnamed = Vec::new();
    for (path, id) in &reviews {
        match judge.goes_with_check(path)? {
            Some(name) if known.is_none() => {
                companions.insert(name.path(), name.id());
            }
            Some(_) => {}
            None => others.push((*path, *id)),
        }
    }
    companions.retain(|path, _| !checks.iter().any(|(wanted, _)| wanted == path));
    let judge_batch = |batch: &[Named<'_>]| -> Result<Vec<Judged>, LoadError> {
        each_of(batch, |(path, id)| judge.check(path, id))
    };
    let mut put_aside = |(batch, judged): (&[Named<'_>], Vec<Judged>)| {
        for ((_, id), one) in batch.iter().zip(judged) {
            findings.extend(one.findings);
            findings.extend(one.review_findings);
            for (check, facts) in one.reviews {
                links.reviews.entry(check).or_default().push(facts);
            }
            misnamed.extend(one.misnamed);
            outcome.rests_on.extend(one.rests_on);
            if let Some(record) = one.linked {
                linked.push(((*id).to_owned(), record));
            }
            kept.push((Box::from(*id), one.facts));
        }
    };
    // What one core alone can do is done beside the next batch.
    let mut batches = checks.chunks(BATCH);
    let first = batches.next().unwrap_or_default();
    let (judged, of_paths) = match wanted {
        Wanted::All => rayon::join(|| judge_batch(first), of_paths),
        Wanted::Only(_) => (judge_batch(first), of_paths()),
    };
    let mut last = (first, judged?);
    for batch in batches {
        let (judged, ()) = rayon::join(|| judge_batch(batch), || put_aside(last));
        last = (batch, judged?);
    }
    put_aside(last);
    findings.extend(of_paths);
    for (path, id) in &companions {
        let one = judge.check(path, id)?;
        findings.extend(one.review_findings);
        for (check, facts) in one.reviews {
            links.reviews.entry(check).or_default().push(facts);
        }
        misnamed.extend(one.misnamed);
        kept.push((Box::from(id.as_str()), one.facts));
    }
    links.checks = Checks::of(kept);
    let mut review_findings = judge.other_reviews(&others, &mut links)?;
    for review in &misnamed {
        let exists = |id: &str| judge.is_check(id, &links);
        super::reference_missing::review(review, &links, &exists, &mut review_findings)?;
    }
    outcome.files += reviews.len();
    judge.follow(&linked, wanted, &mut links)?;
    let is_wanted = |kind: Kind| match wanted {
        Wanted::All => true,
        Wanted::Only(paths) => paths
            .iter()
            .any(|path| layout::record(path).is_ok_and(|(own, _)| own == kind)),
    };
    if is_wanted(Kind::Nonconformity) {
        judge.nonconformities(&mut review_findings, &links)?;
    }
    if let Wanted::Only(paths) = wanted {
        // Of a change only its own records are asked about; what was said of them stands beside them.
        let facts: BTreeSet<&String> = paths.iter().filter(|path| is_fact(path)).collect();
        for path in &facts {
            let record = path.strip_suffix(".toml").unwrap_or(path);
            let entries = source.list(&format!("reviews/records/{record}"))?;
            let mut own = records(&entries);
            own.retain(|(path, _)| !others.iter().any(|(known, _)| known == path));
            judge.other_reviews(&own, &mut links)?;
        }
        if !facts.is_empty() {
            let unreviewed = judge.records_unreviewed(&links)?.into_iter();
            review_findings
                .extend(unreviewed.filter(|finding| facts.contains(&finding.place.path)));
        }
    } else {
        review_findings.extend(judge.records_unreviewed(&links)?);
    }
    findings.extend(review_findings);
    for (id, kept) in &linked {
        let (doc, check) = kept.as_ref();
        let Some(view) = View::of(&book, doc, check, id) else {
            continue;
        };
        let mut said = Vec::new();
        let amended = judge.is_amended(id)?;
        each_rule(&mut said, |rule, run, out| {
            if let Run::Linked(function) = run
                && (!amended || support::is_reading(rule) || rule.id == super::amends_of::RULE.id)
                && !(check.void && rule.spares_void)
            {
                function(&view, &links, out);
            }
        });
        settle(&view, &mut said);
        findings.extend(said);
    }
    let softened = soften_by_nonconformity(&book, &mut findings);
    let is_check = |path: &str| matches!(layout::record(path), Ok((Kind::Check, _)));
    let errors = findings
        .iter()
        .filter(|finding| finding.severity == Severity::Error);
    let softened_checks = softened
        .iter()
        .map(|(_, path)| path)
        .filter(|path| is_check(path));
    outcome.with_errors = errors
        .map(|finding| &finding.place.path)
        .chain(softened_checks)
        .cloned()
        .collect();
    outcome.softened = softened;
    findings.sort();
    findings.dedup();
    outcome.findings = findings;
    outcome.links = links;
    outcome.book = Some(book);
    Ok(outcome)
}

/// What was found where a file was read that is no record.
pub fn of_faults(faults: &[Fault]) -> Vec<Finding> {
    let mut findings = Vec::new();
    say_faults(faults, &mut findings);
    findings.sort();
    findings
}

/// What the paths alone of some files say.
pub fn judge_entries(entries: &[Entry]) -> Vec<Finding> {
    let mut findings = Vec::new();
    each(
        |run, out| {
            if let Run::Entries(rule) = run {
                rule(entries, out)
            }
        },
        &mut findings,
    );
    findings
}

/// What the fleet says on its day.
pub fn judge_fleet(fleet: &Fleet<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    each(
        |run, out| {
            if let Run::Fleet(rule) = run {
                rule(fleet, out);
            }
        },
        &mut findings,
    );
    raise_by_policy(fleet.policy, &mut findings);
    findings.sort();
    findings
}

/// What a change does to one committed file.
pub fn judge_change(touched: &Touched<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    each(
        |run, out| {
            if let Run::Change(rule) = run {
                rule(touched, out);
            }
        },
        &mut findings,
    );
    findings
}

/// What a push does to a branch or tag.
pub fn judge_moved(moved: &super::Moved<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    each(
        |run, out| {
            if let Run::Moved(rule) = run {
                rule(moved, out);
            }
        },
        &mut findings,
    );
    findings
}

/// A record of the facts, or of what was decided.
fn is_fact(path: &str) -> bool {
    let kind = layout::record(path).map(|(kind, _)| kind);
    kind.is_ok_and(|kind| !matches!(kind, Kind::Check | Kind::Review))
}

/// The files that a check rests on by what it names; the policies come to them.
pub fn names_of(check: &Check) -> Vec<String> {
    let mut names = vec![
        layout::MARKER.to_owned(),
        layout::path_of(Kind::Instrument, &check.instrument),
        layout::path_of(Kind::Fluid, &check.fluid),
        layout::path_of(Kind::Person, &check.operator),
    ];
    let other = [
        (Kind::Geometry, &check.geometry),
        (Kind::Thermometer, &check.thermometer),
        (Kind::Bath, &check.bath),
    ];
    names.extend(
        other
            .iter()
            .filter_map(|(kind, id)| Some(layout::path_of(*kind, id.as_deref()?))),
    );
    names
}

/// Paths and ids of the records among the files of a folder.
pub(super) fn records(entries: &[Entry]) -> Vec<Named<'_>> {
    let files = entries.iter().filter(|entry| entry.what == What::File);
    files
        .filter_map(|entry| Some((entry.path.as_str(), layout::record(&entry.path).ok()?.1)))
        .collect()
}

pub(super) fn each_rule(
    findings: &mut Vec<Finding>,
    mut step: impl FnMut(&'static Rule, &Run, &mut Out<'_>),
) {
    for rule in RULES {
        for run in rule.run {
            step(rule, run, &mut Out { rule, findings });
        }
    }
}

pub(super) fn each(mut step: impl FnMut(&Run, &mut Out<'_>), findings: &mut Vec<Finding>) {
    each_rule(findings, |_, run, out| step(run, out));
}

/// Tells the faults of a file, each by its rule.
pub fn say_faults(faults: &[Fault], findings: &mut Vec<Finding>) {
    for fault in faults {
        each(
            |run, out| {
                if matches!(run, Run::Reading(kind) if *kind == fault.kind) {
                    let said = out
                        .say(fault.place.clone(), fault.message.clone())
                        .help(fault.help.clone());
                    if let Some((place, message)) = &fault.because {
                        said.because(place.clone(), message.clone());
                    }
                }
            },
            findings,
        );
    }
}

impl Judge<'_> {
    pub(super) fn exists(&self, path: &str) -> Result<bool, LoadError> {
        match &self.known {
            Some(known) => Ok(known
                .binary_search_by(|(known, _)| (*known).cmp(path))
                .is_ok()),
            None => Ok(self.source.read(path)?.is_some()),
        }
    }

    fn is_amended(&self, id: &str) -> Result<bool, LoadError> {
        match CheckName::parse(id) {
            Some(name) => self.exists(&name.next().path()),
            None => Ok(false),
        }
    }

    fn check(&self, path: &str, id: &str) -> Result<Judged, LoadError> {
        let mut judged = Judged::default();
        let Some(bytes) = self.source.read(path)? else {
            return Ok(judged);
        };
        let reviews = self.open_reviews(path, id, &bytes)?;
        let parsed = parse::<Check>(path, bytes)?;
        say_faults(&parsed.faults, &mut judged.findings);
        let (Some(doc), Some(check)) = (parsed.doc, parsed.record) else {
            self.judge_reviews(reviews, id, None, false, &mut judged)?;
            return Ok(judged);
        };
        if self.known.is_none() {
            judged.rests_on = names_of(&check);
            let policies = self.book.policies.ids();
            let policies = policies.map(|id| layout::path_of(Kind::Policy, id));
            judged.rests_on.extend(policies);
        }
        let amended = self.is_amended(id)?;
        let named = || NamedRecord::Check {
            id,
            doc: &doc,
            check: &check,
        };
        each_rule(&mut judged.findings, |rule, run, out| {
            if let Run::Named(function) = run
                && (!amended || support::is_reading(rule))
            {
                function(self.book, named(), out);
            }
        });
        let Some(view) = View::of(self.book, &doc, &check, id) else {
            self.judge_reviews(reviews, id, None, amended, &mut judged)?;
            return Ok(judged);
        };
        let mut said = Vec::new();
        each_rule(&mut said, |rule, run, out| {
            if let Run::Check(function) = run
                && (!amended || support::is_reading(rule))
                && !(check.void && rule.spares_void)
            {
                function(&view, out);
            }
        });
        settle(&view, &mut said);
        judged.findings.append(&mut said);
        self.judge_reviews(reviews, id, Some(&view), amended, &mut judged)?;
        judged.facts = Some(self.facts_of(&view, amended));
        if let Some(watch) = self.watch {
            watch(&view);
        }
        let name = CheckName::parse(id);
        if check.repeats.is_some()
            || check.amends.is_some()
            || check.occasion == Some(Occasion::Repeat)
            || !check.deviations.is_empty()
            || name.is_none_or(|name| name.amendment > 0)
        {
            judged.linked = Some(Box::new((doc, check)));
        }
        Ok(judged)
    }

    /// What is told of a check that another amends is what it says itself, since nothing judges it any more: a repeat
    /// that named it while it failed still repeats a check that failed.
    fn facts_of(&self, view: &View<'_>, amended: bool) -> CheckFacts {
        let judged = view
            .judgement
            .as_ref()
            .and_then(|judgement| judgement.verdict)
            .map(Verdict::from);
        let recorded = view
            .check
            .computed
            .as_ref()
            .and_then(|computed| computed.verdict);
        let verdict = match (view.check.void, amended) {
            (true, _) => Some(Verdict::Void),
            (false, true) => recorded.or(judged),
            (false, false) => judged.or(recorded),
        };
        self.shared.facts(view, verdict, view.check.void_cause)
    }

    /// Reads the checks that wanted checks name, where not all were read already.
    fn follow(
        &self,
        linked: &[(String, Box<(Doc, Check)>)],
        wanted: &Wanted<'_>,
        links: &mut Links,
    ) -> Result<(), LoadError> {
        if matches!(wanted, Wanted::All) {
            return Ok(());
        }
        for (id, kept) in linked {
            let check = &kept.1;
            for other in check.repeats.iter().chain(&check.amends) {
                let Some(path) = layout::check_path(other) else {
                    continue;
                };
                if !links.checks.contains(other) && self.source.read(&path)?.is_some() {
                    let judged = self.check(&path, other)?;
                    links.checks.insert(other, judged.facts);
                }
            }
            // The line of amendments up to this one says which of them is missing.
            let mut next = check.amends.as_deref().and_then(CheckName::parse);
            while let Some(name) = next.map(|name| name.next()).filter(|name| name.id() != *id) {
                let other = name.id();
                if !links.checks.contains(&other) {
                    if self.source.read(&name.path())?.is_none() {
                        break;
                    }
                    let judged = self.check(&name.path(), &other)?;
                    links.checks.insert(&other, judged.facts);
                }
                next = Some(name);
            }
        }
        Ok(())
    }

    /// Whether there is a check of this id, broken or sound.
    pub(super) fn is_check(&self, id: &str, links: &Links) -> Result<bool, LoadError> {
        if links.checks.contains(id) {
            return Ok(true);
        }
        match layout::check_path(id) {
            Some(path) => {
                Ok(self.closed.iter().any(|link| path.starts_with(link)) || self.exists(&path)?)
            }
            None => Ok(false),
        }
    }

    /// The checks that nonconformities name must exist.
    fn nonconformities(&self, findings: &mut Vec<Finding>, links: &Links) -> Result<(), LoadError> {
        let exists = |id: &str| self.is_check(id, links);
        super::reference_missing::nonconformities(self.book, links, &exists, findings)
    }
}

/// What stands in place of a folder, as the beginning of the paths below it.
fn closed(entries: &[Entry]) -> Vec<String> {
    let closed = entries.iter().filter(|entry| entry.what == What::NotAFile);
    closed.map(|entry| format!("{}/", entry.path)).collect()
}

/// Gives each finding about a check its severity: a deviation or an instrument that tells the truth softens, a policy raises.
pub(super) fn settle(view: &View<'_>, findings: &mut [Finding]) {
    for finding in findings {
        let Some(rule) = super::rule(finding.rule) else {
            continue;
        };
        if rule.severity == Severity::Error {
            if rule.spares_void
                && let Some(reason) = support::allowed_deviation(view, rule.id)
            {
                finding.severity = Severity::Warning;
                finding.message += &format!(" (deviation with consent: {reason})");
            } else if support::RELIEVED.contains(&rule.id) && view.failed_as_found() {
                finding.severity = Severity::Warning;
                finding.message += "; the check failed as found, so this is part of what it shows";
            }
        } else if rule.severity == Severity::Warning
            && view
                .policy
                .is_some_and(|policy| policy.severity.iter().any(|id| id == rule.id))
        {
            finding.severity = Severity::Error;
        }
    }
}

fn raise_by_policy_in_force(book: &Book, findings: &mut [Finding]) {
    raise_by_policy(book.policy_at(book.as_of(), None), findings);
}

pub(super) fn raise_by_policy(policy: Option<&Loaded<Policy>>, findings: &mut [Finding]) {
    let Some(policy) = policy else { return };
    for finding in findings {
        if finding.severity == Severity::Warning
            && policy.severity.iter().any(|id| id == finding.rule)
        {
            finding.severity = Severity::Error;
        }
    }
}

/// An error that a nonconformity with an outcome names becomes a warning.
pub(super) fn soften_by_nonconformity(
    book: &Book,
    findings: &mut [Finding],
) -> BTreeSet<(&'static str, String)> {
    let mut softened = BTreeSet::new();
    if findings
        .iter()
        .all(|finding| finding.severity != Severity::Error)
    {
        return softened;
    }
    let mut decided: BTreeMap<(&str, &str), (String, Place)> = BTreeMap::new();
    for record in book
        .nonconformities
        .sound()
        .filter(|record| record.outcome.is_some())
    {
        for (index, named) in record.findings.iter().enumerate() {
            let place = record.at(&format!("/finding/{index}"));
            decided.insert((&named.rule, &named.path), (record.id.clone(), place));
        }
    }
    for finding in findings
        .iter_mut()
        .filter(|finding| finding.severity == Severity::Error)
    {
        if let Some((id, place)) = decided.get(&(finding.rule, finding.place.path.as_str())) {
            finding.severity = Severity::Warning;
            softened.insert((finding.rule, finding.place.path.clone()));
            finding.related.push(crate::finding::Related {
                place: place.clone(),
                message: format!("nonconformity {id} has decided about this"),
            });
        }
    }
    softened
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::memory::Memory;
    use include_dir::{Dir, include_dir};

    static EXAMPLE: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/records-example");

    fn gather(dir: &Dir<'_>, book: &mut Memory) {
        for file in dir.files() {
            let path = file.path().to_string_lossy().replace('\\', "/");
            book.files.insert(path, file.contents().to_vec());
        }
        for below in dir.dirs() {
            gather(below, book);
        }
    }

    fn example() -> Memory {
        let mut book = Memory::default();
        gather(&EXAMPLE, &mut book);
        book
    }

    fn clock() -> Clock {
        Clock {
            now: "2026-11-25T12:00:00Z".parse().expect("time"),
            as_of: None,
        }
    }

    /// One check in so many.
    fn checks(book: &Memory, in_so_many: usize) -> Vec<String> {
        let records = book.files.keys();
        records
            .filter(|path| matches!(layout::record(path), Ok((Kind::Check, _))))
            .step_by(in_so_many)
            .cloned()
            .collect()
    }

    /// What is said of checks when each is judged by itself, and how many files that took at most.
    fn one_by_one(book: &Memory, checks: &[String]) -> (Vec<Finding>, usize) {
        let mut said = Vec::new();
        let mut most = 0;
        for path in checks {
            let only = std::slice::from_ref(path);
            let outcome = run(book, clock(), &Wanted::Only(only)).expect("judged");
            most = most.max(outcome.files);
            let findings = outcome.findings.into_iter();
            said.extend(findings.filter(|finding| finding.place.path == *path));
        }
        said.sort();
        (said, most)
    }

    fn all_at_once(book: &Memory, checks: &[String]) -> Vec<Finding> {
        let outcome = run(book, clock(), &Wanted::All).expect("judged");
        let mut said = outcome.findings;
        said.retain(|finding| checks.contains(&finding.place.path));
        said
    }

    #[test]
    fn a_check_by_itself_is_judged_as_among_all() {
        let book = example();
        let checks = checks(&book, 1);
        let (said, most) = one_by_one(&book, &checks);
        assert_eq!(said, all_at_once(&book, &checks));
        let facts = book
            .files
            .keys()
            .filter(|path| !path.starts_with("checks/") && !path.starts_with("reviews/"))
            .count();
        assert!(
            most <= facts / 2,
            "{most} files were read for one check, of {facts} facts"
        );
    }

    #[test]
    fn whatever_is_wrong_with_a_fact_a_check_by_itself_is_judged_as_among_all() {
        let facts: Vec<String> = example()
            .files
            .keys()
            .filter(|path| !path.starts_with("checks/") && !path.starts_with("reviews/"))
            .filter(|path| path.contains('/') && path.ends_with(".toml"))
            .cloned()
            .collect();
        assert!(facts.len() > 20);
        for path in facts {
            let whole = example().files[&path].clone();
            let text = String::from_utf8(whole).expect("text");
            for broken in [
                None,
                Some(text.replace("format = 1", "format = ")),
                Some(text.replace("2026", "2025")),
            ] {
                let mut book = example();
                match broken {
                    None => book.files.remove(&path),
                    Some(text) => book.files.insert(path.clone(), text.into_bytes()),
                };
                let checks = checks(&book, 17);
                let said = one_by_one(&book, &checks).0;
                assert_eq!(said, all_at_once(&book, &checks), "{path}");
            }
        }
    }
}
