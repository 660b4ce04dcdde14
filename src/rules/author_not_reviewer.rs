use super::commit::Commit;
use super::{Out, Rule, Run};
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "author-not-reviewer",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("author_not_reviewer.md"),
    run: &[Run::Commit(commit)],
};

fn commit(commit: &Commit<'_>, out: &mut Out<'_>) {
    let Some(author) = commit.author_in_words() else {
        return;
    };
    let reviews = commit.reviews.iter();
    let reviews = reviews.map(|review| {
        let place = review.at("/reviewer");
        (
            "this review",
            "the reviewer",
            place,
            review.reviewer.as_str(),
        )
    });
    let decided = commit.decided.iter().filter_map(|record| {
        let by = record.outcome.as_ref()?.by.as_str();
        let place = record.at("/outcome/by");
        Some(("this outcome", "who decided it,", place, by))
    });
    for (what, who, place, person) in reviews.chain(decided) {
        if commit.is_by(&[person]) != Some(false) {
            continue;
        }
        let said = out.say(
            place,
            format!(
                "{} brings {what} as {author}, which is no e-mail of {who} {person}",
                commit.name()
            ),
        );
        let said = match commit.settings.require_known_authors {
            true => said.as_error(),
            false => said,
        };
        said.help("whoever decides commits it, under an e-mail that their file in people/ names");
    }
}
