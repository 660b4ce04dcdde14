//! What becomes of the checks of a sheet: written, void, in the book already, or refused. Nothing is written here.

use super::convert::{Draft, Problem};
use super::map::{CHECK, Class, Map};
use crate::book::Book;
use crate::cli::rehearse::{Rehearsed, rehearse};
use crate::cli::{Common, Trouble};
use crate::finding::{Finding, Severity};
use crate::parse::layout::{Slot, slot};
use crate::parse::{Doc, Value, document};
use crate::record::Kind;
use crate::sheet::at;
use crate::source::disk::Disk;
use crate::source::{Source, SourceError, What, each_of};
use std::collections::{BTreeMap, BTreeSet};

/// Why a check counts for nothing though it is kept.
#[derive(Clone, Debug)]
pub(super) struct Void {
    pub(super) cause: &'static str,
    pub(super) reason: String,
}

pub(super) struct Kept {
    pub(super) draft: Draft,
    pub(super) void: Option<Void>,
    pub(super) rehearsed: Rehearsed,
}

/// A check that is refused as a whole, with every reason.
pub(super) struct Turned {
    pub(super) draft: Draft,
    pub(super) problems: Vec<Problem>,
}

#[derive(Default)]
pub(super) struct Judged {
    pub(super) kept: Vec<Kept>,
    /// Written by an earlier run.
    pub(super) already: Vec<Draft>,
    pub(super) refused: Vec<Turned>,
}

/// Judges the checks as they would stand in the book.
pub(super) fn judge(
    common: &Common,
    disk: &Disk,
    book: &Book,
    map: &Map,
    drafts: Vec<Draft>,
) -> Result<Judged, Trouble> {
    let mut judged = Judged::default();
    let drafts = one_a_minute(drafts, &mut judged);
    let drafts = not_there_yet(disk, drafts, &mut judged)?;
    let mut waiting: Vec<(Draft, Option<Void>)> = drafts
        .into_iter()
        .map(|draft| {
            let void = (!draft.lacks.is_empty()).then(|| incomplete(&draft, &draft.lacks));
            (draft, void)
        })
        .collect();
    loop {
        let texts = waiting
            .iter()
            .map(|(draft, void)| (draft.path.clone(), toml(draft, void.as_ref())));
        let rehearsed = rehearse(common, disk, book, texts.collect())?;
        let mut again = Vec::with_capacity(waiting.len());
        let mut kept = Vec::with_capacity(waiting.len());
        let mut changed = false;
        for ((draft, void), rehearsed) in waiting.into_iter().zip(rehearsed) {
            let errors: Vec<&Finding> = rehearsed
                .findings
                .iter()
                .filter(|finding| finding.severity == Severity::Error)
                .collect();
            let fate = match (errors.is_empty(), &void) {
                (true, _) => Some(void),
                (false, None) => becomes_void(&draft, map, &errors).map(Some),
                (false, Some(_)) => None,
            };
            let unsealed = errors.is_empty() && rehearsed.figures.is_none();
            changed |= !errors.is_empty() || unsealed;
            match fate {
                // What keeps its figures from being had stands in another file.
                Some(_) if unsealed => {
                    let why = "its figures cannot be had, since a record that it names has errors";
                    let help = "shearbook validate tells what is wrong there; put that right first";
                    let problems = vec![problem(
                        &draft,
                        "/performed",
                        why.to_owned(),
                        help.to_owned(),
                    )];
                    judged.refused.push(Turned { draft, problems });
                }
                Some(void) => {
                    again.push((draft.clone(), void.clone()));
                    kept.push(Kept {
                        draft,
                        void,
                        rehearsed,
                    });
                }
                None => {
                    let problems = errors
                        .iter()
                        .map(|finding| of_rule(&draft, finding))
                        .collect();
                    judged.refused.push(Turned { draft, problems });
                }
            }
        }
        // Checks name one another, so each is judged beside those that are left, as they are left.
        if !changed {
            judged.kept = kept;
            return Ok(judged);
        }
        waiting = again;
    }
}

fn toml(draft: &Draft, void: Option<&Void>) -> String {
    let Some(void) = void else {
        return draft.text.to_toml();
    };
    let mut text = draft.text.clone();
    text.void_cause = Some(void.cause.to_owned());
    text.reason = Some(void.reason.clone());
    text.to_toml()
}

