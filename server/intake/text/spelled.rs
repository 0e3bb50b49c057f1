//! Amounts that are spelled out, as somebody wrote down what was said: `three seventy five`, `a dollar fifteen`, `fifty two cents`.

use crate::document::Line;
use crate::vocabulary::{Use, VOCABULARY};

/// So many of them are how somebody speaks of prices; fewer may be anything.
const FEWEST_SPELLED: usize = 4;

const ONES: [&str; 9] = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];
const TEENS: [&str; 10] = [
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
];
const TENS: [&str; 8] = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];
/// In front of an amount that nothing else marks as one.
const BEFORE_AMOUNT: [&str; 8] = ["is", "are", "at", "for", "pay", "paying", "pays", "re"];

/// The lines with such amounts in figures, where the text has several of them.
pub(super) fn in_figures(lines: Vec<Line>) -> Vec<Line> {
    let spelled: Vec<Vec<Amount>> = lines.iter().map(|line| amounts(&line.text)).collect();
    if spelled.iter().flatten().filter(|amount| amount.sure).count() < FEWEST_SPELLED {
        return lines;
    }
    let written = |(line, amounts): (Line, Vec<Amount>)| match amounts.is_empty() {
        true => line,
        false => Line { text: written(&line.text, &amounts), ..line },
    };
    lines.into_iter().zip(spelled).map(written).collect()
}

#[derive(Debug)]
struct Amount {
    start: usize,
    end: usize,
    figures: String,
    /// A currency or cents are named, or two numbers stand together as those of a price do.
    sure: bool,
}

/// A word in lower case, and where it stands.
struct Word {
    start: usize,
    end: usize,
    lower: String,
}

/// The amounts of a text, in order.
fn amounts(text: &str) -> Vec<Amount> {
    let mut amounts = Vec::new();
    // When the yard is open, and what it takes at the least, are told in numbers as well.
    if [Use::Opening, Use::Least].iter().any(|is| VOCABULARY.has_within(text, *is)) {
        return amounts;
    }
    let words = words(text);
    let mut at = 0;
    while at < words.len() {
        match amount(&words, at, text) {
            Some((figures, next, sure)) => {
                amounts.push(Amount { start: words[at].start, end: words[next - 1].end, figures, sure });
                at = next;
            }
            None => at += 1,
        }
    }
    amounts
}

/// The text with each of its amounts in figures.
fn written(text: &str, amounts: &[Amount]) -> String {
    let mut written = String::with_capacity(text.len());
    let mut from = 0;
    for amount in amounts {
        written.push_str(&text[from..amount.start]);
        written.push_str(&amount.figures);
        from = amount.end;
    }
    written.push_str(&text[from..]);
    written
}

fn words(text: &str) -> Vec<Word> {
    let mut words = Vec::new();
    let mut start = None;
    for (at, c) in text.char_indices().chain([(text.len(), ' ')]) {
        match (c.is_alphanumeric(), start) {
            (true, None) => start = Some(at),
            (false, Some(from)) => {
                words.push(Word { start: from, end: at, lower: text[from..at].to_lowercase() });
                start = None;
            }
            _ => {}
        }
    }
    words
}

