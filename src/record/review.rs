//! A reviewer's decision on a check or on a record.

use super::{Fields, Kind, Record, Stamp, words};

#[derive(Clone, Debug)]
pub struct Review {
    pub check: Option<String>,
    pub record: Option<String>,
    /// Of the reviewed file's bytes as committed, lower-case hexadecimal.
    pub sha256: String,
    pub reviewer: String,
    pub decided: Stamp,
    pub decision: ReviewDecision,
    pub comment: Option<String>,
}

words! {
    ReviewDecision { Approve = "approve", Reject = "reject" }
}

impl Record for Review {
    const KIND: Kind = Kind::Review;

    fn read(fields: &mut dyn Fields) -> Option<Review> {
        fields.common();
        Some(Review {
            check: fields.opt_text("check"),
            record: fields.opt_text("record"),
            sha256: fields.text::<String>("sha256")?.to_ascii_lowercase(),
            reviewer: fields.text("reviewer")?,
            decided: fields.stamp("decided")?,
            decision: fields.word("decision")?,
            comment: fields.opt_text("comment"),
        })
    }
}
