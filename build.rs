//! Writes each schema as the program judges by it: a gate builds them anew each time.
//!
//! Two thirds of their text are descriptions, which are left out. And each says that it is of draft 7, whose own schema is one
//! file and not nine, and so sooner built; ours use no word that the two drafts read otherwise, which a test holds.

use serde_json::Value;
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

/// A property may be named description too; its value is a schema, not a text.
fn strip(node: &mut Value) {
    match node {
        Value::Object(entries) => {
            entries.retain(|key, value| !(key == "description" && value.is_string()));
            entries.values_mut().for_each(strip);
        }
        Value::Array(items) => items.iter_mut().for_each(strip),
        _ => {}
    }
}
