use super::*;
use proptest::prelude::*;

fn x(text: &str) -> Exact {
    Exact::parse(text).unwrap()
}

const ALL: [Zone; 3] = [Zone::Low, Zone::Middle, Zone::High];

fn bounds() -> ZoneBounds {
    ZoneBounds {
        minimum_percent: x("10.0"),
        low_below_percent: x("30.0"),
        high_above_percent: x("70.0"),
    }
}

fn terms() -> Terms {
    Terms::new(&x("1.0"), &x("1.0"), bounds(), &ALL)
}

/// Its range times speed is 30000 mPa.s rpm with the spring that it belongs to.
fn spindle() -> Geometry {
    Geometry::Factored {
        range_constant_mpa_s_rpm: x("30000.0"),
        at_torque_un_m: x("100.0"),
        shear_rate_per_rpm: None,
    }
}

fn cone() -> Geometry {
    Geometry::ConePlate {
        radius_mm: x("20"),
        angle_deg: x("1"),
    }
}

fn rig(speeds: &[&str]) -> Rig {
    let speeds: Vec<Exact> = speeds.iter().map(|speed| x(speed)).collect();
    let speeds = Speeds::These(speeds.iter().collect());
    Rig::of(&spindle(), &x("100.0"), &speeds).unwrap()
}

fn free(geometry: &Geometry, slow: &str, fast: &str) -> Rig {
    let (slow, fast) = (x(slow), x(fast));
    Rig::of(geometry, &x("100.0"), &Speeds::Between(&slow, &fast)).unwrap()
}

fn chosen(rig: &Rig, reference: &Reference, terms: &Terms) -> Option<Vec<(Exact, Exact)>> {
    let zones = rig.points(reference, terms)?;
    let points = best(&zones)?;
    let figures = points.into_iter();
    Some(
        figures
            .map(|point| (point.speed_rpm.clone(), point.torque_percent.clone()))
            .collect(),
    )
}

#[test]
fn the_middle_of_a_zone_is_not_off_centre() {
    for (zone, torque, off) in [
        (Zone::Low, "20", "0"),
        (Zone::Low, "10", "100"),
        (Zone::Low, "22.5", "25"),
        (Zone::Middle, "50", "0"),
        (Zone::Middle, "70", "100"),
        (Zone::High, "85", "0"),
        (Zone::High, "97", "80"),
        (Zone::High, "100", "100"),
    ] {
        let computed = off_centre_percent(&x(torque), zone, &bounds());
        assert_eq!(computed, x(off), "{zone:?} {torque}");
    }
    // A zone without width.
    let narrow = ZoneBounds {
        high_above_percent: x("30.0"),
        ..bounds()
    };
    let off = off_centre_percent(&x("30"), Zone::Middle, &narrow);
    assert_eq!(off, Exact::zero());
}

#[test]
fn the_figures_of_a_point() {
    // By hand: 484 x 100 x n / 30000; at 12 rpm the range is 2500, the half-width 4.84 + 25 = 29.84, that is 6.1653 %.
    let reference = Reference::new(&x("484.0"));
    let zones = rig(&["6", "12", "20", "30", "60"])
        .points(&reference, &terms())
        .unwrap();
    let speeds = |zone: usize| -> Vec<String> {
        let points = zones[zone].iter();
        points
            .map(|point| point.speed_rpm.to_decimal_string())
            .collect()
    };
    assert_eq!(speeds(0), ["12.0"]);
    assert_eq!(speeds(1), ["20.0", "30.0"]);
    assert_eq!(speeds(2), ["60.0"]);
    let point = &zones[0][0];
    assert_eq!(point.torque_percent, x("19.36"));
    assert_eq!(point.range, x("2500"));
    assert_eq!(point.half_width, x("29.84"));
    assert_eq!(point.band_percent.rounded_decimals(2), x("6.17"));
    assert_eq!(point.off_centre_percent, x("6.4"));
    let limits = point.limits(&reference);
    assert_eq!((limits.lower, limits.upper), (x("454.16"), x("513.84")));
    let points = best(&zones).unwrap();
    assert_eq!(points[1].speed_rpm, x("30"));
}

#[test]
fn bounds_belong_to_the_zones_as_in_a_check() {
    // With 500 mPa.s a speed of 6 n shows 10 n %: 10, 30, 70 and 100 lie on the bounds.
    let reference = Reference::new(&x("500"));
    let zones = rig(&["5.99", "6", "17.9", "18", "42", "42.1", "60", "60.1"])
        .points(&reference, &terms())
        .unwrap();
    let torques: Vec<Vec<Exact>> = zones
        .iter()
        .map(|points| points.iter().map(|point| point.speed_rpm.clone()).collect())
        .collect();
    assert_eq!(torques[0], [x("6"), x("17.9")]);
    assert_eq!(torques[1], [x("18"), x("42")]);
    assert_eq!(torques[2], [x("42.1"), x("60")]);
}

