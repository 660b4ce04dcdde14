use super::reviews::Unreviewed;
use super::{Out, Rule, Run};
use crate::book::Book;
use crate::finding::{Place, Severity};

pub(super) static RULE: Rule = Rule {
    id: "record-unreviewed",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("record_unreviewed.md"),
    run: &[Run::Unreviewed(check)],
};

fn check(book: &Book, waiting: &Unreviewed<'_>, out: &mut Out<'_>) {
    let record = &waiting.record;
    let message = match (waiting.rejected, waiting.approved_before) {
        (Some(review), _) => format!(
            "{} rejected what {record} holds, on {}",
            review.reviewer,
            book.zone.date(review.decided)
        ),
        (None, Some(review)) => format!(
            "{record} has changed since {} approved it on {}, and nobody has approved what it holds now",
            review.reviewer,
            book.zone.date(review.decided)
        ),
        (None, None) => format!("no second person has approved {record}"),
    };
    let help = match waiting.rejected {
        Some(_) => format!(
            "correct what was objected to and commit it; then have it looked at again: shearbook review {record} --approve"
        ),
        None => format!(
            "once it is committed, have somebody compare it with its certificate or source who may review and did not write it: shearbook review {record} --approve"
        ),
    };
    out.say(Place::whole(waiting.path), message)
        .because(
            waiting.policy.at("/review/records"),
            format!(
                "the kinds of record that policy {} wants looked at",
                waiting.policy.id
            ),
        )
        .help(help);
}
