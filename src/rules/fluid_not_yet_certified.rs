use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "fluid-not-yet-certified",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("fluid_not_yet_certified.md"),
    run: &[Run::Check(check)],
};

const VOID: &str = "keep the check as evidence with void = true, void_cause and reason";

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(fluid) = view.fluid else { return };
    if view.date < fluid.certified {
        out.say(
            view.at("/fluid"),
            format!(
                "lot {} was certified on {}, and the check was performed on {}",
                fluid.id, fluid.certified, view.date
            ),
        )
        .because(fluid.at("/certified"), "the day of its certificate")
        .help(format!("correct the lot or performed if it is mistyped; else repeat the check with a certified lot, and {VOID}"));
        return;
    }
    let Some((row, bottle)) = view.bottle else {
        return;
    };
    if view.date < bottle.opened {
        out.say(
            view.at("/bottle"),
            format!(
                "bottle {} of lot {} was opened on {}, after this check of {}",
                bottle.id, fluid.id, bottle.opened, view.date
            ),
        )
        .because(fluid.at(&format!("/bottle/{row}/opened")), "the day it was opened")
        .help(format!("name the bottle that the fluid came from, or correct opened in the lot's file; where neither can be known, {VOID}"));
    } else if let Some(discarded) = bottle.discarded.filter(|discarded| view.date > *discarded) {
        out.say(
            view.at("/bottle"),
            format!(
                "bottle {} of lot {} was discarded on {discarded}, before this check of {}",
                bottle.id, fluid.id, view.date
            ),
        )
        .because(fluid.at(&format!("/bottle/{row}/discarded")), "the last day it could be used")
        .help(format!("name the bottle that the fluid came from, or correct discarded in the lot's file; where neither can be known, {VOID}"));
    }
}
