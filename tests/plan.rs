//! What to check an instrument with, as people and programs get it.
#![allow(clippy::disallowed_methods, reason = "tests may use files")]

mod support;

use serde_json::{Value, json};
use support::{Done, FLUID, Scratch};

const POLICY: &str = "policies/P-1.toml";
const INSTRUMENT: &str = "instruments/VM-1.toml";
const GEOMETRY: &str = "geometries/G-1.toml";

fn plan(scratch: &Scratch, words: &[&str]) -> Done {
    let mut all = vec!["plan"];
    all.extend(words);
    if !words.contains(&"--as-of") {
        all.extend(["--as-of", "2026-03-02"]);
    }
    scratch.shearbook(&all)
}

fn json(done: Done) -> Value {
    serde_json::from_str(&done.ends(0).out).unwrap()
}

fn as_json(scratch: &Scratch, words: &[&str]) -> Value {
    json(plan(scratch, &[words, &["--format", "json"]].concat()))
}

/// A page without its line breaks.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[track_caller]
fn says(text: &str, sentences: &[&str]) {
    let text = flat(text);
    for sentence in sentences {
        assert!(text.contains(sentence), "no '{sentence}' in {text}");
    }
}

/// Lot, bottle and geometry of each choice, with its speeds.
fn choices(document: &Value) -> Vec<Value> {
    let rows = document["choices"].as_array().unwrap();
    rows.iter()
        .map(|row| {
            let points = row["points"].as_array().unwrap();
            let speeds: Vec<&Value> = points.iter().map(|point| &point["speed_rpm"]).collect();
            json!([row["fluid"], row["bottle"], row["geometry"], speeds])
        })
        .collect()
}

/// Id and reason of each row that is left out.
fn left_out(document: &Value) -> Vec<(&str, &str)> {
    let rows = document["left_out"].as_array().unwrap();
    rows.iter()
        .map(|row| (row["id"].as_str().unwrap(), row["reason"].as_str().unwrap()))
        .collect()
}

#[test]
fn the_best_choice_with_what_to_expect() {
    let scratch = Scratch::book();
    let document = as_json(&scratch, &["VM-1"]);
    assert_eq!(
        choices(&document),
        [json!(["K-1", "1", "G-1", [12.0, 30.0, 60.0]])]
    );
    // By hand: G-1 has 30000 mPa.s rpm, K-1 484.0 mPa.s; 30000 / 12 = 2500; 4.84 + 25 = 29.84, that is 6.17 %; 48400 / 2500 =
    // 19.36 %, 0.64 from 20, of 10. K-1 is used until 2027-01-14, 318 days on.
    let choice = &document["choices"][0];
    assert_eq!(
        choice["points"][0],
        json!({
            "zone": "low", "speed_rpm": 12.0, "torque_percent": 19.36, "range_mpa_s": 2500.0, "lower_mpa_s": 454.16,
            "upper_mpa_s": 513.84, "relative_band_percent": 6.17, "off_centre_percent": 6.4, "shear_rate_per_s": null,
        })
    );
    for (key, value) in [
        ("reference_mpa_s", json!(484.0)),
        ("expanded_uncertainty_percent", json!(0.4)),
        ("soak_minutes", json!(60.0)),
        ("days_to_expiry", json!(318)),
        // At 60 rpm 96.8 %: 11.8 from 85, of 15.
        ("off_centre_percent", json!(78.67)),
        ("widest_band_percent", json!(6.17)),
        ("remarks", json!([])),
    ] {
        assert_eq!(choice[key], value, "{key}");
    }
    assert_eq!(document["state"], "never-checked");
    assert_eq!(document["usable"], false);
    assert_eq!(left_out(&document), [("K-0", "expired")]);

    let text = plan(&scratch, &["VM-1"]).ends(0).out;
    says(
        &text,
        &[
            "Plan for VM-1 on 2026-03-02",
            "VM-1: never checked.",
            "1. K-1 at 25.0 \u{b0}C, bottle 1 G-1 with its guard",
            "reference 484 mPa.s, expanded uncertainty 0.4 %; soak 60 min; expires in 318 days",
            "low 12 19.4 % 454.16 to 513.84 6.2 % 6 %",
            "- lot K-0: it expired on 2026-02-20",
            "does not replace calibration",
        ],
    );
    assert!(!text.contains("burn"));
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );
    let plain = plan(&scratch, &["VM-1", "--format", "plain"]).ends(0).out;
    says(
        &plain,
        &[
            "choice 1: K-1 at 25.0 \u{b0}C, bottle 1",
            "low zone: 12 rpm, torque 19.36 %, limits 454.16 to 513.84 mPa.s",
            "left out: fluid K-0: expired: it expired on 2026-02-20",
        ],
    );
}

#[test]
fn the_limits_are_those_that_a_check_of_the_plan_gets() {
    let scratch = Scratch::book();
    let path = scratch.sound_check("0900");
    let shown = scratch
        .shearbook(&["show", "VM-1/2026-03-02-0900", "--format", "json"])
        .ends(0);
    let check: Value = serde_json::from_str(&shown.out).unwrap();
    let document = as_json(&scratch, &["VM-1"]);
    let planned = document["choices"][0]["points"].as_array().unwrap();
    let points = check["points"].as_array().unwrap();
    assert_eq!(planned.len(), points.len(), "{path}");
    for (planned, point) in planned.iter().zip(points) {
        for key in [
            "speed_rpm",
            "zone",
            "range_mpa_s",
            "lower_mpa_s",
            "upper_mpa_s",
            "relative_band_percent",
        ] {
            assert_eq!(planned[key], point[key], "{key}");
        }
    }
}

