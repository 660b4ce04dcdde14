use super::{Out, Rule, Run};
use crate::finding::Severity;
use crate::fleet::Fleet;
use crate::record::check::Verdict;

pub(super) static RULE: Rule = Rule {
    id: "repeat-needed",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("repeat_needed.md"),
    run: &[Run::Fleet(fleet)],
};

fn fleet(fleet: &Fleet<'_>, out: &mut Out<'_>) {
    for member in &fleet.members {
        let (Some(_), Some(last)) = (member.speaks(), &member.awaits_repeat) else {
            continue;
        };
        let how = match last.facts.verdict {
            Some(Verdict::Void) => "was void for the instrument's sake",
            _ => "failed",
        };
        out.say(
            last.place(),
            format!("check {} {how} on {}, and no check has followed", last.id, last.day),
        )
        .help("look at everything again (lot and bottle, fluid temperature, geometry and guard, speed, level, zero, pivot), then repeat it with occasion = \"repeat\"; do not use the instrument meanwhile");
    }
}
