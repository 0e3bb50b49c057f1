//! One form for all spellings of a wording.

use std::borrow::Cow;

/// The normal form of a wording: the key under which a learned wording is kept, and the form that words are compared
/// in.
///
/// Lower case, without accents or punctuation, one blank between words; `#2`, `No. 2`, `nr 2` and `number 2` become
/// `no2`; `80%` becomes `80pct`. Applying it twice changes nothing.
///
/// ```
/// use intake::normal_wording;
/// assert_eq!(normal_wording("  Copper,  No. 2 (CLEAN)"), "copper no2 clean");
/// assert_eq!(normal_wording("#2 Câble / 85 %"), "no2 cable 85pct");
/// ```
pub fn normal_wording(wording: &str) -> String {
    normal(wording).into_owned()
}

/// [`normal_wording`], made only where the wording is not in it yet.
pub(crate) fn normal(wording: &str) -> Cow<'_, str> {
    // One word of plain letters, as most are that are looked up, has only its case to lose.
    if !wording.is_empty() && wording.bytes().all(|byte| byte.is_ascii_alphabetic()) {
        return lower(wording);
    }
    Cow::Owned(normalised(wording))
}

/// The text in lower case.
pub(crate) fn lower(text: &str) -> Cow<'_, str> {
    if text.bytes().all(|byte| byte.is_ascii() && !byte.is_ascii_uppercase()) {
        Cow::Borrowed(text)
    } else {
        Cow::Owned(text.to_lowercase())
    }
}

/// Looks a text up by its lower case, which is made in place where the text is short and plain.
pub(crate) fn with_lower<T>(text: &str, look_up: impl FnOnce(&str) -> T) -> T {
    let mut short = [0; 32];
    match short.get_mut(..text.len()).filter(|_| text.is_ascii()) {
        Some(short) => {
            short.copy_from_slice(text.as_bytes());
            short.make_ascii_lowercase();
            look_up(std::str::from_utf8(short).unwrap_or(text))
        }
        None => look_up(&lower(text)),
    }
}

/// Looks a text up by its normal form. One word of plain letters, as most are, has only its case to lose.
pub(crate) fn with_normal<T>(text: &str, look_up: impl FnOnce(&str) -> T) -> T {
    if !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_alphabetic()) {
        with_lower(text, look_up)
    } else {
        look_up(&normal(text))
    }
}

fn normalised(wording: &str) -> String {
    plainly(wording).unwrap_or_else(|| with_marks(wording))
}

/// The normal form of a wording without accents and without numbers that a sign or a word makes something of, as most
/// are; `None` where it is not so plain.
fn plainly(wording: &str) -> Option<String> {
    let mut normal = String::with_capacity(wording.len());
    let mut word = 0;
    let mut previous = b' ';
    for byte in wording.bytes().chain([b' ']) {
        match byte {
            b'#' | b'%' | b'\'' | 0x80.. => return None,
            b'.' if previous.is_ascii_digit() => normal.push('.'),
            _ if byte.is_ascii_alphanumeric() => normal.push(byte.to_ascii_lowercase().into()),
            _ if word < normal.len() => {
                normal.truncate(normal.trim_end_matches('.').len());
                if matches!(&normal[word..], "no" | "nr" | "num" | "number" | "pct" | "percent") {
                    return None;
                }
                normal.push(' ');
                word = normal.len();
            }
            _ => {}
        }
        previous = byte;
    }
    normal.truncate(normal.trim_end_matches(' ').len());
    Some(normal)
}

fn with_marks(wording: &str) -> String {
    let mut words: Vec<String> = Vec::new();
    let mut word = String::new();
    let mut end = |word: &mut String| {
        if !word.is_empty() {
            words.push(std::mem::take(word));
        }
    };
    let mut previous = ' ';
    for c in wording.chars() {
        match c {
            '#' | '№' => {
                end(&mut word);
                word.push('#');
                end(&mut word);
            }
            // `n° 2`, `nº 2`.
            '°' | 'º' if word == "n" => {
                word.clear();
                word.push('#');
                end(&mut word);
            }
            '%' => {
                end(&mut word);
                word.push('%');
                end(&mut word);
            }
            // `men's` is one word, a letter and its combining accent are one, and so is a number with its decimals.
            '\'' | '’' | '\u{300}'..='\u{36f}' => {}
            '.' if previous.is_ascii_digit() => word.push('.'),
            _ if c.is_alphanumeric() => c.to_lowercase().for_each(|lower| fold(lower, &mut word)),
            _ => end(&mut word),
        }
        previous = c;
    }
    end(&mut word);
    join_marks(words).join(" ")
}

