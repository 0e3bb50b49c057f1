//! One line cut at its prices: which numbers are prices, and what is a name, a tier or a note between them.

mod behind;
mod chosen;
mod name;

use std::borrow::Cow;

use crate::context::{Context, heading_name, is_all_of_goods, is_heading, speaks_of_goods};
use crate::draft::{Charge, Draft, DraftPrice, second_price};
use crate::number::Marks;
use crate::price::{PriceText, Strength, UnitText};
use crate::scan::{Kind, Scan};
use crate::sheet::Doubt;
use crate::tier::{TierText, Within, of_heading, tier_at};
use crate::vocabulary::{Use, VOCABULARY};
use crate::wording::normal;
use behind::names_behind;
pub(crate) use behind::unit_before;
pub(crate) use chosen::chosen;
pub(crate) use name::trimmed;
use name::{before_condition, before_number, names, without_columns};

/// Words that end with a dot wherever they stand.
const ABBREVIATED: [&str; 33] = [
    "ca", "ga", "in", "ft", "lb", "lbs", "oz", "min", "max", "mind", "approx", "incl", "inkl", "excl",
    "exkl", "ex", "evtl", "bzw", "no", "nr", "env", "aprox", "rec", "gr", "st", "mm", "inc", "insul", "ins",
    "alum", "elec", "mat", "qual",
];

/// Whether a dot behind the word ends no sentence.
pub(crate) fn is_cut_short(word: &str) -> bool {
    ABBREVIATED.contains(&word.to_ascii_lowercase().as_str())
}

/// Letters of a word that may be cut short.
const LONGEST_SHORT: usize = 4;

/// What stands behind the last price is a tier if it has so few words; else it is a remark.
const MOST_TIER_WORDS: usize = 4;

/// Words before a colon that are a sentence, and no heading of what is behind it.
const FEWEST_SAID: usize = 5;

/// A name with its prices, as one line may hold several.
#[derive(Debug)]
pub(crate) struct Part {
    /// `None` where the line holds only a tier and a price.
    pub name: Option<String>,
    /// The name with its tier, where that may be one of pieces.
    pub whole: Option<String>,
    pub prices: Vec<(DraftPrice, Option<TierText>)>,
    pub note: Option<String>,
    pub doubts: Vec<Doubt>,
}

/// Cuts the line at its prices: what stands between two of them is a name, a tier, or nothing.
pub(crate) fn parts(scan: &Scan<'_>, prices: &[PriceText], draft: &Draft<'_>) -> Vec<Part> {
    let ends = [0].into_iter().chain(prices.iter().map(|price| price.last));
    let starts = prices.iter().map(|price| price.first).chain([scan.tokens.len()]);
    let several = prices.len() > 1;
    let mut between =
        ends.zip(starts).map(|(first, last)| Between::of(scan, first, last, several, draft)).peekable();
    if let Some(opening) = between.peek_mut() {
        opening.end_of_sentence();
        // `à votre charge 0,25 € – Écrans à tube`: who pays is no name.
        // So is `kosten € 10,- p/st beeldbuis tv`, and `any weight    charge 2.50` below a name.
        let named = opening.tier.is_some()
            || prices
                .last()
                .is_some_and(|price| speaks_of_goods(scan.between(price.last, scan.tokens.len())));
        let charges = |name: &String| (named || name.contains(' ')) && VOCABULARY.has(name, Use::Charge);
        opening.name = opening.name.take().filter(|name| !charges(name));
    }
    let names_first = between.peek().is_some_and(|opening| opening.name.is_some() || opening.tier.is_some())
        && !names_behind(scan, prices);
    if !names_first {
        between.next();
    }
    let mut parts: Vec<Part> = Vec::new();
    for price in prices {
        let mut beside = between.next().unwrap_or_default();
        // `flex with plugs on 1.15 but 1.35 if you cut them`
        if !parts.is_empty() {
            beside.name = beside.name.filter(|name| !VOCABULARY.has(name, Use::Otherwise));
        }
        // `$4.22/lb was $4.15`.
        // `inox 304 0,95 la settimana scorsa era 1,00`
        let past = |name: &str| VOCABULARY.has_within(name, Use::Past) && !is_all_of_goods(name);
        let was = beside.name.as_ref().is_some_and(|name| VOCABULARY.has(name, Use::Was) || past(name));
        if parts.is_empty() || !was {
            add(&mut parts, price, beside);
        }
    }
    if let (Some(part), Some(behind)) = (parts.last_mut(), between.next()) {
        part.tiers_stand_behind(&behind);
        part.finish(behind);
    }
    // `Stainless 304, brass 4.40, …`: among prices that are marked, one that is not may be part of the name.
    let marked = prices.iter().any(|price| price.strength > Strength::Weak);
    for part in parts.iter_mut().filter(|_| marked) {
        let bare =
            |price: &DraftPrice| matches!(price, DraftPrice::Text(text) if text.strength == Strength::Weak);
        if part.prices.iter().any(|(price, _)| bare(price)) {
            part.doubts.push(Doubt::BareNumber);
        }
    }
    // What stood behind its price may have told two apart.
    for part in parts.iter_mut().filter(|part| part.prices.len() > 1) {
        if part.prices[1..].iter().all(|(_, tier)| tier.is_some()) {
            part.doubts.clear();
        }
    }
    parts
}

