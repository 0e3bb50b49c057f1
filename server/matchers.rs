//! What wordings are matched against, kept for each shop: some thousand phrases are made of its grades, and every page of
//! a review compares with them.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use intake::{Catalogue, Grade as NamedGrade};

use crate::store::grades::Grade;

/// A catalogue remembers the words it meets; one that has met more than these is made anew.
const MOST_WORDS: usize = 50_000;

/// The catalogues of the shops, each made anew once its grades have changed.
#[derive(Debug, Default)]
pub struct Matchers(Mutex<HashMap<String, Matcher>>);

#[derive(Debug)]
struct Matcher {
    grades: Vec<NamedGrade>,
    catalogue: Arc<Catalogue>,
}

impl Matchers {
    /// The catalogue of those of a shop's grades that are in use.
    pub fn of(&self, shop_id: &str, grades: &[Grade]) -> Arc<Catalogue> {
        let grades: Vec<NamedGrade> = grades
            .iter()
            .filter(|grade| !grade.retired)
            .map(|grade| NamedGrade {
                id: grade.id.clone(),
                name: grade.details.name.clone(),
                family: grade.details.family.clone(),
            })
            .collect();
        // Each entry is made before it is put in, so a panic elsewhere leaves none half made.
        let kept = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let is_good =
            |matcher: &&Matcher| matcher.grades == grades && matcher.catalogue.words_met() <= MOST_WORDS;
        if let Some(matcher) = kept().get(shop_id).filter(is_good) {
            return Arc::clone(&matcher.catalogue);
        }
        let catalogue = Arc::new(Catalogue::new(grades.iter().cloned()));
        kept().insert(shop_id.to_string(), Matcher { grades, catalogue: Arc::clone(&catalogue) });
        catalogue
    }
}

#[cfg(test)]
mod tests {
    use intake::Learned;

    use super::*;
    use crate::catalogue::GRADES;

    fn grades() -> Vec<Grade> {
        let grade = |grade: &crate::catalogue::CatalogueGrade| Grade {
            id: grade.slug.clone(),
            details: grade.details.clone(),
            retired: false,
            version: 1,
        };
        GRADES.iter().map(grade).collect()
    }

    #[test]
    fn a_catalogue_is_kept_until_its_grades_change_or_it_has_met_too_many_words() {
        let (matchers, mut grades) = (Matchers::default(), grades());
        let first = matchers.of("shop", &grades);
        assert!(Arc::ptr_eq(&first, &matchers.of("shop", &grades)));
        assert!(!Arc::ptr_eq(&first, &matchers.of("another", &grades)));

        grades[0].retired = true;
        let changed = matchers.of("shop", &grades);
        assert!(!Arc::ptr_eq(&first, &changed));

        for number in 0..=MOST_WORDS {
            changed.propose(&Learned::default(), &format!("thing{number}"), None);
        }
        assert!(!Arc::ptr_eq(&changed, &matchers.of("shop", &grades)));
    }
}
