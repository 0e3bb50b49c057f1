//! Which grade a wording means: what this outlet meant by it before, the trade's exact words, or the closest name.
//!
//! A closest name is only proposed where nothing in it contradicts the wording: No. 1 is never No. 2, painted never
//! bare, aluminium wire never copper wire. What contradicts what is data, in `vocabulary.toml`.

use std::collections::BTreeSet;

use rustc_hash::FxHashMap as HashMap;
use serde::{Deserialize, Serialize};
use trade::ids::GradeId;

use crate::vocabulary::{Rivals, VOCABULARY, Vocabulary};
use crate::wording::normal_wording;
use crate::words::{Words, stem, words};

/// From this score on a grade is proposed; below it a person is asked.
pub const PROPOSED_FROM: u8 = 75;

/// A second grade this close behind the best makes the best a question.
const CLEAR_BY: u8 = 6;
/// Taken off where the name says something the wording leaves open: `insulated wire` may be 60 or 80 %.
const UNSAID: u8 = 15;
/// The score of a wording whose alternatives all mean one grade, and of one whose head does, less two for each word that
/// it adds.
const ALTERNATIVES: u8 = 92;
const HEAD: u8 = 92;
/// A wording that adds more words to its head than this is about something else.
const MOST_ADDED: usize = 6;
/// Taken off where only the heading, not the wording, supplied a word of the name.
const FROM_HEADING: u8 = 2;

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
    /// Phrases that hold a word.
    holding: HashMap<String, Vec<usize>>,
    codes: HashMap<String, usize>,
    /// How much a word tells: the fewer grades it occurs in, the more.
    weights: HashMap<String, u32>,
}

#[derive(Debug)]
struct Phrase {
    grade: usize,
    words: Words,
    /// Of the words, those of each list of rivals.
    rivals: Vec<Words>,
}

/// Weight of a word that no grade's phrases hold: it may be idle talk, or it may say that this is another grade.
const STRANGE: u32 = 140;

impl Catalogue {
    /// Compares wordings with these grades; phrases of grades that are not among them are left aside.
    pub fn new(grades: impl IntoIterator<Item = Grade>) -> Self {
        let vocabulary: &Vocabulary = &VOCABULARY;
        let mut catalogue = Catalogue {
            grades: Vec::new(),
            phrases: Vec::new(),
            of_grade: Vec::new(),
            sayings: Vec::new(),
            exact: HashMap::default(),
            holding: HashMap::default(),
            codes: HashMap::default(),
            weights: HashMap::default(),
        };
        let mut occurs: HashMap<String, BTreeSet<usize>> = HashMap::default();
        for (at, grade) in grades.into_iter().enumerate() {
            catalogue.of_grade.push(Vec::new());
            catalogue.sayings.push(vec![Vec::new(); vocabulary.rivals.len()]);
            let slug = grade.id.as_str();
            let synonyms = vocabulary.grades.get(slug).into_iter().flatten().map(String::as_str);
            for phrase in [grade.name.as_str()].into_iter().chain(synonyms) {
                let words = words(phrase);
                for word in &words {
                    occurs.entry(word.clone()).or_default().insert(at);
                }
                catalogue.add(at, words);
            }
            for code in vocabulary.codes.get(slug).into_iter().flatten() {
                catalogue.codes.insert(stem(&normal_wording(code)), at);
            }
            catalogue.grades.push(grade.id);
        }
        catalogue.weights = occurs
            .into_iter()
            .map(|(word, grades)| (word, 60 + 240 / u32::try_from(grades.len().max(1)).unwrap_or(u32::MAX)))
            .collect();
        catalogue
    }

    fn add(&mut self, grade: usize, words: Words) {
        let alike = self.exact.entry(words.clone()).or_default();
        if words.is_empty() || alike.iter().any(|&at| self.phrases[at].grade == grade) {
            return;
        }
        let at = self.phrases.len();
        alike.push(at);
        for word in &words {
            self.holding.entry(word.clone()).or_default().push(at);
        }
        let rivals = rivals(&words);
        for (said, words) in self.sayings[grade].iter_mut().zip(&rivals) {
            if !words.is_empty() && !said.contains(words) {
                said.push(words.clone());
            }
        }
        self.of_grade[grade].push(at);
        self.phrases.push(Phrase { grade, words, rivals });
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
        let said = Said::of(wording, group);
        let exact = self.exactly(&said);
        if let Some(grade) = exact {
            return Proposal { grade: Some(self.grades[grade].clone()), score: 100, why: How::Exact };
        }
        if let Some(grade) = self.by_code(&said) {
            return Proposal { grade: Some(self.grades[grade].clone()), score: 95, why: How::CodeWord };
        }
        self.by_alternatives(wording, group)
            .or_else(|| self.by_head(wording, group, &said))
            .unwrap_or_else(|| self.closest(&said))
    }

