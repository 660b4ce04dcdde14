//! What the targets share: the example book in memory, and a clock that stands.

use include_dir::{Dir, include_dir};
use shearbook::book::Clock;
use shearbook::source::memory::Memory;

static EXAMPLE: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/../../records-example");

/// The example book with a few of its checks, so that one run is short.
pub fn book() -> Memory {
    let mut memory = Memory::default();
    add(&EXAMPLE, &mut memory);
    memory
}

fn add(folder: &Dir<'_>, memory: &mut Memory) {
    for file in folder.files() {
        let path = file.path().to_string_lossy().replace('\\', "/");
        if is_kept(&path) {
            memory.files.insert(path, file.contents().to_vec());
        }
    }
    for inner in folder.dirs() {
        add(inner, memory);
    }
}

/// Every fact; of checks and their reviews those of one instrument in one year.
fn is_kept(path: &str) -> bool {
    let of_checks = path.starts_with("checks/") || path.starts_with("reviews/2");
    !of_checks || path.contains("2026/VM-01/")
}

pub fn clock() -> Clock {
    Clock {
        now: "2026-11-25T12:00:00Z".parse().expect("time"),
        as_of: None,
    }
}

/// The first byte chooses one of the book's files, the rest is what stands there.
pub fn chosen<'a>(memory: &Memory, data: &'a [u8]) -> Option<(String, &'a [u8])> {
    let (first, rest) = data.split_first()?;
    let index = usize::from(*first) % memory.files.len();
    Some((memory.files.keys().nth(index)?.clone(), rest))
}
