//! Published values and worked examples beside what this program computes: the validation of its metrology.
//!
//! A row names its source. What a source says was either seen in a transcription of it or is quoted from memory; where neither
//! is said, the value was recomputed with an independent library, or is common practice of the trade without a source. Values
//! never come from this program.

use super::d341::D341;
use super::distribution::{coverage_factor, expansion_factor, normal_below, normal_within};
use super::exact::Exact;
use super::flow::laminar_limit_rpm;
use super::interval::{AsFound, Change, Practice, advise, interval_for_target, share_at_least};
use super::judge::{Basis, Decision, PointFigures, PolicyFigures, Stated, Subject, Verdict, judge};
use super::limits::{Limits, half_width};
use super::pattern::{Mean, pattern};
use super::range::{Geometry, torque_from_reading};
use super::risk::global_risk;
use super::series::{ewma, individuals, line};
use super::temperature::{CertifiedRow, Curve, Law, Viscosity};
use super::uncertainty::{Sources, budget, effective_degrees};
use super::zone::{Zone, ZoneBounds, zone};

/// What is known of an expected value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// The published number was seen in a transcription.
    Seen,
    /// The published number is quoted from memory, and was recomputed with an independent library.
    FromMemory,
    /// Recomputed with an independent library; no publication.
    Recomputed,
    /// Common practice of the trade, without a source.
    CommonPractice,
}

impl Standing {
    /// In words.
    pub fn word(self) -> &'static str {
        match self {
            Standing::Seen => "published",
            Standing::FromMemory => "published, quoted from memory",
            Standing::Recomputed => "recomputed with an independent library",
            Standing::CommonPractice => "common practice",
        }
    }
}

/// One figure, as it is expected and as it is computed here.
#[derive(Clone, Debug)]
pub struct Row {
    pub topic: &'static str,
    pub what: &'static str,
    pub source: &'static str,
    pub standing: Standing,
    pub expected: String,
    pub computed: String,
    pub agrees: bool,
}

struct Rows(Vec<Row>);

/// The topic, source and standing of the rows that follow.
#[derive(Clone, Copy)]
struct From(&'static str, &'static str, Standing);

impl Rows {
    /// A number with as many decimals as the source prints: it agrees within half of the last one, or so much as is said.
    fn number(&mut self, from: From, what: &'static str, expected: &str, computed: Option<f64>) {
        let places = expected
            .split_once('.')
            .map_or(0, |(_, places)| places.len());
        let half = 0.5 * 10f64.powi(-i32::try_from(places).unwrap_or(0));
        self.within(from, what, expected, half * 1.000_001, computed);
    }

    fn within(
        &mut self,
        from: From,
        what: &'static str,
        expected: &str,
        within: f64,
        computed: Option<f64>,
    ) {
        let value: Option<f64> = expected.parse().ok();
        let agrees = value
            .zip(computed)
            .is_some_and(|(expected, computed)| (expected - computed).abs() <= within);
        let digits = expected
            .trim_start_matches(['-', '0', '.'])
            .chars()
            .filter(char::is_ascii_digit)
            .count();
        let digits = u32::try_from(digits).unwrap_or(6) + 2;
        let computed = computed.and_then(Exact::from_f64).map_or_else(
            || "none".to_owned(),
            |computed| computed.rounded_significant(digits).to_decimal_string(),
        );
        self.push(from, what, expected.to_owned(), computed, agrees);
    }

    fn text(&mut self, from: From, what: &'static str, expected: &str, computed: String) {
        let agrees = expected == computed;
        self.push(from, what, expected.to_owned(), computed, agrees);
    }

    fn push(
        &mut self,
        from: From,
        what: &'static str,
        expected: String,
        computed: String,
        agrees: bool,
    ) {
        self.0.push(Row {
            topic: from.0,
            what,
            source: from.1,
            standing: from.2,
            expected,
            computed,
            agrees,
        });
    }
}

fn x(text: &str) -> Exact {
    Exact::parse(text).unwrap_or_else(Exact::zero)
}

fn plain(value: &Exact) -> String {
    // Whole numbers are written without the point that a record would have.
    let text = value.to_decimal_string();
    text.strip_suffix(".0").map(str::to_owned).unwrap_or(text)
}

fn pair(limits: &Limits) -> String {
    format!("{} to {}", plain(&limits.lower), plain(&limits.upper))
}

fn limits(reference: &str, range: &str, fluid_percent: &str, range_percent: &str) -> Limits {
    let reference = x(reference);
    let half = half_width(&reference, &x(range), &x(fluid_percent), &x(range_percent));
    Limits::around(&reference, &half)
}

