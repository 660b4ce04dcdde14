//! Line by line, for terminals that cannot draw and for people whose tools read lines.

use super::Typed;
use crate::cli::output;
use std::io::BufRead;

pub(super) fn ask(prompt: &str) -> Typed {
    output::say(prompt);
    let mut line = Vec::new();
    match std::io::stdin().lock().read_until(b'\n', &mut line) {
        Ok(0) => Typed::Interrupted,
        Ok(_) => Typed::Line(String::from_utf8_lossy(&line).trim().to_owned()),
        Err(error) => Typed::Trouble(error.to_string()),
    }
}
