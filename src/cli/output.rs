//! Findings on their way out: formats, files, colour and width.

use super::{Common, End, Ended, Trouble};
use crate::finding::{Counts, Finding};
use crate::parse::layout::{self, Slot};
use crate::report::{Findings, json, plain, terminal};
use crate::source::SourceError;
use crate::source::disk::Disk;
use clap::ValueEnum;
use clap::builder::EnumValueParser;
use rayon::prelude::*;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum When {
    Auto,
    Always,
    Never,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// For people at a terminal
    Text,
    /// One fact a line, for screen readers
    Plain,
    /// For programs
    Json,
}

/// The formats of a table of checks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Sheet {
    /// For people at a terminal
    Text,
    /// One fact a line, for screen readers
    Plain,
    /// For programs
    Json,
    /// For spreadsheets, a line a check
    Csv,
}

/// What a command can write in.
pub(crate) trait Shape: ValueEnum + Copy + Send + Sync + 'static {
    fn is_for_programs(self) -> bool;
}

impl Shape for Format {
    fn is_for_programs(self) -> bool {
        self == Format::Json
    }
}

impl Shape for Sheet {
    fn is_for_programs(self) -> bool {
        matches!(self, Sheet::Json | Sheet::Csv)
    }
}

/// Where a report goes.
#[derive(clap::Args)]
pub(crate) struct Outputs<F: Shape = Format> {
    /// How the report is written to standard output
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = EnumValueParser::<F>::new())]
    format: F,
    /// Write it to a file as well; may be given several times
    #[arg(long, value_name = "FORMAT=FILE", value_parser = format_and_file::<F>)]
    output: Vec<(F, PathBuf)>,
}

fn format_and_file<F: Shape>(text: &str) -> Result<(F, PathBuf), String> {
    let (format, file) = text
        .split_once('=')
        .ok_or("write FORMAT=FILE, such as json=findings.json")?;
    let format = F::from_str(format, false)?;
    match file {
        "" => Err("the file has no name".to_owned()),
        _ => Ok((format, PathBuf::from(file))),
    }
}

/// What a terminal can show.
pub(crate) fn style(common: &Common) -> terminal::Style {
    let is_terminal = std::io::stdout().is_terminal();
    #[expect(clippy::disallowed_methods, reason = "conventions of terminals")]
    let (no_colour, columns) = (std::env::var_os("NO_COLOR"), std::env::var("COLUMNS"));
    let wanted = match common.color {
        When::Always => true,
        When::Never => false,
        When::Auto => is_terminal && no_colour.is_none_or(|value| value.is_empty()),
    };
    let measured = terminal_size::terminal_size().map(|(width, _)| usize::from(width.0));
    let told = columns.ok().and_then(|columns| columns.parse().ok());
    terminal::Style {
        width: measured.or(told).unwrap_or(80).clamp(40, 120),
        colour: wanted,
    }
}

/// What kept standard output from being written.
static UNSAID: Mutex<Option<String>> = Mutex::new(None);

/// Writes to standard output; a reader that has gone away is no fault, a full disk is.
pub(crate) fn say(text: &str) {
    let mut out = std::io::stdout().lock();
    let written = out.write_all(text.as_bytes()).and_then(|()| out.flush());
    if let Err(error) = written
        && error.kind() != std::io::ErrorKind::BrokenPipe
    {
        *UNSAID.lock().unwrap_or_else(PoisonError::into_inner) = Some(error.to_string());
    }
}

/// Why something that was said did not arrive.
pub(crate) fn unsaid() -> Option<SourceError> {
    let why = UNSAID
        .lock()
        .unwrap_or_else(PoisonError::into_inner)
        .clone()?;
    Some(SourceError::new(
        format!("standard output cannot be written: {why}"),
        "look at the free space where it goes; what was written there is not whole",
    ))
}

/// Writes a file as a whole or not at all. A link is written through; a pipe or a device is written to, not replaced.
pub(crate) fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), Trouble> {
    let _writing = super::interrupt::writing();
    let trouble = unwritable(path);
    let path = path.canonicalize().unwrap_or_else(|_| path.to_owned());
    match std::fs::metadata(&path) {
        Ok(found) if !found.is_file() => std::fs::OpenOptions::new()
            .write(true)
            .open(&path)
            .and_then(|mut special| special.write_all(bytes))
            .map_err(trouble),
        Ok(found) if found.permissions().readonly() => {
            let error = "it is write-protected";
            Err(trouble(std::io::Error::other(error)))
        }
        _ => written_beside(&path, bytes)
            .and_then(|file| file.persist(&path).map_err(|error| error.error))
            .map(drop)
            .map_err(trouble),
    }
}

