//! What was wrong and is committed: checks are amended, facts corrected with all that rests on them, in real repositories.
#![allow(clippy::disallowed_methods, reason = "tests may use files")]

mod support;

use serde_json::Value as Json;
use support::{Done, FLUID, MARKER, Scratch, check_path, draft, failing_draft};

const CHECK: &str = "VM-1/2026-03-02-0900";
const VALUE: &str = "/value/0/viscosity_mpa_s";
const WHY: [&str; 2] = ["--reason", "mistyped; the bench sheet has it"];

/// A book whose analyst is authorised today as well, since amendments are dated by the clock.
fn bench_in(folder: &str) -> Scratch {
    let scratch = Scratch::empty().with_facts(folder);
    scratch.edit("people/op-01.toml", "until = 2026-12-31\n", "");
    scratch.git(&["add", "--all"]);
    scratch.git(&["commit", "--quiet", "--message", "Begin the book"]);
    scratch
}

fn bench() -> Scratch {
    bench_in("")
}

fn amendment(time: &str, number: u32) -> String {
    check_path(time).replace(".toml", &format!(".a{number}.toml"))
}

fn amend(scratch: &Scratch, more: &[&str]) -> Done {
    scratch.shearbook(&[&["amend", CHECK], &WHY[..], more].concat())
}

fn correct(scratch: &Scratch, more: &[&str]) -> Done {
    scratch.shearbook(&[&["correct"], more, &WHY[..]].concat())
}

fn commit(scratch: &Scratch) {
    scratch.git(&["add", "--all"]);
    scratch.commit_unverified();
}

