//! The cash book as the record keeps it: nothing twice, nothing lost, every correction an entry of its own.

use std::io::Cursor;

use jiff::Timestamp;
use jiff::civil::date;
use pennyweight::archive::{self, Archive};
use pennyweight::store::cash::{
    CashRefusal, Document, DocumentKind, Facet, NewEntry, RateUsed, Wanted, enter, reverse, value,
};
use pennyweight::store::hours::{NewHours, Work};
use pennyweight::store::{Place, Store, StoreError, new_id};
use rust_decimal::{Decimal, dec};
use trade::cash::{Kind, Month};
use trade::ids::GradeId;
use trade::money::{Currency, Money};

use crate::common::{TestShop, on_both};

on_both![
    an_entry_sent_twice_is_in_the_book_once,
    a_missing_rate_is_kept_open_and_given_later,
    what_is_undone_leaves_nothing_anywhere,
    entries_of_a_document_have_ids_of_their_own,
    what_the_book_cannot_take_is_refused_whole,
    many_at_once_are_counted_without_a_gap,
    the_check_finds_what_was_tampered_with,
    hours_are_undone_by_hours,
    a_book_of_many_pieces_moves_in_an_archive,
];

fn usd(amount: Decimal) -> Money {
    Money::new(amount, Currency::USD)
}

fn cad(amount: Decimal) -> Money {
    Money::new(amount, Currency::CAD)
}

fn may() -> Month {
    "2026-05".parse().expect("a month")
}

async fn entered(shop: &TestShop, entry: &NewEntry) {
    shop.store.enter_cash(&shop.by(), std::slice::from_ref(entry)).await.expect("the book takes it");
}

/// Minor units of home currency in May, and the entries that want a rate.
async fn in_may(shop: &TestShop) -> (i64, i64, i64) {
    let months = shop.store.cash_months(&shop.id, may(), may()).await.expect("the month");
    let sum = |of: fn(&pennyweight::store::cash::KindTotal) -> i64| months.iter().map(|m| of(&m.total)).sum();
    (sum(|t| t.home_amount), sum(|t| t.entries), sum(|t| t.unrated))
}

async fn an_entry_sent_twice_is_in_the_book_once(shop: &TestShop) {
    let entry = NewEntry::new(new_id(), date(2026, 5, 12), Kind::Purchase, usd(dec!(-12.345)));
    entered(shop, &entry).await;
    entered(shop, &NewEntry { amount: usd(dec!(-99)), ..entry.clone() }).await;
    let stored = shop.store.cash_entry(&shop.id, &entry.id).await.expect("the entry");
    // Half a cent away from zero.
    assert_eq!((stored.amount, stored.worth, stored.n), (usd(dec!(-12.35)), Some(-1235), 1));
    assert_eq!(in_may(shop).await, (-1235, 1, 0));
    // What rounds to nothing is no entry, and takes no number.
    entered(shop, &NewEntry::new(new_id(), date(2026, 5, 12), Kind::Fee, usd(dec!(-0.004)))).await;
    assert_eq!(shop.store.cash_count(&shop.id).await.expect("a number"), 1);
}

