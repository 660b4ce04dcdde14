//! The bench sheet for people: beaker by beaker, in working order.

use super::cautions::cautions;
use super::plan_text::{certified, choice_plain, fitted, points, spoken, take_care};
use super::table::plural;
use super::{printable, wrapped};
use crate::fleet::plan::figure;
use crate::fleet::plan::sheet::{Beaker, Line, Sheet};

/// The bench sheet of a book.
pub struct Benched<'a> {
    /// As the user named it.
    pub book: &'a str,
    pub laboratory: Option<&'a str>,
    pub sheet: &'a Sheet<'a>,
}

pub(super) fn title(benched: &Benched<'_>) -> String {
    let sheet = benched.sheet;
    let within = match sheet.within_days {
        0 => "today".to_owned(),
        1 => "by tomorrow".to_owned(),
        days => format!("within {days} days"),
    };
    let laboratory = benched.laboratory;
    let laboratory = laboratory
        .map(|name| format!(", {name}"))
        .unwrap_or_default();
    format!(
        "Bench sheet of {}: checks due {within}{laboratory}",
        sheet.day
    )
}

/// How many beakers serve how many instruments, and whether fewer would.
pub(super) fn summary(sheet: &Sheet<'_>) -> String {
    let served: usize = sheet.beakers.iter().map(|beaker| beaker.lines.len()).sum();
    let mut text = match (served, sheet.not_planned.len()) {
        (0, 0) => return "Nothing is due.".to_owned(),
        (0, _) => "Nothing can be planned.".to_owned(),
        _ => {
            let serve = if sheet.beakers.len() == 1 {
                "serves"
            } else {
                "serve"
            };
            let fewest = match (sheet.beakers.len(), sheet.exact) {
                (1, _) => "",
                (_, true) => "; fewer would not do",
                (_, false) => "; there were too many to look through them all, so fewer might do",
            };
            format!(
                "{} {serve} {}{fewest}.",
                plural(sheet.beakers.len(), "beaker"),
                plural(served, "instrument")
            )
        }
    };
    if !sheet.not_planned.is_empty() {
        let left = plural(sheet.not_planned.len(), "instrument");
        text += &format!(" {left} cannot be planned for; the reasons stand below.");
    }
    text
}

/// What to fill, and how long it must stand.
pub(super) fn beaker(number: usize, beaker: &Beaker<'_>) -> String {
    let bottle = match beaker.bottle {
        Some(bottle) => format!("bottle {}", bottle.id),
        None => "a new bottle".to_owned(),
    };
    let soak = match &beaker.soak_minutes {
        Some(minutes) => format!("soak {} min", figure(minutes)),
        None => "no soak stated".to_owned(),
    };
    let sample = match &beaker.sample_ml {
        Some(sample) => format!("{} mL in all", figure(sample)),
        None => "how much it takes is not in every geometry's file".to_owned(),
    };
    format!(
        "Beaker {number}: {} at {} \u{b0}C, {bottle}; {soak}; {sample}",
        beaker.fluid.id, beaker.value.temperature_c
    )
}

/// What the fluid's certificate says, and how long it may be used.
pub(super) fn value(beaker: &Beaker<'_>) -> String {
    // It is the same for every instrument at the beaker.
    let first = beaker.lines.first().map(|line| certified(&line.choice));
    first
        .map(|(reference, expires)| format!("{reference}; {expires}"))
        .unwrap_or_default()
}

/// Who, in what state, since or until when, and where it stands.
pub(super) fn who(line: &Line<'_>) -> String {
    let member = line.member;
    let due = member
        .next_due
        .map(|due| format!(", due {due}"))
        .unwrap_or_default();
    let location = member
        .record
        .and_then(|record| record.location.as_deref())
        .map(|location| format!(", {location}"))
        .unwrap_or_default();
    format!("{}: {}{due}{location}", member.id, spoken(member))
}

/// What a line needs beside what its beaker is: another bottle, a shorter soak.
pub(super) fn apart(beaker: &Beaker<'_>, line: &Line<'_>) -> Option<String> {
    let mut parts = Vec::new();
    let own = line.choice.bottle.map(|bottle| bottle.id.as_str());
    if own != beaker.bottle.map(|bottle| bottle.id.as_str()) {
        parts.push(match own {
            Some(bottle) => format!("from bottle {bottle}"),
            None => "from a new bottle".to_owned(),
        });
    }
    if let Some(minutes) = line.choice.soak_minutes
        && Some(&minutes.value) != beaker.soak_minutes.as_ref()
    {
        parts.push(format!("soak {} min is enough", figure(&minutes.value)));
    }
    (!parts.is_empty()).then(|| parts.join("; "))
}

/// As a page; every line fits the width.
pub fn render(benched: &Benched<'_>, width: usize) -> String {
    let sheet = benched.sheet;
    let mut text = wrapped(&printable(&title(benched)), width, "", "  ");
    text += &wrapped(&summary(sheet), width, "", "  ");
    for (index, one) in sheet.beakers.iter().enumerate() {
        text += "\n";
        text += &wrapped(&printable(&beaker(index + 1, one)), width, "", "  ");
        text += &wrapped(&value(one), width, "  ", "  ");
        for line in &one.lines {
            text += &wrapped(&printable(&who(line)), width, "  ", "    ");
            text += &wrapped(
                &printable(&fitted(line.choice.geometry)),
                width,
                "    ",
                "    ",
            );
            if let Some(apart) = apart(one, line) {
                text += &wrapped(&printable(&apart), width, "    ", "    ");
            }
            text += &points(&line.choice, width, "    ");
            for remark in &line.remarks {
                text += &wrapped(&printable(remark), width, "    ! ", "      ");
            }
        }
    }
    if !sheet.not_planned.is_empty() {
        text += "\nCannot be planned for\n";
        for one in &sheet.not_planned {
            let line = format!("{}: {}", one.member.id, one.message);
            text += &wrapped(&printable(&line), width, "- ", "  ");
        }
    }
    if sheet.beakers.is_empty() {
        return text;
    }
    text + &take_care(&care(sheet), width)
}

pub(super) fn care(sheet: &Sheet<'_>) -> Vec<&'static str> {
    let beakers = sheet.beakers.iter();
    cautions(beakers.map(|beaker| &beaker.value.temperature_c.value))
}

/// One fact a line, for screen readers.
pub fn plain(benched: &Benched<'_>) -> String {
    let sheet = benched.sheet;
    let mut text = format!("{}\n{}\n", title(benched), summary(sheet));
    for (index, one) in sheet.beakers.iter().enumerate() {
        text += &format!("{}\n", beaker(index + 1, one));
        for line in &one.lines {
            text += &format!("instrument {}\n{}", who(line), choice_plain(&line.choice));
            for remark in &line.remarks {
                text += &format!("remark: {remark}\n");
            }
        }
    }
    for one in &sheet.not_planned {
        text += &format!(
            "cannot be planned for: {}: {}\n",
            one.member.id, one.message
        );
    }
    for caution in care(sheet) {
        text += &format!("take care: {caution}\n");
    }
    text.lines().map(|line| printable(line) + "\n").collect()
}
