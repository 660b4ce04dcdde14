//! A template as a form: which keys wait for a value, what is said of them, and what a typed answer means there.

use super::edit::{quoted, read, value_of};
use super::schema::{self, Entries, MISSING};
use super::{Disagreement, Fault, FaultKind};
use crate::record::Kind;
use crate::text::decimal::{self, Unread};
use std::collections::BTreeSet;

/// A text of a kind of record in which keys may lack a value.
#[derive(Clone)]
pub struct Form {
    kind: Kind,
    path: String,
    lines: Vec<Entry>,
    /// Arrays of tables that get no further row.
    closed: BTreeSet<String>,
}

#[derive(Clone)]
struct Entry {
    text: String,
    /// Of a key that waits, or waited, for a value, or may come to.
    slot: Option<Slot>,
}

#[derive(Clone)]
struct Slot {
    key: String,
    /// With the row of its table, counted from 0.
    pointer: String,
    /// What the template says beside it.
    remark: String,
    state: State,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum State {
    Waiting,
    Filled(String),
    /// A person said that it does not apply.
    LeftOut,
    /// A remark in the template, which is asked for only where it is needed.
    Dormant,
}

/// A key to ask for.
pub struct Waiting {
    pub pointer: String,
    pub key: String,
    pub remark: String,
    /// The remarks above it, from the last key or header on.
    pub above: String,
}

/// What leaving a key out comes to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LeaveOut {
    Key,
    /// It is the first of a row, which goes with it.
    Row(String),
    /// One of these is then asked for in its place.
    Instead(Vec<String>),
    /// It cannot be left out, and why.
    Needed(String),
}

/// The table that a key stands in, and its name.
fn apart(pointer: &str) -> (&str, &str) {
    pointer.rsplit_once('/').unwrap_or(("", pointer))
}

/// The array of tables and the row that a table's pointer names.
fn row_of(table: &str) -> Option<(&str, usize)> {
    let (name, row) = table.strip_prefix('/')?.split_once('/')?;
    Some((name, row.parse().ok()?))
}

/// The name in a header such as `[[point]]` or `[preparation]`.
fn header<'l>(line: &'l str, open: &str) -> Option<&'l str> {
    line.strip_prefix(open)
        .and_then(|rest| rest.split(']').next())
}

impl Form {
    pub fn of(kind: Kind, path: &str, text: &str) -> Form {
        let mut form = Form {
            kind,
            path: path.to_owned(),
            lines: Vec::new(),
            closed: BTreeSet::new(),
        };
        for line in text.lines() {
            form.lines.push(Entry {
                text: line.to_owned(),
                slot: None,
            });
        }
        form.find_slots();
        form
    }

    fn find_slots(&mut self) {
        let mut table = Some(String::new());
        let mut rows: Vec<(String, usize)> = Vec::new();
        let mut last: Option<usize> = None;
        for at in 0..self.lines.len() {
            let line = self.lines[at].text.clone();
            if let Some(name) = header(&line, "[[") {
                let row = match rows.iter_mut().find(|(other, _)| other == name) {
                    Some((_, row)) => {
                        *row += 1;
                        *row
                    }
                    None => {
                        rows.push((name.to_owned(), 0));
                        0
                    }
                };
                table = Some(format!("/{name}/{row}"));
                last = None;
                continue;
            }
            if let Some(name) = header(&line, "[") {
                table = Some(format!("/{name}"));
                last = None;
                continue;
            }
            if line.starts_with("#[") {
                // What stands below it is no key of the table before it.
                table = None;
                last = None;
                continue;
            }
            let continued = line
                .starts_with(' ')
                .then(|| line.trim_start())
                .and_then(|rest| rest.strip_prefix('#'));
            if let (Some(more), Some(last)) = (continued, last) {
                if let Some(slot) = &mut self.lines[last].slot {
                    slot.remark.push_str(more);
                }
                continue;
            }
            last = None;
            let (bare, dormant) = match line.strip_prefix('#') {
                Some(bare) => (bare, true),
                None => (line.as_str(), false),
            };
            let (Some(table), Some((key, rest))) = (&table, bare.split_once('=')) else {
                continue;
            };
            let key = key.trim_end();
            let plain = !key.is_empty()
                && key
                    .bytes()
                    .all(|at| at.is_ascii_alphanumeric() || at == b'_');
            let rest = rest.trim_start();
            if !plain || !(rest.is_empty() || rest.starts_with('#')) {
                continue;
            }
            let was = self.lines[at].slot.take();
            self.lines[at].slot = Some(Slot {
                key: key.to_owned(),
                pointer: format!("{table}/{key}"),
                remark: rest.trim_start_matches('#').trim().to_owned(),
                state: match (was, dormant) {
                    (Some(slot), _) => slot.state,
                    (None, true) => State::Dormant,
                    (None, false) => State::Waiting,
                },
            });
            last = Some(at);
        }
    }

