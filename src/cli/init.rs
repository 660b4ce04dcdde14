//! `init`: a new book, or what is missing of one. Nothing that is there is ever written over.
//!
//! Folders without a record are not made: git keeps no empty folder, so they would be gone in the next clone; `new`
//! makes each with its first record.

use super::template::{self, Filling, fill, quoted, schema_line, schema_path};
use super::{Common, End, Ended, Trouble, hook, output};
use crate::book::zone::Zone;
use crate::parse::layout::{MARKER, path_of};
use crate::parse::schema_text;
use crate::record::{Kind, Word};
use crate::source::SourceError;
use crate::source::git::{Repository, nearest_existing};
use crate::text::nearest;
use jiff::tz::TimeZone;
use std::path::{Component, Path, PathBuf};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The book's folder, made where it is missing; this one where left out
    dir: Option<PathBuf>,
    /// The laboratory's name, as reports shall print it
    #[arg(long, value_name = "NAME")]
    laboratory: Option<String>,
    /// IANA name of the laboratory's time zone, such as Europe/Dublin; this machine's where left out
    #[arg(long, value_name = "ZONE")]
    time_zone: Option<String>,
    /// Install the commit and merge hooks too
    #[arg(long)]
    hooks: bool,
}

const PLACEHOLDER: &str = "EDIT ME: name of the laboratory";

const ATTRIBUTES: &str = ".gitattributes";

/// What was made in this run, so that a run that cannot be finished leaves nothing.
#[derive(Default)]
struct Made {
    files: Vec<PathBuf>,
    folders: Vec<PathBuf>,
    git: Option<PathBuf>,
}

impl Made {
    fn folder(&mut self, folder: &Path) -> Result<(), Trouble> {
        let missing: Vec<&Path> = folder
            .ancestors()
            .take_while(|folder| folder.symlink_metadata().is_err())
            .collect();
        for folder in missing.into_iter().rev() {
            std::fs::create_dir(folder).map_err(|error| {
                Trouble::Unusable(SourceError::new(
                    format!("the folder {} cannot be made: {error}", folder.display()),
                    "look at the permissions of the folder above it",
                ))
            })?;
            self.folders.push(folder.to_owned());
        }
        Ok(())
    }

    fn file(&mut self, path: &Path, text: &str) -> Result<(), Trouble> {
        if let Some(folder) = path.parent() {
            self.folder(folder)?;
        }
        output::write_new(path, text.as_bytes())?;
        self.files.push(path.to_owned());
        Ok(())
    }

    fn undo(self) {
        for file in self.files.iter().rev() {
            let _ = std::fs::remove_file(file);
        }
        if let Some(git) = self.git {
            let _ = std::fs::remove_dir_all(git);
        }
        for folder in self.folders.iter().rev() {
            let _ = std::fs::remove_dir(folder);
        }
    }
}

/// A file of a new book.
struct Wanted {
    path: String,
    text: String,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let root = root(common, arguments)?;
    let begun = root.join(MARKER).symlink_metadata().is_ok();
    if !begun {
        alone(&root)?;
    }
    let (zone, whence) = zone(arguments.time_zone.as_deref())?;
    let name = arguments.laboratory.as_deref().unwrap_or(PLACEHOLDER);
    if name.trim().is_empty() || name.chars().any(char::is_control) {
        return Err(Trouble::Usage(
            "--laboratory needs a name on one line".to_owned(),
        ));
    }
    let today = Zone::named(&zone)
        .unwrap_or_else(Zone::utc)
        .date(common.clock().now);
    let policy = format!("{:04}-01", today.year());
    let policies_there = policies(&root)?;
    let wanted = wanted(&root, name, &zone, &policy)?;
    let (kept, missing): (Vec<Wanted>, Vec<Wanted>) = wanted
        .into_iter()
        .partition(|file| root.join(&file.path).symlink_metadata().is_ok());
    for file in kept.iter().chain(&missing) {
        in_the_way(&root, &file.path)?;
    }
    let (existing, _) = nearest_existing(&root)?;
    let with_git = !Repository::around(&existing)?;