/// Every row.
pub fn rows() -> Vec<Row> {
    let mut rows = Rows(Vec::new());
    of_limits(&mut rows);
    of_geometry(&mut rows);
    of_temperature(&mut rows);
    of_uncertainty(&mut rows);
    of_decisions(&mut rows);
    of_pattern(&mut rows);
    of_statistics(&mut rows);
    of_intervals(&mut rows);
    rows.0
}

fn of_limits(rows: &mut Rows) {
    const TOPIC: &str = "limits and zones";
    let practice = From(
        TOPIC,
        "common practice of the trade",
        Standing::CommonPractice,
    );
    let half = half_width(&x("484"), &x("2500"), &x("1"), &x("1"));
    rows.text(
        practice,
        "certified 484, range 2500, 1 % + 1 %: half-width",
        "29.84",
        plain(&half),
    );
    rows.text(
        practice,
        "the same: limits",
        "454.16 to 513.84",
        pair(&limits("484", "2500", "1", "1")),
    );
    let torque = torque_from_reading(&x("100"), &x("200"));
    rows.text(
        practice,
        "certified 100, range 200: torque in %",
        "50",
        torque.as_ref().map_or(String::new(), plain),
    );
    let bounds = ZoneBounds {
        minimum_percent: x("10"),
        low_below_percent: x("30"),
        high_above_percent: x("70"),
    };
    let zones: Vec<&str> = ["9.99", "10", "29.99", "30", "70", "70.01", "100", "100.01"]
        .iter()
        .map(|torque| match zone(&x(torque), &bounds) {
            None => "none",
            Some(Zone::Low) => "low",
            Some(Zone::Middle) => "middle",
            Some(Zone::High) => "high",
        })
        .collect();
    rows.text(
        practice,
        "zones at 9.99, 10, 29.99, 30, 70, 70.01, 100, 100.01 % torque",
        "none low low middle middle high high none",
        zones.join(" "),
    );
    let shifted = (x("25.2") - x("25.0")).abs() <= x("0.2");
    rows.text(
        practice,
        "25.2 degrees C is inside 25.0 +/- 0.2",
        "true",
        shifted.to_string(),
    );
    let library = From(TOPIC, "Python fractions", Standing::Recomputed);
    for (what, range, expected) in [
        (
            "certified 4983, 1 % + 1 %, range 20000: limits",
            "20000",
            "4733.17 to 5232.83",
        ),
        (
            "certified 4983, 1 % + 1 %, range 10000: limits",
            "10000",
            "4833.17 to 5132.83",
        ),
    ] {
        rows.text(
            library,
            what,
            expected,
            pair(&limits("4983", range, "1", "1")),
        );
    }
    let third = x("20000").divide(&x("3")).unwrap_or_else(Exact::zero);
    let half = half_width(&x("4983"), &third, &x("1"), &x("1"));
    let (low, high) = ((x("4983") - &half).to_f64(), (x("4983") + &half).to_f64());
    rows.number(
        library,
        "certified 4983, 1 % + 1 %, range 200000/30: lower limit",
        "4866.503333",
        Some(low),
    );
    rows.number(library, "the same: upper limit", "5099.496667", Some(high));
    let d445 = From(TOPIC, "ASTM D445 A4.5", Standing::Seen);
    let share = 1.44 * 0.19f64.hypot(0.22 / 2.0);
    rows.number(
        d445,
        "sigma 0.19 %, U 0.22 % (k 2): +/-1.44 root of squares, in %",
        "0.3161447770",
        Some(share),
    );
    let share = Exact::from_f64(share).map_or_else(Exact::zero, |share| share.rounded_decimals(2));
    let half = half_width(&x("33.98"), &x("1"), &share, &x("0"));
    let (low, high) = (
        (x("33.98") - &half).rounded_decimals(2),
        (x("33.98") + &half).rounded_decimals(2),
    );
    rows.text(
        d445,
        "certified 33.98 mm2/s: band of acceptance",
        "33.87 to 34.09",
        pair(&Limits {
            lower: low,
            upper: high,
        }),
    );
    let iso = From(TOPIC, "ISO 3104 7.1", Standing::Seen);
    rows.text(
        iso,
        "certified 1000, +/-0.35 % of the value alone: limits",
        "996.5 to 1003.5",
        pair(&limits("1000", "2000", "0.35", "0")),
    );
    let aashto = From(TOPIC, "AASHTO T 316 10.1", Standing::Seen);
    rows.text(
        aashto,
        "certified 1000, +/-2 % of the value alone: limits",
        "980 to 1020",
        pair(&limits("1000", "2000", "2", "0")),
    );
}

