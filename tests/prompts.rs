//! `new`, `amend` and `correct` at a real pseudo-terminal, where they ask for what the command line leaves out.
#![cfg(unix)]
#![allow(clippy::disallowed_methods, reason = "tests may use files")]

mod support;
#[path = "support/terminal.rs"]
mod terminal;

use support::{Scratch, check_path};
use terminal::Terminal;

fn at(scratch: &Scratch, columns: u16, variables: &[(&str, &str)], arguments: &[&str]) -> Terminal {
    let mut command = scratch.tool(&scratch.book);
    command.args(arguments);
    Terminal::start(&command, columns, variables)
}

/// A book whose analyst is authorised today as well, since amendments are dated by the clock.
fn book() -> Scratch {
    let scratch = Scratch::empty().with_facts("");
    scratch.edit("people/op-01.toml", "until = 2026-12-31\n", "");
    scratch.git(&["add", "--all"]);
    scratch.git(&["commit", "--quiet", "--message", "Begin the book"]);
    scratch
}

const FLUID: &[(&str, &str)] = &[
    ("Number or word:", "fluid"),
    ("Id of the new fluid lot:", "K-7"),
    ("Number or word [ask]:", ""),
    ("supplier (who sold it):", "A supplier"),
    ("product (what the label calls it):", "oil 500"),
    (
        "base (\"silicone\", \"mineral-oil\" or \"other\"):",
        "silicone",
    ),
    (">", "500"),
    ("issuer (who certified the lot):", "A laboratory"),
    ("certificate (its number):", "12"),
    (
        "certified (day of the certificate: 2026-03-02):",
        "2026-02-30",
    ),
    (
        "certified (day of the certificate: 2026-03-02):",
        "2026-02-20",
    ),
    (">", "2028-02-20"),
    ("temperature_c (25.0):", "25,0"),
    (">", "512,60"),
    (">", "0.4"),
    ("coverage_factor (k of the certificate: 2.0):", "2"),
    ("Another row of value? (y/n) [n]:", "y"),
    ("temperature_c (25.0):", "40"),
    (">", "380.2"),
    (">", "0.4"),
    ("coverage_factor (k of the certificate: 2.0):", "2"),
    ("Another row of value? (y/n) [n]:", ""),
    ("id (as checks name it, as text: \"1\"), or none:", "1"),
    ("opened (2026-04-01):", "2026-02-25"),
    ("Another row of bottle? (y/n) [n]:", "n"),
];

#[test]
fn a_new_record_is_asked_for_key_by_key_and_validates() {
    for variables in [&[][..], &[("ACCESSIBLE", "1"), ("NO_COLOR", "1")][..]] {
        let scratch = Scratch::book();
        let mut terminal = at(&scratch, 60, variables, &["new"]);
        for (question, answer) in FLUID {
            terminal.answer(question, answer);
        }
        assert_eq!(terminal.ends(), 0, "{}", terminal.text());
        assert_eq!(terminal.broken_lines(), [""; 0], "{}", terminal.text());
        let text = scratch.read("fluids/K-7.toml");
        for line in [
            "certificate = \"12\"",
            "certified = 2026-02-20",
            "temperature_c = 25.0",
            "viscosity_mpa_s = 512.60",
            "viscosity_mpa_s = 380.2",
            "opened = 2026-02-25",
        ] {
            assert!(text.contains(line), "{line} in {text}");
        }
        scratch.shearbook(&["validate", "fluids/K-7.toml"]).ends(0);
        terminal.shows("git add fluids/K-7.toml");
    }
}

#[test]
fn stopped_at_any_question_nothing_is_written() {
    let scratch = Scratch::book();
    let before = scratch.snapshot(&scratch.book);
    for stop in 0..FLUID.len() {
        // One question in three is enough of them, the first and the last among them.
        if stop % 3 != 0 {
            continue;
        }
        let mut terminal = at(&scratch, 80, &[], &["new"]);
        for (question, answer) in &FLUID[..stop] {
            terminal.answer(question, answer);
        }
        terminal.asks(FLUID[stop].0);
        terminal.types("\u{3}");
        assert_eq!(terminal.ends(), 130, "{}", terminal.text());
        terminal.shows("Nothing was written");
        assert!(scratch.snapshot(&scratch.book) == before);
    }
}

