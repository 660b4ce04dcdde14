//! The check, asked for in the order of the work: who, what, level, zero, soak, points.

use super::bench::{Bench, figure};
use super::finish::{finish, late, rest, void};
use super::offers::{Offer, offers};
use super::points::points;
use super::told::{NOTHING, Options, tell_findings, words_of};
use crate::book::view::standing_at;
use crate::book::zone::NoInstant;
use crate::cli::Trouble;
use crate::cli::ask::{Asked, Asker, Question, Stop, moment};
use crate::cli::rehearse::Rehearsed;
use crate::fleet::plan::stock::Stock;
use crate::parse::layout::check_path;
use crate::parse::write::{CheckText, time};
use crate::record::check::{Condition, Occasion};
use crate::record::fluid::Fluid;
use crate::record::geometry::{GeometryKind, Guard};
use crate::record::person::Duty;
use crate::record::policy::Confirm;
use crate::record::{Number, Stamp, State};
use crate::source::{Source, SourceError};
use std::collections::BTreeSet;
use std::rc::Rc;

/// What a dialogue ends with.
pub(super) enum Ended {
    /// The check, sealed and not refused.
    Write(Box<Rehearsed>),
    /// Left for later; the answers are kept.
    Later,
}

pub(super) fn dialogue(bench: &Rc<Bench>, asker: &mut Asker) -> Asked<Ended> {
    let mut check = CheckText {
        instrument: bench.instrument.clone(),
        performed: time(&Stamp {
            wall: bench.wall(),
            offset_minutes: None,
        }),
        ..CheckText::default()
    };
    *bench.certified_c.borrow_mut() = None;
    match work(bench, asker, &mut check) {
        Ok(()) => {}
        // Spoiled on the way: it is kept as far as it came.
        Err(Stop::Void) => {
            asker.may_void = false;
            void(asker, &mut check)?;
            late(bench, asker, &mut check)?;
            if check
                .points
                .last()
                .is_some_and(|point| point.temperature_c.is_none())
            {
                check.points.pop();
            }
        }
        Err(stop) => return Err(stop),
    }
    finish(bench, asker, check)
}

fn work(bench: &Rc<Bench>, asker: &mut Asker, check: &mut CheckText) -> Asked<()> {
    who(bench, asker, check)?;
    why(bench, asker, check)?;
    let offer = what(bench, asker, check)?;
    asker.may_void = asker.is_attended();
    thermometer(bench, asker, check)?;
    prepare(bench, asker, check)?;
    soak(bench, asker, check, &offer)?;
    performed(bench, asker, check)?;
    points(bench, asker, check, &offer)?;
    rest(bench, asker, check)
}

fn who(bench: &Bench, asker: &mut Asker, check: &mut CheckText) -> Asked<()> {
    let day = bench.day();
    let people: Options = bench
        .book
        .people
        .sound()
        .filter(|person| bench.book.authorised_on(person, Duty::Check, day))
        .map(|person| (person.id.clone(), String::new()))
        .collect();
    if people.is_empty() {
        return Err(Stop::Trouble(Trouble::Refused(SourceError::new(
            format!("nobody of the book is authorised to run a check on {day}"),
            "shearbook new person enters one; a row [[authorised]] with for = \"check\" lets them check",
        ))));
    }
    let me = bench
        .me
        .as_ref()
        .filter(|me| people.iter().any(|(id, _)| id == *me));
    let question = Question::new("operator", "Who runs the check?")
        .default(me.cloned())
        .help("the person at the instrument, authorised to check; who types may be somebody else");
    let index = asker.choose(question, &people)?;
    check.operator.clone_from(&people[index].0);
    if let Some(me) = bench.me.as_ref().filter(|me| **me != check.operator) {
        let typist = asker.choose(
            Question::new("entered_by", "Who types it in?")
                .or(me.clone())
                .help("named in the record where it is not who runs the check"),
            &bench
                .book
                .people
                .ids()
                .map(|id| (id.to_owned(), String::new()))
                .collect::<Options>(),
        )?;
        let typist = bench.book.people.ids().nth(typist).map(str::to_owned);
        check.entered_by = typist.filter(|typist| *typist != check.operator);
    } else if asker.answers.has("entered_by") {
        let ids: Options = bench
            .book
            .people
            .ids()
            .map(|id| (id.to_owned(), String::new()))
            .collect();
        let typist = asker.choose(Question::new("entered_by", "Who types it in?"), &ids)?;
        check.entered_by = Some(ids[typist].0.clone()).filter(|typist| *typist != check.operator);
    }
    Ok(())
}

