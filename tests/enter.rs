//! `enter` at a real pseudo-terminal, as an analyst uses it, and unattended from a file of answers.
#![cfg(unix)]
#![allow(clippy::disallowed_methods, reason = "tests may use files")]

mod support;
#[path = "support/terminal.rs"]
mod terminal;

use support::{EXPIRED, FLUID, Scratch, check_path, draft, failing_draft};
use terminal::Terminal;

const DAY: &str = "2026-03-02";
const INSTRUMENT: &str = "instruments/VM-1.toml";

/// The questions of the check that `draft("0900")` holds, with what a person answers; a blank answer is Enter alone.
const CHECK: &[(&str, &str)] = &[
    ("Number or word [op-01]:", ""),
    ("Number or word [scheduled]:", ""),
    ("Number or word [as-found]:", ""),
    ("Number or word [K-1/25.0/G-1]:", "1"),
    ("Number or word [TH-1]:", ""),
    ("Number or word [WB-1]:", "-"),
    ("Is it level, by its bubble? (y/n):", "y"),
    ("Zero: torque in % with nothing hung (limit 0.1):", "0.0"),
    ("Soaking since when? At least 60 min. Time or now:", "7:50"),
    ("Does it hang in the fluid up to its mark? (y/n):", "y"),
    ("Is it free of bubbles? (y/n):", "yes"),
    ("Is the vessel the specified one? (y/n):", "y"),
    ("Is the guard fitted? It is needed (y/n):", "y"),
    ("First reading at? Time or now:", "09:00"),
    ("Reading 1: speed in rpm [12]:", ""),
    ("torque shown, %:", "19,4"),
    ("viscosity shown, mPa.s (cP):", "485.0"),
    ("temperature shown, °C:", "25.00"),
    ("Reading 2: speed in rpm, or done [30]:", ""),
    ("torque shown, %:", "48.5"),
    ("viscosity shown, mPa.s (cP):", "485.0"),
    ("temperature shown, °C:", "25.00"),
    ("Reading 3: speed in rpm, or done [60]:", ""),
    ("torque shown, %:", "97.0"),
    ("viscosity shown, mPa.s (cP):", "485.0"),
    ("temperature shown, °C:", "25.00"),
    ("Reading 4: speed in rpm, or done [done]:", ""),
    (
        "Why is it entered only now?:",
        "entered from the bench sheet",
    ),
    ("A note for later readers? - for none [-]:", ""),
];

fn book() -> Scratch {
    let scratch = Scratch::book();
    // At this lot's time, so that only K-1 can be planned with.
    scratch.install();
    scratch
}

fn at(scratch: &Scratch, columns: u16, variables: &[(&str, &str)], arguments: &[&str]) -> Terminal {
    let mut command = scratch.tool(&scratch.book);
    command.args(["--as-of", DAY]).args(arguments);
    Terminal::start(&command, columns, variables)
}

fn enter(scratch: &Scratch, columns: u16, variables: &[(&str, &str)]) -> Terminal {
    at(scratch, columns, variables, &["enter", "VM-1"])
}

/// What the same check comes to when it is written by hand and sealed.
fn by_hand(draft: &str) -> String {
    let other = Scratch::book();
    let path = other.seal("0900", draft);
    other.read(&path)
}

#[track_caller]
fn answers(terminal: &mut Terminal, questions: &[(&str, &str)]) {
    for (question, answer) in questions {
        terminal.answer(question, answer);
    }
}