#[test]
fn only_the_zones_asked_for_need_a_point() {
    let reference = Reference::new(&x("500"));
    let two = Terms::new(&x("1"), &x("1"), bounds(), &[Zone::High, Zone::Low]);
    let rig = rig(&["12", "50"]);
    assert_eq!(rig.points(&reference, &terms()), None);
    let zones = rig.points(&reference, &two).unwrap();
    assert_eq!(zones[0][0].zone, Zone::Low);
    assert_eq!(zones[1][0].zone, Zone::High);
    let none = Terms::new(&x("1"), &x("1"), bounds(), &[]);
    assert_eq!(none.required().collect::<Vec<_>>(), [Zone::Middle]);
}

#[test]
fn of_speeds_the_best_by_the_order_of_choices() {
    // With 500 mPa.s, 6 n rpm shows 10 n %. In the middle zone 31 and 29 rpm are both within the first ten of off-centre, but the
    // worst point of both is the high one at 60 rpm, 100 % off; so is 24 rpm, 50 % off. All three have bands
    // narrower than the low one has, and the slowest stands first.
    let reference = Reference::new(&x("500"));
    let found = chosen(&rig(&["12", "24", "29", "31", "60"]), &reference, &terms()).unwrap();
    assert_eq!(found[1].0, x("24"));
    // A better high point leaves 24 rpm behind: 50 % off is worse than 10 %.
    let found = chosen(&rig(&["12", "24", "29", "31", "51"]), &reference, &terms()).unwrap();
    assert_eq!(found[1].0, x("29"));
    // Both low points lie in the second ten, so the narrower band, that of the faster, decides.
    let speeds = ["11.2", "12.8", "30", "51"];
    let found = chosen(&rig(&speeds), &reference, &terms()).unwrap();
    assert_eq!(found[0].0, x("12.8"));
}

#[test]
fn a_free_speed_is_the_middle_s_in_two_digits() {
    // By hand: 30000 x 0.2 / 484 = 12.397, 30000 x 0.5 / 484 = 30.99, 30000 x 0.85 / 484 = 52.69.
    let reference = Reference::new(&x("484.0"));
    let found = chosen(&free(&spindle(), "0.1", "200.0"), &reference, &terms()).unwrap();
    let speeds: Vec<&Exact> = found.iter().map(|(speed, _)| speed).collect();
    assert_eq!(speeds, [&x("12"), &x("31"), &x("53")]);
    // Cut to its range: 45 rpm shows 72.6 %, which is still high.
    let found = chosen(&free(&spindle(), "0.1", "45.0"), &reference, &terms()).unwrap();
    assert_eq!(found[2], (x("45.0"), x("72.6")));
    // 43 rpm shows 69.4 %, which is not.
    let slow = free(&spindle(), "0.1", "43");
    assert_eq!(chosen(&slow, &reference, &terms()), None);
    let miss = slow.miss(&reference, &terms()).unwrap();
    assert_eq!((miss.zones, miss.zone), (vec![Zone::High], Zone::High));
    assert_eq!(miss.speed_rpm, x("43"));
    assert_eq!(miss.torque_percent.rounded_decimals(2), x("69.37"));
    assert!(!miss.is_uncertain);
    // From 12.5 rpm on, 20.17 %, which is the slowest.
    let found = chosen(&free(&spindle(), "12.5", "200"), &reference, &terms()).unwrap();
    assert_eq!(found[0].0, x("12.5"));
    // Ties go to the even digit: 30000 x 0.2 / 480 = 12.5.
    let found = chosen(
        &free(&spindle(), "0.1", "200"),
        &Reference::new(&x("480")),
        &terms(),
    );
    assert_eq!(found.unwrap()[0].0, x("12"));
}

