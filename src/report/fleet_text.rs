//! The fleet for people: a line an instrument, the worst first, then what to do.

use super::printable;
use crate::finding::{Counts, Finding, Severity};
use crate::fleet::{Fleet, Member};
use crate::record::check::Verdict;

/// A state as it is read out.
fn spoken(member: &Member<'_>) -> String {
    member.state.word().replace('-', " ")
}

fn last(member: &Member<'_>) -> String {
    match member.last {
        Some(last) => {
            let verdict = last.facts.verdict.map_or("no verdict", Verdict::word);
            format!("{} {verdict}", last.day)
        }
        None => "none".to_owned(),
    }
}

fn next(member: &Member<'_>) -> String {
    match (member.next_due, member.days_left) {
        (Some(due), Some(0)) => format!("{due} (today)"),
        (Some(due), Some(left)) if left < 0 => format!("{due} ({} late)", -left),
        (Some(due), Some(left)) => format!("{due} (in {left})"),
        _ => "-".to_owned(),
    }
}

fn service(member: &Member<'_>) -> String {
    member
        .service_due()
        .map_or_else(|| "-".to_owned(), |due| due.to_string())
}

/// Worst first: by state, then by what is due soonest, then by id.
fn sorted<'a>(fleet: &'a Fleet<'a>) -> Vec<&'a Member<'a>> {
    let mut members: Vec<_> = fleet.members.iter().collect();
    members.sort_by_key(|member| (member.state, member.usable, member.days_left, member.id));
    members
}

fn plural(count: usize, word: &str) -> String {
    match count {
        1 => format!("1 {word}"),
        _ => format!("{count} {word}s"),
    }
}

fn heading(fleet: &Fleet<'_>) -> String {
    let laboratory = fleet
        .book
        .marker
        .as_ref()
        .map(|marker| format!(", {}", printable(&marker.laboratory)));
    format!(
        "The fleet on {}{}\n",
        fleet.as_of,
        laboratory.unwrap_or_default()
    )
}

/// How many may be used, how many are in each state, and how many checks do not count.
fn summary(fleet: &Fleet<'_>) -> String {
    let usable = fleet.members.iter().filter(|member| member.usable).count();
    let states: Vec<String> = fleet
        .totals()
        .into_iter()
        .filter(|(_, count)| *count > 0)
        .map(|(state, count)| format!("{count} {}", state.word().replace('-', " ")))
        .collect();
    let mut text = format!(
        "{}, {usable} usable: {}.",
        plural(fleet.members.len(), "instrument"),
        states.join(", ")
    );
    if fleet.members.is_empty() {
        text = "No instruments yet.".to_owned();
    }
    text += &errors(fleet)
        .map(|errors| format!(" {errors}"))
        .unwrap_or_default();
    text
}

/// What the errors of the book take away from this report; `None` where there are none.
pub fn errors(fleet: &Fleet<'_>) -> Option<String> {
    let checks = match fleet.uncounted {
        0 => None,
        1 => Some("1 check has errors, or rests on a file that has, and does not count".to_owned()),
        more => Some(format!(
            "{more} checks have errors, or rest on files that have, and do not count"
        )),
    };
    let files = fleet.with_errors.first().map(|first| {
        let more = match fleet.with_errors.len() {
            1 => String::new(),
            count => format!(" and {} more", plural(count - 1, "file")),
        };
        let have = if more.is_empty() { "has" } else { "have" };
        format!("{}{more} {have} errors", printable(first))
    });
    let said: Vec<String> = checks.into_iter().chain(files).collect();
    (!said.is_empty()).then(|| format!("{}: shearbook validate tells them.", said.join("; ")))
}

