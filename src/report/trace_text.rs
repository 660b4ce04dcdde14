//! What rests on a record, and one check with its window, for people.

use super::table::{plural, table};
use super::{fleet_text, printable, wrapped};
use crate::fleet::trace::{
    Bias, Ground, Group, OfCheck, OfFact, Role, Row, Trace, Window, ZoneBias,
};
use crate::fleet::{Fleet, Uncounted};
use crate::measure::{Exact, PERCENT_PLACES};
use crate::record::Kind;
use crate::record::check::Verdict;
use crate::record::nonconformity::Nonconformity;
use crate::record::policy::ZoneName;

const RESULTS: &str = "The book holds checks and no results. What was measured with these instruments, and whether it stands, the laboratory must find and evaluate itself.";
const DAY: &str = "A check says how an instrument reads on its day. This list does not replace the evaluation by the laboratory's responsible people.";

/// Every line fits the width.
pub fn render(fleet: &Fleet<'_>, trace: &Trace<'_>, asked: &str, width: usize) -> String {
    let page = Page { fleet, width };
    match trace {
        Trace::Fact(of) => page.fact(of),
        Trace::Check(of) => page.check(of, asked),
    }
}

/// One fact a line, for screen readers.
pub fn plain(fleet: &Fleet<'_>, trace: &Trace<'_>, asked: &str) -> String {
    let page = Page {
        fleet,
        width: usize::MAX,
    };
    match trace {
        Trace::Fact(of) => page.plain_fact(of),
        Trace::Check(of) => page.plain_check(of, asked),
    }
}

struct Page<'a> {
    fleet: &'a Fleet<'a>,
    width: usize,
}

/// What is traced, as a sentence names it.
fn name(of: &OfFact<'_>) -> String {
    let bottle = of.fact.bottle.as_ref();
    let bottle = bottle.map(|bottle| format!(", bottle {bottle}"));
    let noun = of.fact.kind.noun();
    format!("{noun} {}{}", of.fact.id, bottle.unwrap_or_default())
}

fn verdict(row: &Row<'_>) -> String {
    row.facts.verdict.map_or("none", Verdict::word).to_owned()
}

fn counts(row: &Row<'_>) -> String {
    match row.why_not {
        None => "yes".to_owned(),
        Some(why) => format!("no, {}", in_words(why)),
    }
}

fn in_words(why: Uncounted) -> &'static str {
    match why {
        Uncounted::Amended => "amended",
        Uncounted::WithErrors => "has errors",
        Uncounted::Rejected => "rejected",
        Uncounted::Void => "void",
    }
}

fn role(role: Role) -> &'static str {
    match role {
        Role::EnteredBy => "typed",
        Role::AmendedBy => "amended",
        Role::Reviewer => "reviewed",
        Role::Consent => "consented",
        Role::Operator => "operator",
        other => other.word(),
    }
}

fn roles(row: &Row<'_>) -> String {
    let words: Vec<&str> = row.roles.iter().copied().map(role).collect();
    words.join(", ")
}

fn fits(group: &Group<'_>) -> String {
    match group.member {
        Some(member) => member.state.word().replace('-', " "),
        None => "no such record".to_owned(),
    }
}

