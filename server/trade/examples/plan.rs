//! Reads a sell plan's problem and prints the best plan: `cargo run --release --example plan -- FILE [--no-margins]
//! [--turns] [--seconds N]`.
//!
//! The file is JSON; masses are grams, prices home currency per kilogram, and numbers may be written as text so that no
//! reader turns them into floats:
//!
//! ```json
//! {
//!   "lots": [{ "id": "L1", "grade": "copper-2", "mass": "12500", "keep": "3.20" }],
//!   "outlets": [{
//!     "id": "far yard",
//!     "fixed": "35.00",
//!     "minimum": "5000",
//!     "fee_percent": "2",
//!     "freight": [["1000", "7.20"], ["2000", "8.10"]],
//!     "prices": { "copper-2": [{ "from": "0", "price": "7.10" }, { "from": "50000", "price": "7.40" }] }
//!   }],
//!   "pins": { "L1": "far yard" }, "bars": [["L1", "far yard"]], "closed": ["far yard"],
//!   "per_km": "0.60", "roads": [["far yard", "near yard", "12.5"]]
//! }
//! ```
//!
//! `fixed` is paid once if anything goes to the outlet, `freight` is what the whole delivery costs up to a mass (beyond the
//! last one nothing goes), `minimum` is the least mass of a delivery, and the price of a grade is that of the last tier
//! which the grade's mass in the delivery reaches: below the first one the grade is not taken. A lot that goes nowhere
//! brings its `keep`; a pin to `null` keeps it. An outlet without freight may have `km`, how far it is from the shop: then the
//! way there and back is paid at `per_km` on top of `fixed`, and outlets with `roads` between them, in kilometres, are driven to
//! at once where that is shorter. Everything but lots, outlets, ids, grades, masses and prices may be left out.
//!
//! A file that begins with a number is taken for a problem of the OR-Library's uncapacitated warehouse location set.
//!
//! The answer is JSON: `value`, `bound`, `gap` and `margins` are home currency, `assignment` has each lot's outlet, or null
//! where it is kept; `tours` are the drives to several outlets, in order, with their kilometres; `milliseconds` tells how long plan and margins took. With `--turns` it has `turns` as well: what would
//! change the plan.

use std::collections::{BTreeMap, BTreeSet};
use std::num::NonZeroUsize;
use std::time::{Duration, Instant};
use std::{env, fs};

use iso_currency::Currency;
use jiff::civil::date;
use rust_decimal::{Decimal, dec};
use serde_json::{Map, Value, json};
use trade::costs::{Costs, Facts};
use trade::exchange::RateBook;
use trade::freight::{Service, WeightBreak};
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::{Mass, MassStyle, MassUnit};
use trade::money::{Price, PriceUnit, Share};
use trade::net::Load;
use trade::outlet::{Drive, Outlet, Post, Terms, Way};
use trade::packing::Carton;
use trade::plan::{
    Choices, Limits, MassTurn, OutletTurn, Place, PlanLot, Planner, PriceTurn, Problem, Proof, Reached, Turns,
};
use trade::quote::{Quote, Quotes};
use trade::tour::Roads;
use trade::volume::{Size, Volume};

/// As in the program: a fifth of the search is spent on making room for states, and this one makes it faster.
#[cfg(feature = "allocator")]
#[global_allocator]
static ALLOCATOR: tikv_jemallocator::Jemalloc = tikv_jemallocator::Jemalloc;

type Wrong = Box<dyn std::error::Error>;

/// After this, unless told otherwise, the best plan so far is printed with its bound.
const PATIENCE: Duration = Duration::from_secs(120);

/// How much work each plan on the way to what would change it may take.
const NODES_FOR_TURN: u64 = 400;

/// What a customer of a location problem brings before its costs: above them all.
const REVENUE: Decimal = dec!(10_000_000);

