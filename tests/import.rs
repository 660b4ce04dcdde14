//! `import` as people run it: sheets in several dialects, tired mistakes, dry run, writing, the gate.
#![allow(
    clippy::disallowed_methods,
    reason = "tests may use files and the environment"
)]

mod support;

use std::io::Write;
use support::{Done, Scratch};

const HEADINGS: &str =
    "Date;Time;Instr.;Spindle;Lot;Who;rpm;Torque %;Viscosity cP;T °C;Zero;Soak from;Remark\n";

/// The three readings of a sound check.
const SOUND: &str = "\
02.03.2026;09:00;VM-1;G-1;K-1;J. N.;12;19,4;485,0;25,00;0,0;07:50;
02.03.2026;09:00;VM-1;G-1;K-1;J. N.;30;48,5;485,0;25,00;;;steady
02.03.2026;09:00;VM-1;G-1;K-1;J. N.;60;97,0;485,0;25,00;;;
";

/// 2.9 % under the certified value: at 60 rpm the limit is 1 % of 484.0 and 1 % of 500, which is 9.84 mPa.s.
const FAILING: &str = "\
03.03.2026;09:00;VM-1;G-1;K-1;J. N.;12;18,8;470,0;25,00;0,0;07:50;
03.03.2026;09:00;VM-1;G-1;K-1;J. N.;30;47,0;470,0;25,00;;;
03.03.2026;09:00;VM-1;G-1;K-1;J. N.;60;94,0;470,0;25,00;;;
";

/// It says nothing of zero and soak.
const INCOMPLETE: &str = "\
04.03.2026;09:00;VM-1;G-1;K-1;J. N.;12;19,4;485,0;25,00;;;
04.03.2026;09:00;VM-1;G-1;K-1;J. N.;30;48,5;485,0;25,00;;;
04.03.2026;09:00;VM-1;G-1;K-1;J. N.;60;97,0;485,0;25,00;;;
";

const MAP: &str = r#"format = 1

[source]
kind = "csv"
separator = ";"
layout = "row-a-reading"
heading_rows = [1]
session = ["date", "time", "instrument"]

[read]
decimal_mark = ","
date_order = "dmy"

[check]
date = { column = "Date" }
time = { column = "Time" }
instrument = { column = "Instr." }
geometry = { column = "Spindle" }
fluid = { column = "Lot" }
bottle = { value = "1" }
thermometer = { value = "TH-1" }
operator = { column = "Who", values = { "J. N." = "op-01" } }
occasion = { value = "scheduled" }
condition = { value = "as-found" }
late_reason = { value = "typed from the old bench sheets" }
levelled = { value = true }
immersed_to_mark = { value = true }
free_of_bubbles = { value = true }
vessel_as_specified = { value = true }
guard = { value = true }
zero_percent = { column = "Zero" }
soak_started = { column = "Soak from" }
note = { column = "Remark" }

[[point]]
speed_rpm = { column = "rpm" }
torque_percent = { column = "Torque %" }
viscosity = { column = "Viscosity cP", unit = "cP" }
temperature = { column = "T °C", unit = "C" }
"#;

const FIRST: &str = "checks/2026/VM-1/2026-03-02-0900.toml";

fn sheet(parts: &[&str]) -> String {
    HEADINGS.to_owned() + &parts.concat()
}

/// The sheet and the map lie beside the book, not in it.
fn put(scratch: &Scratch, name: &str, bytes: impl AsRef<[u8]>) -> String {
    let path = scratch.outside().join(name);
    std::fs::write(&path, bytes).unwrap();
    path.to_str().unwrap().to_owned()
}

fn import(scratch: &Scratch, sheet: impl AsRef<[u8]>, map: &str, more: &[&str]) -> Done {
    let sheet = put(scratch, "old.csv", sheet);
    let map = put(scratch, "map.toml", map);
    scratch.shearbook(&[&["import", &sheet, "--map", &map], more].concat())
}

fn document(done: &Done) -> serde_json::Value {
    serde_json::from_str(&done.out)
        .unwrap_or_else(|error| panic!("{error}: {}{}", done.out, done.err))
}

/// Cell and reason of each refused row.
fn refused(document: &serde_json::Value) -> Vec<(String, String)> {
    let text = |value: &serde_json::Value| value.as_str().unwrap_or("-").to_owned();
    let rows = document["refused"].as_array().unwrap().iter();
    rows.map(|row| {
        assert!(!row["help"].as_str().unwrap().is_empty(), "{row}");
        (text(&row["cell"]), text(&row["reason"]))
    })
    .collect()
}

#[test]
fn a_sheet_is_tried_then_written_and_the_gate_takes_it() {
    let scratch = Scratch::book();
    scratch.install();
    let sheet = sheet(&[SOUND, ";;;;;;;;;;;;\n", FAILING, INCOMPLETE]);
    let before = scratch.snapshot(&scratch.top);
    let tried = import(&scratch, &sheet, MAP, &[]).ends(0);
    for line in [
        "Tried, nothing is written: old.csv by map",
        "9 rows read; 3 checks to be written: 1 pass, 1 fail, 1 void.",
        "VM-1/2026-03-02-0900  pass  rows 2 to 4",
        "VM-1/2026-03-03-0900  fail  rows 6 to 8",
        "VM-1/2026-03-04-0900  void  rows 9 to 11",
        "when the",
        "--write",
    ] {
        assert!(tried.out.contains(line), "no {line} in {}", tried.out);
    }
    assert!(
        tried
            .out
            .lines()
            .all(|line| line.chars().count() <= 80 || line.contains("--map")),
        "{}",
        tried.out
    );
    assert_eq!(scratch.snapshot(&scratch.top), before);

    let written = import(&scratch, &sheet, MAP, &["--write"]).ends(0);
    assert!(written.out.contains("3 checks written"), "{}", written.out);
    let check = scratch.read(FIRST);
    for line in [
        "operator = \"op-01\"",
        "performed = 2026-03-02T09:00:00\n",
        "note = \"steady\"",
        "late_reason = \"typed from the old bench sheets\"",
        "soak_started = 2026-03-02T07:50:00",
        "file = \"old.csv\"",
        "row = 2",
        "torque_percent = 19.4\nviscosity_mpa_s = 485.0\ntemperature_c = 25.00\n",
        "verdict = \"pass\"",
    ] {
        assert!(check.contains(line), "no {line} in {check}");
    }
    assert!(!check.contains("sheet ="), "{check}");
    let void = scratch.read("checks/2026/VM-1/2026-03-04-0900.toml");
    for line in [
        "void = true\nvoid_cause = \"incomplete-source\"\nreason = \"imported from old.csv, which does not say: ",
        "the zero",
        "when the soak started",
        "verdict = \"void\"",
    ] {
        assert!(void.contains(line), "no {line} in {void}");
    }
    assert!(
        scratch
            .read("checks/2026/VM-1/2026-03-03-0900.toml")
            .contains("verdict = \"fail\"")
    );
    scratch.shearbook(&["validate"]).ends(0);
    scratch.git(&["add", "checks"]);
    scratch.try_commit(&[]).ends(0);

    // Once more is no harm.
    let before = scratch.snapshot(&scratch.top);
    let again = import(&scratch, &sheet, MAP, &["--write"]).ends(0);
    assert!(
        again.out.contains("3 checks imported already"),
        "{}",
        again.out
    );
    assert!(again.out.contains("no checks written"), "{}", again.out);
    assert_eq!(scratch.snapshot(&scratch.top), before);
}

/// The record without the line that tells the file's bytes.
fn but_for_its_file(text: &str) -> String {
    text.lines()
        .filter(|line| !line.starts_with("sha256"))
        .collect::<Vec<_>>()
        .join("\n")
}

