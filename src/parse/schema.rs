//! The JSON Schemas of `schema/`, and their errors in an analyst's words.

use super::edit::{quoted, value_of};
use super::instance::Tree;
use super::toml::{Node, Value, escape, unescape};
use super::{Doc, FORMAT, Fault, FaultKind, METHOD};
use crate::record::{Kind, Word};
use crate::text::nearest;
use jsonschema::error::{TypeKind, ValidationError, ValidationErrorKind};
use jsonschema::{PatternCache, Validator};
use serde_json::Value as Json;
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// A schema as it stands in `schema/`, and the same as `build.rs` makes it.
macro_rules! texts {
    ($kind:literal) => {
        (
            include_str!(concat!("../../schema/", $kind, ".schema.json")),
            include_str!(concat!(env!("OUT_DIR"), "/", $kind, ".schema.json")),
        )
    };
}

/// What a schema describes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Subject {
    Record(Kind),
    /// No record: what `import` reads a sheet by.
    ImportMap,
}

impl Subject {
    fn word(self) -> &'static str {
        match self {
            Subject::Record(kind) => kind.word(),
            Subject::ImportMap => IMPORT_MAP,
        }
    }

    /// How a sentence names the whole file.
    fn whole(self) -> &'static str {
        match self {
            Subject::Record(_) => "this record",
            Subject::ImportMap => "this map",
        }
    }
}

/// The word by which `schema` prints that of the map.
pub const IMPORT_MAP: &str = "import-map";

/// The text of the schema of the map, as it stands in `schema/`.
pub const IMPORT_MAP_SCHEMA: &str = texts!("import-map").0;

const fn texts(kind: Kind) -> (&'static str, &'static str) {
    match kind {
        Kind::Book => texts!("book"),
        Kind::Policy => texts!("policy"),
        Kind::Person => texts!("person"),
        Kind::Instrument => texts!("instrument"),
        Kind::Geometry => texts!("geometry"),
        Kind::Fluid => texts!("fluid"),
        Kind::Thermometer => texts!("thermometer"),
        Kind::Bath => texts!("bath"),
        Kind::Check => texts!("check"),
        Kind::Review => texts!("review"),
        Kind::Nonconformity => texts!("nonconformity"),
    }
}

/// The text of a kind's schema, as it stands in `schema/`.
pub const fn schema_text(kind: Kind) -> &'static str {
    texts(kind).0
}

struct Schema {
    /// As it stands in `schema/`.
    text: &'static str,
    /// Says whether a file is as the schema describes it.
    validator: Validator<Tree>,
    json: OnceLock<Json>,
    /// Says what is wrong with a file that is not.
    explainer: OnceLock<Option<Validator>>,
}

impl Schema {
    /// The whole schema, with its descriptions.
    fn json(&self) -> &Json {
        self.json
            .get_or_init(|| serde_json::from_str(self.text).unwrap_or_default())
    }
}

/// The schemas share most of their patterns.
static PATTERNS: OnceLock<PatternCache> = OnceLock::new();

/// Each is built when the first record of its kind is read.
fn schema(subject: Subject) -> Option<&'static Schema> {
    static SCHEMAS: [OnceLock<Option<Schema>>; Kind::ALL.len() + 1] =
        [const { OnceLock::new() }; Kind::ALL.len() + 1];
    let (index, (text, short)) = match subject {
        Subject::Record(kind) => {
            let mut all = Kind::ALL.iter();
            (all.position(|(_, other)| *other == kind)?, texts(kind))
        }
        Subject::ImportMap => (Kind::ALL.len(), texts!("import-map")),
    };
    let build = || {
        let json: Json = serde_json::from_str(short).ok()?;
        // The patterns say all that formats would, and more.
        let validator = jsonschema::options_for::<Tree>()
            .should_validate_formats(false)
            .with_pattern_options(jsonschema::PatternOptions::regex())
            .with_pattern_cache(PATTERNS.get_or_init(PatternCache::new).clone())
            .build(&json)
            .ok()?;
        Some(Schema {
            text,
            validator,
            json: OnceLock::new(),
            explainer: OnceLock::new(),
        })
    };
    SCHEMAS.get(index)?.get_or_init(build).as_ref()
}

/// What the values of a key are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wants {
    Number,
    Flag,
    Time,
    Text,
    /// A list or a table.
    More,
}

/// What a key's values are, whatever the kind of record; `None` where no schema knows the key, or several differ.
pub(super) fn wants(key: &str) -> Option<Wants> {
    static KEYS: OnceLock<BTreeMap<String, Option<Wants>>> = OnceLock::new();
    let keys = KEYS.get_or_init(|| {
        let mut keys = BTreeMap::new();
        for (_, kind) in Kind::ALL {
            if let Some(schema) = schema(Subject::Record(*kind)) {
                gather(schema.json(), schema.json(), &mut keys);
            }
        }
        keys
    });
    keys.get(key).copied().flatten()
}

