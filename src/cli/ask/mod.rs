//! Questions to a person, or to a file of answers: one dialogue serves both.
//!
//! A dialogue is a plain function that asks in order. Each answer has a name and is kept, so that the same function run again
//! comes by itself to where it was left: so it goes back a step, and so it goes on after an interruption.

pub(super) mod answers;
pub(super) mod form;
mod lines;
mod terminal;

use super::{Trouble, output};
use crate::parse::{Doc, edit};
use crate::record::{Kind, Stamp};
use crate::report::terminal::Style;
use crate::report::{printable, wrapped};
use crate::source::SourceError;
use crate::text::decimal;
use crate::text::nearest;
use answers::{Answer, Answers};
use jiff::civil::{Date, DateTime};
use std::collections::BTreeSet;
use std::rc::Rc;

/// How a line told beside a question is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tone {
    Plain,
    Good,
    Bad,
}

/// A line told beside a question.
pub(super) type Line = (Tone, String);

/// What is told while an answer is typed.
pub(super) type Live = Rc<dyn Fn(&str) -> Vec<Line>>;

pub(super) struct Question {
    /// Of the answer, as a file of answers has it.
    pub(super) name: String,
    pub(super) text: String,
    /// What Enter alone means.
    pub(super) default: Option<String>,
    /// What a file of answers means that does not say it.
    pub(super) unsaid: Option<String>,
    /// What `?` tells.
    pub(super) help: String,
    pub(super) live: Option<Live>,
    /// The answer is asked for anew each time.
    unkept: bool,
    /// What it asks, where the line before the answer says less.
    about: Option<String>,
}

impl Question {
    pub(super) fn new(name: impl Into<String>, text: impl Into<String>) -> Question {
        Question {
            name: name.into(),
            text: text.into(),
            default: None,
            unsaid: None,
            help: String::new(),
            live: None,
            unkept: false,
            about: None,
        }
    }

    fn about(&self) -> &str {
        self.about.as_deref().unwrap_or(&self.text)
    }

    /// What to do next is no part of what is being entered.
    pub(super) fn unkept(self) -> Question {
        Question {
            unkept: true,
            ..self
        }
    }

    pub(super) fn default(mut self, default: Option<impl Into<String>>) -> Question {
        self.default = default.map(Into::into);
        self
    }

    /// A default that a file of answers need not say.
    pub(super) fn or(self, default: impl Into<String>) -> Question {
        let default = default.into();
        Question {
            unsaid: Some(default.clone()),
            default: Some(default),
            ..self
        }
    }

    pub(super) fn help(mut self, help: impl Into<String>) -> Question {
        self.help = help.into();
        self
    }

    pub(super) fn live(mut self, live: Live) -> Question {
        self.live = Some(live);
        self
    }
}

/// Why a dialogue does not go on from here.
pub(super) enum Stop {
    /// An answer was taken back: the dialogue is run again.
    Again,
    /// Ctrl-C, or the terminal is gone.
    Interrupted,
    /// What is being entered is spoiled, and kept as evidence as it is so far.
    Void,
    Trouble(Trouble),
}

impl Stop {
    /// Ends a command: where a person stopped it, as an interruption.
    pub(super) fn end(self, asker: Asker) -> Trouble {
        match self {
            Stop::Trouble(trouble) => trouble,
            Stop::Interrupted | Stop::Again | Stop::Void => {
                // The terminal is given back before the program ends.
                drop(asker);
                super::interrupt::leave()
            }
        }
    }
}

impl From<Trouble> for Stop {
    fn from(trouble: Trouble) -> Stop {
        Stop::Trouble(trouble)
    }
}

impl From<SourceError> for Stop {
    fn from(error: SourceError) -> Stop {
        Stop::Trouble(Trouble::Unusable(error))
    }
}

pub(super) type Asked<T> = Result<T, Stop>;

impl From<crate::book::LoadError> for Stop {
    fn from(error: crate::book::LoadError) -> Stop {
        Stop::Trouble(error.into())
    }
}

/// What a terminal said to a question.
enum Typed {
    Line(String),
    Interrupted,
    Trouble(String),
}

