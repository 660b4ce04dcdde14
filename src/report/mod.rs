//! One file a format. A report reads findings and figures, and decides nothing.

pub mod advice;
pub mod amendments;
pub mod budget_text;
pub mod cautions;
pub mod check_json;
pub mod check_text;
pub mod compare;
mod csv;
pub mod fleet_json;
pub mod fleet_text;
pub mod forge;
pub mod import;
pub mod json;
pub mod markup;
pub mod pattern_text;
pub mod plain;
pub mod plan_buy;
pub mod plan_html;
pub mod plan_json;
pub mod plan_sheet;
pub mod plan_text;
pub mod review_json;
pub mod review_text;
pub mod selftest;
pub mod simulate;
mod table;
pub mod terminal;
pub mod trace_csv;
pub mod trace_json;
pub mod trace_text;
pub mod trend_json;
pub mod trend_svg;
pub mod trend_text;

use crate::finding::{Counts, Finding};

/// The findings of one run, as every format tells them.
pub struct Findings<'a> {
    /// The book as the user named it.
    pub book: &'a str,
    pub as_of: String,
    pub findings: &'a [Finding],
    pub counts: Counts,
    pub files: usize,
    pub checks: usize,
}

/// `1 error, 2 warnings, no notices`.
pub fn tally(counts: Counts) -> String {
    let count = |number: usize, word: &str| match number {
        0 => format!("no {word}s"),
        1 => format!("1 {word}"),
        _ => format!("{number} {word}s"),
    };
    format!(
        "{}, {}, {}",
        count(counts.error, "error"),
        count(counts.warning, "warning"),
        count(counts.notice, "notice")
    )
}

/// The last line of a report on findings.
pub fn summary(report: &Findings<'_>) -> String {
    let files = if report.files == 1 { "file" } else { "files" };
    let checks = if report.checks == 1 {
        "check"
    } else {
        "checks"
    };
    format!(
        "{} {files} read, {} {checks} judged.\n{}.",
        report.files,
        report.checks,
        tally(report.counts)
    )
}

/// A text broken between words at a width in columns, behind a first and a further indent; paths are never broken.
pub(crate) fn wrapped(text: &str, width: usize, first: &str, further: &str) -> String {
    let options = textwrap::Options::new(width)
        .initial_indent(first)
        .subsequent_indent(further)
        .word_separator(textwrap::WordSeparator::AsciiSpace)
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
        .break_words(false);
    textwrap::wrap(text.trim(), options).join("\n") + "\n"
}

/// A line cut to a number of characters round a column, counted from 1; the line and the column in it.
pub(crate) fn cut_round(line: &str, column: usize, room: usize) -> (String, usize) {
    let length = line.chars().count();
    if length <= room {
        return (line.to_owned(), column);
    }
    let at = column.saturating_sub(1).min(length);
    // Two thirds of the room follow the place, since what is wrong begins there.
    let start = match at < room.saturating_sub(1) {
        true => 0,
        false => at.saturating_sub(room / 3).min(length - (room - 1)),
    };
    let left = usize::from(start > 0);
    let right = usize::from(start + room - left < length);
    let kept = line.chars().skip(start).take(room - left - right);
    let mark = |wanted: usize| std::iter::repeat_n('\u{2026}', wanted);
    let cut = mark(left).chain(kept).chain(mark(right)).collect();
    (cut, at - start + left + 1)
}

/// Marks that are not seen and change how the text round them is shown: joiners, direction marks, tags.
fn is_format(character: char) -> bool {
    matches!(
        character,
        '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}'
    )
}

/// A text that a record holds, safe to print: control and format characters become visible.
pub fn printable(text: &str) -> String {
    text.chars()
        .map(|character| {
            if (character.is_control() && character != '\t') || is_format(character) {
                '\u{fffd}'
            } else {
                character
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn controls_do_not_reach_a_terminal() {
        assert_eq!(
            printable("a\u{1b}b\u{9b}c\u{202e}d\u{2066}e\u{200f}f\u{2028}g\u{feff}h"),
            "a\u{fffd}b\u{fffd}c\u{fffd}d\u{fffd}e\u{fffd}f\u{fffd}g\u{fffd}h"
        );
        assert_eq!(printable("25 \u{b0}C \u{b5}N\tm"), "25 \u{b0}C \u{b5}N\tm");
    }

    #[test]
    fn a_line_is_cut_round_its_place() {
        let line: String = ('a'..='z').collect();
        assert_eq!(cut_round(&line, 26, 26), (line.clone(), 26));
        for (column, room) in [(1, 10), (5, 10), (13, 10), (20, 10), (26, 10), (26, 20)] {
            let (cut, at) = cut_round(&line, column, room);
            assert!(cut.chars().count() <= room, "{cut}");
            assert_eq!(
                cut.chars().nth(at - 1),
                line.chars().nth(column - 1),
                "{column} in {room}: {cut}"
            );
        }
        assert_eq!(cut_round(&line, 1, 10).0, "abcdefghi\u{2026}");
        assert_eq!(cut_round(&line, 26, 10).0, "\u{2026}rstuvwxyz");
    }
}
