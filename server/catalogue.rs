//! The grade catalogue that every new shop starts with, and the questions that lead to a grade. Both are readable files
//! in `seed/catalogue`, part of the binary.

pub mod kinds;

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;
use trade::ids::GradeId;

use crate::store::grades::{GradeDetails, add_grade};
use crate::store::{StoreError, Tx};

#[derive(Debug, Deserialize)]
struct Grades {
    grade: Vec<CatalogueGrade>,
}

#[derive(Debug, Clone, Deserialize)]
pub struct CatalogueGrade {
    pub slug: GradeId,
    #[serde(flatten)]
    pub details: GradeDetails,
}

/// The grades a shop starts with, in order.
pub static GRADES: LazyLock<Vec<CatalogueGrade>> = LazyLock::new(|| {
    toml::from_str::<Grades>(include_str!("../seed/catalogue/grades.toml"))
        .expect("the catalogue is part of the binary, and a test reads it")
        .grade
});

/// The questions of the recogniser.
#[derive(Debug, Deserialize)]
pub struct Recogniser {
    pub start: String,
    pub question: Vec<Question>,
}

#[derive(Debug, Deserialize)]
pub struct Question {
    pub id: String,
    pub ask: String,
    pub how: String,
    pub yes: Answer,
    pub no: Answer,
}

/// Where an answer leads.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Answer {
    Question(String),
    Grade(GradeId),
}

pub static RECOGNISER: LazyLock<Recogniser> = LazyLock::new(|| {
    toml::from_str(include_str!("../seed/catalogue/recogniser.toml"))
        .expect("the recogniser is part of the binary, and a test reads it")
});

/// Answers given one after the other, and where they lead.
#[derive(Debug)]
pub struct Trail<'a> {
    /// Each question that was answered, and whether with yes.
    pub answered: Vec<(&'a Question, bool)>,
    pub end: End<'a>,
}

#[derive(Debug)]
pub enum End<'a> {
    Question(&'a Question),
    Grade(&'a GradeId),
}

/// Why a row of answers leads nowhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum TrailError {
    #[error("“{0}” is no answer: there is only y for yes and n for no")]
    NotAnAnswer(char),
    #[error("there are more answers than questions: a grade was reached after {0}")]
    TooMany(usize),
    #[error("the question {0} has no place in the list")]
    Gap(usize),
}

impl Recogniser {
    pub fn question(&self, id: &str) -> Option<&Question> {
        self.question.iter().find(|question| question.id == id)
    }

    /// Follows answers from the first question on, a letter each: `ynn`. None at all lead to the first question.
    pub fn follow(&self, answers: &str) -> Result<Trail<'_>, TrailError> {
        let find = |id: &str, nth| self.question(id).ok_or(TrailError::Gap(nth));
        let mut trail = Trail { answered: Vec::new(), end: End::Question(find(&self.start, 1)?) };
        for letter in answers.chars() {
            let End::Question(question) = trail.end else {
                return Err(TrailError::TooMany(trail.answered.len()));
            };
            let answer = match letter {
                'y' => &question.yes,
                'n' => &question.no,
                other => return Err(TrailError::NotAnAnswer(other)),
            };
            trail.answered.push((question, letter == 'y'));
            trail.end = match answer {
                Answer::Question(next) => End::Question(find(next, trail.answered.len() + 1)?),
                Answer::Grade(grade) => End::Grade(grade),
            };
        }
        Ok(trail)
    }
}

/// Puts the catalogue into a new shop.
pub async fn fill(tx: &mut Tx, shop_id: &str) -> Result<(), StoreError> {
    let mut in_family: BTreeMap<&str, i64> = BTreeMap::new();
    for grade in GRADES.iter() {
        let nth = in_family.entry(&grade.details.family).or_default();
        add_grade(tx, shop_id, &grade.slug, &grade.details, *nth).await?;
        *nth += 1;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::store::grades::{FAMILIES, is_slug};

    #[test]
    fn the_catalogue_holds_together() {
        let slugs: BTreeSet<_> = GRADES.iter().map(|grade| &grade.slug).collect();
        assert_eq!(slugs.len(), GRADES.len(), "two grades share a slug");
        assert!(GRADES.len() >= 68);
        for grade in GRADES.iter() {
            assert!(FAMILIES.contains(&grade.details.family.as_str()), "{}", grade.slug);
            assert!(is_slug(grade.slug.as_str()), "{} is not a slug", grade.slug);
            assert!(grade.details.notes.recognise.len() >= 2, "{} cannot be recognised", grade.slug);
            for other in &grade.details.notes.confused_with {
                assert!(slugs.contains(&other.grade), "{} is confused with {}", grade.slug, other.grade);
            }
        }
    }

    #[test]
    fn every_path_of_the_recogniser_ends_at_a_grade_within_nine_questions() {
        let slugs: BTreeSet<_> = GRADES.iter().map(|grade| &grade.slug).collect();
        let mut reached = BTreeSet::new();
        let mut open = vec![(RECOGNISER.start.as_str(), 1)];
        while let Some((id, depth)) = open.pop() {
            assert!(depth <= 9, "{id} is too far down");
            let question = RECOGNISER.question(id).unwrap_or_else(|| panic!("{id} is not there"));
            for answer in [&question.yes, &question.no] {
                match answer {
                    Answer::Question(next) => open.push((next, depth + 1)),
                    Answer::Grade(grade) => {
                        assert!(slugs.contains(grade), "{grade} is not a grade");
                        reached.insert(grade);
                    }
                }
            }
        }
        assert!(reached.len() >= 60, "only {} grades can be reached", reached.len());
    }

    #[test]
    fn answers_lead_to_a_question_or_a_grade_and_hostile_ones_nowhere() {
        let end = |answers: &str| {
            RECOGNISER.follow(answers).map(|trail| match trail.end {
                End::Question(question) => question.id.clone(),
                End::Grade(grade) => grade.to_string(),
            })
        };
        assert_eq!(end(""), Ok("battery".to_string()));
        assert_eq!(end("yn"), Ok("battery-lead".to_string()));
        assert_eq!(end("yy"), Ok("battery-damaged".to_string()));
        assert_eq!(end("yyn"), Err(TrailError::TooMany(2)));
        assert_eq!(end("yx"), Err(TrailError::NotAnAnswer('x')));
        assert_eq!(end("Y"), Err(TrailError::NotAnAnswer('Y')));
        assert!(end(&"n".repeat(100_000)).is_err());
        let trail = RECOGNISER.follow("yn").unwrap();
        let said: Vec<_> =
            trail.answered.iter().map(|(question, yes)| (question.id.as_str(), *yes)).collect();
        assert_eq!(said, [("battery", true), ("battery-damaged", false)]);
    }
}
