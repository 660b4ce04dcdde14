//! A rotational viscometer.

use super::{
    Correction, Fields, Kind, Number, Record, Standing, When, corrections, standings, words,
};
use jiff::civil::Date;

#[derive(Clone, Debug)]
pub struct Instrument {
    pub id: String,
    pub group: Option<String>,
    pub location: Option<String>,
    pub usage: String,
    pub speeds: Speeds,
    pub torque_resolution_percent: Number,
    pub repeatability_percent: Number,
    pub springs: Vec<Spring>,
    pub services: Vec<Service>,
    pub standings: Vec<Standing>,
    pub corrections: Vec<Correction>,
}

/// In rpm.
#[derive(Clone, Debug)]
pub enum Speeds {
    These(Vec<Number>),
    Between(Number, Number),
}

#[derive(Clone, Debug)]
pub struct Spring {
    pub from: When,
    pub full_scale_torque_un_m: Number,
}

#[derive(Clone, Debug)]
pub struct Service {
    pub date: When,
    pub kind: ServiceKind,
    pub due: Option<Date>,
}

words! {
    ServiceKind { Calibration = "calibration", Repair = "repair", Adjustment = "adjustment", Move = "move" }
}

impl Record for Instrument {
    const KIND: Kind = Kind::Instrument;

    fn read(fields: &mut dyn Fields) -> Option<Instrument> {
        fields.common();
        for key in ["description", "make", "model", "serial", "firmware"] {
            fields.known(key);
        }
        let fixed = fields.opt_numbers("speeds_rpm").map(Speeds::These);
        let range = fields.opt_numbers("speed_range_rpm");
        let between = range.and_then(|range| match <[Number; 2]>::try_from(range) {
            Ok([slow, fast]) => Some(Speeds::Between(slow, fast)),
            Err(_) => None,
        });
        Some(Instrument {
            id: fields.text("id")?,
            group: fields.opt_text("group"),
            location: fields.opt_text("location"),
            usage: fields.text("usage")?,
            speeds: fixed.or(between)?,
            torque_resolution_percent: fields.number("torque_resolution_percent")?,
            repeatability_percent: fields.number("repeatability_percent")?,
            springs: fields.list("spring", |row| {
                row.known("late_reason");
                Some(Spring {
                    from: row.when("from")?,
                    full_scale_torque_un_m: row.number("full_scale_torque_un_m")?,
                })
            }),
            services: fields.list("service", |row| {
                for key in ["by", "certificate", "late_reason"] {
                    row.known(key);
                }
                Some(Service {
                    date: row.when("date")?,
                    kind: row.word("kind")?,
                    due: row.opt_date("due"),
                })
            }),
            standings: standings(fields),
            corrections: corrections(fields),
        })
    }
}