    // An interruption waits until all is made or taken back.
    let _writing = super::interrupt::writing();
    let mut made = Made::default();
    let hooked = make(common, arguments, &root, &missing, with_git, &mut made);
    match hooked {
        Ok(End::Fine) => {}
        Ok(End::Refused) => {
            made.undo();
            return Err(Trouble::Refused(SourceError::new(
                "the hooks could not be installed, so no book was begun",
                "leave --hooks out, and see to the hooks as said above",
            )));
        }
        Err(trouble) => {
            made.undo();
            return Err(trouble);
        }
    }
    if common.quiet {
        return Ok(End::Fine);
    }
    let mut text = tell(&root, &kept, &missing, &policies_there, with_git);
    if begun {
        text += "\nThis is a book already: what was there is as it was.\n";
        if arguments.laboratory.is_some() || arguments.time_zone.is_some() {
            text += "Laboratory and time zone stay as shearbook.toml has them; edit it there.\n";
        }
    } else {
        text += &format!("\nTime zone: {zone}, {whence}.\n");
        let made = format!("policies/{policy}.toml");
        let decide = policies_there.first().unwrap_or(&made);
        let folder = arguments.dir.as_deref().or(common.book.as_deref());
        text += &next_steps(arguments, folder, decide);
    }
    output::say(&text);
    Ok(End::Fine)
}

/// The whole path of the book's folder, which need not be there.
fn root(common: &Common, arguments: &Arguments) -> Result<PathBuf, Trouble> {
    let named = match (&arguments.dir, &common.book) {
        (Some(_), Some(_)) => {
            return Err(Trouble::Usage(
                "the folder is named twice, by --book and without; name it once".to_owned(),
            ));
        }
        (Some(folder), None) | (None, Some(folder)) => folder.clone(),
        (None, None) => PathBuf::from("."),
    };
    let (existing, root) = nearest_existing(&named)?;
    let below = root.strip_prefix(&existing).unwrap_or(Path::new(""));
    if below
        .components()
        .any(|step| !matches!(step, Component::Normal(_)))
    {
        return Err(Trouble::Usage(format!(
            "{} goes up through a folder that is not there",
            named.display()
        )));
    }
    if !existing.is_dir() {
        return Err(Trouble::Usage(format!(
            "{} is a file, and a book is a folder",
            existing.display()
        )));
    }
    Ok(root)
}

/// A book holds no other: the files of the inner one would belong to both.
fn alone(root: &Path) -> Result<(), Trouble> {
    let refused = |outer: &Path, inner: &Path| {
        Trouble::Refused(SourceError::new(
            format!(
                "{} lies in the book {}, and a book holds no other: the records of the inner one would belong to neither",
                inner.display(),
                outer.display()
            ),
            "choose a folder beside it; to keep two laboratories in one repository, give each a folder of its own",
        ))
    };
    let outer = root
        .ancestors()
        .skip(1)
        .find(|folder| folder.join(MARKER).is_file());
    if let Some(outer) = outer {
        return Err(refused(outer, root));
    }
    let hidden = |entry: &walkdir::DirEntry| {
        entry.depth() > 0 && entry.file_name().to_string_lossy().starts_with('.')
    };
    let inner = walkdir::WalkDir::new(root)
        .max_depth(3)
        .into_iter()
        .filter_entry(|entry| !hidden(entry))
        .filter_map(Result::ok)
        .find(|entry| entry.file_name() == MARKER);
    match inner.as_ref().and_then(|entry| entry.path().parent()) {
        Some(inner) => Err(Trouble::Refused(SourceError::new(
            format!(
                "{} is a book, and one in {} would hold it: the records of the inner one would belong to neither",
                inner.display(),
                root.display()
            ),
            "choose a folder beside it; to keep two laboratories in one repository, give each a folder of its own",
        ))),
        None => Ok(()),
    }
}

/// The zone by its own name, and where it is known from.
fn zone(asked: Option<&str>) -> Result<(String, &'static str), Trouble> {
    let canonical = |zone: &TimeZone| zone.iana_name().map(str::to_owned);
    let Some(asked) = asked else {
        let known = TimeZone::try_system()
            .ok()
            .and_then(|zone| canonical(&zone))
            .filter(|name| name != "Etc/Unknown" && Zone::named(name).is_some());
        return Ok(match known {
            Some(name) => (name, "as this machine has it"),
            None => ("UTC".to_owned(), "since this machine does not tell its own"),
        });
    };
    let zone = TimeZone::get(asked).ok().and_then(|zone| canonical(&zone));
    match zone {
        Some(name) => Ok((name, "as you said")),
        None => {
            let names: Vec<String> = jiff::tz::db()
                .available()
                .map(|name| name.to_string())
                .collect();
            let meant = nearest(asked, names.iter().map(String::as_str));
            Err(Trouble::Usage(match meant {
                Some(name) => format!("there is no time zone {asked}; did you mean {name}?"),
                None => format!(
                    "there is no time zone {asked}; a zone is named by a continent or ocean and a city, as Europe/Dublin"
                ),
            }))
        }
    }
}