fn of_geometry(rows: &mut Rows) {
    const TOPIC: &str = "range, torque and flow";
    let coaxial = |bob: &str, cup: &str, length: &str| Geometry::CoaxialCylinders {
        bob_radius_mm: x(bob),
        cup_radius_mm: x(cup),
        bob_length_mm: x(length),
        end_effect: x("1"),
    };
    // The torque in N.m that drives a geometry in a fluid of 1 Pa.s.
    let torque = |geometry: &Geometry, speed: &str| {
        let range = geometry.range_mpa_s(&x("1000000"), &x(speed))?;
        Some(1000.0 / range.to_f64())
    };
    let textbook = From(
        TOPIC,
        "textbook problem, concentric cylinders (linear gap 0.158); exact by mpmath",
        Standing::Seen,
    );
    let range = coaxial("60", "61.5", "400").range_mpa_s(&x("1800000"), &x("300"));
    let viscosity = range.map(|range| range.to_f64() / 1000.0);
    rows.number(
        textbook,
        "radius 0.06 m, gap 1.5 mm, length 0.40 m, 300 rpm, 1.8 N.m: Pa.s",
        "0.152569450",
        viscosity,
    );
    let sleeve = From(TOPIC, "ISO 10414-1 sleeve and bob", Standing::FromMemory);
    let rate = coaxial("17.245", "18.415", "38").shear_rate_per_s(&x("1"));
    rows.number(
        sleeve,
        "radii 18.415 and 17.245 mm: wall shear rate in 1/s per rpm",
        "1.7023",
        rate,
    );
    let library = From(TOPIC, "mpmath", Standing::Recomputed);
    let bob = coaxial("20", "21.694", "60");
    rows.number(
        library,
        "bob 20 mm, ratio 1.0847, length 60 mm, 60 rpm, 1 Pa.s: N.m",
        "0.0126267993047",
        torque(&bob, "60"),
    );
    rows.number(
        library,
        "the same: shear rate in 1/s",
        "83.7340635",
        bob.shear_rate_per_s(&x("60")),
    );
    let cone = Geometry::ConePlate {
        radius_mm: x("25"),
        angle_deg: x("1"),
    };
    rows.number(
        library,
        "cone 25 mm, 1 degree, 10 rpm, 1 Pa.s: N.m",
        "0.00196349540849",
        torque(&cone, "10"),
    );
    rows.number(
        library,
        "the same: shear rate in 1/s",
        "60",
        cone.shear_rate_per_s(&x("10")),
    );
    let plates = Geometry::ParallelPlates {
        radius_mm: x("25"),
        gap_mm: x("1"),
    };
    rows.number(
        library,
        "plates 25 mm, gap 1 mm, 10 rpm, 1 Pa.s: N.m",
        "0.000642552369863",
        torque(&plates, "10"),
    );
    rows.number(
        library,
        "the same: rim shear rate in 1/s",
        "26.1799387799",
        plates.shear_rate_per_s(&x("10")),
    );
    let taylor = From(TOPIC, "critical Taylor number 1708", Standing::FromMemory);
    rows.number(
        taylor,
        "water, bob 20 mm, ratio 1.0847: laminar up to, in rpm",
        "40.02",
        laminar_limit_rpm(&bob, 1.0, 1.0),
    );
}

fn dynamic(rows: &[(&str, &str)]) -> Vec<CertifiedRow> {
    rows.iter()
        .map(|(temperature_c, mpa_s)| CertifiedRow {
            temperature_c: x(temperature_c),
            viscosity: Viscosity::Dynamic { mpa_s: x(mpa_s) },
            coefficient_percent_per_k: None,
        })
        .collect()
}

