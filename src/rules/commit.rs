//! A commit as the change rules see it.

use super::effect::Affected;
use crate::book::{Book, Loaded};
use crate::finding::Place;
use crate::parse::Doc;
use crate::record::book::{Book as Marker, Gate};
use crate::record::check::Check;
use crate::record::nonconformity::Nonconformity;
use crate::record::person::Person;
use crate::record::review::Review;
use jiff::Timestamp;

/// A commit, or the one in the making, with what the rules need of it.
pub struct Commit<'a> {
    /// `None` in the making.
    pub id: Option<&'a str>,
    /// The author's e-mail; `None` where nobody says who it is.
    pub author: Option<&'a str>,
    /// The committer's date; in the making the time of the clock.
    pub at: Timestamp,
    /// The real time.
    pub now: Timestamp,
    /// The parents' ids and committer's dates.
    pub parents: &'a [(String, Timestamp)],
    /// What the gate asks, by the settings that judge this change.
    pub settings: &'a Gate,
    /// Who may keep records is known from this book.
    pub keepers: &'a Book,
    /// The facts as the commit leaves them; people and marker are read.
    pub book: &'a Book,
    /// The markers of parents whose settings this commit, and not the other side of a merge, may have changed.
    pub markers: &'a [Loaded<Marker>],
    /// The checks that no parent has.
    pub checks: &'a [NewCheck],
    /// The reviews that no parent has.
    pub reviews: &'a [Loaded<Review>],
    /// The nonconformities whose outcome no parent has.
    pub decided: &'a [Loaded<Nonconformity>],
    /// The facts that are as no parent has them.
    pub facts: &'a [Place],
    pub altered: &'a [Effect],
    pub backdated: &'a [Effect],
}

pub struct NewCheck {
    pub id: String,
    pub doc: Doc,
    pub check: Check,
    pub before: Before,
}

/// What stood at the path of a new record earlier in the history, where that was asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Before {
    Nothing,
    /// The record that is put back.
    Same,
    /// A record that was lost, and is written anew otherwise.
    Other,
}

/// A changed fact with what it does to committed checks.
#[derive(Clone, Debug)]
pub struct Effect {
    /// Where the fact changed.
    pub place: Place,
    /// The same before.
    pub was: Option<Place>,
    pub why: Why,
    pub affected: Vec<Affected>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// Committed checks say something else.
    Effect,
    /// The change says that it corrects, but a check that rests on it is not amended.
    NotAmended,
    /// A row of one side of a merge is gone.
    LostRow,
    /// A `[[correction]]` is gone or another one.
    LostCorrection,
    /// An appended row with a reason for being late.
    Late,
}

impl Commit<'_> {
    /// How a sentence names it.
    pub fn name(&self) -> String {
        match self.id {
            Some(id) => format!("commit {}", id.get(..12).unwrap_or(id)),
            None => "this commit".to_owned(),
        }
    }

    /// The author as a sentence names it.
    pub fn author_in_words(&self) -> Option<&str> {
        self.author.map(|author| match author {
            "" => "somebody without an e-mail",
            author => author,
        })
    }

    /// Whether the author is one of these people; `None` where that is not known.
    pub fn is_by(&self, people: &[&str]) -> Option<bool> {
        let author = self.author?;
        let mut unknown = false;
        for id in people {
            match self.book.people.named(id) {
                crate::book::Named::Sound(person) if has_mail(person, author) => return Some(true),
                crate::book::Named::Broken => unknown = true,
                _ => {}
            }
        }
        (!unknown).then_some(false)
    }
}

/// Domains know no capital letters, and hardly any mailbox does.
pub fn has_mail(person: &Person, mail: &str) -> bool {
    let mut own = person.emails.iter();
    !mail.is_empty() && own.any(|own| own.eq_ignore_ascii_case(mail))
}