async fn a_missing_rate_is_kept_open_and_given_later(shop: &TestShop) {
    let sale = NewEntry::new(new_id(), date(2026, 5, 12), Kind::Sale, cad(dec!(100.10)));
    entered(shop, &sale).await;
    assert_eq!(in_may(shop).await, (0, 1, 1));
    let open = shop.store.cash_unrated(&shop.id, 10).await.expect("what is open");
    assert_eq!(open.iter().map(|entry| entry.id.as_str()).collect::<Vec<_>>(), [sale.id.as_str()]);
    assert!(open[0].wants_rate());

    // 100.10 × 0.7355 = 73.62355; sent twice it counts once.
    let id = new_id();
    for _ in 0..2 {
        shop.store.value_cash(&shop.by(), &id, &sale.id, dec!(0.7355)).await.expect("a rate");
    }
    assert_eq!(in_may(shop).await, (7362, 2, 0));
    // A better word later: 100.10 × 0.75 = 75.075, half a cent away from zero.
    shop.store.value_cash(&shop.by(), &new_id(), &sale.id, dec!(0.75)).await.expect("another rate");
    assert_eq!(in_may(shop).await, (7508, 3, 0));
    let stored = shop.store.cash_entry(&shop.id, &sale.id).await.expect("the entry");
    assert_eq!((stored.worth, stored.rate, stored.wants_rate()), (Some(7508), Some(dec!(0.75)), false));
    assert_eq!(shop.store.cash_about(&shop.id, &sale.id).await.expect("what is about it").len(), 2);
    assert!(shop.store.cash_unrated(&shop.id, 10).await.expect("what is open").is_empty());

    // A rate that is on file by the day is used at once, one that came with the payment before it.
    shop.cad_rate(1, dec!(0.8)).await;
    let today = shop.today();
    let on_file = NewEntry::new(new_id(), today, Kind::Sale, cad(dec!(10)));
    let got = NewEntry { id: new_id(), rate: RateUsed::Got(dec!(0.7)), ..on_file.clone() };
    let before = NewEntry { id: new_id(), day: date(2026, 1, 5), ..on_file.clone() };
    for (entry, worth) in [(&on_file, Some(800)), (&got, Some(700)), (&before, None)] {
        entered(shop, entry).await;
        assert_eq!(shop.store.cash_entry(&shop.id, &entry.id).await.expect("the entry").worth, worth);
    }
}

async fn what_is_undone_leaves_nothing_anywhere(shop: &TestShop) {
    let yard = shop.near_yard(&[]).await;
    let whole = |amount| NewEntry {
        outlet_id: Some(yard.clone()),
        grade_id: Some(GradeId::from("copper-2")),
        source_id: Some(new_id()),
        partner_id: Some(shop.partners[1].id.clone()),
        ..NewEntry::new(new_id(), date(2026, 5, 12), Kind::Sale, amount)
    };
    let (at_home, rated, open) = (whole(usd(dec!(50))), whole(cad(dec!(33.33))), whole(cad(dec!(20))));
    for entry in [&at_home, &rated, &open] {
        entered(shop, entry).await;
    }
    shop.store.value_cash(&shop.by(), &new_id(), &rated.id, dec!(0.7355)).await.expect("a rate");
    for entry in [&at_home, &rated, &open] {
        let id = new_id();
        for _ in 0..2 {
            shop.store.reverse_cash(&shop.by(), &id, &entry.id, "a slip").await.expect("undone");
        }
        let again = shop.store.reverse_cash(&shop.by(), &new_id(), &entry.id, "").await;
        assert!(matches!(again, Err(StoreError::Cash(CashRefusal::Reversed))), "{again:?}");
        let of_undo = shop.store.reverse_cash(&shop.by(), &new_id(), &id, "").await;
        assert!(matches!(of_undo, Err(StoreError::Cash(CashRefusal::NoEntryOfItsOwn))), "{of_undo:?}");
        let late = shop.store.value_cash(&shop.by(), &new_id(), &entry.id, dec!(0.7)).await;
        assert!(matches!(late, Err(StoreError::Cash(CashRefusal::Reversed))), "{late:?}");
        let stored = shop.store.cash_entry(&shop.id, &entry.id).await.expect("the entry");
        assert_eq!(stored.reversed_by, Some(id));
    }
    assert_eq!(in_may(shop).await, (0, 7, 0));
    for facet in [Facet::Outlet, Facet::Grade, Facet::Source, Facet::Partner] {
        let totals = shop.store.cash_by(&shop.id, facet, may(), may(), 10).await.expect("totals");
        assert!(totals.iter().all(|t| (t.came_in, t.went_out, t.unrated) == (0, 0, 0)), "{totals:?}");
    }
    assert!(shop.store.cash_unrated(&shop.id, 10).await.expect("what is open").is_empty());
}

