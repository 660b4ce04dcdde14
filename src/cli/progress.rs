//! How far a long run has come: on a terminal's standard error, after a second, and gone when it ends.

use crate::source::{Brought, Entry, Part, Source, SourceError, What};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::borrow::Cow;
use std::io::IsTerminal;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Sender, channel};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

/// Runs that end sooner are not spoken of.
const PATIENCE: Duration = Duration::from_secs(1);

static SHOWN: Mutex<Option<ProgressBar>> = Mutex::new(None);

/// A source that counts what is listed and read.
pub(crate) struct Watched<'a> {
    source: &'a dyn Source,
    counts: &'a Counts,
}

#[derive(Default)]
struct Counts {
    listed: AtomicU64,
    read: AtomicU64,
}

impl Source for Watched<'_> {
    fn list(&self, folder: &str) -> Result<Vec<Entry>, SourceError> {
        let entries = self.source.list(folder)?;
        let more = u64::try_from(entries.len()).unwrap_or(0);
        self.counts.listed.fetch_add(more, Ordering::Relaxed);
        Ok(entries)
    }

    fn top(&self) -> Result<Vec<String>, SourceError> {
        self.source.top()
    }

    fn what(&self, path: &str) -> Result<Option<What>, SourceError> {
        self.source.what(path)
    }

    fn read(&self, path: &str) -> Result<Option<Vec<u8>>, SourceError> {
        self.counts.read.fetch_add(1, Ordering::Relaxed);
        self.source.read(path)
    }

    fn covered<'a>(&self, path: &str, read: &'a [u8]) -> Result<Cow<'a, [u8]>, SourceError> {
        self.source.covered(path, read)
    }

    fn is_new(&self, path: &str) -> Result<bool, SourceError> {
        self.source.is_new(path)
    }

    fn is_pending(&self, path: &str) -> bool {
        self.source.is_pending(path)
    }

    fn brought_by(
        &self,
        review: &str,
        covered: &str,
        part: Part,
    ) -> Result<Option<Brought>, SourceError> {
        self.source.brought_by(review, covered, part)
    }
}

/// Does some work over a source and says how far it has come, if somebody watches.
pub(crate) fn watched<T>(
    quiet: bool,
    source: &dyn Source,
    work: impl FnOnce(&dyn Source) -> T,
) -> T {
    if quiet || !std::io::stderr().is_terminal() {
        return work(source);
    }
    let counts = Counts::default();
    std::thread::scope(|scope| {
        let (ended, ends) = channel::<()>();
        let counts = &counts;
        scope.spawn(move || {
            if ends.recv_timeout(PATIENCE).is_ok() {
                return;
            }
            let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr());
            let style =
                ProgressStyle::with_template("{pos} of {len} files read  {wide_bar}  {percent} %");
            if let Ok(style) = style {
                bar.set_style(style.progress_chars("=> "));
            }
            *SHOWN.lock().unwrap_or_else(PoisonError::into_inner) = Some(bar.clone());
            loop {
                bar.set_length(counts.listed.load(Ordering::Relaxed));
                bar.set_position(
                    counts
                        .read
                        .load(Ordering::Relaxed)
                        .min(bar.length().unwrap_or(0)),
                );
                match ends.recv_timeout(Duration::from_millis(100)) {
                    Err(std::sync::mpsc::RecvTimeoutError::Timeout) => {}
                    _ => break,
                }
            }
            clear();
        });
        // Ends the watch even where the work panics.
        struct Ends(Sender<()>);
        impl Drop for Ends {
            fn drop(&mut self) {
                let _ = self.0.send(());
            }
        }
        let _ends = Ends(ended);
        work(&Watched { source, counts })
    })
}

/// Takes the line away.
pub(super) fn clear() {
    let shown = SHOWN.lock().unwrap_or_else(PoisonError::into_inner).take();
    if let Some(bar) = shown {
        bar.finish_and_clear();
    }
}
