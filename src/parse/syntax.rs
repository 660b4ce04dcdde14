//! What an analyst most likely did where a file is no TOML, and what to write instead.

use super::schema::{Wants, wants};
use toml::de::DeTable;

/// A merge that was not finished: its lines, counted from 1.
pub(super) struct Conflict {
    pub first: usize,
    pub last: usize,
    pub places: usize,
}

/// The marks that git leaves round two versions of the same lines, where one of them is what the parser stumbled over.
pub(super) fn conflict(text: &str, broken_lines: &[usize]) -> Option<Conflict> {
    let is_mark = |line: &str| {
        let line = line.trim_end();
        let mark = line.split(' ').next().unwrap_or("");
        matches!(mark, "<<<<<<<" | ">>>>>>>" | "|||||||") || line == "======="
    };
    let lines: Vec<usize> = (1..)
        .zip(text.lines())
        .filter(|(_, line)| is_mark(line))
        .map(|(number, _)| number)
        .collect();
    if !lines.iter().any(|line| broken_lines.contains(line)) {
        return None;
    }
    let begun = text.lines().filter(|line| line.starts_with("<<<<<<<"));
    Some(Conflict {
        first: *lines.first()?,
        last: *lines.last()?,
        places: begun.count().max(1),
    })
}

/// A bracket that was opened and not closed.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Unclosed {
    /// `[` or `{`.
    pub bracket: char,
    pub key: String,
    /// Bytes from the start of the text: where it opens, and where what closes it is missing.
    pub open: usize,
    pub missing_at: usize,
    /// What closes it and all that stands open round it.
    pub closers: String,
}

/// The first bracket that is still open where the next key or header begins, or the file ends.
pub(super) fn unclosed(text: &str) -> Option<Unclosed> {
    let mut open: Vec<(char, usize)> = Vec::new();
    let mut key = "";
    let mut long_text: Option<&str> = None;
    let mut last = 0;
    let mut line_start = 0;
    for line in text.split_inclusive('\n') {
        let begin = line_start;
        line_start += line.len();
        let mut at = 0;
        if let Some(mark) = long_text {
            match line.find(mark) {
                Some(end) => {
                    at = end + mark.len();
                    last = begin + at;
                    long_text = None;
                }
                None => continue,
            }
        } else if let Some((bracket, _)) = open.last() {
            let goes_on = *bracket == '{' && text[..last].ends_with([',', '{']);
            if is_header(line) || (is_key(line) && !goes_on) {
                return still_open(&open, key, last);
            }
        } else {
            let code = line.trim_start();
            if code.starts_with(['[', '#']) {
                continue;
            }
            match line.split_once('=') {
                Some((name, _)) => {
                    key = name.trim();
                    at = name.len() + 1;
                }
                None => continue,
            }
        }
        while let Some(character) = line.get(at..).and_then(|rest| rest.chars().next()) {
            let rest = &line[at..];
            let mut length = character.len_utf8();
            match character {
                '#' => break,
                '"' | '\'' => {
                    let three = if character == '"' { "\"\"\"" } else { "'''" };
                    if let Some(inner) = rest.strip_prefix(three) {
                        match inner.find(three) {
                            Some(end) => length = end + 6,
                            None => {
                                long_text = Some(three);
                                break;
                            }
                        }
                    } else {
                        length = text_length(rest, character);
                    }
                }
                '[' | '{' => open.push((character, begin + at)),
                ']' | '}' => {
                    let opener = if character == ']' { '[' } else { '{' };
                    match open.last() {
                        Some((bracket, _)) if *bracket == opener => {
                            open.pop();
                        }
                        Some(_) if open.iter().any(|(bracket, _)| *bracket == opener) => {
                            let inner = open.len() - 1;
                            return still_open(&open[inner..], key, last);
                        }
                        _ => {}
                    }
                }
                _ => {}
            }
            if !character.is_whitespace() {
                last = begin + at + length;
            }
            at += length;
        }
    }
    still_open(&open, key, last)
}

fn still_open(open: &[(char, usize)], key: &str, missing_at: usize) -> Option<Unclosed> {
    let (bracket, at) = open.last()?;
    let closers = open.iter().rev();
    Some(Unclosed {
        bracket: *bracket,
        key: key.to_owned(),
        open: *at,
        missing_at,
        closers: closers
            .map(|(bracket, _)| if *bracket == '[' { ']' } else { '}' })
            .collect(),
    })
}

