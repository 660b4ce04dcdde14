use super::commit::{Before, Commit};
use super::{Out, Rule, Run};
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "author-not-operator",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("author_not_operator.md"),
    run: &[Run::Commit(commit)],
};

fn commit(commit: &Commit<'_>, out: &mut Out<'_>) {
    let Some(author) = commit.author_in_words() else {
        return;
    };
    for new in commit
        .checks
        .iter()
        .filter(|new| new.before == Before::Nothing)
    {
        let check = &new.check;
        let people = [
            Some(&check.operator),
            check.entered_by.as_ref(),
            check.amended_by.as_ref(),
        ];
        let mut people: Vec<&str> = people.into_iter().flatten().map(|id| id.as_str()).collect();
        people.sort_unstable();
        people.dedup();
        if commit.is_by(&people) != Some(false) {
            continue;
        }
        let said = out.say(
            new.doc.place("/operator"),
            format!(
                "{} brings this check as {author}, which is no e-mail of {}",
                commit.name(),
                people.join(" or ")
            ),
        );
        let said = match commit.settings.require_known_authors {
            true => said.as_error(),
            false => said,
        };
        said.help("whoever typed the record commits it under an e-mail of their own: name them in entered_by, or add the e-mail to the person's emails, or set git config user.email");
    }
}