#[test]
fn a_check_is_entered_sealed_and_committed_at_80_and_60_columns_with_and_without_colour() {
    for (columns, colour) in [(80, true), (60, false)] {
        let scratch = book();
        let variables: &[(&str, &str)] = if colour { &[] } else { &[("NO_COLOR", "1")] };
        let mut terminal = enter(&scratch, columns, variables);
        answers(&mut terminal, CHECK);
        terminal.answer("Number or word [write]:", "");
        terminal.answer("Commit it now? (y/n) [y]:", "");
        assert_eq!(terminal.ends(), 0, "{}", terminal.text());
        assert_eq!(scratch.read(&check_path("0900")), by_hand(&draft("0900")));
        terminal.shows("Verdict: pass");
        terminal.shows("understood: 19.4");
        terminal.shows("committed");
        assert_eq!(terminal.broken_lines(), [""; 0], "{}", terminal.text());
        assert_eq!(terminal.raw().contains("\u{1b}[32m"), colour);
        assert!(colour || !terminal.raw().contains("\u{1b}[33m"));
        assert_eq!(
            scratch.git(&["log", "-1", "--format=%s %an"]),
            "Check VM-1 of 2026-03-02-0900: pass Operator one\n"
        );
        assert_eq!(scratch.git(&["status", "--porcelain"]), "");
    }
}

#[test]
fn interrupted_at_every_question_it_goes_on_where_it_was() {
    for variables in [&[][..], &[("ACCESSIBLE", "1")], &[("TERM", "dumb")]] {
        let scratch = book();
        for (index, (question, answer)) in CHECK.iter().enumerate() {
            let mut terminal = enter(&scratch, 80, variables);
            if index > 0 {
                terminal.answer("Number or word [on]:", "");
            }
            terminal.answer(question, answer);
            let (next, _) = CHECK
                .get(index + 1)
                .unwrap_or(&("Number or word [write]:", ""));
            terminal.asks(next);
            terminal.types("12");
            terminal.types("\u{3}");
            assert_eq!(terminal.ends(), 130, "{}", terminal.text());
            terminal.shows("What was answered is kept");
            assert_eq!(
                scratch.git(&["status", "--porcelain"]),
                "",
                "after {question}"
            );
        }
        let mut terminal = enter(&scratch, 80, variables);
        terminal.answer("Number or word [on]:", "");
        terminal.answer("Number or word [write]:", "");
        terminal.asks("Commit it now?");
        terminal.types("\u{3}");
        assert_eq!(terminal.ends(), 130);
        terminal.shows("The record is written.");
        assert_eq!(scratch.read(&check_path("0900")), by_hand(&draft("0900")));
        // Nothing is left to go on with.
        let mut terminal = enter(&scratch, 80, variables);
        terminal.asks("Number or word [op-01]:");
        terminal.types("\u{3}");
        assert_eq!(terminal.ends(), 130);
    }
}

#[test]
fn a_closed_window_loses_no_answer() {
    let scratch = book();
    let mut terminal = enter(&scratch, 80, &[]);
    answers(&mut terminal, &CHECK[..20]);
    terminal.asks(CHECK[20].0);
    terminal.types("48");
    terminal.close();
    let mut terminal = enter(&scratch, 80, &[]);
    terminal.answer("Number or word [on]:", "on");
    answers(&mut terminal, &CHECK[20..]);
    terminal.answer("Number or word [write]:", "write");
    terminal.answer("Commit it now? (y/n) [y]:", "n");
    assert_eq!(terminal.ends(), 0);
    terminal.shows("git add checks/2026/VM-1/2026-03-02-0900.toml");
    assert_eq!(scratch.read(&check_path("0900")), by_hand(&draft("0900")));
}

