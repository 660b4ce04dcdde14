//! `review`: a second person's decision on a check or a record, bound to what is committed; and the list of what waits.

use super::here::Here;
use super::template::{quoted, schema_line, schema_path};
use super::{Common, End, Ended, Trouble, new, output, progress, validate};
use crate::book::review::{Digest, ReviewFacts, standing};
use crate::book::{Book, Clock};
use crate::finding::{Counts, Finding, Severity};
use crate::fleet::reviews::{Waiting, waiting};
use crate::parse::layout::{self, CheckName, Slot, path_of, slot, unfit_id};
use crate::parse::parse;
use crate::record::Kind;
use crate::record::check::Check;
use crate::record::person::Duty;
use crate::record::review::Review;
use crate::report::{printable, review_json, review_text, terminal, wrapped};
use crate::rules::reviews::unreviewed;
use crate::rules::{Wanted, run as judge};
use crate::source::disk::Disk;
use crate::source::git::{Repository, Staged};
use crate::source::{Brought, Entry, Part, Source, SourceError, What};
use clap::ValueEnum;
use std::borrow::Cow;
use std::path::Path;

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    /// For people at a terminal
    Text,
    /// For programs
    Json,
}

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// A check as INSTRUMENT/YYYY-MM-DD-HHMM, another record as FOLDER/ID, or the file of either
    #[arg(required_unless_present = "open", conflicts_with = "open")]
    record: Option<String>,
    /// It may stand as it is
    #[arg(long, conflicts_with_all = ["reject", "open"])]
    approve: bool,
    /// It may not; --comment says why
    #[arg(long, conflicts_with = "open")]
    reject: bool,
    /// What the reviewer has to say
    #[arg(long, value_name = "TEXT", conflicts_with = "open")]
    comment: Option<String>,
    /// Who reviews; where left out, the person with the address that git would commit with
    #[arg(long, value_name = "PERSON", conflicts_with = "open")]
    reviewer: Option<String>,
    /// List what waits for a review, the oldest first
    #[arg(long)]
    open: bool,
    /// How the list is written; text where left out
    #[arg(long, value_name = "FORMAT", requires = "open")]
    format: Option<Format>,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    match &arguments.record {
        Some(record) => decide(common, arguments, record),
        None => open(common, arguments.format.unwrap_or(Format::Text)),
    }
}

/// What a review covers.
pub(super) struct Subject {
    /// The key of the review that names it.
    pub key: &'static str,
    pub id: String,
    pub path: String,
    /// Where its reviews stand.
    pub folder: String,
}

impl Subject {
    fn of_check(name: &CheckName) -> Subject {
        Subject {
            key: "check",
            id: name.id(),
            path: name.path(),
            folder: name.reviews_folder(),
        }
    }

    fn of_record(kind: Kind, id: &str) -> Option<Subject> {
        let others = [Kind::Book, Kind::Check, Kind::Review, Kind::Nonconformity];
        if others.contains(&kind) || unfit_id(id).is_some() {
            return None;
        }
        let record = format!("{}/{id}", kind.folder());
        Some(Subject {
            key: "record",
            path: path_of(kind, id),
            folder: format!("reviews/records/{record}"),
            id: record,
        })
    }

    fn of_path(path: &str) -> Option<Subject> {
        match slot(path) {
            Slot::Record(Kind::Check, id) => {
                let name = CheckName::parse(&id).filter(|name| name.path() == path)?;
                Some(Subject::of_check(&name))
            }
            Slot::Record(kind, id) => Subject::of_record(kind, &id),
            _ => None,
        }
    }
}

/// What a word on the command line means: an id, a path of the book, or a file.
pub(super) fn subject(disk: &Disk, word: &str) -> Result<Subject, Trouble> {
    let named = || {
        if let Some(name) = CheckName::parse(word) {
            return Some(Subject::of_check(&name));
        }
        if let Some(subject) = Subject::of_path(word) {
            return Some(subject);
        }
        let file = Path::new(word);
        if let Some(inside) = disk.inside(file).filter(|_| file.is_file()) {
            return Subject::of_path(&inside);
        }
        let (folder, id) = word.split_once('/')?;
        Subject::of_record(layout::folder_kind(folder)?, id)
    };
    named().ok_or_else(|| {
        Trouble::Usage(format!(
            "{word} cannot be reviewed: write a check as INSTRUMENT/YYYY-MM-DD-HHMM, or another record as FOLDER/ID, such as fluids/K-2291"
        ))
    })
}

