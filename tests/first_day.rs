//! The first day of a book: `init`, `new`, and what follows until the first check is committed.
#![allow(
    clippy::disallowed_methods,
    reason = "tests may use files and the clock"
)]

mod support;

use serde_json::Value as Json;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use support::{Done, MARKER, Scratch};

/// Kind, id, further arguments, path: one of each record that a book may hold, but for reviews.
const RECORDS: [(&str, &str, &[&str], &str); 12] = [
    ("policy", "P-0", &[], "policies/P-0.toml"),
    ("person", "qa-01", &[], "people/qa-01.toml"),
    ("person", "op-01", &[], "people/op-01.toml"),
    ("instrument", "VM-1", &[], "instruments/VM-1.toml"),
    (
        "geometry",
        "G-1",
        &["--kind", "factored"],
        "geometries/G-1.toml",
    ),
    (
        "geometry",
        "G-2",
        &["--kind", "coaxial-cylinders"],
        "geometries/G-2.toml",
    ),
    (
        "geometry",
        "G-3",
        &["--kind", "cone-plate"],
        "geometries/G-3.toml",
    ),
    (
        "geometry",
        "G-4",
        &["--kind", "parallel-plates"],
        "geometries/G-4.toml",
    ),
    ("fluid", "K-1", &[], "fluids/K-1.toml"),
    ("thermometer", "TH-1", &[], "thermometers/TH-1.toml"),
    ("bath", "WB-1", &[], "baths/WB-1.toml"),
    ("nonconformity", "N-1", &[], "nonconformities/N-1.toml"),
];

const CHECK: &str = "checks/2026/VM-1/2026-03-02-0900.toml";

/// An invented laboratory's answers, in the order in which a record asks for a key.
fn answers(path: &str) -> &'static [(&'static str, &'static str)] {
    match path {
        "policies/P-0.toml" => &[
            ("effective", "2025-12-01"),
            ("title", "\"Check procedure, issue 0\""),
        ],
        "people/qa-01.toml" => &[
            ("name", "\"Reviewer one\""),
            ("emails", "[\"qa-01@lab.example\"]"),
            ("for", "\"review\""),
            ("from", "2026-01-01"),
        ],
        "people/op-01.toml" => &[
            ("name", "\"Operator one\""),
            ("emails", "[\"op-01@lab.example\"]"),
            ("for", "\"check\""),
            ("from", "2026-01-01"),
        ],
        "instruments/VM-1.toml" => &[
            ("usage", "\"daily\""),
            ("speeds_rpm", "[6, 12, 20, 30, 60]"),
            ("torque_resolution_percent", "0.1"),
            ("repeatability_percent", "0.2"),
            ("from", "2026-01-05"),
            ("full_scale_torque_un_m", "100.0"),
            ("date", "2026-01-05"),
            ("by", "\"A competent laboratory\""),
            ("certificate", "\"S-100\""),
            ("from", "2026-01-05"),
            ("state", "\"in-service\""),
            ("by", "\"qa-01\""),
        ],
        "geometries/G-1.toml" => &[
            ("range_constant_mpa_s_rpm", "30000.0"),
            ("at_torque_un_m", "100.0"),
            ("guard", "\"required\""),
        ],
        "geometries/G-2.toml" => &[
            ("bob_radius_mm", "12.5"),
            ("cup_radius_mm", "13.56"),
            ("bob_length_mm", "37.5"),
        ],
        "geometries/G-3.toml" => &[("radius_mm", "25.0"), ("angle_deg", "2.0")],
        "geometries/G-4.toml" => &[("radius_mm", "25.0"), ("gap_mm", "1.0")],
        "fluids/K-1.toml" => &[
            ("supplier", "\"A supplier\""),
            ("product", "\"Reference fluid\""),
            ("base", "\"silicone\""),
            ("nominal_mpa_s", "500.0"),
            ("issuer", "\"A competent laboratory\""),
            ("certificate", "\"F-100\""),
            ("certified", "2026-01-15"),
            ("expires", "2027-01-14"),
            ("temperature_c", "25.0"),
            ("viscosity_mpa_s", "484.0"),
            ("expanded_uncertainty_percent", "0.40"),
            ("coverage_factor", "2.0"),
            ("id", "\"1\""),
            ("opened", "2026-02-01"),
        ],
        "thermometers/TH-1.toml" => &[
            ("resolution_k", "0.01"),
            ("date", "2026-01-10"),
            ("due", "2027-01-10"),
            ("by", "\"A competent laboratory\""),
            ("certificate", "\"T-100\""),
            ("expanded_uncertainty_k", "0.03"),
            ("coverage_factor", "2.0"),
            ("corrections", "[ { at_c = 20.0, correction_k = -0.01 } ]"),
        ],
        "baths/WB-1.toml" => &[("uniformity_k", "0.03")],
        "nonconformities/N-1.toml" => &[
            ("opened", "2026-03-03"),
            ("checks", "[\"VM-1/2026-03-02-0900\"]"),
        ],
        // Torque is the reading over the range, 30000 mPa.s rpm over the speed.
        CHECK => &[
            ("geometry", "\"G-1\""),
            ("occasion", "\"scheduled\""),
            ("condition", "\"as-found\""),
            ("levelled", "true"),
            ("immersed_to_mark", "true"),
            ("free_of_bubbles", "true"),
            ("vessel_as_specified", "true"),
            ("guard", "true"),
            ("gap_set", ""),
            ("zero_percent", "0.0"),
            ("soak_started", "2026-03-02T07:50:00"),
            ("speed_rpm", "12"),
            ("torque_percent", "19.4"),
            ("viscosity_mpa_s", "485.0"),
            ("temperature_c", "25.00"),
            ("speed_rpm", "30"),
            ("torque_percent", "48.5"),
            ("viscosity_mpa_s", "485.0"),
            ("temperature_c", "25.00"),
            ("speed_rpm", "60"),
            ("torque_percent", "97.0"),
            ("viscosity_mpa_s", "485.0"),
            ("temperature_c", "25.00"),
        ],
        other => panic!("no answers for {other}"),
    }
}

