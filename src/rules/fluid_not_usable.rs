use super::{Out, Rule, Run};
use crate::book::view::{View, standing_at};
use crate::finding::Severity;
use crate::record::State;

pub(super) static RULE: Rule = Rule {
    id: "fluid-not-usable",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("fluid_not_usable.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(fluid) = view.fluid else { return };
    let Some((row, standing)) = standing_at(view.book, &fluid.standings, view.performed) else {
        return;
    };
    let help = match standing.state {
        State::Quarantined => {
            "repeat the check with another lot, or once this one is cleared with a new [[standing]] row; keep this check as evidence with void = true, void_cause and reason"
        }
        State::Withdrawn => {
            "repeat the check with another lot; keep this one as evidence with void = true, void_cause and reason"
        }
        State::InService | State::Usable => return,
    };
    out.say(
        view.at("/fluid"),
        format!(
            "lot {} was {} from {} on, and the check was performed on {}",
            fluid.id,
            standing.state.word(),
            standing.from,
            view.date
        ),
    )
    .because(
        fluid.at(&format!("/standing/{row}/state")),
        match &standing.reason {
            Some(reason) => format!("set by {}: {reason}", standing.by),
            None => format!("set by {}", standing.by),
        },
    )
    .help(help);
}