enum Mouth {
    /// Draws what is told while an answer is typed.
    Drawn(Box<terminal::Terminal>),
    /// Line by line.
    Lines,
    /// Nobody is there: only the file of answers is asked.
    None,
}

/// The least room for an answer behind its question.
const ROOM: usize = 12;

pub(super) struct Asker {
    mouth: Mouth,
    pub(super) answers: Answers,
    pub(super) style: Style,
    /// Kept answers are being gone through: nothing is told.
    going_through: bool,
    /// What this pass has told of, so that it is told once.
    told: BTreeSet<(&'static str, String)>,
    /// What was to be told since the last kept answer: it is told where a person comes to answer.
    unheard: Vec<Line>,
    /// What is entered may be kept as void from here on.
    pub(super) may_void: bool,
    /// A dialogue is under way that can be run again.
    goes_back: bool,
    /// What was told line by line of the figures that are typed, so that it is told once.
    heard: Vec<Line>,
}

impl Asker {
    /// A person at a terminal; `None` where there is no terminal. One that cannot draw, or where the person asked for it, is spoken to line by line.
    pub(super) fn at_terminal(style: Style, answers: Answers) -> Option<Asker> {
        use std::io::IsTerminal;
        if !std::io::stdin().is_terminal() || !std::io::stdout().is_terminal() {
            return None;
        }
        #[expect(clippy::disallowed_methods, reason = "conventions of terminals")]
        let (accessible, term) = (std::env::var_os("ACCESSIBLE"), std::env::var("TERM"));
        let asked = accessible.is_some_and(|value| !value.is_empty() && value != "0");
        let plain = asked || matches!(term.as_deref(), Err(_) | Ok("" | "dumb"));
        let drawn = match plain {
            true => None,
            false => terminal::Terminal::new(style.colour),
        };
        let mouth = drawn.map_or(Mouth::Lines, |terminal| Mouth::Drawn(Box::new(terminal)));
        Some(Asker::new(mouth, style, answers))
    }

    /// Nobody: a file answers.
    pub(super) fn of_file(style: Style, answers: Answers) -> Asker {
        Asker::new(Mouth::None, style, answers)
    }

    fn new(mouth: Mouth, style: Style, answers: Answers) -> Asker {
        Asker {
            mouth,
            answers,
            style,
            going_through: false,
            told: BTreeSet::new(),
            unheard: Vec::new(),
            may_void: false,
            goes_back: false,
            heard: Vec::new(),
        }
    }

    pub(super) fn is_attended(&self) -> bool {
        !matches!(self.mouth, Mouth::None)
    }

    /// Runs a dialogue to its end; an answer that is taken back begins it again.
    pub(super) fn run<T>(&mut self, mut dialogue: impl FnMut(&mut Asker) -> Asked<T>) -> Asked<T> {
        loop {
            self.answers.rewind();
            self.told.clear();
            self.may_void = false;
            self.going_through = self.is_attended() && !self.answers.is_empty();
            self.goes_back = true;
            let ended = dialogue(self);
            self.goes_back = false;
            match ended {
                Err(Stop::Again) => {}
                ended => return ended,
            }
        }
    }

    /// Whether a rule has something to say there that this pass has not told yet.
    pub(super) fn is_new(&mut self, rule: &'static str, pointer: &str) -> bool {
        self.told.insert((rule, pointer.to_owned()))
    }

    /// Tells a person something; a file of answers hears nothing.
    pub(super) fn tell(&mut self, text: &str) {
        self.tell_lines(&[(Tone::Plain, text.to_owned())]);
    }

    pub(super) fn tell_lines(&mut self, lines: &[Line]) {
        if !self.is_attended() {
            return;
        }
        if self.going_through {
            self.unheard.extend_from_slice(lines);
            return;
        }
        for (tone, text) in lines {
            self.say(*tone, text);
        }
    }

    /// Tells what must be known, whoever answers.
    pub(super) fn warn(&mut self, text: &str) {
        match self.mouth {
            Mouth::None => super::warn(text),
            _ => self.tell_lines(&[(Tone::Bad, text.to_owned())]),
        }
    }

