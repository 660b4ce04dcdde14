//! The example book with one file replaced by any bytes, judged whole.
#![no_main]

use libfuzzer_sys::fuzz_target;
use shearbook::book::LoadError;
use shearbook::rules::{Wanted, run};
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
        Ok(outcome) => assert!(outcome.findings.is_sorted(), "findings are out of order"),
        Err(LoadError::Source(error)) => panic!("{}", error.message),
        Err(LoadError::Ours(ours)) => panic!("{ours}"),
    }
});