fn why(bench: &Bench, asker: &mut Asker, check: &mut CheckText) -> Asked<()> {
    let standing = &bench.standing;
    let occasion = match (&standing.awaits_repeat, standing.changed) {
        (Some(_), _) => "repeat",
        (None, Some(changed)) => changed,
        (None, None) => "scheduled",
    };
    let occasions = words_of(&[
        (Occasion::Scheduled, "as the interval asks"),
        (Occasion::Repeat, "of a check that failed or was void"),
        (
            Occasion::AfterService,
            "after calibration, repair or adjustment",
        ),
        (Occasion::AfterMove, "it stands elsewhere now"),
        (Occasion::Investigation, "something looked wrong"),
    ]);
    let index = asker.choose(
        match bench.is_quarantined() && occasion == "scheduled" {
            // It takes no scheduled check.
            true => Question::new("occasion", "Why is it checked, in quarantine?"),
            false => Question::new("occasion", "Why is it checked?").or(occasion),
        },
        &occasions,
    )?;
    check.occasion = Some(occasions[index].0.clone());
    if occasions[index].0 == Occasion::Repeat.word() {
        let question = Question::new("repeats", "Which check is repeated?")
            .help("written as INSTRUMENT/YYYY-MM-DD-HHMM, such as VM-01/2026-11-20-0942");
        let question = match &standing.awaits_repeat {
            Some(id) => question.or(id.clone()),
            None => question,
        };
        let repeats = asker.ask(&question, |text| {
            let path = check_path(text).ok_or_else(|| {
                format!("{text} names no check: write INSTRUMENT/YYYY-MM-DD-HHMM")
            })?;
            match bench.disk.what(&path) {
                Ok(Some(_)) => Ok(text.to_owned()),
                _ => Err(format!("there is no check {text} in the book")),
            }
        })?;
        check.repeats = Some(repeats);
    }
    let conditions = words_of(&[
        (Condition::AsFound, "nothing was adjusted before"),
        (Condition::AsLeft, "after an adjustment or a repair"),
    ]);
    let index = asker.choose(
        Question::new("condition", "How is it read?").or("as-found"),
        &conditions,
    )?;
    check.condition = Some(conditions[index].0.clone());
    Ok(())
}

