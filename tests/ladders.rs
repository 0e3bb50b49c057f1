//! Three lots of the demo at three outlets, worked out by hand, against the figures that their pages show.
//!
//! The hand's figures come from the readable files in `seed/demo` alone: lots, boxes, services, outlets' terms, rates, and
//! the newest sheet of each outlet. Factors of NIST Handbook 44 Appendix C: 1 lb is 0.45359237 kg and 16 oz, 1 in is
//! 2.54 cm. It is arithmetic and no database's, so one database will do.

use std::collections::BTreeMap;

use jiff::Timestamp;
use pennyweight::demo;
use pennyweight::secret::Token;
use pennyweight::store::sessions::{NewSession, begin_session};
use pennyweight::store::{By, Place, Store, new_id};
use tokio::sync::OnceCell;

use crate::common::{Page, phone_to};

/// The demo's page of the lot with this label. All three are opened at once, because filling the demo takes a while.
async fn lot_page(label: &str) -> Page {
    PAGES.get_or_init(lot_pages).await[label].clone()
}

static PAGES: OnceCell<BTreeMap<&str, Page>> = OnceCell::const_new();

async fn lot_pages() -> BTreeMap<&'static str, Page> {
    let folder = tempfile::tempdir().expect("a folder");
    let store = Store::open(&Place::File(folder.path().join("demo.db"))).await.expect("a store");
    demo::load(&store, Timestamp::now()).await.expect("the demo");
    let shop = store.shops().await.expect("it answers").remove(0);
    let names = demo::accounts().expect("the demo").0;
    let account = store.account(&shop.id, &names[0]).await.expect("it answers").expect("a partner");
    let by = By { shop_id: shop.id.clone(), partner_id: account.partner.id, at: Timestamp::now() };
    // By the terms alone: what settlements teach is checked elsewhere.
    store.let_learn(&by, false).await.expect("it is saved");
    let token = Token::random();
    let mut tx = store.begin().await.expect("a transaction");
    let session = NewSession { id: &new_id(), token_sha256: &token.hash(), phone: "a test" };
    begin_session(&mut tx, &by, &session).await.expect("a session");
    tx.commit().await.expect("it is saved");
    let phone = phone_to(&store);
    phone.sign_in(&token);
    let lots = store.open_lots(&shop.id).await.expect("lots");
    let mut pages = BTreeMap::new();
    for label in ["Drum 1", "Bag 2", "Bag 3"] {
        let lot = lots.iter().find(|lot| lot.container_label == label).expect("the lot");
        pages.insert(label, phone.get(&format!("/lots/{}", lot.id)).await.ok());
    }
    store.close().await;
    pages
}

