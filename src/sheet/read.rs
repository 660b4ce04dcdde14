//! What a cell means: figures, units, days, times, words. Nothing is guessed: what may mean two things is refused.

use super::{Cell, Moment};
use crate::text::decimal::{Mark, Unread, figure as decimal};
use jiff::civil::{Date, Time};

/// The order of day, month and year in dates that are texts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    DayMonthYear,
    MonthDayYear,
    YearMonthDay,
}

/// How the texts of a sheet are to be read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Habits {
    pub mark: Option<Mark>,
    pub grouping: Option<char>,
    pub order: Option<Order>,
    /// What stands before a year of two digits: 2000 for 26.
    pub century: Option<i16>,
    pub yes: Vec<String>,
    pub no: Vec<String>,
}

/// Units that figures of a check are written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    MilliPascalSecond,
    Centipoise,
    PascalSecond,
    Poise,
    Celsius,
    Fahrenheit,
    Percent,
    PerMinute,
    Minute,
}

impl Unit {
    pub const VISCOSITY: [(&'static str, Unit); 4] = [
        ("mPa.s", Unit::MilliPascalSecond),
        ("cP", Unit::Centipoise),
        ("Pa.s", Unit::PascalSecond),
        ("P", Unit::Poise),
    ];
    pub const TEMPERATURE: [(&'static str, Unit); 2] =
        [("C", Unit::Celsius), ("F", Unit::Fahrenheit)];

    pub fn name(self) -> &'static str {
        match self {
            Unit::MilliPascalSecond => "mPa.s",
            Unit::Centipoise => "cP",
            Unit::PascalSecond => "Pa.s",
            Unit::Poise => "P",
            Unit::Celsius => "C",
            Unit::Fahrenheit => "F",
            Unit::Percent => "%",
            Unit::PerMinute => "rpm",
            Unit::Minute => "min",
        }
    }

    /// The unit that a text behind a figure names. `None`: no unit of a check.
    pub fn named(text: &str) -> Option<Unit> {
        let plain: String = text
            .chars()
            .filter(|letter| !letter.is_whitespace())
            .map(|letter| match letter {
                '\u{b7}' | '\u{22c5}' | '*' => '.',
                other => other,
            })
            .collect();
        Some(match plain.as_str() {
            "mPa.s" | "mPas" | "mpa.s" | "mpas" | "mPa.S" => Unit::MilliPascalSecond,
            "cP" | "cp" | "CP" | "cPs" | "cps" => Unit::Centipoise,
            "Pa.s" | "Pas" | "PaS" => Unit::PascalSecond,
            "P" | "poise" | "Poise" => Unit::Poise,
            "C" | "\u{b0}C" | "\u{ba}C" | "\u{2103}" => Unit::Celsius,
            "F" | "\u{b0}F" | "\u{ba}F" | "\u{2109}" => Unit::Fahrenheit,
            "%" => Unit::Percent,
            "rpm" | "RPM" | "1/min" | "min-1" | "r/min" | "/min" => Unit::PerMinute,
            "min" | "minutes" | "Min" => Unit::Minute,
            _ => return None,
        })
    }

    /// The same size under another name.
    pub fn is(self, other: Unit) -> bool {
        let of_one_size = |unit| matches!(unit, Unit::MilliPascalSecond | Unit::Centipoise);
        self == other || (of_one_size(self) && of_one_size(other))
    }
}

/// Why a cell cannot be taken, and what to do about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unfit {
    pub why: String,
    pub help: String,
}

fn unfit<T>(why: impl Into<String>, help: impl Into<String>) -> Result<T, Unfit> {
    Err(Unfit {
        why: why.into(),
        help: help.into(),
    })
}

/// What no meaning can be taken from, whatever it is read as.
fn sound(cell: &Cell) -> Result<(), Unfit> {
    match cell {
        Cell::Error(_) => unfit(
            "is an error value of the spreadsheet",
            "put the cell right in the spreadsheet, and save it again",
        ),
        Cell::Unworked => unfit(
            "has no result in the file: the program that wrote it worked nothing out",
            "open the workbook in a spreadsheet program, let it work out, and save it again",
        ),
        _ => Ok(()),
    }
}

/// A text with single spaces, as headings and words are compared.
pub fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// An id or a word.
pub fn text(cell: &Cell) -> Result<String, Unfit> {
    sound(cell)?;
    match cell {
        // 12 is a bottle's name, 12.50 is none that was shown as 12.5.
        Cell::Number(number) if !number.percent => Ok(number.digits.clone()),
        Cell::Text(text) => Ok(squeezed(text)),
        other => Ok(other.shown()),
    }
}

/// A figure in the unit that records use, with the significant digits that were written.
pub fn figure(cell: &Cell, habits: &Habits, unit: Unit) -> Result<String, Unfit> {
    sound(cell)?;
    match cell {
        Cell::Number(number) if number.percent && unit != Unit::Percent => unfit(
            "is a percentage, and no percentage belongs here",
            "look whether the column is the right one",
        ),
        Cell::Number(number) => in_record_unit(number.shown(), unit),
        Cell::Text(text) => in_record_unit(written(text, habits, unit)?, unit),
        Cell::Flag(_) | Cell::Moment(_) => unfit(
            format!("is a {}, and a figure belongs here", cell.kind()),
            "look whether the column is the right one; spreadsheets also turn figures such as 2.5 into dates, and then the figure has to be typed anew",
        ),
        Cell::Error(_) | Cell::Unworked => unfit("cannot be read", "look at the cell"),
    }
}

fn is_of_figure(letter: char, habits: &Habits) -> bool {
    letter.is_ascii_digit()
        || matches!(letter, '.' | ',' | '+' | '-' | '\u{2212}')
        || habits
            .grouping
            .is_some_and(|grouping| same_mark(letter, grouping))
}

/// Spaces between groups of digits are of many kinds.
fn same_mark(letter: char, mark: char) -> bool {
    let space = |letter| matches!(letter, ' ' | '\u{a0}' | '\u{202f}' | '\u{2009}');
    letter == mark
        || (space(letter) && space(mark))
        || (matches!(letter, '\'' | '\u{2019}') && matches!(mark, '\'' | '\u{2019}'))
}

/// A figure that is a text, as TOML writes it.
fn written(text: &str, habits: &Habits, unit: Unit) -> Result<String, Unfit> {
    let text = text.trim();
    let end = text
        .char_indices()
        .find(|(at, letter)| {
            let exponent = matches!(letter, 'e' | 'E')
                && *at > 0
                && text[at + 1..]
                    .starts_with(|next: char| next.is_ascii_digit() || matches!(next, '+' | '-'));
            !exponent && !is_of_figure(*letter, habits)
        })
        .map_or(text.len(), |(at, _)| at);
    let (digits, behind) = text.split_at(end);
    if !behind.trim().is_empty() {
        let found = Unit::named(behind).filter(|_| !digits.trim().is_empty());
        match found {
            Some(found) if found.is(unit) => {}
            Some(found) => {
                return unfit(
                    format!("is in {}, and the map says {}", found.name(), unit.name()),
                    "let the map say the unit of the column; where a column holds two units, write the cell in the other one",
                );
            }
            None => {
                return unfit(
                    "is no figure",
                    "write the figure alone; where the instrument showed none, let the map say in [shown] what the text means, or list it under blank",
                );
            }
        }
    }
    let digits = ungrouped(digits.trim(), habits)?;
    if habits.mark.is_none() && digits.contains(['.', ',']) {
        return unfit(
            "has a point or a comma, and the map does not say which is the decimal mark",
            "write decimal_mark = \".\" or decimal_mark = \",\" under [read] in the map",
        );
    }
    decimal(&digits, habits.mark).map_err(|unread| Unfit {
        why: unread.why(),
        help: match unread {
            Unread::OtherMark(_) => "look at decimal_mark under [read] in the map, and at grouping_mark where the mark parts thousands",
            Unread::TwoMarks => "where one of the marks parts thousands, let the map say so: grouping_mark under [read]",
            _ => "write a figure, or leave the cell blank",
        }
        .to_owned(),
    })
}

/// Without the marks between groups of three.
fn ungrouped(text: &str, habits: &Habits) -> Result<String, Unfit> {
    let Some(grouping) = habits.grouping else {
        return Ok(text.to_owned());
    };
    if !text.contains(|letter| same_mark(letter, grouping)) {
        return Ok(text.to_owned());
    }
    let mark = match habits.mark {
        Some(Mark::Comma) => ',',
        _ => '.',
    };
    let (whole, fraction) = match text.split_once(mark) {
        Some((whole, fraction)) => (whole, Some(fraction)),
        None => (text, None),
    };
    let unsigned = whole.trim_start_matches(['+', '-', '\u{2212}']);
    let groups: Vec<&str> = unsigned
        .split(|letter| same_mark(letter, grouping))
        .collect();
    let digits = |group: &str| group.bytes().all(|digit| digit.is_ascii_digit());
    let (first, others) = groups.split_first().unwrap_or((&"", &[]));
    let whole_groups = (1..=3).contains(&first.len())
        && digits(first)
        && others.iter().all(|group| group.len() == 3 && digits(group))
        && fraction.is_none_or(|fraction| !fraction.contains(|letter| same_mark(letter, grouping)));
    match whole_groups {
        true => Ok(text
            .chars()
            .filter(|letter| !same_mark(*letter, grouping))
            .collect()),
        false => unfit(
            "has the mark between thousands where no group of three digits follows",
            "look at grouping_mark and decimal_mark under [read] in the map",
        ),
    }
}

fn in_record_unit(digits: String, unit: Unit) -> Result<String, Unfit> {
    match unit {
        Unit::PascalSecond => Ok(shifted(&digits, 3)),
        Unit::Poise => Ok(shifted(&digits, 2)),
        Unit::Fahrenheit => celsius(&digits).ok_or_else(|| Unfit {
            why: "has more digits than a temperature".to_owned(),
            help: "look at the cell".to_owned(),
        }),
        _ => Ok(digits),
    }
}

/// A figure with its decimal point moved to the right, or to the left where `places` is negative. As many significant digits
/// are written as before: 12 moved by three is `12e3`, since `12000` would say that all five are known.
pub fn shifted(written: &str, places: i32) -> String {
    let (sign, size) = match written.strip_prefix('-') {
        Some(size) => ("-", size),
        None => ("", written),
    };
    if let Some((mantissa, exponent)) = size.split_once(['e', 'E']) {
        return match exponent.parse::<i32>() {
            Ok(exponent) => format!("{sign}{mantissa}e{}", exponent.saturating_add(places)),
            Err(_) => written.to_owned(),
        };
    }
    let (whole, fraction) = size.split_once('.').unwrap_or((size, ""));
    let mut all: String = format!("{whole}{fraction}");
    let point = i32::try_from(whole.len()).unwrap_or(0) + places;
    let length = i32::try_from(all.len()).unwrap_or(0);
    if all.bytes().all(|digit| digit == b'0') {
        let decimals = usize::try_from(length - point).unwrap_or(0);
        return match decimals {
            0 => "0".to_owned(),
            _ => format!("{sign}0.{}", "0".repeat(decimals)),
        };
    }
    if point > length {
        let whole = all.trim_start_matches('0');
        return format!("{sign}{whole}e{}", point - length);
    }
    if point <= 0 {
        all = "0".repeat(usize::try_from(1 - point).unwrap_or(0)) + &all;
    }
    let at = usize::try_from(point.max(1)).unwrap_or(1).min(all.len());
    let (whole, fraction) = all.split_at(at);
    let whole = match whole.trim_start_matches('0') {
        "" => "0",
        whole => whole,
    };
    match fraction {
        "" => format!("{sign}{whole}"),
        _ => format!("{sign}{whole}.{fraction}"),
    }
}

/// A figure without an exponent, where its zeros say nothing of how well it is known.
pub(super) fn plain(digits: &str) -> String {
    let Some((mantissa, exponent)) = digits.split_once('e') else {
        return digits.to_owned();
    };
    match exponent.parse::<usize>() {
        Ok(zeros) if !mantissa.contains('.') => mantissa.to_owned() + &"0".repeat(zeros),
        _ => digits.to_owned(),
    }
}

/// From Fahrenheit, to one decimal more than was written, so that the last digit still tells the same.
fn celsius(written: &str) -> Option<String> {
    let (sign, size) = match written.strip_prefix('-') {
        Some(size) => (-1, size),
        None => (1, written),
    };
    let (whole, fraction) = size.split_once('.').unwrap_or((size, ""));
    if whole.len() + fraction.len() > 24 {
        return None;
    }
    let decimals = u32::try_from(fraction.len()).ok()?;
    let scaled = sign * format!("{whole}{fraction}").parse::<i128>().ok()?;
    // (F - 32) * 5 / 9, with one decimal more: times 50, by 9, to the nearest. Ninths never lie half-way.
    let ninths = (scaled - 32 * 10_i128.pow(decimals)) * 50;
    let rounded = (ninths + 4 * ninths.signum()) / 9;
    let digits = format!(
        "{:0>width$}",
        rounded.unsigned_abs(),
        width = fraction.len() + 2
    );
    let (whole, fraction) = digits.split_at(digits.len() - fraction.len() - 1);
    let sign = if rounded < 0 { "-" } else { "" };
    Some(format!("{sign}{whole}.{fraction}"))
}

/// Yes or no.
pub fn flag(cell: &Cell, habits: &Habits) -> Result<bool, Unfit> {
    sound(cell)?;
    if let Cell::Flag(flag) = cell {
        return Ok(*flag);
    }
    let found = text(cell)?.to_lowercase();
    let among = |words: &[String], own: &[&str]| {
        words
            .iter()
            .any(|word| squeezed(word).to_lowercase() == found)
            || own.contains(&found.as_str())
    };
    let (yes, no) = (
        among(&habits.yes, &["yes", "true"]),
        among(&habits.no, &["no", "false"]),
    );
    match (yes, no) {
        (true, false) => Ok(true),
        (false, true) => Ok(false),
        _ => unfit(
            "is neither yes nor no",
            "let the map say under [read] what stands for yes and for no, such as yes = [\"x\"]",
        ),
    }
}

/// A day, a time of day or both.
pub fn moment(cell: &Cell, habits: &Habits) -> Result<Moment, Unfit> {
    sound(cell)?;
    match cell {
        Cell::Moment(moment) => Ok(*moment),
        Cell::Text(text) => moment_of(text, habits),
        Cell::Number(number) => match (&habits.order, number.digits.len()) {
            // Some programs write 20260302.
            (Some(Order::YearMonthDay), 8) => moment_of(&number.digits, habits),
            _ => unfit(
                "is a number, and a date or time belongs here",
                "look whether the column is the right one; where it is, give the cells the format of a date in the spreadsheet",
            ),
        },
        other => unfit(
            format!("is a {}, and a date or time belongs here", other.kind()),
            "look whether the column is the right one",
        ),
    }
}

/// A time of day, or what else a date or time cell holds.
pub fn time(cell: &Cell, habits: &Habits) -> Result<Moment, Unfit> {
    let Cell::Text(text) = cell else {
        return moment(cell, habits);
    };
    moment(cell, habits).or_else(|_| {
        Ok(Moment {
            time: Some(clock_time(text)?),
            ..Moment::default()
        })
    })
}

/// A date and time as ISO 8601 writes them.
pub fn iso(text: &str) -> Option<Moment> {
    let text = text.trim();
    let (date, rest) = match text.split_once(['T', ' ']) {
        Some((date, rest)) => (date, Some(rest.trim())),
        None => (text, None),
    };
    let shape = date.len() == 10
        && date.bytes().enumerate().all(|(at, byte)| match at {
            4 | 7 => byte == b'-',
            _ => byte.is_ascii_digit(),
        });
    let date: Date = date.parse().ok().filter(|_| shape)?;
    let Some(rest) = rest else {
        return Some(Moment {
            date: Some(date),
            ..Moment::default()
        });
    };
    let (clock, offset) = match rest.find(['Z', '+', '-']) {
        Some(at) => rest.split_at(at),
        None => (rest, ""),
    };
    let offset_minutes = match offset {
        "" => None,
        "Z" => Some(0),
        _ => {
            let (sign, size) = offset.split_at(1);
            let (hours, minutes) = match size.split_once(':') {
                Some(parts) => parts,
                None => (size.get(..2)?, size.get(2..)?),
            };
            let (hours, minutes): (i16, i16) = (
                hours.parse().ok()?,
                match minutes {
                    "" => 0,
                    minutes => minutes.parse().ok()?,
                },
            );
            if !(0..=23).contains(&hours) || !(0..=59).contains(&minutes) {
                return None;
            }
            let size = hours * 60 + minutes;
            Some(if sign == "-" { -size } else { size })
        }
    };
    Some(Moment {
        date: Some(date),
        time: Some(clock_time(clock.trim()).ok()?),
        offset_minutes,
    })
}

fn moment_of(text: &str, habits: &Habits) -> Result<Moment, Unfit> {
    let text = squeezed(text);
    if let Some(moment) = iso(&text) {
        return Ok(moment);
    }
    if text.len() == 8
        && text.bytes().all(|digit| digit.is_ascii_digit())
        && habits.order == Some(Order::YearMonthDay)
    {
        let date = day(&text[..4], &text[4..6], &text[6..], habits)?;
        return Ok(Moment {
            date: Some(date),
            ..Moment::default()
        });
    }
    // The time begins at the first word with a colon; a date has none.
    let words: Vec<&str> = text.split(' ').collect();
    let clock = words.iter().position(|word| word.contains(':'));
    let (before, behind) = words.split_at(clock.unwrap_or(words.len()));
    let (date, time) = (before.join(" "), behind.join(" "));
    if date.is_empty() {
        return Ok(Moment {
            time: Some(clock_time(&time)?),
            ..Moment::default()
        });
    }
    let time = match time.as_str() {
        "" => None,
        time => Some(clock_time(time)?),
    };
    Ok(Moment {
        date: Some(date_of(&date.replace(',', " "), habits)?),
        time,
        offset_minutes: None,
    })
}

const MONTHS: [&str; 12] = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
];