/// As a table; every line fits the width.
pub fn render(fleet: &Fleet<'_>, findings: &[Finding], width: usize) -> String {
    let wrapped = |text: &str, first: &str, rest: &str| super::wrapped(text, width, first, rest);
    let mut text = wrapped(heading(fleet).trim_end(), "", "  ");
    text += &wrapped(&summary(fleet), "", "  ");
    let members = sorted(fleet);
    if !members.is_empty() {
        text.push('\n');
        text += &table(&members, width, &wrapped);
    }
    text += &todo(fleet, findings, &wrapped);
    text += "\n";
    text += &wrapped(
        "A check says how an instrument reads on its day. Whether a result may be released stays with the laboratory's responsible people.",
        "",
        "",
    );
    text
}

fn table(
    members: &[&Member<'_>],
    width: usize,
    wrapped: &dyn Fn(&str, &str, &str) -> String,
) -> String {
    let heads = [
        "instrument",
        "state",
        "last check",
        "next check",
        "service due",
    ];
    let rows: Vec<[String; 5]> = members
        .iter()
        .map(|member| {
            [
                member.id.to_owned(),
                spoken(member),
                last(member),
                next(member),
                service(member),
            ]
        })
        .collect();
    let widths: Vec<usize> = (0..heads.len())
        .map(|column| {
            let cells = rows.iter().map(|row| row[column].chars().count());
            cells.chain([heads[column].len()]).max().unwrap_or(0)
        })
        .collect();
    let total = widths.iter().sum::<usize>() + 2 * (heads.len() - 1);
    let mut text = String::new();
    let stacked = total > width;
    let line = |cells: Vec<&str>| {
        let mut line = String::new();
        for (cell, width) in cells.iter().zip(&widths) {
            line += &format!("{cell:<width$}  ");
        }
        line.trim_end().to_owned() + "\n"
    };
    if !stacked {
        text += &line(heads.to_vec());
    }
    for (member, row) in members.iter().zip(&rows) {
        if stacked {
            text += &wrapped(&format!("{}: {}", row[0], row[1]), "", "    ");
            for (head, cell) in heads.iter().zip(row).skip(2) {
                text += &wrapped(&format!("{head} {cell}"), "  ", "    ");
            }
        } else {
            text += &line(row.iter().map(String::as_str).collect());
        }
        for reason in &member.reasons {
            text += &wrapped(&printable(reason), "  ! ", "    ");
        }
    }
    text
}

fn todo(
    fleet: &Fleet<'_>,
    findings: &[Finding],
    wrapped: &dyn Fn(&str, &str, &str) -> String,
) -> String {
    if findings.is_empty() {
        let calm = fleet.members.iter().all(|member| member.usable) && errors(fleet).is_none();
        return if calm {
            "\nNothing to do.\n"
        } else {
            "\nNothing falls due.\n"
        }
        .to_owned();
    }
    let mut text = String::from("\nTo do\n");
    for severity in [Severity::Error, Severity::Warning, Severity::Notice] {
        for finding in findings
            .iter()
            .filter(|finding| finding.severity == severity)
        {
            text += &wrapped(
                &format!(
                    "{}: {} ({}, line {})",
                    severity.name(),
                    printable(&finding.message),
                    finding.place.path,
                    finding.place.line
                ),
                "- ",
                "  ",
            );
            text += &wrapped(&format!("next: {}", finding.help), "    ", "    ");
        }
    }
    let counts = Counts::of(findings);
    text += &format!("{}.\n", super::tally(counts));
    text
}

/// One fact a line, for screen readers.
pub fn plain(fleet: &Fleet<'_>, findings: &[Finding]) -> String {
    let mut text = heading(fleet);
    text += &format!("{}\n", summary(fleet));
    for member in sorted(fleet) {
        text += &format!("instrument {}: {}\n", member.id, spoken(member));
        text += &format!("usable: {}\n", if member.usable { "yes" } else { "no" });
        for reason in &member.reasons {
            text += &format!("why not: {}\n", printable(reason));
        }
        text += &format!("last check: {}\n", last(member));
        text += &format!("next check: {}\n", next(member));
        text += &format!("service due: {}\n", service(member));
    }
    for finding in findings {
        text += &format!(
            "{}: {}\nnext: {}\n",
            finding.severity.name(),
            printable(&finding.message),
            finding.help
        );
    }
    text
}
