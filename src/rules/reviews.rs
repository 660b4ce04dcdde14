//! Judges reviews: each with what it covers, a check by all of its reviews, a record of the facts by its approvals.

use super::run::{Judge, Judged, each, each_rule, raise_by_policy, say_faults, settle};
use super::{Run, reference_missing};
use crate::book::review::{Digest, ReviewFacts, decision};
use crate::book::view::View;
use crate::book::{Book, Fact, Links, LoadError, Loaded};
use crate::finding::{Finding, Severity};
use crate::parse::layout::{self, CheckName};
use crate::parse::parse;
use crate::record::policy::Policy;
use crate::record::review::Review;
use crate::source::each_of;
use crate::source::{Brought, Part, Source};
use jiff::Timestamp;
use std::borrow::Cow;

/// One review with what it covers.
pub struct Reviewing<'a> {
    pub book: &'a Book,
    pub review: &'a Loaded<Review>,
    pub decided: Timestamp,
    pub covers: Covers<'a>,
    /// What a review is bound to: as committed.
    pub content: Digest,
    /// As the file is in the folder.
    pub in_folder: Digest,
    /// Who brought what is reviewed, where somebody looked into the history.
    pub brought: Option<Brought>,
}

pub enum Covers<'a> {
    Check(&'a View<'a>),
    /// A record of the facts, by its path.
    Record(String),
}

impl Reviewing<'_> {
    /// The path of what is reviewed.
    pub fn path(&self) -> &str {
        match &self.covers {
            Covers::Check(view) => &view.doc.path,
            Covers::Record(path) => path,
        }
    }

    /// The check, or the folder and id of the record.
    pub fn named(&self) -> &str {
        match &self.covers {
            Covers::Check(view) => view.id,
            Covers::Record(path) => path.strip_suffix(".toml").unwrap_or(path),
        }
    }
}

/// When a check was made: the key that tells, the time, and the word for it. Of an amendment: when it was amended.
pub(super) fn made(view: &View<'_>) -> Option<(&'static str, Timestamp, &'static str)> {
    let amendment = view.check.amends.is_some()
        || CheckName::parse(view.id).is_some_and(|name| name.amendment > 0);
    match amendment {
        false => Some(("/performed", view.performed, "performed")),
        true => {
            let amended = view.check.amended.as_ref()?;
            let at = view.book.zone.instant(amended).ok()?;
            Some(("/amended", at, "amended"))
        }
    }
}

/// A review of a check with what is kept of it.
pub struct Decision<'a> {
    pub review: &'a Loaded<Review>,
    pub facts: ReviewFacts,
}

/// A record of the facts whose present content nobody has approved, though its kind needs that.
pub struct Unreviewed<'a> {
    /// Folder and id.
    pub record: String,
    pub path: &'a str,
    pub policy: &'a Loaded<Policy>,
    /// Who rejected what it holds now.
    pub rejected: Option<&'a ReviewFacts>,
    /// What was approved last, of other content.
    pub approved_before: Option<&'a ReviewFacts>,
}

/// The records that wait for a second person's look on the day of the book, in order of path.
pub fn unreviewed<'a>(
    source: &dyn Source,
    book: &'a Book,
    links: &'a Links,
) -> Result<Vec<Unreviewed<'a>>, LoadError> {
    let at = book.end_of(book.as_of());
    // A book that has just begun knows nobody who could look.
    let begun = book.people.ids().next().is_some();
    let policy = match book.policies.any_broken() || !book.zone_known() || !begun {
        true => None,
        false => book.policy_at(book.as_of(), None),
    };
    let Some(policy) = policy else {
        return Ok(Vec::new());
    };
    let mut waiting = Vec::new();
    for fact in book.each_fact() {
        let (kind, Some(_)) = fact.id() else { continue };
        let needed = &policy.review_records;
        if !needed.iter().any(|folder| folder == kind.folder()) {
            continue;
        }
        let path = &fact.doc().path;
        let record = path.strip_suffix(".toml").unwrap_or(path).to_owned();
        let reviews = links.record_reviews.get(&record);
        let reviews = reviews.map_or(&[][..], Vec::as_slice);
        let content = match reviews {
            [] => None,
            _ => content(source, path)?,
        };
        let own = reviews
            .iter()
            .filter(|review| content.is_some_and(|(content, _)| review.content == content));
        let stands = decision(own, at);
        if stands.is_some_and(|review| !review.rejects()) {
            continue;
        }
        let approved = reviews
            .iter()
            .filter(|review| review.decided <= at && review.sound && !review.rejects())
            .max_by_key(|review| review.decided);
        waiting.push(Unreviewed {
            record,
            path,
            policy,
            rejected: stands,
            approved_before: approved,
        });
    }
    waiting.sort_by(|one, other| one.path.cmp(other.path));
    Ok(waiting)
}

