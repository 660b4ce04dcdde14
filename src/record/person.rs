//! A person, as a code, with what they may do.

use super::{Correction, Fields, Kind, Record, When, corrections, words};
use jiff::civil::Date;

#[derive(Clone, Debug)]
pub struct Person {
    pub id: String,
    /// As git knows the person.
    pub emails: Vec<String>,
    pub authorised: Vec<Authorised>,
    pub signing_keys: Vec<(When, Option<Date>)>,
    pub corrections: Vec<Correction>,
}

#[derive(Clone, Debug)]
pub struct Authorised {
    pub duty: Duty,
    pub from: When,
    /// The last day.
    pub until: Option<Date>,
}

words! {
    Duty { Check = "check", Review = "review", Records = "records" }
}

impl Record for Person {
    const KIND: Kind = Kind::Person;

    fn read(fields: &mut dyn Fields) -> Option<Person> {
        fields.common();
        fields.known("name");
        Some(Person {
            id: fields.text("id")?,
            emails: fields.opt_texts("emails").unwrap_or_default(),
            signing_keys: fields.list("signing_key", |row| {
                row.known("key");
                Some((row.when("from")?, row.opt_date("until")))
            }),
            authorised: fields.list("authorised", |row| {
                row.known("late_reason");
                Some(Authorised {
                    duty: row.word("for")?,
                    from: row.when("from")?,
                    until: row.opt_date("until"),
                })
            }),
            corrections: corrections(fields),
        })
    }
}
