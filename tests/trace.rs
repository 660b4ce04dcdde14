//! What rests on what, the window behind a failed check, and policies that are tried, as people and programs get them.
#![allow(clippy::disallowed_methods, reason = "tests may use files")]

mod support;

use serde_json::{Value, json};
use support::{Done, FLUID, Scratch, draft, failing_draft};

const POLICY: &str = "policies/P-1.toml";

/// A sealed check of a day in March 2026; its id.
fn check(scratch: &Scratch, day: &str, time: &str, draft: &str) -> String {
    let id = format!("VM-1/{day}-{time}");
    let path = format!("checks/2026/{id}.toml");
    scratch.write(&path, draft.replace("2026-03-02", day));
    scratch.shearbook(&["seal", &path]).ends(0);
    id
}

fn trace(scratch: &Scratch, words: &[&str]) -> Done {
    let mut all = vec!["trace"];
    all.extend(words);
    if !words.contains(&"--as-of") {
        all.extend(["--as-of", "2026-03-31"]);
    }
    scratch.shearbook(&all)
}

fn json(done: Done) -> Value {
    serde_json::from_str(&done.ends(0).out).unwrap()
}

fn as_json(scratch: &Scratch, words: &[&str]) -> Value {
    json(trace(scratch, &[words, &["--format", "json"]].concat()))
}

/// The ids of the checks of a document, with why they do not count.
fn checks(document: &Value) -> Vec<(&str, Option<&str>)> {
    let rows = document["checks"].as_array().unwrap();
    rows.iter()
        .map(|row| (row["check"].as_str().unwrap(), row["why_not"].as_str()))
        .collect()
}

/// A page without its line breaks.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[track_caller]
fn says(text: &str, sentences: &[&str]) {
    let text = flat(text);
    for sentence in sentences {
        assert!(text.contains(sentence), "no '{sentence}' in {text}");
    }
}

/// Passes on the 2nd and the 9th, fails on the 16th, is void on the 17th and fails again on the 18th.
fn story() -> Scratch {
    let scratch = Scratch::book();
    check(&scratch, "2026-03-02", "0900", &draft("0900"));
    check(&scratch, "2026-03-09", "0900", &draft("0900"));
    check(&scratch, "2026-03-16", "0900", &failing_draft("0900"));
    let void = failing_draft("0900").replace(
        "[preparation]",
        "void = true\nvoid_cause = \"procedure\"\nreason = \"beaker knocked\"\n\n[preparation]",
    );
    check(&scratch, "2026-03-17", "0900", &void);
    let repeat = failing_draft("0900")
        .replace("\"scheduled\"", "\"repeat\"")
        .replace(
            "[preparation]",
            "repeats = \"VM-1/2026-03-16-0900\"\n\n[preparation]",
        );
    check(&scratch, "2026-03-18", "0900", &repeat);
    scratch.shearbook(&["validate"]).ends(0);
    scratch
}

#[test]
fn recalled_lot_leads_to_its_checks_and_to_whose_fitness_rests_on_them() {
    let scratch = story();
    let lot = as_json(&scratch, &["K-1"]);
    assert_eq!(
        checks(&lot),
        [
            ("VM-1/2026-03-02-0900", None),
            ("VM-1/2026-03-09-0900", None),
            ("VM-1/2026-03-16-0900", None),
            ("VM-1/2026-03-17-0900", Some("void")),
            ("VM-1/2026-03-18-0900", None),
        ]
    );
    for (key, count) in [
        ("checks", 5),
        ("counted", 4),
        ("pass", 2),
        ("fail", 2),
        ("void", 1),
    ] {
        assert_eq!(lot["totals"][key], count, "{key}");
    }
    assert_eq!(lot["subject"]["path"], FLUID);
    let one = &lot["instruments"][0];
    assert_eq!(one["id"], "VM-1");
    assert_eq!(one["state"], "failed");
    assert_eq!(one["last_pass"], "VM-1/2026-03-09-0900");
    assert_eq!(one["last_pass_is_among_them"], true);
    assert_eq!(lot["checks"][1]["is_last_pass"], true);
    assert_eq!(lot["checks"][0]["is_last_pass"], false);

    let text = trace(&scratch, &["K-1"]).ends(0).out;
    says(
        &text,
        &[
            "What rests on fluid lot K-1, as of 2026-03-31",
            "5 checks, of 1 instrument, rest on it, from 2026-03-02 to 2026-03-18: 2 pass, 2 fail; not counted: 1 void.",
            "VM-1, failed, may not be used: its last pass that counts is VM-1/2026-03-09-0900",
            "check these instruments anew with another lot",
            "VM-1/2026-03-17-0900 void no, void 1",
            "The book holds checks and no results.",
        ],
    );

    // The other lot was never used.
    let other = as_json(&scratch, &["K-0"]);
    assert_eq!(other["checks"], json!([]));
    assert_eq!(other["totals"]["first"], Value::Null);
    says(&trace(&scratch, &["K-0"]).out, &["No check rests on it."]);
}

