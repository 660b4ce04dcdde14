//! Figures as people write them, with a decimal comma or a point.

/// Which character parts the whole from the fraction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    Point,
    Comma,
}

/// Why a text is no figure; nothing is guessed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unread {
    /// Nothing is written.
    Blank,
    /// A comma before three digits: a fraction or thousands. Both ways to read it.
    Ambiguous { fraction: String, whole: String },
    /// A point and a comma, or one of them twice.
    TwoMarks,
    /// It has the mark that is not used here.
    OtherMark(Mark),
    /// No figure at all.
    NoFigure,
}

impl Unread {
    /// In words, after the text itself.
    pub fn why(&self) -> String {
        match self {
            Unread::Blank => "nothing is written".to_owned(),
            Unread::Ambiguous { fraction, whole } => {
                format!("may mean {fraction} or {whole}: write the one that is meant")
            }
            Unread::TwoMarks => {
                "has two marks: write one decimal mark, and nothing between thousands".to_owned()
            }
            Unread::OtherMark(Mark::Comma) => {
                "has a comma, where a point is the decimal mark".to_owned()
            }
            Unread::OtherMark(Mark::Point) => {
                "has a point, where a comma is the decimal mark".to_owned()
            }
            Unread::NoFigure => "is no figure".to_owned(),
        }
    }
}

/// The figure as TOML writes it, with the digits that were written.
///
/// Without a mark either is taken: a single point is a decimal point, as records write it; a single comma is a decimal comma, but not
/// where it may as well part thousands (`1,234`). With a mark, only that one is.
pub fn figure(text: &str, mark: Option<Mark>) -> Result<String, Unread> {
    let text = text.trim_matches(|at: char| at.is_whitespace() || at == '\u{a0}');
    if text.is_empty() {
        return Err(Unread::Blank);
    }
    let (sign, size) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(size) => ("-", size),
        None => ("", text.strip_prefix('+').unwrap_or(text)),
    };
    let (mantissa, exponent) = match size.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => (mantissa, Some(exponent)),
        None => (size, None),
    };
    if !mantissa
        .chars()
        .all(|at| at.is_ascii_digit() || matches!(at, '.' | ','))
        || !mantissa.contains(|at: char| at.is_ascii_digit())
    {
        return Err(Unread::NoFigure);
    }
    let exponent = match exponent {
        Some(text) => {
            let digits = text.strip_prefix(['-', '+']).unwrap_or(text);
            if digits.is_empty() || !digits.bytes().all(|at| at.is_ascii_digit()) {
                return Err(Unread::NoFigure);
            }
            format!("e{}", text.strip_prefix('+').unwrap_or(text))
        }
        None => String::new(),
    };
    let marks: Vec<char> = mantissa.chars().filter(|at| !at.is_ascii_digit()).collect();
    let (whole, fraction) = match marks[..] {
        [] => (mantissa, None),
        [found] => {
            let found = if found == ',' {
                Mark::Comma
            } else {
                Mark::Point
            };
            if mark.is_some_and(|mark| mark != found) {
                return Err(Unread::OtherMark(found));
            }
            let (whole, fraction) = mantissa.split_once(['.', ',']).unwrap_or((mantissa, ""));
            let grouped =
                fraction.len() == 3 && (1..=3).contains(&whole.len()) && !whole.starts_with('0');
            if mark.is_none() && found == Mark::Comma && grouped && exponent.is_empty() {
                return Err(Unread::Ambiguous {
                    fraction: format!("{sign}{whole}.{fraction}"),
                    whole: format!("{sign}{whole}{fraction}"),
                });
            }
            (whole, Some(fraction))
        }
        _ => return Err(Unread::TwoMarks),
    };
    let whole = match whole.trim_start_matches('0') {
        "" => "0",
        whole => whole,
    };
    let fraction = match fraction {
        None | Some("") => String::new(),
        Some(fraction) => format!(".{fraction}"),
    };
    Ok(format!("{sign}{whole}{fraction}{exponent}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn point_and_comma_are_read_alike_and_digits_stay() {
        for (text, meant) in [
            ("25.03", "25.03"),
            ("25,03", "25.03"),
            (" 516,0 ", "516.0"),
            ("0,234", "0.234"),
            ("1.234", "1.234"),
            ("1234,567", "1234.567"),
            ("\u{2212}0,1", "-0.1"),
            ("+5", "5"),
            ("007.50", "7.50"),
            (".5", "0.5"),
            ("5.", "5"),
            ("0", "0"),
            ("1.2E+3", "1.2e3"),
            ("5e-2", "5e-2"),
        ] {
            assert_eq!(figure(text, None).as_deref(), Ok(meant), "{text}");
        }
    }

    #[test]
    fn what_may_mean_two_things_is_not_guessed() {
        assert_eq!(
            figure("1,234", None),
            Err(Unread::Ambiguous {
                fraction: "1.234".to_owned(),
                whole: "1234".to_owned()
            })
        );
        assert_eq!(figure("1,234", Some(Mark::Comma)).as_deref(), Ok("1.234"));
        assert_eq!(
            figure("1,234", Some(Mark::Point)),
            Err(Unread::OtherMark(Mark::Comma))
        );
        assert_eq!(
            figure("1.5", Some(Mark::Comma)),
            Err(Unread::OtherMark(Mark::Point))
        );
        assert_eq!(figure("1.234,5", None), Err(Unread::TwoMarks));
        assert_eq!(figure("1,234,567", None), Err(Unread::TwoMarks));
    }

    #[test]
    fn the_rest_is_no_figure() {
        for text in [
            "x", "12a", ".", ",", "-", "1e", "1e+", "1 000", "--1", "nan", "inf", "e5", "½",
        ] {
            assert_eq!(figure(text, None), Err(Unread::NoFigure), "{text}");
        }
        assert_eq!(figure(" \u{a0} ", None), Err(Unread::Blank));
    }
}
