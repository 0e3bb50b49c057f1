//! Small and precious: what is kept back in vials and small bags, what it is worth by mail, and when to ship it. Also what has
//! to be looked for before a lot of a low grade leaves with it.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use rust_decimal::Decimal;
use trade::ids::{GradeId, LotId};
use trade::mass::{Mass, MassUnit};
use trade::teardown::Net;

use super::App;
use super::bag::{Stage, best_mail_in, expected, stage};
use super::failure::Failure;
use super::page::{Page, Screen, Visitor, day, html};
use crate::catalogue::kinds::{CatalogueKind, KINDS};
use crate::shelf::{Answer, Shelf};
use crate::store::grades::{Grade, GradeNotes};
use crate::store::lots::{Lot, LotState};

/// Kinds named as where a part is found.
const MOST_SOURCES: usize = 6;

#[derive(Template)]
#[template(path = "kept_back/index.html")]
struct KeptBackPage {
    page: Page,
    visitor: Visitor,
    /// Those that the shop has some of, and the others.
    kept: Vec<Kept>,
    none: Vec<Kept>,
    looks: Vec<Look>,
}

impl KeptBackPage {
    fn unit_name(&self) -> &'static str {
        if self.visitor.style().unit() == MassUnit::Pound { "pound" } else { "kilogram" }
    }
}

/// One grade that is kept back.
struct Kept {
    id: GradeId,
    name: String,
    lots: Vec<Lot>,
    net: Mass,
    pieces: u32,
    /// Of one piece, with whether the shop has weighed and counted it or the catalogue says so.
    piece: Option<(Mass, bool)>,
    /// Whole pieces that make one of the shop's units.
    per_unit: Option<Decimal>,
    /// Net of one of the shop's units, and of a piece.
    net_per_unit: Option<Decimal>,
    net_per_piece: Option<Decimal>,
    net_at: String,
    /// By the sell plan, of all that is there.
    worth: Option<Decimal>,
    buyer: Option<Buyer>,
    found_in: FoundIn,
}