/// Answers one question after the other, at a prompt of either width.
fn answer_all(terminal: &mut Terminal, answers: &[(&str, &str)]) {
    for (question, answer) in answers {
        terminal.answer(question, answer);
    }
}

const ASKED: (&str, &str) = ("Number or word [ask]:", "");

#[test]
fn the_corrections_of_a_thermometer_are_asked_for_row_by_row() {
    const CERTIFICATE: [(&str, &str); 8] = [
        ASKED,
        ("resolution_k", "0.01"),
        ("date (2026-01-20):", "2026-02-01"),
        ("due (", "2027-02-01"),
        ("by (", "A laboratory"),
        ("certificate (its number):", "T-7"),
        ("expanded_uncertainty_k (0.03):", "0.03"),
        ("coverage_factor (", "2"),
    ];
    let scratch = Scratch::book();
    let mut terminal = at(&scratch, 60, &[], &["new", "thermometer", "TH-7"]);
    for (question, answer) in CERTIFICATE {
        terminal.answer(if question.len() > 30 { ">" } else { question }, answer);
    }
    answer_all(
        &mut terminal,
        &[
            // That there is none must be said.
            ("corrections 1: at_c, or none:", "-"),
            ("corrections 1: at_c, or none:", "20,0"),
            ("corrections 1: correction_k:", "-0,01"),
            ("Another row of corrections? (y/n) [n]:", "y"),
            ("corrections 2: at_c:", "10"),
            ("corrections 2: at_c:", "30.0"),
            ("corrections 2: correction_k:", "-0.02"),
            ("Another row of corrections? (y/n) [n]:", ""),
            ("Another row of calibration? (y/n) [n]:", ""),
        ],
    );
    assert_eq!(terminal.ends(), 0, "{}", terminal.text());
    assert_eq!(terminal.broken_lines(), [""; 0], "{}", terminal.text());
    terminal.shows("say none where there are none");
    let text = scratch.read("thermometers/TH-7.toml");
    let rows = "corrections = [ { at_c = 20.0, correction_k = -0.01 }, { at_c = 30.0, correction_k = -0.02 } ]";
    assert!(text.contains(rows), "{text}");
    scratch
        .shearbook(&["validate", "thermometers/TH-7.toml"])
        .ends(0);

    let mut terminal = at(&scratch, 80, &[], &["new", "thermometer", "TH-8"]);
    for (question, answer) in CERTIFICATE {
        terminal.answer(question, answer);
    }
    answer_all(
        &mut terminal,
        &[
            ("corrections 1: at_c, or none:", "None"),
            ("Another row of calibration? (y/n) [n]:", "y"),
            ("date (2026-01-20):", "2025-02-01"),
        ],
    );
    // A row before the one above it is told at once, and the second has corrections of its own.
    terminal.answer("date (2026-01-20):", "2027-01-20");
    answer_all(
        &mut terminal,
        &[
            ("due (", "2028-01-20"),
            ("by (", "A laboratory"),
            ("certificate (its number):", "T-9"),
            ("expanded_uncertainty_k (0.03):", "0.03"),
            ("coverage_factor (", "2"),
            ("corrections 1: at_c, or none:", "none"),
            ("Another row of calibration? (y/n) [n]:", "n"),
        ],
    );
    assert_eq!(terminal.ends(), 0, "{}", terminal.text());
    let text = scratch.read("thermometers/TH-8.toml");
    assert_eq!(text.matches("\ncorrections = []").count(), 2, "{text}");
}