#[test]
fn days_narrow_what_is_told() {
    let scratch = story();
    let ids = |words: &[&str]| -> Vec<String> {
        let document = as_json(&scratch, words);
        let ids = checks(&document).into_iter();
        ids.map(|(id, _)| id[5..15].to_owned()).collect()
    };
    assert_eq!(
        ids(&["TH-1", "--since", "2026-03-09", "--until", "2026-03-16"]),
        ["2026-03-09", "2026-03-16"]
    );
    assert_eq!(
        ids(&["TH-1", "--until", "2026-03-08"]),
        ["2026-03-02"],
        "the last pass lies outside"
    );
    let early = as_json(&scratch, &["TH-1", "--until", "2026-03-08"]);
    assert_eq!(early["instruments"][0]["last_pass_is_among_them"], false);
    // A day is seen as it was.
    assert_eq!(
        ids(&["K-1", "--as-of", "2026-03-15"]),
        ["2026-03-02", "2026-03-09"]
    );
    let wrong = ["K-1", "--since", "2026-03-09", "--until", "2026-03-08"];
    assert!(trace(&scratch, &wrong).ends(2).err.contains("--until"));
}

#[test]
fn failed_check_tells_its_window_with_signs_and_sizes() {
    let scratch = story();
    let failed = "VM-1/2026-03-16-0900";
    // By hand: the range is 30000 / speed, so 2500, 1000 and 500 mPa.s at 12, 30 and 60 rpm. 498 and 485 lie 14 and 1
    // over the certified 484: 2.8926 and 0.2066 % of it, and 0.56, 1.4, 2.8 and 0.04, 0.1, 0.2 % of the ranges. The
    // limits are 4.84 + 1 % of the range off: 29.84, 14.84 and 9.84, which are 1.1936, 1.484 and 1.968 % of it.
    let document = as_json(&scratch, &[failed]);
    let window = &document["window"];
    assert_eq!(window["last_good"], "VM-1/2026-03-09-0900");
    assert_eq!(window["from"], "2026-03-09");
    assert_eq!(window["to"], "2026-03-16");
    assert_eq!(window["days"], 7);
    assert_eq!(window["between"], json!([]));
    assert_eq!(window["repeats"], json!(["VM-1/2026-03-18-0900"]));
    assert_eq!(window["next_pass"], Value::Null);
    assert_eq!(window["last_calibration"], "2026-01-12");
    let zones = [
        ("low", 0.56, 1.19, "pass", 0.04),
        ("middle", 1.4, 1.48, "pass", 0.1),
        ("high", 2.8, 1.97, "fail", 0.2),
    ];
    for (row, (zone, of_range, allowed, verdict, before)) in zones.into_iter().enumerate() {
        assert_eq!(
            window["zones"][row],
            json!({
                "zone": zone,
                "speeds": 1,
                "without_figure": 0,
                "deviation_percent": 2.89,
                "deviation_of_range_percent": of_range,
                "allowed_of_range_percent": allowed,
                "verdict": verdict,
                "last_good_deviation_percent": 0.21,
                "last_good_deviation_of_range_percent": before,
            })
        );
    }
    let roles = |row: usize| &document["checks"][row]["roles"];
    assert_eq!(*roles(0), json!(["last-good"]));
    assert_eq!(*roles(1), json!(["traced"]));
    assert_eq!(*roles(2), json!(["repeat"]));

    says(
        &trace(&scratch, &[failed]).ends(0).out,
        &[
            "It failed on 2026-03-16. It counts.",
            "The last pass of VM-1 before it that counts is VM-1/2026-03-09-0900 of 2026-03-09, 7 days before.",
            "In the high zone it read 2.89 % too high, 2.80 % of the range, outside its limits; at the last good check it read 0.21 % too high, 0.20 % of the range",
            "Every result measured with VM-1 from 2026-03-09 to 2026-03-16 may be off by as much",
            "The book holds no results: the laboratory must find them and evaluate each.",
            "repeat VM-1/2026-03-18-0900 of 2026-03-18: fail",
            "no nonconformity names it",
            "spring: 100.0 \u{b5}N.m full scale, from 2026-01-05 (instruments/VM-1.toml, line",
            "certified value: 484.0 mPa.s at 25.0 \u{b0}C (fluids/K-1.toml, line",
        ],
    );

    // The second failure has the first and the void one in its window.
    let second = as_json(&scratch, &["VM-1/2026-03-18-0900"]);
    assert_eq!(second["window"]["days"], 9);
    assert_eq!(
        second["window"]["between"],
        json!(["VM-1/2026-03-16-0900", "VM-1/2026-03-17-0900"])
    );
}

