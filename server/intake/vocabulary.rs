//! The words of `vocabulary.toml`, ready to be looked up by their normal form.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::sync::LazyLock;

use serde::Deserialize;
use trade::mass::MassUnit;
use trade::money::{Currency, PriceUnit};

use crate::wording::normal_wording;
use crate::words::stem;

/// The vocabulary that this crate is built with.
pub(crate) static VOCABULARY: LazyLock<Vocabulary> = LazyLock::new(|| {
    Vocabulary::parse(include_str!("vocabulary.toml")).expect("a test parses this very file")
});

#[derive(Debug)]
pub(crate) struct Vocabulary {
    uses: HashMap<String, Vec<Use>>,
    units: HashMap<String, PriceUnit>,
    currencies: HashMap<String, Vec<Currency>>,
    columns: HashMap<String, Column>,
    months: HashMap<String, i8>,
    languages: HashMap<String, Currency>,
    dollar_languages: HashMap<String, Currency>,
    /// Ways to write each grade, by its slug, as they stand in the file.
    pub grades: BTreeMap<String, Vec<String>>,
    /// The trade circular's code words, by the slug of the grade they mean.
    pub codes: BTreeMap<String, Vec<String>>,
    /// What contradicts what between the words of two names.
    pub rivals: Vec<Rivals>,
    stand_ins: HashMap<String, String>,
    /// Words of other languages, as they stand and by their roots.
    english: HashMap<String, String>,
    english_by_root: HashMap<String, String>,
    /// The roots of the first words of those that are several.
    english_starts: HashSet<String>,
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
}

/// What a word can do in a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Use {
    Per,
    Ton,
    OnRequest,
    Charge,
    Free,
    Total,
    ValidFrom,
    ValidUntil,
    WholeSheet,
    Label,
    Measure,
    MeasureAttached,
    Remark,
    Sentence,
    Filler,
    Group,
    TierFrom,
    TierTo,
    Range,
    Change,
    Cents,
    AnyTier,
    NoPriceBehind,
    Market,
    Pence,
    PhoneLabel,
    /// It tells of a price paid before.
    Past,
    /// It tells of a price paid now.
    Present,
    /// Around times of a day.
    Hours,
    /// In front of a week's number.
    Week,
    /// It says that something is not there.
    Absent,
    /// Something that the outlet sells, and no scrap.
    Service,
    /// Whose messages in a chat are the shop's own.
    Oneself,
    /// Around a ruled line: the message below is an older one.
    OlderMessage,
    /// At the end of a line above an older message.
    Wrote,
}

/// What a column of a table holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Column {
    Wording,
    Group,
    Price,
    Charge,
    Low,
    High,
    Unit,
    Currency,
    TierFrom,
    TierTo,
    Note,
    /// The day the row's price holds from.
    Date,
    /// Last week's price, an item number, a quantity: nothing that is read.
    Other,
}

impl Vocabulary {
    pub fn has(&self, word: &str, is: Use) -> bool {
        self.uses.get(&sign_or_normal(word)).is_some_and(|uses| uses.contains(&is))
    }

    /// Whether some word, or run of up to three words, of the text has this use.
    pub fn has_within(&self, text: &str, is: Use) -> bool {
        let normal = normal_wording(text);
        let words: Vec<&str> = normal.split(' ').collect();
        let has = |run: &[&str]| self.uses.get(&run.join(" ")).is_some_and(|uses| uses.contains(&is));
        (1..=3).any(|length| words.windows(length).any(has))
    }

    /// The unit a word means; `ton` alone means none.
    pub fn unit(&self, word: &str) -> Option<PriceUnit> {
        MassUnit::from_word(word)
            .map(PriceUnit::Mass)
            .or_else(|| self.units.get(&normal_wording(word)).copied())
    }

    /// The currencies that a sign or word can mean; most mean one.
    pub fn currencies(&self, word: &str) -> Option<&[Currency]> {
        self.currencies.get(&word.to_lowercase()).map(Vec::as_slice)
    }

