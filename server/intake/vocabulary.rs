//! The words of `vocabulary.toml` and of the languages beside it, ready to be looked up by their normal form.

mod languages;
mod uses;

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::collections::hash_map::Entry;
use std::sync::LazyLock;

use rustc_hash::{FxHashMap as HashMap, FxHashSet as HashSet};
use serde::Deserialize;
use trade::mass::MassUnit;
use trade::money::{Currency, PriceUnit};

pub(crate) use uses::{Column, Use, Uses};

pub(crate) use languages::root;
use languages::{LANGUAGES, entry, roots, spelled};

use crate::wording::{normal, normal_wording, with_lower, with_normal};
use crate::words::stem;

/// The vocabulary that this crate is built with.
pub(crate) static VOCABULARY: LazyLock<Vocabulary> =
    LazyLock::new(|| Vocabulary::parse(WORDS, &LANGUAGES).expect("a test parses these very files"));

const WORDS: &str = include_str!("vocabulary.toml");

#[derive(Debug)]
pub(crate) struct Vocabulary {
    uses: HashMap<String, Uses>,
    units: HashMap<String, PriceUnit>,
    currencies: HashMap<String, Vec<Currency>>,
    columns: HashMap<String, Column>,
    months: HashMap<String, i8>,
    languages: HashMap<String, Currency>,
    dollar_languages: HashMap<String, Currency>,
    places: HashMap<String, Currency>,
    place_starts: HashSet<String>,
    /// Ways to write each grade, by its slug, as they stand in the file.
    pub grades: BTreeMap<String, Vec<String>>,
    /// The trade circular's code words, by the slug of the grade they mean.
    pub codes: BTreeMap<String, Vec<String>>,
    /// What contradicts what between the words of two names.
    pub rivals: Vec<Rivals>,
    /// The lists of rivals that each word is in.
    rival_lists: HashMap<String, Vec<usize>>,
    stand_ins: HashMap<String, String>,
    /// The first words of those that are several, and how many those are at most.
    stand_in_starts: HashMap<String, usize>,
    /// Words of other languages, as they stand and by their roots.
    english: HashMap<Cow<'static, str>, &'static str>,
    english_by_root: HashMap<Cow<'static, str>, &'static str>,
    /// The roots of the first two words of those that are several, and how many those are at most.
    english_starts: HashMap<String, usize>,
    /// Words that names of grades have in English, without their plural endings.
    own: HashSet<String>,
    /// English words that other languages build their own with.
    loans: HashSet<String>,
    idle: HashSet<String>,
}

/// Words of which a grade has only one.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Rivals {
    #[serde(default)]
    pub words: Vec<String>,
    /// Of these, the words that a grade must share once a wording has them: dirty is never the plain grade.
    #[serde(default)]
    pub strict: Vec<String>,
    /// Percentages are rivals, too.
    #[serde(default)]
    pub percent: bool,
    /// They name a thing whatever metal the heading above it is about: motors below “Aluminium” are still motors.
    #[serde(default)]
    pub whole: bool,
    /// A heading that says one of them says it of all below it that names no whole by itself: silver contacts below
    /// “Memory” are memory.
    #[serde(default)]
    pub governs: bool,
    /// Other things come out of them: boards `z laptopów` do not come with laptops.
    #[serde(default)]
    pub origin: bool,
}

impl Vocabulary {
    /// All that a word can do, or a run of words as one.
    pub fn uses(&self, word: &str) -> Uses {
        // Signs such as `¢` and `-` have no normal form of their own; they stand as they are.
        with_normal(word, |normal| {
            self.uses.get(if normal.is_empty() { word.trim() } else { normal }).copied().unwrap_or_default()
        })
    }

    pub fn has(&self, word: &str, is: Use) -> bool {
        self.uses(word).has(is)
    }

