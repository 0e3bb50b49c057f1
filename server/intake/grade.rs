//! Which grade a wording means: what this outlet meant by it before, the trade's exact words, or the closest name.
//!
//! A closest name is only proposed where nothing in it contradicts the wording: No. 1 is never No. 2, painted never
//! bare, aluminium wire never copper wire. What contradicts what is data, in `vocabulary.toml`.

mod absent;
mod head;
mod met;
mod said;

use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap};
use std::sync::{Mutex, PoisonError};

use rustc_hash::FxHashMap as HashMap;
use serde::{Deserialize, Serialize};
use trade::ids::GradeId;

use crate::sheet::Sheet;
use crate::vocabulary::VOCABULARY;
use crate::wording::normal_wording;
use crate::words::{Word, WordBook, Words, stem};
use met::Book;
use said::{Said, includes};

/// From this score on a grade is proposed; below it a person is asked.
pub const PROPOSED_FROM: u8 = 75;

/// A second grade this close behind the best makes the best a question.
const CLEAR_BY: u8 = 6;
/// Taken off where the name says something the wording leaves open: `insulated wire` may be 60 or 80 %.
const UNSAID: u8 = 15;
/// Taken off where only the heading, not the wording, supplied a word of the name.
const FROM_HEADING: u8 = 2;
/// The same where that is most of what they have in common.
const MOSTLY_HEADING: u8 = 25;

/// A grade of the shop, as far as wordings are compared with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Grade {
    pub id: GradeId,
    pub name: String,
    pub family: String,
}

/// What a wording was found to mean.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Proposal {
    /// The likeliest grade; `None` where none is likely, or the outlet's wording is known to be of no use to the shop.
    pub grade: Option<GradeId>,
    /// From 0 to 100; see [`PROPOSED_FROM`].
    pub score: u8,
    pub why: How,
}

impl Proposal {
    const NONE: Proposal = Proposal { grade: None, score: 0, why: How::Scored };

    /// Whether the score is high enough to propose the grade rather than ask for it.
    pub fn is_sure(&self) -> bool {
        self.score >= PROPOSED_FROM
    }
}

/// How a proposal was reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum How {
    /// A person said so for this outlet.
    Learned,
    /// A person said that this wording of this outlet is to be left out.
    LearnedIgnored,
    /// A name or synonym of the grade, word for word.
    Exact,
    /// A code word of the trade's circular.
    CodeWord,
    /// The closest name that does not contradict it.
    Scored,
}

/// What one outlet's wordings were confirmed to mean: a grade, or `None` for one that is to be ignored.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Learned {
    meanings: std::collections::HashMap<String, Option<GradeId>>,
}

impl Learned {
    /// Each meaning with the key that [`Learned::key`] made for it.
    pub fn new(meanings: impl IntoIterator<Item = (String, Option<GradeId>)>) -> Self {
        Learned { meanings: meanings.into_iter().collect() }
    }

    /// The key under which a meaning is kept. The heading is part of it, because `No. 2` below “Copper” and `No. 2`
    /// below “Insulated wire” are two grades.
    pub fn key(wording: &str, group: Option<&str>) -> String {
        let wording = normal_wording(wording);
        match group.map(normal_wording).filter(|group| !group.is_empty()) {
            Some(group) => format!("{group}: {wording}"),
            None => wording,
        }
    }

    /// All keys that a meaning for a row of this sheet may be kept under, each once.
    pub fn keys(sheet: &Sheet) -> Vec<String> {
        let named: BTreeSet<(&str, Option<&str>)> = sheet
            .rows
            .iter()
            .flat_map(|row| [(row.wording.as_str(), row.group.as_deref()), (&row.wording, None)])
            .collect();
        let keys: BTreeSet<String> =
            named.into_iter().map(|(wording, group)| Self::key(wording, group)).collect();
        keys.into_iter().collect()
    }

    fn meaning(&self, wording: &str, group: Option<&str>) -> Option<&Option<GradeId>> {
        if self.meanings.is_empty() {
            return None;
        }
        self.meanings.get(&Self::key(wording, group)).or_else(|| self.meanings.get(&Self::key(wording, None)))
    }
}

/// The shop's grades with every phrase that means each of them, ready to be compared.
#[derive(Debug)]
pub struct Catalogue {
    grades: Vec<GradeId>,
    phrases: Vec<Phrase>,
    /// The phrases of each grade.
    of_grade: Vec<Vec<usize>>,
    /// What each grade's phrases say of the matters that there are rivals in, one list of different sayings a matter.
    sayings: Vec<Vec<Vec<Words>>>,
    /// Phrases by the set of their words.
    exact: HashMap<Words, Vec<usize>>,
    /// Phrases that hold a word, by its number.
    holding: Vec<Vec<usize>>,
    codes: HashMap<Word, usize>,
    /// How much a word of a phrase tells, by its number: the fewer grades it occurs in, the more.
    weights: Vec<u32>,
    book: Mutex<Book>,
}

