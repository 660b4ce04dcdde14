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
    for review in commit.reviews {
        if commit.is_by(&[&review.reviewer]) != Some(false) {
            continue;
        }
        let said = out.say(
            review.at("/reviewer"),
            format!(
                "{} brings this review as {author}, which is no e-mail of the reviewer {}",
                commit.name(),
                review.reviewer
            ),
        );
        let said = match commit.settings.require_known_authors {
            true => said.as_error(),
            false => said,
        };
        said.help("a reviewer commits their own decision, under an e-mail that their file in people/ names");
    }
}
