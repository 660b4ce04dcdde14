//! What a pull request brings, as its reviewer reads it: from real commits, whatever lies in the work tree.
#![allow(clippy::disallowed_methods, reason = "tests may use files")]

mod support;

use sha2::{Digest, Sha256};
use support::{Done, FLUID, MARKER, Scratch, check_path, draft, failing_draft, with_expired_lot};

const POLICY: &str = "policies/P-1.toml";

/// A sealed check in the work tree; its path.
fn check(scratch: &Scratch, time: &str, draft: &str) -> String {
    scratch.seal(time, draft)
}

fn commit(scratch: &Scratch, message: &str) {
    scratch.git(&["add", "--all"]);
    scratch.git(&["commit", "--quiet", "--no-verify", "--message", message]);
}

fn branch(scratch: &Scratch, name: &str) {
    scratch.git(&["switch", "--quiet", "--create", name]);
}

/// A book with a counted check on main, and the branch `topic` begun there.
fn begun() -> Scratch {
    let scratch = Scratch::book();
    scratch.committed_check("0900");
    branch(&scratch, "topic");
    scratch
}

fn compared(scratch: &Scratch, arguments: &[&str]) -> Done {
    scratch.shearbook(&[&["compare"], arguments].concat())
}

/// The page of main..topic, which must end with this code.
#[track_caller]
fn page(scratch: &Scratch, code: i32) -> String {
    let done = compared(scratch, &["main..topic"]).ends(code);
    assert_eq!(done.err, "");
    well_formed(&done.out);
    done.out
}

#[track_caller]
fn says(page: &str, texts: &[&str]) {
    for text in texts {
        assert!(page.contains(text), "no {text:?} in\n{page}");
    }
}

/// What is left of a page when fences and quotations are taken out: all that a forge may read as Markdown.
fn outside_of_quotations(page: &str) -> String {
    let mut left = String::new();
    let mut fence: Option<String> = None;
    for line in page.lines() {
        let marks: String = line.chars().take_while(|mark| *mark == '`').collect();
        match &fence {
            Some(open) => {
                if marks.len() >= open.len() && line.trim_end_matches('`').is_empty() {
                    fence = None;
                }
                continue;
            }
            None if marks.len() >= 3 && !line[marks.len()..].contains('`') => {
                fence = Some(marks);
                continue;
            }
            None => {}
        }
        let mut rest = line;
        while let Some(at) = rest.find('`') {
            left += &rest[..at];
            let run = rest[at..].chars().take_while(|mark| *mark == '`').count();
            let body = &rest[at + run..];
            // The next run of the same length closes.
            let mut from = 0;
            let mut end = None;
            while let Some(next) = body[from..].find('`') {
                let start = from + next;
                let length = body[start..]
                    .chars()
                    .take_while(|mark| *mark == '`')
                    .count();
                if length == run {
                    end = Some(start + length);
                    break;
                }
                from = start + length;
            }
            let end = end.unwrap_or_else(|| panic!("an open quotation in {line}"));
            left.push('Q');
            rest = &body[end..];
        }
        left += rest;
        left.push('\n');
    }
    assert_eq!(fence, None, "a fence is left open in\n{page}");
    left
}

/// Quotations and fences are closed, every row of a table has the columns of its head, and the page fits a comment.
#[track_caller]
fn well_formed(page: &str) {
    let text = outside_of_quotations(page);
    let mut columns = None;
    for line in text.lines() {
        match line.starts_with('|') {
            true => {
                let count = line.matches('|').count();
                assert_eq!(*columns.get_or_insert(count), count, "{line} in\n{page}");
            }
            false => columns = None,
        }
    }
    assert!(page.len() < 60_000, "{} bytes", page.len());
    assert!(
        !text.contains('<') || text.contains("](<"),
        "HTML in\n{page}"
    );
}

/// The headings of a page, quotations and all.
fn headings(page: &str) -> Vec<&str> {
    page.lines().filter(|line| line.starts_with('#')).collect()
}

// The base book certifies 484.0 mPa.s and has a geometry of 30000 mPa.s times rpm at the instrument's spring, so the ranges
// are 2500, 1000 and 500 mPa.s at 12, 30 and 60 rpm; with 1 % of the value and 1 % of the range the half-widths are 29.84,
// 14.84 and 9.84. A reading of 485.0 lies 1/484 = 0.21 % above, which is 3, 7 and 10 % of those; one of 470.0 lies
// 14/484 = 2.89 % below, which is 47, 94 and 142 %.
const SMALL_PAGE: &str = "\
# What this change brings to the book

This change brings **2 new checks** of `VM-1`: 1 fails and 1 passes. Found: no errors, no warnings, 1 notice. Compared: 2 commits of `topic`, with the book as it was at `BASE`, where it parted from `main`.

**What to do:**

- Keep the failed check: a truthful fail is a good record and no reason against merging. See that the instrument is checked again before it is used.

## New checks

### `VM-1/2026-03-02-1100`: **fail**

Performed 2026-03-02 11:00 by `op-01`; fluid lot `K-1`, bottle `1`; geometry `G-1`; thermometer `TH-1`; scheduled, as-found. Judged by policy `P-1`: 1.0 % of the value + 1.0 % of the range.

