//! Where the money between a promise and its payment went.

use rust_decimal::Decimal;

use super::{ChargeKind, Paper, Portion, Promise, Sent, Tolerance};
use crate::ids::{GradeId, LotId};
use crate::mass::{Mass, round};
use crate::money::{Price, PriceUnit, places};

/// A paper beside the promise.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Comparison {
    /// Each grade that was sent, with what was paid for it.
    pub groups: Vec<Group>,
    /// Lines that pay for no lot, by their places on the paper.
    pub strays: Vec<usize>,
    /// They add up to `paid − promised`, and in home currency to `arrived − promised`.
    pub differences: Vec<Difference>,
    /// In the paper's currency.
    pub promised: Decimal,
    pub paid: Decimal,
    pub home: Home,
}

/// The same in home currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Home {
    pub promised: Decimal,
    /// `None` while nobody knows what reached the account; then the differences stop before the exchange.
    pub arrived: Option<Decimal>,
}

/// Lots of one grade, and what was paid for them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    pub grade: GradeId,
    pub lots: Vec<LotId>,
    /// Those of them that no line pays for.
    pub unpaid: Vec<LotId>,
    pub price: Price,
    /// What was sent and what of it was to be paid for.
    pub sent: Mass,
    pub counted: Mass,
    pub pieces: u32,
    pub promised: Decimal,
    /// What the paper weighed of the lots that it pays for; `None` where a line of theirs has no weight.
    pub found: Option<Mass>,
    pub found_pieces: Option<u32>,
    pub paid: Decimal,
    /// The lines that pay for it, by their places on the paper.
    pub lines: Vec<usize>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    pub why: Why,
    /// In the paper's currency, negative where the shop got less; zero for what arises in home currency.
    pub amount: Decimal,
    pub home: Decimal,
    /// More than scales, rounding or the bank explain.
    pub is_beyond: bool,
}

/// What a difference comes from, with the figures that make it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Why {
    /// No line pays for these lots.
    Unpaid {
        grade: GradeId,
        lots: Vec<LotId>,
        mass: Mass,
    },
    Weight {
        grade: GradeId,
        counted: Mass,
        found: Mass,
    },
    Pieces {
        grade: GradeId,
        counted: u32,
        found: u32,
    },
    /// Paid as another grade than was sent.
    Downgrade {
        grade: GradeId,
        to: GradeId,
        promised: Price,
        paid: Option<Price>,
        line: usize,
    },
    Price {
        grade: GradeId,
        promised: Price,
        paid: Option<Price>,
        line: usize,
    },
    /// The paper does not say by what it paid, so weight and price cannot be told apart.
    Untold {
        grade: GradeId,
    },
    /// A line for something that is none of the lots.
    Stray {
        line: usize,
    },
    /// A line does not come to its weight at its price.
    Line {
        line: usize,
    },
    /// The lines and charges do not come to what is paid.
    Sum,
    Fees {
        promised: Decimal,
        taken: Decimal,
    },
    Deductions {
        taken: Decimal,
    },
    /// The bank's rate against the one that was counted on.
    Exchange {
        counted: Decimal,
    },
    BankFee {
        counted: Decimal,
        taken: Decimal,
    },
}

/// What a difference is, without its figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    Unpaid,
    Weight,
    Pieces,
    Downgrade,
    Price,
    Untold,
    Stray,
    Sums,
    Fees,
    Deductions,
    Exchange,
    BankFee,
}

impl Kind {
    pub const fn label(self) -> &'static str {
        match self {
            Kind::Unpaid => "Not paid for",
            Kind::Weight => "Their weight",
            Kind::Pieces => "Their count",
            Kind::Downgrade => "Their grade",
            Kind::Price => "Their price",
            Kind::Untold => "Weight or price, the paper does not say",
            Kind::Stray => "For none of our lots",
            Kind::Sums => "Their sums",
            Kind::Fees => "Fees",
            Kind::Deductions => "Deductions",
            Kind::Exchange => "Exchange",
            Kind::BankFee => "The bank's fee",
        }
    }
}

