//! The gate against real git: what is staged is judged, whichever way it came into the index.
#![allow(clippy::disallowed_methods, reason = "tests may use files")]

mod support;

use support::{
    EXPIRED, FLUID, MARKER, Scratch, check_path, draft, failing_draft, with_expired_lot,
};

#[test]
fn plain_commit_of_a_bad_check_is_refused_and_of_a_mended_one_passes() {
    let scratch = Scratch::book();
    scratch.install();
    let before = scratch.head();
    let path = scratch.bad_check("0900");
    scratch.stage(&path);
    scratch.gate().refuses(&[(EXPIRED, &path)]);
    scratch.try_commit(&[]).refused_for(EXPIRED, &path);
    assert_eq!(scratch.head(), before);

    scratch.sound_check("0900");
    scratch.stage(&path);
    scratch.gate().passes();
    scratch.try_commit(&[]).ends(0);
    assert_ne!(scratch.head(), before);
}

#[test]
fn commit_all_is_judged_by_what_it_takes_up() {
    let scratch = Scratch::book();
    scratch.install();
    let path = scratch.sound_check("0900");
    scratch.stage(&path);
    let sound = scratch.read(&path);
    scratch.write(&path, with_expired_lot(&sound));
    scratch.try_commit(&["--all"]).refused_for(EXPIRED, &path);

    scratch.stage(&path);
    scratch.write(&path, sound);
    scratch.try_commit(&["--all"]).ends(0);
}

#[test]
fn commit_of_named_files_is_judged_by_them_alone() {
    let scratch = Scratch::book();
    scratch.install();
    let path = scratch.sound_check("0900");
    let other = scratch.bad_check("1000");
    scratch.stage(&path);
    scratch.stage(&other);
    let sound = scratch.read(&path);
    scratch.write(&path, with_expired_lot(&sound));
    scratch
        .try_commit(&["--", &path])
        .refused_for(EXPIRED, &path);

    scratch.write(&path, sound);
    scratch.try_commit(&["--", &path]).ends(0);
    scratch.gate().refuses(&[(EXPIRED, &other)]);
}

#[test]
fn bad_staged_text_is_refused_though_the_file_is_sound() {
    let scratch = Scratch::book();
    scratch.install();
    let path = scratch.bad_check("0900");
    scratch.stage(&path);
    scratch.sound_check("0900");
    scratch.gate().refuses(&[(EXPIRED, &path)]);
    let done = scratch.try_commit(&[]).refused_for(EXPIRED, &path);
    assert!(done.err.contains("git add"), "{}", done.err);
}

#[test]
fn sound_staged_text_passes_though_the_file_is_bad() {
    let scratch = Scratch::book();
    scratch.install();
    let path = scratch.sound_check("0900");
    scratch.stage(&path);
    let bad = with_expired_lot(&scratch.read(&path));
    scratch.write(&path, &bad);
    scratch.gate().passes();
    scratch.try_commit(&[]).ends(0);
    assert_eq!(scratch.read(&path), bad);
}

#[test]
fn commit_from_a_folder_inside_the_book() {
    let scratch = Scratch::book();
    scratch.install();
    let path = scratch.bad_check("0900");
    scratch.stage(&path);
    let inside = scratch.path("checks/2026");
    scratch.gate_in(&inside).refuses(&[(EXPIRED, &path)]);
    scratch
        .try_git_in(&inside, &["commit", "--message", "Enter"])
        .refused_for(EXPIRED, &path);
}

#[test]
fn linked_worktree_has_its_own_index() {
    let mut scratch = Scratch::book();
    scratch.install();
    let linked = scratch.outside().join("linked");
    scratch.git(&["worktree", "add", "--quiet", linked.to_str().unwrap()]);
    let staged_in_main = scratch.bad_check("0900");
    scratch.stage(&staged_in_main);

    let main = std::mem::replace(&mut scratch.top, linked.clone());
    scratch.book = linked;
    let path = scratch.bad_check("1000");
    scratch.stage(&path);
    scratch.gate().refuses(&[(EXPIRED, &path)]);
    scratch.try_commit(&[]).refused_for(EXPIRED, &path);
    scratch.try_commit(&["--all"]).refused_for(EXPIRED, &path);
    scratch.sound_check("1000");
    scratch.try_commit(&["--all"]).ends(0);

    scratch
        .gate_in(&main)
        .refuses(&[(EXPIRED, &staged_in_main)]);
}

