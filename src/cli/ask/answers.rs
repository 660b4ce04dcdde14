//! Answers by name: those of a file that was given, or those kept of a dialogue that is under way.

use crate::cli::{Trouble, output};
use crate::parse::edit::quoted;
use crate::parse::{self, Node, Value};
use crate::source::SourceError;
use crate::source::disk;
use crate::text::nearest;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

#[derive(Clone, Debug)]
pub(in crate::cli) struct Answer {
    pub(super) name: String,
    pub(super) text: String,
    /// In the file that was given.
    pub(super) line: Option<u32>,
}

#[derive(Default)]
pub(in crate::cli) struct Answers {
    /// In the order in which they were given.
    given: Vec<Answer>,
    /// The names that this pass has asked for.
    asked: BTreeSet<String>,
    /// Answers that were taken back: what Enter means when their question comes again.
    earlier: BTreeMap<String, String>,
    /// Where they are kept while the dialogue is under way.
    kept_in: Option<PathBuf>,
    /// The file that was given.
    file: Option<String>,
}

impl Answers {
    /// Of a file that somebody wrote. A key may stand in a table; a row of `[[point]]` is `/point/0/...`.
    pub(in crate::cli) fn of_file(path: &Path) -> Result<Answers, Trouble> {
        let name = path.display().to_string();
        let bytes =
            disk::lone(path)?.ok_or_else(|| Trouble::Usage(format!("there is no file {name}")))?;
        Ok(Answers {
            given: read(&name, bytes)?,
            file: Some(name),
            ..Answers::default()
        })
    }

    /// Kept in a file as they are given, beginning with what it holds.
    pub(in crate::cli) fn kept_in(path: PathBuf) -> Result<Answers, Trouble> {
        let name = path.display().to_string();
        let kept = match disk::lone(&path)? {
            // What cannot be read any more is no reason not to begin.
            Some(bytes) => read(&name, bytes).unwrap_or_default(),
            None => Vec::new(),
        };
        let (mut given, mut earlier) = (Vec::new(), BTreeMap::new());
        for answer in kept {
            match answer.name.strip_prefix(TAKEN_BACK) {
                Some(name) => {
                    earlier.insert(name.to_owned(), answer.text);
                }
                None => given.push(answer),
            }
        }
        Ok(Answers {
            given,
            earlier,
            kept_in: Some(path),
            ..Answers::default()
        })
    }

    pub(in crate::cli) fn is_empty(&self) -> bool {
        self.given.is_empty()
    }

    pub(super) fn rewind(&mut self) {
        self.asked.clear();
    }

    pub(in crate::cli) fn has(&self, name: &str) -> bool {
        self.given.iter().any(|answer| answer.name == name)
    }

    pub(super) fn take(&mut self, name: &str) -> Option<Answer> {
        self.asked.insert(name.to_owned());
        self.given
            .iter()
            .find(|answer| answer.name == name)
            .cloned()
    }

    pub(super) fn earlier(&self, name: &str) -> Option<String> {
        self.earlier.get(name).cloned()
    }

    pub(super) fn drop_one(&mut self, name: &str) {
        self.given.retain(|answer| answer.name != name);
    }

    /// Takes back the newest answer that this pass has asked for.
    pub(super) fn take_back(&mut self) -> bool {
        let Some(at) = self
            .given
            .iter()
            .rposition(|answer| self.asked.contains(&answer.name))
        else {
            return false;
        };
        let answer = self.given.remove(at);
        self.earlier.insert(answer.name, answer.text);
        self.save_quietly();
        true
    }

    /// Takes back an answer, or all below a name.
    pub(in crate::cli) fn take_back_under(&mut self, name: &str) {
        let below = format!("{name}/");
        let (back, stay): (Vec<Answer>, Vec<Answer>) = std::mem::take(&mut self.given)
            .into_iter()
            .partition(|answer| answer.name == name || answer.name.starts_with(&below));
        self.given = stay;
        for answer in back {
            self.earlier.insert(answer.name, answer.text);
        }
        self.save_quietly();
    }

    /// Another text for an answer that has just been given, which means the same at any time.
    pub(in crate::cli) fn settle(&mut self, name: &str, text: &str) -> Result<(), Trouble> {
        match self.given.iter_mut().find(|answer| answer.name == name) {
            Some(answer) if answer.text != text => {
                text.clone_into(&mut answer.text);
                self.save()
            }
            _ => Ok(()),
        }
    }

    /// Names that will be asked for once the record is written.
    pub(in crate::cli) fn expect(&mut self, names: &[&str]) {
        self.asked
            .extend(names.iter().map(|name| (*name).to_owned()));
    }

    /// The answers in their order, by what can be answered again: a reading is one.
    pub(in crate::cli) fn names(&self) -> Vec<(String, String)> {
        let mut names: Vec<(String, String)> = Vec::new();
        for answer in self
            .given
            .iter()
            .filter(|answer| self.asked.contains(&answer.name))
        {
            let mut steps = answer.name.splitn(4, '/');
            let (first, row, index) = (steps.next(), steps.next(), steps.next());
            let name = match (first, row, index) {
                (Some(""), Some(row), Some(index)) => format!("/{row}/{index}"),
                _ => answer.name.clone(),
            };
            match names.last_mut() {
                Some((last, texts)) if *last == name => {
                    texts.push_str(", ");
                    texts.push_str(&answer.text);
                }
                _ => names.push((name, answer.text.clone())),
            }
        }
        names
    }