    /// The one grade that all alternatives of the wording mean: `Light iron / shred`, `Bare bright / Cuivre nu brillant`.
    fn by_alternatives(&self, wording: &str, group: Option<&str>) -> Option<Proposal> {
        let parts: Vec<&str> =
            wording.split(['/', '|']).map(str::trim).filter(|part| !part.is_empty()).collect();
        if !(2..=4).contains(&parts.len()) {
            return None;
        }
        let grades: Option<Vec<usize>> = parts
            .iter()
            .map(|part| {
                let said = Said::of(part, group);
                self.exactly(&said).or_else(|| self.by_code(&said))
            })
            .collect();
        let grades = grades?;
        let one = *grades.first()?;
        let agree = grades.iter().all(|grade| *grade == one) && !self.denied(one, &Said::of(wording, group));
        agree.then(|| Proposal {
            grade: Some(self.grades[one].clone()),
            score: ALTERNATIVES,
            why: How::Scored,
        })
    }

    /// The grade that the wording's head means word for word, where what it adds in brackets or behind a comma says
    /// nothing against it: `Hard drives (with board)`, `Motherboards, large socket`.
    fn by_head(&self, wording: &str, group: Option<&str>, whole: &Said) -> Option<Proposal> {
        let bare = without_brackets(wording);
        let mut heads: Vec<&str> = vec![wording.trim(), ""];
        for head in [Some(bare.as_str()), bare.split(',').next(), bare.split(" - ").next()] {
            let head = head.unwrap_or_default().trim();
            if heads.contains(&head) {
                continue;
            }
            heads.push(head);
            let said = Said::of(head, group);
            let Some(grade) = self.exactly(&said).or_else(|| self.by_code(&said)) else { continue };
            let more = whole.wording.difference(&said.wording).count();
            if more <= MOST_ADDED && !self.denied(grade, whole) {
                return Some(Proposal {
                    grade: Some(self.grades[grade].clone()),
                    score: HEAD - 2 * more as u8,
                    why: How::Scored,
                });
            }
        }
        None
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
        let both: Words = said.wording.union(&said.group).cloned().collect();
        let whole = self.only_grade(&both, said);
        whole.or_else(|| self.completed(said, &both)).or_else(|| self.only_grade(&said.wording, said))
    }

    /// The one grade with a phrase that is the wording and some of the heading's words: `Server` below “Boards, class
    /// A”. It comes before what the wording would mean without a heading.
    fn completed(&self, said: &Said, both: &Words) -> Option<usize> {
        let holding = said.wording.iter().next().and_then(|word| self.holding.get(word))?;
        let mut grades: Vec<usize> = holding
            .iter()
            .map(|&at| &self.phrases[at])
            .filter(|phrase| phrase.words.len() > said.wording.len())
            .filter(|phrase| phrase.words.is_superset(&said.wording) && phrase.words.is_subset(both))
            .filter(|phrase| agreement(said, phrase).is_some())
            .map(|phrase| phrase.grade)
            .collect();
        grades.dedup();
        match grades.as_slice() {
            [one] => Some(*one),
            _ => None,
        }
    }

    fn only_grade(&self, words: &Words, said: &Said) -> Option<usize> {
        let mut grades: Vec<usize> =
            self.exact.get(words)?.iter().map(|&phrase| self.phrases[phrase].grade).collect();
        grades.dedup();
        match grades.as_slice() {
            [one] if !self.contradicted(*one, said) => Some(*one),
            _ => None,
        }
    }

    /// Whether the wording, or the heading where the wording is silent, says something that the grade as a whole goes
    /// against: some of its phrases speak of the matter, and none of them says the same.
    fn contradicted(&self, grade: usize, said: &Said) -> bool {
        let phrases = || self.of_grade[grade].iter().map(|&at| &self.phrases[at]);
        self.goes_against(grade, said) || !phrases().any(|phrase| agreement(said, phrase).is_some())
    }

    fn goes_against(&self, grade: usize, said: &Said) -> bool {
        (0..VOCABULARY.rivals.len()).any(|at| {
            let (own, heading) = (&said.wording_rivals[at], &said.group_rivals[at]);
            if own.is_empty() && said.names_a_whole {
                return false;
            }
            let said = if own.is_empty() { heading } else { own };
            let same = |by: &Words| by == said || own.is_empty() && by.is_subset(heading);
            let sayings = &self.sayings[grade][at];
            !said.is_empty() && !sayings.is_empty() && !sayings.iter().any(same)
        })
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
        let mut phrases: BTreeSet<usize> = BTreeSet::new();
        for word in said.wording.iter().chain(&said.group) {
            phrases.extend(self.holding.get(word).into_iter().flatten());
        }
        let mut best: HashMap<usize, u8> = HashMap::default();
        let mut against: HashMap<usize, bool> = HashMap::default();
        for phrase in phrases.into_iter().map(|at| &self.phrases[at]) {
            if *against.entry(phrase.grade).or_insert_with(|| self.goes_against(phrase.grade, said)) {
                continue;
            }
            let score = self.score(said, phrase);
            let so_far = best.entry(phrase.grade).or_default();
            *so_far = score.max(*so_far);
        }
        let mut ranked: Vec<(u8, usize)> = best.into_iter().map(|(grade, score)| (score, grade)).collect();
        ranked.sort_unstable_by_key(|(score, grade)| (std::cmp::Reverse(*score), *grade));
        let Some(&(score, grade)) = ranked.first().filter(|(score, _)| *score > 0) else {
            return Proposal::NONE;
        };
        let second = ranked.get(1).map_or(0, |(score, _)| *score);
        let clear = score >= second + CLEAR_BY;
        let score = if clear { score.min(94) } else { score.min(PROPOSED_FROM - 1) };
        Proposal { grade: Some(self.grades[grade].clone()), score, why: How::Scored }
    }