/// The heading that opens a line of several names: `Boards: telecom $4.50, server $5.00`, `Per kilo: telecom 9.90, …`, or
/// `Boards - telecom 4.50, …`.
pub(crate) fn heading_within(parts: &mut [Part]) -> Option<HeadingWithin> {
    let [first, others @ ..] = parts else { return None };
    let dashed = |name: &'_ str| [" - ", " – "].iter().any(|dash| name.contains(dash));
    // `Copper - bright 5.60, Brass - mixed 3.30`: each has its own.
    let own = |part: &Part| {
        part.name.as_ref().is_some_and(|name| dashed(name) || VOCABULARY.has_within(name, Use::Group))
    };
    let name = first.name.as_ref().filter(|_| !others.is_empty())?;
    let behind_dash = || [" - ", " – "].iter().find_map(|dash| name.split_once(dash));
    let (heading, name) =
        name.split_once(": ").or_else(|| behind_dash().filter(|_| !others.iter().any(own)))?;
    let within = HeadingWithin::of(heading)?;
    first.name = Some(name.trim_start().to_string());
    Some(within)
}

/// A heading at the beginning of a line, and what it says of the prices in it.
#[derive(Debug, Clone)]
pub(crate) struct HeadingWithin {
    /// What the names behind it are completed by; `None` where it tells only how all are priced.
    pub goods: Option<String>,
    pub context: Context,
}

impl HeadingWithin {
    /// What stands before the colon or dash, if it is such a heading.
    pub fn of(text: &str) -> Option<HeadingWithin> {
        // `Boards this week per lb`: the heading is over where it begins to speak.
        let scan = Scan::of(text);
        let speaks = |at: &usize| scan.is(*at, Use::Sentence) || scan.is(*at, Use::Per);
        let end = (0..scan.tokens.len()).find(speaks).unwrap_or(scan.tokens.len());
        // `Oh and computers`, `y de electronica`
        let leads = |at: &usize| scan.is(*at, Use::Spoken) || scan.is(*at, Use::Lead);
        let begin = (0..end).find(|at| !leads(at)).unwrap_or(0);
        let short = heading_name(scan.between(begin, end));
        let of_goods = is_heading(short) && VOCABULARY.has_within(short, Use::Group);
        let of_prices = end == 0 && Context::of(text, true).unit.is_some();
        (of_goods || of_prices).then(|| HeadingWithin {
            goods: of_goods.then(|| short.to_string()),
            context: Context::of(text, !of_goods),
        })
    }
}

