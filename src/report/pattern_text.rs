//! What the pattern over the points of a check suggests, for people.

use super::{printable, wrapped};
use crate::fleet::trend_words::signed;
use crate::measure::pattern::{Elsewhere, Ranked, Witness};

/// What the pattern of a check suggests, and what other checks were asked.
pub struct Told {
    pub ranked: Ranked,
    pub witness: Witness,
    /// A check that passed soon after with the same lot and geometry, nothing having been done to the instrument; then causes
    /// that would have stayed are left out.
    pub passed_after: Option<String>,
}

/// A cause as it is read out.
pub fn spoken(word: &str) -> String {
    word.replace('-', " ")
}

/// Where other checks were looked for, and what they say.
pub fn witnesses(witness: &Witness) -> Vec<(&'static str, &Elsewhere)> {
    [
        (
            "the same lot on other instruments that day",
            &witness.lot_that_day,
        ),
        (
            "the same lot on other instruments on other days",
            &witness.lot_other_days,
        ),
        ("another bottle of the lot", &witness.other_bottle),
        (
            "other lots with the same thermometer on other instruments",
            &witness.thermometer,
        ),
        (
            "other lots in the same bath that day on other instruments",
            &witness.bath,
        ),
        ("the same geometry on other instruments", &witness.geometry),
        ("other lots on this instrument", &witness.lots_here),
    ]
    .into_iter()
    .filter_map(|(name, found)| Some((name, found.as_ref()?)))
    .collect()
}

pub fn render(told: &Told, width: usize) -> String {
    let Told {
        ranked, witness, ..
    } = told;
    let mut text = "\n".to_owned();
    let line = match &ranked.pattern {
        Some(pattern) => format!(
            "pattern: zero offset {} % of torque, gain error {} %, non-linearity {:.2} % of range",
            signed(pattern.zero_offset_percent),
            signed(pattern.gain_error_percent),
            pattern.non_linearity_percent
        ),
        None if ranked.causes.is_empty() => return String::new(),
        None => "pattern: none with one speed".to_owned(),
    };
    text += &wrapped(&line, width, "", "  ");
    if ranked.within_noise {
        return text
            + &wrapped(
                "That is no more than scatter and the uncertainty of the reference.",
                width,
                "  ",
                "  ",
            );
    }
    if ranked.causes.is_empty() {
        return text;
    }
    text += &wrapped(
        "what may have caused this, the likeliest first; it suggests and does not judge",
        width,
        "",
        "  ",
    );
    for (index, cause) in ranked.causes.iter().enumerate() {
        let number = format!("  {}. ", index + 1);
        let sentence = format!("{}: {}", spoken(cause.kind.word()), cause.message());
        text += &wrapped(&printable(&sentence), width, &number, "     ");
        text += &wrapped(
            &format!("to tell: {}", cause.tells_apart()),
            width,
            "     ",
            "     ",
        );
    }
    for group in &ranked.cannot_tell {
        let names: Vec<String> = group
            .causes
            .iter()
            .map(|kind| spoken(kind.word()))
            .collect();
        let begin = group
            .would_tell
            .first()
            .map_or_else(String::new, |first| format!(" Begin with this: {first}."));
        text += &wrapped(
            &format!("These figures cannot tell {} apart.{begin}", listed(&names)),
            width,
            "  ",
            "  ",
        );
    }
    let found = witnesses(witness);
    for (name, elsewhere) in &found {
        let checks = match elsewhere.checks {
            1 => "1 check".to_owned(),
            more => format!("{more} checks"),
        };
        text += &wrapped(
            &format!(
                "other checks, {name}: {checks}, {} % of value on the mean",
                signed(elsewhere.gain_percent)
            ),
            width,
            "  ",
            "    ",
        );
    }
    if let Some(id) = &told.passed_after {
        text += &wrapped(
            &printable(&format!(
                "Check {id} passed soon after with the same lot and geometry, and nothing was done to the instrument: so it was neither its spring nor the lot."
            )),
            width,
            "  ",
            "    ",
        );
    } else if found.is_empty() {
        text += &wrapped(
            "No other check was made near enough to ask.",
            width,
            "  ",
            "  ",
        );
    }
    text
}

/// `a, b and c`.
pub fn listed(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}
