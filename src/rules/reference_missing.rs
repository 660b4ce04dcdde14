use super::{Rule};
use crate::book::{Book, LoadError};
use crate::finding::{Finding, Severity};
use crate::source::Source;

pub(super) static RULE: Rule = Rule {
    id: "reference-missing",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("reference_missing.md"),
    run: &[],
};

/// Checks that nonconformities name.
pub(super) fn nonconformities(
    _book: &Book,
    _exists: &mut dyn FnMut(&str) -> Result<bool, LoadError>,
    _findings: &mut Vec<Finding>,
) -> Result<(), LoadError> {
    Ok(())
}

/// Checks and records that reviews name.
pub(super) fn reviews(
    _source: &dyn Source,
    _book: &Book,
    _paths: &[(String, String)],
    _exists: &mut dyn FnMut(&str) -> Result<bool, LoadError>,
    _findings: &mut Vec<Finding>,
) -> Result<(), LoadError> {
    Ok(())
}
