use super::{Out, Rule, Run};
use crate::finding::Severity;
use crate::fleet::Fleet;

pub(super) static RULE: Rule = Rule {
    id: "check-needed",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("check_needed.md"),
    run: &[Run::Fleet(fleet)],
};

fn fleet(fleet: &Fleet<'_>, out: &mut Out<'_>) {
    for member in &fleet.members {
        let Some(record) = member.speaks() else {
            continue;
        };
        for change in &member.changes {
            let since = match &member.last_pass {
                Some(pass) => format!("the last pass is of {}, before it", pass.day),
                None => "no check has passed".to_owned(),
            };
            let said = out
                .say(
                    record.at(&change.pointer),
                    format!("{}: {} on {}; {since}", member.id, change.what, change.day),
                )
                .help("check it as left, with occasion \"after-service\" or \"after-move\", before it is used");
            if let Some(pass) = &member.last_pass {
                said.because(pass.place(), "the last pass");
            }
        }
    }
}
