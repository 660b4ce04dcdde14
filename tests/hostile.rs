//! What a careless or hostile colleague does to a book, and odd places to read from and write to.
#![cfg(unix)]
#![allow(clippy::disallowed_methods, reason = "tests may use files")]

mod support;

use std::os::unix::ffi::OsStrExt;
use std::process::Stdio;
use std::time::{Duration, Instant};
use support::{MARKER, Scratch, draft};

const ALTERED: &str = "record-altered";

#[test]
fn marker_does_not_go_while_records_stay() {
    let scratch = Scratch::book();
    scratch.committed_check("0900");
    scratch.install();
    let before = scratch.head();
    scratch.git(&["rm", "--quiet", "--cached", MARKER]);
    scratch.gate().refuses(&[(ALTERED, MARKER)]);
    scratch.try_commit(&[]).refused_for(ALTERED, MARKER);
    assert_eq!(scratch.head(), before);

    // Gone all the same, past the hook: the next commit is not judged by nothing.
    scratch.commit_unverified();
    let path = support::check_path("0900");
    scratch.edit(&path, "levelled = true", "levelled = false");
    let done = scratch.try_commit(&["--all"]);
    assert_ne!(done.code, Some(0));
    assert!(done.err.contains(MARKER), "{}", done.err);
}

#[test]
fn marker_becomes_no_link() {
    let scratch = Scratch::book();
    scratch.committed_check("0900");
    std::fs::rename(scratch.path(MARKER), scratch.path("m.toml")).unwrap();
    std::os::unix::fs::symlink("m.toml", scratch.path(MARKER)).unwrap();
    let done = scratch.shearbook(&["validate"]).ends(1);
    assert!(done.out.contains("not-a-file"), "{}", done.out);
    scratch.git(&["add", "--all"]);
    scratch.gate().refuses(&[(ALTERED, MARKER)]);
}

#[test]
fn book_without_records_may_go() {
    let scratch = Scratch::book();
    scratch.git(&["rm", "--quiet", "--cached", MARKER]);
    scratch.gate().passes();
}

#[test]
fn two_branches_with_a_check_of_one_minute_are_told_the_way_out() {
    let scratch = Scratch::book();
    scratch.git(&["switch", "--quiet", "--create", "other"]);
    scratch.committed_check("0900");
    scratch.git(&["switch", "--quiet", "main"]);
    let other = draft("0900").replace("temperature_c = 25.00", "temperature_c = 25.01");
    let path = scratch.seal("0900", &other);
    scratch.stage(&path);
    scratch.commit_unverified();
    scratch.install();
    assert_ne!(scratch.try_git(&["merge", "other"]).code, Some(0));
    scratch.git(&["checkout", "--quiet", "--ours", "--", &path]);
    scratch.stage(&path);
    scratch.gate().refuses(&[(ALTERED, &path)]);
    let said = scratch.shearbook(&["gate", "--format", "plain"]).out;
    assert!(said.contains("git merge --abort"), "{said}");
}

#[test]
fn check_of_the_other_branch_is_put_back_from_that_branch() {
    let scratch = Scratch::book();
    scratch.git(&["switch", "--quiet", "--create", "other"]);
    let path = scratch.committed_check("0900");
    let other = scratch.head();
    scratch.git(&["switch", "--quiet", "main"]);
    scratch.committed_check("1000");
    scratch.git(&["merge", "--quiet", "--no-commit", "-s", "ours", "other"]);
    scratch.gate().refuses(&[(ALTERED, &path)]);
    let said = scratch.shearbook(&["gate", "--format", "plain"]).out;
    let source = format!("--source={}", &other[..12]);
    assert!(said.contains(&source), "{said}");
    scratch.git(&["restore", &source, "--staged", "--worktree", "--", &path]);
    scratch.gate().passes();
}

