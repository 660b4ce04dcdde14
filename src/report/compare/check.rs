//! One new check: who, when, with what, its figures, and those before it.

use super::values::{cells, changes, cut_table};
use super::{Block, FIRST, LONG, ROWS, SHORT, Section, heading, is_fail, paths_with_errors};
use crate::book::view::View;
use crate::history::compare::{Brought, NewCheck};
use crate::history::difference::Difference;
use crate::measure::{Exact, PERCENT_PLACES};
use crate::record::check::{Check, Verdict};
use crate::report::check_text::{acceptance, chart, figure, row, signed};
use crate::report::forge::Forge;
use crate::report::markup::{code, fenced};
use std::collections::{BTreeMap, BTreeSet};

pub(super) fn checks(brought: &Brought, forge: Option<&Forge>) -> Section {
    let mut blocks = Vec::new();
    let mut fails = 0;
    let errors = paths_with_errors(brought);
    for new in &brought.checks {
        let verdict = brought.verdict(new);
        let failed = is_fail(verdict);
        fails += usize::from(failed);
        blocks.push(Block {
            rank: match failed {
                true if fails <= FIRST => 1,
                true => 3,
                false => 6,
            },
            text: Some(check(
                brought,
                new,
                verdict,
                errors.contains(new.doc.path.as_str()),
                forge,
            )),
            is_bad: failed,
        });
    }
    for path in &brought.unreadable {
        blocks.push(Block {
            rank: 2,
            text: Some(
                heading(path, "cannot be read")
                    + "What is wrong with it stands under *Findings*.\n\n",
            ),
            is_bad: false,
        });
    }
    Section {
        heading: "New checks",
        blocks,
        of: (
            "check",
            "checks",
            "`shearbook show INSTRUMENT/YYYY-MM-DD-HHMM` tells each on that branch",
        ),
        bad: ("fails", "fail"),
    }
}

fn check(
    brought: &Brought,
    new: &NewCheck,
    verdict: Option<Verdict>,
    has_errors: bool,
    forge: Option<&Forge>,
) -> String {
    let mut word = match verdict {
        None => "no verdict: a figure is missing".to_owned(),
        Some(verdict) => format!("**{}**", verdict.word()),
    };
    if has_errors {
        word += ", but it has errors and does not count";
    }
    let mut text = heading(&new.id, &word);
    let Some(view) = View::of(&brought.after, &new.doc, &new.check, &new.id) else {
        return text;
    };
    text += &who(&view);
    let told = told(&new.check);
    if !told.is_empty() {
        text.push('\n');
    }
    for line in told {
        text += &format!("- {line}\n");
    }
    if let Some(amends) = &new.amends {
        text += "\n";
        text += &amendment(amends);
    }
    text += "\n";
    text += &points(&view);
    text += &beside(brought, new, &view);
    if let Some(forge) = forge.filter(|_| new.awaits_review) {
        text += &review_line(new, forge);
    }
    text + "\n"
}

/// Who did it, when, and with what.
fn who(view: &View<'_>) -> String {
    let check = view.check;
    let mut parts = vec![format!(
        "Performed {} by {}",
        check.performed,
        code(&check.operator, SHORT)
    )];
    if let Some(typist) = &check.entered_by {
        parts[0] += &format!(", typed by {}", code(typist, SHORT));
    }
    let mut fluid = format!("fluid lot {}", code(&check.fluid, SHORT));
    if let Some(bottle) = &check.bottle {
        fluid += &format!(", bottle {}", code(bottle, SHORT));
    }
    parts.push(fluid);
    for (noun, id) in [
        ("geometry", &check.geometry),
        ("thermometer", &check.thermometer),
        ("bath", &check.bath),
    ] {
        if let Some(id) = id {
            parts.push(format!("{noun} {}", code(id, SHORT)));
        }
    }
    let words = [
        check.occasion.map(|occasion| occasion.word()),
        check.condition.map(|condition| condition.word()),
    ];
    let words: Vec<&str> = words.into_iter().flatten().collect();
    if !words.is_empty() {
        parts.push(words.join(", "));
    }
    let mut text = parts.join("; ") + ".";
    if let Some(policy) = view.policy {
        text += &format!(
            " Judged by policy {}: {} % of the value + {} % of the range.",
            code(&policy.id, SHORT),
            policy.fluid_percent,
            policy.range_percent
        );
    }
    text + "\n"
}

