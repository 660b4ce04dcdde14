use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "void-without-reason",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("void_without_reason.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let check = view.check;
    if !check.void {
        return;
    }
    let lacks = match (&check.reason, check.void_cause) {
        (None, None) => "reason and void_cause",
        (None, Some(_)) => "reason",
        (Some(_), None) => "void_cause",
        (Some(_), Some(_)) => return,
    };
    out.say(view.at("/void"), format!("the check is void and does not say its {lacks}"))
        .help(
            "write reason = \"what happened\" and void_cause = \"procedure\", \"instrument\" (a repeat is then needed) or \"incomplete-source\"; a check that failed is not void",
        );
}