#[test]
fn dialects_of_one_sheet_give_one_record() {
    let text = sheet(&[SOUND]);
    let utf16: Vec<u8> = std::iter::once(0xfeff)
        .chain(text.replace(';', "\t").encode_utf16())
        .flat_map(u16::to_le_bytes)
        .collect();
    let windows: Vec<u8> = text
        .chars()
        .map(|letter| u8::try_from(u32::from(letter)).unwrap())
        .collect();
    let quoted: String = text
        .lines()
        .map(|line| {
            let fields: Vec<String> = line
                .split(';')
                .map(|field| format!("\"{}\"", field.replace(',', ".")))
                .collect();
            fields.join(",") + "\r\n"
        })
        .collect();
    let iso = text.replace("02.03.2026", "2026-03-02");
    let american = text
        .replace("02.03.2026", "3/2/2026")
        .replace("09:00", "9:00 AM");
    let long = text.replace("02.03.2026;09:00", "2 Mar 2026;09:00");
    let reference = {
        let scratch = Scratch::book();
        import(&scratch, &text, MAP, &["--write"]).ends(0);
        but_for_its_file(&scratch.read(FIRST))
    };
    let tab = MAP.replace("separator = \";\"", "separator = \"tab\"");
    let named = MAP.replace(
        "separator = \";\"",
        "separator = \";\"\nencoding = \"windows-1252\"",
    );
    let comma = MAP
        .replace("separator = \";\"", "separator = \",\"")
        .replace("decimal_mark = \",\"", "decimal_mark = \".\"");
    for (name, bytes, map) in [
        ("UTF-16", utf16, tab),
        ("Windows-1252", windows, named),
        ("quoted", quoted.into_bytes(), comma),
        (
            "byte order mark",
            format!("\u{feff}{text}").into_bytes(),
            MAP.to_owned(),
        ),
        (
            "ISO dates",
            iso.into_bytes(),
            MAP.replace("date_order = \"dmy\"\n", ""),
        ),
        ("American", american.into_bytes(), MAP.replace("dmy", "mdy")),
        ("months by name", long.into_bytes(), MAP.to_owned()),
    ] {
        let scratch = Scratch::book();
        let done = import(&scratch, bytes, &map, &["--write"]);
        assert_eq!(done.code, Some(0), "{name}: {}{}", done.out, done.err);
        assert_eq!(but_for_its_file(&scratch.read(FIRST)), reference, "{name}");
    }
}

#[test]
fn a_tired_cell_is_refused_by_its_name() {
    let scratch = Scratch::book();
    let before = scratch.snapshot(&scratch.top);
    for (from, to, cell, words) in [
        ("02.03.2026", "31.02.2026", "A2", "no day of the calendar"),
        ("02.03.2026", "02.03.26", "A2", "year of two digits"),
        (
            "02.03.2026",
            "",
            "A2",
            "is blank, and every check needs its day",
        ),
        (";09:00;VM-1", ";25:00;VM-1", "B2", "no time of day"),
        (";09:00;VM-1", ";9.4;VM-1", "B2", "may be 09:04 or 09:40"),
        (
            "02.03.2026;09:00",
            "02.03.2026 08:15;09:00",
            "B2",
            "the times are 09:00 and 08:15",
        ),
        (
            "02.03.2026;09:00",
            "02.03.2026;05.03.2026 09:00",
            "B2",
            "the days are 2026-03-05 and 2026-03-02",
        ),
        (";09:00;VM-1", ";;VM-1", "A2", "a day without a time"),
        ("VM-1", "VM-9", "C2", "there is no instrument VM-9"),
        ("J. N.", "X. Y.", "F2", "there is no person X. Y."),
        ("K-1", "", "E2", "the lot of its fluid"),
        ("K-1", "K-0", "E2", "expired"),
        (";12;", ";;", "G2", "a reading needs its speed"),
        (";12;", ";13;", "G2", "13"),
        (
            "19,4",
            "19.4",
            "H2",
            "has a point, where a comma is the decimal mark",
        ),
        ("485,0", "1.485,0", "I2", "two marks"),
        (
            "485,0",
            "0,485 Pa.s",
            "I2",
            "is in Pa.s, and the map says cP",
        ),
        ("485,0", "ca. 485", "I2", "no figure"),
        ("25,00", "25,61", "J2", "25.61"),
        (
            "0,0;07:50",
            "0,0;09:50",
            "L2",
            "later than the first reading",
        ),
        ("0,0;07:50", "0,7;07:50", "K2", "0.7"),
        ("J. N.;30", "M. M.;30", "F3", "differs from F2"),
    ] {
        let text = sheet(&[SOUND]);
        assert!(text.contains(from), "{from}");
        // In the rows of the check; the name of the operator only where it is asked for.
        let changed = match words.contains("differs")
            || words.contains("is blank")
            || from.contains(';')
            || from.contains(',')
        {
            true => text.replacen(from, to, 1),
            false => text.replace(from, to),
        };
        let done = import(&scratch, &changed, MAP, &["--write", "--format", "json"]).ends(1);
        let document = document(&done);
        let refused = refused(&document);
        let told = refused
            .iter()
            .any(|(own, reason)| own == cell && reason.contains(words));
        assert!(told, "{from} as {to}: no {words} at {cell} in {refused:?}");
        assert_eq!(document["outcome"], "nothing-written", "{from} as {to}");
    }
    assert_eq!(scratch.snapshot(&scratch.top), before);
}

#[test]
fn a_map_that_does_not_fit_is_told_with_its_line() {
    let scratch = Scratch::book();
    let text = sheet(&[SOUND]);
    let line_of = |map: &str, words: &str| {
        let at = map.lines().position(|line| line.contains(words)).unwrap();
        at + 1
    };
    for (from, to, place, words) in [
        (
            "\"Spindle\"",
            "\"Spindel\"",
            "\"Spindel\"",
            "did you mean \"Spindle\"?",
        ),
        (
            "separator = \";\"",
            "separator = \",\"",
            "\"Instr.\"",
            "there is no heading",
        ),
        (
            "kind = \"csv\"\nseparator = \";\"",
            "kind = \"xlsx\"\nsheets = \"all\"",
            "kind = ",
            "the map is for xlsx",
        ),
        (
            "value = \"TH-1\"",
            "value = \"TH-7\"",
            "TH-7",
            "did you mean TH-1?",
        ),
        (
            "\"J. N.\" = \"op-01\"",
            "\"J. N.\" = \"op-99\"",
            "op-99",
            "there is no person op-99 in the book",
        ),
        (
            "value = \"as-found\"",
            "value = \"found\"",
            "\"found\"",
            "did you mean as-found?",
        ),
        (
            "\"Soak from\"",
            "\"Time\"",
            "soak_started",
            "column B is named for time and for soak_started",
        ),
        (
            "unit = \"cP\"",
            "unit = \"Pa.s\"",
            "unit = \"Pa.s\"",
            "the map says Pa.s, and the heading \"Viscosity cP\" says cP",
        ),
        (
            "\"Lot\" }",
            "\"Lot\" , unit = \"cP\" }",
            "unit = \"cP\" }\nbottle",
            "unit",
        ),
        (
            "late_reason = { value = \"typed from the old bench sheets\" }\n",
            "",
            "[check]",
            "the gate asks why",
        ),
        (
            "date_order = \"dmy\"",
            "date_order = \"dmy\"\ntime_zone = \"Europe/Atlantis\"",
            "Atlantis",
            "there is no time zone",
        ),
        (
            "separator = \";\"",
            "separator = \";\"\nencoding = \"klingon\"",
            "klingon",
            "there is no encoding klingon",
        ),
    ] {
        assert!(MAP.contains(from), "{from}");
        let map = MAP.replacen(from, to, 1);
        let line = line_of(&map, place.lines().next().unwrap());
        let done = import(&scratch, &text, &map, &["--write", "--format", "json"]).ends(1);
        let document = document(&done);
        let findings = document["findings"].as_array().unwrap();
        let told = findings.iter().any(|finding| {
            let said = format!(
                "{} {}",
                finding["message"].as_str().unwrap(),
                finding["help"].as_str().unwrap()
            );
            finding["line"] == line && said.contains(words)
        });
        assert!(told, "{to}: line {line} in {}", done.out);
        assert_eq!(document["outcome"], "nothing-written", "{to}");
        assert!(!scratch.path("checks").exists(), "{to}");
    }
    // As people read it.
    let map = MAP.replace("\"Spindle\"", "\"Spindel\"");
    let done = import(&scratch, &text, &map, &[]).ends(1);
    assert!(
        done.out
            .contains("there is no heading \"Spindel\" in row 1"),
        "{}",
        done.out
    );
    assert!(done.out.contains("map.toml"), "{}", done.out);
    // A key without a value is named by its line, as in a map that was just begun.
    let map = MAP.replace("separator = \";\"", "separator =");
    let done = import(&scratch, &text, &map, &[]).ends(1);
    assert!(done.out.contains("toml-syntax"), "{}", done.out);
}