/// How many there are, what they come to, and why some do not count.
fn summary(of: &OfFact<'_>) -> String {
    let between = match (of.since, of.until) {
        (None, None) => String::new(),
        (Some(since), None) => format!(" performed from {since} on"),
        (None, Some(until)) => format!(" performed up to {until}"),
        (Some(since), Some(until)) => format!(" performed from {since} to {until}"),
    };
    let person = of.fact.kind == Kind::Person;
    let (Some(first), Some(last)) = (of.rows.first(), of.rows.last()) else {
        let rests = if person {
            "names this person"
        } else {
            "rests on it"
        };
        return format!("No check{between} {rests}.");
    };
    let of_all = |holds: &dyn Fn(&Row<'_>) -> bool| of.rows.iter().filter(|row| holds(row)).count();
    let verb = match (of.rows.len(), person) {
        (1, false) => "rests on it",
        (_, false) => "rest on it",
        (1, true) => "names this person",
        (_, true) => "name this person",
    };
    let pass = of_all(&|row| row.counts() && row.passed());
    let fail = of_all(&|row| row.counts() && row.failed());
    let why: Vec<String> = [
        Uncounted::Void,
        Uncounted::Amended,
        Uncounted::Rejected,
        Uncounted::WithErrors,
    ]
    .into_iter()
    .map(|why| (why, of_all(&|row| row.why_not == Some(why))))
    .filter(|(_, count)| *count > 0)
    .map(|(why, count)| format!("{count} {}", in_words(why).replace("has", "with")))
    .collect();
    let not = match why.is_empty() {
        true => String::new(),
        false => format!("; not counted: {}", why.join(", ")),
    };
    format!(
        "{}{between}, of {}, {verb}, from {} to {}: {pass} pass, {fail} fail{not}.",
        plural(of.rows.len(), "check"),
        plural(of.instruments.len(), "instrument"),
        first.session.date,
        last.session.date,
    )
}

/// Whether the calibrations of a thermometer covered what was measured with it.
fn coverage(of: &OfFact<'_>) -> Option<String> {
    if of.fact.kind != Kind::Thermometer || of.rows.is_empty() {
        return None;
    }
    let uncovered = of
        .rows
        .iter()
        .filter(|row| row.calibration_covers == Some(false));
    let ids: Vec<&str> = uncovered.map(|row| row.id).collect();
    let known = of.rows.iter().all(|row| row.calibration_covers.is_some());
    Some(match (known, ids.len()) {
        (false, _) => {
            "Whether its calibration covered them is not known: its file has errors.".to_owned()
        }
        (true, 0) => "A calibration of it covered every one of them.".to_owned(),
        (true, count) => format!(
            "No calibration of it covered {}: {}.",
            plural(count, "check"),
            ids.join(", ")
        ),
    })
}

/// What to do where the record cannot be relied on.
fn next(of: &OfFact<'_>) -> Option<String> {
    let other = match of.fact.kind {
        Kind::Fluid if of.fact.bottle.is_some() => "another bottle or lot",
        Kind::Fluid => "another lot",
        Kind::Thermometer => "another thermometer",
        Kind::Bath => "another bath",
        Kind::Geometry => "another geometry",
        Kind::Person => "another person",
        _ => return None,
    };
    let some = of.instruments.iter().any(|group| group.rests);
    some.then(|| {
        format!(
            "Next: if it cannot be relied on, check these instruments anew with {other} before they are used again, and evaluate what was measured with them since the first check above."
        )
    })
}

impl Page<'_> {
    fn wrapped(&self, text: &str, first: &str, rest: &str) -> String {
        wrapped(&printable(text), self.width, first, rest)
    }

    fn laboratory(&self) -> String {
        let marker = self.fleet.book.marker.as_ref();
        let name = marker.map(|marker| format!(", {}", marker.laboratory));
        name.unwrap_or_default()
    }

    fn title(&self, of: &OfFact<'_>) -> String {
        let laboratory = self.laboratory();
        format!(
            "What rests on {}, as of {}{laboratory}",
            name(of),
            self.fleet.as_of
        )
    }

    fn fact(&self, of: &OfFact<'_>) -> String {
        let mut text = self.wrapped(&self.title(of), "", "  ");
        text += &self.wrapped(&summary(of), "", "  ");
        text += &coverage(of).map_or(String::new(), |said| self.wrapped(&said, "", "  "));
        let resting: Vec<&Group<'_>> = of.instruments.iter().filter(|group| group.rests).collect();
        if !of.instruments.is_empty() {
            text.push('\n');
            text += &self.instruments(of);
        }
        if !resting.is_empty() {
            text += &format!("\nFitness on {} rests on these checks\n", self.fleet.as_of);
            for group in resting {
                text += &self.wrapped(&fitness(group), "- ", "  ");
            }
            text += &next(of).map_or(String::new(), |next| self.wrapped(&next, "", "  "));
        }
        if !of.rows.is_empty() {
            text += "\nThe checks, in order of time\n";
            text += &self.checks(of);
        }
        if !of.mentions.is_empty() {
            text += "\nOther records about it\n";
            for mention in &of.mentions {
                text += &self.wrapped(
                    &format!(
                        "{} ({}, line {})",
                        mention.says, mention.place.path, mention.place.line
                    ),
                    "- ",
                    "  ",
                );
            }
        }
        text.push('\n');
        text += &self.cautions(RESULTS);
        text
    }

    fn cautions(&self, first: &str) -> String {
        let mut text = String::new();
        if let Some(errors) = fleet_text::errors(self.fleet) {
            text += &self.wrapped(&errors, "", "");
        }
        text += &self.wrapped(first, "", "");
        text += &self.wrapped(DAY, "", "");
        text
    }

    fn instruments(&self, of: &OfFact<'_>) -> String {
        // First where it matters today.
        let mut groups: Vec<&Group<'_>> = of.instruments.iter().collect();
        groups.sort_by_key(|group| !group.rests);
        let rows: Vec<Vec<String>> = groups
            .into_iter()
            .map(|group| {
                vec![
                    group.id.to_owned(),
                    group.checks.to_string(),
                    group.pass.to_string(),
                    group.fail.to_string(),
                    group.uncounted().to_string(),
                    group.first.to_string(),
                    group.last.to_string(),
                    if group.rests { "yes" } else { "no" }.to_owned(),
                ]
            })
            .collect();
        let heads = [
            "instrument",
            "checks",
            "pass",
            "fail",
            "not counted",
            "first",
            "last",
            "last pass",
        ];
        table(&heads, &rows, self.width)
    }

    fn checks(&self, of: &OfFact<'_>) -> String {
        let more = match of.fact.kind {
            Kind::Person => Some("as"),
            Kind::Fluid if of.fact.bottle.is_none() => Some("bottle"),
            Kind::Thermometer => Some("calibration"),
            _ => None,
        };
        let rows: Vec<Vec<String>> = of
            .rows
            .iter()
            .map(|row| {
                let mut cells = vec![row.id.to_owned(), verdict(row), counts(row)];
                cells.extend(more.map(|more| match more {
                    "as" => roles(row),
                    "bottle" => row.session.bottle.as_deref().unwrap_or("-").to_owned(),
                    _ => match row.calibration_covers {
                        Some(true) => "covers it".to_owned(),
                        Some(false) => "does not cover it".to_owned(),
                        None => "not known".to_owned(),
                    },
                }));
                cells
            })
            .collect();
        let heads: Vec<&str> = ["check", "verdict", "counts"]
            .into_iter()
            .chain(more)
            .collect();
        table(&heads, &rows, self.width)
    }

    fn plain_fact(&self, of: &OfFact<'_>) -> String {
        let mut text = format!("{}\n{}\n", self.title(of), summary(of));
        for line in coverage(of).iter().chain(&fleet_text::errors(self.fleet)) {
            text += &format!("{line}\n");
        }
        for group in &of.instruments {
            text += &format!("instrument {}: {}\n", group.id, fits(group));
            text += &format!("checks: {}\n", group.checks);
            text += &format!("first: {}\nlast: {}\n", group.first, group.last);
            text += &format!("pass: {}\nfail: {}\n", group.pass, group.fail);
            text += &format!("not counted: {}\n", group.uncounted());
            let rests = if group.rests { "yes" } else { "no" };
            text += &format!("its last counted pass is among them: {rests}\n");
        }
        for row in &of.rows {
            text += &format!("check {}: {}\n", row.id, verdict(row));
            text += &format!("counts: {}\n", counts(row));
            text += &format!("as: {}\n", roles(row));
        }
        for mention in &of.mentions {
            text += &format!(
                "record: {}, {}, line {}\n",
                mention.says, mention.place.path, mention.place.line
            );
        }
        printable_lines(&format!("{text}{RESULTS}\n{DAY}\n"))
    }
}

