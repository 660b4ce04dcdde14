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
        hundredth(&(&self.torque.value * range))
    }

    /// How far the two may lie apart on a range, in mPa.s: the policy's share of it, and half of the last digit of both.
    pub fn allowed(&self, range: &Exact) -> Exact {
        let torque_digit = hundredth(&(self.torque.last_digit() * range));
        let digits = self.viscosity.last_digit() + torque_digit;
        let half = digits
            .divide(&Exact::integer(2))
            .unwrap_or_else(Exact::zero);
        hundredth(&(self.agreement_percent * range)) + half
    }

    pub fn agree(&self, range: &Exact) -> bool {
        (&self.viscosity.value - self.by_torque(range)).abs() <= self.allowed(range)
    }
}

fn hundredth(value: &Exact) -> Exact {
    value
        .divide(&Exact::integer(100))
        .unwrap_or_else(Exact::zero)
}
