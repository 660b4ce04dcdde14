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
        let range = range.to_f64_about();
        let viscosity = self.viscosity.value.to_f64_about();
        let apart = viscosity - self.torque.value.to_f64_about() * range / 100.0;
        let torque_digit = self.torque.last_digit().to_f64_about() * range / 100.0;
        let half = (self.viscosity.last_digit().to_f64_about() + torque_digit) / 2.0;
        let allowed = self.agreement_percent.to_f64_about() * range / 100.0 + half;
        apart.abs() + viscosity.abs() * 1e-12 < allowed * 0.999
    }
}