#[test]
fn book_in_a_subfolder_is_judged_with_paths_of_its_own() {
    let scratch = Scratch::empty().with_book("qc/rheology book");
    scratch.install();
    let path = scratch.bad_check("0900");
    scratch.stage(&path);
    scratch.gate().refuses(&[(EXPIRED, &path)]);
    scratch.try_commit(&[]).refused_for(EXPIRED, &path);
    scratch.try_commit(&["--all"]).refused_for(EXPIRED, &path);

    // The same file outside the book is nobody's business.
    let top = scratch.top.join("checks/2026/VM-1");
    std::fs::create_dir_all(&top).unwrap();
    std::fs::copy(scratch.path(&path), top.join("2026-03-02-0900.toml")).unwrap();
    scratch.git(&["reset", "--quiet"]);
    scratch.git(&["add", "checks"]);
    scratch.gate().passes();
    scratch.try_commit(&[]).ends(0);
}

#[test]
fn first_commit_of_an_empty_repository() {
    let scratch = Scratch::empty().with_facts("");
    scratch.install();
    let path = scratch.bad_check("0900");
    scratch.git(&["add", "--all"]);
    scratch.gate().refuses(&[(EXPIRED, &path)]);
    scratch.try_commit(&[]).refused_for(EXPIRED, &path);
    scratch
        .try_git(&["rev-parse", "--verify", "HEAD"])
        .ends(128);

    scratch.sound_check("0900");
    scratch.git(&["add", "--all"]);
    scratch.gate().passes();
    scratch.try_commit(&[]).ends(0);
}

#[test]
fn commit_without_a_book_is_none_of_the_gates_business_but_said_by_hand() {
    let scratch = Scratch::empty();
    std::fs::write(scratch.top.join("notes.txt"), "levels\n").unwrap();
    scratch.git(&["add", "--all"]);
    scratch.shearbook(&["gate", "--if-book"]).ends(0);
    let done = scratch.shearbook(&["gate"]).ends(3);
    assert_eq!(done.out, "");
}

/// `main` and `side` each have a commit of their own; returns the path of the check on `side`, bad and committed unverified.
fn diverged(scratch: &Scratch) -> String {
    scratch.git(&["switch", "--quiet", "--create", "side"]);
    let path = scratch.bad_check("0900");
    scratch.stage(&path);
    scratch.commit_unverified();
    scratch.git(&["switch", "--quiet", "main"]);
    scratch.committed_check("1000");
    path
}

#[test]
fn record_that_a_clean_merge_brings_is_not_new() {
    let scratch = Scratch::book();
    scratch.install();
    let path = diverged(&scratch);
    scratch.git(&["merge", "--quiet", "--no-ff", "side"]);
    let parents = scratch.git(&["log", "-1", "--format=%P"]);
    assert_eq!(parents.split_whitespace().count(), 2);
    assert!(scratch.path(&path).exists());
}

#[test]
fn what_a_merge_adds_by_itself_is_judged() {
    let scratch = Scratch::book();
    scratch.install();
    diverged(&scratch);
    scratch.git(&["merge", "--quiet", "--no-ff", "--no-commit", "side"]);
    let path = scratch.bad_check("1100");
    scratch.stage(&path);
    scratch.gate().refuses(&[(EXPIRED, &path)]);
    scratch.try_commit(&[]).refused_for(EXPIRED, &path);
    scratch.sound_check("1100");
    scratch.stage(&path);
    scratch.try_commit(&[]).ends(0);
}

#[test]
fn clean_merge_that_alters_a_record_is_refused_by_the_merge_hook() {
    let scratch = Scratch::book();
    scratch.install();
    let path = scratch.committed_check("0900");
    scratch.git(&["switch", "--quiet", "--create", "side"]);
    scratch.edit(&path, "op-01", "qa-01");
    scratch.stage(&path);
    scratch.commit_unverified();
    scratch.git(&["switch", "--quiet", "main"]);
    scratch.committed_check("1000");
    let before = scratch.head();
    scratch
        .try_git(&["merge", "--no-ff", "side"])
        .refused_for("record-altered", &path);
    assert_eq!(scratch.head(), before);
}

