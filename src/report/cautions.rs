//! What plans and the bench say of safety and of what a check is worth: one place for all formats.

use crate::measure::Exact;

/// From this temperature on a fluid and its bath burn, in degrees C.
const HOT_C: i64 = 40;

/// Before the first question of a check; the rest is on the plan.
pub const AT_THE_BENCH: &str = "Safety: read the fluid's safety data sheet; spilled silicone and oil make floors slippery; hot baths and fluids burn; keep mains leads clear of water; never pour used fluid back. Site rules and local codes come first.";

/// The cautions of a plan with these certified temperatures.
pub fn cautions<'a>(temperatures_c: impl IntoIterator<Item = &'a Exact>) -> Vec<&'static str> {
    let hot = temperatures_c
        .into_iter()
        .any(|temperature| *temperature >= Exact::integer(HOT_C));
    let mut cautions = vec![
        super::check_text::CAUTION,
        "Read the fluid's safety data sheet first. Spilled silicone and oil make floors slippery: wipe them up at once.",
        "Keep mains leads clear of water baths, and let each hang in a drip loop.",
        "Never pour used fluid back into its bottle.",
    ];
    if hot {
        cautions.push(
            "Baths and fluids at 40 degrees C and more burn: wear what the site asks for, and let them cool before they are moved.",
        );
    }
    cautions.push(
        "The rules of the site, local codes, and the laboratory's own licensed or authorised people come first.",
    );
    cautions
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_hot_plans_speak_of_burns() {
        let burns = |temperatures: &[i64]| {
            let temperatures: Vec<Exact> =
                temperatures.iter().map(|c| Exact::integer(*c)).collect();
            cautions(&temperatures)
                .iter()
                .any(|text| text.contains("burn"))
        };
        assert!(!burns(&[]));
        assert!(!burns(&[20, 39]));
        assert!(burns(&[20, 40]));
    }
}
