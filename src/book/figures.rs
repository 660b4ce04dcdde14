//! Every figure that `show` prints of a check, so that two books can be compared by what they say of it.

use super::evidence;
use super::view::View;
use crate::measure::judge::JudgedPoint;
use crate::measure::uncertainty::Budget;
use crate::measure::{Exact, FIGURE_DIGITS, PERCENT_PLACES};
use crate::record::check::{Point, Verdict};
use crate::record::policy::ZoneName;

/// The places to which the mean temperature is printed.
pub const MEAN_PLACES: u32 = 3;

/// The figures of a check by key, such as `/point/0/lower_mpa_s`, as `show` prints them but for needless zeros.
///
/// A figure that cannot be had is left out; so 1.0 and 1.00 are one figure, and none is another than any.
pub fn figures(view: &View<'_>) -> Vec<(String, String)> {
    let judgement = view.judgement.as_ref();
    let mut list = vec![("/date".to_owned(), view.date.to_string())];
    let mut add = |key: &str, value: Option<String>| {
        list.extend(value.map(|value| (key.to_owned(), value)));
    };
    let policy = view.policy;
    add("/policy", policy.map(|policy| policy.id.clone()));
    add(
        "/fluid_percent",
        policy.map(|policy| plain(&policy.fluid_percent.value)),
    );
    add(
        "/range_percent",
        policy.map(|policy| plain(&policy.range_percent.value)),
    );
    let certified = view.certified().map(|(_, row)| row);
    add(
        "/certified_mpa_s",
        certified.map(|row| six_digits(&row.mpa_s())),
    );
    add(
        "/certified_c",
        certified.map(|row| plain(&row.temperature_c.value)),
    );
    let mean = judgement.and_then(|judgement| judgement.mean_c.as_ref());
    add(
        "/mean_c",
        mean.map(|mean| plain(&mean.rounded_decimals(MEAN_PLACES))),
    );
    let reference = judgement.and_then(|judgement| judgement.reference_mpa_s.as_ref());
    add("/reference_mpa_s", reference.map(six_digits));
    let printed = |value: Option<f64>| value.and_then(rounded).map(|value| plain(&value));
    add("/laminar_limit_rpm", printed(evidence::laminar_limit(view)));
    add("/d341_mpa_s", printed(evidence::d341_mpa_s(view)));
    add("/verdict", verdict(view).map(|word| word.word().to_owned()));
    let points = judgement.map_or(&[][..], |judgement| &judgement.points);
    let uncertainties = uncertainties(view);
    for (index, (judged, written)) in points.iter().zip(&view.check.points).enumerate() {
        let uncertainty = uncertainties.get(index).and_then(Option::as_ref);
        let of_point = of_point(view, judged, written)
            .into_iter()
            .chain(of_uncertainty(uncertainty));
        for (key, value) in of_point {
            let value = value.map(|value| (format!("/point/{index}/{key}"), value));
            list.extend(value);
        }
    }
    list
}

/// The verdict of a check as it is told.
pub fn verdict(view: &View<'_>) -> Option<Verdict> {
    match view.check.void {
        true => Some(Verdict::Void),
        false => view.judgement.as_ref()?.verdict.map(Verdict::from),
    }
}

/// The uncertainty of a point as it is told: 6 significant digits, but for the degrees of freedom.
#[derive(Clone, Debug)]
pub struct UncertaintyFigures {
    pub budget: Budget,
    pub standard_mpa_s: Exact,
    /// `None` where they are infinite.
    pub degrees_of_freedom: Option<u32>,
    pub expanded_mpa_s: Exact,
    /// `None` without limits.
    pub test_uncertainty_ratio: Option<Exact>,
    /// Of the mean of replicates; `None` where no figure was shown.
    pub conformance_probability: Option<Exact>,
}

/// The uncertainty of each point, in the order of the points; `None` where it cannot be had.
pub fn uncertainties(view: &View<'_>) -> Vec<Option<UncertaintyFigures>> {
    let points = view
        .judgement
        .iter()
        .flat_map(|judgement| &judgement.points);
    let told = |(budget, point): (Option<Budget>, &JudgedPoint)| {
        let budget = budget?;
        let half = point.half_width.as_ref().map(Exact::to_f64);
        let deviation = point
            .replicate_mean
            .as_ref()
            .zip(point.reference_unrounded.as_ref())
            .map(|(mean, reference)| (mean - reference).to_f64());
        Some(UncertaintyFigures {
            standard_mpa_s: rounded(budget.standard)?,
            degrees_of_freedom: budget.degrees_of_freedom,
            expanded_mpa_s: rounded(budget.expanded)?,
            test_uncertainty_ratio: half
                .and_then(|half| rounded(budget.test_uncertainty_ratio(half)?)),
            conformance_probability: half
                .zip(deviation)
                .and_then(|(half, off)| rounded(budget.conformance_probability(half, off)?)),
            budget,
        })
    };
    view.budgets().into_iter().zip(points).map(told).collect()
}

