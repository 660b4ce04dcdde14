use super::commit::{Commit, has_mail};
use super::{Out, Rule, Run};
use crate::finding::Severity;
use crate::record::person::Duty;

pub(super) static RULE: Rule = Rule {
    id: "author-not-authorised",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("author_not_authorised.md"),
    run: &[Run::Commit(commit)],
};

fn commit(commit: &Commit<'_>, out: &mut Out<'_>) {
    let Some(author) = commit.author_in_words() else {
        return;
    };
    if commit.facts.is_empty() {
        return;
    }
    let keepers = commit.keepers;
    let day = keepers.zone.date(commit.at);
    let mut people = keepers.people.sound();
    let may = people.any(|person| {
        has_mail(person, commit.author.unwrap_or_default())
            && keepers.authorised_on(person, Duty::Records, day)
    });
    // Whoever's file is broken may be the one.
    if may || keepers.people.any_broken() {
        return;
    }
    for place in commit.facts {
        let said = out.say(
            place.clone(),
            format!(
                "{} changes this as {author}, who was not authorised for records on {day} in the book before the change",
                commit.name()
            ),
        );
        let said = match commit.settings.require_known_authors {
            true => said.as_error(),
            false => said,
        };
        said.help("have it committed by somebody authorised for records, or authorise the person first, in a change of its own: [[authorised]] with for = \"records\"");
    }
}