#[test]
fn a_free_speed_takes_more_digits_where_two_leave_the_zone() {
    // A zone from 20.5 to 20.7 %: 30000 x 0.206 / 484 = 12.76860 rpm. 13 rpm shows 20.97 %, 12.8 shows 20.651 %.
    let narrow = ZoneBounds {
        minimum_percent: x("20.5"),
        low_below_percent: x("20.7"),
        high_above_percent: x("70"),
    };
    let low = |bounds| Terms::new(&x("1"), &x("1"), bounds, &[Zone::Low]);
    let reference = Reference::new(&x("484"));
    let free = free(&spindle(), "0.1", "200");
    let found = chosen(&free, &reference, &low(narrow.clone())).unwrap();
    assert_eq!(found[0].0, x("12.8"));
    // From 20.58 to 20.62 %: 12.77 shows 20.602 %.
    let narrower = ZoneBounds {
        minimum_percent: x("20.58"),
        low_below_percent: x("20.62"),
        ..narrow.clone()
    };
    let found = chosen(&free, &reference, &low(narrower)).unwrap();
    assert_eq!(found[0].0, x("12.77"));
    // So narrow that four digits leave it.
    let narrowest = ZoneBounds {
        minimum_percent: x("20.59999"),
        low_below_percent: x("20.60001"),
        ..narrow
    };
    assert_eq!(chosen(&free, &reference, &low(narrowest.clone())), None);
    let miss = free.miss(&reference, &low(narrowest)).unwrap();
    assert!(!miss.is_uncertain);
}

#[test]
fn a_free_speed_near_the_end_of_its_range_takes_more_digits() {
    // 52.69 rpm would be 53, beyond 52.8: 52.7 is not.
    let reference = Reference::new(&x("484.0"));
    let found = chosen(&free(&spindle(), "0.1", "52.8"), &reference, &terms()).unwrap();
    assert_eq!(found[2].0, x("52.7"));
}

#[test]
fn a_cone_is_planned_by_its_own_range() {
    // K = 3 alpha / (2 pi R^3) = 120 / (4 x pi ...): the range that a check of it would have, at the speed that is planned.
    let reference = Reference::new(&x("500"));
    let zones = free(&cone(), "0.01", "500")
        .points(&reference, &terms())
        .unwrap();
    for points in &zones {
        let point = &points[0];
        let range = cone().range_mpa_s(&x("100.0"), &point.speed_rpm).unwrap();
        assert_eq!(point.range, range);
        assert!(point.off_centre_percent < x("10"));
    }
}

#[test]
fn the_nearest_miss_names_the_zone_that_is_farthest_away() {
    // 500 mPa.s: 1 rpm shows 1.67 %, 2 rpm 3.33 %. Low is 6.67 away, middle 26.67, high 66.67.
    let reference = Reference::new(&x("500"));
    let miss = rig(&["1", "2"]).miss(&reference, &terms()).unwrap();
    assert_eq!(miss.zones, ALL);
    assert_eq!(miss.zone, Zone::High);
    assert_eq!(miss.speed_rpm, x("2"));
    assert_eq!(miss.away_percent.rounded_decimals(2), x("66.67"));
    // A bound that belongs to the next zone: 30 % is no low torque.
    let miss = rig(&["18", "50"]).miss(&reference, &terms()).unwrap();
    assert_eq!(
        (miss.zones, miss.torque_percent),
        (vec![Zone::Low], x("30"))
    );
    assert!(miss.away_percent.is_zero() && !miss.is_uncertain);
    assert_eq!(rig(&["12", "30", "50"]).miss(&reference, &terms()), None);
}

#[test]
fn a_point_at_which_no_reading_could_pass_is_none() {
    // At 12 rpm the half-width is 5 + 25 = 30 mPa.s, at 50 rpm 5 + 6 = 11. Twice a standard uncertainty of 5.5 reaches 11.
    let of = |standard: &str| Reference::new(&x("500")).guarded(&x(standard), &Exact::zero());
    let rig = rig(&["12", "30", "50"]);
    assert!(rig.points(&of("5.49"), &terms()).is_some());
    assert_eq!(rig.points(&of("5.5"), &terms()), None);
    let miss = rig.miss(&of("5.5"), &terms()).unwrap();
    assert_eq!((miss.zones, miss.is_uncertain), (vec![Zone::High], true));
    // The display adds 600 x 2 / 100 / sqrt(12) = 3.464 mPa.s: 2 x sqrt(4.27^2 + 12) = 10.997, with 4.28 it is 11.012.
    let of = |standard: &str| Reference::new(&x("500")).guarded(&x(standard), &x("2"));
    let high = Terms::new(&x("1"), &x("1"), bounds(), &[Zone::High]);
    assert!(rig.points(&of("4.27"), &high).is_some());
    assert_eq!(rig.points(&of("4.28"), &high), None);
    // Without a guarded decision nothing of it counts.
    assert!(rig.points(&Reference::new(&x("500")), &terms()).is_some());
}