#[test]
fn nonconformity_excuses_nothing_that_is_not_committed_yet() {
    let scratch = Scratch::book();
    let path = scratch.bad_check("0900");
    scratch.write(
        "nonconformities/n.toml",
        format!(
            "format = 1\nid = \"n\"\nopened = 2026-03-02\n\n[[finding]]\nrule = \"fluid-expired\"\npath = \"{path}\"\n\n[outcome]\nevaluation = \"none\"\ndecision = \"let it be\"\nby = \"qa-01\"\ndate = 2026-03-02\n"
        ),
    );
    scratch.git(&["add", "--all"]);
    scratch.gate().refuses(&[("fluid-expired", &path)]);
    scratch.commit_unverified();
    let done = scratch.shearbook(&["validate"]).ends(0);
    assert!(done.out.contains("has decided about this"), "{}", done.out);
}

#[test]
fn second_book_does_not_unguard_the_first() {
    let scratch = Scratch::empty().with_book("one");
    scratch.install();
    let two = Scratch::empty().with_facts("two");
    let second = scratch.top.join("two");
    for (path, bytes) in two.snapshot(&two.book) {
        let to = second.join(path.strip_prefix(&two.book).unwrap());
        std::fs::create_dir_all(to.parent().unwrap()).unwrap();
        std::fs::write(to, bytes).unwrap();
    }
    scratch.git(&["add", "--all"]);
    scratch.try_commit(&[]).ends(0);
    scratch.shearbook_in(&second, &["hook", "install"]).ends(0);
    let path = scratch.bad_check("0900");
    scratch.stage(&path);
    scratch.try_commit(&[]).refused_for("fluid-expired", &path);
    // Taken away for the second book alone.
    scratch.shearbook_in(&second, &["hook", "remove"]).ends(0);
    scratch.try_commit(&[]).refused_for("fluid-expired", &path);
    scratch.shearbook(&["hook", "remove"]).ends(0);
    scratch.try_commit(&[]).ends(0);
}

#[test]
fn hook_with_lines_of_somebodys_own_is_left() {
    let scratch = Scratch::book();
    scratch.install();
    let hook = scratch.top.join(".git/hooks/pre-commit");
    let text = std::fs::read_to_string(&hook).unwrap();
    let edited = text.replacen("kept=", "echo mine\nkept=", 1);
    std::fs::write(&hook, &edited).unwrap();
    for action in ["install", "remove"] {
        let done = scratch.shearbook(&["hook", action]).ends(1);
        assert!(done.out.contains("has been edited"), "{}", done.out);
        assert_eq!(std::fs::read_to_string(&hook).unwrap(), edited);
    }
}

#[test]
fn name_that_is_no_text_is_seen() {
    let scratch = Scratch::book();
    let name = std::ffi::OsStr::from_bytes(b"people/o\xff.toml");
    std::fs::write(scratch.book.join(name), "garbage = =\n").unwrap();
    let done = scratch.shearbook(&["validate"]).ends(1);
    assert!(done.out.contains("toml-syntax"), "{}", done.out);
}

#[test]
fn folder_that_differs_by_capitals_is_seen() {
    let scratch = Scratch::book();
    scratch.write("Checks/2026/VM-1/2026-03-02-0900.toml", draft("0900"));
    let done = scratch.shearbook(&["validate"]).ends(0);
    assert!(done.out.contains("Checks is not checks"), "{}", done.out);
    scratch.git(&["add", "--all"]);
    let said = scratch.shearbook(&["gate"]).ends(0).out;
    assert!(said.contains("Checks is not checks"), "{said}");
}

#[test]
fn check_that_nothing_could_judge_is_not_called_sound() {
    let scratch = Scratch::book();
    let path = scratch.sound_check("0900");
    scratch.edit("policies/P-1.toml", "window_k = 0.2", "window_k = 0,2");
    let done = scratch.shearbook(&["validate", &path]).ends(1);
    assert!(done.out.contains("policies/P-1.toml"), "{}", done.out);
    // What it does not rest on is still left out.
    scratch.edit("policies/P-1.toml", "window_k = 0,2", "window_k = 0.2");
    scratch.edit("fluids/K-0.toml", "certified = 2026", "certified = ,2026");
    scratch.shearbook(&["validate", &path]).ends(0);
}

