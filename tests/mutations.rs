//! Bad input: seeded mutations of every kind of record end in findings or in 'could not look', never in a panic.

use shearbook::book::Clock;
use shearbook::book::evidence::evidence;
use shearbook::book::figures::figures;
use shearbook::book::view::View;
use shearbook::measure::pattern::{Witness, causes};
use shearbook::parse::layout::{Slot, slot};
use shearbook::record::Kind;
use shearbook::rules::{Wanted, run_and_watch};
use shearbook::source::memory::Memory;
use std::collections::BTreeMap;
use std::path::Path;

/// Mutations of each kind of record.
const EACH: u64 = 20_000;

/// xorshift64*, so that a seed alone repeats a run.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let roll = self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 33;
        usize::try_from(roll).unwrap_or(0) % sides.max(1)
    }
}

const PIECES: [&str; 44] = [
    "\n",
    "\r\n",
    "=",
    "[",
    "]",
    "[[",
    "]]",
    "{",
    "}",
    "\"",
    "'",
    "\"\"\"",
    "#",
    ",",
    ".",
    "-",
    "nan",
    "inf",
    "-inf",
    "0",
    "-0.0",
    "1e400",
    "1e-400",
    "999999999999999999999999999999",
    "0x1F",
    "0.1e-300",
    "true",
    "2026-02-30",
    "2026-03-29T01:30:00",
    "2026-10-25T01:30:00",
    "9999-12-31T23:59:59Z",
    "0000-01-01",
    "2026-01-01",
    "[point]",
    "[[point]]",
    "[computed]",
    "void = true\n",
    "\u{feff}",
    "\u{0}",
    "ä",
    "a.b.c = 1\n",
    "\"\\u0000\"",
    "[[value]]\n",
    "100000000.000000001",
];

fn mutate(text: &[u8], dice: &mut Dice) -> Vec<u8> {
    let mut bytes = text.to_vec();
    for _ in 0..=dice.roll(3) {
        let at = dice.roll(bytes.len() + 1);
        let lines: Vec<&[u8]> = bytes.split_inclusive(|byte| *byte == b'\n').collect();
        match dice.roll(9) {
            0 => bytes.insert(at, u8::try_from(dice.roll(256)).unwrap_or(0)),
            1 => bytes.truncate(at),
            2 => {
                let end = (at + dice.roll(12)).min(bytes.len());
                bytes.drain(at..end);
            }
            3 => {
                let piece = PIECES[dice.roll(PIECES.len())].bytes();
                bytes.splice(at..at, piece);
            }
            4 => {
                let one = dice.roll(lines.len());
                let line = lines.get(one).map(|line| line.to_vec()).unwrap_or_default();
                bytes.splice(at..at, line);
            }
            5 => {
                let gone = dice.roll(lines.len());
                bytes = lines
                    .iter()
                    .enumerate()
                    .filter(|(index, _)| *index != gone)
                    .flat_map(|(_, line)| line.to_vec())
                    .collect();
            }
            6 | 7 => {
                // Another value for a key: most of what people mistype.
                let chosen = dice.roll(lines.len());
                let piece = PIECES[dice.roll(PIECES.len())];
                bytes = lines
                    .iter()
                    .enumerate()
                    .flat_map(
                        |(index, line)| match line.iter().position(|byte| *byte == b'=') {
                            Some(equals) if index == chosen => {
                                let mut line = line[..=equals].to_vec();
                                line.extend(format!(" {piece}\n").bytes());
                                line
                            }
                            _ => line.to_vec(),
                        },
                    )
                    .collect();
            }
            _ => {
                let digits: Vec<usize> = bytes
                    .iter()
                    .enumerate()
                    .filter(|(_, byte)| byte.is_ascii_digit())
                    .map(|(index, _)| index)
                    .collect();
                if let Some(index) = digits.get(dice.roll(digits.len())) {
                    bytes[*index] = b'0' + u8::try_from(dice.roll(10)).unwrap_or(0);
                }
            }
        }
    }
    bytes
}

/// What `show` and the notice of a failure work out of a check, which must not panic either.
fn every_figure(view: &View<'_>) {
    figures(view);
    causes(&evidence(view, Witness::default()));
}