    fn say(&self, tone: Tone, text: &str) {
        let mut told = String::new();
        for line in text.split('\n') {
            let indent: String = line.chars().take_while(|at| *at == ' ').collect();
            let line = printable(line.trim_start());
            told += &wrapped(&line, self.style.width, &indent, &format!("{indent}  "));
        }
        output::say(&painted(self.style.colour, tone, &told));
    }

    /// Asks until the answer can be understood.
    pub(super) fn ask<T>(
        &mut self,
        question: &Question,
        mut read: impl FnMut(&str) -> Result<T, String>,
    ) -> Asked<T> {
        if let Some(Answer { text, line, .. }) = self.answers.take(&question.name) {
            match read(&text) {
                Ok(value) => {
                    self.going_through = self.is_attended();
                    self.unheard.clear();
                    return Ok(value);
                }
                Err(why) if self.is_attended() => {
                    self.answers.drop_one(&question.name);
                    self.begin_to_ask();
                    self.warn(&format!(
                        "The earlier answer {text} does not fit any more: {why}."
                    ));
                }
                Err(why) => return Err(self.unfit(question, &text, line, &why)),
            }
        }
        if !self.is_attended() {
            let Some(text) = &question.unsaid else {
                return Err(self.lacking(question));
            };
            return read(text).map_err(|why| self.unfit(question, text, None, &why));
        }
        if self.may_void && !question.unkept && self.answers.has("void_cause") {
            return Err(Stop::Void);
        }
        self.begin_to_ask();
        let default = self
            .answers
            .earlier(&question.name)
            .or(question.default.clone());
        let prompt = self.prompt(&question.text, default.as_deref());
        loop {
            let width = self.style.width;
            self.tell_unheard(question, "");
            let typed = match &mut self.mouth {
                Mouth::Drawn(terminal) => terminal.ask(&prompt, question.live.clone(), width),
                _ => lines::ask(&prompt),
            };
            let line = match typed {
                Typed::Line(line) => line,
                Typed::Interrupted => return Err(Stop::Interrupted),
                Typed::Trouble(why) => {
                    return Err(Stop::Trouble(Trouble::Unusable(SourceError::new(
                        format!("the terminal cannot be used: {why}"),
                        "what was answered is kept: begin the same command again",
                    ))));
                }
            };
            let text = match (line.trim(), &default) {
                ("", Some(default)) => default.clone(),
                ("", None) => {
                    self.say(
                        Tone::Bad,
                        "  Please answer; ? tells more, back goes a step back.",
                    );
                    continue;
                }
                ("?", _) => {
                    let help = match question.help.as_str() {
                        "" => "There is no more to tell of this question.",
                        help => help,
                    };
                    self.say(Tone::Plain, &format!("  {help}"));
                    continue;
                }
                ("stop", _) => return Err(Stop::Interrupted),
                ("void", _) if self.may_void && !question.unkept => return Err(Stop::Void),
                ("back", _) => {
                    if self.goes_back && self.answers.take_back() {
                        return Err(Stop::Again);
                    }
                    self.say(Tone::Bad, "  There is nothing before this to go back to.");
                    continue;
                }
                (text, _) => text.to_owned(),
            };
            match read(&text) {
                Ok(value) => {
                    if !question.unkept {
                        self.answers.keep(&question.name, &text)?;
                    }
                    self.tell_unheard(question, &text);
                    return Ok(value);
                }
                Err(why) => self.say(Tone::Bad, &format!("  {why}.")),
            }
        }
    }

    /// Where nothing is drawn while an answer is typed, it is told before and after it.
    fn tell_unheard(&mut self, question: &Question, text: &str) {
        let (Mouth::Lines, Some(live)) = (&self.mouth, &question.live) else {
            return;
        };
        let lines = live(text);
        for line in lines.iter().filter(|line| !self.heard.contains(line)) {
            self.say(line.0, &format!("  {}", line.1));
        }
        self.heard = lines;
    }

    /// What stands before the answer; a long question is told above it.
    fn prompt(&self, text: &str, default: Option<&str>) -> String {
        let text = printable(text);
        let default = default.map(|default| format!(" [{}]", printable(default)));
        let default = default.unwrap_or_default();
        if text.chars().count() + default.chars().count() + ROOM <= self.style.width {
            return format!("{text}{default}: ");
        }
        self.say(Tone::Plain, &text);
        format!(" {default} > ")
    }