/// Lot, bottle, geometry and speeds: out of the plan, or chosen one by one.
fn what(bench: &Bench, asker: &mut Asker, check: &mut CheckText) -> Asked<Offer> {
    const OWN: &str = "other";
    let offers = offers(bench);
    let own = asker.answers.has("fluid") || asker.answers.has("geometry");
    let mut offer = match offers.is_empty() || own {
        true => None,
        false => {
            let mut options: Options = offers
                .iter()
                .map(|offer| (offer.word.clone(), offer.label.clone()))
                .collect();
            options.push((
                OWN.to_owned(),
                "none of these: lot and geometry one by one".to_owned(),
            ));
            let question = Question::new("choice", "With what? The best comes first.")
                .or(options[0].0.clone())
                .help("each is a lot with its bottle, its certified temperature, a geometry and one speed for each zone; shearbook plan shows their limits and why others are left out");
            let index = asker.choose(question, &options)?;
            offers.into_iter().nth(index)
        }
    };
    if let Some(offer) = &offer {
        check.fluid.clone_from(&offer.fluid);
        check.geometry = Some(offer.geometry.clone());
        check.bottle.clone_from(&offer.bottle);
    } else {
        let fluids: Options = bench
            .book
            .fluids
            .sound()
            .map(|fluid| (fluid.id.clone(), fluid_label(bench, fluid)))
            .collect();
        let index = asker.choose(Question::new("fluid", "Which lot?"), &fluids)?;
        check.fluid.clone_from(&fluids[index].0);
        let geometries: Options = bench
            .book
            .geometries
            .sound()
            .filter(|geometry| geometry.fits_on(&bench.instrument))
            .map(|geometry| (geometry.id.clone(), geometry.kind.word().to_owned()))
            .collect();
        let index = asker.choose(Question::new("geometry", "Which geometry?"), &geometries)?;
        check.geometry = Some(geometries[index].0.clone());
    }
    if check.bottle.is_none() {
        bottle(bench, asker, check)?;
    }
    if offer.is_none() {
        certified(bench, asker, check)?;
    }
    if let Some(offer) = &offer {
        bench
            .certified_c
            .borrow_mut()
            .clone_from(&offer.certified_c);
    }
    // What they are is known only now that the check can be understood.
    let first = [
        "/instrument",
        "/operator",
        "/occasion",
        "/condition",
        "/repeats",
    ];
    tell_findings(bench, asker, check, &first)?;
    tell_findings(bench, asker, check, &["/fluid", "/bottle", "/geometry"])?;
    Ok(offer.take().unwrap_or_else(|| Offer {
        fluid: check.fluid.clone(),
        ..Offer::default()
    }))
}

/// At which of its certified temperatures the fluid is held.
fn certified(bench: &Bench, asker: &mut Asker, check: &CheckText) -> Asked<()> {
    let fluid = bench.book.fluids.named(&check.fluid).sound();
    let rows: Options = fluid
        .into_iter()
        .flat_map(|fluid| &fluid.values)
        .map(|row| {
            let value = format!("\u{b0}C, {} mPa.s", figure(&row.mpa_s()));
            (row.temperature_c.to_string(), value)
        })
        .collect();
    let certified = match &rows[..] {
        [] => None,
        [(only, _)] => Some(only.clone()),
        [(first, _), ..] => {
            let question = Question::new("certified_c", "At which certified temperature?");
            let question = match asker.is_attended() {
                true => question,
                false => question.or(first.clone()),
            };
            Some(rows[asker.choose(question, &rows)?].0.clone())
        }
    };
    *bench.certified_c.borrow_mut() = certified;
    Ok(())
}

fn fluid_label(bench: &Bench, fluid: &Fluid) -> String {
    let day = bench.day();
    let state = standing_at(&bench.book, &fluid.standings, bench.at()).map(|(_, row)| row.state);
    let values: Vec<String> = fluid
        .values
        .iter()
        .map(|row| {
            format!(
                "{} mPa.s at {} \u{b0}C",
                figure(&row.mpa_s()),
                row.temperature_c
            )
        })
        .collect();
    let values = values.join(", ");
    match state {
        Some(State::Quarantined) => format!("{values}; quarantined"),
        Some(State::Withdrawn) => format!("{values}; withdrawn"),
        _ if fluid.expires < day => format!("{values}; expired on {}", fluid.expires),
        _ => values,
    }
}

