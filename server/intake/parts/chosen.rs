//! Which numbers of a line are prices.

use rust_decimal::dec;

use super::starts_with;
use crate::context::speaks_of_goods;
use crate::price::{PriceText, Strength};
use crate::scan::{Kind, Scan};
use crate::vocabulary::{Use, VOCABULARY};

/// So many items between commas, each with its number at the end, are a list of prices.
const FEWEST_ITEMS: usize = 4;

/// Of the numbers that could be prices, those that are: the surest kind that occurs.
///
/// Decimals right beside a marked price count with it (`3.80 3.95/lb`); elsewhere they are part of the name. A bare
/// number counts only as the last of the line, set apart from the name or under a heading that says what numbers are.
pub(crate) fn chosen(scan: &Scan<'_>, all: Vec<PriceText>, expects_numbers: bool) -> Vec<PriceText> {
    let strongest = all.iter().map(|p| p.strength).max();
    match strongest {
        None => all,
        Some(Strength::Weak) => {
            let remark = starts_with(scan, Use::Remark);
            let last = all.into_iter().next_back().filter(|last| {
                let apart = last.first > 0
                    && (scan.kind(last.first - 1) == Some(Kind::Gap)
                        || (scan.kind(last.first - 1) == Some(Kind::Dash) && scan.spaced(last.first)));
                // `Ferraille légère : 140 (bouteilles refusées)`
                // So is last week's: `620  [640]`.
                let behind = last.last + usize::from(scan.kind(last.last) == Some(Kind::Gap));
                let remarked = scan.kind(behind) == Some(Kind::Open)
                    && scan.kind(scan.tokens.len() - 1) == Some(Kind::Close)
                    && !VOCABULARY.has_within(scan.between(last.last, scan.tokens.len()), Use::OnRequest)
                    && !(scan.word(last.first).len() == 3 && speaks_of_goods(scan.word(last.first)));
                let ends = remarked
                    || !(last.last..scan.tokens.len()).any(|i| {
                        matches!(scan.kind(i), Some(Kind::Word | Kind::Number | Kind::Plus | Kind::Fact))
                    });
                let plain = scan.word(last.first).bytes().all(|byte| byte.is_ascii_digit());
                let year = plain && last.low >= dec!(1990) && last.low < dec!(2100);
                // `12 lb` is a mass, and `165 gross ton` a price: nobody weighs in so many tons.
                let per_ton = last.per_ton() && last.low >= dec!(20);
                let unit_only = last.unit.is_some() && !per_ton;
                !remark
                    && ends
                    && last.first > 0
                    && (apart || expects_numbers || per_ton)
                    && (!year || expects_numbers)
                    && (!unit_only || apart)
            });
            last.into_iter().collect()
        }
        Some(strongest) => {
            let sure = |i: usize| all[i].strength == strongest;
            let touch = |i: usize, j: usize| all[i].last == all[j].first;
            let beside = |i: usize| {
                all[i].strength == Strength::Decimals
                    && (i > 0 && sure(i - 1) && touch(i - 1, i)
                        || i + 1 < all.len() && sure(i + 1) && touch(i, i + 1))
            };
            // In a line of several names, decimals with a name of their own are prices like the marked ones.
            let named = |i: usize| {
                let from = if i == 0 { 0 } else { all[i - 1].last };
                all[i].strength == Strength::Decimals
                    && (from..all[i].first).any(|at| matches!(scan.kind(at), Some(Kind::Word | Kind::Fact)))
            };
            // So are those with a name behind them: `$3.40 bright wire, 3.10 #2 copper and 1.90 brass`.
            let behind = |i: usize| {
                let joint = all[i].first.checked_sub(1);
                let parted =
                    joint.is_some_and(|at| matches!(scan.word(at), "," | ";") || scan.is(at, Use::SpanTo));
                let first = all.iter().position(|price| price.strength == strongest);
                all[i].strength == Strength::Decimals
                    && parted
                    && first.is_some_and(|first| first < i && scan.may_name(all[first].last))
                    && scan.may_name(all[i].last)
            };
            let several = all.len() >= 4 && (0..all.len()).filter(|&i| named(i)).count() >= 2;
            // `Schrott 165 €/t, Batterien 0,62`: set apart from each other, each is an item of its own.
            let apart = |i: usize| {
                let ends = |i: usize| {
                    let mark = scan.word(all[i].last);
                    all[i].last == scan.tokens.len()
                        || matches!(mark, "," | ";")
                        || scan.is(all[i].last, Use::SpanTo)
                        || scan.is(all[i].last, Use::If)
                        || mark == "." && scan.spaced(all[i].last + 1)
                };
                ends(i) && (i == 0 || ends(i - 1))
            };
            // `płyty główne 17, ram złoty 95, dyski 5,50`: in a list of items that each end with a number, a bare one is a price.
            let words = |i: usize| {
                let from = if i == 0 { 0 } else { all[i - 1].last };
                (from..all[i].first).any(|at| scan.kind(at) == Some(Kind::Word))
            };
            let item = |i: usize| apart(i) && words(i);
            // Two are, where both are of goods and no number can be an alloy's: `Gold RAM 22, silver RAM 8.50`.
            let of_goods = |i: usize| {
                let from = if i == 0 { 0 } else { all[i - 1].last };
                let number = scan.word(all[i].first);
                speaks_of_goods(scan.between(from, all[i].first))
                    && (number.len() < 3 || !speaks_of_goods(number))
            };
            let list = (0..all.len()).all(item)
                && (all.len() >= FEWEST_ITEMS || all.len() > 1 && (0..all.len()).all(of_goods));
            let bare = |i: usize| list && all[i].unit.is_none() && all[i].low.scale() == 0;
            let keep: Vec<bool> = (0..all.len())
                .map(|i| sure(i) || beside(i) || bare(i) || behind(i) || named(i) && (several || apart(i)))
                .collect();
            all.into_iter().zip(keep).filter_map(|(price, keep)| keep.then_some(price)).collect()
        }
    }
}