fn main() -> Result<(), Wrong> {
    let words: Vec<String> = env::args().skip(1).collect();
    let file = words.first().ok_or("name a file")?;
    let with_margins = !words.iter().any(|word| word == "--no-margins");
    let after = |name: &str| words.iter().skip_while(|word| *word != name).nth(1);
    let patience = after("--seconds").map_or(Ok(PATIENCE), |seconds| -> Result<Duration, Wrong> {
        Ok(Duration::try_from_secs_f64(seconds.parse()?)?)
    })?;
    let text = fs::read_to_string(file)?;
    let location = text.trim_start().starts_with(|first: char| first.is_ascii_digit());
    let shelf = if location { read_location(&text)? } else { read_shelf(&text)? };
    let Shelf { lots, outlets, choices, per_km, roads } = shelf;
    let facts = facts(&outlets, per_km);
    let problem = Problem { lots: &lots, outlets: &outlets, facts: &facts, choices: &choices, roads: &roads };

    let start = Instant::now();
    let stop = || start.elapsed() > patience;
    let mut planner = Planner::new(&problem);
    let threads = std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN);
    let limits = Limits { nodes: u64::MAX, stop: Some(&stop), threads };
    let plan = planner.solve(&limits);
    let solved = start.elapsed();
    let margins = if with_margins { planner.margins(&plan, &limits) } else { Vec::new() };
    let done = start.elapsed();
    let limits = Limits { nodes: NODES_FOR_TURN, ..limits };
    let turns = words.iter().any(|word| word == "--turns").then(|| planner.turns(&plan, &limits));
    let turned = start.elapsed();

    let mut assignment = Map::new();
    for delivery in &plan.deliveries {
        for lot in &delivery.lots {
            assignment.insert(lot.to_string(), json!(delivery.outlet.as_str()));
        }
    }
    assignment.extend(plan.kept.iter().map(|lot| (lot.to_string(), Value::Null)));
    let bound = match plan.proof {
        Proof::Optimal => plan.total,
        Proof::Gap { bound } => bound,
    };
    let margins: Map<String, Value> = margins
        .iter()
        .map(|margin| {
            let second = match &margin.second {
                Place::Outlet(id) => json!(id.as_str()),
                Place::Keep => Value::Null,
            };
            let margin_text = margin.margin.normalize().to_string();
            (
                margin.lot.to_string(),
                json!({ "margin": margin_text, "second": second, "exact": margin.exact }),
            )
        })
        .collect();
    let tours: Vec<Value> = plan
        .tours
        .iter()
        .map(|tour| json!({ "stops": tour.stops, "km": tour.distance_km.normalize().to_string() }))
        .collect();
    let milliseconds = |time: Duration| time.as_secs_f64() * 1e3;
    let mut answer = json!({
        "value": plan.total.normalize().to_string(),
        "bound": bound.normalize().to_string(),
        "gap": (bound - plan.total).normalize().to_string(),
        "optimal": plan.proof == Proof::Optimal,
        "assignment": assignment,
        "tours": tours,
        "margins": margins,
        "trouble": plan.trouble.iter().map(ToString::to_string).collect::<Vec<_>>(),
        "milliseconds": { "plan": milliseconds(solved), "margins": milliseconds(done - solved) },
    });
    if let Some(turns) = &turns {
        answer["turns"] = turns_json(turns);
        answer["milliseconds"]["turns"] = json!(milliseconds(turned - done));
    }
    if location {
        let cost = REVENUE * Decimal::from(lots.len()) - plan.total;
        answer["cost"] = json!(cost.normalize().to_string());
    }
    println!("{answer:#}");
    Ok(())
}

fn turns_json(turns: &Turns) -> Value {
    let text = |number: Decimal| number.normalize().to_string();
    let outlet = |turn: &OutletTurn| json!({ "outlet": turn.outlet, "open": turn.is_open, "once": text(turn.once), "by": text(turn.by) });
    let price = |turn: &PriceTurn| {
        json!({
            "outlet": turn.outlet, "grade": turn.grade, "now": text(turn.now.amount), "then": text(turn.then.amount),
        })
    };
    let mass = |turn: &MassTurn| {
        let tier = match turn.reached {
            Reached::Opens => Value::Null,
            Reached::Tier(from) => json!(text(from.grams())),
        };
        json!({ "outlet": turn.outlet, "grade": turn.grade, "extra": text(turn.extra.grams()), "tier": tier })
    };
    json!({
        "outlets": turns.outlets.iter().map(outlet).collect::<Vec<_>>(),
        "prices": turns.prices.iter().map(price).collect::<Vec<_>>(),
        "masses": turns.masses.iter().map(mass).collect::<Vec<_>>(),
        "complete": turns.complete,
    })
}

