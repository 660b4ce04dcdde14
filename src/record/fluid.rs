//! A lot of certified reference fluid.

use super::{Correction, Fields, Kind, Number, Record, Standing, corrections, standings, words};
use crate::measure::Exact;
use crate::measure::temperature::{CertifiedRow, Viscosity, window_slope};
use jiff::civil::Date;
use std::sync::OnceLock;

#[derive(Clone, Debug)]
pub struct Fluid {
    pub id: String,
    pub base: Option<Base>,
    /// The label; never the reference.
    pub nominal_mpa_s: Number,
    pub certified: Date,
    pub expires: Date,
    pub values: Vec<CertifiedValue>,
    /// The values as the metrology takes them.
    pub rows: Vec<CertifiedRow>,
    slopes: OnceLock<Vec<Option<Exact>>>,
    pub bottles: Vec<Bottle>,
    pub standings: Vec<Standing>,
    pub corrections: Vec<Correction>,
}

words! {
    Base { Silicone = "silicone", MineralOil = "mineral-oil", Other = "other" }
}

#[derive(Clone, Debug)]
pub struct CertifiedValue {
    pub temperature_c: Number,
    pub figures: CertifiedFigures,
    pub uncertainty: Uncertainty,
    pub coverage_factor: Number,
    pub coefficient_percent_per_k: Option<Number>,
}

#[derive(Clone, Debug)]
pub enum CertifiedFigures {
    Dynamic { mpa_s: Number },
    Kinematic { mm2_s: Number, density_g_ml: Number },
}

#[derive(Clone, Debug)]
pub enum Uncertainty {
    Percent(Number),
    MpaS(Number),
}

#[derive(Clone, Debug)]
pub struct Bottle {
    pub id: String,
    pub opened: Date,
    /// The last day it may be used.
    pub discarded: Option<Date>,
}

impl Fluid {
    /// As [`window_slope`] of a certified value; it is the same for all checks of the lot.
    pub fn slope_percent_per_k(&self, row: usize) -> Option<&Exact> {
        let all = || {
            let rows = 0..self.rows.len();
            rows.map(|row| window_slope(&self.rows, row)).collect()
        };
        self.slopes.get_or_init(all).get(row)?.as_ref()
    }
}

impl CertifiedValue {
    /// The plain figures that the metrology works with.
    fn row(&self) -> CertifiedRow {
        CertifiedRow {
            temperature_c: self.temperature_c.value.clone(),
            viscosity: match &self.figures {
                CertifiedFigures::Dynamic { mpa_s } => Viscosity::Dynamic {
                    mpa_s: mpa_s.value.clone(),
                },
                CertifiedFigures::Kinematic {
                    mm2_s,
                    density_g_ml,
                } => Viscosity::Kinematic {
                    mm2_s: mm2_s.value.clone(),
                    density_g_ml: density_g_ml.value.clone(),
                },
            },
            coefficient_percent_per_k: self
                .coefficient_percent_per_k
                .as_ref()
                .map(|coefficient| coefficient.value.clone()),
        }
    }

    /// The certified viscosity in mPa.s.
    pub fn mpa_s(&self) -> Exact {
        self.row().viscosity.mpa_s()
    }

    /// The certificate's expanded uncertainty in mPa.s; of a kinematic value that of the viscosity alone.
    pub fn expanded_uncertainty_mpa_s(&self) -> Exact {
        match &self.uncertainty {
            Uncertainty::Percent(percent) => {
                &(&percent.value * &self.mpa_s()) * Exact::hundredths(1)
            }
            Uncertainty::MpaS(size) => size.value.clone(),
        }
    }

    /// The certificate's expanded uncertainty in % of the certified value.
    pub fn expanded_uncertainty_percent(&self) -> Option<Exact> {
        match &self.uncertainty {
            Uncertainty::Percent(percent) => Some(percent.value.clone()),
            Uncertainty::MpaS(size) => (Exact::integer(100) * &size.value).divide(&self.mpa_s()),
        }
    }
}

impl Record for Fluid {
    const KIND: Kind = Kind::Fluid;

    fn read(fields: &mut dyn Fields) -> Option<Fluid> {
        fields.common();
        for key in ["supplier", "product", "issuer", "certificate"] {
            fields.known(key);
        }
        let id = fields.text("id")?;
        let base = fields.opt_word("base");
        let nominal_mpa_s = fields.number("nominal_mpa_s")?;
        let certified = fields.date("certified")?;
        let expires = fields.date("expires")?;
        let values = fields.list("value", |row| {
            let dynamic = row.opt_number("viscosity_mpa_s");
            let kinematic = row.opt_number("kinematic_mm2_s");
            let density = row.opt_number("density_g_ml");
            let percent = row.opt_number("expanded_uncertainty_percent");
            let size = row.opt_number("expanded_uncertainty_mpa_s");
            Some(CertifiedValue {
                temperature_c: row.number("temperature_c")?,
                figures: match (dynamic, kinematic, density) {
                    (Some(mpa_s), _, _) => CertifiedFigures::Dynamic { mpa_s },
                    (None, Some(mm2_s), Some(density_g_ml)) => CertifiedFigures::Kinematic {
                        mm2_s,
                        density_g_ml,
                    },
                    _ => {
                        row.lacks("viscosity_mpa_s");
                        return None;
                    }
                },
                uncertainty: match (percent, size) {
                    (Some(percent), _) => Uncertainty::Percent(percent),
                    (None, Some(size)) => Uncertainty::MpaS(size),
                    (None, None) => {
                        row.lacks("expanded_uncertainty_percent");
                        return None;
                    }
                },
                coverage_factor: row.number("coverage_factor")?,
                coefficient_percent_per_k: row.opt_number("temperature_coefficient_percent_per_k"),
            })
        });
        Some(Fluid {
            id,
            base,
            nominal_mpa_s,
            certified,
            expires,
            rows: values.iter().map(CertifiedValue::row).collect(),
            values,
            slopes: OnceLock::new(),
            bottles: fields.list("bottle", |row| {
                row.known("late_reason");
                Some(Bottle {
                    id: row.text("id")?,
                    opened: row.date("opened")?,
                    discarded: row.opt_date("discarded"),
                })
            }),
            standings: standings(fields),
            corrections: corrections(fields),
        })
    }
}
