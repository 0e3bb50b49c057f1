//! The rows of one name, by the columns of its prices.

use trade::money::PriceUnit;

use crate::columns::{Panel, PriceColumn};
use crate::context::Context;
use crate::document::{Cell, CutRow, GridRow};
use crate::draft::{Charge, Draft, DraftPrice, DraftRow, second_price};
use crate::parts::charge;
use crate::price::UnitText;
use crate::sheet::{Doubt, Place};
use crate::table::CellPrice;
use crate::table::heading::Heading;

/// A note with one word for a charge and more words than these is about something else as well.
const MOST_CHARGE_WORDS: usize = 4;

/// The rows of one name: one for each tier column, else one for its price.
pub(super) fn price_rows(
    panel: &Panel,
    cut: &CutRow<'_>,
    base: DraftRow,
    of_row: &Context,
    heading: &Heading,
    mut notes: Vec<String>,
    draft: &Draft<'_>,
) -> Vec<DraftRow> {
    let of_notes = notes.iter().map(|note| charge_of_note(note)).fold(Charge::No, Charge::or);
    let long = notes.iter().any(|note| charge(note) != charge_of_note(note));
    let charge = base.charge.or(of_notes);
    let base = DraftRow { charge, ..base };
    let row = cut.row;
    let mut rows: Vec<DraftRow> = Vec::new();
    for column in &panel.prices {
        let whole = panel.whole_price(row, column);
        let cell = whole.as_ref().or(row.cells.get(column.at)).unwrap_or(&Cell::Empty);
        let read = match (cell, cut.cuts.get(column.at)) {
            (Cell::Text(_), Some(cut)) => cut.price(draft.marks).clone(),
            _ => CellPrice::of(cell, draft.marks),
        };
        // Nothing, or a dash, where other columns have the price.
        let silent = cell.says_nothing();
        if silent && (column.tier.is_some() || *cell == Cell::Empty && panel.prices.len() > 1) {
            continue;
        }
        notes.extend(read.note);
        let context = context_of(of_row, heading, column);
        let new = DraftRow {
            price: read.price,
            tier: column.tier.or(base.tier),
            place: in_column(&base.place, column),
            doubts: read.doubts.into_iter().chain(long.then_some(Doubt::SignUnclear)).collect(),
            context,
            ..base.clone()
        };
        // Price columns that are no tiers say the same thing in another way.
        match rows.first_mut() {
            Some(first) if column.tier.is_none() => first.doubts.extend(second(first, &new)),
            _ => rows.push(new),
        }
    }
    let unpriced = rows.iter().all(|row| matches!(row.price, DraftPrice::OnRequest));
    // To be asked for from any mass on: `POA | POA | POA`.
    if unpriced && rows.len() > 1 {
        rows.truncate(1);
        rows[0].tier = base.tier;
    }
    // `1-9 | 10 or more`, each: so many pieces are no mass.
    let each = Some(UnitText::Unit(PriceUnit::Each));
    let of_pieces =
        |row: &DraftRow| row.context.unit == each && row.tier.is_some_and(|tier| tier.takes_unit_of_price());
    if rows.len() > 1 && rows.iter().all(of_pieces) {
        rows.truncate(1);
        rows[0].doubts.push(Doubt::SeveralPrices);
    }
    if let [only] = rows.as_mut_slice()
        && spans_all_tiers(panel, row)
    {
        only.tier = None;
    }
    // What stands in the column of charges is one, where no price does.
    if let Some((column, cell)) = panel
        .charge
        .as_ref()
        .and_then(|column| Some((column, row.cells.get(column.at)?)))
        .filter(|(_, cell)| unpriced && !cell.is_empty())
    {
        let read = CellPrice::of(cell, draft.marks);
        if let DraftPrice::Text(_) = read.price {
            let context = context_of(of_row, heading, column);
            rows = vec![DraftRow {
                price: read.price,
                doubts: read.doubts,
                context,
                charge: Charge::Sure,
                ..base.clone()
            }];
        }
    }
    if rows.is_empty() {
        rows.push(DraftRow {
            doubts: vec![Doubt::Blank],
            context: of_row.within(&heading.context),
            ..base.clone()
        });
    }
    if let (Some(high), Some(first)) = (panel.high.and_then(|c| row.cells.get(c)), rows.first_mut()) {
        set_high(first, high, draft);
    }
    let note = (!notes.is_empty()).then(|| notes.join("; "));
    rows.iter_mut().for_each(|row| row.note = note.clone());
    rows
}

/// What a note says of who pays. In a long one, a single word speaks of what else may be charged: `5 ft or torch charge`.
fn charge_of_note(note: &str) -> Charge {
    match charge(note) {
        Charge::Perhaps if note.split_whitespace().count() > MOST_CHARGE_WORDS => Charge::No,
        charge => charge,
    }
}

/// Whether a row has one price, in the midst of its tier columns: it was written once across all of them.
fn spans_all_tiers(panel: &Panel, row: &GridRow) -> bool {
    let tiers: Vec<&PriceColumn> = panel.prices.iter().filter(|column| column.tier.is_some()).collect();
    let is_filled = |column: &PriceColumn| row.cells.get(column.at).is_some_and(|cell| !cell.is_empty());
    let mut filled = (0..tiers.len()).filter(|&at| is_filled(tiers[at]));
    tiers.len() % 2 == 1
        && tiers.len() > 1
        && filled.next() == Some(tiers.len() / 2)
        && filled.next().is_none()
}

/// The doubt that a second price column casts on the first, each with the unit of its own column.
fn second(first: &DraftRow, second: &DraftRow) -> Option<Doubt> {
    let with_unit = |row: &DraftRow| match &row.price {
        DraftPrice::Text(price) => {
            let mut price = price.clone();
            price.unit = price.unit.or(row.context.unit);
            Some(price)
        }
        _ => None,
    };
    second_price(&with_unit(first)?, &with_unit(second)?)
}

fn set_high(row: &mut DraftRow, high: &Cell, draft: &Draft<'_>) {
    let (DraftPrice::Text(low), DraftPrice::Text(high)) =
        (&mut row.price, CellPrice::of(high, draft.marks).price)
    else {
        return;
    };
    if high.low > low.low {
        low.high = Some(high.low);
    }
}

fn in_column(place: &Place, column: &PriceColumn) -> Place {
    match place {
        Place::Cell { sheet, row, .. } => {
            let column = u32::try_from(column.at).unwrap_or(u32::MAX).saturating_add(1);
            Place::Cell { sheet: sheet.clone(), row: *row, column }
        }
        line => line.clone(),
    }
}

/// What the row, the name of the price's column and the heading say of a price, in this order.
fn context_of(of_row: &Context, heading: &Heading, column: &PriceColumn) -> Context {
    let mut context = of_row.within(&heading.around(&column.context));
    // `BUY CENTS` beside a column of units is about each of them.
    let own = &column.context;
    if own.cents && own.unit.is_none() && of_row.currencies.is_empty() && !of_row.cents {
        context.cents = true;
        context.pence = own.pence;
    }
    context
}