fn facts(outlets: &[Outlet], per_km: Decimal) -> Facts {
    let heaviest = outlets.iter().filter_map(|outlet| match &outlet.way {
        Way::Post(post) => post.services.first()?.breaks.last().map(|last| last.up_to),
        Way::Drive(_) => None,
    });
    Facts {
        costs: Costs {
            home: Currency::USD,
            labour_per_hour: dec!(0),
            truck_per_km: per_km,
            capital_per_year: Share::ZERO,
            risk_per_year: Share::ZERO,
        },
        rates: RateBook::new([]),
        // One box that takes everything: freight is a matter of the whole delivery's mass.
        cartons: vec![Carton {
            name: "delivery".into(),
            inner: Size::mm(1_000, 1_000, 1_000),
            outer: Size::mm(1_000, 1_000, 1_000),
            tare: Mass::ZERO,
            limit: heaviest.max().unwrap_or(Mass::from_grams(dec!(1))),
            cost: dec!(0),
            at_hand: Some(1),
        }],
        today: date(2026, 1, 5),
        style: MassStyle::Kilograms,
    }
}

fn number(value: &Value) -> Result<Decimal, Wrong> {
    let text = match value {
        Value::String(text) => text.clone(),
        Value::Number(number) => number.to_string(),
        other => return Err(format!("{other} is no number").into()),
    };
    let number = text.parse().or_else(|_| Decimal::from_scientific(&text));
    Ok(number.map_err(|_| format!("{text} is no number"))?)
}

fn optional(from: &Value, name: &str) -> Result<Decimal, Wrong> {
    from.get(name).filter(|value| !value.is_null()).map_or(Ok(Decimal::ZERO), number)
}

fn word(from: &Value, name: &str) -> Result<String, Wrong> {
    Ok(from[name].as_str().ok_or_else(|| format!("{name} is missing in {from}"))?.to_string())
}

fn list<'v>(from: &'v Value, name: &str) -> &'v [Value] {
    from[name].as_array().map_or(&[], Vec::as_slice)
}

struct Shelf {
    lots: Vec<PlanLot>,
    outlets: Vec<Outlet>,
    choices: Choices,
    per_km: Decimal,
    roads: Roads,
}

fn read_shelf(text: &str) -> Result<Shelf, Wrong> {
    let shelf: Value = serde_json::from_str(text)?;
    let lots = list(&shelf, "lots").iter().map(|raw| -> Result<PlanLot, Wrong> {
        let load = Load {
            lot: LotId::new(word(raw, "id")?),
            grade: GradeId::new(word(raw, "grade")?),
            mass: Mass::from_grams(number(&raw["mass"])?),
            pieces: 0,
            volume: Volume::ZERO,
        };
        Ok(PlanLot { load, keep: optional(raw, "keep")? })
    });
    let lots = lots.collect::<Result<_, _>>()?;
    let outlets = list(&shelf, "outlets").iter().map(read_outlet).collect::<Result<_, _>>()?;
    let mut choices = Choices::default();
    for (lot, place) in shelf["pins"].as_object().into_iter().flatten() {
        let place = place.as_str().map_or(Place::Keep, |id| Place::Outlet(OutletId::new(id)));
        choices.pins.insert(LotId::new(lot.as_str()), place);
    }
    for pair in list(&shelf, "bars") {
        let at = |index: usize| pair[index].as_str().unwrap_or_default();
        choices.bars.insert((LotId::new(at(0)), OutletId::new(at(1))));
    }
    choices.closed =
        list(&shelf, "closed").iter().filter_map(Value::as_str).map(OutletId::new).collect::<BTreeSet<_>>();
    let mut roads = Roads::default();
    for road in list(&shelf, "roads") {
        let end = |index: usize| OutletId::new(road[index].as_str().unwrap_or_default());
        if !roads.add(&end(0), &end(1), number(&road[2])?) {
            return Err(format!("{road} is no road").into());
        }
    }
    Ok(Shelf { lots, outlets, choices, per_km: optional(&shelf, "per_km")?, roads })
}

