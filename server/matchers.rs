//! What wordings are matched against, kept for each shop: some thousand phrases are made of its grades, and every page of
//! a review compares with them.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use intake::{Catalogue, Grade as NamedGrade};

use crate::store::grades::Grade;

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
        if let Some(matcher) = kept().get(shop_id).filter(|matcher| matcher.grades == grades) {
            return Arc::clone(&matcher.catalogue);
        }
        let catalogue = Arc::new(Catalogue::new(grades.iter().cloned()));
        kept().insert(shop_id.to_string(), Matcher { grades, catalogue: Arc::clone(&catalogue) });
        catalogue
    }
}