/// As [`printable`], of a text of several lines.
fn printable_lines(text: &str) -> String {
    text.lines().map(|line| printable(line) + "\n").collect()
}

fn fitness(group: &Group<'_>) -> String {
    let Some(member) = group.member else {
        return group.id.to_owned();
    };
    let may = match member.usable {
        true => "may be used",
        false => "may not be used",
    };
    let pass = member.last_pass.map_or("none", |pass| pass.id);
    format!(
        "{}, {}, {may}: its last pass that counts is {pass}",
        group.id,
        member.state.word().replace('-', " ")
    )
}

/// What became of a check.
fn ended(row: &Row<'_>) -> String {
    let day = row.session.date;
    match row.facts.verdict {
        None => format!("was performed on {day} and has no verdict, since a figure cannot be had"),
        Some(Verdict::Pass) => format!("passed on {day}"),
        Some(Verdict::ConditionalPass) => format!("passed conditionally on {day}"),
        Some(Verdict::Fail) => format!("failed on {day}"),
        Some(Verdict::ConditionalFail) => format!("failed conditionally on {day}"),
        Some(Verdict::Void) => {
            let cause = row.facts.void_cause;
            let cause = cause.map(|cause| format!(", for the cause {}", cause.word()));
            format!(
                "was performed on {day} and is void{}",
                cause.unwrap_or_default()
            )
        }
    }
}