/// The steps under an outlet's name, each as its words and its amount in home currency.
fn ladder(page: &Page, outlet: &str) -> Vec<String> {
    let heads = page.texts("details.working > summary");
    let nth = heads.iter().position(|head| head.starts_with(outlet));
    let nth = nth.unwrap_or_else(|| panic!("{outlet} is not among {heads:?}")) + 1;
    let mut steps = page.texts(&format!("details.working:nth-of-type({nth}) .ladder > li .head"));
    steps.insert(0, heads[nth - 1].clone());
    steps
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn bright_copper_at_the_far_yard() {
    // Drum 1: 8 lb 9.5 + 9 lb 8.5 + 9 lb 12.5 + 10 lb 1 oz = 36 lb 31.5 oz = 37.96875 lb. Port Ansel pays 4.22 USD/lb:
    //   37.96875 × 4.22                                        160.228125
    //   75 km there, 75 back: 150 × 0.42 = 63.00, and 170 min at 18 an hour = 51.00: −114.00
    //   three days at 10 % a year on what is paid: 160.228125 × 0.10 × 3 / 365 = −0.131694
    //   net 46.096431, over 37.96875 lb 1.2140…
    let page = lot_page("Drum 1").await;
    assert_eq!(
        ladder(&page, "Port Ansel Nonferrous"),
        [
            "Port Ansel Nonferrous 46.10 USD",
            "At the sheet's price 160.23 USD",
            "The drive −114.00 USD",
            "Waiting for the money −0.13 USD",
            "Net to the shop 46.10 USD",
        ]
    );
    assert!(page.says("1.21 USD/lb net, with the whole trip or shipment paid by this lot."));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn main_boards_by_mail() {
    // Bag 3: 8 lb 6.5 + 5 lb 11.5 + 6 lb 9 oz, and 1 lb 5.5 + 1 lb 8 oz from the bench = 23.53125 lb, and 2.78 + 1.9 kg =
    // 4.68 / 0.45359237 = 10.317634 lb: 33.848884 lb. Halyard pays 3.20 USD/lb:
    //   33.848884 × 3.20                                       108.316429
    //   1 % of the weight                                       −1.083164, leaves 107.233265
    //   8 % of loads lose 30 %: 2.4 % of that                   −2.573598, paid 104.659667
    // 4.68 + 23.53125 × 0.45359237 = 15.353595 kg loose at 0.22 kg/L are 69.8 L: more than two file boxes (2 × 29.5 L) or
    // two cubes (2 × 28.3 L) hold, and 18 × 18 × 16 in hold 84.9 L. That box weighs 2.25 lb, so 36.098884 lb in all; its
    // outside, 18.5 × 18.5 × 16.7 in to the nearest inch, is 19 × 19 × 17 = 6137 in3, over 166 that is 36.97, so 37 lb.
    // Heron Mail, near, up to 40 lb:                           −31.10 (Lakeline, zone 3: 45 lb by 139, 32.60 × 1.145)
    //   the box −2.60; 12 min at 18 an hour −3.60
    //   insurance 0.6 % of 104.659667                           −0.627958
    //   twelve days: 104.659667 × 0.10 × 12 / 365               −0.344087
    //   net 66.387622
    let page = lot_page("Bag 3").await;
    assert_eq!(
        ladder(&page, "Halyard Board Buyers"),
        [
            "Halyard Board Buyers 66.39 USD",
            "At the sheet's price 108.32 USD",
            "Tare and moisture taken off −1.08 USD",
            "Chance of a downgrade −2.57 USD",
            "Freight −31.10 USD",
            "Boxes −2.60 USD",
            "Packing time −3.60 USD",
            "Insurance −0.63 USD",
            "Waiting for the money −0.34 USD",
            "Net to the shop 66.39 USD",
        ]
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn server_boards_across_the_border() {
    // Bag 2: 7.9 lb + 12 lb 5 oz + 10 lb = 30.2125 lb = 13.704159 kg, and 3.4 kg: 17.104159 kg. Val-Perdrix pays 14.20
    // CAD/kg, and a US dollar is 1.3605 CAD:
    //   17.104159 × 14.20 = 242.879064 CAD, over 1.3605         178.522
    //   1 % of the weight: 2.428791 CAD                         −1.785
    //   6 % of loads lose 30 %: 1.8 % of 240.450273 = 4.328105 CAD  −3.181
    //   paid 236.122168 CAD, 173.555434 USD; 2.2 % at the bank  −3.818220
    //   the payment                                             −12.00, received 157.737214
    // The same box as above weighs 1.020583 kg: 18.124742 kg. Outside 47 × 47 × 43 cm (46.99, 46.99 and 42.418, each up) =
    // 94987 cm3, over 5000 that is 18.9974, so 19.0 kg. Up to 20 kg: 40.50 × 1.18 + 1.75 for customs data = −49.54
    //   the box −2.60; 18 min −5.40; the border −24.00
    //   insurance 0.8 % of 173.555434                           −1.388443
    //   eighteen days: 157.737214 × 0.10 × 18 / 365             −0.777882
    //   net 74.030889
    let page = lot_page("Bag 2").await;
    assert_eq!(
        ladder(&page, "Circuits Val-Perdrix"),
        [
            "Circuits Val-Perdrix 74.03 USD",
            "At the sheet's price 178.52 USD",
            "Tare and moisture taken off −1.79 USD",
            "Chance of a downgrade −3.18 USD",
            "Lost in exchange −3.82 USD",
            "Fee to get paid −12.00 USD",
            "Freight −49.54 USD",
            "Boxes −2.60 USD",
            "Packing time −5.40 USD",
            "Border and paperwork −24.00 USD",
            "Insurance −1.39 USD",
            "Waiting for the money −0.78 USD",
            "Net to the shop 74.03 USD",
        ]
    );
    assert!(page.says("17.104 kg Server boards × 14.20 CAD/kg = 242.88 CAD"));
    assert!(page.says("236.12 CAD at 0.735024 USD/CAD"));
}