- Entered late: `entered from the bench sheet`

| rpm | zone | torque % | reading mPa.s | limits mPa.s | deviation % | verdict |
| ---: | --- | ---: | ---: | --- | ---: | --- |
| 12 | low | 18.8 | 470.0 | 454.16 to 513.84 | -2.89 | pass |
| 30 | middle | 47.0 | 470.0 | 469.16 to 498.84 | -2.89 | pass |
| 60 | high | 94.0 | 470.0 | 474.16 to 493.84 | -2.89 | **fail** |

Where each reading lies between its limits:

```text
     12 rpm  [\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}o\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}|\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}]  -47 % of the band
     30 rpm  [\u{b7}o\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}|\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}]  -94 % of the band
     60 rpm <[\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}|\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}]  -142 % of the band
```

Deviation in % of the reference, beside the 2 counted checks before it:

| rpm | 2026-03-02 09:00 | 2026-03-02 10:00 | this check |
| ---: | ---: | ---: | ---: |
| 12 | +0.21 pass | +0.21 pass | -2.89 pass |
| 30 | +0.21 pass | +0.21 pass | -2.89 pass |
| 60 | +0.21 pass | +0.21 pass | -2.89 **fail** |

### `VM-1/2026-03-02-1000`: **pass**

Performed 2026-03-02 10:00 by `op-01`; fluid lot `K-1`, bottle `1`; geometry `G-1`; thermometer `TH-1`; scheduled, as-found. Judged by policy `P-1`: 1.0 % of the value + 1.0 % of the range.

- Entered late: `entered from the bench sheet`

| rpm | zone | torque % | reading mPa.s | limits mPa.s | deviation % | verdict |
| ---: | --- | ---: | ---: | --- | ---: | --- |
| 12 | low | 19.4 | 485.0 | 454.16 to 513.84 | +0.21 | pass |
| 30 | middle | 48.5 | 485.0 | 469.16 to 498.84 | +0.21 | pass |
| 60 | high | 97.0 | 485.0 | 474.16 to 493.84 | +0.21 | pass |

Where each reading lies between its limits:

```text
     12 rpm  [\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}o\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}]  +3 % of the band
     30 rpm  [\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}|o\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}]  +7 % of the band
     60 rpm  [\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}|o\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}\u{b7}]  +10 % of the band
```

Deviation in % of the reference, beside the counted check before it:

| rpm | 2026-03-02 09:00 | this check |
| ---: | ---: | ---: |
| 12 | +0.21 pass | +0.21 pass |
| 30 | +0.21 pass | +0.21 pass |
| 60 | +0.21 pass | +0.21 pass |

## Findings

";

#[test]
fn a_pass_and_a_fail_are_told_with_their_figures() {
    let scratch = begun();
    let base = scratch.head();
    check(&scratch, "1000", &draft("1000"));
    commit(&scratch, "A pass");
    let failed = check(&scratch, "1100", &failing_draft("1100"));
    commit(&scratch, "A fail");
    let page = page(&scratch, 0);
    let findings = page.find("## Findings\n\n").expect("findings") + "## Findings\n\n".len();
    assert_eq!(
        page[..findings],
        SMALL_PAGE.replace("BASE", &base[..12]),
        "{page}"
    );
    assert_eq!(page[findings..].lines().count(), 1, "{page}");
    says(&page[findings..], &["notice `failed`", &failed, "*Next:*"]);

    // Neither the work tree nor the index has a say, and the same page goes to a file.
    scratch.remove(&failed);
    scratch.write(&check_path("1000"), "spoiled");
    scratch.git(&["switch", "--quiet", "--force", "main"]);
    scratch.write(FLUID, "spoiled");
    let file = scratch.outside().join("page.md");
    let done = compared(
        &scratch,
        &["main..topic", "--output", file.to_str().unwrap()],
    )
    .ends(0);
    assert_eq!(done.out, "");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), page);
}

#[test]
fn ranges_are_read_as_git_reads_them() {
    let scratch = begun();
    check(&scratch, "1000", &draft("1000"));
    commit(&scratch, "A pass");
    let whole = page(&scratch, 0);
    for same in ["main...topic", "main", "main.."] {
        let other = compared(&scratch, &[same]).ends(0).out;
        // HEAD is told as it was asked for.
        assert_eq!(other.replace("`HEAD`", "`topic`"), whole, "{same}");
    }
    for (wrong, said) in [
        ("mian..topic", "did you mean main?"),
        ("main..nowhere-at-all", "git branch --all"),
        ("..", "A..B"),
        ("main..--all", "A..B"),
    ] {
        let done = compared(&scratch, &[wrong]).ends(2);
        assert_eq!(done.out, "");
        says(&done.err, &[said]);
    }
}

