//! What differs between two versions of a record, key by key and row by row.

use crate::parse::{Doc, Node, Value};

/// More pairs of rows than these are not held against one another.
const MOST_PAIRS: usize = 1 << 20;

/// One thing that differs. Values are as written, texts without their quotes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Difference {
    /// A value that is another, or is there in one version alone.
    Value {
        /// In the version that has it: the new one where both do.
        pointer: String,
        was: Option<String>,
        is: Option<String>,
    },
    /// A row that only the new version has: its keys with their values.
    Appended { pointer: String, row: Row },
    /// A row that only the old version has; the pointer is that of the old version.
    Removed { pointer: String, row: Row },
}

/// Pointers below the row, with their values.
pub type Row = Vec<(String, String)>;

/// The keys whose values differ, in the order of the file. Order of keys, remarks and spelling are no difference, digits are.
pub fn differences(before: &Doc, after: &Doc) -> Vec<Difference> {
    let mut found = Vec::new();
    let sides = Sides { before, after };
    sides.values(
        Some(("", &before.root)),
        Some(("", &after.root)),
        &mut found,
    );
    found
}

/// All values of a record below a pointer.
pub fn leaves(doc: &Doc, pointer: &str) -> Row {
    let mut row = Vec::new();
    if let Some(node) = doc.root.get(pointer) {
        collect(doc, node, String::new(), &mut row);
    }
    row
}

fn collect(doc: &Doc, node: &Node, pointer: String, row: &mut Row) {
    match &node.value {
        Value::Table(entries) => {
            for (key, below) in entries {
                collect(doc, below, step(&pointer, key), row);
            }
        }
        Value::Array(items) if has_rows(items) => {
            for (index, below) in items.iter().enumerate() {
                collect(doc, below, step(&pointer, &index.to_string()), row);
            }
        }
        _ => row.push((pointer, written(doc, node))),
    }
}

fn step(pointer: &str, key: &str) -> String {
    format!("{pointer}/{}", key.replace('~', "~0").replace('/', "~1"))
}

fn has_rows(items: &[Node]) -> bool {
    items
        .iter()
        .any(|item| matches!(item.value, Value::Table(_)))
}

/// A value as people read it: a number with its digits, a text without quotes.
pub fn written(doc: &Doc, node: &Node) -> String {
    match &node.value {
        Value::Text(text) => text.to_string(),
        Value::Array(items) => {
            let items: Vec<String> = items.iter().map(|item| written(doc, item)).collect();
            items.join(", ")
        }
        _ => doc.text.slice(node.span).to_owned(),
    }
}

/// A place in a version: its pointer and what stands there.
type At<'a> = Option<(&'a str, &'a Node)>;

struct Sides<'a> {
    before: &'a Doc,
    after: &'a Doc,
}

