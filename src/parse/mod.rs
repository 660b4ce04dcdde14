//! From the bytes of a file to its typed record, and every fault on the way in one run.

pub mod candidates;
pub mod edit;
mod fields;
pub mod form;
mod instance;
pub mod layout;
#[cfg(test)]
pub(crate) mod parity;
mod plain;
mod schema;
mod syntax;
mod toml;
pub mod write;

use crate::finding::Place;
use crate::record::{Fields, Kind, Record, Word};
use crate::text::{Span, Text};
use schema::Subject;
pub use schema::{IMPORT_MAP, IMPORT_MAP_SCHEMA, schema_text};
pub use toml::{Node, Value};

/// The edition of the record format that this program writes and reads.
pub const FORMAT: i64 = 1;

/// The edition of computation and rules that this program judges by.
pub const METHOD: i64 = 1;

/// The largest file that is read, in bytes.
pub const MAX_BYTES: u64 = 1 << 20;

/// The deepest nesting that is read.
pub const MAX_DEPTH: usize = 16;

/// What is wrong with a file as it is read. Each kind is one rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum FaultKind {
    Syntax,
    NewerSyntax,
    ByteOrderMark,
    Schema,
    Format,
    NotANumber,
    Limits,
}

#[derive(Clone, Debug)]
pub struct Fault {
    pub kind: FaultKind,
    pub place: Place,
    pub message: String,
    pub help: String,
    /// The other place that makes it wrong, and what stands there.
    pub because: Option<(Place, String)>,
}

/// A file as read: its text, and where each key and value stands.
#[derive(Clone, Debug)]
pub struct Doc {
    pub path: String,
    pub text: Text,
    pub root: Node,
}

impl Doc {
    /// The place of the value that a pointer names; where it is missing, that of the nearest table above it.
    pub fn place(&self, pointer: &str) -> Place {
        let (node, found) = self.root.nearest(pointer);
        self.place_of(node.span, found)
    }

    /// The place of the key that a pointer names, else as [`Doc::place`].
    pub fn place_of_key(&self, pointer: &str) -> Place {
        match self.root.get(pointer) {
            Some(node) => self.place_of(node.key_span, pointer),
            None => self.place(pointer),
        }
    }

    pub fn place_of(&self, span: Span, pointer: &str) -> Place {
        place_in(&self.path, &self.text, span, pointer)
    }
}

fn place_in(path: &str, text: &Text, span: Span, pointer: &str) -> Place {
    let position = text.position(span);
    Place {
        path: path.to_owned(),
        line: position.line,
        column: position.column,
        width: position.width,
        pointer: pointer.to_owned(),
        excerpt: text.excerpt(position.line).to_owned(),
    }
}

/// The place of a whole line, counted from 1.
fn place_of_line(path: &str, text: &Text, line: usize) -> Place {
    let lines = text.as_str().split_inclusive('\n');
    let start = lines.take(line.saturating_sub(1)).map(str::len).sum();
    place_in(
        path,
        text,
        Span::new(start, start + text.line_text(line).len()),
        "",
    )
}

/// A file that was read. The record is there where nothing keeps it from being understood.
pub struct Parsed<R> {
    pub doc: Option<Doc>,
    pub record: Option<R>,
    pub faults: Vec<Fault>,
}

/// The schema accepts a file that the record refuses: a fault of the program, not of the file.
#[derive(Clone, Debug)]
pub struct Disagreement {
    pub path: String,
    pub keys: Vec<String>,
}

impl std::fmt::Display for Disagreement {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            formatter,
            "{}: the schema accepts this file but the program cannot read {}; this is a fault of shearbook, please report it",
            self.path,
            self.keys.join(", ")
        )
    }
}

/// A file as TOML, whatever it holds, or what is wrong with it first.
pub fn plain_document(path: &str, bytes: Vec<u8>) -> Result<Doc, Box<Fault>> {
    let mut faults = Vec::new();
    let doc = toml::read(path, bytes, &mut faults);
    match (doc, faults.into_iter().next()) {
        (Some(doc), None) => Ok(doc),
        (_, Some(fault)) => Err(Box::new(fault)),
        (None, None) => Err(Box::new(Fault {
            kind: FaultKind::Syntax,
            place: Place::whole(path),
            message: "it cannot be read as TOML".to_owned(),
            help: "look at the file in an editor".to_owned(),
            because: None,
        })),
    }
}

/// A file as TOML, whatever it is a record of; `None` where it cannot be read.
pub fn document(path: &str, bytes: Vec<u8>) -> Option<Doc> {
    toml::read(path, bytes, &mut Vec::new())
}

/// Reads one file of a kind. All faults of syntax and schema are found in one run.
pub fn parse<R: Record>(path: &str, bytes: Vec<u8>) -> Result<Parsed<R>, Disagreement> {
    parse_as(Subject::Record(R::KIND), path, bytes, R::read)
}

