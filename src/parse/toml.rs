//! TOML text to a tree of values with their places, keeping the digits as written.

use super::{Doc, Fault, FaultKind, MAX_BYTES, MAX_DEPTH, place_in, place_of_line, plain, syntax};
use crate::finding::Place;
use crate::text::{Span, Text};
use compact_str::{CompactString, ToCompactString};
use serde_json::Value as Json;
use std::borrow::Cow;
use std::fmt::Write as _;
use toml::Spanned;
use toml::de::{DeTable, DeValue};
use toml::value::Datetime;

#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// Of a value; of a table its header.
    pub span: Span,
    /// Of the key; of an array's element the same as `span`.
    pub key_span: Span,
    pub value: Value,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    Text(CompactString),
    Integer(i64),
    /// Larger than 64 bits hold, in decimal digits.
    LargeInteger,
    Float(f64),
    Flag(bool),
    Time(Box<Time>),
    Array(Vec<Node>),
    /// In the order of the file.
    Table(Vec<(CompactString, Node)>),
}

/// A date, a time or both, apart since few values are.
#[derive(Clone, Debug, PartialEq)]
pub struct Time {
    pub value: Datetime,
    /// As the schemas describe it.
    pub written: CompactString,
}

impl Node {
    pub fn child(&self, step: &str) -> Option<&Node> {
        match &self.value {
            Value::Table(entries) => entries
                .iter()
                .find(|(key, _)| key == step)
                .map(|(_, node)| node),
            Value::Array(items) => items.get(step.parse::<usize>().ok()?),
            _ => None,
        }
    }

    /// As [`Node::child`], of a key of a table that is looked for at a place first; the place behind it is noted.
    pub fn child_near(&self, key: &str, place: &mut usize) -> Option<&Node> {
        let Value::Table(entries) = &self.value else {
            return None;
        };
        let (before, behind) = entries.split_at((*place).min(entries.len()));
        let at =
            |entries: &[(CompactString, Node)]| entries.iter().position(|(name, _)| name == key);
        let found = at(behind)
            .map(|found| before.len() + found)
            .or_else(|| at(before))?;
        *place = found + 1;
        entries.get(found).map(|(_, node)| node)
    }

    pub fn get(&self, pointer: &str) -> Option<&Node> {
        let mut node = self;
        for step in steps(pointer) {
            node = node.child(&step)?;
        }
        Some(node)
    }

    /// The node that a pointer names, or the nearest one above it that exists, with its pointer.
    pub fn nearest<'p>(&self, pointer: &'p str) -> (&Node, &'p str) {
        let mut node = self;
        let mut length = 0;
        for step in pointer.split('/').skip(1) {
            match node.child(&unescape(step)) {
                Some(next) => {
                    node = next;
                    length += 1 + step.len();
                }
                None => break,
            }
        }
        (node, &pointer[..length])
    }

    /// As JSON: times become strings as the schemas describe them; what is no number becomes null.
    pub fn to_json(&self) -> Json {
        match &self.value {
            Value::Text(text) => Json::String(text.to_string()),
            Value::Integer(value) => Json::from(*value),
            Value::LargeInteger => Json::from(f64::MAX),
            Value::Float(value) => Json::from(*value),
            Value::Flag(value) => Json::Bool(*value),
            Value::Time(time) => Json::String(time.written.to_string()),
            Value::Array(items) => items.iter().map(Node::to_json).collect(),
            Value::Table(entries) => Json::Object(
                entries
                    .iter()
                    .map(|(key, node)| (key.to_string(), node.to_json()))
                    .collect(),
            ),
        }
    }
}

fn steps(pointer: &str) -> impl Iterator<Item = Cow<'_, str>> {
    pointer.split('/').skip(1).map(unescape)
}

pub(super) fn unescape(step: &str) -> Cow<'_, str> {
    match step.contains('~') {
        true => Cow::Owned(step.replace("~1", "/").replace("~0", "~")),
        false => Cow::Borrowed(step),
    }
}

pub(super) fn escape(step: &str) -> Cow<'_, str> {
    match step.contains(['~', '/']) {
        true => Cow::Owned(step.replace('~', "~0").replace('/', "~1")),
        false => Cow::Borrowed(step),
    }
}

