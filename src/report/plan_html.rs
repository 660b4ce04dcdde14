//! Plans as pages to print: no script, nothing from outside, readable in black and white.

use super::cautions::cautions;
use super::plan_sheet::{self, Benched};
use super::plan_text::{
    BEST_FIRST, HEADS, IN_FULL, Planned, beaker, fitted, nothing, noun, reference, row, speeds,
};
use super::printable;
use crate::fleet::plan::sheet::{Beaker, Line};
use crate::fleet::plan::{Choice, figure};
use crate::record::policy::ZoneName;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// Black on white with ruled tables; a beaker or a choice is not torn over two sheets of paper.
const STYLE: &str = "
:root { color-scheme: light; }
body { font: 16px/1.4 sans-serif; color: #000; background: #fff; max-width: 60rem; margin: 1rem auto; padding: 0 1rem; }
h1 { font-size: 1.4rem; }
h2 { font-size: 1.1rem; margin: 1.5rem 0 0.3rem; border-top: 2px solid #000; padding-top: 0.5rem; }
h3 { font-size: 1rem; margin: 0.8rem 0 0.2rem; }
p, ul { margin: 0.3rem 0; }
table { border-collapse: collapse; width: 100%; margin: 0.3rem 0; }
th, td { border: 1px solid #000; padding: 0.2rem 0.4rem; text-align: left; }
th { font-weight: bold; }
td.figure { text-align: right; white-space: nowrap; }
td.box { min-width: 4.5rem; height: 1.8rem; }
.pair { white-space: nowrap; }
.blank { display: inline-block; min-width: 7rem; border-bottom: 1px solid #000; }
.remark { font-weight: bold; }
.wide { overflow-x: auto; }
@media print {
  body { max-width: none; margin: 0; padding: 0 1px; font-size: 10pt; }
  h2, h3 { break-after: avoid; }
  tr, .line { break-inside: avoid; }
  .wide { overflow-x: visible; }
  @page { margin: 12mm; }
}
";

fn page(title: &str, body: Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (printable(title)) }
                style { (PreEscaped(STYLE)) }
            }
            body { main { (body) } }
        }
    };
    page.into_string() + "\n"
}

fn text(text: &str) -> String {
    printable(text)
}

fn remarks(remarks: &[String]) -> Markup {
    html! {
        @for remark in remarks {
            p.remark { "! " (text(remark)) }
        }
    }
}

fn take_care(texts: &[&str]) -> Markup {
    html! {
        h2 { "Take care" }
        ul {
            @for one in texts { li { (one) } }
        }
    }
}