fn bottle(bench: &Bench, asker: &mut Asker, check: &mut CheckText) -> Asked<()> {
    let day = bench.day();
    let fluid = bench.book.fluids.named(&check.fluid).sound();
    let stock = Stock::on(&bench.book, day, &BTreeSet::new());
    let policy = bench.policy().map(|policy| &policy.record);
    let sound: Vec<&str> = stock
        .lots
        .iter()
        .filter(|lot| lot.fluid.id == check.fluid)
        .flat_map(|lot| lot.open_bottles(policy, day))
        .map(|bottle| bottle.id.as_str())
        .collect();
    // One that may not be poured from is named all the same, where it was.
    let mut open: Options = fluid
        .into_iter()
        .flat_map(|fluid| &fluid.bottles)
        .filter(|bottle| bottle.opened <= day && bottle.discarded.is_none_or(|last| day <= last))
        .map(|bottle| {
            let may = match sound.contains(&bottle.id.as_str()) {
                true => "",
                false => "; not to be used any more",
            };
            (bottle.id.clone(), format!("opened {}{may}", bottle.opened))
        })
        .collect();
    let needed = bench
        .policy()
        .is_some_and(|policy| policy.in_use_months.is_some());
    if open.is_empty() && !needed && !asker.answers.has("bottle") {
        return Ok(());
    }
    if open.is_empty() {
        asker.warn(&format!(
            "No bottle of {} is open. Open one, add it to fluids/{}.toml as [[bottle]] with id and opened = {day}, and come back: the answers are kept.",
            check.fluid, check.fluid
        ));
    }
    open.push((NOTHING.to_owned(), "no bottle is named".to_owned()));
    let question = Question::new("bottle", "From which bottle?");
    let question = match &open[..] {
        [(only, _), _] => question.or(only.clone()),
        _ => question,
    };
    let index = asker.choose(question, &open)?;
    check.bottle = Some(open[index].0.clone()).filter(|id| id != NOTHING);
    Ok(())
}

fn thermometer(bench: &Bench, asker: &mut Asker, check: &mut CheckText) -> Asked<()> {
    let day = bench.day();
    let at = bench.at();
    let mut all: Vec<(bool, String, String)> = bench
        .book
        .thermometers
        .sound()
        .map(|one| {
            let due = one
                .calibrations
                .iter()
                .filter(|row| bench.book.zone.begins(&row.date) <= at)
                .map(|row| row.due)
                .max();
            let fit = due.is_some_and(|due| day <= due);
            let label = match due {
                Some(due) if fit => format!("calibrated until {due}"),
                Some(due) => format!("calibration ended on {due}"),
                None => "not calibrated".to_owned(),
            };
            (!fit, one.id.clone(), label)
        })
        .collect();
    all.sort();
    let fit = all.iter().filter(|(unfit, _, _)| !unfit).count();
    let options: Options = all.into_iter().map(|(_, id, label)| (id, label)).collect();
    if !options.is_empty() || asker.answers.has("thermometer") {
        let question = Question::new("thermometer", "Which thermometer reads the fluid?");
        let question = match options.first() {
            Some((id, _)) if fit == 1 => question.or(id.clone()),
            _ => question,
        };
        let index = asker.choose(question, &options)?;
        check.thermometer = options.get(index).map(|(id, _)| id.clone());
    }
    let mut baths: Options = bench
        .book
        .baths
        .ids()
        .map(|id| (id.to_owned(), String::new()))
        .collect();
    if !baths.is_empty() || asker.answers.has("bath") {
        baths.push((NOTHING.to_owned(), "no bath".to_owned()));
        let question = Question::new("bath", "In which bath does the fluid stand?");
        let question = match asker.is_attended() {
            true => match &baths[..] {
                [(only, _), _] => question.default(Some(only.clone())),
                _ => question,
            },
            false => question.or(NOTHING),
        };
        let index = asker.choose(question, &baths)?;
        check.bath = Some(baths[index].0.clone()).filter(|id| id != NOTHING);
    }
    tell_findings(bench, asker, check, &["/thermometer", "/bath"])?;
    Ok(())
}

fn confirm(
    bench: &Bench,
    asker: &mut Asker,
    check: &mut CheckText,
    key: &str,
    text: &str,
) -> Asked<()> {
    let question = Question::new(key, text)
        .help("answer for what you looked at; a check that says no is refused, or kept as void");
    let yes = asker.yes_or_no(question)?;
    check.preparation.confirmed.push((key.to_owned(), yes));
    tell_findings(bench, asker, check, &[&format!("/preparation/{key}")])?;
    Ok(())
}

