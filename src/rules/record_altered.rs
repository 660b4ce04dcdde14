use super::commit::{Before, Commit};
use super::{Out, Rule, Run};
use crate::finding::{Place, Severity};
use crate::parse::layout::{Slot, slot};
use crate::parse::parse;
use crate::record::Kind;
use crate::record::nonconformity::Nonconformity;
use crate::text::{Span, Text};

pub(super) static RULE: Rule = Rule {
    id: "record-altered",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("record_altered.md"),
    run: &[Run::Change(change), Run::Commit(commit)],
};

/// One committed file that a change touches.
pub struct Touched<'a> {
    pub path: &'a str,
    /// As a parent of the change holds it.
    pub before: &'a [u8],
    /// As the change leaves it; `None` where it is removed or renamed.
    pub after: Option<&'a [u8]>,
    /// The change puts back the bytes that were committed first.
    pub restores_first: bool,
    /// The commit to take the record back from, as git names it.
    pub parent: &'a str,
    /// The parents of a merge hold different records at this path.
    pub clash: bool,
    /// The commit that does it; `None` of the one in the making.
    pub commit: Option<&'a str>,
}

/// A check that was lost and comes back as another one.
fn commit(commit: &Commit<'_>, out: &mut Out<'_>) {
    let anew = commit.checks.iter();
    for new in anew.filter(|new| new.before == Before::Other) {
        out.say(
            Place::whole(&new.doc.path),
            format!(
                "{} writes the check {} anew, which was committed before with other bytes and was lost since",
                commit.name(),
                new.id
            ),
        )
        .help(format!(
            "put back what was committed first: git log --diff-filter=A -- '{}' names the commit, git restore --source=COMMIT -- '{}' takes it from there. Write what is right as an amendment beside it",
            new.doc.path, new.doc.path
        ));
    }
}

/// Whether a path holds something that may not change once it is committed.
pub fn is_sealed(path: &str) -> bool {
    matches!(
        slot(path),
        Slot::Record(Kind::Check | Kind::Review | Kind::Nonconformity, _)
    )
}

fn change(touched: &Touched<'_>, out: &mut Out<'_>) {
    let Slot::Record(kind, _) = slot(touched.path) else {
        return;
    };
    let what = match kind {
        Kind::Book if touched.after.is_none() => {
            out.say(
                Place::whole(touched.path),
                format!("this change takes {} away, without which none of the records that stay is judged any more", touched.path),
            )
            .help(format!(
                "put it back: git restore --source={} --staged --worktree -- '{}'",
                touched.parent, touched.path
            ));
            return;
        }
        Kind::Check | Kind::Review if touched.restores_first => return,
        Kind::Check | Kind::Review => kind.noun(),
        Kind::Nonconformity => {
            let before = decided(touched.path, touched.before);
            let after = touched.after.and_then(|bytes| decided(touched.path, bytes));
            match (&before, touched.after) {
                // What is open may be written on, but it does not go.
                (None, None) => {}
                (None, Some(_)) => return,
                (Some(_), _) if before == after => return,
                _ => {}
            }
            match before {
                Some(_) => "nonconformity that was decided",
                None => "nonconformity",
            }
        }
        _ => return,
    };
    if touched.after == Some(touched.before) {
        return;
    }
    let (place, was) = first_difference(touched);
    // A finding without a line of the file is headed by its path already.
    let message = match touched.after.is_some() {
        true => format!(
            "this change alters a committed record, the {what} {}",
            touched.path
        ),
        false => format!("this change removes or renames a committed {what}"),
    };
    let said = out.say(place, message);
    let said = match was {
        Some(was) => said.because(was, "the line as it was committed"),
        None => said,
    };
    if let Some(id) = touched.commit {
        let short = id.get(..12).unwrap_or(id);
        said.help(format!(
            "take commit {short} out of the branch: git reset --soft {} where it is the last one, git rebase -i {} where others follow; then commit anew without this. A further commit that puts the record back does not undo this one. Write what is right as a new record beside it: shearbook amend does it",
            touched.parent, touched.parent
        ));
        return;
    }
    if touched.clash {
        said.help(format!(
            "both branches hold a record of this name and no merge can keep both. Undo the merge (git merge --abort); on the branch that is not shared yet, go back before the commit that brought {} and enter the check under the minute in which it was performed",
            touched.path
        ));
        return;
    }
    said.help(format!(
        "put it back: git restore --source={} --staged --worktree -- '{}'. Write what is right as a new record beside it: shearbook amend writes the amendment, whose name ends in .a1",
        touched.parent, touched.path
    ));
}

/// All that a decided nonconformity says but its note; `None` where it has no outcome.
fn decided(path: &str, bytes: &[u8]) -> Option<serde_json::Value> {
    let parsed = parse::<Nonconformity>(path, bytes.to_vec()).ok()?;
    let mut all = parsed.doc?.root.to_json();
    all.get("outcome")?;
    all.as_object_mut()?.remove("note");
    Some(all)
}

/// The first line that differs, after and before.
fn first_difference(touched: &Touched<'_>) -> (Place, Option<Place>) {
    let Some(after) = touched.after else {
        return (Place::whole(touched.path), None);
    };
    let text = |bytes: &[u8]| Text::new(String::from_utf8_lossy(bytes).into_owned());
    let (before, after) = (text(touched.before), text(after));
    let mut lines = before.as_str().lines().zip(after.as_str().lines());
    let line = lines.position(|(one, other)| one != other);
    let line = line.unwrap_or_else(|| {
        let shorter = before
            .as_str()
            .lines()
            .count()
            .min(after.as_str().lines().count());
        shorter.saturating_sub(1)
    });
    let place = |text: &Text| {
        let excerpt = text.line_text(line + 1);
        let start = text
            .as_str()
            .lines()
            .take(line)
            .map(|line| line.len() + 1)
            .sum::<usize>();
        let position = text.position(Span::new(start, start + excerpt.len()));
        Place {
            line: u32::try_from(line + 1).unwrap_or(u32::MAX),
            column: 1,
            width: position.width,
            excerpt: excerpt.to_owned(),
            ..Place::whole(touched.path)
        }
    };
    (place(&after), Some(place(&before)))
}
