//! What people read stays legible: at 60 columns, without colour, and without hidden characters.

use shearbook::book::Clock;
use shearbook::finding::Counts;
use shearbook::report::{Findings, plain, terminal};
use shearbook::rules::{Wanted, run};
use shearbook::source::memory::Memory;
use std::path::Path;

/// The example with a tired analyst's mistakes in one check.
fn findings_of(mistakes: &[(&str, &str)]) -> Vec<shearbook::finding::Finding> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("records-example");
    let mut memory = Memory::default();
    for entry in walkdir::WalkDir::new(&root) {
        let entry = entry.expect("entry");
        if entry.file_type().is_file() {
            let path = entry
                .path()
                .strip_prefix(&root)
                .expect("inside")
                .to_string_lossy()
                .replace('\\', "/");
            #[expect(clippy::disallowed_methods, reason = "a test reads the example")]
            let bytes = std::fs::read(entry.path()).expect("file");
            memory.files.insert(path, bytes);
        }
    }
    let path = "checks/2026/VM-01/2026-11-20-0942.toml";
    let mut text = String::from_utf8(memory.files[path].clone()).expect("text");
    for (from, to) in mistakes {
        assert!(text.contains(from), "{from}");
        text = text.replacen(from, to, 1);
    }
    memory.files.insert(path.to_owned(), text.into_bytes());
    let clock = Clock {
        now: "2026-11-25T12:00:00Z".parse().expect("time"),
        as_of: None,
    };
    let all = run(&memory, clock, &Wanted::All).expect("judged").findings;
    all.into_iter()
        .filter(|finding| finding.place.path == path)
        .collect()
}

fn report<'a>(findings: &'a [shearbook::finding::Finding]) -> Findings<'a> {
    Findings {
        book: "records-example",
        as_of: "2026-11-25".to_owned(),
        findings,
        counts: Counts::of(findings),
        files: 1,
        checks: 1,
    }
}

#[test]
fn mistakes_are_told_within_sixty_columns_and_without_colour() {
    let findings = findings_of(&[
        ("25.03", "25.61"),
        ("fluid = \"K-2291\"", "fluid = \"K-1874\""),
    ]);
    let rules: Vec<&str> = findings.iter().map(|finding| finding.rule).collect();
    assert!(
        rules.contains(&"temperature-out-of-window") && rules.contains(&"fluid-expired"),
        "{rules:?}"
    );
    let text = terminal::render(
        &report(&findings),
        terminal::Style {
            width: 60,
            colour: false,
        },
    );
    for line in text.lines() {
        assert!(line.chars().count() <= 60, "{line}");
        assert!(!line.contains('\u{1b}'), "{line}");
    }
    for words in ["25.61", "expires", "fluids/K-1874.toml", "help:"] {
        assert!(text.contains(words), "{words} is not in\n{text}");
    }
}

#[test]
fn a_path_is_never_cut_at_its_hyphens() {
    let findings = findings_of(&[(
        "performed = 2026-11-20T09:42",
        "performed = 2026-11-20T09:43",
    )]);
    let style = terminal::Style {
        width: 60,
        colour: false,
    };
    let text = terminal::render(&report(&findings), style);
    assert!(text.contains("id-path"), "{text}");
    assert!(
        text.lines().all(|line| !line.trim_end().ends_with('-')),
        "{text}"
    );
}

#[test]
fn the_plain_form_has_no_drawing_and_says_all() {
    let findings = findings_of(&[("25.03", "25,03 # \u{7}")]);
    let text = plain::render(&report(&findings));
    assert!(text.is_ascii() || text.contains('\u{fffd}'), "{text}");
    for words in [
        "toml-syntax",
        "line 26, column",
        "what: ",
        "next: ",
        "25.03",
    ] {
        assert!(text.contains(words), "{words} is not in\n{text}");
    }
    assert!(
        !text
            .chars()
            .any(|character| character.is_control() && character != '\n'),
        "{text:?}"
    );
}

fn sentence(findings: &[shearbook::finding::Finding], rule: &str) -> String {
    let found = findings.iter().find(|finding| finding.rule == rule);
    found.expect(rule).message.clone()
}

#[test]
fn a_soak_that_began_seconds_too_late_is_told_to_the_second() {
    let findings = findings_of(&[("2026-11-20T08:20:00", "2026-11-20T09:42:30")]);
    let said = sentence(&findings, "soak-too-short");
    assert!(
        said.contains("at 2026-11-20 09:42:30, 30 s after the first reading at 2026-11-20 09:42"),
        "{said}"
    );
}

#[test]
fn temperatures_that_are_shown_give_the_spread_that_is_shown() {
    let findings = findings_of(&[("25.04", "25.23001")]);
    let said = sentence(&findings, "temperature-spread");
    let figures: Vec<f64> = said
        .split([' ', ','])
        .filter_map(|word| word.parse().ok())
        .take(3)
        .collect();
    let [least, most, spread] = figures[..] else {
        panic!("{said}");
    };
    assert!(spread > 0.1, "{said}");
    assert!((most - least - spread).abs() < 1e-9, "{said}");
}

#[test]
fn a_bottle_is_not_guessed_from_another_digit() {
    let findings = findings_of(&[("bottle = \"2\"", "bottle = \"9\"")]);
    let missing = findings
        .iter()
        .find(|finding| finding.rule == "reference-missing")
        .expect("a finding");
    assert!(!missing.help.contains("did you mean"), "{}", missing.help);
}

#[test]
fn a_line_of_any_length_is_cut_round_its_place() {
    let long = format!("{}= = 1 {}", " ".repeat(50_000), "x".repeat(50_000));
    let findings = findings_of(&[("levelled = true", &long)]);
    let style = terminal::Style {
        width: 60,
        colour: false,
    };
    let text = terminal::render(&report(&findings), style);
    assert!(text.lines().all(|line| line.chars().count() <= 60));
    assert!(text.lines().count() < 60, "{}", text.lines().count());
    let plain = plain::render(&report(&findings));
    assert!(plain.len() < 10_000, "{}", plain.len());
}

#[test]
fn what_one_check_shows_keeps_to_sixty_columns() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("records-example");
    for check in ["VM-01/2026-04-09-0905.a1", "VM-03/2026-11-18-0920"] {
        let done = std::process::Command::new(env!("CARGO_BIN_EXE_shearbook"))
            .args(["--book".as_ref(), root.as_os_str()])
            .args(["show", check])
            .env("COLUMNS", "60")
            .output()
            .expect("run");
        let text = String::from_utf8(done.stdout).expect("text");
        assert!(text.contains("% of the band"), "{text}");
        for line in text.lines() {
            // The table of figures has a width of its own.
            let of_table = line.contains(" to ") || line.contains(" torque % ");
            assert!(of_table || line.chars().count() <= 60, "{line}");
        }
    }
}
