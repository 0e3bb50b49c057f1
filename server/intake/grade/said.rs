//! What a wording and the heading above it say, and whether that goes along with a phrase of a grade.

use std::sync::Arc;

use crate::vocabulary::VOCABULARY;
use crate::words::{Heading, Word, WordBook, Words};

/// The words of a wording and of its heading.
#[derive(Debug)]
pub(super) struct Said {
    pub wording: Words,
    pub group: Arc<Heading>,
    /// What is said of each list of rivals: by the wording, or else by the heading where that can speak against it.
    rivals: Vec<Words>,
    /// The same by the heading alone, for the lists on which the wording is silent.
    by_heading: Vec<bool>,
    /// Whether a grade must share what the wording says of a list once it says so.
    strict: Vec<bool>,
}

impl Said {
    pub fn of(book: &WordBook, wording: Words, group: Arc<Heading>) -> Said {
        let mut rivals = book.rivals(&wording);
        let strict = rivals.iter().enumerate();
        let mut strict: Vec<bool> =
            strict.map(|(list, own)| own.iter().any(|&word| book.must_match(list, word))).collect();
        // The wording names a thing by itself, so that the heading cannot speak against it.
        let names_a_whole =
            VOCABULARY.rivals.iter().zip(&rivals).any(|(list, own)| list.whole && !own.is_empty());
        let mut by_heading = vec![false; rivals.len()];
        if !names_a_whole {
            for (list, of_group) in group.rivals.iter().enumerate() {
                if rivals[list].is_empty() && !of_group.is_empty() {
                    (rivals[list], by_heading[list]) = (of_group.clone(), true);
                    strict[list] = VOCABULARY.rivals[list].governs;
                }
            }
        }
        Said { wording, group, rivals, by_heading, strict }
    }

    /// The words of the wording and of its heading.
    pub fn both(&self) -> Words {
        let mut both = [self.wording.as_slice(), self.group.words.as_slice()].concat();
        both.sort_unstable();
        both.dedup();
        both
    }

    /// `None` where the wording, or the heading where the wording is silent, contradicts a phrase with these rivals; else
    /// on how many matters the phrase says more than they do.
    pub fn agreement(&self, phrase: &[Words]) -> Option<u32> {
        let mut unsaid = 0;
        for (list, (by_said, by_phrase)) in self.rivals.iter().zip(phrase).enumerate() {
            match (by_said.is_empty(), by_phrase.is_empty()) {
                (false, false) if by_said != by_phrase => return None,
                (false, true) if self.strict[list] => return None,
                (true, false) => unsaid += 1,
                _ => {}
            }
        }
        Some(unsaid)
    }

    /// Whether something is said that a grade goes against: its phrases speak of the matter, and none says the same.
    pub fn goes_against(&self, sayings: &[Vec<Words>]) -> bool {
        self.rivals.iter().zip(sayings).zip(&self.by_heading).any(|((said, sayings), by_heading)| {
            let same = |by: &Words| by == said || *by_heading && includes(said, by);
            !said.is_empty() && !sayings.is_empty() && !sayings.iter().any(same)
        })
    }
}

/// Whether all of the `few` words are among the `many`.
pub(super) fn includes(many: &[Word], few: &[Word]) -> bool {
    few.iter().all(|word| many.binary_search(word).is_ok())
}
