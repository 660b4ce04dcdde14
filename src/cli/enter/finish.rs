//! What is left to say behind the readings, what the check comes to, and what is done with it.

use super::bench::{Bench, figure};
use super::dialogue::Ended;
use super::told::{NOTHING, Options, not_blank, spoken, words_of};
use crate::book::figures::verdict;
use crate::book::view::View;
use crate::cli::Trouble;
use crate::cli::ask::{Asked, Asker, Line, Question, Stop, Tone};
use crate::cli::rehearse::Rehearsed;
use crate::finding::{Finding, Severity};
use crate::measure::judge::JudgedPoint;
use crate::parse::parse;
use crate::parse::write::{CheckText, DeviationText};
use crate::record::check::{Check, Verdict, VoidCause};
use crate::record::person::Duty;
use crate::record::policy::ZoneName;
use crate::report::printable;
use crate::source::SourceError;
use jiff::civil::Date;
use std::rc::Rc;

/// Why it is entered days after it was performed.
pub(super) fn late(bench: &Bench, asker: &mut Asker, check: &mut CheckText) -> Asked<()> {
    if entered_late(bench, check) || asker.answers.has("late_reason") {
        let question = Question::new("late_reason", "Why is it entered only now?")
            .help("a check entered days after it was performed says why");
        check.late_reason = Some(asker.ask(&question, not_blank)?);
    }
    Ok(())
}

/// Late entries, deviations that the policy allows, and a note.
pub(super) fn rest(bench: &Bench, asker: &mut Asker, check: &mut CheckText) -> Asked<()> {
    late(bench, asker, check)?;
    let Some(rehearsed) = bench.rehearse(check)? else {
        return Ok(());
    };
    let allowed = bench
        .policy()
        .map(|policy| policy.deviation_allowed.clone())
        .unwrap_or_default();
    let mut broken: Vec<&'static str> = rehearsed
        .findings
        .iter()
        .filter(|finding| {
            finding.severity == Severity::Error && allowed.iter().any(|rule| rule == finding.rule)
        })
        .map(|finding| finding.rule)
        .collect();
    broken.dedup();
    let reviewers: Options = bench
        .book
        .people
        .sound()
        .filter(|person| {
            person.id != check.operator
                && bench.book.authorised_on(person, Duty::Review, bench.day())
        })
        .map(|person| (person.id.clone(), String::new()))
        .collect();
    for (index, rule) in broken.iter().enumerate() {
        let name = |key: &str| format!("/deviation/{index}/{key}");
        asker.tell(&format!(
            "\nThe check breaks {rule}. Policy allows that with a reason and a reviewer's consent."
        ));
        let question = Question::new(
            name("reason"),
            format!("Why may it count all the same ({rule})? - if it may not"),
        )
        .or(NOTHING);
        let reason = asker.ask(&question, not_blank)?;
        if reason == NOTHING || reviewers.is_empty() {
            continue;
        }
        let consent = asker.choose(Question::new(name("consent"), "Who consented?"), &reviewers)?;
        check.deviations.push(DeviationText {
            rule: (*rule).to_owned(),
            reason,
            consent: reviewers[consent].0.clone(),
        });
        if asker.answers.has(&name("rule")) {
            asker.ask(
                &Question::new(name("rule"), "Which rule is broken"),
                |text| match text == *rule {
                    true => Ok(()),
                    false => Err(format!("the check breaks {rule}")),
                },
            )?;
        }
    }
    let question = Question::new("note", "A note for later readers? - for none").or(NOTHING);
    let note = asker.ask(&question, not_blank)?;
    check.note = Some(note).filter(|note| note != NOTHING);
    Ok(())
}

fn entered_late(bench: &Bench, check: &CheckText) -> bool {
    let day: Option<Date> = check.performed.get(..10).and_then(|day| day.parse().ok());
    let days = bench
        .book
        .marker
        .as_ref()
        .map_or(3, |marker| marker.record.gate.late_entry_days);
    day.is_some_and(|day| crate::fleet::days_between(day, bench.wall().date()) > days)
}

