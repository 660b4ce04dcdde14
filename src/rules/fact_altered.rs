use super::commit::{Commit, Effect, Why};
use super::{Out, Rule, Run};
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "fact-altered",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("fact_altered.md"),
    run: &[Run::Commit(commit)],
};

/// So many checks are named with what becomes of them; the rest is counted.
const NAMED: usize = 20;

/// So many are named in the sentence.
const IN_SENTENCE: usize = 5;

fn commit(commit: &Commit<'_>, out: &mut Out<'_>) {
    for effect in commit.altered {
        let count = effect.affected.len();
        let checks = match count {
            1 => "1 committed check".to_owned(),
            count => format!("{count} committed checks"),
        };
        let mut ids: Vec<&str> = effect.affected.iter().map(super::Affected::id).collect();
        ids.truncate(IN_SENTENCE);
        let first = match count - ids.len() {
            0 => format!(": {}", ids.join(", ")),
            more => format!(": {} and {more} more", ids.join(", ")),
        };
        let (message, help) = match effect.why {
            Why::LostRow => (
                "a row that one side of this merge brought is gone".to_owned(),
                "put the row back beside those of the other side: a merge keeps the rows of both".to_owned(),
            ),
            Why::LostCorrection => (
                "a [[correction]] that was committed is gone or is another one now".to_owned(),
                "put it back as it was: it tells what stood here before, and what amendments rest on. A further correction gets a row of its own".to_owned(),
            ),
            Why::NotAmended => (
                format!("this corrects what {checks} rest on without amending them{first}"),
                "amend each of them in the same change: shearbook correct does both at once".to_owned(),
            ),
            Why::Effect | Why::Late => (
                format!("this makes {checks} say something else{first}"),
                "put the value back. If it was wrong, shearbook correct writes it anew with a [[correction]] and amends the checks that rest on it; what is newer belongs into a row of its own, with late_reason where it is dated before checks that it changes".to_owned(),
            ),
        };
        let said = out.say(effect.place.clone(), message).help(help);
        name_checks(said, effect);
    }
}

/// The line as it was, and the checks that change.
pub(super) fn name_checks(mut said: super::Said<'_>, effect: &Effect) {
    if let Some(was) = &effect.was {
        said = said.because(was.clone(), "as it was committed");
    }
    for one in effect.affected.iter().take(NAMED) {
        said = said.because(one.place.clone(), format!("{}: {}", one.id(), one.say()));
    }
    let more = effect.affected.len().saturating_sub(NAMED);
    if more > 0 {
        let _ = said.because(
            effect.place.clone(),
            format!("and {more} more checks that rest on it"),
        );
    }
}
