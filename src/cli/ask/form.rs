//! A record asked for key by key, in the order of its template.

use super::{Asked, Asker, Question, Stop, Tone};
use crate::cli::Trouble;
use crate::finding::{Finding, Severity};
use crate::parse::Disagreement;
use crate::parse::form::{Form, LeaveOut, Waiting};
use crate::record::Kind;
use crate::source::SourceError;
use crate::text::decimal;

/// What leaves a key out that does not apply.
const NOTHING: &str = "-";

/// Said on purpose where there is none.
const NONE: &[&str] = &["none", "none yet"];

/// Rows that a sound record may well lack: their first question offers to say so.
const MAY_BE_NONE: &[(Kind, &str)] = &[(Kind::Instrument, "service"), (Kind::Fluid, "bottle")];

/// Arrays of tables of which the template asks for one row only.
const ONE_ROW: &[(Kind, &str)] = &[(Kind::Instrument, "service")];

/// Optional keys that are asked for where an array of tables has come to one row only.
const OF_ONE_ROW: &[(Kind, &str, &str)] = &[(
    Kind::Fluid,
    "value",
    "temperature_coefficient_percent_per_k",
)];

/// What a book knows of a key beside its schema.
#[derive(Default)]
pub(in crate::cli) struct Known {
    /// Words that fit there.
    pub(in crate::cli) words: Vec<String>,
    /// What is told before the question; nothing where it is empty.
    pub(in crate::cli) told: String,
}

/// What a record is filled in by.
pub(in crate::cli) struct Sheet<'a> {
    pub(in crate::cli) kind: Kind,
    pub(in crate::cli) path: &'a str,
    pub(in crate::cli) template: &'a str,
    /// What the rules find in the record with this text.
    pub(in crate::cli) judge: &'a dyn Fn(&str) -> Result<Vec<Finding>, Trouble>,
    pub(in crate::cli) known: &'a dyn Fn(&Form, &str) -> Known,
}

/// What was answered: a text, and what it means as TOML writes it.
enum Answered {
    Value(String),
    LeftOut(LeaveOut),
}

impl From<Disagreement> for Trouble {
    fn from(disagreement: Disagreement) -> Trouble {
        Trouble::Ours(disagreement.to_string())
    }
}

impl From<Disagreement> for Stop {
    fn from(disagreement: Disagreement) -> Stop {
        Stop::Trouble(disagreement.into())
    }
}

/// The template's text with what a person answered, sound by all rules, and what they say of it nevertheless.
pub(in crate::cli) fn fill_in(
    asker: &mut Asker,
    sheet: &Sheet<'_>,
) -> Asked<(String, Vec<Finding>)> {
    asker.tell("Enter a value for each key; ? tells more, - leaves out what does not apply, back goes a step back, Ctrl-C stops and writes nothing. Optional keys stay in the file as remarks.");
    let mut form = Form::of(sheet.kind, sheet.path, sheet.template);
    let mut above = String::new();
    loop {
        while let Some(waiting) = form.next() {
            if waiting.above != above && !waiting.above.is_empty() {
                asker.tell(&format!("\n{}", waiting.above));
            }
            above.clone_from(&waiting.above);
            match form.columns(&waiting.pointer) {
                Some(columns) => table(asker, sheet, &mut form, &waiting, &columns)?,
                None => key(asker, sheet, &mut form, &waiting)?,
            }
            after_row(asker, sheet.kind, &mut form, &waiting.pointer)?;
        }
        let text = form.text(true);
        let findings = (sheet.judge)(&text)?;
        let errors: Vec<&Finding> = findings
            .iter()
            .filter(|finding| finding.severity == Severity::Error)
            .collect();
        if errors.is_empty() {
            return Ok((text, findings));
        }
        for error in &errors {
            asker.tell_lines(&[(Tone::Bad, format!("  {}", spoken(error)))]);
        }
        if !wake(sheet, &mut form, &errors)? {
            return Err(back_to(asker, &form, &errors));
        }
    }
}