#[test]
fn an_amendment_shows_what_it_corrects() {
    let scratch = begun();
    let first = scratch.read(&check_path("0900"));
    let amended = draft("0900")
        .replace("thermometer = \"TH-1\"\n", "thermometer = \"TH-1\"\nbath = \"WB-1\"\n")
        .replace("zero_percent = 0.0", "zero_percent = 0.1")
        .replace(
            "condition = \"as-found\"\n",
            "condition = \"as-found\"\namends = \"VM-1/2026-03-02-0900\"\namended = 2026-03-02T11:30:00\namended_by = \"op-01\"\nreason = \"zero miscopied\"\n",
        );
    assert!(first.contains("zero_percent = 0.0"));
    let path = "checks/2026/VM-1/2026-03-02-0900.a1.toml";
    scratch.write(path, amended);
    scratch.shearbook(&["seal", path]).ends(0);
    commit(&scratch, "Amend");
    let page = page(&scratch, 0);
    says(
        &page,
        &[
            "**1 new check** of `VM-1`: 1 passes; 1 amends an earlier record.",
            "### `VM-1/2026-03-02-0900.a1`: **pass**",
            "- Amends `VM-1/2026-03-02-0900`, by `op-01` on 2026-03-02 11:30: `zero miscopied`",
            "| preparation, zero in %, `/preparation/zero_percent` | `0.0` | `0.1` |",
            "| bath, `/bath` | (not there) | `WB-1` |",
        ],
    );
    // The record that it amends is no earlier check beside it.
    assert!(!page.contains("counted check"), "{page}");
}

#[test]
fn a_changed_value_an_appended_row_and_a_row_taken_away() {
    let scratch = Scratch::book();
    for time in ["0900", "1000", "1100", "1200"] {
        check(&scratch, time, &draft(time));
    }
    commit(&scratch, "Four checks");
    branch(&scratch, "topic");
    let fluid = scratch.read(FLUID);
    let changed = fluid
        .replace("viscosity_mpa_s = 484.0", "viscosity_mpa_s = 484.5")
        .replace(
            "supplier = \"A supplier\"",
            "supplier = \"A supplier\" # asked again",
        );
    scratch.write(
        FLUID,
        changed + "\n[[bottle]]\nid = \"2\"\nopened = 2026-03-01\n",
    );
    scratch.edit(
        "people/qa-01.toml",
        "\n[[authorised]]\nfor = \"review\"\nfrom = 2026-01-01\n",
        "",
    );
    scratch.edit(
        "thermometers/TH-1.toml",
        "resolution_k",
        "# as before\nresolution_k",
    );
    scratch.remove("baths/WB-1.toml");
    commit(&scratch, "Correct the certificate");
    let page = page(&scratch, 1);
    says(
        &page,
        &[
            "This change changes 4 facts on which committed checks rest.",
            "### fluid lot `K-1`, `fluids/K-1.toml`",
            "| value 1, viscosity in mPa.s, `/value/0/viscosity_mpa_s` | `484.0` | `484.5` |",
            "- New row, bottle 2: id `2`; opened `2026-03-01`",
            "4 committed checks rest on it; the newest are `VM-1/2026-03-02-1200`, `VM-1/2026-03-02-1100` and `VM-1/2026-03-02-1000`.",
            "### person `qa-01`, `people/qa-01.toml`",
            "- **Row taken away**, authorised 1: for `review`; from `2026-01-01`",
            "### thermometer `TH-1`",
            "No value differs: only remarks, order or spelling.",
            "### bath `WB-1`, `baths/WB-1.toml`: **removed or renamed**",
            "No committed check rests on it.",
            // Each check was judged by the old value.
            "**error** `computed-differs` in `checks/2026/VM-1/2026-03-02-0900.toml`",
            "Do not merge yet",
        ],
    );
    assert!(!page.contains("asked again"), "{page}");
    assert_eq!(page.matches("computed-differs").count() % 4, 0, "{page}");
}

#[test]
fn committed_records_that_a_change_alters_or_removes_are_told() {
    let scratch = begun();
    let second = check(&scratch, "1000", &draft("1000"));
    scratch.git(&["switch", "--quiet", "main"]);
    commit(&scratch, "A second");
    scratch.git(&["branch", "--force", "topic", "main"]);
    scratch.git(&["switch", "--quiet", "topic"]);
    scratch.remove(&second);
    scratch.edit(
        &check_path("0900"),
        "viscosity_mpa_s = 485.0",
        "viscosity_mpa_s = 484.9",
    );
    scratch.write("README.md", "levels\n");
    scratch.write(
        "fluids/K-7.toml",
        "format = 1\nid = \"K-7\"\nviscosity = 1,5\n",
    );
    commit(&scratch, "Tidy up");
    let page = page(&scratch, 1);
    says(
        &page,
        &[
            "It **alters 2 committed records**.",
            "Not told on this page, since it is no record: `README.md`.",
            "### `checks/2026/VM-1/2026-03-02-0900.toml`: changed",
            "| point 1, viscosity in mPa.s, `/point/0/viscosity_mpa_s` | `485.0` | `484.9` |",
            "### `checks/2026/VM-1/2026-03-02-1000.toml`: removed or renamed",
            "**error** `record-altered` in `checks/2026/VM-1/2026-03-02-0900.toml`",
            "**error** `record-altered` in `checks/2026/VM-1/2026-03-02-1000.toml`",
            "- fluid lot `K-7`, `fluids/K-7.toml`: ",
            "**error** `toml-syntax` in `fluids/K-7.toml`, line 3",
        ],
    );
}

