//! `correct`: puts a wrong fact right in its file and amends every check that rests on it, as one change.

use super::amend::{self, Why, refused};
use super::ask::answers::Answers;
use super::ask::{Asked, Asker, Question};
use super::here::{self, Here};
use super::{Common, End, Ended, Trouble, interrupt, new, output, validate};
use crate::book::line::line;
use crate::book::{Book, Loaded};
use crate::finding::{Finding, Severity};
use crate::parse::Doc;
use crate::parse::edit;
use crate::parse::layout::{self, CheckName, Slot, slot};
use crate::record::Kind;
use crate::record::check::{Check, Verdict};
use crate::record::person::{Duty, Person};
use crate::report::{printable, wrapped};
use crate::rules::{Affected, Both, effects_on_all};
use crate::source::disk::Disk;
use crate::source::git::Repository;
use crate::source::overlay::Overlay;
use crate::source::{Source, What};
use crate::text::nearest;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The record: FOLDER/ID such as fluids/K-2291, or its file; what is left out is asked for
    record: Option<String>,
    /// The key of the wrong value: /value/0/viscosity_mpa_s, or value[0].viscosity_mpa_s; rows count from 0
    key: Option<String>,
    /// The right value
    #[arg(allow_hyphen_values = true)]
    value: Option<String>,
    /// Why the earlier value was wrong
    #[arg(long, value_name = "TEXT")]
    reason: Option<String>,
    /// Who corrects it; else the person whose e-mail git commits with
    #[arg(long, value_name = "PERSON")]
    by: Option<String>,
    /// Tell what would change, and write nothing
    #[arg(long)]
    dry_run: bool,
}

/// A check that is amended with the corrected fact.
struct Amended {
    id: String,
    path: String,
    /// As it is now; an amendment is new.
    text: String,
    was: Option<Verdict>,
    is: Option<Verdict>,
}

/// What is corrected, with nothing left to ask.
struct Wanted {
    record: String,
    key: String,
    value: String,
    reason: String,
    by: Option<String>,
    dry_run: bool,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let given = (
        &arguments.record,
        &arguments.key,
        &arguments.value,
        &arguments.reason,
    );
    if let (Some(record), Some(key), Some(value), Some(reason)) = given {
        let wanted = Wanted {
            record: record.clone(),
            key: key.clone(),
            value: value.clone(),
            reason: reason.clone(),
            by: arguments.by.clone(),
            dry_run: arguments.dry_run,
        };
        return correct(common, &wanted);
    }
    let asker = Asker::at_terminal(output::style(common), Answers::default());
    let Some(mut asker) = asker else {
        return Err(Trouble::Usage(
            "say what is corrected: shearbook correct RECORD KEY VALUE --reason TEXT; there is no terminal to ask at".to_owned(),
        ));
    };
    interrupt::say_last(Some("Stopped. Nothing was written.".to_owned()));
    let wanted = match asker.run(|asker| dialogue(common, arguments, asker)) {
        Ok(wanted) => wanted,
        Err(stop) => return Err(stop.end(asker)),
    };
    // What it brings is seen before it is done.
    let seen = Wanted {
        dry_run: true,
        ..wanted
    };
    let ended = correct(common, &seen)?;
    if ended == End::Refused || arguments.dry_run {
        return Ok(ended);
    }
    let sure = Question::new("write", "Write it so?")
        .default(Some("y"))
        .unkept();
    match asker.yes_or_no(sure) {
        Ok(true) => {
            interrupt::say_last(None);
            let wanted = Wanted {
                dry_run: false,
                ..seen
            };
            correct(common, &wanted)
        }
        Ok(false) => Ok(End::Fine),
        Err(stop) => Err(stop.end(asker)),
    }
}