#[test]
fn unmerged_index_cannot_be_judged_and_the_resolved_one_can() {
    let scratch = Scratch::book();
    scratch.install();
    scratch.git(&["switch", "--quiet", "--create", "side"]);
    scratch.edit(FLUID, "format = 1\n", "format = 1\nnote = \"shelf 2\"\n");
    let brought = scratch.bad_check("0900");
    scratch.git(&["add", "--all"]);
    scratch.commit_unverified();
    scratch.git(&["switch", "--quiet", "main"]);
    scratch.edit(FLUID, "format = 1\n", "format = 1\nnote = \"shelf 3\"\n");
    scratch.git(&["add", "--all"]);
    scratch.commit_unverified();
    scratch.try_git(&["merge", "side"]).ends(1);

    let done = scratch.shearbook(&["gate", "--format", "json"]).ends(3);
    assert_eq!(done.out, "");
    assert!(done.err.contains(FLUID), "{}", done.err);

    let text = scratch.read(FLUID);
    let kept: Vec<&str> = text
        .lines()
        .filter(|line| !line.starts_with(['<', '=', '>']) && !line.contains("shelf 2"))
        .collect();
    scratch.write(FLUID, kept.join("\n") + "\n");
    scratch.stage(FLUID);
    let added = scratch.bad_check("1100");
    scratch.stage(&added);
    scratch.gate().refuses(&[(EXPIRED, &added)]);
    scratch.try_commit(&[]).refused_for(EXPIRED, &added);
    scratch.git(&["rm", "--quiet", "--cached", &added]);
    scratch.try_commit(&[]).ends(0);
    assert!(scratch.git(&["ls-tree", "-r", "HEAD"]).contains(&brought));
}

#[test]
fn file_only_intended_to_be_added_is_not_judged() {
    let scratch = Scratch::book();
    scratch.install();
    let path = scratch.bad_check("0900");
    scratch.git(&["add", "--intent-to-add", &path]);
    let sound = scratch.sound_check("1000");
    scratch.stage(&sound);
    scratch.gate().passes();
    scratch.try_commit(&[]).ends(0);
}

const ALTERED: &str = "record-altered";

#[test]
fn edited_record_is_refused_until_its_first_bytes_are_back() {
    let scratch = Scratch::book();
    scratch.install();
    let path = scratch.committed_check("0900");
    let first = scratch.read(&path);
    scratch.edit(&path, "condition", "# a remark\ncondition");
    scratch.stage(&path);
    scratch.gate().refuses(&[(ALTERED, &path)]);
    scratch.try_commit(&[]).refused_for(ALTERED, &path);
    scratch.commit_unverified();
    scratch.gate().passes();

    scratch.write(&path, first);
    scratch.stage(&path);
    scratch.gate().passes();
    scratch.try_commit(&[]).ends(0);
}

#[test]
fn removed_record_is_refused_until_its_first_bytes_are_back() {
    let scratch = Scratch::book();
    scratch.install();
    let path = scratch.committed_check("0900");
    let first = scratch.read(&path);
    scratch.git(&["rm", "--quiet", &path]);
    scratch.gate().refuses(&[(ALTERED, &path)]);
    scratch.try_commit(&[]).refused_for(ALTERED, &path);
    scratch.commit_unverified();

    scratch.write(&path, &first);
    scratch.stage(&path);
    scratch.gate().passes();
}

#[test]
fn rename_does_not_hide_that_a_record_is_gone() {
    let scratch = Scratch::book();
    scratch.install();
    scratch.git(&["config", "diff.renames", "copies"]);
    let path = scratch.committed_check("0900");
    let similar = scratch.sound_check("1000");
    scratch.remove(&path);
    scratch.git(&["add", "--all"]);
    let seen = scratch.git(&["diff", "--cached", "--name-status", "--find-renames"]);
    assert!(seen.starts_with('R'), "git takes it for a rename: {seen}");
    scratch.gate().refuses(&[(ALTERED, &path)]);
    scratch.try_commit(&[]).refused_for(ALTERED, &path);
    assert!(scratch.path(&similar).exists());
}

#[test]
fn alteration_hidden_in_commit_all_is_refused() {
    let scratch = Scratch::book();
    scratch.install();
    let path = scratch.committed_check("0900");
    scratch.edit(&path, "T07:50:00", "T07:40:00");
    scratch.edit(MARKER, "Example bench", "Example laboratory");
    scratch.gate().passes();
    scratch.try_commit(&["--all"]).refused_for(ALTERED, &path);
    scratch.remove(&path);
    scratch.try_commit(&["--all"]).refused_for(ALTERED, &path);
}

#[test]
fn a_merge_onto_no_commit_cannot_be_judged() {
    let scratch = Scratch::book();
    scratch.committed_check("0900");
    let head = scratch.git(&["rev-parse", "HEAD"]);
    std::fs::write(scratch.top.join(".git/MERGE_HEAD"), head).unwrap();
    scratch.git(&["update-ref", "-d", "HEAD"]);
    let done = scratch.shearbook(&["gate"]).ends(3);
    assert!(done.err.contains("HEAD has no commit"), "{}", done.err);
}

