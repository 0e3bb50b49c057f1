//! The tiers and the pieces of one line.

use crate::draft::Draft;
use crate::scan::{Kind, Scan};
use crate::tier::{TierText, tier_at};

/// All tiers of a line of column names, in order.
pub(super) fn tiers_in(scan: &Scan<'_>, draft: &Draft<'_>) -> Vec<TierText> {
    let mut tiers = Vec::new();
    let mut at = 0;
    while at < scan.tokens.len() {
        match tier_at(scan, draft.marks, at, true) {
            Some((tier, next)) => {
                tiers.push(tier);
                at = next.max(at + 1);
            }
            None => at += 1,
        }
    }
    tiers
}

/// What stands between the gaps of a line.
pub(super) fn pieces<'t>(scan: &Scan<'t>) -> Vec<&'t str> {
    (0..=scan.tokens.len())
        .filter(|&i| i == scan.tokens.len() || scan.kind(i) == Some(Kind::Gap))
        .scan(0, |from, to| {
            let piece = scan.between(*from, to);
            *from = to + 1;
            Some(piece)
        })
        .filter(|piece| !piece.is_empty())
        .collect()
}