async fn entries_of_a_document_have_ids_of_their_own(shop: &TestShop) {
    let document = Document::new(DocumentKind::Shipment, new_id());
    let entry = |part: &str, kind, amount| NewEntry {
        document: Some(document.clone()),
        ..NewEntry::new(document.entry_id(part), date(2026, 5, 12), kind, usd(amount))
    };
    let entries = [entry("line 1", Kind::Sale, dec!(80)), entry("freight", Kind::Freight, dec!(-12.5))];
    for _ in 0..2 {
        shop.store.enter_cash(&shop.by(), &entries).await.expect("the book takes them");
    }
    let found = shop.store.cash_of(&shop.id, &document).await.expect("its entries");
    assert_eq!(found.iter().map(|e| e.amount.amount).collect::<Vec<_>>(), [dec!(80), dec!(-12.5)]);
    let by_hand = shop.store.reverse_cash(&shop.by(), &new_id(), &entries[0].id, "").await;
    assert!(matches!(by_hand, Err(StoreError::Cash(CashRefusal::OfDocument))), "{by_hand:?}");

    // The document itself undoes and enters anew in one transaction.
    let mut tx = shop.store.begin().await.expect("a transaction");
    reverse(&mut tx, &shop.by(), &document.entry_id("undo 1 line 1"), &entries[0].id, "weighed again")
        .await
        .expect("undone");
    enter(&mut tx, &shop.by(), &entry("line 1, 2nd", Kind::Sale, dec!(78))).await.expect("entered");
    tx.commit().await.expect("saved");
    let found = shop.store.cash_of(&shop.id, &document).await.expect("its entries");
    assert_eq!(found.iter().map(|e| e.amount.amount).sum::<Decimal>(), dec!(65.5));
}

async fn what_the_book_cannot_take_is_refused_whole(shop: &TestShop) {
    let good = NewEntry::new(new_id(), date(2026, 5, 12), Kind::Trip, usd(dec!(-8)));
    let other = shop.open_another().await;
    let bad = [
        NewEntry { amount: usd(dec!(1_000_000_001)), ..good.clone() },
        NewEntry { kind: Kind::Payout, ..good.clone() },
        NewEntry { grade_id: Some(GradeId::from("no-such-grade")), ..good.clone() },
        NewEntry { outlet_id: Some("no-such-outlet".into()), ..good.clone() },
        NewEntry { partner_id: Some(other.partner_id.clone()), ..good.clone() },
        NewEntry { amount: cad(dec!(1_000_000)), rate: RateUsed::Got(dec!(10_000_000)), ..good.clone() },
    ];
    for bad in bad {
        let bad = NewEntry { id: new_id(), ..bad };
        let refused = shop.store.enter_cash(&shop.by(), &[good.clone(), bad.clone()]).await;
        assert!(matches!(refused, Err(StoreError::Cash(_) | StoreError::Missing)), "{bad:?}: {refused:?}");
    }
    assert_eq!(shop.store.cash_count(&shop.id).await.expect("a number"), 0);
    assert_eq!(in_may(shop).await, (0, 0, 0));
    // Another shop's id is nobody's here, and its entries are not seen.
    entered(shop, &good).await;
    shop.store.enter_cash(&other, &[NewEntry { id: good.id.clone(), ..good.clone() }]).await.unwrap_err();
    assert!(shop.store.cash_entry(&other.shop_id, &good.id).await.is_err());
    let mut tx = shop.store.begin().await.expect("a transaction");
    assert!(matches!(reverse(&mut tx, &other, &new_id(), &good.id, "").await, Err(StoreError::Missing)));
    assert!(matches!(value(&mut tx, &other, &new_id(), &good.id, dec!(1)).await, Err(StoreError::Missing)));
    drop(tx);
    let at_home = shop.store.value_cash(&shop.by(), &new_id(), &good.id, dec!(2)).await;
    assert!(matches!(at_home, Err(StoreError::Cash(CashRefusal::HomeCurrency))), "{at_home:?}");
}

