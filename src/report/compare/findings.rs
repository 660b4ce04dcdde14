//! What the rules find, in sentences in which texts of records are quoted.

use super::{Block, COMPOSED, FIRST, LONG, SHORT, Section};
use crate::finding::{Finding, Place, Severity};
use crate::history::compare::Brought;
use crate::history::difference::leaves;
use crate::parse::Doc;
use crate::report::markup::{code, sentence};
use crate::rules;
use std::collections::BTreeMap;

pub(super) fn findings(brought: &Brought) -> Section {
    let mut found: Vec<&Finding> = brought.findings.iter().collect();
    found.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    let mut texts = FreeTexts::of(brought);
    let mut blocks = Vec::new();
    for (at, finding) in found.into_iter().enumerate() {
        blocks.push(Block {
            rank: match finding.severity {
                Severity::Error if at < FIRST => 0,
                Severity::Error => 3,
                Severity::Warning => 5,
                Severity::Notice => 8,
            },
            text: (at < COMPOSED).then(|| finding_line(finding, &mut texts)),
            is_bad: finding.severity == Severity::Error,
        });
    }
    Section {
        heading: "Findings",
        blocks,
        of: (
            "finding",
            "findings",
            "`shearbook gate --range A..B` with these two commits tells each",
        ),
        bad: ("is an error", "are errors"),
    }
}

fn place(place: &Place) -> String {
    match place.line {
        line if line > 1 || place.width > 0 => format!("{}, line {line}", code(&place.path, SHORT)),
        _ => code(&place.path, SHORT),
    }
}

/// Texts of several words that records hold, by file: in a sentence of the program they are quoted.
struct FreeTexts<'a> {
    docs: BTreeMap<&'a str, &'a Doc>,
    known: BTreeMap<&'a str, Vec<String>>,
}

impl<'a> FreeTexts<'a> {
    fn of(brought: &'a Brought) -> FreeTexts<'a> {
        let facts = brought.after.each_fact().into_iter().map(|fact| fact.doc());
        let new = brought
            .new_facts
            .iter()
            .filter_map(|fact| fact.doc.as_ref());
        let checks = brought.checks.iter().map(|new| &new.doc);
        let docs = facts.chain(new).chain(checks);
        FreeTexts {
            docs: docs.map(|doc| (doc.path.as_str(), doc)).collect(),
            known: BTreeMap::new(),
        }
    }

    fn in_files_of(&mut self, finding: &Finding) -> Vec<String> {
        let related = finding.related.iter().map(|related| &related.place);
        let mut texts = Vec::new();
        let paths = related.clone().chain([&finding.place]);
        let odd = paths.map(|place| &place.path);
        texts.extend(
            odd.filter(|path| path.contains(char::is_whitespace))
                .cloned(),
        );
        for place in std::iter::once(&finding.place).chain(related) {
            let Some((path, doc)) = self.docs.get_key_value(place.path.as_str()) else {
                continue;
            };
            texts.extend_from_slice(self.known.entry(path).or_insert_with(|| {
                let values = leaves(doc, "").into_iter().map(|(_, value)| value);
                let mut texts: Vec<String> = values
                    .filter(|value| value.trim().contains(char::is_whitespace))
                    .collect();
                texts.sort();
                texts.dedup();
                texts
            }));
        }
        texts
    }
}

fn finding_line(finding: &Finding, texts: &mut FreeTexts<'_>) -> String {
    let severity = match finding.severity {
        Severity::Error => "**error**",
        other => other.name(),
    };
    let known = texts.in_files_of(finding);
    // What is said of a text that cannot be read may hold any part of it.
    let say = |text: &str| match rules::is_reading(finding.rule) {
        true => ended(&code(text, LONG)),
        false => ended(&sentence(text, &known, LONG)),
    };
    let mut text = format!(
        "- {severity} `{}` in {}: {}",
        finding.rule,
        place(&finding.place),
        say(&finding.message)
    );
    for related in finding.related.iter().take(3) {
        text += &format!(" See {}: {}", place(&related.place), say(&related.message));
    }
    if !finding.help.is_empty() {
        text += &format!(" *Next:* {}", say(&finding.help));
    }
    text + "\n"
}

fn ended(text: &str) -> String {
    match text.ends_with(['.', '?', '!', '\u{2026}']) {
        true => text.to_owned(),
        false => format!("{text}."),
    }
}