#[test]
fn every_choice_of_speeds_on_request() {
    let scratch = Scratch::book();
    let document = as_json(&scratch, &["VM-1", "--all"]);
    // 20 rpm shows 32.27 %, in the middle zone too; the high point decides how well both are centred.
    assert_eq!(
        choices(&document),
        [
            json!(["K-1", "1", "G-1", [12.0, 30.0, 60.0]]),
            json!(["K-1", "1", "G-1", [12.0, 20.0, 60.0]]),
        ]
    );
}

/// Two more lots and geometries than the book has.
fn richer() -> Scratch {
    let scratch = Scratch::book();
    let lot = scratch.read(FLUID);
    scratch.write("fluids/K-2.toml", lot.replace("\"K-1\"", "\"K-2\""));
    let geometry = scratch.read(GEOMETRY);
    scratch.write(
        "geometries/G-2.toml",
        geometry.replace("\"G-1\"", "\"G-2\""),
    );
    scratch
}

#[test]
fn a_lot_is_left_out_for_what_a_rule_would_refuse() {
    type Change = (&'static str, &'static str);
    let cases: [(Change, &str, &str); 9] = [
        (
            ("certified = 2026-01-15", "certified = 2026-03-03"),
            "not-yet-certified",
            "it is certified from 2026-03-03 on",
        ),
        (
            ("expires = 2027-01-14", "expires = 2026-03-01"),
            "expired",
            "it expired on 2026-03-01",
        ),
        (
            (
                "[[bottle]]",
                "[[standing]]\nfrom = 2026-02-01\nstate = \"quarantined\"\nby = \"qa-01\"\nreason = \"cloudy\"\n\n[[bottle]]",
            ),
            "quarantined",
            "quarantined from 2026-02-01: cloudy",
        ),
        (
            (
                "[[bottle]]",
                "[[standing]]\nfrom = 2026-03-01\nstate = \"withdrawn\"\nby = \"qa-01\"\nreason = \"recalled\"\n\n[[bottle]]",
            ),
            "withdrawn",
            "withdrawn from 2026-03-01: recalled",
        ),
        (
            (
                "expanded_uncertainty_percent = 0.40",
                "expanded_uncertainty_percent = 1.01",
            ),
            "uncertainty-too-large",
            "its expanded uncertainty is 1.01 %, and policy P-1 allows 1.0 %",
        ),
        (
            ("viscosity_mpa_s = 484.0", "viscosity_mpa_s = 220.0"),
            "no-speed-for-zone",
            "no speed for the high zone: with G-1 at 25.0 degrees C the nearest is 44 % torque at 60 rpm, and the high zone is over 70.0 to 100 %",
        ),
        (
            ("viscosity_mpa_s = 484.0", "viscosity_mpa_s = 9000.0"),
            "no-speed-for-zone",
            "no speed for the low, middle and high zones: with G-1 at 25.0 degrees C the nearest is 180 % torque at 6 rpm, and the low zone is 10.0 to under 30.0 %",
        ),
        (
            ("nominal_mpa_s = 500.0", "nominal = 500.0"),
            "broken",
            "fluids/K-2.toml has errors, which shearbook validate tells",
        ),
        // Readable, and no check that rests on it counts.
        (
            (
                "opened = 2026-02-01",
                "opened = 2026-02-01\ndiscarded = 2026-01-31",
            ),
            "broken",
            "fluids/K-2.toml has errors, which shearbook validate tells",
        ),
    ];
    for ((from, to), reason, message) in cases {
        let scratch = richer();
        scratch.edit("fluids/K-2.toml", from, to);
        if reason == "not-yet-certified" {
            scratch.edit(
                "fluids/K-2.toml",
                "opened = 2026-02-01",
                "opened = 2026-03-03",
            );
        }
        let document = as_json(&scratch, &["VM-1"]);
        let rows = document["left_out"].as_array().unwrap();
        let row = rows.iter().find(|row| row["id"] == "K-2");
        let row = row.unwrap_or_else(|| panic!("{to}: {document}"));
        assert_eq!(row["kind"], "fluid");
        assert_eq!(row["reason"], reason, "{row}");
        assert_eq!(row["message"], message);
        let fluids = document["choices"].as_array().unwrap();
        assert!(fluids.iter().all(|row| row["fluid"] == "K-1"), "{to}");
    }
}

#[test]
fn a_last_day_still_counts() {
    for (from, to) in [
        ("certified = 2026-01-15", "certified = 2026-03-02"),
        ("expires = 2027-01-14", "expires = 2026-03-02"),
        (
            "expanded_uncertainty_percent = 0.40",
            "expanded_uncertainty_percent = 1.00",
        ),
        // A date binds from the next day.
        (
            "[[bottle]]",
            "[[standing]]\nfrom = 2026-03-02\nstate = \"withdrawn\"\nby = \"qa-01\"\nreason = \"recalled\"\n\n[[bottle]]",
        ),
    ] {
        let scratch = richer();
        scratch.edit("fluids/K-2.toml", from, to);
        if from.starts_with("certified") {
            scratch.edit(
                "fluids/K-2.toml",
                "opened = 2026-02-01",
                "opened = 2026-03-02",
            );
        }
        let document = as_json(&scratch, &["VM-1"]);
        let fluids = document["choices"].as_array().unwrap();
        assert!(
            fluids.iter().any(|row| row["fluid"] == "K-2"),
            "{to}: {document}"
        );
    }
}

#[test]
fn a_lot_that_cannot_be_moved_is_left_out_where_the_policy_moves_it() {
    let scratch = richer();
    scratch.edit(POLICY, "basis = \"certified\"", "basis = \"corrected\"");
    scratch.edit(
        "fluids/K-2.toml",
        "temperature_coefficient_percent_per_k = -2.1\n",
        "",
    );
    let document = as_json(&scratch, &["VM-1"]);
    assert_eq!(
        left_out(&document),
        [
            ("K-0", "expired"),
            ("K-2", "temperature-coefficient-missing")
        ]
    );
    scratch.edit(POLICY, "basis = \"corrected\"", "basis = \"certified\"");
    assert_eq!(
        left_out(&as_json(&scratch, &["VM-1"])),
        [("K-0", "expired")]
    );
}