#[test]
fn what_a_figure_comes_to_stands_below_it_while_it_is_typed() {
    let scratch = book();
    let mut terminal = enter(&scratch, 60, &[]);
    answers(&mut terminal, &CHECK[..15]);
    terminal.asks("torque shown, %:");
    // At 12 rpm full scale is 30000 / 12 = 2500 mPa.s, so 484.0 shows 19.36 %; the limits are 484 -+ (4.84 + 25).
    terminal.shows("expected 19.4 % torque, low zone; limits 454.16 to 513.84");
    terminal.types("2");
    terminal.shows("OUTSIDE the limits");
    // 20.0 % of 2500 are 500 mPa.s, 3.31 % more than 484.0.
    terminal.types("0.0");
    terminal.shows("500.0 mPa.s, 20.0 % torque, 3.31 %: inside the limits");
    terminal.types("\r");
    terminal.answer("viscosity shown, mPa.s (cP):", "500,0");
    // The figure of the label, where the certificate says 484.0, is told at once; and the torque agrees.
    terminal.asks("temperature shown, °C:");
    terminal.types("25.9");
    terminal.shows("OUTSIDE the window of 0.2 K");
    terminal.types("\r");
    terminal.shows("Refused as it is: 25.9 degrees C is 0.9 K from the");
    terminal.answer("Number or word [keep]:", "again");
    terminal.answer("Reading 1: speed in rpm [12]:", "");
    // What was typed wrong is not offered again.
    terminal.answer("torque shown, %:", "19.4");
    terminal.answer("viscosity shown, mPa.s (cP):", "485.0");
    terminal.answer("temperature shown, °C:", "25.00");
    answers(&mut terminal, &CHECK[18..]);
    terminal.answer("Number or word [write]:", "");
    terminal.answer("Commit it now? (y/n) [y]:", "");
    assert_eq!(terminal.ends(), 0);
    assert_eq!(terminal.broken_lines(), [""; 0]);
    assert_eq!(scratch.read(&check_path("0900")), by_hand(&draft("0900")));
}

#[test]
fn a_spoiled_check_is_kept_as_void_where_it_is_spoiled() {
    for after in [14, 16, 20] {
        let scratch = book();
        let mut terminal = enter(&scratch, 80, &[]);
        answers(&mut terminal, &CHECK[..after]);
        terminal.answer(CHECK[after].0, "void");
        terminal.answer("Number or word:", "procedure");
        terminal.answer("In a few words, what happened:", "beaker knocked over");
        terminal.answer(CHECK[27].0, CHECK[27].1);
        terminal.shows("Verdict: void");
        terminal.answer("Number or word [write]:", "");
        terminal.answer("Commit it now? (y/n) [y]:", "");
        assert_eq!(terminal.ends(), 0, "{}", terminal.text());
        assert_eq!(scratch.git(&["status", "--porcelain"]), "");
        let files = scratch.git(&["show", "--format=", "--name-only"]);
        let text = scratch.read(files.trim());
        assert!(
            text.contains("void = true\nvoid_cause = \"procedure\""),
            "{text}"
        );
        assert!(text.contains("reason = \"beaker knocked over\""), "{text}");
        // A reading that was under way is none.
        let whole = after.saturating_sub(14) / 4;
        assert_eq!(text.matches("[[point]]").count(), whole, "{text}");
    }
}

#[test]
fn a_choice_is_kept_by_its_word_and_asked_again_where_it_is_gone() {
    let scratch = book();
    let mut terminal = enter(&scratch, 80, &[]);
    answers(&mut terminal, &CHECK[..6]);
    terminal.asks(CHECK[6].0);
    terminal.types("\u{3}");
    assert_eq!(terminal.ends(), 130);
    // Another lot comes first now, and the one that was chosen may not be used.
    let other = scratch
        .read(FLUID)
        .replace("id = \"K-1\"", "id = \"K-2\"")
        .replace("484.0", "485.0");
    scratch.write("fluids/K-2.toml", other);
    let row = "\n[[standing]]\nfrom = 2026-02-20\nstate = \"quarantined\"\nby = \"qa-01\"\nreason = \"cloudy\"\n";
    scratch.write(FLUID, scratch.read(FLUID) + row);
    let mut terminal = enter(&scratch, 80, &[]);
    terminal.shows("by op-01 with K-1/25.0/G-1");
    terminal.answer("Number or word [on]:", "");
    terminal.shows("The earlier answer K-1/25.0/G-1 does not fit any more");
    terminal.asks("Number or word [K-2/25.0/G-1]:");
}

