//! The currency of the country that an outlet's address is in.

use trade::money::Currency;

use crate::context::speaks_of_goods;
use crate::vocabulary::VOCABULARY;
use crate::wording::{normal_wording, with_normal};

/// The most words that a place is called by: `New South Wales`.
const MOST_WORDS: usize = 3;

/// What is paid in where the address in a text ends: `Moss Lake, Ontario`, `Wattlebank QLD 4999`, `Stoat Lake ON K0L 1B2`.
///
/// A place counts only at the end of an address, so that `Ontario, California` and `Alberta Street` say nothing.
pub(super) fn currency_of_address(text: &str) -> Option<Currency> {
    let words: Vec<&str> = text.split_whitespace().collect();
    (1..words.len()).find_map(|at| {
        if is_postal_code(words[at], words.get(at + 1).copied().unwrap_or_default()) {
            return Some(Currency::CAD);
        }
        // Behind the town, or a comma.
        let before = words[at - 1];
        if !words[at].starts_with(char::is_uppercase)
            || !before.starts_with(|c: char| c.is_uppercase() || c.is_ascii_digit())
        {
            return None;
        }
        if !with_normal(words[at], |word| VOCABULARY.starts_a_place(word)) {
            return None;
        }
        let longest = (1..=MOST_WORDS.min(words.len() - at)).rev();
        let (currency, length) = longest.into_iter().find_map(|length| {
            let name = words[at..at + length].join(" ");
            Some((VOCABULARY.currency_of_place(&normal_wording(&name))?, length))
        })?;
        let (place, next) = (words[at + length - 1], words.get(at + length).copied());
        // `ON` and `AB` are words as well, and `Laptop MB` is a board.
        let short = place.trim_end_matches(is_mark).len() <= 3;
        let spelled = words[at].chars().all(|c| c.is_uppercase() || is_mark(c));
        let code = next.is_some_and(|next| next.len() == 4 && next.bytes().all(|byte| byte.is_ascii_digit()));
        let bare = || !text.contains(|c: char| c.is_ascii_digit()) && !speaks_of_goods(text);
        let sure = !short
            || spelled && (before.ends_with(',') || code || bare() && text.contains(char::is_lowercase));
        (sure && ends_address(place, next)).then_some(currency)
    })
}

fn is_mark(c: char) -> bool {
    !c.is_alphanumeric()
}

/// Whether an address ends with a place: nothing comes behind it, another sentence, or its postal code.
fn ends_address(place: &str, next: Option<&str>) -> bool {
    place.ends_with(['.', ')', ';'])
        || next.is_none_or(|next| {
            let code = next.contains(|c: char| c.is_ascii_digit()) || next.starts_with(is_mark);
            code && !place.ends_with(',')
        })
}

/// The two halves of a Canadian postal code: letters and digits in turn.
fn is_postal_code(first: &str, second: &str) -> bool {
    let half = |text: &str, digit_first: bool| {
        text.len() == 3
            && text.chars().enumerate().all(|(at, c)| {
                if (at % 2 == 0) == digit_first { c.is_ascii_digit() } else { c.is_ascii_uppercase() }
            })
    };
    half(first, false) && half(second.trim_end_matches(is_mark), true)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_ends_with_its_country() {
        let told = |text| currency_of_address(text).map(|currency| currency.code());
        assert_eq!(told("4 Gravel Pit Road, Stoat Lake, Ontario"), Some("CAD"));
        assert_eq!(told("Pinegate Salvage, Moss Lake ON"), Some("CAD"));
        assert_eq!(told("12 Mill St, Stoat Lake, ON K0L 1B2"), Some("CAD"));
        assert_eq!(told("Lot 6 Saltbush Drive, Wattlebank QLD 4999"), Some("AUD"));
        assert_eq!(told("22 Weka St, Kohanga Flat, New Zealand. Rates this week"), Some("NZD"));
        assert_eq!(told("Calle Mezquite 40, San Jacinto del Llano, México. cerramos a las 6"), Some("MXN"));
        assert_eq!(told("8 Adobe Rd, Dry Wells, New Mexico"), Some("USD"));
        for text in [
            "2200 Fourth St, Ontario, California",
            "14 Alberta Street",
            "HARD DRIVES BOARD ON",
            "Batteries with the clips on",
            "We ship to Canada and back",
            "We buy from all over the United States and Canada.",
            "Laptop MB",
            "Hard Drives w/ Board ON  $0.80",
            "Preise AB 500 kg",
            "",
        ] {
            assert_eq!(told(text), None, "{text}");
        }
    }
}
