//! A check as a program writes it: the keys in their usual order, figures with the digits that were given.

use super::edit::quoted;
use crate::record::Stamp;

/// What a check says. Figures, times and words are as TOML writes them without quotes; texts are plain.
#[derive(Clone, Debug, Default)]
pub struct CheckText {
    pub note: Option<String>,
    pub instrument: String,
    pub geometry: Option<String>,
    pub fluid: String,
    pub bottle: Option<String>,
    pub thermometer: Option<String>,
    pub bath: Option<String>,
    pub operator: String,
    pub entered_by: Option<String>,
    /// A TOML date-time.
    pub performed: String,
    pub occasion: Option<String>,
    pub condition: Option<String>,
    pub repeats: Option<String>,
    pub late_reason: Option<String>,
    /// Why it is void.
    pub reason: Option<String>,
    pub void_cause: Option<String>,
    pub preparation: PreparationText,
    pub deviations: Vec<DeviationText>,
    pub origin: Option<OriginText>,
    pub points: Vec<PointText>,
}

#[derive(Clone, Debug, Default)]
pub struct PreparationText {
    /// The confirmations by key, in their order.
    pub confirmed: Vec<(String, bool)>,
    pub zero_percent: Option<String>,
    /// A TOML date-time.
    pub soak_started: Option<String>,
}

#[derive(Clone, Debug)]
pub struct DeviationText {
    pub rule: String,
    pub reason: String,
    pub consent: String,
}

/// Where an imported record comes from.
#[derive(Clone, Debug)]
pub struct OriginText {
    pub file: String,
    pub sheet: Option<String>,
    /// Counted from 1.
    pub row: Option<usize>,
    pub sha256: String,
}

#[derive(Clone, Debug, Default)]
pub struct PointText {
    pub speed_rpm: String,
    pub torque_percent: Option<String>,
    pub viscosity_mpa_s: Option<String>,
    pub temperature_c: Option<String>,
    /// Instead of figures.
    pub shown: Option<String>,
}

/// A time as TOML writes it.
pub fn time(stamp: &Stamp) -> String {
    let wall = stamp.wall.strftime("%Y-%m-%dT%H:%M:%S");
    match stamp.offset_minutes {
        None => wall.to_string(),
        Some(offset) => {
            let sign = if offset < 0 { '-' } else { '+' };
            let size = offset.unsigned_abs();
            format!("{wall}{sign}{:02}:{:02}", size / 60, size % 60)
        }
    }
}

/// Lines of keys and tables.
#[derive(Default)]
struct Lines(String);

impl Lines {
    fn raw(&mut self, key: &str, value: &str) {
        self.0 += &format!("{key} = {value}\n");
    }

    fn figure(&mut self, key: &str, value: Option<&String>) {
        if let Some(value) = value {
            self.raw(key, value);
        }
    }

    fn text(&mut self, key: &str, value: Option<&String>) {
        if let Some(value) = value {
            self.raw(key, &quoted(value));
        }
    }

    fn header(&mut self, header: &str) {
        self.0 += &format!("\n{header}\n");
    }
}

