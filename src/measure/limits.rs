//! The band round a reference and how far a reading lies from it.

use super::exact::Exact;
use super::{FIGURE_DIGITS, PERCENT_PLACES};

/// The limits of a point, in the unit of the reference, as they are written: the limit that is written is the limit that
/// judges.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limits {
    pub lower: Exact,
    pub upper: Exact,
}

impl Limits {
    /// The limits round an unrounded reference, rounded once, to 6 significant digits.
    pub fn around(reference: &Exact, half_width: &Exact) -> Limits {
        Limits {
            lower: (reference - half_width).rounded_significant(FIGURE_DIGITS),
            upper: (reference + half_width).rounded_significant(FIGURE_DIGITS),
        }
    }

    /// Whether a reading is inside; one on a limit is.
    pub fn contain(&self, reading: &Exact) -> bool {
        self.lower <= *reading && *reading <= self.upper
    }
}

/// Half the width of the band, unrounded: a share of the reference and a share of the full-scale range. All in one unit.
pub fn half_width(
    reference: &Exact,
    range: &Exact,
    fluid_percent: &Exact,
    range_percent: &Exact,
) -> Exact {
    (fluid_percent * reference + range_percent * range).hundredth()
}

/// The half-width in % of the reference, to 2 decimals; `None` where the reference is zero.
pub fn relative_band_percent(reference: &Exact, half_width: &Exact) -> Option<Exact> {
    percent(half_width, reference)
}

/// How far a reading lies from the reference, in % of the reference, to 2 decimals; `None` where the reference is zero.
pub fn deviation_percent(reading: &Exact, reference: &Exact) -> Option<Exact> {
    percent(&(reading - reference), reference)
}

/// How far a reading lies from the reference, in % of the full-scale range, to 2 decimals; `None` where the range is zero.
pub fn deviation_of_range_percent(
    reading: &Exact,
    reference: &Exact,
    range: &Exact,
) -> Option<Exact> {
    percent(&(reading - reference), range)
}

