//! The parts of a rule's explanation, and the examples in it as small books.

/// One part of an explanation, as its heading names it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Section<'a> {
    pub title: &'a str,
    pub body: &'a str,
}

/// The parts of a rule's Markdown below its title.
pub fn sections(doc: &str) -> Vec<Section<'_>> {
    let mut sections = Vec::new();
    for part in doc.split("\n## ").skip(1) {
        let (title, body) = part.split_once('\n').unwrap_or((part, ""));
        sections.push(Section {
            title: title.trim(),
            body: body.trim(),
        });
    }
    sections
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::book::review::Digest;
    use crate::book::view::View;
    use crate::book::{Book, Clock, computed};
    use crate::finding::{Finding, Severity};
    use crate::fleet::Fleet;
    use crate::fleet::session::Gathering;
    use crate::parse::layout::{Slot, check_path, slot};
    use crate::parse::parse;
    use crate::record::Kind;
    use crate::record::check::Check;
    use crate::rules::{
        Change, Moved, Parent, RULES, Rests, Run, Touched, Wanted, judge_change, judge_commit,
        judge_fleet, judge_moved, rule, run, run_and_watch,
    };
    use crate::source::memory::Memory;
    use jiff::Timestamp;
    use jiff::civil::Date;
    use std::collections::BTreeSet;
    use toml_edit::{DocumentMut, Item, Table};

    /// The mark of a line that must fire.
    const MARK: &str = "# <- here";

    const BASE: &[(&str, &str)] = &[
        ("shearbook.toml", include_str!("base/shearbook.toml")),
        ("policies/P-1.toml", include_str!("base/policies/P-1.toml")),
        ("people/op-01.toml", include_str!("base/people/op-01.toml")),
        ("people/qa-01.toml", include_str!("base/people/qa-01.toml")),
        (
            "instruments/VM-1.toml",
            include_str!("base/instruments/VM-1.toml"),
        ),
        (
            "geometries/G-1.toml",
            include_str!("base/geometries/G-1.toml"),
        ),
        ("fluids/K-1.toml", include_str!("base/fluids/K-1.toml")),
        (
            "thermometers/TH-1.toml",
            include_str!("base/thermometers/TH-1.toml"),
        ),
        ("baths/WB-1.toml", include_str!("base/baths/WB-1.toml")),
        (
            "checks/2026/VM-1/2026-03-02-0900.toml",
            include_str!("base/checks/2026/VM-1/2026-03-02-0900.toml"),
        ),
    ];

    fn clock() -> Clock {
        Clock {
            now: "2026-11-25T12:00:00Z".parse().expect("time"),
            as_of: None,
        }
    }

    /// A fenced block: its words after `toml`, and its text.
    struct Fence {
        path: String,
        words: Vec<String>,
        text: String,
    }

    struct Case {
        title: String,
        fences: Vec<Fence>,
        also: BTreeSet<String>,
        /// The day of the fleet, where it is not that of the clock.
        as_of: Option<Date>,
        /// What a commit says of itself: its date, its author's e-mail, its parent's date.
        committed: Option<(Timestamp, String, Timestamp)>,
        /// What a push does: the branch, whether it is sealed, from, to, whether it grows.
        pushed: Option<(String, bool, String, String, bool)>,
    }

    /// The cases of a section: each `###` heading begins one; without headings the section is one.
    fn cases(body: &str) -> Vec<Case> {
        let mut cases = Vec::new();
        for (index, part) in format!("\n{body}").split("\n### ").enumerate() {
            let (title, rest) = match index {
                0 => ("", part),
                _ => part.split_once('\n').unwrap_or((part, "")),
            };
            let mut fences = Vec::new();
            let mut also = BTreeSet::new();
            let mut as_of = None;
            let mut committed = None;
            let mut pushed = None;
            let mut open: Option<Fence> = None;
            for line in rest.lines() {
                if let Some(fence) = &mut open {
                    if line == "```" {
                        fences.extend(open.take());
                    } else {
                        fence.text += line;
                        fence.text += "\n";
                    }
                } else if let Some(words) = line.strip_prefix("```") {
                    let mut words = words.split_whitespace().map(str::to_owned);
                    assert_eq!(
                        words.next().as_deref(),
                        Some("toml"),
                        "a fence is toml PATH: {line}"
                    );
                    open = Some(Fence {
                        path: words.next().expect("a path after toml"),
                        words: words.collect(),
                        text: String::new(),
                    });
                } else if let Some(list) = line.strip_prefix("Also fires: ") {
                    also.extend(
                        list.trim_end_matches('.')
                            .split(", ")
                            .map(|id| id.trim_matches('`').to_owned()),
                    );
                } else if let Some(day) = line.strip_prefix("On the day: ") {
                    as_of = Some(day.trim_end_matches('.').parse().expect("a day"));
                } else if let Some(said) = line.strip_prefix("Committed: ") {
                    committed = Some(commit_facts(said.trim_end_matches('.')));
                } else if let Some(said) = line.strip_prefix("Pushed: ") {
                    pushed = Some(push_facts(said.trim_end_matches('.')));
                }
            }
            assert!(open.is_none(), "a fence does not end");
            if !fences.is_empty() || as_of.is_some() || pushed.is_some() {
                cases.push(Case {
                    title: title.to_owned(),
                    fences,
                    also,
                    as_of,
                    committed,
                    pushed,
                });
            }
        }
        cases
    }

    /// `TIME by E-MAIL`, with or without `, after TIME` of the parent, which else is a day older.
    fn commit_facts(said: &str) -> (Timestamp, String, Timestamp) {
        let (at, rest) = said.split_once(" by ").expect("TIME by E-MAIL");
        let at: Timestamp = at.parse().expect("a time");
        match rest.split_once(", after ") {
            Some((author, parent)) => (at, author.to_owned(), parent.parse().expect("a time")),
            None => (
                at,
                rest.to_owned(),
                at - jiff::SignedDuration::from_hours(24),
            ),
        }
    }

    /// `NAME, sealed, from ID to ID, which descends from it`, or the contrary.
    fn push_facts(said: &str) -> (String, bool, String, String, bool) {
        let parts: Vec<&str> = said.split(", ").collect();
        let [name, sealed, ids, grows] = parts[..] else {
            panic!("{said}");
        };
        let ids = ids.strip_prefix("from ").expect("from");
        let (from, to) = ids.split_once(" to ").expect("to");
        (
            name.to_owned(),
            sealed == "sealed",
            from.to_owned(),
            to.to_owned(),
            grows == "which descends from it",
        )
    }

    fn merge(into: &mut Table, from: &Table) {
        for (key, item) in from.iter() {
            match (into.get_mut(key), item) {
                (Some(Item::Table(old)), Item::Table(new)) => {
                    *old.decor_mut() = new.decor().clone();
                    merge(old, new);
                }
                // In its old place, so that line 1 stays line 1.
                (Some(old @ Item::Value(_)), Item::Value(_)) => *old = item.clone(),
                _ => {
                    let (name, value) = from.get_key_value(key).expect("key");
                    into.remove(key);
                    into.insert_formatted(&name.clone(), value.clone());
                }
            }
        }
    }

    fn remove(doc: &mut DocumentMut, dotted: &str) {
        let mut table: &mut Table = doc.as_table_mut();
        let steps: Vec<&str> = dotted.split('.').collect();
        for step in &steps[..steps.len() - 1] {
            table = table[*step].as_table_mut().expect("a table");
        }
        assert!(
            table.remove(steps[steps.len() - 1]).is_some(),
            "there is no {dotted}"
        );
    }

    /// The base book with a case's changes, sealed.
    fn book_of(case: &Case) -> Memory {
        let after = |fence: &&Fence| !fence.words.iter().any(|word| word == "before");
        let fences: Vec<&Fence> = case.fences.iter().filter(after).collect();
        match before(case) {
            Some(before) => book_with(before, &fences),
            None => book_with(base(), &fences),
        }
    }

    /// The book before a case's change; `None` where it shows none.
    fn before(case: &Case) -> Option<Memory> {
        let before = |fence: &&Fence| fence.words.iter().any(|word| word == "before");
        let fences: Vec<&Fence> = case.fences.iter().filter(before).collect();
        (!fences.is_empty() || case.committed.is_some()).then(|| book_with(base(), &fences))
    }

    fn base() -> Memory {
        let mut memory = Memory::default();
        for (path, text) in BASE {
            memory
                .files
                .insert((*path).to_owned(), text.as_bytes().to_vec());
        }
        memory
    }

    /// A book with the changes of fences; checks that are not sealed yet, and those that the fences write, are sealed.
    fn book_with(mut memory: Memory, fences: &[&Fence]) -> Memory {
        let mut as_written = BTreeSet::new();
        for fence in fences {
            let words: Vec<&str> = fence.words.iter().map(String::as_str).collect();
            if words.contains(&"delete") {
                assert!(
                    memory.files.remove(&fence.path).is_some(),
                    "there is no {}",
                    fence.path
                );
                continue;
            }
            if words.contains(&"draft") || fence.text.contains("[computed]") {
                as_written.insert(fence.path.clone());
            }
            let like = words.iter().find_map(|word| word.strip_prefix("like="));
            let base = like.unwrap_or(&fence.path);
            let text = match memory.files.get(base) {
                Some(bytes) if !words.contains(&"new") => {
                    let text = String::from_utf8(bytes.clone()).expect("text");
                    let mut doc: DocumentMut = text.parse().expect("base is TOML");
                    // It is sealed anew.
                    doc.remove("computed");
                    for word in &words {
                        for key in word
                            .strip_prefix("without=")
                            .into_iter()
                            .flat_map(|list| list.split(','))
                        {
                            remove(&mut doc, key);
                        }
                    }
                    let change: DocumentMut = fence
                        .text
                        .parse()
                        .unwrap_or_else(|error| panic!("{}: {error}", fence.path));
                    merge(doc.as_table_mut(), change.as_table());
                    doc.to_string()
                }
                _ => fence.text.clone(),
            };
            let bytes = match words.contains(&"bom") {
                true => format!("\u{feff}{text}").into_bytes(),
                false => text.into_bytes(),
            };
            if words.contains(&"link") {
                memory.links.insert(fence.path.clone());
            }
            memory.files.insert(fence.path.clone(), bytes);
        }
        seal(&mut memory, &as_written);
        bind(&mut memory);
        memory
    }

    /// In an example the SHA-256 of what is reviewed is written as zeros.
    fn bind(memory: &mut Memory) {
        let zeros = "0".repeat(64);
        let paths: Vec<String> = memory.files.keys().cloned().collect();
        for path in paths.iter().filter(|path| path.starts_with("reviews/")) {
            let text = String::from_utf8_lossy(&memory.files[path]).into_owned();
            let Ok(review) = text.parse::<DocumentMut>() else {
                continue;
            };
            let named = |key: &str| review.get(key).and_then(Item::as_str);
            let covered = match (named("check"), named("record")) {
                (Some(check), _) => check_path(check),
                (None, Some(record)) => Some(format!("{record}.toml")),
                (None, None) => None,
            };
            if let Some(bytes) = covered.and_then(|path| memory.files.get(&path)) {
                let sha256 = Digest::of(bytes).to_string();
                memory
                    .files
                    .insert(path.clone(), text.replace(&zeros, &sha256).into_bytes());
            }
        }
    }

    fn seal(memory: &mut Memory, as_written: &BTreeSet<String>) {
        let book = Book::facts(memory, clock()).expect("facts");
        let paths: Vec<String> = memory.files.keys().cloned().collect();
        for path in paths.into_iter().filter(|path| !as_written.contains(path)) {
            let Slot::Record(Kind::Check, id) = slot(&path) else {
                continue;
            };
            let bytes = memory.files[&path].clone();
            let parsed = parse::<Check>(&path, bytes.clone()).expect("read");
            let (Some(doc), Some(check)) = (parsed.doc, parsed.record) else {
                continue;
            };
            if check.computed.is_some() {
                continue;
            }
            let figures =
                View::of(&book, &doc, &check, &id).and_then(|view| computed::expected(&view));
            if let Some(figures) = figures {
                let sealed = [bytes, b"\n".to_vec(), figures.to_toml().into_bytes()].concat();
                memory.files.insert(path, sealed);
            }
        }
    }

    fn judge(memory: &Memory) -> Vec<Finding> {
        run(memory, clock(), &Wanted::All).expect("judged").findings
    }

    fn is_of_fleet(id: &str) -> bool {
        let of_fleet = |run: &Run| matches!(run, Run::Fleet(_));
        rule(id).is_some_and(|rule| rule.run.iter().any(of_fleet))
    }

    /// What the book says of itself, and the fleet on a day.
    fn judge_the_fleet(memory: &Memory, as_of: Option<Date>) -> Vec<Finding> {
        let clock = Clock { as_of, ..clock() };
        let gathering = Gathering::default();
        let watch = |view: &View<'_>| gathering.take(view);
        let outcome = run_and_watch(memory, clock, &Wanted::All, Some(&watch)).expect("judged");
        let sessions = gathering.sessions();
        let book = outcome.book.expect("a book");
        let (links, with_errors) = (&outcome.links, &outcome.with_errors);
        let fleet = Fleet::on(&book, links, with_errors, &sessions, book.as_of());
        let mut findings = outcome.findings;
        findings.extend(judge_fleet(&fleet));
        findings
    }

    /// What the change rules say of a commit upon one parent.
    fn judge_the_commit(
        before: &Memory,
        after: &Memory,
        (at, author, parent): &(Timestamp, String, Timestamp),
    ) -> Vec<Finding> {
        let paths: BTreeSet<&String> = before.files.keys().chain(after.files.keys()).collect();
        let differs = |path: &&&String| before.files.get(**path) != after.files.get(**path);
        let changed: Vec<String> = paths
            .iter()
            .filter(differs)
            .map(|path| (*path).clone())
            .collect();
        let clock = Clock {
            now: *at,
            as_of: None,
        };
        let book = |_: &BTreeSet<String>, _| Ok(std::sync::Arc::new(Book::facts(after, clock)?));
        let change = Change {
            id: None,
            author: Some(author),
            at: *at,
            now: *at,
            parents: vec![Parent {
                id: "1111111111111111111111111111111111111111",
                at: *parent,
                before,
                changed,
            }],
            first: Vec::new(),
            after,
            judges: Some(before),
            parted: &|_, _| Ok(Vec::new()),
            earlier: &|_, _| Ok(None),
        };
        let judged = judge_commit(&change, &book, &Rests::default());
        judged.expect("judged").findings
    }

    fn marks(memory: &Memory) -> BTreeSet<(String, u32)> {
        let mut marks = BTreeSet::new();
        for (path, bytes) in &memory.files {
            for (index, line) in String::from_utf8_lossy(bytes).lines().enumerate() {
                if line.contains(MARK) {
                    marks.insert((path.clone(), u32::try_from(index + 1).expect("line")));
                }
            }
        }
        marks
    }

    /// Judges all cases of one rule; the complaints, if any.
    fn complaints(id: &str, doc: &str) -> Vec<String> {
        let mut complaints = Vec::new();
        let all = sections(doc);
        let titles: Vec<&str> = all.iter().map(|section| section.title).collect();
        if titles != ["Why", "Fires", "Passes", "What to do"] {
            complaints.push(format!("{id}: its parts are {titles:?}"));
        }
        if !doc.starts_with(&format!("# {id}\n")) {
            complaints.push(format!("{id}: the title is not # {id}"));
        }
        for section in all {
            let fires = section.title == "Fires";
            if !fires && section.title != "Passes" {
                continue;
            }
            let found = cases(section.body);
            if found.is_empty() {
                complaints.push(format!("{id}: {} has no example", section.title));
            }
            for case in found {
                let memory = book_of(&case);
                let mut findings = match is_of_fleet(id) {
                    true => judge_the_fleet(&memory, case.as_of),
                    false => judge(&memory),
                };
                let before = before(&case);
                if let (Some(before), Some(committed)) = (&before, &case.committed) {
                    findings.extend(judge_the_commit(before, &memory, committed));
                    findings.sort();
                }
                if let Some((name, sealed, was, is, grows)) = &case.pushed {
                    findings.extend(judge_moved(&Moved {
                        name,
                        sealed: *sealed,
                        was: Some(was),
                        is: Some(is),
                        grows: *grows,
                    }));
                }
                for (path, bytes) in before.iter().flat_map(|before| &before.files) {
                    let after = memory.files.get(path).map(Vec::as_slice);
                    findings.extend(judge_change(&Touched {
                        path,
                        before: bytes,
                        after,
                        restores_first: false,
                        parent: "HEAD",
                        clash: false,
                        commit: None,
                    }));
                }
                let name = format!("{id}, {} {}", section.title, case.title);
                let own: BTreeSet<(String, u32)> = findings
                    .iter()
                    .filter(|finding| finding.rule == id)
                    .map(|finding| (finding.place.path.clone(), finding.place.line))
                    .collect();
                let wanted = if fires {
                    marks(&memory)
                } else {
                    BTreeSet::new()
                };
                let sentences: Vec<String> = findings
                    .iter()
                    .map(|finding| {
                        format!(
                            "{} {}:{} {}",
                            finding.rule, finding.place.path, finding.place.line, finding.message
                        )
                    })
                    .collect();
                if fires && wanted.is_empty() {
                    complaints.push(format!("{name}: no line is marked"));
                }
                if own != wanted {
                    complaints.push(format!(
                        "{name}: fires at {own:?}, marked {wanted:?}\n   {}",
                        sentences.join("\n   ")
                    ));
                }
                let others: BTreeSet<String> = findings
                    .iter()
                    .filter(|finding| finding.rule != id && finding.severity > Severity::Notice)
                    .map(|finding| finding.rule.to_owned())
                    .collect();
                if others != case.also {
                    complaints.push(format!(
                        "{name}: besides fire {others:?}, said {:?}\n   {}",
                        case.also,
                        sentences.join("\n   ")
                    ));
                }
                for finding in findings.iter().filter(|finding| finding.rule == id) {
                    if finding.help.is_empty() {
                        complaints.push(format!("{name}: no help"));
                    }
                }
            }
        }
        complaints
    }

    #[test]
    fn the_base_book_is_sound() {
        let case = Case {
            title: String::new(),
            fences: Vec::new(),
            also: BTreeSet::new(),
            as_of: None,
            committed: None,
            pushed: None,
        };
        assert_eq!(judge(&book_of(&case)), Vec::new());
    }

    #[test]
    fn every_example_does_what_it_says() {
        // One rule alone: SHEARBOOK_RULE=fluid-expired cargo test every_example
        #[expect(clippy::disallowed_methods, reason = "a developer picks one rule")]
        let only = std::env::var("SHEARBOOK_RULE").ok();
        let complaints: Vec<String> = RULES
            .iter()
            .filter(|rule| only.as_deref().is_none_or(|only| only == rule.id))
            .flat_map(|rule| complaints(rule.id, rule.doc))
            .collect();
        assert!(complaints.is_empty(), "\n{}", complaints.join("\n"));
    }

    #[test]
    fn ids_are_in_kebab_case_and_unique() {
        let ids: BTreeSet<&str> = RULES.iter().map(|rule| rule.id).collect();
        assert_eq!(ids.len(), RULES.len());
        for id in ids {
            assert!(
                id.bytes()
                    .all(|byte| byte.is_ascii_lowercase() || byte == b'-'),
                "{id}"
            );
        }
    }
}