#[test]
fn what_a_check_rests_on_is_committed_with_it() {
    let scratch = book();
    // A bottle that was opened today, entered and not committed.
    scratch.edit(
        FLUID,
        "id = \"1\"\nopened = 2026-02-01",
        "id = \"2\"\nopened = 2026-02-28",
    );
    let text = file_of(&draft("0900")).replace("bottle = \"1\"", "bottle = \"2\"");
    scratch.write("../answers.toml", format!("commit = true\n{text}"));
    let done = scratch
        .shearbook(&[
            "--as-of",
            DAY,
            "enter",
            "VM-1",
            "--answers",
            "../answers.toml",
        ])
        .ends(0);
    assert!(
        done.out
            .replace(
                "
  ", " "
            )
            .contains("fluids/K-1.toml. They go into the same commit"),
        "{}",
        done.out
    );
    assert_eq!(scratch.git(&["status", "--porcelain"]), "");
}

#[test]
fn readings_of_the_label_are_told_while_the_fluid_still_stands_there() {
    let scratch = book();
    let mut terminal = enter(&scratch, 80, &[]);
    let mut questions = CHECK[..26].to_vec();
    for (index, (torque, viscosity)) in [("19.9", "498.0"), ("50.0", "500.0"), ("99.8", "499.0")]
        .iter()
        .enumerate()
    {
        questions[15 + 4 * index].1 = torque;
        questions[16 + 4 * index].1 = viscosity;
    }
    answers(&mut terminal, &questions[..18]);
    // The first reading lies inside its limits, and near the label all the same.
    terminal.shows("the readings fit the label's 500.0 mPa.s far better than the certified");
    terminal.answer("Number or word [keep]:", "keep");
    answers(&mut terminal, &questions[18..22]);
    terminal.asks("Reading 3");
    let told = terminal.text().matches("fit the label's").count();
    assert_eq!(told, 1, "{}", terminal.text());
}

#[test]
fn slips_are_told_and_asked_again_and_a_step_is_redone() {
    let scratch = book();
    let mut terminal = enter(&scratch, 80, &[]);
    terminal.answer("Number or word [op-01]:", "op-1");
    terminal.shows("did you mean op-01?");
    terminal.answer("Number or word [op-01]:", "back");
    terminal.shows("There is nothing before this to go back to.");
    terminal.answer("Number or word [op-01]:", "?");
    terminal.shows("authorised to check; who types");
    answers(&mut terminal, &CHECK[..7]);
    terminal.answer(CHECK[7].0, "1,234");
    terminal.shows("1,234 may mean 1.234 or 1234");
    terminal.answer(CHECK[7].0, "O.0");
    terminal.shows("O.0 is no figure");
    terminal.answer(CHECK[7].0, "0.3");
    terminal.shows("the torque shown at zero was 0.3 %");
    terminal.answer(CHECK[8].0, "back");
    terminal.answer("[0.3]", "0.0");
    terminal.answer(CHECK[8].0, "8.50");
    terminal.shows("8.50 is no time");
    terminal.answer(CHECK[8].0, "8:50");
    answers(&mut terminal, &CHECK[9..13]);
    terminal.answer("First reading at? Time or now:", "09:00");
    // Ten minutes, where sixty are asked for.
    terminal.shows("policy P-1");
    answers(&mut terminal, &CHECK[14..28]);
    // The policy allows a short soak with a reason and a reviewer's consent; this one has none.
    terminal.answer("[-]", "");
    answers(&mut terminal, &CHECK[28..]);
    terminal.shows("Refused as it is: ");
    terminal.answer("Number or word:", "redo");
    terminal.answer("Number or word:", "soak_started");
    terminal.answer("[2026-03-02T08:50:00]", "07:50");
    terminal.answer("Number or word [write]:", "");
    terminal.answer("Commit it now? (y/n) [y]:", "");
    assert_eq!(terminal.ends(), 0, "{}", terminal.text());
    assert_eq!(scratch.read(&check_path("0900")), by_hand(&draft("0900")));
}

