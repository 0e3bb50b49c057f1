//! What a title, heading, column name or footnote says about the prices around it.

use trade::mass::MassUnit;
use trade::money::{Currency, PriceUnit};

use crate::parts::without_us_money;
use crate::price::{UnitText, is_pounds, is_sterling, unit_words};
use crate::scan::{Kind, Scan};
use crate::tier::TierUnit;
use crate::vocabulary::{Column, Use, VOCABULARY};
use crate::wording::normal;
use crate::words::stem;

/// Currency and unit named once for many prices.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Context {
    /// What the currency sign or code can mean; empty where there is none.
    pub currencies: Vec<Currency>,
    pub unit: Option<UnitText>,
    /// Amounts are in cents.
    pub cents: bool,
    /// By a letter that means pence, and elsewhere `per`: `p/kg`.
    pub pence: bool,
    /// The unit is the one of `in pounds`, which are money where they pay in them.
    pub in_pounds: bool,
}

impl Context {
    /// What the text says: `All prices in USD per lb`, `Copper ($/lb)`.
    ///
    /// In the `name` of a column a unit counts by itself; elsewhere it needs a `/`, `per` or brackets, because
    /// `minimum 100 lb` says nothing of prices.
    pub fn of(text: &str, name: bool) -> Context {
        Context::within_scan(&Scan::of(text), name)
    }

    /// The same of a text that has been cut already.
    pub fn within_scan(scan: &Scan<'_>, name: bool) -> Context {
        let mut context = Context::default();
        for at in 0..scan.tokens.len() {
            let before = at.checked_sub(1);
            let kind = |i: Option<usize>| i.and_then(|i| scan.kind(i));
            let joined = kind(before) == Some(Kind::Slash) || before.is_some_and(|b| scan.is(b, Use::Per));
            if scan.kind(at) == Some(Kind::Word) {
                let word = scan.word(at);
                if let Some(currencies) = scan.currencies(at) {
                    // A code is surer than a sign: `$ (CAD)`.
                    if context.currencies.is_empty() || currencies.len() < context.currencies.len() {
                        context.currencies = currencies.to_vec();
                    }
                    continue;
                }
                let of_unit = scan.kind(at + 1) == Some(Kind::Slash) || scan.is(at + 1, Use::Per);
                if scan.is(at, Use::Cents) && !joined && (of_unit || word.len() > 1 && scan.tokens.len() > 1)
                {
                    context.cents = true;
                    context.pence = scan.is(at, Use::Pence) && word.len() == 1;
                }
            }
            // `pounds sterling per kilo`.
            if scan.currencies(at + 1).is_some_and(|currencies| currencies == [Currency::GBP]) {
                continue;
            }
            // `in pounds per tonne`
            if is_sterling(scan, at) {
                if context.currencies.is_empty() {
                    context.currencies = vec![Currency::GBP];
                }
                continue;
            }
            let Some((unit, next)) = unit_words(scan, at) else { continue };
            let bracketed = kind(before) == Some(Kind::Open) && scan.kind(next) == Some(Kind::Close);
            let after_money = before.is_some_and(|b| scan.currencies(b).is_some());
            let in_units = before.is_some_and(|b| scan.word(b).eq_ignore_ascii_case("in"));
            let alone = name && !matches!(scan.kind(at), Some(Kind::Number | Kind::Hash));
            // `per ton (2,000 lb)` says which ton it is.
            let which_ton =
                context.unit == Some(UnitText::Ton) && bracketed && scan.kind(at) == Some(Kind::Number);
            // `eight dollars a hundred` is a price in words.
            let worded =
                before.is_some_and(|b| b > 1 && scan.word(b) == "a" && scan.is(b - 2, Use::NumberWord));
            // `what is a ton of hard drives` asks.
            let asked = joined && matches!(scan.word(next), "of") && context.currencies.is_empty();
            // `S A L V A G E`
            let letters =
                before.is_some_and(|b| scan.word(b).len() == 1) && scan.kind(next) == Some(Kind::Word);
            let spelled = letters && scan.word(at).len() == 1 && scan.word(next).len() == 1;
            let said =
                joined && !worded && !asked && !spelled || bracketed || after_money || in_units || alone;
            // `All prices in pounds, per kilo`
            let of_money = context.in_pounds && joined;
            if of_money && context.currencies.is_empty() {
                context.currencies = vec![Currency::GBP];
            }
            if context.unit.is_none() && said || which_ton || of_money {
                context.unit = Some(unit);
                context.in_pounds = in_units && is_pounds(scan.word(at));
            }
        }
        context
    }

