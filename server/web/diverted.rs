//! Kept out of landfill: how much left the shop to be used again, by month and family?

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use jiff::ToSpan;
use jiff::civil::Date;
use rust_decimal::{Decimal, dec};
use serde::Deserialize;
use trade::mass::Mass;

use super::App;
use super::failure::Failure;
use super::page::{Page, Screen, Visitor, html};
use crate::store::diverted::{MonthOut, YearOut};

/// Months that the drawing has room for.
const DRAWN: i32 = 12;
/// The drawing, in its own units: bars stand between these, `BOTTOM` being nothing.
const LEFT: Decimal = dec!(4);
const RIGHT: Decimal = dec!(356);
const TOP: Decimal = dec!(30);
const BOTTOM: Decimal = dec!(180);

/// A bar of the drawing: one month.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Bar {
    x: Decimal,
    y: Decimal,
    width: Decimal,
    height: Decimal,
    /// Where its labels stand.
    middle: Decimal,
    label_y: Decimal,
    figure: String,
    /// Empty where it would run into its neighbour's.
    month: String,
}

/// The months side by side, to scale.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Bars {
    description: String,
    bars: Vec<Bar>,
}

/// One family over all time, with its share.
struct FamilyOut {
    name: String,
    mass: Mass,
    percent: Decimal,
}

#[derive(Template)]
#[template(path = "diverted/show.html")]
struct DivertedPage {
    page: Page,
    visitor: Visitor,
    total: Mass,
    this_year: Mass,
    families: Vec<FamilyOut>,
    /// All years in which something left, the newest first.
    years: Vec<YearOut>,
    /// The one whose months are shown, and they, the newest first.
    year: i16,
    months: Vec<MonthOut>,
    drawing: Option<Bars>,
}

#[derive(Deserialize)]
pub struct OfYear {
    #[serde(default)]
    year: String,
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Query(OfYear { year }): Query<OfYear>,
) -> Result<Response, Failure> {
    let shop = &visitor.shop.id;
    let today = visitor.today();
    let families = app.store.diverted_families(shop).await?;
    let mut years = app.store.diverted_years(shop).await?;
    let drawing = match years.first() {
        Some(oldest) => {
            let months = app.store.diverted_months(shop, back(today, DRAWN - 1), today).await?;
            bars(oldest.first, &months, today, |mass| short(mass, &visitor))
        }
        None => None,
    };
    let of_year = |year: i16| years.iter().find(|of| of.year == year);
    let this_year = of_year(today.year()).map_or(Mass::ZERO, |of| of.total);
    // One that is not there leads to the last.
    let shown = year.parse().ok().and_then(of_year).or(years.last());
    let year = shown.map_or(today.year(), |of| of.year);
    let mut months = match shown {
        Some(of) => app.store.diverted_months(shop, of.first, of.last()).await?,
        None => Vec::new(),
    };
    months.reverse();
    years.reverse();
    let total: Mass = families.iter().map(|(_, mass)| *mass).sum();
    let families = shares(families, total);
    let page = visitor.page(Screen::Diverted, "Kept out of landfill");
    html(&DivertedPage { page, visitor, total, this_year, families, years, year, months, drawing })
}

/// The families with their shares, the most first.
fn shares(families: Vec<(String, Mass)>, total: Mass) -> Vec<FamilyOut> {
    let share = |mass: Mass| (mass.grams() * dec!(100)).checked_div(total.grams()).unwrap_or_default();
    let mut families: Vec<FamilyOut> = families
        .into_iter()
        .map(|(name, mass)| FamilyOut { name, mass, percent: share(mass).round_dp(0) })
        .collect();
    families.sort_by_key(|family| std::cmp::Reverse(family.mass));
    families
}

/// The month so many months before today's.
fn back(today: Date, ago: i32) -> Date {
    today.first_of_month().saturating_sub(ago.months())
}

/// A mass for a label: whole pounds or kilograms, with decimals only where there is less than ten.
fn short(mass: Mass, visitor: &Visitor) -> String {
    let number = mass.in_unit(visitor.style().unit());
    number.round_dp(if number < dec!(10) { 1 } else { 0 }).normalize().to_string()
}