/// Who may review today, for a sentence; nothing where nobody may.
pub(super) fn reviewers(book: &Book) -> String {
    let today = book.as_of();
    let may: Vec<&str> = book
        .people
        .sound()
        .filter(|person| book.authorised_on(person, Duty::Review, today))
        .map(|person| person.id.as_str())
        .collect();
    may.join(", ")
}

/// The repository, and the bytes of a file as its newest commit has them: what a review covers.
pub(super) fn committed(disk: &Disk, path: &str) -> Result<(Repository, Vec<u8>), Trouble> {
    let there = disk.root.join(path).symlink_metadata().is_ok();
    let missing = || Trouble::Usage(format!("there is nothing to review: no file {path}"));
    let repository = match Repository::of(&disk.root) {
        Err(_) if !there => return Err(missing()),
        other => other?,
    };
    let tree = Staged::open(&repository, repository.head())?;
    match tree.read(path)? {
        Some(bytes) => Ok((repository, bytes)),
        None if !there => Err(missing()),
        None => Err(Trouble::Refused(SourceError::new(
            format!("{path} is not committed yet, and a review is bound to what is committed"),
            "commit the record first; its reviewer then writes the review",
        ))),
    }
}

/// Refuses a file that the folder or the index has otherwise than the newest commit: nobody could tell which was looked at.
fn unaltered(disk: &Disk, repository: &Repository, path: &str) -> Result<(), Trouble> {
    let tree = Staged::open(repository, repository.head())?;
    let kept = tree.committed(path)?.map(|version| version.id);
    let refused = |how: &str, help: String| {
        Err(Trouble::Refused(SourceError::new(
            format!("{path} {how}, and a review covers what is committed"),
            help,
        )))
    };
    let put_back = format!(
        "put it back with git restore --source=HEAD --staged --worktree -- '{path}'; a committed check is corrected by an amendment, a record by a commit of its own, and then reviewed"
    );
    match disk.read(path)? {
        None => refused("is gone from the folder", put_back),
        Some(bytes) if Some(repository.kept_id(path, &bytes)?) != kept => {
            refused("differs in the folder from what is committed", put_back)
        }
        Some(_) if repository.staged_blob(path)? != kept => {
            refused("is staged otherwise than it is committed", put_back)
        }
        Some(_) => Ok(()),
    }
}

/// The next free number of a person's decisions on one record, after those of the folder and of the newest commit.
pub(super) fn next_path(
    disk: &Disk,
    repository: &Repository,
    folder: &str,
    person: &str,
) -> Result<String, Trouble> {
    let tree = Staged::open(repository, repository.head())?;
    let mut entries = tree.list(folder)?;
    entries.extend(disk.list(folder)?);
    let prefix = format!("{folder}/{person}-");
    let last = entries
        .iter()
        .filter_map(|entry| {
            let start = entry.path.get(..prefix.len())?;
            let number = entry.path.get(prefix.len()..)?.strip_suffix(".toml")?;
            start.eq_ignore_ascii_case(&prefix).then_some(number)
        })
        .filter_map(|number| number.parse::<u32>().ok())
        .max();
    let number = last.unwrap_or(0).saturating_add(1);
    Ok(format!("{prefix}{number}.toml"))
}

