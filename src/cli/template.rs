//! Records to be filled in: one template a kind, with what only the book knows put in its place.

use crate::record::Kind;
use std::collections::BTreeMap;

/// The folder of the schemas that editors use; the book takes no notice of a name that begins with a dot.
pub(super) const SCHEMAS: &str = ".editor";

/// Where comments begin.
const COLUMN: usize = 35;

const WIDTH: usize = 80;

/// What stands for each name between braces.
///
/// A name alone on its line is a remark, wrapped, or nothing; before or after it on the line, its text is put in as it
/// is. A name, its lines and the name with a slash is a part that is repeated, shown once or left out.
#[derive(Default)]
pub(super) struct Filling {
    texts: BTreeMap<String, String>,
    parts: BTreeMap<String, Vec<String>>,
}

impl Filling {
    pub(super) fn text(&mut self, name: &str, text: impl Into<String>) -> &mut Filling {
        self.texts.insert(name.to_owned(), text.into());
        self
    }

    /// A value after `key =`; nothing leaves the key without one, so that the record does not validate.
    pub(super) fn value(&mut self, name: &str, value: Option<String>) -> &mut Filling {
        let value = value.map(|value| format!(" {value}")).unwrap_or_default();
        self.text(name, value)
    }

    /// Once for each remark that its first line carries; none leaves the part out.
    pub(super) fn part(&mut self, name: &str, remarks: Vec<String>) -> &mut Filling {
        self.parts.insert(name.to_owned(), remarks);
        self
    }
}

pub(super) fn template(kind: Kind) -> &'static str {
    match kind {
        Kind::Book => include_str!("templates/book.toml"),
        Kind::Policy => include_str!("templates/policy.toml"),
        Kind::Person => include_str!("templates/person.toml"),
        Kind::Instrument => include_str!("templates/instrument.toml"),
        Kind::Geometry => include_str!("templates/geometry.toml"),
        Kind::Fluid => include_str!("templates/fluid.toml"),
        Kind::Thermometer => include_str!("templates/thermometer.toml"),
        Kind::Bath => include_str!("templates/bath.toml"),
        Kind::Check => include_str!("templates/check.toml"),
        Kind::Review => include_str!("templates/review.toml"),
        Kind::Nonconformity => include_str!("templates/nonconformity.toml"),
    }
}

/// The line that tells an editor the schema of a record at a path of the book.
pub(super) fn schema_line(kind: Kind, path: &str) -> String {
    let up = "../".repeat(path.matches('/').count());
    format!("#:schema {up}{}", schema_path(kind))
}

pub(super) fn schema_path(kind: Kind) -> String {
    format!("{SCHEMAS}/{}.schema.json", kind.word())
}

/// The text of a template; a name that nobody gave is nothing.
pub(super) fn fill(template: &str, filling: &Filling) -> String {
    let mut text = String::new();
    let mut lines = template.lines();
    while let Some(line) = lines.next() {
        let Some(name) = alone(line) else {
            put(&mut text, line, filling);
            continue;
        };
        let end = format!("{{{{/{name}}}}}");
        if !template.contains(&end) {
            remark(
                &mut text,
                filling.texts.get(name).map_or("", String::as_str),
            );
            continue;
        }
        let body: Vec<&str> = lines.by_ref().take_while(|line| *line != end).collect();
        let given = filling.parts.get(name).map_or(&[][..], Vec::as_slice);
        for (index, remark) in given.iter().enumerate() {
            for (at, line) in body.iter().enumerate() {
                if index == 0 {
                    put(&mut text, &noted(line, remark, at == 0), filling);
                } else if !line.trim_start().starts_with('#') {
                    let bare = line.split(" #").next().unwrap_or(line).trim_end();
                    put(&mut text, &noted(bare, remark, at == 0), filling);
                }
            }
        }
    }
    text
}

fn noted(line: &str, remark: &str, first: bool) -> String {
    match first && !remark.is_empty() {
        true => format!("{line:<COLUMN$}# {remark}"),
        false => line.to_owned(),
    }
}

fn alone(line: &str) -> Option<&str> {
    let name = line.strip_prefix("{{")?.strip_suffix("}}")?;
    (!name.contains("}}")).then_some(name)
}

/// A remark within the width; the line for editors is never broken.
fn remark(text: &mut String, remark: &str) {
    if remark.starts_with('#') {
        *text += remark;
        text.push('\n');
        return;
    }
    let options = textwrap::Options::new(WIDTH)
        .initial_indent("# ")
        .subsequent_indent("# ")
        .break_words(false);
    if !remark.is_empty() {
        *text += &textwrap::fill(remark, options);
        text.push('\n');
    }
}

fn put(text: &mut String, line: &str, filling: &Filling) {
    let mut rest = line;
    let mut filled = String::new();
    let mut value = false;
    while let Some((before, after)) = rest.split_once("{{") {
        let Some((name, after)) = after.split_once("}}") else {
            break;
        };
        filled += before;
        value |= before.ends_with('=') || before.ends_with("= ");
        filled += filling.texts.get(name).map_or("", String::as_str);
        if value && after.starts_with(" #") && !after.contains("{{") {
            let blank = COLUMN.saturating_sub(filled.chars().count() + 1);
            filled += &" ".repeat(blank);
        }
        rest = after;
    }
    *text += filled.as_str();
    *text += rest;
    while text.ends_with(' ') {
        text.pop();
    }
    text.push('\n');
}

/// A text as TOML writes it.
pub(super) fn quoted(text: &str) -> String {
    toml_edit::Value::from(text).to_string()
}

/// A path as a person types it into the shell, in quotes only where it needs them.
pub(super) fn typed(path: &std::path::Path) -> String {
    let path = path.to_string_lossy();
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"/._-".contains(&byte);
    match path.bytes().all(plain) && !path.starts_with('-') {
        true => path.into_owned(),
        false => super::hook::quoted(&path),
    }
}