impl Sides<'_> {
    fn values(&self, old: At<'_>, new: At<'_>, found: &mut Vec<Difference>) {
        let tables = |at: At<'_>| match at {
            Some((_, node)) => matches!(node.value, Value::Table(_)),
            None => true,
        };
        let rows = |at: At<'_>| match at {
            Some((_, node)) => matches!(&node.value, Value::Array(items) if has_rows(items)),
            None => true,
        };
        match (old, new) {
            (None, None) => {}
            _ if tables(old) && tables(new) => self.tables(old, new, found),
            _ if rows(old) && rows(new) => self.rows(old, new, found),
            _ => {
                let was = old.map(|(_, node)| written(self.before, node));
                let is = new.map(|(_, node)| written(self.after, node));
                if was != is {
                    let pointer = new.or(old).map_or("", |(pointer, _)| pointer).to_owned();
                    found.push(Difference::Value { pointer, was, is });
                }
            }
        }
    }

    fn tables(&self, old: At<'_>, new: At<'_>, found: &mut Vec<Difference>) {
        let (old_at, new_at) = (pointer(old), pointer(new));
        let (old_entries, new_entries) = (entries(old), entries(new));
        for (key, below) in new_entries {
            let was = old_entries.iter().find(|(other, _)| other == key);
            let was_at = step(old_at, key);
            let is_at = step(new_at, key);
            self.values(
                was.map(|(_, node)| (was_at.as_str(), node)),
                Some((&is_at, below)),
                found,
            );
        }
        for (key, below) in old_entries {
            if new_entries.iter().all(|(other, _)| other != key) {
                self.values(Some((&step(old_at, key), below)), None, found);
            }
        }
    }

    fn rows(&self, old: At<'_>, new: At<'_>, found: &mut Vec<Difference>) {
        let (old_at, new_at) = (pointer(old), pointer(new));
        let (olds, news) = (items(old), items(new));
        let (mut i, mut j) = (0, 0);
        let same = self.matching(olds, news);
        // Between rows that are alike, those of one place are one row that was changed, the others came or went.
        for (next_i, next_j) in same.into_iter().chain([(olds.len(), news.len())]) {
            while i < next_i || j < next_j {
                let was_at = step(old_at, &i.to_string());
                let is_at = step(new_at, &j.to_string());
                match (i < next_i, j < next_j) {
                    (true, true) => {
                        self.values(Some((&was_at, &olds[i])), Some((&is_at, &news[j])), found)
                    }
                    (true, false) => found.push(Difference::Removed {
                        row: leaves(self.before, &was_at),
                        pointer: was_at,
                    }),
                    _ => found.push(Difference::Appended {
                        row: leaves(self.after, &is_at),
                        pointer: is_at,
                    }),
                }
                i = next_i.min(i + 1);
                j = next_j.min(j + 1);
            }
            i = next_i + 1;
            j = next_j + 1;
        }
    }

    /// Pairs of rows that are alike, ascending: the most that keep their order.
    fn matching(&self, olds: &[Node], news: &[Node]) -> Vec<(usize, usize)> {
        let texts = |doc: &Doc, items: &[Node]| -> Vec<Row> {
            let all = items.iter().map(|item| {
                let mut row = Vec::new();
                collect(doc, item, String::new(), &mut row);
                row.sort();
                row
            });
            all.collect()
        };
        let (olds, news) = (texts(self.before, olds), texts(self.after, news));
        let head = olds.iter().zip(&news).take_while(|(a, b)| a == b).count();
        let (rest_old, rest_new) = (&olds[head..], &news[head..]);
        let tail = rest_old
            .iter()
            .rev()
            .zip(rest_new.iter().rev())
            .take_while(|(a, b)| a == b)
            .count();
        let rest_old = &rest_old[..rest_old.len() - tail];
        let rest_new = &rest_new[..rest_new.len() - tail];
        let mut pairs: Vec<(usize, usize)> = (0..head).map(|at| (at, at)).collect();
        if rest_old.len().saturating_mul(rest_new.len()) <= MOST_PAIRS {
            let inner = longest_common(rest_old, rest_new);
            pairs.extend(inner.into_iter().map(|(i, j)| (head + i, head + j)));
        }
        pairs.extend((0..tail).map(|at| (olds.len() - tail + at, news.len() - tail + at)));
        pairs
    }
}

fn longest_common(olds: &[Row], news: &[Row]) -> Vec<(usize, usize)> {
    let width = news.len() + 1;
    let mut lengths = vec![0_usize; (olds.len() + 1) * width];
    for i in (0..olds.len()).rev() {
        for j in (0..news.len()).rev() {
            lengths[i * width + j] = match olds[i] == news[j] {
                true => lengths[(i + 1) * width + j + 1] + 1,
                false => lengths[(i + 1) * width + j].max(lengths[i * width + j + 1]),
            };
        }
    }
    let (mut i, mut j) = (0, 0);
    let mut pairs = Vec::new();
    while i < olds.len() && j < news.len() {
        if olds[i] == news[j] {
            pairs.push((i, j));
            i += 1;
            j += 1;
        } else if lengths[(i + 1) * width + j] >= lengths[i * width + j + 1] {
            i += 1;
        } else {
            j += 1;
        }
    }
    pairs
}

