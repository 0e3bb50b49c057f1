//! Outlooks that were worked out before. One weighing changes one grade's bag: the others' outlooks are as they were, and to
//! follow a bag over all that it may grow to takes far longer than to look one up.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::{Arc, Mutex, PoisonError};

use sha2::{Digest, Sha256};
use trade::ids::GradeId;
use trade::outlet::Outlet;
use trade::outlook::Outlook;

use super::{Shelf, cores};

/// So many grades' outlooks are remembered.
const REMEMBERED: usize = 512;

type Hash = [u8; 32];

/// By all that each depends on.
#[derive(Debug, Default)]
pub struct Outlooks(Mutex<HashMap<Hash, Arc<Vec<Outlook>>>>);

impl Outlooks {
    /// Each grade that is on the shelf, all of it as one bag, at every outlet. The grades have nothing to do with each
    /// other, so every core takes some, but for one that is left to the phones.
    pub(super) fn of(&self, shelf: &Shelf) -> BTreeMap<GradeId, Vec<Outlook>> {
        let surroundings = Surroundings::of(shelf);
        let grades: BTreeSet<&GradeId> = shelf.lots.iter().map(|lot| &lot.grade_id).collect();
        let next = Mutex::new(grades.into_iter());
        let some = || {
            let mut found = Vec::new();
            loop {
                let grade = next.lock().unwrap_or_else(PoisonError::into_inner).next();
                let Some(grade) = grade else { return found };
                let key = surroundings.key(shelf, grade);
                found.push((grade.clone(), self.remembered_or_found(key, || shelf.outlooks_of(grade))));
            }
        };
        std::thread::scope(|scope| {
            let others: Vec<_> = (1..cores::free().get()).map(|_| scope.spawn(some)).collect();
            let mut all: BTreeMap<_, _> = some().into_iter().collect();
            for other in others {
                all.extend(other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
            }
            all
        })
    }

    fn remembered_or_found(&self, key: Hash, find: impl FnOnce() -> Vec<Outlook>) -> Vec<Outlook> {
        let remembered = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let known = remembered().get(&key).map(Arc::clone);
        if let Some(known) = known {
            return known.to_vec();
        }
        let found = find();
        let mut remembered = remembered();
        // Old ones go all at once: of what a shop has on its shelf, all is soon there again.
        if remembered.len() >= REMEMBERED {
            remembered.clear();
        }
        remembered.insert(key, Arc::new(found.clone()));
        found
    }
}

/// What outlooks depend on besides a grade's own bag and prices.
struct Surroundings(Hash);

impl Surroundings {
    fn of(shelf: &Shelf) -> Surroundings {
        let mut hash = Sha256::new();
        // Every part of a value shows in its `Debug` form, as for the key of a shelf.
        hash.update(format!("{:?}", shelf.facts));
        for outlet in &shelf.outlets {
            hash.update(format!("{:?}", Outlet { quotes: BTreeMap::new(), ..outlet.clone() }));
        }
        Surroundings(hash.finalize().into())
    }

    fn key(&self, shelf: &Shelf, grade: &GradeId) -> Hash {
        let mut hash = Sha256::new();
        hash.update(self.0);
        hash.update(format!("{:?}", shelf.whole_bag(grade)));
        for outlet in &shelf.outlets {
            hash.update(format!("{:?}", outlet.quotes.get(grade)));
        }
        hash.finalize().into()
    }
}

#[cfg(test)]
mod tests {
    use jiff::{Timestamp, ToSpan};
    use trade::mass::Mass;

    use super::*;
    use crate::demo;
    use crate::store::{Place, Store};

    #[tokio::test]
    async fn what_is_remembered_is_what_would_be_found() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&Place::File(folder.path().join("demo.db"))).await.unwrap();
        let now: Timestamp = "2026-05-11T15:00:00Z".parse().unwrap();
        demo::load(&store, now).await.unwrap();
        let shop = store.shops().await.unwrap().remove(0);
        let shelf = Shelf::load(&store, &shop, now).await.unwrap();
        let outlooks = Outlooks::default();
        let count = || outlooks.0.lock().unwrap().len();
        let grades = outlooks.of(&shelf).len();
        assert_eq!(count(), grades);

        let mut weighed = shelf.clone();
        weighed.lots[0].net += Mass::from_grams(250.into());
        let mut tomorrow = shelf.clone();
        tomorrow.facts.today += 1.day();
        let outlet = shelf.outlets.iter().find(|outlet| outlet.quotes.len() > 1).unwrap();
        let mut quotes = outlet.quotes.clone();
        let (gone, _) = quotes.pop_first().unwrap();
        let mut cheaper = shelf.clone();
        cheaper
            .outlets
            .iter_mut()
            .filter(|other| other.id == outlet.id)
            .for_each(|other| other.quotes = quotes.clone());
        let of_gone = usize::from(shelf.lots.iter().any(|lot| lot.grade_id == gone));
        for (changed, more) in [(shelf, 0), (weighed, 1), (cheaper, of_gone), (tomorrow, grades)] {
            let before = count();
            let found = Outlooks::default().of(&changed);
            assert_eq!(format!("{:?}", outlooks.of(&changed)), format!("{found:?}"));
            assert_eq!(count(), before + more);
        }
    }
}
