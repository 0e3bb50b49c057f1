//! Words that were met before, and what was found out of them: a long sheet says the same again with other item numbers.

use std::sync::{Arc, OnceLock};

use rustc_hash::FxHashMap as HashMap;

use super::said::Said;
use super::{Catalogue, Proposal};
use crate::words::{Heading, Word, WordBook, Words};

/// More sets of words than this are not kept.
const MOST_KEPT: usize = 4_096;

/// What the wordings so far were made of.
#[derive(Debug, Default)]
pub(super) struct Book {
    pub words: WordBook,
    met: HashMap<Key, Arc<Met>>,
    no_heading: Arc<Heading>,
}

/// What a proposal depends on: the words that say something of a grade, how many others there are, and the heading by its
/// number.
#[derive(Debug, PartialEq, Eq, Hash)]
struct Key {
    telling: Words,
    others: usize,
    heading: usize,
}

/// What was found out of a set of words, or of another one that differs only in words that say nothing of any grade.
#[derive(Debug)]
pub(super) struct Met {
    pub said: Said,
    /// The grade that is called so word for word.
    pub exact: Option<usize>,
    /// The grade that a code word among them means.
    pub code: Option<usize>,
    pub closest: OnceLock<Proposal>,
}

impl Book {
    pub fn of(words: WordBook) -> Book {
        Book { words, ..Book::default() }
    }

    pub fn heading(&mut self, group: Option<&str>) -> Arc<Heading> {
        match group {
            Some(group) => self.words.heading(group),
            None => Arc::clone(&self.no_heading),
        }
    }
}

impl Met {
    pub fn named(&self) -> Option<usize> {
        self.exact.or(self.code)
    }
}

impl Catalogue {
    pub(super) fn met(&self, book: &mut Book, words: &[Word], group: &Arc<Heading>) -> Arc<Met> {
        let tells = |word: Word| {
            !self.holding(word).is_empty() || self.codes.contains_key(&word) || book.words.has_rivals(word)
        };
        let telling: Words = words.iter().copied().filter(|word| tells(*word)).collect();
        let key = Key { others: words.len() - telling.len(), telling, heading: group.number };
        if let Some(met) = book.met.get(&key) {
            return Arc::clone(met);
        }
        let said = Said::of(&book.words, words.to_vec(), Arc::clone(group));
        let exact = self.exactly(&said);
        let code = if exact.is_none() { self.by_code(&said) } else { None };
        let met = Arc::new(Met { said, exact, code, closest: OnceLock::new() });
        if book.met.len() == MOST_KEPT {
            book.met.clear();
        }
        book.met.insert(key, Arc::clone(&met));
        met
    }
}
