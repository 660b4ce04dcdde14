use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::finding::Severity;
use crate::record::check::Preparation;
use crate::record::geometry::GeometryKind;
use crate::record::policy::Confirm;

pub(super) static RULE: Rule = Rule {
    id: "preparation-unconfirmed",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("preparation_unconfirmed.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(policy) = view.policy else { return };
    let kind = view.geometry.map(|geometry| geometry.kind);
    let asked = || policy.at("/preparation/confirm");
    let mut missing = Vec::new();
    for confirm in policy
        .confirm
        .iter()
        .filter(|confirm| applies(**confirm, kind))
    {
        match confirmed(*confirm, &view.check.preparation) {
            Some(true) => {}
            Some(false) => {
                out.say(
                    view.at(&format!("/preparation/{}", confirm.word())),
                    format!("{}; policy {} asks for it", denied(*confirm), policy.id),
                )
                .because(asked(), "what a check must confirm")
                .help("put it right and repeat the check; keep this one as evidence with void = true, void_cause and reason");
            }
            None => missing.push(confirm.word()),
        }
    }
    // Missing keys share one place, and so one finding.
    let Some(first) = missing.first() else { return };
    out.say(
        view.at(&format!("/preparation/{first}")),
        format!("the check does not confirm {}; policy {} asks for it", missing.join(", "), policy.id),
    )
    .because(asked(), "what a check must confirm")
    .help("write true for what was done and seen, false for what was not; never confirm what nobody looked at");
}

/// Of an unknown geometry only what applies to every kind is asked.
fn applies(confirm: Confirm, kind: Option<GeometryKind>) -> bool {
    match confirm {
        Confirm::Levelled | Confirm::VesselAsSpecified => true,
        Confirm::ImmersedToMark | Confirm::FreeOfBubbles => {
            matches!(
                kind,
                Some(GeometryKind::Factored | GeometryKind::CoaxialCylinders)
            )
        }
        Confirm::GapSet => matches!(
            kind,
            Some(GeometryKind::ConePlate | GeometryKind::ParallelPlates)
        ),
    }
}

fn confirmed(confirm: Confirm, preparation: &Preparation) -> Option<bool> {
    match confirm {
        Confirm::Levelled => preparation.levelled,
        Confirm::ImmersedToMark => preparation.immersed_to_mark,
        Confirm::FreeOfBubbles => preparation.free_of_bubbles,
        Confirm::VesselAsSpecified => preparation.vessel_as_specified,
        Confirm::GapSet => preparation.gap_set,
    }
}

fn denied(confirm: Confirm) -> &'static str {
    match confirm {
        Confirm::Levelled => "the instrument was not levelled",
        Confirm::ImmersedToMark => "the geometry was not immersed to its mark",
        Confirm::FreeOfBubbles => "the fluid was not free of bubbles",
        Confirm::VesselAsSpecified => "the vessel was not the specified one",
        Confirm::GapSet => "the gap was not set",
    }
}