    /// From here on a person answers and is told what there is to tell.
    pub(super) fn begin_to_ask(&mut self) {
        self.going_through = false;
        let unheard = std::mem::take(&mut self.unheard);
        self.tell_lines(&unheard);
    }

    fn unfit(&self, question: &Question, text: &str, line: Option<u32>, why: &str) -> Stop {
        let at = self.answers.place(line);
        Stop::Trouble(Trouble::Refused(SourceError::new(
            format!("{at}{} = {text}: {why}", question.name),
            format!("it answers: {}. Nothing was written", question.about()),
        )))
    }

    fn lacking(&self, question: &Question) -> Stop {
        let help = match question.help.as_str() {
            "" => String::new(),
            help => format!("; {help}"),
        };
        Stop::Trouble(Trouble::Refused(SourceError::new(
            format!(
                "{}{} is not answered",
                self.answers.place(None),
                question.name
            ),
            format!(
                "it answers: {}{help}. Nothing was written",
                question.about()
            ),
        )))
    }

    /// A figure, or one of some words that stand in its place; says what it understood where that is not what was written.
    pub(super) fn figure_or(
        &mut self,
        question: &Question,
        words: &[&str],
        fits: impl Fn(&str) -> Result<(), String>,
    ) -> Asked<String> {
        let mut written = String::new();
        let meant = self.ask(question, |text| {
            let word = words.iter().find(|word| text.eq_ignore_ascii_case(word));
            let meant = match word {
                Some(word) => (*word).to_owned(),
                None => {
                    decimal::figure(text, None).map_err(|why| format!("{text} {}", why.why()))?
                }
            };
            fits(&meant)?;
            written = text.to_owned();
            Ok(meant)
        })?;
        if meant != written {
            self.tell_typed(&format!("  understood: {meant}"));
        }
        Ok(meant)
    }

    /// What a figure came to, where it stood below the line only while it was typed.
    pub(super) fn tell_came_to(&mut self, tone: Tone, line: &str) {
        if matches!(self.mouth, Mouth::Drawn(_)) {
            self.tell_lines(&[(tone, format!("  {line}"))]);
        }
    }

    /// Tells something of what was just typed; of a kept answer there is nothing to tell.
    pub(super) fn tell_typed(&mut self, text: &str) {
        if !self.going_through {
            self.tell(text);
        }
    }

    /// One of several, by number or by its word; gives its place in the list.
    pub(super) fn choose(
        &mut self,
        question: Question,
        options: &[(String, String)],
    ) -> Asked<usize> {
        let mut told = format!("{}\n", question.text);
        let marks = marks(options);
        for ((word, label), mark) in options.iter().zip(&marks) {
            let number = format!("{mark:>3}");
            told += &match label.as_str() {
                "" => format!("{number}  {word}\n"),
                label => format!("{number}  {word}  {label}\n"),
            };
        }
        if !self.answers.has(&question.name) && self.is_attended() {
            self.begin_to_ask();
            self.say_list(&told);
        }
        let question = Question {
            about: Some(question.text),
            text: match marks.first().map(String::as_str) {
                Some("1") | None => "Number or word".to_owned(),
                Some(_) => "Letter or word".to_owned(),
            },
            ..question
        };
        // A file has words alone: a place in a list means another thing tomorrow.
        let marks = match self.is_attended() {
            true => marks,
            false => Vec::new(),
        };
        let chosen = self.ask(&question, |text| one_of(text, options, &marks))?;
        self.answers.settle(&question.name, &options[chosen].0)?;
        Ok(chosen)
    }

    fn say_list(&self, told: &str) {
        let mut text = String::new();
        for line in told.trim_end().split('\n') {
            let indent = " ".repeat(line.len() - line.trim_start().len());
            text += &wrapped(
                &printable(line.trim_start()),
                self.style.width,
                &indent,
                "       ",
            );
        }
        output::say(&format!("\n{text}"));
    }