/// A figure that comes of a logarithm or a root, as it is told.
pub fn rounded(value: f64) -> Option<Exact> {
    Some(Exact::from_f64(value)?.rounded_significant(FIGURE_DIGITS))
}

fn of_uncertainty(told: Option<&UncertaintyFigures>) -> [(&'static str, Option<String>); 5] {
    [
        (
            "standard_uncertainty_mpa_s",
            told.map(|told| plain(&told.standard_mpa_s)),
        ),
        (
            "degrees_of_freedom",
            told.and_then(|told| Some(told.degrees_of_freedom?.to_string())),
        ),
        (
            "expanded_uncertainty_mpa_s",
            told.map(|told| plain(&told.expanded_mpa_s)),
        ),
        (
            "test_uncertainty_ratio",
            told.and_then(|told| told.test_uncertainty_ratio.as_ref().map(plain)),
        ),
        (
            "conformance_probability",
            told.and_then(|told| told.conformance_probability.as_ref().map(plain)),
        ),
    ]
}

fn of_point(
    view: &View<'_>,
    judged: &JudgedPoint,
    written: &Point,
) -> [(&'static str, Option<String>); 14] {
    let torque = match &written.torque_percent {
        Some(shown) => Some(plain(&shown.value)),
        None => judged
            .torque_percent
            .as_ref()
            .map(|torque| plain(&torque.rounded_decimals(PERCENT_PLACES))),
    };
    let reading = match &written.viscosity_mpa_s {
        Some(shown) => Some(plain(&shown.value)),
        None => judged.reading_mpa_s.as_ref().map(six_digits),
    };
    let shear_rate = view.shear_rate_per_s(written).and_then(Exact::from_f64);
    let figure = |value: &Option<Exact>| value.as_ref().map(plain);
    let guarded = judged.guarded.as_deref();
    [
        (
            "zone",
            judged
                .zone
                .map(|zone| ZoneName::from(zone).word().to_owned()),
        ),
        ("torque_percent", torque),
        ("range_mpa_s", figure(&judged.range_mpa_s)),
        ("shear_rate_per_s", shear_rate.as_ref().map(six_digits)),
        ("viscosity_mpa_s", reading),
        ("reference_mpa_s", figure(&judged.reference_mpa_s)),
        ("lower_mpa_s", figure(&judged.lower)),
        ("upper_mpa_s", figure(&judged.upper)),
        (
            "acceptance_lower_mpa_s",
            guarded.map(|by| plain(&by.acceptance.lower)),
        ),
        (
            "acceptance_upper_mpa_s",
            guarded.map(|by| plain(&by.acceptance.upper)),
        ),
        ("deviation_percent", figure(&judged.deviation_percent)),
        (
            "deviation_of_range_percent",
            figure(&judged.deviation_of_range_percent()),
        ),
        (
            "relative_band_percent",
            figure(&judged.relative_band_percent()),
        ),
        (
            "verdict",
            judged
                .verdict
                .map(|verdict| Verdict::from(verdict).word().to_owned()),
        ),
    ]
}

fn plain(value: &Exact) -> String {
    value.to_decimal_string()
}

fn six_digits(value: &Exact) -> String {
    plain(&value.rounded_significant(FIGURE_DIGITS))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::{Book, Clock};
    use crate::parse::parse;
    use crate::record::check::Check;
    use crate::source::memory::Memory;

    const CHECK: &str = "checks/2026/VM-1/2026-03-02-0900.toml";

    /// The small book of the rules' examples.
    fn book() -> Memory {
        let files = [
            (
                "shearbook.toml",
                include_str!("../rules/base/shearbook.toml"),
            ),
            (
                "policies/P-1.toml",
                include_str!("../rules/base/policies/P-1.toml"),
            ),
            (
                "instruments/VM-1.toml",
                include_str!("../rules/base/instruments/VM-1.toml"),
            ),
            (
                "geometries/G-1.toml",
                include_str!("../rules/base/geometries/G-1.toml"),
            ),
            (
                "fluids/K-1.toml",
                include_str!("../rules/base/fluids/K-1.toml"),
            ),
            (
                "thermometers/TH-1.toml",
                include_str!("../rules/base/thermometers/TH-1.toml"),
            ),
            (
                CHECK,
                include_str!("../rules/base/checks/2026/VM-1/2026-03-02-0900.toml"),
            ),
        ];
        let mut memory = Memory::default();
        for (path, text) in files {
            memory
                .files
                .insert(path.to_owned(), text.as_bytes().to_vec());
        }
        memory
    }

    fn changed(path: &str, from: &str, to: &str) -> Memory {
        let mut memory = book();
        let text = String::from_utf8(memory.files[path].clone()).expect("text");
        assert!(text.contains(from), "{path} has no {from}");
        let text = text.replacen(from, to, 1);
        memory.files.insert(path.to_owned(), text.into_bytes());
        memory
    }

    fn figures_in(memory: &Memory) -> Vec<(String, String)> {
        let clock = Clock {
            now: "2026-11-25T12:00:00Z".parse().expect("time"),
            as_of: None,
        };
        let book = Book::facts(memory, clock).expect("facts");
        let parsed = parse::<Check>(CHECK, memory.files[CHECK].clone()).expect("read");
        let (doc, check) = (parsed.doc.expect("doc"), parsed.record.expect("check"));
        let view = View::of(&book, &doc, &check, "VM-1/2026-03-02-0900").expect("view");
        figures(&view)
    }

    fn figure(figures: &[(String, String)], key: &str) -> Option<String> {
        let found = figures.iter().find(|(name, _)| name == key);
        found.map(|(_, value)| value.clone())
    }

    #[test]
    fn every_printed_figure_of_a_check_is_listed() {
        // By hand: range 30000 / 12 = 2500, half-width 4.84 + 25 = 29.84, deviation 1 / 484 = 0.2066 %, of the range
        // 1 / 2500 = 0.04 %, band 29.84 / 484 = 6.1653 %; 484 would show 19.36 % torque, which is the low zone.
        let found = figures_in(&book());
        for (key, value) in [
            ("/date", "2026-03-02"),
            ("/policy", "P-1"),
            ("/fluid_percent", "1.0"),
            ("/range_percent", "1.0"),
            ("/certified_mpa_s", "484.0"),
            ("/certified_c", "25.0"),
            ("/mean_c", "25.0"),
            ("/reference_mpa_s", "484.0"),
            ("/verdict", "pass"),
            ("/point/0/zone", "low"),
            ("/point/0/torque_percent", "19.4"),
            ("/point/0/range_mpa_s", "2500.0"),
            ("/point/0/viscosity_mpa_s", "485.0"),
            ("/point/0/reference_mpa_s", "484.0"),
            ("/point/0/lower_mpa_s", "454.16"),
            ("/point/0/upper_mpa_s", "513.84"),
            ("/point/0/deviation_percent", "0.21"),
            ("/point/0/deviation_of_range_percent", "0.04"),
            ("/point/0/relative_band_percent", "6.17"),
            ("/point/0/verdict", "pass"),
            // The fluid's 0.4 % of 484 by 2 is 0.968; 2.1 %/K times the root of 0.015^2 + 0.01^2/12 K 0.15526; 0.1 % of the
            // range by the root of 12 0.72169; 0.2 % of the range 5.
            ("/point/0/standard_uncertainty_mpa_s", "5.14606"),
            ("/point/0/expanded_uncertainty_mpa_s", "10.2921"),
            ("/point/0/test_uncertainty_ratio", "2.8993"),
            ("/point/0/conformance_probability", "1.0"),
        ] {
            assert_eq!(figure(&found, key).as_deref(), Some(value), "{key}");
        }
        // This geometry tells no shear rate, and all degrees of freedom are infinite, so nine of all, and fifteen of each of
        // three points.
        assert_eq!(found.len(), 9 + 3 * 15, "{found:?}");
        let told = changed(
            "geometries/G-1.toml",
            "guard =",
            "shear_rate_per_rpm = 0.22\nguard =",
        );
        let found = figures_in(&told);
        assert_eq!(
            figure(&found, "/point/0/shear_rate_per_s").as_deref(),
            Some("2.64")
        );
    }

    #[test]
    fn digits_alone_change_no_figure() {
        let plain = figures_in(&book());
        for (path, from, to) in [
            ("fluids/K-1.toml", "484.0", "484.00"),
            (
                "fluids/K-1.toml",
                "temperature_c = 25.0",
                "temperature_c = 25",
            ),
            (
                "policies/P-1.toml",
                "fluid_percent = 1.0",
                "fluid_percent = 1",
            ),
            ("geometries/G-1.toml", "30000.0", "3.0e4"),
            (CHECK, "485.0", "485.000"),
        ] {
            assert_eq!(figures_in(&changed(path, from, to)), plain, "{to}");
        }
    }

    #[test]
    fn a_figure_that_cannot_be_had_is_left_out() {
        // Without a spring there is no range, no limit and no verdict.
        let lost = figures_in(&changed(
            "instruments/VM-1.toml",
            "[[spring]]\nfrom = 2026-01-05",
            "[[spring]]\nfrom = 2026-03-05",
        ));
        for key in ["/verdict", "/point/0/range_mpa_s", "/point/0/lower_mpa_s"] {
            assert_eq!(figure(&lost, key), None, "{key}");
        }
        assert_eq!(figure(&lost, "/certified_mpa_s").as_deref(), Some("484.0"));
    }
}
