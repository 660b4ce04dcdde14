//! The short way from TOML text to a tree: of a sound text that uses nothing rare.
//!
//! It reads what the parser's events say, without the tables that the library keeps beside them. Whatever is wrong, new
//! in TOML 1.1 or rare is left to the long way in `toml`, which gives the same tree and has words for it.

use super::toml::{Node, Value, newer_escape};
use crate::text::Span;
use compact_str::CompactString;
use std::borrow::Cow;
use toml_parser::decoder::{Encoding, ScalarKind};
use toml_parser::parser::{EventReceiver, ValidateWhitespace, parse_document};
use toml_parser::{ErrorSink, ParseError, Source};

/// Keys of one table; their number is small, so that each is looked for along the list.
const MOST_KEYS: usize = 64;
/// Arrays and inline tables within one another.
const MOST_OPEN: usize = 6;
/// Keys of a header.
const MOST_PATH: usize = 2;

type Entries = Vec<(CompactString, Node)>;

/// The root of a text's tree; `None` where the long way must be gone.
pub(super) fn tree(text: &str) -> Option<Node> {
    if text.starts_with('\u{feff}') {
        return None;
    }
    let source = Source::new(text);
    let tokens = source.lex().into_vec();
    let mut builder = Builder {
        source,
        root: Vec::new(),
        header: None,
        in_header: false,
        table: Vec::new(),
        key: None,
        open: Vec::new(),
        given_up: false,
    };
    let mut refused = false;
    let mut sink = |_: ParseError| refused = true;
    parse_document(
        &tokens,
        &mut ValidateWhitespace::new(&mut builder, source),
        &mut sink,
    );
    builder.finish_table();
    (!refused && !builder.given_up).then(|| Node {
        span: Span::default(),
        key_span: Span::default(),
        value: Value::Table(builder.root),
    })
}

/// The header of the table that is read.
struct Header {
    span: Span,
    path: Vec<(CompactString, Span)>,
    of_array: bool,
}

/// An array or inline table that is not closed yet, with the key that it belongs to.
struct Open {
    start: usize,
    key: Option<(CompactString, Span)>,
    inside: Inside,
}

enum Inside {
    Items(Vec<Node>),
    Entries { entries: Entries, after_comma: bool },
}

struct Builder<'t> {
    source: Source<'t>,
    root: Entries,
    header: Option<Header>,
    in_header: bool,
    /// What stands below the header, or at the top of the file.
    table: Entries,
    key: Option<(CompactString, Span)>,
    open: Vec<Open>,
    given_up: bool,
}

fn span_of(span: toml_parser::Span) -> Span {
    Span::new(span.start(), span.end())
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
        mut path,
        of_array,
    } = header;
    let (key, key_span) = path.pop()?;
    let mut parent = root;
    for (step, _) in &path {
        parent = entries_below(parent, step)?;
    }
    let value = Value::Table(table);
    let row = |value| Node {
        span,
        key_span: span,
        value,
    };
    if !of_array {
        let node = Node {
            span,
            key_span,
            value,
        };
        return insert(parent, key, node);
    }
    match parent.iter_mut().find(|(name, _)| *name == key) {
        Some((_, node)) if !has_header(node) => None,
        Some((_, node)) => match &mut node.value {
            Value::Array(items) => {
                items.push(row(value));
                Some(())
            }
            _ => None,
        },
        None => {
            let node = Node {
                span,
                key_span,
                value: Value::Array(vec![row(value)]),
            };
            insert(parent, key, node)
        }
    }
}

impl Builder<'_> {
    fn give_up_without(&mut self, done: Option<()>) {
        self.given_up |= done.is_none();
    }

    fn finish_table(&mut self) {
        if self.given_up {
            return;
        }
        let table = std::mem::take(&mut self.table);
        match self.header.take() {
            None => self.root = table,
            Some(header) => {
                let done = attach(&mut self.root, header, table);
                self.give_up_without(done);
            }
        }
    }

    fn begin_header(&mut self, span: toml_parser::Span, of_array: bool) {
        self.finish_table();
        self.in_header = true;
        self.header = Some(Header {
            span: span_of(span),
            path: Vec::new(),
            of_array,
        });
    }

    fn end_header(&mut self, span: toml_parser::Span) {
        self.in_header = false;
        if let Some(header) = &mut self.header {
            header.span.end = span_of(span).end;
        }
    }

    fn begin(&mut self, span: toml_parser::Span, inside: Inside) -> bool {
        if self.given_up || self.open.len() >= MOST_OPEN {
            self.given_up = true;
            return false;
        }
        self.open.push(Open {
            start: span.start(),
            key: self.key.take(),
            inside,
        });
        true
    }

    fn end(&mut self, span: toml_parser::Span) {
        let Some(open) = self.open.pop().filter(|_| !self.given_up) else {
            self.given_up = true;
            return;
        };
        let value = match open.inside {
            Inside::Items(items) => Value::Array(items),
            // A comma behind the last entry is TOML 1.1.
            Inside::Entries {
                after_comma: true, ..
            } => {
                self.given_up = true;
                return;
            }
            Inside::Entries { entries, .. } => Value::Table(entries),
        };
        self.key = open.key;
        self.value(Span::new(open.start, span.end()), value);
    }

    fn value(&mut self, span: Span, value: Value) {
        let entries = match self.open.last_mut().map(|open| &mut open.inside) {
            Some(Inside::Items(items)) => {
                items.push(Node {
                    span,
                    key_span: span,
                    value,
                });
                return;
            }
            Some(Inside::Entries { entries, .. }) => entries,
            None => &mut self.table,
        };
        let done = self.key.take().and_then(|(key, key_span)| {
            let node = Node {
                span,
                key_span,
                value,
            };
            insert(entries, key, node)
        });
        self.give_up_without(done);
    }

    /// `None` of what the long way has words for.
    fn scalar_value(
        &self,
        span: toml_parser::Span,
        encoding: Option<Encoding>,
        error: &mut dyn ErrorSink,
    ) -> Option<Value> {
        let written = self.source.input().get(span.start()..span.end())?;
        let raw = toml_parser::Raw::new_unchecked(written, encoding, span);
        let mut decoded = Cow::Borrowed("");
        Some(match raw.decode_scalar(&mut decoded, error) {
            ScalarKind::String => {
                if written.starts_with('"') && newer_escape(written) {
                    return None;
                }
                Value::Text(CompactString::from(decoded))
            }
            ScalarKind::Boolean(value) => Value::Flag(value),
            ScalarKind::DateTime => {
                let time: toml::value::Datetime = decoded.parse().ok()?;
                if time.time.is_some_and(|time| time.second.is_none()) {
                    return None;
                }
                Value::Time(time)
            }
            ScalarKind::Float => {
                let value: f64 = decoded.parse().ok()?;
                Value::Float(Some(value).filter(|value| value.is_finite())?)
            }
            ScalarKind::Integer(radix) => {
                Value::Integer(i64::from_str_radix(&decoded, radix.value()).ok()?)
            }
        })
    }
}