#[test]
fn an_invalid_check_is_told_with_its_error_and_ends_with_1() {
    let scratch = begun();
    scratch.bad_check("1000");
    scratch.write("checks/2026/VM-1/2026-03-02-1100.toml", "format = 1\n");
    commit(&scratch, "Enter");
    let page = page(&scratch, 1);
    says(
        &page,
        &[
            "**2 new checks** of `VM-1`: 1 passes and 1 cannot be read; 2 have errors and do not count.",
            "### `VM-1/2026-03-02-1000`: **pass**, but it has errors and does not count",
            "### `checks/2026/VM-1/2026-03-02-1100.toml`: cannot be read",
            "- **error** `fluid-expired` in `checks/2026/VM-1/2026-03-02-1000.toml`, line 4: ",
            "See `fluids/K-0.toml`, line ",
            "whoever made the change puts right the errors under *Findings* first",
        ],
    );
    // Errors come before the rest, though notices of other files sort before them.
    let findings = &page[page.find("## Findings").expect("findings")..];
    assert!(
        findings
            .lines()
            .nth(2)
            .is_some_and(|line| line.starts_with("- **error**"))
    );
}

#[test]
fn void_deviation_repeat_and_what_does_not_count() {
    let scratch = begun();
    scratch.bad_check("1000");
    check(
        &scratch,
        "1100",
        &draft("1100").replace(
            "condition = \"as-found\"\n",
            "condition = \"as-found\"\nvoid = true\nvoid_cause = \"procedure\"\nreason = \"beaker knocked\"\n",
        ),
    );
    check(
        &scratch,
        "1200",
        &draft("1200")
            .replace("soak_started = 2026-03-02T07:50:00", "soak_started = 2026-03-02T11:30:00")
            .replace(
                "\n[[point]]\nspeed_rpm = 12",
                "\n[[deviation]]\nrule = \"soak-too-short\"\nreason = \"stirred and steady\"\nconsent = \"qa-01\"\n\n[[point]]\nspeed_rpm = 12",
            ),
    );
    commit(&scratch, "Enter");
    let page = page(&scratch, 1);
    says(
        &page,
        &[
            "**3 new checks** of `VM-1`: 2 pass and 1 is void; 1 has errors and does not count.",
            "### `VM-1/2026-03-02-1100`: **void**",
            "- Void (procedure): `beaker knocked`",
            "- Departs from `soak-too-short` with the consent of `qa-01`: `stirred and steady`",
        ],
    );
    // Neither a void check nor one with an error stands beside another; the lot of the last one differs.
    for (head, count) in [
        ("beside the counted check before it", 3),
        ("| rpm | 2026-03-02 09:00 | this check |", 2),
        ("| rpm | 2026-03-02 09:00, lot `K-1` | this check |", 1),
    ] {
        assert_eq!(page.matches(head).count(), count, "{head} in\n{page}");
    }
}

#[test]
fn a_check_of_very_many_points_is_cut_between_its_rows() {
    let scratch = begun();
    let text = draft("1000");
    let point = &text[text.rfind("[[point]]").expect("a point")..];
    let text = text.replace(
        "condition = \"as-found\"\n",
        "condition = \"as-found\"\nvoid = true\nvoid_cause = \"procedure\"\nreason = \"left running\"\n",
    ) + &format!("\n{point}").repeat(97);
    check(&scratch, "1000", &text);
    commit(&scratch, "Enter");
    let page = page(&scratch, 0);
    says(&page, &["**void**", "\nAnd 60 more.\n"]);
    // Of a hundred points, three speeds: the table of deviations keeps one row a speed.
    assert_eq!(
        page.matches("| 60 | high | 97.0 | 485.0 |").count(),
        38,
        "{page}"
    );
    assert_eq!(page.matches(" rpm  [").count(), 40, "{page}");
}

