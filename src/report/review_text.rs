//! What waits for a review, for people: a line a check, the oldest first, then the records.

use super::{printable, wrapped};
use crate::book::Book;
use crate::fleet::reviews::Waiting;
use crate::record::check::Verdict;
use crate::rules::reviews::Unreviewed;

/// What waits on a day.
pub struct List<'a> {
    pub book: &'a Book,
    pub checks: Vec<Check<'a>>,
    pub records: Vec<Record<'a>>,
}

pub struct Check<'a> {
    pub waiting: Waiting<'a>,
    pub operator: Option<String>,
    /// Of who rejected it.
    pub comment: Option<String>,
}

pub struct Record<'a> {
    pub waiting: Unreviewed<'a>,
    /// Of who rejected it.
    pub comment: Option<String>,
}

fn plural(count: usize, word: &str) -> String {
    match count {
        0 => format!("no {word}s"),
        1 => format!("1 {word}"),
        _ => format!("{count} {word}s"),
    }
}

fn by(list: &List<'_>, check: &Check<'_>) -> String {
    if let Some(review) = check.waiting.rejected {
        let day = list.book.zone.date(review.decided);
        return format!("rejected by {}, {day}", review.reviewer);
    }
    match (check.waiting.due, check.waiting.days_left) {
        (Some(due), Some(0)) => format!("{due} (today)"),
        (Some(due), Some(left)) if left < 0 => format!("{due} ({} late)", -left),
        (Some(due), Some(left)) => format!("{due} (in {left})"),
        _ => "-".to_owned(),
    }
}

fn row(list: &List<'_>, check: &Check<'_>) -> [String; 4] {
    let verdict = check.waiting.facts.verdict.map_or("none", Verdict::word);
    [
        check.waiting.id.to_owned(),
        verdict.to_owned(),
        check.operator.clone().unwrap_or_else(|| "-".to_owned()),
        by(list, check),
    ]
}

/// As a table; every line fits the width.
pub fn render(list: &List<'_>, width: usize) -> String {
    let day = list.book.as_of();
    let laboratory = list.book.marker.as_ref();
    let laboratory = laboratory.map(|marker| format!(", {}", printable(&marker.laboratory)));
    let mut text = wrapped(
        &format!(
            "What waits for a review on {day}{}",
            laboratory.unwrap_or_default()
        ),
        width,
        "",
        "  ",
    );
    if list.checks.is_empty() && list.records.is_empty() {
        return text + "Nothing waits.\n";
    }
    let rejected = |check: &&Check<'_>| check.waiting.rejected.is_some();
    let rejections = list.checks.iter().filter(rejected).count();
    let late = |check: &&Check<'_>| {
        let left = check.waiting.days_left;
        check.waiting.rejected.is_none() && left.is_some_and(|left| left < 0)
    };
    let late = list.checks.iter().filter(late).count();
    let mut summary = format!(
        "To review: {}{}, and {}.",
        plural(list.checks.len() - rejections, "check"),
        match late {
            0 => String::new(),
            _ => format!(", {late} of them late"),
        },
        plural(list.records.len(), "record")
    );
    if rejections > 0 {
        summary += &format!(
            " Rejected and not amended yet: {}.",
            plural(rejections, "check")
        );
    }
    text += &wrapped(&summary, width, "", "  ");
    text += &checks(list, width);
    for record in &list.records {
        if std::ptr::eq(record, &list.records[0]) {
            text.push('\n');
        }
        let one = &record.waiting;
        let why = match (one.rejected, one.approved_before) {
            (Some(review), _) => format!(
                "rejected by {}, {}",
                review.reviewer,
                list.book.zone.date(review.decided)
            ),
            (None, Some(review)) => format!(
                "changed since {} approved it, {}",
                review.reviewer,
                list.book.zone.date(review.decided)
            ),
            (None, None) => "no second person has approved it".to_owned(),
        };
        text += &wrapped(&format!("{}: {why}", one.record), width, "", "    ");
        text += &remark(record.comment.as_deref(), width);
    }
    text += "\n";
    text += &wrapped(
        "Next: look at each beside the bench sheet or the certificate, a check with shearbook show, another record in its file; then shearbook review ID --approve, or --reject with --comment. A check that was rejected is amended, or done again.",
        width,
        "",
        "  ",
    );
    text
}

fn remark(comment: Option<&str>, width: usize) -> String {
    comment.map_or_else(String::new, |comment| {
        let comment: Vec<&str> = comment.split_whitespace().collect();
        wrapped(&printable(&comment.join(" ")), width, "  ! ", "    ")
    })
}

fn checks(list: &List<'_>, width: usize) -> String {
    let heads = ["check", "verdict", "operator", "review by"];
    let rows: Vec<[String; 4]> = list.checks.iter().map(|check| row(list, check)).collect();
    let mut text = String::new();
    if rows.is_empty() {
        return text;
    }
    let widths: Vec<usize> = (0..heads.len())
        .map(|column| {
            let cells = rows.iter().map(|row| row[column].chars().count());
            cells.chain([heads[column].len()]).max().unwrap_or(0)
        })
        .collect();
    let stacked = widths.iter().sum::<usize>() + 2 * (heads.len() - 1) > width;
    let line = |cells: &[&str]| {
        let mut line = String::new();
        for (cell, width) in cells.iter().zip(&widths) {
            line += &format!("{cell:<width$}  ");
        }
        line.trim_end().to_owned() + "\n"
    };
    text.push('\n');
    if !stacked {
        text += &line(&heads);
    }
    for (check, row) in list.checks.iter().zip(&rows) {
        let cells: Vec<&str> = row.iter().map(String::as_str).collect();
        match stacked {
            false => text += &line(&cells),
            true => {
                text += &wrapped(row[0].as_str(), width, "", "    ");
                for (head, cell) in heads.iter().zip(row).skip(1) {
                    text += &wrapped(&format!("{head} {cell}"), width, "  ", "    ");
                }
            }
        }
        text += &remark(check.comment.as_deref(), width);
    }
    text
}
