//! The readings: speed, torque, viscosity and temperature, with what they come to while they are typed.

use super::bench::{Bench, Typing, came_to, live};
use super::offers::Offer;
use super::told::{NOTHING, Options, tell_findings};
use crate::cli::ask::{Asked, Asker, Question, Stop};
use crate::measure::Exact;
use crate::parse::write::{CheckText, PointText};
use crate::record::Word;
use crate::record::check::Shown;
use crate::record::instrument::Speeds;
use std::rc::Rc;

fn speeds_word(bench: &Bench) -> String {
    match bench.record().map(|record| &record.speeds) {
        Some(Speeds::These(speeds)) => {
            let speeds: Vec<String> = speeds.iter().map(ToString::to_string).collect();
            format!("it has {} rpm", speeds.join(", "))
        }
        Some(Speeds::Between(slow, fast)) => format!("any from {slow} to {fast} rpm"),
        None => String::new(),
    }
}

/// The first planned speed that nothing was read at.
fn next_planned(offer: &Offer, check: &CheckText) -> Option<String> {
    let read: Vec<Option<Exact>> = check
        .points
        .iter()
        .map(|point| Exact::parse(&point.speed_rpm))
        .collect();
    let mut planned = offer.speeds_rpm.iter();
    planned
        .find(|speed| !read.contains(&Exact::parse(speed)))
        .cloned()
}

pub(super) fn points(
    bench: &Rc<Bench>,
    asker: &mut Asker,
    check: &mut CheckText,
    offer: &Offer,
) -> Asked<()> {
    const DONE: &str = "done";
    let mut index = 0;
    loop {
        let name = |key: &str| format!("/point/{index}/{key}");
        let planned = next_planned(offer, check);
        let text = match (&planned, index) {
            (Some(_), 0) => "Reading 1: speed in rpm".to_owned(),
            (None, 0) => "Reading 1: speed in rpm".to_owned(),
            _ => format!("Reading {}: speed in rpm, or done", index + 1),
        };
        check.points.push(PointText::default());
        asker.tell("");
        let question = Question::new(name("speed_rpm"), text)
            .help(format!(
                "as set; the same speed again is a replicate; {}",
                speeds_word(bench)
            ))
            .live(live(bench, check, Typing::Speed));
        let question = match (planned, index) {
            (Some(speed), _) if asker.is_attended() => question.default(Some(speed)),
            (_, 0) => question,
            _ => question.or(DONE),
        };
        let words: &[&str] = if index > 0 { &[DONE] } else { &[] };
        let speed = asker.figure_or(&question, words, |_| Ok(()))?;
        if speed == DONE {
            check.points.pop();
            return Ok(());
        }
        let stand_in = PointText {
            speed_rpm: speed.clone(),
            ..bench.stand_in(check)
        };
        if let Some(point) = check.points.last_mut() {
            *point = stand_in;
        }
        if tell_findings(bench, asker, check, &[&name("speed_rpm")])? {
            keep_or_again(asker, &format!("/point/{index}"), "speed_keep", index)?;
        }
        if let Some(point) = check.points.last_mut() {
            *point = PointText {
                speed_rpm: speed,
                ..PointText::default()
            };
        }
        reading(bench, asker, check, &name)?;
        let pointer = format!("/point/{index}");
        if let Some((tone, line)) = came_to(bench, check) {
            asker.tell_came_to(tone, &line);
        }
        let warned = tell_findings(bench, asker, check, &[&pointer, "/fluid"])?;
        if warned {
            keep_or_again(asker, &pointer, "keep", index)?;
        }
        index += 1;
    }
}

/// Torque, viscosity and temperature of the last point.
fn reading(
    bench: &Rc<Bench>,
    asker: &mut Asker,
    check: &mut CheckText,
    name: &dyn Fn(&str) -> String,
) -> Asked<()> {
    let alone = !asker.is_attended();
    let unless = |question: Question| match alone {
        true => question.or(NOTHING),
        false => question,
    };
    if asker.answers.has(&name("shown")) {
        let shown = asker.ask(
            &Question::new(name("shown"), "What it showed instead of a figure"),
            |text| {
                Shown::from_word(text)
                    .map(|_| text.to_owned())
                    .ok_or_else(|| format!("{text} is none of over-range, nothing, unstable"))
            },
        )?;
        if let Some(point) = check.points.last_mut() {
            point.shown = Some(shown);
        }
        return temperature(bench, asker, check, name);
    }
    let question = unless(
        Question::new(name("torque_percent"), "  torque shown, %")
            .help("as shown, with all its digits; - where it shows none; over-range, nothing or unstable where there is no figure to read")
            .live(live(bench, check, Typing::Torque)),
    );
    let mut words = vec![NOTHING];
    words.extend(Shown::ALL.iter().map(|(word, _)| *word));
    let torque = asker.figure_or(&question, &words, |_| Ok(()))?;
    if Shown::from_word(&torque).is_some() {
        if let Some(point) = check.points.last_mut() {
            point.shown = Some(torque);
        }
        return temperature(bench, asker, check, name);
    }
    if let Some(point) = check.points.last_mut() {
        point.torque_percent = Some(torque.clone()).filter(|text| text != NOTHING);
    }
    let question = unless(
        Question::new(name("viscosity_mpa_s"), "  viscosity shown, mPa.s (cP)")
            .help("as shown, with all its digits; - where it shows torque alone")
            .live(live(bench, check, Typing::Viscosity)),
    );
    let viscosity = asker.figure_or(&question, &[NOTHING], |meant| {
        if meant == NOTHING && torque == NOTHING {
            return Err("one of the two is needed: what the instrument showed".to_owned());
        }
        match meant != NOTHING && meant.starts_with('-') {
            true => Err(format!("{meant} is under zero; a viscosity is not")),
            false => Ok(()),
        }
    })?;
    if let Some(point) = check.points.last_mut() {
        point.viscosity_mpa_s = Some(viscosity).filter(|text| text != NOTHING);
    }
    temperature(bench, asker, check, name)
}

fn temperature(
    bench: &Rc<Bench>,
    asker: &mut Asker,
    check: &mut CheckText,
    name: &dyn Fn(&str) -> String,
) -> Asked<()> {
    let question = Question::new(name("temperature_c"), "  temperature shown, \u{b0}C")
        .help("as the thermometer shows it, uncorrected, with all its digits")
        .live(live(bench, check, Typing::Temperature));
    let figure = asker.figure_or(&question, &[], |_| Ok(()))?;
    if let Some(point) = check.points.last_mut() {
        point.temperature_c = Some(figure);
    }
    Ok(())
}

/// After a warning: it was read so, or it is read once more.
fn keep_or_again(asker: &mut Asker, pointer: &str, name: &str, index: usize) -> Asked<()> {
    let options: Options = vec![
        ("keep".to_owned(), "it was read so".to_owned()),
        (
            "again".to_owned(),
            "typed wrong: answer this reading again".to_owned(),
        ),
    ];
    let question = Question::new(
        format!("{pointer}/{name}"),
        format!("Reading {}:", index + 1),
    )
    .or("keep");
    match asker.choose(question, &options)? {
        0 => Ok(()),
        _ => {
            asker.answers.forget_under(pointer);
            Err(Stop::Again)
        }
    }
}
