//! `validate`: the whole book; naming paths narrows what is reported, never what is read.

use super::{Common, Ended, Trouble, output, progress};
use crate::book::Book;
use crate::rules::{Wanted, run as judge};
use crate::source::disk::Disk;
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
        if path.symlink_metadata().is_err() {
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
    let clock = common.clock();
    let outcome = progress::watched(common.quiet, &disk, |source| {
        judge(source, clock, &Wanted::All)
    })?;
    let as_of = outcome.as_of(clock);
    let mut findings = outcome.findings;
    if !named.is_empty() {
        findings.retain(|finding| {
            named.iter().any(|(path, folder)| {
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

/// The facts of the book on disk.
pub(crate) fn facts(common: &Common) -> Result<(Disk, Book), Trouble> {
    let disk = common.disk()?;
    let book = Book::facts(&disk, common.clock())?;
    Ok((disk, book))
}