fn dialogue(common: &Common, arguments: &Arguments, asker: &mut Asker) -> Asked<Wanted> {
    let (disk, book) = validate::facts(common)?;
    let given = match &arguments.record {
        Some(record) => record.clone(),
        None => {
            let facts: Vec<(String, String)> = book
                .each_fact()
                .iter()
                .filter_map(|fact| match fact.id() {
                    (Kind::Book | Kind::Nonconformity, _) | (_, None) => None,
                    (kind, Some(id)) => Some((format!("{}/{id}", kind.folder()), String::new())),
                })
                .collect();
            let question = Question::new("record", "Which record is wrong?")
                .help("a number or the name, such as fluids/K-2291");
            facts[asker.choose(question, &facts)?].0.clone()
        }
    };
    let (kind, path) = record(&disk, &given)?;
    let doc = fact(&disk, kind, &path)?;
    let key = match &arguments.key {
        Some(key) => key.clone(),
        None => {
            let values: Vec<(String, String)> = edit::values(&doc)
                .into_iter()
                .filter(|(pointer, _)| correctable(pointer).is_ok())
                .collect();
            values[asker.choose(Question::new("key", "Which value is wrong?"), &values)?]
                .0
                .clone()
        }
    };
    let pointer = edit::pointer_of(&key).map_err(amend::unfit)?;
    correctable(&pointer)?;
    let value = match &arguments.value {
        Some(value) => value.clone(),
        None => {
            let question = Question::new("value", "The right value")
                .help("as the certificate or the plate has it, with all its digits");
            asker.fitting(&question, kind, &doc, &pointer)?.0
        }
    };
    let reason = match &arguments.reason {
        Some(reason) => reason.clone(),
        None => {
            let question = Question::new(
                "reason",
                "In a few words: why was it wrong, and how is that known?",
            );
            asker.ask(&question, |text| Ok(text.to_owned()))?
        }
    };
    Ok(Wanted {
        record: given,
        key,
        value,
        reason,
        by: arguments.by.clone(),
        dry_run: arguments.dry_run,
    })
}

fn correct(common: &Common, arguments: &Wanted) -> Ended {
    let reason = amend::reason(&arguments.reason)?;
    let pointer = edit::pointer_of(&arguments.key).map_err(amend::unfit)?;
    let (disk, book) = validate::facts(common)?;
    let (kind, path) = record(&disk, &arguments.record)?;
    correctable(&pointer)?;
    new::zone_known(&book)?;
    let doc = fact(&disk, kind, &path)?;
    let repository = Repository::of(&disk.root)?;
    amend::untouched(&repository, &path, "validate")?;
    let by = here::person(&book, &repository, arguments.by.as_deref())?;
    let was = doc
        .root
        .get(&pointer)
        .map(|node| doc.text.slice(node.span).to_owned());
    let fitted = edit::fit(kind, &doc, &pointer, &arguments.value);
    let fitted = fitted
        .map_err(|ours| Trouble::Ours(ours.to_string()))?
        .map_err(amend::unfit)?;
    let is = fitted
        .root
        .get(&pointer)
        .map(|node| fitted.text.slice(node.span).to_owned());
    if was == is {
        return Err(refused(
            format!("{pointer} in {path} is {} already", was.unwrap_or_default()),
            "there is nothing to correct; nothing was written",
        ));
    }
    let corrected = with_row(kind, &fitted, &pointer, was.as_deref(), reason, &by, &book)?;

    let why = Why {
        reason: &format!("{reason} (correction of {pointer} in {path})"),
        by: &by,
        amended: amend::now(&book),
    };
    let change = Change {
        common,
        disk: &disk,
        repository: &repository,
        why: &why,
        path: &path,
        corrected: &corrected,
    };
    let (amended, effects) = change.amend()?;
    if !amended.is_empty() {
        may_amend(&book, &by, amended.len())?;
    }
    let width = output::style(common).width;
    let errors = new_errors(&effects, &change.drafts(&effects)?);
    if !errors.is_empty() {
        let files = effects.after.files;
        output::say_findings(common, &errors, (files, effects.after.checks));
        output::say(&wrapped(
            "Not corrected, since the commit would be refused: nothing was written. Where a check cannot stand under the corrected fact, amend it as void first (shearbook amend CHECK --void --cause procedure --reason TEXT), commit that, and correct the fact then.",
            width,
            "",
            "",
        ));
        return Ok(End::Refused);
    }
    if !arguments.dry_run {
        let mut parts: Vec<output::Part> = amended
            .iter()
            .map(|one| output::Part {
                path: disk.root.join(&one.path),
                bytes: one.text.clone().into_bytes(),
                before: None,
            })
            .collect();
        parts.push(output::Part {
            path: disk.root.join(&path),
            bytes: corrected.text.as_str().as_bytes().to_vec(),
            before: Some(doc.text.as_str().as_bytes().to_vec()),
        });
        output::write_together(&parts)?;
    }
    if !common.quiet || arguments.dry_run {
        let here = Here::of(common, &disk);
        let values = (was.as_deref(), is.as_deref());
        let head = head(&path, &pointer, values, arguments.dry_run);
        let mut said = wrapped(&printable(&head), width, "", "  ");
        said += &told(&amended, arguments.dry_run, width);
        for draft in change.drafts(&effects)? {
            said += &wrapped(
                &format!(
                    "{draft} is not committed yet and rests on the corrected value: seal it again with {} seal {}",
                    here.tool,
                    here.file(&draft)
                ),
                width,
                "",
                "  ",
            );
        }
        said += &match arguments.dry_run {
            true => "\nNothing was written: this was a dry run.\n".to_owned(),
            false => {
                let mut paths = vec![path.as_str()];
                paths.extend(amended.iter().map(|one| one.path.as_str()));
                let reviewed = match amended.is_empty() {
                    true => "",
                    false => "; then somebody authorised reviews the\namendments",
                };
                format!(
                    "\nNext: let git keep it all as one commit{reviewed}:\n{}    {} commit\n",
                    here.add(&paths),
                    here.git
                )
            }
        };
        output::say(&said);
    }
    Ok(End::Fine)
}