#[test]
fn what_is_refused_keeps_the_others_back_unless_they_are_asked_for() {
    let scratch = Scratch::book();
    let text = sheet(&[SOUND, &FAILING.replace("VM-1", "VM-9"), INCOMPLETE]);
    let done = import(&scratch, &text, MAP, &["--write"]).ends(1);
    assert!(done.out.contains("Nothing was written"), "{}", done.out);
    assert!(!scratch.path("checks").exists());
    let done = import(&scratch, &text, MAP, &["--write", "--skip-refused"]).ends(1);
    assert!(done.out.contains("2 checks written"), "{}", done.out);
    assert!(
        done.out.contains("so none of the check in rows 5 to 7"),
        "{}",
        done.out
    );
    assert!(scratch.path(FIRST).exists());
    assert!(!scratch.path("checks/2026/VM-9").exists());
    let odd: Vec<_> = std::fs::read_dir(&scratch.book)
        .unwrap()
        .filter(|entry| {
            entry
                .as_ref()
                .unwrap()
                .file_name()
                .to_string_lossy()
                .starts_with(".shearbook")
        })
        .collect();
    assert!(odd.is_empty(), "{odd:?}");
}

#[test]
fn rows_that_are_no_checks_are_told_and_left_out() {
    let scratch = Scratch::book();
    let text = sheet(&[SOUND, "Total;1;;;;;;;;;;;\n", ";;;;;;;;;;;;;filed by QA\n"]);
    let done = import(&scratch, &text, MAP, &[]).ends(1);
    assert!(
        done.out.contains("row 5, cell A5, \"Total\": is no date"),
        "{}",
        done.out
    );
    let map = MAP.replace(
        "[read]",
        "[[skip]]\ncolumn = \"Date\"\nstarts_with = [\"total\"]\n\n[read]",
    );
    let done = import(&scratch, &text, &map, &[]).ends(0);
    assert!(
        done.out
            .contains("Left out, as the map says:\n  row 5, cell A5, \"Total\""),
        "{}",
        done.out
    );
    assert!(
        done.out.contains("row 6, cell N6, \"filed by QA\""),
        "{}",
        done.out
    );
}

#[test]
fn two_checks_of_one_minute_name_each_other() {
    let scratch = Scratch::book();
    let other = FAILING.replace("03.03.2026", "02.03.2026");
    // The check between them keeps their rows apart.
    let text = sheet(&[SOUND, INCOMPLETE, &other]);
    let done = import(&scratch, &text, MAP, &["--format", "json"]).ends(1);
    let refused = refused(&document(&done));
    assert_eq!(refused.len(), 2, "{refused:?}");
    assert!(
        refused[0]
            .1
            .contains("row 8 gives the same instrument and minute"),
        "{refused:?}"
    );
    assert!(
        refused[1]
            .1
            .contains("row 2 gives the same instrument and minute"),
        "{refused:?}"
    );
}

#[test]
fn what_the_book_has_from_elsewhere_stays() {
    let scratch = Scratch::book();
    let own = scratch.sound_check("0900");
    let before = scratch.read(&own);
    let text = sheet(&[SOUND]);
    let done = import(&scratch, &text, MAP, &["--write", "--format", "json"]).ends(1);
    let told = refused(&document(&done));
    assert!(
        told[0].1.contains(&own) && told[0].1.contains("is there already"),
        "{told:?}"
    );
    assert_eq!(scratch.read(&own), before);
    scratch.remove(&own);

    // The same row once more, by a map that reads another time.
    import(&scratch, &text, MAP, &["--write"]).ends(0);
    let map = MAP.replace("date_order", "time_zone = \"Europe/Helsinki\"\ndate_order");
    let done = import(&scratch, &text, &map, &["--write", "--format", "json"]).ends(1);
    let told = refused(&document(&done));
    assert!(
        told[0]
            .1
            .contains("in the book already, as VM-1/2026-03-02-0900"),
        "{told:?}"
    );
}

#[test]
fn clocks_that_are_put_back_or_stand_elsewhere() {
    let scratch = Scratch::book();
    // On 15 February 2026 at 03:00 the clock of Casablanca was put back to 02:00 (IANA tz database).
    let casablanca =
        |scratch: &Scratch| scratch.edit(support::MARKER, "Europe/Dublin", "Africa/Casablanca");
    let night = SOUND
        .replace("02.03.2026;09:00", "15.02.2026;02:30")
        .replace("07:50", "01:10");
    let text = sheet(&[&night]);
    casablanca(&scratch);
    let done = import(&scratch, &text, MAP, &["--format", "json"]).ends(1);
    let told = refused(&document(&done));
    assert!(
        told[0].0 == "B2" && told[0].1.contains("came twice that day"),
        "{told:?}"
    );
    for (which, performed) in [
        ("first", "2026-02-15T02:30:00+01:00"),
        ("second", "2026-02-15T02:30:00+00:00"),
    ] {
        let scratch = Scratch::book();
        casablanca(&scratch);
        let map = MAP.replace(
            "date_order",
            &format!("repeated_hour = \"{which}\"\ndate_order"),
        );
        import(&scratch, &text, &map, &["--write"]).ends(0);
        let check = scratch.read("checks/2026/VM-1/2026-02-15-0230.toml");
        assert!(
            check.contains(&format!("performed = {performed}\n")),
            "{check}"
        );
    }
    let scratch = Scratch::book();
    // Helsinki is two hours ahead of Dublin the whole year.
    let map = MAP.replace("date_order", "time_zone = \"Europe/Helsinki\"\ndate_order");
    import(&scratch, sheet(&[SOUND]), &map, &["--write"]).ends(0);
    let check = scratch.read("checks/2026/VM-1/2026-03-02-0700.toml");
    assert!(
        check.contains("performed = 2026-03-02T07:00:00\n"),
        "{check}"
    );
    assert!(
        check.contains("soak_started = 2026-03-02T05:50:00\n"),
        "{check}"
    );
    // 29 March 2026, 01:30 never came.
    let skipped = SOUND
        .replace("02.03.2026;09:00", "29.03.2026;01:30")
        .replace("07:50", "00:10");
    let done = import(&scratch, sheet(&[&skipped]), MAP, &["--format", "json"]).ends(1);
    assert!(refused(&document(&done))[0].1.contains("never came"));
}

#[test]
fn a_sheet_without_times_says_so_in_each_note() {
    let scratch = Scratch::book();
    let map = MAP
        .replace("time = { column = \"Time\" }\n", "")
        .replace("\"date\", \"time\", ", "\"date\", ")
        .replace("date_order", "time_of_day = \"12:00\"\ndate_order");
    import(&scratch, sheet(&[SOUND]), &map, &["--write"]).ends(0);
    let check = scratch.read("checks/2026/VM-1/2026-03-02-1200.toml");
    assert!(
        check.contains("The sheet has no time of day; 12:00 stands for it."),
        "{check}"
    );
}

