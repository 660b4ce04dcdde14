use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::finding::Severity;
use crate::record::geometry::Guard;

pub(super) static RULE: Rule = Rule {
    id: "guard-differs",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("guard_differs.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(geometry) = view.geometry else {
        return;
    };
    let Some(guard) = geometry.guard else { return };
    let (message, help) = match (guard, view.check.preparation.guard) {
        (Guard::Required, Some(true)) | (Guard::NotUsed, Some(false) | None) => return,
        (Guard::Required, Some(false)) => (
            format!(
                "the guard was not fitted, and the range of geometry {} holds with it",
                geometry.id
            ),
            "fit the guard and repeat the check; keep this one as evidence with void = true, void_cause and reason",
        ),
        (Guard::Required, None) => (
            format!(
                "the check does not say that the guard was fitted; the range of geometry {} holds with it",
                geometry.id
            ),
            "write guard = true under [preparation] if it was fitted; if not, or if nobody knows, repeat the check",
        ),
        (Guard::NotUsed, Some(true)) => (
            format!(
                "the guard was fitted, and the range of geometry {} holds without it",
                geometry.id
            ),
            "take the guard off and repeat the check; keep this one as evidence with void = true, void_cause and reason",
        ),
    };
    out.say(view.at("/preparation/guard"), message)
        .because(geometry.at("/guard"), "what the geometry requires")
        .help(help);
}