impl Why {
    pub const fn kind(&self) -> Kind {
        match self {
            Why::Unpaid { .. } => Kind::Unpaid,
            Why::Weight { .. } => Kind::Weight,
            Why::Pieces { .. } => Kind::Pieces,
            Why::Downgrade { .. } => Kind::Downgrade,
            Why::Price { .. } => Kind::Price,
            Why::Untold { .. } => Kind::Untold,
            Why::Stray { .. } => Kind::Stray,
            Why::Line { .. } | Why::Sum => Kind::Sums,
            Why::Fees { .. } => Kind::Fees,
            Why::Deductions { .. } => Kind::Deductions,
            Why::Exchange { .. } => Kind::Exchange,
            Why::BankFee { .. } => Kind::BankFee,
        }
    }
}

/// Compares a paper with a promise in the same currency (see [`Promise::converted`]).
pub fn compare(promise: &Promise, paper: &Paper, tolerance: &Tolerance) -> Comparison {
    let portions: Vec<Vec<Portion>> =
        paper.lines.iter().map(|line| promise.portions(line, paper.currency)).collect();
    let promised = promise.payout();
    let mut account = Account { promise, paper, tolerance, at: promised, differences: Vec::new() };

    let groups = promise.grades().into_iter().map(|members| account.group(&members, &portions)).collect();
    let strays: Vec<usize> = (0..portions.len()).filter(|line| portions[*line].is_empty()).collect();
    for line in &strays {
        account.add(Why::Stray { line: *line }, paper.lines[*line].amount, None);
    }
    let taken = |kind| paper.charges.iter().filter(|c| c.kind == kind).map(|c| c.amount).sum::<Decimal>();
    let (fees, deductions) = (taken(ChargeKind::Fee), taken(ChargeKind::Deduction));
    let counted = promise.fees();
    account.add(Why::Fees { promised: counted, taken: fees }, counted - fees, None);
    account.add(Why::Deductions { taken: deductions }, -deductions, None);
    let lines: Decimal = paper.lines.iter().map(|line| line.amount).sum();
    account.add(Why::Sum, paper.paid - (lines - fees - deductions), None);
    account.bank();

    Comparison {
        groups,
        strays,
        differences: account.differences,
        promised,
        paid: paper.paid,
        home: Home { promised: promise.at_home(), arrived: paper.payment.arrived },
    }
}

/// The differences on the way from the promise to the payment.
struct Account<'a> {
    promise: &'a Promise,
    paper: &'a Paper,
    tolerance: &'a Tolerance,
    /// What the payment would be with the differences so far.
    at: Decimal,
    differences: Vec<Difference>,
}

/// A line's part in one group.
struct Piece {
    line: usize,
    mass: Option<Mass>,
    pieces: Option<u32>,
    amount: Decimal,
}