fn pointer<'a>(at: At<'a>) -> &'a str {
    at.map_or("", |(pointer, _)| pointer)
}

fn entries<'a>(at: At<'a>) -> &'a [(compact_str::CompactString, Node)] {
    match at {
        Some((_, node)) => match &node.value {
            Value::Table(entries) => entries,
            _ => &[],
        },
        None => &[],
    }
}

fn items<'a>(at: At<'a>) -> &'a [Node] {
    match at {
        Some((_, node)) => match &node.value {
            Value::Array(items) => items,
            _ => &[],
        },
        None => &[],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parse::read;

    fn of(before: &str, after: &str) -> Vec<Difference> {
        let doc = |text: &str| read("x.toml", text.as_bytes().to_vec()).expect("toml");
        differences(&doc(before), &doc(after))
    }

    fn value(pointer: &str, was: Option<&str>, is: Option<&str>) -> Difference {
        Difference::Value {
            pointer: pointer.to_owned(),
            was: was.map(str::to_owned),
            is: is.map(str::to_owned),
        }
    }

    fn row(keys: &[(&str, &str)]) -> Row {
        let pairs = keys.iter();
        pairs
            .map(|(key, value)| ((*key).to_owned(), (*value).to_owned()))
            .collect()
    }

    #[test]
    fn remarks_order_and_line_ends_are_no_difference_and_digits_are() {
        let text = "a = 1.0 # one\nb = \"x\"\n[t]\nc = [1, 2]\n";
        assert_eq!(of(text, "b = 'x'\r\na = 1.0\r\n[t]\r\nc = [1,2]\r\n"), []);
        assert_eq!(
            of(text, "a = 1.00\nb = \"x\"\n[t]\nc = [1, 3]\n"),
            [
                value("/a", Some("1.0"), Some("1.00")),
                value("/t/c", Some("1, 2"), Some("1, 3"))
            ]
        );
        assert_eq!(
            of("a = 1\n", "b = 2\n"),
            [value("/b", None, Some("2")), value("/a", Some("1"), None)]
        );
    }

    #[test]
    fn a_row_that_came_or_went_leaves_the_others_alone() {
        let two = "[[r]]\nid = 1\n[[r]]\nid = 2\n";
        let three = "[[r]]\nid = 1\n[[r]]\nid = 2\n[[r]]\nid = 3\nat = 2026-01-01\n";
        assert_eq!(
            of(two, three),
            [Difference::Appended {
                pointer: "/r/2".to_owned(),
                row: row(&[("/id", "3"), ("/at", "2026-01-01")])
            }]
        );
        assert_eq!(
            of(two, "[[r]]\nid = 2\n"),
            [Difference::Removed {
                pointer: "/r/0".to_owned(),
                row: row(&[("/id", "1")])
            }]
        );
        assert_eq!(
            of(two, "[[r]]\nid = 0\n[[r]]\nid = 1\n[[r]]\nid = 5\n"),
            [
                Difference::Appended {
                    pointer: "/r/0".to_owned(),
                    row: row(&[("/id", "0")])
                },
                value("/r/2/id", Some("2"), Some("5"))
            ]
        );
        assert_eq!(
            of("a = 1\n", two).len(),
            3,
            "two rows came and one value went"
        );
        assert_eq!(
            of(two, "a = 1\n").len(),
            3,
            "two rows went and one value came"
        );
    }

    #[test]
    fn rows_within_rows_are_told_apart() {
        let one = "[[c]]\nat = [{ t = 1, k = 0.1 }, { t = 2, k = 0.2 }]\n";
        let other = one.replace("0.2", "0.3");
        assert_eq!(
            of(one, &other),
            [value("/c/0/at/1/k", Some("0.2"), Some("0.3"))]
        );
    }
}