#[test]
fn a_guarded_decision_leaves_out_what_no_reading_could_pass() {
    let scratch = richer();
    scratch.edit(POLICY, "basis = \"certified\"", "basis = \"corrected\"");
    scratch.edit(POLICY, "decision = \"simple\"", "decision = \"guarded\"");
    scratch.edit(POLICY, "fluid_percent = 1.0", "fluid_percent = 0.0");
    // At 60 rpm the limits lie 1 % of 500 = 5 mPa.s from the reference, 1.03 % of it; the lot's uncertainty is that
    // of its certificate, with half the display's step beside it.
    scratch.edit("fluids/K-2.toml", "percent = 0.40", "percent = 1.00");
    let document = as_json(&scratch, &["VM-1"]);
    assert_eq!(left_out(&document), [("K-0", "expired")]);
    scratch.edit(
        POLICY,
        "max_expanded_uncertainty_percent = 1.0",
        "max_expanded_uncertainty_percent = 2.0",
    );
    scratch.edit("fluids/K-2.toml", "percent = 1.00", "percent = 1.04");
    let document = as_json(&scratch, &["VM-1"]);
    assert_eq!(
        left_out(&document),
        [("K-0", "expired"), ("K-2", "uncertainty-too-large")]
    );
    let message = document["left_out"][1]["message"].as_str().unwrap();
    assert!(message.contains("no reading could pass"), "{message}");
    let remarks = &document["choices"][0]["remarks"];
    assert!(
        remarks[0].as_str().unwrap().contains("guarded"),
        "{remarks}"
    );
}

#[test]
fn a_geometry_is_left_out_for_what_a_rule_would_refuse() {
    let damaged =
        "guard = \"required\"\n\n[[inspection]]\ndate = 2026-02-28\noutcome = \"damaged\"\n";
    for (from, to, reason, message) in [
        (
            "guard = \"required\"\n",
            "guard = \"required\"\nfits = [\"VM-2\"]\n",
            "does-not-fit",
            "its file says that it does not fit VM-1",
        ),
        (
            "guard = \"required\"\n",
            damaged,
            "damaged",
            "it was found damaged on 2026-02-28",
        ),
        (
            "range_constant_mpa_s_rpm = 30000.0",
            "range_constant_mpa_s_rpm = 90000.0",
            "no-speed-for-zone",
            "no speed for the high zone: in K-1 at 25.0 degrees C the nearest is 32.27 % torque at 60 rpm, and the high zone is over 70.0 to 100 %",
        ),
        (
            "kind = \"factored\"",
            "kind = \"unknown\"",
            "broken",
            "geometries/G-2.toml has errors, which shearbook validate tells",
        ),
    ] {
        let scratch = richer();
        if to.contains("VM-2") {
            let instrument = scratch.read(INSTRUMENT).replace("\"VM-1\"", "\"VM-2\"");
            scratch.write("instruments/VM-2.toml", instrument);
        }
        scratch.edit("geometries/G-2.toml", from, to);
        let document = as_json(&scratch, &["VM-1"]);
        let rows = document["left_out"].as_array().unwrap();
        let row = rows.iter().find(|row| row["id"] == "G-2");
        let row = row.unwrap_or_else(|| panic!("{to}: {document}"));
        assert_eq!(row["kind"], "geometry");
        assert_eq!(
            (row["reason"].as_str(), row["message"].as_str()),
            (Some(reason), Some(message))
        );
    }
    // Without a geometry, and without a lot.
    let scratch = Scratch::book();
    scratch.edit(GEOMETRY, "guard = \"required\"\n", damaged);
    let document = as_json(&scratch, &["VM-1"]);
    assert_eq!(
        left_out(&document),
        [
            ("K-0", "expired"),
            ("K-1", "no-geometry"),
            ("G-1", "damaged")
        ]
    );
    let text = plan(&scratch, &["VM-1"]).ends(0).out;
    says(&text, &["Nothing in stock serves VM-1"]);
    let scratch = Scratch::book();
    scratch.edit(FLUID, "expires = 2027-01-14", "expires = 2026-02-20");
    let document = as_json(&scratch, &["VM-1"]);
    assert_eq!(
        left_out(&document),
        [("K-0", "expired"), ("K-1", "expired"), ("G-1", "no-fluid")]
    );
}

#[test]
fn the_bottle_opened_first_or_a_new_one() {
    let scratch = Scratch::book();
    scratch.remove("fluids/K-0.toml");
    let second = "\n[[bottle]]\nid = \"2\"\nopened = 2026-01-20\n";
    scratch.write(FLUID, scratch.read(FLUID) + second);
    let bottle =
        |day: &str| as_json(&scratch, &["VM-1", "--as-of", day])["choices"][0]["bottle"].clone();
    assert_eq!(bottle("2026-03-02"), "2");
    // Both are opened on the day itself at the earliest, and discarded after their last day.
    assert_eq!(bottle("2026-01-19"), Value::Null);
    assert_eq!(bottle("2026-01-20"), "2");
    scratch.edit(
        FLUID,
        "opened = 2026-01-20\n",
        "opened = 2026-01-20\ndiscarded = 2026-03-02\n",
    );
    assert_eq!(bottle("2026-03-02"), "2");
    assert_eq!(bottle("2026-03-03"), "1");
    // One month in use: from 2026-02-01 until 2026-03-01.
    scratch.edit(POLICY, "in_use_months = 12", "in_use_months = 1");
    assert_eq!(bottle("2026-03-01"), "1");
    assert_eq!(bottle("2026-03-03"), Value::Null);
    let text = plan(&scratch, &["VM-1", "--as-of", "2026-03-03"])
        .ends(0)
        .out;
    says(
        &text,
        &[
            "K-1 at 25.0 \u{b0}C, a new bottle",
            "! no bottle of K-1 is open (bottle 1 could be used until 2026-03-01, bottle 2 was discarded on 2026-03-02): open a new one, and write its [[bottle]] row into fluids/K-1.toml first",
        ],
    );
}

