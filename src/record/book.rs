//! The marker `shearbook.toml`: the laboratory, its time zone, the gate's settings.

use super::{Fields, Kind, Record};

#[derive(Clone, Debug)]
pub struct Book {
    pub laboratory: String,
    /// IANA name.
    pub time_zone: String,
    pub gate: Gate,
}

/// What the gate asks of a change, beyond the records themselves.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gate {
    /// Calendar days.
    pub late_entry_days: i64,
    pub require_signed_commits: bool,
    pub require_known_authors: bool,
    /// Branches or full names of refs; `None` means the branch that HEAD names.
    pub sealed_refs: Option<Vec<String>>,
    /// The commit up to which the history came from elsewhere.
    pub audit_from: Option<String>,
}

impl Default for Gate {
    fn default() -> Gate {
        Gate {
            late_entry_days: 3,
            require_signed_commits: false,
            require_known_authors: false,
            sealed_refs: None,
            audit_from: None,
        }
    }
}

impl Record for Book {
    const KIND: Kind = Kind::Book;

    fn read(fields: &mut dyn Fields) -> Option<Book> {
        fields.common();
        fields.rows("machine_key", &mut |row| row.known("key"));
        Some(Book {
            laboratory: fields.text("laboratory")?,
            time_zone: fields.text("time_zone")?,
            gate: fields.sub("gate", gate).unwrap_or_default(),
        })
    }
}

fn gate(table: &mut dyn Fields) -> Option<Gate> {
    let none = Gate::default();
    Some(Gate {
        late_entry_days: table
            .opt_integer("late_entry_days")
            .unwrap_or(none.late_entry_days),
        require_signed_commits: table
            .opt_flag("require_signed_commits")
            .unwrap_or(none.require_signed_commits),
        require_known_authors: table
            .opt_flag("require_known_authors")
            .unwrap_or(none.require_known_authors),
        sealed_refs: table.opt_texts("sealed_refs"),
        audit_from: table.opt_text("audit_from"),
    })
}