impl CheckText {
    /// The file's text, without `[computed]`.
    pub fn to_toml(&self) -> String {
        let mut lines = Lines::default();
        lines.raw("format", &super::FORMAT.to_string());
        lines.text("note", self.note.as_ref());
        lines.text("instrument", Some(&self.instrument));
        lines.text("geometry", self.geometry.as_ref());
        lines.text("fluid", Some(&self.fluid));
        lines.text("bottle", self.bottle.as_ref());
        lines.text("thermometer", self.thermometer.as_ref());
        lines.text("bath", self.bath.as_ref());
        lines.text("operator", Some(&self.operator));
        lines.text("entered_by", self.entered_by.as_ref());
        lines.raw("performed", &self.performed);
        lines.text("occasion", self.occasion.as_ref());
        lines.text("condition", self.condition.as_ref());
        lines.text("repeats", self.repeats.as_ref());
        lines.text("late_reason", self.late_reason.as_ref());
        if self.void_cause.is_some() {
            lines.raw("void", "true");
            lines.text("void_cause", self.void_cause.as_ref());
        }
        lines.text("reason", self.reason.as_ref());

        let preparation = &self.preparation;
        let done = !preparation.confirmed.is_empty();
        if done || preparation.zero_percent.is_some() || preparation.soak_started.is_some() {
            lines.header("[preparation]");
            for (key, yes) in &preparation.confirmed {
                lines.raw(key, if *yes { "true" } else { "false" });
            }
            lines.figure("zero_percent", preparation.zero_percent.as_ref());
            lines.figure("soak_started", preparation.soak_started.as_ref());
        }
        for deviation in &self.deviations {
            lines.header("[[deviation]]");
            lines.text("rule", Some(&deviation.rule));
            lines.text("reason", Some(&deviation.reason));
            lines.text("consent", Some(&deviation.consent));
        }
        if let Some(origin) = &self.origin {
            lines.header("[origin]");
            lines.text("file", Some(&origin.file));
            lines.text("sheet", origin.sheet.as_ref());
            if let Some(row) = origin.row {
                lines.raw("row", &row.to_string());
            }
            lines.text("sha256", Some(&origin.sha256));
        }
        for point in &self.points {
            lines.header("[[point]]");
            lines.raw("speed_rpm", &point.speed_rpm);
            lines.figure("torque_percent", point.torque_percent.as_ref());
            lines.figure("viscosity_mpa_s", point.viscosity_mpa_s.as_ref());
            lines.figure("temperature_c", point.temperature_c.as_ref());
            lines.text("shown", point.shown.as_ref());
        }
        lines.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parse::parse;
    use crate::record::check::{Check, Shown, VoidCause};

    fn some(text: &str) -> Option<String> {
        Some(text.to_owned())
    }

    #[test]
    fn every_key_is_read_back_as_it_was_given() {
        let full = CheckText {
            note: some("a \"quoted\" word, a \\ and\na new line"),
            instrument: "VM-1".to_owned(),
            geometry: some("G-1"),
            fluid: "K-1".to_owned(),
            bottle: some("1"),
            thermometer: some("TH-1"),
            bath: some("WB-1"),
            operator: "op-01".to_owned(),
            entered_by: some("op-02"),
            performed: "2026-03-10T09:42:00".to_owned(),
            occasion: some("repeat"),
            condition: some("as-found"),
            repeats: some("VM-1/2026-03-09-0942"),
            late_reason: some("found in the drawer"),
            reason: some("spilled"),
            void_cause: some("procedure"),
            preparation: PreparationText {
                confirmed: vec![("levelled".to_owned(), true), ("guard".to_owned(), false)],
                zero_percent: some("-0.10"),
                soak_started: some("2026-03-10T08:20:00"),
            },
            deviations: vec![DeviationText {
                rule: "soak-too-short".to_owned(),
                reason: "steady".to_owned(),
                consent: "qa-01".to_owned(),
            }],
            origin: Some(OriginText {
                file: "old.xlsx".to_owned(),
                sheet: some("bench 2"),
                row: Some(17),
                sha256: "0".repeat(64),
            }),
            points: vec![
                PointText {
                    speed_rpm: "15.0".to_owned(),
                    torque_percent: some("21.50"),
                    viscosity_mpa_s: some("516"),
                    temperature_c: some("25.030"),
                    shown: None,
                },
                PointText {
                    speed_rpm: "60".to_owned(),
                    temperature_c: some("25.03"),
                    shown: some("over-range"),
                    ..PointText::default()
                },
            ],
        };
        let path = "checks/2026/VM-1/2026-03-10-0942.toml";
        let parsed = parse::<Check>(path, full.to_toml().into_bytes()).expect("ours agree");
        assert!(parsed.faults.is_empty(), "{:?}", parsed.faults);
        let check = parsed.record.expect("a check");
        assert_eq!(check.operator, "op-01");
        assert_eq!(check.void_cause, Some(VoidCause::Procedure));
        assert_eq!(check.preparation.levelled, Some(true));
        assert_eq!(check.preparation.guard, Some(false));
        assert_eq!(check.deviations[0].consent, "qa-01");
        assert_eq!(check.points[1].shown, Some(Shown::OverRange));
        let doc = parsed.doc.expect("a document");
        for (pointer, written) in [
            ("/preparation/zero_percent", "-0.10"),
            ("/point/0/torque_percent", "21.50"),
            ("/point/0/temperature_c", "25.030"),
            ("/origin/row", "17"),
            ("/repeats", "\"VM-1/2026-03-09-0942\""),
        ] {
            let node = doc.root.get(pointer).expect(pointer);
            assert_eq!(doc.text.slice(node.span), written, "{pointer}");
        }
    }
}