#[test]
fn reviews_and_nonconformities_are_told() {
    let scratch = begun();
    let failed = check(&scratch, "1000", &failing_draft("1000"));
    commit(&scratch, "A fail");
    let digest: String = Sha256::digest(std::fs::read(scratch.path(&failed)).unwrap())
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    let review = |sha256: &str, decision: &str| {
        format!(
            "format = 1\ncheck = \"VM-1/2026-03-02-1000\"\nsha256 = \"{sha256}\"\nreviewer = \"qa-01\"\ndecided = 2026-03-02T11:00:00\ndecision = \"{decision}\"\ncomment = \"figures agree with the sheet\"\n"
        )
    };
    let folder = "reviews/2026/VM-1/2026-03-02-1000";
    scratch.write(
        &format!("{folder}/qa-01-1.toml"),
        review(&digest, "approve"),
    );
    scratch.write(
        &format!("{folder}/qa-01-2.toml"),
        review(&"0".repeat(64), "reject"),
    );
    scratch.write(
        "nonconformities/2026-03-02-vm-1.toml",
        "format = 1\nid = \"2026-03-02-vm-1\"\nopened = 2026-03-02\nchecks = [\"VM-1/2026-03-02-1000\"]\n",
    );
    commit(&scratch, "Decide");
    let page = page(&scratch, 1);
    says(
        &page,
        &[
            "It brings 2 reviews and 1 nonconformity.",
            "- `qa-01` **approves** `VM-1/2026-03-02-1000` (2026-03-02 11:00): `figures agree with the sheet`.\n",
            "- `qa-01` **rejects** `VM-1/2026-03-02-1000` (2026-03-02 11:00): `figures agree with the sheet`. **It is bound to another content**",
            "- `2026-03-02-vm-1`: new, not decided yet; opened `2026-03-02`; about `VM-1/2026-03-02-1000`.",
        ],
    );
    scratch.git(&["switch", "--quiet", "main"]);
    scratch.git(&["merge", "--quiet", "--ff-only", "topic"]);
    scratch.git(&["switch", "--quiet", "topic"]);
    let open = scratch.read("nonconformities/2026-03-02-vm-1.toml");
    scratch.write(
        "nonconformities/2026-03-02-vm-1.toml",
        open + "[outcome]\nevaluation = \"nothing was measured\"\ndecision = \"repaired\"\nby = \"qa-01\"\ndate = 2026-03-03\n",
    );
    commit(&scratch, "Decide");
    let page = self::page(&scratch, 0);
    says(
        &page,
        &[
            "This change decides 1 nonconformity. Found: no errors, 1 warning, no notices.",
            "warning `author-not-reviewer` in `nonconformities/2026-03-02-vm-1.toml`",
            "- `2026-03-02-vm-1`: decided; opened `2026-03-02`; about `VM-1/2026-03-02-1000`; evaluation `nothing was measured`; decision `repaired`; by `qa-01`; on `2026-03-03`.",
        ],
    );
}

/// Four hundred checks, of which twenty fail: told within the size of a comment, the failed ones first, and all are counted.
#[test]
fn however_many_checks_come_the_page_fits_and_counts_them() {
    let mut scratch = begun();
    scratch.set("GIT_COMMITTER_DATE", "2026-03-02T20:00:00+00:00");
    let pass = scratch.read(&check(&scratch, "1000", &draft("1000")));
    let fail = scratch.read(&check(&scratch, "1001", &failing_draft("1001")));
    for number in 0..400 {
        let (hour, minute) = (10 + number / 60, number % 60);
        let text = match number % 20 {
            7 => fail.replace("T10:01:00", &format!("T{hour}:{minute:02}:00")),
            _ => pass.replace("T10:00:00", &format!("T{hour}:{minute:02}:00")),
        };
        scratch.write(&check_path(&format!("{hour}{minute:02}")), text);
    }
    commit(&scratch, "Enter the summer's sheets");
    let page = page(&scratch, 0);
    says(
        &page,
        &["**400 new checks** of `VM-1`: 20 fail and 380 pass."],
    );
    let told = headings(&page);
    let passed = told
        .iter()
        .filter(|line| line.ends_with(": **pass**"))
        .count();
    let failed = told
        .iter()
        .filter(|line| line.ends_with(": **fail**"))
        .count();
    assert_eq!(failed, 20, "{page}");
    assert!(passed > 5, "{page}");
    says(
        &page,
        &[&format!(
            "\nAnd {} more checks, for which this page has no room: `shearbook show",
            400 - passed - failed
        )],
    );
    // The newest of those that pass are told.
    assert!(page.contains("### `VM-1/2026-03-02-1639`"), "{page}");
    assert!(!page.contains("### `VM-1/2026-03-02-1000`"), "{page}");
    assert!(page.len() > 40_000, "there was room for more");
}

#[test]
fn failed_checks_that_find_no_room_are_counted_too() {
    let mut scratch = begun();
    scratch.set("GIT_COMMITTER_DATE", "2026-03-02T20:00:00+00:00");
    let fail = scratch.read(&check(&scratch, "1001", &failing_draft("1001")));
    for number in 0..200 {
        let (hour, minute) = (10 + number / 60, number % 60);
        let text = fail.replace("T10:01:00", &format!("T{hour}:{minute:02}:00"));
        let text = match number % 2 {
            0 => text,
            _ => with_expired_lot(&text),
        };
        scratch.write(&check_path(&format!("{hour}{minute:02}")), text);
    }
    commit(&scratch, "Enter");
    let page = page(&scratch, 1);
    let told = headings(&page);
    let told = told
        .iter()
        .filter(|line| line.contains(": **fail**"))
        .count();
    let left = 200 - told;
    assert!(told >= 12, "{page}");
    says(
        &page,
        &[
            "200 fail",
            "Found: 100 errors",
            &format!("And {left} more checks ({left} of them fail), for which"),
            " of them are errors), for which",
        ],
    );
    // Errors are told beside them.
    assert!(
        page.matches("- **error** `fluid-expired`").count() >= 12,
        "{page}"
    );
}

const HOSTILE: &str = "ok\\n\\n## Approved by qa-01\\n\\n- [x] approved | merge | @everyone #1\\n/approve\\n```\\n</details><script>alert(1)</script>\\n![x](https://evil.example/x.png) [click](https://evil.example) www.evil.example ``` ` \\u202Egnp \\u0007 :tada: **bold** `code` $x$ ````` end\\\\";