/// Who reviews: as named, else the one person with the address that git would commit with.
fn reviewer(book: &Book, repository: &Repository, named: Option<&str>) -> Result<String, Trouble> {
    if let Some(id) = named {
        new::known(&book.people.ids().collect::<Vec<_>>(), Kind::Person, id)?;
        return Ok(id.to_owned());
    }
    let may = match reviewers(book) {
        may if may.is_empty() => "nobody is authorised today".to_owned(),
        may => format!("authorised today: {may}"),
    };
    let email = repository.author().ok_or_else(|| {
        Trouble::Usage(format!(
            "git has no address for you, so say who reviews: --reviewer PERSON ({may}); or set it once: git config user.email you@example.org"
        ))
    })?;
    let people: Vec<&str> = book
        .people
        .sound()
        .filter(|person| {
            let mut emails = person.emails.iter();
            emails.any(|own| own.eq_ignore_ascii_case(&email))
        })
        .map(|person| person.id.as_str())
        .collect();
    match people[..] {
        [only] => Ok(only.to_owned()),
        [] => Err(Trouble::Usage(format!(
            "git commits as {email}, which is nobody's address in people/, so say who reviews: --reviewer PERSON ({may})"
        ))),
        _ => Err(Trouble::Usage(format!(
            "git commits as {email}, the address of {}, so say who of them reviews: --reviewer PERSON",
            people.join(" and of ")
        ))),
    }
}

/// The book in the folder with one review more, which the next commit is to bring.
struct WithReview<'a> {
    under: &'a Disk,
    repository: &'a Repository,
    path: &'a str,
    bytes: &'a [u8],
}

impl Source for WithReview<'_> {
    fn list(&self, folder: &str) -> Result<Vec<Entry>, SourceError> {
        let mut entries = self.under.list(folder)?;
        if self.path.starts_with(&format!("{folder}/")) {
            entries.push(Entry {
                path: self.path.to_owned(),
                what: What::File,
            });
            entries.sort_by(|one, other| one.path.cmp(&other.path));
        }
        Ok(entries)
    }

    fn top(&self) -> Result<Vec<String>, SourceError> {
        self.under.top()
    }

    fn what(&self, path: &str) -> Result<Option<What>, SourceError> {
        match path == self.path {
            true => Ok(Some(What::File)),
            false => self.under.what(path),
        }
    }

    fn read(&self, path: &str) -> Result<Option<Vec<u8>>, SourceError> {
        match path == self.path {
            true => Ok(Some(self.bytes.to_vec())),
            false => self.under.read(path),
        }
    }

    fn covered<'a>(&self, path: &str, read: &'a [u8]) -> Result<Cow<'a, [u8]>, SourceError> {
        self.under.covered(path, read)
    }

    fn is_new(&self, path: &str) -> Result<bool, SourceError> {
        Ok(path == self.path || self.under.is_new(path)?)
    }

    fn brought_by(
        &self,
        review: &str,
        covered: &str,
        part: Part,
    ) -> Result<Option<Brought>, SourceError> {
        let head = self.repository.head().filter(|_| review == self.path);
        let head: Vec<String> = head.map(str::to_owned).into_iter().collect();
        self.repository.brought(&head, covered, part)
    }
}

/// A decision about to be written.
struct Decided<'a> {
    subject: Subject,
    /// What is reviewed, as committed.
    bytes: Vec<u8>,
    reviewer: String,
    /// As it is written.
    at: String,
    approves: bool,
    comment: Option<&'a str>,
    /// Where the review will stand.
    path: String,
}

impl Decided<'_> {
    fn text(&self, disk: &Disk) -> String {
        let mut text = String::new();
        if disk.root.join(schema_path(Kind::Review)).is_file() {
            text += &format!("{}\n", schema_line(Kind::Review, &self.path));
        }
        text += "format = 1\n";
        text += &format!("{} = {}\n", self.subject.key, quoted(&self.subject.id));
        text += &format!("sha256 = \"{}\"\n", Digest::of(&self.bytes));
        text += &format!("reviewer = {}\n", quoted(&self.reviewer));
        text += &format!("decided = {}\n", self.at);
        text += match self.approves {
            true => "decision = \"approve\"\n",
            false => "decision = \"reject\"\n",
        };
        if let Some(comment) = self.comment {
            text += &format!("comment = {}\n", quoted(comment));
        }
        text
    }
}

/// Whether it is approved, as the options say it.
fn approves(arguments: &Arguments) -> Result<bool, Trouble> {
    let comment = arguments.comment.as_deref();
    let wrong = match (arguments.approve, arguments.reject) {
        _ if comment.is_some_and(|comment| comment.trim().is_empty()) => "the comment says nothing",
        (true, _) => return Ok(true),
        (_, true) if comment.is_some() => return Ok(false),
        (_, true) => "who rejects says why: --comment \"what is wrong with it\"",
        _ => "say what you decided: --approve, or --reject with --comment",
    };
    Err(Trouble::Usage(wrong.to_owned()))
}

