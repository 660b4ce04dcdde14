//! `trace`: all that rests on a record; and of a check what it rests on and, where it failed, the window behind it.

use super::output::{Outputs, Sheet};
use super::{Common, Ended, Trouble, day, progress, validate};
use crate::book::Book;
use crate::fleet::Fleet;
use crate::fleet::session::Gathering;
use crate::fleet::trace::{FactName, Judged, Trace};
use crate::parse::layout::{self, CheckName, Slot, slot};
use crate::record::Kind;
use crate::report::{fleet_text, trace_csv, trace_json, trace_text};
use crate::rules::{Wanted, run_and_watch};
use crate::source::disk::Disk;
use crate::source::{Source, SourceError};
use crate::text::nearest;
use jiff::civil::Date;
use std::path::Path;

/// The kinds that checks rest on.
const KINDS: [Kind; 7] = [
    Kind::Fluid,
    Kind::Thermometer,
    Kind::Bath,
    Kind::Geometry,
    Kind::Instrument,
    Kind::Person,
    Kind::Policy,
];

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// A lot K-2291, one of its bottles K-2291/1, a thermometer, bath, geometry, instrument, person, policy, or a check
    /// VM-01/2026-11-20-0942; with its folder (fluids/K-2291) or as a file where the id alone does not tell
    id: String,
    /// Only what was performed on this day or later, YYYY-MM-DD
    #[arg(long, value_name = "DATE", value_parser = day)]
    since: Option<Date>,
    /// Only what was performed on this day or earlier, YYYY-MM-DD
    #[arg(long, value_name = "DATE", value_parser = day)]
    until: Option<Date>,
    #[command(flatten)]
    outputs: Outputs<Sheet>,
}

/// What an id stands for.
enum Subject {
    Fact(FactName),
    Check(String),
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    if let (Some(since), Some(until)) = (arguments.since, arguments.until)
        && since > until
    {
        return Err(Trouble::Usage(format!(
            "--since {since} lies after --until {until}, so no day is left"
        )));
    }
    let (disk, book) = validate::facts(common)?;
    validate::whole(&disk)?;
    validate::known_zone(&book)?;
    let subject = subject(&disk, &book, &arguments.id)?;
    if let Subject::Check(id) = &subject
        && (arguments.since.is_some() || arguments.until.is_some())
    {
        return Err(Trouble::Usage(format!(
            "{id} is a check, whose window begins with the last good one: leave out --since and --until"
        )));
    }
    let gathering = Gathering::default();
    let instrument = match &subject {
        Subject::Check(id) => CheckName::parse(id).map(|name| name.instrument),
        Subject::Fact(_) => None,
    };
    let outcome = progress::watched(common.quiet, &disk, |source| {
        run_and_watch(
            source,
            common.clock(),
            &Wanted::All,
            Some(&|view| {
                let concerns = match &subject {
                    Subject::Fact(fact) => fact.concerns(view),
                    Subject::Check(_) => {
                        Some(view.check.instrument.as_str()) == instrument.as_deref()
                    }
                };
                if concerns {
                    gathering.take_names(view);
                }
            }),
        )
    })?;
    let book = validate::known_zone(outcome.book.as_ref().unwrap_or(&book))?;
    let fleet = Fleet::without_trends(book, &outcome.links, &outcome.with_errors, book.as_of());
    let sessions = gathering.sessions();
    let judged = Judged {
        fleet: &fleet,
        links: &outcome.links,
        with_errors: &outcome.with_errors,
        sessions: &sessions,
    };
    let trace = match subject {
        Subject::Fact(fact) => Trace::Fact(judged.of_fact(fact, arguments.since, arguments.until)),
        Subject::Check(id) => check(&judged, &disk, &id)?,
    };
    if let Some(errors) = fleet_text::errors(&fleet).filter(|_| arguments.outputs.is_for_programs())
    {
        super::warn(&errors);
    }
    let asked = arguments.id.as_str();
    arguments
        .outputs
        .write(common, false, &[], &|format, style| match format {
            Sheet::Text => trace_text::render(&fleet, &trace, asked, style.width),
            Sheet::Plain => trace_text::plain(&fleet, &trace, asked),
            Sheet::Json => trace_json::render(&fleet, &trace, asked),
            Sheet::Csv => trace_csv::render(&fleet, &trace),
        })
}

