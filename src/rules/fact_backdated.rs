use super::commit::Commit;
use super::fact_altered::name_checks;
use super::{Out, Rule, Run};
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "fact-backdated",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("fact_backdated.md"),
    run: &[Run::Commit(commit)],
};

fn commit(commit: &Commit<'_>, out: &mut Out<'_>) {
    for effect in commit.backdated {
        let mut ids: Vec<&str> = effect.affected.iter().map(super::Affected::id).collect();
        let count = ids.len();
        ids.truncate(5);
        let more = match count - ids.len() {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        let said = out.say(
            effect.place.clone(),
            format!(
                "this row comes late, with its reason, and changes what is said of {count} committed check{}: {}{more}",
                if count == 1 { "" } else { "s" },
                ids.join(", ")
            ),
        );
        let said = said.help("look at each of them: where one no longer stands, repeat it or open a nonconformity that names it");
        name_checks(said, effect);
    }
}
