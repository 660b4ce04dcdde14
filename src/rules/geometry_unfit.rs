use super::{Out, Rule, Run};
use crate::book::view::{View, inspection_at};
use crate::finding::Severity;
use crate::record::geometry::Outcome;

pub(super) static RULE: Rule = Rule {
    id: "geometry-unfit",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("geometry_unfit.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(geometry) = view.geometry else {
        return;
    };
    if let (Some(instrument), Some(fits)) = (view.instrument, &geometry.fits)
        && !fits.iter().any(|id| *id == instrument.id)
    {
        let named = match fits.is_empty() {
            true => "no instrument".to_owned(),
            false => fits.join(", "),
        };
        out.say(
            view.at("/geometry"),
            format!("geometry {} fits {named}, and the check was made with {}", geometry.id, instrument.id),
        )
        .because(geometry.at("/fits"), "the instruments that it may be used with")
        .help("correct the geometry's id if it is mistyped; else repeat the check with a geometry that fits, or add the instrument to fits if it belongs there");
    }
    if let Some((row, Outcome::Damaged)) = inspection_at(view.book, geometry, view.performed) {
        let on = geometry
            .inspections
            .get(row)
            .map(|(date, _)| format!(" on {date}"))
            .unwrap_or_default();
        out.say(
            view.at("/geometry"),
            format!(
                "geometry {} was found damaged{on}, and the check was performed on {}",
                geometry.id, view.date
            ),
        )
        .because(geometry.at(&format!("/inspection/{row}/outcome")), "the last inspection before the check")
        .help("repeat the check with a sound geometry and keep this one as evidence with void = true, void_cause and reason; after a repair add an [[inspection]] row");
    }
}
