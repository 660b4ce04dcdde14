//! Thermometer corrections, certified rows and the viscosity-temperature curve through them.

use super::exact::Exact;

/// The shown temperature to which a correction belongs, in degrees C, and the correction in K.
pub type Correction = (Exact, Exact);

/// The correction to add to a shown temperature, in K: linear between the rows, the end value held beyond them, zero where
/// there are none. Rows ascend by temperature.
pub fn correction(shown_c: &Exact, rows: &[Correction]) -> Exact {
    let Some(last) = rows.last() else {
        return Exact::zero();
    };
    let Some(above) = rows.iter().position(|(at_c, _)| at_c >= shown_c) else {
        return last.1.clone();
    };
    match above.checked_sub(1) {
        None => rows[above].1.clone(),
        Some(below) => {
            on_line(&rows[below], &rows[above], shown_c).unwrap_or_else(|| rows[above].1.clone())
        }
    }
}

/// The line through two points, at `x`; `None` where both have one abscissa.
fn on_line(from: &(Exact, Exact), to: &(Exact, Exact), x: &Exact) -> Option<Exact> {
    Some(&from.1 + slope(from, to)? * (x - &from.0))
}

fn slope(from: &(Exact, Exact), to: &(Exact, Exact)) -> Option<Exact> {
    (&to.1 - &from.1).divide(&(&to.0 - &from.0))
}

/// The certified viscosity of a fluid, as the certificate gives it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Viscosity {
    Dynamic { mpa_s: Exact },
    Kinematic { mm2_s: Exact, density_g_ml: Exact },
}

impl Viscosity {
    /// The dynamic viscosity in mPa.s.
    pub fn mpa_s(&self) -> Exact {
        match self {
            Viscosity::Dynamic { mpa_s } => mpa_s.clone(),
            Viscosity::Kinematic {
                mm2_s,
                density_g_ml,
            } => mm2_s * density_g_ml,
        }
    }
}

/// One certified temperature of a fluid.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CertifiedRow {
    pub temperature_c: Exact,
    pub viscosity: Viscosity,
    /// In % per K, negative for a fluid that thins as it warms; used where there is one row.
    pub coefficient_percent_per_k: Option<Exact>,
}

/// The row whose temperature is nearest, the lower on a tie; `None` where there are no rows.
pub fn nearest_row(rows: &[CertifiedRow], mean_c: &Exact) -> Option<usize> {
    (0..rows.len()).min_by_key(nearness(rows, mean_c))
}

fn by_nearness(rows: &[CertifiedRow], temperature_c: &Exact) -> Vec<usize> {
    let mut order: Vec<usize> = (0..rows.len()).collect();
    order.sort_by_cached_key(nearness(rows, temperature_c));
    order
}

/// What rows are ordered by: how far away they are, then their temperatures.
fn nearness<'a>(
    rows: &'a [CertifiedRow],
    temperature_c: &'a Exact,
) -> impl Fn(&usize) -> (Exact, &'a Exact) {
    move |&row| {
        let at = &rows[row].temperature_c;
        ((at - temperature_c).abs(), at)
    }
}

/// How a fluid's viscosity changes with temperature round one certified row.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    certified_c: Exact,
    /// `None` where that is no temperature.
    certified_k: Option<f64>,
    law: Law,
    /// Temperatures in degrees C and densities in g/mL, ascending, where the law is of the kinematic viscosity.
    densities: Option<Vec<(Exact, Exact)>>,
}

/// The law of the curve; T in kelvin, the viscosity in mPa.s or, where all rows used are kinematic, in mm2/s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Law {
    /// eta proportional to exp(beta T), with beta per K: one row and its coefficient.
    Coefficient { per_k: f64 },
    /// ln eta = A + B / T: two rows.
    Andrade { a: f64, b_k: f64 },
    /// ln eta = A + B / (T - T0) (Vogel, Fulcher, Tammann): three rows.
    Vogel { a: f64, b_k: f64, t0_k: f64 },
}

