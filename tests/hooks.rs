//! The hooks of a clone: beside what is there, never over it, and gone without a trace.
#![allow(clippy::disallowed_methods, reason = "tests may use files")]

mod support;

use std::path::{Path, PathBuf};
use support::{EXPIRED, Scratch};

const HOOKS: [&str; 2] = ["pre-commit", "pre-merge-commit"];

fn hooks(scratch: &Scratch) -> PathBuf {
    scratch.top.join(".git/hooks")
}

#[cfg(unix)]
fn make_executable(path: &Path) {
    use std::os::unix::fs::PermissionsExt;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o755)).unwrap();
}

#[cfg(not(unix))]
fn make_executable(_path: &Path) {}

fn write_hook(path: &Path, body: &str) {
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    std::fs::write(path, format!("#!/bin/sh\n{body}\n")).unwrap();
    make_executable(path);
}

/// A bad check staged and refused by the hook, then a sound one that passes.
fn guards(scratch: &Scratch, time: &str) {
    let path = scratch.bad_check(time);
    scratch.stage(&path);
    scratch.try_commit(&[]).refused_for(EXPIRED, &path);
    scratch.sound_check(time);
    scratch.stage(&path);
    scratch.try_commit(&[]).ends(0);
}

#[test]
fn second_installation_changes_nothing() {
    let scratch = Scratch::book();
    let before = scratch.snapshot(&scratch.top);
    scratch.install();
    let once = scratch.snapshot(&scratch.top);
    let mut new: Vec<_> = once
        .keys()
        .filter(|path| !before.contains_key(*path))
        .collect();
    new.sort();
    assert_eq!(
        new,
        [
            &hooks(&scratch).join(HOOKS[0]),
            &hooks(&scratch).join(HOOKS[1])
        ]
    );
    for (path, bytes) in &before {
        assert_eq!(once.get(path), Some(bytes), "{}", path.display());
    }
    scratch.install();
    assert_eq!(scratch.snapshot(&scratch.top), once);
    guards(&scratch, "0900");
}

#[test]
fn installation_says_what_it_does_not_bind() {
    let scratch = Scratch::book();
    let done = scratch.shearbook(&["hook", "install"]).ends(0);
    for word in ["cherry-pick", "rebase", "--no-verify"] {
        assert!(done.out.contains(word), "{}", done.out);
    }
}

#[test]
fn removal_leaves_the_clone_as_it_was() {
    let scratch = Scratch::book();
    let before = scratch.snapshot(&scratch.top);
    scratch.install();
    scratch.shearbook(&["hook", "remove"]).ends(0);
    assert_eq!(scratch.snapshot(&scratch.top), before);
    scratch.shearbook(&["hook", "remove"]).ends(0);
    assert_eq!(scratch.snapshot(&scratch.top), before);
}

#[test]
fn hook_that_was_there_runs_first_and_comes_back() {
    let scratch = Scratch::book();
    let ran = scratch.outside().join("ran");
    let old = hooks(&scratch).join("pre-commit");
    write_hook(
        &old,
        &format!(
            "echo kept >> '{}'; echo said by the kept hook >&2",
            ran.display()
        ),
    );
    let before = scratch.snapshot(&scratch.top);
    scratch.install();
    scratch.install();
    let path = scratch.bad_check("0900");
    scratch.stage(&path);
    let done = scratch.try_commit(&[]).refused_for(EXPIRED, &path);
    let (kept, ours) = (
        done.err.find("said by the kept hook").unwrap(),
        done.err.find(EXPIRED).unwrap(),
    );
    assert!(kept < ours, "{}", done.err);
    assert_eq!(std::fs::read_to_string(&ran).unwrap(), "kept\n");

    scratch.git(&["rm", "--quiet", "--force", &path]);
    scratch.shearbook(&["hook", "remove"]).ends(0);
    let after = scratch.snapshot(&hooks(&scratch));
    for (path, bytes) in &after {
        assert_eq!(before.get(path), Some(bytes), "{}", path.display());
    }
    assert!(after.contains_key(&old));
    scratch.try_commit(&["--allow-empty"]).ends(0);
    assert_eq!(std::fs::read_to_string(&ran).unwrap(), "kept\nkept\n");
}

#[test]
fn failure_of_the_hook_that_was_there_stops_the_commit() {
    let scratch = Scratch::book();
    write_hook(&hooks(&scratch).join("pre-commit"), "exit 7");
    scratch.install();
    let before = scratch.head();
    let path = scratch.sound_check("0900");
    scratch.stage(&path);
    scratch.try_commit(&[]).ends(1);
    assert_eq!(scratch.head(), before);
}

#[test]
fn foreign_hook_beside_a_kept_one_is_not_overwritten() {
    let scratch = Scratch::book();
    write_hook(&hooks(&scratch).join("pre-commit"), "exit 0");
    scratch.install();
    write_hook(
        &hooks(&scratch).join("pre-commit"),
        "exit 0 # of another tool",
    );
    let before = scratch.snapshot(&scratch.top);
    scratch.shearbook(&["hook", "install"]).ends(1);
    assert_eq!(scratch.snapshot(&scratch.top), before);
}

