//! How much more of a grade, and another plan is better.

use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use super::prices::{Stock, stocks};
use super::{Ask, Base, Miss, Other, Turns};
use crate::ids::{GradeId, LotId, OutletId};
use crate::mass::Mass;
use crate::net::Load;
use crate::plan::model::float;
use crate::plan::node::Reach;
use crate::plan::{PlanLot, Planner, Problem, lots_at};
use crate::volume::Volume;

/// So many are put to the test, those that take the least money's worth first.
const TRIED: usize = 4;

/// The least mass is sought to this share of it, and to whole grams.
const FINE: f64 = 1.0 / 64.0;

/// What more of a grade brings about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reached {
    /// The outlet gets a delivery, where it gets none now.
    Opens,
    /// The grade is taken there, or better paid, from this mass on.
    Tier(Mass),
}

/// So much more of a grade, and the best plan is another one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MassTurn {
    pub grade: GradeId,
    pub outlet: OutletId,
    /// With this much more the plan turns; with a sixty-fourth of it less, or a gram, it does not.
    pub extra: Mass,
    pub reached: Reached,
}

/// Something that more of a grade could reach.
struct Aim<'s, 'a> {
    stock: &'s Stock<'a>,
    site: usize,
    reached: Reached,
    /// Grams that it takes, at a guess.
    guess: f64,
}

/// Fills in what is nearest. More than there is of the grade as it is, is not near.
pub(super) fn turns(base: &Base<'_, '_>, others: &[Option<(Other, Decimal)>], turns: &mut Turns) {
    let stocks = stocks(base);
    let mut aims: Vec<Aim<'_, '_>> = Vec::new();
    for site in 0..base.planner.model.sites.len() {
        if lots_at(&base.place, site).is_empty() {
            let opening = stocks.iter().filter_map(|stock| opening(base, others, stock, site));
            aims.extend(opening.min_by(|a, b| a.worth().total_cmp(&b.worth())));
        } else {
            aims.extend(stocks.iter().filter_map(|stock| next_tier(base, stock, site)));
        }
    }
    aims.retain(|aim| aim.guess <= aim.stock.mass);
    aims.sort_by(|a, b| a.worth().total_cmp(&b.worth()));
    for aim in aims.iter().take(TRIED) {
        match aim.least(base) {
            Ok(extra) => turns.masses.push(MassTurn {
                grade: aim.stock.grade.clone(),
                outlet: base.planner.model.sites[aim.site].outlet.id.clone(),
                extra,
                reached: aim.reached,
            }),
            Err(Miss::Unfinished) => turns.complete = false,
            Err(Miss::None) => {}
        }
    }
}

/// An outlet that gets nothing: the money that is missing, or the mass that its least delivery lacks.
fn opening<'s, 'a>(
    base: &Base<'_, 'a>,
    others: &[Option<(Other, Decimal)>],
    stock: &'s Stock<'a>,
    site: usize,
) -> Option<Aim<'s, 'a>> {
    let model = &base.planner.model;
    let value = stock.value_at(base, site)?;
    let guess = match &others[site] {
        Some((_, by)) => {
            let more = value - stock.value;
            if more <= 0.0 {
                return None;
            }
            float(*by) / more
        }
        None => {
            let may = |&lot: &usize| base.root.at(site, lot) != Reach::No;
            let there: f64 =
                (0..model.lots.len()).filter(|lot| may(lot)).map(|lot| model.lots[lot].mass).sum();
            let least = model.sites[site].least_mass - there;
            let grade = model.sites[site].outlet.quotes.get(stock.grade)?.tiers()[0].from;
            least.max(float(grade.grams()) - stock.mass)
        }
    };
    (guess > 0.0).then_some(Aim { stock, site, reached: Reached::Opens, guess })
}

