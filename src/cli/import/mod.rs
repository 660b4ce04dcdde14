//! `import`: old checks from a CSV file or a workbook, by a map that says which column holds what.

mod convert;
mod judge;
mod map;
mod rows;
mod sample;

use super::here::{self, Here};
use super::output::{Format, Outputs, Part};
use super::validate::known_zone;
use super::{Common, End, Ended, Trouble, new, output, validate};
use crate::book::Book;
use crate::book::zone::Zone;
use crate::finding::Finding;
use crate::parse::Fault;
use crate::record::check::Verdict;
use crate::report::import::{
    Brought, Imported, LeftOut, Line, Outcome, Refused, json, plain, text,
};
use crate::rules::of_faults;
use crate::sheet::{self, Kind as FileKind, MAX_FILE, Sheet, Unreadable, mebibytes};
use crate::source::SourceError;
use crate::source::disk::{Disk, lone, lone_up_to};
use crate::source::git::Repository;
use crate::text::nearest;
use convert::{Draft, Origin, Problem};
use judge::{Judged, Kept};
use map::{Kind, Map, Sheets, fault};
use rows::Table;
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The sheet: a CSV file or an XLSX workbook
    file: PathBuf,
    /// The map that says which column holds what; with --sample the map to begin
    #[arg(long, value_name = "MAP")]
    map: PathBuf,
    /// Look at the file, tell what is in it, and begin a map
    #[arg(long, conflicts_with_all = ["write", "skip_refused", "by"])]
    sample: bool,
    /// Write the checks; without it everything is only tried
    #[arg(long)]
    write: bool,
    /// Write the others where some rows are refused
    #[arg(long, requires = "write")]
    skip_refused: bool,
    /// Who enters the records, where that is not the operator
    #[arg(long, value_name = "PERSON")]
    by: Option<String>,
    #[command(flatten)]
    outputs: Outputs,
}

/// The bytes of the file that is imported.
fn file(path: &Path) -> Result<Vec<u8>, Trouble> {
    let bytes = lone_up_to(path, MAX_FILE)?
        .ok_or_else(|| Trouble::Usage(format!("there is no file {}", path.display())))?;
    match u64::try_from(bytes.len()).is_ok_and(|length| length <= MAX_FILE) {
        true => Ok(bytes),
        false => Err(Trouble::Unusable(SourceError::new(
            format!(
                "{} is larger than {}, the most that is read",
                path.display(),
                mebibytes(MAX_FILE)
            ),
            "take out what is no check, or split it and import the parts one by one",
        ))),
    }
}