/// Adds a price with what stands beside it: to a new part where that is a name, else to the last part.
fn add(parts: &mut Vec<Part>, price: &PriceText, mut beside: Between) {
    let mut price = price.clone();
    // `2.90 (under 100 lb) 3.10 (100+ lb)`, but `(under 100 lb) 2.90 (100+ lb) 3.10`.
    match parts.last_mut().and_then(|part| part.prices.last_mut()) {
        Some((_, tier @ None)) => *tier = beside.behind,
        _ => beside.tier = beside.tier.or(beside.behind),
    }
    price.unit = price.unit.or(beside.unit);
    let doubtful = beside.after_number && price.strength == Strength::Weak;
    let entry = (DraftPrice::Text(price.clone()), beside.tier);
    match parts.last_mut() {
        Some(part) if beside.name.is_none() => {
            let first = part.prices.first().map(|(price, _)| price);
            if entry.1.is_none()
                && let Some(DraftPrice::Text(first)) = first
            {
                part.doubts.extend(second_price(first, &price));
                part.doubts.dedup();
            }
            part.prices.push(entry);
        }
        _ => parts.push(Part {
            name: beside.name,
            whole: beside.whole,
            doubts: doubtful.then_some(Doubt::BareNumber).into_iter().collect(),
            prices: vec![entry],
            note: None,
        }),
    }
}

impl Part {
    pub fn asking(name: &str, price: DraftPrice) -> Part {
        Part {
            name: Some(name.to_string()),
            whole: None,
            prices: vec![(price, None)],
            note: None,
            doubts: Vec::new(),
        }
    }

    /// `500 lb and up: call`: what is on request is not the tier, but what the name above it is of.
    pub fn of_tier(self, marks: Marks) -> Part {
        let tier = self.name.as_deref().and_then(|name| of_heading(&Scan::of(name), marks));
        let Some((within, true)) = tier else { return self };
        let prices = self.prices.into_iter().map(|(price, of)| (price, of.or(Some(within.tier)))).collect();
        Part { name: None, prices, ..self }
    }

    /// `7,80 até 100 kg, 8,20 acima de 100 kg`, `2,80 jusqu'à 50 kg, 3,15 au-delà`: each price stands before its tier.
    fn tiers_stand_behind(&mut self, behind: &Between) {
        let beyond = |before: TierText| {
            let text = behind.text.trim_matches(|c: char| !c.is_alphanumeric());
            let from = before.to.filter(|_| VOCABULARY.has(text, Use::Beyond))?;
            Some(TierText { from: Some(from), to: None, unit: before.unit })
        };
        let [(_, None), (_, Some(first)), ..] = self.prices.as_slice() else { return };
        let last = self.prices.last().and_then(|(_, tier)| *tier);
        if first.from.is_some() && first.to.is_none()
            || self.prices[1..].iter().any(|(_, tier)| tier.is_none())
        {
            return;
        }
        if let Some(tier) = behind.tier.or(behind.behind).or_else(|| beyond(last?)) {
            let tiers =
                self.prices[1..].iter().map(|(_, tier)| *tier).chain([Some(tier)]).collect::<Vec<_>>();
            self.prices.iter_mut().zip(tiers).for_each(|(price, tier)| price.1 = tier);
        }
    }

    /// Takes in what stands behind the last price of the line: a tier, or a note.
    fn finish(&mut self, behind: Between) {
        let long = behind.name.is_some() && behind.text.split_whitespace().count() > MOST_TIER_WORDS;
        if long && behind.behind.is_none() {
            self.note = Some(behind.text);
            return;
        }
        if let Some((_, tier @ None)) = self.prices.last_mut() {
            *tier = behind.behind.or(behind.tier);
        }
        self.note = (behind.name.is_some() || behind.remark).then_some(behind.text);
    }
}

/// What stands between two prices, or between a price and an end of the line.
#[derive(Debug, Default)]
struct Between {
    name: Option<String>,
    /// The name with its tier, where that may be one of pieces.
    whole: Option<String>,
    /// All of it, as it stands.
    text: String,
    tier: Option<TierText>,
    /// A tier in brackets right behind the price before: it is that price's, if that has none yet.
    behind: Option<TierText>,
    /// The unit of the price behind it, where that has a column of its own: `Shred    GT    151.00`.
    unit: Option<UnitText>,
    /// Another number stood between the name and the price, in a column of its own.
    after_number: bool,
    /// It is nothing but a remark in brackets.
    remark: bool,
}

