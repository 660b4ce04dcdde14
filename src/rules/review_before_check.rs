use super::reviews::{Covers, Reviewing, made};
use super::{Out, Rule, Run};
use crate::finding::Severity;
use jiff::Timestamp;

pub(super) static RULE: Rule = Rule {
    id: "review-before-check",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("review_before_check.md"),
    run: &[Run::Review(check)],
};

fn check(reviewing: &Reviewing<'_>, out: &mut Out<'_>) {
    let Covers::Check(view) = &reviewing.covers else {
        return;
    };
    let Some((pointer, at, done)) = made(view) else {
        return;
    };
    if reviewing.decided >= at {
        return;
    }
    let clock = |at: Timestamp| {
        let wall = reviewing.book.zone.wall(at);
        wall.strftime("%Y-%m-%d %H:%M:%S").to_string()
    };
    out.say(
        reviewing.review.at("/decided"),
        format!(
            "the review was decided at {}, before the check was {done} at {}",
            clock(reviewing.decided),
            clock(at)
        ),
    )
    .because(view.at(pointer), format!("when the check was {done}"))
    .help("correct decided while the review is not committed; a committed one stays, and its reviewer writes another");
}