/// What the check says of itself beside its figures.
fn told(check: &Check) -> Vec<String> {
    let mut lines = Vec::new();
    let mut quoted = |what: String, text: &str| {
        lines.push(format!("{what}: {}", code(text, LONG)));
    };
    if let Some(amends) = &check.amends {
        let mut what = format!("Amends {}", code(amends, SHORT));
        if let Some(by) = &check.amended_by {
            what += &format!(", by {}", code(by, SHORT));
        }
        if let Some(at) = &check.amended {
            what += &format!(" on {at}");
        }
        quoted(what, check.reason.as_deref().unwrap_or(""));
    }
    if check.void {
        let cause = check
            .void_cause
            .map_or("no cause given", |cause| cause.word());
        quoted(
            format!("Void ({cause})"),
            check.reason.as_deref().unwrap_or(""),
        );
    }
    if let (Some(reason), None, false) = (&check.reason, &check.amends, check.void) {
        quoted("Reason".to_owned(), reason);
    }
    if let Some(other) = &check.repeats {
        quoted("Repeats".to_owned(), other);
    }
    if let Some(reason) = &check.late_reason {
        quoted("Entered late".to_owned(), reason);
    }
    for deviation in check.deviations.iter().take(ROWS) {
        quoted(
            format!(
                "Departs from {} with the consent of {}",
                code(&deviation.rule, SHORT),
                code(&deviation.consent, SHORT)
            ),
            &deviation.reason,
        );
    }
    lines
}

fn amendment(differences: &[Difference]) -> String {
    let own = |pointer: &str| {
        let keys = ["/amends", "/amended", "/amended_by", "/reason"];
        keys.contains(&pointer)
    };
    let (mut rows, lines) = changes(differences, &own);
    // What is computed follows from the rest; the verdict alone is worth a row.
    rows.retain(|(pointer, _)| !pointer.starts_with("/computed") || pointer == "/computed/verdict");
    let rows: Vec<Vec<String>> = rows.into_iter().map(|(_, row)| row).collect();
    let mut text = String::new();
    if rows.is_empty() && lines.is_empty() {
        return "No value differs from the record that it amends.\n".to_owned();
    }
    if !rows.is_empty() {
        text += &cut_table(
            &cells(&["what", "as first recorded", "as amended"]),
            &[false, false, false],
            rows,
        );
    }
    for line in lines.iter().take(ROWS) {
        text += &format!("- {line}\n");
    }
    text
}

fn points(view: &View<'_>) -> String {
    let Some(judgement) = view.judgement.as_ref() else {
        return "No figures can be worked out: no policy judges this check, or a file that it rests on has errors.\n".to_owned();
    };
    if judgement.points.is_empty() {
        return "It has no points.\n".to_owned();
    }
    let pairs = || judgement.points.iter().zip(&view.check.points);
    let rows = pairs().map(|(point, written)| row(point, written).to_vec());
    let rows = rows.map(|mut row| {
        if let Some(verdict) = row.last_mut().filter(|verdict| verdict.ends_with("fail")) {
            *verdict = format!("**{verdict}**");
        }
        row
    });
    let head = cells(&[
        "rpm",
        "zone",
        "torque %",
        "reading mPa.s",
        "limits mPa.s",
        "deviation %",
        "verdict",
    ]);
    let right = [true, false, true, true, false, true, false];
    let mut text = cut_table(&head, &right, rows.collect());
    if let Some(line) = acceptance(view) {
        text += &format!("\n{line}\n");
    }
    let charts: String = pairs()
        .take(ROWS)
        .map(|(point, written)| chart(point, written))
        .collect();
    if !charts.is_empty() {
        text += &format!(
            "\nWhere each reading lies between its limits:\n\n{}",
            fenced("text", &charts)
        );
    }
    text
}