fn of_temperature(rows: &mut Rows) {
    const TOPIC: &str = "temperature";
    let astm = From(TOPIC, "ASTM D341", Standing::Seen);
    let oil = |one, other, at| D341::through(one, other).and_then(|law| law.kinematic_mm2_s(at));
    rows.number(
        astm,
        "404 mm2/s at 40, 28 at 100: at 60",
        "132.126",
        oil((40.0, 404.0), (100.0, 28.0), 60.0),
    );
    rows.number(
        astm,
        "68 mm2/s at 40, 14.85 at 80: at 100",
        "8.8",
        oil((40.0, 68.0), (80.0, 14.85), 100.0),
    );
    rows.number(
        astm,
        "32 mm2/s at 40, 5.4 at 100: at 80",
        "8.5",
        oil((40.0, 32.0), (100.0, 5.4), 80.0),
    );
    let library = From(TOPIC, "scipy", Standing::Recomputed);
    let two = dynamic(&[("20", "640"), ("40", "180")]);
    let curve = Curve::around(&two, 0);
    let (a, b) = match curve.as_ref().map(Curve::law) {
        Some(Law::Andrade { a, b_k }) => (Some(a), Some(b_k)),
        _ => (None, None),
    };
    rows.number(
        library,
        "Andrade through 640 at 20 and 180 at 40: B in K",
        "5822.462068",
        b,
    );
    rows.number(library, "the same: A", "-13.4002479", a);
    let at = |curve: &Option<Curve>, to: &str, reference: f64| {
        Some(curve.as_ref()?.ratio(&x(to))? * reference)
    };
    rows.number(
        library,
        "the same: at 25",
        "458.695",
        at(&curve, "25", 640.0),
    );
    let three = dynamic(&[("20", "640"), ("25", "450"), ("40", "180")]);
    let curve = Curve::around(&three, 1);
    let (a, b, t0) = match curve.as_ref().map(Curve::law) {
        Some(Law::Vogel { a, b_k, t0_k }) => (Some(a), Some(b_k), Some(t0_k)),
        _ => (None, None, None),
    };
    rows.number(
        library,
        "Vogel-Fulcher-Tammann through 640 at 20, 450 at 25, 180 at 40: A",
        "-3.08741991",
        a,
    );
    rows.number(library, "the same: B in K", "1246.632795", b);
    rows.number(library, "the same: T0 in K", "162.597334", t0);
    rows.number(
        library,
        "the same: at 30",
        "324.435477",
        at(&curve, "30", 450.0),
    );
    let water = From(
        TOPIC,
        "water at 20 degrees C: ASTM D2162 (mm2/s), ISO/TR 3666 (mPa.s)",
        Standing::FromMemory,
    );
    let kinematic = Viscosity::Kinematic {
        mm2_s: x("1.0034"),
        density_g_ml: x("0.9982"),
    };
    rows.number(
        water,
        "1.0034 mm2/s times 0.9982 g/mL, in mPa.s",
        "1.0016",
        Some(kinematic.mpa_s().to_f64()),
    );
    let iapws = From(
        TOPIC,
        "IAPWS R12-08 (889.735100 uPa.s at 298.15 K and 998 kg/m3)",
        Standing::FromMemory,
    );
    let water = dynamic(&[("20", "1.0016"), ("30", "0.7972"), ("40", "0.6527")]);
    // At atmospheric pressure the density is 997.05 kg/m3; the curve must meet water to 0.1 %.
    rows.within(
        iapws,
        "curve through water at 20, 30, 40: mPa.s at 25",
        "0.889735",
        0.000_9,
        at(&Curve::around(&water, 1), "25", 0.7972),
    );
    // The oils of ASTM D341 above: each within the slopes that the trade knows of mineral oil.
    let practice = From(
        TOPIC,
        "common practice of the trade, on the oils of ASTM D341",
        Standing::CommonPractice,
    );
    let slopes_fit = [
        ((40.0, 404.0), (100.0, 28.0)),
        ((40.0, 68.0), (80.0, 14.85)),
        ((40.0, 32.0), (100.0, 5.4)),
    ]
    .iter()
    .all(|(one, other)| {
        let around = D341::through(*one, *other)
            .and_then(|law| Some((law.kinematic_mm2_s(24.5)?, law.kinematic_mm2_s(25.5)?)));
        around.is_some_and(|(cold, warm)| {
            let percent_per_k = 100.0 * (warm / cold).ln();
            (-9.5..=-3.0).contains(&percent_per_k)
        })
    });
    rows.text(
        practice,
        "slope at 25 of three oils lies within -3 to -9.5 %/K",
        "true",
        slopes_fit.to_string(),
    );
}

