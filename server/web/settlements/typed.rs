//! A paper as it is typed: the form's fields, and what they come to.

use std::collections::BTreeMap;

use jiff::ToSpan;
use rust_decimal::Decimal;
use trade::ids::{GradeId, LotId};
use trade::mass::{Mass, MassStyle, MassUnit};
use trade::money::{Currency, LARGEST_AMOUNT, Money, Price, PriceUnit, places};
use trade::settlement::{Charge, ChargeKind, Paper, PaperLine, Payment};

use super::subject::Subject;
use crate::store::settlements::Settlement;
use crate::web::form::{Form, decimal};
use crate::web::page::Visitor;

/// More lines than any settlement of one delivery has.
pub const MOST_LINES: usize = 60;
pub const MOST_CHARGES: usize = 20;
/// The most pieces that a line may name.
const MOST_PIECES: u32 = 1_000_000;

/// What a form comes to.
pub struct Typed {
    pub paper: Paper,
    pub number: String,
    pub note: String,
    pub why: String,
    pub rate: Option<Decimal>,
}

/// How many lines and charges a form has.
pub fn count(form: &Form, name: &str, most: usize) -> usize {
    form.value(name).parse::<usize>().unwrap_or(1).clamp(1, most)
}

/// A form about a delivery as it opens: a line for each grade that was sent, without the buyer's figures.
pub fn opened(subject: &Subject, style: MassStyle) -> Form {
    let mut values: Vec<(String, String)> = vec![
        ("currency".into(), subject.promise.currency.code().into()),
        ("mass_unit".into(), unit_of(subject, style).code().into()),
    ];
    let mut grades: BTreeMap<&GradeId, Vec<&LotId>> = BTreeMap::new();
    for lot in &subject.lots {
        grades.entry(&lot.grade).or_default().push(&lot.id);
    }
    for (line, (grade, lots)) in grades.iter().take(MOST_LINES).enumerate() {
        values.push((format!("wording-{line}"), subject.grade_name(grade)));
        values.push((format!("grade-{line}"), grade.to_string()));
        let unit = subject.promise.sent.iter().find(|sent| sent.grade == **grade).map(|sent| sent.price.per);
        values.push((format!("unit-{line}"), unit.map_or("", PriceUnit::code).into()));
        values.extend(lots.iter().map(|lot| (format!("lot-{line}"), lot.to_string())));
    }
    values.push(("lines".into(), grades.len().clamp(1, MOST_LINES).to_string()));
    values.push(("charges".into(), "1".into()));
    Form::filled(values.iter().map(|(name, value)| (name.as_str(), value.clone())))
}

/// The unit that the outlet weighs in, as far as its prices tell.
fn unit_of(subject: &Subject, style: MassStyle) -> MassUnit {
    match subject.outlet.details.usual_unit {
        PriceUnit::Mass(unit) => unit,
        PriceUnit::Each => style.unit(),
    }
}

/// A form that opens with a settlement as it was saved, to be corrected.
pub fn reopened(settlement: &Settlement, visitor: &Visitor) -> Form {
    let paper = &settlement.paper;
    let plain = |amount: Decimal| amount.to_string();
    let mut values: Vec<(String, String)> = vec![
        ("currency".into(), paper.currency.code().into()),
        ("mass_unit".into(), visitor.style().unit().code().into()),
        ("number".into(), settlement.head.number.clone()),
        ("dated".into(), paper.dated.map(|day| day.to_string()).unwrap_or_default()),
        ("paid".into(), plain(paper.paid)),
        ("paid_on".into(), paper.payment.day.map(|day| day.to_string()).unwrap_or_default()),
        ("rate".into(), settlement.rate.map(|rate| rate.normalize().to_string()).unwrap_or_default()),
        ("bank_fee".into(), plain(paper.payment.bank_fee)),
        ("note".into(), settlement.note.clone()),
        ("lines".into(), paper.lines.len().clamp(1, MOST_LINES).to_string()),
        ("charges".into(), paper.charges.len().clamp(1, MOST_CHARGES).to_string()),
    ];
    if paper.currency != visitor.home() {
        values.push(("arrived".into(), paper.payment.arrived.map(plain).unwrap_or_default()));
    }
    for (index, line) in paper.lines.iter().enumerate() {
        let mut add = |field: &str, value: String| values.push((format!("{field}-{index}"), value));
        add("wording", line.wording.clone());
        add("grade", line.grade.as_ref().map(GradeId::to_string).unwrap_or_default());
        add("mass", line.mass.map(|mass| visitor.spelled(mass)).unwrap_or_default());
        add("pieces", line.pieces.map(|pieces| pieces.to_string()).unwrap_or_default());
        add("price", line.price.map(|price| price.amount.normalize().to_string()).unwrap_or_default());
        add("unit", line.price.map_or("", |price| price.per.code()).into());
        add("amount", plain(line.amount));
        for lot in &line.pays_for {
            add("lot", lot.to_string());
        }
    }
    for (index, charge) in paper.charges.iter().enumerate() {
        values.push((format!("kind-{index}"), kind_code(charge.kind).into()));
        values.push((format!("charge-{index}"), charge.wording.clone()));
        values.push((format!("taken-{index}"), plain(charge.amount)));
    }
    Form::filled(values.iter().map(|(name, value)| (name.as_str(), value.clone())))
}

