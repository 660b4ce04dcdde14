//! What waits for a review as JSON; `schema/output/review.schema.json` describes it.

use super::review_text::{Check, List, Record};
use crate::book::Book;
use crate::record::check::Verdict;
use serde::Serialize;

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    as_of: String,
    checks: Vec<CheckRow<'a>>,
    records: Vec<RecordRow<'a>>,
}

#[derive(Serialize)]
struct CheckRow<'a> {
    check: &'a str,
    state: &'static str,
    made: String,
    verdict: Option<&'static str>,
    operator: Option<&'a str>,
    due: Option<String>,
    days_left: Option<i64>,
    rejected_by: Option<&'a str>,
    comment: Option<&'a str>,
}

#[derive(Serialize)]
struct RecordRow<'a> {
    record: &'a str,
    state: &'static str,
    approved_before_by: Option<&'a str>,
    rejected_by: Option<&'a str>,
    comment: Option<&'a str>,
}

fn check<'a>(book: &Book, check: &'a Check<'a>) -> CheckRow<'a> {
    let one = &check.waiting;
    CheckRow {
        check: one.id,
        state: match one.rejected {
            Some(_) => "rejected",
            None => "waiting",
        },
        made: book.zone.date(one.made).to_string(),
        verdict: one.facts.verdict.map(Verdict::word),
        operator: check.operator.as_deref(),
        due: one.due.map(|due| due.to_string()),
        days_left: one.days_left,
        rejected_by: one.rejected.map(|review| &*review.reviewer),
        comment: check.comment.as_deref(),
    }
}

fn record<'a>(record: &'a Record<'a>) -> RecordRow<'a> {
    let one = &record.waiting;
    RecordRow {
        record: &one.record,
        state: match one.rejected {
            Some(_) => "rejected",
            None => "waiting",
        },
        approved_before_by: one.approved_before.map(|review| &*review.reviewer),
        rejected_by: one.rejected.map(|review| &*review.reviewer),
        comment: record.comment.as_deref(),
    }
}

pub fn render(list: &List<'_>) -> String {
    super::check_json::pretty(&Document {
        format: 1,
        as_of: list.book.as_of().to_string(),
        checks: list
            .checks
            .iter()
            .map(|one| check(list.book, one))
            .collect(),
        records: list.records.iter().map(record).collect(),
    })
}