/// The kind and path of the record that is named.
fn record(disk: &Disk, given: &str) -> Result<(Kind, String), Trouble> {
    let named = given.trim_end_matches(".toml");
    let by_id = || {
        let (folder, id) = named.split_once('/')?;
        let kind = layout::folder_kind(folder)?;
        Some(layout::path_of(kind, id))
    };
    let as_file = Path::new(given);
    let path = match by_id() {
        Some(path) if layout::record(&path).is_ok() => path,
        _ if CheckName::parse(named).is_some() => return Err(is_check(named)),
        _ => disk
            .inside(as_file)
            .filter(|_| as_file.is_file())
            .ok_or_else(|| {
                Trouble::Usage(format!(
                    "{given} is neither a record such as fluids/K-2291 nor a file of the book"
                ))
            })?,
    };
    match slot(&path) {
        Slot::Record(Kind::Check, id) => Err(is_check(&id)),
        Slot::Record(Kind::Review, _) => Err(refused(
            format!("{path} is a review, and a review is never corrected"),
            "write a further one, which then counts: shearbook new review",
        )),
        Slot::Record(Kind::Nonconformity, _) => Err(refused(
            format!("{path} is a nonconformity, and its outcome is never corrected"),
            "while it has no outcome edit it by hand; later open another one that names the same checks",
        )),
        Slot::Record(Kind::Book, _) => Err(refused(
            format!("{path} keeps no [[correction]] rows"),
            "edit it by hand and look with shearbook gate at what that changes",
        )),
        Slot::Record(kind, _) => Ok((kind, path)),
        _ => Err(Trouble::Usage(format!("{path} is no record"))),
    }
}

fn is_check(id: &str) -> Trouble {
    refused(
        format!("{id} is a check, and a check is amended"),
        format!("shearbook amend {id} --set KEY=VALUE --reason TEXT"),
    )
}

fn correctable(pointer: &str) -> Result<(), Trouble> {
    let (message, help) = match pointer.split('/').nth(1).unwrap_or("") {
        "id" => (
            "a record of another id is another record",
            "add the right one with shearbook new, and amend the checks that name the wrong one",
        ),
        "format" => (
            "format is written by shearbook alone",
            "name the key of the wrong value",
        ),
        "correction" => (
            "what was once corrected stays as it was written",
            "correct the value itself once more",
        ),
        _ => return Ok(()),
    };
    Err(refused(message, format!("{help}. Nothing was written")))
}

