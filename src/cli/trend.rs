//! `trend`: how an instrument reads over time.

use super::{Common, End, Ended, Trouble, new, output, progress, validate, warn};
use crate::book::view::View;
use crate::fleet::Fleet;
use crate::fleet::session::Gathering;
use crate::record::Kind;
use crate::report::{fleet_text, trend_json, trend_svg, trend_text};
use crate::rules::{Wanted, run_and_watch};
use crate::source::SourceError;
use clap::ValueEnum;

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// For people at a terminal
    Text,
    /// For programs
    Json,
    /// A drawing
    Svg,
}

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The instrument
    instrument: String,
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    format: Format,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let disk = common.disk()?;
    validate::whole(&disk)?;
    let gathering = Gathering::default();
    let wanted = arguments.instrument.as_str();
    let outcome = progress::watched(common.quiet, &disk, |source| {
        let watch = |view: &View<'_>| {
            if view.check.instrument == wanted {
                gathering.take(view);
            }
        };
        run_and_watch(source, common.clock(), &Wanted::All, Some(&watch))
    })?;
    let sessions = gathering.sessions();
    let book = validate::judged_book(&outcome)?;
    let fleet = Fleet::on(
        book,
        &outcome.links,
        &outcome.with_errors,
        &sessions,
        book.as_of(),
    );
    let ids: Vec<&str> = book.instruments.ids().collect();
    new::known(&ids, Kind::Instrument, wanted)?;
    let member = fleet.members.iter().find(|member| member.id == wanted);
    let Some((member, trend)) = member.and_then(|one| Some((one, one.trend.as_ref()?))) else {
        return Err(Trouble::Unusable(SourceError::new(
            format!("instruments/{wanted}.toml has errors, so its checks make no trend"),
            "run shearbook validate, which tells what is wrong with it, or with what it names",
        )));
    };
    if let Some(errors) = fleet_text::errors(&fleet) {
        warn(&errors);
    }
    output::say(&match arguments.format {
        Format::Text => trend_text::render(member, trend, fleet.as_of, output::style(common).width),
        Format::Json => trend_json::render(member, trend, fleet.as_of),
        Format::Svg => trend_svg::render(member, trend, fleet.as_of),
    });
    Ok(End::Fine)
}
