//! Rows that look like prices and are none that the outlet pays: what it does not take, what it asks for its trucks, what an
//! exchange quotes.

use std::ops::Range;

use super::{Charge, DraftPrice, DraftRow};
use crate::context::{is_all_of_goods, speaks_of_goods};
use crate::firm::is_contact;
use crate::lines::tells_when_open;
use crate::scan::{Kind, Scan};
use crate::sheet::{Doubt, LeftOut, Why};
use crate::vocabulary::{Use, VOCABULARY};
use crate::wording::normal;

/// A list of such things is no longer.
const MOST_BESIDE: usize = 10;
/// Words of a heading above one.
const MOST_WORDS: usize = 6;
/// Words of a sentence that is no name.
const FEWEST_SPOKEN: usize = 6;

pub(super) fn leave_out(rows: &mut Vec<DraftRow>, left_out: &mut Vec<LeftOut>) {
    let mut stays: Vec<bool> = rows.iter().map(|row| !is_refused(row)).collect();
    let mut beside: Vec<Range<usize>> = Vec::new();
    let mut from = 0;
    for run in rows.chunk_by(|above, below| above.group == below.group) {
        // What the outlet charges for is its own, and stands below such a list as well.
        let own = run.iter().position(|row| row.charge != Charge::No).unwrap_or(run.len());
        let list = &run[..own];
        if (1..=MOST_BESIDE).contains(&list.len()) && is_beside_the_trade(list) {
            beside.push(from..from + list.len());
        }
        from += run.len();
    }
    // A sheet that is called so throughout is about just that.
    if beside.iter().map(Range::len).sum::<usize>() * 2 < rows.len() {
        beside.into_iter().for_each(|run| stays[run].fill(false));
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

/// `Tube televisions | not accepted`, and a sentence where no price stands beside it.
fn is_refused(row: &DraftRow) -> bool {
    let says = |part: &str| VOCABULARY.has(part, Use::Refused);
    // `¿Compramos? | No` is a note as well.
    let refused = || row.note.as_deref().is_some_and(|note| note.split("; ").any(says));
    let words = row.wording.split_whitespace().count();
    let sentence =
        || row.wording.ends_with(['.', '!']) && words >= FEWEST_SPOKEN && !is_all_of_goods(&row.wording);
    // `Back to top`, and nothing beside it.
    let stray = || row.source.trim() == row.wording && !speaks_of_goods(&row.wording);
    let blank = row.doubts.contains(&Doubt::Blank);
    // `Shed open Tue to Sat 8-3 | gate code at reception`
    let reached = || is_contact(&row.source) && !speaks_of_goods(&row.wording);
    let stray = || stray() || reached() || tells_when_open(&row.wording);
    matches!(row.price, DraftPrice::OnRequest) && (refused() || blank && (sentence() || stray()))
}

/// Whether the rows stand under a heading of what an exchange quotes or a service costs: `Spot`, `LME today`, `Pickup rates`.
fn is_beside_the_trade(run: &[DraftRow]) -> bool {
    let Some(heading) = run[0].group.as_deref() else { return false };
    if heading.split_whitespace().count() > MOST_WORDS {
        return false;
    }
    let normal = normal(heading);
    let says = |is: Use| VOCABULARY.is_within(&normal, is);
    if says(Use::Quoted) {
        return true;
    }
    let of_goods = run.iter().filter(|row| speaks_of_goods(&row.wording)).count() * 2 > run.len();
    if says(Use::Service) {
        return !of_goods;
    }
    let scan = Scan::of(heading);
    let market = (0..scan.tokens.len())
        .any(|at| scan.kind(at) == Some(Kind::Word) && VOCABULARY.has(scan.word(at), Use::Market));
    // `Spot buys` are bought.
    let buys = || says(Use::Pays) || says(Use::Filler) || says(Use::WholeSheet) || speaks_of_goods(heading);
    market && !buys()
}