/// One record of each kind by and large, so that each mutated book is judged as a whole.
fn small_book() -> Memory {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("records-example");
    let few = |kind: Kind| match kind {
        Kind::Person => 6,
        Kind::Check | Kind::Review => 4,
        Kind::Book | Kind::Nonconformity | Kind::Bath => 1,
        _ => 2,
    };
    let mut memory = Memory::default();
    let mut seen: BTreeMap<Kind, usize> = BTreeMap::new();
    for entry in walkdir::WalkDir::new(&root).sort_by_file_name() {
        let entry = entry.expect("entry");
        if !entry.file_type().is_file() {
            continue;
        }
        let path = entry
            .path()
            .strip_prefix(&root)
            .expect("inside")
            .to_string_lossy()
            .replace('\\', "/");
        let Slot::Record(kind, _) = slot(&path) else {
            continue;
        };
        let count = seen.entry(kind).or_default();
        *count += 1;
        if *count > few(kind) {
            continue;
        }
        #[expect(clippy::disallowed_methods, reason = "a test reads the example")]
        let bytes = std::fs::read(entry.path()).expect("file");
        memory.files.insert(path, bytes);
    }
    memory
}

fn mutations_of(kind: Kind) {
    let clock = Clock {
        now: "2026-11-25T12:00:00Z".parse().expect("time"),
        as_of: None,
    };
    let book = small_book();
    let paths: Vec<String> = book
        .files
        .keys()
        .filter(|path| matches!(slot(path), Slot::Record(found, _) if found == kind))
        .cloned()
        .collect();
    assert!(!paths.is_empty(), "{}", kind.word());
    let mut dice = Dice(0x5eed_0000 + kind as u64 + 1);
    let mut refused = 0;
    for round in 0..EACH {
        let mut mutated = book.clone();
        let path = &paths[dice.roll(paths.len())];
        let bytes = mutate(&book.files[path], &mut dice);
        mutated.files.insert(path.clone(), bytes.clone());
        // Facts are always read; of the checks and reviews the mutated one alone, or all of them.
        let only = [path.clone()];
        let wanted = match round % 8 {
            0 => Wanted::All,
            _ => Wanted::Only(&only),
        };
        match run_and_watch(&mutated, clock, &wanted, Some(&every_figure)) {
            Ok(outcome) => refused += usize::from(!outcome.findings.is_empty()),
            Err(error) => panic!(
                "{path} round {round}: {error:?}\n{}",
                String::from_utf8_lossy(&bytes)
            ),
        }
    }
    assert!(
        refused > 1000,
        "{}: only {refused} mutations were noticed",
        kind.word()
    );
}

macro_rules! each {
    ($($name:ident: $kind:ident),+ $(,)?) => {
        $(#[test]
        fn $name() {
            mutations_of(Kind::$kind);
        })+
    };
}