#[test]
fn nothing_that_a_record_says_is_read_as_markdown() {
    let scratch = begun();
    let hostile = format!("\"{HOSTILE}\"");
    let text = draft("1000")
        .replace("\"entered from the bench sheet\"", &hostile)
        .replace(
            "\n[[point]]\nspeed_rpm = 12",
            &format!("\n[[deviation]]\nrule = \"soak-too-short\"\nreason = {hostile}\nconsent = \"qa-01\"\n\n[[point]]\nspeed_rpm = 12"),
        )
        .replace("soak_started = 2026-03-02T07:50:00", "soak_started = 2026-03-02T09:30:00");
    check(&scratch, "1000", &text);
    scratch.edit(FLUID, "\"A supplier\"", &hostile);
    scratch.edit(FLUID, "\"Reference fluid\"", &hostile);
    scratch.write(
        "instruments/VM-2.toml",
        scratch.read("instruments/VM-1.toml").replace(
            "id = \"VM-1\"",
            &format!("id = \"VM-2\"\ndescription = {hostile}"),
        ),
    );
    scratch.write(
        "reviews/2026/VM-1/2026-03-02-0900/qa-01-1.toml",
        format!("format = 1\ncheck = \"VM-1/2026-03-02-0900\"\nsha256 = \"{}\"\nreviewer = \"qa-01\"\ndecided = 2026-03-02T11:00:00\ndecision = \"approve\"\ncomment = {hostile}\n", "0".repeat(64)),
    );
    scratch.write(
        "nonconformities/N-1.toml",
        format!("format = 1\nid = \"N-1\"\nopened = 2026-03-02\nchecks = [\"VM-1/2026-03-02-0900\"]\n[outcome]\nevaluation = {hostile}\ndecision = {hostile}\nby = \"qa-01\"\ndate = 2026-03-03\n"),
    );
    // Names of files and keys are data as well.
    scratch.write("checks/2026/VM-1/nice, approved by qa-01.txt", "x");
    scratch.write("checks/2026/VM-1/`@all` <b> [x](y) ## |.toml", "x");
    scratch.write(
        "baths/WB-1.toml",
        scratch.read("baths/WB-1.toml") + "\"a | `b` @all <i> approved\" = \"x\"\n",
    );
    commit(&scratch, "Enter");
    let page = page(&scratch, 1);
    let text = outside_of_quotations(&page);
    for trap in [
        "approved", "Approved", "@", "evil", "script>", "details>", "tada", "/approve", "![", "](",
        "$", "\u{202e}", "\u{7}", "<", "\\",
    ] {
        assert!(!text.contains(trap), "{trap:?} in\n{text}");
    }
    for controls in ['\u{202e}', '\u{7}', '\r'] {
        assert!(!page.contains(controls), "{controls:?} in\n{page}");
    }
    for line in headings(&page) {
        let fine = line.starts_with("### ")
            || [
                "# What this change brings to the book",
                "## New checks",
                "## Changed facts",
                "## New facts",
                "## Reviews",
                "## Nonconformities",
                "## Findings",
            ]
            .contains(&line);
        assert!(fine, "{line}");
    }
    // It is told all the same.
    says(
        &page,
        &[
            "- Entered late: ",
            "Approved by qa-01",
            "bound to another content",
        ],
    );
}

#[test]
fn a_branch_that_is_behind_brings_its_own_alone() {
    let scratch = begun();
    check(&scratch, "1000", &draft("1000"));
    commit(&scratch, "A pass");
    scratch.git(&["switch", "--quiet", "main"]);
    for time in ["1100", "1200"] {
        scratch.committed_check(time);
    }
    scratch.edit(FLUID, "supplier = \"A supplier\"", "supplier = \"Another\"");
    commit(&scratch, "Main goes on");
    let page = page(&scratch, 0);
    says(
        &page,
        &[
            "**1 new check** of `VM-1`: 1 passes. Nothing was found wrong. Compared: 1 commit of `topic`",
        ],
    );
    assert_eq!(headings(&page).len(), 3, "{page}");
    for other in ["1100", "1200", "Another", "fluids/"] {
        assert!(!page.contains(other), "{other} in\n{page}");
    }
    // The other way round it is main that brings something.
    let other = compared(&scratch, &["topic..main"]).ends(0).out;
    says(&other, &["**2 new checks**", "`Another`"]);
}

#[test]
fn an_empty_range_brings_nothing() {
    let scratch = begun();
    says(
        &page(&scratch, 0),
        &[
            "This change brings nothing to the book: no record differs. Compared: 0 commits of `topic`",
        ],
    );
    // So does a commit outside of the book, and the executable bit.
    scratch.git(&["update-index", "--chmod=+x", &check_path("0900")]);
    scratch.git(&["commit", "--quiet", "--no-verify", "--message", "Odd"]);
    let page = page(&scratch, 0);
    says(&page, &["brings nothing to the book", "1 commit of"]);
    assert_eq!(headings(&page).len(), 1, "{page}");
}