#[derive(Debug)]
struct Phrase {
    grade: usize,
    words: Words,
    weight: u32,
    /// Of the words, those of each list of rivals.
    rivals: Vec<Words>,
    /// It says what is not there or comes along: `laptop complete with battery`.
    has_aside: bool,
}

/// Weight of a word that no grade's phrases hold: it may be idle talk, or it may say that this is another grade.
const STRANGE: u32 = 140;

/// Whether a wording goes on from what its heading names: `De red UTP`, `d'antenne`.
fn begins_with_of(wording: &str) -> bool {
    let begins = |of: &&str| wording.get(..of.len()).is_some_and(|begin| begin.eq_ignore_ascii_case(of));
    ["d'", "d’", "de ", "di ", "del ", "della "].iter().any(begins)
}

impl Catalogue {
    /// Compares wordings with these grades; phrases of grades that are not among them are left aside.
    pub fn new(grades: impl IntoIterator<Item = Grade>) -> Self {
        let mut catalogue = Catalogue {
            grades: Vec::new(),
            phrases: Vec::new(),
            of_grade: Vec::new(),
            sayings: Vec::new(),
            exact: HashMap::default(),
            holding: Vec::new(),
            codes: HashMap::default(),
            weights: Vec::new(),
            book: Mutex::default(),
        };
        let mut book = WordBook::default();
        for (at, grade) in grades.into_iter().enumerate() {
            catalogue.of_grade.push(Vec::new());
            catalogue.sayings.push(vec![Vec::new(); VOCABULARY.rivals.len()]);
            let slug = grade.id.as_str();
            let synonyms = VOCABULARY.grades.get(slug).into_iter().flatten().map(String::as_str);
            for phrase in [grade.name.as_str()].into_iter().chain(synonyms) {
                let words = book.words(phrase);
                let rivals = book.rivals(&words);
                let has_aside = book.has_aside(phrase);
                catalogue.add(Phrase { grade: at, words, weight: 0, rivals, has_aside });
            }
            for code in VOCABULARY.codes.get(slug).into_iter().flatten() {
                catalogue.codes.insert(book.number(&stem(&normal_wording(code))), at);
            }
            catalogue.grades.push(grade.id);
        }
        catalogue.weigh();
        catalogue.book = Mutex::new(Book::of(book));
        catalogue
    }

    fn add(&mut self, phrase: Phrase) {
        let Phrase { grade, words, rivals, .. } = &phrase;
        let (grade, alike) = (*grade, self.exact.entry(words.clone()).or_default());
        if let Some(&same) = alike.iter().find(|&&at| self.phrases[at].grade == grade) {
            self.phrases[same].has_aside &= phrase.has_aside;
            return;
        }
        if words.is_empty() {
            return;
        }
        let at = self.phrases.len();
        alike.push(at);
        for &word in words {
            let word = word as usize;
            if self.holding.len() <= word {
                self.holding.resize(word + 1, Vec::new());
            }
            self.holding[word].push(at);
        }
        for (said, words) in self.sayings[grade].iter_mut().zip(rivals) {
            if !words.is_empty() && !said.contains(words) {
                said.push(words.clone());
            }
        }
        self.of_grade[grade].push(at);
        self.phrases.push(phrase);
    }

    /// Works out how much each word tells, and each phrase in all.
    fn weigh(&mut self) {
        let grades = |phrases: &Vec<usize>| {
            let mut grades: Vec<usize> = phrases.iter().map(|&at| self.phrases[at].grade).collect();
            grades.dedup();
            u32::try_from(grades.len()).unwrap_or(u32::MAX)
        };
        let weight = |phrases: &Vec<usize>| match grades(phrases) {
            0 => STRANGE,
            grades => 60 + 240 / grades,
        };
        self.weights = self.holding.iter().map(weight).collect();
        for phrase in &mut self.phrases {
            phrase.weight = phrase.words.iter().map(|&word| self.weights[word as usize]).sum();
        }
    }

    fn weight(&self, word: Word) -> u32 {
        self.weights.get(word as usize).copied().unwrap_or(STRANGE)
    }

    fn holding(&self, word: Word) -> &[usize] {
        self.holding.get(word as usize).map_or(&[], Vec::as_slice)
    }

    /// How many words it has met and remembers: who keeps it for long makes another one when they are many.
    pub fn words_met(&self) -> usize {
        self.book.lock().unwrap_or_else(PoisonError::into_inner).words.len()
    }