/// The amount that begins at a word, the word behind it, and whether it is surely one.
fn amount(words: &[Word], at: usize, text: &str) -> Option<(String, usize, bool)> {
    // Only a blank or a hyphen stands within one.
    let joined = |next: usize| {
        next == at
            || words
                .get(next)
                .is_some_and(|word| matches!(text[words[next - 1].end..word.start].trim(), "" | "-"))
    };
    let is =
        |at: usize, any: &[&str]| joined(at) && words.get(at).is_some_and(|word| any.contains(&&*word.lower));
    let number = |at: usize| joined(at).then(|| below_hundred(words, at)).flatten();
    let counted = |at: usize| {
        let more = [
            "hundred", "thousand", "million", "percent", "gauge", "volt", "volts", "inch", "pound", "pounds",
            "street",
        ];
        is(at, &more)
    };
    let before = |any: &[&str]| at > 0 && any.contains(&&*words[at - 1].lower);
    // `number two twenty gauge`
    if before(&["number", "no", "grade", "class"]) {
        return None;
    }
    // `a dollar fifteen`, `a buck ten`, `two dollars and ten cents`
    let (whole, next) = match is(at, &["a"]) {
        true => (1, at + 1),
        false => number(at)?,
    };
    if is(at, &["a"]) && is(next, &["quarter"]) {
        return before(&BEFORE_AMOUNT).then(|| ("25¢".to_string(), next + 1, true));
    }
    if is(next, &["dollar", "dollars", "buck", "bucks"]) {
        let next = next + 1 + usize::from(is(next + 1, &["and"]) && number(next + 2).is_some());
        let (cents, next) = number(next).unwrap_or((0, next));
        let next = next + usize::from(cents > 0 && is(next, &["cents"]));
        return Some((format!("${whole}.{cents:02}"), next, true));
    }
    if is(at, &["a"]) || counted(next) {
        return None;
    }
    // `forty five to fifty cents`
    let upper = if is(next, &["to"]) { number(next + 1) } else { None };
    if let Some((most, end)) = upper.filter(|(_, end)| is(*end, &["cent", "cents"])) {
        return Some((format!("{whole}-{most}¢"), end + 1, true));
    }
    if is(next, &["cent", "cents"]) {
        return Some((format!("{whole}¢"), next + 1, true));
    }
    // `two and a quarter`
    if is(next, &["and"]) && is(next + 1, &["a"]) {
        let part = [("quarter", 25), ("half", 50)].into_iter().find(|(name, _)| is(next + 2, &[name]));
        return part.map(|(_, cents)| (format!("{whole}.{cents}"), next + 3, true));
    }
    // `three seventy five`, but `five five five`
    if let Some((cents, end)) =
        number(next).filter(|(cents, end)| *cents >= 10 && whole < 100 && !counted(*end))
    {
        return Some((format!("{whole}.{cents:02}"), end, true));
    }
    // `Lead is fifty eight.`: among prices in cents, a number at the end of what is said is another one.
    let ends =
        words.get(next).is_none_or(|word| text[words[next - 1].end..word.start].contains(['.', ',', ';']));
    (before(&BEFORE_AMOUNT) && whole >= 10 && ends).then(|| (format!("{whole}¢"), next, false))
}

/// A number below a hundred, and the word behind it: `seventy five`, `fifteen`.
fn below_hundred(words: &[Word], at: usize) -> Option<(usize, usize)> {
    let of = |list: &[&str], at: usize| {
        let word = words.get(at)?;
        list.iter().position(|name| *name == word.lower)
    };
    if let Some(tens) = of(&TENS, at) {
        let tens = 20 + 10 * tens;
        return Some(of(&ONES, at + 1).map_or((tens, at + 1), |ones| (tens + ones + 1, at + 2)));
    }
    let teens = of(&TEENS, at).map(|teens| (teens + 10, at + 1));
    teens.or_else(|| of(&ONES, at).map(|ones| (ones + 1, at + 1)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::Place;

    #[test]
    fn prices_as_they_are_spoken() {
        let said = [
            ("Number one copper is three seventy five.", "Number one copper is 3.75."),
            ("Yellow brass, two and a quarter.", "Yellow brass, 2.25."),
            ("Aluminum cans fifty-two cents.", "Aluminum cans 52¢."),
            ("Computer wire, a dollar fifteen.", "Computer wire, $1.15."),
            ("Christmas lights I got at a quarter.", "Christmas lights I got at 25¢."),
            ("Lead is fifty eight.", "Lead is 58¢."),
            ("Tube TVs fifteen dollars apiece.", "Tube TVs $15.00 apiece."),
            ("Number is five five five, oh one six three.", "Number is five five five, oh one six three."),
            ("Bring two hundred pounds or more.", "Bring two hundred pounds or more."),
            ("Cans forty five to fifty cents.", "Cans 45-50¢."),
            ("Number two twenty gauge at a dollar ten.", "Number two twenty gauge at $1.10."),
            ("Open at nine thirty, yard two.", "Open at nine thirty, yard two."),
        ];
        let lines = said.iter().map(|(text, _)| Line { place: Place::Line(1), text: text.to_string() });
        let written = in_figures(lines.collect());
        let written: Vec<&str> = written.iter().map(|line| &*line.text).collect();
        assert_eq!(written, said.map(|(_, figures)| figures));
    }

    #[test]
    fn a_few_numbers_in_words_stay_words() {
        let line = Line { place: Place::Line(1), text: "One dollar off two twenty pound bags.".to_string() };
        assert_eq!(in_figures(vec![line.clone()])[0].text, line.text);
    }
}