#[test]
fn what_a_certificate_states_in_another_way_is_asked_for_instead() {
    let scratch = Scratch::book();
    for columns in [60, 80] {
        let id = format!("K-{columns}");
        let mut terminal = at(&scratch, columns, &[], &["new", "fluid", &id]);
        terminal.answer("Number or word [ask]:", "");
        for answer in [
            // What is needed is not left out.
            "-",
            "A supplier",
            "oil 100",
            "Mineral-Oil",
            "100",
            "A laboratory",
            "12",
            "2026-02-20",
            // Before the day of the certificate.
            "2025-02-20",
            "2028-02-20",
            "25.0",
            "-",
        ] {
            terminal.answer(">", answer);
        }
        terminal.shows("supplier is needed");
        terminal.shows("expires is 2025-02-20, before certified, 2026-02-20;");
        terminal.shows("kinematic_mm2_s instead)");
        for answer in ["-", "118.4", "-", "0.8542", "-", "0,4", "2", "n"] {
            terminal.answer(">", answer);
        }
        terminal.shows("viscosity_mpa_s was left out, so kinematic_mm2_s");
        terminal.shows("density_g_ml is needed");
        // One row alone has no other to take the change with temperature from.
        terminal.shows("temperature_coefficient_percent_per_k");
        let coefficient = if columns == 60 { "-2.1" } else { "none" };
        terminal.answer(">", coefficient);
        terminal.answer("or none", "none yet");
        assert_eq!(terminal.ends(), 0, "{}", terminal.text());
        assert_eq!(terminal.broken_lines(), [""; 0], "{}", terminal.text());
        let path = format!("fluids/{id}.toml");
        let text = scratch.read(&path);
        for line in [
            "base = \"mineral-oil\"",
            "#viscosity_mpa_s =",
            "kinematic_mm2_s = 118.4",
            "density_g_ml = 0.8542",
            "expanded_uncertainty_mpa_s = 0.4",
            "#[[bottle]]",
        ] {
            assert!(text.contains(&format!("\n{line}")), "{line} in {text}");
        }
        let stated = text.contains("\ntemperature_coefficient_percent_per_k = -2.1");
        assert_eq!(stated, columns == 60, "{text}");
        scratch.shearbook(&["validate", &path]).ends(0);
    }
}

/// Up to the row of its last calibration.
const INSTRUMENT: &[&str] = &[
    "",
    "Hourly",
    "Daily",
    "-",
    "-",
    "0,01 200",
    "0.1",
    "0.2",
    "2026-01-05",
    "100",
    "n",
];

#[test]
fn each_answer_for_an_instrument_is_judged_when_it_is_given() {
    let scratch = book();
    let mut terminal = at(&scratch, 60, &[], &["new", "instrument", "VM-7"]);
    for answer in INSTRUMENT {
        terminal.answer(">", answer);
    }
    terminal.shows("has no usage class Hourly");
    terminal.shows("speeds_rpm was left out, so speed_range_rpm is");
    for answer in [
        "2026-02-11",
        "A laboratory",
        "S-7",
        // Before anybody of the book had a right.
        "2023-04-03",
        "In-Service",
        "qa-01",
        "back",
        "back",
        "2026-02-12",
        "",
        "bea",
        "OP-01",
    ] {
        terminal.answer(">", answer);
    }
    terminal.shows("Nobody was authorised for records or review on");
    terminal.shows("Authorised for records or review on 2026-02-12: qa-01");
    terminal.shows("qa-01 was authorised for neither records nor review");
    terminal.shows("there is no person bea");
    // The id is taken as the book has it, and refused for what it may not do.
    terminal.shows("op-01 was authorised for neither records nor review");
    terminal.answer(">", "QA-01");
    terminal.answer("Another row of standing? (y/n) [n]:", "");
    assert_eq!(terminal.ends(), 0, "{}", terminal.text());
    assert_eq!(terminal.broken_lines(), [""; 0], "{}", terminal.text());
    let text = scratch.read("instruments/VM-7.toml");
    for line in [
        "usage = \"daily\"",
        "#speeds_rpm =",
        "speed_range_rpm = [0.01, 200]",
        "[[service]]\ndate = 2026-02-11",
        "kind = \"calibration\"",
        "certificate = \"S-7\"",
        "state = \"in-service\"",
        "by = \"qa-01\"",
    ] {
        assert!(text.contains(&format!("\n{line}")), "{line} in {text}");
    }
    scratch
        .shearbook(&["validate", "instruments/VM-7.toml"])
        .ends(0);
}

