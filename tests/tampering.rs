//! Histories in which something was tampered with: each is refused for what was done, where it was done, and for nothing else.
#![allow(clippy::disallowed_methods, reason = "tests may use files")]

mod support;

use std::time::{Duration, Instant};
use support::history::*;
use support::{FLUID, MARKER};

const ALTERED: &str = "record-altered";
const FACT: &str = "fact-altered";
const DIFFERS: &str = "computed-differs";
const OLD_LOT: &str = "fluids/K-0.toml";
const KNOWN: &str = "\n[gate]\nrequire_known_authors = true\n";
const KEEPER: &str = "\n[[authorised]]\nfor = \"records\"\nfrom = 2026-01-01\n";
const REVIEWER: &str = "\n[[authorised]]\nfor = \"review\"\nfrom = 2026-01-01\n";

/// What a changed figure of a fact does to both old checks.
fn changed_figure(lab: &Lab, fact: &str) -> [Line; 3] {
    [
        error(FACT, fact),
        error(DIFFERS, &lab.one),
        error(DIFFERS, &lab.two),
    ]
}

// Records

#[test]
fn edited_check() {
    let lab = Lab::with_checks();
    lab.edit(&lab.one, "condition", "note = \"steady\"\ncondition");
    lab.everywhere("op-01", &[error(ALTERED, &lab.one)]);
}

#[test]
fn edited_check_in_a_subfolder() {
    let lab = Lab::after("qc/book", |_| {});
    lab.edit(&lab.one, "condition", "note = \"steady\"\ncondition");
    lab.everywhere("op-01", &[error(ALTERED, &lab.one)]);
}

#[test]
fn edited_check_in_repositories_of_another_make() {
    for init in ["--object-format=sha256", "--ref-format=reftable"] {
        let probe = Lab::new().try_git(&["init", "--quiet", init, "probe"]);
        if probe.code != Some(0) {
            continue; // a git that knows no reftable yet
        }
        let lab = Lab::made_with(&[init]);
        lab.tamper(&lab.one);
        lab.everywhere("op-01", &[error(ALTERED, &lab.one)]);
    }
}

#[test]
fn deleted_check() {
    let lab = Lab::with_checks();
    lab.remove(&lab.one);
    lab.everywhere("op-01", &[error(ALTERED, &lab.one)]);
}

#[test]
fn check_renamed_to_another_minute() {
    let lab = Lab::with_checks();
    lab.git(&["config", "diff.renames", "copies"]);
    lab.remove(&lab.one);
    let late = "condition = \"as-found\"\nlate_reason = \"the clock of the bench was wrong\"";
    lab.check_but(40, "0905", "condition = \"as-found\"", late);
    lab.everywhere("op-01", &[error(ALTERED, &lab.one)]);
}

#[test]
fn check_deleted_beside_a_similar_new_one() {
    let lab = Lab::with_checks();
    lab.git(&["config", "diff.renames", "copies"]);
    lab.remove(&lab.one);
    lab.check(1, "0900");
    lab.everywhere("op-01", &[error(ALTERED, &lab.one)]);
}

#[cfg(unix)]
#[test]
fn check_replaced_by_a_link_to_its_copy() {
    let lab = Lab::with_checks();
    std::fs::create_dir(lab.path("kept")).unwrap();
    std::fs::rename(lab.path(&lab.one), lab.path("kept/one.toml")).unwrap();
    std::os::unix::fs::symlink("../../../kept/one.toml", lab.path(&lab.one)).unwrap();
    lab.everywhere(
        "op-01",
        &[error(ALTERED, &lab.one), error("not-a-file", &lab.one)],
    );
}

#[test]
fn check_replaced_by_a_submodule() {
    let lab = Lab::with_checks();
    let (server, before) = (lab.server(), lab.tip());
    lab.remove(&lab.one);
    let entry = format!("160000,{before},{}", lab.one);
    lab.git(&["update-index", "--cacheinfo", &entry]);
    lab.index_everywhere(
        &server,
        &before,
        "op-01",
        &[error(ALTERED, &lab.one), error("not-a-file", &lab.one)],
    );
}

#[test]
fn all_checks_of_a_year_replaced_by_a_link() {
    let lab = Lab::with_checks();
    let (server, before) = (lab.server(), lab.tip());
    lab.git(&["rm", "--quiet", "-r", "--cached", "checks"]);
    // A link's content is where it leads to.
    let blob = lab.git(&["rev-parse", &format!("HEAD:{MARKER}")]);
    let link = format!("120000,{},checks", blob.trim());
    lab.git(&["update-index", "--add", "--cacheinfo", &link]);
    let id = lab.commit_index("op-01", &noon(1), &noon(1));
    for verdict in [lab.range(&before, "HEAD"), server.push(&lab, &["main"])] {
        for path in [&lab.one, &lab.two] {
            verdict.tells(&error(ALTERED, path).by(&id));
        }
    }
}

#[test]
fn executable_bit_is_no_alteration() {
    let lab = Lab::with_checks();
    let (server, before) = (lab.server(), lab.tip());
    lab.git(&["update-index", "--chmod=+x", &lab.one]);
    lab.index_everywhere(&server, &before, "op-01", &[]);
    assert!(
        lab.git(&["ls-tree", "HEAD", &lab.one])
            .starts_with("100755")
    );
}

#[test]
fn line_ends_of_a_check_changed() {
    let lab = Lab::with_checks();
    lab.write(&lab.one, lab.read(&lab.one).replace('\n', "\r\n"));
    lab.everywhere("op-01", &[error(ALTERED, &lab.one)]);
}

#[test]
fn line_ends_that_git_itself_translates_are_no_alteration() {
    let lab = Lab::with_checks();
    lab.git(&["config", "core.autocrlf", "true"]);
    lab.remove(&lab.one);
    lab.git(&["checkout", "--", &lab.one]);
    assert!(lab.read(&lab.one).contains("\r\n"));
    let new = lab.check(1, "0900");
    lab.write(&new, lab.read(&new).replace('\n', "\r\n"));
    lab.everywhere("op-01", &[]);
}

#[test]
fn filter_that_changes_what_is_stored() {
    let lab = Lab::with_checks();
    let (server, before) = (lab.server(), lab.tip());
    lab.git(&["config", "filter.remark.clean", "sed -e '1s/$/ # seen/'"]);
    lab.write(".gitattributes", "checks/** filter=remark\n");
    lab.git(&["add", "--renormalize", "."]);
    assert!(!lab.read(&lab.one).contains("# seen"));
    let expected = [error(ALTERED, &lab.one), error(ALTERED, &lab.two)];
    lab.index_everywhere(&server, &before, "op-01", &expected);
}

#[test]
fn filter_that_changes_only_what_is_shown_in_the_folder() {
    let lab = Lab::with_checks();
    lab.git(&["config", "filter.remark.clean", "sed -e '1s/ # seen$//'"]);
    lab.git(&["config", "filter.remark.smudge", "sed -e '1s/$/ # seen/'"]);
    lab.review(&lab.one, "qa-01", 1);
    lab.write(".git/info/attributes", "checks/** filter=remark\n");
    lab.remove(&lab.one);
    lab.git(&["checkout", "--", &lab.one]);
    assert!(lab.read(&lab.one).contains("# seen"));
    // The review covers what is committed, not what the folder shows.
    lab.everywhere("qa-01", &[]);
}

#[test]
fn encoding_of_the_folder_is_not_that_of_the_record() {
    let lab = Lab::with_checks();
    let new = lab.check(1, "0900");
    let wide: Vec<u8> = std::iter::once(0xFEFF)
        .chain(lab.read(&new).encode_utf16())
        .flat_map(u16::to_le_bytes)
        .collect();
    lab.write(
        ".git/info/attributes",
        format!("{new} working-tree-encoding=UTF-16\n"),
    );
    lab.write(&new, wide);
    lab.everywhere("op-01", &[]);
    assert!(
        lab.git(&["show", &format!("HEAD:{new}")])
            .starts_with("format")
    );
}

#[test]
fn twin_that_differs_in_capitals() {
    let lab = Lab::with_checks();
    let twin = lab.read(FLUID).replace("\"K-1\"", "\"k-1\"");
    lab.write("fluids/k-1.toml", twin);
    lab.everywhere("qa-01", &[error("id-clash", "fluids/k-1.toml")]);
}

#[test]
fn amendment_altered() {
    let lab = Lab::with_checks();
    let path = lab.amendment(&lab.one, 20, "op-01");
    lab.commit("op-01", 20);
    lab.edit(&path, "see the file of the fact", "mistyped");
    lab.everywhere("op-01", &[error(ALTERED, &path)]);
}

#[test]
fn review_altered() {
    let lab = Lab::with_checks();
    let path = lab.review(&lab.one, "qa-01", 20);
    lab.commit("qa-01", 20);
    lab.edit(&path, "decision", "comment = \"well\"\ndecision");
    lab.everywhere("qa-01", &[error(ALTERED, &path)]);
}

/// A nonconformity about the first check, with its outcome.
fn decided(lab: &Lab) -> String {
    format!(
        "format = 1\nid = \"N-1\"\nopened = {}\nchecks = [\"{}\"]\n\n[outcome]\nevaluation = \"nothing was measured\"\n\
         decision = \"it stands\"\nby = \"qa-01\"\ndate = {}\n",
        day(21),
        lab.id_of(&lab.one),
        day(20)
    )
}

#[test]
fn outcome_of_a_nonconformity_altered() {
    let lab = Lab::with_checks();
    let path = "nonconformities/N-1.toml";
    lab.write(path, decided(&lab));
    lab.commit("qa-01", 20);
    lab.edit(path, "it stands", "it stands, after all");
    lab.everywhere("qa-01", &[error(ALTERED, path)]);
}

#[test]
fn review_and_decided_nonconformity_removed() {
    let lab = Lab::with_checks();
    let review = lab.review(&lab.one, "qa-01", 20);
    let path = "nonconformities/N-1.toml";
    lab.write(path, decided(&lab));
    lab.commit("qa-01", 20);
    lab.remove(path);
    lab.remove(&review);
    lab.everywhere("qa-01", &[error(ALTERED, path), error(ALTERED, &review)]);
}

