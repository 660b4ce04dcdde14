//! One check session, or an amendment of one.

use super::{Fields, Kind, Number, Record, Stamp, words};
use compact_str::CompactString;

#[derive(Clone, Debug)]
pub struct Check {
    pub instrument: CompactString,
    pub geometry: Option<CompactString>,
    pub fluid: CompactString,
    pub bottle: Option<CompactString>,
    pub thermometer: Option<CompactString>,
    pub bath: Option<CompactString>,
    pub operator: CompactString,
    pub entered_by: Option<CompactString>,
    pub performed: Stamp,
    pub occasion: Option<Occasion>,
    pub condition: Option<Condition>,
    pub repeats: Option<CompactString>,
    pub late_reason: Option<CompactString>,
    pub reason: Option<CompactString>,
    pub amends: Option<CompactString>,
    pub amended: Option<Stamp>,
    pub amended_by: Option<CompactString>,
    pub void: bool,
    pub void_cause: Option<VoidCause>,
    pub preparation: Preparation,
    pub deviations: Vec<Deviation>,
    pub points: Vec<Point>,
    pub computed: Option<Computed>,
}

words! {
    Occasion {
        Scheduled = "scheduled",
        Repeat = "repeat",
        AfterService = "after-service",
        AfterMove = "after-move",
        Investigation = "investigation",
    }
}

words! {
    Condition { AsFound = "as-found", AsLeft = "as-left" }
}

words! {
    VoidCause {
        Procedure = "procedure",
        Instrument = "instrument",
        IncompleteSource = "incomplete-source",
    }
}

words! {
    /// What a point showed instead of figures.
    Shown { OverRange = "over-range", Nothing = "nothing", Unstable = "unstable" }
}

words! {
    Verdict {
        Pass = "pass",
        ConditionalPass = "conditional-pass",
        ConditionalFail = "conditional-fail",
        Fail = "fail",
        Void = "void",
    }
}

#[derive(Clone, Debug, Default)]
pub struct Preparation {
    pub levelled: Option<bool>,
    pub immersed_to_mark: Option<bool>,
    pub free_of_bubbles: Option<bool>,
    pub vessel_as_specified: Option<bool>,
    pub guard: Option<bool>,
    pub gap_set: Option<bool>,
    pub zero_percent: Option<Number>,
    pub soak_started: Option<Stamp>,
}

#[derive(Clone, Debug)]
pub struct Deviation {
    pub rule: CompactString,
    pub reason: CompactString,
    pub consent: CompactString,
}

#[derive(Clone, Debug)]
pub struct Point {
    pub speed_rpm: Number,
    pub torque_percent: Option<Number>,
    pub viscosity_mpa_s: Option<Number>,
    pub temperature_c: Option<Number>,
    pub shown: Option<Shown>,
}

/// The figures that the tool wrote.
#[derive(Clone, Debug, Default)]
pub struct Computed {
    pub method: Option<i64>,
    pub policy: Option<CompactString>,
    pub reference_mpa_s: Option<Number>,
    pub verdict: Option<Verdict>,
    pub points: Vec<ComputedPoint>,
}

#[derive(Clone, Debug, Default)]
pub struct ComputedPoint {
    pub zone: Option<CompactString>,
    pub verdict: Option<Verdict>,
    /// By key, in the order of `COMPUTED_FIGURES`.
    pub figures: Vec<(&'static str, Number)>,
}

/// The figures of one computed point, in the order in which they are written.
pub const COMPUTED_FIGURES: [&str; 8] = [
    "range_mpa_s",
    "reference_mpa_s",
    "lower_mpa_s",
    "upper_mpa_s",
    "expanded_uncertainty_mpa_s",
    "acceptance_lower_mpa_s",
    "acceptance_upper_mpa_s",
    "deviation_percent",
];

impl Record for Check {
    const KIND: Kind = Kind::Check;

    fn read(fields: &mut dyn Fields) -> Option<Check> {
        fields.common();
        fields.table("origin", &mut |origin| {
            for key in ["file", "sheet", "row", "sha256"] {
                origin.known(key);
            }
        });
        Some(Check {
            instrument: fields.text("instrument")?,
            geometry: fields.opt_text("geometry"),
            fluid: fields.text("fluid")?,
            bottle: fields.opt_text("bottle"),
            thermometer: fields.opt_text("thermometer"),
            bath: fields.opt_text("bath"),
            operator: fields.text("operator")?,
            entered_by: fields.opt_text("entered_by"),
            performed: fields.stamp("performed")?,
            occasion: fields.opt_word("occasion"),
            condition: fields.opt_word("condition"),
            repeats: fields.opt_text("repeats"),
            late_reason: fields.opt_text("late_reason"),
            reason: fields.opt_text("reason"),
            amends: fields.opt_text("amends"),
            amended: fields.opt_stamp("amended"),
            amended_by: fields.opt_text("amended_by"),
            void: fields.opt_flag("void").unwrap_or(false),
            void_cause: fields.opt_word("void_cause"),
            preparation: fields
                .sub("preparation", |table| {
                    Some(Preparation {
                        levelled: table.opt_flag("levelled"),
                        immersed_to_mark: table.opt_flag("immersed_to_mark"),
                        free_of_bubbles: table.opt_flag("free_of_bubbles"),
                        vessel_as_specified: table.opt_flag("vessel_as_specified"),
                        guard: table.opt_flag("guard"),
                        gap_set: table.opt_flag("gap_set"),
                        zero_percent: table.opt_number("zero_percent"),
                        soak_started: table.opt_stamp("soak_started"),
                    })
                })
                .unwrap_or_default(),
            deviations: fields.list("deviation", |row| {
                Some(Deviation {
                    rule: row.text("rule")?,
                    reason: row.text("reason")?,
                    consent: row.text("consent")?,
                })
            }),
            points: fields.list("point", |row| {
                Some(Point {
                    speed_rpm: row.number("speed_rpm")?,
                    torque_percent: row.opt_number("torque_percent"),
                    viscosity_mpa_s: row.opt_number("viscosity_mpa_s"),
                    temperature_c: row.opt_number("temperature_c"),
                    shown: row.opt_word("shown"),
                })
            }),
            computed: fields.sub("computed", |table| {
                Some(Computed {
                    method: table.opt_integer("method"),
                    policy: table.opt_text("policy"),
                    reference_mpa_s: table.opt_number("reference_mpa_s"),
                    verdict: table.opt_word("verdict"),
                    points: table.list("point", |row| {
                        // In the order in which they are written, which is sooner read.
                        let zone = row.opt_text("zone");
                        let mut figures = Vec::with_capacity(COMPUTED_FIGURES.len());
                        for key in COMPUTED_FIGURES {
                            figures.extend(row.opt_number(key).map(|value| (key, value)));
                        }
                        Some(ComputedPoint {
                            zone,
                            figures,
                            verdict: row.opt_word("verdict"),
                        })
                    }),
                })
            }),
        })
    }
}