#[test]
fn record_of_the_other_branch_dropped_in_a_merge_is_refused() {
    let scratch = Scratch::book();
    scratch.install();
    let path = diverged(&scratch);
    scratch.git(&["merge", "--quiet", "--no-ff", "--no-commit", "side"]);
    scratch.git(&["rm", "--quiet", "--force", &path]);
    scratch.gate().refuses(&[(ALTERED, &path)]);
    scratch.try_commit(&[]).refused_for(ALTERED, &path);
    scratch.git(&["checkout", "side", "--", &path]);
    scratch.try_commit(&[]).ends(0);
}

#[test]
fn record_of_the_other_branch_edited_in_a_merge_is_refused() {
    let scratch = Scratch::book();
    scratch.install();
    let path = diverged(&scratch);
    scratch.git(&["merge", "--quiet", "--no-ff", "--no-commit", "side"]);
    scratch.edit(&path, "K-0", "K-1");
    scratch.stage(&path);
    let judged = scratch.gate();
    assert!(judged.errors().contains(&(ALTERED, &path)));
    scratch.try_commit(&[]).refused_for(ALTERED, &path);
}

#[test]
fn merge_may_put_back_the_first_bytes_of_the_other_branch() {
    let scratch = Scratch::book();
    scratch.install();
    scratch.git(&["switch", "--quiet", "--create", "side"]);
    let path = scratch.committed_check("0900");
    let first = scratch.read(&path);
    scratch.edit(&path, "condition", "# a remark\ncondition");
    scratch.stage(&path);
    scratch.commit_unverified();
    scratch.git(&["switch", "--quiet", "main"]);
    scratch.committed_check("1000");
    scratch.git(&["merge", "--quiet", "--no-ff", "--no-commit", "side"]);
    scratch.write(&path, first);
    scratch.stage(&path);
    scratch.gate().passes();
    scratch.try_commit(&[]).ends(0);
}

#[test]
fn book_moved_or_removed_alters_every_record() {
    let scratch = Scratch::empty().with_book("book");
    scratch.install();
    let one = scratch.committed_check("0900");
    let other = scratch.committed_check("1000");
    scratch.git(&["mv", "book", "moved"]);
    scratch
        .gate_with(&scratch.top, &["--book", "book"], &[])
        .refuses(&[(ALTERED, &one), (ALTERED, &other)]);
    scratch.try_commit(&[]).refused_for(ALTERED, &one);
}

#[test]
fn executable_bit_alone_is_no_finding() {
    let scratch = Scratch::book();
    scratch.install();
    let path = scratch.committed_check("0900");
    scratch.git(&["update-index", "--chmod=+x", &path]);
    let new = scratch.sound_check("1000");
    scratch.stage(&new);
    scratch.git(&["update-index", "--chmod=+x", &new]);
    let judged = scratch.gate();
    judged.passes();
    assert_eq!(judged.findings, []);
    scratch.try_commit(&[]).ends(0);
    assert!(
        scratch
            .git(&["ls-tree", "HEAD", &path])
            .starts_with("100755")
    );
}

#[cfg(unix)]
#[test]
fn link_in_a_record_folder_is_refused() {
    let scratch = Scratch::book();
    scratch.install();
    let target = scratch.sound_check("0900");
    let among_checks = check_path("1000");
    let among_facts = "fluids/K-2.toml";
    std::os::unix::fs::symlink("2026-03-02-0900.toml", scratch.path(&among_checks)).unwrap();
    std::os::unix::fs::symlink("K-1.toml", scratch.path(among_facts)).unwrap();
    scratch.git(&["add", "--all"]);
    assert!(scratch.path(&target).exists());
    scratch
        .gate()
        .refuses(&[("not-a-file", &among_checks), ("not-a-file", among_facts)]);
    scratch
        .try_commit(&[])
        .refused_for("not-a-file", &among_checks);
}

#[cfg(unix)]
#[test]
fn committed_record_replaced_by_a_link_is_altered() {
    let scratch = Scratch::book();
    let path = scratch.committed_check("0900");
    scratch.remove(&path);
    std::os::unix::fs::symlink("elsewhere", scratch.path(&path)).unwrap();
    scratch.stage(&path);
    let judged = scratch.gate();
    assert!(judged.errors().contains(&(ALTERED, &path)));
    assert_eq!(judged.code, 1);
}

#[test]
fn truthful_failed_check_passes_with_a_notice() {
    let scratch = Scratch::book();
    scratch.install();
    let path = scratch.seal("0900", &failing_draft("0900"));
    assert!(scratch.read(&path).contains("verdict = \"fail\""));
    scratch.stage(&path);
    let judged = scratch.gate();
    judged.passes();
    let notice = ("failed".to_owned(), "notice".to_owned(), path.clone());
    assert!(judged.findings.contains(&notice), "{judged:?}");
    scratch.try_commit(&[]).ends(0);
}

