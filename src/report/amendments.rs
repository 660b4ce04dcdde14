//! What an amendment changed, original and amended side by side.

use super::{printable, wrapped};
use crate::book::line::{Member, amendments, of_substance};
use crate::parse::edit::{Change, Written};

/// The columns of a key and of a value that stand side by side; longer ones stand on lines of their own.
const KEY: usize = 36;
const VALUE: usize = 20;

/// Units as the ends of keys write them, and as people do.
const UNITS: [(&str, &str); 8] = [
    ("_mpa_s", "mPa.s"),
    ("_un_m", "\u{b5}N.m"),
    ("_percent", "%"),
    ("_rpm", "rpm"),
    ("_per_s", "1/s"),
    ("_min", "min"),
    ("_c", "\u{b0}C"),
    ("_k", "K"),
];

/// A pointer into a check in words: `/computed/point/0/lower_mpa_s` is `point 1, lower limit, mPa.s`.
pub fn in_words(pointer: &str) -> String {
    let mut words: Vec<String> = Vec::new();
    let steps = pointer.split('/').skip(1);
    for step in steps.filter(|step| *step != "computed") {
        match (step.parse::<usize>(), words.last_mut()) {
            (Ok(row), Some(last)) => *last += &format!(" {}", row + 1),
            _ => words.push(name(step)),
        }
    }
    words.join(", ")
}

fn name(key: &str) -> String {
    let unit = UNITS.iter().find(|(end, _)| key.ends_with(end));
    let bare = unit.map_or(key, |(end, _)| key.strip_suffix(end).unwrap_or(key));
    let bare = match bare {
        "lower" => "lower limit".to_owned(),
        "upper" => "upper limit".to_owned(),
        "acceptance_lower" => "lower acceptance limit".to_owned(),
        "acceptance_upper" => "upper acceptance limit".to_owned(),
        "range" => "full-scale range".to_owned(),
        "viscosity" => "reading".to_owned(),
        other => other.replace('_', " "),
    };
    match unit {
        Some((_, unit)) => format!("{bare}, {unit}"),
        None => bare,
    }
}

/// A table of what differs; `width` in columns.
pub fn table(changes: &[Change], heads: [&str; 3], width: usize) -> String {
    let shown = |value: &Option<Written>| match value {
        Some(value) => printable(&value.text),
        None => "-".to_owned(),
    };
    let rows: Vec<[String; 3]> = changes
        .iter()
        .map(|change| {
            [
                printable(&in_words(&change.pointer)),
                shown(&change.was),
                shown(&change.is),
            ]
        })
        .collect();
    let length = |text: &String| text.chars().count();
    let fits = |row: &[String; 3]| {
        length(&row[0]) <= KEY && length(&row[1]) <= VALUE && length(&row[2]) <= VALUE
    };
    let widest = |column: usize| {
        let side_by_side = rows.iter().filter(|row| fits(row));
        let cells = side_by_side.map(|row| length(&row[column]));
        cells
            .chain([heads[column].chars().count()])
            .max()
            .unwrap_or(0)
    };
    let (key, was) = (widest(0), widest(1));
    let line = |[one, two, three]: [&str; 3]| {
        let line = format!("{one:<key$}  {two:<was$}  {three}");
        format!("{}\n", line.trim_end())
    };
    let mut text = line(heads);
    for row in &rows {
        if fits(row) {
            text += &line([&row[0], &row[1], &row[2]]);
            continue;
        }
        text += &wrapped(&row[0], width, "", "  ");
        for (head, value) in heads.iter().zip(row).skip(1) {
            let first = format!("  {head}: ");
            let further = " ".repeat(first.chars().count());
            text += &wrapped(value, width, &first, &further);
        }
    }
    text
}

/// Every amendment of a line with why, when and by whom, and what differs between the first record and the newest; with
/// several also what each changed. Nothing where there is no amendment.
pub fn side_by_side(line: &[Member], width: usize) -> String {
    let steps = amendments(line);
    if steps.is_empty() {
        return String::new();
    }
    let mut text = "\noriginal and amended\n".to_owned();
    for step in &steps {
        let by = step.amended_by.as_deref().unwrap_or("somebody");
        let when = step.amended.as_deref().unwrap_or("an unknown day");
        let head = format!("{} by {by} on {}", step.id, when.replace('T', " "));
        text += &wrapped(&printable(&head), width, "  ", "    ");
        if let Some(reason) = &step.reason {
            text += &wrapped(&printable(reason), width, "    reason: ", "            ");
        }
        if steps.len() > 1 {
            text.push('\n');
            text += &of_step(&step.changes, ["what it changed", "was", "is"], width);
            text.push('\n');
        }
    }
    let ends = line.first().zip(line.last());
    let records = ends.and_then(|(one, other)| one.record.as_ref().zip(other.record.as_ref()));
    let Some((original, newest)) = records else {
        return text;
    };
    let changes = of_substance(original, newest);
    if steps.len() == 1 {
        text.push('\n');
    }
    text + &of_step(&changes, ["what differs", "original", "amended"], width)
}

fn of_step(changes: &[Change], heads: [&str; 3], width: usize) -> String {
    match changes {
        [] => "  no other value differs\n".to_owned(),
        _ => table(changes, heads, width),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pointer_is_told_in_words() {
        for (pointer, words) in [
            ("/point/1/temperature_c", "point 2, temperature, \u{b0}C"),
            (
                "/computed/point/0/lower_mpa_s",
                "point 1, lower limit, mPa.s",
            ),
            (
                "/computed/point/0/acceptance_upper_mpa_s",
                "point 1, upper acceptance limit, mPa.s",
            ),
            ("/computed/verdict", "verdict"),
            ("/preparation/soak_started", "preparation, soak started"),
            ("/fluid", "fluid"),
        ] {
            assert_eq!(in_words(pointer), words);
        }
    }

    #[test]
    fn long_values_stand_on_lines_of_their_own() {
        let written = |text: &str| {
            Some(Written {
                text: text.to_owned(),
                json: text.into(),
            })
        };
        let long = "beaker knocked over by the cleaning crew while the third speed was being read, so all that follows is lost";
        let changes = [
            Change {
                pointer: "/point/0/temperature_c".to_owned(),
                was: written("25.20"),
                is: written("25.02"),
            },
            Change {
                pointer: "/late_reason".to_owned(),
                was: None,
                is: written(long),
            },
        ];
        let text = table(&changes, ["what differs", "original", "amended"], 80);
        assert_eq!(
            text.lines().take(4).collect::<Vec<_>>(),
            [
                "what differs              original  amended",
                "point 1, temperature, \u{b0}C  25.20     25.02",
                "late reason",
                "  original: -",
            ]
        );
        assert!(
            text.lines().all(|line| line.chars().count() <= 80),
            "{text}"
        );
        assert!(
            text.split_whitespace()
                .collect::<Vec<_>>()
                .join(" ")
                .contains(long)
        );
    }
}
