//! What the methods advise for the interval between checks, in words.

use crate::fleet::trend::IntervalAdvice;
use crate::fleet::trend_words::side;
use crate::measure::interval::{Answer, Cap, Change, Proposal, Reason, Share, Trend};
use crate::record::policy::ZoneName;

/// A method with its name and what it says.
pub fn methods<'a>(advice: &'a IntervalAdvice<'_>) -> [(&'static str, &'a Answer); 3] {
    [
        ("staircase", &advice.advice.staircase),
        ("control chart", &advice.advice.control_chart),
        ("reliability", &advice.advice.reliability),
    ]
}

pub fn change(change: Change) -> &'static str {
    match change {
        Change::Shorter => "shorter",
        Change::Unchanged => "unchanged",
        Change::Longer => "longer",
    }
}

/// A number of days, `1 day` or `7 days`.
pub fn days(count: f64) -> String {
    match count.round() as i64 {
        1 => "1 day".to_owned(),
        more => format!("{more} days"),
    }
}

fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

fn share_of_limit(used: f64) -> String {
    format!("{} of the permissible error", percent(used.abs()))
}

/// One answer as a sentence.
pub fn sentence(advice: &IntervalAdvice<'_>, answer: &Answer) -> String {
    match answer {
        Answer::TooFew { results, least } => {
            let are = if *results == 1 {
                "result is"
            } else {
                "results are"
            };
            format!("{results} as-found {are} too few to say anything; it needs {least}")
        }
        Answer::Proposal(proposal) => {
            let cap = match proposal.cap {
                None => String::new(),
                Some(Cap::Factor) => "; no more than twice the present interval".to_owned(),
                Some(Cap::LongestDays) => {
                    format!(
                        "; the policy's longest interval is {} days",
                        advice.longest_days
                    )
                }
                Some(Cap::OneDay) => "; no interval is below a day".to_owned(),
            };
            format!(
                "{}, {}: {}{cap}",
                days(f64::from(proposal.days)),
                change(proposal.change),
                reason(advice, proposal)
            )
        }
    }
}

fn reason(advice: &IntervalAdvice<'_>, proposal: &Proposal) -> String {
    let of = match advice.chart_of {
        Some((geometry, zone)) => {
            format!(" ({geometry}, {} zone)", ZoneName::from(zone).word())
        }
        None => String::new(),
    };
    match &proposal.reason {
        Reason::WithinShare { used, within_share } => format!(
            "the worst of the newest results used {}, within {}",
            share_of_limit(*used),
            percent(*within_share)
        ),
        Reason::FoundEarly { used, after_days } => format!(
            "the newest result used {}, but came only {} after the one before, which says nothing of a whole interval",
            share_of_limit(*used),
            days(*after_days)
        ),
        Reason::NearLimit { used, within_share } => format!(
            "the worst of the newest results used {}, inside but not within {}",
            share_of_limit(*used),
            percent(*within_share)
        ),
        Reason::Outside { .. } => {
            "a result of the newest interval lies outside the permissible error".to_owned()
        }
        Reason::OneTime => {
            "all results are of one time, so nothing is known of how they change".to_owned()
        }
        Reason::TrendMeetsLimit {
            days: ahead,
            side: limit,
            trend,
        } if *ahead <= 0.0 => format!(
            "{}{of}, and with its scatter the {} limit is within reach already: rather adjust the instrument",
            trend_words(trend),
            side(*limit)
        ),
        Reason::TrendMeetsLimit {
            days: ahead,
            side: limit,
            trend,
        } => format!(
            "{}{of}, and with its scatter the {} limit is within reach after {}",
            trend_words(trend),
            side(*limit),
            days(*ahead)
        ),
        Reason::TrendStaysInside { days: ahead, trend } => format!(
            "{}{of}, but stays inside for the {} looked at",
            trend_words(trend),
            days(*ahead)
        ),
        Reason::SteadyUntil { days: ahead, trend } => format!(
            "no trend can be told from {} results{of}; with what is not known of it a limit is within reach after {}",
            trend.results,
            days(*ahead)
        ),
        Reason::SteadyInside { days: ahead, trend } => format!(
            "no trend can be told from {} results{of}, and they stay inside for the {} looked at",
            trend.results,
            days(*ahead)
        ),
        Reason::ScatterReachesLimit {
            side: limit, trend, ..
        } => format!(
            "no trend can be told from {} results{of}, but their scatter reaches the {} limit; a shorter interval would not cure that",
            trend.results,
            side(*limit)
        ),
        Reason::ShareProven(share) => format!(
            "{}: even the lower bound is not below the target of {}",
            share_words(share),
            percent(share.target)
        ),
        Reason::ShareRefuted(share) => format!(
            "{}: even the upper bound is below the target of {}",
            share_words(share),
            percent(share.target)
        ),
        Reason::ShareOpen(share) => format!(
            "{}: that neither proves nor refutes the target of {}",
            share_words(share),
            percent(share.target)
        ),
    }
}

fn trend_words(trend: &Trend) -> String {
    format!(
        "a trend of {:+.1} % of the permissible error a month over {} results",
        trend.slope * 100.0 * 365.25 / 12.0,
        trend.results
    )
}

fn share_words(share: &Share) -> String {
    format!(
        "{} of {} results inside, which shows a share between {:.1} and {:.1} %",
        share.inside,
        share.results,
        share.lower * 100.0,
        share.upper * 100.0
    )
}