impl EventReceiver for Builder<'_> {
    fn std_table_open(&mut self, span: toml_parser::Span, _error: &mut dyn ErrorSink) {
        self.begin_header(span, false);
    }

    fn std_table_close(&mut self, span: toml_parser::Span, _error: &mut dyn ErrorSink) {
        self.end_header(span);
    }

    fn array_table_open(&mut self, span: toml_parser::Span, _error: &mut dyn ErrorSink) {
        self.begin_header(span, true);
    }

    fn array_table_close(&mut self, span: toml_parser::Span, _error: &mut dyn ErrorSink) {
        self.end_header(span);
    }

    fn inline_table_open(&mut self, span: toml_parser::Span, _error: &mut dyn ErrorSink) -> bool {
        let inside = Inside::Entries {
            entries: Vec::new(),
            after_comma: false,
        };
        self.begin(span, inside)
    }

    fn inline_table_close(&mut self, span: toml_parser::Span, _error: &mut dyn ErrorSink) {
        self.end(span);
    }

    fn array_open(&mut self, span: toml_parser::Span, _error: &mut dyn ErrorSink) -> bool {
        self.begin(span, Inside::Items(Vec::new()))
    }

    fn array_close(&mut self, span: toml_parser::Span, _error: &mut dyn ErrorSink) {
        self.end(span);
    }

    fn simple_key(
        &mut self,
        span: toml_parser::Span,
        encoding: Option<Encoding>,
        error: &mut dyn ErrorSink,
    ) {
        if self.given_up {
            return;
        }
        let Some(written) = self.source.input().get(span.start()..span.end()) else {
            self.given_up = true;
            return;
        };
        let mut decoded = Cow::Borrowed("");
        toml_parser::Raw::new_unchecked(written, encoding, span).decode_key(&mut decoded, error);
        let key = (CompactString::from(decoded), span_of(span));
        if self.in_header {
            let path = self.header.as_mut().map(|header| &mut header.path);
            let done = path
                .filter(|path| path.len() < MOST_PATH)
                .map(|path| path.push(key));
            return self.give_up_without(done);
        }
        if let Some(Inside::Entries { after_comma, .. }) =
            self.open.last_mut().map(|open| &mut open.inside)
        {
            *after_comma = false;
        }
        self.key = Some(key);
    }

    fn key_sep(&mut self, _span: toml_parser::Span, _error: &mut dyn ErrorSink) {
        self.given_up |= !self.in_header;
    }

    fn scalar(
        &mut self,
        span: toml_parser::Span,
        encoding: Option<Encoding>,
        error: &mut dyn ErrorSink,
    ) {
        if self.given_up {
            return;
        }
        match self.scalar_value(span, encoding, error) {
            Some(value) => self.value(span_of(span), value),
            None => self.given_up = true,
        }
    }

    fn value_sep(&mut self, _span: toml_parser::Span, _error: &mut dyn ErrorSink) {
        if let Some(Inside::Entries { after_comma, .. }) =
            self.open.last_mut().map(|open| &mut open.inside)
        {
            *after_comma = true;
        }
    }

    fn newline(&mut self, _span: toml_parser::Span, _error: &mut dyn ErrorSink) {
        // A line break inside an inline table is TOML 1.1.
        let inline = |open: &Open| matches!(open.inside, Inside::Entries { .. });
        self.given_up |= self.open.iter().any(inline);
    }

    fn error(&mut self, _span: toml_parser::Span, _error: &mut dyn ErrorSink) {
        self.given_up = true;
    }
}
