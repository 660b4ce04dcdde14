//! The example book with one file replaced by any bytes, judged whole, with every figure and cause of each check, and its
//! fleet on the day with all trends.
#![no_main]

use libfuzzer_sys::fuzz_target;
use shearbook::book::LoadError;
use shearbook::book::evidence::evidence;
use shearbook::book::figures::figures;
use shearbook::book::view::View;
use shearbook::fleet::Fleet;
use shearbook::fleet::session::Gathering;
use shearbook::measure::pattern::{Witness, causes};
use shearbook::rules::{Wanted, judge_fleet, run_and_watch};
use shearbook_fuzz::{book, chosen, clock};
use std::sync::LazyLock;

static BOOK: LazyLock<shearbook::source::memory::Memory> = LazyLock::new(book);

fuzz_target!(|data: &[u8]| {
    let Some((path, bytes)) = chosen(&BOOK, data) else {
        return;
    };
    let mut memory = BOOK.clone();
    memory.files.insert(path, bytes.to_vec());
    let gathering = Gathering::default();
    let watch = |view: &View<'_>| {
        gathering.take(view);
        figures(view);
        causes(&evidence(view, Witness::default()));
    };
    match run_and_watch(&memory, clock(), &Wanted::All, Some(&watch)) {
        Ok(outcome) => {
            assert!(outcome.findings.is_sorted(), "findings are out of order");
            if let Some(book) = outcome.book.as_ref().filter(|book| book.zone_known()) {
                let day = book.as_of();
                let sessions = gathering.sessions();
                let (links, with_errors) = (&outcome.links, &outcome.with_errors);
                let fleet = Fleet::on(book, links, with_errors, &sessions, day);
                judge_fleet(&fleet);
            }
        }
        Err(LoadError::Source(error)) => panic!("{}", error.message),
        Err(LoadError::Ours(ours)) => panic!("{ours}"),
    }
});