fn of_uncertainty(rows: &mut Rows) {
    const TOPIC: &str = "uncertainty";
    let table = From(TOPIC, "JCGM 100 (GUM), table G.2", Standing::Seen);
    for (what, coverage, degrees, printed) in [
        (
            "factor for 95.45 %, 1 degree of freedom",
            0.9545,
            1,
            "13.97",
        ),
        (
            "factor for 95.45 %, 2 degrees of freedom",
            0.9545,
            2,
            "4.53",
        ),
        (
            "factor for 95.45 %, 5 degrees of freedom",
            0.9545,
            5,
            "2.65",
        ),
        (
            "factor for 95.45 %, 10 degrees of freedom",
            0.9545,
            10,
            "2.28",
        ),
        (
            "factor for 95.45 %, 50 degrees of freedom",
            0.9545,
            50,
            "2.05",
        ),
        ("factor for 99 %, 16 degrees of freedom", 0.99, 16, "2.92"),
        ("factor for 95 %, 19 degrees of freedom", 0.95, 19, "2.09"),
    ] {
        rows.number(
            table,
            what,
            printed,
            coverage_factor(coverage, Some(degrees)),
        );
    }
    rows.number(
        table,
        "factor for 95.45 %, infinite degrees of freedom",
        "2.00",
        expansion_factor(None),
    );
    let gauge = From(TOPIC, "JCGM 100 (GUM), H.1, end gauge", Standing::Seen);
    let root = |parts: &[f64]| parts.iter().fold(0.0, |sum: f64, part| sum.hypot(*part));
    let combined = root(&[25.0, 9.7, 2.9, 16.675]);
    rows.number(
        gauge,
        "25, 9.7, 2.9, 16.675 nm together, in nm",
        "32",
        Some(combined),
    );
    let degrees = effective_degrees(combined, &[(25.0, 18.0), (9.7, 25.6), (16.675, 2.0)]);
    rows.number(
        gauge,
        "effective degrees of freedom",
        "16",
        degrees.map(f64::from),
    );
    let expanded = coverage_factor(0.99, degrees).map(|factor| factor * combined);
    rows.number(gauge, "expanded for 99 %, in nm", "93", expanded);
    let relative = From(TOPIC, "JCGM 100 (GUM), G.4.1", Standing::FromMemory);
    let combined = root(&[0.25, 0.57, 0.82]);
    rows.number(
        relative,
        "0.25, 0.57, 0.82 % together, in %",
        "1.03",
        Some(combined),
    );
    let degrees = effective_degrees(combined, &[(0.25, 9.0), (0.57, 4.0), (0.82, 14.0)]);
    rows.number(
        relative,
        "effective degrees of freedom of n = 10, 5, 15",
        "19",
        degrees.map(f64::from),
    );
    let expanded = coverage_factor(0.95, degrees).map(|factor| factor * combined);
    rows.number(relative, "expanded for 95 %, in %", "2.2", expanded);
    let library = From(
        TOPIC,
        "scipy; a whole budget of a deviation",
        Standing::Recomputed,
    );
    for (slope, standard, degrees, factor) in [
        (-0.07, "18.2506875527", "96", "2.0264"),
        (-0.02, "13.0437274037", "25", "2.1051"),
    ] {
        let sources = Sources {
            fluid_expanded_mpa_s: 4983.0 * 0.004,
            fluid_coverage_factor: 2.0,
            thermometer_expanded_k: 0.05,
            thermometer_coverage_factor: 2.0,
            thermometer_resolution_k: 0.0,
            spread_k: 0.0,
            uniformity_k: 0.05,
            slope_per_k: slope,
            torque_resolution_percent: 0.1,
            repeatability_percent: 0.0,
        };
        // Three readings with a standard deviation of 12 mPa.s.
        let worked = budget(&sources, 4983.0, 10_000.0, &[4971.0, 4983.0, 4995.0]);
        let worked = worked.as_ref();
        let what = match slope < -0.05 {
            true => "r 4983, R 10000, slope 7 %/K: standard uncertainty in mPa.s",
            false => "r 4983, R 10000, slope 2 %/K: standard uncertainty in mPa.s",
        };
        rows.number(
            library,
            what,
            standard,
            worked.map(|worked| worked.standard),
        );
        rows.number(
            library,
            "the same: degrees of freedom",
            degrees,
            worked
                .and_then(|worked| worked.degrees_of_freedom)
                .map(f64::from),
        );
        rows.number(
            library,
            "the same: factor for 95.45 %",
            factor,
            worked.map(|worked| worked.coverage_factor),
        );
    }
}