    /// What the wording means, under the heading `group`, to an outlet that has `learned` meanings.
    pub fn propose(&self, learned: &Learned, wording: &str, group: Option<&str>) -> Proposal {
        match learned.meaning(wording, group) {
            Some(None) => return Proposal { grade: None, score: 100, why: How::LearnedIgnored },
            // A grade that the shop has retired since is asked for anew.
            Some(Some(grade)) if self.grades.contains(grade) => {
                return Proposal { grade: Some(grade.clone()), score: 100, why: How::Learned };
            }
            _ => {}
        }
        // Each entry of what it holds is made at once.
        let mut book = self.book.lock().unwrap_or_else(PoisonError::into_inner);
        let group = book.heading(group);
        let mut words = book.words.words(wording);
        // `D'ordinateur` below “Fils” is wire: what the heading names is not said again.
        let goes_on = begins_with_of(wording) && !group.words.is_empty();
        if goes_on {
            words.extend(&group.words);
            words.sort_unstable();
            words.dedup();
        }
        let met = self.met(&mut book, &words, &group);
        // `Cords, ends cut off` are cords and no ends.
        let has_aside = book.words.has_aside(wording);
        let aside = !goes_on && has_aside;
        let present = if aside { absent::present(wording) } else { None };
        let by_what_is_there = |book: &mut Book| self.by_what_is_there(book, present.as_ref()?, &group);
        let hides = present
            .as_ref()
            .is_some_and(|present| !present.beside.is_empty() || self.tells(&mut book, &present.absent));
        if let Some(there) = by_what_is_there(&mut book).filter(|_| met.exact.is_some() && hides) {
            return there;
        }
        let plain = || if has_aside { None } else { self.only_plain(&words, &met.said) };
        if let Some(grade) = met.exact.or_else(plain) {
            return Proposal { grade: Some(self.grades[grade].clone()), score: 100, why: How::Exact };
        }
        if let Some(grade) = met.code {
            return Proposal { grade: Some(self.grades[grade].clone()), score: 95, why: How::CodeWord };
        }
        if let Some(found) = self
            .by_alternatives(&mut book, wording, &group, &met.said)
            .or_else(|| {
                let head = || self.by_head(&mut book, wording, &group, &words, &met.said);
                (!goes_on).then(head).flatten()
            })
            .or_else(|| by_what_is_there(&mut book))
        {
            return found;
        }
        let closest = met.closest.get_or_init(|| self.closest(&met.said)).clone();
        let grade = self.grades.iter().position(|grade| Some(grade) == closest.grade.as_ref());
        let is_absent = present
            .as_ref()
            .zip(grade)
            .is_some_and(|(present, grade)| self.is_known_by_what_is_absent(&mut book, present, grade));
        let score = if is_absent { closest.score.min(PROPOSED_FROM - 1) } else { closest.score };
        Proposal { score, ..closest }
    }

    /// Whether the wording says something that no phrase of the grade goes along with, or names another grade as well.
    fn denied(&self, grade: usize, said: &Said) -> bool {
        self.contradicted(grade, said) || {
            // `Berry/Candy` is the trade's No. 1: one of the two codes is this grade's.
            let mut codes = said.wording.iter().filter_map(|word| self.codes.get(word)).peekable();
            codes.peek().is_some() && !codes.any(|&code| code == grade)
        }
    }

    /// The one grade with a phrase of exactly these words: with the heading's, or without where they agree.
    fn exactly(&self, said: &Said) -> Option<usize> {
        if said.group.words.is_empty() {
            return self.only_grade(&said.wording, said);
        }
        let both = said.both();
        let whole = self.only_grade(&both, said).or_else(|| self.completed(said, &both));
        let alone = self.only_grade(&said.wording, said);
        match (whole, alone) {
            // `Tube monitors` below “Boards and e-waste”: whether of boards, the heading leaves open.
            (Some(whole), Some(alone)) if said.group.is_mixed && whole != alone => None,
            _ => whole.or(alone),
        }
    }

    /// The one grade with a phrase that is the wording and some of the heading's words: `Server` below “Boards, class
    /// A”. It comes before what the wording would mean without a heading.
    fn completed(&self, said: &Said, both: &[Word]) -> Option<usize> {
        let mut grades: Vec<usize> = self
            .holding(*said.wording.first()?)
            .iter()
            .map(|&at| &self.phrases[at])
            .filter(|phrase| phrase.words.len() > said.wording.len())
            .filter(|phrase| includes(&phrase.words, &said.wording) && includes(both, &phrase.words))
            .filter(|phrase| said.agreement(&phrase.rivals).is_some())
            .map(|phrase| phrase.grade)
            .collect();
        grades.dedup();
        match grades.as_slice() {
            [one] => Some(*one),
            _ => None,
        }
    }

    fn only_grade(&self, words: &[Word], said: &Said) -> Option<usize> {
        let mut grades: Vec<usize> =
            self.exact.get(words)?.iter().map(|&phrase| self.phrases[phrase].grade).collect();
        grades.dedup();
        match grades.as_slice() {
            [one] if !self.contradicted(*one, said) => Some(*one),
            _ => None,
        }
    }