impl Between {
    /// What greets the reader before the first name is no part of it: `Hi, it's Lou. Prices today: bright`.
    fn end_of_sentence(&mut self) {
        let Some(name) = &self.name else { return };
        // `Hi, prices today: bright`: what stands before the colon speaks of all that follows.
        if let Some((before, after)) = name.split_once(": ")
            && VOCABULARY.has_within(before, Use::WholeSheet)
            && after.chars().any(char::is_alphabetic)
        {
            self.name = Some(after.trim().to_string());
            return;
        }
        // `Steel's rubbish at the minute: light gauge`, `Per il rame: Rame lucido`
        if let Some((before, after)) = name.split_once(": ")
            && (before.split_whitespace().count() >= FEWEST_SAID
                || VOCABULARY.has(before.split(' ').next().unwrap_or_default(), Use::For))
            && HeadingWithin::of(before).is_none()
            && speaks_of_goods(after)
        {
            self.name = Some(after.trim().to_string());
            return;
        }
        let greets = name.split_once('!').is_some_and(|(before, _)| before.split_whitespace().count() < 3);
        let Some((_, last)) = name.rsplit_once(['.', '!', '?']).filter(|(before, last)| {
            // `Morning pal. Bright wire`
            let words = before.split_whitespace().count();
            let apart = words == 2 && !speaks_of_goods(before) && speaks_of_goods(last);
            last.starts_with(' ') && (greets || apart || words >= 3) && last.chars().any(char::is_alphabetic)
        }) else {
            return;
        };
        // `Wire, 16 ga. or heavier`: what is cut short ends no sentence.
        let short = name.strip_suffix(last).and_then(|before| {
            let word = before.trim_end_matches(['.', '!', '?']).rsplit(' ').next()?;
            // `wsad pow. 6 mm`: nor does a short word before a figure or a small letter.
            let goes_on = last.trim_start().starts_with(|c: char| c.is_ascii_digit() || c.is_lowercase());
            let one_letter = last.split_whitespace().next().is_some_and(|first| first.len() == 1);
            let short = word.chars().count() <= LONGEST_SHORT && (goes_on || one_letter);
            // `Kabel m. Stecker`
            let known =
                word.chars().count() == 1 && word.starts_with(char::is_lowercase) || is_cut_short(word);
            Some(before.ends_with('.') && (known || short))
        });
        if short == Some(true) {
            return;
        }
        // `Lead acid batteries (min. 200 lb)`: no sentence ends inside brackets.
        let opened = |text: &str| text.matches(['(', '[']).count() > text.matches([')', ']']).count();
        if name.strip_suffix(last).is_some_and(opened) {
            return;
        }
        let scan = Scan::of(last);
        let first = (0..scan.tokens.len())
            .find(|&at| !VOCABULARY.has(scan.word(at), Use::WholeSheet) && names(&scan, at))
            .unwrap_or(0);
        self.name = trimmed(&scan, first, scan.tokens.len()).map(str::to_string);
    }