/// A row as a law takes it: T in kelvin and the logarithm of the viscosity.
#[derive(Clone, Copy)]
struct Knot {
    t_k: f64,
    ln: f64,
}

impl Curve {
    /// The curve round a certified row: with one row its coefficient; with two Andrade; with three or more Vogel through the
    /// row and its two nearest neighbours (the lower temperature on a tie) where B > 0 and T0 lies below the lowest of them,
    /// else Andrade through the row and its nearest neighbour. Where all rows used are kinematic the law is of the
    /// kinematic viscosity, and the density is linear between rows and beyond them.
    ///
    /// `None` where there is no such row, where one row has no coefficient, and where the figures allow no law.
    pub fn around(rows: &[CertifiedRow], row: usize) -> Option<Curve> {
        let certified = rows.get(row)?;
        let at = &certified.temperature_c;
        if rows.len() == 1 {
            let coefficient = certified.coefficient_percent_per_k.as_ref()?;
            return Some(Curve {
                certified_c: at.clone(),
                certified_k: kelvin(at),
                law: Law::Coefficient {
                    per_k: coefficient.to_f64() / 100.0,
                },
                densities: None,
            });
        }
        let neighbours: Vec<&CertifiedRow> = by_nearness(rows, at)
            .into_iter()
            .filter(|&other| other != row)
            .map(|other| &rows[other])
            .collect();
        let nearest = *neighbours.first()?;
        let three = neighbours
            .get(1)
            .map(|second| vec![certified, nearest, *second]);
        let (used, law) = three
            .and_then(|three| Some((three.clone(), vogel(knots(&three)?)?)))
            .or_else(|| {
                let two = vec![certified, nearest];
                let law = andrade(knots(&two)?)?;
                Some((two, law))
            })?;
        Some(Curve {
            certified_c: at.clone(),
            certified_k: kelvin(at),
            law,
            densities: all_kinematic(&used).then(|| densities(rows)),
        })
    }

    pub fn law(&self) -> Law {
        self.law
    }

    /// The dynamic viscosity at a temperature in degrees C over that at the certified temperature; `None` where the law does
    /// not reach so far.
    pub fn ratio(&self, to_c: &Exact) -> Option<f64> {
        let t_k = kelvin(to_c)?;
        let certified_k = self.certified_k?;
        let step_k = (to_c - &self.certified_c).to_f64();
        // Written with the step, so that nothing is lost near the certified temperature.
        let exponent = match self.law {
            Law::Coefficient { per_k } => per_k * step_k,
            Law::Andrade { b_k, .. } => -b_k * step_k / (t_k * certified_k),
            // At and below T0 the law has no end: the distance of zero makes the ratio infinite.
            Law::Vogel { b_k, t0_k, .. } => {
                -b_k * step_k / ((t_k - t0_k).max(0.0) * (certified_k - t0_k))
            }
        };
        let density = match &self.densities {
            None => 1.0,
            Some(densities) => density_at(densities, to_c)?
                .divide(&density_at(densities, &self.certified_c)?)?
                .to_f64(),
        };
        let ratio = exponent.exp() * density;
        (ratio.is_finite() && ratio > 0.0).then_some(ratio)
    }

    /// d ln(eta)/dT at the certified temperature, per K. At a row between two others the density's slope is the mean of
    /// those on either side. `None` where the certified temperature is no temperature above absolute zero.
    pub fn slope_per_k(&self) -> Option<f64> {
        let certified_k = self.certified_k?;
        let law = match self.law {
            Law::Coefficient { per_k } => per_k,
            Law::Andrade { b_k, .. } => -b_k / (certified_k * certified_k),
            Law::Vogel { b_k, t0_k, .. } => -b_k / ((certified_k - t0_k) * (certified_k - t0_k)),
        };
        let density = match &self.densities {
            None => 0.0,
            Some(densities) => density_slope(densities, &self.certified_c)?
                .divide(&density_at(densities, &self.certified_c)?)?
                .to_f64(),
        };
        let slope = law + density;
        slope.is_finite().then_some(slope)
    }
}