fn gather(schema: &Json, node: &Json, keys: &mut BTreeMap<String, Option<Wants>>) {
    let inner: Vec<&Json> = match node {
        Json::Object(entries) => entries.values().collect(),
        Json::Array(items) => items.iter().collect(),
        _ => return,
    };
    for (key, value) in node
        .get("properties")
        .and_then(Json::as_object)
        .into_iter()
        .flatten()
    {
        let Some(wanted) = resolve(schema, value).and_then(wanted) else {
            continue;
        };
        // A name serves a list in one kind of record and a value in another: [[bottle]] and bottle.
        keys.entry(key.clone())
            .and_modify(|known| match *known {
                Some(Wants::More) => *known = Some(wanted),
                Some(other) if wanted != Wants::More && other != wanted => *known = None,
                _ => {}
            })
            .or_insert(Some(wanted));
    }
    for value in inner {
        gather(schema, value, keys);
    }
}

fn wanted(node: &Json) -> Option<Wants> {
    let text = |key| node.get(key).and_then(Json::as_str);
    match text("type") {
        Some("number" | "integer") => Some(Wants::Number),
        Some("boolean") => Some(Wants::Flag),
        Some("array" | "object") => Some(Wants::More),
        Some("string") => match text("pattern") {
            Some(pattern) if pattern.starts_with("^[0-9]{4}-") => Some(Wants::Time),
            _ => Some(Wants::Text),
        },
        _ => match node.get("const").is_some_and(Json::is_number) {
            true => Some(Wants::Number),
            false => node.get("enum").map(|_| Wants::Text),
        },
    }
}

/// What a schema says of one key of a kind of record.
#[derive(Default)]
pub(super) struct Key {
    pub(super) description: Option<String>,
    /// The words of a closed list.
    pub(super) words: Vec<String>,
    pub(super) is_number: bool,
    pub(super) entries: Option<Entries>,
    /// A value that fits, as TOML writes it: the example of its description where there is one.
    pub(super) sample: Option<String>,
}

/// What the entries of a list are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Entries {
    Figures,
    Texts,
    /// Each with the keys that it needs, all figures, and what is said of them.
    Rows(Vec<(String, String)>),
}

pub(super) fn key(kind: Kind, pointer: &str) -> Key {
    let Some(schema) = schema(Subject::Record(kind)).map(Schema::json) else {
        return Key::default();
    };
    let Some(node) = subschema(schema, pointer) else {
        return Key::default();
    };
    let description = describe(schema, pointer);
    let words: Vec<String> = node
        .get("enum")
        .and_then(Json::as_array)
        .map(|all| all.iter().filter_map(Json::as_str))
        .map(|all| all.map(str::to_owned).collect())
        .unwrap_or_default();
    let items = node.get("items").and_then(|items| resolve(schema, items));
    let entries = items.and_then(|items| entries(schema, items));
    let example = description.as_deref().and_then(|text| {
        let (_, rest) = text.split_once("Example: ")?;
        let is_end = |at: &usize| rest[*at..].starts_with(". ") || rest.len() == at + 1;
        let mut ends = rest.match_indices('.').map(|(at, _)| at).filter(is_end);
        ends.find_map(|at| value_of(&rest[..at]))
    });
    let sample = match (words.first(), wanted(node)) {
        (Some(word), _) => Some(quoted(word)),
        (None, _) if example.is_some() => example,
        (None, Some(Wants::Number)) => Some("1".to_owned()),
        (None, Some(Wants::Flag)) => Some("true".to_owned()),
        (None, Some(Wants::Time)) => Some("2026-01-01".to_owned()),
        (None, Some(Wants::Text)) => Some("\"x\"".to_owned()),
        _ => None,
    };
    Key {
        description,
        words,
        is_number: wanted(node) == Some(Wants::Number),
        entries,
        sample,
    }
}

fn entries(schema: &Json, items: &Json) -> Option<Entries> {
    match wanted(items)? {
        Wants::Number => Some(Entries::Figures),
        Wants::Text => Some(Entries::Texts),
        Wants::More => {
            let needed = items.get("required")?.as_array()?.iter();
            let rows: Option<Vec<(String, String)>> = needed
                .map(|key| {
                    let key = key.as_str()?;
                    let node = resolve(schema, items.get("properties")?.get(key)?)?;
                    let description = node.get("description")?.as_str()?;
                    let figure = wanted(node) == Some(Wants::Number);
                    figure.then(|| (key.to_owned(), description.to_owned()))
                })
                .collect();
            rows.map(Entries::Rows)
        }
        _ => None,
    }
}

