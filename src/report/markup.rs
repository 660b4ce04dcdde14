//! Texts of records in Markdown, where nothing that a record holds may become a heading, a link, a mention or a picture.

use super::printable;

/// One line, of so many characters at most.
fn line(text: &str, most: usize) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    let text = printable(&words.join(" "));
    match text.chars().count() > most {
        false => text,
        true => {
            let kept: String = text.chars().take(most.saturating_sub(1)).collect();
            kept + "\u{2026}"
        }
    }
}

/// The longest run of backticks.
fn longest_run(text: &str) -> usize {
    let runs = text.split(|mark| mark != '`').map(str::len);
    runs.max().unwrap_or(0)
}

/// A text of a record as a quotation that nothing in it can end: what stands in it is never read as Markdown.
///
/// A bar becomes a broken one, since forges disagree how one is written in a table.
pub fn code(text: &str, most: usize) -> String {
    let text = line(text, most).replace('|', "\u{a6}");
    if text.is_empty() {
        return "(nothing)".to_owned();
    }
    let fence = "`".repeat(longest_run(&text) + 1);
    let room = match text.starts_with('`') || text.ends_with('`') {
        true => " ",
        false => "",
    };
    format!("{fence}{room}{text}{room}{fence}")
}

/// So many characters of a text are enough to know it again.
const KNOWN_BY: usize = 60;

/// The beginning of a quotation is not worth fewer characters.
const WORTH_IT: usize = 10;

/// A sentence of the program in which texts of records may stand: those that are known are quoted, and so is each word that
/// is more than a word to some forge.
pub fn sentence(text: &str, known: &[String], most: usize) -> String {
    let text = line(text, most.saturating_mul(4));
    let known: Vec<(String, usize)> = known
        .iter()
        .map(|text| {
            let text = line(text, usize::MAX);
            let needle = text.chars().take(KNOWN_BY).collect();
            (needle, text.len())
        })
        .filter(|(needle, _): &(String, usize)| {
            !needle.is_empty() && text.contains(needle.as_str())
        })
        .collect();
    let mut parts = Vec::new();
    let mut room = most;
    let mut rest = text.as_str();
    while !rest.is_empty() {
        let found = known.iter().filter_map(|(needle, length)| {
            let at = rest.find(needle.as_str())?;
            Some((at, std::cmp::Reverse(*length)))
        });
        let (at, length) = found
            .min()
            .map_or((rest.len(), 0), |(at, length)| (at, length.0));
        let mut end = (at + length).min(rest.len());
        while !rest.is_char_boundary(end) {
            end += 1;
        }
        let whole = words(&rest[..at], most, &mut room, &mut parts);
        let quoted = &rest[at..end];
        let length = quoted.chars().count();
        if !whole || (length > room && room < WORTH_IT) {
            parts.push("\u{2026}".to_owned());
            break;
        }
        if end > at {
            parts.push(code(quoted, room));
            room = room.saturating_sub(length);
        }
        rest = &rest[end..];
    }
    parts.join(" ")
}

/// Adds words as long as there is room, those that are no plain words as quotations; false where it is not all of them.
fn words(text: &str, most: usize, room: &mut usize, parts: &mut Vec<String>) -> bool {
    let mut odd: Vec<&str> = Vec::new();
    for word in text.split_whitespace() {
        let length = word.chars().count() + 1;
        if length > *room {
            quote(&mut odd, most, parts);
            return false;
        }
        match is_plain(word) {
            true => {
                quote(&mut odd, most, parts);
                parts.push(word.to_owned());
            }
            false => odd.push(word),
        }
        *room -= length;
    }
    quote(&mut odd, most, parts);
    true
}

fn quote(odd: &mut Vec<&str>, most: usize, parts: &mut Vec<String>) {
    if !odd.is_empty() {
        let text = odd.join(" ");
        // The mark behind a quotation is the sentence's own.
        let quoted = text.trim_end_matches([',', ';', '.']);
        match quoted.is_empty() {
            true => parts.push(code(&text, most)),
            false => parts.push(code(quoted, most) + &text[quoted.len()..]),
        }
        odd.clear();
    }
}

