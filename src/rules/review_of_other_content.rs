use super::reviews::{Covers, Reviewing};
use super::{Out, Rule, Run};
use crate::book::review::Digest;
use crate::finding::{Place, Severity};

pub(super) static RULE: Rule = Rule {
    id: "review-of-other-content",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("review_of_other_content.md"),
    run: &[Run::Review(check)],
};

fn check(reviewing: &Reviewing<'_>, out: &mut Out<'_>) {
    let Some(bound) = Digest::read(&reviewing.review.sha256) else {
        return;
    };
    if bound == reviewing.content {
        return;
    }
    let named = reviewing.named();
    let (message, help) = match bound == reviewing.in_folder {
        true => (
            format!(
                "the review covers {named} as the file in the folder is (SHA-256 {}...), and git keeps other bytes of it ({}...)",
                bound.short(),
                reviewing.content.short()
            ),
            format!(
                "a review covers what is committed: put the file back with git restore, look at it again, and write the review with shearbook review {named}"
            ),
        ),
        false => (
            format!(
                "the review covers other content than that of {named}: it is bound to the SHA-256 {}..., and what git keeps has {}...",
                bound.short(),
                reviewing.content.short()
            ),
            format!(
                "look at the record as it is committed, and write the review anew with shearbook review {named}, which fills in the sha256"
            ),
        ),
    };
    let place = match &reviewing.covers {
        Covers::Check(view) => view.at(""),
        Covers::Record(path) => Place::whole(path),
    };
    out.say(reviewing.review.at("/sha256"), message)
        .because(place, "what is reviewed")
        .help(help);
}