fn decide(common: &Common, arguments: &Arguments, record: &str) -> Ended {
    let approves = approves(arguments)?;
    let (disk, book) = validate::facts(common)?;
    if !book.zone_known() {
        return Err(Trouble::Unusable(SourceError::new(
            "the book's time zone is not known, so no decision has a time",
            "shearbook validate shearbook.toml tells what is wrong there",
        )));
    }
    let subject = subject(&disk, record)?;
    let (repository, bytes) = committed(&disk, &subject.path)?;
    unaltered(&disk, &repository, &subject.path)?;
    let reviewer = reviewer(&book, &repository, arguments.reviewer.as_deref())?;
    let now = book.clock.now;
    let decided = Decided {
        path: next_path(&disk, &repository, &subject.folder, &reviewer)?,
        at: new::performed(&book.zone, book.zone.wall(now), Some(now)).0,
        comment: arguments.comment.as_deref(),
        subject,
        bytes,
        reviewer,
        approves,
    };
    let text = decided.text(&disk);
    let with = WithReview {
        under: &disk,
        repository: &repository,
        path: &decided.path,
        bytes: text.as_bytes(),
    };
    // Today is the day of a decision, whatever day is looked at.
    let clock = Clock { now, as_of: None };
    let wanted = [decided.path.clone(), decided.subject.path.clone()];
    let outcome = judge(&with, clock, &Wanted::Only(&wanted))?;
    let Subject { key, id, path, .. } = &decided.subject;
    let known = outcome.links.checks.get(id);
    if *key == "check" && known.is_none_or(|facts| facts.is_none()) {
        return Err(Trouble::Refused(SourceError::new(
            format!("{path} cannot be understood, so nobody can decide about it"),
            format!("shearbook validate {path} tells what is wrong with it"),
        )));
    }
    let (own, others): (Vec<Finding>, Vec<Finding>) = outcome
        .findings
        .into_iter()
        .partition(|finding| finding.place.path == decided.path);
    let is_error = |finding: &&Finding| finding.severity == Severity::Error;
    if own.iter().any(|finding| is_error(&finding)) {
        let style = output::style(common);
        let report = crate::report::Findings {
            book: "",
            as_of: String::new(),
            findings: &own,
            counts: Counts::of(&own),
            files: outcome.files,
            checks: outcome.checks,
        };
        output::say(&terminal::render(&report, style));
        let line = format!(
            "Not written: an error speaks against this review of {id}. No file was written."
        );
        output::say(&wrapped(&line, style.width, "", ""));
        return Ok(End::Refused);
    }
    let (folder, _) = decided.path.rsplit_once('/').unwrap_or(("", ""));
    new::real_folders(&disk.root, folder)?;
    new::put(&disk.root, &decided.path, text.as_bytes())?;
    if !common.quiet {
        let of_subject = others.iter().filter(|finding| finding.place.path == *path);
        let errors = of_subject.filter(is_error).count();
        let mut more = Vec::new();
        if *key == "check"
            && let Some(next) = CheckName::parse(id).map(|name| name.next())
            && disk.what(&next.path())?.is_some()
        {
            more.push(format!(
                "beware: {} amends it, and counts in its place; that is what waits for a review",
                next.id()
            ));
        }
        let reviews = outcome.links.reviews.get(id);
        for standing in standing(reviews.into_iter().flatten(), now) {
            if standing.rejects() && *standing.reviewer != *decided.reviewer {
                more.push(format!(
                    "beware: the rejection by {} stands, and prevails until {} decides anew",
                    standing.reviewer, standing.reviewer
                ));
            }
        }
        output::say(&done(common, &disk, &decided, &own, errors, &more));
    }
    Ok(End::Fine)
}

