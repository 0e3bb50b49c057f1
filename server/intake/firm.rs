//! The yard's own name at the head of its sheet, which reads like a heading: `LAKESIDE IRON & METAL`.

use crate::draft::Charge;
use crate::parts::charge_within;
use crate::vocabulary::{Use, Uses, VOCABULARY};
use crate::wording::normal;
use crate::words::stem;

/// A shorter word that no grade has may be an article or an abbreviation.
const SHORTEST_NAME: usize = 4;

/// Whether a text is the name of a firm: it has words of one, and one that says nothing in the trade.
pub(crate) fn is_firm(text: &str) -> bool {
    let normal = normal(text);
    VOCABULARY.is_within(&normal, Use::Firm) && has_a_name(&normal) && charge_within(&normal) == Charge::No
}

/// Whether a text has a word that may be a name: it means nothing in the trade.
pub(crate) fn may_be_firm(text: &str) -> bool {
    has_a_name(&normal(text))
}

fn has_a_name(normal: &str) -> bool {
    normal.split(' ').any(|word| {
        let known = VOCABULARY.is_own(word)
            || VOCABULARY.is_own(&stem(word))
            || VOCABULARY.is_loan(word)
            || VOCABULARY.is_idle(word)
            || VOCABULARY.english(word).is_some()
            || VOCABULARY.uses(word) != Uses::default();
        !known && word.len() >= SHORTEST_NAME && word.chars().all(char::is_alphabetic)
    })
}

/// Whether a line tells where the outlet is, or how it is reached.
pub(crate) fn is_contact(text: &str) -> bool {
    let normal = normal(text);
    let figures = text.chars().filter(char::is_ascii_digit).count();
    text.contains(['@', '©'])
        || text.contains("www.")
        || text.contains("://")
        || VOCABULARY.is_within(&normal, Use::PhoneLabel) && figures > 3
        || figures > 3 && has_a_name(&normal)
        || figures >= 7 && !text.chars().any(char::is_alphabetic)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_firms_are_no_headings() {
        for firm in [
            "LAKESIDE IRON & METAL",
            "*** Kestrel Bay Recycling ***",
            "HARROW & SONS SALVAGE",
            "Brackwater Steel Co.",
            "Metallhandel Brennicke GmbH",
            "Récupération Delmaire SARL",
            "Chatarrería Olmedillo",
            "Rottami Fratelli Bressan",
            "Reciclagem Pontevelha Ltda",
            "Oud IJzer Handel Veldkamp B.V.",
            "Skup złomu Wierzbicki sp. z o.o.",
        ] {
            assert!(is_firm(firm), "{firm}");
        }
        for heading in [
            "COPPER",
            "Copper & brass",
            "IRON & METAL",
            "NON-FERROUS METALS",
            "Recycling fee",
            "Lakeside Metals",
            "Circuit boards",
            "Kupfer und Messing",
            "Cuivre et laiton",
        ] {
            assert!(!is_firm(heading), "{heading}");
        }
    }
}