impl Account<'_> {
    /// Adds a difference unless it is none. What is beyond tolerance is `beyond`, or any amount above a minor unit.
    fn add(&mut self, why: Why, amount: Decimal, beyond: Option<bool>) {
        if amount.is_zero() && !beyond.unwrap_or(false) {
            return;
        }
        let next = self.at + amount;
        let home = self.promise.in_home(next) - self.promise.in_home(self.at);
        self.at = next;
        let is_beyond = beyond.unwrap_or_else(|| amount.abs() > self.minor_unit());
        self.differences.push(Difference { why, amount, home, is_beyond });
    }

    fn minor_unit(&self) -> Decimal {
        Decimal::new(1, places(self.paper.currency))
    }

    fn rounded(&self, amount: Decimal) -> Decimal {
        round(amount, places(self.paper.currency))
    }

    /// One grade: from what was promised for all of it, over what no line pays for, what they weighed and what they took
    /// it for, to what the lines come to.
    fn group(&mut self, members: &[usize], portions: &[Vec<Portion>]) -> Group {
        let promise = self.promise;
        let sent: Vec<&Sent> = members.iter().map(|index| &promise.sent[*index]).collect();
        let pieces_of = |lots: &[&Sent]| lots.iter().fold(0_u32, |sum, lot| sum.saturating_add(lot.pieces));
        let (grade, price) = (sent[0].grade.clone(), sent[0].price);
        let pieces = pieces(&sent, portions);
        let is_paid = |lot: &Sent| portions.iter().flatten().any(|portion| portion.lot == lot.lot);
        let (paid_for, unpaid): (Vec<&Sent>, Vec<&Sent>) = sent.iter().partition(|lot| is_paid(lot));

        let promised = promise.rounded(promise.worth(&sent));
        let counted = promise.rounded(promise.worth(&paid_for));
        let lots = |of: &[&Sent]| of.iter().map(|lot| lot.lot.clone()).collect::<Vec<LotId>>();
        if !unpaid.is_empty() {
            let mass = unpaid.iter().map(|lot| lot.mass).sum();
            let why = Why::Unpaid { grade: grade.clone(), lots: lots(&unpaid), mass };
            self.add(why, counted - promised, Some(true));
        }
        let paid: Decimal = pieces.iter().map(|piece| piece.amount).sum();
        let found: Option<Mass> = pieces.iter().map(|piece| piece.mass).sum::<Option<Mass>>();
        let found_pieces = pieces
            .iter()
            .map(|piece| piece.pieces)
            .try_fold(0_u32, |sum, pieces| Some(sum.saturating_add(pieces?)));
        let counted_mass: Mass = paid_for.iter().map(|lot| promise.counted_mass(lot)).sum();
        if !pieces.is_empty() {
            let quantity = match price.per {
                PriceUnit::Mass(_) => found.map(|found| (found, 0)),
                PriceUnit::Each => found_pieces.map(|pieces| (Mass::ZERO, pieces)),
            };
            match quantity {
                None => {
                    self.add(Why::Untold { grade: grade.clone() }, paid - counted, None);
                }
                Some((mass, count)) => {
                    let at_theirs = self.rounded(price.of(mass, count).amount);
                    let (why, beyond) = if price.per == PriceUnit::Each {
                        let counted = pieces_of(&paid_for);
                        let why = Why::Pieces { grade: grade.clone(), counted, found: count };
                        (why, count != counted)
                    } else {
                        let why = Why::Weight { grade: grade.clone(), counted: counted_mass, found: mass };
                        (why, self.is_beyond(&grade, counted_mass, mass, paid_for.len()))
                    };
                    self.add(why, at_theirs - counted, Some(beyond));
                    self.lines(&grade, price, &pieces);
                }
            }
        }
        Group {
            unpaid: lots(&unpaid),
            lots: lots(&sent),
            price,
            sent: sent.iter().map(|lot| lot.mass).sum(),
            counted: sent.iter().map(|lot| promise.counted_mass(lot)).sum(),
            pieces: pieces_of(&sent),
            promised,
            found: found.filter(|_| !pieces.is_empty()),
            found_pieces: found_pieces.filter(|_| !pieces.is_empty()),
            paid,
            lines: pieces.iter().map(|piece| piece.line).collect(),
            grade,
        }
    }

    /// Whether `lots` scales and the outlet's habit leave a difference unexplained. Of one that usually finds less, a full
    /// weight is no surprise.
    fn is_beyond(&self, grade: &GradeId, counted: Mass, found: Mass, lots: usize) -> bool {
        let scales = self.tolerance.resolution.times(Decimal::from(lots));
        let usual = self.tolerance.weight.get();
        let (low, high) = match self.tolerance.usual.get(grade) {
            Some(range) => (range.low.min(Decimal::ONE), range.high.max(Decimal::ONE)),
            None => (Decimal::ONE - usual, Decimal::ONE + usual),
        };
        found < counted.times(low) - scales || found > counted.times(high) + scales
    }

    /// Each line of a grade: what its weight was promised, what it is at the paper's own price, and what the paper has.
    fn lines(&mut self, grade: &GradeId, price: Price, pieces: &[Piece]) {
        let (mut mass, mut count, mut before) = (Mass::ZERO, 0_u32, Decimal::ZERO);
        for piece in pieces {
            let line = &self.paper.lines[piece.line];
            // Rounded as a running sum, so that the lines come to what their weight together does.
            mass += piece.mass.unwrap_or_default();
            count = count.saturating_add(piece.pieces.unwrap_or_default());
            let so_far = self.rounded(price.of(mass, count).amount);
            let at_promised = so_far - before;
            before = so_far;

            // A line of which only a part falls here is at its price in that part.
            let at_paid = line
                .price
                .and_then(|paid| worth(paid, piece.mass, piece.pieces))
                .map_or(piece.amount, |worth| self.rounded(worth));
            let same_price =
                line.price.is_some_and(|paid| paid.amount == price.amount && paid.per == price.per);
            let regraded = line.grade.as_ref().filter(|to| *to != grade);
            let at_paid = if same_price { at_promised } else { at_paid };
            let why = match regraded {
                Some(to) => Why::Downgrade {
                    grade: grade.clone(),
                    to: to.clone(),
                    promised: price,
                    paid: line.price,
                    line: piece.line,
                },
                None => {
                    Why::Price { grade: grade.clone(), promised: price, paid: line.price, line: piece.line }
                }
            };
            self.add(why, at_paid - at_promised, None);
            self.add(Why::Line { line: piece.line }, piece.amount - at_paid, None);
        }
    }

    /// From what was paid to what reached the account.
    fn bank(&mut self) {
        let payment = &self.paper.payment;
        let Some(arrived) = payment.arrived else { return };
        let expected = self.promise.in_home(self.paper.paid);
        let exchange = arrived + payment.bank_fee - expected;
        let home_unit = Decimal::new(1, places(self.promise.counted.home));
        if !exchange.is_zero() {
            self.differences.push(Difference {
                why: Why::Exchange { counted: self.promise.counted.rate },
                amount: Decimal::ZERO,
                home: exchange,
                is_beyond: exchange.abs() > home_unit + expected.abs() * self.tolerance.exchange.get(),
            });
        }
        let counted = self.promise.payout_fee();
        let fee = counted - payment.bank_fee;
        if !fee.is_zero() {
            self.differences.push(Difference {
                why: Why::BankFee { counted, taken: payment.bank_fee },
                amount: Decimal::ZERO,
                home: fee,
                is_beyond: fee.abs() > home_unit,
            });
        }
    }
}

/// What falls to a group of each line that pays for one of its lots.
fn pieces(lots: &[&Sent], portions: &[Vec<Portion>]) -> Vec<Piece> {
    let mut pieces = Vec::new();
    for (line, portions) in portions.iter().enumerate() {
        let mine: Vec<&Portion> =
            portions.iter().filter(|portion| lots.iter().any(|lot| lot.lot == portion.lot)).collect();
        if !mine.is_empty() {
            pieces.push(Piece {
                line,
                mass: mine.iter().map(|portion| portion.mass).sum(),
                pieces: mine
                    .iter()
                    .map(|portion| portion.pieces)
                    .try_fold(0_u32, |sum, pieces| Some(sum.saturating_add(pieces?))),
                amount: mine.iter().map(|portion| portion.amount).sum(),
            });
        }
    }
    pieces
}

/// What so much comes to at a price, where the price can be applied to it.
fn worth(price: Price, mass: Option<Mass>, pieces: Option<u32>) -> Option<Decimal> {
    match price.per {
        PriceUnit::Mass(_) => mass.map(|mass| price.of(mass, 0).amount),
        PriceUnit::Each => pieces.map(|pieces| price.of(Mass::ZERO, pieces).amount),
    }
}
