//! The budget of uncertainty of a check as a table: what each source adds to the uncertainty of the deviation at each speed.

use super::check_text::figure;
use super::wrapped;
use crate::book::figures::{UncertaintyFigures, rounded, uncertainties};
use crate::book::view::View;
use crate::measure::Exact;
use crate::measure::uncertainty::Repeatability;
use crate::record::fluid::CertifiedFigures;

const NAME: usize = 24;
const CELL: usize = 11;

/// Three digits are enough for a share of an uncertainty.
fn short(value: f64) -> String {
    Exact::from_f64(value).map_or("-".to_owned(), |value| {
        value.rounded_significant(3).to_decimal_string()
    })
}

pub fn render(view: &View<'_>, width: usize) -> String {
    let mut text = "\nuncertainty of the deviation, in mPa.s\n".to_owned();
    let mut speeds: Vec<&Exact> = Vec::new();
    let mut columns: Vec<(String, UncertaintyFigures)> = Vec::new();
    let all = uncertainties(view);
    for (point, told) in view.check.points.iter().zip(&all) {
        let speed = &point.speed_rpm;
        // Replicates share one budget, however their speed is written.
        if let Some(told) = told
            && !speeds.contains(&&speed.value)
        {
            speeds.push(&speed.value);
            columns.push((format!("{speed} rpm"), told.clone()));
        }
    }
    if columns.is_empty() {
        return text
            + &wrapped(
                "It cannot be had: the certified value, how the fluid changes with temperature, the thermometer's calibration, the bath, the range or the instrument's resolution and repeatability is missing; shearbook validate tells which.",
                width,
                "  ",
                "  ",
            );
    }
    // What does not fit beside the others follows in a table of its own.
    let beside = (width.saturating_sub(NAME + 2) / CELL).max(1);
    for columns in columns.chunks(beside) {
        let mut row = |name: &str, cell: &dyn Fn(&UncertaintyFigures) -> String| {
            text += &format!("  {name:<NAME$}");
            for (_, told) in columns {
                text += &format!("{:>CELL$}", cell(told));
            }
            text.push('\n');
        };
        let mut heads = columns.iter().map(|(speed, _)| speed.clone());
        let heads = std::cell::RefCell::new(&mut heads);
        row("", &|_| heads.borrow_mut().next().unwrap_or_default());
        row("certified value", &|told| short(told.budget.fluid));
        row("temperature", &|told| short(told.budget.temperature));
        row("resolution", &|told| short(told.budget.resolution));
        row("repeatability", &|told| short(told.budget.repeatability));
        row("standard, all", &|told| figure(&told.standard_mpa_s));
        row(
            "degrees of freedom",
            &|told| match told.degrees_of_freedom {
                Some(degrees) => degrees.to_string(),
                None => "infinite".to_owned(),
            },
        );
        row("factor for 95.45 %", &|told| {
            rounded(told.budget.coverage_factor)
                .map_or("-".to_owned(), |factor| factor.to_fixed_string(4))
        });
        row("expanded", &|told| figure(&told.expanded_mpa_s));
        row(
            "half-width / expanded",
            &|told| match &told.test_uncertainty_ratio {
                Some(ratio) => ratio.to_fixed_string(2),
                None => "-".to_owned(),
            },
        );
        row(
            "conformance probability",
            &|told| match &told.conformance_probability {
                Some(chance) => format!("{} %", (chance * Exact::integer(100)).to_fixed_string(2)),
                None => "-".to_owned(),
            },
        );
    }
    let (_, first) = &columns[0];
    let budget = &first.budget;
    let parts = &budget.temperature_parts;
    let mut notes = vec![format!(
        "Temperature, in K: thermometer {}, its last digit {}, the spread of the readings {}, the bath {}; {} together.",
        short(parts.thermometer_k),
        short(parts.resolution_k),
        short(parts.spread_k),
        match view.check.bath {
            Some(_) => short(parts.uniformity_k),
            None => "none named".to_owned(),
        },
        short(budget.temperature_k),
    )];
    let by_replicates = columns
        .iter()
        .filter(|(_, told)| matches!(told.budget.repeatability_from, Repeatability::Replicates(_)))
        .map(|(speed, _)| speed.as_str());
    let by_replicates: Vec<&str> = by_replicates.collect();
    notes.push(match by_replicates.is_empty() {
        true => "Repeatability is what the instrument's file states.".to_owned(),
        false => format!(
            "Repeatability at {} is the scatter of the replicates, else what the instrument's file states.",
            by_replicates.join(", ")
        ),
    });
    if let Some((_, row)) = view.certified()
        && matches!(row.figures, CertifiedFigures::Kinematic { .. })
    {
        notes.push("The certificate gives a kinematic viscosity: the share of the certified value is the viscosity's uncertainty alone, without that of the density.".to_owned());
    }
    for note in notes {
        text += &wrapped(&note, width, "  ", "  ");
    }
    text
}
