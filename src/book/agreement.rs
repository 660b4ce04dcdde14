//! Whether the torque and the viscosity that a point shows agree on the range.

use crate::measure::Exact;
use crate::record::Number;
use crate::record::check::Point;
use crate::record::policy::Policy;

/// A torque and a viscosity that one point shows, as written.
pub struct Pair<'a> {
    pub torque: &'a Number,
    pub viscosity: &'a Number,
    pub agreement_percent: &'a Exact,
}

impl<'a> Pair<'a> {
    /// `None` where the point shows only one of the two.
    pub fn of(policy: &'a Policy, point: &'a Point) -> Option<Pair<'a>> {
        Some(Pair {
            torque: point.torque_percent.as_ref()?,
            viscosity: point.viscosity_mpa_s.as_ref()?,
            agreement_percent: &policy.agreement_percent.value,
        })
    }

    /// What the torque comes to on a range, in mPa.s.
    pub fn by_torque(&self, range: &Exact) -> Exact {
        (&self.torque.value * range).hundredth()
    }

    /// How far the two may lie apart on a range, in mPa.s: the policy's share of it, and half of the last digit of both.
    pub fn allowed(&self, range: &Exact) -> Exact {
        let torque_digit = (self.torque.last_digit() * range).hundredth();
        let digits = self.viscosity.last_digit() + torque_digit;
        (self.agreement_percent * range).hundredth() + digits * Exact::hundredths(50)
    }

    pub fn agree(&self, range: &Exact) -> bool {
        self.clearly_agree(range)
            || (&self.viscosity.value - self.by_torque(range)).abs() <= self.allowed(range)
    }

    /// Doubles settle it for most points: exact sums are dear, and only what is near the bound needs them.
    fn clearly_agree(&self, range: &Exact) -> bool {
        let (viscosity_digit, torque_digit) =
            (self.viscosity.last_digit(), self.torque.last_digit());
        let figures = [
            range,
            &self.viscosity.value,
            &self.torque.value,
            &viscosity_digit,
            &torque_digit,
            self.agreement_percent,
        ];
        let [
            Some(range),
            Some(viscosity),
            Some(torque),
            Some(viscosity_digit),
            Some(torque_digit),
            Some(agreement_percent),
        ] = figures.map(Exact::to_f64_about)
        else {
            return false;
        };
        // Nothing is taken away from what is allowed, so its share of error stays that of a double.
        if range < 0.0 || agreement_percent < 0.0 {
            return false;
        }
        let apart = (viscosity - torque * range / 100.0).abs();
        let allowed =
            (agreement_percent + torque_digit / 2.0) * range / 100.0 + viscosity_digit / 2.0;
        apart + viscosity.abs() * 1e-12 < allowed * 0.999
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn number(written: &str) -> Number {
        Number {
            value: Exact::parse(written).unwrap(),
            written: written.into(),
        }
    }

    /// Whether they agree by doubles, and whether they agree.
    fn judged(torque: &str, viscosity: &str, agreement: &str, range: &str) -> (bool, bool) {
        let range = Exact::parse(range).unwrap();
        let pair = Pair {
            torque: &number(torque),
            viscosity: &number(viscosity),
            agreement_percent: &Exact::parse(agreement).unwrap(),
        };
        let apart = (&pair.viscosity.value - pair.by_torque(&range)).abs();
        let exactly = apart <= pair.allowed(&range);
        assert_eq!(pair.agree(&range), exactly);
        (pair.clearly_agree(&range), exactly)
    }

    #[test]
    fn half_of_both_last_digits_and_the_share_are_allowed() {
        // By hand, range 2400 mPa.s: 21.4 % is 513.6; half of 0.1 % of it 1.2, half of 0.1 mPa.s 0.05, 0.1 % 2.4: 3.65.
        assert_eq!(judged("21.4", "514.5", "0.1", "2400"), (true, true));
        assert_eq!(judged("21.4", "517.2", "0.1", "2400"), (true, true));
        assert_eq!(judged("21.4", "517.3", "0.1", "2400"), (false, false));
        // On the bound itself, where doubles do not decide: of 2000, 0.075 % is 1.5, the halves of the digits 1 and 0.5.
        assert_eq!(judged("21.4", "425", "0.075", "2000"), (false, true));
        assert_eq!(judged("21.4", "425", "0.0749", "2000"), (false, false));
        assert_eq!(judged("-21.4", "-513.6", "0", "2400"), (true, true));
        assert_eq!(judged("21.4", "513.6", "-9", "2400"), (false, false));
        assert_eq!(judged("21.4", "513.6", "0.1", "1e-300"), (false, false));
    }

    proptest! {
        /// Readings all round the bound, at any size: the doubles never say more than the exact sums.
        #[test]
        fn doubles_never_say_more(
            torque in 1_i64..12_000, agreement in 0_i64..300, range in 1_i64..1_000_000_000,
            places in 0_u32..9, scale in -30_i32..30, off in -30_i64..30, side in prop::bool::ANY,
        ) {
            let range = Exact::parse(&format!("{range}e{scale}")).unwrap();
            let agreement = Exact::parse(&format!("{agreement}e-2")).unwrap();
            let torque = number(&format!("{}.{:02}", torque / 100, torque % 100));
            let about = |viscosity: &Number| {
                let pair = Pair { torque: &torque, viscosity, agreement_percent: &agreement };
                (pair.by_torque(&range), pair.allowed(&range))
            };
            let (by_torque, allowed) = about(&number("1.0"));
            let bound = if side { by_torque + allowed } else { by_torque - allowed };
            let step = Exact::parse(&format!("{off}e-{places}")).unwrap();
            let written = (bound + step).to_fixed_string(places);
            // Figures of over 64 characters are no figures.
            prop_assume!(Exact::parse(&written).is_some());
            let viscosity = number(&written);
            let pair = Pair { torque: &torque, viscosity: &viscosity, agreement_percent: &agreement };
            let exactly = (&viscosity.value - pair.by_torque(&range)).abs() <= pair.allowed(&range);
            prop_assert!(exactly || !pair.clearly_agree(&range));
            prop_assert_eq!(pair.agree(&range), exactly);
        }
    }
}