#[test]
fn a_new_check_offers_what_a_plan_would_take() {
    let scratch = Scratch::book();
    let lot = scratch.read(FLUID).replace("\"K-1\"", "\"K-2\"");
    scratch.write(
        "fluids/K-2.toml",
        lot.replace("percent = 0.40", "percent = 1.01"),
    );
    let offered = |id: &str| {
        scratch.shearbook(&["new", "check", id]).ends(0);
        scratch.read(&format!("checks/2026/{id}.toml"))
    };
    let draft = offered("VM-1/2026-03-03-0900");
    assert!(
        draft.contains("fluid = \"K-1\"") && draft.contains("bottle = \"1\""),
        "{draft}"
    );
    // One month in use: from 2026-02-01 until 2026-03-01.
    scratch.edit(POLICY, "in_use_months = 12", "in_use_months = 1");
    let draft = offered("VM-1/2026-03-03-1000");
    says(&draft, &["Open that day: none of the book."]);
}

#[test]
fn an_instrument_that_may_not_be_checked_is_told() {
    let standing = |state: &str| {
        format!(
            "[[standing]]\nfrom = 2026-02-01\nstate = \"{state}\"\nby = \"qa-01\"\nreason = \"reads low\"\n"
        )
    };
    // Quarantined it waits for a check.
    let scratch = Scratch::book();
    scratch.write(
        INSTRUMENT,
        scratch.read(INSTRUMENT) + "\n" + &standing("quarantined"),
    );
    let document = as_json(&scratch, &["VM-1"]);
    assert_eq!(document["state"], "out-of-service");
    assert_eq!(
        document["reasons"],
        json!(["quarantined from 2026-02-01: reads low"])
    );
    assert_eq!(choices(&document).len(), 1);
    let text = plan(&scratch, &["VM-1"]).ends(0).out;
    says(
        &text,
        &[
            "! quarantined from 2026-02-01: reads low",
            "no scheduled check",
        ],
    );
    // Withdrawn, not in service yet, without a spring or a policy it waits for nothing.
    let withdrawn = format!("by = \"qa-01\"\n\n{}", standing("withdrawn"));
    for (file, from, to, why) in [
        (
            INSTRUMENT,
            "by = \"qa-01\"\n",
            withdrawn.as_str(),
            "withdrawn from 2026-02-01: reads low",
        ),
        (
            INSTRUMENT,
            "[[standing]]\nfrom = 2026-01-05",
            "[[standing]]\nfrom = 2026-03-03",
            "it has not been put into service yet",
        ),
        (
            INSTRUMENT,
            "[[spring]]\nfrom = 2026-01-05",
            "[[spring]]\nfrom = 2026-03-03",
            "it has no spring in force",
        ),
        (
            POLICY,
            "effective = 2026-01-01",
            "effective = 2026-03-03",
            "no policy is in force for it on that day",
        ),
        (
            POLICY,
            "decision = \"simple\"",
            "decision = \"guarded\"",
            "policies/P-1.toml has errors, which shearbook validate tells",
        ),
        (
            POLICY,
            "method = 1",
            "method = one",
            "a file of policies/ has errors, so nobody knows which policy judges",
        ),
    ] {
        let scratch = Scratch::book();
        scratch.edit(file, from, to);
        let document = as_json(&scratch, &["VM-1"]);
        assert_eq!(choices(&document), [] as [Value; 0], "{why}");
        let reasons = document["reasons"].as_array().unwrap();
        assert!(
            reasons.iter().any(|reason| reason == why),
            "{why}: {reasons:?}"
        );
        let text = plan(&scratch, &["VM-1"]).ends(0).out;
        says(
            &text,
            &[&format!("Nothing can be planned for VM-1: {why}.")],
        );
    }
    let scratch = Scratch::book();
    says(
        &plan(&scratch, &["VM-2"]).ends(2).err,
        &["there is no instrument VM-2; did you mean VM-1?"],
    );
    scratch.edit(INSTRUMENT, "usage = \"daily\"", "usage = daily");
    says(
        &plan(&scratch, &["VM-1"]).ends(3).err,
        &["instruments/VM-1.toml has errors"],
    );
}

#[test]
fn what_a_check_would_suffer_from_is_remarked() {
    let scratch = Scratch::book();
    scratch.edit(
        INSTRUMENT,
        "torque_resolution_percent = 0.1",
        "torque_resolution_percent = 2",
    );
    // At 60 rpm 4.84 + 5 = 9.84 mPa.s are 1.97 % of 500; at 30 rpm 14.84 of 1000 are 1.48 %.
    let text = plan(&scratch, &["VM-1"]).ends(0).out;
    says(
        &text,
        &[
            "at 60 rpm the limits lie 1.97 % of full scale from the reference, less than the step of the display, 2 %",
        ],
    );
    // A bob whose gap is so wide that vortices begin at a few rpm in a thin oil.
    let bob = "format = 1\nid = \"G-1\"\nkind = \"coaxial-cylinders\"\nbob_radius_mm = 20.0\ncup_radius_mm = 40.0\nbob_length_mm = 60.0\n";
    scratch.write(GEOMETRY, bob);
    scratch.edit(
        INSTRUMENT,
        "speeds_rpm = [6, 12, 20, 30, 60]",
        "speed_range_rpm = [0.1, 2000]",
    );
    scratch.edit(FLUID, "viscosity_mpa_s = 484.0", "viscosity_mpa_s = 10.0");
    scratch.edit(FLUID, "nominal_mpa_s = 500.0", "nominal_mpa_s = 10.1");
    let text = plan(&scratch, &["VM-1"]).ends(0).out;
    says(
        &text,
        &["the flow is laminar up to", "the reading will be too high"],
    );
}

