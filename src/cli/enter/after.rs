//! What follows a check: the commit, and after a failure the repeat, the quarantine and the nonconformity.

use super::bench::{Bench, standing};
use crate::cli::ask::{Asked, Asker, Question, Tone};
use crate::cli::here::{self, Here};
use crate::cli::{End, amend, new, output};
use crate::finding::Severity;
use crate::parse::edit::{quoted, with_row};
use crate::parse::layout::{check_path, path_of, unfit_id};
use crate::record::Kind;
use crate::record::person::Duty;
use crate::report::wrapped;
use crate::rules::{Wanted, run as judge};
use crate::source::Source;
use crate::source::overlay::Overlay;
use std::collections::BTreeSet;

/// Offers to commit files that were written, and nothing else.
pub(super) fn commit(
    bench: &Bench,
    asker: &mut Asker,
    paths: &[&str],
    rests_on: &[String],
    message: &str,
) -> Asked<End> {
    let here = Here::of(&bench.common, &bench.disk);
    let beside = match &bench.repository {
        Some(repository) => here::uncommitted(&bench.disk, repository, rests_on)?,
        None => Vec::new(),
    };
    let paths: Vec<&str> = paths
        .iter()
        .copied()
        .chain(beside.iter().map(String::as_str))
        .collect();
    let paths = paths.as_slice();
    if !beside.is_empty() {
        output::say(&wrapped(
            &format!(
                "These are not committed as they are, and it rests on them: {}. They go into the same commit.",
                beside.join(", ")
            ),
            asker.style.width,
            "",
            "  ",
        ));
    }
    let by_hand = format!(
        "Next: let git keep it:\n{}    {} commit\n",
        here.add(paths),
        here.git
    );
    let Some(repository) = &bench.repository else {
        output::say(&by_hand);
        return Ok(End::Fine);
    };
    let question = Question::new("commit", "Commit it now?")
        .unkept()
        .help("git keeps it under your name; the commit hook judges it once more");
    let question = match asker.is_attended() {
        true => question.default(Some("y")),
        false => question.or("n"),
    };
    if !asker.yes_or_no(question)? {
        if !bench.common.quiet {
            output::say(&by_hand);
        }
        return Ok(End::Fine);
    }
    match repository.commit_files(paths, message, asker.style.width)? {
        Ok(said) => {
            if !said.is_empty() {
                output::say(&format!("{said}\n"));
            }
            if !bench.common.quiet {
                output::say("committed\n");
            }
            Ok(End::Fine)
        }
        Err(said) => {
            output::say(&format!("{said}\n"));
            crate::cli::warn(
                "the record is written, but git did not commit it, for what is told above",
            );
            output::say(&by_hand);
            Ok(End::Refused)
        }
    }
}

/// After a failure: repeat it with everything checked, then quarantine.
pub(super) fn failed(bench: &Bench, asker: &mut Asker) -> Asked<End> {
    let now = standing(&bench.common, &bench.disk, &bench.book, &bench.instrument)?;
    if let Some(pair) = &now.failed_twice {
        return failed_twice(bench, asker, pair);
    }
    let here = Here::of(&bench.common, &bench.disk);
    asker.tell_lines(&[(
        Tone::Plain,
        format!(
            "\nIt failed, and the record says so: that is a good record. What to do next:\n  1. Look at everything once more: level, zero, the geometry and its number, the speed, the guard, the depth, bubbles, the bottle, the bath and how long it soaked.\n  2. Repeat it with fresh fluid: {} enter {} offers the repeat.\n  3. If the repeat fails too, the instrument is quarantined, and shearbook trace tells what rests on it.\n{} show tells what the figures point to.",
            here.tool, bench.instrument, here.tool
        ),
    )]);
    Ok(End::Fine)
}

