//! Rows that later ones put right.

use std::collections::HashMap;

use super::{Draft, DraftPrice, DraftRow};
use crate::sheet::{Doubt, LeftOut, Place, Why};
use crate::wording::normal;

impl Draft<'_> {
    /// Leaves out the rows that were put right by those at these places: the last one before with the same name.
    pub fn put_right(&mut self, places: &[Place]) {
        if places.is_empty() {
            return;
        }
        // Where each name stands, with its tier.
        let mut stood: HashMap<_, Vec<usize>> = HashMap::new();
        let mut wrong = Vec::new();
        for at in 0..self.rows.len() {
            let row = &self.rows[at];
            let name = (normal(&row.wording).into_owned(), row.tier);
            let before = stood.entry(name).or_default();
            if places.contains(&row.place) {
                match before.as_slice() {
                    [] => {}
                    [only] => {
                        self.inherit(at, *only);
                        wrong.push(*only);
                        before.clear();
                    }
                    // Of which list it is, nobody knows.
                    _ => self.rows[at].doubts.push(Doubt::SeveralPrices),
                }
            }
            before.push(at);
        }
        wrong.sort_unstable();
        wrong.dedup();
        for at in wrong.into_iter().rev() {
            let DraftRow { source, place, .. } = self.rows.remove(at);
            self.left_out.push(LeftOut { source, place, why: Why::Corrected });
            // A remark stands above as many rows as before, but for this one.
            let below = self.remarks.iter_mut().filter(|remark| remark.above > at);
            below.for_each(|remark| remark.above -= 1);
        }
    }

    /// What a price is in, where it puts right another one that says so and does not say it itself.
    fn inherit(&mut self, right: usize, wrong: usize) {
        let wrong = self.rows[wrong].clone();
        let row = &mut self.rows[right];
        row.context = row.context.within(&wrong.context);
        if let (DraftPrice::Text(price), DraftPrice::Text(wrong)) = (&mut row.price, &wrong.price)
            && price.unit.is_none()
            && price.currencies.is_empty()
        {
            (price.unit, price.currencies) = (wrong.unit, wrong.currencies.clone());
        }
    }
}
