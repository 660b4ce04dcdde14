//! Whether a change touches what was committed for good: checks, reviews, outcomes of nonconformities.

use crate::parse::layout::{Slot, slot};
use crate::record::Kind;

/// What a path holds that may not change once it is committed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sealed {
    /// The whole file.
    File(Kind),
    /// The table `[outcome]`.
    Outcome,
    Nothing,
}

pub fn sealed(path: &str) -> Sealed {
    match slot(path) {
        Slot::Record(kind @ (Kind::Check | Kind::Review), _) => Sealed::File(kind),
        Slot::Record(Kind::Nonconformity, _) => Sealed::Outcome,
        _ => Sealed::Nothing,
    }
}

/// The `[outcome]` of a nonconformity's bytes, as JSON; `None` where there is none.
pub fn outcome(path: &str, bytes: Vec<u8>) -> Option<serde_json::Value> {
    let parsed =
        crate::parse::parse::<crate::record::nonconformity::Nonconformity>(path, bytes).ok()?;
    Some(parsed.doc?.root.get("/outcome")?.to_json())
}
