//! `gate`: what is staged.

use super::{Common, End, Ended, output, progress};
use crate::history::gate::{Gate, staged};
use crate::rules::{self, Wanted};
use crate::source::disk::Disk;
use crate::source::git::Repository;
use crate::source::{Source, SourceError};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Say nothing where there is no book, as a hook in a repository with older branches must
    #[arg(long)]
    if_book: bool,
    #[command(flatten)]
    outputs: output::Outputs,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let folder = match &common.book {
        Some(folder) => folder.clone(),
        None => Disk::find(&common.folder())
            .map(|disk| disk.root)
            .unwrap_or_else(|_| common.folder()),
    };
    let (repository, comparison) = Repository::with_staged(&folder)?;
    let clock = common.clock();
    let judge = |source: &dyn Source, wanted: &Wanted<'_>| {
        progress::watched(common.quiet, source, |source| {
            rules::run(source, clock, wanted)
        })
    };
    let outcome = match staged(&repository, comparison, &judge)? {
        Gate::Judged(outcome) => outcome,
        Gate::NoBook if arguments.if_book => return Ok(End::Fine),
        Gate::NoBook => {
            return Err(SourceError::new(
                format!("no book is staged or committed at {}", folder.display()),
                "stage its shearbook.toml with git add, or name the book's folder with --book DIR",
            )
            .into());
        }
    };
    let as_of = outcome.as_of(clock);
    let name = common.book_name(&repository.top.join(&repository.prefix));
    output::report(
        common,
        &arguments.outputs,
        &name,
        as_of,
        &outcome.findings,
        (outcome.files, outcome.checks),
    )
}