/// Whether it counts, and what that means for its instrument today.
fn standing(fleet: &Fleet<'_>, row: &Row<'_>) -> String {
    let instrument = &row.session.instrument;
    match row.why_not {
        None if row.is_last_pass => format!(
            "It counts, and is the last pass of {instrument} that does: on {} its fitness rests on this check.",
            fleet.as_of
        ),
        None => "It counts.".to_owned(),
        Some(Uncounted::Void) => "A void check is kept as evidence and never counts.".to_owned(),
        Some(Uncounted::Amended) => "It does not count: an amendment stands in its place.".to_owned(),
        Some(Uncounted::Rejected) => "It does not count: a reviewer's rejection stands.".to_owned(),
        Some(Uncounted::WithErrors) => {
            "It does not count: it has errors, or rests on a file that has; shearbook validate tells them.".to_owned()
        }
    }
}

/// `2.54 % too low, 0.64 % of the range`.
fn off(bias: &Bias) -> String {
    let size = |value: &Exact| value.abs().to_fixed_string(PERCENT_PLACES);
    let silent = match (bias.without_figure, bias.speeds) {
        (0, _) => String::new(),
        (some, all) if some == all => return "it showed no figure".to_owned(),
        (some, all) => format!(", and no figure at {some} of {all} speeds"),
    };
    let Some(deviation) = &bias.deviation_percent else {
        return format!("its figures cannot be had{silent}");
    };
    let way = match (deviation.is_zero(), deviation.is_negative()) {
        (true, _) => "as the reference".to_owned(),
        (false, low) => format!(
            "{} % too {}",
            size(deviation),
            if low { "low" } else { "high" }
        ),
    };
    let range = bias.deviation_of_range_percent.as_ref();
    let range = range.map(|range| format!(", {} % of the range", size(range)));
    format!("it read {way}{}{silent}", range.unwrap_or_default())
}

fn in_zone(bias: &ZoneBias) -> String {
    let zone = match bias.zone {
        Some(zone) => format!("In the {} zone", ZoneName::from(zone).word()),
        None => "Outside the zones".to_owned(),
    };
    let limits = match bias.failed.verdict {
        Some(Verdict::Pass) => ", inside its limits".to_owned(),
        Some(Verdict::Fail) => ", outside its limits".to_owned(),
        Some(other) => format!(", {}", other.word()),
        None => String::new(),
    };
    let before = match &bias.last_good {
        Some(good) => format!("; at the last good check {}", off(good)),
        None => String::new(),
    };
    format!("{zone} {}{limits}{before}", off(&bias.failed))
}