    /// The one grade with a phrase of exactly these words that says nothing to be absent or beside: `laptop batteries` are no
    /// `laptop complete with battery`.
    fn only_plain(&self, words: &[Word], said: &Said) -> Option<usize> {
        let phrases = self.exact.get(words)?.iter().map(|&at| &self.phrases[at]);
        let mut plain = phrases.filter(|phrase| !phrase.has_aside).map(|phrase| phrase.grade);
        let one = plain.next().filter(|grade| !self.contradicted(*grade, said))?;
        plain.all(|other| other == one).then_some(one)
    }

    /// Whether the wording, or the heading where the wording is silent, says something that the grade as a whole goes
    /// against: some of its phrases speak of the matter, and none of them says the same.
    fn contradicted(&self, grade: usize, said: &Said) -> bool {
        let phrases = || self.of_grade[grade].iter().map(|&at| &self.phrases[at]);
        said.goes_against(&self.sayings[grade])
            || !phrases().any(|phrase| said.agreement(&phrase.rivals).is_some())
    }

    fn by_code(&self, said: &Said) -> Option<usize> {
        let mut grades: Vec<usize> =
            said.wording.iter().filter_map(|word| self.codes.get(word)).copied().collect();
        grades.sort_unstable();
        grades.dedup();
        match grades.as_slice() {
            [one] if !self.contradicted(*one, said) => Some(*one),
            _ => None,
        }
    }

    fn closest(&self, said: &Said) -> Proposal {
        let [first, second] = self.best(said);
        let Some((score, grade)) = first.filter(|(score, _)| *score > 0) else { return Proposal::NONE };
        let second = second.map_or(0, |(score, _)| score);
        let clear = score >= second + CLEAR_BY;
        let score = if clear { score.min(94) } else { score.min(PROPOSED_FROM - 1) };
        Proposal { grade: Some(self.grades[grade].clone()), score, why: How::Scored }
    }

    /// The phrases that share a word of the wording's own, each with the share of the weight of both sides' words that
    /// the two have in common, the largest first.
    fn shares(&self, said: &Said) -> BinaryHeap<(u32, Reverse<usize>)> {
        let all: u32 = said.wording.iter().map(|&word| self.weight(word)).sum();
        // By phrase, the weight of the words it shares with the wording itself, and with the heading only.
        let mut common = vec![(0, 0); self.phrases.len()];
        let mut met: Vec<usize> = Vec::new();
        for &word in &said.wording {
            for &at in self.holding(word) {
                if common[at].0 == 0 {
                    met.push(at);
                }
                common[at].0 += self.weight(word);
            }
        }
        for &word in said.group.words.iter().filter(|word| !said.wording.contains(word)) {
            self.holding(word).iter().for_each(|&at| common[at].1 += self.weight(word));
        }
        let share = |at: usize| {
            let (own, lent): (u32, u32) = common[at];
            // What the name says and the wording does not weighs twice: `desktop` is no desktop's wire.
            let named = self.phrases[at].weight;
            let total = all + lent + named + (named - own - lent);
            // What mostly the heading says, the wording may not: `New tube, clean` below “Bright wire”.
            let less = match lent {
                0 => 0,
                lent if own * 2 < lent => u32::from(MOSTLY_HEADING),
                _ => u32::from(FROM_HEADING),
            };
            ((200 * (own + lent) / total.max(1)).saturating_sub(less), Reverse(at))
        };
        met.into_iter().map(share).collect()
    }

    /// The two best grades by their closest phrases that do not contradict the wording, each with its score.
    fn best(&self, said: &Said) -> [Option<(u8, usize)>; 2] {
        let mut best: Vec<(u8, usize)> = Vec::new();
        let mut against: Vec<Option<bool>> = vec![None; self.grades.len()];
        let mut shares = self.shares(said);
        while let Some((share, Reverse(at))) = shares.pop() {
            // No phrase scores more than its share.
            if best.get(1).is_some_and(|(score, _)| u32::from(*score) > share) {
                break;
            }
            let phrase = &self.phrases[at];
            let is_against = || said.goes_against(&self.sayings[phrase.grade]);
            if *against[phrase.grade].get_or_insert_with(is_against) {
                continue;
            }
            let Some(unsaid) = said.agreement(&phrase.rivals) else { continue };
            let score = share.saturating_sub(u32::from(UNSAID) * unsaid).min(100) as u8;
            match best.iter_mut().find(|(_, grade)| *grade == phrase.grade) {
                Some((so_far, _)) => *so_far = score.max(*so_far),
                None => best.push((score, phrase.grade)),
            }
            best.sort_unstable_by_key(|(score, grade)| (Reverse(*score), *grade));
        }
        [best.first().copied(), best.get(1).copied()]
    }
}
