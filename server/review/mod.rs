//! The review of a price sheet that has been read: which lines are matched, which a person has to look at, and which
//! are left out, with what was answered so far.
//!
//! Pure: it is worked out afresh from the reading and the answers whenever it is shown, so that a grade retired or a
//! wording learned meanwhile is taken into account.

mod answers;
mod changes;
mod compare;
#[cfg(test)]
mod tests;

use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, BTreeSet, HashMap};

use intake::{Catalogue, Doubt, How, Learned, LeftOut, Proposal, Row, RowPrice, Sheet};
use rust_decimal::Decimal;
use trade::ids::{GradeId, OutletId};
use trade::mass::Mass;
use trade::money::{Currency, Price, PriceUnit};
use trade::quote::{Quote, Quotes};

use crate::store::quotes::NewQuote;
use crate::store::sheets::NewSheet;

pub use answers::{Answers, GradeAnswer, LineAnswer, PriceAnswer};
pub use changes::{Change, Changes};
pub use compare::{Comparison, Flag, Known, Slip, compare};

/// The most prices that one line holds; a wording that comes more often makes another line, so that no line outgrows a
/// page.
const MOST_PRICES: usize = 12;

/// What a review needs to know besides the reading and the answers.
#[derive(Debug)]
pub struct Facts<'a> {
    pub catalogue: &'a Catalogue,
    /// Grades in use, the same that the catalogue is made of.
    pub grades: &'a BTreeSet<GradeId>,
    pub learned: &'a Learned,
    /// What the outlet pays in.
    pub pays_in: Currency,
    /// What its prices are usually per.
    pub usual_unit: PriceUnit,
    pub known: &'a Known,
}

/// A sheet under review.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Review {
    /// In the order of the sheet.
    pub lines: Vec<Line>,
    /// What intake found no price in.
    pub left_out: Vec<LeftOut>,
}

/// One wording of the sheet with its prices: a line with three tiers, or a wording that comes twice, has several.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// The first of its rows in the reading, which answers name it by.
    pub id: usize,
    pub wording: String,
    pub group: Option<String>,
    pub grade: LineGrade,
    /// Somebody looked at its prices and found them right.
    pub right: bool,
    pub prices: Vec<LinePrice>,
}

/// Which grade a line is for, as far as it is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LineGrade {
    /// A partner said so.
    Chosen(GradeId),
    /// Found with enough certainty to propose it.
    Proposed(GradeId, How),
    /// Not known; perhaps with a likely one.
    Asked(Option<GradeId>),
    /// A partner said that it is none of the shop's, now or on an earlier sheet.
    NoneOfOurs {
        before: bool,
    },
    NotThisTime,
}

/// One price of a line.
#[derive(Debug, Clone, PartialEq)]
pub struct LinePrice {
    /// Its row in the reading.
    pub row: usize,
    /// The price, or a range's low and high end; `None` on request.
    pub amounts: Option<(Decimal, Option<Decimal>)>,
    pub unit: PriceUnit,
    pub currency: Currency,
    /// The least mass that it holds from.
    pub from: Mass,
    pub source: String,
    pub place: String,
    pub note: Option<String>,
    /// What has to be looked at before it counts.
    pub questions: Vec<Question>,
    /// What is worth knowing, without a question.
    pub remarks: Vec<Remark>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Question {
    Doubt(Doubt),
    Flag(Flag),
    /// The outlet pays in another currency, in which alone its prices are counted.
    PaysIn(Currency),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Remark {
    /// A doubt that the comparison with other prices has settled, or that asks nothing.
    Doubt(Doubt),
    /// Another line of the sheet has a price for the same grade from the same mass; the lower one counts.
    Twice,
}

impl std::fmt::Display for Question {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Question::Doubt(doubt) => doubt.fmt(f),
            Question::Flag(flag) => flag.fmt(f),
            Question::PaysIn(currency) => write!(
                f,
                "They pay in {}: a price in another currency is kept, but nothing is worked out from it.",
                currency.code()
            ),
        }
    }
}

impl std::fmt::Display for Remark {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Remark::Doubt(doubt) => doubt.fmt(f),
            Remark::Twice => {
                f.write_str("Another line names the same grade: of the two prices the lower counts.")
            }
        }
    }
}

/// Where a line stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    Matched,
    ToConfirm,
    LeftOut,
}

impl LinePrice {
    /// The price that counts: the low end.
    pub fn price(&self) -> Option<Price> {
        self.amounts.map(|(low, _)| Price::new(low, self.currency, self.unit))
    }

    /// It as an answer that puts nothing right yet.
    pub fn answer(&self) -> PriceAnswer {
        PriceAnswer { amounts: self.amounts, unit: self.unit, currency: self.currency }
    }

    pub fn high(&self) -> Option<Price> {
        let (_, high) = self.amounts?;
        high.map(|high| Price::new(high, self.currency, self.unit))
    }
}

impl Line {
    pub fn grade(&self) -> Option<&GradeId> {
        match &self.grade {
            LineGrade::Chosen(grade) | LineGrade::Proposed(grade, _) => Some(grade),
            _ => None,
        }
    }

