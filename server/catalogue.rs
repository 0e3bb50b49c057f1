//! The grade catalogue that every new shop starts with, and the questions that lead to a grade. Both are readable files
//! in `seed/catalogue`, part of the binary.

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

impl Recogniser {
    pub fn question(&self, id: &str) -> Option<&Question> {
        self.question.iter().find(|question| question.id == id)
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
    use crate::store::grades::FAMILIES;

    #[test]
    fn the_catalogue_holds_together() {
        let slugs: BTreeSet<_> = GRADES.iter().map(|grade| &grade.slug).collect();
        assert_eq!(slugs.len(), GRADES.len(), "two grades share a slug");
        assert!(GRADES.len() >= 68);
        for grade in GRADES.iter() {
            assert!(FAMILIES.contains(&grade.details.family.as_str()), "{}", grade.slug);
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
}
