//! `explain`: a rule's own text.

use super::{End, Ended, Trouble, output};
use crate::rules::{RULES, rule};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The rule, as a finding names it; all rules are listed where left out
    rule: Option<String>,
}

pub(crate) fn run(arguments: &Arguments) -> Ended {
    let Some(id) = &arguments.rule else {
        let mut text = String::new();
        for rule in RULES {
            text += &format!("{:<8} {}\n", rule.severity.name(), rule.id);
        }
        output::say(&text);
        return Ok(End::Fine);
    };
    let Some(rule) = rule(id) else {
        let near = RULES
            .iter()
            .map(|rule| (strsim::damerau_levenshtein(id, rule.id), rule.id))
            .min()
            .map_or("", |(_, near)| near);
        return Err(Trouble::Usage(format!(
            "there is no rule {id}; did you mean {near}?"
        )));
    };
    output::say(&readable(rule.doc, rule.severity.name()));
    Ok(End::Fine)
}

/// The Markdown without its fences' marks, which are for the tests.
fn readable(doc: &str, severity: &str) -> String {
    let mut text = String::new();
    for line in doc.lines() {
        if let Some(title) = line.strip_prefix("# ") {
            text += &format!("# {title} ({severity})\n");
        } else if let Some(words) = line.strip_prefix("```toml ") {
            let mut words = words.split_whitespace();
            text += &format!("    in {}", words.next().unwrap_or(""));
            for word in words {
                if let Some(keys) = word.strip_prefix("without=") {
                    text += &format!(", without {}", keys.replace(',', ", "));
                }
                if let Some(other) = word.strip_prefix("like=") {
                    text += &format!(", a copy of {other} with");
                }
            }
            text += ":\n";
        } else if line == "```" {
            continue;
        } else {
            text += &line.replace("# <- here", "# <- the finding points here");
            text.push('\n');
        }
    }
    text
}