#[test]
fn the_page_stays_readable_at_60_columns() {
    let scratch = richer();
    let example = concat!(env!("CARGO_MANIFEST_DIR"), "/records-example");
    let mut tool = scratch.tool(&scratch.book);
    tool.env("COLUMNS", "60")
        .args(["plan", "VM-03", "--book", example, "--as-of", "2026-11-25"]);
    let page = Done::of(tool.output().unwrap()).ends(0).out;
    for line in page.lines() {
        assert!(line.chars().count() <= 60, "{line}");
    }
    says(&page, &["limits in mPa.s: 3522.68 to 3853.32", "burn"]);
}

/// Three instruments, each with a geometry of its own and one lot that serves it: 484 mPa.s at 25, 4840 at 25 and 48.4 at 60
/// degrees C.
fn three() -> Scratch {
    let scratch = Scratch::book();
    let (instrument, geometry) = (scratch.read(INSTRUMENT), scratch.read(GEOMETRY));
    let lot = scratch.read(FLUID);
    for (number, constant, value, temperature) in [
        (1, "30000.0", "484.0", "25.0"),
        (2, "300000.0", "4840.0", "25.0"),
        (3, "3000.0", "48.4", "60.0"),
    ] {
        scratch.write(
            &format!("instruments/VM-{number}.toml"),
            instrument.replace("\"VM-1\"", &format!("\"VM-{number}\"")),
        );
        let geometry = geometry
            .replace("\"G-1\"", &format!("\"G-{number}\""))
            .replace("30000.0", constant);
        let fits =
            format!("fits = [\"VM-{number}\"]\nvessel = \"600 mL beaker\"\nsample_ml = 500\n");
        scratch.write(&format!("geometries/G-{number}.toml"), geometry + &fits);
        let lot = lot
            .replace("\"K-1\"", &format!("\"K-{number}\""))
            .replace("484.0", value)
            .replace(
                "temperature_c = 25.0",
                &format!("temperature_c = {temperature}"),
            )
            .replace(
                "nominal_mpa_s = 500.0",
                &format!("nominal_mpa_s = {value}1"),
            );
        scratch.write(&format!("fluids/K-{number}.toml"), lot);
    }
    scratch
}

/// Lot, temperature, soak and sample of each beaker, with its instruments.
fn beakers(document: &Value) -> Vec<Value> {
    let rows = document["beakers"].as_array().unwrap();
    rows.iter()
        .map(|row| {
            let lines = row["instruments"].as_array().unwrap();
            let ids: Vec<&Value> = lines.iter().map(|line| &line["instrument"]).collect();
            json!([
                row["fluid"],
                row["temperature_c"],
                row["soak_minutes"],
                row["sample_ml"],
                ids
            ])
        })
        .collect()
}

#[test]
fn the_bench_sheet_stands_in_working_order() {
    let scratch = three();
    let document = as_json(&scratch, &["--within", "0"]);
    // By temperature, the longest soak first: 120 min over 1000 mPa.s, 60 up to that.
    assert_eq!(
        beakers(&document),
        [
            json!(["K-2", 25.0, 120.0, 500.0, ["VM-2"]]),
            json!(["K-1", 25.0, 60.0, 500.0, ["VM-1"]]),
            json!(["K-3", 60.0, 60.0, 500.0, ["VM-3"]]),
        ]
    );
    assert_eq!(document["exact"], true);
    assert_eq!(document["within_days"], 0);
    assert_eq!(document["not_planned"], json!([]));
    let line = &document["beakers"][1]["instruments"][0];
    assert_eq!(line["state"], "never-checked");
    assert_eq!(line["due"], Value::Null);
    // The choice is the very one that the instrument's own plan has.
    assert_eq!(line["choice"], as_json(&scratch, &["VM-1"])["choices"][0]);
    let text = plan(&scratch, &["--within", "0"]).ends(0).out;
    says(
        &text,
        &[
            "Bench sheet of 2026-03-02: checks due today",
            "3 beakers serve 3 instruments; fewer would not do.",
            "Beaker 1: K-2 at 25.0 \u{b0}C, bottle 1; soak 120 min; 500 mL in all",
            "reference 4840 mPa.s, expanded uncertainty 0.4 %; expires in 318 days",
            "VM-3: never checked",
            "burn",
        ],
    );
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );
}

#[test]
fn one_beaker_serves_many_instruments() {
    let scratch = Scratch::book();
    // VM-2 turns freely and is served better by K-2, 255.0 mPa.s, which shows VM-1 51 % at most; one beaker serves both.
    let free = scratch
        .read(INSTRUMENT)
        .replace("\"VM-1\"", "\"VM-2\"")
        .replace(
            "speeds_rpm = [6, 12, 20, 30, 60]",
            "speed_range_rpm = [0.1, 200.0]",
        );
    scratch.write("instruments/VM-2.toml", free);
    let lot = scratch
        .read(FLUID)
        .replace("\"K-1\"", "\"K-2\"")
        .replace("484.0", "255.0")
        .replace("percent = 0.40", "percent = 0.10");
    scratch.write("fluids/K-2.toml", lot);
    assert_eq!(as_json(&scratch, &["VM-2"])["choices"][0]["fluid"], "K-2");
    let document = as_json(&scratch, &["--within", "0"]);
    assert_eq!(
        beakers(&document),
        [json!(["K-1", 25.0, 60.0, null, ["VM-1", "VM-2"]])]
    );
    // Where VM-1 stands out of service K-2 is taken.
    scratch.edit(
        INSTRUMENT,
        "[[standing]]\nfrom = 2026-01-05",
        "[[standing]]\nfrom = 2026-03-05",
    );
    let document = as_json(&scratch, &["--within", "0"]);
    assert_eq!(
        beakers(&document),
        [json!(["K-2", 25.0, 60.0, null, ["VM-2"]])]
    );
    assert_eq!(document["not_planned"], json!([]));
}

