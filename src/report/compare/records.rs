//! All that a change brings beside checks: facts, reviews, nonconformities, and what it alters.

use super::values::{changes, of_row, values};
use super::{Block, LONG, ROWS, SHORT, Section, heading, listed};
use crate::history::compare::{
    Altered, Brought, ChangedFact, ChangedNonconformity, NewFact, NewReview,
};
use crate::history::difference::{leaves, written};
use crate::record::Kind;
use crate::record::review::ReviewDecision;
use crate::report::markup::code;

pub(super) fn altered(brought: &Brought) -> Section {
    let blocks = brought.altered.iter().map(|one| Block {
        rank: 2,
        text: Some(altered_record(one)),
        is_bad: false,
    });
    Section {
        heading: "Committed records altered",
        blocks: blocks.collect(),
        of: ("record", "records", "`git diff --no-renames` tells each"),
        bad: ("", ""),
    }
}

fn altered_record(one: &Altered) -> String {
    let what = match one.removed {
        true => "removed or renamed",
        false => "changed",
    };
    let mut text = heading(&one.path, what);
    match &one.differences {
        _ if one.removed => text += "It is no longer in the book.\n",
        Some(differences) => text += &values(differences),
        None => text += "One of its versions cannot be read.\n",
    }
    text + "\n"
}

fn fact_name(kind: Kind, id: &str) -> String {
    match kind {
        Kind::Book => "the book itself".to_owned(),
        _ => format!("{} {}", kind.noun(), code(id, SHORT)),
    }
}

pub(super) fn facts(brought: &Brought) -> Section {
    let blocks = brought.facts.iter().map(|fact| Block {
        rank: 2,
        text: Some(changed_fact(fact)),
        is_bad: false,
    });
    Section {
        heading: "Changed facts",
        blocks: blocks.collect(),
        of: ("fact", "facts", "`git diff --no-renames` tells each"),
        bad: ("", ""),
    }
}

fn changed_fact(fact: &ChangedFact) -> String {
    let gone = match fact.removed {
        true => ": **removed or renamed**",
        false => "",
    };
    let mut text = format!(
        "### {}, {}{gone}\n\n",
        fact_name(fact.kind, &fact.id),
        code(&fact.path, SHORT)
    );
    match &fact.differences {
        _ if fact.removed => {}
        Some(differences) => text += &values(differences),
        None => text += "One of its versions cannot be read, so its values are not told.\n",
    }
    let newest: Vec<String> = fact.newest.iter().map(|id| code(id, SHORT)).collect();
    text += &match (fact.rest_on_it, newest.len()) {
        (0, _) => "\nNo committed check rests on it.\n".to_owned(),
        (1, _) => format!("\n1 committed check rests on it: {}.\n", listed(&newest)),
        (count, shown) if count == shown => {
            format!(
                "\n{count} committed checks rest on it: {}.\n",
                listed(&newest)
            )
        }
        (count, _) => format!(
            "\n{count} committed checks rest on it; the newest are {}.\n",
            listed(&newest)
        ),
    };
    text + "\n"
}

pub(super) fn new_facts(brought: &Brought) -> Section {
    let blocks = brought.new_facts.iter().map(|fact| Block {
        rank: 7,
        text: Some(new_fact(fact)),
        is_bad: false,
    });
    Section {
        heading: "New facts",
        blocks: blocks.collect(),
        of: ("new fact", "new facts", "`git diff` tells each"),
        bad: ("", ""),
    }
}

fn new_fact(fact: &NewFact) -> String {
    /// So many values tell what it is.
    const VALUES: usize = 12;
    let name = format!(
        "- {}, {}",
        fact_name(fact.kind, &fact.id),
        code(&fact.path, SHORT)
    );
    let Some(doc) = &fact.doc else {
        return format!("{name}: cannot be read.\n");
    };
    let mut row = leaves(doc, "");
    row.retain(|(pointer, _)| pointer != "/format" && pointer != "/id");
    let more = row.len().saturating_sub(VALUES);
    row.truncate(VALUES);
    let more = match more {
        0 => String::new(),
        1 => "; and 1 more value".to_owned(),
        _ => format!("; and {more} more values"),
    };
    format!("{name}: {}{more}.\n", of_row(&row))
}

pub(super) fn reviews(brought: &Brought) -> Section {
    let blocks = brought.reviews.iter().map(|review| Block {
        rank: 4,
        text: Some(new_review(review)),
        is_bad: false,
    });
    Section {
        heading: "Reviews",
        blocks: blocks.collect(),
        of: ("review", "reviews", "`git diff` tells each"),
        bad: ("", ""),
    }
}

fn new_review(one: &NewReview) -> String {
    let Some((review, comment)) = &one.review else {
        return format!("- {}: cannot be read.\n", code(&one.path, SHORT));
    };
    let decides = match review.decision {
        ReviewDecision::Approve => "approves",
        ReviewDecision::Reject => "rejects",
    };
    let what = review.check.as_ref().or(review.record.as_ref());
    let mut text = format!(
        "- {} **{decides}** {} ({})",
        code(&review.reviewer, SHORT),
        code(what.map_or("", String::as_str), SHORT),
        review.decided
    );
    if let Some(comment) = comment {
        text += &format!(": {}", code(comment, LONG));
    }
    text += ".";
    if !one.covers {
        text += " **It is bound to another content** than the record has here, so it decides nothing about it.";
    }
    text + "\n"
}

pub(super) fn nonconformities(brought: &Brought) -> Section {
    let blocks = brought.nonconformities.iter().map(|one| Block {
        rank: 4,
        text: Some(nonconformity(one)),
        is_bad: false,
    });
    Section {
        heading: "Nonconformities",
        blocks: blocks.collect(),
        of: ("nonconformity", "nonconformities", "`git diff` tells each"),
        bad: ("", ""),
    }
}

fn nonconformity(one: &ChangedNonconformity) -> String {
    let what = match (one.is_new, one.decided) {
        (true, true) => "new and decided",
        (true, false) => "new, not decided yet",
        (false, true) => "decided",
        (false, false) => "changed",
    };
    let mut text = format!("- {}: {what}", code(&one.id, SHORT));
    let Some(doc) = &one.doc else {
        return text + "; it cannot be read.\n";
    };
    if one.is_new || one.decided {
        for (pointer, word) in [
            ("/opened", "opened"),
            ("/checks", "about"),
            ("/outcome/evaluation", "evaluation"),
            ("/outcome/decision", "decision"),
            ("/outcome/by", "by"),
            ("/outcome/date", "on"),
        ] {
            if let Some(node) = doc.root.get(pointer) {
                text += &format!("; {word} {}", code(&written(doc, node), LONG));
            }
        }
    } else {
        let (rows, lines) = changes(&one.differences, &|_| false);
        for (_, row) in rows.iter().take(ROWS) {
            if let [what, was, is] = &row[..] {
                text += &format!("; {what}: before {was}, after {is}");
            }
        }
        for line in lines.iter().take(ROWS) {
            text += &format!("; {line}");
        }
    }
    text + ".\n"
}
