//! What plans, the bench and reports say about safety, in one place. Common practice; local rules come first.

/// Before the first question of a check.
pub const AT_THE_BENCH: &str = "Safety: read the fluid's safety data sheet; spilled silicone and oil make floors slippery; hot baths and fluids burn; keep mains leads clear of water; never pour used fluid back. Site rules and local codes come first.";
