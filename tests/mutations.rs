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