/// The files of a new book. The marker comes last: until it is there the folder is no book, so that a run that was cut
/// short leaves none that looks complete, and the next run goes on.
fn wanted(root: &Path, laboratory: &str, zone: &str, policy: &str) -> Result<Vec<Wanted>, Trouble> {
    let mut files: Vec<Wanted> = Kind::ALL
        .iter()
        .map(|(_, kind)| Wanted {
            path: schema_path(*kind),
            text: schema_text(*kind).to_owned(),
        })
        .collect();
    files.push(Wanted {
        path: ATTRIBUTES.to_owned(),
        text: include_str!("templates/gitattributes").to_owned(),
    });
    if policies(root)?.is_empty() {
        let path = path_of(Kind::Policy, policy);
        let mut filling = Filling::default();
        filling
            .text("schema", schema_line(Kind::Policy, &path))
            .text("id", policy)
            .value("effective", Some(format!("{policy}-01")))
            .value("title", Some(quoted("Check procedure, issue 1")));
        files.push(Wanted {
            text: fill(template::template(Kind::Policy), &filling),
            path,
        });
    }
    let mut filling = Filling::default();
    filling
        .text("schema", schema_line(Kind::Book, MARKER))
        .text("laboratory", quoted(laboratory))
        .text("time_zone", zone);
    files.push(Wanted {
        path: MARKER.to_owned(),
        text: fill(template::template(Kind::Book), &filling),
    });
    Ok(files)
}

/// The policies that are there: a book that has one gets no other.
fn policies(root: &Path) -> Result<Vec<String>, Trouble> {
    let folder = root.join(Kind::Policy.folder());
    if !folder.is_dir() {
        return Ok(Vec::new());
    }
    let entries = std::fs::read_dir(&folder).map_err(|error| {
        Trouble::Unusable(SourceError::new(
            format!("{} cannot be read: {error}", folder.display()),
            "look at the folder's permissions",
        ))
    })?;
    let mut paths: Vec<String> = entries
        .filter_map(Result::ok)
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .filter(|name| name.ends_with(".toml") && !name.starts_with('.'))
        .map(|name| format!("{}/{name}", Kind::Policy.folder()))
        .collect();
    paths.sort();
    Ok(paths)
}

/// Refuses a link, a folder or anything else that stands where a file or its folder belongs.
fn in_the_way(root: &Path, path: &str) -> Result<(), Trouble> {
    let full = root.join(path);
    let folder = full.parent().unwrap_or(root);
    let blocked = |what: &Path, belongs: &str| {
        Trouble::Unusable(SourceError::new(
            format!("{} is in the way: {belongs} belongs there", what.display()),
            "move it elsewhere, then run init again; nothing was written",
        ))
    };
    if folder != root && folder.symlink_metadata().is_ok_and(|data| !data.is_dir()) {
        return Err(blocked(folder, "a folder"));
    }
    match full.symlink_metadata() {
        Ok(data) if !data.is_file() => Err(blocked(&full, "a file")),
        _ => Ok(()),
    }
}

fn make(
    common: &Common,
    arguments: &Arguments,
    root: &Path,
    missing: &[Wanted],
    with_git: bool,
    made: &mut Made,
) -> Ended {
    made.folder(root)?;
    if with_git {
        let git = root.join(".git");
        let new = git.symlink_metadata().is_err();
        made.git = new.then_some(git);
        Repository::make(root)?;
    }
    let (marker, others): (Vec<&Wanted>, Vec<&Wanted>) =
        missing.iter().partition(|file| file.path == MARKER);
    for file in others {
        made.file(&root.join(&file.path), &file.text)?;
    }
    if arguments.hooks {
        match hook::install_for(common, Repository::of(root)?)? {
            End::Fine => {}
            End::Refused => return Ok(End::Refused),
        }
    }
    for file in marker {
        made.file(&root.join(&file.path), &file.text)?;
    }
    Ok(End::Fine)
}