#[test]
fn second_file_of_the_same_name_in_one_folder() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let first = lab.read(&lab.one);
    lab.tamper(&lab.one);
    let blob = lab.git(&["hash-object", "-w", &lab.one]);
    lab.write(&lab.one, first);
    let (folder, name) = lab.one.rsplit_once('/').unwrap();
    let mut entry = format!("100644 blob {}\t{name}\n", blob.trim());
    for (depth, folder) in folder.split('/').rev().enumerate() {
        let up: Vec<&str> = lab.one.split('/').take(3 - depth).collect();
        let listed = lab.git(&["ls-tree", &format!("HEAD:{}", up.join("/"))]);
        let kept: String = listed
            .lines()
            .filter(|line| {
                depth == 0 || !entry.ends_with(&format!("\t{}\n", line.split('\t').nth(1).unwrap()))
            })
            .map(|line| format!("{line}\n"))
            .collect();
        entry = format!("040000 tree {}\t{folder}\n", lab.mktree(&(kept + &entry)));
    }
    let top = lab.git(&["ls-tree", "HEAD"]);
    let kept: String = top
        .lines()
        .filter(|line| !line.ends_with("\tchecks"))
        .map(|line| format!("{line}\n"))
        .collect();
    let tree = lab.mktree(&(kept + &entry));
    let id = lab.git_by(
        "op-01",
        1,
        &["commit-tree", "-p", "HEAD", "-m", "Enter", &tree],
    );
    lab.git(&["update-ref", "refs/heads/main", id.trim()]);
    // Which of the two is the record nobody can say, so nothing is said of it, and nothing passes.
    let range = format!("{}..HEAD", lab.base);
    let done = lab
        .shearbook_in(&lab.book, &["gate", "--range", &range])
        .ends(3);
    assert!(
        done.err.contains(&format!("names {name} twice")),
        "{}",
        done.err
    );
    let before = server.refs(&lab);
    lab.try_git(&["push", "--quiet", "server", "main"]).ends(1);
    assert_eq!(server.refs(&lab), before);
}

#[test]
fn check_edited_and_put_back_in_the_next_commit() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let first = lab.read(&lab.one);
    lab.tamper(&lab.one);
    let edited = lab.commit("op-01", 2);
    lab.write(&lab.one, first);
    lab.commit("op-01", 1);
    lab.range_and_push(&server, &lab.base, &[error(ALTERED, &lab.one).by(&edited)]);
}

#[test]
fn check_deleted_and_written_anew_otherwise() {
    let lab = Lab::with_checks();
    let (server, before) = (lab.server(), lab.tip());
    let first = lab.read(&lab.one);
    lab.remove(&lab.one);
    let gone = lab.commit("op-01", 2);
    lab.write(&lab.one, with_late_reason(&first));
    lab.commit("op-01", 1);
    for verdict in [lab.range(&before, "HEAD"), server.push(&lab, &["main"])] {
        verdict.tells(&error(ALTERED, &lab.one).by(&gone));
    }
}

fn with_late_reason(check: &str) -> String {
    check.replace(
        "condition = \"as-found\"",
        "condition = \"as-found\"\nlate_reason = \"the sheet was mislaid\"",
    )
}

#[test]
fn check_lost_long_ago_and_written_anew_otherwise() {
    let lab = Lab::with_checks();
    let first = lab.read(&lab.one);
    lab.remove(&lab.one);
    lab.commit("op-01", 20);
    lab.write(&lab.one, with_late_reason(&first));
    lab.everywhere("op-01", &[error(ALTERED, &lab.one)]);
}

#[test]
fn bad_check_brought_and_taken_away_again() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let bad = lab.bad_check(2, "0900");
    lab.commit("op-01", 2);
    lab.remove(&bad);
    let went = lab.commit("op-01", 1);
    for verdict in [lab.since_base(), server.push(&lab, &["main"])] {
        verdict.tells(&error(ALTERED, &bad).by(&went));
    }
}

#[test]
fn commit_of_a_check_reverted() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.git_by("op-01", 1, &["revert", "--no-edit", "HEAD"]);
    let expected = [error(ALTERED, &lab.two).by(&lab.tip())];
    lab.range_and_push(&server, &lab.base, &expected);
}

#[test]
fn edit_that_git_is_told_not_to_show() {
    let lab = Lab::with_checks();
    lab.write(
        ".gitattributes",
        "checks/** -diff -text binary export-ignore diff=none\n",
    );
    lab.git(&["config", "diff.none.textconv", "true"]);
    lab.git(&["config", "diff.external", "true"]);
    lab.git(&["config", "diff.ignoreSubmodules", "all"]);
    lab.git(&["config", "core.fileMode", "false"]);
    lab.tamper(&lab.one);
    lab.everywhere("op-01", &[error(ALTERED, &lab.one)]);
}

// The index

#[test]
fn altered_in_the_index_and_whole_in_the_folder() {
    let lab = Lab::with_checks();
    let (server, before) = (lab.server(), lab.tip());
    let first = lab.read(&lab.one);
    lab.tamper(&lab.one);
    lab.stage(&lab.one);
    lab.write(&lab.one, first);
    lab.index_everywhere(&server, &before, "op-01", &[error(ALTERED, &lab.one)]);
}

#[test]
fn whole_in_the_index_and_altered_in_the_folder() {
    let lab = Lab::with_checks();
    let (server, before) = (lab.server(), lab.tip());
    let new = lab.check(1, "0900");
    lab.stage(&new);
    lab.edit(&new, "\"K-1\"", "\"K-0\"");
    lab.tamper(&lab.one);
    lab.edit(FLUID, "484.0", "483.0");
    lab.index_everywhere(&server, &before, "op-01", &[]);
}

#[test]
fn bad_check_only_meant_to_be_added() {
    let lab = Lab::with_checks();
    let bad = lab.bad_check(1, "0900");
    lab.git(&["add", "--intent-to-add", &bad]);
    lab.staged("op-01").passes();
}

#[test]
fn check_dropped_behind_a_mere_intention_to_add_it() {
    let lab = Lab::with_checks();
    lab.git(&["rm", "--quiet", "--cached", &lab.one]);
    lab.git(&["add", "--intent-to-add", &lab.one]);
    lab.staged("op-01").says(&[error(ALTERED, &lab.one)]);
}

#[test]
fn check_hidden_from_git_status() {
    let lab = Lab::with_checks();
    lab.tamper(&lab.one);
    lab.stage(&lab.one);
    lab.git(&["update-index", "--assume-unchanged", &lab.one]);
    lab.git(&["update-index", "--skip-worktree", &lab.two]);
    lab.staged("op-01").says(&[error(ALTERED, &lab.one)]);
}

// Merges

/// `side` and `main` each have a check of their own; HEAD is main.
fn diverged() -> (Lab, Server, String) {
    let lab = Lab::with_checks();
    lab.branch("side");
    lab.check(3, "0900");
    lab.commit("op-01", 3);
    lab.switch("main");
    lab.check(2, "0900");
    let before = lab.commit("op-01", 2);
    let server = lab.server();
    (lab, server, before)
}

#[test]
fn old_check_edited_in_a_merge() {
    let (lab, server, before) = diverged();
    lab.merge_open(&["side"]);
    lab.tamper(&lab.one);
    lab.stage(&lab.one);
    lab.index_everywhere(&server, &before, "qa-01", &[error(ALTERED, &lab.one)]);
}

#[test]
fn check_of_the_branch_edited_in_a_merge() {
    let (lab, server, before) = diverged();
    lab.merge_open(&["side"]);
    let brought = lab.path_of(3, "0900");
    lab.edit(&brought, "condition", "note = \"steady\"\ncondition");
    lab.stage(&brought);
    lab.index_everywhere(&server, &before, "qa-01", &[error(ALTERED, &brought)]);
}

#[test]
fn bad_check_added_in_a_merge() {
    let (lab, server, before) = diverged();
    lab.merge_open(&["side"]);
    let bad = lab.bad_check(1, "0900");
    lab.stage(&bad);
    lab.index_everywhere(&server, &before, "op-01", &[lab.expired(&bad)]);
}

#[test]
fn bad_check_of_a_branch_is_told_once_where_it_came_in() {
    let lab = Lab::with_checks();
    lab.branch("side");
    let bad = lab.bad_check(3, "0900");
    let came = lab.commit("op-01", 3);
    lab.switch("main");
    lab.check(2, "0900");
    lab.commit("op-01", 2);
    let server = lab.server();
    let before = lab.tip();
    lab.merge(1, &["side"]);
    lab.range_and_push(&server, &before, &[lab.expired(&bad).by(&came)]);
}

#[test]
fn row_of_main_lost_in_a_merge() {
    let (lab, _, _) = diverged();
    lab.append(FLUID, "\n[[bottle]]\nid = \"2\"\nopened = 2026-03-01\n");
    let before = lab.commit("qa-01", 2);
    let server = lab.server_again();
    lab.merge_open(&["side"]);
    lab.git(&["checkout", "--quiet", "side", "--", FLUID]);
    lab.index_everywhere(&server, &before, "qa-01", &[error(FACT, FLUID)]);
}

#[test]
fn row_of_the_branch_lost_in_a_merge_that_keeps_ours() {
    let lab = Lab::with_checks();
    lab.branch("side");
    lab.append(FLUID, "\n[[bottle]]\nid = \"2\"\nopened = 2026-03-01\n");
    lab.commit("qa-01", 3);
    lab.switch("main");
    lab.check(2, "0900");
    let before = lab.commit("op-01", 2);
    let server = lab.server();
    let merge = lab.merge(1, &["--strategy", "ours", "side"]);
    lab.range_and_push(&server, &before, &[error(FACT, FLUID).by(&merge)]);
}