fn unreadable(path: &Path, error: Unreadable) -> Trouble {
    Trouble::Unusable(SourceError::new(
        format!("{}: {}", path.display(), error.why),
        error.help,
    ))
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    if arguments.sample {
        return sample::run(common, &arguments.file, &arguments.map);
    }
    let bytes = file(&arguments.file)?;
    let kind = sheet::kind(&bytes);
    if let Some(error) = sheet::unfit(kind) {
        return Err(unreadable(&arguments.file, error));
    }
    let map_name = arguments.map.display().to_string();
    let map_bytes = lone(&arguments.map)?.ok_or_else(|| {
        Trouble::Usage(format!(
            "there is no map {map_name}; import --sample begins one"
        ))
    })?;
    let (disk, book) = validate::facts(common)?;
    known_zone(&book)?;
    if let Some(by) = &arguments.by {
        let ids: Vec<&str> = book.people.ids().collect();
        new::known(&ids, crate::record::Kind::Person, by)?;
    }
    let name = arguments
        .file
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    let sha256 = format!("{:x}", Sha256::digest(&bytes));
    let about = |findings: Vec<Finding>| Imported {
        file: name.clone(),
        map: map_name.clone(),
        sha256: sha256.clone(),
        outcome: match arguments.write {
            true => Outcome::NothingWritten,
            false => Outcome::Tried,
        },
        findings,
        ..Imported::default()
    };
    let map =
        match map::read(&map_name, map_bytes).map_err(|ours| Trouble::Ours(ours.to_string()))? {
            Ok(map) => map,
            Err(faults) => return told(common, arguments, about(of_faults(&faults))),
        };
    let sheets = match opened(&arguments.file, &bytes, kind, &map)? {
        Ok(sheets) => sheets,
        Err(faults) => return told(common, arguments, about(of_faults(&faults))),
    };
    let zone = match zone(&book, &map) {
        Ok(zone) => zone,
        Err(fault) => return told(common, arguments, about(of_faults(&[*fault]))),
    };
    let origin = Origin {
        file: &name,
        sha256: &sha256,
        by: arguments.by.as_deref(),
        zone: &zone,
    };
    let mut imported = about(Vec::new());
    let mut faults = convert::values(&book, &map);
    let mut drafts = Vec::new();
    for sheet in &sheets {
        match Table::of(&map, sheet) {
            Ok(table) => read_rows(&book, &table, &origin, &mut drafts, &mut imported),
            // What is wrong in each of many sheets is told once.
            Err(more) => {
                for one in more {
                    let known = |own: &Fault| {
                        own.place.pointer == one.place.pointer && own.message == one.message
                    };
                    if !faults.iter().any(known) {
                        faults.push(one);
                    }
                }
            }
        }
    }
    if !faults.is_empty() {
        return told(common, arguments, about(of_faults(&faults)));
    }
    imported.findings = of_faults(&late(common, &book, &map, &drafts));
    let judged = judge::judge(common, &disk, &book, &map, drafts)?;
    let parts = parts(&judged);
    let rests_on: BTreeSet<String> = judged
        .kept
        .iter()
        .flat_map(|kept| kept.rehearsed.names())
        .filter(|path| !parts.iter().any(|part| part.path == *path))
        .collect();
    tell(judged, &mut imported);
    let kept_back = !imported.refused.is_empty() && !arguments.skip_refused;
    if arguments.write && !kept_back && imported.findings.is_empty() {
        write(&disk, &parts)?;
        imported.outcome = Outcome::Written;
    }
    let beside = match (imported.outcome, Repository::of(&disk.root)) {
        (Outcome::Written, Ok(repository)) => {
            here::uncommitted(&disk, &repository, &Vec::from_iter(rests_on))?
        }
        _ => Vec::new(),
    };
    imported.next = next(common, &disk, arguments, &imported, &beside);
    told(common, arguments, imported)
}

/// The sheets that the map means; or what of the map does not fit the file.
fn opened(
    path: &Path,
    bytes: &[u8],
    kind: FileKind,
    map: &Map,
) -> Result<Result<Vec<Sheet>, Vec<Fault>>, Trouble> {
    let is = match kind {
        FileKind::Xlsx => Kind::Xlsx,
        _ => Kind::Csv,
    };
    if is != map.kind {
        return Ok(Err(vec![fault(
            &map.doc,
            "/source/kind",
            format!(
                "the map is for {}, and {} is {}",
                map.kind.word(),
                path.display(),
                is.word()
            ),
            "name the map that belongs to this file, or put kind right",
        )]));
    }
    if is == Kind::Csv {
        let text = match sheet::csv::decoded(bytes, map.encoding.as_deref()) {
            Ok(text) => text,
            Err(error) => {
                return Ok(Err(vec![fault(
                    &map.doc,
                    "/source/encoding",
                    error.why,
                    error.help,
                )]));
            }
        };
        let sheet =
            sheet::csv::sheet(&text, map.separator).map_err(|error| unreadable(path, error))?;
        return Ok(Ok(vec![sheet]));
    }
    let sheets = sheet::xlsx::sheets(bytes).map_err(|error| unreadable(path, error))?;
    let wanted = match &map.sheets {
        Sheets::All => return Ok(Ok(sheets)),
        Sheets::Named(names) => names,
    };
    let names: Vec<String> = sheets
        .iter()
        .filter_map(|sheet| sheet.name.clone())
        .collect();
    let mut faults = Vec::new();
    for (index, name) in wanted.iter().enumerate() {
        if names.contains(name) {
            continue;
        }
        let help = match nearest(name, names.iter().map(String::as_str)) {
            Some(meant) => format!("did you mean \"{meant}\"?"),
            None => {
                let quoted: Vec<String> = names.iter().map(|name| format!("\"{name}\"")).collect();
                format!("its sheets are {}", quoted.join(", "))
            }
        };
        faults.push(fault(
            &map.doc,
            &format!("/source/sheets/{index}"),
            format!("{} has no sheet \"{name}\"", path.display()),
            help,
        ));
    }
    if !faults.is_empty() {
        return Ok(Err(faults));
    }
    let wanted = |sheet: &Sheet| {
        sheet
            .name
            .as_ref()
            .is_some_and(|name| wanted.contains(name))
    };
    Ok(Ok(sheets.into_iter().filter(wanted).collect()))
}

