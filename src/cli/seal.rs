//! `seal`: writes `[computed]` into a check, leaving every other byte as it was.

use super::{Common, End, Ended, Trouble, output, validate};
use crate::book::computed::{self, Expected};
use crate::book::view::View;
use crate::finding::Severity;
use crate::parse::layout::{Slot, check_path, slot};
use crate::parse::{Doc, parse};
use crate::record::Kind;
use crate::record::check::Check;
use crate::rules::{Wanted, run as judge};
use crate::source::disk::Disk;
use crate::source::{Source, SourceError, What};
use std::path::{Path, PathBuf};
use toml_edit::{Document, Item, Table};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The checks to seal: INSTRUMENT/YYYY-MM-DD-HHMM, or their files
    #[arg(required = true, value_name = "CHECK")]
    files: Vec<PathBuf>,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let mut common = common.clone();
    if common.book.is_none() && common.disk().is_err() {
        common.book = arguments.files[0].parent().map(PathBuf::from);
    }
    let (disk, book) = validate::facts(&common)?;
    let mut writes = Vec::new();
    let mut refused = Vec::new();
    for file in &arguments.files {
        let path = match named(&disk, file) {
            Some(path) => path,
            None if file.symlink_metadata().is_ok() => {
                return Err(Trouble::Usage(format!(
                    "{} is not in the book {}",
                    file.display(),
                    disk.root.display()
                )));
            }
            None => return Err(Trouble::Usage(format!("there is no {}", file.display()))),
        };
        let Slot::Record(Kind::Check, id) = slot(&path) else {
            return Err(Trouble::Usage(format!(
                "{path} is no check; checks are checks/<year>/<instrument>/<YYYY-MM-DD-HHMM>.toml"
            )));
        };
        if disk.what(&path)? == Some(What::NotAFile) {
            return Err(Trouble::Refused(SourceError::new(
                format!("{path} is a link or a special file; a record is a file of its own"),
                "put the record itself there, as a plain file",
            )));
        }
        let bytes = disk
            .read(&path)?
            .ok_or_else(|| Trouble::Usage(format!("there is no {}", file.display())))?;
        let parsed =
            parse::<Check>(&path, bytes).map_err(|ours| Trouble::Ours(ours.to_string()))?;
        let sealed = match (&parsed.doc, &parsed.record) {
            (Some(doc), Some(check)) => {
                figures(&book, doc, check, &id).map(|figures| (splice(doc, &figures), figures))
            }
            _ => None,
        };
        match sealed {
            Some((text, figures)) => {
                let old = parsed
                    .doc
                    .as_ref()
                    .map(|doc| doc.text.as_str().to_owned())
                    .unwrap_or_default();
                let text = text.map_err(Trouble::Refused)?;
                writes.push((path, old, text, figures));
            }
            None => refused.push(path),
        }
    }
    if !refused.is_empty() {
        let outcome = judge(&disk, common.clock(), &Wanted::Only(&refused))?;
        let mut findings = outcome.findings;
        findings.retain(|finding| {
            finding.severity == Severity::Error
                && (refused.contains(&finding.place.path)
                    || outcome.rests_on.contains(&finding.place.path))
        });
        let counted = (outcome.files, refused.len());
        output::say_findings(&common, &findings, counted);
        let line = format!(
            "Not sealed, since a figure cannot be had: {}. No file was written.",
            refused.join(", ")
        );
        let width = output::style(&common).width;
        output::say(&crate::report::wrapped(&line, width, "", "  "));
        return Ok(End::Refused);
    }
    let writing = super::interrupt::writing();
    let mut sealed = Vec::new();
    for (path, old, text, figures) in writes {
        if text != old {
            output::write_whole(&disk.root.join(&path), text.as_bytes())?;
        }
        if !common.quiet {
            let verdict = figures
                .verdict
                .map_or("no verdict", |verdict| verdict.word());
            let did = if text == old {
                "was sealed already"
            } else {
                "sealed"
            };
            let line = format!("{path}: {did}, verdict {verdict}");
            let width = output::style(&common).width;
            output::say(&crate::report::wrapped(&line, width, "", "  "));
        }
        sealed.push(path);
    }
    drop(writing);
    if !common.quiet {
        say_errors(&common, &disk, &sealed)?;
    }
    Ok(End::Fine)
}