    /// How many words those with a use have at most that begin with this one, which is in its normal form.
    fn longest_run(&self, first: &str) -> usize {
        if self.uses.get(first).is_some_and(|uses| uses.has(Use::Starts)) { 3 } else { 1 }
    }

    /// Whether some word, or run of up to three words, of the text has this use.
    pub fn has_within(&self, text: &str, is: Use) -> bool {
        self.is_within(&normal(text), is)
    }

    /// The same of a text in its normal form.
    pub fn is_within(&self, normal: &str, is: Use) -> bool {
        let mut rest = normal;
        loop {
            let first = rest.split(' ').next().unwrap_or_default();
            let longest = self.longest_run(first);
            let blanks = rest.match_indices(' ').map(|(at, _)| at).chain([rest.len()]);
            let has = |end: usize| self.uses.get(&rest[..end]).is_some_and(|uses| uses.has(is));
            if blanks.take(longest).any(has) {
                return true;
            }
            match rest.split_once(' ') {
                Some((_, after)) => rest = after,
                None => return false,
            }
        }
    }

    /// How many words, of up to three, the longest run has that has this use in a text in its normal form; 0 where none
    /// has.
    pub fn longest_within(&self, normal: &str, is: Use) -> usize {
        let mut rest = normal;
        let mut longest = 0;
        loop {
            let first = rest.split(' ').next().unwrap_or_default();
            let most = self.longest_run(first);
            let blanks = rest.match_indices(' ').map(|(at, _)| at).chain([rest.len()]);
            for (words, end) in (1..=most).zip(blanks) {
                if words > longest && self.uses.get(&rest[..end]).is_some_and(|uses| uses.has(is)) {
                    longest = words;
                }
            }
            match rest.split_once(' ') {
                Some((_, after)) => rest = after,
                None => return longest,
            }
        }
    }

    /// The unit a word means; `ton` alone means none.
    pub fn unit(&self, word: &str) -> Option<PriceUnit> {
        // `ST` is a short ton, and `St.` a piece.
        if matches!(word, "St" | "st") {
            return Some(PriceUnit::Each);
        }
        MassUnit::from_word(word)
            .map(PriceUnit::Mass)
            .or_else(|| with_normal(word, |normal| self.units.get(normal).copied()))
    }

    /// The currencies that a sign or word can mean; most mean one.
    pub fn currencies(&self, word: &str) -> Option<&[Currency]> {
        with_lower(word, |lower| self.currencies.get(lower)).map(Vec::as_slice)
    }

    pub fn column(&self, name: &str) -> Option<Column> {
        self.columns.get(normal(name).as_ref()).copied()
    }

    /// The words that stand for this run of words in comparisons.
    pub fn stand_in(&self, words: &str) -> Option<&str> {
        self.stand_ins.get(words).map(String::as_str)
    }

    /// How many words that begin with this one stand for another at most.
    pub fn longest_stand_in(&self, word: &str) -> usize {
        self.stand_in_starts.get(word).copied().unwrap_or(1)
    }

    /// How many words that begin with two of these roots, with a blank between them, mean something in another language at
    /// most; 0 where none do.
    pub fn longest_english(&self, start: &str) -> usize {
        self.english_starts.get(start).copied().unwrap_or_default()
    }

    /// The lists of rivals that a word is in, percentages aside.
    pub fn rival_lists(&self, word: &str) -> &[usize] {
        self.rival_lists.get(word).map_or(&[], Vec::as_slice)
    }

    /// What a word, or a run of words, of another language means, in any of its endings. Nothing may be left of it: an
    /// article means no word at all.
    pub fn english(&self, words: &str) -> Option<&str> {
        if let Some(meaning) = self.english.get(words) {
            return Some(meaning);
        }
        // `cans` is English, though it has the root of a foreign word.
        let singular = || words.split(' ').map(stem).collect::<Vec<_>>();
        let meaning = self
            .english_by_root
            .get(roots(words).as_ref())
            .or_else(|| self.english_by_root.get(roots(&singular().join(" ")).as_ref()))?;
        let own = singular().iter().all(|word| self.own.contains(word));
        (!own).then_some(meaning)
    }