    pub(super) fn yes_or_no(&mut self, question: Question) -> Asked<bool> {
        let question = Question {
            text: format!("{} (y/n)", question.text),
            ..question
        };
        self.ask(&question, |text| match text.to_lowercase().as_str() {
            "y" | "yes" | "true" => Ok(true),
            "n" | "no" | "false" => Ok(false),
            _ => Err("answer y for yes or n for no".to_owned()),
        })
    }

    /// A value that fits a key of a record; the record with it comes back too. A figure may have a decimal comma.
    pub(super) fn fitting(
        &mut self,
        question: &Question,
        kind: Kind,
        doc: &Doc,
        pointer: &str,
    ) -> Asked<(String, Doc)> {
        let mut ours = None;
        let fitted = self.ask(question, |typed| {
            let figure = decimal::figure(typed, None).ok();
            let mut why = String::new();
            for value in [Some(typed.to_owned()), figure].into_iter().flatten() {
                match edit::fit(kind, doc, pointer, &value) {
                    Ok(Ok(after)) => return Ok(Some((value, after))),
                    Ok(Err(unfit)) if why.is_empty() => {
                        why = format!("{}; {}", unfit.message, unfit.help.trim_end_matches('.'));
                    }
                    Ok(Err(_)) => {}
                    Err(disagreement) => {
                        ours = Some(disagreement.to_string());
                        return Ok(None);
                    }
                }
            }
            Err(why)
        })?;
        match fitted {
            Some((value, after)) => {
                let written = after
                    .root
                    .get(pointer)
                    .map(|node| after.text.slice(node.span));
                if let Some(written) = written {
                    self.tell(&format!("  understood: {written}"));
                }
                Ok((value, after))
            }
            None => Err(Stop::Trouble(Trouble::Ours(ours.unwrap_or_default()))),
        }
    }
}

/// What stands before the options of a list: numbers, or letters where an option is itself a number.
fn marks(options: &[(String, String)]) -> Vec<String> {
    let numbers = options
        .iter()
        .any(|(word, _)| word.parse::<usize>().is_ok());
    let letters = ('a'..='z').map(|letter| letter.to_string());
    match numbers && options.len() <= 26 {
        true => letters.take(options.len()).collect(),
        false => (1..=options.len())
            .map(|number| number.to_string())
            .collect(),
    }
}

/// Which of the options a text means, by its word or by the mark before it.
fn one_of(text: &str, options: &[(String, String)], marks: &[String]) -> Result<usize, String> {
    let words = || options.iter().map(|(word, _)| word.as_str());
    if let Some(index) = words().position(|word| word.eq_ignore_ascii_case(text)) {
        return Ok(index);
    }
    if let Some(index) = marks.iter().position(|mark| mark == text) {
        return Ok(index);
    }
    let meant = nearest(text, words())
        .map(|word| format!("did you mean {word}? "))
        .unwrap_or_default();
    let list = match (marks.first(), marks.last()) {
        (Some(first), Some(last)) if first != last => {
            format!("write the word, or {first} to {last}")
        }
        _ => format!("it is one of {}", words().collect::<Vec<_>>().join(", ")),
    };
    Err(format!("{text} is not on the list; {meant}{list}"))
}

/// A text in the colour of its tone.
fn painted(colour: bool, tone: Tone, text: &str) -> String {
    let code = match tone {
        Tone::Good => "32",
        Tone::Bad => "33",
        Tone::Plain => return text.to_owned(),
    };
    match (colour, text.strip_suffix('\n')) {
        (false, _) => text.to_owned(),
        (true, Some(text)) => format!("\u{1b}[{code}m{text}\u{1b}[0m\n"),
        (true, None) => format!("\u{1b}[{code}m{text}\u{1b}[0m"),
    }
}

/// A time as people write it: `now`, `9:42`, `09:42:30`, `2026-11-20 09:42`; an offset may follow where the clock repeats an hour.
pub(super) fn moment(text: &str, now: DateTime, today: Date) -> Result<Stamp, String> {
    let wrong =
        || format!("{text} is no time: write it as 09:42, or with its day as {today} 09:42");
    let plain = |wall| Stamp {
        wall,
        offset_minutes: None,
    };
    if text == "now" {
        return Ok(plain(now));
    }
    let text = match text.strip_suffix(['Z', 'z']) {
        Some(utc) => &format!("{utc}+00:00"),
        None => text,
    };
    let (day, rest) = match text.split_once(['T', ' ']) {
        Some((day, rest)) => (super::day(day).map_err(|_| wrong())?, rest.trim()),
        None => (today, text),
    };
    let (clock, offset) = match rest.find(['+', '-']) {
        Some(at) => {
            let (clock, offset) = rest.split_at(at);
            let (hours, minutes) = offset[1..].split_once(':').ok_or_else(wrong)?;
            let part = |text: &str| text.parse::<i16>().ok().filter(|_| text.len() == 2);
            let size = part(hours).ok_or_else(wrong)? * 60 + part(minutes).ok_or_else(wrong)?;
            (
                clock,
                Some(if offset.starts_with('-') { -size } else { size }),
            )
        }
        None => (rest, None),
    };
    let parts: Vec<i8> = clock
        .split(':')
        .map(|part| {
            let digits =
                (1..=2).contains(&part.len()) && part.bytes().all(|at| at.is_ascii_digit());
            part.parse().ok().filter(|_| digits)
        })
        .collect::<Option<_>>()
        .ok_or_else(wrong)?;
    let (hour, minute, second) = match parts[..] {
        [hour, minute] => (hour, minute, 0),
        [hour, minute, second] => (hour, minute, second),
        _ => return Err(wrong()),
    };
    let wall = DateTime::new(day.year(), day.month(), day.day(), hour, minute, second, 0);
    Ok(Stamp {
        offset_minutes: offset,
        ..plain(wall.map_err(|_| wrong())?)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Stamp;

    #[test]
    fn a_time_is_read_as_people_write_it() {
        let now: DateTime = "2026-11-26T10:15:30".parse().expect("time");
        let read = |text: &str| {
            moment(text, now, now.date()).map(|stamp: Stamp| crate::parse::write::time(&stamp))
        };
        for (text, meant) in [
            ("now", "2026-11-26T10:15:30"),
            ("9:42", "2026-11-26T09:42:00"),
            ("09:42:30", "2026-11-26T09:42:30"),
            ("2026-11-25 23:59", "2026-11-25T23:59:00"),
            ("2026-10-25T01:30:00+01:00", "2026-10-25T01:30:00+01:00"),
            ("2026-10-25T01:30:00Z", "2026-10-25T01:30:00+00:00"),
            ("2026-10-25 01:30-00:30", "2026-10-25T01:30:00-00:30"),
        ] {
            assert_eq!(read(text).as_deref(), Ok(meant), "{text}");
        }
        for text in [
            "",
            "9",
            "9.42",
            "25:00",
            "09:60",
            "2026-02-30 09:42",
            "soon",
            "9:4x",
            "1:2:3:4",
            "01:30+1:00",
        ] {
            assert!(read(text).is_err(), "{text}");
        }
    }

    #[test]
    fn an_option_is_meant_by_word_or_by_its_mark() {
        let options = |words: &[&str]| -> Vec<(String, String)> {
            let words = words.iter();
            words
                .map(|word| ((*word).to_owned(), String::new()))
                .collect()
        };
        let people = options(&["op-01", "op-02"]);
        assert_eq!(one_of("OP-02", &people, &marks(&people)), Ok(1));
        assert_eq!(one_of("1", &people, &marks(&people)), Ok(0));
        for text in ["0", "3", "a"] {
            assert!(one_of(text, &people, &marks(&people)).is_err(), "{text}");
        }
        let why = one_of("op-1", &people, &marks(&people)).expect_err("nobody");
        assert!(
            why.contains("did you mean op-01? write the word, or 1 to 2"),
            "{why}"
        );
        // Where words are numbers, the list has letters.
        let bottles = options(&["2", "1"]);
        assert_eq!(marks(&bottles), ["a", "b"]);
        assert_eq!(one_of("1", &bottles, &marks(&bottles)), Ok(1));
        assert_eq!(one_of("a", &bottles, &marks(&bottles)), Ok(0));
        // A file of answers has words alone.
        assert!(one_of("1", &people, &[]).is_err());
    }
}