/// The answers of a check as a file, in the words of the record.
fn file_of(draft: &str) -> String {
    let taken = ["format", "instrument"];
    let lines = draft.lines().filter(|line| {
        !taken
            .iter()
            .any(|key| line.starts_with(&format!("{key} =")))
    });
    let text: Vec<&str> = lines.collect();
    // The preparation is asked for step by step, without a table.
    text.join("\n").replace("[preparation]\n", "")
}

#[test]
fn a_file_of_answers_does_the_same_unattended() {
    let scratch = book();
    scratch.write("answers.toml", file_of(&draft("0900")));
    let done = scratch
        .shearbook(&["--as-of", DAY, "enter", "VM-1", "--answers", "answers.toml"])
        .ends(0);
    assert!(done.out.contains("sealed, verdict pass"), "{}", done.out);
    assert!(
        done.out
            .contains("git add checks/2026/VM-1/2026-03-02-0900.toml"),
        "{}",
        done.out
    );
    assert_eq!(scratch.read(&check_path("0900")), by_hand(&draft("0900")));

    // Again: the minute is taken, and nothing is written over.
    let done = scratch
        .shearbook(&["--as-of", DAY, "enter", "VM-1", "--answers", "answers.toml"])
        .ends(1);
    assert!(
        done.err
            .contains("There is a check VM-1/2026-03-02-0900 already"),
        "{}",
        done.err
    );
}

#[test]
fn a_file_of_answers_commits_where_it_says_so() {
    let scratch = book();
    scratch.write(
        "../answers.toml",
        format!("commit = true\n{}", file_of(&draft("0900"))),
    );
    scratch
        .shearbook(&[
            "--as-of",
            DAY,
            "enter",
            "VM-1",
            "--answers",
            "../answers.toml",
        ])
        .ends(0);
    assert_eq!(scratch.git(&["status", "--porcelain"]), "");
    assert_eq!(
        scratch.git(&["log", "-1", "--format=%s"]),
        "Check VM-1 of 2026-03-02-0900: pass\n"
    );
}

#[test]
fn every_slip_in_a_file_of_answers_is_told_with_its_line_and_writes_nothing() {
    let sound = file_of(&draft("0900"));
    for (from, to, told) in [
        (
            "operator = \"op-01\"",
            "operator = \"op-1\"",
            "line 5: operator = op-1: op-1 is not on the list; did you mean op-01?",
        ),
        ("operator = \"op-01\"", "", "operator is not answered"),
        (
            "bottle = \"1\"",
            "bottle = \"3\"",
            "bottle = 3: 3 is not on the list; it is one of 1",
        ),
        (
            "zero_percent = 0.0",
            "zero_percent = \"0,0,0\"",
            "zero_percent = 0,0,0: 0,0,0 has two marks",
        ),
        (
            "zero_percent = 0.0",
            "zero = 0.0\nzero_percent = 0.0",
            "zero answers nothing that is asked",
        ),
        (
            "performed = 2026-03-02T09:00:00",
            "performed = \"2026-02-30 09:00\"",
            "performed = 2026-02-30 09:00",
        ),
        (
            "levelled = true",
            "levelled = \"maybe\"",
            "levelled = maybe: answer y for yes or n for no",
        ),
        (
            "temperature_c = 25.00\n",
            "",
            "/point/0/temperature_c is not answered",
        ),
        (
            "late_reason = \"entered from the bench sheet\"\n",
            "",
            "late_reason is not answered",
        ),
        ("levelled = true", "levelled = tru", "line "),
    ] {
        let scratch = book();
        assert!(sound.contains(from), "{from}");
        scratch.write("answers.toml", sound.replacen(from, to, 1));
        let before = scratch.snapshot(&scratch.book);
        let done = scratch
            .shearbook(&["--as-of", DAY, "enter", "VM-1", "--answers", "answers.toml"])
            .ends(1);
        let flat = done.err.replace('\n', " ");
        let said: Vec<&str> = told.split("; ").collect();
        assert!(
            said.iter().all(|part| flat.contains(part)),
            "{told} not in {}",
            done.err
        );
        assert!(flat.contains("answers.toml"), "{}", done.err);
        assert!(scratch.snapshot(&scratch.book) == before, "{told}");
    }
}