#[test]
fn draft_is_refused() {
    let scratch = Scratch::book();
    scratch.install();
    let path = check_path("0900");
    scratch.write(&path, draft("0900"));
    scratch.stage(&path);
    scratch.gate().refuses(&[("computed-missing", &path)]);
    scratch
        .try_commit(&[])
        .refused_for("computed-missing", &path);
}

#[test]
fn changed_certified_value_makes_committed_checks_differ() {
    let scratch = Scratch::book();
    scratch.install();
    let path = scratch.committed_check("0900");
    let other = scratch.committed_check("1000");
    scratch.edit(FLUID, "viscosity_mpa_s = 484.0", "viscosity_mpa_s = 483.0");
    scratch.stage(FLUID);
    let judged = scratch.gate();
    assert_eq!(judged.code, 1);
    for path in [&path, &other] {
        assert!(
            judged.errors().contains(&("computed-differs", path)),
            "{judged:?}"
        );
    }
    scratch
        .try_commit(&[])
        .refused_for("computed-differs", &path);
}

#[test]
fn fact_that_goes_away_is_felt_in_committed_checks() {
    for how in ["--no-split-index", "--split-index"] {
        let scratch = Scratch::empty().with_book("book");
        scratch.git(&["update-index", how]);
        let sealed = draft("1000").replace("[prep", "bath = \"WB-1\"\n[prep");
        let path = scratch.seal("1000", &sealed);
        scratch.stage(&path);
        scratch.commit_unverified();
        scratch.git(&["rm", "--quiet", &scratch.path_at_top("baths/WB-1.toml")]);
        scratch
            .gate()
            .refuses(&[("fact-altered", "baths/WB-1.toml")]);
    }
}

#[test]
fn change_of_a_fact_without_effect_passes() {
    let scratch = Scratch::book();
    scratch.install();
    scratch.committed_check("0900");
    scratch.edit(FLUID, "A supplier", "Another supplier");
    scratch.stage(FLUID);
    scratch.gate().passes();
    scratch.try_commit(&[]).ends(0);
}

/// Repository A with a bad check staged, and B with a sound one.
fn two_books() -> (Scratch, Scratch, String) {
    let (a, b) = (Scratch::book(), Scratch::book());
    let bad = a.bad_check("0900");
    a.stage(&bad);
    a.gate().refuses(&[(EXPIRED, &bad)]);
    let bad = b.bad_check("1000");
    b.stage(&bad);
    b.gate().refuses(&[(EXPIRED, &bad)]);
    (a, b, bad)
}

#[test]
fn hook_of_another_repository_does_not_lend_its_index() {
    let (a, b, bad) = two_books();
    let git = a.top.join(".git");
    let (git, index) = (git.to_str().unwrap(), git.join("index"));
    let index = index.to_str().unwrap();
    let book = b.book.to_str().unwrap();
    let expected = [(EXPIRED, bad.as_str())];
    let both = [("GIT_DIR", git), ("GIT_INDEX_FILE", index)];
    for variables in [&both[..], &both[..1], &both[1..]] {
        b.gate_with(&a.top, &["--book", book], variables)
            .refuses(&expected);
        b.gate_with(&b.book, &[], variables).refuses(&expected);
    }
    // A relative index is the one of the folder that git started the hook in.
    let relative = [("GIT_DIR", ".git"), ("GIT_INDEX_FILE", ".git/index")];
    b.gate_with(&a.top, &["--book", book], &relative)
        .refuses(&expected);
}

#[test]
fn merge_in_another_repository_is_none_of_this_one() {
    let (a, b, bad) = two_books();
    let head = a.head();
    let variable = format!("GITHEAD_{}", "1".repeat(head.trim().len()));
    let book = b.book.to_str().unwrap();
    b.gate_with(
        &a.top,
        &["--book", book],
        &[(&variable, "side"), ("GIT_INDEX_FILE", ".git/index")],
    )
    .refuses(&[(EXPIRED, &bad)]);
}

#[test]
fn real_hook_of_another_repository_asks_about_this_one() {
    let (a, b, bad) = two_books();
    let hook = a.top.join(".git/hooks/pre-commit");
    std::fs::create_dir_all(hook.parent().unwrap()).unwrap();
    std::fs::write(
        &hook,
        format!(
            "#!/bin/sh\ncd '{}' && '{}' gate\n",
            b.book.display(),
            env!("CARGO_BIN_EXE_shearbook")
        ),
    )
    .unwrap();
    executable(&hook);
    a.try_commit(&[]).refused_for(EXPIRED, &bad);
    a.try_commit(&["--all"]).refused_for(EXPIRED, &bad);
    b.sound_check("1000");
    b.stage(&bad);
    a.try_commit(&["--all"]).ends(0);
}