/// The zone whose clock the sheet follows.
fn zone(book: &Book, map: &Map) -> Result<Zone, Box<Fault>> {
    let Some(name) = &map.time_zone else {
        return Ok(book.zone.clone());
    };
    Zone::named(name).ok_or_else(|| {
        Box::new(fault(
            &map.doc,
            "/read/time_zone",
            format!("there is no time zone {name}"),
            "write an IANA name such as \"Europe/Dublin\", or take the line out where the sheet follows the book's clock",
        ))
    })
}

fn read_rows(
    book: &Book,
    table: &Table<'_>,
    origin: &Origin<'_>,
    drafts: &mut Vec<Draft>,
    imported: &mut Imported,
) {
    let sorted = table.sorted();
    let sheet = &table.sheet.name;
    imported.rows += sorted.rows;
    imported
        .left_out
        .extend(sorted.left_out.into_iter().map(|row| LeftOut {
            sheet: sheet.clone(),
            row: row.row,
            cell: row.at.to_string(),
            found: row.found,
            skipped: row.skipped,
        }));
    for rows in &sorted.sessions {
        match convert::check(book, table, rows, origin) {
            Ok(draft) => drafts.push(draft),
            Err(problems) => {
                imported.refused_checks += 1;
                let last_row = rows.last().copied().unwrap_or(1);
                let first_row = rows.first().copied().unwrap_or(1);
                let refused = problems
                    .into_iter()
                    .map(|one| refused(one, sheet.clone(), None, (first_row, last_row)));
                imported.refused.extend(refused);
            }
        }
    }
}

fn refused(
    problem: Problem,
    sheet: Option<String>,
    check: Option<String>,
    rows: (u32, u32),
) -> Refused {
    Refused {
        sheet,
        row: problem.row,
        first_row: rows.0,
        last_row: rows.1,
        cell: problem.cell,
        found: problem.found,
        why: problem.why,
        help: problem.help,
        rule: problem.rule,
        check,
    }
}

/// The gate asks why checks are entered late, so the map has to say it.
fn late(common: &Common, book: &Book, map: &Map, drafts: &[Draft]) -> Vec<Fault> {
    let Some(marker) = &book.marker else {
        return Vec::new();
    };
    let allowed = marker.gate.late_entry_days;
    let today = book.zone.date(common.clock().now);
    let is_late = |draft: &&Draft| {
        let day = book.zone.date(draft.performed);
        let days = i64::from((today - day).get_days());
        draft.text.late_reason.is_none() && days > allowed
    };
    let late: Vec<&Draft> = drafts.iter().filter(is_late).collect();
    let Some(first) = late.first() else {
        return Vec::new();
    };
    vec![fault(
        &map.doc,
        "/check/late_reason",
        format!(
            "{} of these checks, such as {}, are older than the {allowed} days that the book allows, and the gate asks why",
            late.len(),
            first.id
        ),
        "add late_reason = { value = \"...\" } to [check]: why they are entered only now",
    )]
}

