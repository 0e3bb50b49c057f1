//! What is known of an outlet before its sheet is read, and what can be told from a sheet whose outlet is not known.

mod address;

use std::collections::HashMap;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use trade::mass::MassUnit;
use trade::money::{Currency, PriceUnit};

use address::currency_of_address;

use crate::date::DateOrder;
use crate::document::{Cell, Document};
use crate::lines::is_exchange_rate;
use crate::number::Habit;
use crate::scan::{Kind, Scan};
use crate::table::names_a_quote;
use crate::vocabulary::{Use, VOCABULARY};
use crate::wording::normal_wording;

/// What is known of the outlet before its sheet is read. `today` is passed in because nothing here reads a clock.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hints {
    /// What the outlet quotes in: the meaning of a bare `$`, and of no sign at all.
    pub currency: Currency,
    /// What the outlet usually quotes per.
    pub unit: Option<PriceUnit>,
    pub today: Date,
}

/// So many words show a language.
const FEWEST_WORDS: u32 = 2;

impl Hints {
    /// The decimal mark that is usual where the outlet's currency is.
    pub(crate) fn usual_habit(&self) -> Habit {
        use Currency::{BRL, CZK, DKK, EUR, NOK, PLN, SEK, ZAR};
        if matches!(self.currency, BRL | CZK | DKK | EUR | NOK | PLN | SEK | ZAR) {
            Habit::Comma
        } else {
            Habit::Point
        }
    }

    pub(crate) fn date_order(&self) -> DateOrder {
        match self.currency {
            Currency::USD => DateOrder::MonthFirst,
            Currency::CAD => DateOrder::Either,
            _ => DateOrder::DayFirst,
        }
    }

    /// What the document itself shows of an outlet that is not known: the currency that it names most, or the one of
    /// its address or language, and the unit usual with it (common practice, no source).
    pub(crate) fn shown_by(document: &Document, today: Date) -> Hints {
        let mut votes: HashMap<Currency, u32> = HashMap::new();
        let mut letters: HashMap<Currency, u32> = HashMap::new();
        let mut languages: HashMap<Currency, u32> = HashMap::new();
        let mut dollars: HashMap<Currency, u32> = HashMap::new();
        let mut shared: Option<&[Currency]> = None;
        let (mut in_pounds, mut in_kilos, mut in_cents) = (false, false, false);
        let mut order: Vec<Currency> = Vec::new();
        let mut address = None;
        // `LME Copper | US$9,905/t`
        let quoted = |text: &str| names_a_quote(&Scan::of(text));
        for text in document.texts_but(quoted) {
            address = address.or_else(|| currency_of_address(text));
            let scan = Scan::of(text);
            // `Dólar: $18.42 · Cobre bolsa: 4.61 USD/lb`
            if is_exchange_rate(&scan) || VOCABULARY.has(scan.word(0), Use::Market) {
                continue;
            }
            for at in (0..scan.tokens.len()).filter(|&at| scan.kind(at) == Some(Kind::Word)) {
                let counted = scan.kind(at + 1) == Some(Kind::Slash)
                    || at > 0 && scan.kind(at - 1) == Some(Kind::Number) && !scan.spaced(at)
                    || scan.word(at).len() > 1;
                if counted && scan.is(at, Use::Pence) {
                    // `p/kg` is `per kg` in other languages, and in pence only where it is in English; `45p/kg` is.
                    let number = at > 0 && scan.kind(at - 1) == Some(Kind::Number);
                    let letter = !number && scan.word(at).len() == 1;
                    let votes = if letter { &mut letters } else { &mut votes };
                    *votes.entry(Currency::GBP).or_default() += 1;
                }
                in_cents |= scan.word(at).eq_ignore_ascii_case("cents");
                match scan.currencies(at) {
                    Some([one]) => {
                        *votes.entry(*one).or_default() += 1;
                        order.push(*one);
                    }
                    // Of a sign and a word that both can mean several, what both can mean: `$`, and `pesos`.
                    Some(several @ [_, ..]) => {
                        let both = |before: &&[Currency]| {
                            several.iter().any(|currency| before.contains(currency))
                                && before.len() < several.len()
                        };
                        shared = shared.filter(both).or(Some(several));
                    }
                    _ => {}
                }
            }
            for word in normal_wording(text).split(' ') {
                in_pounds |= matches!(word, "lb" | "lbs" | "libra" | "libras" | "pound" | "pounds");
                in_kilos |= matches!(word, "kg" | "kilo" | "kilos");
                if let Some(currency) = VOCABULARY.language_currency(word) {
                    *languages.entry(currency).or_default() += 1;
                }
                if let Some(currency) = VOCABULARY.language_dollars(word) {
                    *dollars.entry(currency).or_default() += 1;
                }
            }
        }
        for cell in document.cells() {
            if let Cell::Number { said, .. } = cell
                && let [one] = said.currencies.as_slice()
            {
                *votes.entry(*one).or_default() += 1;
            }
        }
        // Nobody weighs in pounds where dollars are pesos.
        dollars
            .retain(|currency, words| *words >= FEWEST_WORDS && !(in_pounds && *currency == Currency::MXN));
        let of_country = |currency: &&Currency| {
            document.country.as_ref().is_some_and(|country| currency.used_by().contains(country))
        };
        let by_country = shared.and_then(|currencies| currencies.iter().find(of_country)).copied();
        let address = address.filter(|address| shared.is_none_or(|shared| shared.contains(address)));
        let shared = shared.and_then(|currencies| currencies.first().copied());
        let by_kilo = (in_kilos && !in_pounds).then_some(Currency::AUD);
        // `$` on a sheet in French is Canadian.
        let shared = match shared {
            // Who weighs in kilos and not in pounds, in English, pays no American ones.
            Some(Currency::USD) => by_country.or_else(|| most(dollars, &[])).or(by_kilo).or(shared),
            // Nor does who counts in `cents per kilo`.
            None if in_cents && languages.keys().all(|currency| *currency == Currency::USD) => by_kilo,
            other => other,
        };
        // A language says nothing of dollars: English is spoken where they pay in others, and in pence.
        let by_language = most(languages, &[]).filter(|currency| *currency != Currency::USD);
        let currency = most(votes, &order)
            .or(address)
            .or(shared)
            .or(by_language)
            .or_else(|| most(letters, &[]))
            .unwrap_or(Currency::USD);
        let unit = match currency {
            Currency::USD | Currency::CAD => MassUnit::Pound,
            _ => MassUnit::Kilogram,
        };
        Hints { currency, unit: Some(PriceUnit::Mass(unit)), today }
    }
}

/// The currency with most votes; of equals the first that is named, or the first by its code.
fn most(votes: HashMap<Currency, u32>, order: &[Currency]) -> Option<Currency> {
    let place = |currency: &Currency| order.iter().position(|other| other == currency).unwrap_or(usize::MAX);
    votes
        .into_iter()
        .max_by(|(a, one), (b, other)| {
            one.cmp(other).then(place(b).cmp(&place(a))).then(b.code().cmp(a.code()))
        })
        .map(|(currency, _)| currency)
}
