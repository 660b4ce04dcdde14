//! `explain`: a rule's own text.

use super::{Common, End, Ended, Trouble, output};
use crate::rules::{RULES, rule};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The rule, as a finding names it; all rules are listed where left out
    rule: Option<String>,
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let Some(id) = &arguments.rule else {
        let mut text = String::new();
        for rule in RULES {
            text += &format!("{:<8} {}\n", rule.severity.name(), rule.id);
        }
        output::say(&text);
        return Ok(End::Fine);
    };
    let Some(rule) = rule(id) else {
        let near = crate::text::nearest(id, RULES.iter().map(|rule| rule.id));
        return Err(Trouble::Usage(match near {
            Some(near) => format!("there is no rule {id}; did you mean {near}?"),
            None => format!("there is no rule {id}; shearbook explain lists them"),
        }));
    };
    output::say(&readable(
        rule.doc,
        rule.severity.name(),
        output::style(common).width,
    ));
    Ok(End::Fine)
}

/// The Markdown without its fences' marks, which are for the tests. Prose is broken at the width; an example stays as it
/// would stand in a file, since it is there to be copied.
fn readable(doc: &str, severity: &str, width: usize) -> String {
    let mut text = String::new();
    let mut prose = String::new();
    let mut in_example = false;
    for line in doc.lines() {
        let ends_prose = line.is_empty() || line.starts_with(['#', '`', '-', '|']);
        if in_example || ends_prose {
            text += &wrapped(&std::mem::take(&mut prose), width, "");
        }
        if line.starts_with("```") {
            in_example = !in_example;
        }
        if let Some(title) = line.strip_prefix("# ") {
            text += &format!("# {title} ({severity})\n");
        } else if let Some(words) = line.strip_prefix("```toml ") {
            text += &wrapped(&heading(words), width, "    ");
        } else if line == "```" {
            continue;
        } else if in_example {
            text += &example_line(line, width);
        } else if line.is_empty() {
            text.push('\n');
        } else if line.starts_with('#') {
            text += &wrapped(line, width, "");
        } else {
            prose += line;
            prose.push(' ');
        }
    }
    text + &wrapped(&prose, width, "")
}

/// Which file an example changes, and how.
fn heading(words: &str) -> String {
    let mut words = words.split_whitespace();
    let mut text = format!("in {}", words.next().unwrap_or(""));
    for word in words {
        if let Some(keys) = word.strip_prefix("without=") {
            text += &format!(", without {}", keys.replace(',', ", "));
        }
        if let Some(other) = word.strip_prefix("like=") {
            text += &format!(", a copy of {other} with");
        }
    }
    text + ":"
}

/// A line of an example; the mark of the place goes above where it would make the line too long.
fn example_line(line: &str, width: usize) -> String {
    let Some((code, _)) = line.split_once("# <- here") else {
        return format!("{line}\n");
    };
    let marked = format!("{code}# <- the finding points here");
    match marked.chars().count() <= width {
        true => marked + "\n",
        false => format!(
            "# the finding points to the next line\n{}\n",
            code.trim_end()
        ),
    }
}

fn wrapped(text: &str, width: usize, indent: &str) -> String {
    match text.trim() {
        "" => String::new(),
        text => crate::report::wrapped(text, width, indent, indent),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prose_keeps_to_the_width_and_loses_no_word() {
        for rule in RULES {
            let mut examples = Vec::new();
            let mut in_example = false;
            for line in rule.doc.lines() {
                if line.starts_with("```") {
                    in_example = !in_example;
                } else if in_example && !line.is_empty() {
                    examples.push(line.split(" # <- here").next().unwrap_or(line));
                }
            }
            let text = readable(rule.doc, "error", 60);
            for line in text.lines() {
                let of_example = examples.iter().any(|code| line.starts_with(code));
                let fits = line.chars().count() <= 60 || line.split_whitespace().count() < 2;
                assert!(of_example || fits, "{}: {line}", rule.id);
            }
            let words = |text: &str| text.split_whitespace().count();
            let (_, last) = rule
                .doc
                .split_once("\n## What to do\n")
                .expect("a last part");
            let (_, shown) = text.split_once("\n## What to do\n").expect("a last part");
            assert_eq!(words(last), words(shown), "{}", rule.id);
        }
    }

    #[test]
    fn the_mark_of_a_long_line_goes_above() {
        assert_eq!(
            example_line("a = 1 # <- here", 60),
            "a = 1 # <- the finding points here\n"
        );
        let long = format!("a = \"{}\" # <- here", "x".repeat(40));
        let shown = example_line(&long, 60);
        assert!(
            shown.lines().all(|line| line.chars().count() <= 60),
            "{shown}"
        );
        assert_eq!(shown.lines().count(), 2);
    }
}