/// The bytes of a text in quotation marks on one line; all of the line where its second mark is missing.
fn text_length(rest: &str, mark: char) -> usize {
    let mut escaped = false;
    for (at, character) in rest.char_indices().skip(1) {
        if character == mark && !escaped {
            return at + 1;
        }
        escaped = mark == '"' && character == '\\' && !escaped;
    }
    rest.trim_end().len().max(1)
}

fn is_bare(name: &str) -> bool {
    let allowed = |character: char| character.is_ascii_alphanumeric() || "_-.".contains(character);
    name.starts_with(|first: char| first.is_ascii_alphabetic()) && name.chars().all(allowed)
}

/// The name in a `[header]` or `[[header]]`.
fn header(line: &str) -> Option<&str> {
    let code = without_remark(line).trim();
    let name = match code.strip_prefix("[[") {
        Some(rest) => rest.strip_suffix("]]")?,
        None => code.strip_prefix('[')?.strip_suffix(']')?,
    };
    is_bare(name.trim()).then_some(name)
}

fn is_header(line: &str) -> bool {
    header(line).is_some()
}

fn is_key(line: &str) -> bool {
    line.split_once('=')
        .is_some_and(|(name, _)| is_bare(name.trim()))
}

/// A line up to its remark; a mark within quotation marks begins none.
pub(super) fn without_remark(line: &str) -> &str {
    let mut at = 0;
    while let Some(character) = line.get(at..).and_then(|rest| rest.chars().next()) {
        match character {
            '#' => return &line[..at],
            '"' | '\'' => at += text_length(&line[at..], character),
            _ => at += character.len_utf8(),
        }
    }
    line
}

/// The line, counted from 1, on which a key or a header stands that stands again on a later line.
pub(super) fn first_of_two(text: &str, later: usize) -> Option<usize> {
    let lines: Vec<&str> = text.lines().take(later).collect();
    let (last, before) = lines.split_last()?;
    let name = |line: &str| {
        let (name, _) = line.split_once('=')?;
        Some(name.trim().to_owned())
    };
    let above = (1..).zip(before).collect::<Vec<_>>().into_iter().rev();
    if let Some(wanted) = header(last) {
        let mut above = above;
        return above
            .find(|(_, line)| header(line) == Some(wanted))
            .map(|(number, _)| number);
    }
    let wanted = name(last)?;
    let mut table = above.take_while(|(_, line)| !is_header(line));
    table
        .find(|(_, line)| name(line).as_ref() == Some(&wanted))
        .map(|(number, _)| number)
}

/// Spaces that look like the plain one, and marks that are not seen at all.
fn is_odd_space(character: char) -> bool {
    (character.is_whitespace() && !character.is_ascii()) || is_unseen(character)
}

fn is_unseen(character: char) -> bool {
    matches!(character, '\u{200b}'..='\u{200d}' | '\u{2060}' | '\u{feff}')
}

