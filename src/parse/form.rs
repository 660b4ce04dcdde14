//! A template as a form: which keys wait for a value, what is said of them, and what a typed answer means there.

use super::edit::{quoted, read, value_of};
use super::{Disagreement, FaultKind};
use crate::record::Kind;
use crate::text::decimal;

/// A text of a kind of record in which keys may lack a value.
pub struct Form {
    kind: Kind,
    path: String,
    lines: Vec<Entry>,
}

struct Entry {
    text: String,
    /// Of a key that waits, or waited, for a value.
    slot: Option<Slot>,
}

#[derive(Clone)]
struct Slot {
    key: String,
    /// With the row of its table, counted from 0.
    pointer: String,
    /// What the template says beside it.
    remark: String,
    value: Option<String>,
    /// A person said that it does not apply.
    left_out: bool,
}

/// A key to ask for.
pub struct Waiting {
    pub pointer: String,
    pub remark: String,
    /// The remarks above it, from the last key or header on.
    pub above: String,
}

impl Form {
    pub fn of(kind: Kind, path: &str, text: &str) -> Form {
        let mut form = Form {
            kind,
            path: path.to_owned(),
            lines: Vec::new(),
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
        let mut table = String::new();
        let mut rows: Vec<(String, usize)> = Vec::new();
        let mut last: Option<usize> = None;
        for at in 0..self.lines.len() {
            let line = self.lines[at].text.clone();
            if let Some(name) = line
                .strip_prefix("[[")
                .and_then(|rest| rest.split(']').next())
            {
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
                table = format!("/{name}/{row}");
                last = None;
                continue;
            }
            if let Some(name) = line
                .strip_prefix('[')
                .and_then(|rest| rest.split(']').next())
            {
                table = format!("/{name}");
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
            let Some((key, rest)) = line.split_once('=') else {
                continue;
            };
            let key = key.trim();
            let plain = !key.is_empty()
                && key
                    .bytes()
                    .all(|at| at.is_ascii_alphanumeric() || at == b'_');
            let rest = rest.trim_start();
            if !plain || !(rest.is_empty() || rest.starts_with('#')) {
                continue;
            }
            let pointer = format!("{table}/{key}");
            let was = self.lines[at].slot.take();
            self.lines[at].slot = Some(Slot {
                key: key.to_owned(),
                pointer,
                remark: rest.trim_start_matches('#').trim().to_owned(),
                value: was.as_ref().and_then(|slot| slot.value.clone()),
                left_out: was.is_some_and(|slot| slot.left_out),
            });
            last = Some(at);
        }
    }

    /// The next key without a value, in the order of the text.
    pub fn next(&self) -> Option<Waiting> {
        let at = self.lines.iter().position(|line| {
            line.slot
                .as_ref()
                .is_some_and(|slot| slot.value.is_none() && !slot.left_out)
        })?;
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
            remark: slot.remark.clone(),
            above: above.join(" "),
        })
    }

    fn slot(&mut self, pointer: &str) -> Option<&mut Slot> {
        let mut slots = self.lines.iter_mut().filter_map(|line| line.slot.as_mut());
        slots.find(|slot| slot.pointer == pointer)
    }

    pub fn leave_out(&mut self, pointer: &str) {
        if let Some(slot) = self.slot(pointer) {
            slot.left_out = true;
        }
    }

    /// Puts in what a person typed, and gives it as TOML writes it. A list may be typed with commas alone, a figure with a
    /// decimal comma. Refused, with the reason, where the schema wants something else.
    pub fn fill(
        &mut self,
        pointer: &str,
        typed: &str,
    ) -> Result<Result<String, String>, Disagreement> {
        let typed = typed.trim();
        let parts: Vec<&str> = typed
            .split([',', ';'])
            .map(str::trim)
            .filter(|part| !part.is_empty())
            .collect();
        let texts: Vec<String> = parts.iter().map(|part| quoted(part)).collect();
        let candidates = [
            value_of(typed),
            Some(quoted(typed)),
            decimal::figure(typed, None).ok(),
            value_of(&format!("[{}]", parts.join(", "))),
            Some(format!("[{}]", texts.join(", "))),
        ];
        let mut why = None;
        for value in candidates.into_iter().flatten() {
            let before = self
                .slot(pointer)
                .and_then(|slot| slot.value.replace(value.clone()));
            let reading = read(self.kind, &self.path, &self.text(false))?;
            let fault = reading.faults.into_iter().find(|fault| {
                fault.place.pointer == pointer
                    || fault.place.pointer.starts_with(&format!("{pointer}/"))
                    || matches!(fault.kind, FaultKind::Syntax | FaultKind::NotANumber)
            });
            match fault {
                None => return Ok(Ok(value)),
                Some(fault) => {
                    if let Some(slot) = self.slot(pointer) {
                        slot.value = before;
                    }
                    why.get_or_insert(match fault.help.as_str() {
                        "" => fault.message,
                        help => format!("{}; {help}", fault.message),
                    });
                }
            }
        }
        Ok(Err(why.unwrap_or_else(|| "nothing is written".to_owned())))
    }

