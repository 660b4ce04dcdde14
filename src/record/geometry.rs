//! A measuring geometry of one of four kinds.

use super::{Correction, Fields, Kind, Number, Record, When, corrections, words};
use crate::measure::Exact;
use crate::measure::range::Geometry as Figures;

#[derive(Clone, Debug)]
pub struct Geometry {
    pub id: String,
    pub kind: GeometryKind,
    pub figures: Figures,
    pub guard: Option<Guard>,
    pub fits: Option<Vec<String>>,
    pub vessel: Option<String>,
    pub sample_ml: Option<Number>,
    pub inspections: Vec<(When, Outcome)>,
    pub corrections: Vec<Correction>,
}

impl Geometry {
    /// Whether it fits an instrument; one that names none fits all.
    pub fn fits_on(&self, instrument: &str) -> bool {
        let fits = self.fits.as_ref();
        fits.is_none_or(|fits| fits.iter().any(|id| id == instrument))
    }
}

words! {
    GeometryKind {
        Factored = "factored",
        CoaxialCylinders = "coaxial-cylinders",
        ConePlate = "cone-plate",
        ParallelPlates = "parallel-plates",
    }
}

words! {
    Guard { Required = "required", NotUsed = "not-used" }
}

words! {
    Outcome { Sound = "sound", Damaged = "damaged" }
}

impl Record for Geometry {
    const KIND: Kind = Kind::Geometry;

    fn read(fields: &mut dyn Fields) -> Option<Geometry> {
        fields.common();
        let kind: GeometryKind = fields.word("kind")?;
        let number = |fields: &mut dyn Fields, key| fields.number(key).map(|number| number.value);
        let figures = match kind {
            GeometryKind::Factored => Figures::Factored {
                range_constant_mpa_s_rpm: number(fields, "range_constant_mpa_s_rpm")?,
                at_torque_un_m: number(fields, "at_torque_un_m")?,
                shear_rate_per_rpm: fields
                    .opt_number("shear_rate_per_rpm")
                    .map(|rate| rate.value),
            },
            GeometryKind::CoaxialCylinders => Figures::CoaxialCylinders {
                bob_radius_mm: number(fields, "bob_radius_mm")?,
                cup_radius_mm: number(fields, "cup_radius_mm")?,
                bob_length_mm: number(fields, "bob_length_mm")?,
                end_effect: match fields.opt_number("end_effect") {
                    Some(effect) => effect.value,
                    None => Exact::parse("1.10")?,
                },
            },
            GeometryKind::ConePlate => Figures::ConePlate {
                radius_mm: number(fields, "radius_mm")?,
                angle_deg: number(fields, "angle_deg")?,
            },
            GeometryKind::ParallelPlates => Figures::ParallelPlates {
                radius_mm: number(fields, "radius_mm")?,
                gap_mm: number(fields, "gap_mm")?,
            },
        };
        Some(Geometry {
            id: fields.text("id")?,
            kind,
            figures,
            guard: fields.opt_word("guard"),
            fits: fields.opt_texts("fits"),
            vessel: fields.opt_text("vessel"),
            sample_ml: fields.opt_number("sample_ml"),
            inspections: fields.list("inspection", |row| {
                row.known("late_reason");
                Some((row.when("date")?, row.word("outcome")?))
            }),
            corrections: corrections(fields),
        })
    }
}
