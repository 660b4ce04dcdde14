use super::{Out, Rule, Run};
use crate::finding::{Place, Severity};
use crate::parse::layout::{self, Slot};
use crate::source::{Entry, What};

pub(super) static RULE: Rule = Rule {
    id: "not-a-file",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("not_a_file.md"),
    run: &[Run::Entries(paths)],
};

fn paths(entries: &[Entry], out: &mut Out<'_>) {
    for entry in entries.iter().filter(|entry| entry.what == What::NotAFile) {
        let whole_folder = layout::folder_kind(&entry.path).is_some();
        if layout::slot(&entry.path) == Slot::Elsewhere && !whole_folder {
            continue;
        }
        out.say(
            Place::whole(&entry.path),
            "this is a link or a special file, not a file of its own; it is not followed",
        )
        .help("put the record itself here, as a plain file; what a link points to can change without a trace in the book");
    }
}
