//! A write transaction that tells of itself: what was done goes on file with it, and open pages hear of it.

use std::ops::{Deref, DerefMut};

use sqlx::{Any, AnyConnection, Transaction};

use super::StoreError;
use super::activity::{By, Noun};
use super::diverted::{self, Moved};
use super::news::{Change, News};

/// A transaction that may write. Dropped without a commit, nothing of it is stored and nobody hears of it.
#[derive(Debug)]
pub struct Tx {
    inner: Transaction<'static, Any>,
    news: News,
    changes: Vec<Change>,
    moved: Moved,
}

impl Tx {
    pub(super) fn new(inner: Transaction<'static, Any>, news: News) -> Tx {
        Tx { inner, news, changes: Vec::new(), moved: Moved::default() }
    }

    /// Puts on file that `by` did something to a thing: `deed` in words (`weighed in`), with `detail` where there is
    /// more to say (`2 lb 5 oz`).
    pub async fn note(
        &mut self,
        by: &By,
        noun: Noun,
        id: &str,
        deed: &str,
        detail: &str,
    ) -> Result<(), StoreError> {
        super::activity::add(self, by, noun, id, deed, detail).await?;
        self.tell(by, noun);
        Ok(())
    }

    /// Tells open pages of a change that is not worth a line on file.
    pub(super) fn tell(&mut self, by: &By, noun: Noun) {
        let change = Change { shop_id: by.shop_id.clone(), partner_id: by.partner_id.clone(), noun };
        if !self.changes.contains(&change) {
            self.changes.push(change);
        }
    }

    /// What leaves or comes back in this transaction, to be counted at its end.
    pub(super) fn moved(&mut self) -> &mut Moved {
        &mut self.moved
    }

    /// Makes it last, and tells who listens.
    pub async fn commit(mut self) -> Result<(), StoreError> {
        // Last of all, since whoever counts waits for whoever counted before.
        let moved = std::mem::take(&mut self.moved);
        diverted::count(&mut self, moved).await?;
        self.news.before_commit(&mut self.inner, &self.changes).await?;
        self.inner.commit().await?;
        self.news.after_commit(self.changes);
        Ok(())
    }
}

impl Deref for Tx {
    type Target = AnyConnection;

    fn deref(&self) -> &AnyConnection {
        &self.inner
    }
}

impl DerefMut for Tx {
    fn deref_mut(&mut self) -> &mut AnyConnection {
        &mut self.inner
    }
}
