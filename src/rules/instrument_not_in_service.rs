use super::{Out, Rule, Run};
use crate::book::view::{View, standing_at};
use crate::finding::Severity;
use crate::record::State;
use crate::record::check::Occasion;

pub(super) static RULE: Rule = Rule {
    id: "instrument-not-in-service",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("instrument_not_in_service.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(instrument) = view.instrument else {
        return;
    };
    let standing = standing_at(view.book, &instrument.standings, view.performed);
    if let Some((row, standing)) = standing {
        let occasion = view.check.occasion;
        let refused = match standing.state {
            State::InService | State::Usable => false,
            State::Withdrawn => true,
            State::Quarantined => matches!(occasion, None | Some(Occasion::Scheduled)),
        };
        if refused {
            let reason = standing.reason.as_deref().unwrap_or("no reason given");
            let help = match standing.state {
                State::Quarantined => {
                    "state what the check was for: occasion repeat, after-service, after-move or investigation; a scheduled check waits until a new [[standing]] row puts the instrument back in service"
                }
                _ => {
                    "a withdrawn instrument is not checked; correct the instrument's id if it is mistyped, or add a [[standing]] row if it came back into service before the check"
                }
            };
            let allowed = match standing.state {
                State::Quarantined => ", which allows no scheduled check",
                _ => "",
            };
            out.say(
                view.at("/instrument"),
                format!(
                    "instrument {} was {} from {} on, and the check was performed on {}{allowed}",
                    instrument.id,
                    standing.state.word(),
                    standing.from,
                    view.date
                ),
            )
            .because(
                instrument.at(&format!("/standing/{row}/state")),
                format!("set by {}: {reason}", standing.by),
            )
            .help(help);
            return;
        }
    }
    let (lacking, table) = match (standing.is_none(), view.spring.is_none()) {
        (true, true) => ("no standing and no spring", "standing"),
        (true, false) => ("no standing", "standing"),
        (false, true) => ("no spring", "spring"),
        (false, false) => return,
    };
    let first = match table {
        "standing" => instrument.standings.first().map(|row| row.from),
        _ => instrument.springs.first().map(|row| row.from),
    };
    let why = match first {
        Some(from) => format!("its first [[{table}]] row is from {from}"),
        None => format!("it has no [[{table}]] row"),
    };
    out.say(
        view.at("/instrument"),
        format!("instrument {} had {lacking} in force on {}; {why}", instrument.id, view.date),
    )
    .because(instrument.at(&format!("/{table}/0/from")), "a row binds from its date on")
    .help("correct performed if it is mistyped; else complete the rows of the instrument's file with the dates when it came into service and its spring was fitted");
}