    /// The next key without a value, in the order of the text.
    pub fn next(&self) -> Option<Waiting> {
        let waits = |slot: &Slot| slot.state == State::Waiting;
        let at = self
            .lines
            .iter()
            .position(|line| line.slot.as_ref().is_some_and(waits))?;
        let slot = self.lines[at].slot.as_ref()?;
        let mut above: Vec<&str> = self.lines[..at]
            .iter()
            .rev()
            .take_while(|line| {
                line.text.is_empty() || line.text.starts_with("# ") || line.text.starts_with('[')
            })
            .filter_map(|line| line.text.strip_prefix("# "))
            .collect();
        above.reverse();
        Some(Waiting {
            pointer: slot.pointer.clone(),
            key: slot.key.clone(),
            // The last of them may lead on to the next key.
            remark: slot.remark.trim_end_matches(',').to_owned(),
            above: above.join(" "),
        })
    }

    fn slots(&self) -> impl Iterator<Item = &Slot> {
        self.lines.iter().filter_map(|line| line.slot.as_ref())
    }

    /// The keys of one table, those of its tables left aside.
    fn beside(&self, table: &str) -> impl Iterator<Item = &Slot> {
        self.slots()
            .filter(move |slot| apart(&slot.pointer).0 == table)
    }

    fn state(&self, pointer: &str) -> Option<&State> {
        let slot = self.slots().find(|slot| slot.pointer == pointer)?;
        Some(&slot.state)
    }

    fn set(&mut self, pointer: &str, state: State) {
        let mut slots = self.lines.iter_mut().filter_map(|line| line.slot.as_mut());
        if let Some(slot) = slots.find(|slot| slot.pointer == pointer) {
            slot.state = state;
        }
    }

    /// What was filled in at a key, as TOML writes it.
    pub fn value(&self, pointer: &str) -> Option<&str> {
        match self.state(pointer)? {
            State::Filled(value) => Some(value),
            _ => None,
        }
    }

    /// The keys that a person has filled in, in the order of the text.
    pub fn filled(&self) -> Vec<String> {
        self.slots()
            .filter(|slot| matches!(slot.state, State::Filled(_)))
            .map(|slot| slot.pointer.clone())
            .collect()
    }

    pub fn is_waiting(&self, pointer: &str) -> bool {
        self.state(pointer) == Some(&State::Waiting)
    }

    /// The keys of a table that are a remark so far.
    pub fn dormant(&self, table: &str) -> Vec<String> {
        self.beside(table)
            .filter(|slot| slot.state == State::Dormant)
            .map(|slot| slot.pointer.clone())
            .collect()
    }

    /// Has a key asked for that was a remark; false where there is none.
    pub fn wake(&mut self, pointer: &str) -> bool {
        let sleeps = self.state(pointer) == Some(&State::Dormant);
        if sleeps {
            self.set(pointer, State::Waiting);
        }
        sleeps
    }

