//! What a metrologist asks of a check and of an instrument: why it deviates, how it reads over time, and whether the program
//! computes what others have published.
#![allow(clippy::disallowed_methods, reason = "tests may use files")]

mod support;

use serde_json::Value;
use support::{Scratch, check_path, draft};

/// The example book, asked of a day.
const EXAMPLE: [&str; 2] = [
    "--book",
    concat!(env!("CARGO_MANIFEST_DIR"), "/records-example"),
];

fn of_example<'a>(arguments: &[&'a str]) -> Vec<&'a str> {
    [&EXAMPLE[..], arguments].concat()
}

fn json(scratch: &Scratch, arguments: &[&str]) -> Value {
    let done = scratch
        .shearbook(&[arguments, &["--format", "json"]].concat())
        .ends(0);
    serde_json::from_str(&done.out).unwrap()
}

/// Text without the breaks of its lines.
fn flowing(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn assert_fits(text: &str) {
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

#[test]
fn selftest_says_that_all_published_values_agree() {
    let scratch = Scratch::empty();
    let done = scratch.shearbook(&["selftest"]).ends(0);
    assert_fits(&done.out);
    for topic in [
        "limits and zones",
        "range, torque and flow",
        "temperature",
        "uncertainty",
        "decisions",
        "pattern over the points",
        "statistics",
        "intervals",
    ] {
        assert!(done.out.contains(&format!("\n{topic}\n")), "{topic}");
    }
    // NIST StRD, Norris, and JCGM 100, table G.2.
    assert!(done.out.contains("-0.262323073774029"));
    assert!(done.out.contains("13.97"));
    assert!(!done.out.contains("DIFFERS"));
    let document = json(&scratch, &["selftest"]);
    let values = document["values"].as_array().unwrap();
    assert_eq!(document["counts"]["agree"], values.len());
    assert!(values.iter().all(|value| value["source"] != ""));
    assert_eq!(scratch.shearbook(&["selftest", "--quiet"]).ends(0).out, "");
}

#[test]
fn the_trend_of_every_instrument_fits_the_terminal_and_draws() {
    let scratch = Scratch::empty();
    for number in 1..=8 {
        let id = format!("VM-0{number}");
        let done = scratch
            .shearbook(&of_example(&["trend", &id, "--as-of", "2026-11-25"]))
            .ends(0);
        assert_fits(&done.out);
        let told = ["interval advice", "No check of it counts yet."];
        assert!(
            told.iter().any(|told| done.out.contains(told)),
            "{}",
            done.out
        );
        let done = scratch
            .shearbook(&of_example(&[
                "trend",
                &id,
                "--as-of",
                "2026-11-25",
                "--format",
                "svg",
            ]))
            .ends(0);
        assert!(done.out.starts_with("<svg xmlns=") && done.out.ends_with("</svg>\n"));
        assert!(!done.out.contains("script") && !done.out.contains("href"));
        let document = json(
            &scratch,
            &of_example(&["trend", &id, "--as-of", "2026-11-25"]),
        );
        let drawn = done.out.matches("class=\"mark\"").count()
            + done.out.matches("class=\"left\"").count()
            + done.out.matches("class=\"out\"").count();
        let series = document["series"].as_array().unwrap();
        let points: usize = series
            .iter()
            .filter(|one| one["current"] == true)
            .map(|one| one["points"].as_array().unwrap().len())
            .sum();
        assert_eq!(drawn, points, "{id}");
    }
}

#[test]
fn a_narrow_terminal_is_kept_to() {
    let mut scratch = book(WARM);
    scratch.set("COLUMNS", "60");
    for arguments in [
        vec!["show", "VM-1/2026-03-02-0900", "--budget"],
        vec!["trend", "VM-1"],
        vec!["selftest"],
        of_example(&["trend", "VM-05", "--as-of", "2026-11-25"]),
        of_example(&["show", "VM-07/2026-11-16-1120", "--budget"]),
    ] {
        let done = scratch.shearbook(&arguments).ends(0);
        for line in done.out.lines() {
            // The table of figures alone may be wider.
            let is_figures =
                line.contains(" to ") && line.contains("pass") || line.contains("fail");
            assert!(is_figures || line.chars().count() <= 60, "{line}");
        }
    }
}

#[test]
fn an_instrument_that_drifts_is_told_before_it_fails() {
    let scratch = Scratch::empty();
    let done = scratch
        .shearbook(&of_example(&["trend", "VM-05", "--as-of", "2026-11-25"]))
        .ends(0);
    let said = flowing(&done.out);
    assert!(said.contains("It drifts: C3-122"), "{said}");
    assert!(said.contains("find the cause before an interval is made longer"));
    let document = json(&scratch, &of_example(&["status", "--as-of", "2026-11-25"]));
    let findings = document["findings"].as_array().unwrap();
    let drifting: Vec<&Value> = findings
        .iter()
        .filter(|one| one["rule"] == "drifting")
        .collect();
    assert!(
        drifting
            .iter()
            .any(|one| one["path"] == "instruments/VM-05.toml" && one["severity"] == "warning")
    );
    // Before the drift there was nothing to tell.
    let document = json(
        &scratch,
        &of_example(&["trend", "VM-05", "--as-of", "2026-03-01"]),
    );
    assert_eq!(document["drifting"], false);
}

#[test]
fn an_unknown_instrument_is_told_with_the_nearest() {
    let done = Scratch::empty()
        .shearbook(&of_example(&["trend", "VM-5"]))
        .ends(2);
    assert!(done.err.contains("no instrument VM-5"), "{}", done.err);
    assert!(done.err.contains("VM-05"), "{}", done.err);
    assert_eq!(done.out, "");
}

/// A book with one check whose readings at 12, 30 and 60 rpm are these, in mPa.s; ranges 2500, 1000 and 500.
fn book(readings: [&str; 3]) -> Scratch {
    let scratch = Scratch::empty().with_facts("");
    put(&scratch, "VM-1", readings);
    scratch
}

fn put(scratch: &Scratch, instrument: &str, readings: [&str; 3]) {
    let mut text = draft("0900").replace("\"VM-1\"", &format!("\"{instrument}\""));
    let ranges = ["2500", "1000", "500"];
    for (shown, (reading, range)) in ["19.4", "48.5", "97.0"]
        .into_iter()
        .zip(readings.into_iter().zip(ranges))
    {
        let torque = 100.0 * reading.parse::<f64>().unwrap() / range.parse::<f64>().unwrap();
        text = text.replacen(
            &format!("torque_percent = {shown}\nviscosity_mpa_s = 485.0"),
            &format!("torque_percent = {torque:.1}\nviscosity_mpa_s = {reading}"),
            1,
        );
    }
    let path = check_path("0900").replace("VM-1", instrument);
    scratch.write(&path, &text);
    scratch.shearbook(&["seal", &path]).ends(0);
}

fn causes(document: &Value) -> Vec<String> {
    document["pattern"]["causes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|cause| cause["cause"].as_str().unwrap().to_owned())
        .collect()
}

/// 484 mPa.s at -2.1 %/K and 1.1 K too warm are 484 x (1 - 0.0231) = 472.82.
const WARM: [&str; 3] = ["472.8", "472.8", "472.85"];

const OF_FLUID: [&str; 4] = [
    "fluid-temperature",
    "fluid-old",
    "nominal-used",
    "kinematic-used",
];

#[test]
fn a_warm_fluid_is_told_with_its_kelvin_and_with_what_cannot_be_told_apart() {
    let scratch = book(WARM);
    let id = "VM-1/2026-03-02-0900";
    let document = json(&scratch, &["show", id]);
    assert_eq!(document["verdict"], "fail");
    let gain = document["pattern"]["gain_error_percent"].as_f64().unwrap();
    assert!((gain + 2.31).abs() < 0.05, "{gain}");
    let done = scratch.shearbook(&["show", id]).ends(0);
    let said = flowing(&done.out);
    assert!(
        said.contains("a fluid 1.1 K warmer than shown would explain this"),
        "{said}"
    );
    assert!(said.contains("cannot tell"), "{said}");
    assert_fits(&done.out);
    let found = causes(&document);
    let groups = document["pattern"]["cannot_tell"].as_array().unwrap();
    let group: Vec<&str> = groups[0]["causes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|cause| cause.as_str().unwrap())
        .collect();
    assert!(
        found.contains(&"fluid-temperature".to_owned()) && group.contains(&"fluid-temperature")
    );
    // The notice of the failure carries it.
    let done = scratch.shearbook(&["validate"]).ends(0);
    assert!(
        flowing(&done.out).contains("a fluid 1.1 K warmer than shown would explain this"),
        "{}",
        done.out
    );
}

#[test]
fn the_fleet_is_a_witness() {
    // Another instrument in the same fluid that day.
    let with = |readings: [&str; 3]| {
        let scratch = book(WARM);
        let second = scratch
            .read("instruments/VM-1.toml")
            .replace("\"VM-1\"", "\"VM-2\"");
        scratch.write("instruments/VM-2.toml", &second);
        put(&scratch, "VM-2", readings);
        json(&scratch, &["show", "VM-1/2026-03-02-0900"])
    };
    let alike = with(WARM);
    assert_eq!(
        alike["pattern"]["witnesses"][0]["asked"],
        "the same lot on other instruments that day"
    );
    for cause in &causes(&alike)[..2] {
        assert!(OF_FLUID.contains(&cause.as_str()), "{:?}", causes(&alike));
    }
    // Where the other reads right, another beaker may still have been warm, but it is not the first to think of.
    let alone = with(["484.2", "484.1", "483.9"]);
    let first = &causes(&alone)[0];
    assert!(!OF_FLUID.contains(&first.as_str()), "{:?}", causes(&alone));
}

#[test]
fn a_zero_that_is_off_shows_as_a_constant_share_of_the_range() {
    // By hand: 0.8 % of 2500, 1000, 500 more than 484.
    let scratch = book(["504.0", "492.0", "488.0"]);
    let document = json(&scratch, &["show", "VM-1/2026-03-02-0900"]);
    let pattern = &document["pattern"];
    let figure = |key: &str| pattern[key].as_f64().unwrap();
    assert!((figure("zero_offset_percent") - 0.8).abs() < 1e-6);
    assert!(figure("gain_error_percent").abs() < 1e-6);
    assert!(figure("non_linearity_percent").abs() < 1e-6);
    assert!(causes(&document)[..2].contains(&"zero-offset".to_owned()));
}

#[test]
fn the_relative_band_is_told_at_each_speed() {
    // By hand: 29.84, 14.84 and 9.84 of 484.
    let scratch = book(["485.0", "485.0", "485.0"]);
    let done = scratch.shearbook(&["show", "VM-1/2026-03-02-0900"]).ends(0);
    let said = flowing(&done.out);
    let told = "the band in % of value: \u{b1}6.17 % at 12 rpm, \u{b1}3.07 % at 30 rpm, \u{b1}2.03 % at 60 rpm";
    assert!(said.contains(told), "{said}");
}

#[test]
fn a_sound_check_names_no_cause() {
    let scratch = book(["485.0", "485.0", "485.0"]);
    let document = json(&scratch, &["show", "VM-1/2026-03-02-0900"]);
    assert!(causes(&document).is_empty());
    assert_eq!(
        document["pattern"]["witnesses"].as_array().unwrap().len(),
        0
    );
}

#[test]
fn mineral_oil_has_the_published_law_beside_it() {
    // ASTM D341, published: 404 mm2/s at 40 and 28 at 100 make 132.126 at 60. With a density of 1 g/mL that is mPa.s.
    let scratch = Scratch::empty().with_facts("");
    let fluid = scratch.read(support::FLUID);
    let values = fluid.find("[[value]]").unwrap();
    let rows = |temperature: &str, kinematic: &str| {
        format!(
            "[[value]]\ntemperature_c = {temperature}\nkinematic_mm2_s = {kinematic}\ndensity_g_ml = 1.0\nexpanded_uncertainty_percent = 0.4\ncoverage_factor = 2.0\n\n"
        )
    };
    let bottle = fluid.find("[[bottle]]").unwrap();
    let text = fluid[..values].replace("\"silicone\"", "\"mineral-oil\"")
        + &rows("40.0", "404.0")
        + &rows("100.0", "28.0")
        + &fluid[bottle..];
    scratch.write(support::FLUID, &text);
    let path = check_path("0900");
    scratch.write(
        &path,
        draft("0900").replace("temperature_c = 25.00", "temperature_c = 60.00"),
    );
    let document = json(&scratch, &["show", "VM-1/2026-03-02-0900"]);
    let law = document["d341_mpa_s"].as_f64().unwrap();
    assert!((law - 132.126).abs() < 5e-4, "{law}");
}
