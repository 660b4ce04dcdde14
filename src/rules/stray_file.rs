use super::{Out, Rule, Run};
use crate::finding::{Place, Severity};
use crate::parse::layout::{self, Slot};
use crate::record::Kind;
use crate::source::{Entry, What};

pub(super) static RULE: Rule = Rule {
    id: "stray-file",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("stray_file.md"),
    run: &[Run::Entries(paths)],
};

fn paths(entries: &[Entry], out: &mut Out<'_>) {
    for entry in entries.iter().filter(|entry| entry.what == What::File) {
        let mut steps = entry.path.split('/');
        let folder = steps.next().unwrap_or("");
        if let Some(own) = layout::twin(folder) {
            out.say(
                Place::whole(&entry.path),
                format!("{folder} is not {own}, so nothing in it is a record here; on a disk that does not tell capitals it is the same"),
            )
            .help(format!("move it to {own}, or give {folder} a name that differs by more than capitals"));
            continue;
        }
        if layout::record(&entry.path) != Err(Slot::Stray) {
            continue;
        }
        let shape = match layout::folder_kind(folder) {
            Some(Kind::Check) => "checks/<year>/<instrument>/<YYYY-MM-DD-HHMM>.toml".to_owned(),
            Some(Kind::Review) => {
                "reviews/<year>/<instrument>/<check's name>/<person>-<n>.toml".to_owned()
            }
            _ => format!("{folder}/<id>.toml"),
        };
        let message = match entry.path.ends_with(".toml") {
            true => format!("this file stands at no place of a record; one in {folder} is {shape}"),
            false => format!("this file is no record; those in {folder} are {shape}"),
        };
        out.say(Place::whole(&entry.path), message)
            .help("move it to where it belongs; what is no record stands outside the record folders, or has a name that begins with a dot");
    }
}