/// Reads a map for `import`, as records are read.
pub fn parse_import_map<M>(
    path: &str,
    bytes: Vec<u8>,
    read: impl FnOnce(&mut dyn Fields) -> Option<M>,
) -> Result<Parsed<M>, Disagreement> {
    parse_as(Subject::ImportMap, path, bytes, read)
}

fn parse_as<R>(
    subject: Subject,
    path: &str,
    bytes: Vec<u8>,
    read_record: impl FnOnce(&mut dyn Fields) -> Option<R>,
) -> Result<Parsed<R>, Disagreement> {
    let mut faults = Vec::new();
    let doc = match toml::read(path, bytes, &mut faults) {
        Some(doc) => doc,
        None => {
            return Ok(Parsed {
                doc: None,
                record: None,
                faults,
            });
        }
    };
    let broken_lines: Vec<u32> = faults
        .iter()
        .filter(|fault| fault.kind == FaultKind::Syntax)
        .map(|fault| fault.place.line)
        .collect();
    let kept = faults.len();
    schema::validate(subject, &doc, &mut faults);
    let understood = faults.iter().all(|fault| !fault.kind.hides_the_record());
    let mut read = fields::Table::new(&doc);
    let mut record = read_record(&mut read);
    let (refused, lacking) = read.finish();
    if understood && refused.is_empty() && (record.is_none() || !lacking.is_empty()) {
        return Err(Disagreement {
            path: path.to_owned(),
            keys: lacking,
        });
    }
    if !understood || !refused.is_empty() {
        record = None;
    }
    for fault in refused {
        if faults.iter().all(|other| other.place != fault.place) {
            faults.push(fault);
        }
    }
    if !broken_lines.is_empty() {
        // What a broken line took with it is no second fault.
        let lost = |fault: &Fault| {
            broken_lines.contains(&fault.place.line) || fault.message.contains(schema::MISSING)
        };
        let mut index = 0;
        faults.retain(|fault| {
            index += 1;
            index <= kept || !lost(fault)
        });
    }
    Ok(Parsed {
        doc: Some(doc),
        record,
        faults,
    })
}

impl FaultKind {
    fn hides_the_record(self) -> bool {
        !matches!(self, FaultKind::NewerSyntax | FaultKind::ByteOrderMark)
    }
}

/// The document alone, of whatever kind; `None` where the bytes cannot be read as TOML at all.
pub fn read(path: &str, bytes: Vec<u8>) -> Option<Doc> {
    toml::read(path, bytes, &mut Vec::new())
}

