//! Values that differ, and the keys that hold them in words.

use super::{ROWS, SHORT};
use crate::history::difference::{Difference, Row};
use crate::report::markup::{code, table};

pub(super) fn cells(cells: &[&str]) -> Vec<String> {
    cells.iter().map(|cell| (*cell).to_owned()).collect()
}

/// So many rows and how many more there are.
pub(super) fn cut_table(
    head: &[String],
    to_the_right: &[bool],
    mut rows: Vec<Vec<String>>,
) -> String {
    let more = rows.len().saturating_sub(ROWS);
    rows.truncate(ROWS);
    let mut text = table(head, to_the_right, &rows);
    if more > 0 {
        text += &format!("\nAnd {more} more.\n");
    }
    text
}

/// The rows of a table of values with their pointers, and lines for rows that came or went.
pub(super) fn changes(
    differences: &[Difference],
    leaves_out: &dyn Fn(&str) -> bool,
) -> (Vec<(String, Vec<String>)>, Vec<String>) {
    let mut rows = Vec::new();
    let mut lines = Vec::new();
    let shown = |value: &Option<String>| match value {
        Some(value) => code(value, SHORT),
        None => "(not there)".to_owned(),
    };
    for difference in differences {
        match difference {
            Difference::Value { pointer, was, is } if !leaves_out(pointer) => rows.push((
                pointer.clone(),
                vec![
                    format!("{}, {}", in_words(pointer), code(pointer, SHORT)),
                    shown(was),
                    shown(is),
                ],
            )),
            Difference::Value { .. } => {}
            Difference::Appended { pointer, row } if !pointer.starts_with("/computed") => {
                lines.push(format!("New row, {}: {}", in_words(pointer), of_row(row)));
            }
            Difference::Removed { pointer, row } if !pointer.starts_with("/computed") => {
                lines.push(format!(
                    "**Row taken away**, {}: {}",
                    in_words(pointer),
                    of_row(row)
                ));
            }
            _ => {}
        }
    }
    (rows, lines)
}

/// `speed in rpm 12; torque in % 19.4`, each value as written.
pub(super) fn of_row(row: &Row) -> String {
    let values: Vec<String> = row
        .iter()
        .take(ROWS)
        .map(|(pointer, value)| format!("{} {}", in_words(pointer), code(value, SHORT)))
        .collect();
    let more = match row.len().saturating_sub(ROWS) {
        0 => String::new(),
        more => format!("; and {more} more"),
    };
    values.join("; ") + &more
}

/// The endings of keys that are units, the longer before the shorter.
const UNITS: [(&str, &str); 16] = [
    ("_percent_per_k", "% per K"),
    ("_mpa_s_rpm", "mPa.s times rpm"),
    ("_per_rpm", "1/s per rpm"),
    ("_percent", "%"),
    ("_mpa_s", "mPa.s"),
    ("_mm2_s", "mm\u{b2}/s"),
    ("_g_ml", "g/ml"),
    ("_un_m", "\u{b5}N.m"),
    ("_rpm", "rpm"),
    ("_deg", "degrees"),
    ("_min", "min"),
    ("_mm", "mm"),
    ("_ml", "ml"),
    ("_c", "\u{b0}C"),
    ("_k", "K"),
    ("_s", "s"),
];

/// A pointer as people say it: `/value/0/viscosity_mpa_s` is `value 1, viscosity in mPa.s`.
fn in_words(pointer: &str) -> String {
    let mut words: Vec<String> = Vec::new();
    for step in pointer.split('/').skip(1) {
        match (step.parse::<usize>(), words.last_mut()) {
            (Ok(index), Some(last)) => *last += &format!(" {}", index.saturating_add(1)),
            _ => words.push(key_in_words(step)),
        }
    }
    words.join(", ")
}

fn key_in_words(key: &str) -> String {
    let known = |key: &str| {
        !key.is_empty()
            && key.len() <= 64
            && key
                .bytes()
                .all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'_')
    };
    if !known(key) {
        return code(key, SHORT);
    }
    let unit = UNITS
        .iter()
        .find_map(|(ending, unit)| Some((key.strip_suffix(ending)?, unit)));
    match unit.filter(|(rest, _)| known(rest)) {
        Some((rest, unit)) => format!("{} in {unit}", rest.replace('_', " ")),
        None => key.replace('_', " "),
    }
}

/// All that differs between two versions.
pub(super) fn values(differences: &[Difference]) -> String {
    let (rows, lines) = changes(differences, &|_| false);
    let rows: Vec<Vec<String>> = rows.into_iter().map(|(_, row)| row).collect();
    let mut text = String::new();
    if rows.is_empty() && lines.is_empty() {
        return "No value differs: only remarks, order or spelling.\n".to_owned();
    }
    if !rows.is_empty() {
        text += &cut_table(
            &cells(&["what", "before", "after"]),
            &[false, false, false],
            rows,
        );
        if !lines.is_empty() {
            text += "\n";
        }
    }
    for line in lines.iter().take(ROWS) {
        text += &format!("- {line}\n");
    }
    if lines.len() > ROWS {
        text += &format!("- and {} more rows\n", lines.len() - ROWS);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pointer_is_said_in_words_with_its_unit() {
        for (pointer, words) in [
            ("/value/0/viscosity_mpa_s", "value 1, viscosity in mPa.s"),
            (
                "/value/2/temperature_coefficient_percent_per_k",
                "value 3, temperature coefficient in % per K",
            ),
            (
                "/spring/0/full_scale_torque_un_m",
                "spring 1, full scale torque in \u{b5}N.m",
            ),
            (
                "/point/11/temperature_c",
                "point 12, temperature in \u{b0}C",
            ),
            ("/id", "id"),
            (
                "/gate/require_signed_commits",
                "gate, require signed commits",
            ),
            ("/@all", "`@all`"),
        ] {
            assert_eq!(in_words(pointer), words);
        }
    }
}