fn problem(draft: &Draft, pointer: &str, why: String, help: String) -> Problem {
    let place = draft.cells.get(pointer);
    let row = place.and_then(|(cell, _)| at(cell)).map(|at| at.row);
    Problem {
        row: row.unwrap_or(draft.row),
        cell: place.map(|(cell, _)| cell.clone()),
        found: place.map(|(_, found)| found.clone()),
        why,
        help,
        rule: None,
    }
}

/// What a rule refuses, at the cell that it is about.
fn of_rule(draft: &Draft, finding: &Finding) -> Problem {
    let mut pointer = finding.place.pointer.as_str();
    let problem = loop {
        if draft.cells.contains_key(pointer) || pointer.is_empty() {
            break problem(
                draft,
                pointer,
                finding.message.clone(),
                finding.help.clone(),
            );
        }
        pointer = pointer.rsplit_once('/').map_or("", |(above, _)| above);
    };
    Problem {
        rule: Some(finding.rule),
        ..problem
    }
}

/// The most rows that a reason names; of others it tells how many.
const NAMED: usize = 3;

/// An instrument is checked once a minute; of two such rows nobody knows which is meant.
fn one_a_minute(drafts: Vec<Draft>, judged: &mut Judged) -> Vec<Draft> {
    let mut rows: BTreeMap<String, Vec<(Option<String>, u32)>> = BTreeMap::new();
    for draft in &drafts {
        rows.entry(draft.id.clone())
            .or_default()
            .push((draft.sheet.clone(), draft.row));
    }
    let mut alone = Vec::with_capacity(drafts.len());
    for draft in drafts {
        let same = rows.get(&draft.id).map(Vec::as_slice).unwrap_or_default();
        let mut others: Vec<String> = same
            .iter()
            .filter(|(sheet, row)| (sheet, *row) != (&draft.sheet, draft.row))
            .take(NAMED)
            .map(|(sheet, row)| match sheet {
                Some(sheet) if *sheet != draft.sheet.clone().unwrap_or_default() => {
                    format!("row {row} of sheet \"{sheet}\"")
                }
                _ => format!("row {row}"),
            })
            .collect();
        if others.is_empty() {
            alone.push(draft);
            continue;
        }
        let more = same.len().saturating_sub(1 + others.len());
        if more > 0 {
            others.push(format!("{more} more"));
        }
        let give = if others.len() == 1 { "gives" } else { "give" };
        let last = others.pop().unwrap_or_default();
        let named = match others.is_empty() {
            true => last,
            false => format!("{} and {last}", others.join(", ")),
        };
        let why = format!(
            "{named} {give} the same instrument and minute, {}",
            draft.id
        );
        let help = "put the time of one of them right; where both rows are one check, let session leave out what differs; where the sheet has no times, two checks of one day need them";
        let problems = vec![problem(&draft, "/performed", why, help.to_owned())];
        judged.refused.push(Turned { draft, problems });
    }
    alone
}

/// Where a record says that it came from.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Came {
    sha256: String,
    sheet: Option<String>,
    row: Option<i64>,
    /// A row may hold several instruments side by side, each as found and as left.
    instrument: String,
    condition: Option<String>,
}

impl Came {
    fn of(doc: &Doc) -> Option<Came> {
        let text = |pointer: &str| match &doc.root.get(pointer)?.value {
            Value::Text(text) => Some(text.to_string()),
            _ => None,
        };
        Some(Came {
            sha256: text("/origin/sha256")?,
            sheet: text("/origin/sheet"),
            row: match doc.root.get("/origin/row").map(|node| &node.value) {
                Some(Value::Integer(row)) => Some(*row),
                _ => None,
            },
            instrument: text("/instrument")?,
            condition: text("/condition"),
        })
    }

    fn of_draft(draft: &Draft) -> Option<Came> {
        let origin = draft.text.origin.as_ref()?;
        Some(Came {
            sha256: origin.sha256.clone(),
            sheet: origin.sheet.clone(),
            row: origin.row.and_then(|row| i64::try_from(row).ok()),
            instrument: draft.text.instrument.clone(),
            condition: draft.text.condition.clone(),
        })
    }
}

