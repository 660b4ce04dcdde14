//! `schema`: the JSON Schema of a kind of record, for editors.

use super::{End, Ended, Trouble, output};
use crate::parse::{IMPORT_MAP, IMPORT_MAP_SCHEMA, kinds, schema_text};
use crate::record::{Kind, Word};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// book, policy, person, instrument, geometry, fluid, thermometer, bath, check, review or nonconformity; or
    /// import-map, of what import reads a sheet by
    kind: String,
}

pub(crate) fn run(arguments: &Arguments) -> Ended {
    match Kind::from_word(&arguments.kind) {
        Some(kind) => {
            output::say(schema_text(kind));
            Ok(End::Fine)
        }
        None if arguments.kind == IMPORT_MAP => {
            output::say(IMPORT_MAP_SCHEMA);
            Ok(End::Fine)
        }
        None => Err(Trouble::Usage(format!(
            "there is no kind of record {}; the kinds are {}",
            arguments.kind,
            kinds().join(", ")
        ))),
    }
}