/// A verdict of a check of 4983 mPa.s on a range of 10000 with U = 36.5 mPa.s, 1 % + 1 %, four ways.
fn four_way(reading: &str) -> String {
    let geometry = Geometry::Factored {
        range_constant_mpa_s_rpm: x("200000"),
        at_torque_un_m: x("80"),
        shear_rate_per_rpm: None,
    };
    let mut certified = dynamic(&[("25", "4983")]);
    if let Some(row) = certified.first_mut() {
        row.coefficient_percent_per_k = Some(x("-2"));
    }
    let judgement = judge(&Subject {
        points: &[PointFigures {
            speed_rpm: x("20"),
            torque_percent: None,
            viscosity_mpa_s: Some(x(reading)),
            temperature_c: Some(x("25")),
            shown: false,
        }],
        geometry: Some(&geometry),
        full_scale_torque_un_m: Some(&x("80")),
        rows: &certified,
        corrections: Some(&[]),
        stated: &Stated {
            fluid: vec![Some((36.5, 2.0))],
            thermometer: Some((0.0, 2.0)),
            thermometer_resolution_k: Some(0.0),
            uniformity_k: Some(0.0),
            torque_resolution_percent: Some(0.0),
            repeatability_percent: Some(0.0),
        },
        policy: &PolicyFigures {
            fluid_percent: x("1"),
            range_percent: x("1"),
            window_k: x("0.2"),
            basis: Basis::Corrected,
            decision: Decision::GuardedFourWay,
            zones: ZoneBounds {
                minimum_percent: x("10"),
                low_below_percent: x("30"),
                high_above_percent: x("70"),
            },
        },
    });
    match judgement.verdict {
        Some(Verdict::Pass) => "pass",
        Some(Verdict::ConditionalPass) => "conditional-pass",
        Some(Verdict::ConditionalFail) => "conditional-fail",
        Some(Verdict::Fail) => "fail",
        None => "none",
    }
    .to_owned()
}

fn of_decisions(rows: &mut Rows) {
    const TOPIC: &str = "decisions";
    let guide = From(TOPIC, "JCGM 106, 7.4", Standing::FromMemory);
    let within = normal_within((16.3 - 12.5) / 2.0, 13.6 - (12.5 + 16.3) / 2.0, 1.8);
    rows.number(
        guide,
        "tolerance 12.5 to 16.3, measured 13.6, u 1.8: conformance",
        "0.66",
        within,
    );
    rows.number(
        guide,
        "the same, recomputed with scipy",
        "0.6626297865",
        within,
    );
    let one_sided = From(TOPIC, "JCGM 106, one-sided", Standing::FromMemory);
    let below = normal_below((-5.40 + 5.47) / 0.05);
    rows.number(
        one_sided,
        "limit -5.40, measured -5.47, u 0.05: conformance",
        "0.92",
        Some(below),
    );
    rows.number(
        one_sided,
        "the same, recomputed with scipy",
        "0.9192433408",
        Some(below),
    );
    let table = From(TOPIC, "JCGM 106, table 1", Standing::FromMemory);
    for (what, share, z) in [
        ("z for a conformance of 0.80", 0.80, "0.84"),
        ("z for a conformance of 0.90", 0.90, "1.28"),
        ("z for a conformance of 0.95", 0.95, "1.64"),
        ("z for a conformance of 0.99", 0.99, "2.33"),
        ("z for a conformance of 0.999", 0.999, "3.09"),
    ] {
        rows.number(table, what, z, coverage_factor(2.0 * share - 1.0, None));
    }
    let ilac = From(TOPIC, "ILAC-G8", Standing::Seen);
    let at_acceptance = 1.0 - normal_below(2.0);
    rows.text(
        ilac,
        "guard band U: false accept below 2.5 %",
        "true",
        (at_acceptance < 0.025).to_string(),
    );
    rows.number(
        ilac,
        "no guard band: false accept up to, in %",
        "50",
        Some(100.0 * normal_below(0.0)),
    );
    let library = From(
        TOPIC,
        "Python; the words are those of ILAC-G8",
        Standing::Recomputed,
    );
    for (what, reading, verdict) in [
        ("limits 4833.17 and 5132.83, U 36.5: 4990", "4990", "pass"),
        (
            "limits 4833.17 and 5132.83, U 36.5: 5100",
            "5100",
            "conditional-pass",
        ),
        (
            "limits 4833.17 and 5132.83, U 36.5: 5120",
            "5120",
            "conditional-pass",
        ),
        (
            "limits 4833.17 and 5132.83, U 36.5: 5140",
            "5140",
            "conditional-fail",
        ),
        ("limits 4833.17 and 5132.83, U 36.5: 5180", "5180", "fail"),
    ] {
        rows.text(library, what, verdict, four_way(reading));
    }
    let scipy = From(TOPIC, "scipy; JCGM 106, clause 9", Standing::Recomputed);
    let prior = coverage_factor(0.95, None).map(|factor| 1.0 / factor);
    let risk = prior.and_then(|prior| global_risk(prior, 1.0 / 8.0, 1.0, 1.0));
    rows.number(
        scipy,
        "95 % in tolerance, ratio 4, no guard: false accept",
        "0.0085826648",
        risk.map(|risk| risk.false_accept),
    );
    rows.number(
        scipy,
        "the same: false reject",
        "0.0155365130",
        risk.map(|risk| risk.false_reject),
    );
}

