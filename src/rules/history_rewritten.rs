use super::{Out, Rule, Run};
use crate::finding::{Place, Severity};
use crate::parse::layout::MARKER;

pub(super) static RULE: Rule = Rule {
    id: "history-rewritten",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("history_rewritten.md"),
    run: &[Run::Moved(moved)],
};

/// A branch or tag that a push moves.
pub struct Moved<'a> {
    /// Its full name.
    pub name: &'a str,
    /// It may only grow.
    pub sealed: bool,
    /// The commit that it stood for.
    pub was: Option<&'a str>,
    /// The commit that it shall stand for; `None` where it is deleted.
    pub is: Option<&'a str>,
    /// The new commit descends from the old one.
    pub grows: bool,
}

fn moved(moved: &Moved<'_>, out: &mut Out<'_>) {
    let Some(was) = moved.was.filter(|_| moved.sealed) else {
        return;
    };
    let short = |id: &str| id.get(..12).unwrap_or(id).to_owned();
    let message = match moved.is {
        None => format!(
            "this push deletes {}, which is sealed: it may only grow (it stood at {})",
            moved.name,
            short(was)
        ),
        Some(_) if moved.grows => return,
        Some(is) => format!(
            "this push moves {}, which is sealed, from {} to {}, which does not descend from it: committed records would be gone",
            moved.name,
            short(was),
            short(is)
        ),
    };
    let mut place = Place::whole(MARKER);
    place.pointer = "/gate/sealed_refs".to_owned();
    out.say(place, message).help(
        "fetch what is there, merge your work into it (git pull --no-rebase), and push again without --force",
    );
}
