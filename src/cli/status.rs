//! `status`: the fleet at a date, the worst first.

use super::output::{self, Format};
use super::{Common, Ended, Trouble, progress, validate};
use crate::fleet::Fleet;
use crate::report::{fleet_json, fleet_text};
use crate::rules::{Wanted, judge_fleet, run as judge};
use crate::source::SourceError;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    outputs: output::Outputs,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let disk = common.disk()?;
    validate::whole(&disk)?;
    let outcome = progress::watched(common.quiet, &disk, |source| {
        judge(source, common.clock(), &Wanted::All)
    })?;
    let book = outcome.book.as_ref().filter(|book| book.zone_known());
    let Some(book) = book else {
        return Err(Trouble::Unusable(SourceError::new(
            "the book's time zone is not known, so no check has a date",
            "run shearbook validate: shearbook.toml has errors",
        )));
    };
    let fleet = Fleet::on(book, &outcome.links, &outcome.with_errors, book.as_of());
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