pub const fn kind_code(kind: ChargeKind) -> &'static str {
    match kind {
        ChargeKind::Fee => "fee",
        ChargeKind::Deduction => "deduction",
    }
}

/// Reads the form; `None` where it has problems, which then stand in it.
pub fn read(form: &mut Form, subject: &Subject, visitor: &Visitor, corrects: bool) -> Option<Typed> {
    let today = visitor.today();
    let currency = form.currency("currency");
    let number = form.optional_text("number", 60);
    let note = form.optional_text("note", 300);
    let why = if corrects { form.text("why", 200) } else { Some(String::new()) };
    let first = today.saturating_sub(5.years());
    let day = |form: &mut Form, name, last| match form.value(name).trim() {
        "" => Some(None),
        _ => form.date(name, first, last).map(Some),
    };
    let dated = day(form, "dated", today.saturating_add(1.year()));
    let paid_on = day(form, "paid_on", today);
    let currency = currency?;
    let unit = MassUnit::from_code(form.value("mass_unit"));
    let mut lines = Vec::new();
    for line in 0..count(form, "lines", MOST_LINES) {
        lines.extend(read_line(form, line, subject, currency, unit));
    }
    let mut charges = Vec::new();
    for charge in 0..count(form, "charges", MOST_CHARGES) {
        charges.extend(read_charge(form, charge, currency));
    }
    if lines.is_empty() && form.is_good() {
        form.refuse("form", "No line has an amount. Type at least one line of the paper.");
    }
    let came_to = lines.iter().map(|line| line.amount).sum::<Decimal>()
        - charges.iter().map(|charge: &Charge| charge.amount).sum::<Decimal>();
    if form.value("paid").trim().is_empty() {
        let sum = Money::new(came_to, currency);
        form.refuse("paid", format!("What the paper pays in all is needed. The lines below come to {sum}."));
    }
    let paid = amount(form, "paid", currency);
    let home = visitor.home();
    let bank_fee = match form.value("bank_fee").trim() {
        "" => Some(Decimal::ZERO),
        _ => amount(form, "bank_fee", home),
    };
    if bank_fee.is_some_and(|fee| fee < Decimal::ZERO) {
        form.refuse("bank_fee", "A fee is typed without a minus.");
    }
    let (rate, arrived) = arrived(form, currency, home, paid?, bank_fee?, paid_on?.is_some());
    if !form.is_good() {
        return None;
    }
    let payment = Payment { day: paid_on?, arrived, bank_fee: bank_fee? };
    let paper = Paper { currency, lines, charges, paid: paid?, dated: dated?, payment };
    Some(Typed { paper, number: number?, note: note?, why: why?, rate })
}

/// The rate that the bank gave, and what came of the payment by it, as far as either is known.
fn arrived(
    form: &mut Form,
    currency: Currency,
    home: Currency,
    paid: Decimal,
    bank_fee: Decimal,
    is_paid: bool,
) -> (Option<Decimal>, Option<Decimal>) {
    if currency == home {
        return (None, is_paid.then_some(paid - bank_fee));
    }
    let rate = match form.value("rate").trim() {
        "" => None,
        _ => form.decimal("rate", trade::exchange::LEAST_RATE, trade::exchange::LARGEST_RATE),
    };
    let typed = match form.value("arrived").trim() {
        "" => None,
        _ => amount(form, "arrived", home),
    };
    let by_rate = rate.map(|rate| Money::new(paid * rate, home).rounded().amount - bank_fee);
    if let (Some(by_rate), Some(typed)) = (by_rate, typed)
        && (by_rate - typed).abs() > by_rate.abs() * Decimal::new(1, 2)
    {
        let by_rate = Money::new(by_rate, home);
        form.refuse(
            "arrived",
            format!("By that rate and fee it would be {by_rate}. One of the three is wrong."),
        );
    }
    (rate, typed.or(by_rate))
}