#[test]
fn check_of_the_branch_dropped_by_a_merge_that_keeps_ours() {
    let (lab, server, before) = diverged();
    let merge = lab.merge(1, &["--strategy", "ours", "side"]);
    let dropped = lab.path_of(3, "0900");
    lab.range_and_push(&server, &before, &[error(ALTERED, dropped).by(&merge)]);
}

#[test]
fn old_check_edited_in_an_octopus() {
    let (lab, server, before) = diverged();
    lab.branch("third");
    lab.check(2, "1000");
    lab.commit("op-01", 2);
    lab.switch("main");
    lab.check(2, "1100");
    lab.commit("op-01", 2);
    lab.merge(1, &["side", "third"]);
    lab.tamper(&lab.one);
    lab.git(&["add", "--all"]);
    lab.git_by("qa-01", 1, &["commit", "--quiet", "--amend", "--no-edit"]);
    let merge = lab.tip();
    let parents = lab.git(&["log", "-1", "--format=%P"]);
    assert_eq!(parents.split_whitespace().count(), 3);
    lab.range_and_push(&server, &before, &[error(ALTERED, &lab.one).by(&merge)]);
}

#[test]
fn value_changed_in_a_merge() {
    let (lab, server, before) = diverged();
    lab.merge_open(&["side"]);
    lab.edit(FLUID, "viscosity_mpa_s = 484.0", "viscosity_mpa_s = 483.0");
    lab.stage(FLUID);
    let mut expected = changed_figure(&lab, FLUID).to_vec();
    for ago in [3, 2] {
        expected.push(error(DIFFERS, lab.path_of(ago, "0900")));
    }
    lab.staged("qa-01").says(&expected);
    let merge = lab.commit("qa-01", 1);
    for verdict in [lab.range(&before, "HEAD"), server.push(&lab, &["main"])] {
        for line in changed_figure(&lab, FLUID) {
            verdict.tells(&line.by(&merge));
        }
    }
}

#[test]
fn two_sound_branches_that_do_not_go_together() {
    // One branch puts the lot right with all its amendments, the other brings a check that rests on the old figure.
    let lab = Lab::after("", |lab| lab.append(OPERATOR, KEEPER));
    lab.branch("side");
    correct(&lab, "484.0", true, true, 3);
    lab.commit("op-01", 3);
    lab.switch("main");
    let rests = lab.check(2, "0900");
    let before = lab.commit("op-01", 2);
    let server = lab.server();
    let merge = lab.merge(1, &["side"]);
    let range = lab.range(&before, "HEAD");
    let lines = range.lines();
    assert!(
        lines.contains(&format!("error {DIFFERS} {rests} {merge}")),
        "{lines:?}"
    );
    assert!(lines.iter().all(|one| one.contains(&merge)), "{lines:?}");
    assert_eq!(server.push(&lab, &["main"]).lines(), lines);
}

#[test]
fn altered_branch_merged() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.branch("side");
    lab.tamper(&lab.one);
    let altered = lab.commit("op-01", 3);
    lab.switch("main");
    lab.check(2, "0900");
    lab.commit("op-01", 2);
    lab.merge(1, &["side"]);
    for verdict in [lab.since_base(), server.push(&lab, &["main"])] {
        verdict.tells(&error(ALTERED, &lab.one).by(&altered));
    }
}

#[test]
fn altered_copy_merged_from_a_history_of_its_own() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.git(&["checkout", "--quiet", "--orphan", "other"]);
    lab.tamper(&lab.one);
    lab.commit("op-01", 2);
    lab.switch("main");
    let words = [
        "--allow-unrelated-histories",
        "--strategy-option",
        "theirs",
        "other",
    ];
    let merge = lab.merge(1, &words);
    for verdict in [lab.since_base(), server.push(&lab, &["main"])] {
        verdict.tells(&error(ALTERED, &lab.one).by(&merge));
    }
}

#[test]
fn value_merged_from_a_history_of_its_own() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.git(&["checkout", "--quiet", "--orphan", "other"]);
    lab.git(&["rm", "--quiet", "-r", "-f", "checks"]);
    lab.edit(FLUID, "viscosity_mpa_s = 484.0", "viscosity_mpa_s = 483.0");
    lab.commit("qa-01", 2);
    lab.switch("main");
    let words = [
        "--allow-unrelated-histories",
        "--strategy-option",
        "theirs",
        "other",
    ];
    let merge = lab.merge(1, &words);
    for verdict in [lab.since_base(), server.push(&lab, &["main"])] {
        for line in changed_figure(&lab, FLUID) {
            verdict.tells(&line.by(&merge));
        }
    }
}

/// A branch from before the first check, where a fact may be changed freely, is merged.
fn merged_from_before_the_checks(change: impl FnOnce(&Lab), lines: impl Fn(&Lab) -> Vec<Line>) {
    let lab = Lab::with_checks();
    let offset = format!("{}T23:30:00+00:00", day(25));
    lab.check_but(25, "2330", &format!("{}T23:30:00", day(25)), &offset);
    let before = lab.commit("op-01", 24);
    let server = lab.server();
    lab.git(&["switch", "--quiet", "--create", "side", "HEAD~3"]);
    change(&lab);
    lab.commit("qa-01", 2);
    lab.switch("main");
    lab.merge_open(&["side"]);
    lab.index_everywhere(&server, &before, "qa-01", &lines(&lab));
}

#[test]
fn value_changed_on_a_branch_from_before_the_checks() {
    merged_from_before_the_checks(
        |lab| lab.edit(FLUID, "viscosity_mpa_s = 484.0", "viscosity_mpa_s = 483.0"),
        |lab| {
            let third = error(DIFFERS, lab.path_of(25, "2330"));
            [&changed_figure(lab, FLUID)[..], &[third]].concat()
        },
    );
}

#[test]
fn time_zone_changed_on_a_branch_from_before_the_checks() {
    merged_from_before_the_checks(
        |lab| lab.edit(MARKER, "UTC", "Asia/Tokyo"),
        |_| vec![error(FACT, MARKER)],
    );
}

#[test]
fn new_policy_on_a_branch_from_before_the_checks() {
    let path = "policies/P-2.toml";
    merged_from_before_the_checks(
        |lab| {
            let policy = lab.read(POLICY).replace("\"P-1\"", "\"P-2\"");
            let effective = format!("effective = {}", day(50));
            lab.write(path, policy.replace("effective = 2026-01-01", &effective));
        },
        |lab| {
            let third = error(DIFFERS, lab.path_of(25, "2330"));
            [&changed_figure(lab, path)[..], &[third]].concat()
        },
    );
}

// Refs

#[test]
fn amended_commit_forced_onto_a_sealed_branch() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.edit(&lab.two, "condition", "note = \"steady\"\ncondition");
    lab.git(&["add", "--all"]);
    lab.git_by("op-01", 30, &["commit", "--quiet", "--amend", "--no-edit"]);
    server
        .push(&lab, &["--force", "main"])
        .says(&[error("history-rewritten", "*")]);
}

#[test]
fn sealed_branch_forced_back() {
    let lab = Lab::with_checks();
    let server = lab.server();
    server
        .push(&lab, &["--force", "HEAD~1:main"])
        .says(&[error("history-rewritten", "*")]);
}

#[test]
fn sealed_branch_forced_to_a_history_of_its_own() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.git(&["checkout", "--quiet", "--orphan", "other"]);
    lab.commit("qa-01", 1);
    server
        .push(&lab, &["--force", "other:main"])
        .tells(&error("history-rewritten", "*"));
}

#[test]
fn sealed_branch_deleted() {
    let lab = Lab::with_checks();
    let server = lab.server();
    server
        .push(&lab, &["--delete", "main"])
        .says(&[error("history-rewritten", "*")]);
}

#[test]
fn branch_that_the_book_names_as_sealed_forced_and_deleted() {
    let lab = Lab::after("", |lab| {
        lab.append(MARKER, "\n[gate]\nsealed_refs = [\"main\", \"audited\"]\n");
    });
    lab.git(&["branch", "audited"]);
    let server = lab.server();
    for words in [&["--force", "HEAD~1:audited"], &["--delete", "audited"]] {
        server
            .push(&lab, words)
            .says(&[error("history-rewritten", "*")]);
    }
}

#[test]
fn sealed_list_shortened_and_branch_forced_in_one_push() {
    let lab = Lab::after("", |lab| {
        lab.append(MARKER, "\n[gate]\nsealed_refs = [\"main\", \"audited\"]\n");
    });
    lab.git(&["branch", "audited"]);
    let server = lab.server();
    lab.edit(MARKER, "[\"main\", \"audited\"]", "[\"main\"]");
    let id = lab.commit("qa-01", 1);
    server.push(&lab, &["main", "+HEAD~2:audited"]).says(&[
        error("history-rewritten", "*"),
        warning("signing-switched-off", "*").by(&id),
    ]);
}

#[test]
fn unsealed_branch_may_be_forced() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.branch("side");
    lab.check(3, "0900");
    lab.commit("op-01", 3);
    server.push(&lab, &["side"]).passes();
    lab.git(&["reset", "--quiet", "--hard", "main"]);
    lab.check(3, "1000");
    lab.commit("op-01", 3);
    server.push(&lab, &["--force", "side"]).passes();
}

#[test]
fn new_branch_is_judged_from_where_it_left() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.branch("side");
    lab.remove(&lab.one);
    let gone = lab.commit("op-01", 1);
    server
        .push(&lab, &["side"])
        .says(&[error(ALTERED, &lab.one).by(&gone)]);
}

#[test]
fn tag_is_judged_as_what_it_names() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.remove(&lab.one);
    let gone = lab.commit("op-01", 1);
    lab.git(&["tag", "--annotate", "--message", "Audit", "audit"]);
    lab.git(&[
        "tag",
        "--annotate",
        "--message",
        "Of a tag",
        "again",
        "audit",
    ]);
    lab.git(&["tag", "plain"]);
    for tag in ["audit", "again", "plain"] {
        server
            .push(&lab, &[&format!("refs/tags/{tag}")])
            .says(&[error(ALTERED, &lab.one).by(&gone)]);
    }
}