    /// How many rows an array of tables has; one that was left out is none.
    pub fn rows(&self, name: &str) -> usize {
        let own = |at: &usize| {
            header(&self.lines[*at].text, "[[") == Some(name) && !self.is_header_left_out(*at)
        };
        (0..self.lines.len()).filter(own).count()
    }

    pub fn description(&self, pointer: &str) -> String {
        schema::key(self.kind, pointer)
            .description
            .unwrap_or_default()
    }

    /// The keys of a list's rows, with what is said of them, where its rows are nothing but figures.
    pub fn columns(&self, pointer: &str) -> Option<Vec<(String, String)>> {
        match schema::key(self.kind, pointer).entries? {
            Entries::Rows(columns) => Some(columns),
            _ => None,
        }
    }

    fn faults(&self) -> Result<Vec<Fault>, Disagreement> {
        Ok(read(self.kind, &self.path, &self.text(false))?.faults)
    }

    /// The same form with a value that fits at a key.
    pub fn with_sample(&self, pointer: &str) -> Option<Form> {
        let mut form = self.clone();
        form.set(
            pointer,
            State::Filled(schema::key(self.kind, pointer).sample?),
        );
        Some(form)
    }

    /// The text as it would be with something that fits at every key that waits.
    pub fn rehearsal(&self) -> String {
        let mut form = self.clone();
        for line in &mut form.lines {
            if let Some(slot) = &mut line.slot
                && slot.state == State::Waiting
                && let Some(sample) = schema::key(self.kind, &slot.pointer).sample
            {
                slot.state = State::Filled(sample);
            }
        }
        form.text(false)
    }

    /// What leaving a key out would come to.
    pub fn leaving_out(&self, pointer: &str) -> Result<LeaveOut, Disagreement> {
        let mut without = self.clone();
        without.leave_out(pointer)
    }

    pub fn leave_out(&mut self, pointer: &str) -> Result<LeaveOut, Disagreement> {
        let (table, key) = apart(pointer);
        let first = self
            .beside(table)
            .find(|slot| slot.state != State::Dormant)
            .is_some_and(|slot| slot.pointer == pointer);
        if let (true, Some((name, _))) = (first, row_of(table)) {
            let mut without = self.clone();
            let own: Vec<String> = self
                .beside(table)
                .map(|slot| slot.pointer.clone())
                .collect();
            for slot in own {
                if without.state(&slot) == Some(&State::Waiting) {
                    without.set(&slot, State::LeftOut);
                }
            }
            let lacks = |fault: &Fault| is_missing(fault, "", name);
            if without.faults()?.iter().any(lacks) {
                return Ok(LeaveOut::Needed(format!(
                    "a [[{name}]] is needed: {}",
                    schema::key(self.kind, &format!("/{name}"))
                        .description
                        .unwrap_or_default()
                )));
            }
            let name = name.to_owned();
            *self = without;
            return Ok(LeaveOut::Row(name));
        }
        let mut without = self.clone();
        without.set(pointer, State::LeftOut);
        let here = |faults: Vec<Fault>| -> Vec<String> {
            let faults = faults.into_iter();
            faults
                .filter(|fault| fault.place.pointer == table)
                .map(|fault| fault.message)
                .collect()
        };
        let before = here(without.faults()?);
        // What a value there would put right is wrong without it.
        let lacking = match self.with_sample(pointer) {
            Some(with) => {
                let with = here(with.faults()?);
                let lacking = before.into_iter().filter(|fault| !with.contains(fault));
                lacking.collect()
            }
            None => Vec::new(),
        };
        if lacking.is_empty() {
            *self = without;
            return Ok(LeaveOut::Key);
        }
        let mut instead = Vec::new();
        for other in without.dormant(table) {
            let Some(with) = without.with_sample(&other) else {
                continue;
            };
            let with = here(with.faults()?);
            if lacking.iter().all(|fault| !with.contains(fault)) {
                instead.push(other);
            }
        }
        if !instead.is_empty() {
            let keys = instead.iter().map(|other| apart(other).1.to_owned());
            let keys = keys.collect();
            for other in &instead {
                without.wake(other);
            }
            *self = without;
            return Ok(LeaveOut::Instead(keys));
        }
        let other = without.beside(table).find(|slot| {
            let begin = format!("{} {MISSING}", slot.key);
            slot.key != key
                && slot.state == State::LeftOut
                && lacking.iter().any(|fault| fault.starts_with(&begin))
        });
        Ok(LeaveOut::Needed(match other {
            Some(other) => format!(
                "{} was left out, so {key} is needed; back goes a step back",
                other.key
            ),
            None => format!("{key} is needed: {}", self.description(pointer)),
        }))
    }

