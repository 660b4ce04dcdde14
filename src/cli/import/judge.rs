//! What becomes of the checks of a sheet: written, void, in the book already, or refused. Nothing is written here.

use super::convert::{Draft, Problem};
use super::map::{CHECK, Class, Map};
use crate::book::{Book, each_of};
use crate::cli::rehearse::{Rehearsed, rehearse};
use crate::cli::{Common, Trouble};
use crate::finding::{Finding, Severity};
use crate::parse::layout::{Slot, slot};
use crate::parse::{Doc, Value, document};
use crate::record::Kind;
use crate::source::disk::Disk;
use crate::source::{Source, SourceError, What};
use std::collections::BTreeMap;

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
    Problem {
        row: draft.row,
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
        let others: Vec<String> = same
            .iter()
            .filter(|(sheet, row)| (sheet, *row) != (&draft.sheet, draft.row))
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
        let why = format!(
            "{} gives the same instrument and minute, {}",
            others.join(" and "),
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
        })
    }

    fn of_draft(draft: &Draft) -> Option<Came> {
        let origin = draft.text.origin.as_ref()?;
        Some(Came {
            sha256: origin.sha256.clone(),
            sheet: origin.sheet.clone(),
            row: origin.row.and_then(|row| i64::try_from(row).ok()),
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
            Some(id) if *id == draft.id => judged.already.push(draft),
            Some(id) => {
                let why = format!("this row is in the book already, as {id}");
                let help = "a map that reads another time or instrument makes another check of it; where the first is wrong, amend it";
                let problems = vec![problem(&draft, "/performed", why, help.to_owned())];
                judged.refused.push(Turned { draft, problems });
            }
            None if there => {
                let why = format!(
                    "{} is there already, and not from this row of this file",
                    draft.path
                );
                let help = "where it is the same check, leave this row out with [[skip]]; else put the time right";
                let problems = vec![problem(&draft, "/performed", why, help.to_owned())];
                judged.refused.push(Turned { draft, problems });
            }
            None => new.push(draft),
        }
    }
    Ok(new)
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