fn prepare(bench: &Bench, asker: &mut Asker, check: &mut CheckText) -> Asked<()> {
    let kind = bench.geometry(check.geometry.as_ref()).map(|one| one.kind);
    if bench.asks(Confirm::Levelled, kind) {
        confirm(
            bench,
            asker,
            check,
            "levelled",
            "Is it level, by its bubble?",
        )?;
    }
    if kind.is_some() && bench.asks(Confirm::GapSet, kind) {
        confirm(bench, asker, check, "gap_set", "Is the gap set?")?;
    }
    let limit = bench
        .policy()
        .map(|policy| format!(" (limit {})", policy.zero_limit_percent))
        .unwrap_or_default();
    let question = Question::new(
        "zero_percent",
        format!("Zero: torque in % with nothing hung{limit}"),
    )
    .help("with the motor running; the figure it settles on; zero it by its own means first where it has one");
    let zero = asker.figure_or(&question, &[], |_| Ok(()))?;
    check.preparation.zero_percent = Some(zero);
    tell_findings(bench, asker, check, &["/preparation/zero_percent"])?;
    Ok(())
}

fn soak(bench: &Rc<Bench>, asker: &mut Asker, check: &mut CheckText, offer: &Offer) -> Asked<()> {
    let geometry = bench.geometry(check.geometry.as_ref());
    let kind = geometry.map(|one| one.kind);
    let wanted = offer.soak_minutes.clone();
    let wanted = wanted.or_else(|| soak_minutes(bench, check));
    let long = wanted
        .as_ref()
        .map(|minutes| format!(" At least {minutes} min."))
        .unwrap_or_default();
    let question = Question::new(
        "soak_started",
        format!("Soaking since when?{long} Time or now"),
    )
    .help("fluid, spindle and guard together in the bath at its temperature: as 08:20, or with its day as 2026-11-20 08:20");
    let started = ask_time(bench, asker, &question)?;
    check.preparation.soak_started = Some(started);
    let guarded = geometry.is_some_and(|one| one.guard == Some(Guard::Required));
    let asked = [
        (
            Confirm::ImmersedToMark,
            "immersed_to_mark",
            "Does it hang in the fluid up to its mark?",
        ),
        (
            Confirm::FreeOfBubbles,
            "free_of_bubbles",
            "Is it free of bubbles?",
        ),
        (
            Confirm::VesselAsSpecified,
            "vessel_as_specified",
            "Is the vessel the specified one?",
        ),
    ];
    for (which, key, text) in asked {
        if bench.asks(which, kind) {
            let vessel = geometry
                .filter(|_| which == Confirm::VesselAsSpecified)
                .and_then(|one| {
                    one.doc
                        .root
                        .get("/vessel")
                        .map(|node| one.doc.text.slice(node.span))
                });
            let text = match vessel {
                Some(vessel) => format!(
                    "Is the vessel the specified one ({})?",
                    vessel.trim_matches('"')
                ),
                None => text.to_owned(),
            };
            confirm(bench, asker, check, key, &text)?;
        }
    }
    if kind == Some(GeometryKind::Factored) {
        let text = match guarded {
            true => "Is the guard fitted? It is needed",
            false => "Is a guard fitted? It is not used here",
        };
        let fitted = asker.yes_or_no(Question::new("guard", text))?;
        check
            .preparation
            .confirmed
            .push(("guard".to_owned(), fitted));
        tell_findings(bench, asker, check, &["/preparation/guard"])?;
    }
    Ok(())
}