/// A line; nothing where it was left empty or has a problem.
fn read_line(
    form: &mut Form,
    line: usize,
    subject: &Subject,
    currency: Currency,
    unit: Option<MassUnit>,
) -> Option<PaperLine> {
    let field = |name: &str| format!("{name}-{line}");
    let typed = |form: &Form, name: &str| form.value(&field(name)).trim().to_string();
    let figures = ["mass", "pieces", "price", "amount"];
    if figures.iter().all(|name| typed(form, name).is_empty()) {
        return None;
    }
    let wording = form.optional_text(&field("wording"), 120);
    let grade = match typed(form, "grade").as_str() {
        "" => None,
        id => {
            let grade = subject.grades.iter().find(|grade| grade.id.as_str() == id);
            if grade.is_none() {
                form.refuse(&field("grade"), "That is none of the shop's grades. Choose one.");
            }
            grade.map(|grade| grade.id.clone())
        }
    };
    let mass = mass(form, &field("mass"), unit);
    let pieces = match typed(form, "pieces").as_str() {
        "" => None,
        _ => form.count(&field("pieces"), MOST_PIECES),
    };
    let price = match typed(form, "price").as_str() {
        "" => None,
        _ => {
            let amount = form.decimal(&field("price"), -LARGEST_AMOUNT, LARGEST_AMOUNT);
            let per = form.choice(&field("unit"), PriceUnit::from_code);
            amount.zip(per).map(|(amount, per)| Price::new(amount, currency, per))
        }
    };
    let lots: Vec<LotId> = form.values(&field("lot")).map(LotId::new).collect();
    if lots.iter().any(|lot| subject.lots.iter().all(|sent| sent.id != *lot)) {
        form.refuse(&field("lot"), "One of these lots is not in this delivery any more. Tick them again.");
    }
    if typed(form, "amount").is_empty() {
        let per = price.map(|price| price.per);
        let comes_to = match per {
            Some(PriceUnit::Mass(_)) if mass.is_some() => {
                price.map(|price| price.of(mass.unwrap_or_default(), 0))
            }
            Some(PriceUnit::Each) => price.zip(pieces).map(|(price, pieces)| price.of(Mass::ZERO, pieces)),
            _ => None,
        };
        let by = comes_to.map_or(String::new(), |sum| format!(" By weight and price it would be {sum}."));
        form.refuse(&field("amount"), format!("The amount on the paper is needed.{by}"));
        return None;
    }
    let amount = amount(form, &field("amount"), currency)?;
    Some(PaperLine { wording: wording?, grade, mass, pieces, price, amount, pays_for: lots })
}

/// A weight; a bare number is in the paper's unit.
fn mass(form: &mut Form, name: &str, unit: Option<MassUnit>) -> Option<Mass> {
    let typed = form.value(name).trim().to_string();
    if typed.is_empty() {
        return None;
    }
    let mass = match (decimal(&typed), unit) {
        (Some(number), Some(unit)) if number > LARGEST_AMOUNT || number < Decimal::ZERO => {
            form.refuse(name, format!("“{typed}” {unit} is no weight that was sent."));
            None
        }
        (Some(number), Some(unit)) => Some(Mass::of(number, unit)),
        _ => form.mass(name),
    }?;
    if mass.grams() > trade::mass::HEAVIEST_GRAMS {
        form.refuse(name, "That is more than a thousand tonnes. Check the unit and the decimal point.");
        return None;
    }
    Some(mass.as_kept())
}

fn read_charge(form: &mut Form, charge: usize, currency: Currency) -> Option<Charge> {
    let field = |name: &str| format!("{name}-{charge}");
    if form.value(&field("taken")).trim().is_empty() {
        if !form.value(&field("charge")).trim().is_empty() {
            form.refuse(&field("taken"), "How much is it?");
        }
        return None;
    }
    let kind = match form.value(&field("kind")) {
        "deduction" => ChargeKind::Deduction,
        _ => ChargeKind::Fee,
    };
    let wording = form.optional_text(&field("charge"), 120);
    let amount = amount(form, &field("taken"), currency)?;
    Some(Charge { kind, wording: wording?, amount })
}

/// An amount in whole minor units, with its sign.
fn amount(form: &mut Form, name: &str, currency: Currency) -> Option<Decimal> {
    let amount = form.decimal(name, -LARGEST_AMOUNT, LARGEST_AMOUNT)?;
    if amount.normalize().scale() > places(currency) {
        let most = places(currency);
        form.refuse(name, format!("{} has {most} decimals; more cannot have been paid.", currency.code()));
        return None;
    }
    Some(amount)
}
