//! Wordings as sets of words, each in the one spelling and the one language in which names of grades are compared.

use std::sync::Arc;

use rustc_hash::FxHashMap as HashMap;

use crate::vocabulary::{Rivals, Use, VOCABULARY, root};
use crate::wording::normal_wording;

/// A word, by its number in the [`WordBook`].
pub(crate) type Word = u32;
/// Each word once, in the order of their numbers.
pub(crate) type Words = Vec<Word>;

/// All words met so far, and what is to be known of each. A sheet says the same few hundred words over and over, so
/// that each is looked up in the vocabulary once.
#[derive(Debug, Default)]
pub(crate) struct WordBook {
    /// Words as they stand in a wording, by their numbers.
    plain: HashMap<Box<str>, usize>,
    of_plain: Vec<Plain>,
    stems: HashMap<Box<str>, usize>,
    of_stem: Vec<Stem>,
    words: HashMap<Box<str>, Word>,
    of_word: Vec<Facts>,
    headings: HashMap<Box<str>, Arc<Heading>>,
    /// Whether a word, as it stands, speaks of what is not there or only comes along.
    asides: HashMap<Box<str>, bool>,
    /// Two words that stand together, by their numbers.
    pairs: HashMap<(usize, usize), usize>,
    of_pair: Vec<Pair>,
}

/// What a heading says of the rows below it.
#[derive(Debug, Default)]
pub(crate) struct Heading {
    /// Its own number; that of none is 0.
    pub number: usize,
    pub words: Words,
    /// What it says of each list of rivals, where all that it names speaks of that: `Copper & brass` of their metals, but
    /// `Drives & power` of no device.
    pub rivals: Vec<Words>,
    /// Not all that it names speaks of the same: `Boards and e-waste` may stand above boards or not.
    pub is_mixed: bool,
}

/// A word of a wording: in English, where it is known in another language, and without its ending.
#[derive(Debug, Clone)]
struct Plain {
    /// Without its endings, as it stands and without those of its plural.
    roots: [Box<str>; 2],
    stems: Vec<usize>,
}

#[derive(Debug)]
struct Pair {
    /// So many words that begin with these two may mean something together.
    longest_run: usize,
    /// What the two mean together.
    stems: Option<Vec<usize>>,
}

#[derive(Debug)]
struct Stem {
    text: Box<str>,
    /// It says that the next word is not there.
    is_absent: bool,
    /// No name of a grade has it.
    is_strange: bool,
    /// So many stems that begin with this one may stand for something together.
    longest_run: usize,
    /// What it stands for by itself.
    words: Vec<Word>,
}

#[derive(Debug)]
struct Facts {
    /// Names of grades are made of it.
    is_own: bool,
    /// The lists of rivals that it is in, and those of them in which a grade must share it.
    rivals: Vec<usize>,
    must_match: Vec<usize>,
}

impl WordBook {
    /// How many words, pairs of them and headings it holds.
    pub fn len(&self) -> usize {
        self.plain.len() + self.pairs.len() + self.headings.len()
    }

    /// The words of a text that say something about a grade, each in the one spelling that stands for all of its kind.
    pub fn words(&mut self, text: &str) -> Words {
        let normal = match text.contains(['\'', '’']) {
            true => normal_wording(&without_elision(text)),
            false => normal_wording(text),
        };
        let mut stems = self.stems_of(&normal);
        self.drop_absent(&mut stems);
        let mut words = Words::with_capacity(stems.len());
        let mut at = 0;
        while at < stems.len() {
            at += self.stand_in(&stems[at..], &mut words);
        }
        words.sort_unstable();
        words.dedup();
        words
    }

