//! The viscosity-temperature law of petroleum oils (ASTM D341).

/// loglog(v + 0.7) = A - B log T, logarithms to base ten, v the kinematic viscosity in mm2/s and T in kelvin.
///
/// The plain form of ASTM D341, without the terms that matter below 2 mm2/s only.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct D341 {
    pub a: f64,
    pub b: f64,
    offset_k: f64,
}

/// From degrees C to kelvin.
const OFFSET_K: f64 = 273.15;

/// What the law adds to a viscosity, in mm2/s.
const ADDED: f64 = 0.7;

impl D341 {
    /// The law through two rows, each a temperature in degrees C and a kinematic viscosity in mm2/s. `None` where both have
    /// one temperature, a temperature is not above absolute zero, or a viscosity is below the law's reach (v + 0.7 <= 1).
    pub fn through(one: (f64, f64), other: (f64, f64)) -> Option<D341> {
        D341::with_offset(OFFSET_K, one, other)
    }

    fn with_offset(offset_k: f64, one: (f64, f64), other: (f64, f64)) -> Option<D341> {
        let (log_t, loglog) = logs(offset_k, one)?;
        let (other_log_t, other_loglog) = logs(offset_k, other)?;
        let b = (loglog - other_loglog) / (other_log_t - log_t);
        let a = loglog + b * log_t;
        (a.is_finite() && b.is_finite()).then_some(D341 { a, b, offset_k })
    }

    /// The kinematic viscosity in mm2/s at a temperature in degrees C; `None` at and below absolute zero, beyond all
    /// doubles, and below the law's reach.
    pub fn kinematic_mm2_s(&self, temperature_c: f64) -> Option<f64> {
        let t_k = temperature_c + self.offset_k;
        if t_k.is_nan() || t_k <= 0.0 {
            return None;
        }
        let log_v = 10_f64.powf(self.a - self.b * t_k.log10());
        let sum = 10_f64.powf(log_v);
        (sum.is_finite() && sum > 1.0).then_some(sum - ADDED)
    }
}

/// log T and loglog(v + 0.7) of a row.
fn logs(offset_k: f64, (temperature_c, mm2_s): (f64, f64)) -> Option<(f64, f64)> {
    let pair = (
        (temperature_c + offset_k).log10(),
        (mm2_s + ADDED).log10().log10(),
    );
    (pair.0.is_finite() && pair.1.is_finite()).then_some(pair)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn assert_near(computed: f64, expected: f64, within: f64) {
        assert!(
            (computed - expected).abs() <= within,
            "{computed} is not {expected}"
        );
    }

    #[test]
    fn oils_of_published_problems() {
        // Published problems (seen in transcriptions), recomputed with Python.
        let heavy = D341::through((40.0, 404.0), (100.0, 28.0)).unwrap();
        assert_near(heavy.kinematic_mm2_s(60.0).unwrap(), 132.126, 0.0005);
        let light = D341::through((40.0, 68.0), (80.0, 14.85)).unwrap();
        assert_near(light.kinematic_mm2_s(100.0).unwrap(), 8.8, 0.05);
        assert_near(light.kinematic_mm2_s(100.0).unwrap(), 8.79239385, 1e-8);
    }

    #[test]
    fn an_oil_with_a_whole_kelvin() {
        // Published with T = t + 273: A 9.5259, B 3.7449, 8.5 mm2/s at 80 (seen in a transcription; recomputed with Python).
        let oil = D341::with_offset(273.0, (40.0, 32.0), (100.0, 5.4)).unwrap();
        assert_near(oil.a, 9.5259, 0.00005);
        assert_near(oil.b, 3.7449, 0.00005);
        assert_near(oil.kinematic_mm2_s(80.0).unwrap(), 8.5, 0.05);
        // The 0.15 K make little of the viscosity.
        let oil = D341::through((40.0, 32.0), (100.0, 5.4)).unwrap();
        assert_near(oil.kinematic_mm2_s(80.0).unwrap(), 8.5, 0.05);
    }

    #[test]
    fn the_law_meets_its_rows() {
        let law = D341::through((20.0, 640.0), (40.0, 180.0)).unwrap();
        assert_near(law.kinematic_mm2_s(20.0).unwrap(), 640.0, 1e-8);
        assert_near(law.kinematic_mm2_s(40.0).unwrap(), 180.0, 1e-8);
    }

    #[test]
    fn beyond_the_law() {
        for (one, other) in [
            ((40.0, 32.0), (40.0, 5.4)),
            ((40.0, 32.0), (100.0, 0.3)),
            ((40.0, 32.0), (100.0, -5.0)),
            ((-273.15, 32.0), (100.0, 5.4)),
            ((-300.0, 32.0), (100.0, 5.4)),
            ((f64::NAN, 32.0), (100.0, 5.4)),
            ((40.0, f64::INFINITY), (100.0, 5.4)),
        ] {
            assert_eq!(D341::through(one, other), None, "{one:?} {other:?}");
        }
        assert!(D341::through((40.0, 32.0), (100.0, 0.31)).is_some());
        let law = D341::through((40.0, 32.0), (100.0, 5.4)).unwrap();
        for temperature_c in [-273.15, -400.0, -273.0, f64::NAN, f64::INFINITY, 1e300] {
            let viscosity = law.kinematic_mm2_s(temperature_c);
            assert_eq!(viscosity, None, "{temperature_c}");
        }
    }

    proptest! {
        #[test]
        fn between_two_rows_lies_between_their_viscosities(
            low in -20.0..60.0_f64,
            step in 1.0..80.0_f64,
            thin in 0.5..1e4_f64,
            factor in 1.001..50.0_f64,
            share in 0.0..1.0_f64,
        ) {
            let law = D341::through((low, thin * factor), (low + step, thin)).unwrap();
            let viscosity = law.kinematic_mm2_s(low + share * step).unwrap();
            let slack = 1e-6 * viscosity;
            prop_assert!(thin - slack <= viscosity && viscosity <= thin * factor + slack);
        }
    }
}
