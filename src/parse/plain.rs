//! The short way from TOML text to a tree: of a sound text that uses nothing rare.
//!
//! Nearly all records are headers and plain keys with one value a line, and a book has many records. Such a text is read
//! here line by line. Whatever is wrong, new in TOML 1.1 or only rare is left to the long way in `toml`, which gives the
//! same tree, from the library's parser, and has words for what is wrong; a test reads each text both ways.

use super::toml::{Node, Value};
use crate::text::{Span, Text};
use compact_str::CompactString;

/// Keys of one table; their number is small, so that each is looked for along the list.
const MOST_KEYS: usize = 64;
/// Digits of a whole number that surely fits 64 bits.
const MOST_DIGITS: usize = 18;

type Entries = Vec<(CompactString, Node)>;

/// The root of a text's tree; `None` where the long way must be gone.
pub(super) fn tree(text: &Text) -> Option<Node> {
    if !is_clean(text.as_str().as_bytes()) {
        return None;
    }
    let mut root = Vec::new();
    let mut header = None;
    let mut table = Vec::new();
    // The marks of the table's keys: where a key's is not among them, the key is new.
    let mut marks = 0;
    for (start, line) in text.lines() {
        let whole = line.strip_suffix('\n').unwrap_or(line);
        let cursor = Cursor {
            line: whole.strip_suffix('\r').unwrap_or(whole),
            at: 0,
            start,
        };
        match cursor.read()? {
            Line::Empty => {}
            Line::Key(key, node) => {
                let mark = mark(key);
                match marks & mark == 0 && table.len() < MOST_KEYS {
                    true => table.push((key.into(), node)),
                    false => insert(&mut table, key.into(), node)?,
                }
                marks |= mark;
            }
            Line::Header(next) => {
                marks = 0;
                let entries = std::mem::take(&mut table);
                close(&mut root, header.replace(next), entries)?;
            }
        }
    }
    close(&mut root, header, table)?;
    Some(Node {
        span: Span::default(),
        key_span: Span::default(),
        value: Value::Table(root),
    })
}

/// One of 64 bits by length, first, middle and last letter; different keys may share one.
fn mark(key: &str) -> u64 {
    let letters = key.as_bytes();
    let at = |index: usize| letters.get(index).map_or(0, |letter| usize::from(*letter));
    let last = letters.len().saturating_sub(1);
    let sum = letters.len() + 3 * at(0) + 5 * at(last / 2) + 7 * at(last);
    1 << (sum % 64)
}

/// Whether no control character stands in it but tabs and line ends. A byte order mark is not clean.
fn is_clean(text: &[u8]) -> bool {
    let control =
        |byte: &u8| (*byte < b' ' && !matches!(byte, b'\t' | b'\n' | b'\r')) || *byte == 0x7f;
    // Without a break, so that many bytes are looked at together.
    let controls = text.iter().fold(false, |found, byte| found | control(byte));
    let lone = |at: usize| text.get(at + 1) != Some(&b'\n');
    !controls
        && !text.starts_with("\u{feff}".as_bytes())
        && !memchr::memchr_iter(b'\r', text).any(lone)
}

fn close(root: &mut Entries, header: Option<Header>, table: Entries) -> Option<()> {
    match header {
        Some(header) => attach(root, header, table),
        None => {
            *root = table;
            Some(())
        }
    }
}

enum Line<'t> {
    /// Blank, or a remark.
    Empty,
    Header(Header<'t>),
    Key(&'t str, Node),
}

/// `[key]`, `[parent.key]`, or with two brackets.
struct Header<'t> {
    span: Span,
    parent: Option<&'t str>,
    key: &'t str,
    key_span: Span,
    of_array: bool,
}

/// Reads one line.
struct Cursor<'t> {
    line: &'t str,
    at: usize,
    /// Of the line in the text.
    start: usize,
}

fn is_key(byte: u8) -> bool {
    byte.is_ascii_alphanumeric() || matches!(byte, b'_' | b'-')
}

impl<'t> Cursor<'t> {
    fn peek(&self) -> Option<u8> {
        self.line.as_bytes().get(self.at).copied()
    }

    fn skip(&mut self, wanted: impl Fn(u8) -> bool) {
        while self.peek().is_some_and(&wanted) {
            self.at += 1;
        }
    }

    fn blanks(&mut self) {
        self.skip(|byte| matches!(byte, b' ' | b'\t'));
    }

    fn expect(&mut self, wanted: u8) -> Option<()> {
        (self.peek() == Some(wanted)).then(|| self.at += 1)
    }

