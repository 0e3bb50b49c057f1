//! A letter to the buyer with the figures that differ, as plain text to copy or print.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use rust_decimal::Decimal;
use trade::settlement::{Comparison, Kind, compare};

use super::subject::{Subject, grade_name, tolerance};
use super::words::Names;
use crate::store::settlements::{Delivery, Settlement};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::page::{Page, Screen, Visitor, html, money};

#[derive(Template)]
#[template(path = "settlements/letter.html")]
struct LetterPage {
    page: Page,
    outlet_name: String,
    letter: String,
    settlement_id: String,
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let settlement = app.store.settlement(&visitor.shop.id, &id).await?;
    let subject = Subject::of(&app, &visitor, &settlement.head.delivery, Some(&settlement)).await?;
    let delivery = &settlement.head.delivery;
    let tolerance = tolerance(&app, &visitor, delivery, &subject.outlet, Some(&id)).await?;
    let comparison = compare(&settlement.promise, &settlement.paper, &tolerance);
    let waybill = match &settlement.head.delivery {
        Delivery::Shipment(shipment) => {
            app.store.waybills(&visitor.shop.id, shipment).await?.into_iter().next()
        }
        Delivery::RunStop(_) => None,
    };
    let boxes = waybill.map(|waybill| {
        let weights: Vec<String> = waybill
            .boxes
            .iter()
            .enumerate()
            .map(|(index, packed)| format!("box {} {}", index + 1, visitor.mass(packed.gross)))
            .collect();
        (weights.join(", "), waybill.tracking)
    });
    let names = Names {
        grade: &|id| grade_name(&subject.grades, id),
        lot: &|id| subject.lot_label(id),
        visitor: &visitor,
    };
    let letter = written(&settlement, &subject, &comparison, boxes, &names);
    let page = visitor.page(Screen::Shipments, format!("Letter to {}", settlement.head.outlet_name));
    html(&LetterPage { page, outlet_name: settlement.head.outlet_name, letter, settlement_id: id })
}

/// The text. What arises at the bank is none of the buyer's business.
fn written(
    settlement: &Settlement,
    subject: &Subject,
    comparison: &Comparison,
    boxes: Option<(String, String)>,
    names: &Names<'_>,
) -> String {
    let paper = &settlement.paper;
    let plain = |words: &str| words.replace('\u{a0}', " ");
    let cash = |amount: Decimal| plain(&money(amount, paper.currency));
    let day = |date| plain(&crate::web::page::day(date));
    let number = match settlement.head.number.as_str() {
        "" => String::new(),
        number => format!(" {number}"),
    };
    let dated = paper.dated.map_or(String::new(), |dated| format!(" of {}", day(dated)));
    let sent = subject.sent_on.map_or(String::new(), |sent| format!(" that left here on {}", day(sent)));
    let mut text = vec![
        format!("To {}", settlement.head.outlet_name),
        format!("About your settlement{number}{dated}, for our delivery{sent}"),
        String::new(),
        "Thank you for the settlement. These figures are not what we sent and what your price sheet and terms come to:"
            .to_string(),
        String::new(),
    ];
    let at_bank = [Kind::Exchange, Kind::BankFee];
    let rows = comparison.differences.iter().filter(|d| !at_bank.contains(&d.why.kind()));
    for difference in rows.filter(|difference| difference.is_beyond) {
        let label = difference.why.kind().label();
        let words = plain(&names.why(&difference.why, paper));
        text.push(format!("- {label}. {words}: {}", cash(difference.amount)));
    }
    text.push(String::new());
    text.push(format!(
        "By the sheet and the terms it comes to {}; paid were {}. The difference is {}.",
        cash(comparison.promised),
        cash(comparison.paid),
        cash(comparison.paid - comparison.promised)
    ));
    if let Some((weights, tracking)) = boxes {
        if !weights.is_empty() {
            text.push(format!("Our weights of the closed boxes: {}.", plain(&weights)));
        }
        if !tracking.is_empty() {
            text.push(format!("The carrier's number is {tracking}."));
        }
    }
    text.push(String::new());
    text.push("Please have another look, and tell us what you find.".to_string());
    text.push(String::new());
    text.push(names.visitor.shop.name.clone());
    text.join("\n")
}