    /// How much of the weight of both sides' words the two share, from 0 to 100; 0 where they contradict each other.
    fn score(&self, said: &Said, phrase: &Phrase) -> u8 {
        let Some(unsaid) = agreement(said, phrase) else { return 0 };
        let phrase = &phrase.words;
        let weight = |word: &String| self.weights.get(word).copied().unwrap_or(STRANGE);
        let by_heading: Vec<&String> = phrase
            .iter()
            .filter(|word| !said.wording.contains(*word) && said.group.contains(*word))
            .collect();
        let own: u32 = phrase.iter().filter(|word| said.wording.contains(*word)).map(weight).sum();
        if own == 0 {
            return 0;
        }
        let lent: u32 = by_heading.iter().map(|word| weight(word)).sum();
        // What the name says and the wording does not weighs twice: `desktop` is no desktop's wire.
        let named: u32 = phrase.iter().map(weight).sum();
        let total = said.wording.iter().map(weight).sum::<u32>() + lent + named + (named - own - lent);
        let share = 200 * (own + lent) / total.max(1);
        let less =
            u32::from(UNSAID) * unsaid + if by_heading.is_empty() { 0 } else { u32::from(FROM_HEADING) };
        u8::try_from(share.saturating_sub(less)).unwrap_or(100).min(100)
    }
}

/// The words of a wording and of its heading.
struct Said {
    wording: Words,
    group: Words,
    /// Of either, the words of each list of rivals.
    wording_rivals: Vec<Words>,
    group_rivals: Vec<Words>,
    /// The wording names a thing by itself, so that the heading cannot speak against it.
    names_a_whole: bool,
}

impl Said {
    fn of(wording: &str, group: Option<&str>) -> Said {
        let (wording, group) =
            (words(wording), group.filter(|group| is_about_grades(group)).map(words).unwrap_or_default());
        let (wording_rivals, group_rivals) = (rivals(&wording), rivals(&group));
        let names_a_whole =
            VOCABULARY.rivals.iter().zip(&wording_rivals).any(|(list, own)| list.whole && !own.is_empty());
        Said { wording, group, wording_rivals, group_rivals, names_a_whole }
    }
}

/// Whether a heading is made of the trade's words, as `Copper & brass` is and `Lake County Iron`, a name, is not.
fn is_about_grades(heading: &str) -> bool {
    let words = words(heading);
    let strange = words.iter().filter(|word| !VOCABULARY.is_own(word)).count();
    strange <= 1 && strange * 2 <= words.len() || words.len() <= 1
}

/// The text without what stands in brackets.
fn without_brackets(text: &str) -> String {
    let mut depth = 0usize;
    text.chars()
        .filter(|c| match c {
            '(' | '[' => {
                depth += 1;
                false
            }
            ')' | ']' => {
                depth = depth.saturating_sub(1);
                false
            }
            _ => depth == 0,
        })
        .collect()
}

/// The words that each list of rivals has in common with these.
fn rivals(words: &Words) -> Vec<Words> {
    let mut lists = vec![Words::new(); VOCABULARY.rivals.len()];
    for word in words {
        for &list in VOCABULARY.rival_lists(word) {
            lists[list].insert(word.clone());
        }
        if is_percent(word) {
            let by_percent = VOCABULARY.rivals.iter().zip(&mut lists).filter(|(rivals, _)| rivals.percent);
            by_percent.for_each(|(_, list)| {
                list.insert(word.clone());
            });
        }
    }
    lists
}

/// `None` where the wording, or the heading where the wording is silent, contradicts the phrase; else on how many
/// matters the phrase says more than they do.
fn agreement(said: &Said, phrase: &Phrase) -> Option<u32> {
    let mut unsaid = 0;
    for (at, rivals) in VOCABULARY.rivals.iter().enumerate() {
        let (by_wording, by_phrase) = (&said.wording_rivals[at], &phrase.rivals[at]);
        let by_said =
            if by_wording.is_empty() && !said.names_a_whole { &said.group_rivals[at] } else { by_wording };
        match (by_said.is_empty(), by_phrase.is_empty()) {
            (false, false) if by_said != by_phrase => return None,
            (false, true) if by_wording.iter().any(|word| rivals.must_match(word)) => return None,
            (true, false) => unsaid += 1,
            _ => {}
        }
    }
    Some(unsaid)
}

impl Rivals {
    fn must_match(&self, word: &str) -> bool {
        self.strict.iter().any(|other| other == word) || (self.percent && is_percent(word))
    }
}

fn is_percent(word: &str) -> bool {
    word.strip_suffix("pct").is_some_and(|number| number.starts_with(|c: char| c.is_ascii_digit()))
}
