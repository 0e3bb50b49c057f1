//! What is wrong with what the sell plan is made from, said plainly on its page: one story for each kind.
//!
//! The figures are those of the market (`common::market`): a trip to Quay Metals costs 17.40 USD.

use axum::http::StatusCode;
use pennyweight::store::new_id;
use rust_decimal::dec;
use trade::money::Currency;

use crate::choices::say;
use crate::common::market::{buyer, yard};
use crate::common::{Page, TestShop, mass, on_both};
use crate::plan::{headings, plan};

on_both![
    a_grade_that_nobody_takes_is_named_once_with_its_lots,
    with_no_prices_at_all_the_way_to_some_is_shown,
    an_old_exchange_rate_is_said_with_its_day,
    lots_without_mass_are_named_together,
    pins_that_contradict_are_named_and_either_can_be_taken_back,
    several_pins_that_cannot_be_followed_go_with_one_tap,
    only_pins_of_this_shop_are_taken_back,
    a_table_that_does_not_increase_is_refused_by_line,
    a_table_with_a_gap_is_doubted_where_it_is_leant_on,
    costs_so_high_that_all_is_kept_are_said,
];

fn notices(page: &Page) -> Vec<String> {
    page.texts(".notice li")
}

async fn a_grade_that_nobody_takes_is_named_once_with_its_lots(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    for label in ["Bag 2", "Bag 3", "Bag 4", "Bag 5", "Bag 6", "Bag 7"] {
        shop.filled(label, "copper-1", "5 lb").await;
    }
    assert_eq!(
        notices(&plan(shop).await),
        [
            "No outlet's sheet has a price for No. 1 copper, so 6 lots stay: Bag 2, Bag 3, Bag 4, Bag 5 and 2 more."
        ]
    );
}

async fn with_no_prices_at_all_the_way_to_some_is_shown(shop: &TestShop) {
    shop.filled("Bag 1", "copper-1", "5 lb").await;
    shop.filled("Bag 2", "copper-2", "5 lb").await;
    let told = plan(shop).await;
    assert_eq!(
        notices(&told),
        ["No outlet is set up yet, so everything stays. Set up an outlet"],
        "one sentence for the whole shelf"
    );
    assert_eq!(told.attributes(".notice li a", "href"), ["/outlets/new"]);
    let near = shop.near_yard(&[]).await;
    let told = plan(shop).await;
    assert_eq!(
        notices(&told),
        ["No outlet has a price sheet with prices, so everything stays. Read a price sheet"]
    );
    assert_eq!(told.attributes(".notice li a", "href"), ["/sheets/new"]);
    shop.sheet(&near, 0, &[("brass-yellow", "2.00/lb")]).await;
    assert_eq!(
        notices(&plan(shop).await),
        ["No outlet's sheet has a price for any grade that is here, so everything stays. Read a price sheet"]
    );
}

async fn an_old_exchange_rate_is_said_with_its_day(shop: &TestShop) {
    let mut across = yard("Rapids Recycling", 10, 30);
    across.currency = Currency::CAD;
    shop.outlet(&across, &[("copper-2", "4.00/lb")]).await;
    shop.cad_rate(12, dec!(0.75)).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let page = plan(shop).await;
    // 160.00 CAD at 0.75 are 120.00; less the trip of 17.40: it is leant on, and said.
    assert_eq!(headings(&page), ["Rapids Recycling 102.60 USD"]);
    let day = shop.today().saturating_sub(jiff::Span::new().days(12)).strftime("%a %-d %b %Y").to_string();
    let told = page.text(".ticket.attention").replace('\u{a0}', " ");
    assert!(told.contains("Leans on old figures"), "{told}");
    assert!(told.contains(&format!("The rate for CAD is from {day}, 12 days ago.")), "{told}");
    shop.cad_rate(0, dec!(0.75)).await;
    assert!(!plan(shop).await.says("Leans on old figures"));
}

async fn lots_without_mass_are_named_together(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    shop.bag("Bag 2", "copper-2").await;
    shop.bag("Bag 3", "copper-2").await;
    let page = plan(shop).await;
    assert_eq!(
        notices(&page),
        ["2 lots have nothing on their ledgers yet: Bag 2, Bag 3. Weigh them in, or merge them away."]
    );
    assert_eq!(headings(&page), ["Quay Metals 102.60 USD"], "they change nothing");
}

async fn pins_that_contradict_are_named_and_either_can_be_taken_back(shop: &TestShop) {
    // The yard takes 30 lb and more: one bag of 20 lb cannot go there while the other one has to stay.
    let mut details = yard("Quay Metals", 10, 30);
    details.terms.minimum_delivery = mass("30 lb");
    let near = shop.outlet(&details, &[("copper-2", "3.00/lb")]).await;
    let first = shop.filled("Bag 1", "copper-2", "20 lb").await;
    let second = shop.filled("Bag 2", "copper-2", "20 lb").await;
    say(shop, &first, near.as_str(), "It goes there").await.ok();
    let told = say(shop, &second, "keep", "It goes there").await.ok().without_ids();
    assert_eq!(
        told.texts(".notice li p"),
        [
            "Bag 2 (No. 2 copper) is pinned to stay here, but that cannot be together with another pin: Bag 1 (No. 2 \
             copper) is pinned to Quay Metals. The plan is made without this pin."
        ]
    );
    // 40 × 3.00 − 17.40: the plan without it is what the page shows.
    assert_eq!(headings(&told), ["Quay Metals 102.60 USD"]);
    let forms = told.forms(".notice form");
    assert_eq!(forms.len(), 2);

    // One tap makes it so; the other pin stands.
    let without = shop.submit(forms[0].clone().press("Take this pin back")).await.ok().without_ids();
    assert!(!without.has(".notice"), "{}", without.text(".notice"));
    assert_eq!(headings(&without), ["Quay Metals 102.60 USD"]);
    assert!(without.text(&format!("[id='lot-{first}']")).contains("pinned"));
    assert!(!without.text(&format!("[id='lot-{second}']")).contains("pinned"));

    // And one tap the other way round: then nothing can go.
    let told = say(shop, &second, "keep", "It goes there").await.ok();
    let other = told.forms(".notice form").remove(1).press("Follow this pin, take the other back");
    let followed = shop.submit(other).await.ok().without_ids();
    assert!(headings(&followed).is_empty());
    assert!(!followed.has(".notice form"));
    assert!(followed.text(&format!("[id='lot-{second}']")).contains("pinned"));
    assert!(!followed.text(&format!("[id='lot-{first}']")).contains("pinned"));
    // Sent once more from a page that is still open, it is no fault.
    shop.submit(told.forms(".notice form").remove(1)).await.ok();
}