/// d ln(eta)/dT at a certified row, per K: the curve's, else the row's own coefficient; `None` without both.
pub fn slope_per_k(rows: &[CertifiedRow], row: usize) -> Option<f64> {
    let curve = Curve::around(rows, row).and_then(|curve| curve.slope_per_k());
    curve.or_else(|| {
        let coefficient = rows.get(row)?.coefficient_percent_per_k.as_ref()?;
        Some(coefficient.to_f64() / 100.0)
    })
}

/// The size of the fluid's slope at a certified row in % per K, unrounded: the coefficient where there is one row, else the
/// curve's. What the window times this leaves of the fluid's share tells whether the window is too wide.
pub fn window_slope(rows: &[CertifiedRow], row: usize) -> Option<Exact> {
    match rows {
        [only] if row == 0 => only.coefficient_percent_per_k.as_ref().map(Exact::abs),
        _ => {
            let slope = Exact::from_f64(Curve::around(rows, row)?.slope_per_k()?)?;
            Some(slope.abs() * Exact::integer(100))
        }
    }
}

/// Degrees C in kelvin; `None` at and below absolute zero and beyond all doubles.
fn kelvin(temperature_c: &Exact) -> Option<f64> {
    let t_k = (temperature_c + Exact::hundredths(27_315)).to_f64();
    (t_k.is_finite() && t_k > 0.0).then_some(t_k)
}

fn all_kinematic(rows: &[&CertifiedRow]) -> bool {
    rows.iter()
        .all(|row| matches!(row.viscosity, Viscosity::Kinematic { .. }))
}

/// The rows as a law takes them; `None` where a viscosity has no logarithm.
fn knots(rows: &[&CertifiedRow]) -> Option<Vec<Knot>> {
    let kinematic = all_kinematic(rows);
    rows.iter()
        .map(|row| {
            let viscosity = match &row.viscosity {
                Viscosity::Kinematic { mm2_s, .. } if kinematic => mm2_s.to_f64(),
                viscosity => viscosity.mpa_s().to_f64(),
            };
            let knot = Knot {
                t_k: kelvin(&row.temperature_c)?,
                ln: viscosity.ln(),
            };
            knot.ln.is_finite().then_some(knot)
        })
        .collect()
}

/// The law through two rows; `None` where they have one temperature.
fn andrade(knots: Vec<Knot>) -> Option<Law> {
    let [one, other] = knots[..] else {
        return None;
    };
    let b_k = (one.ln - other.ln) * one.t_k * other.t_k / (other.t_k - one.t_k);
    let a = one.ln - b_k / one.t_k;
    b_k.is_finite().then_some(Law::Andrade { a, b_k })
}

/// The law through three rows; `None` unless B > 0 and T0 lies below all of them.
fn vogel(mut knots: Vec<Knot>) -> Option<Law> {
    knots.sort_by(|one, other| one.t_k.total_cmp(&other.t_k));
    let [low, middle, high] = knots[..] else {
        return None;
    };
    // (T3 - T0) / (T1 - T0), from the slopes of the two chords.
    let stretch = ((low.ln - middle.ln) / (middle.t_k - low.t_k))
        / ((middle.ln - high.ln) / (high.t_k - middle.t_k));
    let t0_k = (stretch * low.t_k - high.t_k) / (stretch - 1.0);
    let b_k =
        (low.ln - middle.ln) * (low.t_k - t0_k) * (middle.t_k - t0_k) / (middle.t_k - low.t_k);
    let exists = [b_k, low.t_k - t0_k]
        .iter()
        .all(|size| size.is_finite() && *size > 0.0);
    let a = low.ln - b_k / (low.t_k - t0_k);
    exists.then_some(Law::Vogel { a, b_k, t0_k })
}