#[test]
fn book_nested_in_another_repository_has_its_own_index() {
    let outer = Scratch::book();
    let inner = Scratch::named("inner", &[]).with_book("");
    let nested = outer.top.join("inner");
    std::fs::rename(&inner.top, &nested).unwrap();
    let mut inner = inner;
    inner.top = nested.clone();
    inner.book = nested;
    let bad = inner.bad_check("0900");
    inner.stage(&bad);
    let git = outer.top.join(".git");
    outer
        .gate_with(
            &outer.top,
            &["--book", "inner"],
            &[
                ("GIT_DIR", git.to_str().unwrap()),
                ("GIT_INDEX_FILE", git.join("index").to_str().unwrap()),
            ],
        )
        .refuses(&[(EXPIRED, &bad)]);
}

#[test]
fn index_that_the_user_names_is_the_one_judged() {
    let mut scratch = Scratch::book();
    scratch.install();
    let path = scratch.bad_check("0900");
    let index = scratch.outside().join("index of mine");
    scratch.set("GIT_INDEX_FILE", index.to_str().unwrap());
    scratch.git(&["read-tree", "HEAD"]);
    scratch.stage(&path);
    scratch.gate().refuses(&[(EXPIRED, &path)]);
    scratch.try_commit(&[]).refused_for(EXPIRED, &path);
}

#[test]
fn work_tree_apart_from_its_repository() {
    let mut scratch = Scratch::book();
    scratch.install();
    let apart = scratch.outside().join("apart.git");
    std::fs::rename(scratch.top.join(".git"), &apart).unwrap();
    scratch.set("GIT_DIR", apart.to_str().unwrap());
    let top = scratch.top.to_str().unwrap().to_owned();
    scratch.set("GIT_WORK_TREE", &top);
    let path = scratch.bad_check("0900");
    scratch.stage(&path);
    scratch.gate().refuses(&[(EXPIRED, &path)]);
    scratch.try_commit(&[]).refused_for(EXPIRED, &path);
}

#[test]
fn gate_writes_nothing() {
    let scratch = Scratch::empty().with_book("book");
    let old = scratch.committed_check("0900");
    let path = scratch.bad_check("1000");
    scratch.stage(&path);
    scratch.edit(&old, "op-01", "qa-01");
    scratch.stage(&old);
    // Time stamps that differ from the index's tempt git to write it anew.
    for path in [&path, &old] {
        let later = std::time::SystemTime::now() + std::time::Duration::from_secs(5);
        let file = std::fs::File::options()
            .append(true)
            .open(scratch.path(path))
            .unwrap();
        file.set_modified(later).unwrap();
    }
    let before = scratch.snapshot(&scratch.outside());
    let judged = scratch.gate();
    assert_eq!(judged.code, 1);
    scratch.shearbook(&["gate"]).ends(1);
    let after = scratch.snapshot(&scratch.outside());
    let changed: Vec<_> = before
        .keys()
        .chain(after.keys())
        .filter(|path| before.get(*path) != after.get(*path))
        .collect();
    assert_eq!(changed, Vec::<&std::path::PathBuf>::new());
    let status = scratch.git(&["status", "--porcelain"]);
    assert_eq!(
        status,
        format!(
            "M  {}\nA  {}\n",
            scratch.path_at_top(&old),
            scratch.path_at_top(&path)
        )
    );
}

/// The gate sees bad, sound and altered records, by hand and in the hook.
fn sees(scratch: &Scratch) {
    scratch.install();
    let path = scratch.bad_check("0900");
    scratch.stage(&path);
    scratch.gate().refuses(&[(EXPIRED, &path)]);
    scratch.try_commit(&[]).refused_for(EXPIRED, &path);
    scratch.sound_check("0900");
    scratch.try_commit(&["--all"]).ends(0);
    scratch.edit(&path, "condition", "# a remark\ncondition");
    scratch.stage(&path);
    scratch.gate().refuses(&[(ALTERED, &path)]);
    scratch.try_commit(&[]).refused_for(ALTERED, &path);
    scratch.git(&["reset", "--quiet", "--hard"]);
}

#[test]
fn repository_with_sha256_ids() {
    let scratch = Scratch::named("work", &["--object-format=sha256"]).with_book("");
    assert_eq!(scratch.head().trim().len(), 64);
    sees(&scratch);
    let nested = Scratch::named("work", &["--object-format=sha256"]).with_book("book");
    sees(&nested);
}