    /// What a heading says; nothing where it is a name rather than made of the trade's words, as `Copper & brass` is and
    /// `Lake County Iron` is not.
    pub fn heading(&mut self, text: &str) -> Arc<Heading> {
        if let Some(heading) = self.headings.get(text) {
            return Arc::clone(heading);
        }
        let words = self.words(text);
        let strange = words.iter().filter(|word| !self.of_word[**word as usize].is_own).count();
        let of_the_trade = strange <= 1 && strange * 2 <= words.len() || words.len() <= 1;
        let mut heading = Heading { number: self.headings.len() + 1, ..Heading::default() };
        // `Varios` says of nothing below it that it is mixed.
        let miscellaneous = words.as_slice() == [self.number("mixed")];
        if of_the_trade && !miscellaneous {
            heading.rivals = self.rivals(&words);
            let parts = named_together(text);
            for part in &parts {
                let words = self.words(part);
                let of_part = self.rivals(&words);
                for (said, of_part) in heading.rivals.iter_mut().zip(of_part) {
                    if of_part.is_empty() {
                        said.clear();
                    }
                }
            }
            heading.is_mixed = parts.len() > 1 && heading.rivals.iter().all(Vec::is_empty);
            heading.words = words;
        }
        let heading = Arc::new(heading);
        self.headings.insert(text.into(), Arc::clone(&heading));
        heading
    }

    /// Whether some word of a text speaks of what is not there or only comes along: in most there is none.
    pub fn has_aside(&mut self, text: &str) -> bool {
        text.split([' ', ',', ';', '/', '(', ')', '[', ']']).filter(|word| !word.is_empty()).any(|word| {
            if let Some(&known) = self.asides.get(word) {
                return known;
            }
            let is_aside =
                [Use::Absent, Use::Removed, Use::Beside].iter().any(|is| VOCABULARY.has(word, *is))
                    || VOCABULARY.is_free_of_something(word);
            self.asides.insert(word.into(), is_aside);
            is_aside
        })
    }

    /// The number of a word that is in its final spelling already.
    pub fn number(&mut self, word: &str) -> Word {
        if let Some(&number) = self.words.get(word) {
            return number;
        }
        let number = Word::try_from(self.of_word.len()).unwrap_or(Word::MAX);
        let mut rivals = VOCABULARY.rival_lists(word).to_vec();
        if is_percent(word) {
            rivals.extend((0..VOCABULARY.rivals.len()).filter(|&list| VOCABULARY.rivals[list].percent));
        }
        let must_match = |list: &usize| VOCABULARY.rivals[*list].must_match(word);
        let must_match = rivals.iter().copied().filter(must_match).collect();
        self.of_word.push(Facts { is_own: VOCABULARY.is_own(word), rivals, must_match });
        self.words.insert(word.into(), number);
        number
    }

    /// The words that each list of rivals has in common with these.
    pub fn rivals(&self, words: &[Word]) -> Vec<Words> {
        let mut lists = vec![Words::new(); VOCABULARY.rivals.len()];
        for &word in words {
            self.of_word[word as usize].rivals.iter().for_each(|&list| lists[list].push(word));
        }
        lists
    }

    /// Whether it is in any list of rivals.
    pub fn has_rivals(&self, word: Word) -> bool {
        !self.of_word[word as usize].rivals.is_empty()
    }

    /// Whether a grade must share this word once a wording has it.
    pub fn must_match(&self, list: usize, word: Word) -> bool {
        self.of_word[word as usize].must_match.contains(&list)
    }

    /// The stems of a wording in its normal form, in their order.
    fn stems_of(&mut self, normal: &str) -> Vec<usize> {
        let mut stems = Vec::with_capacity(8);
        let mut rest = normal;
        while !rest.is_empty() {
            let (word, behind) = rest.split_once(' ').unwrap_or((rest, ""));
            let first = self.plain(word);
            let next = behind.split(' ').next().filter(|next| !next.is_empty());
            let both = next.map(|next| &rest[..word.len() + 1 + next.len()]);
            if let Some((both, pair)) = both.map(|both| (both, self.pair(first, both))) {
                let longer = longest_run(rest, self.of_pair[pair].longest_run);
                if let Some((run, meaning)) = longer {
                    stems.extend(self.stems_of_meaning(meaning));
                    rest = rest[run..].trim_start_matches(' ');
                    continue;
                }
                if let Some(together) = &self.of_pair[pair].stems {
                    stems.extend_from_slice(together);
                    rest = rest[both.len()..].trim_start_matches(' ');
                    continue;
                }
            }
            stems.extend_from_slice(&self.of_plain[first].stems);
            rest = behind;
        }
        stems
    }

    fn stems_of_meaning(&mut self, meaning: &str) -> Vec<usize> {
        meaning.split(' ').filter(|word| !word.is_empty()).map(|word| self.stem(word)).collect()
    }