#[test]
fn what_was_done_about_a_failure_is_told_and_only_once_it_was() {
    let scratch = story();
    scratch.write(
        "nonconformities/N-1.toml",
        "format = 1\nid = \"N-1\"\nopened = 2026-03-19\nchecks = [\"VM-1/2026-03-16-0900\", \"VM-1/2026-03-18-0900\"]\n\n[outcome]\nevaluation = \"Nothing was measured with it.\"\ndecision = \"Adjusted.\"\nby = \"qa-01\"\ndate = 2026-03-20\n",
    );
    let text = scratch.read("instruments/VM-1.toml")
        + "\n[[service]]\ndate = 2026-03-19\nkind = \"adjustment\"\nby = \"service\"\ncertificate = \"S-1\"\n";
    scratch.write("instruments/VM-1.toml", text);
    let after = draft("0900").replace("\"scheduled\"", "\"after-service\"");
    check(&scratch, "2026-03-23", "0900", &after);
    let window = |day: &str| {
        let words = ["VM-1/2026-03-16-0900", "--as-of", day];
        as_json(&scratch, &words)["window"].clone()
    };
    assert_eq!(window("2026-03-17")["repeats"], json!([]));
    assert_eq!(window("2026-03-18")["nonconformities"], json!([]));
    assert_eq!(window("2026-03-19")["nonconformities"][0]["id"], "N-1");
    assert_eq!(
        window("2026-03-19")["nonconformities"][0]["decided"],
        Value::Null
    );
    let last = window("2026-03-31");
    assert_eq!(last["nonconformities"][0]["decided"], "2026-03-20");
    assert_eq!(last["next_pass"], "VM-1/2026-03-23-0900");
    // A failure after that would have the adjustment in its window, were the pass not in between.
    check(&scratch, "2026-03-24", "0900", &failing_draft("0900"));
    let later = as_json(&scratch, &["VM-1/2026-03-24-0900"]);
    assert_eq!(later["window"]["days"], 1);
    assert_eq!(later["window"]["changes"], json!([]));
    scratch.remove("checks/2026/VM-1/2026-03-23-0900.toml");
    let later = as_json(&scratch, &["VM-1/2026-03-24-0900"]);
    assert_eq!(later["window"]["days"], 15);
    assert_eq!(later["window"]["changes"][0]["what"], "adjustment");
    says(
        &trace(&scratch, &["VM-1/2026-03-24-0900"]).out,
        &["adjustment on 2026-03-19"],
    );
    let person = as_json(&scratch, &["qa-01"]);
    let how: Vec<&str> = person["mentions"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| row["how"].as_str().unwrap())
        .collect();
    assert_eq!(how, ["standing", "outcome"]);
}

#[test]
fn first_failure_of_an_instrument_has_no_beginning() {
    let scratch = Scratch::book();
    let id = check(&scratch, "2026-03-02", "0900", &failing_draft("0900"));
    let window = as_json(&scratch, &[&id])["window"].clone();
    assert_eq!(window["last_good"], Value::Null);
    assert_eq!(window["days"], Value::Null);
    assert_eq!(
        window["zones"][2]["last_good_deviation_percent"],
        Value::Null
    );
    says(
        &trace(&scratch, &[&id]).out,
        &[
            "The book holds no pass of VM-1 before it that counts. Its last full calibration before it is of 2026-01-12.",
            "no repeat of it has followed",
        ],
    );
}