    pub fn column(&self, name: &str) -> Option<Column> {
        self.columns.get(&normal_wording(name)).copied()
    }

    /// More words than this never stand for one.
    pub const LONGEST_STAND_IN: usize = 4;

    /// The words that stand for this run of words in comparisons.
    pub fn stand_in(&self, words: &str) -> Option<&str> {
        self.stand_ins.get(words).map(String::as_str)
    }

    /// What a word, or a run of words, of another language means, in any of its endings. Nothing may be left of it: an
    /// article means no word at all.
    pub fn english(&self, words: &str) -> Option<&str> {
        if let Some(meaning) = self.english.get(words) {
            return Some(meaning);
        }
        // `cans` is English, though it has the root of a foreign word.
        // Nearly all runs of words mean nothing together, and their first word shows it.
        let first = words.split(' ').next().unwrap_or_default();
        if first.len() < words.len()
            && !self.english_starts.contains(&roots(first))
            && !self.english_starts.contains(&roots(&stem(first)))
        {
            return None;
        }
        let singular = || words.split(' ').map(stem).collect::<Vec<_>>();
        let meaning = self
            .english_by_root
            .get(&roots(words))
            .or_else(|| self.english_by_root.get(&roots(&singular().join(" "))))?;
        let own = singular().iter().all(|word| self.own.contains(word));
        (!own).then_some(meaning)
    }

    /// The second half of a word written together, which is never English.
    pub fn english_half(&self, word: &str) -> Option<&str> {
        self.english.get(word).or_else(|| self.english_by_root.get(&roots(word))).map(String::as_str)
    }

    /// Whether an English word is used in other languages as it is.
    pub fn is_loan(&self, word: &str) -> bool {
        self.loans.contains(word)
    }

    /// Whether a word is one of those that names of grades are made of.
    pub fn is_own(&self, word: &str) -> bool {
        self.own.contains(word)
    }

    /// Whether a word says nothing about a grade.
    pub fn is_idle(&self, word: &str) -> bool {
        self.idle.contains(word)
    }

    /// The month, from 1, that a name or its abbreviation means.
    pub fn month(&self, name: &str) -> Option<i8> {
        self.months.get(&normal_wording(name)).copied()
    }

    /// The currency that is usual where the language of this word is spoken.
    pub fn language_currency(&self, word: &str) -> Option<Currency> {
        self.languages.get(word).copied()
    }

    /// Whose dollars are meant where the language of this word is spoken.
    pub fn language_dollars(&self, word: &str) -> Option<Currency> {
        self.dollar_languages.get(word).copied()
    }