    pub fn mass_unit(&self) -> Option<MassUnit> {
        match self.unit {
            Some(UnitText::Unit(PriceUnit::Mass(unit))) => Some(unit),
            _ => None,
        }
    }

    /// The unit that masses below it are given in.
    pub fn tier_unit(&self) -> Option<TierUnit> {
        match self.unit {
            Some(UnitText::Ton) => Some(TierUnit::Ton),
            _ => self.mass_unit().map(TierUnit::Mass),
        }
    }

    pub fn is_empty(&self) -> bool {
        *self == Context::default()
    }

    /// This context where it says something, else `wider`.
    pub fn within(&self, wider: &Context) -> Context {
        let currencies = if self.currencies.is_empty() { &wider.currencies } else { &self.currencies };
        Context {
            currencies: currencies.clone(),
            unit: self.unit.or(wider.unit),
            // Cents go with the unit they were named with.
            cents: self.cents
                || wider.cents
                    && self.currencies.is_empty()
                    && (self.unit.is_none() || self.unit == wider.unit),
            // As the cents are.
            pence: if self.cents { self.pence } else { wider.pence },
            in_pounds: if self.unit.is_some() { self.in_pounds } else { wider.in_pounds },
        }
    }
}

/// What a name says its price is per. One piece is a part of many names, and what the price is per only at their end: `Fans
/// per piece`, but `un brin 80 %`. `Motherboards (PC)` come out of one.
pub(crate) fn unit_of_name(scan: &Scan<'_>) -> Option<UnitText> {
    let unit = Context::within_scan(scan, false).unit?;
    let each = UnitText::Unit(PriceUnit::Each);
    let (begin, end) = (scan.tokens.len().saturating_sub(3), scan.tokens.len());
    let ends = || Context::of(scan.between(begin, end), false).unit == Some(each);
    let of_computers = || {
        let is_board = |word: &str| stem(word).ends_with("board");
        scan.text.to_ascii_lowercase().ends_with("(pc)") && normal(scan.text).split(' ').any(is_board)
    };
    (unit != each || (scan.text.contains('/') || ends()) && !of_computers()).then_some(unit)
}

/// The heading's name without what it says of currency and unit: `Copper` of `== Copper ($/lb): ==`.
pub(crate) fn heading_name(text: &str) -> &str {
    let name = match text.split_once(['(', '[']) {
        Some((before, inside)) if !Context::of(inside.trim_end_matches([')', ']']), true).is_empty() => {
            before
        }
        Some((before, inside)) if explains_a_charge(before, inside) => before,
        _ => text,
    };
    let name = name.trim_matches(|c: char| !c.is_alphanumeric() && !matches!(c, '#' | '(' | ')' | '%'));
    let bare = name.trim_end_matches(|c: char| !c.is_alphanumeric() && !matches!(c, ')' | '%'));
    // `Copper - $/lb`, `Copper per lb`.
    let scan = Scan::of(bare);
    let cut = (1..scan.tokens.len()).find(|&at| {
        let money = scan.currencies(at).is_some();
        let per = scan.is(at, Use::Per) && unit_words(&scan, at + 1).is_some();
        money || per
    });
    let Some(at) = cut else { return bare };
    let name = scan.between(0, at);
    // `Elektronika – cena w zł/kg`: behind the dash it speaks of prices.
    let name = match (1..at).rev().find(|&at| scan.kind(at) == Some(Kind::Dash)) {
        Some(dash) if (dash + 1..at).any(|at| VOCABULARY.column(scan.word(at)) == Some(Column::Price)) => {
            scan.between(0, dash)
        }
        _ => name,
    };
    name.trim_end_matches(|c: char| !c.is_alphanumeric() && !matches!(c, ')' | '%'))
}