/// The names of all record kinds, for messages and completion.
pub fn kinds() -> Vec<&'static str> {
    Kind::ALL.iter().map(|(word, _)| *word).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::check::Check;
    use crate::record::fluid::Fluid;

    fn faults_of<R: Record>(text: &str) -> Vec<(FaultKind, u32, u32, String)> {
        let parsed = parse::<R>("x.toml", text.as_bytes().to_vec()).expect("no disagreement");
        parsed
            .faults
            .into_iter()
            .map(|fault| {
                (
                    fault.kind,
                    fault.place.line,
                    fault.place.column,
                    fault.message,
                )
            })
            .collect()
    }

    #[test]
    fn all_syntax_and_schema_faults_come_in_one_run() {
        let text = "format = 1\nid = \"K\nsuplier = \"x\"\nnominal_mpa_s = 51,3\ncertified = \"2026-01-01\"\n";
        let faults = faults_of::<Fluid>(text);
        assert!(
            faults
                .iter()
                .any(|(kind, line, ..)| *kind == FaultKind::Syntax && *line == 2),
            "{faults:?}"
        );
        assert!(
            faults
                .iter()
                .any(|(kind, line, _, message)| *kind == FaultKind::Syntax
                    && *line == 4
                    && message.contains("comma")),
            "{faults:?}"
        );
        assert!(
            faults
                .iter()
                .any(|(kind, line, _, message)| *kind == FaultKind::Schema
                    && *line == 3
                    && message.contains("supplier")),
            "{faults:?}"
        );
        assert!(
            faults
                .iter()
                .any(|(kind, line, _, message)| *kind == FaultKind::Schema
                    && *line == 5
                    && message.contains("date")),
            "{faults:?}"
        );
    }

    fn helps<R: Record>(text: &str) -> Vec<(FaultKind, u32, String)> {
        let parsed = parse::<R>("x.toml", text.as_bytes().to_vec()).expect("no disagreement");
        let faults = parsed.faults.into_iter();
        faults
            .map(|fault| (fault.kind, fault.place.line, fault.help))
            .collect()
    }

    #[test]
    fn the_help_writes_the_line_as_it_should_be() {
        for (line, help) in [
            (
                "viscosity_mpa_s = 1,514.5",
                "write viscosity_mpa_s = 1514.5",
            ),
            (
                "temperature_c = 25.04 C # warm",
                "write temperature_c = 25.04",
            ),
            ("levelled = True", "write levelled = true"),
            ("void = no", "write void = false"),
            ("occasion = scheduled", "write occasion = \"scheduled\""),
            ("bottle = 025", "write bottle = \"025\""),
            (
                "speed_rpm =\u{a0}15.0",
                "write the line anew with plain spaces: speed_rpm = 15.0",
            ),
            ("speeds_rpm = 1, 2, 5]", "write speeds_rpm = [1, 2, 5]"),
            ("speeds_rpm = [1, 2, 5", "write speeds_rpm = [1, 2, 5]"),
            (
                "speeds_rpm = [1 2]",
                "put a comma between all entries of speeds_rpm",
            ),
        ] {
            let found = helps::<Check>(&format!("format = 1\n{line}\n"));
            assert_eq!(
                found.first(),
                Some(&(FaultKind::Syntax, 2, help.to_owned())),
                "{line}: {found:?}"
            );
        }
    }

    #[test]
    fn one_open_list_is_one_fault() {
        let text = "format = 1\nid = \"VM-1\"\nspeeds_rpm = [1, 2, 5\nusage = \"daily\"\n\n[[spring]]\nfrom = 2026-01-01\nfull_scale_torque_un_m = -80.0\n";
        let faults = faults_of::<crate::record::instrument::Instrument>(text);
        let places: Vec<_> = faults
            .iter()
            .map(|(kind, line, ..)| (*kind, *line))
            .collect();
        // The fault behind the list is found in the same run.
        assert_eq!(
            places,
            [(FaultKind::Syntax, 3), (FaultKind::Schema, 8)],
            "{faults:?}"
        );
    }

    #[test]
    fn a_merge_conflict_is_one_fault() {
        let text = "format = 1\n<<<<<<< HEAD\nbottle = \"1\"\n=======\nbottle = \"2\"\n>>>>>>> other\n<<<<<<< HEAD\n=======\n>>>>>>> other\n";
        let faults = faults_of::<Check>(text);
        assert_eq!(faults.len(), 1, "{faults:?}");
        let (kind, line, _, message) = &faults[0];
        assert_eq!((*kind, *line), (FaultKind::Syntax, 2));
        assert!(
            message.contains("line 2 to line 9, at 2 places"),
            "{message}"
        );
        // Such lines inside a long text are none.
        let note = "format = 1\nnote = \"\"\"\n<<<<<<< HEAD\n=======\n\"\"\"\nlevelled = yes\n";
        let faults = faults_of::<Check>(note);
        assert!(
            faults
                .iter()
                .any(|(kind, line, ..)| (*kind, *line) == (FaultKind::Syntax, 6)),
            "{faults:?}"
        );
    }

    #[test]
    fn the_first_of_two_keys_is_named() {
        let text =
            "a = 1\n[[point]]\nspeed_rpm = 1.0\nspeed_rpm = 2.0\n[[point]]\nspeed_rpm = 2.0\n";
        let parsed = parse::<Check>("x.toml", text.as_bytes().to_vec()).expect("read");
        let twice = parsed
            .faults
            .iter()
            .find_map(|fault| Some((fault.place.line, fault.because.as_ref()?.0.line)));
        assert_eq!(twice, Some((4, 3)));
    }

    #[test]
    fn deep_and_hostile_files_are_refused_not_followed() {
        let deep = format!("a = {}1{}", "[".repeat(5000), "]".repeat(5000));
        let dotted = format!("{}z = 1", "a.".repeat(50_000));
        let tables = format!("[{}z]", "a.".repeat(20));
        let open = format!("x\na = {}", "[".repeat(5000));
        for text in [deep, dotted, tables, open] {
            let faults = faults_of::<Check>(&text);
            let kinds: Vec<_> = faults.iter().map(|(kind, ..)| *kind).collect();
            assert_eq!(kinds, [FaultKind::Limits]);
        }
        let parsed = parse::<Check>("x.toml", vec![0xff, 0xfe, 0x00]).expect("read");
        assert_eq!(parsed.faults[0].kind, FaultKind::Syntax);
        let large = parse::<Check>("x.toml", vec![b'#'; (1 << 20) + 1]).expect("read");
        assert_eq!(large.faults[0].kind, FaultKind::Limits);
        let just = parse::<Check>("x.toml", vec![b'#'; 1 << 20]).expect("read");
        assert!(
            just.faults
                .iter()
                .all(|fault| fault.kind != FaultKind::Limits)
        );
    }

    #[test]
    fn crlf_is_read_without_remark_and_a_byte_order_mark_with_one() {
        let text = "\u{feff}format = 1\r\nid = \"WB-1\"\r\nuniformity_k = 0.030\r\n";
        let parsed =
            parse::<crate::record::bath::Bath>("baths/WB-1.toml", text.as_bytes().to_vec())
                .expect("read");
        assert_eq!(
            parsed.record.map(|bath| bath.uniformity_k.written),
            Some("0.030".into())
        );
        assert_eq!(parsed.faults.len(), 1);
        assert_eq!(parsed.faults[0].kind, FaultKind::ByteOrderMark);
    }
}
