//! The files of `hooks/`, as a laboratory would copy them: run by real git, and the scripts of the CI files by a real shell.
#![allow(
    clippy::disallowed_methods,
    reason = "tests may use files and the environment"
)]

mod support;

use std::path::{Path, PathBuf};
use support::{Done, EXPIRED, Scratch};

const HOOKS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/hooks");

/// The PATH with or without the program under test.
fn path(with: bool) -> String {
    let program = Path::new(env!("CARGO_BIN_EXE_shearbook"));
    let own = program.parent().unwrap().to_string_lossy().into_owned();
    let usual = std::env::var("PATH").unwrap();
    let others: Vec<&str> = usual
        .split(':')
        .filter(|folder| !Path::new(folder).join("shearbook").exists())
        .collect();
    match with {
        true => format!("{own}:{}", others.join(":")),
        false => others.join(":"),
    }
}

fn copy(name: &str, to: PathBuf) {
    std::fs::create_dir_all(to.parent().unwrap()).unwrap();
    std::fs::copy(Path::new(HOOKS).join(name), to).unwrap();
}

#[test]
fn hook_of_a_clone_judges_a_commit() {
    let mut scratch = Scratch::book();
    copy("pre-commit", scratch.top.join(".git/hooks/pre-commit"));
    scratch.set("PATH", &path(true));
    let bad = scratch.bad_check("0900");
    scratch.stage(&bad);
    scratch.try_commit(&[]).refused_for(EXPIRED, &bad);
    scratch.git(&["rm", "--quiet", "--force", &bad]);
    let good = scratch.sound_check("1000");
    scratch.stage(&good);
    scratch.try_commit(&[]).ends(0);
}

#[test]
fn hook_without_its_program_lets_nothing_pass() {
    let mut scratch = Scratch::book();
    for name in ["pre-commit", "pre-merge-commit"] {
        copy(name, scratch.top.join(".git/hooks").join(name));
    }
    let good = scratch.sound_check("1000");
    scratch.stage(&good);
    scratch.set("PATH", &path(false));
    let refused = scratch.try_commit(&[]).ends(1);
    assert!(
        refused.err.contains("not found on the PATH"),
        "{}",
        refused.err
    );
    scratch.git(&["checkout", "--quiet", "-b", "side"]);
    scratch.commit_unverified();
    scratch.git(&["checkout", "--quiet", "main"]);
    let merge = ["merge", "--quiet", "--no-ff", "side"];
    let refused = scratch.try_git(&merge).ends(1);
    assert!(
        refused.err.contains("not found on the PATH"),
        "{}",
        refused.err
    );
    scratch.git(&["merge", "--abort"]);
    scratch.set("PATH", &path(true));
    scratch.try_git(&merge).ends(0);
}

/// A server without a work tree, with the hook; and a clone that pushes to it.
fn server(mut scratch: Scratch, edit: &dyn Fn(String) -> String) -> Scratch {
    let bare = scratch.outside().join("server.git");
    let name = bare.to_string_lossy().into_owned();
    scratch.git(&["init", "--quiet", "--bare", "--initial-branch=main", &name]);
    copy("pre-receive", bare.join("hooks/pre-receive"));
    let hook = bare.join("hooks/pre-receive");
    let text = std::fs::read_to_string(&hook).unwrap();
    std::fs::write(hook, edit(text)).unwrap();
    scratch.git(&["remote", "add", "origin", &name]);
    scratch.set("PATH", &path(true));
    scratch
}

fn stands(scratch: &Scratch, name: &str) -> String {
    let bare = scratch.outside().join("server.git");
    scratch.try_git_in(&bare, &["rev-parse", name]).out
}

#[test]
fn hook_of_a_server_judges_a_push() {
    for folder in ["", "lab/book"] {
        let scratch = Scratch::empty().with_book(folder);
        let scratch = server(scratch, &|text| match folder {
            "" => text,
            folder => text.replace("\n.\n", &format!("\n{folder}\n")),
        });
        let check = scratch.committed_check("0900");
        scratch.git(&["push", "--quiet", "origin", "main"]);
        let before = stands(&scratch, "main");
        assert_eq!(before, scratch.head());
        scratch.edit(&check, "\"as-found\"", "\"as-left\"");
        scratch.stage(&check);
        scratch.commit_unverified();
        let refused = scratch.try_git(&["push", "origin", "main"]).ends(1);
        for word in [
            "record-altered",
            &check,
            "remote:",
            "pre-receive hook declined",
        ] {
            assert!(refused.err.contains(word), "no {word} in {}", refused.err);
        }
        assert_eq!(stands(&scratch, "main"), before);
    }
}