/// A word in which no forge finds anything but a word.
fn is_plain(word: &str) -> bool {
    let fits = |mark: char| {
        mark.is_alphanumeric()
            || ".,;:()'\"%-+=/\u{b0}\u{b1}\u{b5}\u{b7}\u{2026}\u{fffd}".contains(mark)
    };
    let core = word.trim_matches(|mark: char| !mark.is_alphanumeric());
    let inside = word
        .char_indices()
        .next_back()
        .map_or("", |(last, _)| &word[..last]);
    let lower = core.to_lowercase();
    let commit = core.len() >= 7 && core.bytes().all(|byte| byte.is_ascii_hexdigit());
    // A point between letters may be a domain; mPa.s is none.
    let domain = core.split('.').skip(1).any(|part| {
        let letters = part.chars().take_while(|mark| mark.is_alphabetic());
        letters.count() > 1
    });
    word.chars().all(fits)
        && !word.starts_with('/')
        && !inside.contains(':')
        && !word.contains("//")
        && !commit
        && !domain
        && !lower.starts_with("gh-")
}

/// Lines between marks that no line in them can be.
pub fn fenced(language: &str, text: &str) -> String {
    let fence = "`".repeat(longest_run(text).max(2) + 1);
    format!(
        "{fence}{language}\n{}\n{fence}\n",
        text.trim_end_matches('\n')
    )
}

/// A table: the head, for each column whether it stands to the right, and the rows. Cells are Markdown already.
pub fn table(head: &[String], to_the_right: &[bool], rows: &[Vec<String>]) -> String {
    let line = |cells: &[String]| format!("| {} |\n", cells.join(" | "));
    let marks: Vec<String> = to_the_right
        .iter()
        .map(|right| if *right { "---:" } else { "---" }.to_owned())
        .collect();
    let mut text = line(head) + &line(&marks);
    for row in rows {
        text += &line(row);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quotation_holds_whatever_stands_in_it() {
        for (text, quoted) in [
            ("op-07", "`op-07`"),
            ("a\n\n## Approved\r\nb\t c", "`a ## Approved b c`"),
            ("say `x` to @all", "``say `x` to @all``"),
            ("`", "`` ` ``"),
            ("``` end", "```` ``` end ````"),
            ("a | b", "`a \u{a6} b`"),
            ("\u{202e}evil\u{0}", "`\u{fffd}evil\u{fffd}`"),
            ("  \n ", "(nothing)"),
        ] {
            assert_eq!(code(text, 100), quoted);
        }
        assert_eq!(code("abcdef", 4), "`abc\u{2026}`");
    }

    #[test]
    fn plain_words_stay_and_the_others_are_quoted() {
        for (text, read) in [
            (
                "484.0 mPa.s at 25.0 \u{b0}C, 1/s: (no)",
                "484.0 mPa.s at 25.0 \u{b0}C, 1/s: (no)",
            ),
            ("ask @admin now", "ask `@admin` now"),
            (
                "see [x](http://y.example) <b>",
                "see `[x](http://y.example) <b>`",
            ),
            (
                "visit www.lab.example today",
                "visit `www.lab.example` today",
            ),
            ("fixes #12 and GH-12", "fixes `#12` and `GH-12`"),
            (
                "commit 0123abc :tada: **bold**",
                "commit `0123abc :tada: **bold**`",
            ),
            ("a\n/approve", "a `/approve`"),
            ("set temperature_c", "set `temperature_c`"),
            (
                "by op@lab.example, or user.email.",
                "by `op@lab.example`, or `user.email`.",
            ),
        ] {
            assert_eq!(sentence(text, &[], 200), read);
        }
    }

    #[test]
    fn a_text_that_is_known_is_quoted_as_a_whole() {
        let known = [
            "approved by  qa-01".to_owned(),
            "a".repeat(100),
            "b c".to_owned(),
        ];
        for (text, most, read) in [
            (
                "it says (reason: approved by qa-01) here",
                200,
                "it says (reason: `approved by qa-01` ) here",
            ),
            ("b c b c", 200, "`b c` `b c`"),
            ("no word of it", 200, "no word of it"),
            ("one two three", 8, "one two \u{2026}"),
            ("one b c b c b c", 8, "one `b c` \u{2026}"),
        ] {
            assert_eq!(sentence(text, &known, most), read);
        }
        // Cut in its middle it is still known.
        let cut = sentence(&format!("see {}", "a".repeat(100)), &known, 20);
        assert_eq!(cut, format!("see `{}\u{2026}`", "a".repeat(15)));
    }

    #[test]
    fn a_fence_is_longer_than_what_is_in_it() {
        assert_eq!(fenced("text", "a\n"), "```text\na\n```\n");
        assert_eq!(fenced("", "````\nb"), "`````\n````\nb\n`````\n");
    }
}
