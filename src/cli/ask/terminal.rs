//! A terminal that can draw: the line is edited, and below it stands what the answer comes to while it is typed.

use super::{Line, Live, Typed, painted};
use crate::report::{printable, wrapped};
use rustyline::completion::Completer;
use rustyline::error::ReadlineError;
use rustyline::highlight::Highlighter;
use rustyline::hint::{Hint, Hinter};
use rustyline::history::MemHistory;
use rustyline::validate::Validator;
use rustyline::{ColorMode, Config, Context, Editor, Helper};
use std::borrow::Cow;
use std::cell::RefCell;

pub(super) struct Terminal(Editor<Below, MemHistory>);

/// What stands below the line.
#[derive(Default)]
struct Below {
    live: Option<Live>,
    width: usize,
    /// As last drawn.
    lines: RefCell<Vec<Line>>,
}

struct Drawn(String);

impl Hint for Drawn {
    fn display(&self) -> &str {
        &self.0
    }

    /// It is no part of the answer.
    fn completion(&self) -> Option<&str> {
        None
    }
}

impl Hinter for Below {
    type Hint = Drawn;

    fn hint(&self, line: &str, _: usize, _: &Context<'_>) -> Option<Drawn> {
        let mut lines: Vec<Line> = Vec::new();
        for (tone, text) in self.live.as_ref()?(line.trim()) {
            // The last column stays free, where some terminals break the line.
            let text = wrapped(&printable(&text), self.width - 1, "  ", "    ");
            lines.extend(text.lines().map(|line| (tone, line.to_owned())));
        }
        let drawn = lines
            .iter()
            .fold(String::new(), |drawn, (_, line)| drawn + "\n" + line);
        self.lines.replace(lines);
        (!drawn.is_empty()).then_some(Drawn(drawn))
    }
}

impl Highlighter for Below {
    fn highlight_hint<'h>(&self, hint: &'h str) -> Cow<'h, str> {
        let lines = self.lines.borrow();
        let painted = hint
            .split('\n')
            .skip(1)
            .zip(lines.iter())
            .fold(String::new(), |drawn, (text, (tone, _))| {
                drawn + "\n" + &painted(true, *tone, text)
            });
        Cow::Owned(painted)
    }
}

impl Completer for Below {
    type Candidate = String;
}

impl Validator for Below {}

impl Helper for Below {}

impl Terminal {
    pub(super) fn new(colour: bool) -> Option<Terminal> {
        let config = Config::builder()
            .color_mode(match colour {
                true => ColorMode::Enabled,
                false => ColorMode::Disabled,
            })
            .auto_add_history(false)
            .build();
        let mut editor = Editor::with_history(config, MemHistory::new()).ok()?;
        editor.set_helper(Some(Below::default()));
        Some(Terminal(editor))
    }

    pub(super) fn ask(&mut self, prompt: &str, live: Option<Live>, width: usize) -> Typed {
        if let Some(below) = self.0.helper_mut() {
            below.live = live;
            below.width = width;
            below.lines.replace(Vec::new());
        }
        match self.0.readline(prompt) {
            Ok(line) => Typed::Line(line.trim().to_owned()),
            Err(ReadlineError::Interrupted | ReadlineError::Eof | ReadlineError::Signal(_)) => {
                Typed::Interrupted
            }
            Err(error) => Typed::Trouble(error.to_string()),
        }
    }
}