/// What was made and what was kept; the schemas as one.
fn tell(
    root: &Path,
    kept: &[Wanted],
    missing: &[Wanted],
    policies: &[String],
    with_git: bool,
) -> String {
    let schemas = |files: &[Wanted]| {
        files
            .iter()
            .filter(|file| file.path.starts_with(template::SCHEMAS))
            .count()
    };
    let list = |word: &str, files: &[Wanted]| {
        let mut text = String::new();
        for file in files {
            if !file.path.starts_with(template::SCHEMAS) {
                text += &format!("  {word}  {}\n", file.path);
            }
        }
        match schemas(files) {
            0 => {}
            1 => text += &format!("  {word}  {}/: 1 schema\n", template::SCHEMAS),
            count => text += &format!("  {word}  {}/: {count} schemas\n", template::SCHEMAS),
        }
        text
    };
    let mut text = format!("The book in {}\n\n", root.display());
    if with_git {
        text += "  made  .git: a git repository\n";
    }
    text += &list("made", missing);
    for path in policies {
        text += &format!("  kept  {path}\n");
    }
    text += &list("kept", kept);
    if missing.is_empty() && !with_git {
        text += "\nNothing was missing, so nothing was changed.\n";
    }
    for file in kept {
        if file.path == ATTRIBUTES {
            text += &attributes_lacking(root, file);
        } else if file.path.starts_with(template::SCHEMAS)
            && present(root, file).is_some_and(|text| text != file.text)
        {
            text += &format!(
                "\n{} is not this program's own. To have that,\ndelete the file and run init again.\n",
                file.path
            );
        }
    }
    text
}

fn present(root: &Path, file: &Wanted) -> Option<String> {
    #[expect(clippy::disallowed_methods, reason = "no record of the book")]
    std::fs::read_to_string(root.join(&file.path)).ok()
}

/// The lines that a kept file lacks.
fn attributes_lacking(root: &Path, file: &Wanted) -> String {
    let Some(own) = present(root, file) else {
        return String::new();
    };
    let lacking: Vec<&str> = file
        .text
        .lines()
        .filter(|line| !line.starts_with('#') && !own.lines().any(|other| other.trim() == *line))
        .collect();
    if lacking.is_empty() {
        return String::new();
    }
    let mut text = format!("\n{ATTRIBUTES} was there and is yours. These lines belong in it:\n");
    for line in lacking {
        text += &format!("    {line}\n");
    }
    text
}

fn next_steps(arguments: &Arguments, folder: Option<&Path>, policy: &str) -> String {
    let go = match folder {
        Some(folder) if folder != Path::new(".") => format!("    cd {}\n", template::typed(folder)),
        _ => String::new(),
    };
    let name = match arguments.laboratory {
        Some(_) => "",
        None => " Put in your laboratory's name.",
    };
    let command =
        |words: &str, remark: &str| format!("    {words:<36} {remark}").trim_end().to_owned();
    let hooks = match arguments.hooks {
        true => String::new(),
        false => command("shearbook hook install", "judges each commit from then on"),
    };
    let lines = [
        format!("1. Look through shearbook.toml.{name}"),
        format!("2. Decide on {policy}. Its figures are common practice; the"),
        "   laboratory answers for them, so change what your procedure says otherwise.".to_owned(),
        "3. Say who may check, who may review, and who keeps the records:".to_owned(),
        command("shearbook new person op-01", ""),
        "4. Enter what you check, and what you check it with:".to_owned(),
        command("shearbook new instrument VM-01", ""),
        command("shearbook new geometry C-1 --kind factored", ""),
        command("shearbook new fluid LOT", "as its certificate has it"),
        command("shearbook new thermometer TH-01", ""),
        "   Each command writes a file with remarks. Give a value to every key that has".to_owned(),
        "   none; this names those that are left:".to_owned(),
        command("shearbook validate", ""),
        "5. Keep it in git:".to_owned(),
        hooks,
        command("git add .", ""),
        command("git commit -m \"Begin the book\"", ""),
        "6. The first check: fill it in at the bench, seal it, keep it.".to_owned(),
        command("shearbook new check VM-01", ""),
        command("shearbook seal FILE", "adds ranges, limits and verdict"),
        command("git add checks", ""),
        command("git commit -m \"Check VM-01\"", ""),
    ];
    let mut text = format!("\nWhat comes next:\n{go}");
    for line in lines.iter().filter(|line| !line.is_empty()) {
        text += line;
        text.push('\n');
    }
    text
}