/// The record as it is now.
fn fact(disk: &Disk, kind: Kind, path: &str) -> Result<Doc, Trouble> {
    if disk.what(path)? == Some(What::NotAFile) {
        return Err(refused(
            format!("{path} is a link or a special file; a record is a file of its own"),
            "put the record itself there, as a plain file",
        ));
    }
    let Some(bytes) = disk.read(path)? else {
        let entries = disk.list(kind.folder())?;
        let ids: Vec<&str> = entries
            .iter()
            .filter_map(|entry| entry.path.strip_suffix(".toml"))
            .collect();
        let help = match nearest(path.trim_end_matches(".toml"), ids.iter().copied()) {
            Some(meant) => format!("did you mean {meant}?"),
            None => format!("the folder {} has what there is", kind.folder()),
        };
        return Err(refused(format!("there is no {path}"), help));
    };
    let unreadable = || {
        refused(
            format!("{path} cannot be understood, so nothing in it can be corrected"),
            format!("shearbook validate {path} tells what is wrong with it"),
        )
    };
    let text = String::from_utf8(bytes).map_err(|_| unreadable())?;
    let reading = edit::read(kind, path, &text).map_err(|ours| Trouble::Ours(ours.to_string()))?;
    reading.doc.filter(|_| reading.sound).ok_or_else(unreadable)
}

/// The corrected record with the row that says so.
fn with_row(
    kind: Kind,
    doc: &Doc,
    pointer: &str,
    was: Option<&str>,
    reason: &str,
    by: &str,
    book: &Book,
) -> Result<Doc, Trouble> {
    let mut row = vec![("key", edit::quoted(pointer))];
    row.extend(was.map(|was| ("was", was.to_owned())));
    row.push(("reason", edit::quoted(reason)));
    row.push(("by", edit::quoted(by)));
    row.push(("date", book.zone.date(book.clock.now).to_string()));
    let text = edit::with_row(doc.text.as_str(), "correction", &row);
    let reading =
        edit::read(kind, &doc.path, &text).map_err(|ours| Trouble::Ours(ours.to_string()))?;
    let sound = reading.sound;
    reading.doc.filter(|_| sound).ok_or_else(|| {
        refused(
            format!("{} keeps its corrections in a way that only a person can add to", doc.path),
            "write each correction there as a table of its own, begun by [[correction]]; nothing was written",
        )
    })
}

/// A correction in the making.
struct Change<'a> {
    common: &'a Common,
    disk: &'a Disk,
    repository: &'a Repository,
    why: &'a Why<'a>,
    /// Of the fact.
    path: &'a str,
    corrected: &'a Doc,
}