#[test]
fn readings_that_show_no_figure_are_said_so() {
    let scratch = Scratch::book();
    let over = draft("0900").replace(
        "speed_rpm = 60\ntorque_percent = 97.0\nviscosity_mpa_s = 485.0\n",
        "speed_rpm = 60\nshown = \"over-range\"\n",
    );
    let id = check(&scratch, "2026-03-02", "0900", &over);
    let zones = as_json(&scratch, &[&id])["window"]["zones"].clone();
    assert_eq!(zones[2]["without_figure"], 1);
    assert_eq!(zones[2]["deviation_percent"], Value::Null);
    assert_eq!(zones[1]["deviation_percent"], 0.21);
    says(
        &trace(&scratch, &[&id]).out,
        &["In the high zone it showed no figure, outside its limits"],
    );
}

#[test]
fn passed_and_void_checks_tell_what_they_rest_on() {
    let scratch = story();
    let passed = trace(&scratch, &["VM-1/2026-03-09-0900"]).ends(0).out;
    says(
        &passed,
        &[
            "It passed on 2026-03-09. It counts, and is the last pass of VM-1 that does: on 2026-03-31 its fitness rests on this check.",
            "bottle: 1, opened 2026-02-01 (fluids/K-1.toml, line",
            "policy: P-1: 1.0 % of value + 1.0 % of range, from 2026-01-01 (policies/P-1.toml, line",
            "operator: op-01, authorised for check from 2026-01-01 to 2026-12-31 (people/op-01.toml, line",
        ],
    );
    assert!(!passed.contains("too high"), "{passed}");
    let document = as_json(&scratch, &["VM-1/2026-03-09-0900"]);
    assert_eq!(document["window"], Value::Null);
    let spring = &document["rests_on"][0];
    assert_eq!(spring["what"], "spring");
    assert_eq!(spring["pointer"], "/spring/0");
    let line = scratch
        .read("instruments/VM-1.toml")
        .lines()
        .position(|line| line == "[[spring]]")
        .unwrap();
    assert_eq!(spring["line"], line + 1);
    says(
        &trace(&scratch, &["VM-1/2026-03-17-0900"]).ends(0).out,
        &["is void, for the cause procedure. A void check is kept as evidence and never counts."],
    );
}

#[test]
fn amendment_stands_in_place_of_what_it_amends_once_it_was_made() {
    let scratch = Scratch::book();
    let id = check(&scratch, "2026-03-02", "0900", &failing_draft("0900"));
    let amendment = draft("0900").replace(
        "[preparation]",
        "amends = \"VM-1/2026-03-02-0900\"\namended = 2026-03-05T10:00:00\namended_by = \"op-01\"\nreason = \"read from the wrong row\"\n\n[preparation]",
    );
    let path = "checks/2026/VM-1/2026-03-02-0900.a1.toml";
    scratch.write(path, amendment);
    scratch.shearbook(&["seal", path]).ends(0);
    let before = as_json(&scratch, &[&id, "--as-of", "2026-03-04"]);
    assert_eq!(before["subject"]["id"], id);
    assert_eq!(before["checks"][0]["verdict"], "fail");
    let after = as_json(&scratch, &[&id]);
    assert_eq!(after["subject"]["id"], format!("{id}.a1"));
    assert_eq!(after["subject"]["asked"], id);
    assert_eq!(after["window"], Value::Null);
    says(
        &trace(&scratch, &[&id]).out,
        &["It stands in place of VM-1/2026-03-02-0900, which it amends"],
    );
    // Of the lot both are told, and one counts.
    assert_eq!(
        checks(&as_json(&scratch, &["K-1"])),
        [
            ("VM-1/2026-03-02-0900", Some("amended")),
            ("VM-1/2026-03-02-0900.a1", None),
        ]
    );
    let person = as_json(&scratch, &["op-01"]);
    assert_eq!(person["checks"][0]["roles"], json!(["operator"]));
    assert_eq!(
        person["checks"][1]["roles"],
        json!(["operator", "amended-by"])
    );
}

#[test]
fn thermometer_tells_which_checks_its_calibration_did_not_cover() {
    let scratch = story();
    says(
        &trace(&scratch, &["TH-1"]).out,
        &["A calibration of it covered every one of them."],
    );
    let file = "thermometers/TH-1.toml";
    let due = scratch
        .read(file)
        .lines()
        .find(|line| line.starts_with("due"))
        .unwrap()
        .to_owned();
    scratch.edit(file, &due, "due = 2026-03-16");
    let document = as_json(&scratch, &["TH-1"]);
    let covers: Vec<_> = document["checks"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| row["calibration_covers"].as_bool().unwrap())
        .collect();
    assert_eq!(covers, [true, true, true, false, false]);
    says(
        &trace(&scratch, &["TH-1"]).out,
        &["No calibration of it covered 2 checks: VM-1/2026-03-17-0900, VM-1/2026-03-18-0900."],
    );
}