#[test]
fn repository_with_reftable() {
    let scratch = Scratch::empty();
    let probe = scratch.try_git(&["init", "--ref-format=reftable", "probe"]);
    if probe.code != Some(0) {
        return; // a git before 2.45
    }
    let scratch = Scratch::named("work", &["--ref-format=reftable"]).with_book("");
    sees(&scratch);
    let path = {
        scratch.git(&["reset", "--quiet", "--hard"]);
        diverged_at(&scratch)
    };
    scratch.git(&["merge", "--quiet", "--no-ff", "side"]);
    assert!(scratch.path(&path).exists());
}

fn diverged_at(scratch: &Scratch) -> String {
    scratch.git(&["switch", "--quiet", "--create", "side"]);
    let path = scratch.bad_check("1300");
    scratch.stage(&path);
    scratch.commit_unverified();
    scratch.git(&["switch", "--quiet", "main"]);
    scratch.committed_check("1400");
    path
}

#[test]
fn split_index() {
    let scratch = Scratch::book();
    scratch.git(&["update-index", "--split-index"]);
    sees(&scratch);
}

#[test]
fn sparse_index() {
    let scratch = Scratch::empty().with_book("book");
    std::fs::create_dir(scratch.top.join("other")).unwrap();
    std::fs::write(scratch.top.join("other/notes.txt"), "levels\n").unwrap();
    scratch.git(&["add", "--all"]);
    scratch.commit_unverified();
    scratch.git(&["sparse-checkout", "set", "--cone", "--sparse-index", "book"]);
    sees(&scratch);
}

#[test]
fn settings_of_the_user_change_nothing() {
    let mut scratch = Scratch::empty().with_book("book");
    let settings = scratch.outside().join("settings");
    std::fs::write(
        &settings,
        "[diff]\n\trelative = true\n\tnoprefix = true\n\trenames = copies\n\texternal = false\n\tmnemonicPrefix = true\n\
         [log]\n\tshowSignature = true\n\tfollow = true\n\tdecorate = full\n\
         [color]\n\tui = always\n[core]\n\tquotePath = true\n\tpager = false\n\
         [format]\n\tpretty = fuller\n[pager]\n\tdiff = false\n\tlog = false\n",
    )
    .unwrap();
    scratch.set("GIT_CONFIG_GLOBAL", settings.to_str().unwrap());
    sees(&scratch);
    scratch.git(&["reset", "--quiet", "--hard"]);
    // Found again by its first bytes, for which git's log is read.
    let path = check_path("0900");
    let first = scratch.read(&path);
    scratch.edit(&path, "condition", "# a remark\ncondition");
    scratch.stage(&path);
    scratch.commit_unverified();
    scratch.write(&path, first);
    scratch.stage(&path);
    scratch.gate().passes();
}

#[test]
fn pathspec_settings_of_the_user_do_not_blind_the_gate() {
    let scratch = Scratch::empty().with_book("book");
    scratch.install();
    let path = scratch.bad_check("0900");
    scratch.stage(&path);
    for how in [
        "--literal-pathspecs",
        "--glob-pathspecs",
        "--noglob-pathspecs",
        "--icase-pathspecs",
    ] {
        scratch
            .try_git(&[how, "commit", "--message", "Enter"])
            .refused_for(EXPIRED, &path);
    }
}

#[cfg(unix)]
fn executable(path: &std::path::Path) {
    use std::os::unix::fs::PermissionsExt;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o755)).unwrap();
}

#[cfg(not(unix))]
fn executable(_path: &std::path::Path) {}