fn of_pattern(rows: &mut Rows) {
    let library = From("pattern over the points", "numpy", Standing::Recomputed);
    // On ranges of 400, 200 and 133.3 a fluid of 100 shows 25, 50 and 75 % torque.
    let of = |shown: [f64; 3]| {
        let means = [25.0, 50.0, 75.0].map(|expected| 10_000.0 / expected);
        let means: Vec<Mean> = means
            .iter()
            .zip(shown)
            .map(|(range, shown)| Mean {
                reading_mpa_s: shown * range / 100.0,
                reference_mpa_s: 100.0,
                range_mpa_s: *range,
            })
            .collect();
        pattern(&means)
    };
    for (what, shown, offset, gain) in [
        (
            "torque 25.5, 50.5, 75.5 for 25, 50, 75: zero offset in %",
            [25.5, 50.5, 75.5],
            "0.5000",
            "0.0000",
        ),
        (
            "torque 24.5, 49.0, 73.5 for 25, 50, 75: zero offset in %",
            [24.5, 49.0, 73.5],
            "0.0000",
            "-2.0000",
        ),
        (
            "torque 25.0, 49.5, 74.0 for 25, 50, 75: zero offset in %",
            [25.0, 49.5, 74.0],
            "0.5000",
            "-2.0000",
        ),
        (
            "torque 24.2, 49.4, 74.5 for 25, 50, 75: zero offset in %",
            [24.2, 49.4, 74.5],
            "-0.9333",
            "0.6000",
        ),
    ] {
        let found = of(shown);
        rows.number(
            library,
            what,
            offset,
            found.map(|found| found.zero_offset_percent),
        );
        rows.number(
            library,
            "the same: gain error in %",
            gain,
            found.map(|found| found.gain_error_percent),
        );
    }
}

const NORRIS_Y: [f64; 36] = [
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1,
    668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0,
    998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
];

const NORRIS_X: [f64; 36] = [
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5,
    666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2,
    999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
];

const INDIVIDUALS: [f64; 10] = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];

const AVERAGED: [f64; 20] = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2,
    52.6, 52.4, 53.6, 52.1,
];

fn of_statistics(rows: &mut Rows) {
    const TOPIC: &str = "statistics";
    let norris = From(
        TOPIC,
        "NIST StRD, Norris (linear regression)",
        Standing::Seen,
    );
    let fit = line(&NORRIS_X, &NORRIS_Y);
    let fit = fit.as_ref();
    rows.within(
        norris,
        "intercept",
        "-0.262323073774029",
        1e-12,
        fit.map(|fit| fit.intercept),
    );
    rows.within(
        norris,
        "its standard deviation",
        "0.232818234301152",
        1e-12,
        fit.map(|fit| fit.intercept_se),
    );
    rows.within(
        norris,
        "slope",
        "1.00211681802045",
        1e-13,
        fit.map(|fit| fit.slope),
    );
    rows.within(
        norris,
        "its standard deviation",
        "0.000429796848199937",
        1e-15,
        fit.map(|fit| fit.slope_se),
    );
    rows.within(
        norris,
        "residual standard deviation",
        "0.884796396144373",
        1e-12,
        fit.map(|fit| fit.residual_sd),
    );
    rows.within(
        norris,
        "R squared",
        "0.999993745883712",
        1e-13,
        fit.and_then(|fit| fit.r_squared),
    );
    let shewhart = From(
        TOPIC,
        "NIST/SEMATECH e-Handbook 6.3.2.2, individuals",
        Standing::Seen,
    );
    let chart = individuals(&INDIVIDUALS);
    let chart = chart.as_ref();
    rows.number(shewhart, "mean", "50.81", chart.map(|chart| chart.centre));
    rows.number(
        shewhart,
        "mean moving range",
        "1.8778",
        chart.map(|chart| chart.moving_range),
    );
    rows.number(
        shewhart,
        "upper control limit",
        "55.8041",
        chart.map(|chart| chart.upper),
    );
    rows.number(
        shewhart,
        "lower control limit",
        "45.8159",
        chart.map(|chart| chart.lower),
    );
    let average = From(
        TOPIC,
        "NIST/SEMATECH e-Handbook 6.3.2.4, EWMA",
        Standing::Seen,
    );
    let averages = ewma(&AVERAGED, 0.3, 50.0, 2.0539, 3.0);
    let steps: Vec<String> = averages
        .iter()
        .flat_map(|averages| &averages.steps)
        .map(|step| format!("{:.2}", step.average))
        .collect();
    rows.text(
        average,
        "lambda 0.3, start 50: twenty averages",
        "50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 51.94 51.99",
        steps.join(" "),
    );
    rows.number(
        average,
        "upper control limit (s 2.0539)",
        "52.5884",
        averages.as_ref().map(|averages| averages.upper),
    );
    // Printed 47.4115, which is cut and not rounded.
    rows.number(
        average,
        "lower control limit",
        "47.411568",
        averages.as_ref().map(|averages| averages.lower),
    );
    let drift = From(TOPIC, "scipy; a worked drift", Standing::Recomputed);
    let months = [0.0, 6.0, 12.0, 18.0, 24.0];
    let fit = line(&months, &[0.10, 0.22, 0.41, 0.48, 0.69]);
    let fit = fit.as_ref();
    rows.number(
        drift,
        "0.10 to 0.69 % in 24 months: slope a month",
        "0.024",
        fit.map(|fit| fit.slope),
    );
    rows.number(
        drift,
        "its standard error",
        "0.0018358568",
        fit.map(|fit| fit.slope_se),
    );
    rows.number(
        drift,
        "reaches 1 % at month",
        "37.8333",
        fit.map(|fit| (1.0 - fit.intercept) / fit.slope),
    );
    let ahead = fit.and_then(|fit| fit.prediction(30.0, 0.95));
    rows.number(
        drift,
        "prediction at month 30",
        "0.812",
        ahead.map(|ahead| ahead.centre),
    );
    rows.number(
        drift,
        "+/- with 95 %",
        "0.1606426267",
        ahead.map(|ahead| ahead.half_width),
    );
}

