//! A year of trading: whatever is bought, weighed in, sent, paid, corrected and shared, mass balances to the microgram and
//! money to the cent, by sums that are kept beside the shop in plain whole numbers.

use std::collections::BTreeMap;
use std::path::PathBuf;

use jiff::ToSpan;
use jiff::civil::Date;
use pennyweight::store::cash::{Document, DocumentKind, NewEntry, RateUsed};
use pennyweight::store::hours::{NewHours, Work};
use pennyweight::store::new_id;
use rust_decimal::Decimal;
use trade::cash::{Kind, Month};
use trade::ids::{GradeId, OutletId};
use trade::mass::Mass;
use trade::money::{Currency, Money};

use crate::common::{TestShop, mass, on_both};

on_both![a_year_of_trading_balances];

/// Numbers that look random and are the same on every run: the multiplier and modulus of Lewis, Goodman and Miller
/// (1969), from memory.
struct Dice(u64);

impl Dice {
    fn below(&mut self, bound: u64) -> u64 {
        self.0 = self.0 * 16_807 % 2_147_483_647;
        self.0 % bound
    }

    fn amount(&mut self, least: u64, most: u64) -> i64 {
        i64::try_from(least + self.below(most - least)).expect("a small number")
    }
}

/// An entry as the test keeps it: whole minor units, and the rate in ten-thousandths.
struct Kept {
    id: String,
    month: String,
    kind: Kind,
    currency: Currency,
    amount: i64,
    rate: Option<i64>,
    grade: Option<&'static str>,
    outlet: Option<String>,
    is_undone: bool,
    is_by_hand: bool,
}

impl Kept {
    /// Half away from zero, in whole numbers: 1 JPY is 100 of its cents.
    fn worth(&self) -> Option<i64> {
        if self.currency == Currency::USD {
            return Some(self.amount);
        }
        let scale: i128 = if self.currency == Currency::JPY { 100 } else { 1 };
        let exact = i128::from(self.amount.abs()) * i128::from(self.rate?) * scale;
        let rounded = i64::try_from((exact + 5_000) / 10_000).expect("a small number");
        Some(rounded * self.amount.signum())
    }
}

#[derive(Default)]
struct Year {
    entries: Vec<Kept>,
    minutes: BTreeMap<(String, String), i64>,
    on_the_shelf: BTreeMap<String, i64>,
    sent: i64,
    weighed: i64,
    rows: i64,
}

async fn a_year_of_trading_balances(shop: &TestShop) {
    let mut dice = Dice(20_260_101);
    let mut year = Year::default();
    let carrier = shop.carrier().await;
    let buyer = shop
        .outlet(&crate::common::market::buyer("Maple Boards", &carrier), &[("board-set-top", "5/lb")])
        .await;
    let yard = shop.near_yard(&[("copper-2", "4/lb")]).await;
    let today = shop.today();
    let mut bag = None;
    for ago in (0..360).rev() {
        let day = today.saturating_sub(ago.days());
        match dice.below(8) {
            0 => buy(shop, &mut year, &mut dice, day).await,
            1 | 2 => weigh(shop, &mut year, &mut dice, &mut bag, ago).await,
            3 => ship(shop, &mut year, &mut dice, &mut bag, &buyer, ago).await,
            4 => sell(shop, &mut year, &mut dice, &yard, day).await,
            5 => correct(shop, &mut year, &mut dice).await,
            6 => give_rates(shop, &mut year, &mut dice).await,
            _ => work_and_pay(shop, &mut year, &mut dice, day).await,
        }
    }
    // The kinds of day all happened.
    assert!(year.sent > 0 && year.entries.iter().any(|entry| entry.is_undone));
    assert!(year.entries.iter().any(|entry| entry.rate.is_some()));
    mass_balances(shop, &year).await;
    money_balances(shop, &year).await;
    assert_eq!(shop.store.check().await.expect("checked"), Vec::<String>::new());
    take_along(shop).await;
}

async fn enter(shop: &TestShop, year: &mut Year, entry: NewEntry, grade: Option<&'static str>) {
    let rate = match entry.rate {
        RateUsed::Got(rate) => Some(i64::try_from(rate * Decimal::from(10_000)).expect("four decimals")),
        RateUsed::OnFile => None,
    };
    let entry = NewEntry { grade_id: grade.map(GradeId::from), ..entry };
    // Sent twice, now and then, as phones do.
    for _ in 0..1 + year.rows % 2 {
        shop.store.enter_cash(&shop.by(), std::slice::from_ref(&entry)).await.expect("the book takes it");
    }
    year.rows += 1;
    year.entries.push(Kept {
        id: entry.id,
        month: Month::of(entry.day).to_string(),
        kind: entry.kind,
        currency: entry.amount.currency,
        amount: entry.amount.minor_units(),
        rate,
        grade,
        outlet: entry.outlet_id.map(|id| id.to_string()),
        is_undone: false,
        is_by_hand: entry.document.is_none(),
    });
}

