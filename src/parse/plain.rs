//! The short way from TOML text to a tree: of a sound text that uses nothing rare.
//!
//! Nearly all records are headers and plain keys with one value a line, and a book has many records. Such a text is read
//! here in one go. Whatever is wrong, new in TOML 1.1 or only rare is left to the long way in `toml`, which gives the
//! same tree, from the library's parser, and has words for what is wrong; a test reads each text both ways.

use super::toml::{Node, Time, Value};
use crate::measure::Exact;
use crate::text::{Span, Text};
use compact_str::CompactString;

/// Keys of one table; their number is small, so that each is looked for along the list.
const MOST_KEYS: usize = 64;
/// So many keys the root of a record has, and so many another table, as a rule.
const USUAL_KEYS: [usize; 2] = [16, 8];
/// Powers of ten that a double holds exactly.
const TENS: [f64; 16] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

type Entries = Vec<(CompactString, Node)>;

/// The root of a text's tree; `None` where the long way must be gone.
pub(super) fn tree(text: &Text) -> Option<Node> {
    let text = text.as_str();
    if !is_clean(text.as_bytes()) {
        return None;
    }
    let mut cursor = Cursor { text, at: 0 };
    let mut root = Vec::new();
    let mut header = None;
    let mut table = Vec::with_capacity(USUAL_KEYS[0]);
    // The marks of the table's keys: where a key's is not among them, the key is new.
    let mut marks = 0;
    while cursor.at < text.len() {
        cursor.blanks();
        match cursor.peek() {
            b'\n' | b'\r' | b'#' => {}
            b'[' => {
                marks = 0;
                let entries = std::mem::replace(&mut table, Vec::with_capacity(USUAL_KEYS[1]));
                close(&mut root, header.replace(cursor.header()?), entries)?;
            }
            _ => {
                let (key, key_span) = cursor.key()?;
                let mark = mark(key);
                let known = marks & mark != 0 && table.iter().any(|(name, _)| name == key);
                if known || table.len() == MOST_KEYS {
                    return None;
                }
                marks |= mark;
                let (value, span) = cursor.assigned()?;
                let node = Node {
                    span,
                    key_span,
                    value,
                };
                table.push((key.into(), node));
            }
        }
        cursor.end_line()?;
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

/// `[key]`, `[parent.key]`, or with two brackets.
struct Header<'t> {
    span: Span,
    parent: Option<&'t str>,
    key: &'t str,
    key_span: Span,
    of_array: bool,
}

/// A place in a text.
struct Cursor<'t> {
    text: &'t str,
    at: usize,
}

/// Whether a byte may stand in a key without quotation marks.
const IN_KEY: [bool; 256] = {
    let mut table = [false; 256];
    let mut byte = 0_u8;
    while byte < 128 {
        table[byte as usize] = byte.is_ascii_alphanumeric() || matches!(byte, b'_' | b'-');
        byte += 1;
    }
    table
};

fn is_in_key(byte: u8) -> bool {
    IN_KEY[usize::from(byte)]
}

impl<'t> Cursor<'t> {
    /// The byte that stands here; a text ends as a line does.
    fn peek(&self) -> u8 {
        self.text.as_bytes().get(self.at).copied().unwrap_or(b'\n')
    }

    fn rest(&self) -> &'t [u8] {
        self.text.as_bytes().get(self.at..).unwrap_or_default()
    }

    fn skip(&mut self, wanted: impl Fn(u8) -> bool) {
        let rest = self.rest();
        let length = rest.iter().position(|byte| !wanted(*byte));
        self.at += length.unwrap_or(rest.len());
    }

    fn blanks(&mut self) {
        while matches!(self.peek(), b' ' | b'\t') {
            self.at += 1;
        }
    }

    fn expect(&mut self, wanted: u8) -> Option<()> {
        (self.text.as_bytes().get(self.at) == Some(&wanted)).then(|| self.at += 1)
    }

    /// What stands from a place to here.
    fn since(&self, from: usize) -> &'t str {
        self.text.get(from..self.at).unwrap_or("")
    }

    fn span(&self, from: usize) -> Span {
        Span::new(from, self.at)
    }

    /// A key without quotation marks.
    fn key(&mut self) -> Option<(&'t str, Span)> {
        let from = self.at;
        self.skip(is_in_key);
        (self.at > from).then(|| (self.since(from), self.span(from)))
    }

    /// Nothing more on this line but blanks and a remark.
    fn end_line(&mut self) -> Option<()> {
        self.blanks();
        if self.peek() == b'#' {
            let rest = self.rest();
            self.at += memchr::memchr(b'\n', rest).unwrap_or(rest.len());
        }
        // One that stands alone is not clean.
        let _ = self.expect(b'\r');
        match self.peek() {
            b'\n' => {
                self.at += 1;
                Some(())
            }
            _ => None,
        }
    }

    /// What a key is set to.
    fn assigned(&mut self) -> Option<(Value, Span)> {
        self.blanks();
        self.expect(b'=')?;
        self.blanks();
        let from = self.at;
        let value = self.value()?;
        Some((value, self.span(from)))
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
        Some(Header {
            span: self.span(from),
            parent,
            key,
            key_span,
            of_array,
        })
    }

    fn value(&mut self) -> Option<Value> {
        match self.peek() {
            b'"' => self.quoted(),
            b't' | b'f' => {
                let from = self.at;
                self.skip(is_in_key);
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
    fn quoted(&mut self) -> Option<Value> {
        self.expect(b'"')?;
        let from = self.at;
        self.skip(|byte| !matches!(byte, b'"' | b'\\' | b'\n'));
        let text = self.since(from);
        self.expect(b'"')?;
        // Three in a row would begin a text of several lines.
        let plain = !(text.is_empty() && self.peek() == b'"');
        plain.then(|| Value::Text(CompactString::from(text)))
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
        return plain.then(|| {
            Value::Time(Box::new(Time {
                value: time,
                written: written.into(),
            }))
        });
    }
    let (digits, places) = Exact::plain_digits(written)?;
    if places == 0 {
        return Some(Value::Integer(digits));
    }
    let size = digits.unsigned_abs();
    let exact = size <= 1 << f64::MANTISSA_DIGITS;
    match TENS.get(places as usize).filter(|_| exact) {
        // The quotient of two numbers that doubles hold exactly is the nearest double.
        Some(ten) => {
            let size = size as f64 / ten;
            let negative = written.starts_with('-');
            Some(Value::Float(if negative { -size } else { size }))
        }
        None => written.parse().ok().map(Value::Float),
    }
}

/// Whether a header made it: its key then stands within its span.
fn has_header(node: &Node) -> bool {
    node.span.start < node.key_span.start && node.key_span.end < node.span.end
}

/// Headers mostly go on from those just before.
fn last_named<'n>(entries: &'n mut Entries, key: &str) -> Option<&'n mut (CompactString, Node)> {
    entries.iter_mut().rev().find(|(name, _)| name == key)
}

/// The table that further headers go on from: of an array of tables the last.
fn entries_below<'n>(entries: &'n mut Entries, key: &str) -> Option<&'n mut Entries> {
    let (_, node) = last_named(entries, key)?;
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
    match last_named(entries, key) {
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