/// What it comes to, and what is done with it.
pub(super) fn finish(bench: &Rc<Bench>, asker: &mut Asker, mut check: CheckText) -> Asked<Ended> {
    if asker.answers.has("void_cause") {
        void(asker, &mut check)?;
    }
    loop {
        let Some(rehearsed) = bench.rehearse(&check)? else {
            return Err(Stop::Trouble(Trouble::Ours(
                "the check has no time".to_owned(),
            )));
        };
        asker.begin_to_ask();
        summary(bench, asker, &check, &rehearsed);
        let errors: Vec<&Finding> = rehearsed
            .findings
            .iter()
            .filter(|finding| finding.severity == Severity::Error)
            .collect();
        let refused = !errors.is_empty() || rehearsed.figures.is_none();
        if !asker.is_attended() {
            for finding in &rehearsed.findings {
                if finding.severity != Severity::Notice {
                    asker.warn(&format!("{}: {}", finding.rule, finding.message));
                }
            }
            return match refused {
                false => Ok(Ended::Write(Box::new(rehearsed))),
                true => Err(Stop::Trouble(Trouble::Refused(SourceError::new(
                    "the check would be refused as it is, for what is named above",
                    "put it right, or answer void_cause and reason to keep it as evidence that never counts. Nothing was written",
                )))),
            };
        }
        let mut options: Options = Vec::new();
        if !refused {
            options.push(("write".to_owned(), "write the record".to_owned()));
        }
        options.push(("reading".to_owned(), "take another reading".to_owned()));
        options.push((
            "redo".to_owned(),
            "answer one of the questions again".to_owned(),
        ));
        if check.void_cause.is_none() {
            options.push((
                "void".to_owned(),
                "keep it as evidence that never counts: spilled, interrupted".to_owned(),
            ));
        } else {
            options.push(("count".to_owned(), "it is not void after all".to_owned()));
        }
        options.push((
            "later".to_owned(),
            "stop here; the answers are kept".to_owned(),
        ));
        options.push(("discard".to_owned(), "throw the answers away".to_owned()));
        let question = Question::new("finish", "What now?");
        let question = match refused {
            false => question.default(Some("write")),
            true => question,
        };
        let chosen = asker.choose(question.unkept(), &options)?;
        match options[chosen].0.as_str() {
            "write" => return Ok(Ended::Write(Box::new(rehearsed))),
            "later" => return Ok(Ended::Later),
            "void" => void(asker, &mut check)?,
            "count" => {
                asker.answers.take_back_under("void_cause");
                asker.answers.take_back_under("reason");
                // It may have been spoiled half-way: what was not asked then is asked now.
                return Err(Stop::Again);
            }
            "reading" => {
                let done = format!("/point/{}/speed_rpm", check.points.len());
                asker.answers.forget_under(&done);
                return Err(Stop::Again);
            }
            "discard" => {
                let sure = Question::new("discard", "Throw all answers away?").default(Some("n"));
                if asker.yes_or_no(sure.unkept())? {
                    asker.answers.forget();
                    return Ok(Ended::Later);
                }
            }
            _ => redo(asker)?,
        }
    }
}

pub(super) fn void(asker: &mut Asker, check: &mut CheckText) -> Asked<()> {
    let causes = words_of(&[
        (VoidCause::Procedure, "something went wrong in the doing"),
        (
            VoidCause::Instrument,
            "the instrument was at fault; it then needs a repeat",
        ),
        (
            VoidCause::IncompleteSource,
            "the sheet it comes from lacks something",
        ),
    ]);
    let index = asker.choose(Question::new("void_cause", "Why is it void?"), &causes)?;
    check.void_cause = Some(causes[index].0.clone());
    check.reason = Some(asker.ask(
        &Question::new("reason", "In a few words, what happened"),
        not_blank,
    )?);
    Ok(())
}