/// Reads bytes; `None` where they are no text or are too much.
pub(super) fn read(path: &str, bytes: Vec<u8>, faults: &mut Vec<Fault>) -> Option<Doc> {
    let whole = |kind, message: String, help: &str| Fault {
        kind,
        place: crate::finding::Place::whole(path),
        message,
        help: help.to_owned(),
        because: None,
    };
    if bytes.len() as u64 > MAX_BYTES {
        faults.push(whole(
            FaultKind::Limits,
            format!("this file has more than {MAX_BYTES} bytes, the most that a record may have"),
            "a record of this size is not one record; look whether another file was saved under this name",
        ));
        return None;
    }
    let body = match String::from_utf8(bytes) {
        Ok(body) => body,
        Err(error) => {
            let at = error.utf8_error().valid_up_to();
            let good = String::from_utf8_lossy(error.as_bytes()).into_owned();
            let text = Text::new(good);
            let place = place_in(path, &text, Span::new(at, at + 1), "");
            faults.push(Fault {
                kind: FaultKind::Syntax,
                place,
                message: format!("this file is not UTF-8 text: byte {} is none", at + 1),
                help: "save the file again with the encoding UTF-8".to_owned(),
                because: None,
            });
            return None;
        }
    };
    let text = Text::new(body);
    if text.as_str().starts_with('\u{feff}') {
        faults.push(Fault {
            kind: FaultKind::ByteOrderMark,
            place: place_in(path, &text, Span::new(0, 3), ""),
            message: "the file begins with a byte order mark".to_owned(),
            help: "save it as UTF-8 without a byte order mark; other TOML readers may refuse it"
                .to_owned(),
            because: None,
        });
    }
    if let Some(root) = plain::tree(&text) {
        #[cfg(fuzzing)]
        assert_eq!(sound_tree(path, &text, faults), Some(Some(root.clone())));
        return Some(Doc {
            path: path.to_owned(),
            text,
            root,
        });
    }
    let (text, root) = match sound_tree(path, &text, faults) {
        Some(root) => (text, root),
        None => {
            let text = mend(path, text, faults)?;
            let (table, errors) = DeTable::parse_recoverable(text.as_str());
            let root = match is_too_deep(&errors) {
                true => None,
                false => {
                    let lines = say_errors(path, &text, &errors, faults);
                    tree(path, &text, &table, lines, faults)
                }
            };
            drop(table);
            (text, root)
        }
    };
    let Some(root) = root else {
        // Such a file is never read, so nothing else is said of it.
        faults.clear();
        faults.push(whole(
            FaultKind::Limits,
            format!("tables or arrays are nested deeper than {MAX_DEPTH}"),
            "no record nests that deep; look whether another file was saved under this name",
        ));
        return None;
    };
    Some(Doc {
        path: path.to_owned(),
        text,
        root,
    })
}

/// The parser gave up on the nesting.
fn is_too_deep(errors: &[toml::de::Error]) -> bool {
    errors
        .iter()
        .any(|error| error.message().contains("recursion"))
}

/// One fault a line; the lines.
fn say_errors(
    path: &str,
    text: &Text,
    errors: &[toml::de::Error],
    faults: &mut Vec<Fault>,
) -> Vec<u32> {
    let mut lines = Vec::new();
    for error in errors {
        let span = error.span().unwrap_or(0..0);
        let place = place_in(path, text, Span::new(span.start, span.end), "");
        if lines.contains(&place.line) {
            continue;
        }
        lines.push(place.line);
        faults.push(explain(path, text, place, error.message()));
    }
    lines
}

/// The tree of a text without errors, else `None`; within it `None` where it is nested too deep.
fn sound_tree(path: &str, text: &Text, faults: &mut Vec<Fault>) -> Option<Option<Node>> {
    let (table, errors) = DeTable::parse_recoverable(text.as_str());
    match errors.is_empty() {
        true => Some(tree(path, text, &table, Vec::new(), faults)),
        false => None,
    }
}

