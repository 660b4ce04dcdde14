use super::{Out, Rule, Run};
use crate::book::view::View;
use crate::finding::Severity;
use crate::record::Number;
use crate::record::instrument::Speeds;

pub(super) static RULE: Rule = Rule {
    id: "speed-unavailable",
    severity: Severity::Error,
    spares_void: true,
    doc: include_str!("speed_unavailable.md"),
    run: &[Run::Check(check)],
};

fn check(view: &View<'_>, out: &mut Out<'_>) {
    let Some(instrument) = view.instrument else {
        return;
    };
    for (index, point) in view.check.points.iter().enumerate() {
        let speed = &point.speed_rpm;
        let Some((has, key)) = refused(&instrument.speeds, speed) else {
            continue;
        };
        out.say(
            view.at(&format!("/point/{index}/speed_rpm")),
            format!("instrument {} has no speed of {speed} rpm; {has}", instrument.id),
        )
        .because(instrument.at(key), "the speeds that it has, in rpm")
        .help("write the speed that was set; if it is right, complete the speeds in the instrument's file");
    }
}

/// What the instrument has instead, and the key that says so.
fn refused(speeds: &Speeds, speed: &Number) -> Option<(String, &'static str)> {
    match speeds {
        Speeds::Between(slow, fast) if speed.value < slow.value || speed.value > fast.value => {
            Some((format!("it runs from {slow} to {fast}"), "/speed_range_rpm"))
        }
        Speeds::Between(..) => None,
        Speeds::These(these) if these.iter().any(|has| has.value == speed.value) => None,
        Speeds::These(these) => {
            let by_size = |a: &&Number, b: &&Number| a.value.cmp(&b.value);
            let below = these
                .iter()
                .filter(|has| has.value < speed.value)
                .max_by(by_size);
            let above = these
                .iter()
                .filter(|has| has.value > speed.value)
                .min_by(by_size);
            let has = match (below, above) {
                (Some(below), Some(above)) => format!("its nearest are {below} and {above}"),
                (Some(fastest), None) => format!("its fastest is {fastest}"),
                (None, Some(slowest)) => format!("its slowest is {slowest}"),
                (None, None) => "its file lists none".to_owned(),
            };
            Some((has, "/speeds_rpm"))
        }
    }
}
