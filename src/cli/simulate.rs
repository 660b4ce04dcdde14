//! `simulate`: which past verdicts would differ under a policy that is not in force. Nothing is written.

use super::output::{Outputs, Sheet};
use super::validate::known_zone;
use super::{Common, Ended, Trouble, day, new, progress, validate, warn};
use crate::book::Book;
use crate::finding::{Counts, Finding};
use crate::fleet::Fleet;
use crate::record::Kind;
use crate::report::simulate::{Simulated, csv, json, text};
use crate::report::{Findings, fleet_text, json as findings_json, plain, terminal};
use crate::rules::{Selection, Trial, faults_of, try_policy};
use crate::source::SourceError;
use crate::source::disk::lone;
use jiff::civil::Date;
use std::path::PathBuf;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The policy's file: a draft anywhere, or one of policies/
    #[arg(long, value_name = "FILE")]
    policy: PathBuf,
    /// Only checks performed on this day or later, YYYY-MM-DD
    #[arg(long, value_name = "DATE", value_parser = day)]
    since: Option<Date>,
    /// Only checks of this instrument
    #[arg(long, value_name = "ID")]
    instrument: Option<String>,
    #[command(flatten)]
    outputs: Outputs<Sheet>,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let (disk, book) = validate::facts(common)?;
    validate::whole(&disk)?;
    known_zone(&book)?;
    let file = arguments.policy.display().to_string();
    let bytes = lone(&arguments.policy)?
        .ok_or_else(|| Trouble::Usage(format!("there is no file {file}")))?;
    if let Some(id) = &arguments.instrument {
        let ids: Vec<&str> = book.instruments.ids().collect();
        new::known(&ids, Kind::Instrument, id)?;
    }
    let (findings, policy) = faults_of(&disk, common.clock(), &file, &bytes)?;
    let policy = policy.filter(|_| Counts::of(&findings).error == 0);
    let Some(policy) = policy else {
        return refused(common, arguments, &book, &findings);
    };
    if book.policies.any_broken() {
        return Err(Trouble::Unusable(SourceError::new(
            "a file of policies/ has errors, so nobody knows which check was judged by which policy",
            "shearbook validate tells what is wrong there",
        )));
    }
    let selection = Selection {
        since: arguments.since,
        instrument: arguments.instrument.as_deref(),
    };
    let trial = progress::watched(common.quiet, &disk, |source| {
        try_policy(source, common.clock(), &policy)
    })?;
    let (groups, checks) = trial.differences(&disk, &policy, selection)?;
    let book = known_zone(trial.before.book.as_ref().unwrap_or(&book))?;
    let fleet = fleet(&trial, book);
    let simulated = Simulated {
        book,
        fleet: &fleet,
        policy: &policy,
        file: &file,
        selection,
        groups,
        checks,
    };
    if let Some(errors) = fleet_text::errors(&fleet).filter(|_| arguments.outputs.is_for_programs())
    {
        warn(&errors);
    }
    arguments
        .outputs
        .write(common, false, &[], &|format, style| match format {
            Sheet::Text => text::render(&simulated, style.width),
            Sheet::Plain => text::plain(&simulated),
            Sheet::Json => json::render(&simulated),
            Sheet::Csv => csv::render(&simulated),
        })
}

fn fleet<'a>(trial: &'a Trial, book: &'a Book) -> Fleet<'a> {
    let before = &trial.before;
    Fleet::without_trends(book, &before.links, &before.with_errors, book.as_of())
}

/// The policy cannot be tried: what is wrong with it, as validate would tell it.
fn refused(common: &Common, arguments: &Arguments, book: &Book, findings: &[Finding]) -> Ended {
    let file = arguments.policy.display().to_string();
    let report = Findings {
        book: &file,
        as_of: book.as_of().to_string(),
        findings,
        counts: Counts::of(findings),
        files: 1,
        checks: 0,
    };
    if arguments.outputs.is_for_programs() {
        for finding in findings {
            let (line, message) = (finding.place.line, &finding.message);
            warn(&format!("{file}, line {line}: {message}"));
        }
    }
    arguments
        .outputs
        .write(common, false, findings, &|format, style| match format {
            Sheet::Text => terminal::render(&report, style),
            Sheet::Plain => plain::render(&report),
            Sheet::Json => findings_json::render(&report),
            Sheet::Csv => String::new(),
        })
}