#[test]
fn what_is_due_up_to_a_day_stands_on_the_sheet() {
    let scratch = Scratch::book();
    scratch.sound_check("0900");
    let lines = |day: &str, within: &str| {
        let document = as_json(&scratch, &["--within", within, "--as-of", day]);
        let beakers = document["beakers"].as_array().unwrap();
        let lines = beakers
            .iter()
            .flat_map(|one| one["instruments"].as_array().unwrap());
        lines
            .map(|line| json!([line["state"], line["due"]]))
            .collect::<Vec<_>>()
    };
    // Seven days after the pass of 2026-03-02.
    assert_eq!(lines("2026-03-03", "5"), [] as [Value; 0]);
    assert_eq!(lines("2026-03-03", "6"), [json!(["in-date", "2026-03-09"])]);
    assert_eq!(
        lines("2026-03-09", "0"),
        [json!(["due-soon", "2026-03-09"])]
    );
    assert_eq!(lines("2026-03-10", "0"), [json!(["overdue", "2026-03-09"])]);
    let text = plan(&scratch, &["--within", "5", "--as-of", "2026-03-03"])
        .ends(0)
        .out;
    says(&text, &["checks due within 5 days", "Nothing is due."]);
    assert!(!text.contains("Take care"), "{text}");
    // Quarantined it is due all the same, and waits for another check than a scheduled one; withdrawn it waits for none.
    let standing = |state: &str| {
        format!(
            "\n[[standing]]\nfrom = 2026-03-08\nstate = \"{state}\"\nby = \"qa-01\"\nreason = \"knocked\"\n"
        )
    };
    let instrument = scratch.read(INSTRUMENT);
    scratch.write(INSTRUMENT, instrument.clone() + &standing("quarantined"));
    let text = plan(&scratch, &["--within", "0", "--as-of", "2026-03-09"])
        .ends(0)
        .out;
    says(
        &text,
        &["VM-1: out of service, due 2026-03-09", "no scheduled check"],
    );
    scratch.write(INSTRUMENT, instrument + &standing("withdrawn"));
    let document = as_json(&scratch, &["--within", "0", "--as-of", "2026-03-09"]);
    assert_eq!(
        document["not_planned"],
        json!([{"instrument": "VM-1", "state": "out-of-service", "message": "withdrawn from 2026-03-08: knocked"}])
    );
}

#[test]
fn an_instrument_that_cannot_be_planned_for_says_why() {
    let scratch = three();
    let message = |scratch: &Scratch| {
        let document = as_json(scratch, &["--within", "0"]);
        let rows = document["not_planned"].as_array().unwrap().clone();
        assert_eq!(rows.len(), 1, "{document}");
        assert_eq!(rows[0]["instrument"], "VM-3");
        rows[0]["message"].as_str().unwrap().to_owned()
    };
    scratch.edit(
        "fluids/K-3.toml",
        "expires = 2027-01-14",
        "expires = 2026-02-20",
    );
    assert_eq!(
        message(&scratch),
        "no speed for the low and middle zones: in K-1 at 25.0 degrees C with G-3 the nearest is 96.8 % torque at 6 rpm, and the low zone is 10.0 to under 30.0 %"
    );
    let text = plan(&scratch, &["--within", "0"]).ends(0).out;
    says(
        &text,
        &[
            "2 beakers serve 2 instruments; fewer would not do. 1 instrument cannot be planned for; the reasons stand below.",
            "- VM-3: no speed for the low",
        ],
    );
    let inspection = "\n[[inspection]]\ndate = 2026-02-28\noutcome = \"damaged\"\n";
    let geometry = scratch.read("geometries/G-3.toml");
    scratch.write("geometries/G-3.toml", geometry + inspection);
    assert_eq!(message(&scratch), "no sound geometry fits it");
    scratch.edit(
        "instruments/VM-3.toml",
        "usage = \"daily\"",
        "usage = daily",
    );
    assert_eq!(
        message(&scratch),
        "its file has errors, which shearbook validate tells"
    );
    // Nothing at all can be planned, which is an answer.
    for lot in ["fluids/K-1.toml", "fluids/K-2.toml"] {
        scratch.edit(lot, "expires = 2027-01-14", "expires = 2026-02-20");
    }
    let text = plan(&scratch, &["--within", "0"]).ends(0).out;
    says(
        &text,
        &["Nothing can be planned.", "VM-1: no lot can be used"],
    );
}

const EXAMPLE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/records-example");

#[test]
fn the_sheet_of_the_example_book() {
    let scratch = Scratch::empty();
    let words = ["--within", "7", "--book", EXAMPLE, "--as-of", "2026-11-25"];
    let document = as_json(&scratch, &words);
    // One lot at one temperature serves all. The worst state stands first. By hand: 500 mL for the spindles in their beaker,
    // 0.3 each under the cones of VM-07 and VM-08, 1.2 under that of VM-03, 17 in the cup of VM-02.
    assert_eq!(
        beakers(&document),
        [json!([
            "K-2188",
            25.0,
            120.0,
            518.8,
            [
                "VM-07", "VM-08", "VM-03", "VM-06", "VM-02", "VM-04", "VM-05"
            ]
        ])]
    );
    let text = plan(&scratch, &words).ends(0).out;
    says(
        &text,
        &[
            "1 beaker serves 7 instruments.",
            "cone-40-1, heated lower plate, 0.3 mL of its own soak 10 min is enough",
            "C3-122 without a guard, 600 mL low-form beaker, 500 mL zone",
        ],
    );
}

