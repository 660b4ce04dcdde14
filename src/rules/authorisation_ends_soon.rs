use super::{Out, Rule, Run};
use crate::finding::Severity;
use crate::fleet::{Fleet, days_between, in_days, is_soon, notice_days};

pub(super) static RULE: Rule = Rule {
    id: "authorisation-ends-soon",
    severity: Severity::Notice,
    spares_void: false,
    doc: include_str!("authorisation_ends_soon.md"),
    run: &[Run::Fleet(fleet)],
};

fn fleet(fleet: &Fleet<'_>, out: &mut Out<'_>) {
    let zone = &fleet.book.zone;
    for person in fleet.book.people.sound() {
        for (index, row) in person.authorised.iter().enumerate() {
            let Some(until) = fleet.last_day(person, row) else {
                continue;
            };
            let begins = zone.date(zone.begins(&row.from));
            let notice = notice_days(fleet.policy, days_between(begins, until));
            if !is_soon(fleet.as_of, until, notice) {
                continue;
            }
            let days = in_days(days_between(fleet.as_of, until));
            out.say(
                person.at(&format!("/authorised/{index}/until")),
                format!(
                    "the authorisation of {} for {} ends on {until}, {days}",
                    person.id,
                    row.duty.word()
                ),
            )
            .help("renew it with a new [[authorised]] row if the person goes on, or plan the work for others");
        }
    }
}
