//! Full-scale range, torque and shear rate of a measuring geometry.

use std::f64::consts::PI;

use super::FIGURE_DIGITS;
use super::exact::Exact;

/// A measuring geometry by its figures; lengths in mm.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Geometry {
    /// A spindle whose range constant is given, not computed (a relative system, ISO 2555).
    Factored {
        /// Full-scale range times speed, in mPa.s x rpm ...
        range_constant_mpa_s_rpm: Exact,
        /// ... for a spring of this full-scale torque.
        at_torque_un_m: Exact,
        /// Shear rate over speed, in 1/s per rpm, where it is known.
        shear_rate_per_rpm: Option<Exact>,
    },
    CoaxialCylinders {
        bob_radius_mm: Exact,
        cup_radius_mm: Exact,
        bob_length_mm: Exact,
        /// The factor that the bob's ends put on its length, 1 for none.
        end_effect: Exact,
    },
    ConePlate {
        radius_mm: Exact,
        angle_deg: Exact,
    },
    ParallelPlates {
        radius_mm: Exact,
        gap_mm: Exact,
    },
}

impl Geometry {
    /// The viscosity that shows 100 % torque, in mPa.s, unrounded; `None` where the figures give no finite range above zero.
    ///
    /// Factored: range constant x (spring's torque / torque that the constant belongs to) / speed, exact. Else from
    /// eta = K M / Omega: coaxial cylinders K = (1/Rb^2 - 1/Rc^2) / (4 pi L c) (Margules), cone and plate
    /// K = 3 alpha / (2 pi R^3), parallel plates K = 2 h / (pi R^4). Only pi is not exact.
    pub fn range_mpa_s(&self, full_scale_torque_un_m: &Exact, speed_rpm: &Exact) -> Option<Exact> {
        let range = match self {
            Geometry::Factored {
                range_constant_mpa_s_rpm,
                at_torque_un_m,
                ..
            } => (range_constant_mpa_s_rpm * full_scale_torque_un_m)
                .divide(&(at_torque_un_m * speed_rpm))?,
            Geometry::CoaxialCylinders {
                bob_radius_mm,
                cup_radius_mm,
                bob_length_mm,
                end_effect,
            } => {
                let bob = bob_radius_mm * bob_radius_mm;
                let cup = cup_radius_mm * cup_radius_mm;
                let constant = (&cup - &bob)
                    .divide(&(bob * cup))?
                    .divide(&(Exact::integer(4) * bob_length_mm * end_effect))?;
                range_of(constant, full_scale_torque_un_m, speed_rpm, PI * PI)?
            }
            // The pi of the angle in radians is also the one under K.
            Geometry::ConePlate {
                radius_mm,
                angle_deg,
            } => {
                let cube = radius_mm * radius_mm * radius_mm;
                let constant = angle_deg.divide(&(Exact::integer(120) * cube))?;
                range_of(constant, full_scale_torque_un_m, speed_rpm, PI)?
            }
            Geometry::ParallelPlates { radius_mm, gap_mm } => {
                let square = radius_mm * radius_mm;
                let constant = (Exact::integer(2) * gap_mm).divide(&(&square * &square))?;
                range_of(constant, full_scale_torque_un_m, speed_rpm, PI * PI)?
            }
        };
        range.is_positive().then_some(range)
    }

    /// The shear rate in 1/s: at the wall of the bob 2 Omega Rc^2 / (Rc^2 - Rb^2), under the cone Omega / alpha, at the rim
    /// of the plates Omega R / h; of a factored geometry as given. Where no pi enters it is rounded to 6 significant digits
    /// before it is made an f64, which may lie on either side of a half. `None` where the figures give no finite rate above zero.
    pub fn shear_rate_per_s(&self, speed_rpm: &Exact) -> Option<f64> {
        let rate = match self {
            Geometry::Factored {
                shear_rate_per_rpm, ..
            } => six_digits(shear_rate_per_rpm.as_ref()? * speed_rpm),
            Geometry::CoaxialCylinders {
                bob_radius_mm,
                cup_radius_mm,
                ..
            } => {
                let bob = bob_radius_mm * bob_radius_mm;
                let cup = cup_radius_mm * cup_radius_mm;
                let gap = &cup - bob;
                (speed_rpm * cup)
                    .divide(&(Exact::integer(15) * gap))?
                    .to_f64()
                    * PI
            }
            // Here too the two pi cancel: Omega = 2 pi n / 60 and alpha = pi deg / 180.
            Geometry::ConePlate { angle_deg, .. } => {
                six_digits((Exact::integer(6) * speed_rpm).divide(angle_deg)?)
            }
            Geometry::ParallelPlates { radius_mm, gap_mm } => {
                (speed_rpm * radius_mm)
                    .divide(&(Exact::integer(30) * gap_mm))?
                    .to_f64()
                    * PI
            }
        };
        (rate.is_finite() && rate > 0.0).then_some(rate)
    }
}