/// Puts `no` before its number and `pct` behind it, and drops marks that belong to no number.
fn join_marks(words: Vec<String>) -> Vec<String> {
    let mut plain: Vec<String> = Vec::with_capacity(words.len());
    let mut words = words.into_iter().map(|word| word.trim_end_matches('.').to_string()).peekable();
    while let Some(word) = words.next() {
        match word.as_str() {
            "" => {}
            "#" if words.peek().is_some_and(|next| is_number(next)) => plain.push("no".to_string()),
            "#" => {}
            "%" | "pct" | "percent" => match plain.last_mut().filter(|last| is_number(last)) {
                Some(number) => number.push_str("pct"),
                None if word == "%" => {}
                None => plain.push(word),
            },
            _ => plain.push(word),
        }
    }
    let mut joined: Vec<String> = Vec::with_capacity(plain.len());
    let mut plain = plain.into_iter().peekable();
    while let Some(word) = plain.next() {
        match word.as_str() {
            "no" | "nr" | "num" | "number" if plain.peek().is_some_and(|next| is_number(next)) => {
                joined.push(format!("no{}", plain.next().unwrap_or_default()));
            }
            _ => joined.push(word),
        }
    }
    joined
}

fn is_number(word: &str) -> bool {
    word.starts_with(|c: char| c.is_ascii_digit()) && word.chars().all(|c| c.is_ascii_digit() || c == '.')
}

/// The letter without its accent, as the trade's languages use them.
fn fold(c: char, out: &mut String) {
    out.push_str(match c {
        'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' | 'ą' => "a",
        'ç' | 'ć' | 'č' => "c",
        'è' | 'é' | 'ê' | 'ë' | 'ę' | 'ě' => "e",
        'ì' | 'í' | 'î' | 'ï' => "i",
        'ł' => "l",
        'ñ' | 'ń' => "n",
        'ò' | 'ó' | 'ô' | 'õ' | 'ö' | 'ø' => "o",
        'ß' => "ss",
        'ś' | 'š' => "s",
        'ù' | 'ú' | 'û' | 'ü' | 'ů' => "u",
        'ý' | 'ÿ' => "y",
        'ź' | 'ż' | 'ž' => "z",
        'ª' => "a",
        'º' => "o",
        'æ' => "ae",
        'œ' => "oe",
        _ => return out.push(c),
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn check(wording: &str, expect: &str) {
        assert_eq!(normal_wording(wording), expect, "{wording}");
    }

    #[test]
    fn spellings_of_one_name_are_one() {
        for wording in ["Copper #2", "copper No. 2", "COPPER  NO 2", "Copper-Nr.2", "copper number 2"] {
            check(wording, "copper no2");
        }
        check("#1 insulated (85%)", "no1 insulated 85pct");
        check("Bare-Bright / Barley", "bare bright barley");
        check("Motherboards, w/ Al. heatsink", "motherboards w al heatsink");
        check("Cu 99.9 %", "cu 99.9pct");
        check("no steel", "no steel");
        check("e\u{301}tain étain", "etain etain");
        check("***", "");
    }

    proptest! {
        #[test]
        fn normal_stays_normal(wording in "[A-Za-z0-9#%.,'/() é-]{0,40}") {
            let once = normal_wording(&wording);
            prop_assert_eq!(normal_wording(&once), once);
        }

        /// The quick way for plain wordings comes to the same as the long one.
        #[test]
        fn plain_wordings(wording in "[A-Za-z0-9.,/() -]{0,40}") {
            if let Some(plain) = plainly(&wording) {
                prop_assert_eq!(plain, with_marks(&wording));
            }
        }

        #[test]
        fn any_text(wording in "\\PC{0,60}") {
            let once = normal_wording(&wording);
            prop_assert!(!once.starts_with(' ') && !once.contains("  "));
        }
    }
}