/// What an analyst most likely did on a line that is no TOML: a sentence, and what to write.
pub(super) fn explain(line: &str, column: usize, parser_says: &str) -> (String, String) {
    let code = without_remark(line).trim();
    if let Some(odd) = code.chars().find(|character| is_odd_space(*character)) {
        let plain: String = code
            .chars()
            .filter(|character| !is_unseen(*character))
            .map(|character| {
                if is_odd_space(character) {
                    ' '
                } else {
                    character
                }
            })
            .collect();
        if DeTable::parse(&plain).is_ok() {
            let what = match is_unseen(odd) {
                true => "a mark that is not seen",
                false => "a space that is not the plain one",
            };
            return (
                format!("{what} (U+{:04X}) stands in this line", u32::from(odd)),
                format!(
                    "write the line anew with plain spaces: {}",
                    plain.split_whitespace().collect::<Vec<_>>().join(" ")
                ),
            );
        }
        return explain(&plain, column, parser_says);
    }
    let Some((key, value)) = code.split_once('=') else {
        return match code.starts_with('[') {
            true if !is_header(code) => (
                format!("{code} is no header"),
                "a table begins with [name], a row of several with [[name]], alone on its line"
                    .to_owned(),
            ),
            false if !code.is_empty() => (
                "this line is neither key = value nor a [table]".to_owned(),
                "write key = value; a remark begins with #".to_owned(),
            ),
            _ => unknown(parser_says),
        };
    };
    let (mut key, mut value) = (key.trim(), value.trim());
    if value.is_empty() {
        return (
            format!("{key} has no value"),
            format!("write a value after {key} =, or delete the line"),
        );
    }
    if value.starts_with(['[', '{']) {
        let side_by_side = entry(line, column).is_some_and(|(_, entry)| {
            let parts: Vec<&str> = entry.split_whitespace().collect();
            parts.len() > 1 && parts.iter().all(|part| part.parse::<f64>().is_ok())
        });
        if side_by_side || parser_says.contains("missing comma") {
            return (
                format!("two entries of {key} stand side by side without a comma"),
                format!("put a comma between all entries of {key}"),
            );
        }
        (key, value) = entry(line, column).unwrap_or((key, value));
    } else if value.ends_with(']') && !value.contains('[') {
        return (
            format!("the list {key} has no opening ["),
            format!("write {key} = [{value}"),
        );
    }
    if value.starts_with(['\u{201c}', '\u{201d}', '\u{201e}', '\u{2018}', '\u{2019}']) {
        return (
            "curly quotation marks stand round a text".to_owned(),
            "use the straight mark \" on both sides".to_owned(),
        );
    }
    if value.starts_with('"') && !value[1..].contains('"') {
        return (
            format!("the text of {key} does not end: its second quotation mark is missing"),
            format!("write {key} = \"{}\"", value.trim_matches('"').trim_end()),
        );
    }
    let after = value.get(text_length(value, '"')..).unwrap_or("").trim();
    if value.starts_with('"') && !value.starts_with("\"\"\"") && !after.is_empty() {
        return (
            format!("{after} stands behind the end of the text of {key}"),
            "put the whole text between two marks \", and write \\\" for a mark inside it"
                .to_owned(),
        );
    }
    if value.starts_with(['"', '\'', '[', '{']) {
        return unknown(parser_says);
    }
    bare(key, value, parser_says)
}

/// A value that stands without quotation marks.
fn bare(key: &str, value: &str, parser_says: &str) -> (String, String) {
    let wanted = wants(key.rsplit('.').next().unwrap_or(key));
    let date = || {
        (
            format!("{value} is no date as TOML writes it"),
            "write a date as year-month-day, 2026-11-20, and a time as 2026-11-20T09:42:00, without quotation marks".to_owned(),
        )
    };
    let quoted = || {
        (
            format!("the text of {key} has no quotation marks"),
            format!("write {key} = \"{value}\""),
        )
    };
    let flag = flag(value);
    match wanted {
        Some(Wants::Number) => return number(key, value),
        Some(Wants::Time) => return date(),
        Some(Wants::Flag) | None if flag.is_some() => {
            return (
                format!("{key} = {value} is not how yes or no is written here"),
                format!("write {key} = {}", flag.unwrap_or_default()),
            );
        }
        Some(Wants::Flag) => {
            return (
                format!("{key} = {value} is neither true nor false"),
                format!("write {key} = true, or {key} = false"),
            );
        }
        _ => {}
    }
    if is_date(value) {
        return date();
    }
    if wanted == Some(Wants::Text) {
        return quoted();
    }
    if let Some(meant) = figure(value) {
        return meant.said(key, value);
    }
    if value.starts_with(|character: char| character.is_alphabetic()) {
        return quoted();
    }
    unknown(parser_says)
}

/// The entry of a list or of an inline table at a column, counted from 1: its key and value.
fn entry(line: &str, column: usize) -> Option<(&str, &str)> {
    let at = line
        .char_indices()
        .nth(column.saturating_sub(1))
        .map_or(line.len(), |(at, _)| at);
    let from = line[..at].rfind(['[', '{', ','])? + 1;
    let end = line[at..]
        .find([',', ']', '}'])
        .map_or(line.len(), |end| at + end);
    let entry = line[from..end].trim();
    match entry.split_once('=') {
        Some((key, value)) => Some((key.trim(), value.trim())),
        None => Some((line.split_once('=')?.0.trim(), entry)),
    }
}

fn unknown(parser_says: &str) -> (String, String) {
    (
        format!("this line is not written as TOML asks: {parser_says}"),
        "a record is made of lines key = value under [table] or [[row]] headers; compare with `shearbook schema` or a record that validates".to_owned(),
    )
}

