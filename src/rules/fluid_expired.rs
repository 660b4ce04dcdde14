use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "fluid-expired",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("fluid_expired.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(fluid) = view.fluid else { return };
    if view.date > fluid.expires {
        out.say(
            view.at("/fluid"),
            format!(
                "lot {} expired on {}, and the check was performed on {}",
                fluid.id, fluid.expires, view.date
            ),
        )
        .because(fluid.at("/expires"), "the last day of its certificate")
        .help("repeat the check with a lot that is in date; keep this one as evidence with void = true, void_cause and reason");
    }
}