#[test]
fn a_broken_rule_is_void_only_where_the_map_says_so() {
    let scratch = Scratch::book();
    let warm = SOUND.replace("25,00", "25,61");
    import(&scratch, sheet(&[&warm]), MAP, &["--write"]).ends(1);
    let map = MAP.replace(
        "[check]",
        "[refuse]\ntemperature-out-of-window = \"void\"\n\n[check]",
    );
    let done = import(
        &scratch,
        sheet(&[&warm]),
        &map,
        &["--write", "--format", "json"],
    )
    .ends(0);
    let document = document(&done);
    assert_eq!(
        document["checks"][0]["void_cause"], "procedure",
        "{}",
        done.out
    );
    let check = scratch.read(FIRST);
    assert!(
        check.contains("void_cause = \"procedure\"\nreason = \"imported though "),
        "{check}"
    );
    assert!(check.contains("25.61"), "{check}");
    scratch.shearbook(&["validate"]).ends(0);
}

#[test]
fn a_row_may_be_a_whole_check() {
    let scratch = Scratch::book();
    let text = "\
,,12 rpm,,30 rpm,,60 rpm,
Day,Unit,Torque,Reading,Torque,Reading,Torque,Reading
2026-03-02 09:00,VM-1,19.4,0.4850 Pa.s,48.5,0.4850,97.0,0.4850
2026-03-03 09:00,VM-1,19.4,0.4850,48.5,0.4850,EEEE,EEEE
";
    // Headings that are not merged stand over their first column alone, so columns are named by letter.
    let map = r#"format = 1

[source]
kind = "csv"
separator = ","
layout = "row-a-check"
heading_rows = [1, 2]

[read]
decimal_mark = "."

[shown]
"EEEE" = "over-range"

[check]
date = { column = "Day" }
instrument = { column = "Unit" }
geometry = { value = "G-1" }
fluid = { value = "K-1" }
bottle = { value = "1" }
thermometer = { value = "TH-1" }
operator = { value = "op-01" }
occasion = { value = "scheduled" }
condition = { value = "as-found" }
late_reason = { value = "old" }
levelled = { value = true }
immersed_to_mark = { value = true }
free_of_bubbles = { value = true }
vessel_as_specified = { value = true }
guard = { value = true }
zero_percent = { value = 0.0 }
soak_minutes = { value = 70 }

[[point]]
speed_rpm = { value = 12 }
torque_percent = { column = "12 rpm / Torque" }
viscosity = { letter = "D", unit = "Pa.s" }
temperature = { value = 77.0, unit = "F" }

[[point]]
speed_rpm = { value = 30 }
torque_percent = { letter = "E" }
viscosity = { letter = "f", unit = "Pa.s" }
temperature = { value = 77.0, unit = "F" }

[[point]]
speed_rpm = { value = 60 }
torque_percent = { letter = "G" }
viscosity = { letter = "H", unit = "Pa.s" }
temperature = { value = 77.0, unit = "F" }
"#;
    import(&scratch, text, map, &["--write", "--by", "qa-01"]).ends(1);
    let done = import(&scratch, text, map, &["--write"]).ends(0);
    assert!(
        done.out.contains("2 checks written: 1 pass, 1 fail."),
        "{}",
        done.out
    );
    let check = scratch.read(FIRST);
    assert!(
        check.contains("viscosity_mpa_s = 485.0\ntemperature_c = 25.00\n"),
        "{check}"
    );
    assert!(
        check.contains("soak_started = 2026-03-02T07:50:00"),
        "{check}"
    );
    let over = scratch.read("checks/2026/VM-1/2026-03-03-0900.toml");
    assert!(
        over.contains("speed_rpm = 60\ntemperature_c = 25.00\nshown = \"over-range\""),
        "{over}"
    );
}

#[test]
fn what_cannot_be_looked_at_ends_otherwise() {
    let scratch = Scratch::book();
    let map = put(&scratch, "map.toml", MAP);
    let text = put(&scratch, "old.csv", sheet(&[SOUND]));
    scratch
        .shearbook(&["import", "nowhere.csv", "--map", &map])
        .ends(2);
    scratch
        .shearbook(&["import", &text, "--map", "nowhere.toml"])
        .ends(2);
    scratch.shearbook(&["import", &text]).ends(2);
    scratch
        .shearbook(&["import", &text, "--map", &map, "--by", "op-99", "--write"])
        .ends(2);
    scratch
        .shearbook(&["import", &text, "--map", &map, "--skip-refused"])
        .ends(2);
    for bytes in [
        &b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"[..],
        b"PK\x03\x04no workbook",
        b"%PDF-1.7",
        b"a;\"b\nc",
    ] {
        let done = import(
            &scratch,
            bytes,
            &MAP.replace(
                "kind = \"csv\"\nseparator = \";\"",
                "kind = \"xlsx\"\nsheets = \"all\"",
            ),
            &[],
        );
        let done = match bytes.starts_with(b"a;") {
            true => import(&scratch, bytes, MAP, &[]),
            false => done,
        };
        assert_eq!(done.code, Some(3), "{}{}", done.out, done.err);
        assert!(done.err.contains("next: "), "{}", done.err);
    }
    // Something stands in the way of the folder: nothing is written anywhere.
    std::fs::write(scratch.path("checks"), "in the way").unwrap();
    scratch
        .shearbook(&["import", &text, "--map", &map, "--write"])
        .ends(3);
    let outside = scratch.outside();
    let done = scratch.shearbook_in(&outside, &["import", &text, "--map", &map]);
    assert_eq!(done.code, Some(3), "{}", done.err);
}

/// A workbook as its parts: what stands in `xl/worksheets/sheetN.xml` between `<worksheet>` and its end, and the number formats.
fn workbook(since_1904: bool, sheets: &[(&str, &str)]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let mut part = |name: &str, text: &str| {
        zip.start_file(name, zip::write::SimpleFileOptions::default())
            .unwrap();
        zip.write_all(text.as_bytes()).unwrap();
    };
    const MAIN: &str = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
    const RELS: &str = "http://schemas.openxmlformats.org/package/2006/relationships";
    const DOC: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    part(
        "_rels/.rels",
        &format!(
            "<Relationships xmlns=\"{RELS}\"><Relationship Id=\"rId1\" Type=\"{DOC}/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>"
        ),
    );
    let listed: String = sheets
        .iter()
        .enumerate()
        .map(|(index, (name, _))| {
            format!(
                "<sheet name=\"{name}\" sheetId=\"{0}\" r:id=\"rId{0}\"/>",
                index + 1
            )
        })
        .collect();
    let epoch = if since_1904 {
        "<workbookPr date1904=\"1\"/>"
    } else {
        ""
    };
    part(
        "xl/workbook.xml",
        &format!(
            "<workbook xmlns=\"{MAIN}\" xmlns:r=\"{DOC}\">{epoch}<sheets>{listed}</sheets></workbook>"
        ),
    );
    let related: String = (1..=sheets.len()).map(|index| format!("<Relationship Id=\"rId{index}\" Type=\"{DOC}/worksheet\" Target=\"worksheets/sheet{index}.xml\"/>")).collect();
    part(
        "xl/_rels/workbook.xml.rels",
        &format!(
            "<Relationships xmlns=\"{RELS}\">{related}<Relationship Id=\"rId99\" Type=\"{DOC}/styles\" Target=\"styles.xml\"/></Relationships>"
        ),
    );
    // 0 general, 1 a day, 2 day and time, 3 two decimals, 4 a time, 5 percent with one decimal.
    part(
        "xl/styles.xml",
        &format!(
            "<styleSheet xmlns=\"{MAIN}\"><numFmts count=\"3\"><numFmt numFmtId=\"164\" formatCode=\"dd.mm.yyyy\"/><numFmt numFmtId=\"165\" formatCode=\"dd.mm.yyyy hh:mm\"/><numFmt numFmtId=\"166\" formatCode=\"0.0%\"/></numFmts><fonts count=\"1\"><font/></fonts><fills count=\"1\"><fill/></fills><borders count=\"1\"><border/></borders><cellXfs count=\"6\"><xf numFmtId=\"0\"/><xf numFmtId=\"164\"/><xf numFmtId=\"165\"/><xf numFmtId=\"2\"/><xf numFmtId=\"20\"/><xf numFmtId=\"166\"/></cellXfs></styleSheet>"
        ),
    );
    for (index, (_, text)) in sheets.iter().enumerate() {
        part(
            &format!("xl/worksheets/sheet{}.xml", index + 1),
            &format!("<worksheet xmlns=\"{MAIN}\">{text}</worksheet>"),
        );
    }
    zip.finish().unwrap().into_inner()
}

