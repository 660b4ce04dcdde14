use super::{Out, Rule, Run};
use crate::book::Links;
use crate::book::view::View;
use crate::finding::Severity;
use crate::parse::layout::CheckName;

pub(super) static RULE: Rule = Rule {
    id: "amends-of",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("amends_of.md"),
    run: &[Run::Linked(check)],
};

fn check(view: &View<'_>, links: &Links, out: &mut Out<'_>) {
    let Some(name) = CheckName::parse(view.id) else {
        return;
    };
    let Some(amends) = &view.check.amends else {
        if let Some(previous) = name.previous() {
            out.say(
                view.at("/amends"),
                format!(
                    "by its name this is an amendment of {}, and amends does not say so",
                    previous.id()
                ),
            )
            .help(format!(
                "write amends = \"{}\", with amended, amended_by and reason",
                previous.id()
            ));
        }
        return;
    };
    let exists = |id: &str| links.checks.contains(id);
    if let Some((message, help)) = misnamed(view.id, &name, amends, &exists) {
        out.say(view.at("/amends"), message).help(help);
    }
    lacking(view, out);
}

/// Whether an amendment, by its name, is the next of the record that it names.
pub(super) fn names_the_one_before(id: &str, amends: &str) -> bool {
    let name = CheckName::parse(id);
    name.is_none_or(|name| misnamed(id, &name, amends, &|_| true).is_none())
}

fn misnamed(
    id: &str,
    name: &CheckName,
    amends: &str,
    exists: &dyn Fn(&str) -> bool,
) -> Option<(String, String)> {
    if amends == id {
        let help = match name.previous() {
            Some(previous) => format!("write amends = \"{}\"", previous.id()),
            None => "take amends out of a first record".to_owned(),
        };
        return Some((format!("{id} cannot amend itself"), help));
    }
    let Some(other) = CheckName::parse(amends) else {
        return Some((
            format!("{amends} is no id of a check"),
            "write the instrument, a slash and the name of the file without .toml".to_owned(),
        ));
    };
    if other.instrument != name.instrument {
        return Some((
            format!("{amends} is a check of {}, and this one is of {}", other.instrument, name.instrument),
            "an amendment corrects a check of the same instrument; a check that names the wrong instrument is kept as void".to_owned(),
        ));
    }
    let Some(previous) = name.previous() else {
        return Some((
            format!("this record amends {amends}, and its name has no .a1"),
            format!("an amendment of {amends} stands in {}", other.next().path()),
        ));
    };
    let before = previous.id();
    if amends == before {
        return None;
    }
    let same = CheckName {
        amendment: name.amendment,
        ..other.clone()
    } == *name;
    if same && other.amendment < previous.amendment {
        let mut newest = other.clone();
        while newest != previous && exists(&newest.next().id()) {
            newest = newest.next();
        }
        if newest != previous {
            let next = newest.next();
            let rename = format!("rename this file to {}", next.path());
            return Some(match newest == other {
                true => (
                    format!(
                        "by its name this is amendment {} of a check that has no amendment {}: there is no {}",
                        name.amendment,
                        next.amendment,
                        next.id()
                    ),
                    rename,
                ),
                false => (
                    format!(
                        "{amends} is already amended, by {}, and by its name this is amendment {} while there is no {}",
                        other.next().id(),
                        name.amendment,
                        next.id()
                    ),
                    format!("write amends = \"{}\", and {rename}", newest.id()),
                ),
            });
        }
        return Some((
            format!("{amends} is already amended, by {}", other.next().id()),
            format!("amend the newest: write amends = \"{before}\""),
        ));
    }
    Some((
        format!("by its name this amends {before}, and amends says {amends}"),
        format!(
            "write amends = \"{before}\", or move the file to {}",
            other.next().path()
        ),
    ))
}

fn lacking(view: &View<'_>, out: &mut Out<'_>) {
    let check = view.check;
    let keys = [
        // Of a void check void-without-reason asks for it.
        ("reason", check.reason.is_some() || check.void),
        ("amended", check.amended.is_some()),
        ("amended_by", check.amended_by.is_some()),
    ];
    let missing: Vec<&str> = keys
        .iter()
        .filter(|(_, there)| !there)
        .map(|(key, _)| *key)
        .collect();
    let Some(first) = missing.first() else { return };
    out.say(
        view.at(&format!("/{first}")),
        format!("the amendment does not say {}", missing.join(" and ")),
    )
    .help("write why (reason), when (amended) and by whom (amended_by) the check was amended");
}
