//! A folder as git keeps it: for each entry its mode, its name and the id of what it is.

use super::git::Version;
use std::borrow::Cow;

/// A tree object. Large folders are looked into more often than they are listed, so it stays as it was read.
#[derive(Default)]
pub(super) struct Tree {
    bytes: Vec<u8>,
    /// Of an id, in bytes.
    id_length: usize,
}

impl Tree {
    /// The object of a tree, in a repository whose ids have so many hexadecimal digits.
    pub fn new(bytes: Vec<u8>, digits: usize) -> Tree {
        Tree {
            bytes,
            id_length: digits / 2,
        }
    }

    fn raw(&self) -> impl Iterator<Item = (&[u8], &[u8], &[u8])> {
        let mut rest = &self.bytes[..];
        std::iter::from_fn(move || {
            let end = memchr::memchr(0, rest)?;
            let (mode, name) = rest[..end].split_at(memchr::memchr(b' ', &rest[..end])?);
            let id = rest.get(end + 1..end + 1 + self.id_length)?;
            rest = &rest[end + 1 + self.id_length..];
            Some((mode, &name[1..], id))
        })
    }

    /// Names and modes.
    pub fn names(&self) -> impl Iterator<Item = (Cow<'_, str>, u32)> {
        self.raw()
            .filter_map(|(mode, name, _)| Some((String::from_utf8_lossy(name), number(mode)?)))
    }

    /// Modes and ids.
    pub fn below(&self) -> impl Iterator<Item = (u32, String)> {
        self.raw()
            .filter_map(|(mode, _, id)| Some((number(mode)?, hexadecimal(id))))
    }

    /// A name that stands here more than once.
    pub fn named_twice(&self) -> Option<String> {
        let mut seen = std::collections::BTreeSet::new();
        let mut twice = self.raw().filter(|(_, name, _)| !seen.insert(*name));
        twice
            .next()
            .map(|(_, name, _)| String::from_utf8_lossy(name).into_owned())
    }

    pub fn get(&self, name: &str) -> Option<Version> {
        // A name that is no text is known by its readable part.
        let odd = name.contains('\u{fffd}');
        let (mode, _, id) = self.raw().find(|(_, other, _)| match odd {
            true => String::from_utf8_lossy(other) == name,
            false => *other == name.as_bytes(),
        })?;
        version(mode, id)
    }
}

fn version(mode: &[u8], id: &[u8]) -> Option<Version> {
    Some(Version {
        mode: number(mode)?,
        id: hexadecimal(id),
    })
}

fn number(mode: &[u8]) -> Option<u32> {
    u32::from_str_radix(std::str::from_utf8(mode).ok()?, 8).ok()
}

fn hexadecimal(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    let digit = |half: u8| char::from(DIGITS[usize::from(half)]);
    let digits = bytes.iter().flat_map(|byte| [byte >> 4, byte & 15]);
    digits.map(digit).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn entries_are_read_as_git_writes_them() {
        let mut bytes = Vec::new();
        for (mode, name, id) in [
            ("100644", &b"a.toml"[..], 0xa1),
            ("40000", b"checks", 0x02),
            ("120000", b"\xff", 0x03),
        ] {
            bytes.extend_from_slice(mode.as_bytes());
            bytes.push(b' ');
            bytes.extend_from_slice(name);
            bytes.push(0);
            bytes.extend([id; 20]);
        }
        let tree = Tree::new(bytes.clone(), 40);
        let names: Vec<_> = tree.names().map(|(name, _)| name.into_owned()).collect();
        assert_eq!(names, ["a.toml", "checks", "\u{fffd}"]);
        let file = tree.get("a.toml").expect("there");
        assert_eq!((file.mode, file.id), (0o100_644, "a1".repeat(20)));
        assert_eq!(tree.get("checks").map(|entry| entry.mode), Some(0o40_000));
        assert_eq!(
            tree.get("\u{fffd}").map(|entry| entry.mode),
            Some(0o120_000)
        );
        assert_eq!(tree.get("check"), None);
        // Cut anywhere, it is read as far as it goes.
        for end in 0..bytes.len() {
            let cut = Tree::new(bytes[..end].to_vec(), 40);
            assert!(cut.names().count() < 3);
        }
        assert!(Tree::default().get("a").is_none());
    }
}
