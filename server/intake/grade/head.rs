//! Wordings that say a grade's name and more: alternatives of it, or remarks behind it.

use std::borrow::Cow;
use std::sync::Arc;

use super::met::Book;
use super::said::Said;
use super::{Catalogue, How, Proposal};
use crate::words::{Heading, Word};

/// The score of a wording whose alternatives all mean one grade, and of one whose head does, less two for each word that
/// it adds.
const ALTERNATIVES: u8 = 92;
const HEAD: u8 = 92;
/// A wording that adds more words to its head than this is about something else.
const MOST_ADDED: usize = 6;

impl Catalogue {
    /// The one grade that all alternatives of the wording mean: `Light iron / shred`, `Bare bright / Cuivre nu brillant`.
    pub(super) fn by_alternatives(
        &self,
        book: &mut Book,
        wording: &str,
        group: &Arc<Heading>,
        whole: &Said,
    ) -> Option<Proposal> {
        if !wording.contains(['/', '|']) {
            return None;
        }
        let parts: Vec<&str> =
            wording.split(['/', '|']).map(str::trim).filter(|part| !part.is_empty()).collect();
        if !(2..=4).contains(&parts.len()) {
            return None;
        }
        let grades: Option<Vec<usize>> = parts
            .iter()
            .map(|part| {
                let words = book.words.words(part);
                self.met(book, &words, group).named()
            })
            .collect();
        let grades = grades?;
        let one = *grades.first()?;
        let agree = grades.iter().all(|grade| *grade == one) && !self.denied(one, whole);
        agree.then(|| Proposal {
            grade: Some(self.grades[one].clone()),
            score: ALTERNATIVES,
            why: How::Scored,
        })
    }

    /// The grade that the wording's head means word for word, where what it adds in brackets or behind a comma says
    /// nothing against it: `Hard drives (with board)`, `Motherboards, large socket`.
    pub(super) fn by_head(
        &self,
        book: &mut Book,
        wording: &str,
        group: &Arc<Heading>,
        words: &[Word],
        whole: &Said,
    ) -> Option<Proposal> {
        let bare = without_brackets(wording);
        let heads = [Some(&*bare), bare.split(',').next(), bare.split(" - ").next()];
        let heads = heads.map(|head| head.unwrap_or_default().trim());
        for (at, head) in heads.into_iter().enumerate() {
            if head.is_empty() || head == wording.trim() || heads[..at].contains(&head) {
                continue;
            }
            let of_head = book.words.words(head);
            let Some(grade) = self.met(book, &of_head, group).named() else { continue };
            let more = words.iter().filter(|word| !of_head.contains(word)).count();
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
}

/// The text without what stands in brackets.
fn without_brackets(text: &str) -> Cow<'_, str> {
    if !text.contains(['(', ')', '[', ']']) {
        return Cow::Borrowed(text);
    }
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