/// The deviations at each speed of a check.
fn deviations(view: &View<'_>) -> BTreeMap<Exact, String> {
    let mut found: BTreeMap<Exact, String> = BTreeMap::new();
    let Some(judgement) = view.judgement.as_ref() else {
        return found;
    };
    let mut verdicts: BTreeMap<Exact, Option<Verdict>> = BTreeMap::new();
    for (point, written) in judgement.points.iter().zip(&view.check.points) {
        let deviation = match (&point.deviation_percent, written.shown) {
            (Some(deviation), _) => signed(&deviation.to_fixed_string(PERCENT_PLACES)),
            (None, Some(shown)) => shown.word().to_owned(),
            (None, None) => "-".to_owned(),
        };
        let speed = written.speed_rpm.value.clone();
        verdicts.insert(speed.clone(), point.verdict.map(Verdict::from));
        let cell = found.entry(speed).or_default();
        if !cell.is_empty() {
            cell.push_str(" / ");
        }
        cell.push_str(&deviation);
    }
    for (speed, cell) in &mut found {
        match verdicts.get(speed).copied().flatten() {
            Some(verdict) if is_fail(Some(verdict)) => *cell += &format!(" **{}**", verdict.word()),
            Some(verdict) => *cell += &format!(" {}", verdict.word()),
            None => {}
        }
    }
    found
}

/// The deviations beside those of the last counted checks.
fn beside(brought: &Brought, new: &NewCheck, view: &View<'_>) -> String {
    let mut head = vec!["rpm".to_owned()];
    let mut columns = Vec::new();
    for id in &new.beside {
        let Some((doc, check)) = brought.check(id) else {
            continue;
        };
        let Some(earlier) = View::of(&brought.after, doc, check, id) else {
            continue;
        };
        let lot = match check.fluid == new.check.fluid {
            true => String::new(),
            false => format!(", lot {}", code(&check.fluid, SHORT)),
        };
        head.push(format!("{}{lot}", check.performed));
        columns.push(deviations(&earlier));
    }
    if columns.is_empty() {
        return String::new();
    }
    head.push("this check".to_owned());
    columns.push(deviations(view));
    let written: BTreeMap<&Exact, String> = new
        .check
        .points
        .iter()
        .map(|point| (&point.speed_rpm.value, point.speed_rpm.to_string()))
        .collect();
    let speeds: BTreeSet<&Exact> = columns.iter().flat_map(BTreeMap::keys).collect();
    let rows: Vec<Vec<String>> = speeds
        .into_iter()
        .map(|speed| {
            let name = written.get(speed).cloned();
            let mut row = vec![name.unwrap_or_else(|| figure(speed))];
            row.extend(columns.iter().map(|column| {
                let cell = column.get(speed).cloned();
                cell.unwrap_or_else(|| "-".to_owned())
            }));
            row
        })
        .collect();
    let right = vec![true; head.len()];
    let one_or_more = match columns.len() {
        2 => "the counted check before it".to_owned(),
        several => format!("the {} counted checks before it", several - 1),
    };
    format!(
        "\nDeviation in % of the reference, beside {one_or_more}:\n\n{}",
        cut_table(&head, &right, rows)
    )
}

fn review_line(new: &NewCheck, forge: &Forge) -> String {
    let by = [
        Some(&new.check.operator),
        new.check.entered_by.as_ref(),
        new.check.amended_by.as_ref(),
    ];
    if let Some(reviewer) = &forge.reviewer
        && by.into_iter().flatten().any(|own| own == reviewer)
    {
        return format!(
            "\n**Review:** {} performed or typed this check, so somebody else must review it.\n",
            code(reviewer, SHORT)
        );
    }
    let Some(offer) = forge.offer(new) else {
        return String::new();
    };
    let mut text = format!(
        "\n**Review:** [open a filled-in review](<{}>), add the time and your decision, and commit it to this branch.\n",
        offer.url
    );
    if let Some(content) = offer.content {
        text += &format!(
            "This forge's editor opens empty; the text for {} is:\n\n{}",
            code(&offer.path, SHORT),
            fenced("toml", &content)
        );
    }
    text
}
