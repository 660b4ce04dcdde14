//! A table for a terminal: side by side where it fits, else a row below the other.

use super::{printable, wrapped};

/// Every line fits the width. Columns of numbers stand to the right.
pub(super) fn table(heads: &[&str], rows: &[Vec<String>], width: usize) -> String {
    let rows: Vec<Vec<String>> = rows
        .iter()
        .map(|row| row.iter().map(|cell| printable(cell)).collect())
        .collect();
    let cells = |column: usize| rows.iter().filter_map(move |row| row.get(column));
    let length = |text: &str| text.chars().count();
    let widths: Vec<usize> = heads
        .iter()
        .enumerate()
        .map(|(column, head)| {
            let widest = cells(column).map(|cell| length(cell)).max();
            widest.unwrap_or(0).max(length(head))
        })
        .collect();
    let is_number = |text: &String| text.bytes().all(|byte| byte.is_ascii_digit());
    let numbers: Vec<bool> = (0..heads.len())
        .map(|column| cells(column).all(is_number))
        .collect();
    let line = |cells: &[&str]| {
        let mut line = String::new();
        for ((cell, width), number) in cells.iter().zip(&widths).zip(&numbers) {
            line += &match number {
                true => format!("{cell:>width$}  "),
                false => format!("{cell:<width$}  "),
            };
        }
        line.trim_end().to_owned() + "\n"
    };
    let fits = widths.iter().sum::<usize>() + 2 * heads.len().saturating_sub(1) <= width;
    let mut text = String::new();
    if fits {
        text += &line(heads);
    }
    for row in &rows {
        let cells: Vec<&str> = row.iter().map(String::as_str).collect();
        let Some((first, rest)) = cells.split_first().filter(|_| !fits) else {
            text += &line(&cells);
            continue;
        };
        text += &wrapped(first, width, "", "    ");
        for (head, cell) in heads.iter().skip(1).zip(rest) {
            text += &wrapped(&format!("{head}: {cell}"), width, "  ", "    ");
        }
    }
    text
}

/// `1 check`, `12 checks`.
pub(super) fn plural(count: usize, word: &str) -> String {
    match count {
        0 => format!("no {word}s"),
        1 => format!("1 {word}"),
        _ => format!("{count} {word}s"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_that_does_not_fit_is_stacked() {
        let rows = [
            vec!["VM-1".to_owned(), "12".to_owned(), "in date".to_owned()],
            vec!["VM-22".to_owned(), "3".to_owned(), "-".to_owned()],
        ];
        let heads = ["instrument", "checks", "state"];
        assert_eq!(
            table(&heads, &rows, 27),
            "instrument  checks  state\nVM-1            12  in date\nVM-22            3  -\n"
        );
        assert_eq!(
            table(&heads, &rows, 26),
            "VM-1\n  checks: 12\n  state: in date\nVM-22\n  checks: 3\n  state: -\n"
        );
    }
}