fn check<'a>(judged: &Judged<'a>, disk: &Disk, id: &str) -> Result<Trace<'a>, Trouble> {
    let Some((standing, facts)) = judged.standing(id) else {
        return Err(Trouble::Usage(format!(
            "{id} had not been performed by {}, the day that is looked at",
            judged.fleet.as_of
        )));
    };
    let found = match facts {
        Some(_) => judged.of_check(disk, standing)?,
        None => None,
    };
    let found = found.ok_or_else(|| {
        let path = layout::check_path(standing).unwrap_or_else(|| standing.to_owned());
        Trouble::Unusable(SourceError::new(
            format!("{path} cannot be understood, so nothing can be told of it"),
            format!("shearbook validate {path} tells what is wrong with it"),
        ))
    })?;
    Ok(Trace::Check(Box::new(found)))
}

fn lacks(book: &Book, kind: Kind, id: &str) -> bool {
    match kind {
        Kind::Fluid => book.fluids.lacks(id),
        Kind::Thermometer => book.thermometers.lacks(id),
        Kind::Bath => book.baths.lacks(id),
        Kind::Geometry => book.geometries.lacks(id),
        Kind::Instrument => book.instruments.lacks(id),
        Kind::Person => book.people.lacks(id),
        Kind::Policy => book.policies.lacks(id),
        _ => true,
    }
}

fn ids(book: &Book, kind: Kind) -> Vec<&str> {
    match kind {
        Kind::Fluid => book.fluids.ids().collect(),
        Kind::Thermometer => book.thermometers.ids().collect(),
        Kind::Bath => book.baths.ids().collect(),
        Kind::Geometry => book.geometries.ids().collect(),
        Kind::Instrument => book.instruments.ids().collect(),
        Kind::Person => book.people.ids().collect(),
        Kind::Policy => book.policies.ids().collect(),
        _ => Vec::new(),
    }
}

/// What the words on the command line stand for: the file or the path of a record, a check, a record with its folder, a
/// lot with a bottle, or an id alone.
fn subject(disk: &Disk, book: &Book, given: &str) -> Result<Subject, Trouble> {
    let file = Path::new(given);
    let path = match slot(given) {
        Slot::Record(..) => Some(given.to_owned()),
        _ => disk.inside(file).filter(|_| file.is_file()),
    };
    match path.as_deref().map(slot) {
        Some(Slot::Record(Kind::Check, id)) => return a_check(disk, book, &id),
        Some(Slot::Record(kind, id)) => return of_kind(book, kind, &id, None),
        _ => {}
    }
    let id = given.strip_suffix(".toml").unwrap_or(given);
    let id = id.trim_end_matches('/');
    let (id, bottle) = match id.split_once('#') {
        Some((id, bottle)) => (id, Some(bottle)),
        None => (id, None),
    };
    if CheckName::parse(id).is_some() {
        return a_check(disk, book, id);
    }
    let Some((first, rest)) = id.split_once('/') else {
        return bare(book, id, bottle);
    };
    match (layout::folder_kind(first), rest.split_once('/'), bottle) {
        (Some(Kind::Check), _, _) => {
            // `checks/VM-01/...` as well as `checks/2026/VM-01/...`.
            let is_year = |year: &str| year.bytes().all(|byte| byte.is_ascii_digit());
            let below = rest
                .split_once('/')
                .filter(|(year, below)| is_year(year) && below.contains('/'));
            let id = below.map_or(rest, |(_, below)| below);
            a_check(disk, book, id)
        }
        (Some(kind), Some((lot, bottle)), None) => of_kind(book, kind, lot, Some(bottle)),
        (Some(kind), None, bottle) => of_kind(book, kind, rest, bottle),
        (None, None, None) if !book.fluids.lacks(first) => {
            of_kind(book, Kind::Fluid, first, Some(rest))
        }
        (None, None, None) if !book.instruments.lacks(first) => a_check(disk, book, id),
        _ => Err(unknown(book, given)),
    }
}