/// Three figures parted by points or strokes.
fn is_date(value: &str) -> bool {
    let parts: Vec<&str> = value.split(['.', '/']).map(str::trim).collect();
    let figures = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    match parts.as_slice() {
        [first, second, third, ..] => {
            figures(first)
                && figures(second)
                && third.bytes().take(2).all(|byte| byte.is_ascii_digit())
        }
        _ => false,
    }
}

/// What a word for yes or no is in TOML.
pub(super) fn flag(word: &str) -> Option<&'static str> {
    match word.trim().to_lowercase().as_str() {
        "true" | "yes" | "y" | "on" | "ok" => Some("true"),
        "false" | "no" | "n" | "off" => Some("false"),
        _ => None,
    }
}

fn number(key: &str, value: &str) -> (String, String) {
    match figure(value) {
        Some(meant) => meant.said(key, value),
        None => (
            format!("{key} = {value} is no number"),
            format!(
                "write the figure alone after {key} =, in digits with a decimal point; without a unit, a word or quotation marks"
            ),
        ),
    }
}

/// The number that was meant by something that is none in TOML.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Figure {
    pub written: String,
    /// Where a comma may stand for the thousands as well as for the decimal point.
    pub or: Option<String>,
    why: Vec<&'static str>,
}

impl Figure {
    fn said(&self, key: &str, value: &str) -> (String, String) {
        let or = match &self.or {
            Some(or) => format!(", or {key} = {or} if the comma parts the thousands"),
            None => String::new(),
        };
        (
            format!(
                "{key} = {value} is not written as a number: {}",
                self.why.join(", and ")
            ),
            format!("write {key} = {}{or}", self.written),
        )
    }
}

/// Reads a figure as people write it: with its unit, a decimal comma, parted thousands, a bare point, needless zeros.
pub(super) fn figure(value: &str) -> Option<Figure> {
    let part_of_number = |character: char| {
        character.is_ascii_digit() || "+-\u{2212}\u{2013}., '\u{2019}".contains(character)
    };
    let end = value
        .find(|character| !part_of_number(character))
        .unwrap_or(value.len());
    let (digits, unit) = (value[..end].trim(), value[end..].trim());
    let mut why = Vec::new();
    if !unit.is_empty() {
        if !is_unit(unit) {
            return None;
        }
        why.push("a unit stands after the figure, and the key names it already");
    }
    let unsigned = digits.trim_start_matches(['+', '-', '\u{2212}', '\u{2013}']);
    let sign = &digits[..digits.len() - unsigned.len()];
    let minus = match sign {
        "" | "+" => "",
        "-" => "-",
        "\u{2212}" | "\u{2013}" => {
            why.push("its minus sign is not the plain -");
            "-"
        }
        _ => return None,
    };
    let mut body = unsigned.trim();
    if !sign.is_empty() && unsigned.starts_with(' ') {
        why.push("a space stands after its sign");
    }
    if let Some(rest) = body.strip_suffix(',') {
        body = rest.trim_end();
        why.push("a comma stands after it");
    }
    let last_point = body.rfind(['.', ',']);
    let separators: Vec<char> = body
        .chars()
        .filter(|character| !character.is_ascii_digit())
        .collect();
    let mark = |at: usize| body[at..].chars().next();
    // The last mark is the decimal one where it stands alone or differs from those before it.
    let decimal = last_point.filter(|at| {
        let same = separators.iter().filter(|one| Some(**one) == mark(*at));
        same.count() == 1
    });
    let (whole, part) = match decimal {
        Some(at) => (&body[..at], Some(&body[at + 1..])),
        None => (body, None),
    };
    let part_is_digits = part.is_none_or(|part| part.bytes().all(|byte| byte.is_ascii_digit()));
    let groups: Vec<&str> = whole.split(|one: char| !one.is_ascii_digit()).collect();
    let grouped = groups.len() > 1;
    let well_grouped =
        (1..=3).contains(&groups[0].len()) && groups[1..].iter().all(|group| group.len() == 3);
    if !part_is_digits || (grouped && !well_grouped) {
        return None;
    }
    let mut whole = groups.concat();
    let part = part.unwrap_or("");
    if whole.is_empty() && part.is_empty() {
        return None;
    }
    if grouped {
        why.push("its thousands are parted");
    }
    let comma = decimal.and_then(mark) == Some(',');
    if comma {
        why.push("a comma stands where the decimal point belongs");
    }
    if whole.is_empty() {
        why.push("no digit stands before its decimal point");
        whole.push('0');
    }
    if decimal.is_some() && part.is_empty() {
        why.push("no digit stands after its decimal point");
    }
    let or = (comma && !grouped && part.len() == 3 && whole.len() <= 3 && !whole.starts_with('0'))
        .then(|| format!("{minus}{whole}{part}"));
    let trimmed = whole.trim_start_matches('0');
    if whole.len() > 1 && trimmed.len() < whole.len() {
        why.push("a needless zero stands before it");
        whole = if trimmed.is_empty() { "0" } else { trimmed }.to_owned();
    }
    if why.is_empty() {
        return None;
    }
    let point = if part.is_empty() { "" } else { "." };
    Some(Figure {
        written: format!("{minus}{whole}{point}{part}"),
        or,
        why,
    })
}

