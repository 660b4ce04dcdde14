//! Which reviews count: the one place that says whose decision about a check or a record stands.

use super::zone::Zone;
use crate::record::review::{Review, ReviewDecision};
use jiff::Timestamp;
use sha2::Sha256;
use std::collections::BTreeMap;

/// The SHA-256 of a file's bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Digest([u8; 32]);

impl Digest {
    pub fn of(bytes: &[u8]) -> Digest {
        Digest(<Sha256 as sha2::Digest>::digest(bytes).into())
    }

    /// `None` where the text is no SHA-256.
    pub fn read(text: &str) -> Option<Digest> {
        let mut digest = [0; 32];
        if text.len() != 64 {
            return None;
        }
        for (at, byte) in digest.iter_mut().enumerate() {
            *byte = u8::from_str_radix(text.get(2 * at..2 * at + 2)?, 16).ok()?;
        }
        Some(Digest(digest))
    }

    /// Its first digits, for a sentence.
    pub fn short(&self) -> String {
        let text = self.to_string();
        text.get(..12).unwrap_or(&text).to_owned()
    }
}

impl std::fmt::Display for Digest {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0
            .iter()
            .try_for_each(|byte| write!(formatter, "{byte:02x}"))
    }
}

/// What is kept of a review.
#[derive(Clone, Debug)]
pub struct ReviewFacts {
    pub reviewer: Box<str>,
    pub decision: ReviewDecision,
    pub decided: Timestamp,
    /// The number in its name.
    pub number: u32,
    /// What it is bound to.
    pub content: Digest,
    /// No error speaks against it.
    pub sound: bool,
}

impl ReviewFacts {
    /// `None` where the time of the decision names no instant.
    pub fn of(path: &str, review: &Review, zone: &Zone) -> Option<ReviewFacts> {
        let number = path
            .strip_suffix(".toml")
            .and_then(|stem| stem.rsplit_once('-')?.1.parse().ok());
        Some(ReviewFacts {
            reviewer: review.reviewer.as_str().into(),
            decision: review.decision,
            decided: zone.instant(&review.decided).ok()?,
            number: number.unwrap_or(0),
            content: Digest::read(&review.sha256)?,
            sound: true,
        })
    }

    pub fn rejects(&self) -> bool {
        self.decision == ReviewDecision::Reject
    }

    /// An approval that an error speaks against approves nothing; who rejects is heard all the same.
    pub fn counts(&self) -> bool {
        self.sound || self.rejects()
    }

    fn order(&self) -> (Timestamp, u32) {
        (self.decided, self.number)
    }
}

/// The newest decision of each reviewer among those made by a time, in order of time.
pub fn standing<'a>(
    reviews: impl IntoIterator<Item = &'a ReviewFacts>,
    at: Timestamp,
) -> Vec<&'a ReviewFacts> {
    let mut newest: BTreeMap<&str, &ReviewFacts> = BTreeMap::new();
    for review in reviews {
        if review.decided > at || !review.counts() {
            continue;
        }
        let known = newest.entry(&review.reviewer).or_insert(review);
        if review.order() >= known.order() {
            *known = review;
        }
    }
    let mut standing: Vec<&ReviewFacts> = newest.into_values().collect();
    standing.sort_by_key(|review| review.order());
    standing
}

/// The decision that holds at a time: any rejection that stands, else the newest approval.
pub fn decision<'a>(
    reviews: impl IntoIterator<Item = &'a ReviewFacts>,
    at: Timestamp,
) -> Option<&'a ReviewFacts> {
    let standing = standing(reviews, at);
    let rejects = |review: &&&ReviewFacts| review.rejects();
    let rejected = standing.iter().rev().find(rejects);
    rejected.or(standing.last()).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn review(reviewer: &str, word: &str, hour: i64, sound: bool) -> ReviewFacts {
        ReviewFacts {
            reviewer: reviewer.into(),
            decision: crate::record::Word::from_word(word).expect("a decision"),
            decided: Timestamp::from_second(hour * 3600).expect("time"),
            number: 1,
            content: Digest::of(b""),
            sound,
        }
    }

    fn holds(reviews: &[ReviewFacts], hour: i64) -> Option<(&str, bool)> {
        let at = Timestamp::from_second(hour * 3600).expect("time");
        decision(reviews, at).map(|review| (&*review.reviewer, review.rejects()))
    }

    #[test]
    fn a_reviewers_newest_decision_counts_and_any_standing_rejection_prevails() {
        let reviews = [
            review("qa-01", "reject", 1, true),
            review("qa-02", "approve", 2, true),
            review("qa-01", "approve", 3, true),
            review("op-09", "reject", 4, true),
        ];
        assert_eq!(holds(&reviews, 0), None);
        assert_eq!(holds(&reviews, 1), Some(("qa-01", true)));
        assert_eq!(holds(&reviews, 2), Some(("qa-01", true)));
        assert_eq!(holds(&reviews, 3), Some(("qa-01", false)));
        assert_eq!(holds(&reviews, 4), Some(("op-09", true)));
    }

    #[test]
    fn an_approval_with_an_error_takes_nothing_back() {
        let reviews = [
            review("qa-01", "reject", 1, false),
            review("qa-01", "approve", 2, false),
        ];
        assert_eq!(holds(&reviews, 2), Some(("qa-01", true)));
        assert_eq!(holds(&reviews[1..], 2), None);
    }

    #[test]
    fn of_two_decisions_of_one_second_the_later_number_counts() {
        let mut second = review("qa-01", "approve", 1, true);
        second.number = 10;
        let mut first = review("qa-01", "reject", 1, true);
        first.number = 2;
        // In order of path -10 stands before -2.
        assert_eq!(holds(&[second, first], 1), Some(("qa-01", false)));
    }

    // `printf abc | sha256sum`, the example of FIPS 180-4.
    #[test]
    fn a_digest_is_written_as_it_is_read() {
        let text = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(Digest::of(b"abc").to_string(), text);
        assert_eq!(Digest::read(text), Some(Digest::of(b"abc")));
        assert_eq!(Digest::read(&text[1..]), None);
        assert_eq!(Digest::read(&text.replace('a', "g")), None);
    }
}