/// The tags of a page, each closed in its turn.
#[track_caller]
fn is_well_formed(page: &str) {
    const VOID: [&str; 1] = ["meta"];
    let mut open: Vec<&str> = Vec::new();
    let rest = page.strip_prefix("<!DOCTYPE html>").expect("doctype");
    for part in rest.split('<').skip(1) {
        let (tag, text) = part.split_once('>').expect("a tag that ends");
        assert!(!text.contains('>') || open.contains(&"style"), "{part}");
        match tag.strip_prefix('/') {
            Some(name) => assert_eq!(open.pop(), Some(name), "{part}"),
            None => {
                let name = tag.split(' ').next().unwrap();
                assert_eq!(tag.matches('"').count() % 2, 0, "{tag}");
                if !VOID.contains(&name) {
                    open.push(name);
                }
            }
        }
    }
    assert_eq!(open, [] as [&str; 0]);
}

#[test]
fn a_page_to_print_has_boxes_and_nothing_from_outside() {
    let scratch = three();
    scratch.edit(
        INSTRUMENT,
        "usage = \"daily\"",
        "usage = \"daily\"\nlocation = \"bench <b>1</b> & \\\"annexe\\\"\"",
    );
    let sheet = plan(&scratch, &["--within", "0", "--format", "html"])
        .ends(0)
        .out;
    let own = plan(&scratch, &["VM-1", "--format", "html"]).ends(0).out;
    for page in [&sheet, &own] {
        is_well_formed(page);
        assert!(page.contains("@media print") && page.contains("<meta charset=\"utf-8\">"));
        for outside in ["<script", "src=", "href=", "url(", "http", "@import"] {
            assert!(!page.contains(outside), "{outside}");
        }
        assert!(page.contains("does not replace calibration"));
    }
    // Three instruments with three points each: torque, reading, temperature, initials.
    assert_eq!(sheet.matches("<td class=\"box\"></td>").count(), 3 * 3 * 4);
    assert!(
        sheet.contains("bench &lt;b&gt;1&lt;/b&gt; &amp; &quot;annexe&quot;"),
        "{sheet}"
    );
    assert!(own.contains("454.16 to 513.84") && own.contains("lot K-0: it expired"));
    let file = scratch.path("sheet.html");
    let text = plan(
        &scratch,
        &[
            "--within",
            "0",
            "--output",
            &format!("html={}", file.display()),
        ],
    );
    assert!(text.ends(0).out.starts_with("Bench sheet"));
    assert_eq!(scratch.read("sheet.html"), sheet);
}

#[test]
fn one_thing_is_planned_at_a_time() {
    let scratch = Scratch::book();
    scratch.write("offer.csv", "id,viscosity_mpa_s\nA,484\n");
    for words in [
        &[][..],
        &["VM-1", "--within", "7"],
        &["VM-1", "--buy", "offer.csv"],
        &["--within", "7", "--buy", "offer.csv"],
        &["--within", "-1"],
        &["--within", "soon"],
        &["--within", "7", "--all"],
        &["VM-1", "--beside-stock"],
        &["--buy", "offer.csv", "--format", "html"],
        &["--buy", "offer.csv", "--output", "html=offer.html"],
        &["--buy", "nothing.csv"],
    ] {
        let done = plan(&scratch, words).ends(2);
        assert_eq!(done.out, "", "{words:?}");
        assert!(!done.err.is_empty());
    }
    assert!(!scratch.path("offer.html").exists());
    says(
        &plan(&scratch, &["--buy", "nothing.csv"]).ends(2).err,
        &["there is no file nothing.csv"],
    );
}

/// The ids of what to buy, each with the instruments that it serves.
fn bought(document: &Value) -> Vec<Value> {
    let rows = document["buy"].as_array().unwrap();
    rows.iter()
        .map(|row| {
            let serves = row["serves"].as_array().unwrap();
            let ids: Vec<&Value> = serves.iter().map(|one| &one["instrument"]).collect();
            json!([row["id"], ids])
        })
        .collect()
}