    /// What stands from a place to here.
    fn since(&self, from: usize) -> &'t str {
        self.line.get(from..self.at).unwrap_or("")
    }

    fn span(&self, from: usize) -> Span {
        Span::new(self.start + from, self.start + self.at)
    }

    /// A key without quotation marks.
    fn key(&mut self) -> Option<(&'t str, Span)> {
        let from = self.at;
        self.skip(is_key);
        (self.at > from).then(|| (self.since(from), self.span(from)))
    }

    /// Nothing more but blanks and a remark.
    fn end(&mut self) -> Option<()> {
        self.blanks();
        matches!(self.peek(), None | Some(b'#')).then_some(())
    }

    fn read(mut self) -> Option<Line<'t>> {
        self.blanks();
        match self.peek() {
            None | Some(b'#') => Some(Line::Empty),
            Some(b'[') => self.header().map(Line::Header),
            Some(_) => {
                let (key, key_span) = self.key()?;
                self.blanks();
                self.expect(b'=')?;
                self.blanks();
                let from = self.at;
                let value = self.value()?;
                let span = self.span(from);
                self.end()?;
                let node = Node {
                    span,
                    key_span,
                    value,
                };
                Some(Line::Key(key, node))
            }
        }
    }

    fn header(&mut self) -> Option<Header<'t>> {
        let from = self.at;
        self.expect(b'[')?;
        let of_array = self.expect(b'[').is_some();
        let (mut key, mut key_span) = self.key()?;
        let mut parent = None;
        if self.expect(b'.').is_some() {
            parent = Some(key);
            (key, key_span) = self.key()?;
        }
        self.expect(b']')?;
        if of_array {
            self.expect(b']')?;
        }
        let span = self.span(from);
        self.end()?;
        Some(Header {
            span,
            parent,
            key,
            key_span,
            of_array,
        })
    }

    fn value(&mut self) -> Option<Value> {
        match self.peek()? {
            b'"' => self.text(),
            b't' | b'f' => {
                let from = self.at;
                self.skip(is_key);
                match self.since(from) {
                    "true" => Some(Value::Flag(true)),
                    "false" => Some(Value::Flag(false)),
                    _ => None,
                }
            }
            _ => {
                let from = self.at;
                self.skip(|byte| {
                    byte.is_ascii_digit() || matches!(byte, b'+' | b'-' | b'.' | b':' | b'T' | b'Z')
                });
                figure(self.since(from))
            }
        }
    }

    /// A text in quotation marks, without anything escaped.
    fn text(&mut self) -> Option<Value> {
        let rest = self.line.get(self.at + 1..)?;
        let length = memchr::memchr2(b'"', b'\\', rest.as_bytes())?;
        let text = rest.get(..length)?;
        let after = rest.as_bytes().get(length..)?;
        // Three in a row would begin a text of several lines.
        if after.starts_with(b"\\") || (text.is_empty() && after.starts_with(b"\"\"")) {
            return None;
        }
        self.at += length + 2;
        Some(Value::Text(CompactString::from(text)))
    }
}

/// A number in plain digits, or a time with its seconds.
fn figure(written: &str) -> Option<Value> {
    let bytes = written.as_bytes();
    if bytes.get(4) == Some(&b'-') || bytes.get(2) == Some(&b':') {
        let time: toml::value::Datetime = written.parse().ok()?;
        let whole = time.time.is_none_or(|time| time.second.is_some());
        // Parts of seconds and no offset at all may be written in several ways.
        let plain = whole && !bytes.contains(&b'.') && !written.ends_with("-00:00");
        return plain.then(|| Value::Time(time, written.into()));
    }
    let size = bytes.strip_prefix(b"-").or(bytes.strip_prefix(b"+"));
    let size = size.unwrap_or(bytes);
    let digits = size.iter().take_while(|byte| byte.is_ascii_digit()).count();
    if digits == 0 || digits > MOST_DIGITS || (digits > 1 && size[0] == b'0') {
        return None;
    }
    match &size[digits..] {
        [] => written.parse().ok().map(Value::Integer),
        [b'.', places @ ..] => {
            let plain = !places.is_empty() && places.iter().all(u8::is_ascii_digit);
            plain.then(|| written.parse().ok().map(Value::Float))?
        }
        _ => None,
    }
}

/// Whether a header made it: its key then stands within its span.
fn has_header(node: &Node) -> bool {
    node.span.start < node.key_span.start && node.key_span.end < node.span.end
}

/// The table that further headers go on from: of an array of tables the last.
fn entries_below<'n>(entries: &'n mut Entries, key: &str) -> Option<&'n mut Entries> {
    let (_, node) = entries.iter_mut().find(|(name, _)| name == key)?;
    if !has_header(node) {
        return None;
    }
    match &mut node.value {
        Value::Table(entries) => Some(entries),
        Value::Array(items) => match &mut items.last_mut()?.value {
            Value::Table(entries) => Some(entries),
            _ => None,
        },
        _ => None,
    }
}

/// `None` where the key is there already.
fn insert(entries: &mut Entries, key: CompactString, node: Node) -> Option<()> {
    let fits = entries.len() < MOST_KEYS && entries.iter().all(|(name, _)| *name != key);
    fits.then(|| entries.push((key, node)))
}

fn attach(root: &mut Entries, header: Header, table: Entries) -> Option<()> {
    let Header {
        span,
        parent,
        key,
        key_span,
        of_array,
    } = header;
    let entries = match parent {
        Some(parent) => entries_below(root, parent)?,
        None => root,
    };
    let made = |value| Node {
        span,
        key_span,
        value,
    };
    if !of_array {
        return insert(entries, key.into(), made(Value::Table(table)));
    }
    let row = Node {
        span,
        key_span: span,
        value: Value::Table(table),
    };
    match entries.iter_mut().find(|(name, _)| name == key) {
        None => insert(entries, key.into(), made(Value::Array(vec![row]))),
        Some((_, node)) if has_header(node) => match &mut node.value {
            Value::Array(rows) => {
                rows.push(row);
                Some(())
            }
            _ => None,
        },
        Some(_) => None,
    }
}
