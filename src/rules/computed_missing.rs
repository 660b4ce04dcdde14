use super::{Out, Rule, Run};
use crate::book::computed::{Expected, expected};
use crate::book::view::View;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "computed-missing",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("computed_missing.md"),
    run: &[Run::Check(check)],
};

/// What `[computed]` must say; `None` where a figure cannot be had and another finding says why.
pub(super) fn wanted(view: &View<'_>) -> Option<Expected> {
    let figures = expected(view)?;
    let whole = match view.check.void {
        true => all_at_hand(view),
        false => figures.complete(),
    };
    whole.then_some(figures)
}

/// A void check may lack what it does not name; what it names and is not there has a finding of its own.
fn all_at_hand(view: &View<'_>) -> bool {
    view.instrument.is_some()
        && view.fluid.is_some()
        && view.geometry.is_some() == view.check.geometry.is_some()
        && view.thermometer.is_some() == view.check.thermometer.is_some()
}

fn check(view: &View<'_>, out: &mut Out<'_>) {
    if view.check.computed.is_some() || wanted(view).is_none() {
        return;
    }
    out.say(
        view.at("/computed"),
        "this check is a draft: its limits and verdict are not written yet",
    )
    .help(format!(
        "run shearbook seal {}: it writes [computed] and leaves the rest as it is",
        view.doc.path
    ));
}