    pub fn standing(&self) -> Standing {
        match self.grade {
            LineGrade::NoneOfOurs { .. } | LineGrade::NotThisTime => Standing::LeftOut,
            LineGrade::Asked(_) => Standing::ToConfirm,
            LineGrade::Chosen(_) | LineGrade::Proposed(..) if self.asks_about_prices() => Standing::ToConfirm,
            LineGrade::Chosen(_) | LineGrade::Proposed(..) => Standing::Matched,
        }
    }

    /// Whether a price of it still has to be looked at.
    pub fn asks_about_prices(&self) -> bool {
        !self.right && self.prices.iter().any(|price| !price.questions.is_empty())
    }
}

impl Review {
    pub fn new(sheet: &Sheet, answers: &Answers, facts: &Facts<'_>) -> Review {
        let mut lines: Vec<Line> = Vec::new();
        let mut line_of: HashMap<(&str, Option<&str>), usize> = HashMap::new();
        for (at, row) in sheet.rows.iter().enumerate() {
            let named = (row.wording.as_str(), row.group.as_deref());
            let line = match line_of.get(&named) {
                Some(&line) if lines[line].prices.len() < MOST_PRICES => line,
                _ => {
                    lines.push(new_line(at, row, answers, facts));
                    line_of.insert(named, lines.len() - 1);
                    lines.len() - 1
                }
            };
            let grade = lines[line].grade().cloned();
            lines[line].prices.push(line_price(at, row, grade.as_ref(), answers, facts));
        }
        mark_twice(&mut lines);
        Review { lines, left_out: sheet.left_out.clone() }
    }

    pub fn in_standing(&self, standing: Standing) -> impl Iterator<Item = &Line> {
        self.lines.iter().filter(move |line| line.standing() == standing)
    }

    pub fn count(&self, standing: Standing) -> usize {
        self.in_standing(standing).count()
    }

    /// The sheet as it is stored, every line of it: those left out without a grade.
    pub fn new_sheet(&self, id: &str, outlet_id: &OutletId, sha256: &str, answers: &Answers) -> NewSheet {
        let mut quotes: Vec<(usize, NewQuote)> = Vec::new();
        for line in &self.lines {
            quotes.extend(line.prices.iter().map(|price| {
                let quote = NewQuote {
                    wording: line.wording.clone(),
                    grade_id: line.grade().cloned(),
                    price: price.amounts,
                    currency: price.currency,
                    unit: price.unit,
                    from: price.from,
                    source: price.source.clone(),
                    place: price.place.clone(),
                };
                (price.row, quote)
            }));
        }
        quotes.sort_by_key(|(row, _)| *row);
        NewSheet {
            id: id.to_string(),
            outlet_id: outlet_id.clone(),
            valid_from: answers.valid_from,
            sha256: sha256.to_string(),
            quotes: quotes.into_iter().map(|(_, quote)| quote).collect(),
        }
    }

    /// What the outlet would pay with this sheet saved as it stands. Of a line whose prices are still to be looked at,
    /// what it paid before.
    pub fn quotes(&self, pays_in: Currency, before: &BTreeMap<GradeId, Quotes>) -> BTreeMap<GradeId, Quotes> {
        let mut of_grade: BTreeMap<GradeId, Vec<Quote>> = BTreeMap::new();
        let mut quotes: BTreeMap<GradeId, Quotes> = BTreeMap::new();
        for line in &self.lines {
            let Some(grade) = line.grade() else { continue };
            if line.standing() == Standing::ToConfirm {
                quotes.extend(before.get(grade).map(|before| (grade.clone(), before.clone())));
                continue;
            }
            let priced = line.prices.iter().filter(|price| price.currency == pays_in);
            let priced = priced.filter_map(|price| {
                Some(Quote { price: price.price()?, high: price.high(), from: price.from })
            });
            of_grade.entry(grade.clone()).or_default().extend(priced);
        }
        quotes.extend(of_grade.into_iter().filter_map(|(grade, all)| Some((grade, Quotes::new(all)?))));
        quotes
    }

    /// What confirming teaches of the outlet's wordings, each in its normal form. What was learned before is not in it.
    pub fn learned(&self) -> Vec<(String, Option<GradeId>)> {
        let meaning = |line: &Line| match &line.grade {
            LineGrade::Chosen(grade) => Some(Some(grade.clone())),
            LineGrade::Proposed(grade, how) if *how != How::Learned => Some(Some(grade.clone())),
            LineGrade::NoneOfOurs { before: false } => Some(None),
            _ => None,
        };
        let key = |line: &Line| Learned::key(&line.wording, line.group.as_deref());
        // Two spellings of one wording have one key; the later line decides.
        let learned: BTreeMap<String, Option<GradeId>> =
            self.lines.iter().filter_map(|line| Some((key(line), meaning(line)?))).collect();
        learned.into_iter().filter(|(wording, _)| !wording.is_empty()).collect()
    }
}