    /// The number of two words that stand together, of which the first has this number.
    fn pair(&mut self, first: usize, both: &str) -> usize {
        let (_, next) = both.split_once(' ').unwrap_or((both, ""));
        let key = (first, self.plain(next));
        if let Some(&number) = self.pairs.get(&key) {
            return number;
        }
        let roots = |form: usize| {
            let [first, next] = [key.0, key.1].map(|word| &self.of_plain[word].roots[form]);
            format!("{first} {next}")
        };
        let longest_run = VOCABULARY.longest_english(&roots(0)).max(VOCABULARY.longest_english(&roots(1)));
        let meaning = if longest_run > 1 { VOCABULARY.english(both) } else { None };
        let stems = meaning.map(|meaning| self.stems_of_meaning(meaning));
        let number = self.of_pair.len();
        self.of_pair.push(Pair { longest_run, stems });
        self.pairs.insert(key, number);
        number
    }

    /// The number of a word as it stands.
    fn plain(&mut self, word: &str) -> usize {
        if let Some(&number) = self.plain.get(word) {
            return number;
        }
        let english = match VOCABULARY.english(word) {
            Some(meaning) => meaning.to_string(),
            None => compound(word).unwrap_or_else(|| word.to_string()),
        };
        let stems = self.stems_of_meaning(&english);
        let number = self.of_plain.len();
        let roots = [root(word).into(), root(&stem(word)).into()];
        self.of_plain.push(Plain { roots, stems });
        self.plain.insert(word.into(), number);
        number
    }

    /// The number of a word's stem.
    fn stem(&mut self, word: &str) -> usize {
        let text = stem(word);
        if let Some(&number) = self.stems.get(text.as_str()) {
            return number;
        }
        let stands_for = VOCABULARY.stand_in(&text).unwrap_or(&text);
        let words = self.telling(stands_for);
        let number = self.of_stem.len();
        self.of_stem.push(Stem {
            is_absent: VOCABULARY.has(&text, Use::Absent),
            is_strange: !VOCABULARY.is_own(&text) && !text.starts_with(|c: char| c.is_ascii_digit()),
            longest_run: VOCABULARY.longest_stand_in(&text),
            words,
            text: text.as_str().into(),
        });
        self.stems.insert(text.into(), number);
        number
    }

    /// The words of what some stand for, without those that say nothing: `romex` stands for `solid house wire`.
    fn telling(&mut self, stands_for: &str) -> Vec<Word> {
        stands_for.split(' ').filter(|word| !VOCABULARY.is_idle(word)).map(|word| self.number(word)).collect()
    }

    /// Takes out what is said not to be there, if no name of a grade has it: `phone boards no shield` are phone boards.
    fn drop_absent(&self, stems: &mut Vec<usize>) {
        let mut at = 0;
        while at + 1 < stems.len() {
            if at > 0 && self.of_stem[stems[at]].is_absent && self.of_stem[stems[at + 1]].is_strange {
                stems.drain(at..at + 2);
            } else {
                at += 1;
            }
        }
    }

    /// Adds what the first of these stems stands for, with those behind it where they stand for something together; says
    /// how many those are.
    fn stand_in(&mut self, stems: &[usize], words: &mut Words) -> usize {
        let first = &self.of_stem[stems[0]];
        for length in (2..=first.longest_run.min(stems.len())).rev() {
            let texts: Vec<&str> = stems[..length].iter().map(|&stem| &*self.of_stem[stem].text).collect();
            if let Some(meaning) = VOCABULARY.stand_in(&texts.join(" ")) {
                words.extend(self.telling(meaning));
                return length;
            }
        }
        words.extend_from_slice(&self.of_stem[stems[0]].words);
        1
    }
}

/// The longest run of three words or more, and at most so many, that the text begins with and that means something in
/// English: where it ends, and what.
fn longest_run(text: &str, longest: usize) -> Option<(usize, &'static str)> {
    let ends = || text.match_indices(' ').map(|(at, _)| at).chain([text.len()]).take(longest);
    let words = if longest > 2 { ends().count() } else { 2 };
    (3..=words).rev().find_map(|length| {
        let end = ends().nth(length - 1)?;
        VOCABULARY.english(&text[..end]).map(|found| (end, found))
    })
}