    /// What these tokens of a line hold that has one price, or `several`.
    fn of(scan: &Scan<'_>, first: usize, last: usize, several: bool, draft: &Draft<'_>) -> Between {
        let behind = behind_price(scan, first, last, draft);
        let start = first;
        let first = behind.map_or(first, |(_, next)| next);
        // `4,50 euro per ogni notebook`, `€3.40 on the network cable`
        let first = if first > 0 && (scan.is(first, Use::For) || scan.word(first) == "on") {
            (first + 1..last).find(|&at| !scan.is(at, Use::Lead)).unwrap_or(first)
        } else {
            first
        };
        // The tier stands at one end of the name, or is all there is; else it is cut from it.
        let tier =
            Within::find(scan, draft.marks, first, last).filter(|tier| several || !tier.is_of_a_piece(scan));
        let (first, last) = match tier.filter(|tier| !tier.in_brackets()) {
            Some(tier) if trimmed(scan, tier.next, last).is_none() => (first, tier.at),
            Some(tier) if trimmed(scan, first, tier.at).is_none() => (tier.next, last),
            _ => (first, last),
        };
        // A remark in brackets between two prices is about the first of them.
        let remark = first > 0
            && scan.kind(first) == Some(Kind::Open)
            && (first..last)
                .rev()
                .find(|&i| scan.kind(i) != Some(Kind::Slash))
                .is_some_and(|i| scan.kind(i) == Some(Kind::Close));
        // `… cast 70. SS 55c`: a sentence that ended with a number is over.
        let begins = (first..last)
            .rev()
            .find(|&at| {
                let ended = at > first
                    && (matches!(scan.kind(at - 1), Some(Kind::Number | Kind::Fact | Kind::Close))
                        || scan.is(at - 1, Use::OnRequest));
                scan.word(at) == "." && ended && scan.spaced(at + 1) && scan.kind(at + 1) == Some(Kind::Word)
            })
            .map_or(first, |at| at + 1);
        let begins = if begins == first { behind_remark(scan, first, last) } else { begins };
        // `brass 2.41 (clean only), rads 2.05`: what stands in brackets is about the price before them.
        let closed = (begins..last).find(|&at| scan.kind(at) == Some(Kind::Close));
        let begins = match closed {
            Some(at) if first > 0 && scan.kind(begins) == Some(Kind::Open) && scan.word(at + 1) == "," => {
                at + 2
            }
            _ => begins,
        };
        let (begins, ends, unit) = without_columns(scan, begins, before_condition(scan, begins, last));
        let number = before_number(scan, begins, ends);
        let ends = number.unwrap_or(ends);
        // `5.80, si me juntan más de 1 tonelada 6.20` and `.30    PALLET (2000 lb+) .34` are of one name.
        let of_one =
            several && first > 0 && tier.is_some_and(|tier| is_of_large_lots(scan, start, ends, &tier));
        let name = trimmed(scan, begins, ends).filter(|_| !remark && !of_one);
        let cut = |name: &str| tier.and_then(|tier| tier.cut_from(scan, name));
        let text = scan.between(if behind.is_some() { start } else { first }, last);
        let bare = tier.is_some_and(|tier| tier.tier.takes_unit_of_price());
        Between {
            whole: name.filter(|name| bare && cut(name).is_some()).map(str::to_string),
            name: name.map(|name| cut(name).unwrap_or_else(|| name.to_string())),
            text: text.trim_matches([' ', '\t', ',', ';', '-', '|']).to_string(),
            tier: tier.map(|tier| tier.tier),
            behind: behind.map(|(tier, _)| tier),
            unit,
            after_number: number.is_some(),
            remark: remark || behind.is_some(),
        }
    }
}

/// Where the next name begins, where a remark stands behind the price: `ext cords 1.15 with the ends cut, xmas lights .45`.
fn behind_remark(scan: &Scan<'_>, first: usize, last: usize) -> usize {
    // `No. 1 copper` begins a name.
    let numbered = scan.is(first, Use::Label)
        && [first + 1, first + 2].iter().any(|&at| scan.kind(at) == Some(Kind::Fact));
    let remarks = [Use::Lead, Use::If, Use::Absent, Use::Beside];
    if first == 0 || numbered || !remarks.iter().any(|is| scan.is(first, *is)) {
        return first;
    }
    let over = |at: usize| matches!(scan.word(at), "," | ";" | ".") && scan.spaced(at + 1) && at + 1 < last;
    (first..last).rev().find(|&at| over(at)).map_or(first, |mark| mark + 1)
}

