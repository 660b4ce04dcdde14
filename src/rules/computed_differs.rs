use super::{Out, Rule, Run, computed_missing};
use crate::book::computed::{Expected, ExpectedPoint, written};
use crate::book::view::View;
use crate::finding::{Place, Severity};
use crate::measure::Exact;
use crate::record::Number;
use crate::record::check::{COMPUTED_FIGURES, Computed, ComputedPoint, Verdict};
use crate::record::policy::ZoneName;

pub(super) static RULE: Rule = Rule {
    id: "computed-differs",
    severity: Severity::Error,
    spares_void: false,
    doc: include_str!("computed_differs.md"),
    run: &[Run::Check(check)],
};

type Reasons = Vec<(Place, &'static str)>;

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let (Some(file), Some(expected)) = (&view.check.computed, computed_missing::wanted(view))
    else {
        return;
    };
    let mut compare = Compare { view, out };
    compare.head(file, &expected);
    if file.points.len() != expected.points.len() {
        compare.say(
            "point",
            "the number of computed points",
            Some(file.points.len().to_string()),
            Some(expected.points.len().to_string()),
            Vec::new(),
        );
        return;
    }
    let top = differs(
        file.reference_mpa_s.as_ref(),
        expected.reference_mpa_s.as_ref(),
    );
    for (index, (file, expected)) in file.points.iter().zip(&expected.points).enumerate() {
        compare.point(index, file, expected, top);
    }
}

struct Compare<'a, 'o, 'f> {
    view: &'a View<'a>,
    out: &'o mut Out<'f>,
}