    fn parse(text: &str) -> Result<Vocabulary, String> {
        let file: File = toml::from_str(text).map_err(|e| e.to_string())?;
        let mut uses: HashMap<String, Vec<Use>> = HashMap::new();
        for (is, words) in file.words.iter().chain([(&Use::Cents, &file.cents.words)]) {
            for word in words {
                uses.entry(sign_or_normal(word)).or_default().push(*is);
            }
        }
        let mut units = HashMap::new();
        for (code, words) in &file.units {
            let unit = PriceUnit::from_code(code).ok_or_else(|| format!("“{code}” is no unit"))?;
            units.extend(words.iter().map(|word| (normal_wording(word), unit)));
        }
        let mut currencies: HashMap<String, Vec<Currency>> = HashMap::new();
        for (code, words) in &file.currencies {
            for word in words {
                currencies.entry(word.to_lowercase()).or_default().push(currency(code)?);
            }
        }
        for (sign, codes) in &file.shared {
            let shared = codes.iter().map(|code| currency(code)).collect::<Result<_, _>>()?;
            currencies.insert(sign.to_lowercase(), shared);
        }
        let mut months = HashMap::new();
        for (number, names) in &file.months {
            let number: i8 = number.parse().map_err(|_| format!("“{number}” is no month"))?;
            months.extend(names.iter().map(|name| (normal_wording(name), number)));
        }
        let by_language =
            |table: &BTreeMap<String, Vec<String>>| -> Result<HashMap<String, Currency>, String> {
                let mut languages = HashMap::new();
                for (code, words) in table {
                    let currency = currency(code)?;
                    languages.extend(words.iter().map(|word| (normal_wording(word), currency)));
                }
                Ok(languages)
            };
        let languages = by_language(&file.languages)?;
        let dollar_languages = by_language(&file.dollar_languages)?;
        let mut columns = HashMap::new();
        for (column, names) in &file.columns {
            for name in names {
                if columns.insert(normal_wording(name), *column).is_some_and(|before| before != *column) {
                    return Err(format!("“{name}” names two kinds of column"));
                }
            }
        }
        let mut stand_ins = HashMap::new();
        for (word, others) in &file.stand_ins {
            for other in others {
                if let Some(before) = stand_ins.insert(stems(other), word.clone()) {
                    return Err(format!("“{other}” stands for “{before}” and for “{word}”"));
                }
            }
        }
        let mut english: HashMap<String, String> = HashMap::new();
        let mut english_by_root: HashMap<String, String> = HashMap::new();
        let mut english_starts: HashSet<String> = HashSet::new();
        for (language, words) in &file.translations {
            for (word, meaning) in words {
                let key = normal_wording(word);
                if english.get(&key).is_some_and(|before| before != meaning) {
                    return Err(format!("“{word}” ({language}) means two things"));
                }
                if let Some((first, _)) = key.split_once(' ') {
                    english_starts.insert(roots(first));
                }
                english_by_root.entry(roots(&key)).or_insert_with(|| meaning.clone());
                english.insert(key, meaning.clone());
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
            .filter(|word| !english.contains_key(word))
            .collect();
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
            grades: file.grades,
            codes: file.codes,
            stand_ins,
            rivals: file.rivals.into_values().collect(),
            idle: file.idle.words.into_iter().collect(),
        })
    }
}

/// Words without the endings that the trade's languages give them: `Platine` and `Platinen`, `schede madri` and `scheda
/// madre`, `miedziany` and `miedziane` have one root. Short words stand as they are.
fn roots(words: &str) -> String {
    let root = |word: &str| -> String {
        const ENDINGS: [&str; 18] = [
            "ych", "ich", "ego", "ens", "en", "es", "er", "em", "ow", "ej", "ns", "e", "n", "s", "a", "o",
            "i", "y",
        ];
        if !word.is_ascii() || word.bytes().any(|b| b.is_ascii_digit()) {
            return word.to_string();
        }
        let least = if word.len() > 5 { 4 } else { 3 };
        let mut word = word;
        while let Some(cut) =
            ENDINGS.iter().find_map(|ending| word.strip_suffix(ending).filter(|rest| rest.len() >= least))
        {
            word = cut;
        }
        word.to_string()
    };
    words.split(' ').map(root).collect::<Vec<_>>().join(" ")
}

fn stems(words: &str) -> String {
    normal_wording(words).split(' ').map(stem).collect::<Vec<_>>().join(" ")
}

fn currency(code: &str) -> Result<Currency, String> {
    Currency::from_code(code).ok_or_else(|| format!("“{code}” is no ISO 4217 code"))
}

/// Signs such as `¢` and `-` have no normal form of their own; they stand as they are.
fn sign_or_normal(word: &str) -> String {
    let normal = normal_wording(word);
    if normal.is_empty() { word.trim().to_string() } else { normal }
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
    currencies: BTreeMap<String, Vec<String>>,
    shared: BTreeMap<String, Vec<String>>,
    columns: HashMap<Column, Vec<String>>,
    grades: BTreeMap<String, Vec<String>>,
    codes: BTreeMap<String, Vec<String>>,
    stand_ins: BTreeMap<String, Vec<String>>,
    translations: BTreeMap<String, BTreeMap<String, String>>,
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
        if let Err(error) = Vocabulary::parse(include_str!("vocabulary.toml")) {
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
