//! Texts of files, byte spans in them, and the lines and columns people read.

pub mod decimal;

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

/// A file's text with its line starts.
#[derive(Clone, Debug)]
pub struct Text {
    body: String,
    line_starts: Vec<u32>,
}

impl Text {
    pub fn new(body: String) -> Text {
        let mut line_starts = Vec::with_capacity(body.len() / 24 + 1);
        line_starts.push(0);
        line_starts.extend(
            memchr::memchr_iter(b'\n', body.as_bytes()).map(|at| Span::new(at + 1, at + 1).start),
        );
        Text { body, line_starts }
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
        let line = self
            .line_starts
            .partition_point(|begin| *begin as usize <= start)
            .max(1);
        let begin = self.line_starts[line - 1] as usize;
        let end = self.floor((span.end as usize).max(start));
        let line_end = begin + self.line_text(line).len();
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

    /// A line without its end, counted from 1; empty beyond the last.
    pub fn line_text(&self, line: usize) -> &str {
        let Some(begin) = line
            .checked_sub(1)
            .and_then(|index| self.line_starts.get(index))
        else {
            return "";
        };
        let end = self
            .line_starts
            .get(line)
            .map_or(self.body.len(), |next| *next as usize);
        let text = self.body.get(*begin as usize..end).unwrap_or("");
        text.trim_end_matches(['\n', '\r'])
    }

    /// Where each line begins, and the line with its end.
    pub fn lines(&self) -> impl Iterator<Item = (usize, &str)> {
        let ends = self.line_starts.iter().skip(1).map(|end| *end as usize);
        let ends = ends.chain(std::iter::once(self.body.len()));
        let starts = self.line_starts.iter().map(|start| *start as usize);
        let lines = starts.zip(ends);
        lines.map(|(start, end)| (start, self.body.get(start..end).unwrap_or("")))
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
