//! Whether the flow in a geometry is laminar: the speed above which its formula no longer holds.

use std::f64::consts::PI;

use super::exact::Exact;
use super::range::Geometry;

/// The Taylor number at which vortices begin between coaxial cylinders with a narrow gap, the inner one turning.
///
/// The published value, from memory.
pub const CRITICAL_TAYLOR_NUMBER: f64 = 1708.0;

/// The reduced Reynolds number at which the secondary flow under a cone begins to be felt in its torque.
///
/// A published value for narrow angles, from memory: 0.5, where turbulence begins at about 4.
pub const CRITICAL_CONE_NUMBER: f64 = 0.5;

/// The Taylor number Omega^2 Rb (Rc - Rb)^3 / nu^2 of a bob that turns in a cup, nu the viscosity over the density. Radii in
/// mm, speed in rpm, viscosity in mPa.s, density in g/mL. `None` where a figure is not above zero or the gap is none.
///
/// Of the definitions in use this is the one by which water of 1 mm2/s round a bob of 20 mm in a cup 1.0847 times as wide
/// reaches 1708 at 40.02 rpm (a value of the trade, from memory).
pub fn taylor_number(
    bob_radius_mm: f64,
    cup_radius_mm: f64,
    speed_rpm: f64,
    viscosity_mpa_s: f64,
    density_g_ml: f64,
) -> Option<f64> {
    let gap_mm = cup_radius_mm - bob_radius_mm;
    let inertia = bob_radius_mm * gap_mm * gap_mm * gap_mm;
    squared_over(speed_rpm, viscosity_mpa_s, density_g_ml)
        .filter(|_| bob_radius_mm > 0.0 && gap_mm > 0.0)
        .and_then(|rate| above_zero(rate * inertia))
}

/// The reduced Reynolds number Omega (R alpha)^2 / (12 nu) at the rim of a cone, nu the viscosity over the density. Radius in
/// mm, angle in degrees, speed in rpm, viscosity in mPa.s, density in g/mL. `None` where a figure is not above zero.
pub fn cone_number(
    radius_mm: f64,
    angle_deg: f64,
    speed_rpm: f64,
    viscosity_mpa_s: f64,
    density_g_ml: f64,
) -> Option<f64> {
    let rim_gap_mm = radius_mm * angle_deg * PI / 180.0;
    squared_over(speed_rpm, viscosity_mpa_s, density_g_ml)
        .filter(|_| radius_mm > 0.0 && angle_deg > 0.0)
        .and_then(|rate| above_zero(rate.sqrt() * rim_gap_mm * rim_gap_mm / 12.0))
}

/// The speed in rpm above which the flow is no longer laminar in a fluid of this viscosity in mPa.s and density in g/mL:
/// between coaxial cylinders the one of [`CRITICAL_TAYLOR_NUMBER`], under a cone the one of [`CRITICAL_CONE_NUMBER`].
///
/// `None` for factored geometries, whose flow is not known, for parallel plates, for which no plain criterion was at
/// hand that a recomputation bears out, and where a figure is not above zero.
pub fn laminar_limit_rpm(
    geometry: &Geometry,
    viscosity_mpa_s: f64,
    density_g_ml: f64,
) -> Option<f64> {
    let at = |figure: &Exact| figure.to_f64();
    let speed_rpm = match geometry {
        Geometry::CoaxialCylinders {
            bob_radius_mm,
            cup_radius_mm,
            ..
        } => {
            let gap_mm = (cup_radius_mm - bob_radius_mm).to_f64();
            let bob_mm = at(bob_radius_mm);
            let at_one =
                taylor_number(bob_mm, bob_mm + gap_mm, 1.0, viscosity_mpa_s, density_g_ml)?;
            (CRITICAL_TAYLOR_NUMBER / at_one).sqrt()
        }
        Geometry::ConePlate {
            radius_mm,
            angle_deg,
        } => {
            let (radius_mm, angle_deg) = (at(radius_mm), at(angle_deg));
            let at_one = cone_number(radius_mm, angle_deg, 1.0, viscosity_mpa_s, density_g_ml)?;
            CRITICAL_CONE_NUMBER / at_one
        }
        Geometry::Factored { .. } | Geometry::ParallelPlates { .. } => return None,
    };
    above_zero(speed_rpm)
}