impl Compare<'_, '_, '_> {
    fn head(&mut self, file: &Computed, expected: &Expected) {
        let view = self.view;
        if file.method != Some(expected.method) {
            let (was, is) = (
                file.method.map(|method| method.to_string()),
                expected.method.to_string(),
            );
            self.say("method", "method", was, Some(is), Vec::new());
        }
        let other_policy = file.policy.as_deref() != Some(&expected.policy);
        if other_policy {
            let by = view
                .policy
                .map(|policy| (policy.at("/effective"), "the policy in force that day"));
            self.say(
                "policy",
                "policy",
                file.policy.clone().map(String::from),
                Some(expected.policy.clone()),
                by.into_iter().collect(),
            );
        }
        let (was, is) = (
            file.reference_mpa_s.as_ref(),
            expected.reference_mpa_s.as_ref(),
        );
        if differs(was, is) {
            let by = self.of_reference();
            self.figure("reference_mpa_s", "reference_mpa_s", was, is, by);
        }
        if file.verdict != expected.verdict {
            self.words(
                "verdict",
                "verdict",
                file.verdict.map(Verdict::word),
                expected.verdict.map(Verdict::word),
                Vec::new(),
            );
        }
    }

    fn point(
        &mut self,
        index: usize,
        file: &ComputedPoint,
        expected: &ExpectedPoint,
        other_reference: bool,
    ) {
        if is_as_expected(file, expected) {
            return;
        }
        let was = |key| {
            file.figures
                .iter()
                .find(|(name, _)| *name == key)
                .map(|(_, value)| value)
        };
        let is = |key| {
            expected
                .figures
                .iter()
                .find(|(name, _)| *name == key)
                .map(|(_, value)| value)
        };
        let other = |key| differs(was(key), is(key));
        let range = other("range_mpa_s");
        let reference = other_reference || other("reference_mpa_s");
        let limits = other("lower_mpa_s") || other("upper_mpa_s");
        let speed = self
            .view
            .check
            .points
            .get(index)
            .map(|point| point.speed_rpm.to_string());
        let name = |key: &str| {
            let speed = speed.as_deref().unwrap_or("?");
            format!("{key} of point {} ({speed} rpm)", index + 1)
        };
        let (zone_was, zone_is) = (file.zone.as_deref(), expected.zone.map(ZoneName::word));
        if zone_was != zone_is {
            let by = self.reasons(
                range,
                reference,
                "/torque/low_below_percent",
                "the bounds of the zones",
            );
            self.words(
                &format!("point/{index}/zone"),
                &name("zone"),
                zone_was,
                zone_is,
                by,
            );
        }
        for key in COMPUTED_FIGURES {
            if !other(key) {
                continue;
            }
            let by = match key {
                "range_mpa_s" => self.of_range(),
                "reference_mpa_s" => self.of_reference(),
                "deviation_percent" if reference => self.of_reference(),
                "deviation_percent" => {
                    vec![(self.view.at(&format!("/point/{index}")), "the reading")]
                }
                "expanded_uncertainty_mpa_s" => self.of_uncertainty(),
                "acceptance_lower_mpa_s" | "acceptance_upper_mpa_s" if !limits => {
                    self.of_uncertainty()
                }
                _ => self.reasons(
                    range,
                    reference,
                    "/acceptance",
                    "the shares that make the limits",
                ),
            };
            self.figure(
                &format!("point/{index}/{key}"),
                &name(key),
                was(key),
                is(key),
                by,
            );
        }
        if file.verdict != expected.verdict {
            let by = match limits {
                true => self.reasons(
                    range,
                    reference,
                    "/acceptance",
                    "the shares that make the limits",
                ),
                false => Vec::new(),
            };
            let (was, is) = (
                file.verdict.map(Verdict::word),
                expected.verdict.map(Verdict::word),
            );
            self.words(
                &format!("point/{index}/verdict"),
                &name("verdict"),
                was,
                is,
                by,
            );
        }
    }

    /// What a figure rests on that differs too, else the policy.
    fn reasons(&self, range: bool, reference: bool, policy: &str, what: &'static str) -> Reasons {
        let mut reasons = Vec::new();
        if range {
            reasons.extend(self.of_range());
        }
        if reference {
            reasons.extend(self.of_reference());
        }
        if reasons.is_empty() {
            reasons.extend(self.view.policy.map(|record| (record.at(policy), what)));
        }
        reasons
    }

    fn of_range(&self) -> Reasons {
        let view = self.view;
        let mut reasons = Vec::new();
        reasons.extend(view.geometry.map(|record| {
            (
                record.at("/kind"),
                "the geometry, whose figures make the range",
            )
        }));
        if let (Some(instrument), Some((row, _))) = (view.instrument, view.spring) {
            let at = instrument.at(&format!("/spring/{row}/full_scale_torque_un_m"));
            reasons.push((
                at,
                "the instrument's spring that day, which makes the range",
            ));
        }
        reasons
    }

    fn of_uncertainty(&self) -> Reasons {
        let view = self.view;
        let mut reasons = Vec::new();
        if let (Some(fluid), Some((row, _))) = (view.fluid, view.certified()) {
            reasons.push((
                fluid.at(&format!("/value/{row}")),
                "the certified value with its uncertainty",
            ));
        }
        if let (Some(thermometer), Some((row, _))) = (view.thermometer, view.calibration) {
            reasons.push((
                thermometer.at(&format!("/calibration/{row}/expanded_uncertainty_k")),
                "the thermometer's uncertainty that day",
            ));
        }
        reasons.extend(
            view.bath
                .map(|bath| (bath.at("/uniformity_k"), "the bath's uniformity")),
        );
        reasons.extend(view.instrument.map(|instrument| {
            (
                instrument.at("/repeatability_percent"),
                "the instrument's repeatability and resolution",
            )
        }));
        reasons
    }

    fn of_reference(&self) -> Reasons {
        let view = self.view;
        let mut reasons = Vec::new();
        if let (Some(fluid), Some((row, _))) = (view.fluid, view.certified()) {
            let key = ["viscosity_mpa_s", "kinematic_mm2_s"]
                .into_iter()
                .map(|key| format!("/value/{row}/{key}"))
                .find(|pointer| fluid.doc.root.get(pointer).is_some());
            let at = fluid.at(&key.unwrap_or_else(|| format!("/value/{row}")));
            reasons.push((at, "the lot's certified value"));
        }
        reasons.extend(view.policy.map(|record| {
            (
                record.at("/temperature/basis"),
                "how the policy takes the reference",
            )
        }));
        reasons
    }

    fn figure(
        &mut self,
        at: &str,
        name: &str,
        was: Option<&Number>,
        is: Option<&Exact>,
        by: Reasons,
    ) {
        let key = at.rsplit('/').next().unwrap_or(at);
        self.say(
            at,
            name,
            was.map(Number::to_string),
            is.map(|value| written(key, value)),
            by,
        );
    }

    fn words(&mut self, at: &str, name: &str, was: Option<&str>, is: Option<&str>, by: Reasons) {
        self.say(at, name, was.map(str::to_owned), is.map(str::to_owned), by);
    }

    fn say(&mut self, at: &str, name: &str, was: Option<String>, is: Option<String>, by: Reasons) {
        let message = match (was, is) {
            (Some(was), Some(is)) => format!("{name} is {was} here, and recomputation gives {is}"),
            (Some(was), None) => format!("{name} is {was} here, and recomputation gives none"),
            (None, Some(is)) => format!("{name} is missing here, and recomputation gives {is}"),
            (None, None) => return,
        };
        let look = match by.is_empty() {
            true => {
                "[computed] was written by hand, or a reading or setting of this file was changed after it was sealed"
            }
            false => {
                "[computed] was written by hand, or this file or the record below has changed since it was sealed"
            }
        };
        let mut said = self
            .out
            .say(self.view.at(&format!("/computed/{at}")), message);
        for (place, what) in by {
            said = said.because(place, what);
        }
        said.help(format!(
            "{look}; before the commit run shearbook seal, afterwards put the change back, or correct the fact and amend the check"
        ));
    }
}

/// Whether nothing differs at a point, as of nearly all: both have their figures in the order in which they are written.
fn is_as_expected(file: &ComputedPoint, expected: &ExpectedPoint) -> bool {
    let figures = file.figures.iter().zip(&expected.figures);
    file.figures.len() == expected.figures.len()
        && figures
            .into_iter()
            .all(|((name, was), (key, is))| name == key && was.value == *is)
        && file.zone.as_deref() == expected.zone.map(ZoneName::word)
        && file.verdict == expected.verdict
}

/// Compared as numbers: trailing zeros do not differ, fewer digits do.
fn differs(was: Option<&Number>, is: Option<&Exact>) -> bool {
    was.map(|number| &number.value) != is
}