/// An id without its folder.
fn bare(book: &Book, id: &str, bottle: Option<&str>) -> Result<Subject, Trouble> {
    if bottle.is_some() {
        return of_kind(book, Kind::Fluid, id, bottle);
    }
    let kinds: Vec<Kind> = KINDS
        .into_iter()
        .filter(|kind| !lacks(book, *kind, id))
        .collect();
    match kinds[..] {
        [kind] => of_kind(book, kind, id, None),
        [] => Err(unknown(book, id)),
        _ => {
            let names: Vec<String> = kinds
                .iter()
                .map(|kind| format!("{}/{id}", kind.folder()))
                .collect();
            Err(Trouble::Usage(format!(
                "{id} stands for several records: write {}",
                names.join(" or ")
            )))
        }
    }
}

fn of_kind(book: &Book, kind: Kind, id: &str, bottle: Option<&str>) -> Result<Subject, Trouble> {
    if !KINDS.contains(&kind) {
        return Err(Trouble::Usage(format!(
            "no check rests on a {}: trace the check or the record that it is about",
            kind.noun()
        )));
    }
    if lacks(book, kind, id) {
        let meant = nearest(id, ids(book, kind).into_iter());
        let help = match meant {
            Some(meant) => format!("did you mean {}/{meant}?", kind.folder()),
            None => format!("the folder {} has what there is", kind.folder()),
        };
        return Err(Trouble::Usage(format!(
            "there is no {} {id}: {help}",
            kind.noun()
        )));
    }
    if let Some(bottle) = bottle {
        let fluid = match kind {
            Kind::Fluid => book.fluids.named(id).sound(),
            _ => {
                return Err(Trouble::Usage(format!(
                    "a {} has no bottles: write {}/{id}",
                    kind.noun(),
                    kind.folder()
                )));
            }
        };
        // The bottles of a lot whose file has errors are not known.
        let bottles: Option<Vec<&str>> =
            fluid.map(|fluid| fluid.bottles.iter().map(|row| row.id.as_str()).collect());
        if let Some(bottles) = bottles.filter(|bottles| !bottles.contains(&bottle)) {
            let has = match bottles.is_empty() {
                true => "it has none".to_owned(),
                false => format!("it has {}", bottles.join(", ")),
            };
            return Err(Trouble::Usage(format!(
                "fluid lot {id} has no bottle {bottle}: {has}"
            )));
        }
    }
    Ok(Subject::Fact(FactName {
        kind,
        id: id.to_owned(),
        bottle: bottle.map(str::to_owned),
    }))
}

fn a_check(disk: &Disk, book: &Book, id: &str) -> Result<Subject, Trouble> {
    if let Some(path) = layout::check_path(id)
        && disk.what(&path)?.is_some()
    {
        return Ok(Subject::Check(id.to_owned()));
    }
    let instrument = id.split('/').next().unwrap_or(id);
    if book.instruments.lacks(instrument) {
        return Err(unknown(book, id));
    }
    let entries = disk.list(Kind::Check.folder())?;
    let own: Vec<&str> = entries
        .iter()
        .filter_map(|entry| layout::record(&entry.path).ok())
        .map(|(_, id)| id)
        .filter(|id| id.split('/').next() == Some(instrument))
        .collect();
    // A day alone means its checks.
    let mut meant: Vec<&str> = own
        .iter()
        .copied()
        .filter(|other| other.len() > id.len() && id.len() > instrument.len() + 5)
        .filter(|other| other.starts_with(id))
        .take(5)
        .collect();
    if meant.is_empty() {
        meant.extend(nearest(id, own.into_iter()));
    }
    let help = match meant.is_empty() {
        true => format!("shearbook trace {instrument} lists the checks of {instrument}"),
        false => format!("did you mean {}?", meant.join(" or ")),
    };
    Err(Trouble::Usage(format!("there is no check {id}: {help}")))
}

/// Nothing has that name; what comes near it.
fn unknown(book: &Book, given: &str) -> Trouble {
    let near = KINDS.into_iter().filter_map(|kind| {
        let meant = nearest(given, ids(book, kind).into_iter())?;
        Some(format!("{}/{meant}", kind.folder()))
    });
    let near: Vec<String> = near.take(3).collect();
    let help = match near.is_empty() {
        true => "write an id such as K-2291, K-2291/1 for one of its bottles, TH-01, op-07, or a check as VM-01/2026-11-20-0942".to_owned(),
        false => format!("did you mean {}?", near.join(" or ")),
    };
    Trouble::Usage(format!("there is no record {given}: {help}"))
}