#[test]
fn tag_of_a_file_is_no_history() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.git(&["tag", "sheet", &format!("HEAD:{}", lab.one)]);
    lab.git(&["tag", "folder", "HEAD:checks"]);
    server
        .push(&lab, &["refs/tags/sheet", "refs/tags/folder"])
        .passes();
}

#[test]
fn one_bad_ref_among_many() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.branch("bad");
    lab.remove(&lab.one);
    let gone = lab.commit("op-01", 2);
    lab.switch("main");
    for number in 0..20 {
        lab.git(&["branch", &format!("topic-{number:02}")]);
    }
    lab.check(1, "0900");
    lab.commit("op-01", 1);
    lab.git(&["tag", "--annotate", "--message", "Sound", "sound"]);
    server
        .push(&lab, &["--all"])
        .says(&[error(ALTERED, &lab.one).by(&gone)]);
}

#[test]
fn bad_commit_that_the_server_had_on_another_branch() {
    // It came there before there was a hook; that does not bring it into the sealed branch unseen.
    for how in ["--no-ff", "--ff-only"] {
        let lab = Lab::with_checks();
        lab.branch("side");
        lab.remove(&lab.one);
        let gone = lab.commit("op-01", 2);
        lab.switch("main");
        let server = lab.server();
        lab.git_by("qa-01", 1, &["merge", "--quiet", how, "side"]);
        for verdict in [lab.since_base(), server.push(&lab, &["main"])] {
            verdict.tells(&error(ALTERED, &lab.one).by(&gone));
        }
    }
}

#[test]
fn sealed_branch_named_in_full() {
    let lab = Lab::after("", |lab| {
        lab.append(MARKER, "\n[gate]\nsealed_refs = [\"refs/heads/audited\"]\n");
    });
    lab.git(&["branch", "audited"]);
    let server = lab.server();
    server
        .push(&lab, &["--force", "HEAD~1:audited"])
        .says(&[error("history-rewritten", "*")]);
}

#[test]
fn requirement_is_that_of_the_sealed_branch_and_not_of_a_new_one() {
    let lab = Lab::after("", |lab| lab.append(MARKER, KNOWN));
    let server = lab.server();
    lab.branch("side");
    lab.edit(MARKER, "authors = true", "authors = false");
    let ended = lab.commit("qa-01", 2);
    let check = lab.check(1, "0900");
    let id = lab.commit("op-02", 1);
    server.push(&lab, &["side"]).says(&[
        warning("signing-switched-off", "*").by(&ended),
        error("author-not-operator", &check).by(&id),
    ]);
}

#[test]
fn sealed_tag_moved() {
    let lab = Lab::after("", |lab| {
        lab.append(
            MARKER,
            "\n[gate]\nsealed_refs = [\"main\", \"refs/tags/audit\"]\n",
        );
    });
    lab.git(&["tag", "audit"]);
    let server = lab.server();
    lab.git(&["tag", "--force", "audit", "HEAD~1"]);
    server
        .push(&lab, &["--force", "refs/tags/audit"])
        .says(&[error("history-rewritten", "*")]);
}

#[test]
fn one_bad_commit_under_several_names() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.remove(&lab.one);
    let gone = lab.commit("op-01", 1);
    for name in ["a", "b", "c"] {
        lab.git(&["branch", name]);
        lab.git(&[
            "tag",
            "--annotate",
            "--message",
            "Audit",
            &format!("tag-{name}"),
        ]);
    }
    let verdict = server.push(&lab, &["--all", "--follow-tags"]);
    verdict.says(&[error(ALTERED, &lab.one).by(&gone)]);
    assert_eq!(verdict.out.matches(ALTERED).count(), 1, "{}", verdict.out);
}

// Dates

#[test]
fn late_entry_hidden_by_the_authors_date() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let late = lab.check(20, "0900");
    lab.git(&["add", "--all"]);
    lab.staged("op-01").says(&[error("entered-late", &late)]);
    let id = lab.commit_dated("op-01", &noon(20), &noon(1));
    lab.range_and_push(&server, &lab.base, &[error("entered-late", &late).by(&id)]);
}

#[test]
fn late_by_one_day_more_than_the_book_allows() {
    for (setting, days) in [("", 3), ("\n[gate]\nlate_entry_days = 1\n", 1)] {
        let lab = Lab::after("", |lab| lab.append(MARKER, setting));
        let server = lab.server();
        lab.check(10 + days, "0900");
        lab.commit("op-01", 10);
        let late = lab.check(10 + days, "1000");
        let id = lab.commit("op-01", 9);
        lab.range_and_push(&server, &lab.base, &[error("entered-late", &late).by(&id)]);
    }
}

#[test]
fn amendment_entered_late() {
    let lab = Lab::with_checks();
    let late = lab.amendment(&lab.one, 20, "op-01");
    lab.everywhere("op-01", &[error("entered-late", &late)]);
}

#[test]
fn committers_date_set_back() {
    let lab = Lab::with_checks();
    lab.check(10, "0900");
    lab.commit("op-01", 10);
    let server = lab.server();
    let before = lab.tip();
    lab.check(20, "0900");
    let id = lab.commit("op-01", 20);
    lab.range_and_push(
        &server,
        &before,
        &[warning("commit-dated-back", "*").by(&id)],
    );
}

/// A late check in a commit that is dated like its parent; it is the parent that goes back, and it holds nothing of the book.
fn set_back(folder: &'static str) {
    let lab = Lab::after(folder, |_| {});
    lab.check(5, "0900");
    lab.commit("op-01", 5);
    let (server, before) = (lab.server(), lab.tip());
    let back = match folder {
        "" => {
            let words = ["commit", "--quiet", "--allow-empty", "--message", "Wait"];
            lab.git_by("op-01", 20, &words);
            lab.tip()
        }
        _ => {
            std::fs::write(lab.top.join("notes.txt"), "levels\n").unwrap();
            lab.commit("op-01", 20)
        }
    };
    lab.check(20, "0900");
    lab.commit("op-01", 20);
    let expected = [warning("commit-dated-back", "*").by(&back)];
    lab.range_and_push(&server, &before, &expected);
}

#[test]
fn date_set_back_in_a_commit_that_is_empty() {
    set_back("");
}

#[test]
fn date_set_back_in_a_commit_beside_the_book() {
    set_back("book");
}

#[test]
fn check_and_commit_both_of_the_future() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let future = lab.check(-5, "0900");
    let id = lab.commit("op-01", -5);
    let expected = [error("performed-in-future", &future).by(&id)];
    lab.range_and_push(&server, &lab.base, &expected);
}

#[test]
fn check_dated_after_the_commit_that_brought_it() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let future = lab.check(1, "1211");
    lab.git(&["add", "--all"]);
    lab.staged("op-01").passes();
    let id = lab.commit_dated("op-01", &noon(1), &noon(1));
    let expected = [error("performed-in-future", &future).by(&id)];
    lab.range_and_push(&server, &lab.base, &expected);
}

#[test]
fn check_of_tomorrow() {
    let lab = Lab::with_checks();
    let future = lab.check(-2, "0900");
    lab.everywhere("op-01", &[error("performed-in-future", &future)]);
}

// People

#[test]
fn review_of_other_content() {
    let lab = Lab::with_checks();
    let review = lab.review(&lab.one, "qa-01", 1);
    let (one, two) = (sha256(&lab.read(&lab.one)), sha256(&lab.read(&lab.two)));
    lab.edit(&review, &one, &two);
    lab.everywhere("qa-01", &[error("review-of-other-content", &review)]);
}

#[test]
fn review_by_the_operator() {
    let lab = Lab::after("", |lab| lab.append(OPERATOR, REVIEWER));
    let review = lab.review(&lab.one, "op-01", 1);
    lab.everywhere("op-01", &[error("review-not-independent", &review)]);
}

#[test]
fn review_by_who_committed_the_check() {
    let lab = Lab::with_checks();
    lab.check(20, "0900");
    let server = lab.server();
    let check = lab.path_of(20, "0900");
    let came = lab.commit("qa-01", 20);
    let before = lab.tip();
    lab.range(&lab.base, "HEAD")
        .says(&[warning("author-not-operator", &check).by(&came)]);
    server
        .push(&lab, &["main"])
        .says(&[warning("author-not-operator", &check).by(&came)]);
    let review = lab.review(&check, "qa-01", 1);
    lab.git(&["add", "--all"]);
    let expected = [error("review-not-independent", &review)];
    lab.index_everywhere(&server, &before, "qa-01", &expected);
}

#[test]
fn review_by_nobody_authorised() {
    let lab = Lab::with_checks();
    let review = lab.review(&lab.one, "op-02", 1);
    lab.everywhere("op-02", &[error("reviewer-not-authorised", &review)]);
}

#[test]
fn review_decided_before_the_check() {
    let lab = Lab::with_checks();
    let review = lab.review(&lab.two, "qa-01", 35);
    lab.everywhere("qa-01", &[error("review-before-check", &review)]);
}

#[test]
fn review_committed_by_the_operator() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let review = lab.review(&lab.one, "qa-01", 1);
    let id = lab.commit("op-01", 1);
    lab.range_and_push(
        &server,
        &lab.base,
        &[warning("author-not-reviewer", &review).by(&id)],
    );
}

#[test]
fn review_committed_by_the_operator_where_authors_must_be_known() {
    let lab = Lab::after("", |lab| lab.append(MARKER, KNOWN));
    let server = lab.server();
    let review = lab.review(&lab.one, "qa-01", 1);
    let id = lab.commit("op-01", 1);
    lab.range_and_push(
        &server,
        &lab.base,
        &[error("author-not-reviewer", &review).by(&id)],
    );
}

#[test]
fn check_committed_by_somebody_else() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let check = lab.check(1, "0900");
    let id = lab.commit("op-02", 1);
    lab.range_and_push(
        &server,
        &lab.base,
        &[warning("author-not-operator", &check).by(&id)],
    );
}

