//! The rules, one file each, with its explanation beside it in Markdown, whose examples are its tests.
//!
//! To add one: write the `.md`, write the `.rs`, add a line to the list below; the tests say what is missing.

mod change;
pub mod commit;
mod effect;
pub mod example;
mod facts;
pub mod reviews;
mod run;
mod support;
mod trial;

use crate::book::view::View;
use crate::book::{Book, Fact, Links};
use crate::finding::{Finding, Place, Related, Severity};
use crate::fleet::Fleet;
use crate::parse::FaultKind;
use crate::source::Entry;
pub use change::{
    Change, Earlier, Facts, JudgedChange, Parent, Part, Parted, is_fact, judge_commit,
};
pub use effect::{Affected, Both, effects, effects_on_all};
pub use facts::Rests;
pub use history_rewritten::Moved;
pub use record_altered::{Touched, is_sealed};
use reviews::{Decision, Reviewing, Unreviewed};
pub use run::{
    Outcome, Wanted, Watch, judge_change, judge_entries, judge_fleet, judge_moved, names_of,
    of_faults, rehearse, run, run_and_watch, say_faults,
};
pub use trial::{Differing, Figure, Group, Selection, Trial, faults_of, try_policy};

/// What a rule means and how it is judged.
pub struct Rule {
    pub id: &'static str,
    pub severity: Severity,
    /// Whether it leaves void checks alone, and so may be softened by a deviation where it is an error.
    pub spares_void: bool,
    /// The explanation, as `explain` prints it.
    pub doc: &'static str,
    pub run: &'static [Run],
}

/// What a rule looks at.
pub enum Run {
    /// Says what the reading of a file found.
    Reading(FaultKind),
    /// One record of the facts by itself.
    Fact(fn(&Book, Fact<'_>, &mut Out<'_>)),
    /// One check against what it names.
    Check(fn(&View<'_>, &mut Out<'_>)),
    /// One check against other checks and their reviews.
    Linked(fn(&View<'_>, &Links, &mut Out<'_>)),
    /// One review with what it covers.
    Review(fn(&Reviewing<'_>, &mut Out<'_>)),
    /// One check with all of its reviews.
    Reviewed(fn(&View<'_>, &[Decision<'_>], &mut Out<'_>)),
    /// A record of the facts that waits for a second person's look.
    Unreviewed(fn(&Book, &Unreviewed<'_>, &mut Out<'_>)),
    /// The book as a whole, with every path of its record folders.
    Paths(fn(&Book, &[Entry], &mut Out<'_>)),
    /// Paths alone, whether all of the book or those of a change.
    Entries(fn(&[Entry], &mut Out<'_>)),
    /// The fleet on a day; `status` alone reports it.
    Fleet(fn(&Fleet<'_>, &mut Out<'_>)),
    /// A committed file that a change touches.
    Change(fn(&Touched<'_>, &mut Out<'_>)),
    /// A commit as a whole, or the one in the making.
    Commit(fn(&commit::Commit<'_>, &mut Out<'_>)),
    /// A branch or tag that a push moves.
    Moved(fn(&Moved<'_>, &mut Out<'_>)),
    /// A record's path against the record: the kind, the id by the path and the document.
    Named(fn(&Book, run::NamedRecord<'_>, &mut Out<'_>)),
}

/// Where the findings of one rule go.
pub struct Out<'a> {
    rule: &'static Rule,
    findings: &'a mut Vec<Finding>,
}

impl Out<'_> {
    /// A finding at a place. The sentence gives the figures.
    pub fn say(&mut self, place: Place, message: impl Into<String>) -> Said<'_> {
        self.findings.push(Finding {
            rule: self.rule.id,
            severity: self.rule.severity,
            place,
            message: message.into(),
            help: String::new(),
            commit: None,
            related: Vec::new(),
        });
        let last = self.findings.len() - 1;
        Said(&mut self.findings[last])
    }
}

/// A finding that is being said.
pub struct Said<'a>(&'a mut Finding);

impl Said<'_> {
    /// What to do next.
    pub fn help(self, help: impl Into<String>) -> Self {
        self.0.help = help.into();
        self
    }

    /// As an error, whatever the rule's own severity.
    pub fn as_error(self) -> Self {
        self.0.severity = Severity::Error;
        self
    }

    /// The other place that makes it so.
    pub fn because(self, place: Place, message: impl Into<String>) -> Self {
        self.0.related.push(Related {
            place,
            message: message.into(),
        });
        self
    }
}

macro_rules! rules {
    ($($module:ident),+ $(,)?) => {
        $(mod $module;)+

        /// Every rule, in the order in which the contract lists them.
        pub static RULES: &[&Rule] = &[$(&$module::RULE),+];
    };
}

rules!(
    // Reading a file
    toml_syntax,
    toml_newer_syntax,
    byte_order_mark,
    schema,
    format_unknown,
    id_path,
    id_clash,
    reference_missing,
    stray_file,
    not_a_file,
    not_a_number,
    limits_exceeded,
    // One record by itself
    value_is_nominal,
    value_far_from_nominal,
    value_rises_with_temperature,
    uncertainty_zero,
    dates_reversed,
    // One check against what it names
    policy_none,
    temperature_out_of_window,
    temperature_spread,
    window_too_wide,
    fluid_expired,
    fluid_not_yet_certified,
    fluid_open_too_long,
    bottle_missing,
    fluid_not_usable,
    fluid_uncertainty,
    thermometer_out_of_calibration,
    thermometer_too_coarse,
    instrument_not_in_service,
    calibration_lapsed,
    temperature_coefficient_missing,
    uncertainty_too_large,
    geometry_unfit,
    guard_differs,
    speed_unavailable,
    preparation_unconfirmed,
    zero_out_of_limits,
    soak_too_short,
    torque_too_low,
    torque_over_range,
    zone_missing,
    torque_disagrees,
    operator_not_authorised,
    performed_in_future,
    repeat_of,
    amends_of,
    void_without_reason,
    deviation_not_allowed,
    consent_unconfirmed,
    computed_missing,
    computed_differs,
    nominal_used,
    failed,
    // A review
    review_of_other_content,
    review_not_independent,
    reviewer_not_authorised,
    review_before_check,
    review_late,
    review_missing,
    record_unreviewed,
    // A change
    record_altered,
    fact_altered,
    fact_backdated,
    entered_late,
    commit_dated_back,
    author_not_operator,
    author_not_authorised,
    author_not_reviewer,
    signing_switched_off,
    audit_start_moved,
    history_rewritten,
    // The fleet, at a date
    check_due_soon,
    check_overdue,
    check_needed,
    repeat_needed,
    quarantine_needed,
    nonconformity_missing,
    service_due_soon,
    service_overdue,
    fluid_expires_soon,
    thermometer_due_soon,
    authorisation_ends_soon,
    drifting,
);

/// Whether a rule is one about reading a file.
pub fn is_reading(id: &str) -> bool {
    rule(id).is_some_and(support::is_reading)
}

/// A rule by its id.
pub fn rule(id: &str) -> Option<&'static Rule> {
    RULES.iter().copied().find(|rule| rule.id == id)
}