#[test]
fn choices_stand_in_the_order_of_the_figures() {
    let rank =
        |off: &str, band: &str, uncertainty: Option<&str>, days, soak: &str, open: bool| Rank {
            tens_off_centre: whole_tens(&x(off), 0.0),
            widest_band_percent: x(band).rounded_decimals(1),
            expanded_uncertainty: uncertainty.map(x).into(),
            days_to_expiry: Known::from(days),
            soak_minutes: Known::Figure(x(soak)),
            must_be_opened: open,
        };
    let ascending = [
        rank("0", "9", Some("9"), Some(9), "9", true),
        rank("10", "2.04", Some("0.4"), Some(5), "10", false),
        rank("19.99", "2", Some("0.4"), Some(5), "10", true),
        rank("15", "2", Some("0.4"), Some(5), "60", false),
        rank("15", "1.96", Some("0.4"), Some(6), "10", false),
        rank("15", "2", Some("0.41"), Some(1), "10", false),
        rank("15", "2", None, Some(1), "10", false),
        rank("15", "2.06", Some("0.1"), Some(1), "10", false),
        rank("20", "1", Some("0.1"), Some(1), "10", false),
    ];
    for pair in ascending.windows(2) {
        assert!(pair[0] < pair[1], "{pair:?}");
    }
    // Half of a tenth goes to the even one.
    assert_eq!(
        rank("0", "2.05", None, None, "1", false),
        rank("9.99", "2.0", None, None, "1", false)
    );
}

#[test]
fn tens_are_counted_exactly() {
    for (percent, tens) in [
        ("0", 0),
        ("9.999999999999999999999", 0),
        ("10", 1),
        ("99.99", 9),
        ("100", 10),
    ] {
        for guess in [0.0, 9.999, 10.0, 55.0, 100.0, 1e9, f64::NAN] {
            assert_eq!(whole_tens(&x(percent), guess), tens, "{percent}");
        }
    }
}

/// All choices of one point a zone.
fn every_choice(zones: &[Vec<Point>]) -> Vec<Vec<&Point>> {
    zones.iter().fold(vec![Vec::new()], |choices, points| {
        let longer = choices.iter().flat_map(|choice| {
            points.iter().map(|point| {
                let mut choice = choice.clone();
                choice.push(point);
                choice
            })
        });
        longer.collect()
    })
}

proptest! {
    #[test]
    fn no_other_speeds_are_better(
        reference in 1_i64..200_000,
        speeds in proptest::collection::btree_set(1_i64..2000, 1..12),
    ) {
        let speeds: Vec<Exact> = speeds.into_iter().map(|speed| Exact::integer(speed) * x("0.1")).collect();
        let rig = Rig::of(&spindle(), &x("100.0"), &Speeds::These(speeds.iter().collect())).unwrap();
        let reference = Reference::new(&(Exact::integer(reference) * x("0.1")));
        let Some(zones) = rig.points(&reference, &terms()) else {
            // Nothing was overlooked.
            prop_assert!(rig.miss(&reference, &terms()).is_some());
            prop_assert_eq!(rig.best(&reference, &terms()), None);
            return Ok(());
        };
        let quick = rig.best(&reference, &terms()).unwrap();
        let found: Vec<&Point> = quick.iter().collect();
        prop_assert_eq!(&found, &best(&zones).unwrap());
        let (off, band) = worst(&quick);
        let rank = Rank::of(&quick, None, None, None, false);
        prop_assert_eq!(rank.tens_off_centre, whole_tens(&off, 0.0));
        prop_assert_eq!(rank.widest_band_percent, band.rounded_decimals(1));
        let key = |points: &[&Point]| {
            let speeds: Vec<Exact> = points.iter().map(|point| point.speed_rpm.clone()).collect();
            (Rank::of(points.iter().copied(), None, None, None, false), speeds)
        };
        for choice in every_choice(&zones) {
            prop_assert!(key(&found) <= key(&choice));
        }
    }

    #[test]
    fn a_point_lies_in_its_zone_and_range(
        reference in 1_i64..2_000_000,
        slow in 1_i64..1000,
        times in 1_i64..5000,
    ) {
        let slow = Exact::integer(slow) * x("0.01");
        let fast = &slow * Exact::integer(times);
        let reference = Reference::new(&(Exact::integer(reference) * x("0.1")));
        for geometry in [spindle(), cone()] {
            let rig = Rig::of(&geometry, &x("100"), &Speeds::Between(&slow, &fast)).unwrap();
            let Some(zones) = rig.points(&reference, &terms()) else {
                prop_assert!(rig.miss(&reference, &terms()).is_some());
                continue;
            };
            for (points, wanted) in zones.iter().zip(ALL) {
                for point in points {
                    prop_assert!(slow <= point.speed_rpm && point.speed_rpm <= fast);
                    prop_assert_eq!(zone(&point.torque_percent, &bounds()), Some(wanted));
                    prop_assert!(point.off_centre_percent <= x("100"));
                }
            }
        }
    }
}