fn percent(part: &Exact, whole: &Exact) -> Option<Exact> {
    let percent = (part * Exact::integer(100)).divide(whole)?;
    Some(percent.rounded_decimals(PERCENT_PLACES))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::measure::range::{Geometry, torque_from_reading};

    fn x(text: &str) -> Exact {
        Exact::parse(text).unwrap()
    }

    fn limits(reference: &str, range: &Exact, fluid: &str, range_percent: &str) -> (Exact, Exact) {
        let reference = x(reference);
        let half_width = half_width(&reference, range, &x(fluid), &x(range_percent));
        let Limits { lower, upper } = Limits::around(&reference, &half_width);
        (lower, upper)
    }

    #[test]
    fn one_and_one_percent() {
        // Common practice of the trade: certified 484, range 2500.
        let half_width = half_width(&x("484"), &x("2500"), &x("1"), &x("1"));
        assert_eq!(half_width, x("29.84"));
        assert_eq!(
            limits("484", &x("2500"), "1", "1"),
            (x("454.16"), x("513.84"))
        );
        // By hand: 2 % of 484 and 0.5 % of 2500 are 9.68 + 12.5.
        assert_eq!(
            limits("484", &x("2500"), "2", "0.5"),
            (x("461.82"), x("506.18"))
        );
    }

    #[test]
    fn limits_on_three_ranges() {
        // Recomputed with Python fractions; 4866.503333 and 5099.496667 to 6 significant digits.
        let geometry = Geometry::Factored {
            range_constant_mpa_s_rpm: x("200000"),
            at_torque_un_m: x("80"),
            shear_rate_per_rpm: None,
        };
        for (speed, lower, upper) in [
            ("10", "4733.17", "5232.83"),
            ("20", "4833.17", "5132.83"),
            ("30", "4866.50", "5099.50"),
        ] {
            let range = geometry.range_mpa_s(&x("80"), &x(speed)).unwrap();
            assert_eq!(
                limits("4983", &range, "1", "1"),
                (x(lower), x(upper)),
                "{speed}"
            );
        }
    }

    #[test]
    fn proportional_policies() {
        // ISO 3104 7.1: within +/-0.35 % of certified; AASHTO T 316 10.1: +/-2 % (both published; limits by hand).
        assert_eq!(
            limits("100", &x("200"), "0.35", "0"),
            (x("99.65"), x("100.35"))
        );
        assert_eq!(limits("500", &x("2000"), "2", "0"), (x("490"), x("510")));
    }

    #[test]
    fn limits_are_rounded_once_half_to_even() {
        // By hand: 483.4735 -> 483.474, 483.4745 -> 483.474, 541.7255 -> 541.726, 541.7265 -> 541.726.
        let around = |reference: &str, half_width: &str| {
            let Limits { lower, upper } = Limits::around(&x(reference), &x(half_width));
            (lower, upper)
        };
        assert_eq!(around("512.6", "29.1265"), (x("483.474"), x("541.726")));
        assert_eq!(around("512.5995", "29.1260"), (x("483.474"), x("541.726")));
        // Python fractions: range 30000/19 taken unrounded; with 1578.95 the limits would be 380.210 and 419.790.
        let range = x("30000").divide(&x("19")).unwrap();
        assert_eq!(
            limits("400", &range, "1", "1"),
            (x("380.211"), x("419.789"))
        );
    }

    #[test]
    fn a_reading_on_a_limit_is_inside() {
        let limits = Limits {
            lower: x("483.474"),
            upper: x("541.726"),
        };
        for (reading, inside) in [
            ("483.473", false),
            ("483.474", true),
            ("483.475", true),
            ("512.6", true),
            ("541.725", true),
            ("541.726", true),
            ("541.727", false),
        ] {
            assert_eq!(limits.contain(&x(reading)), inside, "{reading}");
        }
    }

    #[test]
    fn band_at_a_tenth_of_the_torque() {
        // Common practice of the trade: at 10 % torque 1 % + 1 % is a band of +/-11 % of the value.
        let (reference, range) = (x("100"), x("1000"));
        assert_eq!(torque_from_reading(&reference, &range), Some(x("10")));
        let half_width = half_width(&reference, &range, &x("1"), &x("1"));
        assert_eq!(
            relative_band_percent(&reference, &half_width),
            Some(x("11"))
        );
        assert_eq!(relative_band_percent(&x("0"), &half_width), None);
        // By hand: 100 / 3.
        assert_eq!(relative_band_percent(&x("3"), &x("1")), Some(x("33.33")));
    }

    #[test]
    fn deviations() {
        // By hand: 3.4 of 512.6 is 0.663 %, of 2400 0.1417 %.
        let (reference, range) = (x("512.6"), x("2400"));
        assert_eq!(deviation_percent(&x("516.0"), &reference), Some(x("0.66")));
        assert_eq!(deviation_percent(&x("509.2"), &reference), Some(x("-0.66")));
        assert_eq!(
            deviation_of_range_percent(&x("516.0"), &reference, &range),
            Some(x("0.14"))
        );
        assert_eq!(
            deviation_of_range_percent(&x("509.2"), &reference, &range),
            Some(x("-0.14"))
        );
        // Ties, by hand: 0.125 %, 0.135 %, and -0.004 % which has no sign left.
        let hundred = x("100");
        assert_eq!(deviation_percent(&x("100.125"), &hundred), Some(x("0.12")));
        assert_eq!(deviation_percent(&x("100.135"), &hundred), Some(x("0.14")));
        let nothing = deviation_percent(&x("99.996"), &hundred).unwrap();
        assert_eq!(nothing.to_fixed_string(2), "0.00");
        assert_eq!(deviation_percent(&x("1"), &x("0")), None);
        assert_eq!(deviation_of_range_percent(&x("1"), &x("1"), &x("0")), None);
    }

    proptest! {
        #[test]
        fn limits_widen_with_the_range_and_with_each_share(
            reference in 1_i64..1_000_000,
            range in 1_i64..1_000_000,
            more in 1_i64..1_000_000,
            fluid in 0_i64..500,
            share in 1_i64..500,
        ) {
            let hundredth = |value| Exact::hundredths(value);
            let half = |range: i64, fluid: i64, share: i64| {
                half_width(
                    &Exact::integer(reference),
                    &Exact::integer(range),
                    &hundredth(fluid),
                    &hundredth(share),
                )
            };
            let narrow = half(range, fluid, share);
            prop_assert!(half(range + more, fluid, share) > narrow);
            prop_assert!(half(range, fluid + 1, share) > narrow);
            prop_assert!(half(range, fluid, share + 1) > narrow);
            let around = |half: &Exact| Limits::around(&Exact::integer(reference), half);
            let (inner, outer) = (around(&narrow), around(&half(range + more, fluid, share)));
            prop_assert!(outer.lower <= inner.lower && outer.upper >= inner.upper);
        }
    }
}
