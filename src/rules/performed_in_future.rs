use super::commit::Commit;
use super::{Out, Rule, Run};
use crate::book::Links;
use crate::book::view::View;
use crate::finding::Severity;
use crate::parse::layout::CheckName;
use jiff::{SignedDuration, Timestamp};

pub(super) static RULE: Rule = Rule {
    id: "performed-in-future",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("performed_in_future.md"),
    run: &[
        Run::Check(check),
        Run::Linked(not_before_amended),
        Run::Commit(commit),
    ],
};

/// Clocks of bench and server differ so much.
const GRACE: SignedDuration = SignedDuration::from_mins(10);

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let amendment = view.check.amends.is_some()
        || CheckName::parse(view.id).is_some_and(|name| name.amendment > 0);
    let (pointer, at, done) = match (amendment, amended(view)) {
        (false, _) => ("/performed", view.performed, "performed"),
        (true, Some(at)) => ("/amended", at, "amended"),
        (true, None) => return,
    };
    let now = view.book.clock.now;
    if at.duration_since(now) > GRACE {
        out.say(
            view.at(pointer),
            format!(
                "the check was {done} at {}, and now it is {}; 10 minutes are allowed for clocks that differ",
                clock(view, at),
                clock(view, now)
            ),
        )
        .help(format!("correct {pointer} in the draft, or set the clock of this computer and its time zone", pointer = &pointer[1..]));
    }
}

/// Against the commit that brought it; what is later than the clock itself is told above.
fn commit(commit: &Commit<'_>, out: &mut Out<'_>) {
    let zone = &commit.book.zone;
    for new in commit.checks {
        let (stamp, pointer) = match (&new.check.amends, &new.check.amended) {
            (Some(_), Some(amended)) => (amended, "/amended"),
            _ => (&new.check.performed, "/performed"),
        };
        let Ok(at) = zone.instant(stamp) else {
            continue;
        };
        let told = at.duration_since(commit.now) > GRACE;
        if told || at.duration_since(commit.at) <= GRACE {
            continue;
        }
        let wall = |at: Timestamp| zone.wall(at).strftime("%Y-%m-%d %H:%M").to_string();
        out.say(
            new.doc.place(pointer),
            format!(
                "{} says {} and brings what it says happened at {}: 10 minutes are allowed for clocks that differ",
                commit.name(),
                wall(commit.at),
                wall(at)
            ),
        )
        .help("where the commit is not shared yet, make it anew with a right clock, or correct the time in the check and amend the commit");
    }
}

fn not_before_amended(view: &View<'_>, links: &Links, out: &mut Out<'_>) {
    if let Some(at) = amended(view).filter(|at| *at < view.performed) {
        out.say(
            view.at("/amended"),
            format!(
                "the check was amended at {}, before it was performed at {}",
                clock(view, at),
                clock(view, view.performed)
            ),
        )
        .because(view.at("/performed"), "performed, as the amendment has it")
        .help("amended is when the amendment was written, performed when the check was: correct the one that is wrong in the draft");
        return;
    }
    let Some(other) = view.check.amends.as_deref() else {
        return;
    };
    let Some(Some(facts)) = links.checks.get(other) else {
        return;
    };
    let Some(at) = amended(view) else { return };
    if at < facts.performed {
        out.say(
            view.at("/amended"),
            format!(
                "the check was amended at {}, before it was performed at {}",
                clock(view, at),
                clock(view, facts.performed)
            ),
        )
        .because(facts.place(other), "the check that is amended")
        .help("amended is when the amendment was written: correct it in the draft");
    }
}

fn amended(view: &View<'_>) -> Option<Timestamp> {
    view.book.zone.instant(view.check.amended.as_ref()?).ok()
}

/// Wall time in the book's zone.
fn clock(view: &View<'_>, at: Timestamp) -> String {
    view.book
        .zone
        .wall(at)
        .strftime("%Y-%m-%d %H:%M:%S")
        .to_string()
}
