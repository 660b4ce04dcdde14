//! Schema and records must know the same keys.

use super::fields::Table;
use super::toml;
use crate::record::bath::Bath;
use crate::record::book::Book;
use crate::record::check::Check;
use crate::record::fluid::Fluid;
use crate::record::geometry::Geometry;
use crate::record::instrument::Instrument;
use crate::record::nonconformity::Nonconformity;
use crate::record::person::Person;
use crate::record::policy::Policy;
use crate::record::review::Review;
use crate::record::thermometer::Thermometer;
use crate::record::{Fields, Kind, Record};
use serde_json::Value as Json;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// The keys of a schema, rows as `*`; keys that a laboratory chooses are not among them.
fn keys(schema: &Json, node: &Json, at: &str, into: &mut BTreeSet<String>) {
    let node = match node.get("$ref").and_then(Json::as_str) {
        Some(reference) => schema
            .pointer(reference.trim_start_matches('#'))
            .expect("a $ref"),
        None => node,
    };
    for (key, inner) in node
        .get("properties")
        .and_then(Json::as_object)
        .into_iter()
        .flatten()
    {
        let pointer = format!("{at}/{key}");
        into.insert(pointer.clone());
        keys(schema, inner, &pointer, into);
    }
    if let Some(items) = node.get("items") {
        keys(schema, items, &format!("{at}/*"), into);
    }
}

fn files(kind: Kind, which: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/corpus")
        .join(kind.word())
        .join(which);
    let mut files: Vec<PathBuf> = walkdir::WalkDir::new(folder)
        .into_iter()
        .map(|entry| entry.expect("entry").into_path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "toml"))
        .collect();
    files.sort();
    assert!(!files.is_empty(), "{} {which}", kind.word());
    files
}

#[expect(clippy::disallowed_methods, reason = "a test reads its corpus")]
fn bytes(path: &Path) -> Vec<u8> {
    std::fs::read(path).expect("corpus file")
}

/// Keys read by the record over all valid files of the corpus.
fn asked<R: Record>() -> BTreeSet<String> {
    let mut all = BTreeSet::new();
    for path in files(R::KIND, "valid") {
        let doc = toml::read("x.toml", bytes(&path), &mut Vec::new()).expect("readable");
        let mut table = Table::new(&doc);
        assert!(R::read(&mut table).is_some(), "{}", path.display());
        all.extend(table.asked());
    }
    all
}

fn parity<R: Record>() {
    let schema: Json = serde_json::from_str(super::schema_text(R::KIND)).expect("schema");
    let mut known = BTreeSet::new();
    keys(&schema, &schema, "", &mut known);
    assert_eq!(asked::<R>(), known, "{}", R::KIND.word());
}

/// The keys of the map's schema, and those that a reading of some map asks for.
pub(crate) fn import_map_keys<M>(
    texts: &[&str],
    read: impl Fn(&mut dyn Fields) -> Option<M>,
) -> (BTreeSet<String>, BTreeSet<String>) {
    let schema: Json = serde_json::from_str(super::IMPORT_MAP_SCHEMA).expect("schema");
    let mut known = BTreeSet::new();
    keys(&schema, &schema, "", &mut known);
    let mut all = BTreeSet::new();
    for text in texts {
        let bytes = text.as_bytes().to_vec();
        let doc = toml::read("x.toml", bytes, &mut Vec::new()).expect("readable");
        let mut table = Table::new(&doc);
        assert!(read(&mut table).is_some(), "{text}");
        all.extend(table.asked());
    }
    (known, all)
}

fn corpus<R: Record>() {
    for path in files(R::KIND, "valid") {
        let parsed = super::parse::<R>("x.toml", bytes(&path)).expect("schema and record agree");
        assert!(
            parsed.faults.is_empty(),
            "{}: {:?}",
            path.display(),
            parsed.faults
        );
        assert!(parsed.record.is_some(), "{}", path.display());
    }
    for path in files(R::KIND, "invalid") {
        let parsed = super::parse::<R>("x.toml", bytes(&path)).expect("schema and record agree");
        assert!(!parsed.faults.is_empty(), "{}", path.display());
        assert!(parsed.record.is_none(), "{}", path.display());
        for fault in &parsed.faults {
            assert!(
                !fault.help.is_empty(),
                "{}: {} has no help",
                path.display(),
                fault.message
            );
        }
    }
}

macro_rules! each_kind {
    ($($name:ident: $record:ty),+ $(,)?) => {
        $(mod $name {
            use super::*;

            #[test]
            fn schema_and_record_know_the_same_keys() {
                parity::<$record>();
            }

            #[test]
            fn the_corpus_is_judged_as_its_names_say() {
                corpus::<$record>();
            }
        })+
    };
}

each_kind!(
    book: Book,
    policy: Policy,
    person: Person,
    instrument: Instrument,
    geometry: Geometry,
    fluid: Fluid,
    thermometer: Thermometer,
    bath: Bath,
    check: Check,
    review: Review,
    nonconformity: Nonconformity,
);