impl Change<'_> {
    /// The amendments, and what the whole change does. What one check says of another is seen once that one is amended,
    /// so this is gone through until no further check is changed.
    fn amend(&self) -> Result<(Vec<Amended>, Both), Trouble> {
        let committed = here::committed(self.repository, Kind::Check.folder())?;
        let mut overlay = Overlay::over(self.disk);
        let corrected = self.corrected.text.as_str().as_bytes().to_vec();
        overlay.files.insert(self.path.to_owned(), corrected);
        let facts = Book::facts(&overlay, self.common.clock())?;
        let edited = self.repository.edited(&[Kind::Check.folder()])?;
        let mut amended: BTreeMap<String, Amended> = BTreeMap::new();
        loop {
            let effects = effects_on_all(self.disk, &overlay, self.common.clock())?;
            // A record that is wrong in itself is told before what that does to checks.
            let mut errors = new_errors(&effects, &[]).into_iter();
            if amended.is_empty() && errors.any(|finding| finding.place.path == self.path) {
                return Ok((Vec::new(), effects));
            }
            let changed = effects.affected.iter();
            let changed: Vec<&Affected> = changed
                .filter(|effect| self.is_settled(&effect.path, &committed))
                .collect();
            if changed.is_empty() {
                return Ok((amended.into_values().collect(), effects));
            }
            let own = |effect: &&Affected| {
                !effect.figures.is_empty() || effect.rules().any(|rule| rule != "repeat-of")
            };
            let first: Vec<&Affected> = changed.iter().copied().filter(own).collect();
            let now = if first.is_empty() { changed } else { first };
            let mut lacking = Vec::new();
            let mut stuck = Vec::new();
            for effect in now {
                settled(&effect.path, &committed, &edited)?;
                match self.amendment(&facts, effect)? {
                    Some(one) => {
                        let bytes = one.text.clone().into_bytes();
                        let before = overlay.files.insert(one.path.clone(), bytes.clone());
                        if before == Some(bytes) {
                            stuck.push(effect.path.clone());
                        }
                        amended.insert(one.path.clone(), one);
                    }
                    None => lacking.push(effect.id().to_owned()),
                }
            }
            // An amendment that does not speak for its check, as where one before it is missing.
            if let Some(path) = stuck.first() {
                return Err(refused(
                    format!("{path} still rests on this value when its check is amended"),
                    format!(
                        "shearbook validate {path} tells what is wrong with the order of its amendments; mend that first. Nothing was written"
                    ),
                ));
            }
            if !lacking.is_empty() {
                return Err(refused(
                    format!(
                        "with that value a figure cannot be had any more of {}",
                        lacking.join(", ")
                    ),
                    "look at the value once more. Where it is right, amend these checks as void first, commit that, and correct the fact then. Nothing was written",
                ));
            }
        }
    }

    /// A first record that no commit holds is a draft, which is sealed again; an amendment without a commit is in the way.
    fn is_settled(&self, path: &str, committed: &BTreeSet<String>) -> bool {
        committed.contains(path) || is_amendment(path)
    }

    /// The sealed drafts that the change concerns.
    fn drafts(&self, effects: &Both) -> Result<Vec<String>, Trouble> {
        let committed = here::committed(self.repository, Kind::Check.folder())?;
        let paths = effects.affected.iter().map(|effect| effect.path.clone());
        Ok(paths
            .filter(|path| !self.is_settled(path, &committed))
            .collect())
    }

    /// `None` where a figure cannot be had.
    fn amendment(&self, facts: &Book, effect: &Affected) -> Result<Option<Amended>, Trouble> {
        let ours = || Trouble::Ours(format!("{} has no record that can be amended", effect.id()));
        let name = CheckName::parse(effect.id()).ok_or_else(|| {
            refused(
                format!("{} is no name of a check", effect.path),
                format!("shearbook validate {} tells what is wrong", effect.path),
            )
        })?;
        let newest = line(self.disk, &name)?.pop().ok_or_else(ours)?;
        let old: Loaded<Check> = newest.record.ok_or_else(ours)?;
        // Why it is void stays with the record that is.
        let void = old.record.reason.as_deref().filter(|_| old.record.void);
        let reason = match void {
            Some(void) => format!("{}; void as before: {void}", self.why.reason),
            None => self.why.reason.to_owned(),
        };
        let why = Why {
            reason: &reason,
            by: self.why.by,
            amended: self.why.amended.clone(),
        };
        let copy = amend::copy(&old, &newest.name, &why)?;
        let id = newest.name.next().id();
        let Some(sealed) = amend::sealed(facts, &copy, &id)? else {
            return Ok(None);
        };
        let new = amend::checked(&sealed)?;
        Ok(Some(Amended {
            id,
            path: newest.name.next().path(),
            text: sealed.text.as_str().to_owned(),
            was: amend::verdict(&old.record),
            is: amend::verdict(&new.record),
        }))
    }
}

/// Refuses a check that would be amended as nobody committed it.
fn settled(
    path: &str,
    committed: &BTreeSet<String>,
    edited: &BTreeSet<String>,
) -> Result<(), Trouble> {
    if !committed.contains(path) {
        return Err(refused(
            format!("{path} rests on this value and is not committed yet"),
            "commit it, or delete it, and correct the fact then. Nothing was written",
        ));
    }
    if edited.contains(path) {
        return Err(refused(
            format!("{path} rests on this value and has been edited since it was committed"),
            format!(
                "put it back: git restore --source=HEAD --staged --worktree -- '{path}'; then correct the fact. Nothing was written"
            ),
        ));
    }
    Ok(())
}