/// After a second failure: the standing row and the nonconformity.
pub(super) fn failed_twice(
    bench: &Bench,
    asker: &mut Asker,
    pair: &(String, String),
) -> Asked<End> {
    let (first, second) = pair;
    let today = bench.wall().date();
    asker.tell(&format!(
        "\n{first} failed, and so did its repeat {second}. The instrument belongs in quarantine, and what was measured since its last good check must be looked at: a nonconformity keeps that."
    ));
    let question = Question::new(
        "quarantine",
        format!("Quarantine {} and open a nonconformity?", bench.instrument),
    );
    let question = match asker.is_attended() {
        true => question.default(Some("y")),
        false => question.or("n"),
    };
    if !asker.yes_or_no(question.unkept())? {
        return Ok(End::Fine);
    }
    let people: Vec<(String, String)> = bench
        .book
        .people
        .sound()
        .filter(|person| {
            [Duty::Records, Duty::Review]
                .iter()
                .any(|duty| bench.book.authorised_on(person, *duty, today))
        })
        .map(|person| (person.id.clone(), String::new()))
        .collect();
    if people.is_empty() {
        asker.warn("Nobody of the book may decide on that today: a person authorised for records or review adds the [[standing]] row by hand.");
        return Ok(End::Fine);
    }
    let me = bench
        .me
        .as_ref()
        .filter(|me| people.iter().any(|(id, _)| id == *me));
    let by = asker.choose(
        Question::new(
            "quarantine_by",
            "Who decides that? A person authorised for records or review",
        )
        .default(me.cloned())
        .unkept(),
        &people,
    )?;
    let by = &people[by].0;
    let path = path_of(Kind::Instrument, &bench.instrument);
    let taken: BTreeSet<String> = bench
        .book
        .nonconformities
        .ids()
        .map(str::to_lowercase)
        .collect();
    let free = |id: &str| !taken.contains(&id.to_lowercase());
    let base = format!("{today}-{}", bench.instrument.to_lowercase());
    let named = (1..)
        .map(|number| match number {
            1 => base.clone(),
            _ => format!("{base}-{number}"),
        })
        .find(|id| free(id))
        .unwrap_or(base);
    let id = asker.ask(
        &Question::new("nonconformity", "The nonconformity's id")
            .or(named)
            .unkept(),
        |text| match (unfit_id(text), free(text)) {
            (Some(why), _) => Err(format!("{text} is no id: {why}")),
            (None, false) => Err(format!("there is a nonconformity {text} already")),
            (None, true) => Ok(text.to_owned()),
        },
    )?;
    if let Some(repository) = &bench.repository {
        amend::untouched(repository, &path, "validate")?;
    }
    let bytes = bench.disk.read(&path)?.unwrap_or_default();
    let old = String::from_utf8_lossy(&bytes).into_owned();
    let reason = format!("failed twice: {first} and {second}");
    let row = [
        ("from", today.to_string()),
        ("state", quoted("quarantined")),
        ("by", quoted(by)),
        ("reason", quoted(&reason)),
    ];
    let instrument = with_row(&old, "standing", &row);
    let about = path_of(Kind::Nonconformity, &id);
    let named = format!("[{}, {}]", quoted(first), quoted(second));
    let checks: Vec<String> = [first, second]
        .into_iter()
        .filter_map(|id| check_path(id))
        .collect();
    let opened = format!(
        "format = 1\nid = {}\nopened = {today}\nchecks = {named}\n\n# Once it is decided what was measured in between, and whether it stands:\n#[outcome]\n#evaluation =\n#decision =\n#by =\n#date =\n",
        quoted(&id)
    );
    let mut overlay = Overlay::over(&bench.disk);
    overlay
        .files
        .insert(path.clone(), instrument.clone().into_bytes());
    overlay
        .files
        .insert(about.clone(), opened.clone().into_bytes());
    let outcome = judge(
        &overlay,
        bench.common.clock(),
        &Wanted::Only(&[path.clone(), about.clone()]),
    )?;
    let mut errors = outcome.findings;
    errors.retain(|finding| {
        finding.severity == Severity::Error
            && (finding.place.path == path || finding.place.path == about)
    });
    if !errors.is_empty() {
        output::say_findings(&bench.common, &errors, (outcome.files, outcome.checks));
        asker.warn("Not written, since the commit would be refused.");
        return Ok(End::Fine);
    }
    new::real_folders(&bench.disk.root, "nonconformities")?;
    let folder = bench.disk.root.join("nonconformities");
    std::fs::create_dir_all(&folder).map_err(|error| {
        crate::source::SourceError::new(
            format!("the folder {} cannot be made: {error}", folder.display()),
            "look at the permissions of the book's folder",
        )
    })?;
    output::write_together(&[
        output::Part {
            path: bench.disk.root.join(&about),
            bytes: opened.into_bytes(),
            before: None,
        },
        output::Part {
            path: bench.disk.root.join(&path),
            bytes: instrument.into_bytes(),
            before: Some(bytes),
        },
    ])?;
    if !bench.common.quiet {
        output::say(&format!(
            "made {about}\n{path}: a row of [[standing]], quarantined from tomorrow\n"
        ));
    }
    let message = format!("Quarantine {} after two failed checks", bench.instrument);
    commit(bench, asker, &[&path, &about], &checks, &message)
}
