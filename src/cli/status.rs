//! `status`: the fleet at a date, the worst first.

use super::output::{self, Format};
use super::{Common, Ended, progress, validate};
use crate::book::view::View;
use crate::fleet::Fleet;
use crate::fleet::session::Gathering;
use crate::report::{fleet_json, fleet_text};
use crate::rules::{Wanted, judge_fleet, run_and_watch};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    outputs: output::Outputs,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let disk = common.disk()?;
    validate::whole(&disk)?;
    let gathering = Gathering::default();
    let outcome = progress::watched(common.quiet, &disk, |source| {
        let watch = |view: &View<'_>| gathering.take(view);
        run_and_watch(source, common.clock(), &Wanted::All, Some(&watch))
    })?;
    let sessions = gathering.sessions();
    let book = validate::judged_book(&outcome)?;
    let (links, with_errors) = (&outcome.links, &outcome.with_errors);
    let fleet = Fleet::on(book, links, with_errors, &sessions, book.as_of());
    let findings = judge_fleet(&fleet);
    if let Some(errors) = fleet_text::errors(&fleet).filter(|_| arguments.outputs.is_for_programs())
    {
        super::warn(&errors);
    }
    let quiet = common.quiet && findings.is_empty() && fleet.members.iter().all(|one| one.usable);
    arguments
        .outputs
        .write(common, quiet, &findings, &|format, style| match format {
            Format::Text => fleet_text::render(&fleet, &findings, style.width),
            Format::Plain => fleet_text::plain(&fleet, &findings),
            Format::Json => fleet_json::render(&fleet, &findings),
        })
}
