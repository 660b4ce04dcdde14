//! The published values beside what this program computes, for people and as JSON.

use super::wrapped;
use crate::measure::published::Row;
use serde::Serialize;

const CAUTION: &str = "This shows that the program computes what its sources print. That it fits the laboratory's own procedure is for the laboratory to judge and to file.";

pub fn agree(rows: &[Row]) -> bool {
    rows.iter().all(|row| row.agrees)
}

pub fn text(rows: &[Row], version: &str, width: usize) -> String {
    let head = format!(
        "shearbook {version}: published values and worked examples, computed by this program"
    );
    let mut text = wrapped(&head, width, "", "  ");
    let mut topic = "";
    let mut source = "";
    for row in rows {
        if row.topic != topic {
            topic = row.topic;
            source = "";
            text += &format!("\n{topic}\n");
        }
        if row.source != source {
            source = row.source;
            let standing = row.standing.word();
            text += &wrapped(&format!("{source} ({standing})"), width, "  ", "    ");
        }
        let mark = if row.agrees { "agrees " } else { "DIFFERS" };
        text += &wrapped(
            &format!("{}: {}, computed {}", row.what, row.expected, row.computed),
            width,
            &format!("    {mark} "),
            "            ",
        );
    }
    let differ = rows.iter().filter(|row| !row.agrees).count();
    text += &match differ {
        0 => format!("\nAll {} values agree.\n", rows.len()),
        _ => format!("\n{differ} of {} values differ.\n", rows.len()),
    };
    text + &wrapped(CAUTION, width, "", "")
}

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    version: &'a str,
    values: Vec<Value<'a>>,
    counts: Counts,
}

#[derive(Serialize)]
struct Value<'a> {
    topic: &'a str,
    what: &'a str,
    source: &'a str,
    standing: &'a str,
    expected: &'a str,
    computed: &'a str,
    agrees: bool,
}

#[derive(Serialize)]
struct Counts {
    agree: usize,
    differ: usize,
}

pub fn json(rows: &[Row], version: &str) -> String {
    let agree = rows.iter().filter(|row| row.agrees).count();
    super::check_json::pretty(&Document {
        format: 1,
        version,
        values: rows
            .iter()
            .map(|row| Value {
                topic: row.topic,
                what: row.what,
                source: row.source,
                standing: row.standing.word(),
                expected: &row.expected,
                computed: &row.computed,
                agrees: row.agrees,
            })
            .collect(),
        counts: Counts {
            agree,
            differ: rows.len() - agree,
        },
    })
}