#[test]
fn nothing_that_the_gate_refuses_is_written_and_void_is_always_open() {
    let scratch = book();
    let expired = file_of(&draft("0900")).replace("fluid = \"K-1\"", "fluid = \"K-0\"");
    scratch.write("answers.toml", &expired);
    let run = |scratch: &Scratch| {
        scratch.shearbook(&["--as-of", DAY, "enter", "VM-1", "--answers", "answers.toml"])
    };
    let done = run(&scratch).ends(1);
    assert!(done.err.contains(EXPIRED), "{}", done.err);
    assert!(!scratch.path(&check_path("0900")).exists());
    scratch.write(
        "answers.toml",
        format!("void_cause = \"procedure\"\nreason = \"expired lot\"\n{expired}"),
    );
    let done = run(&scratch).ends(0);
    assert!(done.out.contains("verdict void"), "{}", done.out);
    scratch.stage(&check_path("0900"));
    scratch.gate().passes();
}

#[test]
fn without_a_terminal_and_without_answers_it_is_a_usage_error() {
    let scratch = book();
    let done = scratch
        .shearbook(&["--as-of", DAY, "enter", "VM-1"])
        .ends(2);
    assert!(done.err.contains("--answers FILE"), "{}", done.err);
    for arguments in [
        &["new"][..],
        &["new", "fluid"],
        &["amend", "VM-1/2026-03-02-0900"],
        &["correct", "fluids/K-1"],
        &["enter", "VM-9"],
        &["enter", "VM-1", "--answers", "none.toml"],
    ] {
        scratch.shearbook(arguments).ends(2);
    }
}

/// A check of the failing draft at a time, from a file of answers.
fn fails(scratch: &Scratch, time: &str, more: &str) -> support::Done {
    scratch.write(
        "../answers.toml",
        format!(
            "commit = true\n{more}{}",
            file_of(&failing_draft(time)).replace("occasion = \"scheduled\"\n", "")
        ),
    );
    scratch.shearbook(&[
        "--as-of",
        DAY,
        "enter",
        "VM-1",
        "--answers",
        "../answers.toml",
    ])
}

#[test]
fn a_failure_is_written_like_a_pass_and_says_what_to_do_next() {
    let scratch = book();
    let mut terminal = enter(&scratch, 60, &[]);
    let mut questions = CHECK.to_vec();
    for (index, (torque, viscosity)) in [("18.8", "470.0"), ("47.0", "470.0"), ("94.0", "470.0")]
        .iter()
        .enumerate()
    {
        questions[15 + 4 * index].1 = torque;
        questions[16 + 4 * index].1 = viscosity;
    }
    answers(&mut terminal, &questions);
    terminal.shows("Verdict: fail");
    terminal.answer("Number or word [write]:", "");
    terminal.answer("Commit it now? (y/n) [y]:", "");
    assert_eq!(terminal.ends(), 0, "{}", terminal.text());
    terminal.shows("It failed, and the record says so");
    terminal.shows("enter VM-1 offers");
    assert_eq!(terminal.broken_lines(), [""; 0]);
    assert_eq!(
        scratch.read(&check_path("0900")),
        by_hand(&failing_draft("0900"))
    );
    assert_eq!(
        scratch.git(&["log", "-1", "--format=%s"]),
        "Check VM-1 of 2026-03-02-0900: fail\n"
    );

    // The next one offers the repeat; a second failure the quarantine and the nonconformity.
    let mut terminal = enter(&scratch, 60, &[]);
    terminal.shows("repeat-needed");
    terminal.answer("Number or word [op-01]:", "");
    terminal.answer("Number or word [repeat]:", "");
    terminal.answer("[VM-1/2026-03-02-0900]", "");
    answers(&mut terminal, &questions[2..13]);
    terminal.answer("First reading at? Time or now:", "09:00");
    terminal.shows("There is a check VM-1/2026-03-02-0900 already");
    terminal.answer("[2026-03-02T09:00:00]", "10:30");
    answers(&mut terminal, &questions[14..]);
    terminal.answer("Number or word [write]:", "");
    terminal.answer("Commit it now? (y/n) [y]:", "");
    terminal.shows("Quarantine VM-1 and open a nonconformity?");
    terminal.answer("[y] >", "");
    terminal.answer("Number or word:", "qa-01");
    terminal.answer("nonconformity's id [", "NC-1");
    terminal.answer("Commit it now? (y/n) [y]:", "");
    assert_eq!(terminal.ends(), 0, "{}", terminal.text());
    assert_eq!(scratch.git(&["status", "--porcelain"]), "");
    assert_eq!(
        scratch.git(&["log", "-1", "--format=%s"]),
        "Quarantine VM-1 after two failed checks\n"
    );
    let row = scratch.read(INSTRUMENT);
    assert!(row.contains("state = \"quarantined\"\nby = \"qa-01\"\nreason = \"failed twice: VM-1/2026-03-02-0900 and VM-1/2026-03-02-1030\""), "{row}");
    let about = scratch.read("nonconformities/NC-1.toml");
    assert!(
        about.contains("checks = [\"VM-1/2026-03-02-0900\", \"VM-1/2026-03-02-1030\"]"),
        "{about}"
    );
    scratch.shearbook(&["validate"]).ends(0);
}