#[test]
fn record_may_be_named_in_every_obvious_way() {
    let scratch = story();
    let file = scratch.path("fluids/K-1.toml");
    for name in [
        "K-1",
        "fluids/K-1",
        "fluids/K-1.toml",
        file.to_str().unwrap(),
    ] {
        let document = as_json(&scratch, &[name]);
        assert_eq!(document["subject"]["id"], "K-1", "{name}");
        assert_eq!(document["totals"]["checks"], 5, "{name}");
    }
    for name in ["K-1/1", "K-1#1", "fluids/K-1/1", "fluids/K-1#1"] {
        let document = as_json(&scratch, &[name]);
        assert_eq!(document["subject"]["bottle"], "1", "{name}");
        assert_eq!(document["totals"]["checks"], 5, "{name}");
    }
    for name in [
        "VM-1/2026-03-09-0900",
        "checks/VM-1/2026-03-09-0900",
        "checks/2026/VM-1/2026-03-09-0900",
        "checks/2026/VM-1/2026-03-09-0900.toml",
    ] {
        assert_eq!(as_json(&scratch, &[name])["subject"]["kind"], "check");
    }
    for (name, kind) in [
        ("TH-1", "thermometer"),
        ("WB-1", "bath"),
        ("G-1", "geometry"),
        ("VM-1", "instrument"),
        ("op-01", "person"),
        ("P-1", "policy"),
    ] {
        assert_eq!(as_json(&scratch, &[name])["subject"]["kind"], kind);
    }
}

#[test]
fn wrong_name_is_answered_with_what_may_be_meant() {
    let scratch = story();
    let lot = scratch.read(FLUID).replace("\"K-1\"", "\"G-1\"");
    scratch.write("fluids/G-1.toml", lot);
    for (words, answer) in [
        (
            &["G-1"][..],
            "G-1 stands for several records: write fluids/G-1 or geometries/G-1",
        ),
        (&["TH-11"], "did you mean thermometers/TH-1"),
        (&["k-1"], "did you mean fluids/K-1"),
        (&["fluids/K-9"], "did you mean fluids/K-"),
        (&["K-1/7"], "fluid lot K-1 has no bottle 7: it has 1"),
        (&["geometries/G-1/7"], "a geometry has no bottles"),
        (
            &["VM-1/2026-03-09-0901"],
            "did you mean VM-1/2026-03-09-0900",
        ),
        (&["VM-1/2026-03-09"], "did you mean VM-1/2026-03-09-0900"),
        (
            &["nonconformities/N-1"],
            "no check rests on a nonconformity",
        ),
        (
            &["VM-1/2026-03-09-0900", "--as-of", "2026-03-08"],
            "had not been performed by 2026-03-08",
        ),
        (
            &["VM-1/2026-03-09-0900", "--since", "2026-03-08"],
            "leave out --since and --until",
        ),
    ] {
        let done = trace(&scratch, words).ends(2);
        assert!(done.err.contains(answer), "{words:?}: {}", done.err);
        assert_eq!(done.out, "");
    }
    assert_eq!(
        as_json(&scratch, &["geometries/G-1"])["totals"]["checks"],
        5
    );
    assert_eq!(as_json(&scratch, &["fluids/G-1"])["totals"]["checks"], 0);
}

#[test]
fn broken_files_are_told_and_nothing_is_claimed_of_them() {
    let scratch = story();
    scratch.edit("geometries/G-1.toml", "guard = ", "gard = ");
    let done = trace(&scratch, &["K-1", "--format", "json"]).ends(0);
    assert!(done.err.contains("geometries/G-1.toml"), "{}", done.err);
    let document: Value = serde_json::from_str(&done.out).unwrap();
    assert_eq!(document["totals"]["with_errors"], 4);
    assert_eq!(document["instruments"][0]["last_pass"], Value::Null);
    says(
        &trace(&scratch, &["K-1"]).out,
        &["4 checks have errors, or rest on files that have, and do not count"],
    );
    scratch.edit("geometries/G-1.toml", "gard = ", "guard = ");

    scratch.edit(
        "checks/2026/VM-1/2026-03-16-0900.toml",
        "format = 1",
        "format =",
    );
    let done = trace(&scratch, &["VM-1/2026-03-16-0900"]).ends(3);
    assert!(done.err.contains("cannot be understood"), "{}", done.err);

    scratch.edit("shearbook.toml", "Europe/Dublin", "Atlantis/Deep");
    let done = trace(&scratch, &["K-1"]).ends(3);
    assert!(done.err.contains("time zone"), "{}", done.err);
}

