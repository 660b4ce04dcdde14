//! The torque zones of a check.

use super::exact::Exact;

/// Where on the torque scale a point lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Zone {
    Low,
    Middle,
    High,
}

/// The bounds that a policy sets, in % of full-scale torque. Common practice of the trade: 10, 30 and 70.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ZoneBounds {
    pub minimum_percent: Exact,
    pub low_below_percent: Exact,
    pub high_above_percent: Exact,
}

/// The zone of a point by the unrounded torque, in %, that its reference should show; `None` under the minimum and over
/// 100 %. The middle holds both its bounds.
pub fn zone(torque_percent: &Exact, bounds: &ZoneBounds) -> Option<Zone> {
    if *torque_percent < bounds.minimum_percent || *torque_percent > Exact::integer(100) {
        None
    } else if *torque_percent < bounds.low_below_percent {
        Some(Zone::Low)
    } else if *torque_percent <= bounds.high_above_percent {
        Some(Zone::Middle)
    } else {
        Some(Zone::High)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zones_of_the_trade() {
        // Common practice of the trade: below 10 refused, 10 to 30 low, 30 to 70 middle, above 70 high.
        let x = |text: &str| Exact::parse(text).unwrap();
        let bounds = ZoneBounds {
            minimum_percent: x("10.0"),
            low_below_percent: x("30.0"),
            high_above_percent: x("70.0"),
        };
        for (torque, expected) in [
            ("-20", None),
            ("0", None),
            ("9.9999999999", None),
            ("10", Some(Zone::Low)),
            ("21.5", Some(Zone::Low)),
            ("29.9999999999", Some(Zone::Low)),
            ("30.0", Some(Zone::Middle)),
            ("50", Some(Zone::Middle)),
            ("70.0", Some(Zone::Middle)),
            ("70.0000000001", Some(Zone::High)),
            ("100", Some(Zone::High)),
            ("100.0000000001", None),
            ("1e300", None),
        ] {
            assert_eq!(zone(&x(torque), &bounds), expected, "{torque}");
        }
    }
}
