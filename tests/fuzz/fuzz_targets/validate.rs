//! The example book with one file replaced by any bytes, judged whole, and its fleet on the day.
#![no_main]

use libfuzzer_sys::fuzz_target;
use shearbook::book::LoadError;
use shearbook::fleet::Fleet;
use shearbook::rules::{Wanted, judge_fleet, run};
use shearbook_fuzz::{book, chosen, clock};
use std::sync::LazyLock;

static BOOK: LazyLock<shearbook::source::memory::Memory> = LazyLock::new(book);

fuzz_target!(|data: &[u8]| {
    let Some((path, bytes)) = chosen(&BOOK, data) else {
        return;
    };
    let mut memory = BOOK.clone();
    memory.files.insert(path, bytes.to_vec());
    match run(&memory, clock(), &Wanted::All) {
        Ok(outcome) => {
            assert!(outcome.findings.is_sorted(), "findings are out of order");
            if let Some(book) = outcome.book.as_ref().filter(|book| book.zone_known()) {
                let day = book.as_of();
                let fleet = Fleet::on(book, &outcome.links, &outcome.with_errors, day);
                judge_fleet(&fleet);
            }
        }
        Err(LoadError::Source(error)) => panic!("{}", error.message),
        Err(LoadError::Ours(ours)) => panic!("{ours}"),
    }
});