    /// The second half of a word written together, which is never English.
    pub fn english_half(&self, word: &str) -> Option<&str> {
        self.english.get(word).or_else(|| self.english_by_root.get(roots(word).as_ref())).copied()
    }

    /// Whether an English word is used in other languages as it is.
    pub fn is_loan(&self, word: &str) -> bool {
        self.loans.contains(word)
    }

    /// Whether a word is one of those that names of grades are made of.
    pub fn is_own(&self, word: &str) -> bool {
        self.own.contains(word)
    }

    /// Whether a word says that something else is free of what it begins with: `eisenfrei`, `iron-free`.
    pub fn is_free_of_something(&self, word: &str) -> bool {
        let normal = normal(word);
        ["frei", "free", "vrij"].iter().any(|end| normal.len() > end.len() + 2 && normal.ends_with(end))
    }

    /// Whether a word says nothing about a grade.
    pub fn is_idle(&self, word: &str) -> bool {
        self.idle.contains(word)
    }

    /// The month, from 1, that a name or its abbreviation means.
    pub fn month(&self, name: &str) -> Option<i8> {
        self.months.get(normal(name).as_ref()).copied()
    }

    /// The currency that is usual where the language of this word is spoken.
    pub fn language_currency(&self, word: &str) -> Option<Currency> {
        self.languages.get(word).copied()
    }

    /// What is paid in at a place, by its name in normal form.
    pub fn currency_of_place(&self, name: &str) -> Option<Currency> {
        self.places.get(name).copied()
    }

    /// Whether the name of a place begins with a word, or is one.
    pub fn starts_a_place(&self, word: &str) -> bool {
        self.place_starts.contains(word)
    }

    /// Whose dollars are meant where the language of this word is spoken.
    pub fn language_dollars(&self, word: &str) -> Option<Currency> {
        self.dollar_languages.get(word).copied()
    }

