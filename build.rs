//! Writes each schema as the program judges by it: a gate builds them anew each time.
//!
//! Two thirds of their text are descriptions, which are left out. And each says that it is of draft 7, whose own schema is one
//! file and not nine, and so sooner built; ours use no word that the two drafts read otherwise, which a test holds. And the
//! pattern of ids, of which every check has many, is taken apart into classes in a row, which need no regex engine; another
//! test holds both to be alike.

use serde_json::{Map, Value, json};
use std::path::Path;

#[expect(
    clippy::disallowed_methods,
    reason = "a build script reads the sources and writes where cargo says"
)]
fn main() -> Result<(), Box<dyn std::error::Error>> {
    println!("cargo:rerun-if-changed=build.rs");
    println!("cargo:rerun-if-changed=schema");
    let out = std::env::var("OUT_DIR")?;
    for entry in std::fs::read_dir("schema")? {
        let path = entry?.path();
        let Some(name) = path.file_name().filter(|_| path.is_file()) else {
            continue;
        };
        let mut schema: Value = serde_json::from_str(&std::fs::read_to_string(&path)?)?;
        strip(&mut schema);
        schema["$schema"] = "http://json-schema.org/draft-07/schema#".into();
        std::fs::write(Path::new(&out).join(name), schema.to_string())?;
    }
    Ok(())
}

/// How the schemas describe an id.
const ID: &str = "^[A-Za-z0-9]([A-Za-z0-9._-]{0,62}[A-Za-z0-9_-])?$";

/// The same: at most 64 of its letters, the first and the last of them no other than these.
fn take_apart(entries: &mut Map<String, Value>) {
    if entries.get("pattern").is_some_and(|pattern| pattern == ID) {
        entries.insert("maxLength".to_owned(), 64.into());
        entries.insert("pattern".to_owned(), "^[A-Za-z0-9][A-Za-z0-9._-]*$".into());
        let last = json!([{ "pattern": "^[A-Za-z0-9._-]*[A-Za-z0-9_-]$" }]);
        entries.insert("allOf".to_owned(), last);
    }
}

/// A property may be named description too; its value is a schema, not a text.
fn strip(node: &mut Value) {
    match node {
        Value::Object(entries) => {
            entries.retain(|key, value| !(key == "description" && value.is_string()));
            take_apart(entries);
            entries.values_mut().for_each(strip);
        }
        Value::Array(items) => items.iter_mut().for_each(strip),
        _ => {}
    }
}