/// How a sentence about a missing key begins to end; such a sentence is dropped where broken lines may have held the key.
pub(super) const MISSING: &str = "is missing";

pub(super) fn validate(subject: Subject, doc: &Doc, faults: &mut Vec<Fault>) {
    let format = doc.root.child("format");
    judge_edition(doc, "/format", format, FORMAT, faults);
    match subject {
        Subject::Record(Kind::Policy) => {
            let method = doc.root.child("method");
            judge_edition(doc, "/method", method, METHOD, faults);
        }
        Subject::Record(Kind::Check) => {
            if let Some(computed) = doc.root.child("computed") {
                let method = computed.child("method");
                judge_edition(doc, "/computed/method", method, METHOD, faults);
            }
        }
        _ => {}
    }
    if let Some(schema) = schema(subject)
        && !schema.validator.is_valid(&doc.root)
    {
        say_errors(subject, doc, schema, faults);
    }
    for fault in faults.iter_mut().filter(|fault| fault.help.is_empty()) {
        fault.help = format!("shearbook schema {} describes every key", subject.word());
    }
}

fn say_errors(subject: Subject, doc: &Doc, schema: &Schema, faults: &mut Vec<Fault>) {
    let build = || {
        jsonschema::options()
            .with_pattern_options(jsonschema::PatternOptions::regex())
            .build(schema.json())
            .ok()
    };
    let Some(explainer) = schema.explainer.get_or_init(build) else {
        return;
    };
    if let (Subject::Record(own), Some(other)) = (subject, other_kind(subject, doc)) {
        faults.push(misplaced(own, other, doc));
        return;
    }
    let instance = doc.root.to_json();
    let mut seen = Vec::new();
    for error in explainer.iter_errors(&instance) {
        let at = error.instance_path().as_str();
        if is_edition(subject, at)
            || is_edition_missing(subject, &error)
            || holds_null(&instance, at)
        {
            continue;
        }
        for fault in say(&error, at, doc, schema.json(), subject) {
            let key = (fault.place.pointer.clone(), fault.message.clone());
            if !seen.contains(&key) {
                seen.push(key);
                faults.push(fault);
            }
        }
    }
}

/// A value that is no number became null; the rule not-a-number speaks of it.
fn holds_null(instance: &Json, pointer: &str) -> bool {
    instance.pointer(pointer).is_some_and(Json::is_null)
}

/// The keys that say by which edition a file is to be read; the rule format-unknown speaks of them.
fn is_edition(subject: Subject, at: &str) -> bool {
    match subject {
        Subject::Record(Kind::Policy) => matches!(at, "/format" | "/method"),
        Subject::Record(Kind::Check) => matches!(at, "/format" | "/computed/method"),
        _ => at == "/format",
    }
}

fn is_edition_missing(subject: Subject, error: &ValidationError<'_>) -> bool {
    let ValidationErrorKind::Required { property } = error.kind() else {
        return false;
    };
    let property = property.as_str().unwrap_or("");
    is_edition(
        subject,
        &format!("{}/{property}", error.instance_path().as_str()),
    )
}

fn judge_edition(
    doc: &Doc,
    pointer: &str,
    found: Option<&Node>,
    known: i64,
    faults: &mut Vec<Fault>,
) {
    if found.is_some_and(|node| matches!(node.value, Value::Integer(edition) if edition == known)) {
        return;
    }
    let key = pointer.rsplit('/').next().unwrap_or("");
    let (message, help) = match found.map(Node::to_json) {
        None => (
            format!(
                "the file does not say its {key}; {known} is the one that this shearbook knows"
            ),
            match key {
                "format" => format!("write format = {known} as the first line"),
                _ => format!("write {key} = {known}"),
            },
        ),
        Some(other) if other.as_i64().is_some_and(|edition| edition > known) => (
            format!("{key} {other} is newer than this shearbook, which knows {known}"),
            "use a newer shearbook; this one cannot judge the record".to_owned(),
        ),
        Some(other) => (
            format!("there is no {key} {other}; this shearbook knows {known}"),
            format!("write {key} = {known}"),
        ),
    };
    faults.push(Fault {
        kind: FaultKind::Format,
        place: doc.place(pointer),
        message,
        help,
        because: None,
    });
}

