//! A real pseudo-terminal with the program at it, and what a person sees there.

#![allow(dead_code, reason = "each test file uses its part")]

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::io::{Read, Write};
use std::process::Command;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Tall enough that nothing scrolls away.
const ROWS: u16 = 600;

/// How long the program may take to come to its next question; this is no measure of its speed.
const PATIENCE: Duration = Duration::from_secs(20);

fn some(size: u16) -> std::num::NonZero<u16> {
    std::num::NonZero::new(size).unwrap()
}

pub struct Terminal {
    child: Box<dyn Child + Send + Sync>,
    _master: Box<dyn MasterPty + Send>,
    writer: Box<dyn Write + Send>,
    seen: Arc<Mutex<Seen>>,
}

struct Seen {
    screen: vt100::Parser,
    raw: Vec<u8>,
}

impl Terminal {
    /// Starts a command, with its folder and environment, at a terminal of so many columns.
    pub fn start(command: &Command, columns: u16, variables: &[(&str, &str)]) -> Terminal {
        let size = PtySize {
            rows: ROWS,
            cols: columns,
            pixel_width: 0,
            pixel_height: 0,
        };
        let pair = native_pty_system().openpty(size).unwrap();
        let mut builder = CommandBuilder::new(command.get_program());
        builder.args(command.get_args());
        builder.cwd(command.get_current_dir().unwrap());
        for name in ["NO_COLOR", "ACCESSIBLE", "COLUMNS"] {
            builder.env_remove(name);
        }
        builder.env("TERM", "xterm-256color");
        for (name, value) in command.get_envs() {
            match value {
                Some(value) => builder.env(name, value),
                None => builder.env_remove(name),
            }
        }
        for (name, value) in variables {
            builder.env(name, value);
        }
        let child = pair.slave.spawn_command(builder).unwrap();
        drop(pair.slave);
        let mut reader = pair.master.try_clone_reader().unwrap();
        let seen = Arc::new(Mutex::new(Seen {
            screen: vt100::Parser::new(some(ROWS), some(columns), 0),
            raw: Vec::new(),
        }));
        let shared = Arc::clone(&seen);
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(count @ 1..) = reader.read(&mut bytes) {
                let mut seen = shared.lock().unwrap();
                seen.screen.process(&bytes[..count]);
                seen.raw.extend(&bytes[..count]);
            }
        });
        Terminal {
            child,
            writer: pair.master.take_writer().unwrap(),
            _master: pair.master,
            seen,
        }
    }

    /// The line that the cursor stands in.
    fn line(&self) -> String {
        let seen = self.seen.lock().unwrap();
        let screen = seen.screen.screen();
        let (row, _) = screen.cursor_position();
        let (_, columns) = screen.size();
        screen
            .rows(0, columns.into())
            .nth(usize::from(row))
            .unwrap_or_default()
    }

    /// All that was shown.
    pub fn text(&self) -> String {
        self.seen.lock().unwrap().screen.screen().contents()
    }

    pub fn raw(&self) -> String {
        String::from_utf8_lossy(&self.seen.lock().unwrap().raw).into_owned()
    }

    /// Lines that the terminal had to break, since they were too long.
    pub fn broken_lines(&self) -> Vec<String> {
        let seen = self.seen.lock().unwrap();
        let screen = seen.screen.screen();
        let (_, columns) = screen.size();
        screen
            .rows(0, columns.into())
            .enumerate()
            .filter(|(row, _)| screen.row_wrapped(u16::try_from(*row).unwrap()))
            .map(|(_, line)| line)
            .collect()
    }

    #[track_caller]
    fn until(&self, what: &str, there: impl Fn(&Terminal) -> bool) {
        let end = Instant::now() + PATIENCE;
        while !there(self) {
            assert!(Instant::now() < end, "no {what} in:\n{}", self.text());
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// Waits for a question; for one whose text stands above the line, `>` is enough.
    #[track_caller]
    pub fn asks(&self, question: &str) {
        self.until(question, |terminal| {
            let line = terminal.line();
            match question {
                ">" => line.trim_end().ends_with(['>', ':']),
                _ => line.contains(question),
            }
        });
    }

    #[track_caller]
    pub fn shows(&self, text: &str) {
        self.until(text, |terminal| terminal.text().contains(text));
    }

    /// Types without Enter.
    pub fn types(&mut self, keys: &str) {
        self.writer.write_all(keys.as_bytes()).unwrap();
        self.writer.flush().unwrap();
    }

    /// Waits for a question and answers it.
    #[track_caller]
    pub fn answer(&mut self, question: &str, answer: &str) {
        self.asks(question);
        let before = self.row();
        self.types(answer);
        self.types("\r");
        // The same question may come again, in a line of its own.
        self.until("Enter", |terminal| terminal.row() != before);
    }

    fn row(&self) -> u16 {
        self.seen
            .lock()
            .unwrap()
            .screen
            .screen()
            .cursor_position()
            .0
    }

    /// The exit code, once the program has ended by itself.
    #[track_caller]
    pub fn ends(&mut self) -> u32 {
        let end = Instant::now() + PATIENCE;
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                // What it said last is still on its way.
                std::thread::sleep(Duration::from_millis(50));
                return status.exit_code();
            }
            assert!(Instant::now() < end, "it does not end:\n{}", self.text());
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// The window is closed under the program, which is told so and has no terminal any more.
    pub fn close(&mut self) {
        let process = self.child.process_id().unwrap().to_string();
        let told = Command::new("kill").args(["-HUP", &process]).status();
        assert!(told.unwrap().success());
        let end = Instant::now() + PATIENCE;
        while self.child.try_wait().unwrap().is_none() {
            assert!(Instant::now() < end, "it stays when its terminal is gone");
            std::thread::sleep(Duration::from_millis(5));
        }
    }
}