    fn parse(text: &str, translated: &[(&str, &'static str)]) -> Result<Vocabulary, String> {
        let file: File = toml::from_str(text).map_err(|e| e.to_string())?;
        let months_named: Vec<String> = file.months.values().flatten().cloned().collect();
        let more = [(&Use::Cents, &file.cents.words), (&Use::Month, &months_named)];
        let mut uses: HashMap<String, Uses> = HashMap::default();
        for (is, words) in file.words.iter().chain(more) {
            for word in words {
                let word = sign_or_normal(word).into_owned();
                if let Some((first, _)) = word.split_once(' ') {
                    let so_far = uses.entry(first.to_string()).or_default();
                    *so_far = so_far.and(Use::Starts.into());
                }
                let so_far = uses.entry(word).or_default();
                *so_far = so_far.and((*is).into());
            }
        }
        let mut units = HashMap::default();
        for (code, words) in &file.units {
            let unit = PriceUnit::from_code(code).ok_or_else(|| format!("“{code}” is no unit"))?;
            units.extend(words.iter().map(|word| (normal_wording(word), unit)));
        }
        let of_masses = MassUnit::WORDS.iter().flat_map(|(words, _)| words.iter().copied());
        for words in units.keys().map(String::as_str).chain(of_masses) {
            for start in [words, words.split(' ').next().unwrap_or_default()] {
                let so_far = uses.entry(start.to_string()).or_default();
                *so_far = so_far.and(Use::UnitStart.into());
            }
        }
        let mut currencies: HashMap<String, Vec<Currency>> = HashMap::default();
        for (code, words) in &file.currencies {
            for word in words {
                currencies.entry(word.to_lowercase()).or_default().push(currency(code)?);
            }
        }
        for (sign, codes) in &file.shared {
            let shared = codes.iter().map(|code| currency(code)).collect::<Result<_, _>>()?;
            currencies.insert(sign.to_lowercase(), shared);
        }
        for word in currencies.keys().filter(|word| word.bytes().all(|byte| byte.is_ascii_alphabetic())) {
            let so_far = uses.entry(word.clone()).or_default();
            *so_far = so_far.and(Use::Currency.into());
        }
        let mut months = HashMap::default();
        for (number, names) in &file.months {
            let number: i8 = number.parse().map_err(|_| format!("“{number}” is no month"))?;
            months.extend(names.iter().map(|name| (normal_wording(name), number)));
        }
        let by_currency =
            |table: &BTreeMap<String, Vec<String>>| -> Result<HashMap<String, Currency>, String> {
                let mut of_words = HashMap::default();
                for (code, words) in table {
                    let currency = currency(code)?;
                    of_words.extend(words.iter().map(|word| (normal_wording(word), currency)));
                }
                Ok(of_words)
            };
        let languages = by_currency(&file.languages)?;
        let dollar_languages = by_currency(&file.dollar_languages)?;
        let places = by_currency(&file.places)?;
        let place_starts =
            places.keys().filter_map(|name| Some(name.split(' ').next()?.to_string())).collect();
        let mut columns = HashMap::default();
        for (column, names) in &file.columns {
            for name in names {
                if columns.insert(normal_wording(name), *column).is_some_and(|before| before != *column) {
                    return Err(format!("“{name}” names two kinds of column"));
                }
            }
        }
        let mut stand_ins = HashMap::default();
        for (word, others) in &file.stand_ins {
            for other in others {
                if let Some(before) = stand_ins.insert(stems(other), word.clone()) {
                    return Err(format!("“{other}” stands for “{before}” and for “{word}”"));
                }
            }
        }
        let mut stand_in_starts = HashMap::default();
        for words in stand_ins.keys() {
            if let Some((first, _)) = words.split_once(' ') {
                let longest = stand_in_starts.entry(first.to_string()).or_default();
                *longest = words.split(' ').count().max(*longest);
            }
        }
        let entries = translated.iter().map(|(_, words)| words.len() / 24).sum();
        let mut english: HashMap<Cow<'static, str>, &'static str> =
            HashMap::with_capacity_and_hasher(entries, Default::default());
        let mut english_by_root = english.clone();
        let mut english_starts = HashMap::default();
        for (language, words) in translated {
            for line in words.lines().filter(|line| !line.is_empty() && !line.starts_with('#')) {
                let (word, meaning) =
                    entry(line).ok_or_else(|| format!("{language}: “{line}” is no word with its meaning"))?;
                let key = spelled(word);
                match english.entry(key.clone()) {
                    Entry::Occupied(before) if *before.get() != meaning => {
                        return Err(format!("“{word}” ({language}) means two things"));
                    }
                    Entry::Occupied(_) => continue,
                    Entry::Vacant(place) => place.insert(meaning),
                };
                let root = match key {
                    Cow::Borrowed(key) => roots(key),
                    Cow::Owned(key) => Cow::Owned(roots(&key).into_owned()),
                };
                let blanks = || root.match_indices(' ').map(|(at, _)| at).chain([root.len()]);
                if let Some(start) = blanks().nth(1) {
                    let longest = english_starts.entry(root[..start].to_string()).or_default();
                    *longest = blanks().count().max(*longest);
                }
                english_by_root.entry(root).or_insert(meaning);
            }
        }
        let named = file
            .grades
            .values()
            .flatten()
            .chain(file.stand_ins.keys())
            .chain(file.stand_ins.values().flatten());
        let rival = file.rivals.values().flat_map(|rivals| &rivals.words);
        let own = named
            .chain(rival)
            .chain(&file.idle.words)
            .flat_map(|words| normal_wording(words).split(' ').map(stem).collect::<Vec<_>>())
            .filter(|word| !english.contains_key(word.as_str()))
            .collect();
        let rivals: Vec<Rivals> = file.rivals.into_values().collect();
        let mut rival_lists: HashMap<String, Vec<usize>> = HashMap::default();
        for (at, list) in rivals.iter().enumerate() {
            for word in &list.words {
                rival_lists.entry(word.clone()).or_default().push(at);
            }
        }
        Ok(Vocabulary {
            uses,
            own,
            english,
            english_starts,
            english_by_root,
            loans: file.loans.words.into_iter().collect(),
            units,
            currencies,
            columns,
            months,
            languages,
            dollar_languages,
            places,
            place_starts,
            grades: file.grades,
            codes: file.codes,
            stand_ins,
            stand_in_starts,
            rivals,
            rival_lists,
            idle: file.idle.words.into_iter().collect(),
        })
    }
}

fn stems(words: &str) -> String {
    normal_wording(words).split(' ').map(stem).collect::<Vec<_>>().join(" ")
}

fn currency(code: &str) -> Result<Currency, String> {
    Currency::from_code(code).ok_or_else(|| format!("“{code}” is no ISO 4217 code"))
}

/// Signs such as `¢` and `-` have no normal form of their own; they stand as they are.
fn sign_or_normal(word: &str) -> Cow<'_, str> {
    let normal = normal(word);
    if normal.is_empty() { Cow::Borrowed(word.trim()) } else { normal }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    units: BTreeMap<String, Vec<String>>,
    words: HashMap<Use, Vec<String>>,
    cents: Words,
    months: BTreeMap<String, Vec<String>>,
    languages: BTreeMap<String, Vec<String>>,
    dollar_languages: BTreeMap<String, Vec<String>>,
    places: BTreeMap<String, Vec<String>>,
    currencies: BTreeMap<String, Vec<String>>,
    shared: BTreeMap<String, Vec<String>>,
    columns: HashMap<Column, Vec<String>>,
    grades: BTreeMap<String, Vec<String>>,
    codes: BTreeMap<String, Vec<String>>,
    stand_ins: BTreeMap<String, Vec<String>>,
    loans: Words,
    rivals: BTreeMap<String, Rivals>,
    idle: Words,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Words {
    words: Vec<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_file_is_sound() {
        if let Err(error) = Vocabulary::parse(WORDS, &LANGUAGES) {
            panic!("{error}");
        }
    }

    /// The seed's catalogue is not part of this crate, so there is nothing to check where it is not beside it.
    #[test]
    fn every_key_is_a_grade_of_the_catalogue() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../seed/catalogue/grades.toml");
        let Ok(text) = std::fs::read_to_string(path) else { return };
        let catalogue: toml::Table = text.parse().unwrap();
        let slugs: Vec<&str> = catalogue["grade"]
            .as_array()
            .unwrap()
            .iter()
            .filter_map(|grade| grade["slug"].as_str())
            .collect();
        for slug in VOCABULARY.grades.keys().chain(VOCABULARY.codes.keys()) {
            assert!(slugs.contains(&slug.as_str()), "“{slug}” is no grade of the catalogue");
        }
    }

    #[test]
    fn words_are_found_in_any_spelling() {
        assert!(VOCABULARY.has("Call for Price", Use::OnRequest));
        assert!(VOCABULARY.has("P.O.A.", Use::OnRequest));
        assert!(VOCABULARY.has("¢", Use::Cents));
        assert!(VOCABULARY.has_within("All prices per lb", Use::WholeSheet));
        assert_eq!(VOCABULARY.unit("Lbs."), Some(PriceUnit::Mass(MassUnit::Pound)));
        assert_eq!(VOCABULARY.unit("ea."), Some(PriceUnit::Each));
        assert_eq!(VOCABULARY.unit("ton"), None);
        assert_eq!(VOCABULARY.currencies("C$"), Some(&[Currency::CAD][..]));
        assert_eq!(VOCABULARY.column("We Pay:"), Some(Column::Price));
    }
}