fn new_line(at: usize, row: &Row, answers: &Answers, facts: &Facts<'_>) -> Line {
    let answer = answers.lines.get(&at);
    let proposal = facts.catalogue.propose(facts.learned, &row.wording, row.group.as_deref());
    Line {
        id: at,
        wording: row.wording.clone(),
        group: row.group.clone(),
        grade: line_grade(answer.and_then(|answer| answer.grade.as_ref()), proposal, answers, facts),
        right: answer.is_some_and(|answer| answer.right),
        // Most lines have one.
        prices: Vec::with_capacity(1),
    }
}

fn line_grade(
    answer: Option<&GradeAnswer>,
    proposal: Proposal,
    answers: &Answers,
    facts: &Facts<'_>,
) -> LineGrade {
    match answer {
        Some(GradeAnswer::Is(grade)) if facts.grades.contains(grade) => {
            return LineGrade::Chosen(grade.clone());
        }
        Some(GradeAnswer::NoneOfOurs) => return LineGrade::NoneOfOurs { before: false },
        Some(GradeAnswer::NotThisTime) => return LineGrade::NotThisTime,
        // A grade that was retired after it was chosen is asked for anew.
        Some(GradeAnswer::Is(_)) | None => {}
    }
    let sure = proposal.is_sure();
    match proposal {
        Proposal { why: How::LearnedIgnored, .. } => LineGrade::NoneOfOurs { before: true },
        Proposal { grade: Some(grade), why, .. } if sure => LineGrade::Proposed(grade, why),
        _ if answers.rest_left_out => LineGrade::NotThisTime,
        Proposal { grade, .. } => LineGrade::Asked(grade),
    }
}

fn line_price(
    at: usize,
    row: &Row,
    grade: Option<&GradeId>,
    answers: &Answers,
    facts: &Facts<'_>,
) -> LinePrice {
    let mut price = LinePrice {
        row: at,
        amounts: match row.price {
            RowPrice::Priced { low, high } => Some((low, high)),
            RowPrice::OnRequest => None,
        },
        unit: row.unit.unwrap_or(facts.usual_unit),
        currency: row.currency.unwrap_or(facts.pays_in),
        from: row.tier_from.unwrap_or(Mass::ZERO),
        source: row.source.clone(),
        place: row.place.to_string(),
        note: row.note.clone(),
        questions: Vec::new(),
        remarks: Vec::new(),
    };
    let names_no_unit = row.doubts.iter().any(|d| matches!(d, Doubt::UnitAssumed | Doubt::UnitMissing));
    if let Some(unit) = answers.unit.filter(|_| names_no_unit) {
        price.unit = unit;
    }
    let put_right = answers.prices.get(&at);
    if let Some(answer) = put_right {
        (price.amounts, price.unit, price.currency) = (answer.amounts, answer.unit, answer.currency);
    }
    let compared = match (grade, price.price()) {
        (Some(grade), Some(amount)) => compare(facts.known, grade, amount, price.from),
        _ => Comparison::default(),
    };
    for doubt in row.doubts.iter().copied().filter(|_| put_right.is_none()) {
        match doubt {
            Doubt::UnitAssumed | Doubt::UnitMissing if answers.unit.is_some() => {}
            // What has no price counts for nothing, so nobody has to answer for it.
            Doubt::Blank => price.remarks.push(Remark::Doubt(doubt)),
            doubt if doubt.asks() && !(compared.agrees && is_settled_by_agreement(doubt)) => {
                price.questions.push(Question::Doubt(doubt));
            }
            doubt => price.remarks.push(Remark::Doubt(doubt)),
        }
    }
    price.questions.extend(compared.flags.into_iter().map(Question::Flag));
    if price.amounts.is_some() && grade.is_some() && price.currency != facts.pays_in {
        price.questions.push(Question::PaysIn(facts.pays_in));
    }
    price
}

/// Whether a price that lies where it lay before can be taken to have been read right. A sign or a currency cannot:
/// US and Canadian dollars lie too close.
fn is_settled_by_agreement(doubt: Doubt) -> bool {
    matches!(
        doubt,
        Doubt::UnitMissing
            | Doubt::TonUnclear
            | Doubt::MarksUnclear
            | Doubt::CentsUnclear
            | Doubt::SeveralPrices
            | Doubt::BareNumber
            | Doubt::Large
            | Doubt::Small
    )
}

/// Marks prices of two lines for one grade from one mass.
fn mark_twice(lines: &mut [Line]) {
    let mut first: HashMap<(&GradeId, Mass), (usize, usize)> = HashMap::new();
    let mut twice: Vec<(usize, usize)> = Vec::new();
    for (l, line) in lines.iter().enumerate() {
        let Some(grade) = line.grade() else { continue };
        for (p, price) in line.prices.iter().enumerate().filter(|(_, price)| price.amounts.is_some()) {
            match first.entry((grade, price.from)) {
                Entry::Occupied(there) => twice.extend([*there.get(), (l, p)]),
                Entry::Vacant(free) => {
                    free.insert((l, p));
                }
            }
        }
    }
    twice.sort_unstable();
    twice.dedup();
    for (line, price) in twice {
        lines[line].prices[price].remarks.push(Remark::Twice);
    }
}