struct New {
    path: String,
    text: String,
}

fn parts(judged: &Judged) -> Vec<New> {
    let new = judged.kept.iter().map(|kept| New {
        path: kept.rehearsed.path.clone(),
        text: kept.rehearsed.text.clone(),
    });
    new.collect()
}

fn tell(judged: Judged, imported: &mut Imported) {
    let line = |draft: &Draft, state| Line {
        check: draft.id.clone(),
        path: draft.path.clone(),
        sheet: draft.sheet.clone(),
        row: draft.row,
        last_row: draft.last_row,
        state,
        verdict: None,
        void_cause: None,
        reason: None,
        warnings: Vec::new(),
    };
    for Kept {
        draft,
        void,
        rehearsed,
    } in judged.kept
    {
        let verdict = match &void {
            Some(_) => Some(Verdict::Void),
            None => rehearsed.figures.and_then(|figures| figures.verdict),
        };
        imported.checks.push(Line {
            verdict,
            void_cause: void.as_ref().map(|void| void.cause),
            reason: void.map(|void| void.reason),
            warnings: rehearsed
                .findings
                .into_iter()
                .filter(|finding| finding.severity == crate::finding::Severity::Warning)
                .map(|finding| (finding.rule, finding.message))
                .collect(),
            ..line(&draft, Brought::New)
        });
    }
    imported.checks.extend(
        judged
            .already
            .iter()
            .map(|draft| line(draft, Brought::Already)),
    );
    imported
        .checks
        .sort_by(|one, other| (&one.sheet, one.row).cmp(&(&other.sheet, other.row)));
    for turned in judged.refused {
        imported.refused_checks += 1;
        let draft = turned.draft;
        let rows = (draft.row, draft.last_row);
        let all = turned.problems.into_iter();
        let all = all.map(|one| refused(one, draft.sheet.clone(), Some(draft.id.clone()), rows));
        imported.refused.extend(all);
    }
    let key = |one: &Refused| {
        (
            one.sheet.clone(),
            one.row,
            one.cell.as_deref().and_then(sheet::at),
        )
    };
    imported.refused.sort_by_cached_key(key);
}

fn write(disk: &Disk, new: &[New]) -> Result<(), Trouble> {
    let folders: BTreeSet<&str> = new
        .iter()
        .filter_map(|one| Some(one.path.rsplit_once('/')?.0))
        .collect();
    for folder in folders {
        new::real_folders(&disk.root, folder)?;
    }
    let parts: Vec<Part> = new
        .iter()
        .map(|one| Part {
            path: PathBuf::from(&one.path),
            bytes: one.text.as_bytes().to_vec(),
            before: None,
        })
        .collect();
    output::write_all_new(&disk.root, &parts)
}

/// The command that follows.
fn next(
    common: &Common,
    disk: &Disk,
    arguments: &Arguments,
    imported: &Imported,
    beside: &[String],
) -> Vec<String> {
    let here = Here::of(common, disk);
    let new = imported
        .checks
        .iter()
        .any(|line| line.state == Brought::New);
    let typed = |path: &Path| super::template::typed(path);
    match imported.outcome {
        Outcome::Written if new => {
            let mut lines = vec![format!("{} add checks", here.git)];
            let facts = beside.iter().map(|path| typed(Path::new(path)));
            lines.extend(facts.map(|path| format!("{} add {path}", here.git)));
            lines.push(format!(
                "{} commit -m \"Import {}\"",
                here.git,
                imported.file.replace('"', "")
            ));
            lines
        }
        Outcome::Tried if new && imported.findings.is_empty() => {
            let mut words = format!(
                "{} import {} --map {}",
                here.tool,
                typed(&arguments.file),
                typed(&arguments.map)
            );
            if let Some(by) = &arguments.by {
                words += &format!(" --by {by}");
            }
            words += " --write";
            if !imported.refused.is_empty() {
                words += " --skip-refused";
            }
            vec![words]
        }
        _ => Vec::new(),
    }
}