#[test]
fn a_file_of_answers_may_quarantine_too() {
    let scratch = book();
    fails(&scratch, "0900", "").ends(0);
    let refused = fails(&scratch, "1030", "quarantine = true\n").ends(1);
    assert!(
        refused.err.contains("quarantine_by is not answered"),
        "{}",
        refused.err
    );
    let done = fails(
        &scratch,
        "1130",
        "quarantine = true\nquarantine_by = \"qa-01\"\n",
    );
    assert_eq!(done.code, Some(0), "{}{}", done.out, done.err);
    assert!(scratch.read(INSTRUMENT).contains("state = \"quarantined\""));
}

#[test]
fn a_commit_that_the_hook_refuses_leaves_the_index_as_it_was() {
    let scratch = book();
    // The lot is spoiled after the dialogue has judged the check, by a colleague who stages it.
    scratch.edit(FLUID, "expires = 2027-01-14", "expires = 2026-01-20");
    scratch.git(&["add", "--all"]);
    scratch.edit(FLUID, "expires = 2026-01-20", "expires = 2027-01-14");
    let before = scratch.git(&["diff", "--cached"]);
    scratch.write(
        "../answers.toml",
        format!("commit = true\n{}", file_of(&draft("0900"))),
    );
    let done = scratch.shearbook(&[
        "--as-of",
        DAY,
        "enter",
        "VM-1",
        "--answers",
        "../answers.toml",
    ]);
    // git commits the one file alone, over the committed facts, under which it is sound.
    assert_eq!(done.code, Some(0), "{}{}", done.out, done.err);
    assert_eq!(scratch.git(&["diff", "--cached"]), before);

    // A hook that always refuses.
    let scratch = book();
    scratch.write(
        ".git/hooks/pre-commit",
        "#!/bin/sh\necho no commits today >&2\nexit 1\n",
    );
    scratch.write(
        "../answers.toml",
        format!("commit = true\n{}", file_of(&draft("0900"))),
    );
    let done = scratch.shearbook(&[
        "--as-of",
        DAY,
        "enter",
        "VM-1",
        "--answers",
        "../answers.toml",
    ]);
    assert!(done.out.contains("no commits today"), "{}", done.out);
    assert!(done.err.contains("git did not commit it"), "{}", done.err);
    assert_eq!(scratch.git(&["status", "--porcelain"]), "?? checks/\n");
    assert_eq!(done.code, Some(1));
}