/// `WE CHARGE (sorry, our downstream charges us)`: a heading that says who pays, and why.
fn explains_a_charge(before: &str, inside: &str) -> bool {
    inside.trim_end().ends_with([')', ']', ':']) && longest_charge(before) > 1
}

/// How many words say that something is charged for.
fn longest_charge(text: &str) -> usize {
    VOCABULARY.longest_within(&normal(&without_us_money(text)), Use::Charge)
}

/// Whether some word of a text is one for goods: `Share this page` has none.
pub(crate) fn speaks_of_goods(text: &str) -> bool {
    normal(text).split(' ').any(is_of_goods)
}

/// Whether a heading names goods: by words for groups of them, or by none but words that grades are called by.
pub(crate) fn names_goods(heading: &str) -> bool {
    let normal = normal(heading);
    VOCABULARY.is_within(&normal, Use::Group) || count_if_all(&normal, is_of_goods) > 0
}

/// `Phone charger & USB leads`: each word is one that grades are called by, whatever it says elsewhere.
pub(crate) fn is_all_of_goods(name: &str) -> bool {
    let own = |word: &str| VOCABULARY.is_own(&stem(word)) && !VOCABULARY.is_idle(&stem(word));
    let normal = normal(name);
    // `Phone and laptop chargers`
    let words = normal.split(' ').filter(|word| !VOCABULARY.has(word, Use::SpanTo));
    count_if_all(&words.collect::<Vec<_>>().join(" "), own) > 1
}

/// How many words are such, idle ones aside; none where some other word stands among them.
fn count_if_all(normal: &str, is: impl Fn(&str) -> bool) -> usize {
    let idle = |word: &str| VOCABULARY.is_idle(word) || word.len() == 1;
    if !normal.split(' ').all(|word| is(word) || idle(word)) {
        return 0;
    }
    normal.split(' ').filter(|word| is(word)).count()
}

/// Whether grades are called by a word, in whatever language.
fn is_of_goods(word: &str) -> bool {
    let stem = stem(word);
    VOCABULARY.is_own(&stem) && !VOCABULARY.is_idle(&stem) || VOCABULARY.english(word).is_some()
}

/// Words of a title in capitals.
const LONGEST_TITLE: usize = 10;

/// `€/tonne`: what prices are in, and nothing besides.
pub(crate) fn is_only_of_prices(scan: &Scan<'_>) -> bool {
    let context = Context::within_scan(scan, true);
    let mut at = 0;
    while at < scan.tokens.len() {
        let unit = unit_words(scan, at).map(|(_, next)| next);
        let mark = scan.is(at, Use::Per) || !matches!(scan.kind(at), Some(Kind::Word | Kind::Number));
        match unit {
            Some(next) => at = next,
            None if mark || scan.currencies(at).is_some() => at += 1,
            None => return false,
        }
    }
    !context.currencies.is_empty() && context.unit.is_some()
}