#[test]
fn check_committed_by_somebody_else_where_authors_must_be_known() {
    let lab = Lab::after("", |lab| lab.append(MARKER, KNOWN));
    let server = lab.server();
    let check = lab.check(1, "0900");
    let id = lab.commit("op-02", 1);
    lab.range_and_push(
        &server,
        &lab.base,
        &[error("author-not-operator", &check).by(&id)],
    );
}

#[test]
fn facts_changed_by_somebody_not_authorised() {
    for path in [FLUID, POLICY, OPERATOR, MARKER, INSTRUMENT] {
        let lab = Lab::with_checks();
        let server = lab.server();
        lab.edit(path, "format = 1\n", "format = 1\nnote = \"looked at\"\n");
        let id = lab.commit("op-01", 1);
        lab.range_and_push(
            &server,
            &lab.base,
            &[warning("author-not-authorised", path).by(&id)],
        );
    }
}

#[test]
fn facts_changed_by_somebody_not_authorised_where_authors_must_be_known() {
    let lab = Lab::after("", |lab| lab.append(MARKER, KNOWN));
    let server = lab.server();
    lab.edit(FLUID, "format = 1\n", "format = 1\nnote = \"looked at\"\n");
    let id = lab.commit("op-01", 1);
    lab.range_and_push(
        &server,
        &lab.base,
        &[error("author-not-authorised", FLUID).by(&id)],
    );
}

#[test]
fn requirement_of_known_authors_ended_in_the_same_push() {
    let lab = Lab::after("", |lab| lab.append(MARKER, KNOWN));
    let server = lab.server();
    lab.edit(MARKER, "authors = true", "authors = false");
    let ended = lab.commit("qa-01", 2);
    let check = lab.check(1, "0900");
    let id = lab.commit("op-02", 1);
    server.push(&lab, &["main"]).says(&[
        warning("signing-switched-off", "*").by(&ended),
        error("author-not-operator", &check).by(&id),
    ]);
}

#[test]
fn lateness_allowed_in_the_same_push() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.append(MARKER, "\n[gate]\nlate_entry_days = 365\n");
    let eased = lab.commit("qa-01", 2);
    let late = lab.check(20, "0900");
    let id = lab.commit("op-01", 1);
    server.push(&lab, &["main"]).says(&[
        error("entered-late", &late).by(&id),
        warning("signing-switched-off", "*").by(&eased),
    ]);
}

#[test]
fn right_to_keep_records_taken_in_the_same_push() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.append(OPERATOR, KEEPER);
    let taken = lab.commit("op-01", 2);
    lab.edit(FLUID, "format = 1\n", "format = 1\nnote = \"looked at\"\n");
    let used = lab.commit("op-01", 1);
    server.push(&lab, &["main"]).says(&[
        warning("author-not-authorised", OPERATOR).by(&taken),
        warning("author-not-authorised", FLUID).by(&used),
    ]);
}

#[test]
fn mail_address_of_a_keeper_taken_in_the_same_commit() {
    let lab = Lab::after("", |lab| lab.append(MARKER, KNOWN));
    let server = lab.server();
    let emails = "emails = [\"qa-01@lab.example\"";
    lab.edit(
        "people/qa-01.toml",
        emails,
        &format!("{emails}, \"op-02@lab.example\""),
    );
    let id = lab.commit("op-02", 1);
    let expected = [error("author-not-authorised", "people/qa-01.toml").by(&id)];
    lab.range_and_push(&server, &lab.base, &expected);
}

#[test]
fn author_without_an_address() {
    let lab = Lab::after("", |lab| lab.append(MARKER, KNOWN));
    let server = lab.server();
    let nameless = ["commit", "--quiet", "--message", "Enter", "--author=x <>"];
    let check = lab.check(2, "0900");
    lab.git(&["add", "--all"]);
    lab.git_by("op-01", 2, &nameless);
    let entered = lab.tip();
    lab.edit(POLICY, "format = 1\n", "format = 1\nnote = \"looked at\"\n");
    lab.git(&["add", "--all"]);
    lab.git_by("op-01", 1, &nameless);
    let expected = [
        error("author-not-operator", &check).by(&entered),
        error("author-not-authorised", POLICY).by(&lab.tip()),
    ];
    lab.range_and_push(&server, &lab.base, &expected);
}

#[test]
fn mail_map_makes_nobody_the_operator() {
    let lab = Lab::after("", |lab| lab.append(MARKER, KNOWN));
    let server = lab.server();
    lab.write(
        ".mailmap",
        "op-01 <op-01@lab.example> <op-02@lab.example>\n",
    );
    lab.git(&["config", "log.mailmap", "true"]);
    let check = lab.check(1, "0900");
    let id = lab.commit("op-02", 1);
    lab.range_and_push(
        &server,
        &lab.base,
        &[error("author-not-operator", &check).by(&id)],
    );
}

// Facts

#[test]
fn policy_relaxed_in_place() {
    let lab = Lab::with_checks();
    lab.edit(POLICY, "fluid_percent = 1.0", "fluid_percent = 2.0");
    lab.everywhere("qa-01", &changed_figure(&lab, POLICY));
}

#[test]
fn new_policy_in_force_before_old_checks() {
    let lab = Lab::with_checks();
    let path = "policies/P-2.toml";
    let policy = lab.read(POLICY).replace("\"P-1\"", "\"P-2\"");
    let effective = format!("effective = {}", day(50));
    lab.write(path, policy.replace("effective = 2026-01-01", &effective));
    lab.everywhere("qa-01", &changed_figure(&lab, path));
}

#[test]
fn policy_that_judged_old_checks_removed() {
    let lab = Lab::with_checks();
    lab.remove(POLICY);
    lab.everywhere("qa-01", &[error(FACT, POLICY)]);
}

#[test]
fn another_group_brings_another_policy() {
    let lab = Lab::after("", |lab| {
        let policy = lab.read(POLICY).replace("\"P-1\"", "\"P-2\"");
        lab.write(
            "policies/P-2.toml",
            policy.replace("method = 1\n", "method = 1\ngroups = [\"bench\"]\n"),
        );
    });
    lab.edit(INSTRUMENT, "usage =", "group = \"bench\"\nusage =");
    lab.everywhere("qa-01", &changed_figure(&lab, INSTRUMENT));
}

#[test]
fn certified_value_changed() {
    let lab = Lab::with_checks();
    lab.edit(FLUID, "viscosity_mpa_s = 484.0", "viscosity_mpa_s = 483.0");
    lab.everywhere("qa-01", &changed_figure(&lab, FLUID));
}

#[test]
fn spring_row_changed() {
    let lab = Lab::with_checks();
    lab.edit(INSTRUMENT, "torque_un_m = 100.0", "torque_un_m = 110.0");
    lab.everywhere("qa-01", &changed_figure(&lab, INSTRUMENT));
}

#[test]
fn constant_of_a_geometry_changed() {
    let lab = Lab::with_checks();
    let path = "geometries/G-1.toml";
    lab.edit(path, "30000.0", "30010.0");
    lab.everywhere("qa-01", &changed_figure(&lab, path));
}

/// The full calibration ended between both checks, so the second has a warning.
fn lapsed() -> Lab {
    Lab::after("", |lab| {
        let due = format!("due = {}", day(35));
        lab.edit(INSTRUMENT, "due = 2099-01-12", &due);
    })
}

#[test]
fn certificate_made_to_last_longer() {
    let lab = lapsed();
    let due = format!("due = {}", day(35));
    lab.edit(INSTRUMENT, &due, "due = 2099-01-12");
    lab.everywhere("qa-01", &[error(FACT, INSTRUMENT)]);
}

const CALIBRATION: &str = "[[service]]\ndate = DATE\nkind = \"calibration\"\nby = \"A competent laboratory\"\n\
                           certificate = \"C-101\"\ndue = 2099-01-12\n\n[[standing]]";

#[test]
fn row_of_the_past_without_a_reason() {
    let lab = lapsed();
    let row = CALIBRATION.replace("DATE", &day(36).to_string());
    lab.edit(INSTRUMENT, "[[standing]]", &row);
    lab.everywhere("qa-01", &[error(FACT, INSTRUMENT)]);
}

#[test]
fn row_of_the_past_with_a_reason_beside_a_changed_row() {
    // The reason covers the row that it stands in, and not the edit beside it.
    let lab = lapsed();
    let row = CALIBRATION.replace("DATE", &day(36).to_string()).replace(
        "due = 2099",
        "late_reason = \"the certificate came late\"\ndue = 2099",
    );
    lab.edit(INSTRUMENT, "[[standing]]", &row);
    lab.edit(INSTRUMENT, "torque_un_m = 100.0", "torque_un_m = 110.0");
    let server = lab.server();
    let id = lab.commit("qa-01", 1);
    for verdict in [lab.since_base(), server.push(&lab, &["main"])] {
        verdict.tells(&error(FACT, INSTRUMENT).by(&id));
    }
}

#[test]
fn standing_rows_removed() {
    let rows = format!(
        "\n[[standing]]\nfrom = {}\nstate = \"quarantined\"\nby = \"qa-01\"\nreason = \"dropped\"\n\
         \n[[standing]]\nfrom = {}\nstate = \"in-service\"\nby = \"qa-01\"\nreason = \"looked at\"\n",
        day(35),
        day(20)
    );
    // The second check was made in between, and committed past every hook.
    let lab = Lab::after("", |lab| lab.append(INSTRUMENT, &rows));
    lab.edit(INSTRUMENT, &rows, "");
    lab.everywhere("qa-01", &[error(FACT, INSTRUMENT)]);
}

#[test]
fn quarantine_of_the_past_without_a_reason() {
    let lab = Lab::with_checks();
    lab.append(
        INSTRUMENT,
        &format!(
            "\n[[standing]]\nfrom = {}\nstate = \"quarantined\"\nby = \"qa-01\"\nreason = \"dropped\"\n",
            day(35)
        ),
    );
    lab.everywhere("qa-01", &[error(FACT, INSTRUMENT)]);
}

