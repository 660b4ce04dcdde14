//! What was decided about a failure, or about an error that cannot be undone.

use super::{Fields, Kind, Record};
use jiff::civil::Date;

#[derive(Clone, Debug)]
pub struct Nonconformity {
    pub id: String,
    pub opened: Date,
    pub checks: Vec<String>,
    pub findings: Vec<NamedFinding>,
    pub outcome: Option<Outcome>,
}

/// An error that a nonconformity is about.
#[derive(Clone, Debug)]
pub struct NamedFinding {
    pub rule: String,
    pub path: String,
    pub commit: Option<String>,
}

#[derive(Clone, Debug)]
pub struct Outcome {
    pub by: String,
    pub date: Date,
}

impl Record for Nonconformity {
    const KIND: Kind = Kind::Nonconformity;

    fn read(fields: &mut dyn Fields) -> Option<Nonconformity> {
        fields.common();
        Some(Nonconformity {
            id: fields.text("id")?,
            opened: fields.date("opened")?,
            checks: fields.opt_texts("checks").unwrap_or_default(),
            findings: fields.list("finding", |row| {
                Some(NamedFinding {
                    rule: row.text("rule")?,
                    path: row.text("path")?,
                    commit: row.opt_text("commit"),
                })
            }),
            outcome: fields.sub("outcome", |table| {
                table.known("evaluation");
                table.known("decision");
                Some(Outcome {
                    by: table.text("by")?,
                    date: table.date("date")?,
                })
            }),
        })
    }
}
