//! What `[computed]` of a check must say: the figures that `seal` writes and that every validation recomputes.

use super::view::View;
use crate::measure::judge::JudgedPoint;
use crate::measure::judge::Verdict as Judged;
use crate::measure::{Exact, PERCENT_PLACES};
use crate::parse::METHOD;
use crate::record::check::Verdict;
use crate::record::policy::{Basis, Decision, ZoneName};

#[derive(Clone, Debug, PartialEq)]
pub struct Expected {
    pub method: i64,
    pub policy: String,
    pub reference_mpa_s: Option<Exact>,
    pub verdict: Option<Verdict>,
    pub points: Vec<ExpectedPoint>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct ExpectedPoint {
    pub zone: Option<ZoneName>,
    /// By key, in the order in which they are written.
    pub figures: Vec<(&'static str, Exact)>,
    pub verdict: Option<Verdict>,
    /// No figure that the policy asks for is missing.
    complete: bool,
}

impl From<Judged> for Verdict {
    fn from(verdict: Judged) -> Verdict {
        match verdict {
            Judged::Pass => Verdict::Pass,
            Judged::ConditionalPass => Verdict::ConditionalPass,
            Judged::ConditionalFail => Verdict::ConditionalFail,
            Judged::Fail => Verdict::Fail,
        }
    }
}

/// `None` where no policy judges the check.
pub fn expected(view: &View<'_>) -> Option<Expected> {
    let judgement = view.judgement.as_ref()?;
    let policy = view.policy?;
    let corrected = policy.basis == Basis::Corrected;
    let guarded = policy.decision != Decision::Simple;
    let verdict = match view.check.void {
        true => Some(Verdict::Void),
        false => judgement.verdict.map(Verdict::from),
    };
    Some(Expected {
        method: METHOD,
        policy: policy.id.clone(),
        reference_mpa_s: judgement.reference_mpa_s.clone(),
        verdict,
        points: judgement
            .points
            .iter()
            .map(|point| expected_point(point, corrected, guarded))
            .collect(),
    })
}

fn expected_point(point: &JudgedPoint, corrected: bool, guarded: bool) -> ExpectedPoint {
    let reference = point.reference_mpa_s.as_ref().filter(|_| corrected);
    let by = point.guarded.as_deref();
    let figures = [
        ("range_mpa_s", point.range_mpa_s.as_ref()),
        ("reference_mpa_s", reference),
        ("lower_mpa_s", point.lower.as_ref()),
        ("upper_mpa_s", point.upper.as_ref()),
        ("expanded_uncertainty_mpa_s", by.map(|by| &by.expanded)),
        ("acceptance_lower_mpa_s", by.map(|by| &by.acceptance.lower)),
        ("acceptance_upper_mpa_s", by.map(|by| &by.acceptance.upper)),
        ("deviation_percent", point.deviation_percent.as_ref()),
    ];
    let mut known = Vec::with_capacity(figures.len());
    known.extend(
        figures
            .into_iter()
            .filter_map(|(key, value)| Some((key, value?.clone()))),
    );
    ExpectedPoint {
        zone: point.zone.map(ZoneName::from),
        figures: known,
        verdict: point.verdict.map(Verdict::from),
        complete: point.verdict.is_some()
            && point.range_mpa_s.is_some()
            && point.lower.is_some()
            && (by.is_some() || !guarded),
    }
}

impl Expected {
    /// Every figure that a counted check needs could be had.
    pub fn complete(&self) -> bool {
        self.verdict.is_some()
            && self.reference_mpa_s.is_some()
            && self.points.iter().all(|point| point.complete)
    }

    /// As the TOML that stands in the record, lines ended by `\n`.
    pub fn to_toml(&self) -> String {
        let mut text = format!(
            "[computed]\nmethod = {}\npolicy = \"{}\"\n",
            self.method, self.policy
        );
        if let Some(reference) = &self.reference_mpa_s {
            text += &format!(
                "reference_mpa_s = {}\n",
                written("reference_mpa_s", reference)
            );
        }
        if let Some(verdict) = self.verdict {
            text += &format!("verdict = \"{}\"\n", verdict.word());
        }
        for point in &self.points {
            text += "\n[[computed.point]]\n";
            if let Some(zone) = point.zone {
                text += &format!("zone = \"{}\"\n", zone.word());
            }
            for (key, value) in &point.figures {
                text += &format!("{key} = {}\n", written(key, value));
            }
            if let Some(verdict) = point.verdict {
                text += &format!("verdict = \"{}\"\n", verdict.word());
            }
        }
        text
    }
}

/// A computed figure as it is written.
pub fn written(key: &str, value: &Exact) -> String {
    if key.ends_with("_percent") {
        value.to_fixed_string(PERCENT_PLACES)
    } else {
        value.to_decimal_string()
    }
}