#[test]
fn sparse_checkout_is_not_judged() {
    let scratch = Scratch::book();
    scratch.committed_check("0900");
    scratch.git(&[
        "sparse-checkout",
        "set",
        "--no-cone",
        "/checks/",
        "/shearbook.toml",
    ]);
    let done = scratch.shearbook(&["validate"]).ends(3);
    assert!(done.err.contains("sparse"), "{}", done.err);
    scratch.git(&["sparse-checkout", "disable"]);
    scratch.shearbook(&["validate"]).ends(0);
}

#[test]
fn pipe_among_the_checks_keeps_nobody_waiting() {
    let scratch = Scratch::book();
    let path = support::check_path("0900");
    std::fs::create_dir_all(scratch.path(&path).parent().unwrap()).unwrap();
    let made = scratch.command("mkfifo", &scratch.book).arg(&path).status();
    assert!(made.unwrap().success());
    scratch.shearbook(&["seal", &path]).ends(1);
    scratch.shearbook(&["show", "VM-1/2026-03-02-0900"]).ends(3);
}

#[test]
fn report_goes_through_a_link_and_into_a_pipe() {
    let scratch = Scratch::book();
    let target = scratch.outside().join("target.json");
    let link = scratch.outside().join("link.json");
    std::fs::write(&target, "").unwrap();
    std::os::unix::fs::symlink(&target, &link).unwrap();
    let output = format!("json={}", link.display());
    scratch
        .shearbook(&["validate", "--output", &output])
        .ends(0);
    assert!(link.is_symlink());
    assert!(
        std::fs::read_to_string(&target)
            .unwrap()
            .contains("\"findings\"")
    );

    let pipe = scratch.outside().join("pipe");
    let made = scratch.command("mkfifo", &scratch.book).arg(&pipe).status();
    assert!(made.unwrap().success());
    let reader = scratch
        .command("cat", &scratch.book)
        .arg(&pipe)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let output = format!("json={}", pipe.display());
    scratch
        .shearbook(&["validate", "--output", &output])
        .ends(0);
    let read = reader.wait_with_output().unwrap().stdout;
    assert!(String::from_utf8_lossy(&read).contains("\"findings\""));
}

#[test]
fn report_that_does_not_arrive_is_no_success() {
    let scratch = Scratch::book();
    let full = std::fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let ended = scratch
        .tool(&scratch.book)
        .args(["validate", "--format", "json"])
        .stdout(full)
        .output()
        .unwrap();
    assert_eq!(ended.status.code(), Some(3));
    let said = String::from_utf8_lossy(&ended.stderr).into_owned();
    assert!(said.contains("standard output"), "{said}");
    for words in [&["--help"][..], &["seal", "--help"], &["--version"]] {
        let full = std::fs::OpenOptions::new().write(true).open("/dev/full");
        let ended = scratch
            .tool(&scratch.book)
            .args(words)
            .stdout(full.unwrap())
            .output()
            .unwrap();
        assert_eq!(ended.status.code(), Some(3), "{words:?}");
    }
}

#[test]
fn write_protected_check_is_not_sealed() {
    use std::os::unix::fs::PermissionsExt;
    let scratch = Scratch::book();
    let path = support::check_path("0900");
    scratch.write(&path, draft("0900"));
    let full = scratch.path(&path);
    std::fs::set_permissions(&full, std::fs::Permissions::from_mode(0o444)).unwrap();
    let done = scratch.shearbook(&["seal", &path]).ends(3);
    assert!(done.err.contains("write-protected"), "{}", done.err);
    assert_eq!(scratch.read(&path), draft("0900"));
}