/// A cell with a text, or with a number in a format.
fn cell(at: &str, value: &str, format: Option<u32>) -> String {
    match format {
        None => format!("<c r=\"{at}\" t=\"inlineStr\"><is><t>{value}</t></is></c>"),
        Some(format) => format!("<c r=\"{at}\" s=\"{format}\"><v>{value}</v></c>"),
    }
}

const FORM: &str = r#"format = 1

[source]
kind = "xlsx"
sheets = "all"
layout = "form"

[check]
date = { cell = "B1" }
time = { cell = "B2" }
instrument = { cell = "B3" }
geometry = { value = "G-1" }
fluid = { value = "K-1" }
bottle = { cell = "B4" }
thermometer = { value = "TH-1" }
operator = { value = "op-01" }
occasion = { value = "scheduled" }
condition = { value = "as-found" }
late_reason = { value = "old" }
levelled = { cell = "B5" }
immersed_to_mark = { value = true }
free_of_bubbles = { value = true }
vessel_as_specified = { value = true }
guard = { value = true }
zero_percent = { value = 0.0 }
soak_minutes = { value = 70 }

[[point]]
speed_rpm = { cell = "A8" }
torque_percent = { cell = "B8" }
viscosity = { cell = "C8", unit = "mPa.s" }
temperature = { cell = "D8", unit = "C" }

[[point]]
speed_rpm = { cell = "A9" }
torque_percent = { cell = "B9" }
viscosity = { cell = "C9", unit = "mPa.s" }
temperature = { cell = "D9", unit = "C" }

[[point]]
speed_rpm = { cell = "A10" }
torque_percent = { cell = "B10" }
viscosity = { cell = "C10", unit = "mPa.s" }
temperature = { cell = "D10", unit = "C" }
"#;

/// A sheet that is a form; the day by its number.
fn form(day: &str, more: &str) -> String {
    let mut rows = vec![
        (1, cell("B1", day, Some(1))),
        (2, cell("B2", "0.375", Some(4))),
        (3, cell("B3", "VM-1", None)),
        (4, cell("B4", "1", Some(0))),
        (5, "<c r=\"B5\" t=\"b\"><v>1</v></c>".to_owned()),
    ];
    for (row, rpm, torque) in [(8, "12", "0.194"), (9, "30", "0.485"), (10, "60", "0.97")] {
        let cells = [
            cell(&format!("A{row}"), rpm, Some(0)),
            cell(&format!("B{row}"), torque, Some(5)),
            cell(&format!("C{row}"), "485", Some(3)),
            cell(&format!("D{row}"), "25", Some(3)),
        ];
        rows.push((row, cells.concat()));
    }
    let rows: String = rows
        .iter()
        .map(|(row, cells)| format!("<row r=\"{row}\" hidden=\"1\">{cells}</row>"))
        .collect();
    format!("<sheetData>{rows}{more}</sheetData>")
}

#[test]
fn forms_of_a_workbook_are_read_cell_by_cell() {
    // Day 46083 since 1900 is day 44621 since 1904.
    for (since_1904, days) in [(false, ["46083", "46084"]), (true, ["44621", "44622"])] {
        let scratch = Scratch::book();
        let bytes = workbook(
            since_1904,
            &[
                ("March 2", &form(days[0], "")),
                ("March 3", &form(days[1], "")),
            ],
        );
        let done = import(&scratch, bytes, FORM, &["--write"]).ends(0);
        assert!(
            done.out.contains("2 checks written: 2 pass."),
            "{}",
            done.out
        );
        let check = scratch.read(FIRST);
        for line in [
            "bottle = \"1\"",
            "performed = 2026-03-02T09:00:00\n",
            "soak_started = 2026-03-02T07:50:00",
            "levelled = true",
            "sheet = \"March 2\"\nrow = 1\n",
            "speed_rpm = 60\ntorque_percent = 97.0\nviscosity_mpa_s = 485.00\ntemperature_c = 25.00\n",
        ] {
            assert!(check.contains(line), "no {line} in {check}");
        }
        assert!(
            scratch
                .path("checks/2026/VM-1/2026-03-03-0900.toml")
                .exists()
        );
    }
}

#[test]
fn what_a_workbook_could_not_work_out_is_no_blank() {
    let scratch = Scratch::book();
    for (more, at, words) in [
        (
            "<c r=\"C8\"><f>B8*25</f></c>",
            "C8",
            "has no result in the file",
        ),
        (
            "<c r=\"C8\" t=\"e\"><v>#DIV/0!</v></c>",
            "C8",
            "is an error value",
        ),
        (
            "<c r=\"C8\" s=\"1\"><v>46083</v></c>",
            "C8",
            "is a date, and a figure belongs here",
        ),
        (
            "<c r=\"C8\" s=\"5\"><v>0.5</v></c>",
            "C8",
            "is a percentage",
        ),
        (
            "<c r=\"C8\" t=\"inlineStr\"><is><t>485,0</t></is></c>",
            "C8",
            "does not say which is the decimal mark",
        ),
    ] {
        let sheet = form("46083", "").replace(&cell("C8", "485", Some(3)), more);
        let done = import(
            &scratch,
            workbook(false, &[("March", &sheet)]),
            FORM,
            &["--format", "json"],
        )
        .ends(1);
        let told = refused(&document(&done));
        assert!(
            told.iter()
                .any(|(cell, why)| cell == at && why.contains(words)),
            "{words}: {told:?}"
        );
    }
    // A formula with its result is what the result is.
    let sheet = form("46083", "").replace(
        &cell("C8", "485", Some(3)),
        "<c r=\"C8\" s=\"3\"><f>97*5</f><v>485</v></c>",
    );
    import(&scratch, workbook(false, &[("March", &sheet)]), FORM, &[]).ends(0);
}

