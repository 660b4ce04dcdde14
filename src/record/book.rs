//! The marker `shearbook.toml`: the laboratory, its time zone, the gate's settings.

use super::{Fields, Kind, Record};

#[derive(Clone, Debug)]
pub struct Book {
    pub laboratory: String,
    /// IANA name.
    pub time_zone: String,
}

impl Record for Book {
    const KIND: Kind = Kind::Book;

    fn read(fields: &mut dyn Fields) -> Option<Book> {
        fields.common();
        // What the gate asks of history is judged from the commits themselves, not from a record.
        fields.table("gate", &mut |gate| {
            for key in [
                "late_entry_days",
                "require_signed_commits",
                "require_known_authors",
                "sealed_refs",
                "audit_from",
            ] {
                gate.known(key);
            }
        });
        fields.rows("machine_key", &mut |row| row.known("key"));
        Some(Book {
            laboratory: fields.text("laboratory")?,
            time_zone: fields.text("time_zone")?,
        })
    }
}
