use super::{Out, Rule, Run};
use crate::book::view::standing_at;
use crate::finding::Severity;
use crate::fleet::{Fleet, days_between, in_days, is_soon, notice_days};
use crate::record::State;

pub(super) static RULE: Rule = Rule {
    id: "fluid-expires-soon",
    severity: Severity::Notice,
    spares_void: false,
    doc: include_str!("fluid_expires_soon.md"),
    run: &[Run::Fleet(fleet)],
};

fn fleet(fleet: &Fleet<'_>, out: &mut Out<'_>) {
    for fluid in fleet.book.fluids.sound() {
        let notice = notice_days(fleet.policy, days_between(fluid.certified, fluid.expires));
        let begun = fluid.certified <= fleet.as_of;
        let usable = standing_at(fleet.book, &fluid.standings, fleet.at)
            .is_none_or(|(_, row)| matches!(row.state, State::Usable | State::InService));
        if !begun || !usable || !is_soon(fleet.as_of, fluid.expires, notice) {
            continue;
        }
        let days = in_days(days_between(fleet.as_of, fluid.expires));
        out.say(
            fluid.at("/expires"),
            format!(
                "fluid lot {} expires on {}, {days}",
                fluid.id, fluid.expires
            ),
        )
        .help("order the next lot; its certificate and a second person's look take time");
    }
}