#[test]
fn sheets_are_named_and_merged_headings_fill() {
    let scratch = Scratch::book();
    let text = |at: &str, text: &str| cell(at, text, None);
    let number = |at: &str, value: &str| cell(at, value, Some(0));
    let mut rows = vec![
        [
            text("A1", "Day"),
            text("B1", "Unit"),
            text("C1", "12 rpm"),
            text("E1", "30 rpm"),
            text("G1", "60 rpm"),
        ]
        .concat(),
        [
            text("C2", "Torque"),
            text("D2", "cP"),
            text("E2", "Torque"),
            text("F2", "cP"),
            text("G2", "Torque"),
            text("H2", "cP"),
        ]
        .concat(),
    ];
    for (row, day) in [(3, "46083.375"), (4, "46084.375")] {
        let mut cells = cell(&format!("A{row}"), day, Some(2));
        // The unit is written once, for both rows.
        if row == 3 {
            cells += &text("B3", "VM-1");
        }
        for (column, value) in [
            ("C", "19.4"),
            ("D", "485"),
            ("E", "48.5"),
            ("F", "485"),
            ("G", "97"),
            ("H", "485"),
        ] {
            cells += &number(&format!("{column}{row}"), value);
        }
        rows.push(cells);
    }
    let rows: String = rows
        .iter()
        .enumerate()
        .map(|(index, cells)| format!("<row r=\"{}\">{cells}</row>", index + 1))
        .collect();
    let merged = ["A1:A2", "B1:B2", "C1:D1", "E1:F1", "G1:H1", "B3:B4"]
        .map(|area| format!("<mergeCell ref=\"{area}\"/>"))
        .concat();
    let sheet =
        format!("<sheetData>{rows}</sheetData><mergeCells count=\"6\">{merged}</mergeCells>");
    let bytes = workbook(false, &[("Notes", "<sheetData/>"), ("2026", &sheet)]);
    let mut map = FORM
        .split("[[point]]")
        .next()
        .unwrap()
        .replace(
            "sheets = \"all\"\nlayout = \"form\"",
            "sheets = [\"2026\"]\nlayout = \"row-a-check\"\nheading_rows = [1, 2]",
        )
        .replace(
            "date = { cell = \"B1\" }\ntime = { cell = \"B2\" }",
            "date = { column = \"Day\" }",
        )
        .replace(
            "instrument = { cell = \"B3\" }",
            "instrument = { column = \"Unit\" }",
        )
        .replace("bottle = { cell = \"B4\" }", "bottle = { value = \"1\" }")
        .replace(
            "levelled = { cell = \"B5\" }",
            "levelled = { value = true }",
        );
    for rpm in ["12", "30", "60"] {
        map += &format!(
            "[[point]]\nspeed_rpm = {{ value = {rpm} }}\ntorque_percent = {{ column = \"{rpm} rpm / Torque\" }}\nviscosity = {{ column = \"{rpm} rpm / cP\", unit = \"cP\" }}\ntemperature = {{ value = 25.00, unit = \"C\" }}\n"
        );
    }
    let done = import(&scratch, &bytes, &map, &[]).ends(0);
    assert!(
        done.out.contains("2 checks to be written: 2 pass."),
        "{}",
        done.out
    );
    assert!(
        done.out
            .contains("VM-1/2026-03-03-0900  pass  row 4 of sheet 2026"),
        "{}",
        done.out
    );
    let done = import(
        &scratch,
        &bytes,
        &map.replace("[\"2026\"]", "[\"2062\"]"),
        &[],
    )
    .ends(1);
    assert!(
        done.out.contains("has no sheet \"2062\"") && done.out.contains("did you mean \"2026\"?"),
        "{}",
        done.out
    );
}

#[test]
fn a_sample_begins_a_map_and_settles_nothing_silently() {
    let scratch = Scratch::book();
    let text = sheet(&[
        SOUND,
        FAILING,
        &INCOMPLETE.replace("04.03.2026", "14.03.2026"),
    ]);
    let file = put(&scratch, "old.csv", &text);
    let map = scratch.outside().join("begun.toml");
    let name = map.to_str().unwrap();
    let done = scratch
        .shearbook(&["import", &file, "--sample", "--map", name])
        .ends(0);
    for words in [
        "\";\" gives 13 columns in 10 of 10 rows",
        "Row 1 looks like the headings",
        "A8 holds 14.03.2026, so the day stands first",
        "so a decimal comma",
        "A  \"Date\": 9 text; 02.03.2026; 03.03.2026; 14.03.2026",
    ] {
        assert!(done.out.contains(words), "no {words} in {}", done.out);
    }
    let begun = std::fs::read_to_string(&map).unwrap();
    for line in [
        "layout =\n",
        "decimal_mark = \",\"\n",
        "date_order = \"dmy\"\n",
        "thermometer =\n",
        "late_reason =\n",
        "viscosity = { column = \"Viscosity cP\", unit = \"cP\" }",
        "operator = { column = \"Who\" }  # F, by its heading: J. N.",
    ] {
        assert!(begun.contains(line), "no {line} in {begun}");
    }
    // It does not load, and names each line that waits for an answer.
    let refused = scratch
        .shearbook(&["import", &file, "--map", name, "--format", "json"])
        .ends(1);
    let findings = document(&refused)["findings"].clone();
    let blank: Vec<usize> = begun
        .lines()
        .enumerate()
        .filter(|(_, line)| line.ends_with(" =") && !line.starts_with('#'))
        .map(|(index, _)| index + 1)
        .collect();
    let told: Vec<usize> = findings
        .as_array()
        .unwrap()
        .iter()
        .map(|one| usize::try_from(one["line"].as_u64().unwrap()).unwrap())
        .collect();
    assert_eq!(told, blank, "{begun}");
    // Once answered, it brings what the map written by hand brings.
    let mut answered = begun.clone();
    for (from, to) in [
        ("layout =\n", "layout = \"row-a-reading\"\n"),
        ("#session =", "session ="),
        (
            "operator = { column = \"Who\" }",
            "operator = { column = \"Who\", values = { \"J. N.\" = \"op-01\" } }",
        ),
        (
            "soak_started =\nsoak_minutes =\n",
            "soak_started = { column = \"Soak from\" }\n",
        ),
        ("thermometer =\n", "thermometer = { value = \"TH-1\" }\n"),
        ("#bottle =\n", "bottle = { value = \"1\" }\n"),
        ("occasion =\n", "occasion = { value = \"scheduled\" }\n"),
        ("condition =\n", "condition = { value = \"as-found\" }\n"),
        ("late_reason =\n", "late_reason = { value = \"old\" }\n"),
    ] {
        assert!(answered.contains(from), "no {from} in {answered}");
        answered = answered.replace(from, to);
    }
    for flag in [
        "levelled",
        "immersed_to_mark",
        "free_of_bubbles",
        "vessel_as_specified",
        "guard",
    ] {
        answered = answered.replace(
            &format!("#{flag} =\n"),
            &format!("{flag} = {{ value = true }}\n"),
        );
    }
    let done = import(&scratch, &text, &answered, &["--write"]).ends(0);
    assert!(
        done.out
            .contains("3 checks written: 1 pass, 1 fail, 1 void."),
        "{}",
        done.out
    );
    // Never over another.
    scratch
        .shearbook(&["import", &file, "--sample", "--map", name])
        .ends(1);
    assert_eq!(std::fs::read_to_string(&map).unwrap(), begun);
}

#[test]
fn a_sample_leaves_open_what_it_cannot_know() {
    let scratch = Scratch::book();
    let begun = |name: &str, bytes: &[u8]| {
        let file = put(&scratch, name, bytes);
        let map = scratch.outside().join(format!("{name}.toml"));
        scratch
            .shearbook(&["import", &file, "--sample", "--map", map.to_str().unwrap()])
            .ends(0);
        std::fs::read_to_string(map).unwrap()
    };
    // No day over 12, a mark that may part thousands, a year of two digits, bytes that are no UTF-8.
    let map = begun("a.csv", b"Day;T \xb0C\n02.03.26;1,234\n03.03.26;1,235\n");
    for line in [
        "date_order =\n",
        "decimal_mark =\n",
        "century =\n",
        "encoding =\n",
    ] {
        assert!(map.contains(line), "no {line} in {map}");
    }
    assert!(map.contains("windows-1252"), "{map}");
    let map = begun("b.csv", b"Day|Torque\n2026-03-02|19.4\n2026-03-03|19.5\n");
    assert!(
        map.contains("separator = \"|\"\n") && map.contains("date_order = \"ymd\"\n"),
        "{map}"
    );
    assert!(map.contains("decimal_mark = \".\"\n"), "{map}");
    // A soak has a time, who reviewed is not who ran it, and a torque is no temperature.
    let map = begun(
        "e.csv",
        b"Date/Time,Soak time,Reviewed by,Operator,T (%),Bath temp,Unit\n2026-03-02 09:00,2:20,op-02,op-01,19.4,25.00,VM-1\n",
    );
    for line in [
        "date = { column = \"Date/Time\" }",
        "\n#time =\n",
        "\nsoak_started =\nsoak_minutes =\n",
        "operator = { column = \"Operator\" }",
        "\n#bath =  # column F?",
        "\ntemperature =  # column F?",
    ] {
        assert!(map.contains(line), "no {line} in {map}");
    }
    assert!(!map.contains("\"Reviewed by\""), "{map}");
    assert!(!map.contains("\"T (%)\""), "{map}");
    let map = begun(
        "f.csv",
        b"Date,Time,Soak (min)\n2026-03-02,09:00,70\n2026-03-03,09:00,70\n",
    );
    assert!(
        map.contains("#soak_started =\nsoak_minutes = { column = \"Soak (min)\" }"),
        "{map}"
    );
    let map = begun("c.csv", b"one\ntwo\n");
    assert!(
        map.contains("separator =\n") && map.contains("heading_rows =\n"),
        "{map}"
    );
    let workbook = workbook(
        false,
        &[("One", &form("46083", "")), ("Two", &form("46084", ""))],
    );
    let map = begun("d.xlsx", &workbook);
    assert!(
        map.contains("there are \"One\", \"Two\"\nsheets =\n"),
        "{map}"
    );
}