/// The checks that the same file brought before, by where they came from.
fn brought(disk: &Disk, sha256: &str) -> Result<BTreeMap<Came, String>, SourceError> {
    let entries = disk.list(Kind::Check.folder())?;
    let files: Vec<&str> = entries
        .iter()
        .filter(|entry| entry.what == What::File)
        .map(|entry| entry.path.as_str())
        .collect();
    let came = each_of(&files, |path| -> Result<_, SourceError> {
        let Slot::Record(Kind::Check, id) = slot(path) else {
            return Ok(None);
        };
        let bytes = disk.read(path)?.unwrap_or_default();
        if memchr::memmem::find(&bytes, sha256.as_bytes()).is_none() {
            return Ok(None);
        }
        let came = document(path, bytes).and_then(|doc| Came::of(&doc));
        Ok(came.map(|came| (came, id)))
    })?;
    // Of a check and its amendments the first record.
    let mut brought = BTreeMap::new();
    for (came, id) in came.into_iter().flatten() {
        brought.entry(came).or_insert(id);
    }
    Ok(brought)
}

/// Puts aside what the book has.
fn not_there_yet(
    disk: &Disk,
    drafts: Vec<Draft>,
    judged: &mut Judged,
) -> Result<Vec<Draft>, Trouble> {
    let sha256 = drafts.first().and_then(|draft| draft.text.origin.as_ref());
    let Some(sha256) = sha256.map(|origin| origin.sha256.clone()) else {
        return Ok(drafts);
    };
    let brought = brought(disk, &sha256)?;
    let mut new = Vec::with_capacity(drafts.len());
    for draft in drafts {
        let came = Came::of_draft(&draft);
        let known = came.as_ref().and_then(|came| brought.get(came));
        let there = disk.what(&draft.path)?.is_some();
        match known {
            _ if there => match beside(disk, &draft)? {
                None => judged.already.push(draft),
                Some(problem) => judged.refused.push(Turned {
                    draft,
                    problems: vec![problem],
                }),
            },
            Some(id) => {
                let why = format!("this row is in the book already, as {id}");
                let help = "a map that reads another time makes another check of it; where the first is wrong, amend it";
                let problems = vec![problem(&draft, "/performed", why, help.to_owned())];
                judged.refused.push(Turned { draft, problems });
            }
            None => new.push(draft),
        }
    }
    Ok(new)
}

/// Why a check cannot be what stands at its path; `None` where an earlier run wrote the same.
fn beside(disk: &Disk, draft: &Draft) -> Result<Option<Problem>, Trouble> {
    let doc = |bytes| document(&draft.path, bytes);
    let stands = disk.read(&draft.path)?.and_then(doc);
    let file = |doc: &Doc| match &doc.root.get("/origin/file")?.value {
        Value::Text(text) => Some(text.to_string()),
        _ => None,
    };
    let here = draft.text.origin.as_ref().map(|origin| origin.file.clone());
    let stands = stands.filter(|doc| file(doc).is_some() && file(doc) == here);
    let (Some(stands), Some(would)) = (stands, doc(draft.text.to_toml().into_bytes())) else {
        let why = format!("{} is there already, and not from this file", draft.path);
        let help =
            "where it is the same check, leave this row out with [[skip]]; else put the time right";
        return Ok(Some(problem(draft, "/performed", why, help.to_owned())));
    };
    let (stands, would) = (said(&stands), said(&would));
    let keys = stands.keys().chain(would.keys());
    let keys: BTreeSet<&String> = keys
        .filter(|key| stands.get(*key) != would.get(*key))
        .collect();
    let Some(key) = keys.first() else {
        return Ok(None);
    };
    let value = |of: &BTreeMap<String, String>| {
        of.get(*key)
            .map_or("nothing".to_owned(), |value| value.clone())
    };
    let more = match keys.len() - 1 {
        0 => String::new(),
        1 => "; 1 more key differs".to_owned(),
        more => format!("; {more} more keys differ"),
    };
    let why = format!(
        "{} came from this file before, and there {} is {}, where it is {} by this map{more}",
        draft.path,
        told(key),
        value(&stands),
        value(&would)
    );
    let help = format!(
        "where the book is right, put sheet or map right; where it is wrong and not committed yet, delete that file and import again; else shearbook amend {}",
        draft.id
    );
    Ok(Some(problem(draft, key, why, help)))
}

/// A key as a person names it: `point 2, viscosity_mpa_s`.
fn told(pointer: &str) -> String {
    let mut words = Vec::new();
    for step in pointer.split('/').skip(1) {
        match (step.parse::<usize>(), words.pop()) {
            (Ok(index), Some(list)) => words.push(format!("{list} {}", index + 1)),
            (_, last) => {
                words.extend(last);
                words.push(step.to_owned());
            }
        }
    }
    words.join(", ")
}

