use super::{Out, Rule, Run, support};
use crate::book::evidence::evidence;
use crate::book::view::View;
use crate::finding::Severity;
use crate::measure::Exact;
use crate::measure::judge::{Guarded, Verdict};
use crate::measure::pattern::{Cause, Witness, causes};
use crate::record::check::{Condition, Occasion, Shown};

pub(super) static RULE: Rule = Rule {
    id: "failed",
    severity: Severity::Notice,
    spares_void: true,
    doc: include_str!("failed.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(judgement) = &view.judgement else {
        return;
    };
    if !judgement.verdict.is_some_and(Verdict::is_fail) {
        return;
    }
    let mut speeds: Vec<(&Exact, Option<Shown>)> = Vec::new();
    let mut outside: Vec<String> = Vec::new();
    for (point, judged) in view.check.points.iter().zip(&judgement.points) {
        let one = (&point.speed_rpm.value, point.shown);
        if !judged.verdict.is_some_and(Verdict::is_fail) || speeds.contains(&one) {
            continue;
        }
        speeds.push(one);
        let speed = &point.speed_rpm;
        outside.push(
            match (&judged.lower, &judged.upper, &judged.replicate_mean) {
                _ if point.shown.is_some() => format!(
                    "{speed} rpm showed {}",
                    point.shown.map_or("nothing", Shown::word)
                ),
                (Some(lower), Some(upper), Some(mean)) => format!(
                    "{speed} rpm read {} mPa.s, limits {} to {}{}",
                    support::figure(mean),
                    support::figure(lower),
                    support::figure(upper),
                    judged.guarded.as_deref().map_or(String::new(), accepted)
                ),
                _ => format!("{speed} rpm"),
            },
        );
    }
    let how = match judgement.verdict {
        Some(Verdict::ConditionalFail) => "fails conditionally",
        _ => "fails",
    };
    out.say(
        view.at("/computed/verdict"),
        format!("the check {how}: {}", outside.join("; ")),
    )
    .help(format!("{}{}", next(view), likeliest(view)));
}

/// So many causes are named.
const NAMED: usize = 3;

/// The likeliest causes by the figures of the check itself; `show` asks other checks too.
fn likeliest(view: &View<'_>) -> String {
    let ranked = causes(&evidence(view, Witness::default()));
    let named: Vec<&str> = ranked
        .causes
        .iter()
        .take(NAMED)
        .map(Cause::message)
        .collect();
    if named.is_empty() {
        return String::new();
    }
    let group = ranked.cannot_tell.first();
    let tell = match group {
        Some(group) => {
            let tell = group.would_tell.iter().take(2).copied();
            format!(
                ". This check alone cannot tell {} of them apart; what would: {}",
                group.causes.len(),
                tell.collect::<Vec<_>>().join("; ")
            )
        }
        None => ranked.causes.first().map_or_else(String::new, |first| {
            format!(". To tell: {}", first.tells_apart())
        }),
    };
    format!(
        ". The likeliest causes by its figures: {}{tell}. shearbook show {} asks what other checks of that time say",
        named.join("; "),
        view.id
    )
}

/// A reading may lie inside the limits and yet fail a guarded decision.
fn accepted(by: &Guarded) -> String {
    if by.too_large {
        return ", and none is accepted since the uncertainty is as large as the limits".to_owned();
    }
    format!(
        ", accepted {} to {}",
        support::figure(&by.acceptance.lower),
        support::figure(&by.acceptance.upper)
    )
}

fn next(view: &View<'_>) -> &'static str {
    if view.check.occasion == Some(Occasion::Repeat) {
        return "a repeat that fails: where the check that it repeats stands as failed too, quarantine the instrument with a [[standing]] row (state = \"quarantined\") and open a nonconformity that names both checks and judges what was measured since the last check that passed";
    }
    match view.check.condition {
        Some(Condition::AsLeft) => {
            "the instrument was left reading wrong: do not use it; have it adjusted or repaired, record that as a [[service]] row, and check it again"
        }
        _ => {
            "commit the check as it is, then look at everything again (lot and bottle, fluid temperature, geometry and guard, speed, level, zero, pivot) and repeat it with occasion = \"repeat\" and repeats; do not use the instrument meanwhile"
        }
    }
}