fn say(
    error: &ValidationError<'_>,
    at: &str,
    doc: &Doc,
    schema: &Json,
    subject: Subject,
) -> Vec<Fault> {
    let name = at.rsplit('/').next().unwrap_or("");
    let key = key_name(doc, at);
    let written = written(doc, at);
    let described = describe(schema, at);
    let fault = |pointer: &str, message: String, help: String| Fault {
        kind: FaultKind::Schema,
        place: doc.place(pointer),
        message,
        help,
        because: None,
    };
    match error.kind() {
        ValidationErrorKind::AdditionalProperties { unexpected }
        | ValidationErrorKind::UnevaluatedProperties { unexpected } => {
            // What follows it is of the second record too.
            match unexpected.iter().any(|key| key == "format") && !at.is_empty() {
                true => vec![second_record(doc, at)],
                false => unexpected
                    .iter()
                    .map(|unknown| unknown_key(doc, schema, at, unknown))
                    .collect(),
            }
        }
        ValidationErrorKind::Required { property } => {
            let property = property.as_str().unwrap_or("");
            let pointer = format!("{at}/{}", escape(property));
            let table = match at {
                "" => subject.whole().to_owned(),
                _ => table_name(at),
            };
            let mut help = describe(schema, &pointer).unwrap_or_else(|| format!("add {property}"));
            if at.starts_with("/point/") && is_void(doc) {
                help += ". A void check needs no points: delete the row with its [[point]] line where nothing was read";
            }
            let mut missing = fault(&pointer, format!("{property} {MISSING} from {table}"), help);
            missing.place.pointer = at.to_owned();
            vec![missing]
        }
        ValidationErrorKind::FalseSchema => {
            let reason = branch_description(schema, error.schema_path().as_str());
            let mut refused = fault(
                at,
                format!("{name} does not belong here beside the other keys"),
                reason.unwrap_or_else(|| {
                    format!("delete {name}, or look at the keys it stands beside")
                }),
            );
            refused.place = doc.place_of_key(at);
            vec![refused]
        }
        ValidationErrorKind::Not { .. } => vec![fault(
            at,
            format!(
                "{} are not allowed together",
                if name.is_empty() { "these keys" } else { name }
            ),
            branch_description(schema, error.schema_path().as_str())
                .or(described)
                .unwrap_or_default(),
        )],
        ValidationErrorKind::Enum { options } => {
            let words: Vec<&str> = options
                .as_array()
                .map(|all| all.iter().filter_map(Json::as_str).collect())
                .unwrap_or_default();
            let given = error.instance().as_str().unwrap_or("");
            let help = match nearest(given, words.iter().copied()) {
                Some(word) => format!(
                    "did you mean \"{word}\"? It is one of: {}",
                    words.join(", ")
                ),
                None => format!("it is one of: {}", words.join(", ")),
            };
            vec![fault(at, format!("{key} cannot be {written}"), help)]
        }
        ValidationErrorKind::Type { kind } => vec![fault(
            at,
            format!(
                "{key} = {written} is {}, and must be {}",
                match doc.root.get(at).map(|node| &node.value) {
                    Some(Value::Time(..)) => "a date or time",
                    _ => type_of(error.instance()),
                },
                type_words(kind)
            ),
            type_help(error.instance(), kind, name)
                .or(described)
                .unwrap_or_default(),
        )],
        ValidationErrorKind::ExclusiveMinimum { limit } => vec![fault(
            at,
            format!("{key} = {written} must be more than {limit}"),
            described.unwrap_or_default(),
        )],
        ValidationErrorKind::Minimum { limit } => vec![fault(
            at,
            format!("{key} = {written} must be at least {limit}"),
            described.unwrap_or_default(),
        )],
        ValidationErrorKind::ExclusiveMaximum { limit } => vec![fault(
            at,
            format!("{key} = {written} must be less than {limit}"),
            described.unwrap_or_default(),
        )],
        ValidationErrorKind::Maximum { limit } => vec![fault(
            at,
            format!("{key} = {written} must be at most {limit}"),
            described.unwrap_or_default(),
        )],
        ValidationErrorKind::MinItems { limit } => vec![fault(
            at,
            format!(
                "{key} needs at least {limit} entr{}",
                if *limit == 1 { "y" } else { "ies" }
            ),
            described.unwrap_or_default(),
        )],
        ValidationErrorKind::MaxItems { limit } => vec![fault(
            at,
            format!("{key} has more than {limit} entries"),
            described.unwrap_or_default(),
        )],
        ValidationErrorKind::UniqueItems => vec![fault(
            at,
            format!("{key} holds an entry twice"),
            "delete the second one".to_owned(),
        )],
        ValidationErrorKind::Pattern { .. } | ValidationErrorKind::Format { .. } => vec![fault(
            at,
            format!("{key} = {written} is not written as it must be"),
            described.unwrap_or_default(),
        )],
        ValidationErrorKind::MaxLength { limit } => vec![fault(
            at,
            format!("{key} = {written} has more than {limit} characters"),
            described.unwrap_or_default(),
        )],
        ValidationErrorKind::Constant { expected_value } => vec![fault(
            at,
            format!("{key} = {written} must be {expected_value}"),
            described.unwrap_or_default(),
        )],
        ValidationErrorKind::PropertyNames { error } => {
            let named = error.instance().as_str().unwrap_or_default().to_owned();
            let names = subschema(schema, at).and_then(|node| node.get("propertyNames"));
            let names = names.and_then(|node| resolve(schema, node)?.get("description"));
            let help = names.and_then(Json::as_str).map(str::to_owned);
            vec![Fault {
                kind: FaultKind::Schema,
                place: doc.place_of_key(&format!("{at}/{}", escape(&named))),
                message: format!("\"{named}\" is no name that can stand under {key}"),
                help: help.or(described).unwrap_or_default(),
                because: None,
            }]
        }
        _ => vec![fault(
            at,
            format!("{key}: {error}"),
            described.unwrap_or_default(),
        )],
    }
}

