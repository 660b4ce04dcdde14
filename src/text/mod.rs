//! Texts of files, byte spans in them, and the lines and columns people read.

pub mod decimal;

use std::sync::OnceLock;

/// A range of bytes of one file; files over 1 MiB are never read, so 32 bits hold any place.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Span {
    pub start: u32,
    pub end: u32,
}

impl Span {
    pub fn new(start: usize, end: usize) -> Span {
        let clamp = |at: usize| u32::try_from(at).unwrap_or(u32::MAX);
        Span {
            start: clamp(start),
            end: clamp(end.max(start)),
        }
    }

    pub fn range(self) -> std::ops::Range<usize> {
        self.start as usize..self.end as usize
    }
}

/// Line and column count from 1, columns in characters; `width` is the length of the span within its first line, in characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Position {
    pub line: u32,
    pub column: u32,
    pub width: u32,
}

/// A file's text.
#[derive(Clone, Debug)]
pub struct Text {
    body: String,
    /// Looked for when somebody asks for a line: of most files nobody does.
    line_starts: OnceLock<Vec<u32>>,
}

impl Text {
    pub fn new(body: String) -> Text {
        Text {
            body,
            line_starts: OnceLock::new(),
        }
    }

    fn line_starts(&self) -> &[u32] {
        self.line_starts.get_or_init(|| {
            let ends = memchr::memchr_iter(b'\n', self.body.as_bytes());
            let starts = ends.map(|at| Span::new(at + 1, at + 1).start);
            std::iter::once(0).chain(starts).collect()
        })
    }

    pub fn as_str(&self) -> &str {
        &self.body
    }

    /// The text of a span; empty where the span does not fit the text.
    pub fn slice(&self, span: Span) -> &str {
        self.body.get(span.range()).unwrap_or("")
    }

    pub fn position(&self, span: Span) -> Position {
        let start = self.floor(span.start as usize);
        let starts = self.line_starts();
        let line = starts
            .partition_point(|begin| *begin as usize <= start)
            .max(1);
        self.position_in(line, starts[line - 1] as usize, span)
    }

    /// As [`Text::position`], with its line as reports quote it: sooner had where one place of a text is asked for.
    pub fn only_position(&self, span: Span) -> (Position, &str) {
        let before = &self.body.as_bytes()[..self.floor(span.start as usize)];
        let line = memchr::memchr_iter(b'\n', before).count() + 1;
        let begin = memchr::memrchr(b'\n', before).map_or(0, |end| end + 1);
        let text = self.line_from(begin).trim_start_matches('\u{feff}');
        (self.position_in(line, begin, span), text)
    }

    fn position_in(&self, line: usize, begin: usize, span: Span) -> Position {
        let start = self.floor(span.start as usize);
        let end = self.floor((span.end as usize).max(start));
        let line_end = begin + self.line_from(begin).len();
        let count = |from: usize, to: usize| {
            let text = self.body.get(from..to.max(from)).unwrap_or("");
            u32::try_from(text.trim_start_matches('\u{feff}').chars().count()).unwrap_or(u32::MAX)
        };
        Position {
            line: u32::try_from(line).unwrap_or(u32::MAX),
            column: count(begin, start) + 1,
            width: count(start, end.min(line_end)),
        }
    }

    /// The line that begins at a byte, without its end.
    fn line_from(&self, begin: usize) -> &str {
        let rest = self.body.get(begin..).unwrap_or("");
        let end = memchr::memchr(b'\n', rest.as_bytes()).unwrap_or(rest.len());
        rest.get(..end).unwrap_or("").trim_end_matches(['\n', '\r'])
    }

    /// A line without its end, counted from 1; empty beyond the last.
    pub fn line_text(&self, line: usize) -> &str {
        let begin = line
            .checked_sub(1)
            .and_then(|index| self.line_starts().get(index));
        begin.map_or("", |begin| self.line_from(*begin as usize))
    }

    /// A line as reports quote it: without a byte order mark.
    pub fn excerpt(&self, line: u32) -> &str {
        self.line_text(line as usize).trim_start_matches('\u{feff}')
    }

    fn floor(&self, at: usize) -> usize {
        let mut at = at.min(self.body.len());
        while !self.body.is_char_boundary(at) {
            at -= 1;
        }
        at
    }
}

/// The word that was most likely meant: the nearest by single slips of the keyboard, in any case of letters, where it is near enough.
pub fn nearest<'a>(given: &str, words: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let given = given.to_lowercase();
    words
        .map(|word| {
            let distance = strsim::damerau_levenshtein(&given, &word.to_lowercase());
            (distance, word)
        })
        // Of a word of one or two letters nothing is left to go by.
        .filter(|(distance, word)| {
            let letters = word.chars().count();
            *distance <= 1 + letters / 4 && (*distance == 0 || letters > 2)
        })
        .min()
        .map(|(_, word)| word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positions_count_characters_from_one_whatever_the_line_end() {
        let text = Text::new("\u{feff}a = 1\r\nö = \"ä\"\nlast".to_owned());
        let at = |needle: &str| {
            let start = text.as_str().find(needle).expect("needle");
            let place = text.position(Span::new(start, start + needle.len()));
            (place.line, place.column, place.width)
        };
        assert_eq!(at("a = 1"), (1, 1, 5));
        assert_eq!(at("1"), (1, 5, 1));
        assert_eq!(at("\"ä\""), (2, 5, 3));
        assert_eq!(at("last"), (3, 1, 4));
        assert_eq!(text.line_text(1), "\u{feff}a = 1");
        assert_eq!(text.line_text(9), "");
    }

    #[test]
    fn one_place_is_found_as_any_other() {
        for body in [
            "",
            "a",
            "\n",
            "\u{feff}a = 1\r\nö = \"ä\"\r\r\n\n\nlast",
            "x\ny\n",
        ] {
            let text = Text::new(body.to_owned());
            for start in 0..body.len() + 2 {
                for end in start..body.len() + 3 {
                    let span = Span::new(start, end);
                    let position = text.position(span);
                    let line = text.excerpt(position.line);
                    assert_eq!(
                        text.only_position(span),
                        (position, line),
                        "{body:?} {span:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn the_nearest_word_is_near() {
        let words = ["speed_rpm", "viscosity_mpa_s", "shown"];
        assert_eq!(
            nearest("vicosity_mpa_s", words.into_iter()),
            Some("viscosity_mpa_s")
        );
        assert_eq!(nearest("SHWON", words.into_iter()), Some("shown"));
        assert_eq!(nearest("remark", words.into_iter()), None);
        // Five letters allow two slips, not three.
        assert_eq!(nearest("sho", words.into_iter()), Some("shown"));
        assert_eq!(nearest("sh", words.into_iter()), None);
        assert_eq!(nearest("3", ["1", "2", "12"].into_iter()), None);
        assert_eq!(nearest("k-1", ["K-1"].into_iter()), Some("K-1"));
    }

    #[test]
    fn a_span_that_does_not_fit_is_clamped() {
        let text = Text::new("ä".to_owned());
        assert_eq!(text.position(Span::new(1, 99)).line, 1);
        assert_eq!(text.slice(Span::new(1, 99)), "");
    }
}