/// A figure that can be had does not make a check that counts: what the commit will be refused for is told at once.
fn say_errors(common: &Common, disk: &Disk, sealed: &[String]) -> Result<(), Trouble> {
    let outcome = judge(disk, common.clock(), &Wanted::Only(sealed))?;
    let mut findings = outcome.findings;
    findings.retain(|finding| {
        finding.severity == Severity::Error && sealed.contains(&finding.place.path)
    });
    if findings.is_empty() {
        return Ok(());
    }
    output::say("\nSealed, but a commit is refused as long as this stands:\n\n");
    output::say_findings(common, &findings, (outcome.files, sealed.len()));
    Ok(())
}

/// The path of a check that was named by its file or its id.
fn named(disk: &Disk, given: &Path) -> Option<String> {
    if given.symlink_metadata().is_ok() {
        return disk.inside(given);
    }
    let id = given.to_str()?;
    check_path(id).or_else(|| disk.inside(given))
}

/// The figures, where all can be had that the check needs.
pub(super) fn figures(
    book: &crate::book::Book,
    doc: &Doc,
    check: &Check,
    id: &str,
) -> Option<Expected> {
    let view = View::of(book, doc, check, id)?;
    let figures = computed::expected(&view)?;
    (check.void || figures.complete()).then_some(figures)
}

/// The text with `[computed]` put in place of the old one, or at the end.
pub(super) fn splice(doc: &Doc, figures: &Expected) -> Result<String, SourceError> {
    let text = doc.text.as_str();
    let crlf = text.find('\n').is_some_and(|at| text[..at].ends_with('\r'));
    let end = if crlf { "\r\n" } else { "\n" };
    let block = figures.to_toml().replace('\n', end);
    if doc.root.get("/computed").is_none() {
        let gap = match text {
            "" => "",
            _ if text.ends_with('\n') => end,
            _ => &end.repeat(2),
        };
        return Ok(format!("{text}{gap}{block}"));
    }
    let parsed = Document::parse(text).map_err(|_| odd(doc))?;
    let Some(Item::Table(table)) = parsed.get("computed") else {
        return Err(odd(doc));
    };
    if table.is_dotted() || table.is_implicit() {
        return Err(odd(doc));
    }
    let mut own = Vec::new();
    if !regions(table, &mut own) {
        return Err(odd(doc));
    }
    own.sort_unstable();
    let first = own.first().map_or(text.len(), |(start, _)| *start);
    let mut result = String::new();
    let mut from = 0;
    for (index, (start, stop)) in own.iter().enumerate() {
        let between = &text[from..*start];
        // Blank lines between parts of the old block are part of it.
        if index == 0 || !between.trim().is_empty() {
            result += between;
        }
        if *start == first {
            result += &block;
        }
        let line = text[*stop..]
            .find('\n')
            .map_or(text.len(), |at| stop + at + 1);
        from = line;
    }
    Ok(result + &text[from..])
}

fn odd(doc: &Doc) -> SourceError {
    let at = doc.place_of_key("/computed");
    SourceError::new(
        format!(
            "{}, line {}: computed is written in a way that seal cannot replace",
            doc.path, at.line
        ),
        "delete it with all that belongs to it, then seal again: seal writes [computed] as a table at the end",
    )
}

/// From the header of each table to the end of its last value; false where a part has no header of its own.
fn regions(table: &Table, own: &mut Vec<(usize, usize)>) -> bool {
    let Some(header) = table.span() else {
        return false;
    };
    let mut end = header.end;
    for (_, item) in table.iter() {
        match item {
            Item::Value(value) => end = end.max(value.span().map_or(end, |span| span.end)),
            Item::ArrayOfTables(rows) => {
                for row in rows.iter() {
                    if !regions(row, own) {
                        return false;
                    }
                }
            }
            Item::Table(_) => return false,
            Item::None => {}
        }
    }
    own.push((header.start, end));
    true
}
