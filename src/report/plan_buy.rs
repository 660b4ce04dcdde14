//! What to buy, for people.

use super::plan_text::fitted;
use super::table::{plural, table};
use super::{printable, wrapped};
use crate::fleet::plan::purchase::{Bought, Purchase, Service, offered};
use crate::measure::Exact;

/// The answer for a file of candidates.
pub struct Shopping<'a> {
    /// As the user named it.
    pub book: &'a str,
    pub day: jiff::civil::Date,
    /// The file, as the user named it.
    pub file: &'a str,
    /// How many it holds.
    pub candidates: usize,
    pub purchase: &'a Purchase<'a>,
}

fn listed(
    service: &Service<'_>,
    figure: impl Fn(&crate::fleet::plan::PlannedPoint) -> String,
) -> String {
    let points: Vec<String> = service.points.iter().map(figure).collect();
    points.join(", ")
}

fn summary(shopping: &Shopping<'_>) -> String {
    let purchase = shopping.purchase;
    let mut served: Vec<&str> = purchase
        .buy
        .iter()
        .flat_map(|bought| bought.serves.iter().map(|one| one.instrument.id.as_str()))
        .collect();
    served.sort_unstable();
    served.dedup();
    let of = plural(shopping.candidates, "candidate");
    if purchase.buy.is_empty() {
        return match purchase.not_covered.is_empty() {
            true => format!("Nothing needs to be bought, of {of}."),
            false => format!("None of {of} serves an instrument that needs one."),
        };
    }
    let fewest = match (purchase.buy.len(), purchase.exact) {
        (1, _) => "",
        (_, true) => "; fewer would not do",
        (_, false) => "; there were too many to look through them all, so fewer might do",
    };
    let serve = if purchase.buy.len() == 1 {
        "serves"
    } else {
        "serve"
    };
    format!(
        "{} of {of} {serve} {}{fewest}.",
        purchase.buy.len(),
        plural(served.len(), "instrument")
    )
}

fn title(shopping: &Shopping<'_>) -> String {
    format!("What to buy out of {}, on {}", shopping.file, shopping.day)
}

fn heading(bought: &Bought<'_>) -> String {
    let offered = offered(bought.candidate).replace("degrees C", "\u{b0}C");
    let note = bought.candidate.note.as_deref();
    let note = note.map(|note| format!(" ({note})")).unwrap_or_default();
    format!("{}: {offered}{note}", bought.candidate.id)
}

fn torque(point: &crate::fleet::plan::PlannedPoint) -> String {
    point.torque_percent.to_fixed_string(0)
}

const STOCK: &str = "What is in stock serves already";

/// Whether anything offered is to be used hot, or without a known uncertainty.
fn remarks(shopping: &Shopping<'_>) -> Vec<String> {
    let mut remarks = Vec::new();
    let unknown: Vec<&str> = shopping
        .purchase
        .buy
        .iter()
        .map(|bought| bought.candidate)
        .filter(|candidate| candidate.expanded_uncertainty_percent.is_none())
        .map(|candidate| candidate.id.as_str())
        .collect();
    if !unknown.is_empty() {
        remarks.push(format!(
            "ask for the expanded uncertainty of {}: a policy refuses lots that are not known well enough",
            unknown.join(", ")
        ));
    }
    let hot = shopping.purchase.buy.iter().any(|bought| {
        let temperature = bought.candidate.temperature_c.as_ref();
        temperature.is_some_and(|temperature| temperature.value >= Exact::integer(40))
    });
    if hot {
        remarks.push(
            "a lot certified at 40 \u{b0}C and more needs a hot bath, which burns".to_owned(),
        );
    }
    if !shopping.purchase.buy.is_empty() {
        remarks.push(
            "a certificate names the value that counts; a lot that comes with another one than was offered is planned anew with shearbook plan".to_owned(),
        );
    }
    remarks
}

/// As a page; every line fits the width.
pub fn render(shopping: &Shopping<'_>, width: usize) -> String {
    let purchase = shopping.purchase;
    let mut text = wrapped(&printable(&title(shopping)), width, "", "  ");
    text += &wrapped(&summary(shopping), width, "", "  ");
    for bought in &purchase.buy {
        text += "\n";
        text += &wrapped(&printable(&heading(bought)), width, "", "  ");
        let rows: Vec<Vec<String>> = bought
            .serves
            .iter()
            .map(|service| {
                vec![
                    service.instrument.id.clone(),
                    service.geometry.id.clone(),
                    listed(service, |point| point.speed_rpm.to_string()),
                    listed(service, torque),
                ]
            })
            .collect();
        let heads = ["serves", "with", "rpm", "torque in %"];
        let table = table(&heads, &rows, width.saturating_sub(2));
        text += &table
            .lines()
            .map(|line| format!("  {line}\n"))
            .collect::<String>();
    }
    if !purchase.covered_by_stock.is_empty() {
        let left_out = match purchase.beside_stock {
            true => ", so these were left out",
            false => "; --beside-stock leaves these out",
        };
        let line = format!(
            "{STOCK}{left_out}: {}",
            purchase.covered_by_stock.join(", ")
        );
        text += "\n";
        text += &wrapped(&printable(&line), width, "", "  ");
    }
    if !purchase.not_covered.is_empty() {
        text += "\nServed by none\n";
        for one in &purchase.not_covered {
            let line = format!("{}: {}", one.instrument, one.message);
            text += &wrapped(&printable(&line), width, "- ", "  ");
        }
    }
    let remarks = remarks(shopping);
    if !remarks.is_empty() {
        text += "\n";
    }
    for remark in remarks {
        text += &wrapped(&printable(&remark), width, "! ", "  ");
    }
    text
}

/// One fact a line, for screen readers.
pub fn plain(shopping: &Shopping<'_>) -> String {
    let purchase = shopping.purchase;
    let mut text = format!("{}\n{}\n", title(shopping), summary(shopping));
    for bought in &purchase.buy {
        text += &format!("buy {}\n", heading(bought));
        for service in &bought.serves {
            text += &format!(
                "serves {} with {}, at {} rpm, torque {} %\n",
                service.instrument.id,
                fitted(service.geometry),
                listed(service, |point| point.speed_rpm.to_string()),
                listed(service, torque)
            );
        }
    }
    for id in &purchase.covered_by_stock {
        text += &format!("served by stock already: {id}\n");
    }
    for one in &purchase.not_covered {
        text += &format!("served by none: {}: {}\n", one.instrument, one.message);
    }
    for remark in remarks(shopping) {
        text += &format!("remark: {remark}\n");
    }
    text.lines().map(|line| printable(line) + "\n").collect()
}
