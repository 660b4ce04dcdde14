//! What a change brings, as Markdown for its reviewer. What records hold stands in quotations; all else is the program's own.

mod check;
mod findings;
mod records;
mod values;

use super::forge::Forge;
use super::markup::code;
use super::tally;
use crate::finding::{Counts, Severity};
use crate::history::compare::{Brought, ChangedNonconformity, NewCheck, short};
use crate::history::difference::Difference;
use crate::record::check::Verdict;
use crate::source::range::Range;
use check::checks;
use findings::findings;
use records::{altered, facts, new_facts, nonconformities, reviews};
use std::collections::BTreeSet;

/// A forge takes a comment of 65,536 characters; some room is left for what is put round it.
const MOST_BYTES: usize = 60_000;

/// A section's heading and the line that tells what was left out.
const ROOM_OF_A_SECTION: usize = 400;

/// Characters of a reason or a comment.
const LONG: usize = 400;

/// Characters of an id, a path or a value.
const SHORT: usize = 160;

/// Rows of one table.
const ROWS: usize = 40;

/// So many findings are put into words; no page has room for more.
const COMPOSED: usize = 400;

/// So many failed checks and errors come before all else.
const FIRST: usize = 12;

/// A part of a section that is told whole or not at all.
struct Block {
    /// The lower, the sooner it is told.
    rank: u8,
    /// `None` where no page has room for so many.
    text: Option<String>,
    is_bad: bool,
}

