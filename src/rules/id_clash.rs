use super::{Out, Rule, Run};
use crate::book::{Book, Loaded};
use crate::finding::{Place, Severity};
use crate::parse::layout;
use crate::record::Kind;
use crate::record::policy::Policy;
use crate::source::{Entry, What};
use std::cmp::Ordering;

pub(super) static RULE: Rule = Rule {
    id: "id-clash",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("id_clash.md"),
    run: &[Run::Paths(paths)],
};

fn paths(book: &Book, entries: &[Entry], out: &mut Out<'_>) {
    let files = entries.iter().filter(|entry| entry.what == What::File);
    let mut ids: Vec<(Kind, &str, &str)> = Vec::with_capacity(entries.len());
    ids.extend(files.filter_map(|entry| {
        let (kind, id) = layout::record(&entry.path).ok()?;
        Some((kind, id, entry.path.as_str()))
    }));
    // Stable, so that the first of those that differ only in capitals stays the first.
    ids.sort_by(|one, other| {
        let kinds = one.0.cmp(&other.0);
        kinds.then_with(|| without_capitals(one.1, other.1))
    });
    let alike = |one: &(Kind, &str, &str), other: &(Kind, &str, &str)| {
        one.0 == other.0 && without_capitals(one.1, other.1).is_eq()
    };
    for group in ids.chunk_by(alike) {
        let (kind, first, path) = group[0];
        for (_, id, other) in group.iter().filter(|(_, id, _)| *id != first) {
            out.say(
                place_of_id(book, kind, id, other),
                format!("{id} and {first} differ only in capitals"),
            )
            .because(place_of_id(book, kind, first, path), "the other one")
            .help("give one of them another id; some disks take both file names for one");
        }
    }
    policies(book, out);
}

/// The order of two ids in small letters.
fn without_capitals(one: &str, other: &str) -> Ordering {
    fn lower(id: &str) -> impl Iterator<Item = char> {
        id.chars().flat_map(char::to_lowercase)
    }
    fn lower_ascii(id: &str) -> impl Iterator<Item = u8> {
        id.bytes().map(|byte| byte.to_ascii_lowercase())
    }
    match one.is_ascii() && other.is_ascii() {
        true => lower_ascii(one).cmp(lower_ascii(other)),
        false => lower(one).cmp(lower(other)),
    }
}

fn place_of_id(book: &Book, kind: Kind, id: &str, path: &str) -> Place {
    let mut facts = book.each_fact().into_iter();
    facts
        .find(|fact| fact.id().0 == kind && fact.doc().path == path)
        .filter(|fact| fact.id().1 == Some(id))
        .map_or_else(|| Place::whole(path), |fact| fact.doc().place("/id"))
}

/// Two policies that would judge the same instruments from the same day.
fn policies(book: &Book, out: &mut Out<'_>) {
    let all: Vec<&Loaded<Policy>> = book.policies.sound().collect();
    for (index, policy) in all.iter().enumerate() {
        let clash = all.iter().take(index).find_map(|other| {
            let shared = shared_group(policy, other)?;
            (other.effective == policy.effective).then_some((other, shared))
        });
        if let Some((other, shared)) = clash {
            out.say(
                policy.at("/effective"),
                format!(
                    "policies {} and {} both begin on {} for {shared}",
                    other.id, policy.id, policy.effective
                ),
            )
            .because(other.at("/effective"), "the other policy")
            .help("let one of them begin on another day, or give them different groups");
        }
    }
}

fn shared_group(one: &Policy, other: &Policy) -> Option<String> {
    match (&one.groups, &other.groups) {
        (None, None) => Some("every instrument without a policy of its group".to_owned()),
        (Some(ours), Some(theirs)) => ours
            .iter()
            .find(|group| theirs.contains(group))
            .map(|group| format!("the group {group}")),
        _ => None,
    }
}