fn is_unit(text: &str) -> bool {
    let letters = text.chars().filter(|one| one.is_alphabetic()).count();
    let allowed =
        |one: char| one.is_alphabetic() || "%\u{2030}\u{b0}\u{b7}./^\u{b2}\u{b3}23 ".contains(one);
    let short = text.chars().count() <= 12;
    // A lone e begins an exponent; a digit belongs to a unit such as mm2/s only.
    short
        && text.chars().all(allowed)
        && !matches!(text, "e" | "E")
        && (letters >= 2 || !text.contains(['2', '3']))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(value: &str) -> Option<String> {
        figure(value).map(|meant| meant.written)
    }

    #[test]
    fn a_figure_is_read_as_people_write_it() {
        for (value, meant) in [
            ("25.04 C", "25.04"),
            ("25.04\u{b0}C", "25.04"),
            ("21.4%", "21.4"),
            ("512.6 mm2/s", "512.6"),
            (".1", "0.1"),
            ("25.", "25"),
            ("025.04", "25.04"),
            ("000.5", "0.5"),
            ("1,514.5", "1514.5"),
            ("1.514,5", "1514.5"),
            ("1 514.5", "1514.5"),
            ("1,234,567", "1234567"),
            ("25,04", "25.04"),
            ("25.04,", "25.04"),
            ("\u{2212}0.1", "-0.1"),
            ("- 0.1", "-0.1"),
            ("-.5 K", "-0.5"),
        ] {
            assert_eq!(written(value).as_deref(), Some(meant), "{value}");
        }
    }

    #[test]
    fn what_is_no_figure_is_not_guessed_at() {
        for value in [
            "25.O4",
            "1e",
            "12 34",
            "1.2.3",
            "2026-11-20",
            "12,34,56",
            ".",
            "",
            "abc",
            "--1",
        ] {
            assert_eq!(written(value), None, "{value}");
        }
    }

    #[test]
    fn a_comma_before_three_digits_is_left_open() {
        let or = |value| figure(value).and_then(|meant| meant.or);
        assert_eq!(or("1,514").as_deref(), Some("1514"));
        assert_eq!(or("0,514"), None);
        assert_eq!(or("1,51"), None);
    }

    fn closed(text: &str) -> Option<String> {
        let found = unclosed(text)?;
        let (before, after) = text.split_at(found.missing_at);
        Some(format!("{before}{}{after}", found.closers))
    }

    #[test]
    fn a_bracket_is_closed_where_the_next_key_or_header_begins() {
        for (text, mended) in [
            ("a = [1, 2 # two\nb = 3\n", "a = [1, 2] # two\nb = 3\n"),
            (
                "a = [\n  1,\n  2\n\n[[row]]\n",
                "a = [\n  1,\n  2]\n\n[[row]]\n",
            ),
            (
                "a = [{ b = 1 }, { b = 2 ]\nc = 1",
                "a = [{ b = 1 }, { b = 2} ]\nc = 1",
            ),
            ("a = [{ b = 1\nc = 1", "a = [{ b = 1}]\nc = 1"),
            ("a = [\"]\", ']'", "a = [\"]\", ']']"),
        ] {
            assert_eq!(closed(text).as_deref(), Some(mended), "{text}");
        }
        for sound in [
            "a = [1, [2, 3]]\nb = { c = 1 }\n",
            "a = \"[\"\nb = 1",
            "a = \"\"\"\n[ x\n\"\"\"\nb = 1",
            "a = [ # [\n 1 ]\nb = 1",
            "a = { b = 1,\n c = 2 }\n",
            "[[row]]\na = 1",
        ] {
            assert_eq!(unclosed(sound), None, "{sound}");
        }
    }
}
