//! `plan`: with which fluid, geometry and speeds instruments are checked, what is due, and what to buy.

use super::output::{Outputs, Shape};
use super::{Common, End, Ended, Trouble, new, progress, validate, warn};
use crate::book::Book;
use crate::finding::{Counts, Finding};
use crate::fleet::Fleet;
use crate::fleet::plan::Extent;
use crate::fleet::plan::purchase::purchase;
use crate::fleet::plan::sheet::bench_sheet;
use crate::fleet::plan::stock::Stock;
use crate::parse::candidates::candidates;
use crate::record::Kind;
use crate::report::plan_buy::Shopping;
use crate::report::plan_sheet::Benched;
use crate::report::plan_text::Planned;
use crate::report::{
    Findings, fleet_text, json, plain, plan_buy, plan_html, plan_json, plan_sheet, plan_text,
    terminal,
};
use crate::rules::{Outcome, Wanted, run as judge, say_faults};
use crate::source::SourceError;
use crate::source::disk::lone;
use clap::ValueEnum;
use std::path::{Path, PathBuf};

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// For people at a terminal
    Text,
    /// One fact a line, for screen readers
    Plain,
    /// For programs
    Json,
    /// A page to print; the bench sheet has boxes to write into
    Html,
}

impl Shape for Format {
    fn is_for_programs(self) -> bool {
        matches!(self, Format::Json | Format::Html)
    }
}

#[derive(clap::Args)]
#[group(id = "what", required = true, multiple = false, args = ["instrument", "within", "buy"])]
pub(crate) struct Arguments {
    /// The instrument to be checked: its best choices of lot, geometry and speeds
    #[arg(value_name = "INSTRUMENT")]
    instrument: Option<String>,
    /// The bench sheet: every check that is needed now or due within so many days, by beaker, in working order
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(u32).range(..=36_500))]
    within: Option<u32>,
    /// The fewest fluids of a file that serve every instrument in service; TOML with [[candidate]] rows of id and
    /// viscosity_mpa_s (and, where known, temperature_c, expanded_uncertainty_percent, note), or CSV with these columns
    #[arg(long, value_name = "CANDIDATES")]
    buy: Option<PathBuf>,
    /// With --buy: what is in stock serves on; buy for the other instruments alone
    #[arg(long, conflicts_with_all = ["instrument", "within"])]
    beside_stock: bool,
    /// With an instrument: every choice of speeds, not the best of each lot, temperature and geometry alone
    #[arg(long, conflicts_with_all = ["within", "buy"])]
    all: bool,
    #[command(flatten)]
    outputs: Outputs<Format>,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    if arguments.buy.is_some() && arguments.outputs.any(|format| format == Format::Html) {
        return Err(Trouble::Usage(
            "what to buy is no page to print: --format html goes with an instrument or with --within"
                .to_owned(),
        ));
    }
    let disk = common.disk()?;
    validate::whole(&disk)?;
    let offer = match &arguments.buy {
        Some(file) => {
            let bytes = lone(file)?
                .ok_or_else(|| Trouble::Usage(format!("there is no file {}", file.display())))?;
            let (candidates, faults) = candidates(&file.display().to_string(), bytes);
            let mut findings = Vec::new();
            say_faults(&faults, &mut findings);
            if Counts::of(&findings).error > 0 {
                findings.sort();
                let book = Book::facts(&disk, common.clock())?;
                return refused(common, arguments, &book, file, &findings);
            }
            Some((file, candidates))
        }
        None => None,
    };
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
    let outputs = &arguments.outputs;
    if let Some((file, candidates)) = &offer {
        let purchase = purchase(
            &stock,
            &outcome.with_errors,
            candidates,
            arguments.beside_stock,
        );
        let shopping = Shopping {
            book: &name,
            day: book.as_of(),
            file: &file.display().to_string(),
            candidates: candidates.len(),
            purchase: &purchase,
        };
        return outputs.write(common, false, &[], &|format, style| match format {
            Format::Text => plan_buy::render(&shopping, style.width),
            Format::Plain => plan_buy::plain(&shopping),
            Format::Json | Format::Html => plan_json::purchase(&shopping),
        });
    }
    if let Some(days) = arguments.within {
        let sheet = bench_sheet(&fleet, &stock, days);
        let marker = book.marker.as_ref();
        let benched = Benched {
            book: &name,
            laboratory: marker.map(|marker| marker.laboratory.as_str()),
            sheet: &sheet,
        };
        return outputs.write(common, false, &[], &|format, style| match format {
            Format::Text => plan_sheet::render(&benched, style.width),
            Format::Plain => plan_sheet::plain(&benched),
            Format::Json => plan_json::sheet(&benched),
            Format::Html => plan_html::sheet(&benched),
        });
    }
    match &arguments.instrument {
        Some(instrument) => one(common, arguments, instrument, &name, &fleet, &stock),
        None => Ok(End::Fine),
    }
}

fn fleet<'a>(outcome: &'a Outcome, book: &'a Book) -> Fleet<'a> {
    Fleet::without_trends(book, &outcome.links, &outcome.with_errors, book.as_of())
}

fn one(
    common: &Common,
    arguments: &Arguments,
    wanted: &str,
    name: &str,
    fleet: &Fleet<'_>,
    stock: &Stock<'_>,
) -> Ended {
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
        Format::Html => plan_html::instrument(&planned),
    })
}

/// The candidates cannot be read: what is wrong with their file, as validate would tell it.
fn refused(
    common: &Common,
    arguments: &Arguments,
    book: &Book,
    file: &Path,
    findings: &[Finding],
) -> Ended {
    let file = file.display().to_string();
    let report = Findings {
        book: &file,
        as_of: book.as_of().to_string(),
        findings,
        counts: Counts::of(findings),
        files: 1,
        checks: 0,
    };
    let outputs = &arguments.outputs;
    if outputs.is_for_programs() {
        for finding in findings {
            let (line, message) = (finding.place.line, &finding.message);
            warn(&format!("{file}, line {line}: {message}"));
        }
    }
    outputs.write(common, false, findings, &|format, style| match format {
        Format::Text => terminal::render(&report, style),
        Format::Plain => plain::render(&report),
        Format::Json | Format::Html => json::render(&report),
    })
}