    /// Has those remarks asked for that what is filled in makes necessary.
    fn wake_needed(&mut self) -> Result<(), Disagreement> {
        let faults = self.faults()?;
        for line in &mut self.lines {
            if let Some(slot) = &mut line.slot
                && slot.state == State::Dormant
            {
                let (table, key) = apart(&slot.pointer);
                if faults.iter().any(|fault| is_missing(fault, table, key)) {
                    slot.state = State::Waiting;
                }
            }
        }
        Ok(())
    }

    /// Puts in what a person typed, and gives it as TOML writes it. A list may be typed with commas alone, one of figures with
    /// blanks, a figure with a decimal comma, and a word out of a closed list, or out of the given ones, in any case of letters.
    /// Refused, with the reason, where the schema wants something else.
    pub fn fill(
        &mut self,
        pointer: &str,
        typed: &str,
        words: &[String],
    ) -> Result<Result<String, String>, Disagreement> {
        let typed = typed.trim();
        let key = schema::key(self.kind, pointer);
        let mut first = None;
        for (value, meant) in candidates(typed, &key, words) {
            match self.try_value(pointer, &value)? {
                None => {
                    self.wake_needed()?;
                    return Ok(Ok(value));
                }
                Some(why) => {
                    if meant {
                        first.get_or_insert(why);
                    }
                }
            }
        }
        let name = apart(pointer).1;
        let unread = decimal::figure(typed, None).err();
        let why = match (first, &key.entries, unread) {
            (Some(_), _, Some(why @ (Unread::Ambiguous { .. } | Unread::TwoMarks)))
                if key.is_number =>
            {
                format!("{typed} {}", why.why())
            }
            (None, Some(Entries::Figures), _) => format!(
                "{name} is a list of figures: write them with blanks or commas between, such as 1 2 5"
            ),
            (None, Some(_), _) => {
                format!("{name} is a list: write its entries with commas between")
            }
            (Some(why), ..) => why,
            (None, ..) => "nothing is written".to_owned(),
        };
        Ok(Err(why))
    }

    /// Puts a value in where the schema has nothing against it, and else tells what.
    fn try_value(&mut self, pointer: &str, value: &str) -> Result<Option<String>, Disagreement> {
        let before = self.state(pointer).cloned();
        self.set(pointer, State::Filled(value.to_owned()));
        let below = format!("{pointer}/");
        let fault = self.faults()?.into_iter().find(|fault| {
            fault.place.pointer == pointer
                || fault.place.pointer.starts_with(&below)
                || matches!(fault.kind, FaultKind::Syntax | FaultKind::NotANumber)
        });
        let Some(fault) = fault else {
            return Ok(None);
        };
        if let Some(before) = before {
            self.set(pointer, before);
        }
        Ok(Some(match fault.help.as_str() {
            "" => fault.message,
            help => format!("{}; {help}", fault.message),
        }))
    }

    /// The array of tables that a key stands in, if it is the last that waits in its row and another row may follow.
    pub fn row_done(&self, pointer: &str) -> Option<String> {
        let (table, _) = apart(pointer);
        let (name, _) = row_of(table)?;
        let own: Vec<&Slot> = self.beside(table).collect();
        let open = own.iter().any(|slot| slot.state == State::Waiting);
        // A row that does not apply has no other beside it.
        let applies = own
            .iter()
            .any(|slot| matches!(slot.state, State::Filled(_)));
        (applies && !open && !self.closed.contains(name)).then(|| name.to_owned())
    }

