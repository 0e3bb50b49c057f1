//! Weigh in: a scale reading goes on a bag.

use crate::common::{TestShop, mass, on_both};

on_both![a_reading_is_read_back_and_only_then_counts];

async fn a_reading_is_read_back_and_only_then_counts(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "board-set-top").await;

    let page = shop.get(&format!("/lots/{lot}/weigh")).await.ok();
    let echo = shop.submit(page.form("form[action$='/weigh']").set("reading", "2 lb 5 oz")).await.ok();
    assert_eq!(echo.text(".figure.huge"), "2 lb 5.0 oz");
    // 37 oz at 28.349523125 g exactly (NIST SP 811, appendix B.8) are 1048.93 g.
    assert!(echo.text(".chosen").contains("1.049 kg"), "{}", echo.text(".chosen"));
    assert!(shop.lot(&lot).await.net.is_zero());

    let receipt = shop.submit(echo.form("form[action$='/weighings']")).await.ok();
    assert_eq!(receipt.text(".figure.huge"), "2 lb 5.0 oz");
    assert_eq!(shop.lot(&lot).await.net, mass("2 lb 5 oz"));
}