fn read_outlet(raw: &Value) -> Result<Outlet, Wrong> {
    let mut quotes = BTreeMap::new();
    for (grade, tiers) in raw["prices"].as_object().into_iter().flatten() {
        let tiers = tiers.as_array().map_or(&[][..], Vec::as_slice).iter();
        let tiers = tiers.map(|tier| -> Result<Quote, Wrong> {
            let price =
                Price::new(number(&tier["price"])?, Currency::USD, PriceUnit::Mass(MassUnit::Kilogram));
            Ok(Quote { price, high: None, from: Mass::from_grams(optional(tier, "from")?) })
        });
        let tiers = Quotes::new(tiers.collect::<Result<Vec<_>, _>>()?);
        quotes.insert(GradeId::new(grade.as_str()), tiers.ok_or_else(|| format!("no tiers of {grade}"))?);
    }
    let percent = optional(raw, "fee_percent")?;
    let terms = Terms {
        payout_fee: optional(raw, "fixed")?,
        percent_fee: Share::percent(percent).map_err(|_| format!("{percent} % is no fee"))?,
        minimum_delivery: Mass::from_grams(optional(raw, "minimum")?),
        ..Terms::default()
    };
    let way = match raw["freight"].as_array() {
        None => Way::Drive(Drive { distance_km: optional(raw, "km")?, minutes: dec!(0) }),
        Some(steps) => Way::Post(Post {
            services: vec![Service {
                name: "freight".into(),
                currency: Currency::USD,
                dimensional: None,
                step: Mass::from_grams(dec!(0.00001)),
                fuel_percent: dec!(0),
                surcharges: vec![],
                breaks: steps
                    .iter()
                    .map(|step| -> Result<WeightBreak, Wrong> {
                        let up_to = Mass::from_grams(number(&step[0])?);
                        Ok(WeightBreak { up_to, charge: number(&step[1])? })
                    })
                    .collect::<Result<_, _>>()?,
                flat_boxes: vec![],
            }],
            border: dec!(0),
            insurance: Share::ZERO,
            packing_minutes: dec!(0),
        }),
    };
    Ok(outlet(word(raw, "id")?, way, terms, quotes))
}

/// The numbers of warehouses and of customers; of each warehouse its capacity and fixed cost; of each customer its demand,
/// then what serving it from each warehouse costs.
fn read_location(text: &str) -> Result<Shelf, Wrong> {
    let mut words = text.split_whitespace();
    let mut next = || -> Result<Decimal, Wrong> {
        let word = words.next().ok_or("the file ends too early")?;
        Ok(word.trim_end_matches('.').parse().or_else(|_| Decimal::from_scientific(word))?)
    };
    let (warehouses, customers) = (next()?, next()?);
    let count = |number: Decimal| usize::try_from(number).map_err(|_| format!("{number} is no count"));
    let (warehouses, customers) = (count(warehouses)?, count(customers)?);
    let mut fixed = Vec::new();
    for _ in 0..warehouses {
        let _capacity = next();
        fixed.push(next()?);
    }
    let mut quotes: Vec<BTreeMap<GradeId, Quotes>> = vec![BTreeMap::new(); warehouses];
    let mut lots = Vec::new();
    for customer in 0..customers {
        let _demand = next()?;
        let grade = GradeId::new(format!("customer {customer}"));
        for quotes in &mut quotes {
            let price = Price::new(REVENUE - next()?, Currency::USD, PriceUnit::Each);
            quotes.extend(Quotes::new([Quote::flat(price)]).map(|quotes| (grade.clone(), quotes)));
        }
        let load = Load {
            lot: LotId::new(format!("customer {customer}")),
            grade,
            mass: Mass::from_grams(dec!(1)),
            pieces: 1,
            volume: Volume::ZERO,
        };
        lots.push(PlanLot { load, keep: dec!(0) });
    }
    let outlets = fixed.into_iter().zip(quotes).enumerate().map(|(index, (fixed, quotes))| {
        let way = Way::Drive(Drive { distance_km: dec!(0), minutes: dec!(0) });
        let terms = Terms { payout_fee: fixed, ..Terms::default() };
        outlet(format!("warehouse {index}"), way, terms, quotes)
    });
    Ok(Shelf {
        lots,
        outlets: outlets.collect(),
        choices: Choices::default(),
        per_km: dec!(0),
        roads: Roads::default(),
    })
}

fn outlet(id: String, way: Way, terms: Terms, quotes: BTreeMap<GradeId, Quotes>) -> Outlet {
    Outlet {
        id: OutletId::new(id.as_str()),
        name: id,
        currency: Currency::USD,
        way,
        terms,
        quotes,
        sheet_date: None,
        learned: None,
    }
}