/// Whether what stands around a tier tells only for which lots its price is.
fn is_of_large_lots(scan: &Scan<'_>, first: usize, last: usize, tier: &Within) -> bool {
    let around = |at: &usize| !(tier.at..tier.next).contains(at) && scan.kind(*at) == Some(Kind::Word);
    let words: Vec<usize> = (first..last).filter(around).collect();
    let conditional = words.first().is_some_and(|&at| at < tier.at && scan.is(at, Use::If));
    conditional || !words.is_empty() && words.iter().all(|&at| scan.is(at, Use::Bulk))
}

/// A tier in brackets right behind a price, and the token behind them and a comma: `3.10 (500+ lb), brass`.
fn behind_price(scan: &Scan<'_>, first: usize, last: usize, draft: &Draft<'_>) -> Option<(TierText, usize)> {
    let opens = scan.kind(first) == Some(Kind::Open);
    // `5.40 (5.50 over 500 lb), #2`
    let opened = || {
        let count = |kind| (0..first).filter(|&at| scan.kind(at) == Some(kind)).count();
        count(Kind::Open) > count(Kind::Close)
    };
    if first == 0 || !opens && !opened() {
        return None;
    }
    let begin = first + usize::from(opens);
    let (tier, close) = tier_at(scan, draft.marks, begin, false).filter(|(_, close)| *close < last)?;
    let mark = usize::from(close + 1 < last && matches!(scan.word(close + 1), "," | ";"));
    (scan.kind(close) == Some(Kind::Close)).then_some((tier, close + 1 + mark))
}

/// Whether words of the line say that the outlet charges. One word may belong to the name (`charge controller`).
pub(crate) fn charge(text: &str) -> Charge {
    charge_within(&normal(&without_us_money(text)))
}

/// `we pay US dollars` and `what we pay, US$/lb` without what makes `pay us` of them.
pub(crate) fn without_us_money(text: &str) -> Cow<'_, str> {
    const MONEY: [&str; 4] = ["$", " dollar", " funds", " currency"];
    // Of the same length, so that places in one are places in the other.
    let lower = text.to_ascii_lowercase();
    // `you pay us $15`, but `we pay US $2.70`.
    let of_money = |at: usize| {
        let behind = &lower[at + "us".len()..];
        let begins = !lower[..at].ends_with(char::is_alphanumeric);
        let money = || MONEY.iter().any(|money| behind.starts_with(money));
        begins && (money() || behind.starts_with(" $") && text[at..].starts_with("US"))
    };
    let marks: Vec<usize> = lower.match_indices("us").map(|(at, _)| at).filter(|&at| of_money(at)).collect();
    if marks.is_empty() {
        return Cow::Borrowed(text);
    }
    let mut rest = String::with_capacity(text.len());
    let mut from = 0;
    for at in marks {
        rest.push_str(&text[from..at]);
        from = at + "us".len();
    }
    rest.push_str(&text[from..]);
    Cow::Owned(rest)
}

/// The same of a text in its normal form.
pub(crate) fn charge_within(normal: &str) -> Charge {
    // `£1.50 a kilo to us`, but `worth £1.10 to us`.
    if normal.ends_with(" to us") && !normal.contains("worth") {
        return Charge::Sure;
    }
    match VOCABULARY.longest_within(normal, Use::Charge) {
        0 => Charge::No,
        1 => Charge::Perhaps,
        _ => Charge::Sure,
    }
}

pub(crate) fn starts_with(scan: &Scan<'_>, is: Use) -> bool {
    // `No 2 copper` and `No. 2 copper` are no remarks.
    let number = if scan.word(1) == "." { 2 } else { 1 };
    if scan.is(0, Use::Label) && scan.kind(number) == Some(Kind::Fact) {
        return false;
    }
    let named = || {
        let of_price = |at: &usize| scan.kind(*at) == Some(Kind::Number) || scan.is_currency(*at);
        let number = (0..scan.tokens.len()).find(of_price);
        is_all_of_goods(scan.between(0, number.unwrap_or(scan.tokens.len())))
    };
    (1..=2).any(|length| {
        let words = scan.between(0, length);
        scan.kind(0) == Some(Kind::Word) && VOCABULARY.has(words, is) && !(is == Use::Remark && named())
    })
}