    /// The array of tables that a key stands in, if its row was left out.
    pub fn row_left_out(&self, pointer: &str) -> Option<String> {
        let (table, _) = apart(pointer);
        let (name, _) = row_of(table)?;
        let mut own = self
            .beside(table)
            .filter(|slot| slot.state != State::Dormant);
        own.all(|slot| slot.state == State::LeftOut)
            .then(|| name.to_owned())
    }

    /// An array of tables has all its rows.
    pub fn close(&mut self, name: &str) {
        self.closed.insert(name.to_owned());
    }

    /// Where the lines of a table's body end.
    fn end_of_table(&self, start: usize) -> usize {
        let ends = |line: &Entry| {
            line.text.is_empty() || line.text.starts_with('[') || line.text.starts_with("#[")
        };
        let end = self.lines[start + 1..].iter().position(ends);
        end.map_or(self.lines.len(), |at| start + 1 + at)
    }

    /// One more row of an array of tables behind its last, with the same keys to ask for.
    pub fn add_row(&mut self, name: &str) {
        let Some(start) = self
            .lines
            .iter()
            .rposition(|line| header(&line.text, "[[") == Some(name))
        else {
            return;
        };
        let end = self.end_of_table(start);
        let mut row = vec![Entry {
            text: String::new(),
            slot: None,
        }];
        let own = self.lines[start..end].iter();
        row.extend(
            own.filter(|line| !line.text.starts_with("# "))
                .map(|line| Entry {
                    text: line.text.clone(),
                    slot: None,
                }),
        );
        self.lines.splice(end..end, row);
        self.find_slots();
    }

    /// A header all of whose keys were left out.
    fn is_header_left_out(&self, at: usize) -> bool {
        if !self.lines[at].text.starts_with('[') {
            return false;
        }
        let own = self.lines[at + 1..self.end_of_table(at)].iter();
        let mut slots = own
            .filter_map(|line| line.slot.as_ref())
            .filter(|slot| slot.state != State::Dormant)
            .peekable();
        slots.peek().is_some() && slots.all(|slot| slot.state == State::LeftOut)
    }

    /// The text as it stands; a key that waits is there as a remark, or where `whole` is wanted as the template has it.
    pub fn text(&self, whole: bool) -> String {
        let mut text = String::new();
        let mut left_out_until = 0;
        for (at, line) in self.lines.iter().enumerate() {
            if self.is_header_left_out(at) {
                left_out_until = self.end_of_table(at);
            }
            let bare = match &line.slot {
                Some(_) => line.text.strip_prefix('#').unwrap_or(&line.text),
                None => &line.text,
            };
            match &line.slot {
                Some(Slot {
                    key,
                    state: State::Filled(value),
                    ..
                }) => {
                    let filled = format!("{key} = {value}");
                    let remark = bare.split_once('#').map(|(_, remark)| remark.trim());
                    text += &match remark.filter(|remark| !remark.is_empty()) {
                        Some(remark) => format!("{filled:<34} # {remark}"),
                        None => filled,
                    };
                }
                Some(slot) if slot.state != State::Waiting || !whole => {
                    text += &format!("#{bare}");
                }
                None if at < left_out_until && is_live(bare) => text += &format!("#{bare}"),
                _ => text += bare,
            }
            text.push('\n');
        }
        text
    }
}

/// A line that is neither blank nor a remark.
fn is_live(line: &str) -> bool {
    !line.trim_start().starts_with('#') && !line.trim().is_empty()
}

fn is_missing(fault: &Fault, table: &str, key: &str) -> bool {
    fault.kind == FaultKind::Schema
        && fault.place.pointer == table
        && fault.message.starts_with(&format!("{key} {MISSING}"))
}

