//! `validate`: the whole book; naming paths narrows what is reported, never what is read.

use super::{Common, Ended, Trouble, output, progress};
use crate::book::{Book, Clock};
use crate::finding::Severity;
use crate::parse::layout::{Slot, check_path, slot};
use crate::record::Kind;
use crate::rules::{Outcome, Wanted, is_reading, run as judge};
use crate::source::disk::Disk;
use crate::source::git::Repository;
use crate::source::{Source, SourceError};
use std::collections::BTreeSet;
use std::path::PathBuf;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Files or folders to report on; all where left out
    paths: Vec<PathBuf>,
    #[command(flatten)]
    outputs: output::Outputs,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let disk = match (&common.book, arguments.paths.first()) {
        (None, Some(first)) => common.disk().or_else(|error| {
            let folder = if first.is_dir() {
                Some(first.as_path())
            } else {
                first.parent()
            };
            Disk::find(
                folder
                    .filter(|folder| !folder.as_os_str().is_empty())
                    .unwrap_or(std::path::Path::new(".")),
            )
            .map_err(|_| error)
        })?,
        _ => common.disk()?,
    };
    let mut named = Vec::new();
    for path in &arguments.paths {
        let by_id = path.to_str().and_then(check_path);
        if path.symlink_metadata().is_err() {
            if let Some(check) = by_id.filter(|check| disk.root.join(check).is_file()) {
                named.push((check, false));
                continue;
            }
            return Err(Trouble::Usage(format!("there is no {}", path.display())));
        }
        let inside = disk.inside(path);
        let inside = inside.ok_or_else(|| {
            Trouble::Usage(format!(
                "{} is not in the book {}",
                path.display(),
                disk.root.display()
            ))
        })?;
        named.push((inside, path.is_dir()));
    }
    whole(&disk)?;
    let clock = common.clock();
    let outcome = progress::watched(common.quiet, &disk, |source| {
        judge(source, clock, &Wanted::All)
    })?;
    let as_of = outcome.as_of(clock);
    let mut findings = outcome.findings;
    // The process is about to end; to give back record by record what was kept would only take time.
    std::mem::forget((outcome.links, outcome.book));
    if !named.is_empty() {
        let rests_on = rests_on(&disk, clock, &named)?;
        findings.retain(|finding| {
            let unreadable = finding.severity == Severity::Error && is_reading(finding.rule);
            (unreadable && rests_on.contains(&finding.place.path))
                || named.iter().any(|(path, folder)| {
                    finding.place.path == *path
                        || path.is_empty()
                        || (*folder && finding.place.path.starts_with(&format!("{path}/")))
                })
        });
    }
    let name = common.book_name(&disk.root);
    output::report(
        common,
        &arguments.outputs,
        &name,
        as_of,
        &findings,
        (outcome.files, outcome.checks),
    )
}

/// The facts that the named checks rest on: where one cannot be read, nothing is said of the checks.
fn rests_on(
    disk: &Disk,
    clock: Clock,
    named: &[(String, bool)],
) -> Result<BTreeSet<String>, Trouble> {
    let mut checks = Vec::new();
    for (path, folder) in named {
        match folder {
            true if path.is_empty() => {}
            true => checks.extend(disk.list(path)?.into_iter().map(|entry| entry.path)),
            false => checks.push(path.clone()),
        }
    }
    checks.retain(|path| matches!(slot(path), Slot::Record(Kind::Check, _)));
    if checks.is_empty() {
        return Ok(BTreeSet::new());
    }
    Ok(judge(disk, clock, &Wanted::Only(&checks))?.rests_on)
}

/// A sparse checkout lacks files that the book has, so nothing can be said of it.
pub(super) fn whole(disk: &Disk) -> Result<(), Trouble> {
    let Ok(repository) = Repository::of(&disk.root) else {
        return Ok(());
    };
    let sparse = repository.setting("core.sparseCheckout");
    if sparse.is_none_or(|(value, _)| value != "true") {
        return Ok(());
    }
    let lacking = repository.not_checked_out()?;
    match lacking.first() {
        None => Ok(()),
        Some(first) => Err(Trouble::Unusable(SourceError::new(
            format!(
                "this is a sparse checkout: {} files of the book are not here, such as {first}",
                lacking.len()
            ),
            "bring them back with git sparse-checkout disable, or judge what is staged with shearbook gate",
        ))),
    }
}

/// The facts of the book on disk.
pub(crate) fn facts(common: &Common) -> Result<(Disk, Book), Trouble> {
    let disk = common.disk()?;
    let book = Book::facts(&disk, common.clock())?;
    Ok((disk, book))
}

/// Without a time zone no check has a date.
pub(super) fn known_zone(book: &Book) -> Result<&Book, Trouble> {
    match book.zone_known() {
        true => Ok(book),
        false => Err(Trouble::Unusable(SourceError::new(
            "the book's time zone is not known, so no check has a date",
            "run shearbook validate: shearbook.toml has errors",
        ))),
    }
}

/// The book of an outcome, whose checks have dates.
pub(super) fn judged_book(outcome: &Outcome) -> Result<&Book, Trouble> {
    match &outcome.book {
        Some(book) => known_zone(book),
        None => Err(Trouble::Ours(
            "the whole book was judged and is not there".to_owned(),
        )),
    }
}