/// One line, however it was wrapped.
fn in_one_line(done: &Done) -> String {
    let all = format!("{}{}", done.out, done.err);
    all.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[track_caller]
fn says(done: &Done, words: &[&str]) {
    let said = in_one_line(done);
    for word in words {
        assert!(said.contains(word), "no {word} in {said}");
    }
}

/// Ends so, says so, and leaves every file as it was.
#[track_caller]
fn refuses(scratch: &Scratch, arguments: &[&str], code: i32, words: &[&str]) {
    let before = scratch.snapshot(&scratch.top);
    let done = scratch.shearbook(arguments).ends(code);
    says(&done, words);
    assert!(scratch.snapshot(&scratch.top) == before, "{arguments:?}");
}

fn sound(scratch: &Scratch) {
    scratch.shearbook(&["validate"]).ends(0);
    scratch.git(&["add", "--all"]);
    scratch.gate().passes();
}

#[test]
fn amendment_holds_the_right_value_and_every_other_byte() {
    let scratch = bench();
    let path = scratch.committed_check("0900");
    let original = scratch.read(&path);
    let done = amend(&scratch, &["--set", "/point/1/temperature_c=25.10"]).ends(0);
    says(&done, &["point 2, temperature, °C 25.00 25.10", "git add"]);
    let amended = scratch.read(&amendment("0900", 1));
    let own = |line: &&str| {
        let key = line.split(" = ").next().unwrap_or("");
        ["amends", "amended", "amended_by", "reason"].contains(&key)
    };
    let (said, kept): (Vec<&str>, Vec<&str>) = amended.lines().partition(own);
    assert_eq!(said.len(), 4, "{amended}");
    assert!(said.contains(&"amends = \"VM-1/2026-03-02-0900\""));
    assert!(said.contains(&"amended_by = \"op-01\""));
    // The second point's temperature, and with a certified basis no figure.
    let mut expected: Vec<&str> = original.lines().collect();
    let at = expected.iter().enumerate();
    let at: Vec<usize> = at
        .filter(|(_, line)| **line == "temperature_c = 25.00")
        .map(|(at, _)| at)
        .collect();
    expected[at[1]] = "temperature_c = 25.10";
    assert_eq!(kept, expected);
    assert_eq!(scratch.read(&path), original);
    sound(&scratch);
}

#[test]
fn changed_verdict_is_told_with_what_follows() {
    let scratch = bench();
    scratch.committed_check("0900");
    // At 60 rpm 498 is over 484 + 9.84.
    let more = [
        "--set",
        "point[2].viscosity_mpa_s=498.0",
        "--set",
        "point.2.torque_percent=99.6",
    ];
    let done = amend(&scratch, &more).ends(0);
    says(
        &done,
        &[
            "point 3, reading, mPa.s 485.0 498.0",
            "point 3, deviation, % 0.21 2.89",
            "point 3, verdict pass fail",
            "changes from pass to fail",
            "shearbook new nonconformity",
        ],
    );
    assert!(
        done.out.lines().all(|line| line.chars().count() <= 80),
        "{}",
        done.out
    );
    sound(&scratch);
}

#[test]
fn tired_mistakes_end_in_words_and_change_no_file() {
    let scratch = bench();
    scratch.committed_check("0900");
    let set = |value: &'static str| -> Vec<&'static str> {
        [&["amend", CHECK, "--set", value], &WHY[..]].concat()
    };
    for (value, words) in [
        ("/point/1/temperature_c=25,1", "write temperature_c = 25.1"),
        ("/point/1/temperatur_c=25.1", "did you mean temperature_c?"),
        ("/point/3/temperature_c=25.1", "3 rows, numbers 0 to 2"),
        ("/preparation/levelled=yes", "write levelled = true"),
        ("occasion=schedulled", "did you mean \"scheduled\"?"),
        ("performed=2026-03-02 9:00", "performed"),
        ("fluid=K-9", "there is no fluid lot K-9"),
        ("instrument=VM-2", "another check"),
        ("/computed/verdict=pass", "written by shearbook alone"),
        ("amended_by=op-01", "--by"),
        ("preparation=1", "/preparation/levelled"),
        ("/point/1/temperature_c=27.0", "temperature-out-of-window"),
    ] {
        refuses(&scratch, &set(value), 1, &[words]);
    }
    let with = |more: &[&'static str]| -> Vec<&'static str> {
        [&["amend", CHECK], &WHY[..], more].concat()
    };
    refuses(&scratch, &with(&["--set", "bottle"]), 2, &["KEY=VALUE"]);
    let twice = ["--set", "bottle=1", "--set", "/bottle=2"];
    refuses(&scratch, &with(&twice), 2, &["set twice"]);
    refuses(
        &scratch,
        &with(&["--by", "op-10"]),
        1,
        &["did you mean op-01?"],
    );
    refuses(
        &scratch,
        &with(&["--by", "qa-01"]),
        1,
        &["operator-not-authorised", "never authorised"],
    );
    refuses(&scratch, &with(&["--void"]), 2, &["--cause"]);
    refuses(&scratch, &["amend", CHECK], 2, &["--reason"]);
    refuses(&scratch, &["amend", CHECK, "--reason", " "], 2, &["blank"]);
    let other = |id: &'static str| -> Vec<&'static str> { [&["amend", id], &WHY[..]].concat() };
    let near = "did you mean VM-1/2026-03-02-0900?";
    refuses(&scratch, &other("VM-1/2026-03-02-0901"), 1, &[near]);
    refuses(
        &scratch,
        &other("VM-9/2026-03-02-0900"),
        1,
        &["there is no check"],
    );
    refuses(&scratch, &other("VM-1"), 2, &["neither a check's id"]);
    refuses(&scratch, &other(FLUID), 2, &["is no check"]);
}

#[test]
fn what_is_not_committed_is_edited_and_what_was_edited_is_put_back_first() {
    let scratch = bench();
    let path = scratch.sound_check("0900");
    let again = [&["amend", CHECK, "--set", "bottle=1"], &WHY[..]].concat();
    let edit = ["is not committed yet", "shearbook seal"];
    refuses(&scratch, &again, 1, &edit);
    commit(&scratch);
    scratch.edit(&path, "temperature_c = 25.00", "temperature_c = 25.10");
    refuses(&scratch, &again, 1, &["has been edited", "git restore"]);
    scratch.git(&[
        "restore",
        "--source=HEAD",
        "--staged",
        "--worktree",
        "--",
        &path,
    ]);
    let value = ["--set", "/point/0/temperature_c=25.10"];
    amend(&scratch, &value).ends(0);
    // The amendment of the first run is no record yet.
    refuses(&scratch, &again, 1, &edit);
}

#[test]
fn second_amendment_amends_the_first() {
    let scratch = bench();
    scratch.committed_check("0900");
    amend(&scratch, &["--set", "/point/0/temperature_c=25.10"]).ends(0);
    commit(&scratch);
    let more = [
        "--set",
        "/point/1/temperature_c=25.05",
        "--reason",
        "and this one",
    ];
    scratch
        .shearbook(&[&["amend", CHECK], &more[..]].concat())
        .ends(0);
    let text = scratch.read(&amendment("0900", 2));
    for (line, times) in [
        ("amends = \"VM-1/2026-03-02-0900.a1\"\n", 1),
        ("reason = \"and this one\"\n", 1),
        ("\nreason = ", 1),
        ("\namended = ", 1),
        ("temperature_c = 25.10\n", 1),
        ("temperature_c = 25.05\n", 1),
    ] {
        assert_eq!(text.matches(line).count(), times, "{line} in {text}");
    }
    sound(&scratch);

    let done = scratch.shearbook(&["show", CHECK]).ends(0);
    assert!(
        done.out.lines().all(|line| line.chars().count() <= 80),
        "{}",
        done.out
    );
    says(
        &done,
        &[
            "VM-1/2026-03-02-0900.a1 by op-01 on",
            "reason: mistyped; the bench sheet has it",
            "VM-1/2026-03-02-0900.a2 by op-01 on",
            "what it changed was is point 2, temperature, °C 25.00 25.05",
            "what differs original amended point 1, temperature, °C 25.00 25.10 point 2, temperature, °C 25.00 25.05",
        ],
    );
    let last = format!("{CHECK}.a2");
    let ask = |check: &str| -> Json {
        let done = scratch
            .shearbook(&["show", check, "--format", "json"])
            .ends(0);
        serde_json::from_str(&done.out).unwrap()
    };
    let (first, newest) = (ask(CHECK), ask(&last));
    assert_eq!(first["amendments"], newest["amendments"]);
    let steps = first["amendments"].as_array().unwrap();
    assert_eq!(steps.len(), 2);
    assert_eq!(steps[1]["check"], last.as_str());
    assert_eq!(steps[1]["reason"], "and this one");
    assert_eq!(steps[1]["amended_by"], "op-01");
    assert_eq!(
        steps[1]["changes"],
        serde_json::json!([{ "pointer": "/point/1/temperature_c", "was": 25.0, "is": 25.05 }])
    );
}

#[test]
fn check_without_amendments_lists_none() {
    let scratch = bench();
    scratch.committed_check("0900");
    let done = scratch
        .shearbook(&["show", CHECK, "--format", "json"])
        .ends(0);
    let json: Json = serde_json::from_str(&done.out).unwrap();
    assert_eq!(json["amendments"], serde_json::json!([]));
    let done = scratch.shearbook(&["show", CHECK]).ends(0);
    assert!(!done.out.contains("amended"), "{}", done.out);
}

#[test]
fn line_ends_and_remarks_stay() {
    let scratch = bench();
    let path = scratch.sound_check("0900");
    let text = scratch.read(&path);
    let text = text
        .replacen(
            "temperature_c = 25.00",
            "temperature_c = 25.00  # the left one",
            1,
        )
        .replace('\n', "\r\n");
    scratch.write(&path, &text);
    commit(&scratch);
    amend(
        &scratch,
        &[
            "--set",
            "/point/0/temperature_c=25.10",
            "--set",
            "bath=WB-1",
        ],
    )
    .ends(0);
    let amended = scratch.read(&amendment("0900", 1));
    assert!(
        amended.contains("temperature_c = 25.10  # the left one\r\n"),
        "{amended}"
    );
    assert!(amended.contains("bath = \"WB-1\"\r\n"), "{amended}");
    assert_eq!(
        amended.matches('\n').count(),
        amended.matches("\r\n").count()
    );
    sound(&scratch);
}

#[test]
fn who_amends_is_whoever_git_would_name() {
    let mut scratch = bench();
    scratch.committed_check("0900");
    scratch.set("GIT_AUTHOR_EMAIL", "OP-01@lab.example");
    amend(&scratch, &[]).ends(0);
    let text = scratch.read(&amendment("0900", 1));
    assert!(text.contains("amended_by = \"op-01\""), "{text}");
    scratch.remove(&amendment("0900", 1));
    scratch.set("GIT_AUTHOR_EMAIL", "visitor@lab.example");
    let anew = [&["amend", CHECK], &WHY[..]].concat();
    refuses(&scratch, &anew, 1, &["visitor@lab.example", "--by"]);
}

#[test]
fn spoiled_check_is_made_void_and_stays_as_evidence() {
    let scratch = bench();
    scratch.committed_check("0900");
    let done = amend(&scratch, &["--void", "--cause", "procedure"]).ends(0);
    says(&done, &["changes from pass to void"]);
    let text = scratch.read(&amendment("0900", 1));
    assert!(
        text.contains("void = true\nvoid_cause = \"procedure\"\n"),
        "{text}"
    );
    assert!(text.contains("verdict = \"void\""), "{text}");
    sound(&scratch);
    scratch.commit_unverified();
    let value = ["--set", "/preparation/levelled=false"];
    amend(&scratch, &value).ends(0);
    sound(&scratch);
}

#[test]
fn amendment_is_not_written_before_the_check_was_performed() {
    let scratch = bench();
    let path = "checks/2099/VM-1/2099-03-02-0900.toml";
    scratch.write(path, draft("0900").replace("2026-03-02", "2099-03-02"));
    scratch.shearbook(&["seal", path]).ends(0);
    commit(&scratch);
    let anew = [&["amend", "VM-1/2099-03-02-0900"], &WHY[..]].concat();
    let words = ["performed-in-future", "before it was performed"];
    refuses(&scratch, &anew, 1, &words);
}

#[test]
fn copy_for_editing_by_hand_says_that_it_is_sealed_after() {
    let scratch = bench();
    scratch.committed_check("0900");
    let done = amend(&scratch, &[]).ends(0);
    let path = amendment("0900", 1);
    says(&done, &[&format!("shearbook seal {path}")]);
    scratch.edit(&path, "viscosity_mpa_s = 485.0", "viscosity_mpa_s = 486.0");
    scratch.shearbook(&["validate"]).ends(1);
    scratch.shearbook(&["seal", &path]).ends(0);
    sound(&scratch);
}

#[test]
fn corrected_fact_amends_every_check_that_rests_on_it() {
    for folder in ["", "lab/bench"] {
        let scratch = bench_in(folder);
        let paths = [
            scratch.committed_check("0900"),
            scratch.committed_check("1000"),
        ];
        let originals = paths.clone().map(|path| scratch.read(&path));
        let fluid = scratch.read(FLUID);
        // 1 % of 496 and 1 % of 500 are 9.96, so that 485 at 60 rpm is under 486.04.
        let done = correct(&scratch, &["fluids/K-1", VALUE, "496.0"]).ends(0);
        says(
            &done,
            &[
                "was 484.0 and is now 496.0",
                "2 checks rest on it",
                "VM-1/2026-03-02-0900.a1 was pass, is fail",
                "VM-1/2026-03-02-1000.a1 was pass, is fail",
                "open a nonconformity",
                FLUID,
                &amendment("1000", 1),
            ],
        );
        let said = scratch.read(FLUID);
        let row = said
            .strip_prefix(&fluid.replace("484.0", "496.0"))
            .unwrap_or_else(|| panic!("{said}"));
        for line in [
            "\n[[correction]]\n",
            "key = \"/value/0/viscosity_mpa_s\"\n",
            "was = 484.0\n",
            "by = \"op-01\"\n",
            "reason = \"mistyped; the bench sheet has it\"\n",
        ] {
            assert!(row.contains(line), "{line} in {row}");
        }
        for (time, (path, original)) in ["0900", "1000"].iter().zip(paths.iter().zip(originals)) {
            assert_eq!(scratch.read(path), original);
            let text = scratch.read(&amendment(time, 1));
            for line in [
                "reference_mpa_s = 496.0\n",
                "lower_mpa_s = 486.04\n",
                "verdict = \"fail\"\n",
                "(correction of /value/0/viscosity_mpa_s in fluids/K-1.toml)",
            ] {
                assert!(text.contains(line), "{line} in {text}");
            }
        }
        sound(&scratch);
        scratch.commit_unverified();
        scratch.shearbook(&["validate"]).ends(0);
        // Once more: then the amendments are amended.
        correct(
            &scratch,
            &["fluids/K-1", "value[0].viscosity_mpa_s", "486.0"],
        )
        .ends(0);
        assert!(scratch.path(&amendment("0900", 2)).is_file());
        sound(&scratch);
    }
}

#[test]
fn dry_run_tells_and_writes_nothing() {
    let scratch = bench();
    scratch.committed_check("0900");
    let run = [
        &["correct", "fluids/K-1", VALUE, "496.0", "--dry-run"],
        &WHY[..],
    ]
    .concat();
    refuses(
        &scratch,
        &run,
        0,
        &[
            "would become 496.0",
            "would be amended",
            "was pass, is fail",
            "dry run",
        ],
    );
}

#[test]
fn correction_without_effect_amends_nothing() {
    let scratch = bench();
    scratch.committed_check("0900");
    let done = correct(
        &scratch,
        &["fluids/K-1.toml", "supplier", "Another supplier"],
    )
    .ends(0);
    says(&done, &["No committed check is changed"]);
    assert!(
        scratch
            .read(FLUID)
            .contains("supplier = \"Another supplier\"\n")
    );
    assert!(!scratch.path(&amendment("0900", 1)).exists());
    sound(&scratch);
}

#[test]
fn key_that_was_missing_is_added_and_said_to_be_so() {
    let scratch = bench();
    scratch.committed_check("0900");
    let done = correct(&scratch, &["geometries/G-1", "/shear_rate_per_rpm", "0.22"]).ends(0);
    says(&done, &["was missing and is now 0.22", "pass, as before"]);
    let text = scratch.read("geometries/G-1.toml");
    assert!(
        text.contains("guard = \"required\"\nshear_rate_per_rpm = 0.22\n"),
        "{text}"
    );
    assert!(!text.contains("was ="), "{text}");
    sound(&scratch);
}

#[test]
fn negative_values_are_values() {
    let scratch = bench();
    let key = "/value/0/temperature_coefficient_percent_per_k";
    correct(&scratch, &["fluids/K-1", key, "-2.2"]).ends(0);
    assert!(scratch.read(FLUID).contains("was = -2.1\n"));
    sound(&scratch);
}

#[test]
fn tired_mistakes_at_a_fact_end_in_words_and_change_no_file() {
    let scratch = bench();
    scratch.committed_check("0900");
    let refuse = |given: &[&str], code: i32, words: &[&str]| {
        let all = [&["correct"], given, &WHY[..]].concat();
        refuses(&scratch, &all, code, words);
    };
    refuse(
        &["fluids/K-1", VALUE, "496,0"],
        1,
        &["write viscosity_mpa_s = 496.0"],
    );
    refuse(
        &["fluids/K-1", "/value/0/viscosity_mpas", "496.0"],
        1,
        &["did you mean viscosity_mpa_s?"],
    );
    refuse(
        &["fluids/K-1", "/value/1/viscosity_mpa_s", "496.0"],
        1,
        &["1 row, number 0"],
    );
    refuse(&["fluids/K-1", VALUE, "484.0"], 1, &["is 484.0 already"]);
    refuse(&["fluids/K-1", VALUE, "-1"], 1, &["viscosity_mpa_s"]);
    refuse(&["fluids/K-1", "id", "K-2"], 1, &["another record"]);
    refuse(
        &["fluids/K-11", VALUE, "496.0"],
        1,
        &["did you mean fluids/K-1?"],
    );
    refuse(&["fluid/K-1", VALUE, "496.0"], 2, &["neither a record"]);
    refuse(&[CHECK, "bottle", "2"], 1, &["shearbook amend"]);
    refuse(
        &[&check_path("0900"), "bottle", "2"],
        1,
        &["shearbook amend"],
    );
    refuse(&[MARKER, "laboratory", "Ours"], 1, &["[[correction]]"]);
    refuse(
        &["nonconformities/N-1", "opened", "2026-03-03"],
        1,
        &["nonconformity"],
    );
    refuse(
        &["fluids/K-1", VALUE, "496.0", "--by", "qa-01"],
        1,
        &["which qa-01 is not authorised for today"],
    );
    refuse(
        &["fluids/K-1", VALUE, "496.0", "--by", "qa-1"],
        1,
        &["did you mean qa-01?"],
    );
    refuses(
        &scratch,
        &["correct", "fluids/K-1", VALUE, "496.0"],
        2,
        &["--reason"],
    );
    // The policy's zones overlap.
    refuse(
        &["policies/P-1", "/torque/low_below_percent", "80.0"],
        1,
        &["schema", "Not corrected"],
    );
    scratch.edit(FLUID, "484.0", "496.0");
    refuse(
        &["fluids/K-1", VALUE, "497.0"],
        1,
        &["has been edited", "git restore"],
    );
}

#[test]
fn corrections_come_one_commit_after_the_other() {
    let scratch = bench();
    scratch.committed_check("0900");
    correct(&scratch, &["geometries/G-1", "/shear_rate_per_rpm", "0.22"]).ends(0);
    let next = [&["correct", "fluids/K-1", VALUE, "496.0"], &WHY[..]].concat();
    refuses(&scratch, &next, 1, &["0900.a1.toml", "not committed yet"]);
    commit(&scratch);
    scratch.shearbook(&next).ends(0);
    sound(&scratch);
}

#[test]
fn check_that_would_lose_a_figure_or_its_standing_is_named_and_nothing_is_written() {
    let scratch = bench();
    scratch.committed_check("0900");
    let lost = [
        &[
            "correct",
            "instruments/VM-1",
            "/spring/0/from",
            "2026-03-05",
        ],
        &WHY[..],
    ]
    .concat();
    refuses(&scratch, &lost, 1, &["a figure cannot be had", CHECK]);
    let expired = [
        &["correct", "fluids/K-1", "expires", "2026-02-27"],
        &WHY[..],
    ]
    .concat();
    refuses(
        &scratch,
        &expired,
        1,
        &["fluid-expired", "amend it as void first"],
    );
    amend(&scratch, &["--void", "--cause", "procedure"]).ends(0);
    commit(&scratch);
    scratch.shearbook(&expired).ends(0);
    sound(&scratch);
}

#[test]
fn void_check_stays_void_and_keeps_its_reason() {
    let scratch = bench();
    let void = draft("0900").replace(
        "condition = \"as-found\"\n",
        "condition = \"as-found\"\nvoid = true\nvoid_cause = \"procedure\"\nreason = \"beaker knocked\"\n",
    );
    scratch.seal("0900", &void);
    commit(&scratch);
    let done = correct(&scratch, &["fluids/K-1", VALUE, "496.0"]).ends(0);
    says(&done, &["void, as before"]);
    let text = scratch.read(&amendment("0900", 1));
    assert!(
        text.contains("void as before: beaker knocked\"\n"),
        "{text}"
    );
    sound(&scratch);
}

#[test]
fn repeat_of_a_check_that_no_longer_fails_is_amended_with_it() {
    let scratch = bench();
    let first = scratch.seal("0900", &failing_draft("0900"));
    assert!(scratch.read(&first).contains("verdict = \"fail\""));
    let repeat = draft("1100").replace(
        "occasion = \"scheduled\"\n",
        "occasion = \"repeat\"\nrepeats = \"VM-1/2026-03-02-0900\"\n",
    );
    scratch.seal("1100", &repeat);
    commit(&scratch);
    // 478 and 9.78 to either side: 485 and 470 both pass.
    let done = correct(&scratch, &["fluids/K-1", VALUE, "478.0"]).ends(0);
    says(
        &done,
        &[
            "VM-1/2026-03-02-0900.a1 was fail, is pass",
            "VM-1/2026-03-02-1100.a1 pass, as before",
        ],
    );
    sound(&scratch);
}

#[test]
fn draft_that_rests_on_the_fact_is_named_for_sealing() {
    let scratch = bench();
    scratch.committed_check("0900");
    let path = scratch.sound_check("1000");
    let done = correct(&scratch, &["fluids/K-1", VALUE, "486.0"]).ends(0);
    says(
        &done,
        &["1 check rests on it", &format!("shearbook seal {path}")],
    );
    scratch.shearbook(&["seal", &path]).ends(0);
    sound(&scratch);
}

#[test]
fn nonconformity_begins_with_the_checks_it_is_about() {
    let scratch = bench();
    scratch.seal("0900", &failing_draft("0900"));
    let new = ["new", "nonconformity", "N-1", "--check"];
    let about = |check: &'static str| [&new[..], &[check]].concat();
    refuses(
        &scratch,
        &about("VM-1/2026-03-02-0901"),
        2,
        &["there is no check"],
    );
    refuses(&scratch, &about("0900"), 2, &["INSTRUMENT/YYYY-MM-DD-HHMM"]);
    let wrong = ["new", "person", "op-02", "--check", CHECK];
    refuses(&scratch, &wrong, 2, &["--check belongs to a nonconformity"]);
    scratch.shearbook(&about(CHECK)).ends(0);
    let text = scratch.read("nonconformities/N-1.toml");
    assert!(
        text.contains("checks = [\"VM-1/2026-03-02-0900\"]\n"),
        "{text}"
    );
    // It is open as it stands; the outcome follows.
    sound(&scratch);
}

#[test]
fn fact_is_not_corrected_by_somebody_who_may_not_amend() {
    let scratch = bench();
    scratch.committed_check("0900");
    let before = scratch.snapshot(&scratch.top);
    let words = |by| {
        [
            "correct",
            FLUID,
            "/value/0/viscosity_mpa_s",
            "484.5",
            "--reason",
            "mistyped",
            "--by",
            by,
        ]
    };
    let done = scratch.shearbook(&words("qa-01")).ends(1);
    for said in [
        "1 check rests on it",
        "qa-01 is not authorised for today",
        "--by: op-01",
    ] {
        assert!(
            done.err.contains(said),
            "no {said} in {}{}",
            done.out,
            done.err
        );
    }
    assert_eq!(scratch.snapshot(&scratch.top), before);
    scratch.shearbook(&words("op-01")).ends(0);
}

#[test]
fn decided_error_becomes_a_warning_and_the_check_still_does_not_count() {
    let scratch = bench();
    let path = scratch.bad_check("0900");
    commit(&scratch);
    let state = || -> Json {
        let day = ["status", "--as-of", "2026-03-02", "--format", "json"];
        let done = scratch.shearbook(&day);
        let json: Json = serde_json::from_str(&done.out).unwrap();
        json["instruments"][0]["state"].clone()
    };
    scratch.shearbook(&["validate"]).ends(1);
    assert_eq!(state(), "never-checked");
    let opened = format!(
        "format = 1\nid = \"n\"\nopened = 2026-03-02\n\n[[finding]]\nrule = \"fluid-expired\"\npath = \"{path}\"\n"
    );
    let outcome = |by: &str| {
        format!(
            "{opened}\n[outcome]\nevaluation = \"none stands\"\ndecision = \"repeated\"\nby = \"{by}\"\ndate = 2026-03-02\n"
        )
    };
    scratch.write("nonconformities/n.toml", &opened);
    scratch.shearbook(&["validate"]).ends(1);
    // Whoever may not review decides nothing.
    scratch.write("nonconformities/n.toml", outcome("op-01"));
    let done = scratch.shearbook(&["validate"]).ends(1);
    says(&done, &["schema", "op-01 was not authorised to review"]);
    scratch.write("nonconformities/n.toml", outcome("qa-01"));
    let done = scratch.shearbook(&["validate"]).ends(0);
    says(
        &done,
        &[
            "warning: fluid-expired",
            "nonconformity n has decided about this",
        ],
    );
    assert_eq!(state(), "never-checked");
    // Taken away, a sound check would count.
    scratch.remove("nonconformities/n.toml");
    scratch.sound_check("0900");
    assert_eq!(state(), "in-date");
}

#[test]
fn file_whose_time_alone_has_changed_is_no_edited_one() {
    let scratch = bench();
    let check = scratch.committed_check("0900");
    // As after a copy of the folder, or an editor that saved what it had opened.
    let later = std::time::SystemTime::now() + std::time::Duration::from_secs(5);
    for path in [&*check, FLUID] {
        let file = std::fs::File::options()
            .append(true)
            .open(scratch.path(path))
            .unwrap();
        file.set_modified(later).unwrap();
    }
    amend(
        &scratch,
        &["--set", "/point/0/temperature_c=25.10", "--by", "op-01"],
    )
    .ends(0);
    scratch.remove(&amendment("0900", 1));
    correct(&scratch, &[FLUID, VALUE, "484.9"]).ends(0);
}

#[test]
fn value_that_stands_there_already_amends_nothing() {
    let scratch = bench();
    scratch.committed_check("0900");
    let same = ["amend", CHECK, "--set", "/point/0/temperature_c=25.00"];
    let same = [&same[..], &WHY[..]].concat();
    refuses(&scratch, &same, 1, &["says so already", "nothing to amend"]);
}

#[test]
fn amendment_without_the_one_before_it_ends_a_correction_in_words() {
    let scratch = bench();
    scratch.committed_check("0900");
    amend(&scratch, &["--set", "/point/0/temperature_c=25.10"]).ends(0);
    let first = amendment("0900", 1);
    std::fs::rename(scratch.path(&first), scratch.path(&amendment("0900", 2))).unwrap();
    commit(&scratch);
    let arguments = [&["correct", FLUID, VALUE, "470.0"], &WHY[..]].concat();
    refuses(&scratch, &arguments, 1, &["order of its amendments"]);
}
