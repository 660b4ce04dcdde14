//! `selftest`: the published values, computed by this very program.

use super::{Common, End, Ended, output};
use crate::measure::published::rows;
use crate::report::selftest;
use clap::ValueEnum;

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    /// To read and to file
    Text,
    /// For programs
    Json,
}

#[derive(clap::Args)]
pub(crate) struct Arguments {
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    format: Format,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let rows = rows();
    let version = env!("CARGO_PKG_VERSION");
    let agree = selftest::agree(&rows);
    if !(common.quiet && agree) {
        output::say(&match arguments.format {
            Format::Text => selftest::text(&rows, version, output::style(common).width),
            Format::Json => selftest::json(&rows, version),
        });
    }
    Ok(if agree { End::Fine } else { End::Refused })
}