#[test]
fn spreadsheet_gets_a_line_a_check() {
    let scratch = story();
    let csv = trace(&scratch, &["op-01", "--format", "csv"]).ends(0).out;
    let lines: Vec<&str> = csv.split("\r\n").collect();
    assert_eq!(lines.len(), 5 + 2, "{csv}");
    let cells = |line: usize| -> Vec<&str> { lines[line].split(',').collect() };
    let heads = cells(0);
    let cell = |line: usize, head: &str| {
        let column = heads.iter().position(|own| *own == head).unwrap();
        cells(line)[column].to_owned()
    };
    assert_eq!(cell(4, "check"), "VM-1/2026-03-17-0900");
    assert_eq!(cell(4, "counts"), "no");
    assert_eq!(cell(4, "why_not"), "void");
    assert_eq!(cell(2, "is_last_pass"), "yes");
    assert_eq!(cell(2, "performed"), "2026-03-09T09:00:00");
    assert_eq!(cell(2, "roles"), "operator");
    assert_eq!(lines[6], "");
}

#[test]
fn pages_fit_and_say_the_same_as_the_plain_form() {
    let example = concat!(env!("CARGO_MANIFEST_DIR"), "/records-example");
    let draft = format!("{example}/policies/2025-01.toml");
    let scratch = Scratch::empty();
    for words in [
        &["trace", "K-2291"][..],
        &["trace", "K-2310/1"],
        &["trace", "TH-01"],
        &["trace", "qa-02"],
        &["trace", "op-07"],
        &["trace", "2026-01"],
        &["trace", "C4-120"],
        &["trace", "VM-06"],
        &["trace", "VM-06/2026-04-08-1040"],
        &["trace", "VM-07/2026-11-16-1120"],
        &["trace", "VM-01/2026-11-20-0942"],
        &["trace", "VM-01/2026-06-18-0910"],
        &["simulate", "--policy", &draft, "--since", "2026-01-01"],
    ] {
        let mut texts = Vec::new();
        for width in [60, 80] {
            let mut tool = scratch.tool(&scratch.top);
            tool.args(["--book", example, "--as-of", "2026-11-25"]);
            tool.args(words);
            let done = Done::of(tool.env("COLUMNS", width.to_string()).output().unwrap());
            let text = done.ends(0).out;
            for line in text.lines() {
                // A path stays whole, since it is there to be copied.
                let is_path = line.contains('/') && line.split_whitespace().count() < 3;
                assert!(
                    line.chars().count() <= width || is_path,
                    "{words:?}, {width}: {line}"
                );
            }
            texts.push(text);
        }
        let common = ["--book", example, "--as-of", "2026-11-25"];
        let plain = scratch.shearbook(&[&common, words, &["--format", "plain"]].concat());
        let document = json(scratch.shearbook(&[&common, words, &["--format", "json"]].concat()));
        for row in document["checks"].as_array().unwrap() {
            let id = row["check"].as_str().unwrap();
            assert!(
                plain.out.contains(id),
                "{words:?}: no {id} in {}",
                plain.out
            );
            assert!(texts[1].contains(id), "{words:?}: no {id} in {}", texts[1]);
        }
    }
}

// --- policies that are tried ---

/// The book's policy with other figures, outside of the book.
fn tried(scratch: &Scratch, edits: &[(&str, &str)]) -> String {
    let mut text = scratch.read(POLICY);
    for (from, to) in edits {
        assert!(text.contains(from), "no {from}");
        text = text.replace(from, to);
    }
    let file = scratch.outside().join("draft.toml");
    std::fs::write(&file, text).unwrap();
    file.to_str().unwrap().to_owned()
}

fn simulate(scratch: &Scratch, file: &str, more: &[&str]) -> Done {
    let words = ["simulate", "--policy", file, "--as-of", "2026-03-31"];
    scratch.shearbook(&[&words, more].concat())
}

const TIGHT: [(&str, &str); 2] = [
    ("fluid_percent = 1.0", "fluid_percent = 0.1"),
    ("range_percent = 1.0", "range_percent = 0.1"),
];

