//! The tree of a file as the schema library reads it, without a copy.
//!
//! Times are strings, as the schemas describe them; what is no number is null.

use super::toml::{Node, Value};
use crate::text::Span;
use compact_str::CompactString;
use jsonschema::JsonType;
use jsonschema::json::{self, Json, JsonNumber, NodeIdentity};
use serde_json::Number;
use std::borrow::Cow;

/// The way of [`Node`] to stand for JSON.
pub(super) struct Tree;

impl Json for Tree {
    type Node<'a> = &'a Node;
    type PreparedKey = String;
    type StringBuffer = Option<Node>;

    const ACYCLIC: bool = true;

    fn prepare_key(key: &str) -> String {
        key.to_owned()
    }

    fn with_string_node<T>(
        buffer: &mut Option<Node>,
        string: &str,
        f: impl FnOnce(&Node) -> T,
    ) -> T {
        f(buffer.insert(Node {
            span: Span::default(),
            key_span: Span::default(),
            value: Value::Text(CompactString::from(string)),
        }))
    }
}

/// A number as TOML has them.
pub(super) enum Figure {
    Integer(i64),
    Float(f64),
}

impl Figure {
    /// `None` of what is no number.
    fn of(value: &Value) -> Option<Figure> {
        match value {
            Value::Integer(value) => Some(Figure::Integer(*value)),
            Value::LargeInteger => Some(Figure::Float(f64::MAX)),
            Value::Float(value) => value.is_finite().then_some(Figure::Float(*value)),
            _ => None,
        }
    }

    fn number(&self) -> Number {
        match self {
            Figure::Integer(value) => Number::from(*value),
            Figure::Float(value) => Number::from_f64(*value).unwrap_or_else(|| Number::from(0)),
        }
    }
}

impl JsonNumber for Figure {
    fn as_u64(&self) -> Option<u64> {
        self.as_i64()?.try_into().ok()
    }

    fn as_i64(&self) -> Option<i64> {
        match self {
            Figure::Integer(value) => Some(*value),
            Figure::Float(_) => None,
        }
    }

    fn as_f64(&self) -> Option<f64> {
        match self {
            Figure::Integer(value) => Some(*value as f64),
            Figure::Float(value) => Some(*value),
        }
    }

    fn as_str(&self) -> Cow<'_, str> {
        Cow::Owned(self.number().to_string())
    }

    fn to_number(&self) -> Cow<'_, Number> {
        Cow::Owned(self.number())
    }
}

impl<'a> json::Node<'a, Tree> for &'a Node {
    type Object = &'a [(CompactString, Node)];
    type Array = &'a [Node];
    type Number = Figure;

    fn as_object(&self) -> Option<Self::Object> {
        match &self.value {
            Value::Table(entries) => Some(entries),
            _ => None,
        }
    }

    fn as_array(&self) -> Option<Self::Array> {
        match &self.value {
            Value::Array(items) => Some(items),
            _ => None,
        }
    }

    fn as_string(&self) -> Option<Cow<'a, str>> {
        match &self.value {
            Value::Text(text) => Some(Cow::Borrowed(text)),
            Value::Time(time) => Some(Cow::Borrowed(&time.written)),
            _ => None,
        }
    }

    fn as_number(&self) -> Option<Figure> {
        Figure::of(&self.value)
    }

    fn as_boolean(&self) -> Option<bool> {
        match self.value {
            Value::Flag(value) => Some(value),
            _ => None,
        }
    }

    fn is_null(&self) -> bool {
        matches!(self.value, Value::Float(value) if !value.is_finite())
    }

    fn json_type(&self) -> JsonType {
        match &self.value {
            Value::Text(_) | Value::Time(..) => JsonType::String,
            Value::Integer(_) | Value::LargeInteger => JsonType::Number,
            Value::Float(value) if value.is_finite() => JsonType::Number,
            Value::Float(_) => JsonType::Null,
            Value::Flag(_) => JsonType::Boolean,
            Value::Array(_) => JsonType::Array,
            Value::Table(_) => JsonType::Object,
        }
    }

    fn equals_value(&self, expected: &serde_json::Value) -> bool {
        match (&self.value, expected) {
            (Value::Text(text), serde_json::Value::String(expected)) => text == expected,
            (Value::Text(_), _) => false,
            _ => json::cmp::equal(&self.to_json(), expected),
        }
    }

    fn to_value(&self) -> Cow<'a, serde_json::Value> {
        Cow::Owned(self.to_json())
    }

    fn identity(&self) -> Option<NodeIdentity> {
        Some(NodeIdentity::new(std::ptr::from_ref::<Node>(self) as usize))
    }
}

impl<'a> json::Object<'a, Tree> for &'a [(CompactString, Node)] {
    type Node = &'a Node;
    type MemberName = &'a str;
    type MembersIter = std::iter::Map<
        std::slice::Iter<'a, (CompactString, Node)>,
        fn(&'a (CompactString, Node)) -> (&'a str, &'a Node),
    >;

    fn len(&self) -> usize {
        <[(CompactString, Node)]>::len(self)
    }

    fn get(&self, key: &String) -> Option<&'a Node> {
        let found = self.iter().find(|(name, _)| name == key);
        found.map(|(_, node)| node)
    }

    fn members(&self) -> Self::MembersIter {
        self.iter().map(|(name, node)| (name.as_str(), node))
    }
}

impl<'a> json::Array<'a, Tree> for &'a [Node] {
    type Node = &'a Node;
    type ElementsIter = std::slice::Iter<'a, Node>;

    fn len(&self) -> usize {
        <[Node]>::len(self)
    }

    fn elements(&self) -> Self::ElementsIter {
        self.iter()
    }
}