struct Section {
    heading: &'static str,
    blocks: Vec<Block>,
    /// What one block is, what several are, and how to see those that are left out.
    of: (&'static str, &'static str, &'static str),
    /// How one and several of those that are left out are said to be bad.
    bad: (&'static str, &'static str),
}

pub fn render(range: &Range, brought: &Brought, forge: Option<&Forge>) -> String {
    let text = head(range, brought, forge);
    let sections = [
        checks(brought, forge),
        altered(brought),
        facts(brought),
        new_facts(brought),
        reviews(brought),
        nonconformities(brought),
        findings(brought),
    ];
    assemble(text, &sections)
}

/// Fills the page by rank, and tells in each section how many did not fit.
fn assemble(mut text: String, sections: &[Section]) -> String {
    let mut order: Vec<(u8, usize, usize)> = Vec::new();
    for (number, section) in sections.iter().enumerate() {
        let blocks = section.blocks.iter().enumerate();
        order.extend(blocks.map(|(at, block)| (block.rank, number, at)));
    }
    order.sort_unstable();
    let mut room = MOST_BYTES.saturating_sub(text.len() + sections.len() * ROOM_OF_A_SECTION);
    let mut told: BTreeSet<(usize, usize)> = BTreeSet::new();
    let mut full: BTreeSet<(u8, usize)> = BTreeSet::new();
    for (rank, number, at) in order {
        let block = &sections[number].blocks[at];
        // What follows one that does not fit would be out of order.
        match &block.text {
            Some(text) if text.len() < room && !full.contains(&(rank, number)) => {
                room -= text.len();
                told.insert((number, at));
            }
            _ => {
                full.insert((rank, number));
            }
        }
    }
    for (number, section) in sections.iter().enumerate() {
        if section.blocks.is_empty() {
            continue;
        }
        text.truncate(text.trim_end().len());
        text += &format!("\n\n## {}\n\n", section.heading);
        let mut left: Vec<&Block> = Vec::new();
        for (at, block) in section.blocks.iter().enumerate() {
            match block.text.as_ref().filter(|_| told.contains(&(number, at))) {
                Some(block) => text += block,
                None => left.push(block),
            }
        }
        if !left.is_empty() {
            let (one, several, how) = section.of;
            let bad = match left.iter().filter(|block| block.is_bad).count() {
                0 => String::new(),
                1 => format!(" (1 of them {})", section.bad.0),
                several => format!(" ({several} of them {})", section.bad.1),
            };
            let noun = if left.len() == 1 { one } else { several };
            let count = match left.len() == section.blocks.len() {
                true => format!("{} {noun}", left.len()),
                false => format!("And {} more {noun}", left.len()),
            };
            text.truncate(text.trim_end().len());
            text += &format!("\n\n{count}{bad}, for which this page has no room: {how}.\n");
        }
    }
    text.truncate(text.trim_end().len());
    text + "\n"
}

fn counted(count: usize, one: &str, several: &str) -> String {
    match count {
        1 => format!("1 {one}"),
        _ => format!("{count} {several}"),
    }
}

/// `a`, `a and b`, `a, b and c`.
fn listed(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// The first few, and how many more there are.
fn few(items: &[String], most: usize) -> String {
    match items.len() > most {
        false => listed(items),
        true => format!(
            "{} and {} more",
            items[..most].join(", "),
            items.len() - most
        ),
    }
}

fn is_fail(verdict: Option<Verdict>) -> bool {
    matches!(verdict, Some(Verdict::Fail | Verdict::ConditionalFail))
}

fn is_pass(verdict: Option<Verdict>) -> bool {
    matches!(verdict, Some(Verdict::Pass | Verdict::ConditionalPass))
}

fn head(range: &Range, brought: &Brought, forge: Option<&Forge>) -> String {
    let mut text = format!(
        "# What this change brings to the book\n\n{} Compared: {} of {}, with the book as it was at {}, where it parted from {}.\n",
        what(brought),
        counted(range.commits, "commit", "commits"),
        code(&range.to, SHORT),
        code(&short(&range.before), SHORT),
        code(&range.from, SHORT),
    );
    let to_do = to_do(brought, forge);
    if !to_do.is_empty() {
        text += "\n**What to do:**\n\n";
        for line in to_do {
            text += &format!("- {line}\n");
        }
    }
    text
}

/// The files of which an error is told.
fn paths_with_errors(brought: &Brought) -> BTreeSet<&str> {
    let errors = brought.findings.iter();
    errors
        .filter(|finding| finding.severity == Severity::Error)
        .map(|finding| finding.place.path.as_str())
        .collect()
}

/// The change in one paragraph.
fn what(brought: &Brought) -> String {
    let mut parts = Vec::new();
    parts.extend(other_folders(brought));
    parts.extend(new_checks(brought));
    let brings = [
        (brought.reviews.len(), "review", "reviews"),
        (
            brought
                .nonconformities
                .iter()
                .filter(|one| one.is_new)
                .count(),
            "nonconformity",
            "nonconformities",
        ),
        (brought.new_facts.len(), "new fact", "new facts"),
    ];
    let brings: Vec<String> = brings
        .iter()
        .filter(|(count, ..)| *count > 0)
        .map(|(count, one, several)| counted(*count, one, several))
        .collect();
    if !brings.is_empty() {
        parts.push(format!("It brings {}.", listed(&brings)));
    }
    let resting = brought.facts.iter().filter(|fact| fact.rest_on_it > 0);
    match (brought.facts.len(), resting.count()) {
        (0, _) => {}
        (facts, 0) => parts.push(format!("It changes {}.", counted(facts, "fact", "facts"))),
        (facts, _) => parts.push(format!(
            "It changes {} on which committed checks rest.",
            counted(facts, "fact", "facts")
        )),
    }
    for (decided, does) in [(true, "decides"), (false, "changes")] {
        let fits = |one: &&ChangedNonconformity| one.decided == decided && !one.is_new;
        match brought.nonconformities.iter().filter(fits).count() {
            0 => {}
            count => parts.push(format!(
                "It {does} {}.",
                counted(count, "nonconformity", "nonconformities")
            )),
        }
    }
    if !brought.altered.is_empty() {
        parts.push(format!(
            "It **alters {}**.",
            counted(
                brought.altered.len(),
                "committed record",
                "committed records"
            )
        ));
    }
    if !brought.findings.is_empty() {
        parts.push(format!("Found: {}.", tally(Counts::of(&brought.findings))));
    } else if !parts.is_empty() {
        parts.push("Nothing was found wrong.".to_owned());
    }
    if parts.is_empty() {
        parts.push("This change brings nothing to the book: no record differs.".to_owned());
    }
    if !brought.others.is_empty() {
        let others: Vec<String> = brought
            .others
            .iter()
            .map(|path| code(path, SHORT))
            .collect();
        parts.push(format!(
            "Not told on this page, since it is no record: {}.",
            few(&others, 4)
        ));
    }
    // A page that begins with a change of facts says so in its first words.
    match parts.first() {
        Some(first) if first.starts_with("It ") => {
            parts[0] = first.replacen("It ", "This change ", 1);
        }
        _ => {}
    }
    parts.join(" ")
}

/// Where a book stood before, if this folder held none.
fn other_folders(brought: &Brought) -> Option<String> {
    let others = brought.books_before.as_ref()?;
    let none = "Before this change there was no book in this folder.";
    if others.is_empty() {
        return Some(none.to_owned());
    }
    let others: Vec<String> = others
        .iter()
        .map(|folder| match folder.as_str() {
            "" => "the top folder".to_owned(),
            folder => code(folder, SHORT),
        })
        .collect();
    Some(format!(
        "{none} There was one in {}: if it was moved, each of its records counts as altered there and as new here.",
        few(&others, 3)
    ))
}

/// How many new checks of which instruments there are, and what they come to.
fn new_checks(brought: &Brought) -> Option<String> {
    let verdicts: Vec<Option<Verdict>> = brought
        .checks
        .iter()
        .map(|new| brought.verdict(new))
        .collect();
    let new = brought.checks.len() + brought.unreadable.len();
    if new == 0 {
        return None;
    }
    let instruments: BTreeSet<&str> = brought
        .checks
        .iter()
        .map(|new| new.check.instrument.as_str())
        .collect();
    let instruments: Vec<String> = instruments.iter().map(|id| code(id, SHORT)).collect();
    let of = match instruments.is_empty() {
        true => String::new(),
        false => format!(" of {}", few(&instruments, 4)),
    };
    let void = |verdict: &&Option<Verdict>| **verdict == Some(Verdict::Void);
    let counts = [
        (
            verdicts.iter().filter(|one| is_fail(**one)).count(),
            "fails",
            "fail",
        ),
        (
            verdicts.iter().filter(|one| is_pass(**one)).count(),
            "passes",
            "pass",
        ),
        (verdicts.iter().filter(void).count(), "is void", "are void"),
        (
            verdicts.iter().filter(|one| one.is_none()).count(),
            "has no verdict",
            "have no verdict",
        ),
        (brought.unreadable.len(), "cannot be read", "cannot be read"),
    ];
    let counts: Vec<String> = counts
        .iter()
        .filter(|(count, ..)| *count > 0)
        .map(|(count, one, several)| counted(*count, one, several))
        .collect();
    let amendments = brought
        .checks
        .iter()
        .filter(|new| new.check.amends.is_some());
    let amendments = match amendments.count() {
        0 => String::new(),
        1 => "; 1 amends an earlier record".to_owned(),
        several => format!("; {several} amend earlier records"),
    };
    let errors = paths_with_errors(brought);
    let paths = brought.checks.iter().map(|new| &new.doc.path);
    let uncounted = paths.chain(&brought.unreadable);
    let uncounted = uncounted.filter(|path| errors.contains(path.as_str()));
    let uncounted = match uncounted.count() {
        0 => String::new(),
        1 => "; 1 has errors and does not count".to_owned(),
        several => format!("; {several} have errors and do not count"),
    };
    Some(format!(
        "This change brings **{}**{of}: {}{amendments}{uncounted}.",
        counted(new, "new check", "new checks"),
        listed(&counts)
    ))
}

/// So many amendments are named among what is to be done.
const AMENDED: usize = 5;

/// What the reviewer does next, the most urgent first.
fn to_do(brought: &Brought, forge: Option<&Forge>) -> Vec<String> {
    let mut lines = Vec::new();
    let counts = Counts::of(&brought.findings);
    if counts.error > 0 {
        let errors = match counts.error {
            1 => "the error",
            _ => "the errors",
        };
        lines.push(format!(
            "Do not merge yet: whoever made the change puts right {errors} under *Findings* first; how is told there."
        ));
    }
    if !brought.altered.is_empty() {
        lines.push("Look at *Committed records altered*: what is committed stays as it was, and is corrected by an amendment.".to_owned());
    }
    let fails = brought
        .checks
        .iter()
        .filter(|new| !new.amended && is_fail(brought.verdict(new)))
        .count();
    if fails > 0 {
        let check = match fails {
            1 => "the failed check",
            _ => "the failed checks",
        };
        lines.push(format!(
            "Keep {check}: a truthful fail is a good record and no reason against merging. See that the instrument is checked again before it is used."
        ));
    }
    let mut amended = Vec::new();
    for new in &brought.checks {
        for (reviewer, comment) in &new.rejected_before {
            amended.push(format!(
                "{} amends a check that {} rejected: {}. See that this is answered; until somebody rejects the amendment too it counts.",
                code(&new.id, SHORT),
                code(reviewer, SHORT),
                code(comment, SHORT)
            ));
        }
        let verdict = new
            .amends
            .iter()
            .flatten()
            .find_map(|difference| match difference {
                Difference::Value { pointer, was, is } if pointer == "/computed/verdict" => {
                    Some((was.as_deref()?, is.as_deref()?))
                }
                _ => None,
            });
        if let Some((was, is)) = verdict {
            amended.push(format!(
                "{} makes a {} of a {}: hold what it corrects against the bench sheet, and look at what rests on the earlier verdict, nonconformities among it.",
                code(&new.id, SHORT),
                code(is, SHORT),
                code(was, SHORT)
            ));
        }
    }
    let more = amended.len().saturating_sub(AMENDED);
    lines.extend(amended.into_iter().take(AMENDED));
    if more > 0 {
        lines.push(format!(
            "Likewise {more} more amendments that answer a rejection or change a verdict; each is told below as far as there is room."
        ));
    }
    if brought.facts.iter().any(|fact| fact.rest_on_it > 0) {
        lines.push(
            "Hold each changed fact against the document that it comes from: committed checks were judged by it."
                .to_owned(),
        );
    }
    let waiting: Vec<&NewCheck> = brought
        .checks
        .iter()
        .filter(|new| new.awaits_review)
        .collect();
    if let Some(first) = waiting.first() {
        let many = match waiting.len() {
            1 => "1 check waits for a review".to_owned(),
            several => format!("{several} checks wait for a review"),
        };
        let how = match forge {
            Some(_) => "the link under each opens one that is filled in but for time and decision"
                .to_owned(),
            None => format!(
                "in a clone that has this branch, {} writes one, and `--reject` with `--comment` the other",
                code(&format!("shearbook review {} --approve", first.id), SHORT)
            ),
        };
        lines.push(format!(
            "{many} by somebody who neither performed nor typed it: {how}."
        ));
    }
    lines
}

fn heading(id: &str, what: &str) -> String {
    format!("### {}: {what}\n\n", code(id, SHORT))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn section(heading: &'static str, blocks: &[(u8, usize)]) -> Section {
        let blocks = blocks.iter().map(|(rank, length)| Block {
            rank: *rank,
            text: Some(format!("- {}\n", "x".repeat(length - 3))),
            is_bad: *rank == 1,
        });
        Section {
            heading,
            blocks: blocks.collect(),
            of: ("thing", "things", "look there"),
            bad: ("is bad", "are bad"),
        }
    }

    #[test]
    fn what_matters_most_is_told_first_and_the_rest_is_counted() {
        // 58,800 bytes are left beside head and room of three sections.
        let text = assemble(
            String::new(),
            &[
                section("A", &[(6, 20_000), (1, 50_000), (6, 5_000)]),
                section("B", &[(2, 70_000)]),
                section("C", &[(3, 3_000), (3, 30_000), (3, 10)]),
            ],
        );
        assert!(text.len() < MOST_BYTES, "{}", text.len());
        let lines: Vec<&str> = text
            .lines()
            .filter(|line| !line.starts_with("- x"))
            .collect();
        let lines: Vec<&str> = lines.into_iter().filter(|line| !line.is_empty()).collect();
        assert_eq!(
            lines,
            [
                "## A",
                "And 2 more things, for which this page has no room: look there.",
                "## B",
                "1 thing, for which this page has no room: look there.",
                "## C",
                "And 2 more things, for which this page has no room: look there.",
            ]
        );
        let told: Vec<usize> = text
            .lines()
            .filter(|line| line.starts_with("- x"))
            .map(|line| line.len() + 1)
            .collect();
        assert_eq!(told, [50_000, 3_000]);
    }
}