/// What was done, and the commands that follow.
fn done(
    common: &Common,
    disk: &Disk,
    decided: &Decided<'_>,
    own: &[Finding],
    errors: usize,
    more: &[String],
) -> String {
    let width = output::style(common).width;
    let Decided {
        subject,
        reviewer,
        path,
        ..
    } = decided;
    let did = match decided.approves {
        true => "approved",
        false => "rejected",
    };
    let told = told(subject, &decided.bytes);
    let mut lines = vec![format!("{reviewer} {did} {}{told}", subject.id)];
    if errors > 0 {
        let errors = match errors {
            1 => "an error".to_owned(),
            _ => format!("{errors} errors"),
        };
        lines.push(format!(
            "beware: it has {errors}, as shearbook validate {} tells",
            subject.path
        ));
    }
    lines.extend(more.iter().cloned());
    for finding in own {
        let severity = finding.severity.name();
        lines.push(printable(&format!("{severity}: {}", finding.message)));
    }
    let mut text = String::new();
    for line in lines {
        text += &wrapped(&line, width, "", "  ");
    }
    let git = Here::of(common, disk).git;
    text += &format!("made {path}\n\nNext: let git keep it, under the reviewer's own name:\n");
    text += &format!("    {git} add {path}\n");
    text + &format!("    {git} commit -m \"Review {}\"\n", subject.id)
}

/// What was decided about, in short.
fn told(subject: &Subject, bytes: &[u8]) -> String {
    if subject.key != "check" {
        return String::new();
    }
    let parsed = parse::<Check>(&subject.path, bytes.to_vec());
    let Some(check) = parsed.ok().and_then(|parsed| parsed.record) else {
        return String::new();
    };
    let verdict = check
        .computed
        .as_ref()
        .and_then(|computed| computed.verdict);
    format!(
        ": verdict {}, performed {} by {} with {}",
        verdict.map_or("none", |verdict| verdict.word()),
        check.performed,
        check.operator,
        check.fluid
    )
}

fn open(common: &Common, format: Format) -> Ended {
    let disk = common.disk()?;
    validate::whole(&disk)?;
    let outcome = progress::watched(common.quiet, &disk, |source| {
        judge(source, common.clock(), &Wanted::All)
    })?;
    let Some(book) = outcome.book.as_ref().filter(|book| book.zone_known()) else {
        return Err(Trouble::Unusable(SourceError::new(
            "the book's time zone is not known, so no check has a date",
            "run shearbook validate: shearbook.toml has errors",
        )));
    };
    let mut checks = Vec::new();
    for one in waiting(book, &outcome.links) {
        checks.push(review_text::Check {
            operator: operator(&disk, &one)?,
            comment: match (one.rejected, CheckName::parse(one.id)) {
                (Some(review), Some(name)) => comment(&disk, &name.reviews_folder(), review)?,
                _ => None,
            },
            waiting: one,
        });
    }
    let mut records = Vec::new();
    for one in unreviewed(&disk, book, &outcome.links)? {
        records.push(review_text::Record {
            comment: match one.rejected {
                Some(review) => comment(&disk, &format!("reviews/records/{}", one.record), review)?,
                None => None,
            },
            waiting: one,
        });
    }
    let list = review_text::List {
        book,
        checks,
        records,
    };
    if common.quiet
        && matches!(format, Format::Text)
        && list.checks.is_empty()
        && list.records.is_empty()
    {
        return Ok(End::Fine);
    }
    output::say(&match format {
        Format::Text => review_text::render(&list, output::style(common).width),
        Format::Json => review_json::render(&list),
    });
    Ok(End::Fine)
}

fn operator(disk: &Disk, waiting: &Waiting<'_>) -> Result<Option<String>, Trouble> {
    let path = waiting.facts.place(waiting.id).path;
    let Some(bytes) = disk.read(&path)? else {
        return Ok(None);
    };
    let parsed = parse::<Check>(&path, bytes).map_err(|ours| Trouble::Ours(ours.to_string()))?;
    Ok(parsed.record.map(|check| check.operator.into()))
}

/// What a reviewer had to say.
fn comment(disk: &Disk, folder: &str, review: &ReviewFacts) -> Result<Option<String>, Trouble> {
    let path = format!("{folder}/{}-{}.toml", review.reviewer, review.number);
    let Some(bytes) = disk.read(&path)? else {
        return Ok(None);
    };
    let parsed = parse::<Review>(&path, bytes).map_err(|ours| Trouble::Ours(ours.to_string()))?;
    Ok(parsed.record.and_then(|review| review.comment))
}
