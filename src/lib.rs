//! shearbook keeps the checks of rotational viscometers against certified reference fluids as plain TOML in git.
//!
//! Data flows one way: bytes, records, findings and figures, pages. DEVELOPERS.md describes the floors.

#![forbid(unsafe_code)]

pub mod book;
pub mod cli;
pub mod finding;
pub mod fleet;
pub mod history;
pub mod measure;
pub mod parse;
pub mod record;
pub mod report;
pub mod rules;
pub mod sheet;
pub mod source;
pub mod text;