fn money(units: i64, currency: Currency) -> Money {
    Money::from_minor_units(units, currency)
}

async fn buy(shop: &TestShop, year: &mut Year, dice: &mut Dice, day: Date) {
    for kind in [Kind::Purchase, Kind::Trip, Kind::Box] {
        let amount = money(-dice.amount(100, 30_000), Currency::USD);
        enter(shop, year, NewEntry::new(new_id(), day, kind, amount), None).await;
    }
}

async fn weigh(shop: &TestShop, year: &mut Year, dice: &mut Dice, bag: &mut Option<String>, ago: i32) {
    if bag.is_none() {
        *bag = Some(shop.bag(&format!("Bag {ago}"), "board-set-top").await);
    }
    let lot = bag.as_ref().expect("a bag");
    let reading = format!("{} lb {}.{} oz", 1 + dice.below(6), dice.below(16), dice.below(10));
    shop.put_ago(lot, &reading, ago).await;
    let net = mass(&reading).micrograms();
    *year.on_the_shelf.entry(lot.clone()).or_default() += net;
    year.weighed += net;
}

async fn ship(
    shop: &TestShop,
    year: &mut Year,
    dice: &mut Dice,
    bag: &mut Option<String>,
    buyer: &OutletId,
    ago: i32,
) {
    let Some(lot) = bag.take() else { return };
    let id = shop.sent(&[&lot], buyer, ago).await;
    year.sent += year.on_the_shelf.insert(lot, 0).unwrap_or(0);
    let document = Document::new(DocumentKind::Shipment, id);
    let day = shop.today().saturating_sub(ago.days());
    let rate = Decimal::new(dice.amount(6_500, 8_000), 4);
    // One buyer in three pays without a word on the rate.
    let rate = if dice.below(3) > 0 { RateUsed::Got(rate) } else { RateUsed::OnFile };
    let parts = [
        ("line 1", Kind::Sale, money(dice.amount(1_000, 90_000), Currency::CAD), Some("board-set-top")),
        ("fee", Kind::Fee, money(-dice.amount(1, 500), Currency::CAD), None),
        ("freight", Kind::Freight, money(-dice.amount(800, 4_000), Currency::USD), None),
        ("border", Kind::Border, money(-dice.amount(1, 2_000), Currency::JPY), None),
    ];
    for (part, kind, amount, grade) in parts {
        let rate = if amount.currency == Currency::CAD { rate } else { RateUsed::OnFile };
        let entry = NewEntry {
            rate,
            document: Some(document.clone()),
            outlet_id: Some(buyer.clone()),
            ..NewEntry::new(document.entry_id(part), day, kind, amount)
        };
        enter(shop, year, entry, grade).await;
    }
}

async fn sell(shop: &TestShop, year: &mut Year, dice: &mut Dice, yard: &OutletId, day: Date) {
    let amount = money(dice.amount(500, 60_000), Currency::USD);
    let entry =
        NewEntry { outlet_id: Some(yard.clone()), ..NewEntry::new(new_id(), day, Kind::Sale, amount) };
    enter(shop, year, entry, Some("copper-2")).await;
}

async fn correct(shop: &TestShop, year: &mut Year, dice: &mut Dice) {
    let open: Vec<usize> = (0..year.entries.len())
        .filter(|nth| year.entries[*nth].is_by_hand && !year.entries[*nth].is_undone)
        .collect();
    if open.is_empty() {
        return;
    }
    let nth = open[usize::try_from(dice.below(open.len() as u64)).expect("a small number")];
    let id = new_id();
    for _ in 0..2 {
        shop.store.reverse_cash(&shop.by(), &id, &year.entries[nth].id, "a slip").await.expect("undone");
    }
    year.entries[nth].is_undone = true;
    year.rows += 1;
}

async fn give_rates(shop: &TestShop, year: &mut Year, dice: &mut Dice) {
    for entry in shop.store.cash_unrated(&shop.id, 3).await.expect("what is open") {
        let places = if entry.amount.currency == Currency::JPY { 70 } else { 7_300 };
        let rate = places + dice.amount(0, 9);
        let given = Decimal::new(rate, 4);
        shop.store.value_cash(&shop.by(), &new_id(), &entry.id, given).await.expect("a rate");
        year.rows += 1;
        let kept = year.entries.iter_mut().find(|kept| kept.id == entry.id).expect("it is known");
        kept.rate = Some(rate);
    }
}

