//! What the name of a column says.

use std::borrow::Cow;

use trade::money::PriceUnit;

use super::Named;
use crate::context::Context;
use crate::date::is_day;
use crate::document::Cell;
use crate::number::{Marks, looks_like_price};
use crate::price::{UnitText, unit_words};
use crate::scan::{Kind, Scan};
use crate::tier::tier_at;
use crate::vocabulary::{Column, Use, VOCABULARY};
use crate::wording::normal_wording;

/// What the column is for that a cell names; `None` where it names none.
pub(super) fn name(cell: &Cell, marks: Marks) -> Option<Named> {
    let Cell::Text(text) = cell else { return None };
    let text = &*in_words(text);
    // `Fr.` is a day of the week as well.
    let day = is_day(text) && VOCABULARY.currencies(text).is_none();
    if text.chars().count() > 60 || day || is_numbered_title(text) {
        return None;
    }
    let plain = |column| Some(Named { column, context: Context::of(text, true), tier: None });
    if let Some(column) = VOCABULARY.column(text) {
        let context = Context::of(text, true);
        let a_mass = matches!(column, Column::TierFrom | Column::TierTo);
        return match context.unit {
            // `$/unit` is a price for each.
            Some(_) if column == Column::Unit && !context.currencies.is_empty() => plain(Column::Price),
            _ if !a_mass || context.currencies.is_empty() => plain(column),
            // `Min £/kg` is the least that is paid, `Min £` the least that anybody is paid at all.
            Some(_) => plain(Column::Price),
            None => plain(Column::Other),
        };
    }
    // `El precio de la semana pasada`
    if VOCABULARY.has_within(text, Use::Past) {
        return Some(Named { column: Column::Other, context: Context::default(), tier: None });
    }
    // `cena do uzgodnienia`: a price that has to be asked for.
    let asks = |words: &str| VOCABULARY.has(words, Use::OnRequest);
    if asks(text) || text.split_once(' ').is_some_and(|(_, rest)| asks(rest)) {
        return None;
    }
    let normal = normal_wording(text);
    let words: Vec<&str> = normal.split(' ').collect();
    // `Grade notes`, `Remarques qualité`
    let ends = [words.first(), words.last()];
    if ends.iter().flatten().any(|word| VOCABULARY.column(word) == Some(Column::Note))
        && Context::of(text, true).is_empty()
    {
        return plain(Column::Note);
    }
    let scan = Scan::of(text);
    let run = |length: usize, fits: &dyn Fn(Column) -> bool| {
        words.windows(length).find_map(|run| VOCABULARY.column(&run.join(" ")).filter(|column| fits(*column)))
    };
    let tier = (0..scan.tokens.len()).find_map(|at| Some((at, tier_at(&scan, marks, at, true)?)));
    if let Some((at, (tier, next))) = tier {
        // `19,00 up to 50 kg / 21,50` is a price.
        let outside = (0..at).chain(next..scan.tokens.len());
        let priced = |at: usize| scan.kind(at) == Some(Kind::Number) && looks_like_price(scan.word(at));
        if outside.into_iter().any(priced) {
            return None;
        }
        // `last wk < 250 kg`
        if run(2, &|column| column == Column::Other).is_some() {
            return Some(Named { column: Column::Other, context: Context::default(), tier: None });
        }
        // `250 à 1000 kg` is no price per tonne.
        let around = [scan.between(0, at), scan.between(next, scan.tokens.len())];
        let [before, behind] = around.map(|text| Context::of(text, false));
        return Some(Named { column: Column::Price, context: before.within(&behind), tier: Some(tier) });
    }
    // A number that no unit explains makes it a price, not the name of one: `$3.95`, but `USD per 100 lb`.
    let joined = |at: usize| {
        let bracketed = at > 0 && scan.kind(at - 1) == Some(Kind::Open);
        let unit = || unit_words(&scan, at).is_some_and(|(_, next)| scan.kind(next) == Some(Kind::Close));
        at > 0 && (scan.kind(at - 1) == Some(Kind::Slash) || scan.is(at - 1, Use::Per)) || bracketed && unit()
    };
    if (0..scan.tokens.len())
        .any(|at| scan.kind(at) == Some(Kind::Number) && !joined(at) && !is_year(scan.word(at)))
    {
        return None;
    }
    let context = Context::of(text, true);
    // `min_qty_kg`: the name of a tier's column, and its unit; `Max £/kg` is the most that is paid.
    if let (Some(_), Some((_, before)), true) =
        (context.mass_unit(), words.split_last(), context.currencies.is_empty())
        && let Some(column) = VOCABULARY
            .column(&before.join(" "))
            .filter(|column| matches!(column, Column::TierFrom | Column::TierTo))
    {
        return Some(Named { column, context, tier: None });
    }
    // `Qty 2025 (t)` is how much was bought, whatever it is counted in.
    let counted = words.iter().any(|word| VOCABULARY.column(word) == Some(Column::Other))
        && !words
            .iter()
            .any(|word| matches!(VOCABULARY.column(word), Some(Column::Price | Column::Low | Column::High)));
    if counted && words.len() <= 4 && words.len() > 1 {
        return Some(Named { column: Column::Other, context: Context::default(), tier: None });
    }
    // `from kg`, `max (lb)` are masses, and no prices per kg.
    if context.currencies.is_empty()
        && let Some(column) = words
            .first()
            .filter(|_| context.unit.is_some() && words.len() == 2)
            .and_then(|word| VOCABULARY.column(word))
            .filter(|column| matches!(column, Column::TierFrom | Column::TierTo))
    {
        return Some(Named { column, context, tier: None });
    }
    let money = !context.currencies.is_empty() || context.unit.is_some() || context.cents;
    // `Charge, USD/kg`, but `€ (reverse charge)` is about a tax.
    let bare = normal_wording(text.split(['(', '[']).next().unwrap_or_default());
    let charge = |word: &str| VOCABULARY.column(word) == Some(Column::Charge);
    if money && words.len() <= 4 && bare.split(' ').any(charge) {
        return Some(Named { column: Column::Charge, context, tier: None });
    }
    // `PER POUND low`
    let end = words.last().and_then(|word| VOCABULARY.column(word));
    if let Some(column) = end.filter(|column| matches!(column, Column::Low | Column::High) && money) {
        return Some(Named { column, context, tier: None });
    }
    // `Price last week` is no price to read, and `Price per lb` is one: the longer run of words decides.
    for length in (1..=words.len().min(3)).rev() {
        let found = run(length, &|column| column == Column::Other && length > 1)
            .or_else(|| run(length, &|column| matches!(column, Column::Price | Column::Low | Column::High)))
            .or_else(|| {
                let tier = |column| matches!(column, Column::TierFrom | Column::TierTo);
                // `ritirato da noi` says by whom, and no mass; `Peso da kg` does.
                // `Buyer A`
                let at_an_end = || {
                    ends.iter()
                        .flatten()
                        .any(|word| word.len() > 1 && VOCABULARY.column(word).is_some_and(tier))
                };
                let amid = length == 1 && context.unit.is_none() && !at_an_end();
                let short = words.len() <= 3 && !amid && context.currencies.is_empty();
                run(length, &|column| tier(column) && short)
            })
            .or_else(|| run(length, &|column| column == Column::Wording && !money));
        if let Some(column) = found {
            return Some(Named { column, context, tier: None });
        }
    }
    // `WHOLE UNITS` is what a list is of.
    let of_pieces = context.currencies.is_empty() && context.unit == Some(UnitText::Unit(PriceUnit::Each));
    let of_goods = of_pieces && !context.cents && VOCABULARY.has_within(text, Use::Group);
    (money && !of_goods && words.len() <= 4).then_some(Named { column: Column::Price, context, tier: None })
}