#[test]
fn expired_lot_made_valid() {
    let lab = Lab::with_checks();
    lab.bad_check(20, "0900");
    lab.commit("op-01", 20);
    lab.edit(OLD_LOT, "expires = 2026-02-20", "expires = 2099-02-20");
    lab.everywhere("qa-01", &[error(FACT, OLD_LOT)]);
}

#[test]
fn bottle_discarded_before_its_last_use() {
    let lab = Lab::with_checks();
    lab.append(FLUID, &format!("discarded = {}\n", day(31)));
    lab.everywhere("qa-01", &[error(FACT, FLUID)]);
}

#[test]
fn right_to_check_ended_before_the_last_check() {
    let lab = Lab::with_checks();
    lab.append(OPERATOR, &format!("until = {}\n", day(31)));
    lab.everywhere("qa-01", &[error(FACT, OPERATOR)]);
}

/// Three books from which a fact is gone that checks name, and its path.
fn facts_gone() -> [(Lab, &'static str); 3] {
    let [removed, renamed, bath] = [(); 3].map(|()| Lab::with_checks());
    removed.remove(THERMOMETER);
    let text = renamed.read(FLUID).replace("\"K-1\"", "\"K-9\"");
    renamed.write("fluids/K-9.toml", text);
    renamed.remove(FLUID);
    bath.check_but(20, "0900", "operator =", "bath = \"WB-1\"\noperator =");
    bath.commit("op-01", 20);
    bath.remove("baths/WB-1.toml");
    [
        (removed, THERMOMETER),
        (renamed, FLUID),
        (bath, "baths/WB-1.toml"),
    ]
}

#[test]
fn fact_removed_or_renamed() {
    for (lab, path) in facts_gone() {
        let (server, before) = (lab.server(), lab.tip());
        lab.git(&["add", "--all"]);
        lab.staged("qa-01").tells(&error(FACT, path));
        let id = lab.commit("qa-01", 1);
        for verdict in [lab.range(&before, "HEAD"), server.push(&lab, &["main"])] {
            verdict.tells(&error(FACT, path).by(&id));
        }
    }
}

#[test]
fn fact_removed_or_renamed_is_told_at_the_fact_alone() {
    for (lab, path) in facts_gone() {
        lab.everywhere("qa-01", &[error(FACT, path)]);
    }
}

#[test]
fn time_zone_that_moves_a_check_to_another_date() {
    let lab = Lab::with_checks();
    let offset = format!("{}T23:30:00+00:00", day(25));
    lab.check_but(25, "2330", &format!("{}T23:30:00", day(25)), &offset);
    lab.commit("op-01", 24);
    lab.edit(MARKER, "UTC", "Asia/Tokyo");
    lab.everywhere("qa-01", &[error(FACT, MARKER)]);
}

#[test]
fn expired_lot_made_valid_after_its_use_in_one_push() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.bad_check(2, "0900");
    lab.commit("op-01", 2);
    lab.edit(OLD_LOT, "expires = 2026-02-20", "expires = 2099-02-20");
    let extended = lab.commit("qa-01", 1);
    for verdict in [lab.since_base(), server.push(&lab, &["main"])] {
        verdict.tells(&error(FACT, OLD_LOT).by(&extended));
    }
}

#[test]
fn right_to_check_given_after_the_check_of_the_same_push() {
    let lab = Lab::with_checks();
    let person = lab.read(OPERATOR).replace("op-01", "op-05");
    lab.write(
        "people/op-05.toml",
        person.replace("\"check\"", "\"review\""),
    );
    let before = lab.commit("qa-01", 3);
    let server = lab.server();
    lab.check_but(2, "0900", "op-01", "op-05");
    lab.commit("op-05", 2);
    let row = "\n[[authorised]]\nfor = \"check\"\nfrom = 2026-01-01\nlate_reason = \"forgotten\"\n";
    lab.append("people/op-05.toml", row);
    let given = lab.commit("qa-01", 1);
    let expected = [warning("fact-backdated", "people/op-05.toml").by(&given)];
    lab.range(&before, "HEAD").holds(&expected);
    server.push(&lab, &["main"]).holds(&expected);
}

/// A sound new check, then a changed value; the push that brings both, and what is to be told of the second commit.
fn value_changed_after_a_check() -> (Lab, Server, Vec<Line>) {
    let lab = Lab::with_checks();
    let server = lab.server();
    let new = lab.check(2, "0900");
    lab.commit("op-01", 2);
    lab.edit(FLUID, "viscosity_mpa_s = 484.0", "viscosity_mpa_s = 483.0");
    let changed = lab.commit("qa-01", 1);
    let mut expected = changed_figure(&lab, FLUID).to_vec();
    expected.push(error(DIFFERS, &new));
    let expected = expected.into_iter().map(|one| one.by(&changed)).collect();
    (lab, server, expected)
}

#[test]
fn value_changed_after_a_check_of_the_same_push() {
    let (lab, server, expected) = value_changed_after_a_check();
    for verdict in [lab.since_base(), server.push(&lab, &["main"])] {
        verdict.holds(&expected[..3]);
    }
}

#[test]
fn value_changed_after_a_check_is_the_fault_of_the_later_commit() {
    let (lab, server, expected) = value_changed_after_a_check();
    lab.range_and_push(&server, &lab.base, &expected);
}

#[test]
fn value_changed_and_changed_back_in_one_push() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.edit(FLUID, "viscosity_mpa_s = 484.0", "viscosity_mpa_s = 483.0");
    let changed = lab.commit("qa-01", 2);
    lab.edit(FLUID, "viscosity_mpa_s = 483.0", "viscosity_mpa_s = 484.0");
    lab.commit("qa-01", 1);
    for verdict in [lab.since_base(), server.push(&lab, &["main"])] {
        verdict.tells(&error(FACT, FLUID).by(&changed));
    }
}

#[test]
fn old_row_changed_under_cover_of_a_late_reason() {
    let lab = lapsed();
    let due = format!("due = {}", day(35));
    let covered = "due = 2099-01-12\nlate_reason = \"the certificate came late\"";
    lab.edit(INSTRUMENT, &due, covered);
    let server = lab.server();
    let id = lab.commit("qa-01", 1);
    for verdict in [lab.since_base(), server.push(&lab, &["main"])] {
        verdict.tells(&error(FACT, INSTRUMENT).by(&id));
    }
}

/// Puts the lot's value right, as a correction and with amendments or without either.
fn correct(lab: &Lab, was: &str, row: bool, amend: bool, ago: i64) -> Vec<String> {
    lab.edit(FLUID, "viscosity_mpa_s = 484.0", "viscosity_mpa_s = 484.2");
    if row {
        lab.append(FLUID, &correction(was, ago));
    }
    match amend {
        true => [&lab.one, &lab.two]
            .map(|path| lab.amendment(path, ago, "op-01"))
            .to_vec(),
        false => Vec::new(),
    }
}

fn correction(was: &str, ago: i64) -> String {
    format!(
        "\n[[correction]]\nkey = \"/value/0/viscosity_mpa_s\"\nwas = {was}\nreason = \"certificate mistyped\"\n\
         by = \"op-01\"\ndate = {}\n",
        day(ago)
    )
}

fn kept_by_the_operator() -> Lab {
    Lab::after("", |lab| lab.append(OPERATOR, KEEPER))
}

#[test]
fn correction_without_amendments() {
    let lab = kept_by_the_operator();
    correct(&lab, "484.0", true, false, 1);
    lab.everywhere("op-01", &changed_figure(&lab, FLUID));
}

#[test]
fn correction_with_an_amendment_missing() {
    let lab = kept_by_the_operator();
    let amendments = correct(&lab, "484.0", true, true, 1);
    lab.remove(&amendments[1]);
    lab.everywhere("op-01", &[error(FACT, FLUID), error(DIFFERS, &lab.two)]);
}

#[test]
fn amendments_without_a_correction() {
    let lab = kept_by_the_operator();
    correct(&lab, "484.0", false, true, 1);
    lab.everywhere("op-01", &[error(FACT, FLUID)]);
}

#[test]
fn correction_of_what_never_stood_there() {
    let lab = kept_by_the_operator();
    correct(&lab, "482.0", true, true, 1);
    lab.everywhere("op-01", &[error(FACT, FLUID)]);
}

#[test]
fn correction_that_hides_another_change() {
    // The amendments are sealed over both changes, but only one of them is owned up to.
    let lab = kept_by_the_operator();
    let other = "geometries/G-1.toml";
    lab.edit(other, "30000.0", "30010.0");
    correct(&lab, "484.0", true, true, 1);
    let server = lab.server();
    let id = lab.commit("op-01", 1);
    for verdict in [lab.since_base(), server.push(&lab, &["main"])] {
        verdict.tells(&error(FACT, other).by(&id));
    }
}

#[test]
fn correction_of_another_key() {
    let lab = kept_by_the_operator();
    correct(&lab, "484.0", true, true, 1);
    lab.edit(FLUID, "\"/value/0/viscosity_mpa_s\"", "\"/nominal_mpa_s\"");
    lab.edit(FLUID, "was = 484.0", "was = 500.0");
    lab.everywhere("op-01", &[error(FACT, FLUID)]);
}

#[test]
fn correction_of_one_of_two_changed_keys() {
    let lab = kept_by_the_operator();
    let geometry = "geometries/G-1.toml";
    lab.edit(geometry, "30000.0", "30010.0");
    lab.edit(geometry, "un_m = 100.0", "un_m = 100.01");
    lab.append(
        geometry,
        &format!(
            "\n[[correction]]\nkey = \"/range_constant_mpa_s_rpm\"\nwas = 30000.0\nreason = \"mistyped\"\n\
             by = \"op-01\"\ndate = {}\n",
            day(1)
        ),
    );
    for path in [&lab.one, &lab.two] {
        lab.amendment(path, 1, "op-01");
    }
    lab.everywhere("op-01", &[error(FACT, geometry)]);
}

