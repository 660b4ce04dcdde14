//! The fleet's status as people and programs get it.
#![allow(clippy::disallowed_methods, reason = "tests may use files")]

mod support;

use support::{Scratch, failing_draft};

/// A book with one check that passed on 2026-03-02; its class is checked every 7 days.
fn book() -> Scratch {
    let scratch = Scratch::book();
    scratch.sound_check("0900");
    scratch
}

fn json(scratch: &Scratch, day: &str, code: i32) -> serde_json::Value {
    let done = scratch
        .shearbook(&["status", "--as-of", day, "--format", "json"])
        .ends(code);
    serde_json::from_str(&done.out).unwrap()
}

#[test]
fn days_count_to_the_last_of_the_interval() {
    let scratch = book();
    for (day, state, usable, left) in [
        ("2026-03-01", "never-checked", false, None),
        ("2026-03-02", "in-date", true, Some(7)),
        ("2026-03-07", "in-date", true, Some(2)),
        ("2026-03-08", "due-soon", true, Some(1)),
        ("2026-03-09", "due-soon", true, Some(0)),
        ("2026-03-10", "overdue", false, Some(-1)),
    ] {
        let said = json(&scratch, day, 0);
        let one = &said["instruments"][0];
        assert_eq!(one["state"], state, "{day}");
        assert_eq!(one["usable"], usable, "{day}");
        assert_eq!(one["days_left"].as_i64(), left, "{day}");
        assert_eq!(said["totals"][state], 1, "{day}");
        assert_eq!(said["as_of"], day);
    }
}

#[test]
fn policy_that_raises_a_rule_of_the_fleet_decides_the_exit_code() {
    let scratch = book();
    json(&scratch, "2026-03-10", 0);
    let policy = scratch.read("policies/P-1.toml") + "\n[severity]\ncheck-overdue = \"error\"\n";
    scratch.write("policies/P-1.toml", policy);
    let said = json(&scratch, "2026-03-10", 1);
    assert_eq!(said["counts"]["error"], 1);
    json(&scratch, "2026-03-09", 0);
}

#[test]
fn amendment_made_later_is_not_seen_and_the_same_day_reads_the_same_later() {
    let scratch = Scratch::book();
    let path = scratch.seal("0900", &failing_draft("0900"));
    let before = scratch.shearbook(&["status", "--as-of", "2026-03-04", "--format", "json"]);
    assert!(before.out.contains("repeat-needed"), "{}", before.out);

    let draft = support::draft("0900").replace(
        "[preparation]",
        "amends = \"VM-1/2026-03-02-0900\"\namended = 2026-03-05T10:00:00\namended_by = \"op-01\"\nreason = \"read from the wrong row of the bench sheet\"\n\n[preparation]",
    );
    let amendment = path.replace(".toml", ".a1.toml");
    scratch.write(&amendment, draft);
    scratch.shearbook(&["seal", &amendment]).ends(0);
    scratch.shearbook(&["validate"]).ends(0);
    let after = scratch.shearbook(&["status", "--as-of", "2026-03-04", "--format", "json"]);
    assert_eq!(before.out, after.out);
    let said = json(&scratch, "2026-03-05", 0);
    assert_eq!(said["instruments"][0]["state"], "in-date");
    assert_eq!(
        said["instruments"][0]["last_check"],
        "VM-1/2026-03-02-0900.a1"
    );
}

#[test]
fn broken_files_are_told_and_nothing_is_claimed_of_them() {
    let scratch = book();
    scratch.edit("instruments/VM-1.toml", "usage = ", "usuage = ");
    let said = json(&scratch, "2026-03-03", 0);
    assert_eq!(said["instruments"][0]["usable"], false);
    assert!(
        said["instruments"][0]["reasons"][0]
            .as_str()
            .unwrap()
            .contains("validate")
    );

    let scratch = book();
    let path = support::check_path("0900");
    scratch.edit(&path, "guard = true", "guard = false");
    let done = scratch
        .shearbook(&["status", "--as-of", "2026-03-03"])
        .ends(0);
    assert!(done.out.contains("1 check has errors"), "{}", done.out);
    assert!(done.out.contains("never checked"), "{}", done.out);

    scratch.edit("shearbook.toml", "Europe/Dublin", "Atlantis/Deep");
    let done = scratch.shearbook(&["status"]).ends(3);
    assert!(done.err.contains("time zone"), "{}", done.err);
}