/// Writes a report over whatever the file held before, but never over a record, nor where only records may lie.
pub(crate) fn write_report(path: &Path, bytes: &[u8]) -> Result<(), Trouble> {
    must_be_no_record(path)?;
    write_whole(path, bytes)
}

fn must_be_no_record(path: &Path) -> Result<(), Trouble> {
    let target = path.canonicalize().unwrap_or_else(|_| path.to_owned());
    let folder = target
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    let Ok(disk) = Disk::find(folder.unwrap_or(Path::new("."))) else {
        return Ok(());
    };
    match disk.inside(&target).map(|inside| layout::slot(&inside)) {
        None | Some(Slot::Elsewhere) => Ok(()),
        Some(_) => Err(Trouble::Usage(format!(
            "{} is a place for records of the book in {}: a report must not stand there, and nothing was written; name a file elsewhere",
            path.display(),
            disk.root.display()
        ))),
    }
}

/// Writes a file that is not there yet, as a whole or not at all, never over another.
pub(crate) fn write_new(path: &Path, bytes: &[u8]) -> Result<(), Trouble> {
    let _writing = super::interrupt::writing();
    let trouble = unwritable(path);
    written_beside(path, bytes)
        .and_then(|file| file.persist_noclobber(path).map_err(|error| error.error))
        .map_err(trouble)?;
    Ok(())
}

fn unwritable(path: &Path) -> impl Fn(std::io::Error) -> Trouble {
    move |error| {
        Trouble::Unusable(SourceError::new(
            format!("{} cannot be written: {error}", path.display()),
            "look at the folder's permissions and the free space; the file is as it was",
        ))
    }
}

/// A temporary file in the same folder that holds the bytes, on the disk and with the permissions that it shall have.
fn written_beside(path: &Path, bytes: &[u8]) -> std::io::Result<tempfile::NamedTempFile> {
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    let mut file = tempfile::NamedTempFile::new_in(folder.unwrap_or(Path::new(".")))?;
    file.write_all(bytes)?;
    let permissions = match std::fs::metadata(path) {
        Ok(old) => Some(old.permissions()),
        Err(_) => default_permissions(),
    };
    if let Some(permissions) = permissions {
        file.as_file().set_permissions(permissions)?;
    }
    file.as_file().sync_all()?;
    Ok(file)
}