async fn many_at_once_are_counted_without_a_gap(shop: &TestShop) {
    let by = shop.by();
    let work = (0..20).map(|nth| {
        let (store, by) = (shop.store.clone(), by.clone());
        tokio::spawn(async move {
            let amount = usd(Decimal::from(nth + 1));
            let entry = NewEntry::new(new_id(), date(2026, 5, 1 + (nth % 3) as i8), Kind::Sale, amount);
            store.enter_cash(&by, &[entry]).await
        })
    });
    for done in work.collect::<Vec<_>>() {
        done.await.expect("no panic").expect("the book takes it");
    }
    // 1 + … + 20.
    assert_eq!(in_may(shop).await, (21_000, 20, 0));
    // A page at a time, without a gap and without one twice.
    let (mut seen, mut before) = (Vec::new(), None);
    loop {
        let page = shop.store.cash_entries(&shop.id, &Wanted::default(), before, 7).await.expect("a page");
        let Some(last) = page.last() else { break };
        before = Some(last.place());
        seen.extend(page.iter().map(|entry| entry.n));
    }
    let mut forward = Vec::new();
    let mut after = None;
    loop {
        let piece = shop.store.cash_piece(&shop.id, after, 20, 6).await.expect("a piece");
        let Some(last) = piece.last() else { break };
        after = Some(last.place());
        forward.extend(piece.iter().map(|entry| entry.n));
    }
    forward.reverse();
    assert_eq!(seen, forward);
    seen.sort_unstable();
    assert_eq!(seen, (1..=20).collect::<Vec<i64>>());
}

async fn the_check_finds_what_was_tampered_with(shop: &TestShop) {
    let sale = NewEntry::new(new_id(), date(2026, 5, 12), Kind::Sale, usd(dec!(50)));
    let foreign = NewEntry {
        rate: RateUsed::Got(dec!(0.7355)),
        ..NewEntry::new(new_id(), date(2026, 5, 12), Kind::Sale, cad(dec!(100)))
    };
    let undone = NewEntry::new(new_id(), date(2026, 5, 13), Kind::Fee, usd(dec!(-3)));
    for entry in [&sale, &foreign, &undone] {
        entered(shop, entry).await;
    }
    shop.store.reverse_cash(&shop.by(), &new_id(), &undone.id, "").await.expect("undone");
    let hours = hours(shop, 90);
    shop.store.write_hours(&shop.by(), &hours).await.expect("hours");
    assert_eq!(shop.store.check().await.expect("checked"), Vec::<String>::new());
    for (harm, repair, said) in [
        (
            "UPDATE cash_totals SET amount = amount + 1 WHERE kind = 'sale' AND currency = 'USD'",
            "UPDATE cash_totals SET amount = amount - 1 WHERE kind = 'sale' AND currency = 'USD'",
            "whose sum is not that of its entries",
        ),
        (
            "UPDATE cash_totals SET month = '2031-01' WHERE facet = 'all' AND kind = 'sale' AND currency = 'USD'",
            "UPDATE cash_totals SET month = '2026-05' WHERE month = '2031-01'",
            "whose sum is not that of its entries",
        ),
        (
            "UPDATE cash_totals SET unrated = unrated + 1 WHERE currency = 'CAD'",
            "UPDATE cash_totals SET unrated = unrated - 1 WHERE currency = 'CAD'",
            "whose sum is not that of its entries",
        ),
        (
            "UPDATE cash_entries SET home_amount = home_amount + 1 WHERE currency = 'CAD'",
            "UPDATE cash_entries SET home_amount = home_amount - 1 WHERE currency = 'CAD'",
            "not worth its amount at its rate",
        ),
        (
            "UPDATE cash_entries SET amount = amount + 1 WHERE reverses_id IS NOT NULL",
            "UPDATE cash_entries SET amount = amount - 1 WHERE reverses_id IS NOT NULL",
            "does not undo the one it names",
        ),
        (
            "UPDATE cash_entries SET n = n + 100 WHERE n = 4",
            "UPDATE cash_entries SET n = n - 100 WHERE n = 104",
            "entries are missing from",
        ),
        (
            "UPDATE hour_totals SET minutes = 1",
            "UPDATE hour_totals SET minutes = 90",
            "whose sum is not that of its hours",
        ),
    ] {
        shop.execute(harm).await;
        let found = shop.store.check().await.expect("checked");
        assert!(found.iter().any(|finding| finding.contains(said)), "{harm}: {found:?}");
        shop.execute(repair).await;
        assert_eq!(shop.store.check().await.expect("checked"), Vec::<String>::new());
    }
}

