use super::commit::Commit;
use super::{Out, Rule, Run};
use crate::finding::{Place, Severity};
use crate::parse::layout::MARKER;

pub(super) static RULE: Rule = Rule {
    id: "commit-dated-back",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("commit_dated_back.md"),
    run: &[Run::Commit(commit)],
};

/// Clocks of two computers may differ by so much, in seconds.
const CLOCKS: i64 = 600;

fn commit(commit: &Commit<'_>, out: &mut Out<'_>) {
    let latest = commit.parents.iter().max_by_key(|(_, at)| *at);
    let Some((parent, before)) = latest else {
        return;
    };
    let back = before.as_second() - commit.at.as_second();
    if back <= CLOCKS {
        return;
    }
    let zone = &commit.book.zone;
    let (own, other) = (zone.wall(commit.at), zone.wall(*before));
    let (subject, help) = match commit.id {
        Some(_) => (
            commit.name(),
            "where it is not shared yet, make the commit anew with a right clock; else note in a nonconformity when it was really made",
        ),
        None => (
            "the clock of this computer".to_owned(),
            "set the clock of this computer before you commit",
        ),
    };
    out.say(
        Place::whole(MARKER),
        format!(
            "{subject} says {}, {} before the commit {} that it follows ({}): whether records came in time cannot be told from it",
            own.strftime("%Y-%m-%d %H:%M"),
            length(back),
            parent.get(..12).unwrap_or(parent),
            other.strftime("%Y-%m-%d %H:%M"),
        ),
    )
    .help(help);
}

fn length(seconds: i64) -> String {
    match seconds {
        seconds if seconds >= 2 * 86_400 => format!("{} days", seconds / 86_400),
        seconds if seconds >= 2 * 3_600 => format!("{} hours", seconds / 3_600),
        seconds => format!("{} minutes", seconds / 60),
    }
}