/// `None` where it is nested too deep.
fn tree(
    path: &str,
    text: &Text,
    table: &Spanned<DeTable<'_>>,
    broken_lines: Vec<u32>,
    faults: &mut Vec<Fault>,
) -> Option<Node> {
    let mut walk = Walk {
        path,
        text,
        faults,
        too_deep: false,
        pointer: String::new(),
        broken_lines,
    };
    let root = Node {
        span: Span::new(0, 0),
        key_span: Span::new(0, 0),
        value: walk.table(table.get_ref(), None, 0),
    };
    (!walk.too_deep).then_some(root)
}

/// Lists that are left open are closed, since all that follows would else be one fault a line; each is a fault.
/// Lines and columns but those behind the missing bracket stay. `None` where a merge was left unfinished.
fn mend(path: &str, mut text: Text, faults: &mut Vec<Fault>) -> Option<Text> {
    /// More lists than this are not left open by mistake.
    const MOST: usize = 8;
    let broken = |text: &Text| -> Vec<usize> {
        let (_, errors) = DeTable::parse_recoverable(text.as_str());
        let line = |span: std::ops::Range<usize>| {
            text.position(Span::new(span.start, span.end)).line as usize
        };
        let spans = errors.iter().map(|error| error.span().unwrap_or(0..0));
        spans.map(line).collect()
    };
    let syntax = |place, message: String, help: String| Fault {
        kind: FaultKind::Syntax,
        place,
        message: shortened(message),
        help: shortened(help),
        because: None,
    };
    let mut lines = broken(&text);
    if let Some(conflict) = syntax::conflict(text.as_str(), &lines) {
        let place = place_of_line(path, &text, conflict.first);
        let more = match conflict.places {
            1 => String::new(),
            places => format!(", at {places} places"),
        };
        faults.push(syntax(
            place,
            format!(
                "a merge conflict was left in this file, from line {} to line {}{more}",
                conflict.first, conflict.last
            ),
            "between <<<<<<< and ======= stands one version, from there to >>>>>>> the other: keep what is right, delete the lines of the marks, then git add the file".to_owned(),
        ));
        return None;
    }
    for _ in 0..MOST {
        if lines.is_empty() {
            break;
        }
        let Some(found) = syntax::unclosed(text.as_str()) else {
            break;
        };
        let mut body = text.as_str().to_owned();
        body.insert_str(found.missing_at, &found.closers);
        let mended = Text::new(body);
        let left = broken(&mended);
        if left.len() >= lines.len() {
            break;
        }
        let place = place_in(path, &text, Span::new(found.open, found.missing_at), "");
        let end = text
            .position(Span::new(found.missing_at, found.missing_at))
            .line;
        let (what, closer) = match found.bracket {
            '[' => ("the list", ']'),
            _ => ("a table within", '}'),
        };
        let help = match end == place.line {
            true => {
                let line = mended.line_text(end as usize);
                format!("write {}", syntax::without_remark(line).trim())
            }
            false => format!("put {closer} behind the last entry, on line {end}"),
        };
        let message = format!("{what} {} has no closing {closer}", found.key);
        faults.push(syntax(place, message, help));
        (text, lines) = (mended, left);
    }
    Some(text)
}

fn explain(path: &str, text: &Text, place: Place, parser_says: &str) -> Fault {
    let line = place.line as usize;
    let twice = parser_says.contains("duplicate key");
    let first = twice.then(|| syntax::first_of_two(text.as_str(), line));
    let (message, help, because) = match first.flatten() {
        Some(first) => {
            let what = text.line_text(line);
            let name = what.split('=').next().unwrap_or("").trim();
            (
                format!("{name} stands here a second time; it stands on line {first} already"),
                "keep the right one and delete the other; a further row begins with its own [[header]]".to_owned(),
                Some((place_of_line(path, text, first), "the first one".to_owned())),
            )
        }
        None => {
            let (message, help) =
                syntax::explain(&place.excerpt, place.column as usize, parser_says);
            (message, help, None)
        }
    };
    Fault {
        kind: FaultKind::Syntax,
        place,
        message: shortened(message),
        help: shortened(help),
        because,
    }
}

