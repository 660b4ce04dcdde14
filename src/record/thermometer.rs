//! A reference thermometer with its calibrations.

use super::{Correction, Fields, Kind, Number, Record, When, corrections};
use jiff::civil::Date;

#[derive(Clone, Debug)]
pub struct Thermometer {
    pub id: String,
    pub resolution_k: Number,
    pub calibrations: Vec<Calibration>,
    pub corrections: Vec<Correction>,
}

#[derive(Clone, Debug)]
pub struct Calibration {
    pub date: When,
    /// The last day it holds.
    pub due: Date,
    pub expanded_uncertainty_k: Number,
    pub coverage_factor: Number,
    /// Added to what the thermometer shows: (shown in degrees C, correction in K), in the order written.
    pub rows: Vec<(Number, Number)>,
}

impl Record for Thermometer {
    const KIND: Kind = Kind::Thermometer;

    fn read(fields: &mut dyn Fields) -> Option<Thermometer> {
        fields.common();
        Some(Thermometer {
            id: fields.text("id")?,
            resolution_k: fields.number("resolution_k")?,
            calibrations: fields.list("calibration", |row| {
                for key in ["by", "certificate", "late_reason"] {
                    row.known(key);
                }
                Some(Calibration {
                    date: row.when("date")?,
                    due: row.date("due")?,
                    expanded_uncertainty_k: row.number("expanded_uncertainty_k")?,
                    coverage_factor: row.number("coverage_factor")?,
                    rows: row.list("corrections", |row| {
                        Some((row.number("at_c")?, row.number("correction_k")?))
                    }),
                })
            }),
            corrections: corrections(fields),
        })
    }
}