/// A table as other sentences name it: `[preparation]`, `point 3`, `corrections 2 of calibration 1`.
fn table_name(at: &str) -> String {
    let mut names: Vec<String> = Vec::new();
    for step in at.split('/').skip(1) {
        match (step.parse::<usize>(), names.last_mut()) {
            (Ok(index), Some(name)) => *name += &format!(" {}", index + 1),
            _ => names.push(step.to_owned()),
        }
    }
    if names.iter().any(|name| name.contains(' ')) {
        names.reverse();
        return names.join(" of ");
    }
    format!("[{}]", names.join("."))
}

fn key_name(doc: &Doc, at: &str) -> String {
    let Some((above, last)) = at.rsplit_once('/') else {
        return "this record".to_owned();
    };
    let list = doc.root.get(above).map(|node| &node.value);
    match (list, last.parse::<usize>()) {
        (Some(Value::Array(_)), Ok(index)) => {
            let list = above.rsplit('/').next().unwrap_or("");
            format!("entry {} of {list}", index + 1)
        }
        _ => unescape(last).into_owned(),
    }
}

fn written(doc: &Doc, at: &str) -> String {
    let text = doc
        .root
        .get(at)
        .map_or("", |node| doc.text.slice(node.span));
    let mut line = text.lines().next().unwrap_or("").to_owned();
    if line.chars().count() > 60 {
        line = line.chars().take(57).chain("...".chars()).collect();
    }
    line
}

fn is_void(doc: &Doc) -> bool {
    let void = doc.root.child("void");
    void.is_some_and(|void| matches!(void.value, Value::Flag(true)))
}

/// Every record begins with its format, so one that stands in a table begins another.
fn second_record(doc: &Doc, at: &str) -> Fault {
    Fault {
        kind: FaultKind::Schema,
        place: doc.place_of_key(&format!("{at}/format")),
        message: "a second record seems to begin here, and a file holds one".to_owned(),
        help: "move what begins with this line to a file of its own".to_owned(),
        because: None,
    }
}

/// The kind whose keys these are, where they are not those of the kind that belongs at this place.
fn other_kind(subject: Subject, doc: &Doc) -> Option<Kind> {
    let Subject::Record(own) = subject else {
        return None;
    };
    let instance = doc.root.to_json();
    let keys = instance.as_object()?;
    let strangers = |kind: Kind| {
        let known = schema(Subject::Record(kind))?.json().get("properties")?;
        Some(keys.keys().filter(|key| known.get(key).is_none()).count())
    };
    let complete = |kind: Kind| {
        let required = schema(Subject::Record(kind))?.json().get("required")?;
        let mut required = required.as_array()?.iter().filter_map(Json::as_str);
        Some(required.all(|key| keys.contains_key(key)))
    };
    // One slip does not make a record of another kind.
    if strangers(own)? < 2 {
        return None;
    }
    let mut kinds = Kind::ALL.iter().map(|(_, kind)| *kind);
    kinds.find(|kind| *kind != own && strangers(*kind) == Some(0) && complete(*kind) == Some(true))
}

fn misplaced(own: Kind, other: Kind, doc: &Doc) -> Fault {
    let belongs = match other {
        Kind::Book => "the book's folder, as shearbook.toml".to_owned(),
        Kind::Check => "checks/<year>/<instrument>/<YYYY-MM-DD-HHMM>.toml".to_owned(),
        Kind::Review => "reviews/, where shearbook review puts it".to_owned(),
        _ => format!("{}/<id>.toml", other.folder()),
    };
    Fault {
        kind: FaultKind::Schema,
        place: doc.place(""),
        message: format!(
            "this file has the keys of a record of the kind {}, and stands where one of the kind {} belongs",
            other.word(),
            own.word()
        ),
        help: format!(
            "move it to {belongs}; or write a new one with shearbook new {}",
            own.word()
        ),
        because: None,
    }
}