fn of_intervals(rows: &mut Rows) {
    const TOPIC: &str = "intervals";
    let guide = From(TOPIC, "ILAC-G24 / OIML D 10, staircase", Standing::Seen);
    // Three results a month apart, the newest with this share of the permissible error.
    let after = |newest: f64| {
        let found: Vec<AsFound> = [0.1, 0.1, newest]
            .iter()
            .zip([0.0, 30.0, 60.0])
            .map(|(used, day)| AsFound {
                day,
                used: *used,
                adjusted_after: false,
            })
            .collect();
        let advice = advise(&found, 30, &Practice::common(365));
        match advice.and_then(|advice| advice.staircase.proposal().map(|one| one.change)) {
            Some(Change::Longer) => "longer",
            Some(Change::Unchanged) => "unchanged",
            Some(Change::Shorter) => "shorter",
            None => "none",
        }
        .to_owned()
    };
    rows.text(
        guide,
        "80 % of the permissible error: the interval becomes",
        "longer",
        after(0.80),
    );
    rows.text(
        guide,
        "90 % of the permissible error: the interval is",
        "unchanged",
        after(0.90),
    );
    rows.text(
        guide,
        "outside the permissible error: the interval becomes",
        "shorter",
        after(-1.01),
    );
    let library = From(TOPIC, "scipy; exponential model", Standing::Recomputed);
    let months = interval_for_target(12.0, 0.90, 0.95);
    rows.number(
        library,
        "0.90 in tolerance at 12 months, target 0.95: months",
        "5.842032272",
        months,
    );
    let library = From(TOPIC, "scipy; Clopper and Pearson", Standing::Recomputed);
    rows.number(
        library,
        "20 of 20 in tolerance prove with 95 % at least",
        "0.8608916593",
        share_at_least(20, 20, 0.95),
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_published_value_is_met() {
        let rows = rows();
        for row in &rows {
            assert!(
                row.agrees,
                "{}: {} should be {}, is {} ({})",
                row.topic, row.what, row.expected, row.computed, row.source
            );
        }
        assert!(rows.len() > 80, "{} rows", rows.len());
    }

    #[test]
    fn a_wrong_figure_does_not_agree() {
        let mut rows = Rows(Vec::new());
        let from = From("none", "none", Standing::Recomputed);
        rows.number(
            from,
            "within half of the last decimal",
            "0.66",
            Some(0.6626),
        );
        rows.number(from, "beyond it", "0.66", Some(0.6651));
        rows.number(from, "none", "0.66", None);
        rows.number(from, "no number", "0.66", Some(f64::NAN));
        rows.text(from, "other words", "pass", "fail".to_owned());
        let agrees: Vec<bool> = rows.0.iter().map(|row| row.agrees).collect();
        assert_eq!(agrees, [true, false, false, false, false]);
    }
}