    /// The array of tables that a key stands in, if it is the last that waits in its row.
    pub fn row_done(&self, pointer: &str) -> Option<String> {
        let mut steps = pointer.splitn(4, '/').skip(1);
        let (name, row) = (steps.next()?, steps.next()?);
        row.parse::<usize>().ok()?;
        let prefix = format!("/{name}/{row}/");
        let slots = self.lines.iter().filter_map(|line| line.slot.as_ref());
        let own: Vec<&Slot> = slots
            .filter(|slot| slot.pointer.starts_with(&prefix))
            .collect();
        let open = own
            .iter()
            .any(|slot| slot.value.is_none() && !slot.left_out);
        // A row that does not apply has no other beside it.
        let applies = own.iter().any(|slot| slot.value.is_some());
        (applies && !open).then(|| name.to_owned())
    }

    /// One more row of an array of tables behind its last, with the same keys to ask for.
    pub fn add_row(&mut self, name: &str) {
        let header = format!("[[{name}]]");
        let Some(start) = self
            .lines
            .iter()
            .rposition(|line| line.text.starts_with(&header))
        else {
            return;
        };
        let end = self.lines[start + 1..]
            .iter()
            .position(|line| {
                line.text.is_empty() || line.text.starts_with('[') || line.text.starts_with("# ")
            })
            .map_or(self.lines.len(), |at| start + 1 + at);
        let mut row = vec![Entry {
            text: String::new(),
            slot: None,
        }];
        row.extend(self.lines[start..end].iter().map(|line| Entry {
            text: line.text.clone(),
            slot: None,
        }));
        self.lines.splice(end..end, row);
        self.find_slots();
    }

    /// A header all of whose keys were left out.
    fn is_header_left_out(&self, at: usize) -> bool {
        let is_header = |line: &Entry| line.text.starts_with('[');
        let own = self.lines[at + 1..]
            .iter()
            .take_while(|line| !is_header(line));
        let mut slots = own.filter_map(|line| line.slot.as_ref()).peekable();
        is_header(&self.lines[at]) && slots.peek().is_some() && slots.all(|slot| slot.left_out)
    }

    /// The text as it stands; a key that waits is there as a remark, or where `whole` is wanted as the template has it.
    pub fn text(&self, whole: bool) -> String {
        let mut text = String::new();
        for (at, line) in self.lines.iter().enumerate() {
            match &line.slot {
                None if self.is_header_left_out(at) => text += &format!("#{}", line.text),
                Some(Slot {
                    key,
                    value: Some(value),
                    ..
                }) => {
                    let filled = format!("{key} = {value}");
                    let remark = line.text.split_once('#').map(|(_, remark)| remark.trim());
                    text += &match remark.filter(|remark| !remark.is_empty()) {
                        Some(remark) => format!("{filled:<34} # {remark}"),
                        None => filled,
                    };
                }
                Some(slot) if slot.left_out || !whole => text += &format!("#{}", line.text),
                _ => text += &line.text,
            }
            text.push('\n');
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEMPLATE: &str = "format = 1\nid = \"K-1\"\nnominal_mpa_s =   # of the label\nbase =            # \"silicone\" or\n                  # \"other\"\ncertified =\nexpires =\n\n# One row for each certified temperature.\n[[value]]\ntemperature_c =   # 25.0\nviscosity_mpa_s =\nexpanded_uncertainty_percent =\ncoverage_factor =\n\n# The end.\n";

    fn fill(form: &mut Form, pointer: &str, typed: &str) -> Result<String, String> {
        form.fill(pointer, typed).expect("schema and record agree")
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
        form.leave_out("/expires");
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
        assert!(text.contains("#expires =\n"), "{text}");
        assert!(text.ends_with("# The end.\n"), "{text}");
        // What the first row had stays its own.
        assert!(text.contains("temperature_c = 25.0"), "{text}");
    }

    #[test]
    fn a_row_that_does_not_apply_is_a_remark_with_its_header() {
        let template = "format = 1\n\n[[bottle]]\nid =\nopened =\n";
        let mut form = Form::of(Kind::Fluid, "fluids/K-1.toml", template);
        form.leave_out("/bottle/0/id");
        assert!(form.text(true).contains("\n[[bottle]]\n#id =\n"));
        form.leave_out("/bottle/0/opened");
        assert!(
            form.text(true)
                .contains("\n#[[bottle]]\n#id =\n#opened =\n")
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
        let template = "format = 1\nid = \"op-1\"\nemails =\n";
        let mut form = Form::of(Kind::Person, "people/op-1.toml", template);
        assert_eq!(
            fill(&mut form, "/emails", "a@lab.example; b@lab.example").as_deref(),
            Ok("[\"a@lab.example\", \"b@lab.example\"]")
        );
    }
}