#[test]
fn a_book_in_a_subfolder_is_told_by_its_own_paths() {
    let scratch = Scratch::empty().with_book("qc/rheology book");
    scratch.edit(POLICY, "required = false", "required = true");
    commit(&scratch, "Ask for reviews");
    branch(&scratch, "topic");
    let path = check(&scratch, "1000", &draft("1000"));
    scratch.write("../beside.txt", "none of the book's business\n");
    commit(&scratch, "A pass");
    let page = page(&scratch, 0);
    says(&page, &["### `VM-1/2026-03-02-1000`: **pass**"]);
    assert!(
        !page.contains("beside.txt") && !page.contains("rheology"),
        "{page}"
    );
    assert!(scratch.path(&path).exists());
    // From outside the book, and with a link, whose path is the repository's.
    let book = scratch.book.to_str().unwrap();
    let done = scratch.shearbook_in(
        &scratch.outside(),
        &[
            "--book",
            book,
            "compare",
            "main..topic",
            "--forge",
            "gitea",
            "--url",
            "https://forge.example/lab/book",
        ],
    );
    says(
        &done.ends(0).out,
        &[
            "](<https://forge.example/lab/book/_new/topic/qc/rheology%20book/reviews/2026/VM-1/2026-03-02-1000/REVIEWER-1.toml?value=",
        ],
    );
}

#[test]
fn a_book_that_moved_is_new_and_says_where_it_was() {
    let mut scratch = Scratch::empty().with_book("old");
    scratch.committed_check("0900");
    branch(&scratch, "topic");
    scratch.git(&["mv", "old", "new"]);
    commit(&scratch, "Move the book");
    scratch.book = scratch.top.join("new");
    let page = page(&scratch, 1);
    says(
        &page,
        &[
            "Before this change there was no book in this folder. There was one in `old/`: if it was moved, each of its records counts as altered there and as new here.",
            "**1 new check**",
        ],
    );
    // Asked of the old folder, there is no book any more.
    let old = scratch.top.join("old");
    let done = scratch.shearbook(&["--book", old.to_str().unwrap(), "compare", "main..topic"]);
    let done = done.ends(3);
    assert_eq!(done.out, "");
    says(&done.err, &["takes shearbook.toml away", "--book DIR"]);
    let nowhere = scratch.top.join("nowhere");
    let done = scratch.shearbook(&[
        "--book",
        nowhere.to_str().unwrap(),
        "compare",
        "main..topic",
    ]);
    says(&done.ends(3).err, &["holds a book nowhere/"]);
}

#[test]
fn line_ends_of_other_systems_change_nothing_on_the_page() {
    let scratch = begun();
    check(&scratch, "1000", &draft("1000"));
    commit(&scratch, "A pass");
    let plain = page(&scratch, 0);
    let path = check_path("1000");
    scratch.write(&path, scratch.read(&path).replace('\n', "\r\n"));
    scratch.git(&["add", "--all"]);
    scratch.git(&["commit", "--quiet", "--amend", "--no-edit"]);
    assert!(
        scratch
            .git(&["show", &format!("HEAD:{path}")])
            .contains("\r\n")
    );
    assert_eq!(page(&scratch, 0), plain);
    // A fact that changes in its line ends alone says so.
    scratch.write(FLUID, scratch.read(FLUID).replace('\n', "\r\n"));
    commit(&scratch, "Save anew");
    says(
        &page(&scratch, 0),
        &["No value differs: only remarks, order or spelling."],
    );
}

/// The parts of a link's address, decoded.
fn decoded(text: &str) -> String {
    let mut bytes = Vec::new();
    let mut rest = text.as_bytes();
    while let [first, tail @ ..] = rest {
        match first {
            b'%' => {
                let digits = std::str::from_utf8(&tail[..2]).unwrap();
                bytes.push(u8::from_str_radix(digits, 16).unwrap());
                rest = &tail[2..];
            }
            other => {
                bytes.push(*other);
                rest = tail;
            }
        }
    }
    String::from_utf8(bytes).unwrap()
}

#[test]
fn a_link_opens_a_review_that_validates_once_it_is_filled_in() {
    let scratch = Scratch::book();
    scratch.edit(POLICY, "required = false", "required = true");
    commit(&scratch, "Ask for reviews");
    branch(&scratch, "days/2&3#a");
    let path = check(&scratch, "1000", &draft("1000"));
    commit(&scratch, "A pass");
    let url = "https://forge.example/lab/book/";
    let done = compared(
        &scratch,
        &[
            "main..days/2&3#a",
            "--forge",
            "github",
            "--url",
            url,
            "--reviewer",
            "qa-01",
        ],
    )
    .ends(0);
    let page = done.out;
    well_formed(&page);
    says(
        &page,
        &[
            "1 check waits for a review by somebody who neither performed nor typed it: the link under each",
        ],
    );
    let link = page
        .split("](<")
        .nth(1)
        .expect("link")
        .split(">)")
        .next()
        .expect("end");
    let (address, query) = link.split_once('?').expect("query");
    assert_eq!(address, "https://forge.example/lab/book/new/days/2%263%23a");
    let (name, value) = query.split_once('&').expect("two parts");
    assert_eq!(
        name,
        "filename=reviews%2F2026%2FVM-1%2F2026-03-02-1000%2Fqa-01-1.toml"
    );
    let content = decoded(value.strip_prefix("value=").expect("value"));
    let digest: String = Sha256::digest(std::fs::read(scratch.path(&path)).unwrap())
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    says(
        &content,
        &[
            &digest,
            "reviewer = \"qa-01\"\n",
            "check = \"VM-1/2026-03-02-1000\"\n",
        ],
    );
    let filled = content
        .replace("decided = ", "decided = 2026-03-02T12:00:00 ")
        .replace("decision = ", "decision = \"approve\" ");
    scratch.write("reviews/2026/VM-1/2026-03-02-1000/qa-01-1.toml", filled);
    scratch.shearbook(&["validate"]).ends(0);
    commit(&scratch, "Approve");
    // A check that has its review asks for none.
    let done = compared(&scratch, &["main", "--forge", "github", "--url", url]).ends(0);
    assert!(
        !done.out.contains("](<") && !done.out.contains("waits for"),
        "{}",
        done.out
    );
    says(&done.out, &["`qa-01` **approves** `VM-1/2026-03-02-1000`"]);
}

