//! Rows as they are found, finished once the whole sheet has been seen: a footnote may name the unit of them all.

mod amounts;
mod asides;
mod bare_cents;
mod corrected;
mod footnotes;
mod not_bought;

use rust_decimal::{Decimal, dec};
use trade::mass::{Mass, MassUnit};
use trade::money::{Currency, PriceUnit};

use crate::context::{Context, is_only_of_prices};
use crate::date::{self, Dated};
use crate::document::{LONGEST_SHOWN, cut};
use crate::hints::Hints;
use crate::lines::{is_exchange_rate, names_an_exchange};
use crate::number::Marks;
use crate::price::{PriceText, Strength, UnitText};
use crate::scan::Scan;
use crate::sheet::{Doubt, LeftOut, Place, Problem, Row, RowPrice, Sheet, Why};
use crate::tier::TierText;
use crate::vocabulary::{Use, VOCABULARY};
use amounts::{Decoration, amounts, as_thousands, is_small_for_a_ton};
use footnotes::Mark;

/// Two prices of one line in two units agree within this share of the larger, which covers their rounding.
const AGREE_WITHIN: Decimal = dec!(0.02);

/// Which mass a bare ton is, where this currency is used (common practice, no source).
fn usual_ton(currency: Currency) -> MassUnit {
    if matches!(currency, Currency::USD | Currency::CAD) { MassUnit::ShortTon } else { MassUnit::Tonne }
}

/// A row whose unit, currency and sign may still depend on the rest of the sheet.
#[derive(Debug, Clone)]
pub(crate) struct DraftRow {
    pub wording: String,
    /// The wording with its tier, where that may be one of pieces.
    pub whole: Option<String>,
    pub group: Option<String>,
    pub price: DraftPrice,
    pub tier: Option<TierText>,
    pub note: Option<String>,
    pub place: Place,
    pub source: String,
    pub doubts: Vec<Doubt>,
    /// What its column and heading say.
    pub context: Context,
    pub charge: Charge,
    /// In a cell a dash or brackets are a minus; in a line they may be decoration.
    pub in_cell: bool,
}

impl DraftRow {
    /// What mass its price is per, where that stands beside it.
    pub fn mass_unit(&self) -> Option<UnitText> {
        let DraftPrice::Text(price) = &self.price else { return None };
        price.unit.filter(|unit| !matches!(unit, UnitText::Unit(PriceUnit::Each)))
    }
}

#[derive(Debug, Clone)]
pub(crate) enum DraftPrice {
    Text(PriceText),
    Free,
    OnRequest,
}

/// Whether words say that the outlet charges.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Charge {
    #[default]
    No,
    /// A word that may belong to the name.
    Perhaps,
    Sure,
}

impl Charge {
    /// This where it says something, else `other`.
    pub fn or(self, other: Charge) -> Charge {
        if self == Charge::No { other } else { self }
    }
}

/// A longer remark says something of one matter rather than of all prices below it.
const MOST_REMARK_WORDS: usize = 16;

/// A sheet says far fewer things of all its prices; each row is compared with them.
const MOST_REMARKS: usize = 500;

/// What a title, a heading's line or a footnote says of prices.
#[derive(Debug)]
struct Remark {
    /// The rows that stand above it.
    above: usize,
    context: Context,
    /// It speaks of prices in so many words.
    clear: bool,
    /// What the rows it is about are marked with.
    mark: Option<Mark>,
}

impl Remark {
    /// Whether it holds for all rows below it.
    fn is_clear(&self) -> bool {
        self.clear && self.mark.is_none()
    }
}

fn speaks_of_all(text: &str) -> bool {
    let speaks = VOCABULARY.has_within(text, Use::WholeSheet)
        || VOCABULARY.column(text).is_some()
        || is_only_of_prices(&Scan::of(text));
    speaks && text.split_whitespace().count() <= MOST_REMARK_WORDS
}

/// Collects rows, and what the sheet says of them all.
#[derive(Debug)]
pub(crate) struct Draft<'h> {
    hints: &'h Hints,
    pub marks: Marks,
    pub rows: Vec<DraftRow>,
    left_out: Vec<LeftOut>,
    remarks: Vec<Remark>,
    dated: Option<Dated>,
    problems: Vec<Problem>,
}

impl<'h> Draft<'h> {
    pub fn new(hints: &'h Hints, marks: Marks, problems: Vec<Problem>) -> Self {
        Draft {
            hints,
            marks,
            rows: Vec::new(),
            left_out: Vec::new(),
            remarks: Vec::new(),
            dated: None,
            problems,
        }
    }

