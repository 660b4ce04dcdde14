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
    // Before the first commit there is no book to look into, and no file of it is more to the point than another.
    let begins = commit.parents.is_empty();
    let told = commit.facts.iter().take(match begins {
        true => 1,
        false => usize::MAX,
    });
    for place in told {
        let name = commit.name();
        let said = match begins {
            true => out.say(
                place.clone(),
                format!("{name} begins the book as {author}, whom no file of people/ authorises for records on {day}"),
            )
            .help("add [[authorised]] with for = \"records\" and this day or an earlier one to the file of whoever keeps the records, and have them commit it"),
            false => out.say(
                place.clone(),
                format!("{name} changes this as {author}, who was not authorised for records on {day} in the book before the change"),
            )
            .help("have it committed by somebody authorised for records, or authorise the person first, in a change of its own: [[authorised]] with for = \"records\""),
        };
        if commit.settings.require_known_authors {
            said.as_error();
        }
    }
}