/// What a record says, by pointers, but for where it comes from, what is worked out, and whether it is void.
fn said(doc: &Doc) -> BTreeMap<String, String> {
    const NOT: [&str; 6] = [
        "/format",
        "/origin",
        "/computed",
        "/void",
        "/void_cause",
        "/reason",
    ];
    let mut said = BTreeMap::new();
    let mut open = vec![(String::new(), &doc.root)];
    while let Some((pointer, node)) = open.pop() {
        if NOT.contains(&pointer.as_str()) {
            continue;
        }
        match &node.value {
            Value::Table(entries) => {
                let entries = entries.iter();
                open.extend(entries.map(|(key, node)| (format!("{pointer}/{key}"), node)));
            }
            Value::Array(items) => {
                let items = items.iter().enumerate();
                open.extend(items.map(|(index, node)| (format!("{pointer}/{index}"), node)));
            }
            _ => {
                said.insert(pointer, node.to_json().to_string());
            }
        }
    }
    said
}

fn incomplete(draft: &Draft, lacks: &[String]) -> Void {
    let file = draft
        .text
        .origin
        .as_ref()
        .map_or("", |origin| origin.file.as_str());
    Void {
        cause: "incomplete-source",
        reason: format!(
            "imported from {file}, which does not say: {}",
            lacks.join(", ")
        ),
    }
}

/// What a check becomes that a rule refuses: void, where the sheet only lacks something, or where the map says so.
fn becomes_void(draft: &Draft, map: &Map, errors: &[&Finding]) -> Option<Void> {
    let mut lacks: Vec<String> = Vec::new();
    let mut broken: Vec<String> = Vec::new();
    for finding in errors {
        match lacking(draft, finding) {
            Some(what) => lacks.extend(
                what.into_iter()
                    .filter(|one| !lacks.contains(one))
                    .collect::<Vec<_>>(),
            ),
            None if map.void.iter().any(|rule| rule == finding.rule) => {
                broken.push(finding.message.clone());
            }
            None => return None,
        }
    }
    match broken.is_empty() {
        true => Some(incomplete(draft, &lacks)),
        false => Some(Void {
            cause: "procedure",
            reason: format!("imported though {}", broken.join("; and ")),
        }),
    }
}

/// What the sheet does not say, where a rule refuses the check for that alone.
fn lacking(draft: &Draft, finding: &Finding) -> Option<Vec<String>> {
    let preparation = &draft.text.preparation;
    let says = |key: &str| preparation.confirmed.iter().any(|(own, _)| own == key);
    let one = |what: &str| Some(vec![what.to_owned()]);
    match finding.rule {
        "bottle-missing" => one("the bottle"),
        "zero-out-of-limits" if preparation.zero_percent.is_none() => one("the zero"),
        "soak-too-short" if preparation.soak_started.is_none() => one("when the soak started"),
        "guard-differs" if !says("guard") => one("whether the guard was fitted"),
        "zone-missing" => {
            let zones = ["low", "middle", "high"];
            let missing = zones
                .into_iter()
                .find(|zone| finding.message.contains(&format!("the {zone} zone")));
            Some(vec![format!(
                "a reading in the {} zone",
                missing.unwrap_or("required")
            )])
        }
        "preparation-unconfirmed" => {
            let own = finding.place.pointer.rsplit('/').next().unwrap_or("");
            if says(own) {
                return None;
            }
            let flags = CHECK.iter().filter(|(_, class)| *class == Class::Flag);
            let missing: Vec<String> = flags
                .filter(|(key, _)| finding.message.contains(key) && !says(key))
                .map(|(key, _)| confirmed(key).to_owned())
                .collect();
            match missing.is_empty() {
                true => one("how it was prepared"),
                false => Some(missing),
            }
        }
        _ => None,
    }
}

fn confirmed(key: &str) -> &'static str {
    match key {
        "levelled" => "whether the instrument was levelled",
        "immersed_to_mark" => "whether the geometry was immersed to its mark",
        "free_of_bubbles" => "whether the fluid was free of bubbles",
        "vessel_as_specified" => "whether the vessel was the specified one",
        "guard" => "whether the guard was fitted",
        _ => "whether the gap was set",
    }
}
