//! What several rules share.

use super::Rule;
use crate::book::Named;
use crate::book::view::View;
use crate::measure::Exact;
use crate::record::person::Duty;

/// Rules about reading, which apply to amended checks too.
pub(super) fn is_reading(rule: &Rule) -> bool {
    matches!(
        rule.id,
        "toml-syntax"
            | "toml-newer-syntax"
            | "byte-order-mark"
            | "schema"
            | "format-unknown"
            | "id-path"
            | "id-clash"
            | "reference-missing"
            | "stray-file"
            | "not-a-file"
            | "not-a-number"
            | "limits-exceeded"
    )
}

/// Errors that are warnings where an instrument, read as it was found, fails: it tells the truth.
pub(super) const RELIEVED: [&str; 4] = [
    "torque-too-low",
    "torque-over-range",
    "zone-missing",
    "zero-out-of-limits",
];

/// Why a deviation of a check does not hold.
pub(super) enum Refusal {
    /// No rule that a deviation may soften.
    NotSoftenable,
    /// The check's policy does not list it.
    NotInPolicy,
    OwnConsent,
    /// On that day.
    NotAuthorised,
}

/// Whether the deviation row of a check holds.
pub(super) fn judge_deviation(view: &View<'_>, index: usize) -> Result<(), Refusal> {
    let Some(deviation) = view.check.deviations.get(index) else {
        return Ok(());
    };
    let softenable = super::rule(&deviation.rule)
        .is_some_and(|rule| rule.spares_void && rule.severity == crate::finding::Severity::Error);
    if !softenable {
        return Err(Refusal::NotSoftenable);
    }
    if let Some(policy) = view.policy
        && !policy
            .deviation_allowed
            .iter()
            .any(|rule| *rule == deviation.rule)
    {
        return Err(Refusal::NotInPolicy);
    }
    if deviation.consent == view.check.operator {
        return Err(Refusal::OwnConsent);
    }
    match view.book.people.named(&deviation.consent) {
        Named::Sound(person) if !view.book.authorised_on(person, Duty::Review, view.date) => {
            Err(Refusal::NotAuthorised)
        }
        _ => Ok(()),
    }
}

/// The reason of a deviation from a rule that holds.
pub(super) fn allowed_deviation(view: &View<'_>, rule: &str) -> Option<String> {
    view.policy?;
    let rows = view.check.deviations.iter().enumerate();
    rows.filter(|(_, deviation)| deviation.rule == rule)
        .find(|(index, _)| judge_deviation(view, *index).is_ok())
        .map(|(_, deviation)| deviation.reason.to_string())
}

/// A figure for a sentence: without needless zeros, cut to six significant digits.
pub(super) fn figure(value: &Exact) -> String {
    let text = value.rounded_significant(6).to_decimal_string();
    text.strip_suffix(".0").unwrap_or(&text).to_owned()
}

/// A number of days for a sentence.
pub(super) fn days(count: i64) -> String {
    match count {
        1 => "1 day".to_owned(),
        _ => format!("{count} days"),
    }
}