/// A line for each of many checks, by the map of whole readings.
fn many(count: usize) -> String {
    let mut text = HEADINGS.to_owned();
    for number in 0..count {
        let (day, minute) = (2 + number / 600, 540 + number % 600);
        let clock = format!("{:02}:{:02}", minute / 60, minute % 60);
        text += &SOUND.replace("02.03.2026;09:00", &format!("{day:02}.03.2026;{clock}"));
    }
    text
}

#[cfg(unix)]
#[test]
fn an_interruption_leaves_all_or_nothing() {
    const COUNT: usize = 500;
    let text = many(COUNT);
    let mut ends = std::collections::BTreeSet::new();
    for wait in [50, 150, 250, 400, 600] {
        let scratch = Scratch::book();
        let before = scratch.snapshot(&scratch.book);
        let (file, map) = (
            put(&scratch, "old.csv", &text),
            put(&scratch, "map.toml", MAP),
        );
        let mut running = scratch.tool(&scratch.book);
        running.args(["import", &file, "--map", &map, "--write", "--quiet"]);
        let mut running = running.stdout(std::process::Stdio::null()).spawn().unwrap();
        std::thread::sleep(std::time::Duration::from_millis(wait));
        let id = nix::unistd::Pid::from_raw(i32::try_from(running.id()).unwrap());
        let _ = nix::sys::signal::kill(id, nix::sys::signal::Signal::SIGINT);
        let code = running.wait().unwrap().code();
        let after = scratch.snapshot(&scratch.book);
        let new = after.len() - before.len();
        assert!(
            new == 0 || new == COUNT,
            "{new} files after {wait} ms, ended with {code:?}"
        );
        let left = after
            .keys()
            .filter(|path| path.to_string_lossy().contains(".shearbook-"));
        assert_eq!(left.count(), 0);
        assert!(matches!(code, Some(0 | 130)), "{code:?}");
        ends.insert(new);
    }
    assert!(ends.contains(&0), "no interruption came in time");
}

#[test]
fn a_fact_with_errors_keeps_its_checks_back() {
    let scratch = Scratch::book();
    scratch.edit(
        "fluids/K-1.toml",
        "viscosity_mpa_s = 484.0",
        "viscosity_mpa_s = 484,0",
    );
    let done = import(
        &scratch,
        sheet(&[SOUND]),
        MAP,
        &["--write", "--format", "json"],
    )
    .ends(1);
    let told = refused(&document(&done));
    assert!(
        told.iter()
            .any(|(_, why)| why.contains("its figures cannot be had")),
        "{told:?}"
    );
    assert!(!scratch.path("checks").exists());
}

#[test]
fn a_place_for_a_reading_that_is_blank_is_no_reading() {
    let scratch = Scratch::book();
    // Its speed is printed on the form, and its temperature is that of all readings.
    let printed = format!(
        "<row r=\"11\">{}{}</row>",
        cell("A11", "100", Some(0)),
        cell("D11", "25", Some(3))
    );
    let map = FORM.to_owned()
        + "\n[[point]]\nspeed_rpm = { cell = \"A11\" }\ntorque_percent = { cell = \"B11\" }\nviscosity = { cell = \"C11\", unit = \"mPa.s\" }\ntemperature = { cell = \"D11\", unit = \"C\" }\n";
    let bytes = workbook(false, &[("March", &form("46083", &printed))]);
    let done = import(&scratch, bytes, &map, &["--write"]).ends(0);
    assert!(
        done.out.contains("1 check written: 1 pass."),
        "{}",
        done.out
    );
    let check = scratch.read(FIRST);
    assert_eq!(check.matches("[[point]]").count(), 3, "{check}");
    assert!(!check.contains("speed_rpm = 100"), "{check}");
}

#[test]
fn midnight_in_a_date_cell_is_a_day_without_a_time() {
    let scratch = Scratch::book();
    let without = FORM.replace("time = { cell = \"B2\" }\n", "");
    let midnight =
        form("46083", "").replace(&cell("B1", "46083", Some(1)), &cell("B1", "46083", Some(2)));
    let bytes = workbook(false, &[("March", &midnight)]);
    let done = import(&scratch, &bytes, &without, &["--write", "--format", "json"]).ends(1);
    let told = refused(&document(&done));
    assert!(
        told[0].0 == "B1" && told[0].1.contains("is a day without a time"),
        "{told:?}"
    );
    let stated = without.replace("[check]", "[read]\ntime_of_day = \"12:00\"\n\n[check]");
    import(&scratch, &bytes, &stated, &["--write"]).ends(0);
    let check = scratch.read("checks/2026/VM-1/2026-03-02-1200.toml");
    assert!(check.contains("12:00 stands for it"), "{check}");
    // A time of its own counts.
    let scratch = Scratch::book();
    import(&scratch, &bytes, FORM, &["--write"]).ends(0);
    assert!(scratch.path(FIRST).exists());
}

#[test]
fn a_soak_may_be_told_in_hours_and_minutes() {
    let scratch = Scratch::book();
    let map = MAP.replace("soak_started =", "soak_minutes =");
    let text = sheet(&[&SOUND.replace("07:50", "1:10")]);
    import(&scratch, text, &map, &["--write"]).ends(0);
    let check = scratch.read(FIRST);
    assert!(
        check.contains("soak_started = 2026-03-02T07:50:00\n"),
        "{check}"
    );
}

#[test]
fn a_reason_names_the_row_of_its_cell_and_few_others() {
    let scratch = Scratch::book();
    let warm = SOUND.replace("97,0;485,0;25,00", "97,0;485,0;25,61");
    let done = import(&scratch, sheet(&[&warm]), MAP, &["--format", "json"]).ends(1);
    let told = document(&done)["refused"][0].clone();
    assert_eq!(
        (told["cell"].as_str(), told["row"].as_u64()),
        (Some("J4"), Some(4)),
        "{told}"
    );
    let both = SOUND.to_owned() + FAILING;
    let text = sheet(&[&both.repeat(5)]);
    let done = import(&scratch, text, MAP, &["--format", "json"]).ends(1);
    let told = refused(&document(&done));
    assert!(
        told[0]
            .1
            .contains("row 8, row 14, row 20 and 1 more give the same instrument and minute"),
        "{told:?}"
    );
}

#[test]
fn a_blank_means_the_same_as_above_but_not_what_is_left_out() {
    let scratch = Scratch::book();
    let map = MAP
        .replace(
            "date = { column = \"Date\" }",
            "date = { column = \"Date\", fill_down = true }",
        )
        .replace(
            "[read]",
            "[[skip]]\ncolumn = \"Time\"\nstarts_with = [\"mean\"]\n\n[read]",
        );
    let lines: Vec<&str> = SOUND.lines().collect();
    let blank = |line: &str| line.replace("02.03.2026", "") + "\n";
    let text = sheet(&[
        lines[0],
        "\n",
        &blank(lines[1]),
        "07.03.2026;mean;;;;;;;;;;;\n",
        &blank(lines[2]),
    ]);
    let done = import(&scratch, &text, &map, &["--write"]).ends(0);
    assert!(
        done.out.contains("VM-1/2026-03-02-0900  pass  rows 2 to 5"),
        "{}",
        done.out
    );
    // Above the first there is nothing.
    let text = sheet(&[&SOUND.replace("02.03.2026", "")]);
    let done = import(&scratch, &text, &map, &["--format", "json"]).ends(1);
    let told = refused(&document(&done));
    assert!(
        told[0].0 == "A2" && told[0].1.contains("every check needs its day"),
        "{told:?}"
    );
}

