//! `plan`: with which fluid, geometry and speeds an instrument is checked.

use super::output::{Outputs, Shape};
use super::{Common, Ended, Trouble, new, progress, validate, warn};
use crate::book::Book;
use crate::fleet::Fleet;
use crate::fleet::plan::Extent;
use crate::fleet::plan::stock::Stock;
use crate::record::Kind;
use crate::report::plan_text::Planned;
use crate::report::{fleet_text, plan_json, plan_text};
use crate::rules::{Outcome, Wanted, run as judge};
use crate::source::SourceError;
use clap::ValueEnum;

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// For people at a terminal
    Text,
    /// One fact a line, for screen readers
    Plain,
    /// For programs
    Json,
}

impl Shape for Format {
    fn is_for_programs(self) -> bool {
        self == Format::Json
    }
}

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The instrument to be checked
    #[arg(value_name = "INSTRUMENT")]
    instrument: String,
    /// List every choice of speeds, not the best of each lot, temperature and geometry alone
    #[arg(long)]
    all: bool,
    #[command(flatten)]
    outputs: Outputs<Format>,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let disk = common.disk()?;
    validate::whole(&disk)?;
    let outcome = progress::watched(common.quiet, &disk, |source| {
        judge(source, common.clock(), &Wanted::All)
    })?;
    let book = validate::judged_book(&outcome)?;
    let fleet = fleet(&outcome, book);
    let stock = Stock::on(book, book.as_of(), &outcome.with_errors);
    if let Some(errors) = fleet_text::errors(&fleet) {
        warn(&errors);
    }
    let name = common.book_name(&disk.root);
    one(common, arguments, &name, &fleet, &stock)
}

fn fleet<'a>(outcome: &'a Outcome, book: &'a Book) -> Fleet<'a> {
    Fleet::without_trends(book, &outcome.links, &outcome.with_errors, book.as_of())
}

fn one(
    common: &Common,
    arguments: &Arguments,
    name: &str,
    fleet: &Fleet<'_>,
    stock: &Stock<'_>,
) -> Ended {
    let wanted = arguments.instrument.as_str();
    let ids: Vec<&str> = fleet.book.instruments.ids().collect();
    new::known(&ids, Kind::Instrument, wanted)?;
    let member = fleet.members.iter().find(|member| member.id == wanted);
    let Some((member, record)) = member.and_then(|member| Some((member, member.record?))) else {
        return Err(Trouble::Unusable(SourceError::new(
            format!("instruments/{wanted}.toml has errors, so nothing can be planned for it"),
            "run shearbook validate, which tells what is wrong with it",
        )));
    };
    let extent = match arguments.all {
        true => Extent::Every,
        false => Extent::Best,
    };
    let plan = stock.plan(record, extent);
    let planned = Planned {
        book: name,
        member,
        plan: &plan,
        all: arguments.all,
    };
    let outputs = &arguments.outputs;
    outputs.write(common, false, &[], &|format, style| match format {
        Format::Text => plan_text::instrument(&planned, style.width),
        Format::Plain => plan_text::instrument_plain(&planned),
        Format::Json => plan_json::instrument(&planned),
    })
}