#[test]
fn text_fits_and_says_the_same_as_the_plain_form() {
    let example = concat!(env!("CARGO_MANIFEST_DIR"), "/records-example");
    let scratch = Scratch::empty();
    for day in [
        "2025-06-01",
        "2026-04-10",
        "2026-07-10",
        "2026-11-25",
        "2027-06-01",
    ] {
        for width in [60, 80] {
            let mut tool = scratch.tool(&scratch.top);
            tool.args(["--book", example, "--as-of", day, "status"]);
            let done = tool.env("COLUMNS", width.to_string()).output().unwrap();
            let text = String::from_utf8(done.stdout).unwrap();
            for line in text.lines() {
                assert!(line.chars().count() <= width, "{day}, {width}: {line}");
            }
        }
        let plain = scratch.shearbook(&[
            "--book", example, "--as-of", day, "status", "--format", "plain",
        ]);
        let json = scratch.shearbook(&[
            "--book", example, "--as-of", day, "status", "--format", "json",
        ]);
        let json: serde_json::Value = serde_json::from_str(&json.out).unwrap();
        for one in json["instruments"].as_array().unwrap() {
            let id = one["id"].as_str().unwrap();
            let state = one["state"].as_str().unwrap().replace('-', " ");
            assert!(
                plain.out.contains(&format!("instrument {id}: {state}\n")),
                "{day}: {id}"
            );
            for reason in one["reasons"].as_array().unwrap() {
                assert!(plain.out.contains(reason.as_str().unwrap()), "{day}: {id}");
            }
        }
    }
}

#[test]
fn empty_book_is_no_error() {
    let scratch = Scratch::book();
    scratch.remove("instruments/VM-1.toml");
    let done = scratch
        .shearbook(&["status", "--as-of", "2026-03-03"])
        .ends(0);
    assert!(done.out.contains("No instruments yet"), "{}", done.out);
}

#[test]
fn check_whose_verdict_nobody_can_confirm_does_not_count() {
    for (file, from, to) in [
        ("policies/P-1.toml", "window_k = 0.2", "window_k ="),
        ("fluids/K-1.toml", "supplier", "suplier"),
        ("thermometers/TH-1.toml", "resolution_k", "resolution"),
        ("geometries/G-1.toml", "guard = ", "gard = "),
    ] {
        let scratch = book();
        assert_eq!(
            json(&scratch, "2026-03-03", 0)["instruments"][0]["usable"],
            true
        );
        scratch.edit(file, from, to);
        let said = json(&scratch, "2026-03-03", 0);
        assert_eq!(said["instruments"][0]["state"], "never-checked", "{file}");
        let done = scratch.shearbook(&["status", "--as-of", "2026-03-03"]);
        assert!(done.out.contains(file), "{}", done.out);
        let done = scratch.shearbook(&["status", "--format", "json"]);
        assert!(done.err.contains(file), "{}", done.err);
    }
}

#[test]
fn instrument_put_back_by_somebody_without_the_right_is_not_usable() {
    let scratch = book();
    let file = "instruments/VM-1.toml";
    let text = scratch.read(file)
        + "\n[[standing]]\nfrom = 2026-03-03T08:00:00\nstate = \"quarantined\"\nby = \"qa-01\"\nreason = \"dropped\"\n\n[[standing]]\nfrom = 2026-03-04T08:00:00\nstate = \"in-service\"\nby = \"op-01\"\nreason = \"looks well\"\n";
    scratch.write(file, text);
    let one = &json(&scratch, "2026-03-05", 0)["instruments"][0];
    assert_eq!(one["state"], "out-of-service");
    scratch.edit(file, "by = \"op-01\"", "by = \"qa-01\"");
    let one = &json(&scratch, "2026-03-05", 0)["instruments"][0];
    assert_eq!(one["state"], "in-date");
}

#[test]
fn day_is_written_in_one_way() {
    let scratch = book();
    for day in [
        "20260303",
        "2026-03-03T10:00:00",
        "03.03.2026",
        "2026-02-30",
    ] {
        let done = scratch.shearbook(&["status", "--as-of", day]).ends(2);
        assert!(done.err.contains("YYYY-MM-DD"), "{}", done.err);
    }
}
