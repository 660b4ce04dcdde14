use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::finding::Severity;
use crate::measure::Exact;
use crate::record::policy::Soak;

pub(super) static RULE: Rule = Rule {
    id: "soak-too-short",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("soak_too_short.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(policy) = view.policy else { return };
    let row = view.soak_row();
    let Some(started) = &view.check.preparation.soak_started else {
        let asked = match row {
            Some((_, soak)) => format!(
                "policy {} asks for {} min at temperature",
                policy.id, soak.minutes
            ),
            None => format!("policy {} asks for a time at temperature", policy.id),
        };
        out.say(
            view.at("/preparation/soak_started"),
            format!("the check does not say when the soak started; {asked}"),
        )
        .because(policy.at(&soak_at(row)), "the least time before the first reading")
        .help("write soak_started under [preparation]: when fluid and geometry came to temperature; if nobody knows, repeat the check");
        return;
    };
    let (Some((_, soak)), Ok(began)) = (row, view.book.zone.instant(started)) else {
        return;
    };
    let elapsed = view.performed.duration_since(began);
    let fraction =
        Exact::integer(i64::from(elapsed.subsec_nanos())).divide(&Exact::integer(1_000_000_000));
    let Some(fraction) = fraction else { return };
    let seconds = Exact::integer(elapsed.as_secs()) + fraction;
    if seconds >= &soak.minutes.value * Exact::integer(60) {
        return;
    }
    let message = match seconds.is_negative() {
        true => format!(
            "the soak started at {started}, {} after the first reading at {}; policy {} asks for {} min before it",
            length(elapsed.as_secs().saturating_neg()),
            view.check.performed,
            policy.id,
            soak.minutes
        ),
        false => format!(
            "the fluid stood at temperature for {}; policy {} asks for {} min",
            length(elapsed.as_secs()),
            policy.id,
            soak.minutes
        ),
    };
    out.say(view.at("/preparation/soak_started"), message)
        .because(policy.at(&soak_at(row)), "the least time before the first reading, in min")
        .help("wait and repeat the check; keep this one as evidence with void = true, void_cause and reason, or state a [[deviation]] with consent where the policy allows it");
}

fn soak_at(row: Option<(usize, &Soak)>) -> String {
    match row {
        Some((index, _)) => format!("/soak/{index}/minutes"),
        None => "/soak/0".to_owned(),
    }
}

/// A time in seconds in words, whole seconds.
fn length(seconds: i64) -> String {
    match (seconds / 60, seconds % 60) {
        (0, 0) => "less than 1 s".to_owned(),
        (0, rest) => format!("{rest} s"),
        (minutes, 0) => format!("{minutes} min"),
        (minutes, rest) => format!("{minutes} min {rest} s"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_is_never_nothing() {
        assert_eq!(length(0), "less than 1 s");
        assert_eq!(length(59), "59 s");
        assert_eq!(length(60), "1 min");
        assert_eq!(length(3599), "59 min 59 s");
    }
}