/// Since when, beside what.
fn since(row: &Row<'_>, window: &Window<'_>) -> String {
    let instrument = &row.session.instrument;
    let Some(good) = &window.last_good else {
        let calibrated = window
            .last_calibration
            .map(|day| format!(" Its last full calibration before it is of {day}."));
        return format!(
            "The book holds no pass of {instrument} before it that counts.{}",
            calibrated.unwrap_or_default()
        );
    };
    let days = match window.days.unwrap_or(0) {
        0 => "the same day".to_owned(),
        1 => "the day before".to_owned(),
        days => format!("{days} days before"),
    };
    let mut text = format!(
        "The last pass of {instrument} before it that counts is {} of {}, {days}.",
        good.id, good.session.date
    );
    let (one, other) = (good.session, row.session);
    let mut otherwise = Vec::new();
    if one.geometry != other.geometry {
        let geometry = one.geometry.as_deref().unwrap_or("none");
        otherwise.push(format!("geometry {geometry}"));
    }
    if one.fluid != other.fluid {
        otherwise.push(format!("fluid lot {}", one.fluid));
    }
    if !otherwise.is_empty() {
        text += &format!(
            " That one was made with {}, so the two are not quite alike.",
            otherwise.join(" and ")
        );
    }
    text
}

/// Which results may be wrong.
fn affected(row: &Row<'_>, window: &Window<'_>) -> String {
    let instrument = &row.session.instrument;
    let to = row.session.date;
    let from = match &window.last_good {
        Some(good) => format!("from {} to {to}", good.session.date),
        None => format!("up to {to}, as far back as nothing else vouches for it"),
    };
    format!(
        "Every result measured with {instrument} {from} may be off by as much, and any since then where it was still used. The book holds no results: the laboratory must find them and evaluate each."
    )
}

/// What was done to the instrument in the window.
fn changed(window: &Window<'_>) -> Vec<String> {
    let changes = window.changes.iter();
    changes
        .map(|change| format!("{} on {}", change.what, change.day))
        .collect()
}

fn followed(row: &Row<'_>, window: &Window<'_>) -> Vec<String> {
    let mut said = Vec::new();
    for repeat in &window.repeats {
        let not = repeat
            .why_not
            .map(|why| format!(" (does not count: {})", in_words(why)));
        said.push(format!(
            "repeat {} of {}: {}{}",
            repeat.id,
            repeat.session.date,
            verdict(repeat),
            not.unwrap_or_default()
        ));
    }
    if window.repeats.is_empty() {
        said.push("no repeat of it has followed".to_owned());
    }
    said.push(match &window.next_pass {
        Some(pass) => format!(
            "the next pass of {} that counts is {} of {}",
            row.session.instrument, pass.id, pass.session.date
        ),
        None => format!(
            "no pass of {} that counts has followed",
            row.session.instrument
        ),
    });
    said
}

