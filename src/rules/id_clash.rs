use super::{Out, Rule, Run};
use crate::book::{Book, Loaded};
use crate::finding::{Place, Severity};
use crate::parse::layout::{self, Slot};
use crate::record::Kind;
use crate::record::policy::Policy;
use crate::source::{Entry, What};
use std::collections::BTreeMap;

pub(super) static RULE: Rule = Rule {
    id: "id-clash",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("id_clash.md"),
    run: &[Run::Paths(paths)],
};

fn paths(book: &Book, entries: &[Entry], out: &mut Out<'_>) {
    let mut seen: BTreeMap<(Kind, String), (&str, String)> = BTreeMap::new();
    for entry in entries.iter().filter(|entry| entry.what == What::File) {
        let Slot::Record(kind, id) = layout::slot(&entry.path) else {
            continue;
        };
        match seen.get(&(kind, id.to_lowercase())) {
            Some((path, first)) if *first != id => {
                out.say(
                    place_of_id(book, kind, &id, &entry.path),
                    format!("{id} and {first} differ only in capitals"),
                )
                .because(place_of_id(book, kind, first, path), "the other one")
                .help("give one of them another id; some disks take both file names for one");
            }
            Some(_) => {}
            None => {
                seen.insert((kind, id.to_lowercase()), (entry.path.as_str(), id));
            }
        }
    }
    policies(book, out);
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