/// What a review of a file is bound to, and what the file itself is.
fn content(source: &dyn Source, path: &str) -> Result<Option<(Digest, Digest)>, LoadError> {
    Ok(match source.read(path)? {
        Some(bytes) => Some(digests(source, path, &bytes)?),
        None => None,
    })
}

fn digests(source: &dyn Source, path: &str, read: &[u8]) -> Result<(Digest, Digest), LoadError> {
    let in_folder = Digest::of(read);
    Ok(match source.covered(path, read)? {
        Cow::Borrowed(_) => (in_folder, in_folder),
        Cow::Owned(bytes) => (Digest::of(&bytes), in_folder),
    })
}

/// A review as it was read, with what was said of it by itself.
pub(super) struct Opened {
    review: Option<Loaded<Review>>,
    findings: Vec<Finding>,
}

/// The reviews of a check that is about to be judged, and the check's content.
#[derive(Default)]
pub(super) struct OfCheck {
    opened: Vec<Opened>,
    content: Option<(Digest, Digest)>,
}

/// What a review names.
enum Named {
    Check(String),
    Record(String),
}

/// What was said of a review, and what is kept of it.
type Said = (Vec<Finding>, Option<(Named, ReviewFacts)>);

fn any_error(findings: &[Finding]) -> bool {
    let error = |finding: &Finding| finding.severity == Severity::Error;
    findings.iter().any(error)
}

