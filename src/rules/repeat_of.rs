use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::book::{CheckFacts, Links};
use crate::finding::Severity;
use crate::record::check::{Occasion, Verdict, VoidCause};

pub(super) static RULE: Rule = Rule {
    id: "repeat-of",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("repeat_of.md"),
    run: &[Run::Linked(check)],
};

fn check(view: &View<'_>, links: &Links, out: &mut Out<'_>) {
    let Some(id) = &view.check.repeats else {
        if view.check.occasion == Some(Occasion::Repeat) {
            out.say(
                view.at("/repeats"),
                "the occasion is repeat, and repeats does not say of which check",
            )
            .help("write repeats = \"instrument/YYYY-MM-DD-HHMM\", the id of the check that failed; where nothing is repeated, the occasion is another");
        }
        return;
    };
    let Some(Some(other)) = links.checks.get(id) else {
        return;
    };
    if let Some((message, related)) = objection(view, id, other) {
        out.say(view.at("/repeats"), message)
            .because(other.place(id), related)
            .help("name the check of this instrument that failed, or that was void for the instrument's sake; else take repeats out and give the true occasion");
    }
}

fn objection(view: &View<'_>, id: &str, other: &CheckFacts) -> Option<(String, &'static str)> {
    let here = &view.check.instrument;
    if other.instrument() != here.as_str() {
        return Some((
            format!(
                "{id} is a check of {}, and this one is of {here}",
                other.instrument()
            ),
            "the check that is named",
        ));
    }
    if other.performed >= view.performed {
        let clock = |at| {
            view.book
                .zone
                .wall(at)
                .strftime("%Y-%m-%d %H:%M")
                .to_string()
        };
        return Some((
            format!(
                "{id} was performed at {}, not earlier than this check at {}",
                clock(other.performed),
                clock(view.performed)
            ),
            "the check that is named",
        ));
    }
    match (other.verdict?, other.void_cause) {
        (Verdict::Fail | Verdict::ConditionalFail, _) => None,
        (Verdict::Void, Some(VoidCause::Instrument)) => None,
        (Verdict::Void, _) => Some((
            format!(
                "{id} is void, and not for the instrument's sake, so nothing is to be repeated"
            ),
            "the verdict of the check that is named",
        )),
        (verdict, _) => Some((
            format!(
                "the verdict of {id} is {}, so nothing is to be repeated",
                verdict.word()
            ),
            "the verdict of the check that is named",
        )),
    }
}