fn spoken(finding: &Finding) -> String {
    match finding.help.trim_end_matches('.') {
        "" => finding.message.clone(),
        help => format!("{}; {help}", finding.message),
    }
}

fn key(asker: &mut Asker, sheet: &Sheet<'_>, form: &mut Form, waiting: &Waiting) -> Asked<()> {
    let pointer = waiting.pointer.as_str();
    let left_out = form.leaving_out(pointer)?;
    let known = (sheet.known)(form, pointer);
    if !known.told.is_empty() {
        asker.tell(&format!("\n{}", known.told));
    }
    let mut remarks: Vec<String> = Vec::new();
    if !waiting.remark.is_empty() {
        remarks.push(waiting.remark.clone());
    }
    if let LeaveOut::Instead(others) = &left_out {
        remarks.push(format!("- to give {} instead", others.join(" or ")));
    }
    let mut text = match remarks.is_empty() {
        true => waiting.key.clone(),
        false => format!("{} ({})", waiting.key, remarks.join("; ")),
    };
    // Where a person may say that there is none, that is no text for the key.
    let may_be_none = match &left_out {
        LeaveOut::Row(name) => MAY_BE_NONE.contains(&(sheet.kind, name)),
        LeaveOut::Key => OF_ONE_ROW.iter().any(|(_, _, key)| *key == waiting.key),
        _ => false,
    };
    if may_be_none {
        text += ", or none";
    }
    let question = Question::new(pointer, text).help(format!(
        "{} Dates are written as 2026-11-25, figures with a point or a comma, lists with commas between.",
        form.description(pointer)
    ));
    let mut ours = None;
    let mut warnings = Vec::new();
    let answer = asker.ask(&question, |typed| {
        warnings.clear();
        let read = answered(sheet, form, pointer, typed, &known.words, may_be_none);
        match read {
            Ok(Ok((answer, told))) => {
                warnings = told;
                Ok(Some((typed.to_owned(), answer)))
            }
            Ok(Err(why)) => Err(why.trim_end_matches('.').to_owned()),
            Err(trouble) => {
                ours = Some(trouble);
                Ok(None)
            }
        }
    })?;
    if let Some(trouble) = ours {
        return Err(Stop::Trouble(trouble));
    }
    match answer {
        Some((typed, Answered::Value(value))) if value.trim_matches('"') != typed => {
            asker.tell(&format!("  understood: {value}"));
        }
        Some((_, Answered::LeftOut(LeaveOut::Row(name)))) => {
            asker.tell(&format!("  understood: no [[{name}]]"));
        }
        _ => {}
    }
    for warning in warnings {
        asker.tell_lines(&[(Tone::Bad, format!("  Look: {warning}"))]);
    }
    Ok(())
}

/// Takes one answer into the form, where schema and rules have nothing against it; with what they warn of.
fn answered(
    sheet: &Sheet<'_>,
    form: &mut Form,
    pointer: &str,
    typed: &str,
    words: &[String],
    may_be_none: bool,
) -> Result<Result<(Answered, Vec<String>), String>, Trouble> {
    let none = NONE.iter().any(|word| word.eq_ignore_ascii_case(typed));
    if typed == NOTHING || (none && may_be_none) {
        return Ok(match form.leave_out(pointer)? {
            LeaveOut::Needed(why) => Err(why),
            left_out => Ok((Answered::LeftOut(left_out), Vec::new())),
        });
    }
    let mut filled = form.clone();
    let value = match filled.fill(pointer, typed, words)? {
        Ok(value) => value,
        Err(why) => return Ok(Err(why)),
    };
    let found = findings_at(sheet, &filled, pointer)?;
    if let Some(error) = found.iter().find(|one| one.severity == Severity::Error) {
        return Ok(Err(spoken(error)));
    }
    *form = filled;
    let warnings = found
        .iter()
        .filter(|one| one.severity == Severity::Warning)
        .map(spoken);
    Ok(Ok((Answered::Value(value), warnings.collect())))
}