#[test]
fn interruption_leaves_nothing_behind() {
    let scratch = Scratch::empty();
    let temp = scratch.outside().join("temp");
    std::fs::create_dir(&temp).unwrap();
    let empty = || std::fs::read_dir(&temp).unwrap().next().is_none();
    let mut tour = scratch
        .tool(&scratch.top)
        .arg("tour")
        .env("TMPDIR", &temp)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let begun = Instant::now();
    while empty() {
        assert!(
            begun.elapsed() < Duration::from_secs(60),
            "the tour did not begin"
        );
        assert!(tour.try_wait().unwrap().is_none(), "the tour has ended");
        std::thread::sleep(Duration::from_millis(5));
    }
    let id = tour.id().to_string();
    let sent = scratch
        .command("kill", &scratch.top)
        .args(["-INT", &id])
        .status();
    assert!(sent.unwrap().success());
    assert_eq!(tour.wait().unwrap().code(), Some(130));
    assert!(empty(), "the tour's folder stays");
}

#[test]
fn report_is_not_written_over_a_record() {
    let scratch = Scratch::book();
    let check = scratch.committed_check("0900");
    scratch.write("own.json", "mine");
    let before = scratch.snapshot(&scratch.top);
    for target in [
        &*check,
        "instruments/VM-1.toml",
        MARKER,
        "checks/report.json",
        "./fluids/../fluids/K-1.toml",
    ] {
        let to = |format: &str| format!("{format}={target}");
        for arguments in [
            &["status", "--output", &to("json")][..],
            &[
                "validate",
                "--output",
                "json=fine.json",
                "--output",
                &to("text"),
            ],
            &["plan", "VM-1", "--output", &to("html")],
        ] {
            let done = scratch.shearbook(arguments).ends(2);
            assert!(done.err.contains("a place for records"), "{}", done.err);
        }
    }
    let outside = scratch.outside();
    let link = outside.join("link.json");
    std::os::unix::fs::symlink(scratch.path(&check), &link).unwrap();
    let through = format!("json={}", link.display());
    scratch.shearbook(&["status", "--output", &through]).ends(2);
    assert!(scratch.snapshot(&scratch.top) == before);
    scratch
        .shearbook(&["validate", "--output", "json=own.json"])
        .ends(0);
    assert!(scratch.read("own.json").starts_with('{'));
}

/// Cuts the file of an object short, as a power failure does.
fn cut_short(scratch: &Scratch, name: &str) {
    let id = scratch.git(&["rev-parse", name]);
    let (folder, rest) = id.trim().split_at(2);
    let path = scratch.top.join(".git/objects").join(folder).join(rest);
    let bytes = std::fs::read(&path).unwrap();
    let mut permissions = std::fs::metadata(&path).unwrap().permissions();
    std::os::unix::fs::PermissionsExt::set_mode(&mut permissions, 0o644);
    std::fs::set_permissions(&path, permissions).unwrap();
    std::fs::write(&path, &bytes[..bytes.len() * 3 / 4]).unwrap();
}

#[test]
fn object_that_was_cut_short_ends_the_gate_and_names_itself() {
    for format in ["sha1", "sha256"] {
        let scratch =
            Scratch::named("work", &[&*format!("--object-format={format}")]).with_book("");
        let check = scratch.sound_check("0900");
        scratch.stage(&check);
        let id = scratch.git(&["rev-parse", "HEAD:geometries/G-1.toml"]);
        cut_short(&scratch, "HEAD:geometries/G-1.toml");
        let done = scratch.shearbook(&["gate"]).ends(3);
        assert!(done.err.contains(id.trim()), "{}", done.err);
    }
}

#[test]
fn damage_that_the_commit_does_not_touch_is_not_its_fault() {
    for format in ["sha1", "sha256"] {
        let scratch =
            Scratch::named("work", &[&*format!("--object-format={format}")]).with_book("");
        scratch.committed_check("0900");
        // What the gate looks at for rehearsal: the last check, and the geometry that it names.
        cut_short(&scratch, "HEAD:geometries/G-1.toml");
        scratch.write("notes.txt", "nothing of the book's");
        scratch.git(&["add", "notes.txt"]);
        scratch.gate().passes();
    }
}