/// Kinds that have such parts: the first ones, each with how many, and how many kinds more.
struct FoundIn {
    kinds: Vec<(&'static CatalogueKind, u32)>,
    more: usize,
}

/// The mail-in buyer that leaves most.
struct Buyer {
    name: String,
    stage: Stage,
    break_even: Option<Mass>,
    ship: Option<Mass>,
    expected: Option<String>,
}

/// A lot on the shelf that may hold something to keep back.
struct Look {
    lot: LotId,
    label: String,
    grade: String,
    net: Mass,
    first: Vec<KeepFirst>,
}

pub async fn index(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let grades = app.store.grades(&visitor.shop.id).await?;
    let lots = app.store.open_lots(&visitor.shop.id).await?;
    let answered = app.answered(app.shelf(&visitor).await?, &visitor.shop.id).await;
    let (shelf, answer) = (&answered.shelf, &answered.answer);
    let kept = grades
        .iter()
        .filter(|grade| grade.details.notes.kept_back.is_some())
        .map(|grade| Kept::of(grade, &lots, shelf, answer, &visitor))
        .filter(|kept| !kept.lots.is_empty() || !is_retired(&grades, &kept.id));
    let looks =
        lots.iter().filter(|lot| lot.state == LotState::Open && lot.net.is_positive()).filter_map(|lot| {
            let notes = &grades.iter().find(|grade| grade.id == lot.grade_id)?.details.notes;
            let first = keep_first(notes, &grades, shelf, answer, &visitor);
            (!first.is_empty()).then(|| Look {
                lot: lot.id.clone(),
                label: lot.container_label.clone(),
                grade: lot.grade_name.clone(),
                net: lot.net,
                first,
            })
        });
    let (kept, none) = kept.partition(|kept| !kept.lots.is_empty());
    let looks = looks.collect();
    html(&KeptBackPage { page: visitor.page(Screen::KeptBack, "Kept back"), kept, none, looks, visitor })
}

fn is_retired(grades: &[Grade], id: &GradeId) -> bool {
    grades.iter().any(|grade| grade.id == *id && grade.retired)
}

impl Kept {
    fn of(grade: &Grade, lots: &[Lot], shelf: &Shelf, answer: &Answer, visitor: &Visitor) -> Kept {
        let lots: Vec<Lot> = lots.iter().filter(|lot| lot.grade_id == grade.id).cloned().collect();
        let net: Mass = lots.iter().map(|lot| lot.net).sum();
        let pieces = lots.iter().fold(0, |sum: u32, lot| sum.saturating_add(lot.pieces));
        let piece = piece(grade, &lots);
        let unit = visitor.style().unit();
        let found = shelf.nets(answer).get(&grade.id);
        let net_per_unit = found.and_then(|found| match found.net {
            Net::PerGram(amount) => Some(amount * unit.grams()),
            Net::PerPiece(_) => None,
        });
        let net_per_piece = found.and_then(|found| match found.net {
            Net::PerGram(amount) => piece.map(|(piece, _)| amount * piece.grams()),
            Net::PerPiece(amount) => Some(amount),
        });
        let worth: Decimal = lots.iter().filter_map(|lot| answer.worth.get(&lot.id)).sum();
        Kept {
            name: grade.details.name.clone(),
            per_unit: piece.and_then(|(piece, _)| pieces_in(unit.grams(), piece.grams())),
            net_at: found.map_or_else(String::new, |found| shelf.net_in_words(&found.source)),
            worth: (!lots.is_empty() && found.is_some()).then_some(worth),
            buyer: buyer(grade, net, shelf),
            found_in: found_in(&grade.id),
            id: grade.id.clone(),
            lots,
            net,
            pieces,
            piece,
            net_per_unit,
            net_per_piece,
        }
    }
}

/// What one piece weighs: as weighed and counted here, else as the grade says.
fn piece(grade: &Grade, lots: &[Lot]) -> Option<(Mass, bool)> {
    let counted = || lots.iter().filter(|lot| lot.pieces > 0 && lot.net.is_positive());
    let mass: Mass = counted().map(|lot| lot.net).sum();
    let pieces: u64 = counted().map(|lot| u64::from(lot.pieces)).sum();
    if let Some(grams) =
        mass.grams().checked_div(Decimal::from(pieces)).filter(|grams| *grams > Decimal::ZERO)
    {
        return Some((Mass::from_grams(grams), true));
    }
    let grams = grade.details.notes.kept_back.as_ref()?.piece_grams?;
    Some((Mass::from_grams(grams), false))
}

/// How many pieces are in so many grams, the last one begun counted as none.
fn pieces_in(grams: Decimal, piece: Decimal) -> Option<Decimal> {
    grams.checked_div(piece).map(|count| count.floor()).filter(|count| *count >= Decimal::ONE)
}

fn buyer(grade: &Grade, net: Mass, shelf: &Shelf) -> Option<Buyer> {
    let ways = shelf.outlooks_of(&grade.id);
    let way = best_mail_in(shelf, &ways)?;
    let ship = way.ship.as_ref().map(|ship| ship.weight);
    let fill = shelf.fill.get(&grade.id).copied();
    let weight = ship.or(way.break_even).filter(|weight| *weight > net);
    Some(Buyer {
        name: shelf.outlet_name(&way.outlet),
        stage: stage(way, net),
        break_even: way.break_even,
        ship,
        expected: weight.and_then(|weight| expected(fill, net, weight, shelf.facts.today)).map(day),
    })
}

/// Where such parts come from, in the library of kinds: where there are most of them first.
fn found_in(grade: &GradeId) -> FoundIn {
    let count = |kind: &CatalogueKind| {
        let pieces = kind.tree.pieces();
        let of_it = |at: &usize| pieces[*at].grade.as_ref() == Some(grade);
        (1..pieces.len()).filter(of_it).map(|at| kind.tree.in_unit(at)).sum()
    };
    let mut kinds: Vec<(&CatalogueKind, u32)> =
        KINDS.iter().map(|kind| (kind, count(kind))).filter(|(_, count)| *count > 0).collect();
    kinds.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    let more = kinds.len().saturating_sub(MOST_SOURCES);
    kinds.truncate(MOST_SOURCES);
    FoundIn { kinds, more }
}

/// Something to look for and keep back before a lot goes.
pub struct KeepFirst {
    pub id: GradeId,
    pub name: String,
    pub tell: String,
    /// What one of the shop's units of it brings, net.
    pub net_per_unit: Option<Decimal>,
}

/// What has to be looked for in a lot whose grade has these notes, the dearest first. What the shop has no grade for, or has
/// retired, is left out.
pub fn keep_first(
    notes: &GradeNotes,
    grades: &[Grade],
    shelf: &Shelf,
    answer: &Answer,
    visitor: &Visitor,
) -> Vec<KeepFirst> {
    let nets = shelf.nets(answer);
    let mut first: Vec<KeepFirst> = notes
        .keep_back_first
        .iter()
        .filter_map(|other| {
            let grade = grades.iter().find(|grade| grade.id == other.grade && !grade.retired)?;
            let net = nets.get(&grade.id).and_then(|found| match found.net {
                Net::PerGram(amount) => Some(amount * visitor.style().unit().grams()),
                Net::PerPiece(_) => None,
            });
            Some(KeepFirst {
                id: grade.id.clone(),
                name: grade.details.name.clone(),
                tell: other.tell.clone(),
                net_per_unit: net,
            })
        })
        .collect();
    first.sort_by_key(|kept| std::cmp::Reverse(kept.net_per_unit));
    first
}

/// The same for a lot, by its grade as it stands.
pub async fn keep_first_of(
    app: &App,
    lot: &Lot,
    shelf: &Shelf,
    answer: &Answer,
    visitor: &Visitor,
) -> Result<Vec<KeepFirst>, Failure> {
    let grades = app.store.grades(&visitor.shop.id).await?;
    let notes = grades.iter().find(|grade| grade.id == lot.grade_id).map(|grade| &grade.details.notes);
    let first = notes.map(|notes| keep_first(notes, &grades, shelf, answer, visitor));
    Ok(first.unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use rust_decimal::dec;

    use super::*;

    /// Common practice, no source: of pieces of nine tenths of an ounce sixteen to eighteen make a pound. By the pound's
    /// sixteen ounces (NIST Handbook 44, Appendix C) it is 17.8, of which the last is not a whole one.
    #[test]
    fn pieces_to_the_pound() {
        let pound = MassUnit::Pound.grams();
        let piece = Mass::of(dec!(0.9), MassUnit::Ounce).grams();
        let count = pieces_in(pound, piece).unwrap();
        assert!((dec!(16)..=dec!(18)).contains(&count), "{count}");
        assert_eq!(count, dec!(17));
        assert_eq!(pieces_in(pound, pound), Some(dec!(1)));
        assert_eq!(pieces_in(pound, pound + dec!(1)), None, "heavier than a pound");
        assert_eq!(pieces_in(pound, Decimal::ZERO), None);
    }

    #[test]
    fn what_is_kept_back_is_found_in_kinds() {
        let relays = found_in(&GradeId::new("contact-silver"));
        let counts: Vec<u32> = relays.kinds.iter().map(|(_, count)| *count).collect();
        assert!(counts.is_sorted_by(|one, next| one >= next), "{counts:?}");
        assert!(
            relays.kinds.iter().any(|(kind, count)| kind.name == "Telephone exchange card" && *count == 8)
        );
        assert!(counts.len() == MOST_SOURCES || relays.more == 0);
        assert!(found_in(&GradeId::new("no-such-grade")).kinds.is_empty());
    }
}
