//! `show`: one check.

use super::{Common, End, Ended, Trouble, output, validate, warn};
use crate::book::Book;
use crate::book::evidence::evidence;
use crate::book::line;
use crate::book::view::View;
use crate::fleet::session::{Gathering, Session};
use crate::fleet::trend::last_touched;
use crate::fleet::witness::{Case, FAR_DAYS, NEAR_DAYS, passed_after, witness};
use crate::measure::pattern::{Witness, causes};
use crate::parse::layout::{CheckName, Slot, check_path, slot};
use crate::parse::parse;
use crate::record::Kind;
use crate::record::check::Check;
use crate::report::pattern_text::Told;
use crate::report::wrapped;
use crate::report::{amendments, budget_text, check_json, check_text, pattern_text};
use crate::rules::{Wanted, run_and_watch};
use crate::source::disk::Disk;
use crate::source::{Source, SourceError, What};
use clap::ValueEnum;
use std::path::Path;

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    Text,
    Json,
}

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The check: INSTRUMENT/YYYY-MM-DD-HHMM, or its file
    check: String,
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    format: Format,
    /// Also what each source adds to the uncertainty, as a table; JSON always has it
    #[arg(long)]
    budget: bool,
}

/// The book and the path of a check that was named by its id or its file; without a book named or round here, the
/// file's.
pub(super) fn find(common: &mut Common, given: &str) -> Result<(Disk, Book, String), Trouble> {
    let as_file = Path::new(given);
    if common.book.is_none() && common.disk().is_err() && as_file.is_file() {
        common.book = as_file.parent().map(Path::to_path_buf);
    }
    let (disk, book) = validate::facts(common)?;
    let path = match check_path(given) {
        Some(path) => path,
        None => disk
            .inside(as_file)
            .filter(|_| as_file.is_file())
            .ok_or_else(|| Trouble::Usage(format!("{given} is neither a check's id, such as VM-01/2026-11-20-0942, nor a file of the book")))?,
    };
    Ok((disk, book, path))
}

/// What the pattern over the points says; where it says something, with the fleet as a witness.
fn told(common: &Common, disk: &Disk, view: &View<'_>) -> Result<Told, Trouble> {
    let ranked = causes(&evidence(view, Witness::default()));
    if ranked.causes.is_empty() {
        return Ok(Told {
            ranked,
            witness: Witness::default(),
            passed_after: None,
        });
    }
    let sessions = {
        let near = near(disk, view)?;
        let gathering = Gathering::default();
        let watch = |view: &View<'_>| gathering.take(view);
        let outcome = run_and_watch(disk, common.clock(), &Wanted::Only(&near), Some(&watch))?;
        let mut sessions = gathering.sessions();
        sessions.retain(|id, _| {
            CheckName::parse(id).is_some_and(|name| {
                !outcome.with_errors.contains(&name.path())
                    && near.binary_search(&name.next().path()).is_err()
            })
        });
        sessions
    };
    let session = Session::of(view);
    let since = view
        .instrument
        .and_then(|instrument| last_touched(view.book, instrument, view.performed));
    let case = Case {
        id: view.id,
        session: &session,
        since,
    };
    let witness = witness(&case, &sessions);
    let touched = |at| {
        let instrument = view.instrument?;
        last_touched(view.book, instrument, at)
    };
    let passed_after = passed_after(&case, &sessions, &touched).map(str::to_owned);
    let mut ranked = causes(&evidence(view, witness.clone()));
    if passed_after.is_some() {
        ranked.causes.retain(|cause| !cause.kind.stays());
        for group in &mut ranked.cannot_tell {
            group.causes.retain(|kind| !kind.stays());
        }
        ranked.cannot_tell.retain(|group| group.causes.len() > 1);
    }
    Ok(Told {
        ranked,
        witness,
        passed_after,
    })
}

/// The checks made about that time, by path, in order: of the instrument itself from longer ago.
fn near(disk: &Disk, view: &View<'_>) -> Result<Vec<String>, Trouble> {
    let day = |days: f64| {
        let span = jiff::Span::new().try_days(days as i64).ok()?;
        view.date.checked_add(span).ok()
    };
    let first = day(-FAR_DAYS).unwrap_or(view.date);
    let (near_first, last) = (day(-NEAR_DAYS), day(NEAR_DAYS).unwrap_or(view.date));
    let mut paths = Vec::new();
    for year in first.year()..=last.year() {
        for entry in disk.list(&format!("{}/{year:04}", Kind::Check.folder()))? {
            let Slot::Record(Kind::Check, id) = slot(&entry.path) else {
                continue;
            };
            let Some((instrument, name)) = id.split_once('/') else {
                continue;
            };
            let Some(made) = name.get(..10).and_then(|made| made.parse().ok()) else {
                continue;
            };
            let begin = match instrument == view.check.instrument {
                true => Some(first),
                false => near_first,
            };
            if entry.what == What::File && begin.is_some_and(|begin| begin <= made) && made <= last
            {
                paths.push(entry.path);
            }
        }
    }
    paths.sort();
    Ok(paths)
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let mut common = common.clone();
    let (disk, book, path) = find(&mut common, &arguments.check)?;
    let Slot::Record(Kind::Check, id) = slot(&path) else {
        return Err(Trouble::Usage(format!("{path} is no check")));
    };
    if disk.what(&path)? == Some(What::NotAFile) {
        return Err(Trouble::Unusable(SourceError::new(
            format!("{path} is a link or a special file; a record is a file of its own"),
            "put the record itself there, as a plain file",
        )));
    }
    let bytes = disk.read(&path)?.ok_or_else(|| {
        let folder = path.rsplit_once('/').map_or("checks", |(folder, _)| folder);
        Trouble::Usage(format!(
            "there is no check {id}: look into the folder {folder}"
        ))
    })?;
    let parsed = parse::<Check>(&path, bytes).map_err(|ours| Trouble::Ours(ours.to_string()))?;
    let unreadable = || {
        Trouble::Unusable(SourceError::new(
            format!("{path} cannot be understood"),
            format!("shearbook validate {path} tells what is wrong with it"),
        ))
    };
    let (Some(doc), Some(check)) = (parsed.doc, parsed.record) else {
        return Err(unreadable());
    };
    let view = View::of(&book, &doc, &check, &id).ok_or_else(unreadable)?;
    let line = match CheckName::parse(&id) {
        Some(name) => line::line(&disk, &name)?,
        None => Vec::new(),
    };
    for member in line.iter().filter(|member| member.record.is_none()) {
        let path = member.name.path();
        warn(&format!(
            "{path} cannot be understood, so what it amends is not told; shearbook validate {path} tells why"
        ));
    }
    let told = told(&common, &disk, &view)?;
    output::say(&match arguments.format {
        Format::Text => {
            let width = output::style(&common).width;
            let budget = match arguments.budget {
                true => budget_text::render(&view, width),
                false => String::new(),
            };
            let pattern = pattern_text::render(&told, width);
            check_text::render(&view, width)
                + &pattern
                + &budget
                + &amendments::side_by_side(&line, width)
                + "\n"
                + &wrapped(check_text::CAUTION, width, "", "")
        }
        Format::Json => check_json::render(&view, &told, &line::amendments(&line)),
    });
    Ok(End::Fine)
}