fn six_digits(rate: Exact) -> f64 {
    rate.rounded_significant(FIGURE_DIGITS).to_f64()
}

/// R = 1000 K T 60 / (2 pi n), with K in 1/mm3 and without the powers of pi, T in uN.m and the powers of pi together.
fn range_of(
    constant_per_mm3: Exact,
    full_scale_torque_un_m: &Exact,
    speed_rpm: &Exact,
    powers_of_pi: f64,
) -> Option<Exact> {
    let without_pi = (Exact::integer(30_000_000) * constant_per_mm3 * full_scale_torque_un_m)
        .divide(speed_rpm)?;
    Exact::from_f64(without_pi.to_f64() / powers_of_pi)
}

/// The viscosity that a torque in % shows on a range, in the unit of the range.
pub fn reading_from_torque(torque_percent: &Exact, range: &Exact) -> Exact {
    (torque_percent * range).hundredth()
}

/// The torque in % that a viscosity shows on a range of the same unit; `None` where the range is zero.
pub fn torque_from_reading(reading: &Exact, range: &Exact) -> Option<Exact> {
    (reading * Exact::integer(100)).divide(range)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn x(text: &str) -> Exact {
        Exact::parse(text).unwrap()
    }

    fn factored() -> Geometry {
        Geometry::Factored {
            range_constant_mpa_s_rpm: x("36000.0"),
            at_torque_un_m: x("80.0"),
            shear_rate_per_rpm: Some(x("0.22")),
        }
    }

    fn coaxial(bob: &str, cup: &str, length: &str, end_effect: &str) -> Geometry {
        Geometry::CoaxialCylinders {
            bob_radius_mm: x(bob),
            cup_radius_mm: x(cup),
            bob_length_mm: x(length),
            end_effect: x(end_effect),
        }
    }

    fn cone(radius: &str, angle: &str) -> Geometry {
        Geometry::ConePlate {
            radius_mm: x(radius),
            angle_deg: x(angle),
        }
    }

    fn plates(radius: &str, gap: &str) -> Geometry {
        Geometry::ParallelPlates {
            radius_mm: x(radius),
            gap_mm: x(gap),
        }
    }

    fn one_of_each() -> [Geometry; 4] {
        [
            factored(),
            coaxial("17.245", "18.415", "38.05", "1.1"),
            cone("12", "1.565"),
            plates("20", "0.5"),
        ]
    }

    fn near(left: f64, right: f64, relative: f64) -> bool {
        (left - right).abs() <= relative * right.abs()
    }

    /// The torque in N.m that drives a geometry at a speed in a fluid of this viscosity: that of the spring whose range at
    /// this speed is the viscosity.
    fn torque_n_m(geometry: &Geometry, viscosity_pa_s: f64, speed: &str) -> f64 {
        let spring_un_m = x("1e6");
        let range = geometry.range_mpa_s(&spring_un_m, &x(speed)).unwrap();
        1000.0 * viscosity_pa_s / range.to_f64()
    }

    #[test]
    fn factored_range_is_exact_and_scaled_to_the_spring() {
        // By hand: 36000 / 15; with a spring of half the torque half of it; 36000 / 7 is no decimal.
        let range = |torque: &str, speed: &str| factored().range_mpa_s(&x(torque), &x(speed));
        assert_eq!(range("80.0", "15.0"), Some(x("2400")));
        assert_eq!(range("40.0", "15.0"), Some(x("1200")));
        assert_eq!(range("80.0", "7"), x("36000").divide(&x("7")));
    }

    #[test]
    fn concentric_cylinders_of_the_textbook() {
        // Textbook problem (seen in a transcription): length 0.40 m, inner radius 0.06 m, gap 1.5 mm, 300 rpm, 1.8 N.m give
        // 0.158 Pa.s with a linear gap; exact Margules 0.152569450 (recomputed with mpmath).
        let range = coaxial("60", "61.5", "400", "1").range_mpa_s(&x("1800000"), &x("300"));
        let viscosity_pa_s = range.unwrap().to_f64() / 1000.0;
        assert!(near(viscosity_pa_s, 0.152569450, 4e-9));
        assert!(near(viscosity_pa_s, 0.158, 0.04));
    }

    #[test]
    fn torque_on_a_bob() {
        // Recomputed with mpmath. Cup radius 20 mm x 1.0847.
        let bob = coaxial("20", "21.694", "60", "1.0");
        assert!(near(torque_n_m(&bob, 1.0, "60"), 0.0126267993047, 1e-12));
        assert!(near(
            bob.shear_rate_per_s(&x("60")).unwrap(),
            83.7340635,
            1e-9
        ));
    }

    #[test]
    fn torque_on_a_cone() {
        // Recomputed with mpmath.
        let cone = cone("25", "1");
        assert!(near(torque_n_m(&cone, 1.0, "10"), 1.96349540849e-3, 1e-11));
        assert_eq!(cone.shear_rate_per_s(&x("10")), Some(60.0));
    }

    #[test]
    fn torque_on_plates() {
        // Recomputed with mpmath.
        let plates = plates("25", "1");
        assert!(near(
            torque_n_m(&plates, 1.0, "10"),
            6.42552369863e-4,
            1e-11
        ));
        let rim = plates.shear_rate_per_s(&x("10")).unwrap();
        assert!(near(rim, 26.1799387799, 1e-11));
    }

    #[test]
    fn every_figure_enters_the_range() {
        // mpmath, from K and Omega with 40 digits; no figure of a geometry is 1 or equals another.
        for (geometry, torque, speed, range) in [
            (
                coaxial("17.245", "18.415", "38.05", "1.1"),
                "80.5",
                "12.5",
                48.37237331534697,
            ),
            (cone("12", "1.565"), "673.7", "0.5", 97108.50826214148),
            (plates("20", "0.5"), "100", "5", 379.9544386587667),
        ] {
            let computed = geometry.range_mpa_s(&x(torque), &x(speed)).unwrap();
            assert!(near(computed.to_f64(), range, 1e-14), "{geometry:?}");
        }
    }

    #[test]
    fn shear_rate_of_sleeve_and_bob() {
        // ISO 10414-1 gives 1.7023 1/s per rpm for 18.415 and 17.245 mm (value from memory; recomputed with mpmath).
        let rate = coaxial("17.245", "18.415", "38", "1").shear_rate_per_s(&x("1"));
        assert!(near(rate.unwrap(), 1.7023, 3e-6));
        assert!(near(rate.unwrap(), 1.70229514072043, 1e-14));
    }

    #[test]
    fn shear_rate_of_the_others() {
        // By hand: 0.22 x 15; 6 x 10 / 1.5; pi x 10 x 20 / (30 x 0.5).
        assert!(near(
            factored().shear_rate_per_s(&x("15")).unwrap(),
            3.3,
            1e-15
        ));
        assert_eq!(cone("12", "1.5").shear_rate_per_s(&x("10")), Some(40.0));
        let rim = plates("20", "0.5").shear_rate_per_s(&x("10")).unwrap();
        assert!(near(rim, PI * 200.0 / 15.0, 1e-15));
        let unknown = Geometry::Factored {
            range_constant_mpa_s_rpm: x("36000.0"),
            at_torque_un_m: x("80.0"),
            shear_rate_per_rpm: None,
        };
        assert_eq!(unknown.shear_rate_per_s(&x("15")), None);
    }

    #[test]
    fn figures_that_give_none() {
        let zero_constants = [
            Geometry::Factored {
                range_constant_mpa_s_rpm: x("36000.0"),
                at_torque_un_m: x("0"),
                shear_rate_per_rpm: Some(x("0")),
            },
            coaxial("18.415", "18.415", "38", "1"),
            coaxial("18.415", "17.245", "38", "1"),
            cone("12", "0"),
            plates("20", "0"),
        ];
        for geometry in &zero_constants {
            assert_eq!(
                geometry.range_mpa_s(&x("80"), &x("10")),
                None,
                "{geometry:?}"
            );
            assert_eq!(geometry.shear_rate_per_s(&x("10")), None, "{geometry:?}");
        }
        for geometry in [
            coaxial("0", "18", "38", "1"),
            coaxial("17", "18", "0", "1"),
            coaxial("17", "18", "38", "0"),
        ] {
            assert_eq!(
                geometry.range_mpa_s(&x("80"), &x("10")),
                None,
                "{geometry:?}"
            );
        }
        assert_eq!(cone("0", "1").range_mpa_s(&x("80"), &x("10")), None);
        assert_eq!(plates("0", "1").range_mpa_s(&x("80"), &x("10")), None);
        for geometry in &one_of_each() {
            assert_eq!(
                geometry.range_mpa_s(&x("80"), &x("0")),
                None,
                "{geometry:?}"
            );
            assert_eq!(
                geometry.range_mpa_s(&x("0"), &x("10")),
                None,
                "{geometry:?}"
            );
            assert_eq!(
                geometry.range_mpa_s(&x("-80"), &x("10")),
                None,
                "{geometry:?}"
            );
            assert_eq!(geometry.shear_rate_per_s(&x("0")), None, "{geometry:?}");
            assert_eq!(geometry.shear_rate_per_s(&x("-10")), None, "{geometry:?}");
            assert_eq!(geometry.shear_rate_per_s(&x("1e400")), None, "{geometry:?}");
        }
        assert_eq!(cone("12", "1").range_mpa_s(&x("1e400"), &x("10")), None);
    }

    #[test]
    fn torque_and_reading_are_two_faces() {
        // Common practice of the trade: certified 100 on a range of 200 is 50 %.
        assert_eq!(torque_from_reading(&x("100"), &x("200")), Some(x("50")));
        assert_eq!(reading_from_torque(&x("50"), &x("200")), x("100"));
        // By hand: 21.5 % of 2400.
        assert_eq!(reading_from_torque(&x("21.5"), &x("2400")), x("516"));
        assert_eq!(torque_from_reading(&x("516"), &x("2400")), Some(x("21.5")));
        assert_eq!(torque_from_reading(&x("516"), &x("0")), None);
    }

    proptest! {
        #[test]
        fn range_times_speed_is_constant(n in 1_i64..1_000_000, times in 2_i64..1000) {
            let speed = Exact::integer(n) * x("0.001");
            for geometry in &one_of_each() {
                let slow = geometry.range_mpa_s(&x("80"), &speed).unwrap();
                let fast = geometry.range_mpa_s(&x("80"), &(&speed * Exact::integer(times))).unwrap();
                prop_assert!(near((fast * Exact::integer(times)).to_f64(), slow.to_f64(), 1e-14));
            }
        }

        #[test]
        fn range_is_proportional_to_the_spring(torque in 1_i64..1_000_000, times in 2_i64..1000) {
            let torque = Exact::integer(torque) * x("0.1");
            for geometry in &one_of_each() {
                let weak = geometry.range_mpa_s(&torque, &x("15")).unwrap();
                let strong = geometry.range_mpa_s(&(&torque * Exact::integer(times)), &x("15")).unwrap();
                prop_assert!(near((weak * Exact::integer(times)).to_f64(), strong.to_f64(), 1e-14));
            }
        }

        #[test]
        fn factored_range_times_speed_is_exactly_the_constant(n in 1_i64..1_000_000) {
            let speed = Exact::integer(n) * x("0.001");
            let range = factored().range_mpa_s(&x("80"), &speed).unwrap();
            prop_assert_eq!(range * speed, x("36000"));
        }
    }
}
