//! Histories as honest laboratories make them: nobody is told of an error, nor warned of more than what the scenario is about.
#![allow(clippy::disallowed_methods, reason = "tests may use files")]

mod support;

use support::history::*;
use support::{FLUID, MARKER};

const KEEPER: &str = "\n[[authorised]]\nfor = \"records\"\nfrom = 2026-01-01\n";

// Branches

#[test]
fn branch_merged_by_a_forge() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.branch("side");
    lab.check(3, "0900");
    lab.commit("op-01", 3);
    lab.switch("main");
    lab.check(2, "0900");
    lab.commit("op-01", 2);
    lab.merge(1, &["side"]);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn branch_squashed_on_the_same_day() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.branch("side");
    lab.check(1, "0900");
    lab.commit("op-01", 1);
    lab.check(1, "1000");
    lab.commit("op-01", 1);
    lab.switch("main");
    lab.git(&["merge", "--quiet", "--squash", "side"]);
    lab.commit("op-01", 1);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn branch_rebased_onto_what_others_did() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.branch("side");
    lab.check(3, "0900");
    lab.commit("op-01", 3);
    lab.switch("main");
    lab.check_but(2, "0900", "op-01", "op-02");
    lab.commit("op-02", 2);
    lab.switch("side");
    lab.git_by("op-01", 1, &["rebase", "--quiet", "main"]);
    lab.switch("main");
    lab.git(&["merge", "--quiet", "--ff-only", "side"]);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn branch_of_ten_days_ago_while_main_went_on() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.branch("side");
    lab.check(12, "0900");
    lab.commit("op-01", 12);
    lab.switch("main");
    for ago in [11, 7, 3] {
        lab.check_but(ago, "0900", "op-01", "op-02");
        lab.commit("op-02", ago);
    }
    lab.merge_open(&["side"]);
    lab.staged("qa-01").passes();
    lab.commit("qa-01", 2);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn branches_that_were_merged_into_each_other() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.branch("side");
    lab.check(5, "0900");
    let side = lab.commit("op-01", 5);
    lab.switch("main");
    lab.check(4, "0900");
    let main = lab.commit("op-01", 4);
    lab.merge(3, &[&side]);
    lab.switch("side");
    lab.merge(3, &[&main]);
    lab.check(2, "0900");
    lab.commit("op-01", 2);
    lab.switch("main");
    lab.merge(1, &["side"]);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn octopus_of_three_branches() {
    let lab = Lab::with_checks();
    let server = lab.server();
    for (name, time) in [("first", "0900"), ("second", "1000")] {
        lab.branch(name);
        lab.check(3, time);
        lab.commit("op-01", 3);
        lab.switch("main");
    }
    lab.check(2, "0900");
    lab.commit("op-01", 2);
    lab.merge(1, &["first", "second"]);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn rows_of_two_colleagues_in_one_file() {
    // Each adds a row elsewhere in the file, and git puts them together by itself.
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.branch("side");
    let service = format!(
        "[[service]]\ndate = {}\nkind = \"adjustment\"\nby = \"A competent laboratory\"\ncertificate = \"C-101\"\n\n[[standing]]",
        day(3)
    );
    lab.edit(INSTRUMENT, "[[standing]]", &service);
    lab.commit("qa-01", 3);
    lab.switch("main");
    lab.edit(
        INSTRUMENT,
        "[[service]]",
        &format!(
            "[[spring]]\nfrom = {}\nfull_scale_torque_un_m = 100.0\n\n[[service]]",
            day(2)
        ),
    );
    lab.commit("qa-01", 2);
    lab.merge(1, &["side"]);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn rows_of_two_colleagues_that_git_could_not_put_together() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let row = |id: &str| format!("\n[[bottle]]\nid = \"{id}\"\nopened = {}\n", day(5));
    let old = lab.read(FLUID);
    lab.branch("side");
    lab.append(FLUID, &row("2"));
    lab.commit("qa-01", 3);
    lab.switch("main");
    lab.append(FLUID, &row("3"));
    lab.commit("qa-01", 2);
    lab.try_git(&["merge", "--quiet", "--no-ff", "side"])
        .ends(1);
    lab.write(FLUID, old + &row("2") + &row("3"));
    lab.git(&["add", "--all"]);
    lab.staged("qa-01").passes();
    lab.commit("qa-01", 1);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn branch_brought_up_to_date_by_an_analyst() {
    // The analyst's merge brings the keeper's change of a fact and a colleague's check; neither is the analyst's doing.
    let lab = Lab::after("", |lab| {
        lab.append(MARKER, "\n[gate]\nrequire_known_authors = true\n");
    });
    let server = lab.server();
    lab.branch("side");
    lab.check(4, "0900");
    lab.commit("op-01", 4);
    lab.switch("main");
    lab.edit(FLUID, "A supplier", "Another supplier");
    lab.commit("qa-01", 3);
    lab.check_but(3, "1000", "op-01", "op-02");
    lab.commit("op-02", 3);
    lab.switch("side");
    lab.merge_open(&["main"]);
    lab.staged("op-01").passes();
    lab.commit("op-01", 2);
    lab.switch("main");
    lab.merge(1, &["side"]);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn branch_that_left_before_a_correction() {
    let lab = Lab::after("", |lab| lab.append(OPERATOR, KEEPER));
    let server = lab.server();
    lab.branch("side");
    lab.edit(
        THERMOMETER,
        "format = 1",
        "format = 1\nnote = \"in the drawer\"",
    );
    lab.commit("qa-01", 4);
    lab.switch("main");
    correct(&lab, 3);
    lab.commit("op-01", 3);
    lab.merge(1, &["side"]);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn branch_that_left_before_a_certificate_came_late() {
    let lab = lapsed();
    let server = lab.server();
    lab.branch("side");
    lab.edit(
        THERMOMETER,
        "format = 1",
        "format = 1\nnote = \"in the drawer\"",
    );
    lab.commit("qa-01", 4);
    lab.switch("main");
    lab.edit(INSTRUMENT, "[[standing]]", &late_certificate());
    let late = lab.commit("qa-01", 3);
    lab.merge(1, &["side"]);
    let expected = [warning("fact-backdated", INSTRUMENT).by(&late)];
    lab.range_and_push(&server, &lab.base, &expected);
}

#[test]
fn check_committed_for_its_author_by_a_forge() {
    let lab = Lab::after("", |lab| {
        lab.append(MARKER, "\n[gate]\nrequire_known_authors = true\n");
    });
    let server = lab.server();
    lab.check(1, "0900");
    lab.git(&["add", "--all"]);
    let author = "--author=Operator one <op-01@lab.example>";
    lab.git_by(
        "forge",
        1,
        &["commit", "--quiet", "--message", "Enter", author],
    );
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn check_picked_from_another_branch() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.branch("side");
    lab.check(3, "0900");
    lab.commit("op-01", 3);
    lab.switch("main");
    lab.git_by("qa-01", 1, &["cherry-pick", "side"]);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn review_by_pull_request() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.branch("review");
    lab.review(&lab.one, "qa-02", 3);
    lab.commit("qa-02", 3);
    lab.switch("main");
    lab.check(2, "0900");
    lab.commit("op-01", 2);
    lab.merge(1, &["review"]);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn check_and_its_review_in_one_push() {
    let lab = Lab::after("", |lab| {
        lab.append(MARKER, "\n[gate]\nrequire_known_authors = true\n");
    });
    let server = lab.server();
    let check = lab.check(3, "0900");
    lab.commit("op-01", 3);
    lab.review(&check, "qa-01", 2);
    lab.commit("qa-01", 2);
    lab.range_and_push(&server, &lab.base, &[]);
}

// Pushes

#[test]
fn first_push_of_a_new_book() {
    for folder in ["", "qc/book"] {
        let lab = Lab::after(folder, |_| {});
        lab.empty_server().push(&lab, &["main"]).passes();
    }
}

#[test]
fn book_begun_in_a_repository_that_has_a_history() {
    let lab = Lab::new_in("book");
    let began = lab.tip();
    lab.git(&["checkout", "--quiet", "--orphan", "older"]);
    lab.git(&["rm", "--quiet", "-r", "--cached", "."]);
    let words = ["commit", "--quiet", "--allow-empty", "--message", "Begin"];
    lab.git_by("qa-01", 70, &words);
    lab.git(&["branch", "--force", "main"]);
    lab.git(&["symbolic-ref", "HEAD", "refs/heads/main"]);
    let server = lab.server();
    lab.git(&["read-tree", &began]);
    lab.commit_index("qa-01", &noon(50), &noon(50));
    lab.check(3, "0900");
    lab.commit("op-01", 3);
    lab.range_and_push(&server, "older", &[]);
}

#[test]
fn new_analyst_and_their_first_check_in_one_push() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let person = lab.read(OPERATOR).replace("op-01", "op-05");
    lab.write("people/op-05.toml", person);
    lab.commit("qa-01", 2);
    lab.check_but(1, "0900", "op-01", "op-05");
    lab.commit("op-05", 1);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn tags_of_sound_commits() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.git(&["tag", "old", "HEAD~1"]);
    lab.git(&[
        "tag",
        "--annotate",
        "--message",
        "Audit of the year",
        "audit",
    ]);
    lab.check(1, "0900");
    lab.commit("op-01", 1);
    lab.git(&["tag", "new"]);
    server.push(&lab, &["--tags"]).passes();
    server.push(&lab, &["--delete", "refs/tags/old"]).passes();
}

#[test]
fn branch_pushed_merged_and_deleted() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.branch("side");
    lab.check(3, "0900");
    lab.commit("op-01", 3);
    server.push(&lab, &["side"]).passes();
    lab.switch("main");
    lab.merge(2, &["side"]);
    server.push(&lab, &["main", ":side"]).passes();
}

#[test]
fn commits_that_touch_nothing_of_the_book() {
    let lab = Lab::after("book", |_| {});
    let server = lab.server();
    for (who, ago) in [("someone", 3), ("op-01", 2)] {
        std::fs::create_dir_all(lab.top.join("src/checks")).unwrap();
        std::fs::write(lab.top.join("src/checks/notes.toml"), who).unwrap();
        lab.commit(who, ago);
    }
    std::fs::remove_dir_all(lab.top.join("src")).unwrap();
    lab.commit("someone", 1);
    lab.range_and_push(&server, &lab.base, &[]);
}

// Clocks

#[test]
fn clock_that_is_five_minutes_off() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.check(2, "1205");
    lab.commit("op-01", 2);
    lab.check(2, "0900");
    lab.commit_dated("op-01", &at(2, "11:55"), &at(2, "11:55"));
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn check_committed_on_the_last_day_that_is_allowed() {
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.check(5, "0900");
    lab.commit_dated("op-01", &at(2, "23:59"), &at(2, "23:59"));
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn calendar_days_are_those_of_the_book() {
    // Where the author sits it is the fourth day already, in the book's zone the third.
    let lab = Lab::with_checks();
    let server = lab.server();
    lab.check(5, "0900");
    let there = format!("{}T10:00:00+14:00", day(1));
    lab.commit_dated("op-01", &there, &there);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn late_check_with_its_reason() {
    let lab = Lab::with_checks();
    let late = "condition = \"as-found\"\nlate_reason = \"the network was down\"";
    lab.check_but(20, "0900", "condition = \"as-found\"", late);
    lab.everywhere("op-01", &[]);
}

#[test]
fn check_of_a_colleague_typed_by_another() {
    let lab = Lab::with_checks();
    lab.check_but(
        1,
        "0900",
        "operator =",
        "entered_by = \"op-02\"\noperator =",
    );
    lab.everywhere("op-02", &[]);
}

// Checks

#[test]
fn void_check() {
    let lab = Lab::with_checks();
    let void = "void = true\nvoid_cause = \"procedure\"\nreason = \"spilled\"\n\n[preparation]";
    let draft = lab.draft(1, "0900").replacen("\n[preparation]", void, 1);
    lab.sealed(&lab.path_of(1, "0900"), &draft);
    lab.everywhere("op-01", &[]);
}

/// The draft with readings 2.9 % over the certified value, which is outside the limits at the highest speed.
fn failing(draft: &str) -> String {
    draft
        .replace("viscosity_mpa_s = 485.0", "viscosity_mpa_s = 470.0")
        .replace("torque_percent = 19.4", "torque_percent = 18.8")
        .replace("torque_percent = 48.5", "torque_percent = 47.0")
        .replace("torque_percent = 97.0", "torque_percent = 94.0")
}

/// A failed check and its failed repeat of that day.
fn failed_twice(lab: &Lab, ago: i64) -> [String; 2] {
    let first = lab.sealed(&lab.path_of(ago, "0900"), &failing(&lab.draft(ago, "0900")));
    let repeats = format!("occasion = \"repeat\"\nrepeats = \"{}\"", lab.id_of(&first));
    let draft = failing(&lab.draft(ago, "1100")).replace("occasion = \"scheduled\"", &repeats);
    assert!(lab.read(&first).contains("verdict = \"fail\""));
    [first.clone(), lab.sealed(&lab.path_of(ago, "1100"), &draft)]
}

#[test]
fn failed_check_and_its_repeat() {
    let lab = Lab::with_checks();
    failed_twice(&lab, 1);
    lab.everywhere("op-01", &[]);
}

#[test]
fn nonconformity_opened_and_decided_later() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let [first, second] = failed_twice(&lab, 9);
    lab.commit("op-01", 9);
    let opened = format!(
        "format = 1\nid = \"N-1\"\nopened = {}\nchecks = [\"{}\", \"{}\"]\n",
        day(8),
        lab.id_of(&first),
        lab.id_of(&second)
    );
    let path = "nonconformities/N-1.toml";
    lab.write(path, &opened);
    lab.commit("qa-01", 8);
    lab.write(
        path,
        opened.replace("opened", "note = \"the bob is bent\"\nopened"),
    );
    lab.commit("qa-01", 7);
    let outcome = format!(
        "\n[outcome]\nevaluation = \"nothing was measured in between\"\ndecision = \"a new bob\"\nby = \"qa-01\"\ndate = {}\n",
        day(2)
    );
    lab.append(path, &outcome);
    lab.commit("qa-01", 2);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn amendment_of_an_old_check() {
    let lab = Lab::with_checks();
    lab.amendment(&lab.one, 1, "op-01");
    lab.everywhere("op-01", &[]);
}

#[test]
fn amendment_of_an_amendment() {
    let lab = Lab::with_checks();
    let first = lab.amendment(&lab.one, 5, "op-01");
    lab.commit("op-01", 5);
    let text = lab.read(&first).replace(
        &format!("amends = \"{}\"", lab.id_of(&lab.one)),
        &format!("amends = \"{}\"", lab.id_of(&first)),
    );
    let text = text.replace(&day(5).to_string(), &day(1).to_string());
    lab.write(&first.replace(".a1.", ".a2."), text);
    lab.everywhere("op-01", &[]);
}

#[test]
fn record_that_was_lost_is_put_back() {
    let lab = Lab::with_checks();
    let first = lab.read(&lab.one);
    lab.remove(&lab.one);
    lab.commit("op-01", 2);
    lab.write(&lab.one, first);
    lab.everywhere("qa-01", &[]);
}

#[test]
fn record_that_was_edited_is_put_back_by_git() {
    let lab = Lab::with_checks();
    lab.tamper(&lab.one);
    lab.commit("op-01", 2);
    let server = lab.server();
    let before = lab.tip();
    lab.git_by("qa-01", 1, &["revert", "--no-edit", "HEAD"]);
    lab.range_and_push(&server, &before, &[]);
}

#[test]
fn old_alteration_that_was_owned_up_to() {
    let lab = Lab::with_checks();
    lab.tamper(&lab.one);
    let altered = lab.commit("op-01", 20);
    lab.write(
        "nonconformities/N-1.toml",
        format!(
            "format = 1\nid = \"N-1\"\nopened = {}\n\n[[finding]]\nrule = \"record-altered\"\npath = \"{}\"\n\
             commit = \"{altered}\"\n\n[outcome]\nevaluation = \"the soak was long enough either way\"\n\
             decision = \"it stands\"\nby = \"qa-01\"\ndate = {}\n",
            day(2),
            lab.one,
            day(1)
        ),
    );
    lab.everywhere("qa-01", &[]);
}

// Facts

/// The full calibration ended between both checks, so the second has a warning.
fn lapsed() -> Lab {
    Lab::after("", |lab| {
        let due = format!("due = {}", day(35));
        lab.edit(INSTRUMENT, "due = 2099-01-12", &due);
    })
}

fn late_certificate() -> String {
    format!(
        "[[service]]\ndate = {}\nkind = \"calibration\"\nby = \"A competent laboratory\"\ncertificate = \"C-101\"\n\
         due = 2099-01-12\nlate_reason = \"the certificate came by post\"\n\n[[standing]]",
        day(36)
    )
}

#[test]
fn certificate_that_came_late() {
    let lab = lapsed();
    lab.edit(INSTRUMENT, "[[standing]]", &late_certificate());
    lab.everywhere("qa-01", &[warning("fact-backdated", INSTRUMENT)]);
}

#[test]
fn quarantine_that_ought_to_have_been_written_earlier() {
    let lab = Lab::with_checks();
    lab.append(
        INSTRUMENT,
        &format!(
            "\n[[standing]]\nfrom = {}\nstate = \"quarantined\"\nby = \"qa-01\"\nreason = \"dropped\"\n\
             late_reason = \"the cleaner told us today\"\n",
            day(35)
        ),
    );
    lab.everywhere("qa-01", &[warning("fact-backdated", INSTRUMENT)]);
}

#[test]
fn certificate_of_the_past_that_changes_nothing() {
    let lab = Lab::with_checks();
    let row = format!(
        "[[service]]\ndate = {}\nkind = \"calibration\"\nby = \"A competent laboratory\"\ncertificate = \"C-101\"\n\
         due = 2099-02-12\n\n[[standing]]",
        day(36)
    );
    lab.edit(INSTRUMENT, "[[standing]]", &row);
    lab.everywhere("qa-01", &[]);
}

#[test]
fn lot_recalled_today() {
    let lab = Lab::with_checks();
    lab.append(
        FLUID,
        &format!(
            "\n[[standing]]\nfrom = {}\nstate = \"quarantined\"\nby = \"qa-01\"\nreason = \"recalled by its issuer\"\n",
            day(1)
        ),
    );
    lab.everywhere("qa-01", &[]);
}

#[test]
fn lot_recalled_on_the_day_of_its_last_check() {
    // Given as a date, quarantine binds from the next day: the check that caused it stays valid.
    let lab = Lab::with_checks();
    lab.append(
        FLUID,
        &format!(
            "\n[[standing]]\nfrom = {}\nstate = \"quarantined\"\nby = \"qa-01\"\nreason = \"recalled by its issuer\"\n",
            day(30)
        ),
    );
    lab.everywhere("qa-01", &[]);
}

#[test]
fn new_policy_from_today() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let policy = lab
        .read(POLICY)
        .replace("\"P-1\"", "\"P-2\"")
        .replace("effective = 2026-01-01", &format!("effective = {}", day(2)))
        .replace("fluid_percent = 1.0", "fluid_percent = 2.0");
    lab.write("policies/P-2.toml", policy);
    lab.commit("qa-01", 2);
    let path = lab.path_of(1, "0900");
    lab.sealed(&path, &lab.draft(1, "0900"));
    assert!(lab.read(&path).contains("policy = \"P-2\""));
    lab.commit("op-01", 1);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn new_instrument_with_its_first_checks() {
    let lab = Lab::with_checks();
    let server = lab.server();
    let instrument = lab.read(INSTRUMENT).replace("VM-1", "VM-2");
    lab.write("instruments/VM-2.toml", instrument);
    lab.commit("qa-01", 2);
    for time in ["0900", "1000"] {
        let text = lab.read(&lab.check(1, time)).replace("VM-1", "VM-2");
        lab.remove(&lab.path_of(1, time));
        lab.write(&lab.path_of(1, time).replace("VM-1", "VM-2"), text);
    }
    lab.commit("op-01", 1);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn spring_replaced_from_today() {
    let lab = Lab::with_checks();
    let row = format!(
        "[[spring]]\nfrom = {}\nfull_scale_torque_un_m = 101.0\n\n[[service]]",
        day(1)
    );
    lab.edit(INSTRUMENT, "[[service]]", &row);
    lab.everywhere("qa-01", &[]);
}

/// Puts the lot's value right, with all that the contract asks for.
fn correct(lab: &Lab, ago: i64) {
    lab.edit(FLUID, "viscosity_mpa_s = 484.0", "viscosity_mpa_s = 484.2");
    let row = format!(
        "\n[[correction]]\nkey = \"/value/0/viscosity_mpa_s\"\nwas = 484.0\nreason = \"certificate mistyped\"\n\
         by = \"op-01\"\ndate = {}\n",
        day(ago)
    );
    lab.append(FLUID, &row);
    for path in [&lab.one, &lab.two] {
        lab.amendment(path, ago, "op-01");
    }
}

#[test]
fn wrong_value_corrected_with_all_that_rests_on_it() {
    let lab = Lab::after("", |lab| lab.append(OPERATOR, KEEPER));
    correct(&lab, 1);
    lab.everywhere("op-01", &[]);
}

#[test]
fn remarks_and_order_in_facts() {
    let lab = Lab::with_checks();
    lab.edit(FLUID, "[[bottle]]", "# second shelf, left\n[[bottle]]");
    lab.edit(
        FLUID,
        "supplier = \"A supplier\"\nproduct = \"Reference fluid\"",
        "product = \"Reference fluid\"\nsupplier = \"A supplier\"",
    );
    lab.edit(
        FLUID,
        "viscosity_mpa_s = 484.0",
        "viscosity_mpa_s   =  484.00",
    );
    lab.edit(
        INSTRUMENT,
        "usage =",
        "description = \"by the window\"\nlocation = \"QC\"\nusage =",
    );
    lab.edit(INSTRUMENT, "[6, 12, 20, 30, 60]", "[60, 30, 20, 12, 6, 3]");
    lab.edit(
        POLICY,
        "title = \"Check procedure\"",
        "title = \"Check procedure, reprinted\"",
    );
    lab.write(THERMOMETER, lab.read(THERMOMETER).replace('\n', "\r\n"));
    lab.everywhere("qa-01", &[]);
}

#[test]
fn row_that_nothing_rests_on_taken_out() {
    let lab = Lab::after("", |lab| {
        lab.append(FLUID, "\n[[bottle]]\nid = \"2\"\nopened = 2026-03-01\n")
    });
    lab.edit(FLUID, "\n[[bottle]]\nid = \"2\"\nopened = 2026-03-01\n", "");
    lab.remove("baths/WB-1.toml");
    lab.everywhere("qa-01", &[]);
}

#[test]
fn bottle_discarded_and_right_ended_on_the_day_of_the_last_use() {
    let lab = Lab::with_checks();
    lab.append(FLUID, &format!("discarded = {}\n", day(30)));
    lab.append(OPERATOR, &format!("until = {}\n", day(30)));
    lab.everywhere("qa-01", &[]);
}

#[test]
fn everyday_changes_of_facts() {
    let ends = format!("until = {}\n", day(10));
    let lab = Lab::after("", |lab| lab.append(OPERATOR, &ends));
    let server = lab.server();
    let geometry = "geometries/G-1.toml";
    // A right prolonged, a certificate renewed, another class of usage, longer intervals, a spindle bent.
    lab.edit(OPERATOR, &ends, "until = 2099-12-31\n");
    lab.commit("qa-01", 5);
    let calibration = format!(
        "\n[[calibration]]\ndate = {}\ndue = 2099-12-31\nby = \"A competent laboratory\"\ncertificate = \"T-101\"\n\
         expanded_uncertainty_k = 0.02\ncoverage_factor = 2.0\n",
        day(4)
    );
    lab.append(THERMOMETER, &calibration);
    lab.commit("qa-01", 4);
    lab.edit(INSTRUMENT, "\"daily\"", "\"occasional\"");
    lab.edit(POLICY, "occasional = 30", "occasional = 60");
    lab.edit(POLICY, "interval_months = 12", "interval_months = 24");
    lab.commit("qa-01", 3);
    let inspection = format!(
        "\n[[inspection]]\ndate = {}\noutcome = \"damaged\"\n",
        day(2)
    );
    lab.append(geometry, &inspection);
    lab.commit("qa-01", 2);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn new_address_of_an_analyst_used_in_the_same_push() {
    let lab = Lab::after("", |lab| {
        lab.append(MARKER, "\n[gate]\nrequire_known_authors = true\n");
    });
    let server = lab.server();
    lab.edit(OPERATOR, "op-01@lab.example", "analyst-01@lab.example");
    lab.commit("qa-01", 2);
    lab.check(1, "0900");
    lab.commit("analyst-01", 1);
    lab.range_and_push(&server, &lab.base, &[]);
}

#[test]
fn audit_start_set_for_the_first_time() {
    let lab = Lab::with_checks();
    lab.append(
        MARKER,
        &format!("\n[gate]\naudit_from = \"{}\"\n", lab.tip()),
    );
    lab.everywhere("qa-01", &[]);
}

#[test]
fn time_zone_that_moves_no_date() {
    let lab = Lab::with_checks();
    lab.edit(MARKER, "UTC", "Europe/Dublin");
    lab.everywhere("qa-01", &[]);
}
