use super::{Out, Rule, Run, run::NamedRecord};
use crate::book::{Book, Fact, Loaded};
use crate::finding::Severity;
use crate::parse::Doc;
use crate::parse::layout::{self, CheckName, Slot};
use crate::record::Kind;
use crate::record::check::Check;
use crate::record::review::Review;
use jiff::civil::DateTime;

pub(super) static RULE: Rule = Rule {
    id: "id-path",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("id_path.md"),
    run: &[Run::Named(named)],
};

fn named(book: &Book, named: NamedRecord<'_>, out: &mut Out<'_>) {
    match named {
        NamedRecord::Check { id, doc, check } => self::check(book, id, doc, check, out),
        NamedRecord::Fact(Fact::Review(review)) => self::review(review, out),
        NamedRecord::Fact(fact) => own_id(fact, out),
    }
}

fn own_id(fact: Fact<'_>, out: &mut Out<'_>) {
    let (kind, Some(id)) = fact.id() else { return };
    let doc = fact.doc();
    let Slot::Record(_, stem) = layout::slot(&doc.path) else {
        return;
    };
    if id != stem {
        out.say(
            doc.place("/id"),
            format!("id says {id}, the file name {stem}"),
        )
        .help(format!(
            "make them equal: either the id is wrong, or the file belongs at {}",
            layout::path_of(kind, id)
        ));
    } else if let Some(why) = layout::unfit_id(id) {
        out.say(doc.place("/id"), format!("{id} cannot be an id: {why}"))
            .help("choose another id, and name the file after it");
    }
}

fn check(book: &Book, id: &str, doc: &Doc, check: &Check, out: &mut Out<'_>) {
    let Some((folder, stem)) = id.split_once('/') else {
        return;
    };
    if check.instrument != folder {
        out.say(
            doc.place("/instrument"),
            format!("instrument says {}, the folder {folder}", check.instrument),
        )
        .help(format!(
            "make them equal: either the key is wrong, or the file belongs into the folder {}",
            check.instrument
        ));
    }
    let performed = match book.zone_known() {
        true => book
            .zone
            .instant(&check.performed)
            .ok()
            .map(|at| book.zone.wall(at)),
        false => None,
    };
    let named_after = |wall: &DateTime| wall.strftime("%Y-%m-%d-%H%M").to_string();
    let Some(name) = CheckName::parse(id) else {
        let wanted = performed
            .as_ref()
            .map_or_else(|| "2026-11-20-0942".to_owned(), named_after);
        out.say(
            doc.place("/performed"),
            format!("the file name {stem} is no day and minute as YYYY-MM-DD-HHMM"),
        )
        .help(format!(
            "name the file {wanted}.toml; an amendment adds .a1, .a2 and so on"
        ));
        return;
    };
    if let Some(wall) = performed
        && name.amendment == 0
        && (name.date, name.minute_of_day()) != (wall.date(), minute_of_day(&wall))
    {
        let written = format!("{}-{}", name.date, name.clock);
        let wanted = named_after(&wall);
        let shown = wall.strftime("%Y-%m-%d %H:%M");
        let message = match check.performed.offset_minutes {
            None => format!("performed says {shown}, the file name {written}"),
            Some(_) => format!(
                "performed says {}, which is {shown} in the book's zone, the file name {written}",
                check.performed
            ),
        };
        out.say(doc.place("/performed"), message)
            .help(format!("correct performed, or name the file {wanted}.toml"));
    }
    let year = doc.path.split('/').nth(1).unwrap_or("");
    let plain = year.len() == 4 && year.bytes().all(|byte| byte.is_ascii_digit());
    if !plain || year.parse() != Ok(name.date.year()) {
        out.say(
            doc.place("/performed"),
            format!("the file name says {}, the folder {year}", name.date),
        )
        .help(format!("move the file to {}", name.path()));
    }
}

fn minute_of_day(wall: &DateTime) -> Option<i32> {
    Some(i32::from(wall.hour()) * 60 + i32::from(wall.minute()))
}

fn review(review: &Loaded<Review>, out: &mut Out<'_>) {
    let Slot::Record(Kind::Review, below) = layout::slot(&review.doc.path) else {
        return;
    };
    let Some((folder, file)) = below.rsplit_once('/') else {
        return;
    };
    let (pointer, named, belongs) = match (&review.check, &review.record.record) {
        (Some(check), _) => {
            let reviews = CheckName::parse(check).map(|name| name.reviews_folder());
            ("/check", check, reviews)
        }
        (None, Some(record)) => ("/record", record, Some(format!("reviews/records/{record}"))),
        (None, None) => return,
    };
    if let Some(belongs) = belongs
        && belongs != format!("reviews/{folder}")
    {
        out.say(
            review.at(pointer),
            format!(
                "{} says {named}, the folder reviews/{folder}",
                pointer.trim_start_matches('/')
            ),
        )
        .help(format!(
            "correct what is reviewed, or move the file into {belongs}"
        ));
    }
    let number = file
        .strip_prefix(&review.reviewer)
        .and_then(|rest| rest.strip_prefix('-'));
    let counts = |number: &str| {
        !number.is_empty()
            && !number.starts_with('0')
            && number.bytes().all(|byte| byte.is_ascii_digit())
    };
    if !number.is_some_and(counts) {
        out.say(
            review.at("/reviewer"),
            format!("reviewer says {}, the file name {file}", review.reviewer),
        )
        .help(format!(
            "name the file after its reviewer with the number of the decision, {}-1.toml for the first",
            review.reviewer
        ));
    }
}