#[test]
fn the_fewest_candidates_that_serve_every_instrument() {
    let scratch = three();
    // B and C both serve VM-2, C better: 4000 x 60 / 300000 = 80 %, 30 rpm 40 %, 12 rpm 16 %, 50 % off centre at most; B shows
    // 96.8 %, 79 % off.
    let offer = "id,viscosity_mpa_s,temperature_c,expanded_uncertainty_percent,note\n\
        C,4000,25.0,0.4,\nB,4840,25.0,0.4,\nA,484.0,25.0,0.4,two bottles\nD,48,25.0,,\nZ,1.5,25.0,0.4,\n";
    scratch.write("offer.csv", offer);
    let document = as_json(&scratch, &["--buy", "offer.csv"]);
    assert_eq!(
        bought(&document),
        [
            json!(["A", ["VM-1"]]),
            json!(["C", ["VM-2"]]),
            json!(["D", ["VM-3"]])
        ]
    );
    assert_eq!(document["exact"], true);
    assert_eq!(document["candidates"], 5);
    assert_eq!(document["not_covered"], json!([]));
    assert_eq!(
        document["covered_by_stock"],
        json!(["VM-1", "VM-2", "VM-3"])
    );
    let served = &document["buy"][0]["serves"][0];
    assert_eq!(served["geometry"], "G-1");
    assert_eq!(
        served["points"],
        as_json(&scratch, &["VM-1"])["choices"][0]["points"]
    );
    let text = plan(&scratch, &["--buy", "offer.csv"]).ends(0).out;
    says(
        &text,
        &[
            "3 of 5 candidates serve 3 instruments; fewer would not do.",
            "A: 484 mPa.s at 25.0 \u{b0}C, expanded uncertainty 0.4 % (two bottles)",
            "VM-1 G-1 12, 30, 60 19, 48, 97",
            "ask for the expanded uncertainty of D",
            "What is in stock serves already; --beside-stock leaves these out: VM-1, VM-2, VM-3",
        ],
    );
    // A file of TOML says the same.
    let toml = "[[candidate]]\nid = \"C\"\nviscosity_mpa_s = 4000\n[[candidate]]\nid = \"A\"\nviscosity_mpa_s = 484.0\n[[candidate]]\nid = \"D\"\nviscosity_mpa_s = 48\n";
    scratch.write("offer.toml", toml);
    assert_eq!(
        bought(&as_json(&scratch, &["--buy", "offer.toml"])),
        bought(&document)
    );
    // Beside what is in stock nothing is needed; where K-2 has expired one is.
    let beside = &["--buy", "offer.csv", "--beside-stock"];
    assert_eq!(bought(&as_json(&scratch, beside)), [] as [Value; 0]);
    says(
        &plan(&scratch, beside).ends(0).out,
        &["Nothing needs to be bought, of 5 candidates."],
    );
    scratch.edit(
        "fluids/K-2.toml",
        "expires = 2027-01-14",
        "expires = 2026-02-20",
    );
    let document = as_json(&scratch, beside);
    assert_eq!(bought(&document), [json!(["C", ["VM-2"]])]);
    assert_eq!(document["covered_by_stock"], json!(["VM-1", "VM-3"]));
}

#[test]
fn an_instrument_that_no_candidate_serves_says_what_comes_nearest() {
    let scratch = three();
    scratch.write(
        "offer.csv",
        "id,viscosity_mpa_s,expanded_uncertainty_percent\nA,484,1.01\nB,4840,0.4\nE,30,0.4\n",
    );
    let document = as_json(&scratch, &["--buy", "offer.csv"]);
    assert_eq!(bought(&document), [json!(["B", ["VM-2"]])]);
    assert_eq!(
        document["not_covered"],
        json!([
            {"instrument": "VM-1", "message": "no speed for the low and middle zones: with G-1 in B (4840 mPa.s) the nearest is 96.8 % torque at 6 rpm, and the low zone is 10.0 to under 30.0 %"},
            {"instrument": "VM-3", "message": "no speed for the high zone: with G-3 in E (30 mPa.s) the nearest is 60 % torque at 60 rpm, and the high zone is over 70.0 to 100 %"},
        ])
    );
    // A candidate that is known too badly alone.
    scratch.write(
        "offer.csv",
        "id,viscosity_mpa_s,expanded_uncertainty_percent\nA,484,1.01\n",
    );
    let text = plan(&scratch, &["--buy", "offer.csv"]).ends(0).out;
    says(
        &text,
        &[
            "None of 1 candidate serves an instrument that needs one.",
            "- VM-1: the expanded uncertainty of A is 1.01 %, and policy P-1 allows 1.0 %",
        ],
    );
    // Of an instrument that is withdrawn nothing is asked; of one in quarantine it is.
    for (id, state) in [("VM-1", "quarantined"), ("VM-3", "withdrawn")] {
        let file = format!("instruments/{id}.toml");
        let standing = format!(
            "\n[[standing]]\nfrom = 2026-02-01\nstate = \"{state}\"\nby = \"qa-01\"\nreason = \"old\"\n"
        );
        scratch.write(&file, scratch.read(&file) + &standing);
    }
    let document = as_json(&scratch, &["--buy", "offer.csv"]);
    let ids: Vec<&Value> = document["not_covered"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| &row["instrument"])
        .collect();
    assert_eq!(ids, ["VM-1", "VM-2"]);
    assert_eq!(document["covered_by_stock"], json!(["VM-1", "VM-2"]));
}

#[test]
fn a_fault_of_the_candidates_is_told_at_its_line() {
    let scratch = Scratch::book();
    scratch.write("offer.csv", "id,viscosity_mpa_s\nA,484\nB,5 mPa.s\nA,7\n");
    let done = plan(&scratch, &["--buy", "offer.csv"]).ends(1);
    says(
        &done.out,
        &[
            "viscosity_mpa_s = 5 mPa.s is no number",
            "offer.csv:3:1",
            "write the figure alone, such as 100.0, without a unit",
            "there are two candidates A",
            "offer.csv:4:1",
        ],
    );
    let done = plan(&scratch, &["--buy", "offer.csv", "--format", "json"]).ends(1);
    let document: Value = serde_json::from_str(&done.out).unwrap();
    let places: Vec<Value> = document["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| json!([one["rule"], one["line"], one["column"], one["pointer"]]))
        .collect();
    assert_eq!(
        places,
        [
            json!(["schema", 3, 3, "/candidate/1/viscosity_mpa_s"]),
            json!(["schema", 4, 1, "/candidate/2/id"]),
        ]
    );
    says(
        &done.err,
        &["offer.csv, line 3: viscosity_mpa_s = 5 mPa.s is no number"],
    );
    scratch.write(
        "offer.toml",
        "[[candidate]]\nid = \"A\"\nviscosity_mpa_s = 4,84\n",
    );
    let done = plan(&scratch, &["--buy", "offer.toml"]).ends(1);
    says(&done.out, &["toml-syntax", "offer.toml:3"]);
}