each!(
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

/// A workbook of two parts that matter: its sheet, and the texts and formats that cells name.
fn workbook(sheet: &[u8], styles: &[u8]) -> Vec<u8> {
    use std::io::Write;
    const MAIN: &str = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
    const DOC: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    const RELS: &str = "http://schemas.openxmlformats.org/package/2006/relationships";
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let book = format!(
        "<workbook xmlns=\"{MAIN}\" xmlns:r=\"{DOC}\"><sheets><sheet name=\"S\" sheetId=\"1\" r:id=\"r1\"/></sheets></workbook>"
    );
    let whole = format!(
        "<Relationships xmlns=\"{RELS}\"><Relationship Id=\"r1\" Type=\"{DOC}/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>"
    );
    let parts = format!(
        "<Relationships xmlns=\"{RELS}\"><Relationship Id=\"r1\" Type=\"{DOC}/worksheet\" Target=\"worksheets/sheet1.xml\"/><Relationship Id=\"r2\" Type=\"{DOC}/styles\" Target=\"styles.xml\"/></Relationships>"
    );
    for (name, bytes) in [
        ("_rels/.rels", whole.as_bytes()),
        ("xl/workbook.xml", book.as_bytes()),
        ("xl/_rels/workbook.xml.rels", parts.as_bytes()),
        ("xl/styles.xml", styles),
        ("xl/worksheets/sheet1.xml", sheet),
    ] {
        zip.start_file(name, zip::write::SimpleFileOptions::default())
            .expect("part");
        zip.write_all(bytes).expect("part");
    }
    zip.finish().expect("workbook").into_inner()
}

const SHEET: &[u8] = b"<worksheet xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\"><dimension ref=\"A1:E3\"/><sheetData>
<row r=\"1\"><c r=\"A1\" t=\"inlineStr\"><is><t>Day</t></is></c><c r=\"B1\" t=\"str\"><v>Time</v></c></row>
<row r=\"2\" hidden=\"1\"><c r=\"A2\" s=\"1\"><v>46083.375</v></c><c r=\"B2\" s=\"2\"><f>A2*2</f><v>0.194</v></c><c r=\"C2\" t=\"e\"><v>#N/A</v></c></row>
<row r=\"3\"><c r=\"A3\" t=\"b\"><v>1</v></c><c r=\"D3\"><f t=\"shared\" ref=\"D3:E3\" si=\"0\">A3+1</f></c><c r=\"E3\" t=\"d\"><v>2026-03-02T09:00:00</v></c></row>
</sheetData><mergeCells count=\"1\"><mergeCell ref=\"A1:B1\"/></mergeCells></worksheet>";

const STYLES: &[u8] = b"<styleSheet xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\"><numFmts count=\"1\"><numFmt numFmtId=\"164\" formatCode=\"dd.mm.yyyy hh:mm\"/></numFmts><fonts count=\"1\"><font/></fonts><fills count=\"1\"><fill/></fills><borders count=\"1\"><border/></borders><cellXfs count=\"3\"><xf numFmtId=\"0\"/><xf numFmtId=\"164\"/><xf numFmtId=\"10\"/></cellXfs></styleSheet>";

const XML: [&str; 14] = [
    "<c r=\"XFD1048576\"><v>1</v></c>",
    "<row r=\"0\">",
    "r=\"A99999999999\"",
    "s=\"999999\"",
    "<v>1e400</v>",
    "<v>+inf</v>",
    "<v>-1</v>",
    "&#0;",
    "<!DOCTYPE a [<!ENTITY b \"c\">]>",
    "&b;",
    "<mergeCell ref=\"A1:XFD1048576\"/>",
    "ref=\"B2:A1\"",
    "</c>",
    "t=\"s\"",
];

#[test]
fn workbooks() {
    use shearbook::sheet::{At, read, xlsx};
    let sound = xlsx::sheets(&workbook(SHEET, STYLES)).expect("the seed itself is read");
    let shown: Vec<String> = sound[0]
        .rows
        .iter()
        .flat_map(|row| row.cells.iter().map(|(_, cell)| cell.shown()))
        .collect();
    assert_eq!(
        shown,
        [
            "Day",
            "Time",
            "2026-03-02 09:00",
            "19.40 %",
            "#N/A",
            "TRUE",
            "a formula without a result",
            "2026-03-02 09:00"
        ]
    );
    let mut dice = Dice(0x5eed_1000);
    let (mut readable, mut refused) = (0, 0);
    for round in 0..6_000 {
        let mut parts = [SHEET.to_vec(), STYLES.to_vec()];
        let part = &mut parts[usize::from(round % 4 == 0)];
        *part = match dice.roll(2) {
            0 => mutate(part, &mut dice),
            _ => {
                let at = dice.roll(part.len() + 1);
                part.splice(at..at, XML[dice.roll(XML.len())].bytes());
                part.clone()
            }
        };
        let mut bytes = workbook(&parts[0], &parts[1]);
        if round % 3 == 0 {
            bytes = mutate(&bytes, &mut dice);
        }
        match xlsx::sheets(&bytes) {
            Ok(sheets) => {
                readable += 1;
                for sheet in &sheets {
                    let (row, column) = (sheet.last_row(), sheet.last_column());
                    sheet.shown_at(At { row, column });
                    for (_, cell) in sheet.rows.iter().flat_map(|row| &row.cells) {
                        let habits = read::Habits::default();
                        let _ = (
                            read::figure(cell, &habits, read::Unit::Fahrenheit),
                            read::moment(cell, &habits),
                            read::flag(cell, &habits),
                            read::text(cell),
                        );
                    }
                }
            }
            Err(error) => {
                refused += 1;
                assert!(!error.why.is_empty() && !error.help.is_empty());
            }
        }
    }
    assert!(readable > 500 && refused > 500, "{readable} {refused}");
}

#[test]
fn a_workbook_that_unpacks_without_end_is_refused() {
    let large = vec![b' '; (256 << 20) + 1];
    let error = shearbook::sheet::xlsx::sheets(&workbook(&large, STYLES)).expect_err("too large");
    assert!(
        error.why.contains("unpacks to more than 256 MiB"),
        "{}",
        error.why
    );
}