#[cfg(unix)]
fn default_permissions() -> Option<std::fs::Permissions> {
    use std::os::unix::fs::PermissionsExt;
    Some(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn default_permissions() -> Option<std::fs::Permissions> {
    None
}

/// Tells findings to a person, where they are not what the command was asked for.
pub(crate) fn say_findings(common: &Common, findings: &[Finding], (files, checks): (usize, usize)) {
    let report = Findings {
        book: "",
        as_of: String::new(),
        findings,
        counts: Counts::of(findings),
        files,
        checks,
    };
    say(&terminal::render(&report, style(common)));
}

/// A file that is written together with others.
pub(crate) struct Part {
    pub(crate) path: PathBuf,
    pub(crate) bytes: Vec<u8>,
    /// What stands there now and is written over; `None` where there must be nothing.
    pub(crate) before: Option<Vec<u8>>,
}

/// Writes several files, all or none: all are on the disk before the first takes its place, and what took its place is
/// taken back where a later one cannot.
pub(crate) fn write_together(parts: &[Part]) -> Result<(), Trouble> {
    let _writing = super::interrupt::writing();
    let mut waiting = Vec::new();
    for part in parts {
        let write_protected = std::fs::metadata(&part.path)
            .is_ok_and(|found| part.before.is_some() && found.permissions().readonly());
        if write_protected {
            return Err(unwritable(&part.path)(std::io::Error::other(
                "it is write-protected",
            )));
        }
        let file = written_beside(&part.path, &part.bytes).map_err(unwritable(&part.path))?;
        waiting.push((part, file));
    }
    let mut done: Vec<&Part> = Vec::new();
    for (part, file) in waiting {
        let placed = match part.before {
            Some(_) => file.persist(&part.path),
            None => file.persist_noclobber(&part.path),
        };
        if let Err(error) = placed {
            let left: Vec<String> = done
                .into_iter()
                .filter(|part| take_back(part).is_err())
                .map(|part| part.path.display().to_string())
                .collect();
            return Err(match left.is_empty() {
                true => unwritable(&part.path)(error.error),
                false => Trouble::Unusable(SourceError::new(
                    format!(
                        "{} cannot be written: {}, and what was written before it cannot be taken back: {}",
                        part.path.display(),
                        error.error,
                        left.join(", ")
                    ),
                    "git status tells what is there; put it back with git restore, and delete what is new",
                )),
            });
        }
        done.push(part);
    }
    Ok(())
}

/// Writes files that are not there yet below a folder, by paths in it, all or none, with the folders that they need. However many
/// they are, an interruption finds them all there or none.
pub(crate) fn write_all_new(root: &Path, parts: &[Part]) -> Result<(), Trouble> {
    let failed = |path: &Path, error| unwritable(&root.join(path))(error);
    // On the same disk, so that taking a place is one step; a name with a dot is none of the book.
    let waiting =
        super::interrupt::Temporary::new_in(root, ".shearbook-").map_err(unwritable(root))?;
    let mut files = Vec::with_capacity(parts.len());
    for (index, part) in parts.iter().enumerate() {
        let at = waiting.path().join(index.to_string());
        written(&at, &part.bytes)
            .and_then(|()| tempfile::TempPath::try_from_path(at))
            .map(|file| files.push(file))
            .map_err(|error| failed(&part.path, error))?;
    }
    // A disk is much faster with many files at once than with one after the other.
    files
        .par_iter()
        .map(|file| {
            std::fs::OpenOptions::new()
                .write(true)
                .open(file)?
                .sync_all()
        })
        .collect::<std::io::Result<()>>()
        .map_err(unwritable(root))?;
    let _writing = super::interrupt::writing();
    let (mut done, mut folders) = (Vec::new(), Vec::new());
    for (part, file) in parts.iter().zip(files) {
        let full = root.join(&part.path);
        let placed = folders_for(&full, &mut folders)
            .and_then(|()| file.persist_noclobber(&full).map_err(|error| error.error));
        if let Err(error) = placed {
            for path in done.iter().rev().map(|path: &PathBuf| path.as_path()) {
                let _ = std::fs::remove_file(path);
            }
            for folder in folders.iter().rev() {
                let _ = std::fs::remove_dir(folder);
            }
            return Err(failed(&part.path, error));
        }
        done.push(full);
    }
    Ok(())
}

/// A file that nobody sees yet, with the permissions that it shall have.
fn written(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file = std::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path)?;
    file.write_all(bytes)?;
    match default_permissions() {
        Some(permissions) => file.set_permissions(permissions),
        None => Ok(()),
    }
}

/// Makes the folders that a file needs, and notes those that were not there.
fn folders_for(file: &Path, made: &mut Vec<PathBuf>) -> std::io::Result<()> {
    let above = file.ancestors().skip(1);
    let mut missing: Vec<&Path> = above
        .take_while(|folder| folder.symlink_metadata().is_err())
        .collect();
    missing.reverse();
    for folder in missing {
        std::fs::create_dir(folder)?;
        made.push(folder.to_owned());
    }
    Ok(())
}

fn take_back(part: &Part) -> std::io::Result<()> {
    match &part.before {
        None => std::fs::remove_file(&part.path),
        Some(before) => written_beside(&part.path, before)?
            .persist(&part.path)
            .map(drop)
            .map_err(|error| error.error),
    }
}

/// Reports findings in every format asked for. Counts and exit code are those of the findings, whatever the format.
pub(crate) fn report(
    common: &Common,
    outputs: &Outputs,
    book: &str,
    as_of: jiff::civil::Date,
    findings: &[Finding],
    read: (usize, usize),
) -> Ended {
    report_at_most(common, outputs, book, as_of, findings, read, None)
}

/// The same, where no more than so many findings are told, errors first; the counts are those of all.
pub(crate) fn report_at_most(
    common: &Common,
    outputs: &Outputs,
    book: &str,
    as_of: jiff::civil::Date,
    findings: &[Finding],
    read: (usize, usize),
    most: Option<usize>,
) -> Ended {
    let counts = Counts::of(findings);
    let some = most.filter(|most| findings.len() > *most).map(|most| {
        let mut worst: Vec<&Finding> = findings.iter().collect();
        worst.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
        worst.truncate(most);
        let mut some: Vec<Finding> = worst.into_iter().cloned().collect();
        some.sort();
        some
    });
    let told = some.as_deref().unwrap_or(findings);
    let report = Findings {
        book,
        as_of: as_of.to_string(),
        findings: told,
        counts,
        files: read.0,
        checks: read.1,
    };
    let more = findings.len() - told.len();
    outputs.write(
        common,
        common.quiet && findings.is_empty(),
        findings,
        &|format, style| {
            let text = match format {
                Format::Text => terminal::render(&report, style),
                Format::Plain => plain::render(&report),
                Format::Json => return json::render(&report),
            };
            match more {
                0 => text,
                more => format!("{text}{more} more findings are not shown here.\n"),
            }
        },
    )
}

impl<F: Shape> Outputs<F> {
    /// Standard output goes to a program.
    pub(crate) fn is_for_programs(&self) -> bool {
        self.format.is_for_programs()
    }

    /// Whether one of the formats asked for is such a one.
    pub(crate) fn any(&self, is_such: impl Fn(F) -> bool) -> bool {
        is_such(self.format) || self.output.iter().any(|(format, _)| is_such(*format))
    }

    /// Writes a report in every format asked for; the exit code is that of its findings. A quiet one leaves standard output to programs.
    pub(crate) fn write(
        &self,
        common: &Common,
        quiet: bool,
        findings: &[Finding],
        render: &dyn Fn(F, terminal::Style) -> String,
    ) -> Ended {
        // Of several files none is written where one may not be.
        for (_, file) in &self.output {
            must_be_no_record(file)?;
        }
        for (format, file) in &self.output {
            let style = terminal::Style {
                colour: false,
                width: 80,
            };
            write_whole(file, render(*format, style).as_bytes())?;
        }
        if !quiet || self.is_for_programs() {
            say(&render(self.format, style(common)));
        }
        Ok(match Counts::of(findings).error {
            0 => End::Fine,
            _ => End::Refused,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[expect(clippy::disallowed_methods, reason = "a test may use files")]
    fn of_files_written_together_none_stays_where_one_cannot_be() {
        let folder = tempfile::TempDir::new().expect("folder");
        let at = |name: &str| folder.path().join(name);
        std::fs::write(at("fact"), "old").expect("written");
        // A folder of that name is in the way of the last.
        std::fs::create_dir(at("last")).expect("folder");
        let part = |name: &str, before: Option<&str>| Part {
            path: at(name),
            bytes: b"new".to_vec(),
            before: before.map(|text| text.as_bytes().to_vec()),
        };
        let parts = [
            part("first", None),
            part("fact", Some("old")),
            part("last", None),
        ];
        assert!(matches!(write_together(&parts), Err(Trouble::Unusable(_))));
        let mut names: Vec<_> = std::fs::read_dir(folder.path())
            .expect("listed")
            .map(|entry| entry.expect("entry").file_name())
            .collect();
        names.sort();
        assert_eq!(names, ["fact", "last"]);
        assert_eq!(std::fs::read(at("fact")).expect("read"), b"old");

        assert!(write_together(&parts[..2]).is_ok());
        assert_eq!(std::fs::read(at("fact")).expect("read"), b"new");
        assert_eq!(std::fs::read(at("first")).expect("read"), b"new");
        // What is there already is never written over.
        assert!(write_together(&parts[..1]).is_err());
    }

    #[test]
    #[expect(clippy::disallowed_methods, reason = "a test may use files")]
    fn of_new_files_none_stays_where_one_is_there_already() {
        let folder = tempfile::TempDir::new().expect("folder");
        let root = folder.path().canonicalize().expect("folder");
        std::fs::create_dir(root.join("b")).expect("folder");
        std::fs::write(root.join("b/2"), "old").expect("written");
        let part = |name: &str| Part {
            path: PathBuf::from(name),
            bytes: b"new".to_vec(),
            before: None,
        };
        let parts = [part("a/x/1"), part("b/1"), part("b/2")];
        assert!(matches!(
            write_all_new(&root, &parts),
            Err(Trouble::Unusable(_))
        ));
        let names = || -> Vec<String> {
            let mut names: Vec<String> = walkdir::WalkDir::new(&root)
                .into_iter()
                .map(|entry| {
                    entry
                        .expect("entry")
                        .path()
                        .strip_prefix(&root)
                        .expect("inside")
                        .display()
                        .to_string()
                })
                .collect();
            names.sort();
            names
        };
        assert_eq!(names(), ["", "b", "b/2"]);
        assert_eq!(std::fs::read(root.join("b/2")).expect("read"), b"old");
        assert!(write_all_new(&root, &parts[..2]).is_ok());
        assert_eq!(names(), ["", "a", "a/x", "a/x/1", "b", "b/1", "b/2"]);
    }
}