/// The last months up to today, those in which nothing left among them, but none before the `first` of all.
fn bars(first: Date, months: &[MonthOut], today: Date, figure: impl Fn(Mass) -> String) -> Option<Bars> {
    let of =
        |month: Date| months.iter().find(|other| other.month == month).map_or(Mass::ZERO, MonthOut::total);
    let shown: Vec<(Date, Mass)> = (0..DRAWN)
        .rev()
        .map(|ago| back(today, ago))
        .filter(|month| *month >= first)
        .map(|month| (month, of(month)))
        .collect();
    let most = shown.iter().map(|(_, mass)| mass.grams()).max().filter(|most| *most > Decimal::ZERO)?;
    let step = (RIGHT - LEFT) / Decimal::from(shown.len().max(6));
    let bar = |(nth, (month, mass)): (usize, &(Date, Mass))| {
        let height = ((BOTTOM - TOP) * mass.grams().max(Decimal::ZERO) / most).round_dp(1);
        let x = LEFT + step * Decimal::from(nth);
        Bar {
            x: (x + step * dec!(0.1)).round_dp(1),
            y: BOTTOM - height,
            width: (step * dec!(0.8)).round_dp(1),
            height,
            middle: (x + step / dec!(2)).round_dp(1),
            label_y: BOTTOM - height - dec!(6),
            figure: if mass.is_zero() { String::new() } else { figure(*mass) },
            month: if shown.len() <= 6 || (shown.len() - nth) % 2 == 1 {
                month.strftime("%b").to_string()
            } else {
                String::new()
            },
        }
    };
    let told = |(month, mass): &(Date, Mass)| {
        let words = if mass.is_zero() { "nothing".to_string() } else { figure(*mass) };
        format!("{}: {words}", month.strftime("%B %Y"))
    };
    Some(Bars {
        description: shown.iter().map(told).collect::<Vec<_>>().join("; "),
        bars: shown.iter().enumerate().map(bar).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn out(month: Date, grams: i64) -> MonthOut {
        MonthOut { month, families: [("copper".to_string(), Mass::from_grams(Decimal::from(grams)))].into() }
    }

    #[test]
    fn bars_are_to_scale_and_an_idle_month_has_its_place() {
        let months = [out(date(2026, 1, 1), 500), out(date(2026, 3, 1), 1000)];
        let drawn =
            bars(date(2026, 1, 1), &months, date(2026, 4, 30), |mass| mass.grams().normalize().to_string())
                .unwrap();
        let heights: Vec<Decimal> = drawn.bars.iter().map(|bar| bar.height).collect();
        assert_eq!(heights, [dec!(75), dec!(0), dec!(150), dec!(0)]);
        assert!(drawn.bars.iter().all(|bar| bar.y + bar.height == BOTTOM && bar.x + bar.width <= RIGHT));
        assert_eq!(
            drawn.description,
            "January 2026: 500; February 2026: nothing; March 2026: 1000; April 2026: nothing"
        );
        let figures: Vec<&str> = drawn.bars.iter().map(|bar| bar.figure.as_str()).collect();
        assert_eq!(figures, ["500", "", "1000", ""]);
    }

    #[test]
    fn a_year_is_the_most_that_is_drawn_and_nothing_is_no_drawing() {
        let months: Vec<MonthOut> = (1..=12).map(|month| out(date(2024, month, 1), 10)).collect();
        let drawn = bars(date(2024, 1, 1), &months, date(2025, 3, 15), |_| String::new()).unwrap();
        assert_eq!(drawn.bars.len(), 12);
        assert!(
            drawn.description.starts_with("April 2024") && drawn.description.ends_with("March 2025: nothing")
        );
        assert_eq!(bars(date(2024, 1, 1), &[], date(2025, 3, 15), |_| String::new()), None);
        // What came back in the only month that is shown: there is nothing to draw to scale.
        assert_eq!(
            bars(date(2025, 3, 1), &[out(date(2025, 3, 1), -5)], date(2025, 3, 15), |_| String::new()),
            None
        );
    }
}
