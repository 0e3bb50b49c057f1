//! What was promised when a shipment was made.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use trade::ids::{GradeId, LotId};
use trade::mass::{Mass, MassUnit};
use trade::money::{Currency, Money, Price, PriceUnit};
use trade::net::{Ladder, StepKind};
use trade::outlet::Terms;
use trade::settlement::{Counted, Promise, Sent};

use super::{Shipment, ShipmentLot};

/// What was promised when the shipment was made, kept as it stood: prices move on, the promise does not.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Expected {
    pub lines: Vec<ExpectedLine>,
    pub steps: Vec<ExpectedStep>,
    pub parcels: Vec<ExpectedParcels>,
    pub service: String,
    pub payout: String,
    /// By the sheet and the terms alone; a shipment from before settlements has none.
    #[serde(default)]
    pub promise: Option<Promise>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExpectedLine {
    pub grade: GradeId,
    pub mass: Mass,
    pub pieces: u32,
    pub price: String,
    /// In the outlet's currency, with its code.
    pub amount: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExpectedStep {
    pub label: String,
    pub home: Decimal,
    pub working: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExpectedParcels {
    pub count: u32,
    pub box_name: String,
    pub contents: Mass,
    pub gross: Mass,
}

impl From<&Ladder> for Expected {
    fn from(ladder: &Ladder) -> Expected {
        let packing = ladder.packing.as_ref();
        Expected {
            lines: ladder
                .lines
                .iter()
                .map(|line| ExpectedLine {
                    grade: line.grade.clone(),
                    mass: line.mass,
                    pieces: line.pieces,
                    price: line.quote.price.to_string(),
                    amount: Money::new(line.amount, ladder.payout.currency).to_string(),
                })
                .collect(),
            steps: ladder
                .steps
                .iter()
                .map(|step| ExpectedStep {
                    label: step.kind.label().to_string(),
                    home: step.home,
                    working: step.working.clone(),
                })
                .collect(),
            parcels: packing.map_or_else(Vec::new, |packing| {
                packing
                    .parcels
                    .iter()
                    .map(|parcels| ExpectedParcels {
                        count: parcels.count,
                        box_name: parcels.box_name.clone(),
                        contents: parcels.contents,
                        gross: parcels.gross,
                    })
                    .collect()
            }),
            service: packing.map_or_else(String::new, |packing| packing.service.clone()),
            payout: ladder.payout.to_string(),
            promise: None,
        }
    }
}

impl Shipment {
    /// What was promised for those of its lots that did not come back. A shipment from before settlements kept its prices
    /// as text, and not the terms: `terms` are the buyer's of today.
    pub fn promise(
        &self,
        lots: &[ShipmentLot],
        terms: &Terms,
        currency: Currency,
        home: Currency,
    ) -> Promise {
        let there = |id: &LotId| lots.iter().any(|lot| lot.lot_id == *id && !lot.is_back);
        if let Some(promise) = &self.expected.promise {
            let mut promise = promise.clone();
            promise.sent.retain(|sent| there(&sent.lot));
            return promise;
        }
        let lines = &self.expected.lines;
        let price = |grade: &GradeId| {
            let line = lines.iter().find(|line| line.grade == *grade)?;
            read_price(&line.price, currency)
        };
        let sent = lots.iter().filter(|lot| there(&lot.lot_id)).filter_map(|lot| {
            Some(Sent {
                lot: lot.lot_id.clone(),
                grade: lot.grade_id.clone(),
                mass: lot.net,
                pieces: lot.pieces,
                price: price(&lot.grade_id)?,
            })
        });
        let at_sheet = |step: &&ExpectedStep| step.label == StepKind::SheetPrice.label();
        let in_home = self.expected.steps.iter().find(at_sheet).map(|step| step.home);
        let amounts: Decimal = lines
            .iter()
            .filter_map(|line| Some(read_price(&line.price, currency)?.of(line.mass, line.pieces).amount))
            .sum();
        let mid = in_home.filter(|_| !amounts.is_zero() && currency != home).map(|home| home / amounts);
        let spread = if currency == home { Decimal::ONE } else { terms.exchange_spread.rest() };
        Promise {
            currency,
            sent: sent.collect(),
            weight_deduction: terms.weight_deduction,
            percent_fee: terms.percent_fee,
            flat_fee: terms.flat_fee,
            days_to_pay: terms.days_to_pay,
            counted: Counted {
                home,
                rate: mid.unwrap_or(Decimal::ONE).round_dp(8) * spread,
                payout_fee: terms.payout_fee,
            },
        }
    }
}

/// Reads `1,234.50 CAD/lb` or `8.00 CAD each`, as a price is shown.
fn read_price(shown: &str, currency: Currency) -> Option<Price> {
    let (amount, rest) = shown.split_once(' ')?;
    let unit = rest.strip_prefix(currency.code())?.trim_start_matches(['/', ' ']);
    let amount = amount.replace('−', "-").replace(',', "").parse().ok()?;
    let per = std::iter::once(PriceUnit::Each)
        .chain(MassUnit::ALL.into_iter().map(PriceUnit::Mass))
        .find(|per| per.label() == unit)?;
    Some(Price::new(amount, currency, per))
}
