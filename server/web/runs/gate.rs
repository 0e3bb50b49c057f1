//! What is typed at the gate, read into the paper that a settlement is made of.

use std::collections::BTreeMap;

use jiff::ToSpan;
use rust_decimal::Decimal;
use trade::ids::{GradeId, LotId};
use trade::mass::Mass;
use trade::money::{Currency, LARGEST_AMOUNT, Money, Price, PriceUnit};
use trade::settlement::{Charge, ChargeKind, Paper, PaperLine, Payment, Promise};

use crate::store::new_id;
use crate::store::outlets::Outlet;
use crate::store::runs::{RunLot, RunStop, TakenPart};
use crate::web::form::Form;
use crate::web::page::Visitor;

/// Lines that a ticket may have.
pub const MOST_LINES: usize = 40;

/// How many lines the form has.
pub fn line_count(form: &Form) -> usize {
    form.value("lines").parse::<usize>().unwrap_or(1).clamp(1, MOST_LINES)
}

/// What the form says: the ticket, and the lots that were refused.
pub struct Entered {
    pub refused: Vec<LotId>,
    /// Of these lots the yard took a part.
    pub parts: Vec<TakenPart>,
    /// `None` where everything was refused.
    pub paper: Option<Paper>,
    pub number: String,
    pub note: String,
}

/// What the price of a line is per.
pub fn price_unit(promise: &Promise, outlet: &Outlet, grade: &GradeId) -> PriceUnit {
    promised_price(promise, grade).map_or(outlet.details.usual_unit, |price| price.per)
}

pub fn promised_price(promise: &Promise, grade: &GradeId) -> Option<Price> {
    promise.sent.iter().find(|sent| sent.grade == *grade).map(|sent| sent.price)
}

/// Reads the form; nothing where something in it has to be looked at again.
pub fn entered(
    form: &mut Form,
    stop: &RunStop,
    outlet: &Outlet,
    grades: &[(String, String)],
    visitor: &Visitor,
) -> Option<Entered> {
    let today = visitor.today();
    let count = line_count(form);
    let (mut refused, mut parts) = (Vec::new(), Vec::new());
    let mut on_line: BTreeMap<usize, Vec<LotId>> = BTreeMap::new();
    for lot in &stop.lots {
        let name = format!("fate-{}", lot.lot_id);
        let part = read_part(form, lot);
        match form.value(&name) {
            "refused" if part.is_some() => {
                form.refuse(&name, "A part of it was taken: say on which line that stands.");
            }
            "refused" => refused.push(lot.lot_id.clone()),
            line => match line.parse::<usize>() {
                Ok(line) if (1..=count).contains(&line) => {
                    let taken = part.as_ref().map_or(&lot.lot_id, |part| &part.taken);
                    on_line.entry(line).or_default().push(taken.clone());
                    parts.extend(part);
                }
                _ => form.refuse(&name, "Say on which line it stands, or that it was refused."),
            },
        }
    }
    let number = form.optional_text("number", 40);
    let note = form.optional_lines("note", 2000);
    let dated = form.date("dated", today.saturating_sub(1.year()), today);
    let paid_on = match form.value("paid_on").trim() {
        "" => Some(None),
        _ => form.date("paid_on", today.saturating_sub(1.year()), today.saturating_add(1.year())).map(Some),
    };
    let fee = form.amount("fee");
    let deduction = form.amount("deduction");
    let total = match form.value("total").trim() {
        "" => Some(None),
        _ => form.decimal("total", -LARGEST_AMOUNT, LARGEST_AMOUNT).map(Some),
    };
    for line in 1..=count {
        let name = format!("grade-{line}");
        if !grades.iter().any(|(id, _)| id == form.value(&name)) {
            form.refuse(&name, "Choose one of the grades, or none of ours.");
        }
    }
    let lines: Vec<Line> =
        (1..=count).map(|line| read_line(form, line, stop, outlet)).collect::<Option<Vec<_>>>()?;
    let (fee, deduction, total) = (fee?, deduction?, total?);
    let (number, note, dated, paid_on) = (number?, note?, dated?, paid_on?);
    let currency = stop.promise.currency;
    let done = |paper| Entered {
        refused: refused.clone(),
        parts: parts.clone(),
        paper,
        number: number.clone(),
        note: note.clone(),
    };
    if on_line.is_empty() {
        if lines.iter().any(Line::is_told) || total.is_some() {
            form.refuse(
                "total",
                "Everything is refused, and something was paid. Say which lots the yard took.",
            );
        }
        return form.is_good().then(|| done(None));
    }
    let charged =
        |kind, amount: Decimal| (!amount.is_zero()).then(|| Charge { kind, wording: String::new(), amount });
    let charges: Vec<Charge> = [charged(ChargeKind::Fee, fee), charged(ChargeKind::Deduction, deduction)]
        .into_iter()
        .flatten()
        .collect();
    let paper_lines = if lines.iter().any(Line::is_told) {
        told_lines(form, lines, &on_line, currency)
    } else {
        // A ticket with nothing on it but what was paid.
        let Some(total) = total else {
            form.refuse("total", "Type what was paid, if the ticket says nothing else.");
            return None;
        };
        let pays_for = on_line.values().flatten().cloned().collect();
        vec![PaperLine { amount: total + fee + deduction, pays_for, ..PaperLine::default() }]
    };
    let paid = total.unwrap_or_else(|| {
        let lines: Decimal = paper_lines.iter().map(|line| line.amount).sum();
        lines - fee - deduction
    });
    let paid = Money::new(paid, currency).rounded().amount;
    let arrived = (currency == visitor.home() && paid_on.is_some()).then_some(paid);
    let paper = Paper {
        currency,
        lines: paper_lines,
        charges,
        paid,
        dated: Some(dated),
        payment: Payment { day: paid_on, arrived, bank_fee: Decimal::ZERO },
    };
    form.is_good().then(|| done(Some(paper)))
}