/// A time, as TOML writes it.
fn ask_time(bench: &Bench, asker: &mut Asker, question: &Question) -> Asked<String> {
    let mut written = String::new();
    let answer = asker.ask(question, |text| {
        let (wall, day) = (bench.wall(), bench.day());
        if text == "now" && wall.date() != day {
            return Err(format!(
                "now is not on {day}, which was asked for: write the time"
            ));
        }
        let stamp = moment(text, wall, day)?;
        let at = bench.book.zone.instant(&stamp).map_err(|why| match why {
            NoInstant::Repeated => {
                format!("{text} comes twice, since the clock goes back: add which, as +01:00")
            }
            NoInstant::Skipped => {
                format!("{text} did not happen: the clock goes forward over it")
            }
            NoInstant::Beyond => format!("{text} is beyond the calendar"),
        })?;
        if at.duration_since(bench.now()).as_secs() > 60 {
            return Err(format!(
                "{stamp} is still to come; for another day write it too, as {day} 08:20"
            ));
        }
        written = text.to_owned();
        Ok(stamp)
    });
    let stamp = answer?;
    let toml = time(&stamp);
    // `now` would mean another time when the answers are gone through again.
    asker.answers.settle(&question.name, &toml)?;
    if written != toml {
        asker.tell_typed(&format!("  understood: {stamp}"));
    }
    Ok(toml)
}

fn performed(bench: &Rc<Bench>, asker: &mut Asker, check: &mut CheckText) -> Asked<()> {
    let earliest = soak_over(bench, check);
    if let Some((over, left)) = earliest.filter(|(_, left)| *left > 0) {
        asker.tell(&format!(
            "\nThe soak is over at {over}, in {left} minutes. You may stop here with Ctrl-C: the answers are kept, and shearbook enter {} goes on from this question.",
            bench.instrument
        ));
    }
    let question = Question::new("performed", "First reading at? Time or now")
        .help("it names the record: instrument and minute");
    let question = match bench.common.as_of {
        None => question.default(Some("now")),
        Some(_) => question,
    };
    loop {
        let performed = ask_time(bench, asker, &question)?;
        check.performed = performed;
        let Some((path, id)) = bench.named(check) else {
            return Ok(());
        };
        if bench.disk.what(&path)?.is_none() {
            break;
        }
        let why = format!("There is a check {id} already: give the minute of this one.");
        if !asker.is_attended() {
            return Err(Stop::Trouble(Trouble::Refused(SourceError::new(
                why,
                "shearbook show tells what it holds; nothing was written",
            ))));
        }
        asker.warn(&why);
        asker.answers.take_back_under("performed");
    }
    tell_findings(
        bench,
        asker,
        check,
        &[
            "/performed",
            "/preparation/soak_started",
            "/fluid",
            "/thermometer",
        ],
    )?;
    Ok(())
}

/// How long the policy has it soak.
fn soak_minutes(bench: &Bench, check: &CheckText) -> Option<Number> {
    let mut with_point = check.clone();
    with_point.points.push(bench.stand_in(check));
    bench.view(&with_point, |view| Some(view.soak_row()?.1.minutes.clone()))?
}

/// When the soak is over, and the minutes until then.
fn soak_over(bench: &Bench, check: &CheckText) -> Option<(String, i64)> {
    let mut with_point = check.clone();
    with_point.points.push(bench.stand_in(check));
    let (started, minutes) = bench.view(&with_point, |view| {
        let (_, row) = view.soak_row()?;
        Some((
            view.check.preparation.soak_started?,
            row.minutes.value.to_f64(),
        ))
    })??;
    let begun = bench.book.zone.instant(&started).ok()?;
    let seconds = (minutes * 60.0).ceil() as i64;
    let over = begun
        .checked_add(jiff::SignedDuration::from_secs(seconds))
        .ok()?;
    let left = over.duration_since(bench.now()).as_secs();
    let left = (left + 59).div_euclid(60);
    Some((
        bench.book.zone.wall(over).strftime("%H:%M").to_string(),
        left,
    ))
}