/// What the rules say of an answer. What is not answered yet has a value that fits in its place, and what rests on that is left aside.
fn findings_at(sheet: &Sheet<'_>, form: &Form, pointer: &str) -> Result<Vec<Finding>, Trouble> {
    let mut findings = (sheet.judge)(&form.rehearsal())?;
    let below = format!("{pointer}/");
    findings.retain(|finding| {
        let at = &finding.place.pointer;
        let guessed = finding.related.iter().any(|related| {
            related.place.path == sheet.path && form.is_waiting(&related.place.pointer)
        });
        !guessed && (at == pointer || at.starts_with(&below))
    });
    Ok(findings)
}

/// A list of rows of figures, such as the corrections of a certificate, one figure after the other.
fn table(
    asker: &mut Asker,
    sheet: &Sheet<'_>,
    form: &mut Form,
    waiting: &Waiting,
    columns: &[(String, String)],
) -> Asked<()> {
    let pointer = waiting.pointer.as_str();
    let mut rows: Vec<String> = Vec::new();
    loop {
        let index = rows.len();
        let mut cells: Vec<String> = Vec::new();
        for (at, (column, description)) in columns.iter().enumerate() {
            let first = index == 0 && at == 0;
            let mut text = format!("{} {}: {column}", waiting.key, index + 1);
            if first {
                text += ", or none";
            }
            let question = Question::new(format!("{pointer}/{index}/{column}"), text).help(
                format!("{description} Say none where there are none: left open it would be taken for a slip."),
            );
            let mut ours = None;
            let cell = asker.ask(&question, |typed| {
                if first && NONE.iter().any(|word| word.eq_ignore_ascii_case(typed)) {
                    return Ok(None);
                }
                let figure = decimal::figure(typed, None).map_err(|why| match (first, typed) {
                    (true, NOTHING) => {
                        "say none where there are none, so that it is known".to_owned()
                    }
                    _ => format!("{typed} {}", why.why()),
                })?;
                // The cells that are still to come have no say yet.
                let mut row = cells.clone();
                row.push(format!("{column} = {figure}"));
                row.extend(
                    columns[at + 1..]
                        .iter()
                        .map(|(column, _)| format!("{column} = 0")),
                );
                let all = listed(&rows, &row);
                match answered(sheet, form, pointer, &all, &[], false) {
                    Ok(Ok(_)) => Ok(Some(figure)),
                    Ok(Err(why)) => Err(why.trim_end_matches('.').to_owned()),
                    Err(trouble) => {
                        ours = Some(trouble);
                        Ok(None)
                    }
                }
            })?;
            if let Some(trouble) = ours {
                return Err(Stop::Trouble(trouble));
            }
            match cell {
                Some(figure) => cells.push(format!("{column} = {figure}")),
                None => return none_of(sheet, form, pointer),
            }
        }
        rows.push(format!("{{ {} }}", cells.join(", ")));
        let more = Question::new(
            format!("{pointer}/{index}/more"),
            format!("Another row of {}?", waiting.key),
        );
        if !asker.yes_or_no(more.or("n"))? {
            return Ok(());
        }
    }
}

/// A list as TOML writes it, with one more row.
fn listed(rows: &[String], row: &[String]) -> String {
    let row = format!("{{ {} }}", row.join(", "));
    let rows: Vec<&str> = rows.iter().chain([&row]).map(String::as_str).collect();
    format!("[ {} ]", rows.join(", "))
}

fn none_of(sheet: &Sheet<'_>, form: &mut Form, pointer: &str) -> Asked<()> {
    match answered(sheet, form, pointer, "[]", &[], false)? {
        Ok(_) => Ok(()),
        Err(why) => Err(Stop::Trouble(Trouble::Ours(format!(
            "{pointer} = []: {why}"
        )))),
    }
}