fn points(choice: &Choice<'_>) -> Markup {
    html! {
        div.wide {
            table {
                thead { tr { @for head in HEADS { th scope="col" { (head) } } } }
                tbody {
                    @for point in &choice.points {
                        tr {
                            @for (index, cell) in row(point).iter().enumerate() {
                                @if index == 0 { th scope="row" { (cell) } } @else { td.figure { (text(cell)) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The plan for one instrument.
pub fn instrument(planned: &Planned<'_>) -> String {
    let plan = planned.plan;
    let title = format!("Plan for {} on {}", plan.instrument.id, plan.day);
    let temperatures = plan
        .choices
        .iter()
        .map(|one| &one.value.temperature_c.value);
    let further: Vec<(usize, &Choice<'_>)> =
        plan.choices.iter().enumerate().skip(IN_FULL).collect();
    let heads = [
        "",
        "lot",
        "\u{b0}C",
        "geometry",
        "rpm",
        "off centre",
        "widest band",
    ];
    page(
        &title,
        html! {
            h1 { (text(&title)) }
            p { (text(&planned.standing())) }
            @for reason in &planned.member.reasons { p.remark { "! " (text(reason)) } }
            @if plan.choices.is_empty() {
                p { (text(&nothing(plan))) }
            } @else {
                p { (BEST_FIRST) }
            }
            @for (index, choice) in plan.choices.iter().enumerate().take(IN_FULL) {
                section.line {
                    h2 { (index + 1) ". " (text(&beaker(choice))) }
                    p { (text(&fitted(choice.geometry))) }
                    p { (text(&reference(choice))) }
                    (points(choice))
                    (remarks(&plan.all_remarks(choice)))
                }
            }
            @if !further.is_empty() {
                h2 { "Further choices" }
                div.wide {
                    table {
                        thead { tr { @for head in heads { th scope="col" { (head) } } } }
                        tbody {
                            @for (index, choice) in further {
                                tr {
                                    td.figure { (index + 1) }
                                    td { (text(&choice.fluid.id)) }
                                    td.figure { (choice.value.temperature_c.to_string()) }
                                    td { (text(&choice.geometry.id)) }
                                    td { (speeds(choice)) }
                                    td.figure { (choice.off_centre_percent.to_fixed_string(0)) " %" }
                                    td.figure { (choice.widest_band_percent.to_fixed_string(1)) " %" }
                                }
                            }
                        }
                    }
                }
            }
            @if !plan.left_out.is_empty() {
                h2 { "Left out" }
                ul {
                    @for one in &plan.left_out {
                        li { (noun(one.what)) " " (text(&one.id)) ": " (text(&one.message)) }
                    }
                }
            }
            (take_care(&cautions(temperatures)))
        },
    )
}

/// What is written down at the bench, a row a speed.
fn boxes(line: &Line<'_>) -> Markup {
    html! {
        div.wide {
            table {
                thead {
                    tr {
                        @for head in ["zone", "rpm", "expected torque", "limits in mPa.s"] { th scope="col" { (head) } }
                        @for head in ["torque %", "reading mPa.s", "temperature \u{b0}C", "initials"] { th scope="col" { (head) } }
                    }
                }
                tbody {
                    @for point in &line.choice.points {
                        tr {
                            th scope="row" { (ZoneName::from(point.zone).word()) }
                            td.figure { (point.speed_rpm.to_string()) }
                            td.figure { (point.torque_percent.to_fixed_string(1)) " %" }
                            td.figure { (figure(&point.limits.lower)) " to " (figure(&point.limits.upper)) }
                            td.box {} td.box {} td.box {} td.box {}
                        }
                    }
                }
            }
        }
    }
}

/// Places to write into, each behind its word.
fn blanks(words: &[&str]) -> Markup {
    html! {
        p {
            @for what in words {
                span.pair { (what) " " span.blank {} } " "
            }
        }
    }
}

fn group(number: usize, beaker: &Beaker<'_>) -> Markup {
    html! {
        section {
            h2 { (text(&plan_sheet::beaker(number, beaker))) }
            p { (text(&plan_sheet::value(beaker))) }
            (blanks(&["bath", "thermometer", "in the bath since", "date"]))
            @for line in &beaker.lines {
                div.line {
                    h3 { (text(&plan_sheet::who(line))) }
                    p { (text(&fitted(line.choice.geometry))) }
                    @if let Some(apart) = plan_sheet::apart(beaker, line) { p { (text(&apart)) } }
                    (blanks(&["level", "zero %", "gap or guard", "to the mark, no bubbles", "vessel", "occasion", "first reading at"]))
                    (boxes(line))
                    (remarks(&line.remarks))
                }
            }
        }
    }
}

/// The bench sheet, with empty boxes to write into.
pub fn sheet(benched: &Benched<'_>) -> String {
    let sheet = benched.sheet;
    let title = plan_sheet::title(benched);
    page(
        &title,
        html! {
            h1 { (text(&title)) }
            p { (plan_sheet::summary(sheet)) }
            @for (index, beaker) in sheet.beakers.iter().enumerate() {
                (group(index + 1, beaker))
            }
            @if !sheet.not_planned.is_empty() {
                h2 { "Cannot be planned for" }
                ul {
                    @for one in &sheet.not_planned {
                        li { (text(one.member.id)) ": " (text(&one.message)) }
                    }
                }
            }
            @if !sheet.beakers.is_empty() { (take_care(&plan_sheet::care(sheet))) }
        },
    )
}