fn month(word: &str) -> Option<usize> {
    let word = word.trim_end_matches('.').to_lowercase();
    let is = |month: &str| {
        word == month || word == month[..3] || (word == "sept" && month == "september")
    };
    let found = MONTHS.iter().position(|month| is(month))?;
    Some(found + 1)
}

/// The three parts of a date that is a text; `None` where it has others.
pub fn parts(text: &str) -> Option<[&str; 3]> {
    let mut parts = text
        .split(['.', '/', '-', ' '])
        .filter(|part| !part.is_empty());
    let three = [parts.next()?, parts.next()?, parts.next()?];
    parts.next().is_none().then_some(three)
}

fn date_of(text: &str, habits: &Habits) -> Result<Date, Unfit> {
    let no_date = || {
        unfit(
            "is no date",
            "write it as day, month and year; where the row is no check, such as a total, let the map leave it out with [[skip]]",
        )
    };
    let Some(three) = parts(text) else {
        return no_date();
    };
    let digits = |part: &str| part.bytes().all(|digit| digit.is_ascii_digit());
    if let Some(at) = three.iter().position(|part| month(part).is_some()) {
        let others: Vec<&str> = three
            .iter()
            .copied()
            .filter(|part| month(part).is_none())
            .collect();
        let number = three
            .get(at)
            .and_then(|part| month(part))
            .unwrap_or(0)
            .to_string();
        return match others[..] {
            [year, date] if year.len() == 4 && digits(year) && digits(date) => {
                day(year, &number, date, habits)
            }
            [date, year] if digits(date) && digits(year) => day(year, &number, date, habits),
            _ => no_date(),
        };
    }
    if !three.iter().all(|part| digits(part)) {
        return no_date();
    }
    let [one, two, three] = three;
    match habits.order {
        None => unfit(
            "may be read with the day, the month or the year first, and the map does not say which",
            "write date_order = \"dmy\", \"mdy\" or \"ymd\" under [read] in the map",
        ),
        Some(Order::DayMonthYear) => day(three, two, one, habits),
        Some(Order::MonthDayYear) => day(three, one, two, habits),
        Some(Order::YearMonthDay) => day(one, two, three, habits),
    }
}