/// The fields that say that a yard took a part of a lot: its weight and its pieces.
pub fn part_fields(lot: &RunLot) -> [String; 2] {
    ["part", "pieces-of"].map(|what| format!("{what}-{}", lot.lot_id))
}

/// What a yard took of a lot, where that was not all of it.
fn read_part(form: &mut Form, lot: &RunLot) -> Option<TakenPart> {
    let [name, pieces_name] = part_fields(lot);
    if form.value(&name).trim().is_empty() {
        if !form.value(&pieces_name).trim().is_empty() {
            form.refuse(&name, "Type what these pieces weigh, by our scale.");
        }
        return None;
    }
    let mass = form.mass(&name)?.as_kept();
    if !mass.is_positive() || mass >= lot.net {
        form.refuse(
            &name,
            "That is no part of it. Leave it empty where they took all of it, or say that it was refused.",
        );
        return None;
    }
    let pieces = match lot.pieces {
        0 => 0,
        all => form.count(&pieces_name, all)?,
    };
    let typed = form.value(&name).trim().to_string();
    Some(TakenPart { lot: lot.lot_id.clone(), taken: LotId::new(new_id()), mass, pieces, typed })
}

/// A line as it was typed.
struct Line {
    grade: Option<GradeId>,
    wording: String,
    mass: Option<Mass>,
    pieces: Option<u32>,
    price: Option<Price>,
    amount: Option<Decimal>,
}

impl Line {
    /// Whether the ticket says anything there; a grade and a price alone stand there from the start.
    fn is_told(&self) -> bool {
        self.mass.is_some() || self.pieces.is_some() || self.amount.is_some()
    }
}

/// The line as it stands; nothing where something is wrong with it.
fn read_line(form: &mut Form, line: usize, stop: &RunStop, outlet: &Outlet) -> Option<Line> {
    let name = |what: &str| format!("{what}-{line}");
    let grade = form.value(&name("grade")).trim().to_string();
    let grade = (!grade.is_empty()).then(|| GradeId::new(grade));
    let unit = match &grade {
        Some(grade) => price_unit(&stop.promise, outlet, grade),
        None => outlet.details.usual_unit,
    };
    let is_empty = |form: &Form, what: &str| form.value(&name(what)).trim().is_empty();
    let wording = form.optional_text(&name("wording"), 120);
    let mass = match is_empty(form, "mass") {
        true => Some(None),
        false => form.mass(&name("mass")).map(Some),
    };
    let pieces = match is_empty(form, "pieces") {
        true => Some(None),
        false => form.count(&name("pieces"), 1_000_000).map(Some),
    };
    let price = match is_empty(form, "price") {
        true => Some(None),
        false => form.decimal(&name("price"), -LARGEST_AMOUNT, LARGEST_AMOUNT).map(Some),
    };
    let amount = match is_empty(form, "amount") {
        true => Some(None),
        false => form.decimal(&name("amount"), -LARGEST_AMOUNT, LARGEST_AMOUNT).map(Some),
    };
    let currency = stop.promise.currency;
    let price = price?.map(|amount| Price { amount, currency, per: unit });
    Some(Line { grade, wording: wording?, mass: mass?, pieces: pieces?, price, amount: amount? })
}

/// The lines of the paper: what a line is paid stands on it, or follows from its weight and price.
fn told_lines(
    form: &mut Form,
    lines: Vec<Line>,
    on_line: &BTreeMap<usize, Vec<LotId>>,
    currency: Currency,
) -> Vec<PaperLine> {
    let mut told = Vec::new();
    for (index, line) in lines.into_iter().enumerate() {
        let number = index + 1;
        let pays_for = on_line.get(&number).cloned().unwrap_or_default();
        if !line.is_told() && pays_for.is_empty() {
            continue;
        }
        let worked_out = || {
            let (price, mass, pieces) = (line.price?, line.mass, line.pieces);
            match price.per {
                PriceUnit::Each => Some(price.of(Mass::ZERO, pieces?)),
                PriceUnit::Mass(_) => Some(price.of(mass?, 0)),
            }
        };
        let amount = line.amount.or_else(|| worked_out().map(|money| money.amount));
        let Some(amount) = amount else {
            let problem = "Type what was paid for this line, or its weight and price.";
            form.refuse(&format!("amount-{number}"), problem);
            continue;
        };
        told.push(PaperLine {
            wording: line.wording,
            grade: line.grade,
            mass: line.mass,
            pieces: line.pieces,
            price: line.price,
            amount: Money::new(amount, currency).rounded().amount,
            pays_for,
        });
    }
    told
}