#[test]
fn each_forge_is_asked_in_its_own_way() {
    let scratch = Scratch::book();
    scratch.edit(POLICY, "required = false", "required = true");
    commit(&scratch, "Ask for reviews");
    branch(&scratch, "topic");
    check(&scratch, "1000", &draft("1000"));
    commit(&scratch, "A pass");
    let url = "https://forge.example/lab/book";
    let of = |more: &[&str]| compared(&scratch, &[&["main..topic", "--url", url], more].concat());
    let page = of(&["--forge", "gitlab"]).ends(0).out;
    well_formed(&page);
    says(
        &page,
        &[
            "](<https://forge.example/lab/book/-/new/topic?file_name=reviews%2F2026%2FVM-1%2F2026-03-02-1000%2FREVIEWER-1.toml>)",
            "```toml\nformat = 1\ncheck = \"VM-1/2026-03-02-1000\"\n",
            "reviewer = \"REVIEWER\" # your id, in the name of this file too\n",
        ],
    );
    // Whoever did the check is not offered its review.
    let page = of(&["--forge", "github", "--reviewer", "op-01"])
        .ends(0)
        .out;
    says(
        &page,
        &["`op-01` performed or typed this check, so somebody else must review it."],
    );
    assert!(!page.contains("](<"), "{page}");

    for (wrong, said) in [
        (
            &["--forge", "github", "--reviewer", "qa-1"][..],
            "did you mean qa-01?",
        ),
        (&["--forge", "else"], "gitlab"),
        (&[], "--forge"),
    ] {
        let done = of(wrong).ends(2);
        assert_eq!(done.out, "");
        says(&done.err, &[said]);
    }
    let head = scratch.head();
    let detached = format!("main..{}", head.trim());
    let done = compared(&scratch, &[&detached, "--forge", "github", "--url", url]).ends(2);
    says(&done.err, &["--branch NAME"]);
    let done = compared(
        &scratch,
        &["main..topic", "--forge", "github", "--url", "lab/book"],
    )
    .ends(2);
    says(&done.err, &["https://forge.example/lab/book"]);
}

#[test]
fn what_cannot_be_looked_at_is_said_and_not_judged() {
    let scratch = begun();
    for time in ["1000", "1100"] {
        scratch.committed_check(time);
    }
    scratch.git(&["switch", "--quiet", "main"]);
    scratch.committed_check("1200");
    // A shallow clone lacks the commit where the two parted.
    let origin = format!("file://{}", scratch.top.display());
    let clone = scratch.outside().join("clone");
    scratch.git(&[
        "clone",
        "--quiet",
        "--depth=1",
        "--no-single-branch",
        &origin,
        clone.to_str().unwrap(),
    ]);
    let done = scratch
        .shearbook_in(&clone, &["compare", "origin/main..origin/topic"])
        .ends(3);
    assert_eq!(done.out, "");
    says(&done.err, &["shallow", "git fetch --unshallow"]);
    scratch
        .try_git_in(&clone, &["fetch", "--quiet", "--unshallow"])
        .ends(0);
    let done = scratch
        .shearbook_in(
            &clone,
            &[
                "compare",
                "origin/main..origin/topic",
                "--forge",
                "gitlab",
                "--url",
                "https://forge.example/b",
            ],
        )
        .ends(0);
    says(&done.out, &["**2 new checks**"]);

    // Two histories that have nothing in common.
    scratch.git(&["switch", "--quiet", "--orphan", "alone"]);
    scratch.git(&["commit", "--quiet", "--allow-empty", "--message", "Alone"]);
    let done = compared(&scratch, &["main..alone"]).ends(3);
    says(&done.err, &["no history in common"]);

    // A book without a marker is none.
    scratch.git(&["switch", "--quiet", "main"]);
    branch(&scratch, "unmarked");
    scratch.remove(MARKER);
    commit(&scratch, "Take the marker away");
    let done = compared(&scratch, &["main..unmarked"]).ends(3);
    assert_eq!(done.out, "");
    says(
        &done.err,
        &["takes shearbook.toml away", "git restore --source="],
    );

    // A page that cannot be written leaves nothing.
    let done = compared(
        &scratch,
        &["main..topic", "--output", "no/such/folder/page.md"],
    )
    .ends(3);
    says(&done.err, &["cannot be written"]);
}
