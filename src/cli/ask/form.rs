//! A record asked for key by key, in the order of its template.

use super::{Asked, Asker, Question, Stop};
use crate::cli::Trouble;
use crate::parse::form::Form;
use crate::record::Kind;

/// What leaves a key out that does not apply.
const NOTHING: &str = "-";

/// The template's text, with what a person answered.
pub(in crate::cli) fn fill_in(
    asker: &mut Asker,
    kind: Kind,
    path: &str,
    template: &str,
) -> Asked<String> {
    asker.tell("Enter a value for each key; ? tells more, - leaves out what does not apply, back goes a step back, Ctrl-C stops and writes nothing. Optional keys stay in the file as remarks.");
    let mut form = Form::of(kind, path, template);
    let mut above = String::new();
    while let Some(waiting) = form.next() {
        if waiting.above != above && !waiting.above.is_empty() {
            asker.tell(&format!("\n{}", waiting.above));
        }
        above.clone_from(&waiting.above);
        let key = waiting.pointer.rsplit('/').next().unwrap_or_default();
        let text = match waiting.remark.as_str() {
            "" => key.to_owned(),
            remark => format!("{key} ({remark})"),
        };
        let question = Question::new(waiting.pointer.clone(), text)
                .help("dates as 2026-11-25, figures with a point or a comma, lists with commas between; - leaves the key out where it does not apply");
        let mut ours = None;
        let answer = asker.ask(&question, |typed| {
            if typed == NOTHING {
                form.leave_out(&waiting.pointer);
                return Ok(None);
            }
            match form.fill(&waiting.pointer, typed) {
                Ok(Ok(value)) => Ok(Some((typed.to_owned(), value))),
                Ok(Err(why)) => Err(why.trim_end_matches('.').to_owned()),
                Err(disagreement) => {
                    ours = Some(disagreement.to_string());
                    Ok(None)
                }
            }
        })?;
        if let Some(ours) = ours {
            return Err(Stop::Trouble(Trouble::Ours(ours)));
        }
        if let Some((typed, value)) = answer
            && value.trim_matches('"') != typed
        {
            asker.tell(&format!("  understood: {value}"));
        }
        if let Some(name) = form.row_done(&waiting.pointer) {
            let more = Question::new(
                format!("{}/more", waiting.pointer),
                format!("Another row of {name}?"),
            )
            .or("n");
            if asker.yes_or_no(more)? {
                form.add_row(&name);
            }
        }
    }
    Ok(form.text(true))
}
