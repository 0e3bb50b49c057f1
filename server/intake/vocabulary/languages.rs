//! The files of other languages, a word with its meaning a line.

use std::borrow::Cow;

use crate::wording::normal_wording;

/// What words of other languages mean in English.
pub(super) const LANGUAGES: [(&str, &str); 8] = [
    ("Dutch", include_str!("dutch.toml")),
    ("English", include_str!("english.toml")),
    ("French", include_str!("french.toml")),
    ("German", include_str!("german.toml")),
    ("Italian", include_str!("italian.toml")),
    ("Polish", include_str!("polish.toml")),
    ("Portuguese", include_str!("portuguese.toml")),
    ("Spanish", include_str!("spanish.toml")),
];

/// Words without the endings that the trade's languages give them: `Platine` and `Platinen`, `schede madri` and `scheda
/// madre`, `miedziany` and `miedziane` have one root. Short words stand as they are.
pub(super) fn roots(words: &str) -> Cow<'_, str> {
    if !words.contains(' ') {
        return Cow::Borrowed(root(words));
    }
    let mut roots = String::with_capacity(words.len());
    for word in words.split(' ') {
        if !roots.is_empty() {
            roots.push(' ');
        }
        roots.push_str(root(word));
    }
    Cow::Owned(roots)
}

/// A word without its endings.
pub(crate) fn root(word: &str) -> &str {
    const ENDINGS: [&str; 19] = [
        "ami", "ych", "ich", "ego", "ens", "en", "es", "er", "em", "ow", "ej", "ns", "e", "n", "s", "a", "o",
        "i", "y",
    ];
    if !word.is_ascii() || word.bytes().any(|b| b.is_ascii_digit()) {
        return word;
    }
    let least = if word.len() > 5 { 4 } else { 3 };
    let mut word = word;
    while let Some(cut) =
        ENDINGS.iter().find_map(|ending| word.strip_suffix(ending).filter(|rest| rest.len() >= least))
    {
        word = cut;
    }
    word
}

/// `word = "meaning"`, or `"some words" = "meaning"`: so much of TOML as the languages' files use. They are read before every
/// sheet, and nothing else takes as long.
pub(super) fn entry(line: &str) -> Option<(&str, &str)> {
    let (word, meaning) = line.split_once(" = ")?;
    let quoted = |text: &'_ str| text.len() >= 2 && text.starts_with('"') && text.ends_with('"');
    let bare = |text: &'_ str| !text.contains(['"', '\\']);
    let meaning = if quoted(meaning) { &meaning[1..meaning.len() - 1] } else { return None };
    let word = if quoted(word) { &word[1..word.len() - 1] } else { word };
    (bare(word) && bare(meaning) && !word.is_empty()).then_some((word, meaning))
}

/// The normal form of words, which letters with single blanks between them are in already.
pub(super) fn spelled(words: &str) -> Cow<'_, str> {
    let plain = words.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b' ');
    if plain && !words.contains("  ") { Cow::Borrowed(words) } else { Cow::Owned(normal_wording(words)) }
}