/// An amendment is a record of a check, which not everybody who keeps facts may make.
fn may_amend(book: &Book, by: &str, amendments: usize) -> Result<(), Trouble> {
    let today = book.as_of();
    let may = |person: &Person| book.authorised_on(person, Duty::Check, today);
    let person = book.people.named(by);
    if person.sound().is_none_or(|person| may(person)) {
        return Ok(());
    }
    let others: Vec<&str> = book
        .people
        .sound()
        .filter(|person| may(person))
        .map(|person| person.id.as_str())
        .collect();
    let checks = match amendments {
        1 => "1 check rests on it, and the amendment of it is a record".to_owned(),
        many => format!("{many} checks rest on it, and the amendment of each is a record"),
    };
    Err(refused(
        format!("{checks} of a check, which {by} is not authorised for today"),
        match others.is_empty() {
            true => "authorise somebody for checks first: [[authorised]] with for = \"check\" in a file of people/. Nothing was written".to_owned(),
            false => format!(
                "have it corrected by somebody who is, with --by: {}. Nothing was written",
                others.join(", ")
            ),
        },
    ))
}

fn is_amendment(path: &str) -> bool {
    let name = layout::record(path)
        .ok()
        .and_then(|(_, id)| CheckName::parse(id));
    name.is_some_and(|name| name.amendment > 0)
}

/// The errors that the change brings; of a draft that is sealed again none.
fn new_errors(effects: &Both, drafts: &[String]) -> Vec<Finding> {
    let is_error = |finding: &&Finding| finding.severity == Severity::Error;
    let key = |finding: &Finding| {
        (
            finding.rule,
            finding.place.path.clone(),
            finding.place.pointer.clone(),
        )
    };
    let before = effects.before.findings.iter().filter(is_error);
    let before: BTreeSet<_> = before.map(key).collect();
    let after = effects.after.findings.iter().filter(is_error);
    after
        .filter(|finding| !before.contains(&key(finding)) && !drafts.contains(&finding.place.path))
        .cloned()
        .collect()
}

fn head(path: &str, pointer: &str, values: (Option<&str>, Option<&str>), dry_run: bool) -> String {
    let verb = if dry_run { "would become" } else { "is now" };
    let is = values.1.unwrap_or_default();
    match values.0 {
        Some(was) => format!("{pointer} in {path} was {was} and {verb} {is}."),
        None => format!("{pointer} in {path} was missing and {verb} {is}."),
    }
}

/// Each check with its verdicts, and what follows where one changes.
fn told(amended: &[Amended], dry_run: bool, width: usize) -> String {
    if amended.is_empty() {
        return "No committed check is changed by it.\n".to_owned();
    }
    let mut text = match amended.len() {
        1 if dry_run => "\n1 check rests on it and would be amended:\n".to_owned(),
        1 => "\n1 check rests on it and is amended:\n".to_owned(),
        many if dry_run => format!("\n{many} checks rest on it and would be amended:\n"),
        many => format!("\n{many} checks rest on it and are amended:\n"),
    };
    let word = |verdict: Option<Verdict>| verdict.map_or("no verdict", Verdict::word);
    let longest = amended.iter().map(|one| one.id.chars().count()).max();
    for one in amended {
        let verdict = match one.was == one.is {
            true => format!("{}, as before", word(one.is)),
            false => format!("was {}, is {}", word(one.was), word(one.is)),
        };
        let line = format!("  {:<1$}  {verdict}", one.id, longest.unwrap_or(0));
        text += &format!("{line}\n");
    }
    let mut said = BTreeSet::new();
    for one in amended {
        if let (Some(was), Some(is)) = (one.was, one.is)
            && was != is
            && said.insert((was, is))
        {
            text += "\n";
            text += &wrapped(&amend::consequence(was, is), width, "", "");
        }
    }
    text
}
