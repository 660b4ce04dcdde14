//! Imports point only downwards: no file may name a floor above its own.

use std::path::Path;

/// The folders of `src` from the lowest floor to the highest, by the number of their floor.
const FLOORS: [(&str, u8); 12] = [
    ("text", 0),
    ("measure", 0),
    ("record", 1),
    ("finding", 1),
    ("parse", 2),
    ("source", 2),
    ("sheet", 2),
    ("book", 3),
    ("fleet", 4),
    ("rules", 5),
    ("history", 6),
    ("report", 7),
];

/// The floors that a text names, with `cli` as the highest.
fn named(text: &str) -> Vec<(&'static str, u8)> {
    let all = FLOORS.iter().copied().chain([("cli", 8)]);
    all.filter(|(folder, _)| {
        text.contains(&format!("crate::{folder}::")) || text.contains(&format!("crate::{folder};"))
    })
    .collect()
}

#[test]
fn no_import_runs_up() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut read = 0;
    for (folder, floor) in FLOORS {
        for entry in walkdir::WalkDir::new(source.join(folder)) {
            let path = entry.expect("entry").into_path();
            if path.extension().is_none_or(|ending| ending != "rs") {
                continue;
            }
            #[expect(clippy::disallowed_methods, reason = "a test reads the sources")]
            let text = std::fs::read_to_string(&path).expect("source");
            // Tests stand at the end of a file and may use anything.
            let code = text
                .split("#[cfg(test)]\npub(super) mod tests")
                .next()
                .unwrap_or(&text);
            read += 1;
            for (other, above) in named(code) {
                assert!(
                    above <= floor,
                    "{} (floor {floor}) names {other} (floor {above})",
                    path.display()
                );
            }
        }
    }
    assert!(read > 60, "only {read} files were read");
}

#[test]
fn a_sheet_knows_texts_alone() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/sheet");
    for entry in walkdir::WalkDir::new(source) {
        let path = entry.expect("entry").into_path();
        if path.extension().is_some_and(|ending| ending == "rs") {
            #[expect(clippy::disallowed_methods, reason = "a test reads the sources")]
            let text = std::fs::read_to_string(&path).expect("source");
            let others: Vec<_> = named(&text)
                .into_iter()
                .filter(|(folder, _)| !matches!(*folder, "sheet" | "text"))
                .collect();
            assert_eq!(others, [], "{}", path.display());
        }
    }
}

#[test]
fn the_metrology_knows_nothing_but_itself() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/measure");
    for entry in walkdir::WalkDir::new(source) {
        let path = entry.expect("entry").into_path();
        if path.extension().is_some_and(|ending| ending == "rs") {
            #[expect(clippy::disallowed_methods, reason = "a test reads the sources")]
            let text = std::fs::read_to_string(&path).expect("source");
            let others: Vec<_> = named(&text)
                .into_iter()
                .filter(|(folder, _)| *folder != "measure")
                .collect();
            assert_eq!(others, [], "{}", path.display());
        }
    }
}
