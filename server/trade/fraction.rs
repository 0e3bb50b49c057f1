//! Fractions as scales show them and people write them: `2 1/2`, `2-1/2`, `2½`, `3/4`.

use rust_decimal::Decimal;

/// Parts that a scale is divided in. Each has an end as a decimal; a third has none, so it is no reading.
const PARTS: [u32; 6] = [2, 4, 8, 16, 32, 64];

/// The text with its fractions as decimals, at least three of them, so that none looks like pounds and ounces with a point
/// between: `2 1/2 lb` is `2.500 lb`. What is no such fraction stays as it is.
pub fn as_decimals(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut out = String::new();
    let mut at = 0;
    while at < chars.len() {
        if let Some((number, end)) = fraction(&chars, at) {
            out += &number;
            at = end;
            continue;
        }
        // Whole runs of digits, so that no fraction starts inside one.
        let end = digits(&chars, at).max(at + 1);
        out.extend(&chars[at..end]);
        at = end;
    }
    out
}

/// The fraction that starts at `at`, with a whole number in front of it or without, and where it ends.
fn fraction(chars: &[char], at: usize) -> Option<(String, usize)> {
    let whole_end = digits(chars, at);
    let gap = |from: usize| {
        let skipped = chars[from..].iter().take_while(|c| c.is_whitespace()).count();
        from + if skipped == 0 && chars.get(from) == Some(&'-') { 1 } else { skipped }
    };
    let (whole, (top, bottom, end)) = match part(chars, at) {
        Some(part) => (Decimal::ZERO, part),
        None if whole_end > at => {
            let start = gap(whole_end);
            let next = part(chars, start)?;
            // `21/2` is a fraction of its own, and none.
            let is_apart = start > whole_end || !chars[start].is_ascii_digit();
            (text_of(chars, at, whole_end).parse().ok()?, is_apart.then_some(next)?)
        }
        None => return None,
    };
    if !PARTS.contains(&bottom) || top == 0 || top >= bottom {
        return None;
    }
    let mut number = whole.checked_add(Decimal::from(top) / Decimal::from(bottom))?;
    number.rescale(number.scale().max(3));
    Some((number.to_string(), end))
}

/// A fraction without a whole number: a character of its own, or two numbers with a stroke between.
fn part(chars: &[char], at: usize) -> Option<(u32, u32, usize)> {
    let one = match chars.get(at)? {
        '½' => Some((1, 2)),
        '¼' => Some((1, 4)),
        '¾' => Some((3, 4)),
        '⅛' => Some((1, 8)),
        '⅜' => Some((3, 8)),
        '⅝' => Some((5, 8)),
        '⅞' => Some((7, 8)),
        _ => None,
    };
    if let Some((top, bottom)) = one {
        return Some((top, bottom, at + 1));
    }
    let top_end = digits(chars, at);
    if !matches!(chars.get(top_end)?, '/' | '⁄') {
        return None;
    }
    let bottom_end = digits(chars, top_end + 1);
    let number = |from, to| text_of(chars, from, to).parse().ok();
    Some((number(at, top_end)?, number(top_end + 1, bottom_end)?, bottom_end))
}

/// Where the run of digits at `at` ends.
fn digits(chars: &[char], at: usize) -> usize {
    at + chars[at..].iter().take_while(|c| c.is_ascii_digit()).count()
}

fn text_of(chars: &[char], from: usize, to: usize) -> String {
    chars[from..to].iter().collect()
}

#[cfg(test)]
mod tests {
    use super::as_decimals;
    use proptest::prelude::*;

    #[test]
    fn fractions_of_a_scale_are_decimals() {
        for (text, decimals) in [
            ("2 1/2 lb", "2.500 lb"),
            ("2-1/2 lb", "2.500 lb"),
            ("2½ lb", "2.500 lb"),
            ("½oz", "0.500oz"),
            ("3/4 oz", "0.750 oz"),
            ("2 lb 5 1/4 oz", "2 lb 5.250 oz"),
            ("2 lb 1/16 oz", "2 lb 0.0625 oz"),
            ("10 15/16", "10.9375"),
            ("1⁄2", "0.500"),
            // None: halves of nothing, whole numbers, thirds, dates.
            ("0/2", "0/2"),
            ("2/2 lb", "2/2 lb"),
            ("5/4 lb", "5/4 lb"),
            ("1/3 lb", "1/3 lb"),
            ("1/0 lb", "1/0 lb"),
            ("1/2/3", "0.500/3"),
            ("/2", "/2"),
            ("2 lb 5 oz", "2 lb 5 oz"),
            ("-5 oz", "-5 oz"),
        ] {
            assert_eq!(as_decimals(text), decimals, "{text}");
        }
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "[0-9 /½¼.,a-z-]{0,40}") {
            as_decimals(&text);
        }

        #[test]
        fn what_has_no_stroke_stays(text in "[0-9 .,a-z-]{0,40}") {
            prop_assert_eq!(as_decimals(&text), text);
        }
    }
}
