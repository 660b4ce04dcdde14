//! An acceptance policy, in force from a date.

use super::geometry::GeometryKind;
use super::{Correction, Fields, Kind, Number, Record, corrections, words};
use crate::measure::zone::Zone;
use jiff::civil::Date;

#[derive(Clone, Debug)]
pub struct Policy {
    pub id: String,
    pub effective: Date,
    pub method: i64,
    pub groups: Option<Vec<String>>,
    pub fluid_percent: Number,
    pub range_percent: Number,
    pub decision: Decision,
    pub window_k: Number,
    pub basis: Basis,
    pub max_spread_k: Number,
    pub minimum_percent: Number,
    pub low_below_percent: Number,
    pub high_above_percent: Number,
    pub zones_required: Vec<ZoneName>,
    pub zero_limit_percent: Number,
    pub agreement_percent: Number,
    pub thermometer_max_expanded_uncertainty_k: Number,
    pub fluid_max_expanded_uncertainty_percent: Number,
    pub in_use_months: Option<i64>,
    pub confirm: Vec<Confirm>,
    pub soak: Vec<Soak>,
    /// Usage class and days between checks.
    pub interval: Vec<(String, Option<i64>)>,
    pub service_interval_months: i64,
    /// Whether checks must be reviewed; a rejected one then does not count.
    pub review_required: bool,
    /// Calendar days after a check, the last included.
    pub review_within_days: i64,
    /// The folders of the records that need a second person's look.
    pub review_records: Vec<String>,
    /// How many days early the fleet speaks of what falls due.
    pub notice_days: Option<i64>,
    /// Rules raised to error.
    pub severity: Vec<String>,
    /// Rules that a check may break with reason and consent.
    pub deviation_allowed: Vec<String>,
    pub corrections: Vec<Correction>,
}

#[derive(Clone, Debug)]
pub struct Soak {
    pub kinds: Option<Vec<GeometryKind>>,
    pub up_to_mpa_s: Option<Number>,
    pub minutes: Number,
}

words! {
    Decision { Simple = "simple", Guarded = "guarded", GuardedFourWay = "guarded-four-way" }
}

words! {
    Basis { Certified = "certified", Corrected = "corrected" }
}

words! {
    ZoneName { Low = "low", Middle = "middle", High = "high" }
}

words! {
    Confirm {
        Levelled = "levelled",
        ImmersedToMark = "immersed_to_mark",
        FreeOfBubbles = "free_of_bubbles",
        VesselAsSpecified = "vessel_as_specified",
        GapSet = "gap_set",
    }
}

impl From<Zone> for ZoneName {
    fn from(zone: Zone) -> ZoneName {
        match zone {
            Zone::Low => ZoneName::Low,
            Zone::Middle => ZoneName::Middle,
            Zone::High => ZoneName::High,
        }
    }
}

impl From<ZoneName> for Zone {
    fn from(name: ZoneName) -> Zone {
        match name {
            ZoneName::Low => Zone::Low,
            ZoneName::Middle => Zone::Middle,
            ZoneName::High => Zone::High,
        }
    }
}

fn words_of<W: super::Word>(fields: &mut dyn Fields, key: &'static str) -> Option<Vec<W>> {
    let words = fields.opt_texts(key)?;
    Some(words.iter().filter_map(|word| W::from_word(word)).collect())
}

impl Record for Policy {
    const KIND: Kind = Kind::Policy;

    fn read(fields: &mut dyn Fields) -> Option<Policy> {
        fields.common();
        fields.known("title");
        let (fluid_percent, range_percent, decision) =
            fields.required_sub("acceptance", |table| {
                Some((
                    table.number("fluid_percent")?,
                    table.number("range_percent")?,
                    table.word("decision")?,
                ))
            })?;
        let (window_k, basis, max_spread_k) = fields.required_sub("temperature", |table| {
            Some((
                table.number("window_k")?,
                table.word("basis")?,
                table.number("max_spread_k")?,
            ))
        })?;
        let torque = fields.required_sub("torque", |table| {
            Some((
                table.number("minimum_percent")?,
                table.number("low_below_percent")?,
                table.number("high_above_percent")?,
                words_of(table, "zones_required")?,
                table.number("zero_limit_percent")?,
                table.number("agreement_percent")?,
            ))
        })?;
        let (fluid_max, in_use_months) = fields.required_sub("fluid", |table| {
            Some((
                table.number("max_expanded_uncertainty_percent")?,
                table.opt_integer("in_use_months"),
            ))
        })?;
        let (review_required, review_within_days, review_records) =
            fields.required_sub("review", |table| {
                Some((
                    table.flag("required")?,
                    table.integer("within_days")?,
                    table.texts("records")?,
                ))
            })?;
        Some(Policy {
            id: fields.text("id")?,
            effective: fields.date("effective")?,
            method: fields.integer("method")?,
            groups: fields.opt_texts("groups"),
            fluid_percent,
            range_percent,
            decision,
            window_k,
            basis,
            max_spread_k,
            minimum_percent: torque.0,
            low_below_percent: torque.1,
            high_above_percent: torque.2,
            zones_required: torque.3,
            zero_limit_percent: torque.4,
            agreement_percent: torque.5,
            thermometer_max_expanded_uncertainty_k: fields
                .required_sub("thermometer", |table| {
                    table.number("max_expanded_uncertainty_k")
                })?,
            fluid_max_expanded_uncertainty_percent: fluid_max,
            in_use_months,
            confirm: fields.required_sub("preparation", |table| words_of(table, "confirm"))?,
            soak: fields.list("soak", |row| {
                Some(Soak {
                    kinds: words_of(row, "kinds"),
                    up_to_mpa_s: row.opt_number("up_to_mpa_s"),
                    minutes: row.number("minutes")?,
                })
            }),
            interval: fields.free_keys("interval"),
            service_interval_months: fields
                .required_sub("service", |table| table.integer("interval_months"))?,
            review_required,
            review_within_days,
            review_records,
            notice_days: fields.sub("notice", |table| table.opt_integer("days")),
            severity: fields
                .free_keys("severity")
                .into_iter()
                .map(|(rule, _)| rule)
                .collect(),
            deviation_allowed: fields
                .sub("deviation", |table| table.texts("allowed"))
                .unwrap_or_default(),
            corrections: corrections(fields),
        })
    }
}
