use super::{Out, Rule, Run};
use crate::finding::Severity;
use crate::fleet::{Fleet, NONCONFORMITY_DAYS, OPEN_DAYS, days_between};

pub(super) static RULE: Rule = Rule {
    id: "nonconformity-missing",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("nonconformity_missing.md"),
    run: &[Run::Fleet(fleet)],
};

fn fleet(fleet: &Fleet<'_>, out: &mut Out<'_>) {
    for record in fleet.opened() {
        let decided = record.outcome.as_ref();
        let open = decided.is_none_or(|outcome| outcome.date > fleet.as_of);
        let days = days_between(record.opened, fleet.as_of);
        if open && days > OPEN_DAYS {
            out.say(
                record.at("/opened"),
                format!(
                    "nonconformity {} has been open for {days} days, since {}; {OPEN_DAYS} are allowed",
                    record.id, record.opened
                ),
            )
            .help("judge what was measured in between and whether it stands, and write the [outcome]");
        }
    }
    // What a broken one names is not known.
    if fleet.book.nonconformities.any_broken() {
        return;
    }
    for member in &fleet.members {
        for pair in &member.pairs {
            let (first, repeat) = pair;
            let days = days_between(repeat.day, fleet.as_of);
            if days <= NONCONFORMITY_DAYS || fleet.is_answered(pair) {
                continue;
            }
            out.say(
                repeat.place(),
                format!(
                    "check {} and its repeat {} both failed, the repeat {days} days ago, and no nonconformity names both",
                    first.id, repeat.id
                ),
            )
            .because(first.place(), "the check that failed first")
            .help(format!(
                "open one that names both (shearbook new nonconformity ID --check {} --check {}), and judge what was measured since the last check that passed",
                first.id, repeat.id
            ));
        }
    }
}