/// An outlet that gets something: the next mass from which it takes the grade, or pays more for it.
fn next_tier<'s, 'a>(base: &Base<'_, 'a>, stock: &'s Stock<'a>, index: usize) -> Option<Aim<'s, 'a>> {
    let model = &base.planner.model;
    let site = &model.sites[index];
    stock.value_at(base, index)?;
    let here: Vec<usize> = stock.lots.iter().copied().filter(|&lot| base.place[lot] == index).collect();
    if here.is_empty() && stock.value_at(base, index)? <= stock.value {
        return None;
    }
    let outlet = site.outlet;
    let tiers = outlet.quotes.get(stock.grade)?.tiers();
    let there: Mass = here.iter().map(|&lot| model.problem.lots[lot].load.mass).sum();
    let now = if here.is_empty() { None } else { tiers.iter().rev().find(|tier| tier.from <= there) };
    let next = tiers.iter().find(|tier| {
        let from = tier.from.max(outlet.terms.minimum_grade);
        from > there && now.is_none_or(|now| tier.price.amount > now.price.amount)
    })?;
    let from = next.from.max(outlet.terms.minimum_grade);
    // What lies elsewhere could come along.
    let missing = float(from.grams()) - if here.is_empty() { stock.mass } else { float(there.grams()) };
    (missing > 0.0).then_some(Aim { stock, site: index, reached: Reached::Tier(from), guess: missing })
}

impl Aim<'_, '_> {
    /// What the extra mass is worth, in home currency, at a guess.
    fn worth(&self) -> f64 {
        self.guess * self.stock.value.max(1e-6)
    }

    /// The least extra mass that brings it about, in whole grams.
    fn least(&self, base: &Base<'_, '_>) -> Result<Mass, Miss> {
        let most = self.stock.mass.ceil();
        let mut high = self.guess.ceil();
        let mut low = 0.0;
        while !self.wins(base, high)? {
            if high >= most {
                return Err(Miss::None);
            }
            low = high;
            high = (2.0 * high).min(most);
        }
        // A threshold that was guessed right is the least mass: it is tried before the middle.
        let mut middle = (high - (high * FINE).max(1.0)).floor().max(low);
        while high - low > (high * FINE).max(1.0) {
            if self.wins(base, middle)? {
                high = middle;
            } else {
                low = middle;
            }
            middle = ((low + high) / 2.0).floor();
        }
        Ok(grams(high))
    }

    /// Whether the best plan with so much more of the grade reaches it.
    fn wins(&self, base: &Base<'_, '_>, extra: f64) -> Result<bool, Miss> {
        if base.stopped() {
            return Err(Miss::Unfinished);
        }
        let problem = base.planner.model.problem;
        let mut lots = problem.lots.to_vec();
        lots.push(self.more(base, extra).ok_or(Miss::None)?);
        let with = Problem { lots: &lots, ..*problem };
        let planner = Planner::new(&with).searching_by(base.planner.method);
        let root = planner.chosen.pinned(&base.pins);
        let mut place = base.place.clone();
        place.push(planner.model.keep_place());
        let best = base.best(&planner, &root, &place, Ask::about(self.site))?;
        let there = lots_at(&best.place, self.site);
        Ok(match self.reached {
            Reached::Opens => !there.is_empty(),
            Reached::Tier(from) => {
                let of_grade =
                    there.iter().map(|&lot| &lots[lot].load).filter(|l| l.grade == *self.stock.grade);
                of_grade.map(|load| load.mass).sum::<Mass>() >= from
            }
        })
    }

    /// The extra mass as a lot that takes as much room, and is worth as much kept, as the grade's lots do on the whole.
    fn more(&self, base: &Base<'_, '_>, extra: f64) -> Option<PlanLot> {
        let lots = || self.stock.lots.iter().map(|&lot| &base.planner.model.problem.lots[lot]);
        let mass: Mass = lots().map(|lot| lot.load.mass).sum();
        let volume: Volume = lots().map(|lot| lot.load.volume).sum();
        let keep: Decimal = lots().map(|lot| lot.keep).sum();
        let extra = grams(extra);
        let share = extra.grams().checked_div(mass.grams())?;
        let load = Load {
            lot: LotId::new("as much more"),
            grade: self.stock.grade.clone(),
            mass: extra,
            pieces: 0,
            volume: Volume::from_cm3(volume.cm3() * share),
        };
        Some(PlanLot { load, keep: keep * share })
    }
}

fn grams(grams: f64) -> Mass {
    Mass::from_grams(Decimal::from_f64(grams).unwrap_or_default())
}