/// The key of a line that has no value.
fn blank(line: &str) -> Option<&str> {
    let (key, rest) = line.split_once('=')?;
    let key = key.trim_end();
    let rest = rest.trim_start();
    let bare = !key.is_empty()
        && key
            .bytes()
            .all(|byte| byte.is_ascii_alphanumeric() || byte == b'_' || byte == b'-');
    (bare && (rest.is_empty() || rest.starts_with('#'))).then_some(key)
}

/// The lines without a value, counted from 1.
fn blanks(text: &str) -> Vec<u64> {
    (1..)
        .zip(text.lines())
        .filter(|(_, line)| blank(line).is_some())
        .map(|(number, _)| number)
        .collect()
}

/// Gives each key its answer; an empty one deletes the line. No answer is left over.
#[track_caller]
fn filled(text: &str, answers: &[(&str, &str)]) -> String {
    let mut answers = answers.iter();
    let mut filled = String::new();
    for line in text.lines() {
        match blank(line) {
            None => filled += &format!("{line}\n"),
            Some(key) => {
                let (asked, answer) = answers
                    .next()
                    .unwrap_or_else(|| panic!("no answer for {key}"));
                assert_eq!(key, *asked, "{text}");
                if !answer.is_empty() {
                    filled += &line.replacen('=', &format!("= {answer} "), 1);
                    filled.push('\n');
                }
            }
        }
    }
    assert_eq!(answers.next(), None, "{text}");
    filled
}

/// Every optional key of a template brought to life.
fn awake(text: &str) -> String {
    let mut lines = String::new();
    for line in text.lines() {
        let optional = line.strip_prefix('#').filter(|rest| {
            rest.starts_with('[')
                || (rest.starts_with(|first: char| first.is_ascii_lowercase())
                    && rest.contains(" ="))
        });
        lines += optional.unwrap_or(line);
        lines.push('\n');
    }
    lines
}

/// A value for every key that has none: the example in its remark where that is a list, else zero.
fn zeroed(text: &str) -> String {
    let mut lines = String::new();
    for line in text.lines() {
        let list = line.split_once("# [").map(|(_, list)| format!("[{list}"));
        match blank(line) {
            Some(key) => lines += &format!("{key} = {}", list.unwrap_or("0".to_owned())),
            None => lines += line,
        }
        lines.push('\n');
    }
    lines
}

/// Every key of a file, rows as `*`.
fn keys_of(value: &toml::Value, at: &str, into: &mut BTreeSet<String>) {
    match value {
        toml::Value::Table(table) => {
            for (key, value) in table {
                let pointer = format!("{at}/{key}");
                into.insert(pointer.clone());
                keys_of(value, &pointer, into);
            }
        }
        toml::Value::Array(rows) => {
            for row in rows {
                keys_of(row, &format!("{at}/*"), into);
            }
        }
        _ => {}
    }
}

fn keys_of_schema(schema: &Json, node: &Json, at: &str, into: &mut BTreeSet<String>) {
    let reference = node.get("$ref").and_then(Json::as_str);
    let node = reference.map_or(node, |reference| {
        schema.pointer(reference.trim_start_matches('#')).unwrap()
    });
    for (key, inner) in node["properties"].as_object().into_iter().flatten() {
        let pointer = format!("{at}/{key}");
        into.insert(pointer.clone());
        keys_of_schema(schema, inner, &pointer, into);
    }
    if let Some(items) = node.get("items") {
        keys_of_schema(schema, items, &format!("{at}/*"), into);
    }
}

/// A folder outside of any repository with a new book in it.
fn begun(arguments: &[&str]) -> (Scratch, PathBuf) {
    let mut scratch = Scratch::empty();
    let book = scratch.outside().join("lab");
    let all = [&["init", "lab", "--time-zone", "Europe/Dublin"], arguments].concat();
    scratch.shearbook_in(&scratch.outside(), &all).ends(0);
    scratch.top = book.clone();
    scratch.book = book.clone();
    (scratch, book)
}

#[track_caller]
fn new(scratch: &Scratch, kind: &str, id: &str, more: &[&str]) -> Done {
    scratch.shearbook(&[&["new", kind, id], more].concat())
}

/// A book with each record but the check, all filled in.
fn furnished() -> Scratch {
    let (scratch, _) = begun(&["--laboratory", "Invented bench", "--hooks"]);
    for (kind, id, more, path) in RECORDS {
        new(&scratch, kind, id, more).ends(0);
        let text = scratch.read(path);
        scratch.write(path, filled(&text, answers(path)));
    }
    std::fs::remove_file(scratch.path("nonconformities/N-1.toml")).unwrap();
    scratch
}

/// What validation says: rule, severity, path, line.
fn findings(scratch: &Scratch, path: &str) -> Vec<(String, String, String, u64)> {
    let done = scratch.shearbook(&["validate", "--format", "json", path]);
    let json: Json =
        serde_json::from_str(&done.out).unwrap_or_else(|_| panic!("{}{}", done.out, done.err));
    let word = |value: &Json| value.as_str().unwrap().to_owned();
    json["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| {
            (
                word(&one["rule"]),
                word(&one["severity"]),
                word(&one["path"]),
                one["line"].as_u64().unwrap(),
            )
        })
        .collect()
}