    /// Forgets all below a name: what was typed wrong is no answer to offer again.
    pub(in crate::cli) fn forget_under(&mut self, name: &str) {
        self.take_back_under(name);
        let below = format!("{name}/");
        self.earlier
            .retain(|other, _| other != name && !other.starts_with(&below));
        self.save_quietly();
    }

    /// The text of an answer.
    pub(in crate::cli) fn text(&self, name: &str) -> Option<&str> {
        let mut given = self.given.iter();
        given
            .find(|answer| answer.name == name)
            .map(|answer| answer.text.as_str())
    }

    /// When the last answer was kept on the disk.
    pub(in crate::cli) fn last_kept(&self) -> Option<std::time::SystemTime> {
        self.kept_in.as_ref()?.metadata().ok()?.modified().ok()
    }

    /// Forgets all, for a dialogue that begins anew.
    pub(in crate::cli) fn forget(&mut self) {
        self.given.clear();
        self.earlier.clear();
        self.take_away();
    }

    /// Keeps an answer, on the disk too where they are kept.
    pub(super) fn keep(&mut self, name: &str, text: &str) -> Result<(), Trouble> {
        self.given.push(Answer {
            name: name.to_owned(),
            text: text.to_owned(),
            line: None,
        });
        self.earlier.remove(name);
        self.save()
    }

    fn save(&self) -> Result<(), Trouble> {
        let Some(path) = &self.kept_in else {
            return Ok(());
        };
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(|error| {
                SourceError::new(
                    format!("the folder {} cannot be made: {error}", folder.display()),
                    "look at its permissions and at the free space",
                )
            })?;
        }
        output::write_whole(path, self.to_toml().as_bytes())
    }

    fn save_quietly(&self) {
        // The next answer is kept or refused with all that came before it.
        let _ = self.save();
    }

    fn to_toml(&self) -> String {
        let mut text =
            String::from("# A dialogue under way. It is taken away when the record is written.\n");
        for answer in &self.given {
            text += &format!("{} = {}\n", quoted(&answer.name), quoted(&answer.text));
        }
        for (name, earlier) in self.earlier.iter().filter(|(name, _)| !self.has(name)) {
            text += &format!(
                "{} = {}\n",
                quoted(&format!("{TAKEN_BACK}{name}")),
                quoted(earlier)
            );
        }
        text
    }

    /// The dialogue has come to its end: nothing is left to go on with.
    pub(in crate::cli) fn take_away(&mut self) {
        if let Some(path) = self.kept_in.take() {
            let _ = std::fs::remove_file(path);
        }
    }

    /// Refuses answers that nobody asked for: a slip in a name would else go unseen.
    pub(in crate::cli) fn all_asked(&self) -> Result<(), Trouble> {
        let unasked = self
            .given
            .iter()
            .find(|answer| !self.asked.contains(&answer.name));
        let Some(answer) = unasked else {
            return Ok(());
        };
        let meant = nearest(&answer.name, self.asked.iter().map(String::as_str))
            .map(|name| format!("did you mean {name}? "))
            .unwrap_or_default();
        Err(Trouble::Refused(SourceError::new(
            format!(
                "{}{} answers nothing that is asked",
                self.place(answer.line),
                answer.name
            ),
            format!("{meant}correct the name or take it out. Nothing was written"),
        )))
    }

    /// File and line, before what is wrong there.
    pub(super) fn place(&self, line: Option<u32>) -> String {
        match (&self.file, line) {
            (Some(file), Some(line)) => format!("{file}, line {line}: "),
            (Some(file), None) => format!("{file}: "),
            _ => String::new(),
        }
    }
}

/// Before the name of an answer that was taken back, in the file where they are kept.
const TAKEN_BACK: &str = "taken back: ";

fn read(name: &str, bytes: Vec<u8>) -> Result<Vec<Answer>, Trouble> {
    let doc = parse::plain_document(name, bytes).map_err(|fault| {
        Trouble::Refused(SourceError::new(
            format!("{name}, line {}: {}", fault.place.line, fault.message),
            fault.help,
        ))
    })?;
    let mut answers = Vec::new();
    gather(&doc, &doc.root, "", &mut answers);
    Ok(answers)
}

fn gather(doc: &parse::Doc, node: &Node, name: &str, answers: &mut Vec<Answer>) {
    let (text, below): (_, Vec<(String, &Node)>) = match &node.value {
        Value::Table(entries) => (
            None,
            entries
                .iter()
                .map(|(key, node)| {
                    let key = match (name, key.strip_prefix('/')) {
                        ("", Some(_)) | ("", None) => key.to_string(),
                        _ => format!("{name}/{key}"),
                    };
                    (key, node)
                })
                .collect(),
        ),
        Value::Array(rows) => (
            None,
            rows.iter()
                .enumerate()
                .map(|(index, node)| (format!("/{}/{index}", name.trim_start_matches('/')), node))
                .collect(),
        ),
        Value::Text(text) => (Some(text.to_string()), Vec::new()),
        _ => (Some(doc.text.slice(node.span).to_owned()), Vec::new()),
    };
    if let Some(text) = text {
        answers.push(Answer {
            name: name.to_owned(),
            text,
            line: Some(doc.text.position(node.span).line),
        });
    }
    for (name, node) in below {
        gather(doc, node, &name, answers);
    }
}