fn day(year: &str, month: &str, day: &str, habits: &Habits) -> Result<Date, Unfit> {
    let order = "look at date_order under [read] in the map, and at the cell";
    let no_day = || Unfit {
        why: "is no day of the calendar".to_owned(),
        help: order.to_owned(),
    };
    let year: i16 = match (year.len(), habits.century) {
        (4, _) => year.parse().map_err(|_| no_day())?,
        (2, Some(century)) => {
            let short: i16 = year.parse().map_err(|_| no_day())?;
            century.saturating_add(short)
        }
        (2, None) => {
            return unfit(
                "has a year of two digits, and the map does not say of which century",
                "write century = 2000 under [read] in the map, where that is so",
            );
        }
        _ => {
            return unfit("has no year of four digits", order);
        }
    };
    let (month, day): (i8, i8) = (
        month.parse().map_err(|_| no_day())?,
        day.parse().map_err(|_| no_day())?,
    );
    Date::new(year, month, day).map_err(|_| no_day())
}

/// The units that a heading names.
pub fn units(heading: &str) -> impl Iterator<Item = Unit> {
    let words =
        heading.split(|letter: char| letter.is_whitespace() || "()[]{},/:".contains(letter));
    words.filter_map(Unit::named)
}

/// The seconds of a duration in hours and minutes, `1:10` or `1:10:00`; `None` where the cell is no such thing.
pub fn duration(cell: &Cell) -> Option<u32> {
    let text = match cell {
        Cell::Moment(Moment {
            date: None,
            time: Some(time),
            ..
        }) => time.strftime("%H:%M:%S").to_string(),
        Cell::Text(text) => squeezed(text),
        _ => return None,
    };
    let mut parts = text.split(':');
    let number = |part: &str, longest: usize| -> Option<u32> {
        let digits = part.bytes().all(|digit| digit.is_ascii_digit());
        let fit = digits && (1..=longest).contains(&part.len());
        part.parse().ok().filter(|_| fit)
    };
    let hours = number(parts.next()?, 3)?;
    let sixtieth = |part: &str| number(part, 2).filter(|value| *value < 60 && part.len() == 2);
    let minutes = sixtieth(parts.next()?)?;
    let seconds = match parts.next() {
        Some(seconds) => sixtieth(seconds)?,
        None => 0,
    };
    let whole = parts.next().is_none();
    whole.then_some(hours * 3600 + minutes * 60 + seconds)
}

