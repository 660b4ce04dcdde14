//! Reviews as people write them: what one covers, who may, what waits; against real git.
#![allow(clippy::disallowed_methods, reason = "tests may use files")]

mod support;

use sha2::{Digest, Sha256};
use std::fmt::Write;
use support::{Done, FLUID, Scratch, check_path, draft};

const OWN: &str = "op-01@lab.example";
const REVIEWER: &str = "qa-01@lab.example";

fn id(time: &str) -> String {
    format!("VM-1/2026-03-02-{time}")
}

fn review_path(time: &str, file: &str) -> String {
    format!("reviews/2026/VM-1/2026-03-02-{time}/{file}.toml")
}

/// The program run by whoever git commits as under this address.
fn by(scratch: &Scratch, email: &str, arguments: &[&str]) -> Done {
    let mut tool = scratch.tool(&scratch.book);
    let output = tool
        .args(arguments)
        .env("GIT_AUTHOR_EMAIL", email)
        .output()
        .unwrap();
    Done {
        code: output.status.code(),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

fn sha256(bytes: impl AsRef<[u8]>) -> String {
    let mut text = String::new();
    for byte in Sha256::digest(bytes) {
        write!(text, "{byte:02x}").unwrap();
    }
    text
}

/// The SHA-256 of a file as git has committed it.
fn committed_sha256(scratch: &Scratch, path: &str) -> String {
    sha256(scratch.git(&["cat-file", "blob", &format!("HEAD:{path}")]))
}

fn review(named: &str, sha256: &str, who: &str, decided: &str, decision: &str) -> String {
    format!(
        "format = 1\n{named}\nsha256 = \"{sha256}\"\nreviewer = \"{who}\"\ndecided = {decided}\ndecision = \"{decision}\"\n"
    )
}

/// A review of the check at a time as git has committed it, written by hand into the folder; its path.
fn by_hand(scratch: &Scratch, time: &str, file: &str, decided: &str, decision: &str) -> String {
    let path = review_path(time, file);
    let (who, _) = file.rsplit_once('-').unwrap();
    let named = format!("check = \"{}\"", id(time));
    let sha256 = committed_sha256(scratch, &check_path(time));
    let mut text = review(&named, &sha256, who, decided, decision);
    if decision == "reject" {
        text += "comment = \"which thermometer was it?\"\n";
    }
    scratch.write(&path, text);
    path
}

/// Rule, severity, path and pointer of what `validate` says; of a day where one is given.
fn said(scratch: &Scratch, day: &[&str]) -> Vec<[String; 4]> {
    let done = scratch.shearbook(&[&["validate", "--format", "json"], day].concat());
    let json: serde_json::Value = serde_json::from_str(&done.out).unwrap();
    let findings = json["findings"].as_array().unwrap().iter();
    findings
        .map(|one| {
            ["rule", "severity", "path", "pointer"].map(|key| one[key].as_str().unwrap().to_owned())
        })
        .collect()
}

fn has(said: &[[String; 4]], rule: &str, path: &str, pointer: &str) -> bool {
    said.iter()
        .any(|one| one[0] == rule && one[2] == path && one[3] == pointer)
}

fn errors(said: &[[String; 4]]) -> Vec<&[String; 4]> {
    said.iter().filter(|one| one[1] == "error").collect()
}

fn open(scratch: &Scratch, day: &str) -> serde_json::Value {
    let arguments = ["review", "--open", "--format", "json", "--as-of", day];
    let done = scratch.shearbook(&arguments).ends(0);
    serde_json::from_str(&done.out).unwrap()
}

/// A book whose policy asks for a review of each check within seven days.
fn book() -> Scratch {
    let scratch = Scratch::book();
    scratch.edit("policies/P-1.toml", "required = false", "required = true");
    add_person(&scratch, "qa-02", &["review"]);
    add_person(&scratch, "op-02", &["check"]);
    add_person(&scratch, "op-09", &["check", "review"]);
    commit(&scratch, OWN);
    scratch
}

fn add_person(scratch: &Scratch, who: &str, duties: &[&str]) {
    let mut text = format!(
        "format = 1\nid = \"{who}\"\nname = \"Somebody\"\nemails = [\"{who}@lab.example\"]\n"
    );
    for duty in duties {
        write!(
            text,
            "\n[[authorised]]\nfor = \"{duty}\"\nfrom = 2026-01-01\n"
        )
        .unwrap();
    }
    scratch.write(&format!("people/{who}.toml"), text);
}

/// Commits all that is in the folder, by whoever has this address.
fn commit(scratch: &Scratch, email: &str) {
    scratch.git(&["add", "--all"]);
    let author = format!("--author=Somebody <{email}>");
    scratch.git(&[
        "commit",
        "--quiet",
        "--no-verify",
        &author,
        "--message",
        "Enter",
    ]);
}

#[track_caller]
fn fits(text: &str) {
    for line in text.lines() {
        let long = line.chars().count() > 80;
        // Commands and paths are never broken.
        assert!(
            !long || line.split_whitespace().count() < 2 || line.starts_with("    git"),
            "{line}"
        );
    }
}

#[test]
fn approval_covers_what_is_committed_and_git_can_keep_it() {
    let scratch = book();
    let path = scratch.committed_check("0900");
    let done = by(&scratch, REVIEWER, &["review", &id("0900"), "--approve"]).ends(0);
    let first = review_path("0900", "qa-01-1");
    for words in ["qa-01 approved", "verdict pass", "git add reviews/"] {
        assert!(done.out.contains(words), "no {words} in {}", done.out);
    }
    fits(&done.out);
    let text = scratch.read(&first);
    let sha256 = committed_sha256(&scratch, &path);
    assert!(text.contains(&format!("sha256 = \"{sha256}\"\n")), "{text}");
    assert!(text.contains("decision = \"approve\"\n"), "{text}");
    assert!(!text.contains("comment"), "{text}");
    assert_eq!(errors(&said(&scratch, &[])), Vec::<&[String; 4]>::new());

    // The next decision goes on in number, and leaves the first as it is.
    let comment = [
        "--comment",
        "the bench sheet has 25.20 \"at the second\"\nand no third",
    ];
    let reject = ["review", &path, "--reject", "--reviewer", "qa-01"];
    by(&scratch, OWN, &[&reject[..], &comment].concat()).ends(0);
    assert_eq!(scratch.read(&first), text);
    let second = review_path("0900", "qa-01-2");
    let read: toml::Table = scratch.read(&second).parse().unwrap();
    assert_eq!(read["comment"].as_str(), Some(comment[1]));
    assert_eq!(read["decision"].as_str(), Some("reject"));
    scratch.stage(&first);
    scratch.stage(&second);
    scratch.gate().passes();
}

#[test]
fn number_goes_on_after_what_is_committed_and_gone_from_the_folder() {
    let scratch = book();
    scratch.committed_check("0900");
    let first = by_hand(
        &scratch,
        "0900",
        "qa-01-1",
        "2026-03-03T10:00:00",
        "approve",
    );
    commit(&scratch, REVIEWER);
    scratch.remove(&first);
    by(&scratch, REVIEWER, &["review", &id("0900"), "--approve"]).ends(0);
    assert!(scratch.path(&review_path("0900", "qa-01-2")).is_file());
    assert!(!scratch.path(&first).exists());
}

#[test]
fn reviewer_is_found_by_the_address_that_git_commits_with() {
    let scratch = book();
    scratch.committed_check("0900");
    let before = scratch.snapshot(&scratch.book.join("checks"));
    let approve = ["review", &id("0900"), "--approve"];
    let done = by(&scratch, "stranger@lab.example", &approve).ends(2);
    assert!(done.err.contains("stranger@lab.example"), "{}", done.err);
    assert!(done.err.contains("op-09, qa-01, qa-02"), "{}", done.err);
    scratch.edit("people/qa-02.toml", "qa-02@lab", "qa-01@lab");
    let done = by(&scratch, REVIEWER, &approve).ends(2);
    assert!(done.err.contains("qa-01 and of qa-02"), "{}", done.err);
    let named = [&approve[..], &["--reviewer", "qa-9"]].concat();
    by(&scratch, REVIEWER, &named).ends(2);
    for wrong in [
        &["review"][..],
        &["review", &id("0900")],
        &["review", &id("0900"), "--reject"],
        &["review", &id("0900"), "--reject", "--comment", "  "],
        &["review", &id("0900"), "--approve", "--reject"],
        &["review", "VM-1", "--approve"],
        &["review", &id("1700"), "--approve", "--reviewer", "qa-01"],
    ] {
        by(&scratch, REVIEWER, wrong).ends(2);
    }
    assert!(!scratch.path("reviews").exists());
    assert_eq!(scratch.snapshot(&scratch.book.join("checks")), before);
    // The case of an address means nothing.
    by(&scratch, "QA-02@lab.example", &approve).ends(2);
    by(&scratch, "OP-09@lab.example", &approve).ends(0);
}

#[test]
fn nothing_but_what_is_committed_is_reviewed() {
    let scratch = book();
    let path = scratch.sound_check("0900");
    let approve = ["review", &id("0900"), "--approve"];
    let done = by(&scratch, REVIEWER, &approve).ends(1);
    assert!(done.err.contains("not committed"), "{}", done.err);
    scratch.stage(&path);
    by(&scratch, REVIEWER, &approve).ends(1);
    scratch.commit_unverified();
    let sound = scratch.read(&path);
    scratch.edit(&path, "temperature_c = 25.00", "temperature_c = 25.01");
    let done = by(&scratch, REVIEWER, &approve).ends(1);
    assert!(done.err.contains("differs in the folder"), "{}", done.err);
    assert!(done.err.contains("git restore"), "{}", done.err);
    scratch.stage(&path);
    scratch.write(&path, &sound);
    let done = by(&scratch, REVIEWER, &approve).ends(1);
    assert!(done.err.contains("staged otherwise"), "{}", done.err);
    scratch.git(&["reset", "--quiet"]);
    scratch.remove(&path);
    by(&scratch, REVIEWER, &approve).ends(1);
    assert!(!scratch.path("reviews").exists());
    scratch.write(&path, &sound);
    by(&scratch, REVIEWER, &approve).ends(0);
}

#[test]
fn nobody_reviews_a_check_that_they_ran_typed_or_amended() {
    let scratch = book();
    let typed = draft("0900").replace(
        "operator = \"op-01\"\n",
        "operator = \"op-09\"\nentered_by = \"qa-01\"\n",
    );
    scratch.edit("people/qa-01.toml", "for = \"records\"", "for = \"check\"");
    let path = scratch.seal("0900", &typed);
    commit(&scratch, OWN);
    for (email, who, did) in [
        ("op-09@lab.example", "op-09", "ran it"),
        (REVIEWER, "qa-01", "typed it"),
    ] {
        let done = by(&scratch, email, &["review", &id("0900"), "--approve"]).ends(1);
        assert!(done.out.contains("review-not-independent"), "{}", done.out);
        assert!(done.out.contains(did), "{}", done.out);
        assert!(!scratch.path("reviews").exists());
        // Written by hand it is refused as well.
        let review = by_hand(
            &scratch,
            "0900",
            &format!("{who}-1"),
            "2026-03-03T10:00:00",
            "approve",
        );
        scratch.stage(&review);
        scratch
            .gate()
            .refuses(&[("review-not-independent", &review)]);
        let found = said(&scratch, &[]);
        assert!(has(&found, "review-not-independent", &review, "/reviewer"));
        scratch.git(&["rm", "--quiet", "-f", &review]);
    }

    let amendment = "checks/2026/VM-1/2026-03-02-0900.a1.toml";
    let head = format!(
        "amends = \"{}\"\namended = 2026-03-03T09:00:00\namended_by = \"qa-01\"\nreason = \"zero mistyped\"\n\n[preparation]",
        id("0900")
    );
    scratch.write(
        amendment,
        scratch
            .read(&path)
            .replace("entered_by = \"qa-01\"\n", "")
            .replacen("[preparation]", &head, 1),
    );
    commit(&scratch, OWN);
    let amended = format!("{}.a1", id("0900"));
    let done = by(&scratch, REVIEWER, &["review", &amended, "--approve"]).ends(1);
    assert!(done.out.contains("amended it"), "{}", done.out);
    by(
        &scratch,
        "qa-02@lab.example",
        &["review", amendment, "--approve"],
    )
    .ends(0);
}

#[test]
fn nobody_reviews_what_they_brought_into_the_history() {
    let scratch = book();
    // By a commit on the branch itself, and by one on a branch that somebody else merged.
    scratch.sound_check("0900");
    commit(&scratch, REVIEWER);
    scratch.git(&["checkout", "--quiet", "-b", "bench"]);
    scratch.sound_check("1000");
    commit(&scratch, REVIEWER);
    scratch.git(&["checkout", "--quiet", "main"]);
    scratch.sound_check("1100");
    commit(&scratch, OWN);
    scratch.git(&["merge", "--quiet", "--no-verify", "-m", "Merge", "bench"]);
    for time in ["0900", "1000"] {
        let done = by(&scratch, REVIEWER, &["review", &id(time), "--approve"]).ends(1);
        assert!(done.out.contains("authored the commit"), "{}", done.out);
        let review = by_hand(&scratch, time, "qa-01-1", "2026-03-03T10:00:00", "approve");
        scratch.stage(&review);
        scratch
            .gate()
            .refuses(&[("review-not-independent", &review)]);
        // Files alone do not tell.
        assert_eq!(errors(&said(&scratch, &[])), Vec::<&[String; 4]>::new());
        scratch.git(&["rm", "--quiet", "-f", &review]);
        by(
            &scratch,
            "qa-02@lab.example",
            &["review", &id(time), "--approve"],
        )
        .ends(0);
        scratch.git(&["add", "--all"]);
        scratch.gate().passes();
        commit(&scratch, OWN);
    }
    by(&scratch, REVIEWER, &["review", &id("1100"), "--approve"]).ends(0);
}

#[test]
fn who_merges_a_check_did_not_write_it() {
    let mut scratch = book();
    scratch.git(&["checkout", "--quiet", "-b", "bench"]);
    scratch.sound_check("0900");
    commit(&scratch, OWN);
    scratch.git(&["checkout", "--quiet", "main"]);
    scratch.set("GIT_AUTHOR_EMAIL", REVIEWER);
    scratch.git(&["merge", "--quiet", "--no-ff", "-m", "Merge", "bench"]);
    by(&scratch, REVIEWER, &["review", &id("0900"), "--approve"]).ends(0);
    scratch.git(&["add", "--all"]);
    scratch.gate().passes();

    // A file that the merge itself brings has the author of the merge.
    scratch.git(&["checkout", "--quiet", "bench"]);
    scratch.write("notes.txt", "seen");
    commit(&scratch, OWN);
    scratch.git(&["checkout", "--quiet", "main"]);
    scratch.git(&["merge", "--quiet", "--no-ff", "--no-commit", "bench"]);
    scratch.sound_check("1000");
    commit(&scratch, REVIEWER);
    let done = by(&scratch, REVIEWER, &["review", &id("1000"), "--approve"]).ends(1);
    assert!(done.out.contains("authored the commit"), "{}", done.out);
}

#[test]
fn check_and_review_in_one_commit_of_the_reviewer_are_refused() {
    let mut scratch = book();
    let path = scratch.sound_check("0900");
    let named = format!("check = \"{}\"", id("0900"));
    let text = review(
        &named,
        &sha256(scratch.read(&path)),
        "qa-01",
        "2026-03-03T10:00:00",
        "approve",
    );
    let own = review_path("0900", "qa-01-1");
    scratch.write(&own, text);
    scratch.git(&["add", "--all"]);
    scratch.gate().passes();
    scratch.set("GIT_AUTHOR_EMAIL", REVIEWER);
    scratch.gate().refuses(&[("review-not-independent", &own)]);
}

#[test]
fn only_who_may_review_on_that_day_reviews() {
    let scratch = book();
    scratch.committed_check("0900");
    let approve = ["review", &id("0900"), "--approve", "--reviewer", "op-02"];
    let done = by(&scratch, OWN, &approve).ends(1);
    assert!(done.out.contains("reviewer-not-authorised"), "{}", done.out);
    assert!(
        done.out.contains("never authorised to review"),
        "{}",
        done.out
    );
    assert!(!scratch.path("reviews").exists());
    scratch.edit(
        "people/qa-01.toml",
        "for = \"review\"\nfrom = 2026-01-01",
        "for = \"review\"\nfrom = 2026-01-01\nuntil = 2026-03-04",
    );
    commit(&scratch, OWN);
    let review = by_hand(
        &scratch,
        "0900",
        "qa-01-1",
        "2026-03-04T23:59:59",
        "approve",
    );
    scratch.stage(&review);
    scratch.gate().passes();
    let review = by_hand(
        &scratch,
        "0900",
        "qa-01-1",
        "2026-03-05T00:00:00",
        "approve",
    );
    scratch.stage(&review);
    scratch
        .gate()
        .refuses(&[("reviewer-not-authorised", &review)]);
}

#[test]
fn decision_before_the_check_is_refused() {
    let scratch = book();
    scratch.committed_check("0900");
    let review = by_hand(
        &scratch,
        "0900",
        "qa-01-1",
        "2026-03-02T08:59:59",
        "approve",
    );
    scratch.stage(&review);
    scratch.gate().refuses(&[("review-before-check", &review)]);
    assert!(has(
        &said(&scratch, &[]),
        "review-before-check",
        &review,
        "/decided"
    ));
}

#[test]
fn review_covers_the_commit_whatever_the_folder_and_the_index_hold() {
    let scratch = book();
    let path = scratch.committed_check("0900");
    let sound = scratch.read(&path);
    let review = by_hand(
        &scratch,
        "0900",
        "qa-01-1",
        "2026-03-03T10:00:00",
        "approve",
    );
    commit(&scratch, REVIEWER);
    let altered = sound.replacen("format = 1\n", "format = 1\nnote = \"spilled some\"\n", 1);

    // Approved, then altered in the folder: what was approved is what is committed.
    scratch.write(&path, &altered);
    assert_eq!(errors(&said(&scratch, &[])), Vec::<&[String; 4]>::new());
    // Staged: the change is refused for itself, and the review still covers what is committed.
    scratch.stage(&path);
    scratch.gate().refuses(&[("record-altered", &path)]);
    assert_eq!(errors(&said(&scratch, &[])), Vec::<&[String; 4]>::new());
    // A review of the altered bytes covers nothing that is kept.
    let other = review_path("0900", "qa-02-1");
    scratch.write(
        &other,
        scratch
            .read(&review)
            .replace(&sha256(&sound), &sha256(&altered))
            .replace("qa-01", "qa-02"),
    );
    let found = said(&scratch, &[]);
    assert!(
        has(&found, "review-of-other-content", &other, "/sha256"),
        "{found:?}"
    );
    assert_eq!(errors(&found).len(), 1);
    let text = scratch.shearbook(&["validate"]).ends(1).out;
    assert!(text.contains("git restore"), "{text}");
    scratch.git(&["reset", "--quiet"]);
    scratch.stage(&other);
    scratch
        .gate()
        .refuses(&[("review-of-other-content", &other)]);

    // Altered past the hook, the old review no longer covers it.
    scratch.git(&["reset", "--quiet"]);
    scratch.remove(&other);
    commit(&scratch, OWN);
    let found = said(&scratch, &[]);
    assert!(
        has(&found, "review-of-other-content", &review, "/sha256"),
        "{found:?}"
    );
}

#[test]
fn line_ends_of_a_checkout_are_not_what_is_reviewed() {
    let scratch = book();
    let path = scratch.committed_check("0900");
    let review = by_hand(
        &scratch,
        "0900",
        "qa-01-1",
        "2026-03-03T10:00:00",
        "approve",
    );
    commit(&scratch, REVIEWER);
    scratch.git(&["config", "core.autocrlf", "true"]);
    scratch.remove(&path);
    scratch.git(&["checkout", "--", &path]);
    assert!(scratch.read(&path).contains("\r\n"));
    assert_eq!(errors(&said(&scratch, &[])), Vec::<&[String; 4]>::new());
    by(
        &scratch,
        "qa-02@lab.example",
        &["review", &id("0900"), "--approve"],
    )
    .ends(0);
    let committed = committed_sha256(&scratch, &path);
    assert!(
        scratch
            .read(&review_path("0900", "qa-02-1"))
            .contains(&committed)
    );
    // Elsewhere the file has other line ends, so their sum is worth nothing.
    let other = review_path("0900", "op-09-1");
    let text = scratch.read(&review).replace("qa-01", "op-09");
    scratch.write(
        &other,
        text.replace(&committed, &sha256(scratch.read(&path))),
    );
    let found = said(&scratch, &[]);
    assert!(
        has(&found, "review-of-other-content", &other, "/sha256"),
        "{found:?}"
    );
    assert_eq!(errors(&found).len(), 1);
}

#[test]
fn before_the_commit_the_index_and_then_the_file_by_gits_rules_is_covered() {
    let scratch = book();
    scratch.git(&["config", "core.autocrlf", "true"]);
    let path = scratch.sound_check("0900");
    let text = scratch.read(&path);
    let own = review_path("0900", "qa-01-1");
    let named = format!("check = \"{}\"", id("0900"));
    scratch.write(
        &own,
        review(
            &named,
            &sha256(&text),
            "qa-01",
            "2026-03-03T10:00:00",
            "approve",
        ),
    );
    let none = Vec::<&[String; 4]>::new();
    assert_eq!(errors(&said(&scratch, &[])), none);
    scratch.write(&path, text.replace('\n', "\r\n"));
    assert_eq!(errors(&said(&scratch, &[])), none);
    scratch.stage(&path);
    scratch.edit(
        &path,
        "format = 1\r\n",
        "format = 1\r\nnote = \"later\"\r\n",
    );
    assert_eq!(errors(&said(&scratch, &[])), none);
    // Only meant to be added: the file itself again.
    scratch.git(&["reset", "--quiet"]);
    scratch.git(&["add", "--intent-to-add", &path]);
    let found = said(&scratch, &[]);
    assert!(
        has(&found, "review-of-other-content", &own, "/sha256"),
        "{found:?}"
    );
    scratch.write(&path, &text);
    assert_eq!(errors(&said(&scratch, &[])), none);
    // Without git the file is all there is.
    std::fs::remove_dir_all(scratch.top.join(".git")).unwrap();
    assert_eq!(errors(&said(&scratch, &[])), none);
}

#[test]
fn days_are_counted_in_the_books_zone_the_last_included() {
    let scratch = book();
    let path = scratch.committed_check("0900");
    let missing = |day: &str| {
        let found = said(&scratch, &["--as-of", day]);
        has(&found, "review-missing", &path, "/performed")
    };
    // Performed on 2 March; seven days are asked for.
    assert!(!missing("2026-03-09"));
    assert!(missing("2026-03-10"));
    for (decided, late) in [
        ("2026-03-09T23:59:59", false),
        ("2026-03-10T00:00:00", true),
        // 23:30 on the 9th in the book's zone.
        ("2026-03-10T00:30:00+01:00", false),
    ] {
        let review = by_hand(&scratch, "0900", "qa-01-1", decided, "approve");
        let found = said(&scratch, &["--as-of", "2026-03-20"]);
        assert_eq!(
            has(&found, "review-late", &review, "/decided"),
            late,
            "{decided}"
        );
        assert!(
            !has(&found, "review-missing", &path, "/performed"),
            "{decided}"
        );
    }
    // On a day before the decision nobody had decided.
    let review = by_hand(
        &scratch,
        "0900",
        "qa-01-1",
        "2026-03-12T10:00:00",
        "approve",
    );
    assert!(missing("2026-03-11"));
    let found = said(&scratch, &["--as-of", "2026-03-11"]);
    assert!(!has(&found, "review-late", &review, "/decided"));
    // The policy may make it an error.
    let policy = scratch.read("policies/P-1.toml");
    scratch.write(
        "policies/P-1.toml",
        format!("{policy}\n[severity]\nreview-missing = \"error\"\nreview-late = \"error\"\n"),
    );
    let found = said(&scratch, &["--as-of", "2026-03-20"]);
    let late = errors(&found);
    assert_eq!(late.len(), 1, "{found:?}");
    assert_eq!(late[0][0], "review-late");
}

#[test]
fn any_standing_rejection_prevails_and_the_newest_decision_of_each_counts() {
    let scratch = book();
    scratch.committed_check("0900");
    by_hand(
        &scratch,
        "0900",
        "qa-01-1",
        "2026-03-03T10:00:00",
        "approve",
    );
    by_hand(&scratch, "0900", "qa-02-1", "2026-03-04T10:00:00", "reject");
    let counted = |day: &str| {
        let done = scratch.shearbook(&["status", "--format", "json", "--as-of", day]);
        let json: serde_json::Value = serde_json::from_str(&done.out).unwrap();
        !json["instruments"][0]["last_check"].is_null()
    };
    let listed = |day: &str| open(&scratch, day)["checks"].clone();
    assert!(counted("2026-03-03"));
    assert_eq!(listed("2026-03-03"), serde_json::json!([]));
    assert!(!counted("2026-03-05"));
    let row = &listed("2026-03-05")[0];
    assert_eq!(row["state"], "rejected");
    assert_eq!(row["rejected_by"], "qa-02");
    assert_eq!(row["comment"], "which thermometer was it?");
    // Somebody else's approval does not outweigh it; the same reviewer's does.
    by_hand(
        &scratch,
        "0900",
        "qa-01-2",
        "2026-03-05T10:00:00",
        "approve",
    );
    assert!(!counted("2026-03-06"));
    by_hand(
        &scratch,
        "0900",
        "qa-02-2",
        "2026-03-06T10:00:00",
        "approve",
    );
    assert!(counted("2026-03-07"));
    assert_eq!(listed("2026-03-07"), serde_json::json!([]));
}

#[test]
fn approval_with_an_error_approves_nothing() {
    let scratch = book();
    let path = scratch.committed_check("0900");
    let own = by_hand(
        &scratch,
        "0900",
        "op-01-1",
        "2026-03-03T10:00:00",
        "approve",
    );
    let found = said(&scratch, &["--as-of", "2026-03-20"]);
    assert!(
        has(&found, "reviewer-not-authorised", &own, "/reviewer"),
        "{found:?}"
    );
    assert!(
        has(&found, "review-missing", &path, "/performed"),
        "{found:?}"
    );
    assert_eq!(
        open(&scratch, "2026-03-20")["checks"][0]["state"],
        "waiting"
    );
}

#[test]
fn list_of_what_waits_has_the_oldest_first_and_fits_the_width() {
    let scratch = book();
    scratch.edit(
        "policies/P-1.toml",
        "records = []",
        "records = [\"fluids\"]",
    );
    for time in ["1100", "0900", "1000"] {
        scratch.sound_check(time);
    }
    commit(&scratch, OWN);
    by_hand(&scratch, "1000", "qa-01-1", "2026-03-03T10:00:00", "reject");
    let list = open(&scratch, "2026-03-11");
    let checks: Vec<_> = list["checks"].as_array().unwrap().iter().collect();
    let ids: Vec<_> = checks
        .iter()
        .map(|row| row["check"].as_str().unwrap())
        .collect();
    assert_eq!(ids, [id("0900"), id("1000"), id("1100")]);
    assert_eq!(checks[0]["due"], "2026-03-09");
    assert_eq!(checks[0]["days_left"], -2);
    assert_eq!(checks[0]["verdict"], "pass");
    assert_eq!(checks[0]["operator"], "op-01");
    let records: Vec<_> = list["records"].as_array().unwrap().iter().collect();
    let ids: Vec<_> = records
        .iter()
        .map(|row| row["record"].as_str().unwrap())
        .collect();
    assert_eq!(ids, ["fluids/K-0", "fluids/K-1"]);
    let text = scratch
        .shearbook(&["review", "--open", "--as-of", "2026-03-11"])
        .ends(0)
        .out;
    fits(&text);
    for words in [
        "(2 late)",
        "rejected by qa-01, 2026-03-03",
        "! which thermometer",
        "fluids/K-1",
    ] {
        assert!(text.contains(words), "no {words} in {text}");
    }
    // What was performed later is not seen.
    assert_eq!(
        open(&scratch, "2026-03-01")["checks"],
        serde_json::json!([])
    );
}

#[test]
fn amendment_waits_anew_and_what_it_amends_no_longer() {
    let scratch = book();
    let path = scratch.committed_check("0900");
    by_hand(&scratch, "0900", "qa-01-1", "2026-03-03T10:00:00", "reject");
    let head = format!(
        "amends = \"{}\"\namended = 2026-03-04T09:00:00\namended_by = \"op-01\"\nreason = \"zero mistyped\"\n\n[preparation]",
        id("0900")
    );
    let amendment = "checks/2026/VM-1/2026-03-02-0900.a1.toml";
    scratch.write(
        amendment,
        scratch.read(&path).replacen("[preparation]", &head, 1),
    );
    commit(&scratch, OWN);
    let list = open(&scratch, "2026-03-05");
    assert_eq!(list["checks"].as_array().unwrap().len(), 1, "{list}");
    assert_eq!(list["checks"][0]["check"], format!("{}.a1", id("0900")));
    assert_eq!(list["checks"][0]["due"], "2026-03-11");
    let found = said(&scratch, &["--as-of", "2026-03-12"]);
    assert!(
        has(&found, "review-missing", amendment, "/amended"),
        "{found:?}"
    );
    assert!(
        !has(&found, "review-missing", &path, "/performed"),
        "{found:?}"
    );
}

#[test]
fn record_is_reviewed_again_when_it_has_changed() {
    let scratch = book();
    scratch.edit(
        "policies/P-1.toml",
        "records = []",
        "records = [\"fluids\"]",
    );
    scratch.remove("fluids/K-0.toml");
    commit(&scratch, OWN);
    let unreviewed = || has(&said(&scratch, &[]), "record-unreviewed", FLUID, "");
    assert!(unreviewed());
    // Who wrote it does not review it.
    scratch.edit("people/op-01.toml", "for = \"check\"", "for = \"review\"");
    commit(&scratch, OWN);
    let done = by(&scratch, OWN, &["review", "fluids/K-1", "--approve"]).ends(1);
    assert!(done.out.contains("authored the commit"), "{}", done.out);
    by(&scratch, REVIEWER, &["review", "fluids/K-1", "--approve"]).ends(0);
    let first = "reviews/records/fluids/K-1/qa-01-1.toml";
    let approved = scratch.read(first);
    assert!(approved.contains("record = \"fluids/K-1\"\n"), "{approved}");
    commit(&scratch, REVIEWER);
    assert!(!unreviewed());

    scratch.write(
        FLUID,
        scratch.read(FLUID) + "\n[[bottle]]\nid = \"2\"\nopened = 2026-03-05\n",
    );
    commit(&scratch, OWN);
    // The old approval is no error; it is of what the record held then.
    let found = said(&scratch, &[]);
    assert!(has(&found, "record-unreviewed", FLUID, ""), "{found:?}");
    assert_eq!(errors(&found), Vec::<&[String; 4]>::new());
    let row = &open(&scratch, "2026-03-06")["records"][0];
    assert_eq!(
        row["approved_before_by"],
        serde_json::Value::Null,
        "decided later"
    );
    // A new review of what it held before is.
    let second = "reviews/records/fluids/K-1/qa-02-1.toml";
    scratch.write(second, approved.replace("qa-01", "qa-02"));
    scratch.stage(second);
    scratch
        .gate()
        .refuses(&[("review-of-other-content", second)]);
    scratch.git(&["rm", "--quiet", "-f", second]);
    by(&scratch, REVIEWER, &["review", FLUID, "--approve"]).ends(0);
    assert!(
        scratch
            .path("reviews/records/fluids/K-1/qa-01-2.toml")
            .is_file()
    );
    assert!(!unreviewed());
}

#[test]
fn book_in_a_folder_of_a_repository_is_reviewed_from_anywhere() {
    let scratch = Scratch::empty().with_book("lab/book");
    let path = scratch.sound_check("0900");
    commit(&scratch, OWN);
    let file = scratch.path(&path);
    let file = file.to_str().unwrap();
    let mut tool = scratch.tool(&scratch.outside());
    tool.args([
        "--book",
        scratch.book.to_str().unwrap(),
        "review",
        file,
        "--approve",
    ]);
    let output = tool.env("GIT_AUTHOR_EMAIL", REVIEWER).output().unwrap();
    let text = String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{text}");
    let add = text.lines().find(|line| line.contains(" add ")).unwrap();
    assert!(add.contains("git -C "), "{add}");
    let review = review_path("0900", "qa-01-1");
    assert!(scratch.path(&review).is_file());
    assert_eq!(errors(&said(&scratch, &[])), Vec::<&[String; 4]>::new());
    scratch.stage(&review);
    scratch.gate().passes();
}

#[test]
fn what_is_about_to_be_committed_is_not_refused_for_lacking_a_review() {
    let scratch = book();
    let policy = scratch.read("policies/P-1.toml");
    let raised = policy.replace("records = []", "records = [\"fluids\"]")
        + "\n[severity]\nreview-missing = \"error\"\nrecord-unreviewed = \"error\"\n";
    scratch.write("policies/P-1.toml", raised);
    commit(&scratch, OWN);
    let path = scratch.sound_check("0900");
    scratch.stage(&path);
    let judged = scratch.gate();
    judged.passes();
    let warned = |rule: &str| judged.findings.iter().any(|one| one.0 == rule);
    assert!(warned("review-missing"), "{:?}", judged.findings);
    scratch.commit_unverified();
    let found = said(&scratch, &[]);
    let of_check = errors(&found).into_iter().filter(|one| one[2] == path);
    assert_eq!(of_check.count(), 1, "{found:?}");
    let lot = scratch.read(FLUID) + "\n[[bottle]]\nid = \"2\"\nopened = 2026-03-05\n";
    scratch.write(FLUID, lot);
    scratch.stage(FLUID);
    scratch.gate().passes();
}

#[test]
fn hook_knows_whom_a_commit_names_as_its_author() {
    let scratch = book();
    scratch.install();
    let path = scratch.sound_check("0900");
    let named = format!("check = \"{}\"", id("0900"));
    let own = review_path("0900", "qa-01-1");
    scratch.write(
        &own,
        review(
            &named,
            &sha256(scratch.read(&path)),
            "qa-01",
            "2026-03-03T10:00:00",
            "approve",
        ),
    );
    scratch.git(&["add", "--all"]);
    let author = format!("--author=Somebody <{REVIEWER}>");
    scratch
        .try_commit(&[&author])
        .refused_for("review-not-independent", &own);
    scratch.git(&["reset", "--quiet", &own]);
    scratch.try_commit(&[]).ends(0);
    scratch.stage(&own);
    scratch.try_commit(&[&author]).ends(0);
    assert_eq!(errors(&said(&scratch, &[])), Vec::<&[String; 4]>::new());
}

#[test]
fn history_that_is_cut_off_names_nobody() {
    let scratch = book();
    scratch.committed_check("0900");
    scratch.write("notes.txt", "seen");
    commit(&scratch, REVIEWER);
    let copy = scratch.outside().join("copy");
    let from = format!("file://{}", scratch.top.display());
    let clone = ["clone", "--quiet", "--depth=1", &from, "copy"];
    scratch.try_git_in(&scratch.outside(), &clone).ends(0);
    // The one commit that is there seems to have brought everything.
    let approve = ["review", &id("0900"), "--approve", "--reviewer", "qa-01"];
    scratch.shearbook_in(&copy, &approve).ends(0);
}