async fn several_pins_that_cannot_be_followed_go_with_one_tap(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    let far = shop.far_yard(&[("brass-yellow", "2.00/lb")]).await;
    for label in ["Bag 1", "Bag 2"] {
        let lot = shop.filled(label, "copper-2", "20 lb").await;
        say(shop, &lot, far.as_str(), "It goes there").await.ok();
    }
    let told = plan(shop).await;
    assert_eq!(told.texts(".notice li p").len(), 2);
    assert_eq!(headings(&told), ["Quay Metals 102.60 USD"]);
    let all = told.forms(".notice form").remove(2).press("Take back all 2 pins that cannot be followed");
    let without = shop.submit(all).await.ok().without_ids();
    assert!(!without.has(".notice"));
    assert_eq!(headings(&without), ["Quay Metals 102.60 USD"]);
    assert!(shop.store.plan_choices(&shop.id).await.expect("choices").pins.is_empty());
}

async fn only_pins_of_this_shop_are_taken_back(shop: &TestShop) {
    let far = shop.far_yard(&[("copper-1", "3.60/lb")]).await;
    let lot = shop.filled("Bag 1", "copper-2", "40 lb").await;
    let told = say(shop, &lot, far.as_str(), "It goes there").await.ok();
    let form = told.form(".notice form");
    // Next door pins what it likes; this shop's form does not reach it.
    let by = shop.open_another().await;
    shop.store.unpin(&by, &[lot.as_str().into()]).await.expect("nothing of its own is there");
    assert_eq!(shop.store.plan_choices(&shop.id).await.expect("choices").pins.len(), 1);
    // A lot that there is not, and a form without any.
    shop.submit(form.clone().forge("lot", &new_id())).await.ok();
    assert_eq!(shop.store.plan_choices(&shop.id).await.expect("choices").pins.len(), 1);
    let mut cut = form.clone();
    cut.fields.retain(|field| field.name != "lot");
    assert_eq!(shop.submit(cut).await.status, StatusCode::BAD_REQUEST);
    shop.submit(form).await.ok();
    assert!(shop.store.plan_choices(&shop.id).await.expect("choices").pins.is_empty());
}

async fn a_table_that_does_not_increase_is_refused_by_line(shop: &TestShop) {
    let carrier = shop.carrier().await;
    let form =
        shop.get(&format!("/freight/services/{carrier}/edit")).await.ok().form("form[action^='/freight']");
    let refused = shop.submit(form.set("table", "zone: 4\n5 lb, 8\n3 lb, 12\n3 lb, 9\n")).await;
    let said = refused.text("main").replace('\u{a0}', " ");
    assert!(said.contains("Line 3: 3 lb is not heavier than 5 lb on line 2."), "{said}");
    assert!(said.contains("Line 4: 3 lb has a charge on line 3 already."), "{said}");
}

async fn a_table_with_a_gap_is_doubted_where_it_is_leant_on(shop: &TestShop) {
    let carrier = shop.carrier().await;
    shop.outlet(&buyer("Board House", &carrier), &[("board-set-top", "2.00/lb")]).await;
    shop.filled("Bag 1", "board-set-top", "39 lb").await;
    assert!(!plan(shop).await.says("Leans on a freight table to look at"));
    let form =
        shop.get(&format!("/freight/services/{carrier}/edit")).await.ok().form("form[action^='/freight']");
    let gappy = "zone: 4\n1 lb, 5\n2 lb, 6\n38 lb, 30\n39 lb, 31\n40 lb, 29\n";
    shop.submit(form.set("table", gappy)).await.ok();
    let told = plan(shop).await.text(".ticket.attention").replace('\u{a0}', " ");
    assert!(told.contains("Leans on a freight table to look at"), "{told}");
    assert!(
        told.contains("Lake Parcel : Nothing stands between row 2 and row 3. Was a row left out?"),
        "{told}"
    );
    assert!(told.contains("Row 5 costs less than row 4."), "{told}");
}

async fn costs_so_high_that_all_is_kept_are_said(shop: &TestShop) {
    shop.near_yard(&[("copper-2", "3.00/lb")]).await;
    shop.change_shop(|settings| settings.costs.truck_per_km = dec!(1000)).await;
    shop.filled("Bag 1", "copper-2", "40 lb").await;
    let page = plan(shop).await;
    assert_eq!(notices(&page), ["No delivery leaves more than keeping everything."]);
    assert!(headings(&page).is_empty());
    assert!(page.text(".chosen .stamp").contains("proved best"));
}