fn errors(scratch: &Scratch, path: &str) -> Vec<(String, u64)> {
    findings(scratch, path)
        .into_iter()
        .filter(|(_, severity, ..)| severity == "error")
        .map(|(rule, _, _, line)| (rule, line))
        .collect()
}

fn fits_eighty_columns(text: &str) {
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

fn outside_of_git(scratch: &Scratch) -> Vec<(PathBuf, Vec<u8>)> {
    let files = scratch.snapshot(&scratch.outside());
    files
        .into_iter()
        .filter(|(path, _)| !path.components().any(|step| step.as_os_str() == ".git"))
        .collect()
}

#[test]
fn fresh_book_validates_and_git_can_hold_all_of_it() {
    let (scratch, book) = begun(&[]);
    scratch.shearbook(&["validate"]).ends(0);
    assert_eq!(findings(&scratch, "."), []);
    let marker: toml::Table = scratch.read(MARKER).parse().unwrap();
    assert_eq!(marker["time_zone"].as_str(), Some("Europe/Dublin"));
    assert!(marker["laboratory"].as_str().unwrap().contains("EDIT"));

    scratch.git(&["add", "."]);
    scratch.commit_unverified();
    let copy = scratch.outside().join("copy");
    let (from, to) = (book.to_str().unwrap(), copy.to_str().unwrap());
    // With the setting that turns line ends into those of Windows.
    let clone = ["-c", "core.autocrlf=true", "clone", "--quiet", from, to];
    scratch.git(&clone);
    let own = scratch.snapshot(&book);
    for (path, bytes) in own
        .iter()
        .filter(|(path, _)| !path.starts_with(book.join(".git")))
    {
        let other = copy.join(path.strip_prefix(&book).unwrap());
        assert_eq!(&std::fs::read(other).unwrap(), bytes, "{}", path.display());
    }
    let mut empty: Vec<PathBuf> = walkdir::WalkDir::new(&book)
        .into_iter()
        .filter_entry(|entry| entry.file_name() != ".git")
        .map(|entry| entry.unwrap().into_path())
        .filter(|path| path.is_dir() && std::fs::read_dir(path).unwrap().next().is_none())
        .collect();
    empty.sort();
    assert_eq!(empty, [] as [PathBuf; 0]);
}

#[test]
fn second_run_changes_nothing_and_says_so() {
    let (scratch, book) = begun(&["--laboratory", "Invented bench"]);
    let once = scratch.snapshot(&book);
    for more in [&[][..], &["--laboratory", "Another"][..]] {
        let done = scratch.shearbook(&[&["init"], more].concat()).ends(0);
        assert!(done.out.contains("nothing was changed"), "{}", done.out);
        for path in [MARKER, ".gitattributes", "policies/"] {
            assert!(
                done.out
                    .lines()
                    .any(|line| line.trim_start().starts_with("kept") && line.contains(path)),
                "{path}: {}",
                done.out
            );
        }
        assert_eq!(scratch.snapshot(&book), once);
    }
    let from_above = ["--book", book.to_str().unwrap(), "init"];
    scratch
        .shearbook_in(&scratch.outside(), &from_above)
        .ends(0);
    assert_eq!(scratch.snapshot(&book), once);
}

#[test]
fn what_is_there_is_kept() {
    let scratch = Scratch::empty();
    scratch.write(".gitattributes", "*.png binary\n");
    scratch.write("policies/own.toml", "# ours\n");
    scratch.write(".editor/check.schema.json", "{}\n");
    scratch.write("README.md", "levels\n");
    let before = scratch.snapshot(&scratch.top);
    let done = scratch.shearbook(&["init"]).ends(0);
    let after = scratch.snapshot(&scratch.top);
    for (path, bytes) in &before {
        assert_eq!(after.get(path), Some(bytes), "{}", path.display());
    }
    for kept in [
        ".gitattributes",
        "policies/own.toml",
        ".editor/check.schema.json",
    ] {
        assert!(done.out.contains(kept), "{kept}: {}", done.out);
    }
    // The one line without which two edited reviews would be fused, and the policies are the laboratory's.
    assert!(done.out.contains("/reviews/** -merge"), "{}", done.out);
    assert_eq!(
        std::fs::read_dir(scratch.path("policies")).unwrap().count(),
        1
    );
    fits_eighty_columns(&done.out);
}

#[test]
fn run_that_was_cut_short_is_gone_on_with() {
    let (scratch, book) = begun(&[]);
    let whole = outside_of_git(&scratch);
    for lost in [MARKER, ".gitattributes", ".editor/fluid.schema.json"] {
        std::fs::remove_file(book.join(lost)).unwrap();
    }
    scratch
        .shearbook(&["init", "--time-zone", "Europe/Dublin"])
        .ends(0);
    assert_eq!(outside_of_git(&scratch), whole);
}

#[test]
fn repository_that_is_there_is_respected() {
    for folder in ["", "qc/book"] {
        let scratch = Scratch::empty();
        let before = scratch.snapshot(&scratch.top);
        let named = if folder.is_empty() { "." } else { folder };
        let done = scratch.shearbook_in(&scratch.top, &["init", named]).ends(0);
        assert!(!done.out.contains("a git repository"), "{}", done.out);
        let book = scratch.top.join(folder);
        assert!(book.join(MARKER).is_file());
        assert!(folder.is_empty() || !book.join(".git").exists());
        let after = scratch.snapshot(&scratch.top.join(".git"));
        for (path, bytes) in &after {
            assert_eq!(before.get(path), Some(bytes), "{}", path.display());
        }
        scratch.shearbook_in(&book, &["validate"]).ends(0);
    }
}

#[test]
fn variables_of_another_repository_do_not_leak() {
    let mut scratch = Scratch::empty();
    let before = scratch.snapshot(&scratch.top);
    let top = scratch.top.to_str().unwrap().to_owned();
    scratch.set("GIT_DIR", &format!("{top}/.git"));
    scratch.set("GIT_WORK_TREE", &top);
    scratch
        .shearbook_in(&scratch.outside(), &["init", "lab"])
        .ends(0);
    assert!(scratch.outside().join("lab/.git/HEAD").is_file());
    assert_eq!(scratch.snapshot(&scratch.top), before);
}

#[test]
fn zone_is_asked_for_known_or_said_to_be_unknown() {
    for (machine, expected) in [("Asia/Kolkata", "Asia/Kolkata"), ("XYZ-3", "UTC")] {
        let mut scratch = Scratch::empty();
        scratch.set("TZ", machine);
        let done = scratch.shearbook(&["init"]).ends(0);
        let marker: toml::Table = scratch.read(MARKER).parse().unwrap();
        assert_eq!(marker["time_zone"].as_str(), Some(expected), "{machine}");
        assert!(
            done.out.contains(&format!("Time zone: {expected}")),
            "{}",
            done.out
        );
    }
    let scratch = Scratch::empty();
    let before = scratch.snapshot(&scratch.top);
    let done = scratch
        .shearbook(&["init", "--time-zone", "Europe/Dubln"])
        .ends(2);
    assert!(done.err.contains("Europe/Dublin"), "{}", done.err);
    assert_eq!(scratch.snapshot(&scratch.top), before);
}

#[test]
fn name_of_the_laboratory_is_written_whatever_it_holds() {
    for name in ["Bench \"2\" \\ north", "Prüflabor, 試験室", "it's = # [x]"] {
        let (scratch, _) = begun(&["--laboratory", name]);
        let marker: toml::Table = scratch.read(MARKER).parse().unwrap();
        assert_eq!(marker["laboratory"].as_str(), Some(name));
        scratch.shearbook(&["validate"]).ends(0);
    }
    let scratch = Scratch::empty();
    for name in ["", "  ", "two\nlines"] {
        scratch.shearbook(&["init", "--laboratory", name]).ends(2);
    }
    assert!(!scratch.path(MARKER).exists());
}

#[test]
fn what_stands_in_the_way_is_named_and_nothing_is_written() {
    let scratch = Scratch::empty();
    scratch.write("notes", "levels\n");
    let refused = |arguments: &[&str], code: i32, word: &str| {
        let before = scratch.snapshot(&scratch.outside());
        let done = scratch.shearbook(arguments).ends(code);
        assert!(done.err.contains(word), "{word}: {}", done.err);
        assert_eq!(scratch.snapshot(&scratch.outside()), before);
    };
    refused(&["init", "notes"], 2, "notes");
    refused(&["init", "notes/book"], 2, "notes");
    refused(&["init", "a", "--book", "b"], 2, "--book");
    refused(&["init", ".git"], 3, "git");
    std::fs::create_dir_all(scratch.path("one/.gitattributes")).unwrap();
    refused(&["init", "one"], 3, ".gitattributes");
    scratch.write("two/policies", "a file\n");
    refused(&["init", "two"], 3, "policies");
    scratch.write("three/.editor", "a file\n");
    refused(&["init", "three"], 3, ".editor");
    assert!(!scratch.path("two/.editor").exists());
}

#[cfg(target_os = "linux")]
#[test]
fn disk_that_cannot_be_written_is_named() {
    let scratch = Scratch::empty();
    let done = scratch.shearbook(&["init", "/proc/lab"]).ends(3);
    assert!(done.err.contains("/proc/lab"), "{}", done.err);
}

#[test]
fn attributes_name_every_folder_of_records() {
    let (scratch, _) = begun(&[]);
    let attributes = scratch.read(".gitattributes");
    for (kind, .., path) in RECORDS {
        let folder = path.split('/').next().unwrap();
        let line = format!("/{folder}/** text eol=lf");
        assert!(attributes.lines().any(|one| one == line), "{kind}");
    }
    let told = |attribute: &str, path: &str| {
        let told = scratch.git(&["check-attr", attribute, "--", path]);
        told.trim_end().rsplit(' ').next().unwrap().to_owned()
    };
    for (path, merge) in [
        (CHECK, "unset"),
        ("reviews/2026/VM-1/2026-03-02-0900/qa-01-1.toml", "unset"),
        ("fluids/K-1.toml", "unspecified"),
        (MARKER, "unspecified"),
        ("notes/levels.txt", "unspecified"),
    ] {
        assert_eq!(told("merge", path), merge, "{path}");
    }
    for (path, end) in [
        (CHECK, "lf"),
        (MARKER, "lf"),
        ("notes/a.txt", "unspecified"),
    ] {
        assert_eq!(told("eol", path), end, "{path}");
    }
}

#[test]
fn two_versions_of_one_review_are_a_conflict_and_never_fused() {
    let (scratch, _) = begun(&[]);
    let path = "reviews/2026/VM-1/2026-03-02-0900/qa-01-1.toml";
    scratch.git(&["add", "."]);
    scratch.commit_unverified();
    let ours = "format = 1\ndecision = \"approve\"\n";
    for (branch, text) in [
        (
            "theirs",
            "format = 1\ndecision = \"reject\"\ncomment = \"warm\"\n",
        ),
        ("ours", ours),
    ] {
        scratch.git(&["switch", "--quiet", "--create", branch, "main"]);
        scratch.write(path, text);
        scratch.stage(path);
        scratch.commit_unverified();
    }
    scratch.try_git(&["merge", "--quiet", "theirs"]).ends(1);
    assert_eq!(scratch.read(path), ours);
    let status = scratch.git(&["status", "--porcelain"]);
    assert!(status.starts_with("AA "), "{status}");
}

#[cfg(unix)]
#[test]
fn link_in_the_way_is_not_followed() {
    let scratch = Scratch::empty();
    let elsewhere = scratch.outside().join("elsewhere");
    std::os::unix::fs::symlink(&elsewhere, scratch.path(MARKER)).unwrap();
    scratch.shearbook(&["init"]).ends(3);
    assert!(!elsewhere.exists());
    assert!(!scratch.path(".editor").exists());
}

#[test]
fn book_in_a_book_is_refused() {
    let (scratch, book) = begun(&[]);
    let before = scratch.snapshot(&book);
    let done = scratch.shearbook(&["init", "second"]).ends(1);
    assert!(done.err.contains("second"), "{}", done.err);
    assert_eq!(scratch.snapshot(&book), before);

    let scratch = Scratch::empty().with_book("qc");
    let before = scratch.snapshot(&scratch.top);
    let done = scratch.shearbook_in(&scratch.top, &["init"]).ends(1);
    assert!(done.err.contains("qc"), "{}", done.err);
    assert_eq!(scratch.snapshot(&scratch.top), before);
    // Beside it there is room.
    scratch
        .shearbook_in(&scratch.top, &["init", "research"])
        .ends(0);
}

#[test]
fn hooks_that_cannot_be_installed_leave_no_book() {
    let mut scratch = Scratch::empty();
    let settings = scratch.outside().join("settings");
    let hooks = scratch.outside().join("hooks of the firm");
    std::fs::create_dir(&hooks).unwrap();
    std::fs::write(
        &settings,
        format!("[core]\n\thooksPath = {}\n", hooks.display()),
    )
    .unwrap();
    scratch.set("GIT_CONFIG_GLOBAL", settings.to_str().unwrap());
    for folder in [scratch.top.clone(), scratch.outside()] {
        let before = scratch.snapshot(&scratch.outside());
        let done = scratch
            .shearbook_in(&folder, &["init", "lab", "--hooks"])
            .ends(1);
        assert!(done.out.contains("core.hooksPath"), "{}", done.out);
        assert_eq!(scratch.snapshot(&scratch.outside()), before);
        assert!(!folder.join("lab").exists());
    }
}

#[test]
fn what_people_read_fits_the_width() {
    let (scratch, _) = begun(&[]);
    fits_eighty_columns(&scratch.shearbook(&["init"]).out);
    let fresh = scratch
        .shearbook_in(&scratch.outside(), &["init", "b"])
        .ends(0);
    fits_eighty_columns(&fresh.out);
    for (kind, id, more, path) in RECORDS {
        fits_eighty_columns(&new(&scratch, kind, id, more).ends(0).out);
        fits_eighty_columns(&scratch.read(path));
    }
    for path in [MARKER, ".gitattributes"] {
        fits_eighty_columns(&scratch.read(path));
    }
    let scratch = furnished();
    new(&scratch, "check", "VM-1/2026-03-02-0900", &[]).ends(0);
    fits_eighty_columns(&scratch.read(CHECK));
}

#[test]
fn every_command_of_the_next_steps_is_there() {
    let scratch = Scratch::empty();
    let done = scratch.shearbook(&["init"]).ends(0);
    let mut read = 0;
    for line in done.out.lines() {
        let Some(words) = line.trim_start().strip_prefix("shearbook ") else {
            continue;
        };
        let words: Vec<&str> = words
            .split("   ")
            .next()
            .unwrap()
            .split_whitespace()
            .collect();
        scratch.shearbook(&["help", words[0]]).ends(0);
        read += 1;
        if words[0] == "new" && words[1] != "check" {
            scratch.shearbook(&words).ends(0);
        }
    }
    assert!(read > 6, "{}", done.out);
}

#[test]
fn commands_that_new_tells_work_where_it_was_run() {
    let (scratch, book) = begun(&[]);
    let spaced = scratch.outside().join("bench 2");
    std::fs::rename(&book, &spaced).unwrap();
    let below = spaced.join("policies");
    let runs: [(&Path, &[&str]); 3] = [
        (&spaced, &["new", "bath", "WB-1"]),
        (&below, &["new", "bath", "WB-2"]),
        (
            &scratch.outside(),
            &["--book", "bench 2", "new", "bath", "WB-3"],
        ),
    ];
    for (folder, arguments) in runs {
        let done = scratch.shearbook_in(folder, arguments).ends(0);
        let mut ran = 0;
        for line in done
            .out
            .lines()
            .filter_map(|line| line.strip_prefix("    "))
        {
            let tool = format!("'{}'", env!("CARGO_BIN_EXE_shearbook"));
            let line = line.replacen("shearbook", &tool, 1);
            let shell = scratch
                .command("sh", folder)
                .args(["-c", &line])
                .output()
                .unwrap();
            // The draft has a key without a value.
            let code = if line.starts_with("git") { 0 } else { 1 };
            assert_eq!(shell.status.code(), Some(code), "{line}: {shell:?}");
            ran += 1;
        }
        assert_eq!(ran, 2, "{}", done.out);
    }
    let staged = scratch.try_git_in(&spaced, &["diff", "--cached", "--name-only"]);
    assert_eq!(staged.out.lines().count(), 3, "{}", staged.out);
}

#[test]
fn draft_names_each_missing_value_once_and_nothing_else() {
    let (scratch, _) = begun(&[]);
    for (kind, id, more, path) in RECORDS {
        new(&scratch, kind, id, more).ends(0);
        let text = scratch.read(path);
        let missing: Vec<(String, u64)> = blanks(&text)
            .into_iter()
            .map(|line| ("toml-syntax".to_owned(), line))
            .collect();
        assert!(!missing.is_empty(), "{path}");
        assert_eq!(errors(&scratch, path), missing, "{path}");
    }
    new(&scratch, "check", "VM-1/2026-03-02-0900", &[]).ends(0);
    let missing = blanks(&scratch.read(CHECK));
    let named: Vec<u64> = errors(&scratch, CHECK).iter().map(|one| one.1).collect();
    assert_eq!(named, missing);
    let done = scratch.shearbook(&["validate", CHECK]).ends(1);
    assert!(done.out.contains("speed_rpm has no value"), "{}", done.out);
}

#[test]
fn filled_in_every_record_validates() {
    let (scratch, _) = begun(&[]);
    for (kind, id, more, path) in RECORDS {
        new(&scratch, kind, id, more).ends(0);
        let text = scratch.read(path);
        scratch.write(path, filled(&text, answers(path)));
    }
    new(&scratch, "check", "VM-1/2026-03-02-0900", &[]).ends(0);
    scratch.write(CHECK, filled(&scratch.read(CHECK), answers(CHECK)));
    scratch.shearbook(&["seal", CHECK]).ends(0);
    for (.., path) in RECORDS {
        assert_eq!(errors(&scratch, path), [], "{path}");
    }
    assert_eq!(errors(&scratch, CHECK), []);
    scratch.shearbook(&["validate"]).ends(0);
}

/// The example that a template's remark shows for a key, as TOML writes it.
fn shown(remark: &str) -> Option<String> {
    let is_date = |word: &&str| {
        let digits = |range: std::ops::Range<usize>| {
            word.get(range)
                .is_some_and(|part| part.bytes().all(|at| at.is_ascii_digit()))
        };
        word.len() == 10 && digits(0..4) && digits(5..7) && digits(8..10)
    };
    let words = || remark.split([' ', ':', ';', ',']);
    let quoted = || {
        let mut parts = remark.split('"');
        parts.next();
        parts.next().map(|word| format!("\"{word}\""))
    };
    let list = ["[\"", "[0", "[1", "[ {"]
        .iter()
        .find_map(|begin| remark.find(begin))
        .and_then(|at| Some(format!("{}]", remark[at..].split_once(']')?.0)));
    let figure = || words().rfind(|word| word.parse::<f64>().is_ok());
    list.or_else(|| words().find(is_date).map(str::to_owned))
        .or_else(quoted)
        .or_else(|| figure().map(str::to_owned))
}

#[test]
fn filled_in_as_shown_the_records_agree_with_one_another() {
    let (scratch, _) = begun(&[]);
    for (kind, id, more, path) in RECORDS {
        if !["person", "instrument", "fluid", "thermometer", "bath"].contains(&kind) {
            continue;
        }
        new(&scratch, kind, id, more).ends(0);
        let text = scratch.read(path);
        let mut filled = String::new();
        let mut lines = text.lines().peekable();
        while let Some(line) = lines.next() {
            let mut remark = line
                .split_once('#')
                .map_or("", |(_, remark)| remark)
                .to_owned();
            while let Some(more) =
                lines.next_if(|next| next.trim_start().starts_with('#') && next.starts_with(' '))
            {
                remark += more.trim_start().trim_start_matches('#');
            }
            let value = blank(line).map(|key| match key {
                // A reviewer, who decides on the others.
                "for" if id == "qa-01" => "\"review\"".to_owned(),
                "by" if remark.contains("records or review") => "\"qa-01\"".to_owned(),
                _ => shown(&remark).unwrap_or_else(|| match key {
                    key if key.ends_with("_mpa_s") || key.ends_with("_un_m") => "100.0".to_owned(),
                    key if key.ends_with("_percent") => "0.4".to_owned(),
                    _ => "\"invented\"".to_owned(),
                }),
            });
            filled += &match value {
                Some(value) => format!("{}= {value}\n", line.split('=').next().unwrap()),
                None => format!("{line}\n"),
            };
        }
        scratch.write(path, &filled);
        assert_eq!(errors(&scratch, path), [], "{filled}");
    }
}

#[test]
fn every_key_of_a_schema_is_in_the_template() {
    let scratch = furnished();
    new(&scratch, "nonconformity", "N-1", &[]).ends(0);
    new(&scratch, "check", "VM-1/2026-03-02-0900", &[]).ends(0);
    scratch.git(&["add", "."]);
    scratch.commit_unverified();
    let review = ["--by", "qa-01"];
    new(&scratch, "review", "VM-1/2026-03-02-0900", &review).ends(0);
    let mut files: Vec<(&str, &str)> = RECORDS.iter().map(|one| (one.0, one.3)).collect();
    files.push(("book", MARKER));
    files.push(("check", CHECK));
    files.push(("review", "reviews/2026/VM-1/2026-03-02-0900/qa-01-1.toml"));
    let kinds: BTreeSet<&str> = files.iter().map(|one| one.0).collect();
    assert_eq!(kinds.len(), 11);
    for kind in kinds {
        let mut written = BTreeSet::new();
        for (_, path) in files.iter().filter(|one| one.0 == kind) {
            let text = zeroed(&awake(&scratch.read(path)));
            let value: toml::Table = text
                .parse()
                .unwrap_or_else(|error| panic!("{path}: {error}\n{text}"));
            keys_of(&toml::Value::Table(value), "", &mut written);
        }
        // The laboratory chooses the keys of these, and the program writes those of the third.
        let free = |key: &String| {
            ["/interval/", "/severity/", "/computed"]
                .iter()
                .any(|table| key.starts_with(table))
        };
        written.retain(|key| !free(key));
        let text = scratch.shearbook(&["schema", kind]).ends(0).out;
        let schema: Json = serde_json::from_str(&text).unwrap();
        let mut known = BTreeSet::new();
        keys_of_schema(&schema, &schema, "", &mut known);
        known.retain(|key| !free(key));
        assert_eq!(written, known, "{kind}");
    }
}

#[test]
fn first_line_leads_an_editor_to_the_schema() {
    let scratch = furnished();
    new(&scratch, "check", "VM-1/2026-03-02-0900", &[]).ends(0);
    let mut read = 0;
    for path in [
        MARKER,
        CHECK,
        "people/op-01.toml",
        "fluids/K-1.toml",
        "policies/P-0.toml",
    ] {
        let text = scratch.read(path);
        let named = text.lines().next().unwrap().strip_prefix("#:schema ");
        let folder = scratch.path(path).parent().unwrap().to_owned();
        let schema = folder.join(named.unwrap_or_else(|| panic!("{path}: {text}")));
        let json: Json = serde_json::from_str(&std::fs::read_to_string(schema).unwrap()).unwrap();
        assert!(json["title"].is_string());
        read += 1;
    }
    assert_eq!(read, 5);
    // A book that was begun without schemas gets no line that leads nowhere.
    let scratch = Scratch::book();
    new(&scratch, "bath", "WB-2", &[]).ends(0);
    assert!(!scratch.read("baths/WB-2.toml").contains("#:schema"));
}

#[test]
fn first_day_from_init_to_the_first_commit_under_the_hook() {
    let scratch = furnished();
    scratch.git(&["add", "."]);
    scratch.try_commit(&[]).ends(0);

    new(&scratch, "check", "VM-1/2026-03-02-0900", &[]).ends(0);
    let draft = scratch.read(CHECK);
    for known in [
        "fluid = \"K-1\"",
        "bottle = \"1\"",
        "thermometer = \"TH-1\"",
        "operator = \"op-01\"",
        "performed = 2026-03-02T09:00:00",
    ] {
        assert!(draft.contains(known), "{known}: {draft}");
    }
    for suggested in ["6, 12, 20, 30, 60", "G-1, G-2, G-3, G-4", "10.0 to 30.0 %"] {
        assert!(draft.contains(suggested), "{suggested}: {draft}");
    }

    // A draft is no record: the hook stops it, line by line.
    scratch.stage(CHECK);
    scratch.try_commit(&[]).refused_for("toml-syntax", CHECK);

    scratch.write(CHECK, filled(&draft, answers(CHECK)));
    let late = scratch.read(CHECK).replace(
        "#late_reason = ",
        "late_reason = \"entered from the bench sheet\" ",
    );
    scratch.write(CHECK, late);
    scratch.stage(CHECK);
    scratch
        .try_commit(&[])
        .refused_for("computed-missing", CHECK);

    let done = scratch.shearbook(&["seal", CHECK]).ends(0);
    assert!(done.out.contains("pass"), "{}", done.out);
    scratch.stage(CHECK);
    scratch.try_commit(&[]).ends(0);
    scratch.shearbook(&["validate"]).ends(0);

    // A reviewer binds a decision to what was committed.
    let path = "reviews/2026/VM-1/2026-03-02-0900/qa-01-1.toml";
    let by = ["--by", "qa-01"];
    new(&scratch, "review", "VM-1/2026-03-02-0900", &by).ends(0);
    let review = filled(
        &scratch.read(path),
        &[
            ("decided", "2026-03-03T10:00:00"),
            ("decision", "\"approve\""),
        ],
    );
    scratch.write(path, &review);
    scratch.stage(path);
    scratch.try_commit(&[]).ends(0);
    let sum = std::process::Command::new("sha256sum")
        .arg(scratch.path(CHECK))
        .output();
    if let Ok(sum) = sum {
        let sum = String::from_utf8_lossy(&sum.stdout).into_owned();
        assert!(review.contains(sum.split(' ').next().unwrap()), "{sum}");
    }
    // The next decision of the same reviewer has the next number.
    new(&scratch, "review", "VM-1/2026-03-02-0900", &by).ends(0);
    assert!(scratch.path(&path.replace("-1.toml", "-2.toml")).is_file());
}

#[test]
fn review_waits_for_the_commit_and_names_its_reviewer() {
    let scratch = furnished();
    let by = ["--by", "qa-01"];
    let done = new(&scratch, "review", "fluids/K-1", &by).ends(1);
    assert!(done.err.contains("not committed"), "{}", done.err);
    scratch.git(&["add", "."]);
    scratch.commit_unverified();
    let done = new(&scratch, "review", "fluids/K-1", &[]).ends(2);
    assert!(done.err.contains("qa-01"), "{}", done.err);
    new(&scratch, "review", "fluids/K-1", &["--by", "qa-99"]).ends(2);
    new(&scratch, "review", "fluids/K-9", &by).ends(2);
    new(&scratch, "review", "K-1", &by).ends(2);
    new(&scratch, "review", "nonconformities/N-1", &by).ends(2);
    assert!(!scratch.path("reviews").exists());
    new(&scratch, "review", "fluids/K-1", &by).ends(0);
    // A file may be named as well.
    new(&scratch, "review", "fluids/K-1.toml", &by).ends(0);
    assert!(
        scratch
            .path("reviews/records/fluids/K-1/qa-01-2.toml")
            .is_file()
    );
    assert!(
        scratch
            .path("reviews/records/fluids/K-1/qa-01-1.toml")
            .is_file()
    );
}

#[test]
fn check_of_now_has_the_time_of_the_books_zone() {
    let mut scratch = furnished();
    for zone in ["Pacific/Kiritimati", "Pacific/Pago_Pago"] {
        scratch.set("TZ", "UTC");
        let marker = scratch.read(MARKER);
        let line = marker
            .lines()
            .find(|line| line.starts_with("time_zone"))
            .unwrap();
        scratch.write(
            MARKER,
            marker.replace(line, &format!("time_zone = \"{zone}\"")),
        );
        let tz = jiff::tz::TimeZone::get(zone).unwrap();
        let wall = || tz.to_datetime(jiff::Timestamp::now());
        let before = wall().strftime("%Y-%m-%d-%H%M").to_string();
        let done = new(&scratch, "check", "VM-1", &[]).ends(0);
        let after = wall().strftime("%Y-%m-%d-%H%M").to_string();
        let path = done
            .out
            .lines()
            .find_map(|line| line.strip_prefix("made "))
            .unwrap();
        let stem = Path::new(path).file_stem().unwrap().to_str().unwrap();
        assert!(stem == before || stem == after, "{stem}: {before}");
        assert!(path.starts_with(&format!("checks/{}/VM-1/", &stem[..4])));
        let (day, clock) = stem.split_at(10);
        let time = format!("{day}T{}:{}:00", &clock[1..3], &clock[3..]);
        assert!(scratch.read(path).contains(&format!("performed = {time}")));
    }
}

#[test]
fn mistakes_in_an_id_or_kind_write_nothing() {
    let scratch = furnished();
    let check = "VM-1/2026-03-02-0900";
    new(&scratch, "check", check, &[]).ends(0);
    let refused = |arguments: &[&str], code: i32, word: &str| {
        let before = scratch.snapshot(&scratch.top);
        let done = scratch
            .shearbook(&[&["new"], arguments].concat())
            .ends(code);
        assert!(done.err.contains(word), "{word}: {}", done.err);
        assert_eq!(scratch.snapshot(&scratch.top), before);
    };
    for id in ["", "a b", "../x", "a/b", "ä", "-x", "x.", "nul", "Com1.x"] {
        let before = scratch.snapshot(&scratch.top);
        scratch.shearbook(&["new", "bath", "--", id]).ends(2);
        assert_eq!(scratch.snapshot(&scratch.top), before, "{id}");
    }
    refused(&["bath", "WB-1"], 1, "baths/WB-1.toml");
    refused(&["bath", "WB-1.toml"], 1, "baths/WB-1.toml");
    refused(&["fluid", "Küvette"], 2, "not ü; Kuvette would be one");
    refused(&["fluid", "K 22"], 2, "not a blank; K-22 would be one");
    refused(&["bath", "wb-1"], 1, "baths/WB-1.toml");
    refused(&["fluids", "K-2"], 2, "fluid");
    refused(&["fluit", "K-2"], 2, "fluid");
    refused(&["book", "B"], 2, "init");
    refused(&["geometry", "G-9"], 2, "cone-plate");
    refused(&["geometry", "G-9", "--kind", "cone-plat"], 2, "cone-plate");
    refused(&["fluid", "K-9", "--kind", "factored"], 2, "--kind");
    refused(&["fluid", "K-9", "--by", "qa-01"], 2, "--by");
    refused(&["check", check], 1, CHECK);
    refused(&["check", "VM-2"], 2, "VM-1");
    refused(&["check", "vm-1"], 2, "VM-1");
    refused(&["check", "VM-1/2026-03-02"], 2, "YYYY-MM-DD-HHMM");
    refused(&["check", "VM-1/2026-13-02-0900"], 2, "YYYY-MM-DD-HHMM");
    refused(&["check", &format!("{check}.a1")], 2, "amendment");
    // Europe/Dublin put its clock forward at 01:00 on 2026-03-29 (IANA tz database).
    refused(&["check", "VM-1/2026-03-29-0130"], 2, "forward");

    let outside = scratch.outside().join("apart");
    std::fs::create_dir(&outside).unwrap();
    let done = scratch
        .shearbook_in(&outside, &["new", "bath", "WB-2"])
        .ends(3);
    assert!(done.err.contains("--book"), "{}", done.err);
}

#[cfg(unix)]
#[test]
fn linked_folder_is_not_written_into() {
    let (scratch, _) = begun(&[]);
    let elsewhere = scratch.outside().join("elsewhere");
    std::fs::create_dir(&elsewhere).unwrap();
    std::os::unix::fs::symlink(&elsewhere, scratch.path("baths")).unwrap();
    new(&scratch, "bath", "WB-1", &[]).ends(3);
    assert_eq!(std::fs::read_dir(&elsewhere).unwrap().count(), 0);
}

#[test]
fn rights_and_dates_decide_what_a_check_is_offered() {
    let scratch = furnished();
    let plain = scratch.read("fluids/K-1.toml");
    for (id, from, to) in [
        ("K-OLD", "expires = 2027-01-14", "expires = 2026-03-01"),
        ("K-LATE", "certified = 2026-01-15", "certified = 2026-03-03"),
    ] {
        assert!(plain.contains(from));
        let text = plain
            .replace("\"K-1\"", &format!("\"{id}\""))
            .replace(from, to);
        scratch.write(&format!("fluids/{id}.toml"), text);
    }
    new(&scratch, "check", "VM-1/2026-03-02-0900", &[]).ends(0);
    let text = scratch.read(CHECK);
    assert!(text.contains("fluid = \"K-1\""), "{text}");
    assert!(
        !text.contains("K-OLD") && !text.contains("K-LATE"),
        "{text}"
    );
    assert!(!text.contains("\"qa-01\""), "{text}");

    let second = plain.replace("\"K-1\"", "\"K-2\"");
    scratch.write("fluids/K-2.toml", second);
    new(&scratch, "check", "VM-1/2026-03-02-1000", &[]).ends(0);
    let text = scratch.read("checks/2026/VM-1/2026-03-02-1000.toml");
    assert!(text.contains("K-1, K-2"), "{text}");
    assert!(
        text.lines().any(|line| blank(line) == Some("fluid")),
        "{text}"
    );
    assert!(
        text.lines().any(|line| blank(line) == Some("bottle")),
        "{text}"
    );
}