/// The lines of a script in a YAML file, below a line that holds these words.
fn script(file: &str, below: &str) -> String {
    let text = std::fs::read_to_string(Path::new(HOOKS).join(file)).unwrap();
    let mut lines = text.lines().skip_while(|line| !line.contains(below));
    assert!(lines.next().is_some(), "no {below} in {file}");
    let mut lines = lines.skip_while(|line| !line.trim_end().ends_with('|'));
    let head = lines.next().expect("a script");
    let indent = head.len() - head.trim_start().len();
    let body = lines
        .take_while(|line| line.trim().is_empty() || line.len() - line.trim_start().len() > indent);
    body.map(str::trim_start).collect::<Vec<_>>().join("\n")
}

fn run(scratch: &Scratch, script: &str, variables: &[(&str, &str)]) -> Done {
    let mut shell = scratch.command("sh", &scratch.top);
    shell.args(["-e", "-c", script]).env("PATH", path(true));
    shell.envs(variables.iter().copied());
    Done::of(shell.output().unwrap())
}

/// A branch upon main with a sound check, then one that alters it: the tips of main and of both.
fn branch(scratch: &Scratch) -> [String; 3] {
    let id = |scratch: &Scratch| scratch.head().trim().to_owned();
    let main = id(scratch);
    scratch.git(&["checkout", "--quiet", "-b", "work"]);
    let check = scratch.committed_check("0900");
    let good = id(scratch);
    scratch.edit(&check, "\"as-found\"", "\"as-left\"");
    scratch.stage(&check);
    scratch.commit_unverified();
    [main, good, id(scratch)]
}

#[test]
fn script_for_github_judges_a_range() {
    let scratch = Scratch::book();
    let [main, good, bad] = branch(&scratch);
    let judge = script("ci/github.yml", "name: Judge");
    let from = |to: &str| {
        run(
            &scratch,
            &judge,
            &[("FROM", &main), ("TO", to), ("BOOK", ".")],
        )
    };
    from(&good).ends(0);
    let refused = from(&bad).ends(1);
    assert!(refused.out.contains("record-altered"), "{}", refused.out);
    // A branch that is new is told by zeros.
    let zeros = "0".repeat(40);
    let variables = [("FROM", zeros.as_str()), ("TO", &good), ("BOOK", ".")];
    run(&scratch, &judge, &variables).ends(0);
}

#[test]
fn script_for_gitlab_judges_a_request_and_a_branch() {
    let scratch = Scratch::book();
    let [main, good, bad] = branch(&scratch);
    let judge = script("ci/gitlab.yml", "  script:");
    let top = scratch.top.to_string_lossy().into_owned();
    scratch.git(&["remote", "add", "origin", &top]);
    for (target, before) in [("main", "0000"), ("", main.as_str())] {
        for (to, code) in [(&good, 0), (&bad, 1)] {
            run(
                &scratch,
                &judge,
                &[
                    ("CI_MERGE_REQUEST_TARGET_BRANCH_NAME", target),
                    ("CI_COMMIT_BEFORE_SHA", before),
                    ("CI_COMMIT_SHA", to),
                    ("BOOK", "."),
                ],
            )
            .ends(code);
        }
    }
}

#[test]
fn ci_files_trust_nobody() {
    for file in ["ci/github.yml", "ci/gitlab.yml"] {
        let text = std::fs::read_to_string(Path::new(HOOKS).join(file)).unwrap();
        for word in ["pull_request_target", "secrets.", "write"] {
            let used = text
                .lines()
                .filter(|line| !line.trim_start().starts_with('#'));
            let used: Vec<&str> = used.filter(|line| line.contains(word)).collect();
            assert!(used.is_empty(), "{file}: {used:?}");
        }
        for line in text.lines().filter(|line| line.contains("uses:")) {
            let pinned = line.split('@').nth(1).and_then(|rest| rest.get(..40));
            let hex = |id: &str| id.bytes().all(|byte| byte.is_ascii_hexdigit());
            assert!(pinned.is_some_and(hex), "{file}: {line}");
        }
        // What comes from outside is no part of a script.
        let mut inside = None;
        for line in text.lines() {
            let indent = line.len() - line.trim_start().len();
            if inside.is_some_and(|outer| indent <= outer) && !line.trim().is_empty() {
                inside = None;
            }
            assert!(inside.is_none() || !line.contains("${{"), "{file}: {line}");
            if line.trim_end().ends_with("run: |") {
                inside = Some(indent);
            }
        }
    }
}