    pub fn leave_out(&mut self, source: &str, place: &Place, why: Why) {
        self.left_out.push(LeftOut { source: source.to_string(), place: place.clone(), why });
    }

    /// What was left out as a heading turned out to be none.
    pub fn was_no_heading(&mut self, source: &str) {
        self.was_left_out_as(source, Why::Heading, Why::NoPrice);
    }

    /// What was left out without a price turned out to stand above one.
    pub fn was_a_heading(&mut self, source: &str) {
        self.was_left_out_as(source, Why::NoPrice, Why::Heading);
    }

    fn was_left_out_as(&mut self, source: &str, before: Why, after: Why) {
        let is_it = |left: &&mut LeftOut| left.why == before && left.source == source;
        if let Some(left) = self.left_out.iter_mut().rev().find(is_it) {
            left.why = after;
        }
    }

    /// Takes in what the remark `text` says of prices. It holds for those below it, as long as no other does, and for
    /// those above it that nothing was said of.
    pub fn whole_sheet(&mut self, context: &Context, text: &str) {
        if self.remarks.len() == MOST_REMARKS {
            return;
        }
        let mut is_numbered = false;
        for (number, note) in footnotes::numbered(text) {
            is_numbered = true;
            let mark = Some(Mark::Number(number));
            // A page says it again.
            if self.remarks.iter().all(|remark| remark.mark != mark) {
                let (above, context) = (self.rows.len(), Context::of(note, false));
                self.remarks.push(Remark { above, context, clear: speaks_of_all(note), mark });
            }
        }
        // What an exchange quotes, and at which rate money is changed, says nothing of what is paid here.
        let quotes = |scan: &Scan<'_>| is_exchange_rate(scan) || names_an_exchange(scan);
        if context.is_empty() || is_numbered || quotes(&Scan::of(text)) {
            return;
        }
        // `For iron we pay by the tonne as ever.`
        let first = text.split_whitespace().next().unwrap_or_default();
        if VOCABULARY.has(first, Use::For) && VOCABULARY.has_within(text, Use::Group) {
            return;
        }
        let mark = footnotes::sign(text).map(Mark::Sign);
        let (above, context) = (self.rows.len(), context.clone());
        self.remarks.push(Remark { above, context, clear: speaks_of_all(text), mark });
    }

    /// Whether a line is what the name of a column is marked for: `Preis*`.
    pub fn is_footnote(&self, text: &str) -> bool {
        let is_marked = |sign: char| {
            let mut names = self.left_out.iter().filter(|left| left.why == Why::ColumnNames);
            names.any(|names| {
                names.source.split_whitespace().any(|name| name.ends_with(sign) && name.len() > 1)
            })
        };
        footnotes::sign(text).is_some_and(is_marked)
    }

    /// Whether a remark so far has said what all prices are per.
    pub fn says_unit_of_all(&self) -> bool {
        self.remarks.iter().any(|remark| remark.is_clear() && remark.context.unit.is_some())
    }

    /// What holds for the row at this place: the footnotes that it is marked with, its column and heading, the clear remarks
    /// above it, the nearest first, then the others.
    fn context(&self, row: usize, draft: &DraftRow) -> Context {
        let context = self.context_with(row, draft, |_| true);
        // `In pounds` are money here, and no masses.
        if context.in_pounds && self.currency(&draft.price, &context).0 == Currency::GBP {
            return self.context_with(row, draft, |context| !context.in_pounds);
        }
        context
    }

    /// The same with the units of those contexts that count.
    fn context_with(&self, row: usize, draft: &DraftRow, counts: impl Fn(&Context) -> bool) -> Context {
        let own = |remark: &&Remark| remark.mark.is_some_and(|mark| mark.is_of(draft));
        let marked = self.remarks.iter().filter(own).map(|remark| &remark.context);
        let above = self.remarks.iter().rev().filter(|remark| remark.is_clear() && remark.above <= row);
        let marks = self.remarks.iter().filter(|remark| remark.mark.is_some()).count();
        // Of several footnotes, only the marked one holds.
        let others = self
            .remarks
            .iter()
            .filter(|remark| !(remark.is_clear() && remark.above <= row))
            .filter(|remark| remark.mark.is_none() || marks == 1)
            // `I mean you pay me eight dollars each` speaks of one thing.
            .filter(|remark| {
                remark.is_clear()
                    || remark.mark.is_some()
                    || remark.context.unit != Some(UnitText::Unit(PriceUnit::Each))
            });
        let rest = above.chain(others).map(|remark| &remark.context);
        marked.chain([&draft.context]).chain(rest).fold(Context::default(), |so_far, context| {
            if counts(context) {
                so_far.within(context)
            } else {
                so_far.within(&Context { unit: None, ..context.clone() })
            }
        })
    }

