//! Adding the cash book up again. A database would sort a row of each entry five times for it; here every entry is read
//! once, in the order that it lies in, and added to the sums that it belongs to.

use std::collections::{BTreeSet, HashMap};

use crate::store::cash::Facet;
use crate::store::{Store, StoreError};

/// Entries that are read at a time.
const AT_ONCE: i64 = 5_000;

/// Words that come again and again, each as a number.
#[derive(Default)]
struct Words(HashMap<String, u32>);

impl Words {
    fn number(&mut self, word: &str) -> u32 {
        if let Some(known) = self.0.get(word) {
            return *known;
        }
        // There are not four thousand million of them: that many entries would not fit on a disk.
        let next = u32::try_from(self.0.len()).unwrap_or(u32::MAX);
        self.0.insert(word.to_string(), next);
        next
    }

    fn word(&self, number: u32) -> &str {
        self.0.iter().find(|(_, known)| **known == number).map_or("", |(word, _)| word)
    }
}

/// Whose sum it is: shop, facet, month, key, kind and currency.
type Of = (u32, u32, u32, u32, u32, u32);

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Sum {
    amount: i64,
    home_amount: i64,
    entries: i64,
    unrated: i64,
}

/// Shop, number in its book, day, kind, currency, amount, worth at home, whether it wants a rate, and what it is about.
type Entry = (
    String,
    i64,
    String,
    String,
    String,
    i64,
    i64,
    i64,
    Option<String>,
    Option<String>,
    Option<String>,
    Option<String>,
);

const ENTRIES: &str = "SELECT e.shop_id, e.n, e.day, e.kind, e.currency, e.amount, COALESCE(e.home_amount, 0) AS home, \
    CAST(CASE WHEN e.home_amount IS NULL AND e.reverses_id IS NULL \
    AND NOT EXISTS (SELECT 1 FROM cash_entries v WHERE v.values_id = e.id) \
    AND NOT EXISTS (SELECT 1 FROM cash_entries r WHERE r.reverses_id = e.id) THEN 1 ELSE 0 END AS BIGINT) AS unrated, \
    e.outlet_id, e.grade_id, e.source_id, e.partner_id FROM cash_entries e \
    WHERE e.shop_id = $1 AND e.n > $2 ORDER BY e.n LIMIT $3";

const TOTALS: &str = "SELECT shop_id, facet, month, key, kind, currency, amount, home_amount, entries, unrated \
    FROM cash_totals";

impl Store {
    /// Months of which a sum is not that of its entries: another one, missing, or of no entry.
    pub(super) async fn months_unlike_their_entries(&self) -> Result<BTreeSet<String>, StoreError> {
        let mut words = Words::default();
        let mut sums: HashMap<Of, Sum> = HashMap::new();
        for shop_id in self.shop_ids().await? {
            let mut n = 0;
            loop {
                let query = sqlx::query_as(ENTRIES).bind(&shop_id).bind(n).bind(AT_ONCE);
                let rows: Vec<Entry> = query.fetch_all(self.readers()).await?;
                let Some(last) = rows.last() else { break };
                n = last.1;
                for entry in &rows {
                    add(&mut sums, &mut words, entry);
                }
            }
        }
        let mut unlike = BTreeSet::new();
        type Total = (String, String, String, String, String, String, i64, i64, i64, i64);
        let totals: Vec<Total> = sqlx::query_as(TOTALS).fetch_all(self.readers()).await?;
        for (shop, facet, month, key, kind, currency, amount, home_amount, entries, unrated) in totals {
            let mut number = |word: &str| words.number(word);
            let of = (
                number(&shop),
                number(&facet),
                number(&month),
                number(&key),
                number(&kind),
                number(&currency),
            );
            if sums.remove(&of) != Some(Sum { amount, home_amount, entries, unrated }) {
                unlike.insert(month);
            }
        }
        unlike.extend(sums.keys().map(|of| words.word(of.2).to_string()));
        Ok(unlike)
    }
}

fn add(sums: &mut HashMap<Of, Sum>, words: &mut Words, entry: &Entry) {
    let (shop, _, day, kind, currency, amount, home_amount, unrated, outlet, grade, source, partner) = entry;
    let keys = [
        (Facet::All, Some("")),
        (Facet::Outlet, outlet.as_deref()),
        (Facet::Grade, grade.as_deref()),
        (Facet::Source, source.as_deref()),
        (Facet::Partner, partner.as_deref()),
    ];
    let [shop, month, kind, currency] =
        [shop.as_str(), day.get(..7).unwrap_or(day), kind, currency].map(|word| words.number(word));
    for (facet, key) in keys {
        let Some(key) = key else { continue };
        let of = (shop, words.number(facet.code()), month, words.number(key), kind, currency);
        let sum = sums.entry(of).or_default();
        sum.amount += amount;
        sum.home_amount += home_amount;
        sum.entries += 1;
        sum.unrated += unrated;
    }
}