#[test]
fn what_the_rules_want_beside_the_answers_is_asked_for_before_anything_is_written() {
    let scratch = book();
    let before = scratch.snapshot(&scratch.book);
    let mut terminal = at(&scratch, 80, &[], &["new", "instrument", "VM-7"]);
    for answer in INSTRUMENT {
        terminal.answer(">", answer);
    }
    for answer in ["none yet", "2026-02-12", "quarantined", "qa-01", "n"] {
        terminal.answer(">", answer);
    }
    terminal.asks("reason (");
    terminal.shows("without a reason");
    assert!(scratch.snapshot(&scratch.book) == before);

    // Meanwhile somebody takes the class of use away: back to the question that rests on it, and to no other.
    scratch.edit("policies/P-1.toml", "daily = ", "weekly = ");
    terminal.answer("reason (", "arrived damaged");
    terminal.shows("has no usage class daily");
    terminal.answer("[Daily]:", "weekly");
    assert_eq!(terminal.ends(), 0, "{}", terminal.text());
    let text = scratch.read("instruments/VM-7.toml");
    for line in [
        "usage = \"weekly\"",
        "reason = \"arrived damaged\"",
        "#[[service]]\n#date =",
        "#kind = \"calibration\"",
    ] {
        assert!(text.contains(&format!("\n{line}")), "{line} in {text}");
    }
}

#[test]
fn back_and_what_does_not_apply() {
    let scratch = Scratch::book();
    let mut terminal = at(&scratch, 80, &[], &["new", "bath", "WB-7"]);
    terminal.answer("Number or word [ask]:", "");
    terminal.answer(">", "back");
    terminal.answer("Number or word [ask]:", "");
    terminal.answer(">", "nought");
    terminal.shows("uniformity_k");
    terminal.answer(">", "0,05");
    assert_eq!(terminal.ends(), 0, "{}", terminal.text());
    assert!(
        scratch
            .read("baths/WB-7.toml")
            .contains("uniformity_k = 0.05")
    );

    // The file alone, as without a terminal.
    let mut terminal = at(&scratch, 80, &[], &["new", "bath", "WB-8"]);
    terminal.answer("Number or word [ask]:", "file");
    assert_eq!(terminal.ends(), 0, "{}", terminal.text());
    scratch.shearbook(&["new", "bath", "WB-9"]).ends(0);
    let mut blank = at(&scratch, 80, &[], &["new", "bath", "WB-6", "--blank"]);
    assert_eq!(blank.ends(), 0);
    for other in ["WB-8", "WB-6"] {
        let text = scratch.read(&format!("baths/{other}.toml"));
        assert_eq!(text.replace(other, "WB-9"), scratch.read("baths/WB-9.toml"));
    }
}

#[test]
fn an_amendment_is_asked_for_value_by_value() {
    let scratch = book();
    let path = scratch.committed_check("0900");
    let mut terminal = at(&scratch, 60, &[], &["amend", "VM-1/2026-03-02-0900"]);
    terminal.answer("Number or word:", "/point/1/temperature_c");
    terminal.answer("The right value:", "warm");
    terminal.answer("The right value:", "25,02");
    terminal.answer("Number or word [done]:", "/operator");
    terminal.answer("The right value:", "back");
    terminal.answer("Number or word [/operator]:", "done");
    terminal.answer(">", "the sheet has 25.02");
    assert_eq!(terminal.ends(), 0, "{}", terminal.text());
    assert_eq!(terminal.broken_lines(), [""; 0], "{}", terminal.text());
    let amendment = scratch.read(&check_path("0900").replace(".toml", ".a1.toml"));
    assert!(amendment.contains("temperature_c = 25.02"), "{amendment}");
    assert!(
        amendment.contains("reason = \"the sheet has 25.02\""),
        "{amendment}"
    );
    scratch.stage(&path.replace(".toml", ".a1.toml"));
    scratch.gate().passes();

    // Or nothing can be put right.
    let other = scratch.committed_check("1000");
    let mut terminal = at(&scratch, 80, &[], &["amend", &other]);
    terminal.answer("Number or word:", "void");
    terminal.answer("Number or word:", "procedure");
    terminal.answer(">", "knocked over");
    assert_eq!(terminal.ends(), 0, "{}", terminal.text());
    assert!(
        scratch
            .read(&other.replace(".toml", ".a1.toml"))
            .contains("void = true")
    );
}