/// Whether the text reads like a heading: a few words without a sentence, an address or a remark in them.
pub(crate) fn is_heading(text: &str) -> bool {
    if tells_who_pays(text) {
        return true;
    }
    let name = heading_name(text);
    let words = name.split_whitespace().count();
    let first = name.split_whitespace().next().unwrap_or_default();
    let contact = text.contains('@') || text.contains("www.") || text.contains("://");
    // `1200 Harbor Road`, but `Aluminum extrusion 6063`.
    let digits = name.chars().filter(char::is_ascii_digit).count();
    let alloy = digits == 4
        && name.ends_with(|c: char| c.is_ascii_digit())
        && VOCABULARY.has_within(name, Use::Group);
    let address = digits > 3 && !alloy;
    // `Sorry but we now have to charge for the following:`
    let charges = longest_charge(text) > 0 && text.trim_end().ends_with([':', '='])
        || words > 1 && VOCABULARY.has(name, Use::Charge);
    let most = if charges { 12 } else { 6 };
    // `BOARDS (prices per kilo!)` speaks of boards, `Lakeside E-Scrap (all prices per kilo)` of all.
    let bare = text.split(['(', '[']).next().unwrap_or_default();
    let of_goods = normal(bare).split(' ').all(is_of_goods);
    let of_sheet = if of_goods { bare } else { text };
    (1..=most).contains(&words)
        && name.chars().any(char::is_alphabetic)
        && !contact
        && !address
        && (!text.trim_end().ends_with(['.', '!', '?', ',']) || ends_with_a_unit(text))
        && (!VOCABULARY.has(first, Use::Remark) || charges)
        && !VOCABULARY.has_within(of_sheet, Use::WholeSheet)
        && !VOCABULARY.has_within(text, Use::AnyTier)
        && (!VOCABULARY.has_within(text, Use::Sentence) || VOCABULARY.has_within(text, Use::Charge))
}

/// `B.  WHAT WE HAVE TO CHARGE YOU    (all plus VAT)`, in capitals.
fn tells_who_pays(text: &str) -> bool {
    let bare = text.split(['(', '[']).next().unwrap_or_default();
    let loud = bare.chars().any(char::is_alphabetic) && !bare.chars().any(char::is_lowercase);
    loud && bare.split_whitespace().count() <= LONGEST_TITLE
        && !text.contains(|c: char| c.is_ascii_digit())
        && (longest_charge(bare) > 1 || VOCABULARY.has_within(bare, Use::Pays))
}

/// `Non-ferrous, cents per lb.`: what is cut short ends no sentence.
fn ends_with_a_unit(text: &str) -> bool {
    let last = text.trim_end().rsplit(' ').next().unwrap_or_default();
    last.strip_suffix('.').is_some_and(|word| Context::of(word, true).unit.is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, name: bool, expect: &str) {
        let context = Context::of(text, name);
        let unit = match context.unit {
            Some(UnitText::Unit(unit)) => unit.code(),
            Some(UnitText::Ton) => "ton",
            None => "-",
        };
        let currency = context.currencies.first().map_or("-", |c| c.code());
        let cents = if context.cents { " cents" } else { "" };
        assert_eq!(format!("{currency} {unit}{cents}"), expect, "{text}");
    }

    #[test]
    fn remarks() {
        check("All prices in USD per lb unless noted", false, "USD lb");
        check("Price list ($/lb)", false, "USD lb");
        check("Alle Preise in €/kg", false, "EUR kg");
        check("Prices in C$ per 100 lb", false, "CAD cwt");
        check("Copper (per lb)", false, "- lb");
        check("Ferrous, US$ / gross ton", false, "USD gross_ton");
        check("Prices are per ton", false, "- ton");
        check("Prices in cents per pound", false, "- lb cents");
        check("Prices in $ (CAD)", false, "CAD -");
        check("Minimum 100 lb", false, "- -");
        check("Lakeside Metals", false, "- -");
    }

    #[test]
    fn names_of_columns() {
        check("$/lb", true, "USD lb");
        check("Price EUR/kg", true, "EUR kg");
        check("Price per lb", true, "- lb");
        check("lb", true, "- lb");
        check("c/lb", true, "- lb cents");
        check("USD", true, "USD -");
        check("Price", true, "- -");
    }

    #[test]
    fn headings() {
        let name = |text, expect: Option<&str>| {
            assert_eq!(is_heading(text).then(|| heading_name(text)), expect, "{text}");
        };
        name("== COPPER ==", Some("COPPER"));
        name("Copper ($/lb):", Some("Copper"));
        name("Aluminum - $/lb", Some("Aluminum"));
        name("Wire (insulated)", Some("Wire (insulated)"));
        name("#1 items", Some("#1 items"));
        name("Call 555-0147 for pickup", None);
        name("Prices change daily.", None);
        name("All prices per lb", None);
        name("1200 Harbor Road", None);
        name("Aluminum Extrusion 6063", Some("Aluminum Extrusion 6063"));
    }
}