/// A sentence that quotes a whole line of the file, cut where that line is no line that a person wrote.
fn shortened(sentence: String) -> String {
    const MOST: usize = 300;
    match sentence.char_indices().nth(MOST) {
        Some((end, _)) => format!("{}\u{2026}", &sentence[..end]),
        None => sentence,
    }
}

struct Walk<'a> {
    path: &'a str,
    text: &'a Text,
    faults: &'a mut Vec<Fault>,
    too_deep: bool,
    pointer: String,
    /// Lines that are not TOML.
    broken_lines: Vec<u32>,
}

impl Walk<'_> {
    fn fault(&mut self, kind: FaultKind, span: Span, message: String, help: &str) {
        self.faults.push(Fault {
            kind,
            place: place_in(self.path, self.text, span, &self.pointer),
            message,
            help: help.to_owned(),
            because: None,
        });
    }

    fn newer(&mut self, span: Span, what: &str) {
        self.fault(
            FaultKind::NewerSyntax,
            span,
            format!("{what} is TOML 1.1, which readers of TOML 1.0 refuse"),
            "write it the way TOML 1.0 knows, so that every tool can read the record",
        );
    }

    fn table(&mut self, table: &DeTable<'_>, inline: Option<Span>, depth: usize) -> Value {
        let mut entries: Vec<_> = table.iter().collect();
        entries.sort_by_key(|(key, _)| key.span().start);
        if let Some(span) = inline {
            self.inline_gaps(span, &entries);
        }
        let entries = entries
            .into_iter()
            .map(|(key, value)| {
                let length = self.pointer.len();
                self.pointer.push('/');
                self.pointer.push_str(&escape(key.get_ref()));
                let key_span = Span::new(key.span().start, key.span().end);
                let node = self.node(value, key_span, depth + 1);
                self.pointer.truncate(length);
                (CompactString::from(&**key.get_ref()), node)
            })
            .collect();
        Value::Table(entries)
    }

    /// Line ends and a trailing comma between the parts of an inline table are TOML 1.1.
    fn inline_gaps(
        &mut self,
        span: Span,
        entries: &[(&Spanned<toml::de::DeString<'_>>, &Spanned<DeValue<'_>>)],
    ) {
        let mut from = span.start as usize + 1;
        let end = (span.end as usize).saturating_sub(1);
        for (key, value) in entries {
            if self
                .text
                .slice(Span::new(from, key.span().start))
                .contains('\n')
            {
                return self.newer(span, "a line break inside an inline table");
            }
            from = value.span().end.max(from);
        }
        let last = self.text.slice(Span::new(from, end));
        if last.contains('\n') {
            self.newer(span, "a line break inside an inline table");
        } else if last.contains(',') {
            self.newer(span, "a comma after the last entry of an inline table");
        }
    }

    fn node(&mut self, value: &Spanned<DeValue<'_>>, key_span: Span, depth: usize) -> Node {
        let span = Span::new(value.span().start, value.span().end);
        let raw = self.text.slice(span);
        if depth > MAX_DEPTH {
            self.too_deep = true;
            return Node {
                span,
                key_span,
                value: Value::Flag(false),
            };
        }
        let value = match value.get_ref() {
            DeValue::String(text) => {
                if raw.starts_with('"') && newer_escape(raw) {
                    self.newer(span, "an escape \\e or \\x in a text");
                }
                Value::Text(CompactString::from(&**text))
            }
            DeValue::Integer(integer) => {
                match i64::from_str_radix(integer.as_str(), integer.radix()) {
                    Ok(value) => Value::Integer(value),
                    Err(_) => Value::LargeInteger,
                }
            }
            DeValue::Float(float) => {
                let value: f64 = float.as_str().parse().unwrap_or(f64::NAN);
                let broken = |line: u32| self.broken_lines.contains(&line);
                if !value.is_finite() && !broken(self.text.position(span).line) {
                    let written = raw.to_owned();
                    self.fault(
                        FaultKind::NotANumber,
                        span,
                        format!("{written} is no number that can be measured"),
                        "write the figure that the instrument or the certificate shows; where there was none, a point says shown = \"nothing\"",
                    );
                }
                Value::Float(value)
            }
            DeValue::Boolean(value) => Value::Flag(*value),
            DeValue::Datetime(time) => {
                if time.time.is_some_and(|time| time.second.is_none()) {
                    self.newer(span, "a time without seconds");
                }
                Value::Time(Box::new(Time {
                    value: *time,
                    written: time.to_compact_string(),
                }))
            }
            DeValue::Array(items) => {
                let length = self.pointer.len();
                let nodes = items
                    .iter()
                    .enumerate()
                    .map(|(index, item)| {
                        let _ = write!(self.pointer, "/{index}");
                        let at = Span::new(item.span().start, item.span().end);
                        let node = self.node(item, at, depth + 1);
                        self.pointer.truncate(length);
                        node
                    })
                    .collect();
                Value::Array(nodes)
            }
            DeValue::Table(table) => {
                let inline = raw.starts_with('{').then_some(span);
                self.table(table, inline, depth)
            }
        };
        Node {
            span,
            key_span,
            value,
        }
    }
}