#[test]
fn a_sheet_that_grew_or_was_saved_anew_brings_what_is_new() {
    let scratch = Scratch::book();
    import(&scratch, sheet(&[SOUND]), MAP, &["--write"]).ends(0);
    let before = scratch.read(FIRST);
    // One more check above it, and other line ends.
    let grown = sheet(&[FAILING, SOUND]).replace('\n', "\r\n");
    let done = import(&scratch, grown, MAP, &["--write"]).ends(0);
    for words in ["1 check written: 1 fail.", "1 check imported already"] {
        assert!(done.out.contains(words), "no {words} in {}", done.out);
    }
    assert_eq!(scratch.read(FIRST), before);

    // What differs from the book is never passed over.
    let told = |text: &str, map: &str| {
        let done = import(&scratch, text, map, &["--write", "--format", "json"]).ends(1);
        refused(&document(&done))
    };
    let map = MAP.replace("bottle = { value = \"1\" }", "bottle = { value = \"2\" }");
    let other = told(&sheet(&[SOUND]), &map);
    assert!(
        other[0]
            .1
            .contains("there bottle is \"1\", where it is \"2\" by this map"),
        "{other:?}"
    );
    let other = told(
        &sheet(&[&SOUND.replacen("48,5;485,0", "48,6;486,0", 1)]),
        MAP,
    );
    assert!(
        other[0].0 == "H3"
            && other[0].1.contains(
                "point 2, torque_percent is 48.5, where it is 48.6 by this map; 1 more key differs"
            ),
        "{other:?}"
    );
    let map = MAP.replace("zero_percent = { column = \"Zero\" }\n", "");
    let other = told(&sheet(&[SOUND]), &map);
    assert!(
        other[0]
            .1
            .contains("preparation, zero_percent is 0.0, where it is nothing by this map"),
        "{other:?}"
    );
    assert_eq!(scratch.read(FIRST), before);
}

#[test]
fn what_the_checks_name_and_git_lacks_is_added_beside_them() {
    let scratch = Scratch::book();
    scratch.edit(
        "people/op-01.toml",
        "format = 1\n",
        "format = 1\nnote = \"back\"\n",
    );
    let bath = scratch.read("baths/WB-1.toml").replace("WB-1", "WB-2");
    scratch.write("baths/WB-2.toml", bath);
    let map = MAP.replace("[[point]]", "bath = { value = \"WB-2\" }\n\n[[point]]");
    let done = import(&scratch, sheet(&[SOUND, FAILING]), &map, &["--write"]).ends(0);
    let next = done.out.split("Next").last().unwrap();
    let added: Vec<&str> = next
        .lines()
        .filter_map(|line| line.trim().strip_prefix("git add "))
        .collect();
    assert_eq!(
        added,
        ["checks", "baths/WB-2.toml", "people/op-01.toml"],
        "{}",
        done.out
    );
}

#[test]
fn reviews_that_are_overdue_are_told_once() {
    let scratch = Scratch::book();
    scratch.edit(
        "policies/P-1.toml",
        "[review]\nrequired = false",
        "[review]\nrequired = true",
    );
    for (format, line) in [
        ("text", "The reviews of 2 checks are overdue"),
        ("plain", "The reviews of 2 checks are overdue"),
    ] {
        let done = import(
            &scratch,
            sheet(&[SOUND, FAILING]),
            MAP,
            &["--format", format],
        )
        .ends(0);
        assert!(done.out.contains(line), "{}", done.out);
        assert_eq!(
            done.out.matches("review-missing").count(),
            1,
            "{}",
            done.out
        );
    }
    let done = import(&scratch, sheet(&[SOUND]), MAP, &["--format", "json"]).ends(0);
    let told = document(&done)["checks"][0]["warnings"].to_string();
    assert!(told.contains("review-missing"), "{told}");
}

#[test]
fn two_instruments_side_by_side_in_a_row_are_two_checks() {
    let scratch = Scratch::book();
    let other = scratch
        .read("instruments/VM-1.toml")
        .replace("VM-1", "VM-2");
    scratch.write("instruments/VM-2.toml", other);
    let text = "Day;A;B;C;D;E;F\n2026-03-02 09:00;19,4;48,5;97,0;19,3;48,4;96,8\n";
    let map = |instrument: &str, letters: [&str; 3]| {
        let begin = MAP.find("[check]").unwrap();
        let end = MAP.find("[[point]]").unwrap();
        let head = MAP[..begin]
            .replace("row-a-reading", "row-a-check")
            .replace("session = [\"date\", \"time\", \"instrument\"]\n", "")
            .replace("date_order = \"dmy\"\n", "");
        let check = MAP[begin..end]
            .replace("{ column = \"Date\" }", "{ column = \"Day\" }")
            .replace("time = { column = \"Time\" }\n", "")
            .replace("note = { column = \"Remark\" }\n", "")
            .replace(
                "{ column = \"Instr.\" }",
                &format!("{{ value = \"{instrument}\" }}"),
            )
            .replace("{ column = \"Spindle\" }", "{ value = \"G-1\" }")
            .replace("{ column = \"Lot\" }", "{ value = \"K-1\" }")
            .replace(
                "{ column = \"Who\", values = { \"J. N.\" = \"op-01\" } }",
                "{ value = \"op-01\" }",
            )
            .replace("{ column = \"Zero\" }", "{ value = 0.0 }")
            .replace(
                "soak_started = { column = \"Soak from\" }",
                "soak_minutes = { value = 70 }",
            );
        let points: Vec<String> = [12, 30, 60]
            .iter()
            .zip(letters)
            .map(|(speed, letter)| {
                format!(
                    "[[point]]\nspeed_rpm = {{ value = {speed} }}\ntorque_percent = {{ letter = \"{letter}\" }}\ntemperature = {{ value = 25.0, unit = \"C\" }}\n\n"
                )
            })
            .collect();
        head + &check + &points.concat()
    };
    for (instrument, letters) in [("VM-1", ["B", "C", "D"]), ("VM-2", ["E", "F", "G"])] {
        let done = import(&scratch, text, &map(instrument, letters), &["--write"]);
        let done = done.ends(0);
        assert!(
            done.out.contains("1 check written: 1 pass."),
            "{}",
            done.out
        );
        let path = format!("checks/2026/{instrument}/2026-03-02-0900.toml");
        assert!(scratch.read(&path).contains("row = 2\n"));
    }
    // Each is known when it comes again.
    let again = import(&scratch, text, &map("VM-2", ["E", "F", "G"]), &["--write"]).ends(0);
    assert!(again.out.contains("imported already"), "{}", again.out);
}

#[test]
fn readings_may_have_times_of_their_own() {
    let scratch = Scratch::book();
    let text = sheet(&[SOUND])
        .replacen(
            ";09:00;VM-1;G-1;K-1;J. N.;30",
            ";09:04;VM-1;G-1;K-1;J. N.;30",
            1,
        )
        .replacen(
            ";09:00;VM-1;G-1;K-1;J. N.;60",
            ";09:08;VM-1;G-1;K-1;J. N.;60",
            1,
        );
    let map = MAP.replace(
        "\"date\", \"time\", \"instrument\"",
        "\"date\", \"instrument\"",
    );
    let done = import(&scratch, &text, &map, &["--write"]).ends(0);
    assert!(
        done.out.contains("1 check written: 1 pass."),
        "{}",
        done.out
    );
    assert_eq!(scratch.read(FIRST).matches("[[point]]").count(), 3);
}