fn hours(shop: &TestShop, minutes: u32) -> NewHours {
    NewHours {
        id: new_id(),
        day: date(2026, 5, 12),
        partner_id: shop.partners[1].id.clone(),
        minutes,
        work: Work::Teardown,
        document: None,
        note: String::new(),
    }
}

async fn hours_are_undone_by_hours(shop: &TestShop) {
    let (first, second) = (hours(shop, 90), hours(shop, 45));
    for hours in [&first, &first, &second] {
        shop.store.write_hours(&shop.by(), hours).await.expect("hours");
    }
    for _ in 0..2 {
        shop.store.undo_hours(&shop.by(), &new_id(), &first.id).await.expect("undone");
    }
    let totals = shop.store.hour_totals(&shop.id, may(), may()).await.expect("totals");
    assert_eq!(totals.iter().map(|t| (t.work, t.minutes)).collect::<Vec<_>>(), [(Work::Teardown, 45)]);
    let listed = shop.store.hours(&shop.id, date(2026, 5, 1), date(2026, 5, 31), 10).await.expect("hours");
    assert_eq!(listed.len(), 3);
    assert_eq!(listed.iter().filter(|hours| hours.is_undone).count(), 1);
    let stranger = NewHours { id: new_id(), partner_id: new_id(), ..second };
    assert!(matches!(shop.store.write_hours(&shop.by(), &stranger).await, Err(StoreError::Missing)));
}

/// More entries than are written and read at a time, some of them undone or valued later.
async fn a_book_of_many_pieces_moves_in_an_archive(shop: &TestShop) {
    let entries: Vec<NewEntry> = (0..2_100_i64)
        .map(|nth| {
            let currency = if nth % 100 == 0 { Currency::CAD } else { Currency::USD };
            let amount = Money::new(Decimal::new(100 + nth, 2), currency);
            NewEntry::new(new_id(), date(2026, 5, 1), Kind::Sale, amount)
        })
        .collect();
    shop.store.enter_cash(&shop.by(), &entries).await.expect("the book takes them");
    shop.store.value_cash(&shop.by(), &new_id(), &entries[0].id, dec!(0.75)).await.expect("a rate");
    shop.store.reverse_cash(&shop.by(), &new_id(), &entries[1].id, "").await.expect("undone");
    let split = trade::cash::Split::Fixed([(shop.partners[0].id.clone(), 10_000)].into());
    shop.store.set_split(&shop.by(), &new_id(), may(), &split).await.expect("settled");

    let shops = [shop.id.clone()];
    let mut bytes = Cursor::new(Vec::new());
    let written = archive::write(&shop.store, &shops, Timestamp::now(), &mut bytes).await.expect("written");
    let folder = tempfile::tempdir().expect("a folder");
    let store = Store::open(&Place::File(folder.path().join("moved.db"))).await.expect("a new record");
    Archive::open(bytes).expect("an archive").restore(&store).await.expect("it is restored");
    assert_eq!(store.check().await.expect("checked"), Vec::<String>::new());
    assert_eq!(store.cash_count(&shop.id).await.expect("a number"), 2_102);
    assert_eq!(store.splits(&shop.id).await.expect("the splits")[0].split, split);
    let mut again = Cursor::new(Vec::new());
    let rewritten = archive::write(&store, &shops, Timestamp::now(), &mut again).await.expect("written");
    assert_eq!(rewritten.entries, written.entries);
    store.close().await;
}