/// Every file below the top, git's own among them.
#[test]
fn no_command_writes_but_the_file_that_it_is_asked_for() {
    let scratch = Scratch::empty().with_facts("");
    // Some commands work with today's date, whenever that is.
    scratch.edit("people/op-01.toml", "until = 2026-12-31\n", "");
    scratch.git(&["add", "--all"]);
    scratch.commit_unverified();
    let path = scratch.committed_check("0900");
    let other = scratch.sound_check("1000");
    scratch.stage(&other);
    scratch.edit(&other, "condition", "# seen\ncondition");
    let id = "VM-1/2026-03-02-0900";
    let before = scratch.snapshot(&scratch.top);
    for words in [
        &["gate"][..],
        &["gate", "--range", "HEAD~1..HEAD"],
        &["gate", "--range", "HEAD"],
        &["compare", "HEAD~1..HEAD"],
        &["validate"],
        &["status"],
        &["show", id],
        &["review", "--open"],
        &[
            "correct",
            FLUID,
            "/value/0/viscosity_mpa_s",
            "484.5",
            "--reason",
            "mistyped",
            "--by",
            "op-01",
            "--dry-run",
        ],
    ] {
        let done = scratch.shearbook(words);
        assert!(
            matches!(done.code, Some(0 | 1)),
            "{words:?}: {}{}",
            done.out,
            done.err
        );
        assert_eq!(scratch.snapshot(&scratch.top), before, "{words:?}");
    }
    for (words, file) in [
        (
            &[
                "amend",
                id,
                "--by",
                "op-01",
                "--reason",
                "mistyped",
                "--set",
                "/point/0/temperature_c=25.02",
            ][..],
            path.replace(".toml", ".a1.toml"),
        ),
        (
            &["review", id, "--approve", "--reviewer", "qa-01"],
            "reviews/2026/VM-1/2026-03-02-0900/qa-01-1.toml".to_owned(),
        ),
    ] {
        let before = scratch.snapshot(&scratch.top);
        let done = scratch.shearbook(words);
        let after = scratch.snapshot(&scratch.top);
        let new: Vec<_> = after
            .keys()
            .filter(|path| !before.contains_key(*path))
            .collect();
        assert_eq!(new, [&scratch.path(&file)], "{}{}", done.out, done.err);
        let old = before
            .iter()
            .all(|(path, bytes)| after.get(path) == Some(bytes));
        assert!(old, "{words:?}");
        scratch.remove(&file);
    }
}

#[test]
fn a_range_without_a_beginning_is_no_range() {
    let scratch = Scratch::book();
    scratch.committed_check("0900");
    for range in ["..HEAD", "..", "...HEAD", ""] {
        let done = scratch.shearbook(&["gate", "--range", range]).ends(2);
        assert!(
            done.err.contains("shearbook gate --help"),
            "{range}: {}",
            done.err
        );
    }
    scratch.shearbook(&["gate", "--range", "HEAD~1.."]).ends(0);
}

#[test]
fn an_open_nonconformity_is_written_on_and_does_not_go() {
    let scratch = Scratch::book();
    let path = "nonconformities/N-1.toml";
    let text = "format = 1\nid = \"N-1\"\nopened = 2026-03-02\nchecks = []\n";
    scratch.committed_check("0900");
    scratch.write(path, text.replace("[]", "[\"VM-1/2026-03-02-0900\"]"));
    scratch.stage(path);
    scratch.commit_unverified();
    scratch.edit(path, "opened", "note = \"seen by op-01\"\nopened");
    scratch.stage(path);
    scratch.gate().passes();
    scratch.git(&["rm", "--quiet", "--force", path]);
    scratch.gate().refuses(&[(ALTERED, path)]);
}

/// A folder of ten files, ten times in a folder, and that ten times, and so on: a thousand million files in some forty objects.
#[test]
fn a_commit_that_unfolds_without_end_is_not_unfolded() {
    let scratch = Scratch::book();
    scratch.committed_check("0900");
    let script = r#"
        line() { printf '%s %s %s\t%s\n' "$@"; }
        blob=$(echo x | git hash-object -w --stdin)
        tree=$(for i in 0 1 2 3 4 5 6 7 8 9; do line 100644 blob "$blob" "$i.toml"; done | git mktree)
        for level in 1 2 3 4 5 6 7 8; do
            tree=$(for i in 0 1 2 3 4 5 6 7 8 9; do line 040000 tree "$tree" "$i"; done | git mktree)
        done
        checks=$( (git ls-tree HEAD:checks; line 040000 tree "$tree" 2027) | git mktree)
        root=$( (git ls-tree HEAD | grep -v '	checks$'; line 040000 tree "$checks" checks) | git mktree)
        git commit-tree -p HEAD -m Unfold "$root"
    "#;
    let mut shell = scratch.command("sh", &scratch.top);
    let made = support::Done::of(shell.args(["-e", "-c", script]).output().unwrap()).ends(0);
    let range = format!("HEAD..{}", made.out.trim());
    let done = scratch
        .shearbook(&["gate", "--timeout", "100", "--range", &range])
        .ends(3);
    assert!(done.err.contains("too large to be judged"), "{}", done.err);
}

#[test]
fn book_begun_by_somebody_without_the_right_is_told_once() {
    let scratch = Scratch::empty().with_facts("");
    scratch.git(&["add", "--all"]);
    let done = scratch.shearbook(&["gate", "--format", "plain"]).ends(0);
    let times = done.out.matches("author-not-authorised").count();
    assert_eq!(times, 1, "{}", done.out);
    assert!(done.out.contains("begins the book"), "{}", done.out);
    assert!(!done.out.contains("before the change"), "{}", done.out);
}