impl Page<'_> {
    fn names_it(&self, of: &OfCheck<'_>) -> Vec<String> {
        let decided = |record: &Nonconformity| {
            let outcome = record.outcome.as_ref();
            let outcome = outcome.filter(|outcome| outcome.date <= self.fleet.as_of);
            match outcome {
                Some(outcome) => format!("decided by {} on {}", outcome.by, outcome.date),
                None => "not decided yet".to_owned(),
            }
        };
        let mut said: Vec<String> = of
            .nonconformities
            .iter()
            .map(|record| format!("nonconformity {} names it, {}", record.id, decided(record)))
            .collect();
        if said.is_empty() && of.window.is_some() {
            said.push("no nonconformity names it".to_owned());
        }
        said
    }

    fn head(&self, of: &OfCheck<'_>, asked: &str) -> Vec<String> {
        let row = &of.row;
        let laboratory = self.laboratory();
        let mut said = vec![
            format!("Check {}, as of {}{laboratory}", row.id, self.fleet.as_of),
            format!("It {}. {}", ended(row), standing(self.fleet, row)),
        ];
        let is_asked = asked == row.id || asked.ends_with(&format!("{}.toml", row.id));
        if !is_asked {
            said.push(format!(
                "It stands in place of {asked}, which it amends; what follows is told of it."
            ));
        }
        said
    }

    fn check(&self, of: &OfCheck<'_>, asked: &str) -> String {
        let row = &of.row;
        let mut text = String::new();
        for line in self.head(of, asked) {
            text += &self.wrapped(&line, "", "  ");
        }
        let list = |lines: &[String]| -> String {
            let lines = lines.iter().map(|line| self.wrapped(line, "- ", "  "));
            lines.collect()
        };
        if let Some(window) = &of.window {
            text += &self.wrapped(&since(row, window), "", "  ");
            text += "\nHow it read, against the reference\n";
            let zones: Vec<String> = window.zones.iter().map(in_zone).collect();
            text += &list(&zones);
            text += "\nWhat may be affected\n";
            text += &self.wrapped(&affected(row, window), "", "");
            text += "\nIn between\n";
            text += &self.between(of, window);
            text += &list(&changed(window));
            text += "\nWhat followed\n";
            let mut said = followed(row, window);
            said.extend(self.names_it(of));
            text += &list(&said);
        } else if !of.nonconformities.is_empty() {
            text.push('\n');
            text += &list(&self.names_it(of));
        }
        text += "\nWhat its verdict rests on\n";
        let grounds: Vec<String> = of.grounds.iter().map(ground).collect();
        text += &list(&grounds);
        text.push('\n');
        if let Some(errors) = fleet_text::errors(self.fleet) {
            text += &self.wrapped(&errors, "", "");
        }
        text += &self.wrapped(DAY, "", "");
        text
    }

    fn between(&self, of: &OfCheck<'_>, window: &Window<'_>) -> String {
        if window.between.is_empty() {
            return match window.last_good {
                Some(_) => "No other check lies between the two.\n".to_owned(),
                None => "No other check lies before it.\n".to_owned(),
            };
        }
        let other = |own: Option<&str>, failed: Option<&str>| match own == failed {
            true => "same".to_owned(),
            false => own.unwrap_or("none").to_owned(),
        };
        let failed = of.row.session;
        let rows: Vec<Vec<String>> = window
            .between
            .iter()
            .map(|row| {
                vec![
                    row.id.to_owned(),
                    verdict(row),
                    counts(row),
                    other(row.session.geometry.as_deref(), failed.geometry.as_deref()),
                    other(Some(&row.session.fluid), Some(&failed.fluid)),
                ]
            })
            .collect();
        let heads = ["check", "verdict", "counts", "geometry", "fluid"];
        table(&heads, &rows, self.width)
    }

    fn plain_check(&self, of: &OfCheck<'_>, asked: &str) -> String {
        let mut lines = self.head(of, asked);
        if let Some(window) = &of.window {
            lines.push(since(&of.row, window));
            lines.extend(window.zones.iter().map(in_zone));
            lines.push(affected(&of.row, window));
            for row in &window.between {
                lines.push(format!(
                    "in between: {}, {}, counts: {}",
                    row.id,
                    verdict(row),
                    counts(row)
                ));
            }
            let changes = changed(window).into_iter();
            lines.extend(changes.map(|change| format!("in between: {change}")));
            lines.extend(followed(&of.row, window));
        }
        lines.extend(self.names_it(of));
        let grounds = of.grounds.iter().map(ground);
        lines.extend(grounds.map(|ground| format!("rests on {ground}")));
        lines.extend(fleet_text::errors(self.fleet));
        lines.push(DAY.to_owned());
        lines.iter().map(|line| printable(line) + "\n").collect()
    }
}

fn ground(ground: &Ground) -> String {
    format!(
        "{}: {} ({}, line {})",
        ground.what, ground.says, ground.place.path, ground.place.line
    )
}