/// What a text may mean, as TOML writes it; whether that is of the kind that the key wants.
fn candidates(typed: &str, key: &schema::Key, words: &[String]) -> Vec<(String, bool)> {
    let parts = |separators: fn(char) -> bool| -> Vec<&str> {
        let parts = typed.split(separators).map(str::trim);
        parts.filter(|part| !part.is_empty()).collect()
    };
    let by_comma = parts(|at| matches!(at, ',' | ';'));
    let listed = |entries: Vec<String>| format!("[{}]", entries.join(", "));
    let figures = |parts: &[&str]| -> Option<String> {
        let figures = parts.iter().map(|part| decimal::figure(part, None).ok());
        figures.collect::<Option<Vec<String>>>().map(listed)
    };
    let plain = key.entries.is_none();
    let mut all: Vec<(String, bool)> = Vec::new();
    if plain {
        let mut known = key.words.iter().chain(words);
        let word = known.find(|word| word.eq_ignore_ascii_case(typed));
        all.extend(word.map(|word| (quoted(word), false)));
    }
    let is_list = typed.starts_with('[');
    all.extend(value_of(typed).map(|value| (value, plain || is_list)));
    all.push((quoted(typed), plain));
    all.extend(
        decimal::figure(typed, None)
            .ok()
            .map(|value| (value, plain)),
    );
    match &key.entries {
        Some(Entries::Figures) => {
            let blanks = parts(|at| at.is_whitespace() || at == ';');
            let both = [figures(&by_comma), figures(&blanks)];
            all.extend(both.into_iter().flatten().map(|list| (list, true)));
        }
        Some(Entries::Texts) => {
            let texts = by_comma.iter().map(|part| quoted(part)).collect();
            all.push((listed(texts), true));
        }
        _ => {}
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEMPLATE: &str = "format = 1\nid = \"K-1\"\nnominal_mpa_s =   # of the label\nbase =            # \"silicone\" or\n                  # \"other\"\ncertified =\nexpires =\n\n# One row for each certified temperature.\n[[value]]\ntemperature_c =   # 25.0\nviscosity_mpa_s =\nexpanded_uncertainty_percent =\ncoverage_factor =\n\n# The end.\n";

    fn fill(form: &mut Form, pointer: &str, typed: &str) -> Result<String, String> {
        form.fill(pointer, typed, &[])
            .expect("schema and record agree")
    }

    #[test]
    fn keys_are_asked_in_order_and_answers_are_meant_by_the_schema() {
        let mut form = Form::of(Kind::Fluid, "fluids/K-1.toml", TEMPLATE);
        let first = form.next().expect("a key");
        assert_eq!(
            (first.pointer.as_str(), first.remark.as_str()),
            ("/nominal_mpa_s", "of the label")
        );
        assert_eq!(
            fill(&mut form, "/nominal_mpa_s", "512,6").as_deref(),
            Ok("512.6")
        );
        assert_eq!(
            form.next().expect("a key").remark,
            "\"silicone\" or \"other\""
        );
        let why = fill(&mut form, "/base", "silicon").expect_err("no such base");
        assert!(why.contains("silicone"), "{why}");
        assert_eq!(
            fill(&mut form, "/base", "silicone").as_deref(),
            Ok("\"silicone\"")
        );
        assert!(fill(&mut form, "/certified", "2026-02-30").is_err());
        assert_eq!(
            fill(&mut form, "/certified", "2026-02-28").as_deref(),
            Ok("2026-02-28")
        );
        let needed = form.leave_out("/expires").expect("schema and record agree");
        assert!(
            matches!(&needed, LeaveOut::Needed(why) if why.starts_with("expires is needed: Last day")),
            "{needed:?}"
        );
        assert!(fill(&mut form, "/expires", "2028-02-28").is_ok());
        let next = form.next().expect("a key");
        assert_eq!(next.pointer, "/value/0/temperature_c");
        assert_eq!(next.above, "One row for each certified temperature.");
        for (key, typed) in [
            ("temperature_c", "25,0"),
            ("viscosity_mpa_s", "512.60"),
            ("expanded_uncertainty_percent", "0.4"),
        ] {
            assert!(fill(&mut form, &format!("/value/0/{key}"), typed).is_ok());
            assert_eq!(form.row_done(&format!("/value/0/{key}")), None);
        }
        assert!(fill(&mut form, "/value/0/coverage_factor", "2").is_ok());
        assert_eq!(
            form.row_done("/value/0/coverage_factor").as_deref(),
            Some("value")
        );
        form.add_row("value");
        assert_eq!(
            form.next().expect("a key").pointer,
            "/value/1/temperature_c"
        );
        assert!(fill(&mut form, "/value/1/temperature_c", "40").is_ok());
        let text = form.text(true);
        assert!(text.contains("viscosity_mpa_s = 512.60\n"), "{text}");
        assert!(
            text.contains("temperature_c = 40                 # 25.0\n"),
            "{text}"
        );
        assert!(text.ends_with("# The end.\n"), "{text}");
        // What the first row had stays its own.
        assert!(text.contains("temperature_c = 25.0"), "{text}");
    }

    fn leave_out(form: &mut Form, pointer: &str) -> LeaveOut {
        form.leave_out(pointer).expect("schema and record agree")
    }

    #[test]
    fn a_row_that_does_not_apply_is_a_remark_with_its_header() {
        let template = "format = 1\n\n[[service]]\ndate =\nkind = \"calibration\"\nby =\n#due =\n\n[[spring]]\nfrom =\n";
        let mut form = Form::of(Kind::Instrument, "instruments/VM-1.toml", template);
        assert_eq!(
            leave_out(&mut form, "/service/0/date"),
            LeaveOut::Row("service".to_owned())
        );
        assert!(form.text(true).contains(
            "\n#[[service]]\n#date =\n#kind = \"calibration\"\n#by =\n#due =\n\n[[spring]]\nfrom =\n"
        ));
        assert_eq!(form.next().expect("a key").pointer, "/spring/0/from");
        // A further row that was not meant is no row either.
        let template = "format = 1\n\n[[bottle]]\nid =\nopened =\n";
        let mut form = Form::of(Kind::Fluid, "fluids/K-1.toml", template);
        assert!(fill(&mut form, "/bottle/0/id", "1").is_ok());
        assert!(fill(&mut form, "/bottle/0/opened", "2026-04-01").is_ok());
        form.add_row("bottle");
        assert_eq!(form.rows("bottle"), 2);
        assert_eq!(form.row_left_out("/bottle/1/id"), None);
        leave_out(&mut form, "/bottle/1/id");
        assert_eq!(form.rows("bottle"), 1);
        assert_eq!(form.row_left_out("/bottle/1/id").as_deref(), Some("bottle"));
        assert!(
            form.text(true)
                .ends_with("opened = 2026-04-01\n\n#[[bottle]]\n#id =\n#opened =\n")
        );
        // Without a certified value a fluid is none.
        let mut form = Form::of(Kind::Fluid, "fluids/K-1.toml", TEMPLATE);
        let needed = leave_out(&mut form, "/value/0/temperature_c");
        assert!(
            matches!(&needed, LeaveOut::Needed(why) if why.starts_with("a [[value]] is needed")),
            "{needed:?}"
        );
        assert!(form.is_waiting("/value/0/temperature_c"));
    }

    #[test]
    fn a_key_that_is_left_out_has_the_other_asked_for_in_its_place() {
        let template = "format = 1\nid = \"K-1\"\n[[value]]\ntemperature_c =\nviscosity_mpa_s =   # mPa.s\n#kinematic_mm2_s =   # instead\n#density_g_ml =\nexpanded_uncertainty_percent =\n#expanded_uncertainty_mpa_s =\ncoverage_factor =\n";
        let mut form = Form::of(Kind::Fluid, "fluids/K-1.toml", template);
        let at = |key: &str| format!("/value/0/{key}");
        assert!(fill(&mut form, &at("temperature_c"), "25").is_ok());
        assert_eq!(
            leave_out(&mut form, &at("viscosity_mpa_s")),
            LeaveOut::Instead(vec!["kinematic_mm2_s".to_owned()])
        );
        let next = form.next().expect("a key");
        assert_eq!(
            (next.key.as_str(), next.remark.as_str()),
            ("kinematic_mm2_s", "instead")
        );
        let needed = leave_out(&mut form, &at("kinematic_mm2_s"));
        assert!(
            matches!(&needed, LeaveOut::Needed(why) if why.starts_with("viscosity_mpa_s was left out")),
            "{needed:?}"
        );
        // The one brings the other with it.
        assert!(fill(&mut form, &at("kinematic_mm2_s"), "118.4").is_ok());
        assert_eq!(form.next().expect("a key").key, "density_g_ml");
        assert!(matches!(
            leave_out(&mut form, &at("density_g_ml")),
            LeaveOut::Needed(_)
        ));
        assert!(fill(&mut form, &at("density_g_ml"), "0.8542").is_ok());
        assert_eq!(
            leave_out(&mut form, &at("expanded_uncertainty_percent")),
            LeaveOut::Instead(vec!["expanded_uncertainty_mpa_s".to_owned()])
        );
        let text = form.text(true);
        assert!(
            text.contains("\n#viscosity_mpa_s =   # mPa.s\nkinematic_mm2_s = 118.4"),
            "{text}"
        );
    }

    #[test]
    fn a_word_of_a_closed_list_may_have_other_capitals() {
        let mut form = Form::of(Kind::Fluid, "fluids/K-1.toml", TEMPLATE);
        assert_eq!(
            fill(&mut form, "/base", "Mineral-Oil").as_deref(),
            Ok("\"mineral-oil\"")
        );
        let template = "format = 1\nid = \"VM-1\"\nusage =\n";
        let mut form = Form::of(Kind::Instrument, "instruments/VM-1.toml", template);
        let filled = form.fill("/usage", "Daily", &["daily".to_owned()]);
        assert_eq!(
            filled.expect("schema and record agree").as_deref(),
            Ok("\"daily\"")
        );
    }

    #[test]
    fn lists_may_be_typed_with_commas_alone() {
        let template = "format = 1\nid = \"VM-1\"\nspeeds_rpm =\n";
        let mut form = Form::of(Kind::Instrument, "instruments/VM-1.toml", template);
        assert_eq!(
            fill(&mut form, "/speeds_rpm", "1, 2.5, 5").as_deref(),
            Ok("[1, 2.5, 5]")
        );
        for (typed, meant) in [
            ("1 2 5 15 30 45 60", "[1, 2, 5, 15, 30, 45, 60]"),
            ("0,5 1 2,5", "[0.5, 1, 2.5]"),
            ("1, 2,  5", "[1, 2, 5]"),
            ("[1, 2]", "[1, 2]"),
            ("60", "[60]"),
        ] {
            assert_eq!(
                fill(&mut form, "/speeds_rpm", typed).as_deref(),
                Ok(meant),
                "{typed}"
            );
        }
        let why = fill(&mut form, "/speeds_rpm", "2026-01-01").expect_err("no list");
        assert!(
            why.contains("blanks or commas between, such as 1 2 5"),
            "{why}"
        );
        let why = fill(&mut form, "/speeds_rpm", "1 2 -5").expect_err("no speed");
        assert!(why.contains("must be more than 0"), "{why}");
        let template = "format = 1\nid = \"op-1\"\nemails =\n";
        let mut form = Form::of(Kind::Person, "people/op-1.toml", template);
        assert_eq!(
            fill(&mut form, "/emails", "a@lab.example; b@lab.example").as_deref(),
            Ok("[\"a@lab.example\", \"b@lab.example\"]")
        );
    }
}