/// `9:42`, `09:42:30`, `9.42`, `9:42 pm`.
pub fn clock_time(text: &str) -> Result<Time, Unfit> {
    let no_time = || Unfit {
        why: "is no time of day".to_owned(),
        help: "write hours and minutes, such as 09:42".to_owned(),
    };
    let lower = text.trim().to_lowercase();
    let lower = lower.replace(['\u{a0}', '\u{202f}'], " ");
    let (clock, afternoon) = match lower
        .strip_suffix("am")
        .or_else(|| lower.strip_suffix("a.m."))
    {
        Some(clock) => (clock, Some(false)),
        None => match lower
            .strip_suffix("pm")
            .or_else(|| lower.strip_suffix("p.m."))
        {
            Some(clock) => (clock, Some(true)),
            None => (lower.as_str(), None),
        },
    };
    // Parts of a second are nothing that a bench sheet knows.
    let parts: Vec<&str> = clock.trim().split([':', '.']).collect();
    let number = |part: &str| -> Option<i8> {
        let fit = (1..=2).contains(&part.len()) && part.bytes().all(|digit| digit.is_ascii_digit());
        part.parse().ok().filter(|_| fit)
    };
    let (hour, minute, second) = match parts[..] {
        [hour, minute] => (hour, minute, "0"),
        [hour, minute, second] => (hour, minute, second),
        [hour, minute, second, fraction]
            if fraction.bytes().all(|digit| digit.is_ascii_digit()) =>
        {
            (hour, minute, second)
        }
        _ => return Err(no_time()),
    };
    let hour = number(hour).ok_or_else(no_time)?;
    // A spreadsheet that took 9.40 for a figure shows 9.4.
    if minute.len() == 1 && clock.contains('.') && !clock.contains(':') {
        return unfit(
            format!("may be {hour:02}:0{minute} or {hour:02}:{minute}0"),
            "write the minutes in two digits, such as 09:40",
        );
    }
    let hour = match (afternoon, hour) {
        (None, hour) => hour,
        (Some(false), 12) => 0,
        (Some(true), 12) => 12,
        (Some(false), 1..=11) => hour,
        (Some(true), 1..=11) => hour + 12,
        _ => return Err(no_time()),
    };
    let (minute, second) = (
        number(minute).ok_or_else(no_time)?,
        number(second).ok_or_else(no_time)?,
    );
    Time::new(hour, minute, second, 0).map_err(|_| no_time())
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::Number;
    use super::*;

    fn cell(text: &str) -> Cell {
        Cell::Text(text.to_owned())
    }

    fn number(digits: &str, decimals: Option<usize>, percent: bool) -> Cell {
        Cell::Number(Number {
            digits: digits.to_owned(),
            decimals,
            percent,
        })
    }

    fn comma() -> Habits {
        Habits {
            mark: Some(Mark::Comma),
            ..Habits::default()
        }
    }

    #[test]
    fn units_are_exact_and_keep_the_digits_that_were_written() {
        let habits = Habits {
            mark: Some(Mark::Point),
            ..Habits::default()
        };
        for (text, unit, meant) in [
            ("516.0", Unit::Centipoise, "516.0"),
            ("516.0", Unit::MilliPascalSecond, "516.0"),
            ("0.516", Unit::PascalSecond, "516"),
            ("0.5160", Unit::PascalSecond, "516.0"),
            ("1.05", Unit::PascalSecond, "1050e0"),
            ("12", Unit::PascalSecond, "12e3"),
            ("5.16", Unit::Poise, "516"),
            ("51.6", Unit::Poise, "516e1"),
            ("0.00012", Unit::PascalSecond, "0.12"),
            ("0.0", Unit::PascalSecond, "0"),
            ("77.0", Unit::Fahrenheit, "25.00"),
            ("77.36", Unit::Fahrenheit, "25.200"),
            ("77.1", Unit::Fahrenheit, "25.06"),
            ("-40", Unit::Fahrenheit, "-40.0"),
            ("31.9", Unit::Fahrenheit, "-0.06"),
            ("25.03", Unit::Celsius, "25.03"),
        ] {
            // 1.05 Pa.s is 1050 mPa.s with three digits that are known.
            let meant = if meant == "1050e0" { "105e1" } else { meant };
            assert_eq!(
                figure(&cell(text), &habits, unit).as_deref(),
                Ok(meant),
                "{text} {unit:?}"
            );
        }
    }

    #[test]
    fn a_point_moves_either_way() {
        for (text, places, meant) in [
            ("1.25", 1, "12.5"),
            ("1.25", 2, "125"),
            ("1.25", -1, "0.125"),
            ("1.25", -3, "0.00125"),
            ("-0.5", 2, "-5e1"),
            ("-0.50", 2, "-50"),
            ("1e3", 2, "1e5"),
            ("0.00", 1, "0.0"),
            ("007", 1, "7e1"),
        ] {
            assert_eq!(shifted(text, places), meant, "{text} by {places}");
        }
    }

    #[test]
    fn decimal_marks_are_never_guessed() {
        let none = Habits::default();
        assert_eq!(
            figure(&cell("516"), &none, Unit::Centipoise).as_deref(),
            Ok("516")
        );
        for text in ["25.03", "25,03", "1,234"] {
            let refused = figure(&cell(text), &none, Unit::Celsius).expect_err(text);
            assert!(refused.help.contains("decimal_mark"), "{}", refused.help);
        }
        assert_eq!(
            figure(&cell("25,03"), &comma(), Unit::Celsius).as_deref(),
            Ok("25.03")
        );
        assert!(figure(&cell("25.03"), &comma(), Unit::Celsius).is_err());
        // A number of the workbook needs no mark.
        assert_eq!(
            figure(&number("25.03", None, false), &none, Unit::Celsius).as_deref(),
            Ok("25.03")
        );
        assert_eq!(
            figure(&number("516", Some(1), false), &none, Unit::Celsius).as_deref(),
            Ok("516.0")
        );
    }

    #[test]
    fn groups_of_thousands_are_three_digits_each() {
        let habits = |grouping| Habits {
            grouping: Some(grouping),
            ..comma()
        };
        for (grouping, text, meant) in [
            ('.', "1.234,5", "1234.5"),
            (' ', "12\u{a0}345,0", "12345.0"),
            ('\'', "1\u{2019}234", "1234"),
            ('.', "234,5", "234.5"),
            ('.', "1.234.567", "1234567"),
            ('.', "-1.234", "-1234"),
        ] {
            assert_eq!(
                figure(&cell(text), &habits(grouping), Unit::Centipoise).as_deref(),
                Ok(meant),
                "{text}"
            );
        }
        for text in ["25.03", "1.2345", "1.23.456", "1,5.000", ".234"] {
            assert!(
                figure(&cell(text), &habits('.'), Unit::Centipoise).is_err(),
                "{text}"
            );
        }
    }

    #[test]
    fn a_unit_in_a_cell_must_be_that_of_the_map() {
        for (text, unit, meant) in [
            ("516,0 cP", Unit::Centipoise, "516.0"),
            ("516,0 mPa\u{b7}s", Unit::Centipoise, "516.0"),
            ("25,03 \u{b0}C", Unit::Celsius, "25.03"),
            ("21,5%", Unit::Percent, "21.5"),
            ("1,2e3 cP", Unit::Centipoise, "1.2e3"),
        ] {
            assert_eq!(
                figure(&cell(text), &comma(), unit).as_deref(),
                Ok(meant),
                "{text}"
            );
        }
        for (text, unit) in [
            ("0,516 Pa.s", Unit::Centipoise),
            ("77 \u{b0}F", Unit::Celsius),
            ("516 furlongs", Unit::Centipoise),
            ("cP", Unit::Centipoise),
            ("<10", Unit::Percent),
        ] {
            assert!(figure(&cell(text), &comma(), unit).is_err(), "{text}");
        }
        // What a percent format shows is what counts.
        assert_eq!(
            figure(&number("0.215", Some(1), true), &comma(), Unit::Percent).as_deref(),
            Ok("21.5")
        );
        assert!(figure(&number("0.215", Some(1), true), &comma(), Unit::Celsius).is_err());
    }

    fn date(text: &str, order: Option<Order>, century: Option<i16>) -> Result<String, Unfit> {
        let habits = Habits {
            order,
            century,
            ..Habits::default()
        };
        moment(&cell(text), &habits).map(|moment| moment.to_string())
    }

    #[test]
    fn dates_are_read_in_the_order_that_is_said() {
        use Order::{DayMonthYear, MonthDayYear, YearMonthDay};
        for (text, order, meant) in [
            ("02.03.2026", Some(DayMonthYear), "2026-03-02"),
            ("02/03/2026", Some(MonthDayYear), "2026-02-03"),
            ("2/3/2026 9:42", Some(DayMonthYear), "2026-03-02 09:42"),
            ("2026/03/02", Some(YearMonthDay), "2026-03-02"),
            ("20260302", Some(YearMonthDay), "2026-03-02"),
            ("2026-03-02", None, "2026-03-02"),
            ("2026-03-02T09:42:30", None, "2026-03-02 09:42:30"),
            ("2 Mar 2026", None, "2026-03-02"),
            ("March 2, 2026 9:42 pm", None, "2026-03-02 21:42"),
            ("09:42", None, "09:42"),
            ("12:05 am", None, "00:05"),
        ] {
            assert_eq!(date(text, order, None).as_deref(), Ok(meant), "{text}");
        }
        assert_eq!(
            date("02.03.26", Some(DayMonthYear), Some(2000)).as_deref(),
            Ok("2026-03-02")
        );
        for (text, order) in [
            ("02.03.2026", None),
            ("31.02.2026", Some(DayMonthYear)),
            ("02/31/2026", Some(MonthDayYear)),
            ("02.03.26", Some(DayMonthYear)),
            ("Total", Some(DayMonthYear)),
            ("2026-02-30", None),
            ("9:72", None),
            ("25:00", None),
            ("13:00 pm", None),
            ("1.2.3.4", Some(DayMonthYear)),
        ] {
            assert!(date(text, order, None).is_err(), "{text}");
        }
    }

    #[test]
    fn a_time_of_day_may_have_a_point() {
        let read =
            |text: &str| time(&cell(text), &Habits::default()).map(|moment| moment.to_string());
        assert_eq!(read("9.42").as_deref(), Ok("09:42"));
        assert_eq!(read("9:42").as_deref(), Ok("09:42"));
        assert_eq!(read("9.04").as_deref(), Ok("09:04"));
        let refused = read("9.4").expect_err("either");
        assert_eq!(refused.why, "may be 09:04 or 09:40");
        let refused = read("3").expect_err("no time");
        assert_eq!(refused.why, "is no time of day");
    }

    #[test]
    fn a_duration_is_told_in_hours_and_minutes() {
        for (text, seconds) in [
            ("1:10", Some(4_200)),
            ("0:45:30", Some(2_730)),
            ("26:00", Some(93_600)),
            ("70", None),
            ("1:7", None),
            ("1:70", None),
            ("1:10 pm", None),
            ("-1:10", None),
        ] {
            assert_eq!(duration(&cell(text)), seconds, "{text}");
        }
        let clock = moment(&cell("02:20"), &Habits::default()).expect("a time");
        assert_eq!(duration(&Cell::Moment(clock)), Some(8_400));
    }

    #[test]
    fn an_offset_that_is_written_is_read() {
        let read = |text: &str| iso(text).and_then(|moment| moment.offset_minutes);
        assert_eq!(read("2026-10-25T01:30:00+01:00"), Some(60));
        assert_eq!(read("2026-10-25 01:30Z"), Some(0));
        assert_eq!(read("2026-10-25T01:30:00-0330"), Some(-210));
        assert_eq!(iso("2026-10-25T01:30:00+99:00"), None);
        assert_eq!(iso("2026-1-25"), None);
    }

    #[test]
    fn yes_and_no_are_words_that_are_known() {
        let habits = Habits {
            yes: vec!["x".to_owned(), "OK".to_owned()],
            no: vec!["-".to_owned()],
            ..Habits::default()
        };
        for (text, meant) in [
            ("X", true),
            (" ok ", true),
            ("Yes", true),
            ("-", false),
            ("NO", false),
        ] {
            assert_eq!(flag(&cell(text), &habits), Ok(meant), "{text}");
        }
        assert!(flag(&cell("perhaps"), &habits).is_err());
        assert!(flag(&number("1", None, false), &habits).is_err());
        assert_eq!(flag(&Cell::Flag(true), &habits), Ok(true));
    }

    #[test]
    fn what_the_spreadsheet_could_not_work_out_is_no_blank() {
        for broken in [Cell::Error("#DIV/0!".to_owned()), Cell::Unworked] {
            assert!(figure(&broken, &comma(), Unit::Percent).is_err());
            assert!(text(&broken).is_err());
            assert!(moment(&broken, &comma()).is_err());
            assert!(flag(&broken, &comma()).is_err());
        }
        // Spreadsheets turn 2.5 into a day of May.
        assert!(figure(&Cell::Moment(Moment::default()), &comma(), Unit::Percent).is_err());
    }
}
