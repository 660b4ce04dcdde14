use super::{Out, Rule, Run};
use crate::book::view::standing_at;
use crate::finding::Severity;
use crate::fleet::Fleet;
use crate::record::{Standing, State};

pub(super) static RULE: Rule = Rule {
    id: "quarantine-needed",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("quarantine_needed.md"),
    run: &[Run::Fleet(fleet)],
};

fn fleet(fleet: &Fleet<'_>, out: &mut Out<'_>) {
    for member in &fleet.members {
        let (Some(record), Some((first, repeat))) = (member.speaks(), &member.failed_twice) else {
            continue;
        };
        // Given as a date of today it binds from tomorrow, but nobody is to write it again.
        let mut rows = record.standings.iter();
        let taken_out = |row: &Standing| {
            matches!(row.state, State::Quarantined | State::Withdrawn)
                && fleet.book.zone.begins(&row.from) <= fleet.at
                && fleet.book.zone.worsens(&row.from) > fleet.at
        };
        if rows.any(taken_out) {
            continue;
        }
        let standing = standing_at(fleet.book, &record.standings, fleet.at);
        let row = standing.map_or(0, |(row, _)| row);
        out.say(
            record.at(&format!("/standing/{row}")),
            format!(
                "{} stands in service though a check of {} and its repeat of {} both failed and none has passed since",
                member.id, first.day, repeat.day
            ),
        )
        .because(first.place(), format!("check {} failed", first.id))
        .because(repeat.place(), format!("so did its repeat {}", repeat.id))
        .help("add a [[standing]] row with state = \"quarantined\" and the reason; after repair or adjustment check it with occasion \"after-service\"");
    }
}