fn newer_escape(raw: &str) -> bool {
    let mut escaped = false;
    for character in raw.chars() {
        if escaped {
            if matches!(character, 'e' | 'x') {
                return true;
            }
            escaped = false;
        } else {
            escaped = character == '\\';
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;
    use include_dir::{Dir, include_dir};
    use proptest::prelude::*;

    static EXAMPLE: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/records-example");

    fn texts(dir: &Dir<'_>, all: &mut Vec<String>) {
        all.extend(dir.files().filter_map(|file| {
            let name = file.path().extension()?;
            (name == "toml").then(|| file.contents_utf8().expect("text").to_owned())
        }));
        for below in dir.dirs() {
            texts(below, all);
        }
    }

    /// What the short way reads the long way reads too, without a remark and to the same tree.
    fn read_the_short_way(text: &str) -> bool {
        let Some(short) = plain::tree(&Text::new(text.to_owned())) else {
            return false;
        };
        let mut faults = Vec::new();
        let long = sound_tree("x.toml", &Text::new(text.to_owned()), &mut faults);
        assert_eq!(long, Some(Some(short)), "{text}");
        assert!(faults.is_empty(), "{text}: {faults:?}");
        true
    }

    #[test]
    fn records_are_read_the_short_way() {
        let mut all = Vec::new();
        texts(&EXAMPLE, &mut all);
        assert!(all.len() > 400);
        let checks = |text: &&String| text.contains("[[point]]");
        assert!(all.iter().filter(checks).count() > 150);
        for text in &all {
            let short = read_the_short_way(text);
            assert!(short || !checks(&text), "{text}");
        }
    }

    #[test]
    fn the_short_way_is_left_where_there_is_something_to_say() {
        for text in [
            "a = 1\na = 2",
            "a = {b = 1, b = 2}",
            "[a]\n[a]",
            "[a]\nb = 1\n[a.b]",
            "[[a]]\n[a]",
            "[a]\n[[a]]",
            "a = [[1]]\n[[a]]",
            "a = [{b = 1}]\n[[a]]",
            "a = {b = 1}\n[a.c]",
            "a = {b = 1,}",
            "a = {b = 1\n}",
            "a = nan",
            "a = -inf",
            "a = 12:30",
            r#"a = "\e""#,
            "a = 99999999999999999999",
            "a.b = 1",
            "[a.b]",
            "\u{feff}a = 1",
            "a = 2026-02-30T25:00:00",
            "a = [[[[[[[1]]]]]]]",
            "a = \u{1}",
            "# \u{7f}",
            "# \r remark",
            "a = 1\r",
            "a = 007",
            "a = -01.5",
            "a = 1.",
            "a = .5",
            "a = - 1",
            "a = truer",
            "a = \"x",
            "a = \"x\" y",
            "a = \"\"\"x\"\"\"",
            "a = 2026-13-01",
            "a = 2026-03-02T09:00:00-00:00",
            "a = 2026-03-02T09:00:00.50Z",
            "a = 2026-01-01T00:00:00Z+",
            "[a",
            "[[a]",
            "[a] b",
            "[a..b]",
            "é = 1",
            "a",
            "= 1",
        ] {
            assert!(!read_the_short_way(text), "{text}");
        }
    }

    #[test]
    fn both_ways_read_what_toml_knows() {
        for text in [
            "",
            "# remark\r\n\r\na = 1 # one\r\n",
            "\"a b\" = 'it'",
            "'a.b' = 0x1F\n\"\" = 1",
            "a = '''x\n'y'\n'''\nb = \"\"\"\nx \\\n  y\\u00e9\"\"\"",
            "a = [1, [2.5, \"x\"], # one\n  {b = true}, ]",
            "a = {b = [1, 2], \"c d\" = {}}",
            "[[a]]\nx = 1\n[a.b]\ny = 2\n[[a.c]]\n[[a.c]]\nz = 3\n[[a]]\nx = 2\n[d]\n",
            "[ a ]\n[ a . \"b\" ]",
            "[a]\n[a.b]\n[a.c]\n[d]\n[a.e]",
            "a = 1979-05-27T07:32:00.999999-07:00\nb = 1979-05-27\nc = 07:32:00\nd = 1979-05-27 07:32:00Z",
            "a = +1_000\nb = -0.0\nc = 1e3\nd = 0o17\ne = 0b1",
        ] {
            read_the_short_way(text);
        }
        for text in [
            "",
            "\n\r\n  # remark \u{e9}\n",
            "a = 1 # one\r\nb=\"x # y\"\t# z\r\n",
            "[[a]]\nx = 1\n[a.b]\ny = -2\n[[a.c]]\n[[a.c]]\nz = +3.50\n[[a]]\nx = 2\n[d]",
            "[a]\n[a.b]\n[c]\n[a.d]\n  e = false",
            "a = 1979-05-27T07:32:00-07:00\nb = 1979-05-27\nc = 07:32:00\nd = 1979-05-27T07:32:00Z",
            "1 = -0\n-a- = -0.0\nb = \"\"\nc = \"\t\u{1f980}\"",
        ] {
            assert!(read_the_short_way(text), "{text}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        #[test]
        fn small_slips_are_read_alike_both_ways(
            pick in any::<prop::sample::Index>(),
            edits in prop::collection::vec((
                any::<prop::sample::Index>(),
                0_usize..4,
                prop_oneof![
                    r#"[\[\]{}=.,"'#\\a-c0-9 \n\r\t_:TZ+-]{0,3}"#.boxed(),
                    prop::sample::select(vec!["\n[a]\n", "\n[[point]]\n", "\u{1}", "\u{fffd}"])
                        .prop_map(str::to_owned).boxed(),
                ],
            ), 0..4),
        ) {
            let mut all = Vec::new();
            texts(&EXAMPLE, &mut all);
            let mut text = all[pick.index(all.len())].clone();
            for (at, cut, put) in edits {
                let mut at = at.index(text.len() + 1);
                while !text.is_char_boundary(at) {
                    at -= 1;
                }
                let mut end = (at + cut).min(text.len());
                while !text.is_char_boundary(end) {
                    end += 1;
                }
                text.replace_range(at..end, &put);
            }
            read_the_short_way(&text);
        }

        #[test]
        fn small_documents_are_read_alike_both_ways(lines in prop::collection::vec(
            prop_oneof![
                r"\[[ab](\.[ab]){0,2}\]",
                r"\[\[[ab](\.[ab]){0,2}\]\]",
                r"[ab](\.[ab])? = 1",
                r"[ab] = \{(a = 1)?,?\}",
                r"[ab] = \[(\[?1|\{a = 1\})?\]?\]",
                r#"[ab] = "[a\\x0"]{0,4}""#,
                r"[ab] = [-+]?[0-9]{0,3}\.?[0-9]{0,3}",
                r"[ab] = [0-9]{4}-[0-2][0-9]-[0-3][0-9](T[0-2][0-9]:[0-6][0-9](:[0-6][0-9](\.[0-9]{1,3})?)?)?(Z|[-+][0-9]{2}:[0-9]{2})?",
                r"[ab] = [0-2][0-9]:[0-6][0-9](:[0-6][0-9])?",
            ],
            0..8,
        )) {
            read_the_short_way(&lines.join("\n"));
        }
    }
}