#[test]
fn tighter_policy_tells_which_verdicts_would_differ_by_which_limits() {
    let scratch = story();
    let file = tried(
        &scratch,
        &[TIGHT[0], TIGHT[1], ("id = \"P-1\"", "id = \"P-2\"")],
    );
    let files = scratch.snapshot(&scratch.book);
    // By hand: 0.1 % of 484 plus 0.1 % of 2500, 1000 and 500 is 2.984, 1.484 and 0.984. 485 lies 1 off, so it would fail at
    // 60 rpm alone; 498 lies 14 off and fails at every speed. The fail at 60 rpm stays a fail.
    let done = simulate(&scratch, &file, &["--format", "json"]);
    let document = json(done);
    assert_eq!(document["policy"]["id"], "P-2");
    assert_eq!(
        document["totals"],
        json!({
            "checks": 4, "verdicts_differ": 2, "pass_to_fail": 2, "fail_to_pass": 0,
            "refused": 0, "accepted": 0, "limits_differ": 2,
        })
    );
    let first = &document["checks"][0];
    assert_eq!(first["check"], "VM-1/2026-03-02-0900");
    assert_eq!(first["policy_before"], "P-1");
    assert_eq!(first["verdict_before"], "pass");
    assert_eq!(first["verdict_after"], "fail");
    assert_eq!(first["errors_come"], json!([]));
    let figures = first["figures"].as_array().unwrap();
    let figure = |point: u64, key: &str| {
        let found = figures
            .iter()
            .find(|row| row["point"] == point && row["key"] == key);
        found.map(|row| (row["before"].clone(), row["after"].clone()))
    };
    assert_eq!(
        figure(3, "lower_mpa_s"),
        Some((json!(474.16), json!(483.016)))
    );
    assert_eq!(
        figure(3, "upper_mpa_s"),
        Some((json!(493.84), json!(484.984)))
    );
    assert_eq!(figure(3, "verdict"), Some((json!("pass"), json!("fail"))));
    assert_eq!(figure(1, "verdict"), None);
    assert_eq!(document["checks"].as_array().unwrap().len(), 2);
    says(
        &simulate(&scratch, &file, &[]).ends(0).out,
        &[
            "4 checks, of 1 instrument, judged as if it had been in force: 2 verdicts would differ, 2 from pass to fail and 0 from fail to pass.",
            "2 checks with the same verdict have other limits.",
            "VM-1/2026-03-02-0900, policy P-1: pass would be fail",
            "point 3 at 60 rpm: pass becomes fail, limits 474.16 to 493.84 become 483.016 to 484.984 mPa.s",
            "Nothing was changed",
        ],
    );
    let csv = simulate(&scratch, &file, &["--format", "csv"]).ends(0).out;
    assert_eq!(csv.matches("\r\n").count(), 3, "{csv}");
    let since = simulate(
        &scratch,
        &file,
        &["--since", "2026-03-03", "--format", "json"],
    );
    assert_eq!(json(since)["totals"]["checks"], 3);
    assert_eq!(
        scratch.snapshot(&scratch.book),
        files,
        "something was written"
    );
}

#[test]
fn longer_soak_refuses_and_a_shorter_one_accepts() {
    let scratch = Scratch::book();
    // Soaked from 7:50 on: 70 minutes at 9:00, 130 at 10:00.
    check(&scratch, "2026-03-02", "0900", &draft("0900"));
    check(&scratch, "2026-03-02", "1000", &draft("1000"));
    let short = check(&scratch, "2026-03-03", "0800", &draft("0800"));
    let minutes = |minutes: u32| {
        let to = format!("up_to_mpa_s = 1000.0\nminutes = {minutes}");
        let file = tried(&scratch, &[("up_to_mpa_s = 1000.0\nminutes = 60", &to)]);
        json(simulate(&scratch, &file, &["--format", "json"]))
    };
    let longer = minutes(71);
    assert_eq!(
        longer["rules"],
        json!([{ "rule": "soak-too-short", "comes": 1, "goes": 0 }])
    );
    assert_eq!(longer["totals"]["refused"], 1);
    assert_eq!(longer["totals"]["verdicts_differ"], 0);
    assert_eq!(longer["checks"][0]["check"], "VM-1/2026-03-02-0900");
    assert_eq!(longer["checks"][0]["counts_after"], false);
    assert_eq!(minutes(70)["checks"], json!([]));
    // 10 minutes do not count today.
    let shorter = minutes(10);
    assert_eq!(
        shorter["rules"],
        json!([{ "rule": "soak-too-short", "comes": 0, "goes": 1 }])
    );
    assert_eq!(shorter["totals"]["accepted"], 1);
    assert_eq!(shorter["checks"][0]["check"], short);
    assert_eq!(minutes(11)["checks"], json!([]));
}