async fn work_and_pay(shop: &TestShop, year: &mut Year, dice: &mut Dice, day: Date) {
    for partner in &shop.partners {
        let minutes = u32::try_from(dice.amount(15, 480)).expect("a small number");
        let hours = NewHours {
            id: new_id(),
            day,
            partner_id: partner.id.clone(),
            minutes,
            work: Work::ALL[usize::try_from(dice.below(6)).expect("a small number")],
            document: None,
            note: String::new(),
        };
        shop.store.write_hours(&shop.by(), &hours).await.expect("hours");
        *year.minutes.entry((Month::of(day).to_string(), partner.id.clone())).or_default() +=
            i64::from(minutes);
        let entry = NewEntry {
            partner_id: Some(partner.id.clone()),
            ..NewEntry::new(new_id(), day, Kind::Payout, money(-dice.amount(100, 9_000), Currency::USD))
        };
        enter(shop, year, entry, None).await;
    }
}

async fn mass_balances(shop: &TestShop, year: &Year) {
    let mut on_the_shelf = Mass::ZERO;
    for (lot, micrograms) in &year.on_the_shelf {
        let net = shop.lot(lot).await.net;
        assert_eq!(net, Mass::from_micrograms(*micrograms));
        on_the_shelf += net;
    }
    assert_eq!(on_the_shelf + Mass::from_micrograms(year.sent), Mass::from_micrograms(year.weighed));
}

async fn money_balances(shop: &TestShop, year: &Year) {
    let stands = || year.entries.iter().filter(|entry| !entry.is_undone);
    let months = shop
        .store
        .cash_months(&shop.id, "2000-01".parse().expect("a month"), "2999-12".parse().expect("a month"))
        .await
        .expect("the months");
    assert_eq!(shop.store.cash_count(&shop.id).await.expect("a number"), year.rows);
    assert_eq!(months.iter().map(|month| month.total.entries).sum::<i64>(), year.rows);
    // By month, kind and currency, in its own money and at home.
    let mut expected: BTreeMap<(String, &str, &str), (i64, i64)> = BTreeMap::new();
    for entry in stands() {
        let sums =
            expected.entry((entry.month.clone(), entry.kind.code(), entry.currency.code())).or_default();
        sums.0 += entry.amount;
        sums.1 += entry.worth().unwrap_or(0);
    }
    expected.retain(|_, sums| *sums != (0, 0));
    let mut found: BTreeMap<(String, &str, &str), (i64, i64)> = months
        .iter()
        .map(|one| {
            let key = (one.month.to_string(), one.total.kind.code(), one.total.currency.code());
            (key, (one.total.amount, one.total.home_amount))
        })
        .collect();
    found.retain(|_, sums| *sums != (0, 0));
    assert_eq!(found, expected);
    // What still wants a rate.
    let open = stands().filter(|entry| entry.worth().is_none()).count();
    let unrated: i64 = months.iter().map(|month| month.total.unrated).sum();
    assert_eq!(unrated, i64::try_from(open).expect("a small number"));
    // By grade and by outlet.
    use pennyweight::store::cash::Facet;
    let (from, to) = ("2000-01".parse().expect("a month"), "2999-12".parse().expect("a month"));
    let grades = shop.store.cash_by(&shop.id, Facet::Grade, from, to, 100).await.expect("by grade");
    for total in &grades {
        let sum: i64 =
            stands().filter(|entry| entry.grade == Some(total.key.as_str())).filter_map(Kept::worth).sum();
        assert_eq!(total.came_in + total.went_out, sum, "{}", total.key);
    }
    let outlets = shop.store.cash_by(&shop.id, Facet::Outlet, from, to, 100).await.expect("by outlet");
    assert_eq!((grades.len(), outlets.len()), (2, 2));
    for total in &outlets {
        let sum: i64 = stands()
            .filter(|entry| entry.outlet.as_deref() == Some(total.key.as_str()))
            .filter_map(Kept::worth)
            .sum();
        assert_eq!(total.came_in + total.went_out, sum, "{}", total.key);
    }
    let hours = shop.store.hour_months(&shop.id).await.expect("the hours");
    let hours: BTreeMap<(String, String), i64> =
        hours.into_iter().map(|(month, partner, minutes)| ((month.to_string(), partner), minutes)).collect();
    assert_eq!(hours, year.minutes);
}

/// Leaves the book where `tests/journal/run` asks for it, so that other programs can check it.
async fn take_along(shop: &TestShop) {
    use http_body_util::BodyExt;
    let Some(folder) = std::env::var_os("CASH_BOOK").map(PathBuf::from) else { return };
    let folder = folder.join(if shop.is_on_postgres() { "postgres" } else { "sqlite" });
    std::fs::create_dir_all(&folder).expect("a folder");
    for ending in ["csv", "xlsx", "beancount"] {
        let request = shop.phone().request("GET", &format!("/money/book.{ending}"));
        let request = request.body(axum::body::Body::empty()).expect("a request");
        let answer = shop.phone().answer(request).await;
        let bytes = answer.into_body().collect().await.expect("the whole file").to_bytes();
        std::fs::write(folder.join(format!("book.{ending}")), bytes).expect("it is kept");
    }
}