/// (Omega / nu)^2, in 1/mm4: a viscosity in mPa.s over a density in g/mL is in mm2/s.
fn squared_over(speed_rpm: f64, viscosity_mpa_s: f64, density_g_ml: f64) -> Option<f64> {
    if !(speed_rpm > 0.0 && viscosity_mpa_s > 0.0 && density_g_ml > 0.0) {
        return None;
    }
    let omega = 2.0 * PI * speed_rpm / 60.0;
    let rate = omega * density_g_ml / viscosity_mpa_s;
    above_zero(rate * rate)
}

fn above_zero(figure: f64) -> Option<f64> {
    (figure.is_finite() && figure > 0.0).then_some(figure)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn x(text: &str) -> Exact {
        Exact::parse(text).unwrap()
    }

    fn coaxial(bob: &str, cup: &str) -> Geometry {
        Geometry::CoaxialCylinders {
            bob_radius_mm: x(bob),
            cup_radius_mm: x(cup),
            bob_length_mm: x("60"),
            end_effect: x("1.1"),
        }
    }

    fn cone(radius: &str, angle: &str) -> Geometry {
        Geometry::ConePlate {
            radius_mm: x(radius),
            angle_deg: x(angle),
        }
    }

    fn near(left: f64, right: f64, relative: f64) -> bool {
        (left - right).abs() <= relative * right.abs()
    }

    #[test]
    fn water_round_a_bob() {
        // Laminar limit of the trade: water, bob 20 mm, ratio 1.0847, Taylor number 1708: 40.02 rpm (value from memory;
        // recomputed with Python as 40.02489565425837 for 1 mm2/s).
        let limit = laminar_limit_rpm(&coaxial("20", "21.694"), 1.0, 1.0).unwrap();
        assert!((limit - 40.02).abs() < 0.005, "{limit}");
        assert!(near(limit, 40.02489565425837, 1e-13), "{limit}");
        let taylor = taylor_number(20.0, 21.694, 40.02489565425837, 1.0, 1.0).unwrap();
        assert!(near(taylor, 1708.0, 1e-12), "{taylor}");
    }

    #[test]
    fn a_wide_cone_in_water() {
        // Recomputed with Python: the rim's gap is 25 pi/180 mm, so Omega = 0.5 x 12 / gap^2 = 31.51494 1/s.
        let limit = laminar_limit_rpm(&cone("25", "1"), 1.0, 1.0).unwrap();
        assert!(near(limit, 300.94551810307104, 1e-13), "{limit}");
        let number = cone_number(25.0, 1.0, limit, 1.0, 1.0).unwrap();
        assert!(near(number, 0.5, 1e-12), "{number}");
    }

    #[test]
    fn no_limit_where_no_criterion_is_known() {
        let factored = Geometry::Factored {
            range_constant_mpa_s_rpm: x("36000"),
            at_torque_un_m: x("80"),
            shear_rate_per_rpm: Some(x("0.22")),
        };
        let plates = Geometry::ParallelPlates {
            radius_mm: x("25"),
            gap_mm: x("1"),
        };
        for geometry in [
            factored,
            plates,
            coaxial("20", "20"),
            coaxial("20", "19"),
            coaxial("0", "19"),
            cone("0", "1"),
            cone("25", "0"),
            coaxial("1e300", "1e301"),
        ] {
            assert_eq!(laminar_limit_rpm(&geometry, 1.0, 1.0), None, "{geometry:?}");
        }
    }

    #[test]
    fn figures_that_are_none() {
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            for geometry in [coaxial("20", "21.694"), cone("25", "1")] {
                assert_eq!(laminar_limit_rpm(&geometry, bad, 1.0), None);
                assert_eq!(laminar_limit_rpm(&geometry, 1.0, bad), None);
            }
            assert_eq!(taylor_number(bad, 21.0, 10.0, 1.0, 1.0), None);
            assert_eq!(taylor_number(20.0, 21.0, bad, 1.0, 1.0), None);
            assert_eq!(cone_number(bad, 1.0, 10.0, 1.0, 1.0), None);
            assert_eq!(cone_number(25.0, bad, 10.0, 1.0, 1.0), None);
        }
    }

    proptest! {
        #[test]
        fn the_limit_goes_with_the_viscosity_over_the_density(
            viscosity in 0.1..1e5_f64,
            density in 0.5..2.0_f64,
        ) {
            for geometry in [coaxial("20", "21.694"), cone("25", "1")] {
                let water = laminar_limit_rpm(&geometry, 1.0, 1.0).unwrap();
                let limit = laminar_limit_rpm(&geometry, viscosity, density).unwrap();
                prop_assert!(near(limit, water * viscosity / density, 1e-12));
            }
        }
    }
}