    /// Looks for the sheet's date in a text without prices; an announced date is preferred to the first one.
    pub fn look_for_date(&mut self, text: &str) {
        self.finds_date(text);
    }

    /// The same, and whether there is one.
    pub fn finds_date(&mut self, text: &str) -> bool {
        let found = date::find(text, self.hints.date_order(), self.hints.today);
        if let Some(found) = found {
            self.date(found);
        }
        found.is_some()
    }

    pub fn date(&mut self, found: Dated) {
        if self.dated.is_none_or(|before| found.announced && !before.announced) {
            self.dated = Some(found);
        }
    }

    pub fn finish(mut self) -> Sheet {
        not_bought::leave_out(&mut self.rows, &mut self.left_out);
        bare_cents::tell(&mut self.rows);
        let decoration = Decoration::of(&self.rows);
        let numbers: Vec<u8> = self.remarks.iter().filter_map(|remark| remark.mark?.number()).collect();
        // `(1) All prices per tonne`, where nothing is marked: terms that are counted.
        if !self.rows.iter().any(|row| numbers.iter().any(|&number| Mark::Number(number).is_of(row))) {
            let counted =
                self.remarks.iter_mut().filter(|remark| matches!(remark.mark, Some(Mark::Number(_))));
            counted.for_each(|remark| remark.mark = None);
        }
        let mut rows = Vec::new();
        for (at, draft) in std::mem::take(&mut self.rows).into_iter().enumerate() {
            if let DraftPrice::Text(price) = &draft.price
                && price.too_large()
            {
                self.left_out.push(LeftOut { source: draft.source, place: draft.place, why: Why::TooLarge });
                continue;
            }
            let context = self.context(at, &draft);
            let draft = asides::without(footnotes::without(draft, &numbers));
            rows.push(self.row(draft, context, decoration));
        }
        self.left_out.dedup();
        let mut problems = std::mem::take(&mut self.problems);
        if self.marks.mixed {
            problems.push(Problem::MixedMarks);
        }
        if rows.is_empty() {
            problems.push(Problem::NoPrices);
        }
        if let Some(dated) = self.dated {
            problems.extend(dated.unclear.then_some(Problem::DateUnclear(dated.date)));
            problems.extend((dated.date > self.hints.today).then_some(Problem::DateAhead(dated.date)));
        }
        let mut currencies = rows.iter().map(|row| row.currency);
        let first = currencies.next().flatten();
        let currency = first.filter(|_| currencies.all(|other| other == first));
        Sheet { rows, left_out: self.left_out, valid_from: self.dated.map(|d| d.date), currency, problems }
    }

    fn row(&self, mut draft: DraftRow, mut context: Context, decoration: Decoration) -> Row {
        let mut doubts = draft.doubts.clone();
        let (currency, currency_clear) = self.currency(&draft.price, &context);
        context.cents &= !context.pence || currency == Currency::GBP;
        let unit = self.unit(&draft.price, &context, currency, &mut doubts);
        if let DraftPrice::Text(price) = &mut draft.price {
            as_thousands(price, unit);
        }
        let price = match &draft.price {
            DraftPrice::OnRequest => RowPrice::OnRequest,
            DraftPrice::Free => RowPrice::Priced { low: Decimal::ZERO, high: None },
            DraftPrice::Text(price) => {
                if !currency_clear {
                    doubts.push(Doubt::CurrencyUnclear);
                }
                if price.unclear {
                    doubts.push(Doubt::MarksUnclear);
                }
                let says_nothing = context.unit.is_none() && context.currencies.is_empty();
                if price.strength == Strength::Weak
                    && price.low.is_integer()
                    && !draft.in_cell
                    && says_nothing
                    && !doubts.contains(&Doubt::BareNumber)
                {
                    doubts.push(Doubt::BareNumber);
                }
                let amounts = amounts(price, &draft, &context, decoration, &mut doubts);
                if price.unit.is_none() && is_small_for_a_ton(&amounts, unit) {
                    doubts.push(Doubt::Small);
                }
                amounts
            }
        };
        if let RowPrice::OnRequest = price {
            doubts.retain(|doubt| *doubt == Doubt::Blank);
        }
        let (tier_from, tier_to) = draft
            .tier
            // So many pieces, where the price is for each.
            .filter(|tier| tier.unit.is_some() || unit != Some(PriceUnit::Each))
            .and_then(|tier| tier.masses(mass_unit(unit).or(mass_unit(self.hints.unit)), usual_ton(currency)))
            .unwrap_or((None, None));
        Row {
            wording: match draft.whole {
                Some(whole) if unit == Some(PriceUnit::Each) => whole,
                _ => draft.wording,
            },
            group: draft.group,
            price,
            unit,
            currency: Some(currency),
            tier_from,
            tier_to,
            note: draft.note,
            place: draft.place,
            source: draft.source,
            doubts,
        }
    }

