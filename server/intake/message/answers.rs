//! Answers that are nothing but a price, where what they are of stands in the question: `cat5?`, and below it `1.80`.

use crate::context::speaks_of_goods;
use crate::number::{Habit, Marks};
use crate::price::{self, Strength};
use crate::scan::{Kind, Scan};
use crate::vocabulary::Use;

/// Which sentence of a question names what it is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Asked {
    /// `1. PC motherboards, about 120 lb. Steel brackets are off`
    First,
    /// `Fair enough. Electric motors?`
    Last,
}

/// The answer behind the name that stands in the question; `None` where the answer names something itself, or the
/// question nothing.
pub(super) fn answered(question: &str, asked: Asked, answer: &str) -> Option<String> {
    let answer = answer.trim();
    let scan = Scan::of(answer);
    let prices = price::prices(&scan, Marks::of(scan.numbers(), Habit::Point));
    let price = prices.first().filter(|price| price.strength > Strength::Weak)?;
    // `I'd have to charge you $15 each for those`
    let of_those = price.strength > Strength::Decimals
        && prices.len() == 1
        && !(0..scan.tokens.len()).any(|at| is_of_the_trade(&scan, at) && !scan.is(at, Use::Charge));
    // `7.60 for bright wire` names what it is of, and so does `$38 perfil limpio`.
    let more = (price.last + 1..scan.tokens.len()).any(|at| is_of_the_trade(&scan, at));
    let names = more && (scan.is(price.last, Use::For) || is_of_the_trade(&scan, price.last));
    if names || price.first > 0 && !of_those {
        return None;
    }
    Some(format!("{}: {answer}", name_in(question, asked)?))
}

/// From the first to the last word of the trade in the sentence, without how much there is of it.
fn name_in(question: &str, asked: Asked) -> Option<String> {
    let scan = Scan::of(question);
    let end = scan.tokens.len();
    let ends = |at: usize| at == end || matches!(scan.word(at), "." | "!" | "?") && scan.spaced(at + 1);
    let ended: Vec<usize> = (0..=end).filter(|&at| ends(at)).collect();
    let mut sentences = ended.iter().scan(0, |from, &to| Some(std::mem::replace(from, to + 1)..to));
    let names = |sentence: &std::ops::Range<usize>| sentence.clone().any(|at| is_of_the_trade(&scan, at));
    let sentence = match asked {
        Asked::First => sentences.find(names),
        Asked::Last => sentences.filter(names).last(),
    }?;
    let first = sentence.clone().find(|&at| is_of_the_trade(&scan, at))?;
    // `hard drives - 65 of them`
    let counted =
        (first..sentence.end).find(|&at| scan.kind(at) == Some(Kind::Number)).unwrap_or(sentence.end);
    let last = (first..counted).rev().find(|&at| is_of_the_trade(&scan, at))?;
    // `motor de geladeira`
    let joins = |at: usize| scan.is(at, Use::Lead) && !scan.word(at).contains(char::is_uppercase);
    let last = if joins(last + 1) && scan.kind(last + 2) == Some(Kind::Word) { last + 2 } else { last };
    // `cards (video, sound, modem)`
    let opened = (first..=last).rev().find(|&at| matches!(scan.kind(at), Some(Kind::Open | Kind::Close)));
    let close = opened
        .filter(|&at| scan.kind(at) == Some(Kind::Open))
        .and_then(|_| (last..sentence.end).find(|&at| scan.kind(at) == Some(Kind::Close)));
    Some(scan.between(first, close.unwrap_or(last) + 1).to_string())
}

fn is_of_the_trade(scan: &Scan<'_>, at: usize) -> bool {
    let idle = [Use::BeforePrice, Use::Lead, Use::Sentence, Use::Filler, Use::Opening]
        .iter()
        .any(|is| scan.is(at, *is));
    matches!(scan.kind(at), Some(Kind::Word | Kind::Fact)) && !idle && speaks_of_goods(scan.word(at))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_question_names_what_an_answer_is_of() {
        let told = |question, answer| answered(question, Asked::Last, answer);
        assert_eq!(told("cat5?", "1.80").as_deref(), Some("cat5: 1.80"));
        assert_eq!(told("Fair enough. Electric motors?", "60p").as_deref(), Some("Electric motors: 60p"));
        assert_eq!(told("motor de geladeira?", "3,20").as_deref(), Some("motor de geladeira: 3,20"));
        assert_eq!(told("hows cable", "Twin & earth £2.90"), None);
        assert_eq!(told("when do u pay", "2.30"), None);
        assert_eq!(told("what about network cable?", "7.60 for bright wire"), None);
        assert_eq!(told("y el aluminio?", "$38 perfil limpio"), None);
        assert_eq!(told("baterías?", "$13 batería de carro"), None);
        assert_eq!(
            told("hard drives?", "$0.45 with boards").as_deref(),
            Some("hard drives: $0.45 with boards")
        );
        let quoted = |question, answer| answered(question, Asked::First, answer);
        assert_eq!(
            quoted("1. PC motherboards, about 120 lb", "1.95").as_deref(),
            Some("PC motherboards: 1.95")
        );
        assert_eq!(
            quoted("6 old tube monitors", "I'd have to charge you $15 each for those").as_deref(),
            Some("tube monitors: I'd have to charge you $15 each for those")
        );
    }
}