#[test]
fn policy_is_tried_on_the_groups_that_it_names_alone() {
    let scratch = story();
    let other = scratch
        .read("instruments/VM-1.toml")
        .replace("\"VM-1\"", "\"VM-2\"")
        .replace("usage =", "group = \"cones\"\nusage =");
    scratch.write("instruments/VM-2.toml", other);
    let path = "checks/2026/VM-2/2026-03-02-0900.toml";
    scratch.write(path, draft("0900").replace("\"VM-1\"", "\"VM-2\""));
    scratch.shearbook(&["seal", path]).ends(0);
    let judged = |edits: &[(&str, &str)]| -> Vec<String> {
        let file = tried(&scratch, &[&TIGHT[..], edits].concat());
        let document = json(simulate(&scratch, &file, &["--format", "json"]));
        let instruments = document["instruments"].as_array().unwrap();
        let ids = instruments.iter().map(|row| row["id"].as_str().unwrap());
        ids.map(str::to_owned).collect()
    };
    let groups = "method = 1\ngroups = [\"cones\"]";
    assert_eq!(judged(&[]), ["VM-1", "VM-2"]);
    assert_eq!(judged(&[("method = 1", groups)]), ["VM-2"]);
    // Once a policy names the group, one without groups leaves it alone, whatever it is called.
    let own = scratch
        .read(POLICY)
        .replace("\"P-1\"", "\"P-C\"")
        .replace("method = 1", groups);
    scratch.write("policies/P-C.toml", own);
    assert_eq!(judged(&[]), ["VM-1"]);
    assert_eq!(judged(&[("method = 1", groups)]), ["VM-2"]);
    let only = tried(&scratch, &TIGHT);
    let done = simulate(&scratch, &only, &["--instrument", "VM-2"]).ends(0);
    says(
        &done.out,
        &["There is no check of VM-2 that it would judge."],
    );
    let done = simulate(&scratch, &only, &["--instrument", "VM-22"]).ends(2);
    assert!(done.err.contains("VM-2"), "{}", done.err);
}

#[test]
fn policy_of_the_book_may_be_tried_and_what_it_already_says_is_no_difference() {
    let scratch = story();
    let document = json(simulate(&scratch, POLICY, &["--format", "json"]));
    assert_eq!(document["totals"]["checks"], 4);
    assert_eq!(document["totals"]["limits_differ"], 0);
    assert_eq!(document["checks"], json!([]));
    says(
        &simulate(&scratch, POLICY, &[]).out,
        &["no verdict would differ."],
    );
    // One that is to begin later, with the id and the day of another: it clashes with nothing.
    let file = tried(&scratch, &TIGHT);
    let later = json(simulate(&scratch, &file, &["--format", "json"]));
    assert_eq!(later["totals"]["pass_to_fail"], 2);
}

#[test]
fn policy_with_errors_is_not_tried() {
    let scratch = story();
    let file = tried(&scratch, &[("window_k = 0.2", "window_k = \"wide\"")]);
    let done = simulate(&scratch, &file, &[]).ends(1);
    says(&done.out, &["window_k = \"wide\" is a text", "draft.toml"]);
    let done = simulate(&scratch, &file, &["--format", "json"]).ends(1);
    let document: Value = serde_json::from_str(&done.out).unwrap();
    assert_eq!(document["findings"][0]["rule"], "schema");
    assert_eq!(document["findings"][0]["path"], file.as_str());
    let done = simulate(&scratch, &file, &["--format", "csv"]).ends(1);
    assert_eq!(done.out, "");
    assert!(done.err.contains("line 13"), "{}", done.err);
    // What the schema cannot say is found as well.
    let file = tried(&scratch, &[("[\"soak-too-short\"]", "[\"no-such-rule\"]")]);
    let done = simulate(&scratch, &file, &[]).ends(1);
    says(&done.out, &["no-such-rule"]);
    let gone = scratch.outside().join("gone.toml");
    simulate(&scratch, gone.to_str().unwrap(), &[]).ends(2);
    // A policy of the book that cannot be read leaves it open who was judged by what.
    scratch.write("policies/P-9.toml", "format = 1\nid = \"P-9\n");
    let file = tried(&scratch, &TIGHT);
    let done = simulate(&scratch, &file, &[]).ends(3);
    assert!(done.err.contains("policies/"), "{}", done.err);
}