    /// The currency of a price, and whether its signs say so clearly.
    fn currency(&self, price: &DraftPrice, context: &Context) -> (Currency, bool) {
        let own: &[Currency] = match price {
            DraftPrice::Text(price) => &price.currencies,
            _ => &[],
        };
        let usual = self.hints.currency;
        let said = if own.is_empty() { &context.currencies } else { own };
        match said {
            [] => (usual, true),
            [one] => (*one, true),
            // A shared sign means what the sheet says elsewhere, or else the outlet's own.
            several => {
                // `$` where the sheet says of all its prices that they are in `AUD`.
                let mut of_all = self.remarks.iter().filter(|remark| remark.is_clear());
                let named = of_all.find_map(|remark| match remark.context.currencies.as_slice() {
                    [one] if several.contains(one) => Some(*one),
                    _ => None,
                });
                if let Some(one) = named {
                    return (one, true);
                }
                // `$` on a sheet in pesos is of those that are both.
                let both = || several.iter().filter(|other| context.currencies.contains(other));
                match (both().count(), both().next()) {
                    (1, Some(one)) => (*one, true),
                    (2.., _) if both().any(|other| *other == usual) => (usual, true),
                    (both, Some(first)) => (*first, both == several.len()),
                    _ if several.contains(&usual) => (usual, true),
                    _ => (several[0], false),
                }
            }
        }
    }

    fn unit(
        &self,
        price: &DraftPrice,
        context: &Context,
        currency: Currency,
        doubts: &mut Vec<Doubt>,
    ) -> Option<PriceUnit> {
        let own = match price {
            DraftPrice::Text(price) => price.unit,
            _ => None,
        };
        match own.or(context.unit) {
            Some(UnitText::Unit(unit)) => Some(unit),
            Some(UnitText::Ton) => {
                doubts.push(Doubt::TonUnclear);
                Some(PriceUnit::Mass(usual_ton(currency)))
            }
            None => {
                doubts.push(if self.hints.unit.is_some() { Doubt::UnitAssumed } else { Doubt::UnitMissing });
                self.hints.unit
            }
        }
    }
}

fn mass_unit(unit: Option<PriceUnit>) -> Option<MassUnit> {
    match unit {
        Some(PriceUnit::Mass(unit)) => Some(unit),
        _ => None,
    }
}

/// What a second price in the same place means for the first: `None` where it only says the same in another unit.
pub(crate) fn second_price(first: &PriceText, second: &PriceText) -> Option<Doubt> {
    let in_grams = |price: &PriceText| match price.unit {
        Some(UnitText::Unit(PriceUnit::Mass(unit))) => {
            Some((price.low / Mass::of(Decimal::ONE, unit).grams(), unit))
        }
        _ => None,
    };
    match (in_grams(first), in_grams(second)) {
        (Some((a, one)), Some((b, other))) if one != other && same_currency(first, second) => {
            let agree = (a - b).abs() <= a.max(b) * AGREE_WITHIN;
            (!agree).then_some(Doubt::UnitsDisagree)
        }
        _ => Some(Doubt::SeveralPrices),
    }
}

pub(crate) fn same_currency(first: &PriceText, second: &PriceText) -> bool {
    let (a, b) = (&first.currencies, &second.currencies);
    a.is_empty() || b.is_empty() || a.iter().any(|currency| b.contains(currency))
}

/// A wording as it is kept: trimmed, and `None` where it is longer than any name of a grade.
pub(crate) fn wording(text: &str) -> Option<String> {
    let text = text.trim();
    (cut(text, LONGEST_SHOWN).len() == text.len()).then(|| text.to_string())
}