fn unknown_key(doc: &Doc, schema: &Json, at: &str, unknown: &str) -> Fault {
    let pointer = format!("{at}/{}", escape(unknown));
    let known = known_keys(schema, at);
    let mut message = format!("there is no key {unknown} here");
    let mut help = format!("known here: {}", known.join(", "));
    if let Some(key) = nearest(unknown, known.iter().map(String::as_str)) {
        message += &format!("; did you mean {key}?");
        if let Some(text) = describe(schema, &format!("{at}/{key}")) {
            help = format!("{key}: {text}");
        }
    } else if let Some(place) = known_elsewhere(schema, unknown, at) {
        help = format!(
            "{unknown} belongs {place}; a key under a [table] or [[row]] header belongs to that table"
        );
    }
    Fault {
        kind: FaultKind::Schema,
        place: doc.place_of_key(&pointer),
        message,
        help,
        because: None,
    }
}

/// The key stands, spelled so, at the top of the record or in one of its tables.
fn known_elsewhere(schema: &Json, key: &str, at: &str) -> Option<String> {
    let top = resolve(schema, schema)?.get("properties")?.as_object()?;
    if !at.is_empty() && top.contains_key(key) {
        return Some("at the top of the record, before the first header".to_owned());
    }
    top.iter().find_map(|(table, value)| {
        let value = resolve(schema, value)?;
        let inner = value
            .get("items")
            .and_then(|items| resolve(schema, items))
            .unwrap_or(value);
        let keys = inner.get("properties")?.as_object()?;
        let here = at.trim_start_matches('/').split('/').next() == Some(table.as_str());
        (keys.contains_key(key) && !here).then(|| format!("under {table}"))
    })
}

fn known_keys(schema: &Json, at: &str) -> Vec<String> {
    subschema(schema, at)
        .and_then(|table| table.get("properties"))
        .and_then(Json::as_object)
        .map(|keys| keys.keys().cloned().collect())
        .unwrap_or_default()
}

/// The description of the key that a pointer names; of a row or an entry that of its list.
fn describe(schema: &Json, at: &str) -> Option<String> {
    let mut node = schema;
    let mut found = None;
    for step in at.split('/').skip(1) {
        node = step_into(schema, node, step)?;
        let own = node
            .get("description")
            .or_else(|| resolve(schema, node)?.get("description"));
        if own.is_some() || step.parse::<usize>().is_err() {
            found = own;
        }
    }
    found.and_then(Json::as_str).map(str::to_owned)
}

fn subschema<'a>(schema: &'a Json, at: &str) -> Option<&'a Json> {
    let mut node = schema;
    for step in at.split('/').skip(1) {
        node = resolve(schema, step_into(schema, node, step)?)?;
    }
    resolve(schema, node)
}

fn step_into<'a>(schema: &'a Json, node: &'a Json, step: &str) -> Option<&'a Json> {
    let node = resolve(schema, node)?;
    if let Some(found) = node.get("properties").and_then(|keys| keys.get(step)) {
        return Some(found);
    }
    let chosen = || {
        let values = node.get("patternProperties").and_then(Json::as_object);
        values
            .and_then(|values| values.values().next())
            .or_else(|| node.get("additionalProperties"))
    };
    match step.parse::<usize>() {
        Ok(_) => node.get("items").or_else(chosen),
        Err(_) => chosen(),
    }
}

fn resolve<'a>(schema: &'a Json, node: &'a Json) -> Option<&'a Json> {
    match node.get("$ref").and_then(Json::as_str) {
        Some(reference) => schema.pointer(reference.trim_start_matches('#')),
        None => Some(node),
    }
}

/// The description of the innermost if/then branch that refused, which says why.
fn branch_description(schema: &Json, schema_path: &str) -> Option<String> {
    let mut path = schema_path;
    while let Some((parent, _)) = path.rsplit_once('/') {
        let named =
            path.ends_with("/then") || path.ends_with("/else") || parent.ends_with("/allOf");
        if named
            && let Some(text) = schema
                .pointer(path)
                .and_then(|node| node.get("description"))
        {
            return text.as_str().map(str::to_owned);
        }
        path = parent;
    }
    None
}

fn type_of(value: &Json) -> &'static str {
    match value {
        Json::Null => "nothing",
        Json::Bool(_) => "true or false",
        Json::Number(_) => "a number",
        Json::String(_) => "a text",
        Json::Array(_) => "a list",
        Json::Object(_) => "a table",
    }
}

fn type_words(kind: &TypeKind) -> String {
    let word = |kind: &str| {
        match kind {
            "string" => "a text",
            "integer" => "a whole number",
            "number" => "a number",
            "boolean" => "true or false",
            "array" => "a list",
            "object" => "a table",
            _ => "nothing",
        }
        .to_owned()
    };
    match kind {
        TypeKind::Single(kind) => word(&kind.to_string()),
        TypeKind::Multiple(set) => {
            let words: Vec<String> = set.iter().map(|kind| word(&kind.to_string())).collect();
            words.join(" or ")
        }
    }
}

