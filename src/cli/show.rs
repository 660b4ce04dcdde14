//! `show`: one check.

use super::{Common, End, Ended, Trouble, output, validate, warn};
use crate::book::Book;
use crate::book::line;
use crate::book::view::View;
use crate::parse::layout::{CheckName, Slot, check_path, slot};
use crate::parse::parse;
use crate::record::Kind;
use crate::record::check::Check;
use crate::report::{amendments, budget_text, check_json, check_text};
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
    output::say(&match arguments.format {
        Format::Text => {
            let width = output::style(&common).width;
            let budget = match arguments.budget {
                true => budget_text::render(&view, width),
                false => String::new(),
            };
            check_text::render(&view, width) + &budget + &amendments::side_by_side(&line, width)
        }
        Format::Json => check_json::render(&view, &line::amendments(&line)),
    });
    Ok(End::Fine)
}