/// `BUY_CENTS`, `PriceNew`: names as stock programs write them, in words.
pub(super) fn in_words(text: &str) -> Cow<'_, str> {
    let text = match text.contains('_') {
        true => Cow::Owned(text.replace('_', " ")),
        false => Cow::Borrowed(text),
    };
    let begins_a_word = |at: usize| {
        let (before, after) = text.split_at(at);
        before.ends_with(char::is_lowercase) && after.starts_with(char::is_uppercase)
    };
    if text.contains(' ') || VOCABULARY.column(&text).is_some() {
        return text;
    }
    let mut words = String::with_capacity(text.len() + 4);
    for (at, c) in text.char_indices() {
        if begins_a_word(at) {
            words.push(' ');
        }
        words.push(c);
    }
    Cow::Owned(words)
}

/// `PRICE LIST NO. 47`
fn is_numbered_title(text: &str) -> bool {
    let number = |normal: &str| {
        let digits = normal.rsplit(' ').next().and_then(|last| last.strip_prefix("no"));
        digits.is_some_and(|digits| !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit()))
    };
    text.ends_with(|c: char| c.is_ascii_digit())
        && number(&normal_wording(text))
        && VOCABULARY.has_within(text, Use::Title)
}

fn is_year(text: &str) -> bool {
    text.parse::<u32>().is_ok_and(|year| (1990..2100).contains(&year))
}
