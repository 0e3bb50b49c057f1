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
    let mut words = Words { text: String::with_capacity(wording.len() + 8), ..Words::default() };
    let mut previous = ' ';
    for c in wording.chars() {
        match c {
            _ if c.is_ascii_alphanumeric() => words.text.push(c.to_ascii_lowercase()),
            ' ' => words.end(),
            '#' | '№' => {
                words.end();
                words.hash = true;
            }
            // `n° 2`, `nº 2`.
            '°' | 'º' if &words.text[words.open..] == "n" => {
                words.text.truncate(words.open);
                words.hash = true;
            }
            // `cobre de 2.ª`, `rame 1ª scelta`: the second, and the first, of its kind.
            'ª' | 'º' if words.is_ordinal() => {
                words.hash = true;
                words.end();
            }
            '%' => {
                words.end();
                words.percent();
            }
            // `men's` is one word, a letter and its combining accent are one, and so is a number with its decimals.
            '\'' | '’' | '\u{300}'..='\u{36f}' => {}
            '.' if previous.is_ascii_digit() => words.text.push('.'),
            _ if c.is_alphanumeric() => c.to_lowercase().for_each(|lower| fold(lower, &mut words.text)),
            _ => words.end(),
        }
        previous = c;
    }
    words.end();
    words.join();
    words.text.truncate(words.text.trim_end_matches(' ').len());
    words.text
}

/// The words of a normal form in the making. A `no` stands before its number and a `pct` behind it, as one word with it;
/// signs that belong to no number are dropped.
#[derive(Debug, Default)]
struct Words {
    /// Words that have ended, each with a blank behind it, and from `open` on the one that has not.
    text: String,
    open: usize,
    /// Where the last word begins that has ended, if it is a number.
    number: Option<usize>,
    /// Where the word before that number begins, or else the last word, if it can label a number.
    label: Option<usize>,
    /// A `#` stands behind the last word.
    hash: bool,
}

impl Words {
    fn end(&mut self) {
        self.text.truncate(self.open + self.text[self.open..].trim_end_matches('.').len());
        let word = &self.text[self.open..];
        if word.is_empty() {
            return;
        }
        if matches!(word, "pct" | "percent") && self.number.is_some() {
            self.text.truncate(self.open);
            return self.percent();
        }
        let is_number = is_number(word);
        let labels = matches!(word, "no" | "nr" | "num" | "number");
        self.join();
        if is_number {
            if self.hash {
                self.text.insert_str(self.open, "no ");
                self.label = Some(self.open);
                self.open += 3;
            }
            self.number = Some(self.open);
        } else {
            self.label = labels.then_some(self.open);
        }
        self.hash = false;
        self.text.push(' ');
        self.open = self.text.len();
    }

    /// Whether the word so far is one digit.
    fn is_ordinal(&self) -> bool {
        matches!(self.text[self.open..].trim_end_matches('.').as_bytes(), [b'1'..=b'9'])
    }

    fn percent(&mut self) {
        self.hash = false;
        if self.number.take().is_some() {
            self.label = None;
            self.text.pop();
            self.text.push_str("pct ");
            self.open = self.text.len();
        }
    }

    /// Makes one word of the last number and its label, once it is known to be no percentage: `no 2`, but `no 80 %`.
    fn join(&mut self) {
        if let Some(number) = self.number.take()
            && let Some(label) = self.label.take()
        {
            self.text.replace_range(label..number, "no");
            self.open -= number - label - "no".len();
        }
    }
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
        check("no 80 %, # 2, nr. 3 percent, № no 4 # %", "no 80pct no2 nr 3pct no 4pct");
        check("e\u{301}tain étain", "etain etain");
        check("***", "");
    }

    proptest! {
        #[test]
        fn normal_stays_normal(wording in "[A-Za-z0-9#%.,'/() é-]{0,40}") {
            let once = normal_wording(&wording);
            prop_assert_eq!(normal_wording(&once), once);
        }

        #[test]
        fn any_text(wording in "\\PC{0,60}") {
            let once = normal_wording(&wording);
            prop_assert!(!once.starts_with(' ') && !once.contains("  "));
        }
    }
}
