//! Differences and doubts in words.

use rust_decimal::Decimal;
use trade::ids::{GradeId, LotId};
use trade::money::{Currency, Price};
use trade::settlement::{Comparison, Difference, Doubt, Paper, Why};

use crate::web::page::{Visitor, counted, day, money, unbroken};

/// How ids are called on the page.
pub struct Names<'a> {
    pub grade: &'a dyn Fn(&GradeId) -> String,
    pub lot: &'a dyn Fn(&LotId) -> String,
    pub visitor: &'a Visitor,
}

/// A difference as a row of a page.
#[derive(Debug, Clone)]
pub struct Row {
    pub label: &'static str,
    pub words: String,
    /// In the paper's currency; empty for what arises in home currency.
    pub amount: String,
    pub home: String,
    pub is_beyond: bool,
    pub is_less: bool,
}

impl Names<'_> {
    pub fn rows(&self, comparison: &Comparison, paper: &Paper, home: Currency) -> Vec<Row> {
        comparison.differences.iter().map(|difference| self.row(difference, paper, home)).collect()
    }

    pub fn row(&self, difference: &Difference, paper: &Paper, home: Currency) -> Row {
        let in_home = paper.currency == home || difference.amount.is_zero() && !difference.home.is_zero();
        let shown = if difference.amount.is_zero() { difference.home } else { difference.amount };
        let amount = if difference.amount.is_zero() && in_home {
            money(difference.home, home)
        } else {
            money(difference.amount, paper.currency)
        };
        Row {
            label: difference.why.kind().label(),
            words: self.why(&difference.why, paper),
            amount,
            home: if in_home { String::new() } else { money(difference.home, home) },
            is_beyond: difference.is_beyond,
            is_less: shown < Decimal::ZERO,
        }
    }

    /// The figures behind a difference.
    pub fn why(&self, why: &Why, paper: &Paper) -> String {
        let mass = |mass: trade::mass::Mass| self.visitor.mass(mass);
        let cash = |amount: Decimal| money(amount, paper.currency);
        let wording = |line: usize| {
            let wording = paper.lines.get(line).map_or("", |line| line.wording.as_str());
            if wording.is_empty() { format!("line {}", line + 1) } else { format!("“{wording}”") }
        };
        match why {
            Why::Unpaid { grade, lots, mass: unpaid } => {
                let lots: Vec<String> = lots.iter().map(self.lot).collect();
                format!("{}: {}, {}", (self.grade)(grade), lots.join(", "), mass(*unpaid))
            }
            Why::Weight { grade, counted, found } => {
                format!("{}: {} found, {} sent", (self.grade)(grade), mass(*found), mass(*counted))
            }
            Why::Pieces { grade, counted: sent, found } => {
                let found = counted(found, "piece", "pieces");
                format!("{}: {found} found, {sent} sent", (self.grade)(grade))
            }
            Why::Downgrade { grade, to, promised, paid, .. } => {
                let prices = prices(*promised, *paid);
                format!("{}: taken as {}{prices}", (self.grade)(grade), (self.grade)(to))
            }
            Why::Price { grade, promised, paid, .. } => {
                format!("{}{}", (self.grade)(grade), prices(*promised, *paid))
            }
            Why::Untold { grade } => (self.grade)(grade),
            Why::Stray { line } => wording(*line),
            Why::Line { line } => format!("{}: its amount is not its weight at its price", wording(*line)),
            Why::Sum => "The lines and charges do not come to what is paid".to_string(),
            Why::Fees { promised, taken } => {
                format!("{} taken, {} by their terms", cash(*taken), cash(*promised))
            }
            Why::Deductions { taken } => format!("{} taken off", cash(*taken)),
            Why::Exchange { counted } => {
                format!("we counted on {}", unbroken(&counted.round_dp(6).normalize().to_string()))
            }
            Why::BankFee { counted, taken } => {
                let home = self.visitor.home();
                format!("{} kept, {} counted on", money(*taken, home), money(*counted, home))
            }
        }
    }

    pub fn doubt(&self, doubt: &Doubt) -> String {
        match doubt {
            Doubt::Heavier { grade, sent, found } => format!(
                "{}: they weighed {}, and only {} was sent. A slip, or somebody else's?",
                (self.grade)(grade),
                self.visitor.mass(*found),
                self.visitor.mass(*sent)
            ),
            Doubt::NothingMatches => {
                "No line pays for any lot of this delivery. Is it the paper of another one?".to_string()
            }
            Doubt::OtherCurrency { promised, paper } => {
                format!("The paper is in {}, and their prices are in {}.", paper.code(), promised.code())
            }
            Doubt::DatedBeforeSending { dated, sent } => {
                format!("The paper is dated {}, before the delivery left on {}.", day(*dated), day(*sent))
            }
            Doubt::PaidBeforeSending { paid, sent } => {
                format!("It was paid on {}, before the delivery left on {}.", day(*paid), day(*sent))
            }
            Doubt::DatedAhead(dated) => {
                format!("The paper is dated {}, which is still to come.", day(*dated))
            }
            Doubt::Charges => "They charge more than they pay: the shop owes them.".to_string(),
            Doubt::RateMissing => {
                "Nobody has said what reached the account in home currency, or at which rate. \
                                   It can be saved without, and corrected when the bank has said."
                    .to_string()
            }
        }
    }
}

fn prices(promised: Price, paid: Option<Price>) -> String {
    let promised = unbroken(&promised.to_string());
    match paid {
        Some(paid) => format!(", {} paid, {promised} promised", unbroken(&paid.to_string())),
        None => format!(", {promised} promised"),
    }
}