#[test]
fn hooks_path_outside_the_clone_is_respected_and_explained() {
    for scope in ["local", "global"] {
        let mut scratch = Scratch::book();
        let folder = scratch.outside().join("hooks of the firm");
        std::fs::create_dir(&folder).unwrap();
        let named = folder.to_str().unwrap().to_owned();
        if scope == "global" {
            let settings = scratch.outside().join("settings");
            std::fs::write(&settings, format!("[core]\n\thooksPath = {named}\n")).unwrap();
            scratch.set("GIT_CONFIG_GLOBAL", settings.to_str().unwrap());
        } else {
            scratch.git(&["config", "core.hooksPath", &named]);
        }
        let before = scratch.snapshot(&scratch.outside());
        for action in ["install", "remove"] {
            let done = scratch.shearbook(&["hook", action]).ends(1);
            assert!(done.out.contains(&named), "{}", done.out);
            assert!(done.out.contains("core.hooksPath"), "{}", done.out);
            assert!(done.out.contains("gate"), "{}", done.out);
        }
        assert_eq!(scratch.snapshot(&scratch.outside()), before, "{scope}");

        // The line that was shown does the work once its keeper adds it.
        let done = scratch.shearbook(&["hook", "install"]).ends(1);
        let line = done
            .out
            .lines()
            .find(|line| line.starts_with("    "))
            .unwrap_or_else(|| panic!("{}", done.out));
        write_hook(&folder.join("pre-commit"), line.trim());
        guards(&scratch, "0900");
    }
}

#[test]
fn hooks_path_in_the_work_tree_is_respected() {
    let scratch = Scratch::book();
    scratch.git(&["config", "core.hooksPath", ".githooks"]);
    let before = scratch.snapshot(&scratch.top);
    scratch.shearbook(&["hook", "install"]).ends(1);
    assert_eq!(scratch.snapshot(&scratch.top), before);
}

#[test]
fn hooks_path_inside_the_git_folder_is_used() {
    let scratch = Scratch::book();
    let folder = scratch.top.join(".git/own hooks");
    scratch.git(&["config", "core.hooksPath", folder.to_str().unwrap()]);
    scratch.install();
    assert!(folder.join("pre-commit").is_file());
    guards(&scratch, "0900");
}

#[test]
fn paths_with_spaces_quotes_and_dollars() {
    let scratch = Scratch::named("bench 2, o'clock \"$HOME\"", &[]).with_book("the `lab's` book");
    let tool = scratch.outside().join("tool's \"$place\"");
    std::fs::create_dir(&tool).unwrap();
    let tool = tool.join("shearbook");
    // By a program of its own: another test that starts one meanwhile would inherit the open copy, and it could not be run.
    let copied = scratch
        .command("cp", &scratch.book)
        .args([env!("CARGO_BIN_EXE_shearbook").as_ref(), tool.as_os_str()])
        .status();
    assert!(copied.unwrap().success());
    let done = scratch
        .command(&tool, &scratch.book)
        .args(["hook", "install"])
        .output()
        .unwrap();
    assert!(done.status.success());
    guards(&scratch, "0900");
}

#[test]
fn installed_from_a_linked_worktree_it_serves_all() {
    let mut scratch = Scratch::book();
    let linked = scratch.outside().join("linked");
    scratch.git(&["worktree", "add", "--quiet", linked.to_str().unwrap()]);
    let main = std::mem::replace(&mut scratch.top, linked.clone());
    scratch.book = linked;
    scratch.install();
    guards(&scratch, "0900");
    scratch.top = main.clone();
    scratch.book = main;
    assert!(hooks(&scratch).join("pre-commit").is_file());
    guards(&scratch, "1000");
}

#[test]
fn book_in_a_subfolder_is_the_one_that_the_hook_judges() {
    let scratch = Scratch::empty().with_book("qc/book");
    scratch
        .shearbook_in(&scratch.top, &["--book", "qc/book", "hook", "install"])
        .ends(0);
    guards(&scratch, "0900");
}

#[test]
fn branch_without_a_book_passes() {
    for folder in ["", "book"] {
        let scratch = Scratch::empty();
        std::fs::write(scratch.top.join("notes.txt"), "levels\n").unwrap();
        scratch.git(&["add", "--all"]);
        scratch.commit_unverified();
        scratch.git(&["branch", "older"]);
        let scratch = scratch.with_book(folder);
        scratch.install();
        scratch.git(&["switch", "--quiet", "older"]);
        std::fs::write(scratch.top.join("notes.txt"), "levels and gaps\n").unwrap();
        scratch.try_commit(&["--all"]).ends(0);
        scratch.git(&["switch", "--quiet", "main"]);
        guards(&scratch, "0900");
    }
}

#[test]
fn commit_is_stopped_where_the_tool_is_gone() {
    let scratch = Scratch::book();
    let tool = scratch.outside().join("shearbook");
    // By a program of its own: a file that this process writes may be held open by what another test starts meanwhile.
    let copied = std::process::Command::new("cp")
        .arg(env!("CARGO_BIN_EXE_shearbook"))
        .arg(&tool)
        .status();
    assert!(copied.unwrap().success());
    let done = scratch
        .command(&tool, &scratch.book)
        .args(["hook", "install"])
        .output()
        .unwrap();
    assert!(done.status.success());
    std::fs::remove_file(&tool).unwrap();
    let before = scratch.head();
    let path = scratch.sound_check("0900");
    scratch.stage(&path);
    let done = scratch.try_commit(&[]).ends(1);
    assert!(done.err.contains("hook install"), "{}", done.err);
    assert_eq!(scratch.head(), before);
}

#[test]
fn outside_of_a_book_or_a_repository_nothing_is_installed() {
    let scratch = Scratch::empty();
    let before = scratch.snapshot(&scratch.top);
    scratch.shearbook(&["hook", "install"]).ends(3);
    assert_eq!(scratch.snapshot(&scratch.top), before);
    let apart = scratch.outside().join("apart");
    std::fs::create_dir(&apart).unwrap();
    std::fs::copy(
        concat!(env!("CARGO_MANIFEST_DIR"), "/src/rules/base/shearbook.toml"),
        apart.join("shearbook.toml"),
    )
    .unwrap();
    let done = scratch.shearbook_in(&apart, &["hook", "install"]).ends(3);
    assert!(done.err.contains("git init"), "{}", done.err);
}