#[test]
fn correction_whose_amendments_come_in_another_commit() {
    let lab = kept_by_the_operator();
    let server = lab.server();
    let amendments = correct(&lab, "484.0", true, true, 2);
    let texts: Vec<String> = amendments.iter().map(|path| lab.read(path)).collect();
    for path in &amendments {
        lab.remove(path);
    }
    let corrected = lab.commit("op-01", 2);
    for (path, text) in amendments.iter().zip(texts) {
        lab.write(path, text);
    }
    lab.commit("op-01", 1);
    for verdict in [lab.since_base(), server.push(&lab, &["main"])] {
        verdict.tells(&error(FACT, FLUID).by(&corrected));
    }
}

#[test]
fn correction_that_leaves_an_older_amendment_as_it_is() {
    let lab = kept_by_the_operator();
    let older = lab.amendment(&lab.one, 20, "op-01");
    lab.commit("op-01", 20);
    lab.edit(FLUID, "viscosity_mpa_s = 484.0", "viscosity_mpa_s = 484.2");
    lab.append(FLUID, &correction("484.0", 1));
    lab.amendment(&lab.two, 1, "op-01");
    lab.everywhere("op-01", &[error(FACT, FLUID), error(DIFFERS, &older)]);
}

// The book

#[test]
fn audit_start_moved_and_removed() {
    for moved in [true, false] {
        let lab = Lab::with_checks();
        let start = format!("\n[gate]\naudit_from = \"{}\"\n", lab.tip());
        lab.append(MARKER, &start);
        let later = lab.commit("qa-01", 20);
        let to = match moved {
            true => format!("\n[gate]\naudit_from = \"{later}\"\n"),
            false => String::new(),
        };
        lab.edit(MARKER, &start, &to);
        lab.everywhere("qa-01", &[error("audit-start-moved", MARKER)]);
    }
}

#[test]
fn audit_start_set_behind_an_alteration_in_one_push() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.tamper(&lab.one);
    let altered = lab.commit("op-01", 3);
    lab.append(MARKER, &format!("\n[gate]\naudit_from = \"{altered}\"\n"));
    lab.commit("qa-01", 2);
    server
        .push(&lab, &["main"])
        .says(&[error(ALTERED, &lab.one).by(&altered)]);
}

/// Moves the book to the folder `moved`; the commit that did, and one finding a record.
fn moved(lab: &Lab) -> (String, [Line; 2]) {
    lab.git(&["mv", "book", "moved"]);
    let id = lab.commit_index("qa-01", &noon(1), &noon(1));
    let lines = [&lab.one, &lab.two].map(|path| error(ALTERED, path).by(&id));
    (id, lines)
}

#[track_caller]
fn range_of_book(lab: &Lab, book: &str, from: &str) -> Verdict {
    let range = format!("{from}..HEAD");
    let words = [
        "--book", book, "gate", "--range", &range, "--format", "json",
    ];
    Verdict::of("range", lab.shearbook_in(&lab.top, &words))
}

#[test]
fn whole_book_moved_seen_from_where_it_was() {
    let lab = Lab::after("book", |_| {});
    let (server, before) = (lab.server(), lab.tip());
    let (_, lines) = moved(&lab);
    range_of_book(&lab, "book", &before).says(&lines);
    server.push(&lab, &["main"]).says(&lines);
}

#[test]
fn whole_book_moved_seen_from_where_it_went() {
    let lab = Lab::after("book", |_| {});
    let (server, before) = (lab.server(), lab.tip());
    let (_, lines) = moved(&lab);
    range_of_book(&lab, "moved", &before).says(&lines);
    server.hook("moved", "json");
    server.push(&lab, &["main"]).says(&lines);
}

#[test]
fn whole_book_moved_away_and_back_with_a_check_edited() {
    let lab = Lab::after("book", |_| {});
    let (server, before) = (lab.server(), lab.tip());
    lab.git(&["mv", "book", "moved"]);
    let went = lab.commit_index("qa-01", &noon(2), &noon(2));
    lab.git(&["mv", "moved", "book"]);
    lab.tamper(&lab.one);
    lab.commit("qa-01", 1);
    for verdict in [
        range_of_book(&lab, "book", &before),
        server.push(&lab, &["main"]),
    ] {
        verdict.tells(&error(ALTERED, &lab.one).by(&went));
        verdict.tells(&error(ALTERED, &lab.two).by(&went));
    }
}

#[test]
fn marker_removed_while_records_stay() {
    let lab = Lab::with_checks();
    lab.git(&["rm", "--quiet", "--cached", MARKER]);
    lab.staged("qa-01").says(&[error(ALTERED, MARKER)]);
}

#[test]
fn marker_removed_in_what_is_pushed() {
    let lab = Lab::with_checks();
    let (server, before) = (lab.server(), lab.tip());
    lab.git(&["rm", "--quiet", "--cached", MARKER]);
    let id = lab.commit_index("qa-01", &noon(1), &noon(1));
    lab.range_and_push(&server, &before, &[error(ALTERED, MARKER).by(&id)]);
}

#[test]
fn marker_removed_for_one_commit_in_which_a_check_is_edited() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let marker = lab.read(MARKER);
    lab.remove(MARKER);
    lab.tamper(&lab.one);
    let id = lab.commit("qa-01", 2);
    lab.write(MARKER, marker);
    lab.commit("qa-01", 1);
    for verdict in [lab.since_base(), server.push(&lab, &["main"])] {
        verdict.tells(&error(ALTERED, &lab.one).by(&id));
        verdict.tells(&error(ALTERED, MARKER).by(&id));
    }
}

#[test]
fn book_that_is_gone_lets_nothing_pass() {
    let lab = Lab::after("book", |_| {});
    let (server, before) = (lab.server(), lab.tip());
    moved(&lab);
    for verdict in [
        range_of_book(&lab, "book", &before),
        server.push(&lab, &["main"]),
    ] {
        assert!(matches!(verdict.code, Some(1 | 3)), "{verdict:?}");
    }
}

#[test]
fn book_that_is_gone_is_no_reason_to_let_all_pass() {
    for how in ["moved", "deleted"] {
        let lab = Lab::after("book", |_| {});
        let (server, before) = (lab.server(), lab.tip());
        match how {
            "moved" => lab.git(&["mv", "book", "moved"]),
            _ => lab.git(&["rm", "--quiet", "-r", "book"]),
        };
        lab.commit_index("qa-01", &noon(1), &noon(1));
        let range = format!("{before}..HEAD");
        let words = ["--book", "book", "gate", "--range", &range, "--if-book"];
        assert_ne!(lab.shearbook_in(&lab.top, &words).code, Some(0), "{how}");
        server.hook("book", "json --if-book");
        assert_ne!(server.push(&lab, &["main"]).code, Some(0), "{how}");
    }
}

// Signatures

/// A book that requires signatures: op-01's and qa-01's keys are known, the latter's until 10 days ago; `forge` is a machine's.
fn signed_book() -> (Lab, Server) {
    let lab = Lab::after("", |lab| {
        for (who, until) in [("op-01", 0), ("qa-01", 10)] {
            let row = format!(
                "\n[[signing_key]]\nkey = \"{}\"\nfrom = 2026-01-01\n",
                lab.key(who)
            );
            let until = match until {
                0 => String::new(),
                ago => format!("until = {}\n", day(ago)),
            };
            lab.append(&format!("people/{who}.toml"), &(row + &until));
        }
        let machine = lab.key("forge");
        lab.append(
            MARKER,
            &format!(
                "\n[gate]\nrequire_signed_commits = true\n\n[[machine_key]]\nkey = \"{machine}\"\n"
            ),
        );
        lab.key("stranger");
    });
    let server = lab.server();
    (lab, server)
}

#[test]
#[ignore = "signatures are not judged yet"]
fn commit_without_a_signature() {
    let (lab, server) = signed_book();
    lab.check(2, "0900");
    lab.commit_signed("op-01", 2, "op-01");
    lab.check(1, "0900");
    let id = lab.commit("op-01", 1);
    lab.range_and_push(&server, &lab.base, &[error("commit-unsigned", "*").by(&id)]);
}

#[test]
#[ignore = "signatures are not judged yet"]
fn signature_that_counts_for_nothing() {
    // By nobody's key; by a key that had ended; by a machine's, which may sign merges alone.
    for (who, key) in [
        ("op-01", "stranger"),
        ("op-01", "qa-01"),
        ("op-01", "forge"),
    ] {
        let (lab, server) = signed_book();
        lab.check(1, "0900");
        let id = lab.commit_signed(who, 1, key);
        lab.range_and_push(&server, &lab.base, &[error("signature-bad", "*").by(&id)]);
    }
}

#[test]
#[ignore = "signatures are not judged yet"]
fn signature_of_another_commit() {
    let (lab, server) = signed_book();
    lab.check(1, "0900");
    lab.commit_signed("op-01", 1, "op-01");
    let text = lab.git(&["cat-file", "commit", "HEAD"]);
    lab.write(
        ".git/altered",
        text.replace("\nEnter\n", "\nEnter the check\n"),
    );
    let id = lab.git(&["hash-object", "-t", "commit", "-w", ".git/altered"]);
    let id = id.trim();
    lab.git(&["reset", "--quiet", "--hard", id]);
    lab.range_and_push(&server, &lab.base, &[error("signature-bad", "*").by(id)]);
}

#[test]
#[ignore = "signatures are not judged yet"]
fn signatures_switched_off_and_left_out_in_one_push() {
    let (lab, server) = signed_book();
    lab.edit(MARKER, "commits = true", "commits = false");
    let off = lab.commit_signed("qa-01", 11, "qa-01");
    lab.check(10, "0900");
    let id = lab.commit("op-01", 10);
    server.push(&lab, &["main"]).says(&[
        warning("signing-switched-off", "*").by(&off),
        error("commit-unsigned", "*").by(&id),
    ]);
}