fn redo(asker: &mut Asker) -> Asked<()> {
    let names = asker.answers.names();
    let options: Options = names
        .into_iter()
        .map(|(name, text)| (name, printable(&text)))
        .collect();
    let chosen = asker.choose(Question::new("redo", "Which?").unkept(), &options)?;
    asker.answers.take_back_under(&options[chosen].0);
    Err(Stop::Again)
}

/// What the check comes to, as it would be written.
fn summary(bench: &Bench, asker: &mut Asker, check: &CheckText, rehearsed: &Rehearsed) {
    if !asker.is_attended() {
        return;
    }
    let told = parsed(bench, rehearsed, |view| {
        let mut lines: Vec<Line> = vec![(
            Tone::Plain,
            format!(
                "\n{} on {} with {}, {}",
                bench.instrument,
                view.check.performed,
                check.fluid,
                check.geometry.as_deref().unwrap_or("no geometry")
            ),
        )];
        let Some(judgement) = &view.judgement else {
            return lines;
        };
        for (point, written) in judgement.points.iter().zip(&view.check.points) {
            let word = point
                .verdict
                .map_or("no verdict", |verdict| Verdict::from(verdict).word());
            let reading = match (&written.shown, &point.reading_mpa_s) {
                (Some(shown), _) => shown.word().to_owned(),
                (None, Some(reading)) => format!("{} mPa.s", figure(reading)),
                (None, None) => "no reading".to_owned(),
            };
            let limits = limits(point);
            let zone = point
                .zone
                .map_or("no zone", |zone| ZoneName::from(zone).word());
            let off = point
                .deviation_percent
                .as_ref()
                .map_or(String::new(), |off| {
                    format!(", {} %", off.to_fixed_string(2))
                });
            let good = point.verdict.is_some_and(|verdict| !verdict.is_fail());
            lines.push((
                if good { Tone::Good } else { Tone::Bad },
                format!(
                    "  {} rpm, {zone}: {reading}{off}; {limits}: {word}",
                    written.speed_rpm
                ),
            ));
        }
        if let Some(verdict) = verdict(view) {
            lines.push((Tone::Plain, format!("Verdict: {}", verdict.word())));
        }
        lines
    });
    asker.tell_lines(&told.unwrap_or_default());
    let findings: Vec<Line> = rehearsed
        .findings
        .iter()
        .filter(|finding| finding.severity != Severity::Notice)
        // Who reviews a check that is not written yet is nobody's question now.
        .filter(|finding| !finding.rule.starts_with("review"))
        .map(spoken)
        .collect();
    asker.tell_lines(&findings);
    let broken = rehearsed
        .findings
        .iter()
        .filter(|finding| finding.severity == Severity::Error);
    let mut names: Vec<&str> = broken.map(|finding| finding.rule).collect();
    names.dedup();
    if let Some(name) = names.first() {
        asker.tell(&format!("  shearbook explain {name} tells why."));
    }
}

/// The limits that judge a point, in words.
fn limits(point: &JudgedPoint) -> String {
    let Some(limits) = point.limits_that_judge() else {
        return "no limits".to_owned();
    };
    let which = match point.guarded {
        Some(_) => "acceptance limits",
        None => "limits",
    };
    format!(
        "{which} {} to {}",
        figure(&limits.lower),
        figure(&limits.upper)
    )
}

/// Sees the check as it would be written.
fn parsed<T>(bench: &Bench, rehearsed: &Rehearsed, see: impl FnOnce(&View<'_>) -> T) -> Option<T> {
    let parsed = parse::<Check>(&rehearsed.path, rehearsed.text.clone().into_bytes()).ok()?;
    let (doc, check) = (parsed.doc?, parsed.record?);
    let id = rehearsed.path.trim_end_matches(".toml");
    let (_, id) = id.split_once('/')?;
    let (_, id) = id.split_once('/')?;
    Some(see(&View::of(&bench.book, &doc, &check, id)?))
}
