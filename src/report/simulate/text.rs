//! For people: how many would differ, then by instrument, by rule and check by check.

use super::super::table::{plural, table};
use super::super::{fleet_text, printable, wrapped};
use super::{Simulated, changed_points, of_point, word};
use crate::rules::Differing;

const CAUTION: &str = "Nothing was changed: each check stays judged by the policy of its day. Checks were made to keep that one; to keep another one some would have been made otherwise.";

fn title(simulated: &Simulated<'_>) -> String {
    let marker = simulated.book.marker.as_ref();
    let laboratory = marker.map(|marker| format!(", {}", marker.laboratory));
    format!(
        "What policy {} of {} would have said, as of {}{}",
        simulated.policy.id,
        simulated.file,
        simulated.fleet.as_of,
        laboratory.unwrap_or_default()
    )
}

fn summary(simulated: &Simulated<'_>) -> Vec<String> {
    let totals = simulated.totals();
    let groups = simulated.policy.groups.as_ref();
    let whose = match groups {
        Some(groups) => format!(" of the groups that it names ({})", groups.join(", ")),
        None => String::new(),
    };
    let since = simulated.selection.since;
    let since = since.map_or(String::new(), |day| format!(" since {day}"));
    if totals.checks == 0 {
        let only = simulated.selection.instrument;
        let only = only.map_or(String::new(), |id| format!(" of {id}"));
        return vec![format!(
            "There is no check{only}{whose}{since} that it would judge."
        )];
    }
    let judged = format!(
        "{}{since}, of {}{whose}, judged as if it had been in force",
        plural(totals.checks, "check"),
        plural(simulated.groups.len(), "instrument")
    );
    let ways = format!(
        "{} from pass to fail and {} from fail to pass",
        totals.pass_to_fail, totals.fail_to_pass
    );
    let mut said = vec![match totals.verdicts_differ {
        0 => format!("{judged}: no verdict would differ."),
        1 => format!("{judged}: 1 verdict would differ, {ways}."),
        many => format!("{judged}: {many} verdicts would differ, {ways}."),
    }];
    match totals.limits_differ {
        0 => {}
        1 => said.push("1 check with the same verdict has other limits.".to_owned()),
        many => said.push(format!(
            "{many} checks with the same verdict have other limits."
        )),
    }
    match totals.refused {
        0 => {}
        1 => said.push("1 check that counts would not count any more, for an error.".to_owned()),
        many => said.push(format!(
            "{many} checks that count would not count any more, for errors."
        )),
    }
    match totals.accepted {
        0 => {}
        1 => said.push("1 check that does not count for an error would count.".to_owned()),
        many => said.push(format!(
            "{many} checks that do not count for errors would count."
        )),
    }
    said
}

fn head(one: &Differing<'_>) -> String {
    let policy = one.policy.unwrap_or("none");
    let verdicts = match one.verdict_differs() {
        true => format!("{} would be {}", word(one.before), word(one.after)),
        false => format!("{} as before", word(one.before)),
    };
    format!("{}, policy {policy}: {verdicts}", one.id)
}

fn details(one: &Differing<'_>) -> Vec<String> {
    let points = changed_points(one).into_iter();
    let mut said: Vec<String> = points.map(|point| of_point(one, point)).collect();
    if !one.comes.is_empty() {
        said.push(format!("errors that would come: {}", one.comes.join(", ")));
    }
    if !one.goes.is_empty() {
        said.push(format!("errors that would go: {}", one.goes.join(", ")));
    }
    said.extend(match (one.counts_before, one.counts_after) {
        (true, false) => Some("it would not count any more".to_owned()),
        (false, true) => Some("it would count".to_owned()),
        _ => None,
    });
    said
}

/// Every line fits the width.
pub fn render(simulated: &Simulated<'_>, width: usize) -> String {
    let wrapped =
        |text: &str, first: &str, rest: &str| wrapped(&printable(text), width, first, rest);
    let mut text = wrapped(&title(simulated), "", "  ");
    for line in summary(simulated) {
        text += &wrapped(&line, "", "  ");
    }
    if !simulated.groups.is_empty() {
        text.push('\n');
        text += &instruments(simulated, width);
    }
    let rules = simulated.rules();
    if !rules.is_empty() {
        let rows: Vec<Vec<String>> = rules
            .iter()
            .map(|(rule, (comes, goes))| {
                vec![(*rule).to_owned(), comes.to_string(), goes.to_string()]
            })
            .collect();
        text += "\nErrors, by rule: of how many checks they would come and go\n";
        text += &table(&["rule", "come", "go"], &rows, width);
    }
    let parts: [(&str, bool); 2] = [
        ("Verdicts that would differ, in order of time", true),
        ("The same verdict, other errors", false),
    ];
    for (heading, differs) in parts {
        let own = simulated.checks.iter();
        let mut own = own
            .filter(|one| one.verdict_differs() == differs)
            .peekable();
        if own.peek().is_some() {
            text += &format!("\n{heading}\n");
        }
        for one in own {
            text += &wrapped(&head(one), "- ", "  ");
            for line in details(one) {
                text += &wrapped(&line, "    ", "      ");
            }
        }
    }
    text.push('\n');
    if let Some(errors) = fleet_text::errors(simulated.fleet) {
        text += &wrapped(&errors, "", "");
    }
    text += &wrapped(CAUTION, "", "");
    text
}

fn instruments(simulated: &Simulated<'_>, width: usize) -> String {
    let rows: Vec<Vec<String>> = simulated
        .groups
        .iter()
        .map(|(id, group)| {
            vec![
                (*id).to_owned(),
                group.checks.to_string(),
                format!("{} -> {}", group.pass_before, group.pass_after),
                format!("{} -> {}", group.fail_before, group.fail_after),
                format!("{} -> {}", group.counted_before, group.counted_after),
                group.verdicts_differ.to_string(),
            ]
        })
        .collect();
    let heads = [
        "instrument",
        "checks",
        "pass",
        "fail",
        "count",
        "verdicts differ",
    ];
    table(&heads, &rows, width)
}

/// One fact a line, for screen readers.
pub fn plain(simulated: &Simulated<'_>) -> String {
    let mut lines = vec![title(simulated)];
    lines.extend(summary(simulated));
    for (id, group) in &simulated.groups {
        lines.push(format!(
            "instrument {id}: {}",
            plural(group.checks, "check")
        ));
        for (name, before, after) in [
            ("pass", group.pass_before, group.pass_after),
            ("fail", group.fail_before, group.fail_after),
            ("count", group.counted_before, group.counted_after),
        ] {
            lines.push(format!("{name}: {before} before, {after} after"));
        }
        lines.push(format!("verdicts that differ: {}", group.verdicts_differ));
    }
    for (rule, (comes, goes)) in simulated.rules() {
        lines.push(format!(
            "rule {rule}: comes {comes} times, goes {goes} times"
        ));
    }
    for one in &simulated.checks {
        lines.push(format!("check {}", head(one)));
        lines.extend(details(one));
    }
    lines.extend(fleet_text::errors(simulated.fleet));
    lines.push(CAUTION.to_owned());
    lines.iter().map(|line| printable(line) + "\n").collect()
}