/// The certified densities, ascending by temperature.
fn densities(rows: &[CertifiedRow]) -> Vec<(Exact, Exact)> {
    let mut densities: Vec<(Exact, Exact)> = rows
        .iter()
        .filter_map(|row| match &row.viscosity {
            Viscosity::Dynamic { .. } => None,
            Viscosity::Kinematic { density_g_ml, .. } => {
                Some((row.temperature_c.clone(), density_g_ml.clone()))
            }
        })
        .collect();
    densities.sort();
    densities
}

/// The density at a temperature, linear between rows, the first and last lines extended; `None` where it is not above zero
/// or there are fewer than two rows.
fn density_at(densities: &[(Exact, Exact)], temperature_c: &Exact) -> Option<Exact> {
    let lines = densities.windows(2);
    let line = lines
        .clone()
        .find(|line| *temperature_c <= line[1].0)
        .or(lines.last())?;
    let density = on_line(&line[0], &line[1], temperature_c)?;
    density.is_positive().then_some(density)
}

/// The density's slope at a certified temperature, in g/mL per K: the mean of the lines that end or begin there.
fn density_slope(densities: &[(Exact, Exact)], certified_c: &Exact) -> Option<Exact> {
    let slopes: Vec<Exact> = densities
        .windows(2)
        .filter(|line| line[0].0 == *certified_c || line[1].0 == *certified_c)
        .map(|line| slope(&line[0], &line[1]))
        .collect::<Option<_>>()?;
    Exact::mean(&slopes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn x(text: &str) -> Exact {
        Exact::parse(text).unwrap()
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

    fn kinematic(rows: &[(&str, &str, &str)]) -> Vec<CertifiedRow> {
        rows.iter()
            .map(|(temperature_c, mm2_s, density_g_ml)| CertifiedRow {
                temperature_c: x(temperature_c),
                viscosity: Viscosity::Kinematic {
                    mm2_s: x(mm2_s),
                    density_g_ml: x(density_g_ml),
                },
                coefficient_percent_per_k: None,
            })
            .collect()
    }

    fn one_row(viscosity: Viscosity, coefficient: Option<&str>) -> Vec<CertifiedRow> {
        vec![CertifiedRow {
            temperature_c: x("25.0"),
            viscosity,
            coefficient_percent_per_k: coefficient.map(x),
        }]
    }

    fn oil() -> Viscosity {
        Viscosity::Dynamic { mpa_s: x("512.6") }
    }

    fn assert_near(computed: f64, expected: f64, relative: f64) {
        assert!(
            (computed - expected).abs() <= relative * expected.abs(),
            "{computed} is not {expected}"
        );
    }

    fn ratio(curve: &Curve, to_c: &str) -> f64 {
        curve.ratio(&x(to_c)).unwrap()
    }

    #[test]
    fn corrections_are_linear_and_held_beyond_the_ends() {
        let rows = [
            (x("20.0"), x("-0.01")),
            (x("30.0"), x("-0.02")),
            (x("40.0"), x("0.04")),
        ];
        // By hand.
        for (shown, expected) in [
            ("-5", "-0.01"),
            ("19.99", "-0.01"),
            ("20", "-0.01"),
            ("25.03", "-0.01503"),
            ("30.0", "-0.02"),
            ("35", "0.01"),
            ("39", "0.034"),
            ("40", "0.04"),
            ("40.01", "0.04"),
            ("1e400", "0.04"),
        ] {
            assert_eq!(correction(&x(shown), &rows), x(expected), "{shown}");
        }
        assert_eq!(correction(&x("25"), &rows[..1]), x("-0.01"));
        assert_eq!(correction(&x("25"), &[]), Exact::zero());
    }

    #[test]
    fn corrections_in_no_order_do_no_harm() {
        let rows = [(x("30"), x("1")), (x("20"), x("2")), (x("20"), x("3"))];
        assert_eq!(correction(&x("20"), &rows), x("1"));
        assert_eq!(correction(&x("35"), &rows), x("3"));
    }

    #[test]
    fn kinematic_viscosity_times_density_is_dynamic() {
        // Water at 20 degrees C: 1.0034 mm2/s (ASTM D2162, published) and 1.0016 mPa.s (ISO/TR 3666, value from memory),
        // with 0.9982 g/mL (value from memory).
        let water = Viscosity::Kinematic {
            mm2_s: x("1.0034"),
            density_g_ml: x("0.9982"),
        };
        assert_eq!(water.mpa_s().rounded_decimals(4), x("1.0016"));
        // By hand.
        assert_eq!(water.mpa_s(), x("1.00159388"));
        assert_eq!(oil().mpa_s(), x("512.6"));
    }

    #[test]
    fn nearest_row_is_the_lower_on_a_tie() {
        let rows = dynamic(&[("20.0", "640"), ("25.0", "450"), ("40.0", "180")]);
        for (mean, row) in [
            ("-300", 0),
            ("22.49", 0),
            ("22.5", 0),
            ("22.51", 1),
            ("25", 1),
            ("32.5", 1),
            ("32.51", 2),
            ("100", 2),
        ] {
            assert_eq!(nearest_row(&rows, &x(mean)), Some(row), "{mean}");
        }
        let descending: Vec<CertifiedRow> = rows.into_iter().rev().collect();
        assert_eq!(nearest_row(&descending, &x("22.5")), Some(2));
        assert_eq!(nearest_row(&[], &x("25")), None);
    }

    #[test]
    fn coefficient_of_one_row() {
        let rows = one_row(oil(), Some("-2.1"));
        let curve = Curve::around(&rows, 0).unwrap();
        assert_eq!(curve.law(), Law::Coefficient { per_k: -0.021 });
        // mpmath: exp(-0.021 x 0.15).
        assert_near(ratio(&curve, "25.15"), 0.996_854_956_044_787_2, 1e-15);
        assert_eq!(ratio(&curve, "25.0"), 1.0);
        assert_near(curve.slope_per_k().unwrap(), -0.021, 1e-15);
        assert_eq!(window_slope(&rows, 0), Some(x("2.1")));
        // The coefficient is of the dynamic viscosity, also where the row is kinematic.
        let kinematic = Viscosity::Kinematic {
            mm2_s: x("530"),
            density_g_ml: x("0.97"),
        };
        let of_kinematic = Curve::around(&one_row(kinematic, Some("-2.1")), 0).unwrap();
        assert_eq!(of_kinematic, curve);
        let without = one_row(oil(), None);
        assert_eq!(Curve::around(&without, 0), None);
        assert_eq!(window_slope(&without, 0), None);
    }

    #[test]
    fn andrade_through_two_rows() {
        let rows = dynamic(&[("20", "640"), ("40", "180")]);
        let curve = Curve::around(&rows, 0).unwrap();
        let Law::Andrade { a, b_k } = curve.law() else {
            panic!("{curve:?}");
        };
        // Recomputed with mpmath: B 5822.462068, A -13.4002479, 458.695 at 25; slopes -B / T^2.
        assert_near(b_k, 5_822.462_068_396_112, 1e-12);
        assert_near(a, -13.400_247_902_091_14, 1e-12);
        assert_near(640.0 * ratio(&curve, "25"), 458.695, 1e-6);
        assert_near(640.0 * ratio(&curve, "25"), 458.695_029_558_444_5, 1e-12);
        assert_near(640.0 * ratio(&curve, "40"), 180.0, 1e-12);
        assert_eq!(ratio(&curve, "20.0"), 1.0);
        assert_near(
            curve.slope_per_k().unwrap(),
            -0.067_752_741_185_211_89,
            1e-12,
        );
        let upper = Curve::around(&rows, 1).unwrap();
        assert_near(
            upper.slope_per_k().unwrap(),
            -0.059_374_755_717_647_63,
            1e-12,
        );
        assert_near(180.0 * ratio(&upper, "20"), 640.0, 1e-12);
        let slope = window_slope(&rows, 0).unwrap().to_f64();
        assert_near(slope, 6.775_274_118_521_189, 1e-12);
    }

    #[test]
    fn coefficients_count_only_for_one_row() {
        let mut rows = dynamic(&[("20", "640"), ("40", "180")]);
        rows[0].coefficient_percent_per_k = Some(x("-2.1"));
        let slope = window_slope(&rows, 0).unwrap().to_f64();
        assert_near(slope, 6.775_274_118_521_189, 1e-12);
    }

    /// A, B and T0 recomputed with mpmath: T x ln(eta) = A T + T0 ln(eta) + (B - A T0) solved through the three rows.
    fn assert_vogel(rows: &[CertifiedRow], row: usize, expected: (f64, f64, f64)) -> Curve {
        let curve = Curve::around(rows, row).unwrap();
        let Law::Vogel { a, b_k, t0_k } = curve.law() else {
            panic!("{curve:?}");
        };
        assert_near(a, expected.0, 1e-11);
        assert_near(b_k, expected.1, 1e-11);
        assert_near(t0_k, expected.2, 1e-11);
        curve
    }

    const THROUGH_20_25_40: (f64, f64, f64) = (
        -3.087_419_907_412_346,
        1_246.632_794_982_064,
        162.597_334_176_903,
    );
    const THROUGH_25_40_60: (f64, f64, f64) = (
        -2.090_007_108_426_212,
        977.553_428_163_477_5,
        178.925_330_809_795_7,
    );

    #[test]
    fn vogel_through_three_rows() {
        let rows = dynamic(&[("20", "640"), ("25", "450"), ("40", "180")]);
        let curve = assert_vogel(&rows, 1, THROUGH_20_25_40);
        // Recomputed with mpmath: A -3.08741991, B 1246.632795, T0 162.597334 K, 324.435477 at 30.
        assert_near(450.0 * ratio(&curve, "30"), 324.435477, 2e-9);
        assert_near(ratio(&curve, "24.8"), 1.013_681_945_745_261, 1e-12);
        assert_near(ratio(&curve, "25.2"), 0.986_542_224_643_333_6, 1e-12);
        assert_near(450.0 * ratio(&curve, "20"), 640.0, 1e-11);
        assert_near(450.0 * ratio(&curve, "40"), 180.0, 1e-11);
        assert_eq!(ratio(&curve, "25"), 1.0);
        assert_near(
            curve.slope_per_k().unwrap(),
            -0.067_845_714_684_633_83,
            1e-11,
        );
        let slope = window_slope(&rows, 1).unwrap().to_f64();
        assert_near(slope, 6.784_571_468_463_383, 1e-11);
        // The rows may stand in any order.
        let descending: Vec<CertifiedRow> = rows.into_iter().rev().collect();
        assert_vogel(&descending, 1, THROUGH_20_25_40);
    }

    #[test]
    fn vogel_takes_the_three_nearest_rows() {
        let rows = dynamic(&[("20", "640"), ("25", "450"), ("40", "180"), ("60", "70")]);
        assert_vogel(&rows, 0, THROUGH_20_25_40);
        assert_vogel(&rows, 1, THROUGH_20_25_40);
        // 20 and 60 are as far from 40: the lower.
        assert_vogel(&rows, 2, THROUGH_20_25_40);
        assert_vogel(&rows, 3, THROUGH_25_40_60);
    }

    #[test]
    fn andrade_where_vogel_does_not_exist() {
        // The fall grows faster with temperature: T0 would lie above the rows. 20 and 30 are as near to 25: the lower.
        let rows = dynamic(&[("20", "640"), ("25", "500"), ("30", "180")]);
        let curve = Curve::around(&rows, 1).unwrap();
        let Law::Andrade { a, b_k } = curve.law() else {
            panic!("{curve:?}");
        };
        // mpmath: Andrade through 640 at 20 and 500 at 25.
        assert_near(a, -8.258_798_270_703_166, 1e-11);
        assert_near(b_k, 4_315.246_108_954_725, 1e-11);
        assert_near(ratio(&curve, "25.2"), 0.990_344_615_232_234, 1e-12);
    }

    #[test]
    fn where_vogel_exists() {
        let law = |low: f64, middle: f64, high: f64| {
            let knot = |t_k, ln| Knot { t_k, ln };
            vogel(vec![
                knot(300.0, low),
                knot(310.0, middle),
                knot(320.0, high),
            ])
        };
        // By hand: (T3 - T0) / (T1 - T0) = 2, so T0 = 280, B = 1 x 20 x 30 / 10, A = 4 - 60 / 20.
        let exact = Law::Vogel {
            a: 1.0,
            b_k: 60.0,
            t0_k: 280.0,
        };
        assert_eq!(law(4.0, 3.0, 2.5), Some(exact));
        // B under zero with T0 = 280; T0 = 330 over the rows; T0 between them.
        assert_eq!(law(4.0, 5.0, 5.5), None);
        assert_eq!(law(6.0, 5.5, 4.0), None);
        assert_eq!(law(4.0, 3.0, 3.5), None);
        // On a straight line T0 is infinitely far below; three equal values have none.
        assert_eq!(law(6.0, 5.0, 4.0), None);
        assert_eq!(law(4.0, 4.0, 4.0), None);
        // T0 falls on the lowest row, and B on zero.
        assert_eq!(law(4.0, 1e-300, 0.0), None);
        assert_eq!(vogel(Vec::new()), None);
        assert_eq!(andrade(Vec::new()), None);
    }

    #[test]
    fn kinematic_rows_give_a_kinematic_curve_times_density() {
        // mpmath: Andrade through the kinematic values, times the density on the line through 0.8600 and 0.8340.
        let rows = kinematic(&[("40", "68", "0.8600"), ("80", "14.85", "0.8340")]);
        let curve = Curve::around(&rows, 0).unwrap();
        let Law::Andrade { a, b_k } = curve.law() else {
            panic!("{curve:?}");
        };
        assert_near(a, -9.213_504_636_58, 1e-10);
        assert_near(b_k, 4_206.547_814_82, 1e-10);
        assert_near(ratio(&curve, "45"), 0.806_624_087_837_397_2, 1e-12);
        assert_near(ratio(&curve, "35"), 1.248_239_525_176_633, 1e-12);
        assert_near(ratio(&curve, "100"), 0.110_102_123_660_719_8, 1e-12);
        assert_near(
            curve.slope_per_k().unwrap(),
            -0.043_652_228_904_020_12,
            1e-12,
        );
        let upper = Curve::around(&rows, 1).unwrap();
        assert_near(ratio(&upper, "79.5"), 1.017_428_307_897_963, 1e-12);
        assert_near(
            upper.slope_per_k().unwrap(),
            -0.034_508_682_747_793_22,
            1e-12,
        );
    }

    #[test]
    fn density_is_linear_between_neighbouring_rows() {
        // mpmath: Vogel through the kinematic values; the density bends at 25, where the slope is the mean of both lines.
        let rows = kinematic(&[
            ("20", "300", "0.880"),
            ("25", "220", "0.878"),
            ("40", "105", "0.862"),
        ]);
        let curve = assert_vogel(
            &rows,
            1,
            (0.584_102_903_037, 396.950_407_982, 215.615_771_065),
        );
        assert_near(ratio(&curve, "25.2"), 0.988_200_713_473_016_2, 1e-12);
        assert_near(ratio(&curve, "24.8"), 1.011_843_627_607_734, 1e-12);
        assert_near(ratio(&curve, "15"), 1.949_582_254_557_708, 1e-12);
        assert_near(ratio(&curve, "50"), 0.316_959_610_811_022_6, 1e-12);
        assert_near(
            curve.slope_per_k().unwrap(),
            -0.059_108_322_707_416_07,
            1e-12,
        );
    }

    #[test]
    fn one_dynamic_row_among_those_used_makes_the_curve_dynamic() {
        let mut rows = kinematic(&[
            ("20", "640", "1"),
            ("25", "500", "0.9"),
            ("40", "200", "0.9"),
        ]);
        rows[0].viscosity = Viscosity::Dynamic { mpa_s: x("640") };
        let curve = assert_vogel(&rows, 1, THROUGH_20_25_40);
        assert_near(ratio(&curve, "25.2"), 0.986_542_224_643_333_6, 1e-12);
        // Where the fit falls back on two kinematic rows, the third does not count.
        let mut rows = kinematic(&[("20", "640", "0.9"), ("25", "500", "0.8"), ("31", "1", "1")]);
        rows[2].viscosity = Viscosity::Dynamic { mpa_s: x("1") };
        let curve = Curve::around(&rows, 1).unwrap();
        assert!(
            matches!(curve.law(), Law::Andrade { b_k, .. } if (b_k - 4_315.246_1).abs() < 1e-3)
        );
        // mpmath for the ratio of the law; the density by hand: 0.796 / 0.8.
        assert_near(ratio(&curve, "25.2"), 0.990_344_615_232_234 * 0.995, 1e-12);
    }

    #[test]
    fn curves_that_cannot_be_had() {
        assert_eq!(Curve::around(&[], 0), None);
        let rows = dynamic(&[("20", "640"), ("40", "180")]);
        assert_eq!(Curve::around(&rows, 2), None);
        assert_eq!(window_slope(&rows, 2), None);
        for impossible in [
            [("20", "640"), ("20.0", "180")],
            [("20", "640"), ("20.0", "640")],
            [("20", "0"), ("40", "180")],
            [("20", "640"), ("40", "-180")],
            [("-273.15", "640"), ("40", "180")],
            [("20", "1e400"), ("40", "180")],
        ] {
            assert_eq!(
                Curve::around(&dynamic(&impossible), 0),
                None,
                "{impossible:?}"
            );
        }
        assert_eq!(window_slope(&one_row(oil(), Some("-2.1")), 1), None);
    }

    #[test]
    fn temperatures_beyond_a_curve() {
        let rows = dynamic(&[("20", "640"), ("25", "450"), ("40", "180")]);
        let vogel = Curve::around(&rows, 1).unwrap();
        // T0 is -110.55 degrees C.
        assert!(vogel.ratio(&x("-100")).is_some());
        for temperature in ["-110.6", "-150", "-273.15", "-300", "1e400"] {
            assert_eq!(vogel.ratio(&x(temperature)), None, "{temperature}");
        }
        let coefficient = Curve::around(&one_row(oil(), Some("-2.1")), 0).unwrap();
        // exp(-0.021 x 1e6) is under the least double, and exp(2.1e5) over the largest.
        assert_eq!(coefficient.ratio(&x("1e6")), None);
        let rising = Curve::around(&one_row(oil(), Some("21")), 0).unwrap();
        assert_eq!(rising.ratio(&x("1e6")), None);
        let endless = Curve::around(&one_row(oil(), Some("1e400")), 0).unwrap();
        assert_eq!(endless.slope_per_k(), None);
        // The density's line falls to zero at 80 degrees C.
        let thinning = kinematic(&[("20", "640", "0.9"), ("40", "180", "0.6")]);
        let curve = Curve::around(&thinning, 0).unwrap();
        assert!(curve.ratio(&x("79")).is_some());
        assert_eq!(curve.ratio(&x("80")), None);
        assert_eq!(curve.ratio(&x("81")), None);
    }

    #[test]
    fn kelvin_begins_above_absolute_zero() {
        assert_eq!(kelvin(&x("25")), Some(298.15));
        assert_eq!(kelvin(&x("-273.14")), Some(0.01));
        assert_eq!(kelvin(&x("-273.15")), None);
        assert_eq!(kelvin(&x("-273.16")), None);
        assert_eq!(kelvin(&x("1e400")), None);
    }
}