/// Asks for one more row of an array of tables where a row is whole, and for what is asked of a single row.
fn after_row(asker: &mut Asker, kind: Kind, form: &mut Form, pointer: &str) -> Asked<()> {
    let name = match (form.row_left_out(pointer), form.row_done(pointer)) {
        (Some(name), _) => name,
        (None, Some(name)) => {
            let another = !ONE_ROW.contains(&(kind, &name)) && {
                let text = format!("Another row of {name}?");
                asker.yes_or_no(Question::new(format!("{pointer}/more"), text).or("n"))?
            };
            if another {
                form.add_row(&name);
                return Ok(());
            }
            name
        }
        (None, None) => return Ok(()),
    };
    form.close(&name);
    if form.rows(&name) == 1 {
        for (_, _, key) in OF_ONE_ROW
            .iter()
            .filter(|one| one.0 == kind && one.1 == name)
        {
            form.wake(&format!("/{name}/0/{key}"));
        }
    }
    Ok(())
}

/// Has an optional key asked for that would put an error of its table right; false where there is none.
fn wake(sheet: &Sheet<'_>, form: &mut Form, errors: &[&Finding]) -> Result<bool, Trouble> {
    let mut woken = false;
    for error in errors {
        for key in form.dormant(&error.place.pointer) {
            let Some(with) = form.with_sample(&key) else {
                continue;
            };
            let left = (sheet.judge)(&with.text(true))?;
            let same = |other: &Finding| other.rule == error.rule && other.message == error.message;
            if !left.iter().any(same) {
                woken |= form.wake(&key);
                break;
            }
        }
    }
    Ok(woken)
}

/// Goes back to the question that the first error rests on. Where there is none, nothing can be answered that would help.
fn back_to(asker: &mut Asker, form: &Form, errors: &[&Finding]) -> Stop {
    let filled = form.filled();
    for error in errors {
        let places = error.related.iter().map(|related| &related.place);
        let own = places.filter(|place| place.path == error.place.path);
        for place in [&error.place].into_iter().chain(own) {
            let at = &place.pointer;
            let (above, below) = (format!("{at}/"), |key: &str| {
                at.starts_with(&format!("{key}/"))
            });
            let meant = |key: &&String| *key == at || key.starts_with(&above) || below(key);
            if at.is_empty() || !filled.iter().any(|key| meant(&key)) {
                continue;
            }
            for key in filled.iter().filter(meant) {
                asker.answers.take_back_under(key);
            }
            return Stop::Again;
        }
    }
    let error = errors.first();
    Stop::Trouble(Trouble::Refused(SourceError::new(
        error.map_or_else(String::new, |error| error.message.clone()),
        format!(
            "{}. Nothing was written",
            error.map_or("", |error| error.help.trim_end_matches('.'))
        ),
    )))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::template::{Filling, fill, template};
    use crate::parse::edit::read;
    use crate::record::geometry::GeometryKind;

    #[test]
    fn what_waits_in_a_template_has_something_that_fits_in_a_rehearsal() {
        for (kind, id) in [
            (Kind::Policy, "P-1"),
            (Kind::Person, "op-01"),
            (Kind::Instrument, "VM-1"),
            (Kind::Geometry, "G-1"),
            (Kind::Fluid, "K-1"),
            (Kind::Thermometer, "TH-1"),
            (Kind::Bath, "WB-1"),
            (Kind::Nonconformity, "N-1"),
        ] {
            let word = GeometryKind::ConePlate.word();
            let mut filling = Filling::default();
            filling
                .text("id", id)
                .text("kind", word)
                .part(word, vec![String::new()]);
            let path = crate::parse::layout::path_of(kind, id);
            let form = Form::of(kind, &path, &fill(template(kind), &filling));
            let is_sound = |text: &str| read(kind, &path, text).expect("agreement").sound;
            assert!(!is_sound(&form.text(false)), "{path}");
            assert!(is_sound(&form.rehearsal()), "{}", form.rehearsal());
        }
    }
}
