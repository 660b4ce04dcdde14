use super::{Out, Rule, Run};
use crate::finding::Severity;
use crate::fleet::Fleet;
use crate::fleet::trend::Series;
use crate::fleet::trend_words::{signs, zone};

pub(super) static RULE: Rule = Rule {
    id: "drifting",
    severity: Severity::Warning,
    spares_void: false,
    doc: include_str!("drifting.md"),
    run: &[Run::Fleet(fleet)],
};

fn fleet(fleet: &Fleet<'_>, out: &mut Out<'_>) {
    for member in &fleet.members {
        let (Some(record), Some(trend)) = (member.speaks(), &member.trend) else {
            continue;
        };
        let mut drifting: Vec<&Series<'_>> = trend.drifting().collect();
        // What is predicted to cross a limit before the next check comes first.
        drifting.sort_by_key(|series| {
            let ahead = series
                .drifting
                .as_ref()
                .is_some_and(|it| it.ahead.is_some());
            (!ahead, series.geometry, series.zone)
        });
        let Some(first) = drifting.first() else {
            continue;
        };
        let others: Vec<String> = drifting
            .iter()
            .skip(1)
            .map(|series| format!("{} {}", series.geometry, zone(series)))
            .collect();
        let others = match others.is_empty() {
            true => String::new(),
            false => format!("; also {}", others.join(", ")),
        };
        let mut said = out.say(
            record.at("/id"),
            format!(
                "{} drifts with {} in the {} zone: {}{others}",
                member.id,
                first.geometry,
                zone(first),
                signs(first).join("; ")
            ),
        );
        let newest = first.newest().and_then(|mark| {
            member
                .last
                .into_iter()
                .chain(member.last_pass)
                .find(|seen| seen.id == mark.check)
        });
        if let Some(seen) = newest {
            said = said.because(seen.place(), format!("its newest check, on {}", seen.day));
        }
        said.help(format!(
            "shearbook trend {} shows the series: check it again soon with a second lot and look for the cause (zero, pivot, geometry, spring); adjust or service it before a check fails, and record that as a [[service]] row",
            member.id
        ));
    }
}