impl Judge<'_> {
    /// Reads the reviews of a check.
    pub(super) fn open_reviews(
        &self,
        path: &str,
        id: &str,
        read: &[u8],
    ) -> Result<OfCheck, LoadError> {
        if self.reviews.is_some_and(<[_]>::is_empty) {
            return Ok(OfCheck::default());
        }
        let Some(name) = CheckName::parse(id).filter(|name| name.path() == path) else {
            return Ok(OfCheck::default());
        };
        let folder = name.reviews_folder();
        let mut opened = Vec::new();
        match self.reviews {
            Some(all) => {
                let below = format!("{folder}/");
                let first = all.partition_point(|(path, _)| **path < *below);
                for (path, _) in all[first..].iter() {
                    if !path.starts_with(&below) {
                        break;
                    }
                    opened.push(self.open_review(path)?);
                }
            }
            None => {
                let entries = self.source.list(&folder)?;
                for (path, _) in super::run::records(&entries) {
                    opened.push(self.open_review(path)?);
                }
            }
        }
        let content = match opened.is_empty() {
            true => None,
            false => Some(digests(self.source, path, read)?),
        };
        Ok(OfCheck { opened, content })
    }

    /// Judges the reviews of a check, each by itself and then all of them; the check is `None` where it is broken.
    pub(super) fn judge_reviews(
        &self,
        mut of_check: OfCheck,
        id: &str,
        view: Option<&View<'_>>,
        amended: bool,
        judged: &mut Judged,
    ) -> Result<(), LoadError> {
        let asked = view.and_then(|view| view.policy);
        if of_check.opened.is_empty() && asked.is_none_or(|policy| !policy.review_required) {
            return Ok(());
        }
        let mut decisions = Vec::new();
        for one in &mut of_check.opened {
            let Some(review) = &one.review else { continue };
            let path = &review.doc.path;
            let Some(mut facts) = ReviewFacts::of(path, review, &self.book.zone) else {
                continue;
            };
            let own = review.check.as_deref() == Some(id);
            if let (Some(view), Some((content, in_folder)), true) = (view, of_check.content, own) {
                let covered = &view.doc.path;
                let brought = self.source.brought_by(path, covered, Part::File)?;
                let reviewing = Reviewing {
                    book: self.book,
                    review,
                    decided: facts.decided,
                    covers: Covers::Check(view),
                    content,
                    in_folder,
                    brought,
                };
                judge_review(&reviewing, &mut one.findings);
            }
            facts.sound = !any_error(&one.findings);
            match own {
                true => decisions.push(Decision { review, facts }),
                false => judged
                    .reviews
                    .extend(review.check.clone().map(|check| (check, facts))),
            }
        }
        if let Some(view) = view.filter(|_| !amended) {
            let mut said = Vec::new();
            each(
                |run, out| {
                    if let Run::Reviewed(rule) = run {
                        rule(view, &decisions, out);
                    }
                },
                &mut said,
            );
            settle(view, &mut said);
            // Only what is committed can be reviewed, so a check that is about to be is not refused for that.
            if self.source.is_pending(&view.doc.path) {
                let missing = said.iter_mut();
                missing
                    .filter(|finding| finding.rule == super::review_missing::RULE.id)
                    .for_each(|finding| finding.severity = Severity::Warning);
            }
            let (of_check, of_reviews): (Vec<_>, Vec<_>) = said
                .into_iter()
                .partition(|finding| finding.place.path == view.doc.path);
            judged.findings.extend(of_check);
            judged.review_findings.extend(of_reviews);
        }
        let facts = decisions.into_iter().map(|one| (id.to_owned(), one.facts));
        judged.reviews.extend(facts);
        for one in of_check.opened {
            judged.review_findings.extend(one.findings);
            let misnamed = |review: &Loaded<Review>| review.check.as_deref() != Some(id);
            judged.misnamed.extend(one.review.filter(misnamed));
        }
        Ok(())
    }

    /// Reads a review and judges it by itself.
    fn open_review(&self, path: &str) -> Result<Opened, LoadError> {
        let mut opened = Opened {
            review: None,
            findings: Vec::new(),
        };
        let Some(bytes) = self.source.read(path)? else {
            return Ok(opened);
        };
        let parsed = parse::<Review>(path, bytes)?;
        say_faults(&parsed.faults, &mut opened.findings);
        if let (Some(doc), Some(record)) = (parsed.doc, parsed.record) {
            let review = Loaded { doc, record };
            let fact = Fact::Review(&review);
            each(
                |run, out| match run {
                    Run::Fact(rule) => rule(self.book, fact, out),
                    Run::Named(rule) => rule(self.book, super::run::NamedRecord::Fact(fact), out),
                    _ => {}
                },
                &mut opened.findings,
            );
            opened.review = Some(review);
        }
        let policy = self.book.policy_at(self.book.as_of(), None);
        raise_by_policy(policy, &mut opened.findings);
        Ok(opened)
    }

    /// Judges the reviews of records, and those of checks that are not there.
    pub(super) fn other_reviews(
        &self,
        paths: &[(&str, &str)],
        links: &mut Links,
    ) -> Result<Vec<Finding>, LoadError> {
        let known: &Links = links;
        let read = each_of(paths, |(path, _)| self.other_review(path, known))?;
        let mut findings = Vec::new();
        for (said, facts) in read {
            findings.extend(said);
            let (by_id, id, facts) = match facts {
                Some((Named::Check(id), facts)) => (&mut links.reviews, id, facts),
                Some((Named::Record(id), facts)) => (&mut links.record_reviews, id, facts),
                None => continue,
            };
            by_id.entry(id).or_default().push(facts);
        }
        Ok(findings)
    }

    fn other_review(&self, path: &str, links: &Links) -> Result<Said, LoadError> {
        let Opened {
            review,
            mut findings,
        } = self.open_review(path)?;
        let Some(review) = review else {
            return Ok((findings, None));
        };
        let exists = |id: &str| self.is_check(id, links);
        reference_missing::review(&review, links, &exists, &mut findings)?;
        let Some(mut facts) = ReviewFacts::of(path, &review, &self.book.zone) else {
            return Ok((findings, None));
        };
        // What was approved of a record stays true of what it held then; only a new review must be of what it holds.
        let covered = review.record.record.as_deref();
        if let Some(covered) = covered.map(|record| format!("{record}.toml"))
            && self.source.is_new(path)?
            && let Some((content, in_folder)) = content(self.source, &covered)?
        {
            let reviewing = Reviewing {
                book: self.book,
                review: &review,
                decided: facts.decided,
                content,
                in_folder,
                brought: self.source.brought_by(path, &covered, Part::Content)?,
                covers: Covers::Record(covered),
            };
            judge_review(&reviewing, &mut findings);
        }
        facts.sound = !any_error(&findings);
        let named = match (&review.check, &review.record.record) {
            (Some(check), _) => Some((Named::Check(check.clone()), facts)),
            (None, Some(record)) => Some((Named::Record(record.clone()), facts)),
            (None, None) => None,
        };
        Ok((findings, named))
    }

    /// Says which records of the facts wait for a second person's look.
    pub(super) fn records_unreviewed(&self, links: &Links) -> Result<Vec<Finding>, LoadError> {
        let mut findings = Vec::new();
        let policy = self.book.policy_at(self.book.as_of(), None);
        for waiting in unreviewed(self.source, self.book, links)? {
            let mut said = Vec::new();
            each(
                |run, out| {
                    if let Run::Unreviewed(rule) = run {
                        rule(self.book, &waiting, out);
                    }
                },
                &mut said,
            );
            // Only what is committed can be reviewed, so a change is not refused for that.
            if !self.source.is_pending(waiting.path) {
                raise_by_policy(policy, &mut said);
            }
            findings.append(&mut said);
        }
        Ok(findings)
    }

    /// Whether a review is judged with the check that it stands beside.
    pub(super) fn goes_with_check(&self, path: &str) -> Result<Option<CheckName>, LoadError> {
        match layout::reviewed_check(path) {
            Some(name) if self.exists(&name.path())? => Ok(Some(name)),
            _ => Ok(None),
        }
    }
}

fn judge_review(reviewing: &Reviewing<'_>, findings: &mut Vec<Finding>) {
    each_rule(findings, |_, run, out| {
        if let Run::Review(rule) = run {
            rule(reviewing, out);
        }
    });
}
