//! Rows that look like prices and are none that the outlet pays: what it does not take, what it asks for its trucks, what an
//! exchange quotes.

use super::{DraftPrice, DraftRow};
use crate::context::speaks_of_goods;
use crate::scan::{Kind, Scan};
use crate::sheet::{LeftOut, Why};
use crate::vocabulary::{Use, VOCABULARY};
use crate::wording::normal;

/// A list of such things is no longer.
const MOST_BESIDE: usize = 10;
/// Words of a heading above one.
const MOST_WORDS: usize = 6;

pub(super) fn leave_out(rows: &mut Vec<DraftRow>, left_out: &mut Vec<LeftOut>) {
    let mut stays: Vec<bool> = rows.iter().map(|row| !is_refused(row)).collect();
    let mut from = 0;
    for run in rows.chunk_by(|above, below| above.group == below.group) {
        let beside = run[0].group.as_deref().is_some_and(is_beside_the_trade);
        // A heading that speaks of the whole sheet is none of a list beside it.
        if beside && run.len() <= MOST_BESIDE && run.len() * 2 < rows.len() {
            stays[from..from + run.len()].fill(false);
        }
        from += run.len();
    }
    let mut stay = stays.into_iter();
    rows.retain(|row| {
        let stays = stay.next().unwrap_or(true);
        if !stays {
            let (source, place) = (row.source.clone(), row.place.clone());
            left_out.push(LeftOut { source, place, why: Why::NotBought });
        }
        stays
    });
}

/// `Tube televisions | not accepted`
fn is_refused(row: &DraftRow) -> bool {
    matches!(row.price, DraftPrice::OnRequest)
        && row.note.as_deref().is_some_and(|note| VOCABULARY.has_within(note, Use::Refused))
}

/// Whether a heading stands above what an exchange quotes or a service costs: `Spot`, `LME today`, `Pickup rates`.
fn is_beside_the_trade(heading: &str) -> bool {
    let words = heading.split_whitespace().count();
    if words > MOST_WORDS || speaks_of_goods(heading) {
        return false;
    }
    let scan = Scan::of(heading);
    let market = (0..scan.tokens.len())
        .any(|at| scan.kind(at) == Some(Kind::Word) && VOCABULARY.has(scan.word(at), Use::Market));
    let normal = normal(heading);
    let says = |is: Use| VOCABULARY.is_within(&normal, is);
    (market || says(Use::Quoted) || says(Use::Service)) && !says(Use::Pays) && !says(Use::WholeSheet)
}
