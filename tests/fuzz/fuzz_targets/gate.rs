//! A committed file of the example book changed to any bytes: what the change does, and the changed record judged alone.
#![no_main]

use libfuzzer_sys::fuzz_target;
use shearbook::book::LoadError;
use shearbook::rules::{Touched, Wanted, judge_change, run};
use shearbook_fuzz::{book, chosen, clock};
use std::sync::LazyLock;

static BOOK: LazyLock<shearbook::source::memory::Memory> = LazyLock::new(book);

fuzz_target!(|data: &[u8]| {
    let Some((path, bytes)) = chosen(&BOOK, data) else {
        return;
    };
    let before = &BOOK.files[&path];
    for after in [Some(bytes), None] {
        let said = judge_change(&Touched {
            path: &path,
            before,
            after,
            restores_first: false,
            parent: "HEAD",
            clash: false,
            commit: None,
        });
        let is_record = path.starts_with("checks/") || path.starts_with("reviews/");
        if is_record && after.is_none() {
            assert!(!said.is_empty(), "the removal of {path} passes");
        }
    }
    let mut memory = BOOK.clone();
    memory.files.insert(path.clone(), bytes.to_vec());
    match run(&memory, clock(), &Wanted::Only(&[path])) {
        Ok(outcome) => assert!(outcome.findings.is_sorted(), "findings are out of order"),
        Err(LoadError::Source(error)) => panic!("{}", error.message),
        Err(LoadError::Ours(ours)) => panic!("{ours}"),
    }
});