fn type_help(value: &Json, kind: &TypeKind, name: &str) -> Option<String> {
    let wanted = type_words(kind);
    let text = value.as_str()?;
    if wanted == "true or false" {
        return Some(match super::syntax::flag(text) {
            Some(word) => format!("write {name} = {word}, without quotation marks"),
            None => format!("write {name} = true or {name} = false, without quotation marks"),
        });
    }
    if !wanted.contains("number") {
        return (wanted == "a table")
            .then(|| format!("write [{name}] or [[{name}]] as a header and its keys under it"));
    }
    let with_point = text.trim().replace(',', ".");
    match with_point.parse::<f64>() {
        Ok(_) => Some(format!("write {name} = {with_point} with a decimal point and without quotation marks")),
        Err(_) => Some("write the figure alone, without quotation marks and without a unit; the key names the unit".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_is_named_by_its_number() {
        assert_eq!(table_name("/preparation"), "[preparation]");
        assert_eq!(table_name("/point/2"), "point 3");
        assert_eq!(
            table_name("/calibration/0/corrections/1"),
            "corrections 2 of calibration 1"
        );
    }

    fn every_schema(mut judge: impl FnMut(&str, &Json)) {
        let subjects = Kind::ALL.iter().map(|(_, kind)| Subject::Record(*kind));
        for subject in subjects.chain([Subject::ImportMap]) {
            judge(subject.word(), schema(subject).expect("a schema").json());
        }
    }

    /// What is judged by is said to be of draft 7, and what is told comes from the schema as it stands, of 2020-12.
    #[test]
    fn an_id_is_judged_as_its_schema_says() {
        let (text, short) = texts(Kind::Check);
        let id = |text: &str| {
            let schema: Json = serde_json::from_str(text).expect("JSON");
            jsonschema::validator_for(&schema["$defs"]["id"]).expect("a schema")
        };
        // That of the gate is another, or build.rs no longer knows the pattern.
        let shorter: Json = serde_json::from_str(short).expect("JSON");
        assert_eq!(shorter["$defs"]["id"]["maxLength"], 64);
        let (published, own) = (id(text), id(short));
        let mut judged = [0, 0];
        let mut judge = |id: String| {
            let id = Json::from(id);
            let fits = published.is_valid(&id);
            assert_eq!(own.is_valid(&id), fits, "{id}");
            judged[usize::from(fits)] += 1;
        };
        let letters = ["", "a", "Z", "0", ".", "_", "-", "/", " ", "\n", "\u{e9}"];
        for first in letters {
            for middle in letters {
                for last in letters {
                    for length in [0, 1, 2, 61, 62, 63, 64] {
                        judge(format!("{first}{}{last}", middle.repeat(length)));
                    }
                }
            }
        }
        assert!(judged.iter().all(|count| *count > 500), "{judged:?}");
    }

    #[test]
    fn both_drafts_read_the_schemas_alike() {
        const LATER: [&str; 12] = [
            "prefixItems",
            "unevaluatedItems",
            "unevaluatedProperties",
            "dependentRequired",
            "dependentSchemas",
            "minContains",
            "maxContains",
            "$anchor",
            "$dynamicRef",
            "$dynamicAnchor",
            "$recursiveRef",
            "$vocabulary",
        ];
        fn walk(node: &Json, path: &str) {
            if let Some(entries) = node.as_object() {
                for later in LATER {
                    assert!(!entries.contains_key(later), "{path}: {later}");
                }
                // Draft 7 does not look at what stands beside a reference; earlier drafts read lists and `dependencies` otherwise.
                let beside = entries
                    .keys()
                    .find(|key| !matches!(key.as_str(), "$ref" | "description"));
                if entries.contains_key("$ref") {
                    assert_eq!(beside, None, "{path}");
                }
                assert!(!entries.contains_key("dependencies"), "{path}");
                assert!(!entries.get("items").is_some_and(Json::is_array), "{path}");
                for (key, below) in entries {
                    walk(below, &format!("{path}/{key}"));
                }
            }
            for below in node.as_array().into_iter().flatten() {
                walk(below, path);
            }
        }
        every_schema(|name, schema| {
            assert_eq!(
                schema["$schema"], "https://json-schema.org/draft/2020-12/schema",
                "{name}"
            );
            assert!(jsonschema::meta::is_valid(schema), "{name}");
            walk(schema, name);
        });
    }

    #[test]
    fn a_chosen_name_has_at_most_64_characters() {
        let says = |usage: &str| {
            let text = format!("usage = {}\n", quoted(usage));
            let parsed = crate::parse::parse::<crate::record::instrument::Instrument>(
                "instruments/VM-01.toml",
                text.into_bytes(),
            );
            let faults = parsed.unwrap().faults.into_iter();
            let of_usage = faults.filter(|fault| fault.place.pointer == "/usage");
            of_usage.map(|fault| fault.message).collect::<Vec<_>>()
        };
        assert_eq!(says("a"), Vec::<String>::new());
        assert_eq!(says(&"ä".repeat(64)), Vec::<String>::new());
        let long = says(&"ä".repeat(65));
        assert_eq!(long.len(), 1);
        assert!(long[0].ends_with("has more than 64 characters"), "{long:?}");
        for blank in [" a", "a ", "a\nb", " "] {
            assert_eq!(says(blank).len(), 1, "{blank:?}");
        }
    }

    fn faults(policy: &str) -> Vec<Fault> {
        let parsed =
            crate::parse::parse::<crate::record::policy::Policy>("policies/x.toml", policy.into());
        parsed.unwrap().faults
    }

    #[test]
    fn a_key_is_named_as_it_is_written_even_where_it_is_a_number() {
        let faults = faults("note = \"n\"\n[interval]\n7 = 0\n\"a/b\" = 0\n");
        let of = |line: u32| {
            let mut own = faults.iter().filter(|fault| fault.place.line == line);
            own.next()
                .map(|fault| (fault.message.as_str(), fault.help.as_str()))
        };
        let (seven, help) = of(3).unwrap();
        assert_eq!(seven, "7 = 0 must be at least 1");
        assert!(
            help.starts_with("Days from the last passed check"),
            "{help}"
        );
        assert_eq!(of(4).unwrap(), ("a/b = 0 must be at least 1", help));
    }

    #[test]
    fn a_name_that_cannot_stand_is_shown_where_it_stands() {
        let mut faults = faults("[interval]\ndaily = 7\n\" rare\" = 90\n").into_iter();
        let fault = faults
            .find(|fault| fault.message.contains("no name"))
            .unwrap();
        assert_eq!(
            fault.message,
            "\" rare\" is no name that can stand under interval"
        );
        assert_eq!(
            (fault.place.line, fault.place.pointer.as_str()),
            (3, "/interval/ rare")
        );
        assert!(
            fault.help.contains("at most 64 characters"),
            "{}",
            fault.help
        );
    }

    #[test]
    fn what_a_key_wants_is_read_from_the_schemas() {
        assert_eq!(wants("temperature_c"), Some(Wants::Number));
        assert_eq!(wants("levelled"), Some(Wants::Flag));
        assert_eq!(wants("performed"), Some(Wants::Time));
        assert_eq!(wants("bottle"), Some(Wants::Text));
        assert_eq!(wants("speeds_rpm"), Some(Wants::More));
        assert_eq!(wants("operator"), Some(Wants::Text));
        assert_eq!(wants("occasion"), Some(Wants::Text));
        assert_eq!(wants("no_such_key"), None);
    }

    #[test]
    fn what_a_schema_says_of_a_key() {
        let sample = |kind, pointer: &str| key(kind, pointer).sample;
        for (kind, pointer, value) in [
            (Kind::Instrument, "/speeds_rpm", "[1, 2, 5, 15, 30, 45, 60]"),
            (Kind::Instrument, "/usage", "\"daily\""),
            (Kind::Fluid, "/value/0/density_g_ml", "0.8542"),
            (Kind::Fluid, "/base", "\"silicone\""),
            (Kind::Fluid, "/certified", "2026-03-02"),
            (Kind::Person, "/emails", "[\"op-07@lab.example\"]"),
        ] {
            assert_eq!(sample(kind, pointer).as_deref(), Some(value), "{pointer}");
        }
        let entries = |kind, pointer: &str| key(kind, pointer).entries;
        assert_eq!(
            entries(Kind::Instrument, "/speed_range_rpm"),
            Some(Entries::Figures)
        );
        assert_eq!(entries(Kind::Person, "/emails"), Some(Entries::Texts));
        let Some(Entries::Rows(rows)) = entries(Kind::Thermometer, "/calibration/1/corrections")
        else {
            panic!("no rows");
        };
        let keys: Vec<&str> = rows.iter().map(|(key, _)| key.as_str()).collect();
        assert_eq!(keys, ["at_c", "correction_k"]);
        assert_eq!(key(Kind::Fluid, "/base").words.len(), 3);
        assert_eq!(key(Kind::Fluid, "/no_such_key").sample, None);
    }

    #[test]
    fn every_schema_is_valid_and_builds() {
        for (word, kind) in Kind::ALL {
            let json: Json = serde_json::from_str(schema_text(*kind)).expect(word);
            assert!(jsonschema::meta::is_valid(&json), "{word}");
            assert!(schema(Subject::Record(*kind)).is_some(), "{word}");
        }
    }
}