fn told(common: &Common, arguments: &Arguments, imported: Imported) -> Ended {
    arguments.outputs.write(
        common,
        false,
        &imported.findings,
        &|format, style| match format {
            Format::Text => text::render(&imported, style),
            Format::Plain => plain::render(&imported),
            Format::Json => json::render(&imported),
        },
    )?;
    Ok(
        match imported.findings.is_empty() && imported.refused.is_empty() {
            true => End::Fine,
            false => End::Refused,
        },
    )
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::book::Clock;
    use crate::source::memory::Memory;
    use std::path::Path;

    /// Mutations of a map and of a sheet.
    const EACH: u64 = 20_000;

    const MAP: &str =
        include_str!("../../../tests/corpus/import-map/valid/every-key-by-heading.toml");

    const SMALL: &str = "format = 1\n[source]\nkind = \"csv\"\nseparator = \";\"\nlayout = \"row-a-reading\"\nheading_rows = [1]\nsession = [\"date\", \"instrument\"]\n[[skip]]\ncolumn = \"Day\"\nstarts_with = [\"Mean\"]\n[read]\ndecimal_mark = \",\"\ngrouping_mark = \".\"\ndate_order = \"dmy\"\ntime_zone = \"Europe/Helsinki\"\nrepeated_hour = \"second\"\n[shown]\n\"EEEE\" = \"over-range\"\n[check]\ndate = { column = \"Day\", fill_down = true }\ntime = { column = \"Time\" }\ninstrument = { column = \"Unit\" }\nfluid = { value = \"K-1\" }\noperator = { letter = \"D\", values = { \"J. N.\" = \"op-01\" } }\nsoak_started = { column = \"Soak\" }\nzero_percent = { column = \"Zero\" }\nguard = { column = \"Guard\" }\n[[point]]\nspeed_rpm = { column = \"rpm\" }\ntorque_percent = { column = \"Torque\" }\nviscosity = { column = \"V\", unit = \"Pa.s\" }\ntemperature = { column = \"T\", unit = \"F\" }\n";

    const SHEET: &str = "Day;Time;Unit;Who;rpm;Torque;V;T;Soak;Zero;Guard\n02.03.2026;09:00;VM-1;J. N.;12;19,4;0,485;77,0;07:50;0,0;yes\n;09:00;VM-1;J. N.;30;48,5;1.234,5 Pa.s;77,0 \u{b0}F;;;\n02.03.2026;09:00;VM-1;;60;EEEE;EEEE;-4,0;;;\n\"Mean\";;;;;;\n25.10.2026;03:30;VM-1;J. N.;12;19,4;0,485;77,0;2026-10-24T23:50+02:00;;no\n";

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

    const PIECES: [&str; 30] = [
        "\"",
        "\"\"",
        ";",
        "\n",
        "\r",
        "\0",
        "\u{feff}",
        "=",
        "[",
        "]",
        "{",
        "}",
        "'",
        ",",
        ".",
        "-",
        "e9",
        "1e400",
        "-0",
        "99999999999999999999",
        "31.02.2026",
        "0000-00-00",
        "9999-12-31 23:59",
        "nan",
        "true",
        "value = ",
        "letter = \"XFD\"",
        "cell = \"A1\"",
        "4294967295",
        "\u{2212}\u{b0}F",
    ];

    fn mutate(text: &str, dice: &mut Dice) -> Vec<u8> {
        let mut bytes = text.as_bytes().to_vec();
        for _ in 0..=dice.roll(3) {
            let at = dice.roll(bytes.len() + 1);
            match dice.roll(6) {
                0 => bytes.insert(at, u8::try_from(dice.roll(256)).unwrap_or(0)),
                1 => {
                    let end = (at + dice.roll(9)).min(bytes.len());
                    bytes.drain(at..end);
                }
                2 => {
                    let lines: Vec<&[u8]> = text
                        .as_bytes()
                        .split_inclusive(|byte| *byte == b'\n')
                        .collect();
                    let line = lines[dice.roll(lines.len())].to_vec();
                    bytes.splice(at..at, line);
                }
                3 => {
                    let digits: Vec<usize> = (0..bytes.len())
                        .filter(|index| bytes[*index].is_ascii_digit())
                        .collect();
                    if let Some(index) = digits.get(dice.roll(digits.len())) {
                        bytes[*index] = b'0' + u8::try_from(dice.roll(10)).unwrap_or(0);
                    }
                }
                _ => {
                    bytes.splice(at..at, PIECES[dice.roll(PIECES.len())].bytes());
                }
            }
        }
        bytes
    }

    fn book() -> Book {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/rules/base");
        let mut memory = Memory::default();
        for entry in walkdir::WalkDir::new(&root) {
            let entry = entry.expect("entry");
            if entry.file_type().is_file() {
                let path = entry
                    .path()
                    .strip_prefix(&root)
                    .expect("inside")
                    .to_string_lossy()
                    .into_owned();
                #[expect(clippy::disallowed_methods, reason = "a test reads the small book")]
                let bytes = std::fs::read(entry.path()).expect("file");
                memory.files.insert(path, bytes);
            }
        }
        let clock = Clock {
            now: "2026-11-25T12:00:00Z".parse().expect("time"),
            as_of: None,
        };
        Book::facts(&memory, clock).expect("a book")
    }

    /// What the sheet comes to by the map: so many checks, so many that are refused.
    fn brought(book: &Book, map: &[u8], sheet: &[u8]) -> Option<(usize, usize)> {
        let map = map::read("map.toml", map.to_vec())
            .unwrap_or_else(|ours| panic!("{ours}\n{}", String::from_utf8_lossy(map)))
            .ok()?;
        let text = sheet::csv::decoded(sheet, map.encoding.as_deref()).ok()?;
        let sheet = sheet::csv::sheet(&text, map.separator).ok()?;
        let zone = zone(book, &map).ok()?;
        let origin = Origin {
            file: "old.csv",
            sha256: "0",
            by: None,
            zone: &zone,
        };
        let table = Table::of(&map, &sheet).ok()?;
        let mut imported = Imported::default();
        let mut drafts = Vec::new();
        read_rows(book, &table, &origin, &mut drafts, &mut imported);
        for draft in &drafts {
            // What is written is a record, whatever the rules say of it.
            let parsed = crate::parse::parse::<crate::record::check::Check>(
                &draft.path,
                draft.text.to_toml().into_bytes(),
            );
            let syntax = parsed
                .expect("ours agree")
                .faults
                .into_iter()
                .find(|fault| fault.kind == crate::parse::FaultKind::Syntax);
            assert!(syntax.is_none(), "{syntax:?}\n{}", draft.text.to_toml());
        }
        Some((drafts.len(), imported.refused_checks))
    }

    #[test]
    fn hostile_maps_and_sheets_end_in_refusals() {
        let book = book();
        assert_eq!(
            brought(&book, SMALL.as_bytes(), SHEET.as_bytes()),
            Some((2, 0)),
            "the seeds themselves"
        );
        let mut dice = Dice(0x5eed_0bad);
        let (mut followed, mut drafts, mut refused) = (0, 0, 0);
        for round in 0..EACH {
            let map = match round % 4 {
                0 => mutate(MAP, &mut dice),
                1 => mutate(SMALL, &mut dice),
                _ => SMALL.as_bytes().to_vec(),
            };
            let sheet = mutate(SHEET, &mut dice);
            if let Some((some, others)) = brought(&book, &map, &sheet) {
                followed += 1;
                drafts += some;
                refused += others;
            }
        }
        assert!(
            followed > 5_000 && drafts > 2_000 && refused > 5_000,
            "{followed} {drafts} {refused}"
        );
    }
}