#[test]
#[ignore = "signatures are not judged yet"]
fn key_that_came_in_the_same_push() {
    let (lab, server) = signed_book();
    let public = std::fs::read_to_string(lab.outside().join("stranger.pub")).unwrap();
    let row = format!(
        "\n[[signing_key]]\nkey = \"{}\"\nfrom = 2026-01-01\n",
        public.trim()
    );
    lab.append("people/op-02.toml", &row);
    lab.commit_signed("qa-01", 11, "qa-01");
    lab.check_but(10, "0900", "op-01", "op-02");
    let id = lab.commit_signed("op-02", 10, "stranger");
    server
        .push(&lab, &["main"])
        .says(&[error("signature-bad", "*").by(&id)]);
}

/// A merge of two signed branches, made by the forge, after `more` was put into it; its id and the range's beginning.
fn forge_merge(lab: &Lab, more: impl FnOnce()) -> String {
    lab.branch("side");
    lab.check(3, "0900");
    lab.commit_signed("op-01", 3, "op-01");
    lab.switch("main");
    lab.check(2, "0900");
    lab.commit_signed("op-01", 2, "op-01");
    lab.merge_open(&["side"]);
    more();
    lab.commit_signed("op-01", 1, "forge")
}

#[test]
fn merge_signed_by_a_machine_that_adds_nothing() {
    let (lab, server) = signed_book();
    forge_merge(&lab, || {});
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
#[ignore = "signatures are not judged yet"]
fn merge_signed_by_a_machine_that_adds_a_check() {
    let (lab, server) = signed_book();
    let id = forge_merge(&lab, || {
        lab.check(1, "0900");
    });
    lab.range_and_push(&server, &lab.base, &[error("signature-bad", "*").by(&id)]);
}

// Ways to show another history

#[test]
fn replace_ref_hides_nothing() {
    let lab = Lab::with_checks();
    lab.tamper(&lab.one);
    let bad = lab.commit("op-01", 2);
    lab.check(1, "0900");
    lab.commit("op-01", 1);
    lab.git(&["replace", "--graft", "HEAD", &lab.base]);
    let seen = lab.git(&["rev-list", "--count", &format!("{}..HEAD", lab.base)]);
    assert_eq!(seen.trim(), "1", "git itself is deceived");
    lab.since_base().says(&[error(ALTERED, &lab.one).by(&bad)]);
}

#[test]
fn replaced_content_hides_nothing() {
    let lab = Lab::with_checks();
    let sound = lab.git(&["rev-parse", &format!("HEAD:{}", lab.one)]);
    lab.tamper(&lab.one);
    let bad = lab.commit("op-01", 1);
    let other = lab.git(&["rev-parse", &format!("HEAD:{}", lab.one)]);
    lab.git(&["replace", other.trim(), sound.trim()]);
    lab.since_base().says(&[error(ALTERED, &lab.one).by(&bad)]);
}

#[test]
fn graft_hides_nothing() {
    let lab = Lab::with_checks();
    lab.tamper(&lab.one);
    let bad = lab.commit("op-01", 2);
    lab.check(1, "0900");
    let tip = lab.commit("op-01", 1);
    lab.write(".git/info/grafts", format!("{tip} {}\n", lab.base));
    let seen = lab.git(&["rev-list", "--count", &format!("{}..HEAD", lab.base)]);
    assert_eq!(seen.trim(), "1", "git itself is deceived");
    lab.since_base().says(&[error(ALTERED, &lab.one).by(&bad)]);
}

#[test]
fn shallow_history_is_not_judged() {
    let lab = Lab::with_checks();
    lab.check(1, "0900");
    lab.commit("op-01", 1);
    let from = format!("file://{}", lab.top.display());
    let shallow = lab.outside().join("shallow");
    lab.git(&[
        "clone",
        "--quiet",
        "--depth",
        "2",
        &from,
        shallow.to_str().unwrap(),
    ]);
    let words = ["gate", "--range", "HEAD~1..HEAD", "--format", "json"];
    Verdict::of("range", lab.shearbook_in(&shallow, &words)).cannot_look("shallow");
}

#[test]
fn range_of_commits_that_are_not_there() {
    let lab = Lab::with_checks();
    for (from, to) in [("nowhere", "HEAD"), (lab.base.as_str(), "nowhere")] {
        let verdict = lab.range(from, to);
        assert!(matches!(verdict.code, Some(2 | 3)), "{verdict:?}");
        assert_eq!(verdict.out, "");
        assert!(verdict.err.contains("nowhere"), "{verdict:?}");
    }
}

// Hostile pushes

/// Ends in time, with so little on the screen that a person can still read it, and nothing in it that steers a terminal.
fn bounded(verdict: &Verdict, began: Instant) {
    let (out, err) = (&verdict.out, &verdict.err);
    assert!(
        began.elapsed() < Duration::from_secs(30),
        "{:?}",
        began.elapsed()
    );
    assert!(
        out.len() + err.len() < 64 * 1024,
        "{} characters",
        out.len() + err.len()
    );
    for one in out.chars().chain(err.chars()) {
        assert!(one == '\n' || !one.is_control(), "{one:?} in {out}{err}");
    }
}

#[test]
fn push_of_names_and_texts_that_steer_a_terminal() {
    let lab = Lab::with_checks();
    let server = lab.server();
    server.hook("", "text");
    let bad = lab.check(1, "0900");
    let text = lab.read(&bad);
    let text = text.replace(
        "operator = \"op-01\"",
        "operator = \"\\u001b[2J\\u0007\\u009b31m\"",
    );
    let text = text.replace(
        "format = 1",
        "format = 1\n# \u{1b}]0;owned\u{7}\n\"\\u001b[31mkey\" = 1",
    );
    let folder = bad.rsplit_once('/').unwrap().0;
    lab.import(&[
        (bad.as_str(), text.as_bytes()),
        (
            &format!("{folder}/\u{1b}[31m\u{7}\u{9b}.toml"),
            b"\x1b[2J = \x07\n",
        ),
        (&format!("{folder}/new\nline\r.toml"), b"format = 1\n"),
        ("fluids/\u{202e}lmot.toml", b"format = 1\n"),
    ]);
    let began = Instant::now();
    let verdict = server.push(&lab, &["main"]);
    assert_eq!(verdict.code, Some(1), "{}{}", verdict.out, verdict.err);
    bounded(&verdict, began);
    assert!(!verdict.out.contains('\u{202e}'), "{}", verdict.out);
    // Machines read the same paths unchanged.
    server.hook("", "json");
    let verdict = server.push(&lab, &["main"]);
    assert!(!verdict.out.contains('\u{1b}'));
    assert!(
        verdict
            .lines()
            .iter()
            .any(|line| line.contains("\u{1b}[31m\u{7}\u{9b}.toml"))
    );
}

#[test]
fn push_of_100_000_files_of_junk() {
    let lab = Lab::with_checks();
    let server = lab.server();
    server.hook("", "text");
    let names: Vec<String> = (0..100_000)
        .map(|number| format!("checks/{:03}/{:03}.tmp", number / 500, number % 500))
        .collect();
    let files: Vec<(&str, &[u8])> = names
        .iter()
        .map(|name| (name.as_str(), &b"junk\n"[..]))
        .collect();
    lab.import(&files);
    let began = Instant::now();
    let verdict = server.push(&lab, &["main"]);
    bounded(&verdict, began);
    assert!(verdict.out.contains("stray-file"), "{}", verdict.out);
}

#[test]
fn push_of_100_000_files_beside_the_book() {
    let lab = Lab::after("book", |_| {});
    let server = lab.server();
    let names: Vec<String> = (0..100_000)
        .map(|number| format!("junk/{:03}/{:03}.toml", number / 500, number % 500))
        .collect();
    let files: Vec<(&str, &[u8])> = names
        .iter()
        .map(|name| (name.as_str(), &b"junk\n"[..]))
        .collect();
    lab.import(&files);
    let began = Instant::now();
    let verdict = server.push(&lab, &["main"]);
    verdict.passes();
    bounded(&verdict, began);
}

#[test]
fn push_of_a_record_of_50_megabytes() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let path = lab.path_of(1, "0900");
    lab.import(&[(&path, &vec![b'#'; 50 << 20])]);
    let id = lab.git(&["rev-parse", "main"]);
    let began = Instant::now();
    let verdict = server.push(&lab, &["main"]);
    verdict.says(&[error("limits-exceeded", &path).by(id.trim())]);
    bounded(&verdict, began);
}

#[test]
fn push_of_folders_and_tables_nested_without_end() {
    let lab = Lab::with_checks();
    let server = lab.server();
    server.hook("", "text");
    let deep = format!("checks/{}x.toml", "a/".repeat(1500));
    let nested = lab.path_of(1, "0900");
    let text = format!("x = {}{}\n", "[".repeat(100_000), "]".repeat(100_000));
    lab.import(&[(&deep, b"format = 1\n"), (&nested, text.as_bytes())]);
    let began = Instant::now();
    let verdict = server.push(&lab, &["main"]);
    assert_eq!(verdict.code, Some(1), "{}{}", verdict.out, verdict.err);
    assert!(verdict.out.contains("limits-exceeded"), "{}", verdict.out);
    bounded(&verdict, began);
}

#[test]
fn push_of_a_thousand_commits() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.import_commits(1000);
    lab.git(&["reset", "--quiet", "--hard", "main"]);
    lab.remove(&lab.one);
    let bad = lab.commit("op-01", 1);
    let began = Instant::now();
    let verdict = server.push(&lab, &["main"]);
    verdict.says(&[error(ALTERED, &lab.one).by(&bad)]);
    bounded(&verdict, began);
}

#[test]
fn lines_that_git_would_not_write() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let words = ["gate", "--pre-receive", "--format", "json"];
    for line in [
        "main\n",
        "0 0 refs/heads/main\n",
        "\u{1b}[31m\n",
        "a b c d e\n",
    ] {
        let done = lab.shearbook_fed(&server.path, &words, line);
        assert_eq!(done.code, Some(3), "{line:?}: {}{}", done.out, done.err);
        assert_eq!(done.out, "");
        assert!(!done.err.contains('\u{1b}'), "{}", done.err);
    }
}