#[test]
fn a_correction_is_seen_before_it_is_written() {
    let scratch = book();
    scratch.committed_check("0900");
    let before = scratch.snapshot(&scratch.book);
    for sure in ["n", "y"] {
        let mut terminal = at(&scratch, 80, &[], &["correct"]);
        terminal.answer("Number or word:", "fluids/K-1");
        terminal.answer("Number or word:", "/value/0/viscosity_mpa_s");
        terminal.answer("The right value:", "484,2");
        terminal.answer(">", "certificate mistyped");
        terminal.shows("this was a dry run");
        terminal.asks("Write it so? (y/n) [y]:");
        assert!(scratch.snapshot(&scratch.book) == before);
        terminal.answer("Write it so? (y/n) [y]:", sure);
        assert_eq!(terminal.ends(), 0, "{}", terminal.text());
    }
    assert!(
        scratch
            .read("fluids/K-1.toml")
            .contains("viscosity_mpa_s = 484.2")
    );
    scratch.git(&["add", "--all"]);
    scratch.gate().passes();
}

#[test]
fn a_new_check_at_a_terminal_is_run_at_the_bench() {
    let scratch = Scratch::book();
    let mut terminal = at(
        &scratch,
        80,
        &[],
        &["--as-of", "2026-03-02", "new", "check", "VM-1"],
    );
    terminal.answer("Number or word [ask]:", "");
    terminal.asks("Number or word [op-01]:");
    terminal.types("\u{3}");
    assert_eq!(terminal.ends(), 130);
}

#[test]
fn completions_and_pages_are_there_for_every_command() {
    let scratch = Scratch::empty();
    let help = scratch.shearbook(&["--help"]).ends(0).out;
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter_map(|line| line.strip_prefix("  ")?.split(' ').next())
        .filter(|name| !name.is_empty() && *name != "help")
        .collect();
    assert!(commands.len() > 20, "{help}");
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = scratch.shearbook(&["completions", shell]).ends(0).out;
        for command in &commands {
            assert!(script.contains(command), "{command} in that of {shell}");
        }
    }
    scratch.shearbook(&["man", "--out", "pages"]).ends(0);
    for command in &commands {
        let page = scratch.read(&format!("pages/shearbook-{command}.1"));
        assert_eq!(page, scratch.shearbook(&["man", command]).ends(0).out);
        // Each says in an example how it is used.
        let example = format!("Example: shearbook {command}").replace('-', "\\-");
        assert!(page.contains(&example), "{example} in {page}");
    }
    assert!(
        scratch
            .read("pages/shearbook.1")
            .contains("shearbook\\-enter")
    );
    // A command of a command has a page of its own.
    let own = scratch.shearbook(&["man", "hook", "install"]).ends(0).out;
    assert!(own.contains("shearbook\\-hook\\-install"), "{own}");
    assert_eq!(own, scratch.read("pages/shearbook-hook-install.1"));
    scratch.shearbook(&["man", "plan", "--out", "one"]).ends(0);
    assert_eq!(
        scratch.read("one/shearbook-plan.1"),
        scratch.read("pages/shearbook-plan.1")
    );
    assert!(!scratch.path("one/shearbook.1").exists());
    scratch.shearbook(&["man", "entre"]).ends(2);
    scratch.shearbook(&["man", "hook", "instal"]).ends(2);
    scratch.shearbook(&["completions", "cmd"]).ends(2);
}
