use super::commit::{Before, Commit};
use super::{Out, Rule, Run};
use crate::finding::Severity;

pub(super) static RULE: Rule = Rule {
    id: "entered-late",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("entered_late.md"),
    run: &[Run::Commit(commit)],
};

fn commit(commit: &Commit<'_>, out: &mut Out<'_>) {
    let allowed = commit.settings.late_entry_days;
    let zone = &commit.book.zone;
    for new in commit
        .checks
        .iter()
        .filter(|new| new.before == Before::Nothing)
    {
        let check = &new.check;
        if check
            .late_reason
            .as_ref()
            .is_some_and(|reason| !reason.trim().is_empty())
        {
            continue;
        }
        let (stamp, key, did) = match &check.amended {
            Some(amended) if check.amends.is_some() => (amended, "/amended", "amended"),
            _ => (&check.performed, "/performed", "performed"),
        };
        let Ok(done) = zone.instant(stamp) else {
            continue;
        };
        let (done, came) = (zone.date(done), zone.date(commit.at));
        let days = (came - done).get_days();
        if i64::from(days) <= allowed {
            continue;
        }
        let said = out.say(
            new.doc.place(key),
            format!(
                "{did} on {done} and committed on {came}, {days} days later; the book allows {allowed} without a reason"
            ),
        );
        said.help(match commit.id {
            None => "say why in late_reason = \"...\", beside the other keys at the top of the file; then seal and stage it again".to_owned(),
            Some(_) => format!(
                "put late_reason = \"...\" into the check and seal it in {} itself (git commit --amend, or git rebase where later commits follow): once it is on a sealed branch it stays so",
                commit.name()
            ),
        });
    }
}
