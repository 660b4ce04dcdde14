//! Ctrl-C: a write that has begun is finished or undone, temporary folders go, and the program ends with 130.

use std::path::{Path, PathBuf};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// How a shell tells that a program was interrupted.
const INTERRUPTED: i32 = 130;

/// How long a write may take before the program ends all the same.
const PATIENCE: Duration = Duration::from_secs(5);

/// How long a command that has written all it had to write may take to say so.
const LAST_WORDS: Duration = Duration::from_millis(500);

struct State {
    /// Writes that must not be cut in two.
    writes: usize,
    temporary: Vec<PathBuf>,
    interrupted: bool,
    /// What a dialogue has to say where it is stopped.
    last_word: Option<String>,
}

static STATE: Mutex<State> = Mutex::new(State {
    writes: 0,
    temporary: Vec::new(),
    interrupted: false,
    last_word: None,
});
static WRITTEN: Condvar = Condvar::new();

fn state() -> MutexGuard<'static, State> {
    STATE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// While it lives, an interruption waits.
pub(crate) struct Writing(());

pub(crate) fn writing() -> Writing {
    state().writes += 1;
    Writing(())
}

impl Drop for Writing {
    fn drop(&mut self) {
        state().writes -= 1;
        WRITTEN.notify_all();
    }
}

/// A folder that goes when this does, or when the program is interrupted.
pub(crate) struct Temporary(tempfile::TempDir);

impl Temporary {
    pub(crate) fn new(prefix: &str) -> std::io::Result<Temporary> {
        let mut state = state();
        let folder = tempfile::Builder::new().prefix(prefix).tempdir()?;
        state.temporary.push(folder.path().to_owned());
        Ok(Temporary(folder))
    }

    /// In a folder that is there.
    pub(crate) fn new_in(folder: &Path, prefix: &str) -> std::io::Result<Temporary> {
        let mut state = state();
        let made = tempfile::Builder::new().prefix(prefix).tempdir_in(folder)?;
        state.temporary.push(made.path().to_owned());
        Ok(Temporary(made))
    }

    pub(crate) fn path(&self) -> &Path {
        self.0.path()
    }

    /// It stays.
    pub(crate) fn keep(self) -> PathBuf {
        let kept = self.0.keep();
        state().temporary.retain(|folder| *folder != kept);
        kept
    }
}

/// An interruption that came meanwhile has the last word, but for work that was done all the same.
pub(crate) fn yield_to_it(failed: bool) {
    let state = state();
    if failed && state.interrupted {
        end(&state);
    }
}

/// A terminal's Ctrl-C reaches git too, and its end may be seen before the interruption itself is: a failure to look waits for that.
pub(crate) fn yield_to_one_on_its_way() {
    const ON_ITS_WAY: Duration = Duration::from_millis(100);
    let begun = Instant::now();
    while begun.elapsed() < ON_ITS_WAY {
        yield_to_it(true);
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// Ends here where an interruption is waiting for what was being written.
pub(crate) fn stop_if_asked() {
    yield_to_it(true);
}

/// Ends here, as where the person at the terminal stopped a dialogue.
pub(crate) fn leave() -> ! {
    end(&state())
}

/// What is said where an interruption comes from now on.
pub(crate) fn say_last(word: Option<String>) {
    state().last_word = word;
}

/// Heeds Ctrl-C from now on. Where that cannot be had, the system's own way of ending a program is as good as ever.
pub(crate) fn heed() {
    let _ = ctrlc::set_handler(|| {
        let mut state = state();
        state.interrupted = true;
        if state.writes > 0 {
            let until = Instant::now() + PATIENCE;
            while state.writes > 0 && Instant::now() < until {
                let waited = WRITTEN.wait_timeout(state, until - Instant::now());
                state = waited.unwrap_or_else(PoisonError::into_inner).0;
            }
            // What was being written is there as a whole: the command may say so.
            drop(state);
            std::thread::sleep(LAST_WORDS);
            state = self::state();
        }
        end(&state);
    });
}

/// The lock is held to the end, so that no new write begins.
fn end(state: &MutexGuard<'static, State>) -> ! {
    for folder in &state.temporary {
        take_away(folder);
    }
    super::progress::clear();
    if let Some(word) = &state.last_word {
        super::output::say(&format!("\n{word}\n"));
    }
    std::process::exit(INTERRUPTED)
}

/// A program that was started in the folder may still be writing there, so it must be gone for a while.
fn take_away(folder: &Path) {
    let mut gone = 0;
    for _ in 0..100 {
        let _ = std::fs::remove_dir_all(folder);
        gone = if folder.exists() { 0 } else { gone + 1 };
        if gone == 3 {
            return;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
}