/// The things that a heading names one after the other: `Drives, units & bits`; just itself where it names one.
fn named_together(heading: &str) -> Vec<String> {
    let is_and = |word: &str| matches!(word, "&" | "+") || VOCABULARY.has(word, Use::SpanTo);
    let lists = heading.split_whitespace().any(is_and) || heading.matches(',').count() > 1;
    let apart = heading.split(|c: char| c == '/' || lists && c == ',');
    let parts = apart.flat_map(|part| {
        let words: Vec<&str> = part.split_whitespace().collect();
        words.split(|word| is_and(word)).map(|words| words.join(" ")).collect::<Vec<_>>()
    });
    parts.filter(|part| part.chars().any(char::is_alphanumeric)).collect()
}

/// The text without articles that are written together with their word: `batteries d'auto`, `fonte d’alu`.
fn without_elision(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    let mut word = 0;
    for c in text.chars() {
        if matches!(c, '\'' | '’') && word == 1 && plain.ends_with(['d', 'l', 'D', 'L']) {
            plain.pop();
            plain.push(' ');
            word = 0;
            continue;
        }
        word = if c.is_alphanumeric() { word + 1 } else { 0 };
        plain.push(c);
    }
    plain
}

/// A word that is two known ones written together: `Serverplatinen`, `koperkabel`.
fn compound(word: &str) -> Option<String> {
    let known = VOCABULARY.is_own(&stem(word)) || VOCABULARY.is_loan(word);
    if known || word.len() < 7 || !word.bytes().all(|b| b.is_ascii_lowercase()) {
        return None;
    }
    (3..=word.len() - 4).rev().find_map(|at| {
        let (first, second) = word.split_at(at);
        let second = VOCABULARY.english_half(second).filter(|meaning| !VOCABULARY.is_idle(meaning))?;
        // Letters that only join the two: `Leitungsdraht`, `Platinenschrott`.
        let first = ["", "s", "n", "en", "e"].iter().find_map(|joint| {
            let first = first.strip_suffix(joint).filter(|first| first.len() >= 3)?;
            VOCABULARY.english(first).or_else(|| VOCABULARY.is_loan(first).then_some(first))
        })?;
        Some(format!("{first} {second}"))
    })
}

/// A word without its plural ending, so that `boards` and `board` are one.
pub(crate) fn stem(word: &str) -> String {
    if word.len() <= 3 || !word.is_ascii() || word.chars().any(|c| c.is_ascii_digit()) {
        return word.to_string();
    }
    if let Some(start) = word.strip_suffix("ies").filter(|start| start.len() > 2) {
        return format!("{start}y");
    }
    let plural =
        word.ends_with('s') && !word.ends_with("ss") && !word.ends_with("us") && !word.ends_with("is");
    if plural { word[..word.len() - 1].to_string() } else { word.to_string() }
}

impl Rivals {
    fn must_match(&self, word: &str) -> bool {
        self.strict.iter().any(|other| other == word) || (self.percent && is_percent(word))
    }
}

fn is_percent(word: &str) -> bool {
    word.strip_suffix("pct").is_some_and(|number| number.starts_with(|c: char| c.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expect: &str) {
        let mut book = WordBook::default();
        let words = book.words(text);
        assert_eq!(words, book.words(text), "{text}: the second time as the first");
        let name =
            |number: Word| book.words.iter().find(|(_, other)| **other == number).map(|(word, _)| word);
        let mut words: Vec<&str> = words.into_iter().filter_map(name).map(AsRef::as_ref).collect();
        words.sort_unstable();
        assert_eq!(words.join(" "), expect, "{text}");
    }

    #[test]
    fn words_of_any_language() {
        check("Kupferkabel 60 %", "60pct copper wire");
        check("Serverplatinen", "board server");
        check("schede madri", "board main");
        check("Placas base", "board main");
        check("Kable miedziane", "copper wire");
        check("power cords w/ ends", "cord power");
        check("Telecom boards", "board telecom");
        check("cans", "can");
        check("die cast zinc", "cast die zinc");
        check("Placa de notebook", "board laptop");
        check("Batteries d'auto", "battery car");
        check("phone boards, no shields", "board phone");
    }
}
