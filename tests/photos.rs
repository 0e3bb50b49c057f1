//! Photos: sent from a phone, kept small and without what the camera wrote into them, looked at and taken away.

use std::io::Cursor;
use std::path::Path;

use axum::body::Body;
use axum::http::StatusCode;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, ORIGIN};
use image::{ImageFormat, Rgb, RgbImage};
use jiff::{SignedDuration, Timestamp};
use pennyweight::reader::{self, PhotoError};
use pennyweight::store::new_id;
use pennyweight::store::photos::Subject;

use crate::common::{Form, Page, SHOP_HOST, TestShop, on_both};

on_both![
    a_photo_is_kept_without_where_it_was_taken,
    sent_twice_it_is_kept_once,
    twenty_megabytes_are_made_small,
    what_is_no_photo_is_a_clear_page_and_leaves_nothing,
    taken_away_its_bytes_are_gone,
    the_same_picture_of_two_lots_stays_for_the_other,
    a_photo_of_another_shop_is_not_there,
    photos_come_in_from_a_phone_that_kept_them,
];

/// Bright on its left and dark on its right.
fn picture(width: u32, height: u32) -> RgbImage {
    RgbImage::from_fn(width, height, |x, _| if x < width / 2 { Rgb([240; 3]) } else { Rgb([15; 3]) })
}

fn encoded(picture: &RgbImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, format).expect("a picture");
    bytes.into_inner()
}

/// A JPEG as a phone takes it: lying on its side, with Exif (CIPA DC-008) that says so (tag 0x0112) and where the phone
/// stood (0x8825, a directory of its own: 0x0001 the half of the earth, 0x0002 the latitude in degrees, minutes, seconds).
pub fn from_a_phone() -> Vec<u8> {
    let plain = encoded(&picture(640, 480), ImageFormat::Jpeg);
    let short = |value: u16| value.to_be_bytes();
    let long = |value: u32| value.to_be_bytes();
    let mut exif = b"Exif\0\0MM\0*\0\0\0\x08".to_vec();
    exif.extend(short(2));
    exif.extend([short(0x0112), short(3)].concat());
    exif.extend([long(1), [0, 6, 0, 0]].concat());
    exif.extend([short(0x8825), short(4)].concat());
    exif.extend([long(1), long(38), long(0)].concat());
    // At 38 from the start of the TIFF.
    exif.extend(short(2));
    exif.extend([short(0x0001), short(2)].concat());
    exif.extend([long(2), *b"N\0\0\0"].concat());
    exif.extend([short(0x0002), short(5)].concat());
    exif.extend([long(3), long(68), long(0)].concat());
    exif.extend([45u32, 1, 46, 1, 1234, 100].map(u32::to_be_bytes).concat());
    exif.extend(b"PhoneOfImke");
    let length = u16::try_from(exif.len() + 2).expect("a short segment");
    [&plain[..2], &[0xff, 0xe1], &length.to_be_bytes(), &exif, &plain[2..]].concat()
}

fn holds(bytes: &[u8], words: &[u8]) -> bool {
    bytes.windows(words.len()).any(|window| window == words)
}

fn form_of(page: &Page) -> Form {
    page.form("#photos form")
}

async fn send(shop: &TestShop, lot: &str, name: &str, bytes: impl Into<Vec<u8>>) -> Page {
    let page = shop.get(&format!("/lots/{lot}")).await.ok();
    shop.submit(form_of(&page).attach("file", name, "image/jpeg", bytes)).await
}

async fn files(shop: &TestShop) -> usize {
    shop.everything().await.iter().filter(|row| row.starts_with("files: ")).count()
}

async fn a_photo_is_kept_without_where_it_was_taken(shop: &TestShop) {
    let lot = shop.filled("Bag 1", "copper-2", "20 lb").await;
    let original = from_a_phone();
    assert!(holds(&original, b"PhoneOfImke") && holds(&original, &[0x88, 0x25]));
    let page = send(shop, &lot, "IMG_0001.JPG", original).await.ok().without_ids();
    let small = page.attributes("#photos img", "src").remove(0);
    let photo = shop.get(&page.attributes("#photos .album a", "href")[0]).await.ok().without_ids();
    assert_eq!(photo.text("h1"), "Bag 1: No. 2 copper");
    assert!(photo.text("figcaption").contains("by Imke"));
    // Upright: it was held on its side.
    assert_eq!(photo.attributes("main img", "width"), ["480"]);
    for address in [photo.attributes("main img", "src").remove(0), small] {
        let answer =
            shop.phone().request("GET", &address).body(axum::body::Body::empty()).expect("a request");
        let answer = shop.phone().answer(answer).await;
        assert_eq!(answer.headers()[CONTENT_TYPE], "image/jpeg");
        assert!(answer.headers()[CACHE_CONTROL].to_str().expect("text").starts_with("private"));
        let bytes = axum::body::to_bytes(answer.into_body(), 1 << 20).await.expect("the picture");
        let kept = image::load_from_memory(&bytes).expect("a picture").into_luma8();
        let (width, height) = kept.dimensions();
        assert!(height > width);
        assert!(kept.get_pixel(width / 2, 4).0[0] > 200 && kept.get_pixel(width / 2, height - 4).0[0] < 60);
        for written in [b"Exif".as_slice(), b"PhoneOfImke", &[0x88, 0x25]] {
            assert!(!holds(&bytes, written), "{address} still holds {written:?}");
        }
    }
    assert!(shop.get("/activity").await.ok().says("photographed"));
}

async fn sent_twice_it_is_kept_once(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let page = shop.get(&format!("/lots/{lot}")).await.ok();
    let form =
        form_of(&page).attach("file", "a.png", "image/png", encoded(&picture(40, 30), ImageFormat::Png));
    let (first, second) = tokio::join!(shop.submit(form.clone()), shop.submit(form.clone()));
    for page in [first, second, shop.submit(form.clone()).await] {
        assert_eq!(page.ok().texts("#photos .album li").len(), 1);
    }
    // The same picture once more, under another number.
    shop.submit(form.forge("id", &new_id())).await.ok();
    assert_eq!(shop.store.photos(&shop.id, Subject::Lot, &lot).await.expect("photos").len(), 1);
    assert_eq!(files(shop).await, 2);
}

async fn twenty_megabytes_are_made_small(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    // Noise cannot be packed, so the file is as large as its pixels.
    let mut state = 1u32;
    let noise = RgbImage::from_fn(2600, 2600, |_, _| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let [a, b, c, _] = state.to_be_bytes();
        Rgb([a, b, c])
    });
    let large = encoded(&noise, ImageFormat::Png);
    assert!((19 << 20..20 << 20).contains(&large.len()), "{}", large.len());
    let page = send(shop, &lot, "large.png", large.clone()).await.ok();
    assert_eq!(page.texts("#photos .album li").len(), 1);
    let photo = shop.store.photos(&shop.id, Subject::Lot, &lot).await.expect("photos").remove(0);
    assert_eq!((photo.width, photo.height), (2000, 2000));
    let kept = shop.store.file(&shop.id, &photo.sha256).await.expect("its file").bytes.len();
    assert!(kept < 6 << 20, "{kept}: noise packs worst of all");

    let too_large = [large, vec![0; 2 << 20]].concat();
    let refused = send(shop, &lot, "larger.png", too_large).await;
    assert_eq!(refused.status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(refused.says("It is over 20 MB. Nothing was saved."));
    assert_eq!(files(shop).await, 2);
}

async fn what_is_no_photo_is_a_clear_page_and_leaves_nothing(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let before = shop.everything().await;
    let whole = encoded(&picture(640, 480), ImageFormat::Jpeg);
    let gif = b"GIF89a\x01\0\x01\0\0\0\0!\xf9\x04\0\0\0\0\0,\0\0\0\0\x01\0\x01\0\0\x02\x01\0;".to_vec();
    for (name, bytes, words) in [
        ("prices.jpg", b"Item,Price\nNo. 2 copper,3.60\n".to_vec(), "That is no photo in JPEG, PNG or WebP"),
        ("page.png", b"<script>alert(1)</script>".to_vec(), "That is no photo in JPEG, PNG or WebP"),
        ("moving.jpg", gif, "That is no photo in JPEG, PNG or WebP"),
        (
            "IMG_7.HEIC",
            b"\0\0\0\x18ftypheic\0\0\0\0mif1heic\0\0".to_vec(),
            "Set the phone’s camera to its most compatible",
        ),
        ("half.jpg", whole[..200].to_vec(), "The photo is damaged"),
        ("empty.jpg", Vec::new(), "The file is empty"),
    ] {
        let refused = send(shop, &lot, name, bytes).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{name}: {}", refused.text("main"));
        assert!(refused.says(words), "{name}: {}", refused.text("main"));
    }
    let page = shop.get(&format!("/lots/{lot}")).await.ok();
    let refused = shop.submit(form_of(&page)).await;
    assert!(refused.says("No photo was chosen"), "{}", refused.text("main"));
    let numberless = form_of(&page).attach("file", "a.jpg", "image/jpeg", whole.clone()).forge("id", "x");
    assert_eq!(shop.submit(numberless).await.status, StatusCode::BAD_REQUEST);
    assert_eq!(shop.everything().await, before);
}

async fn taken_away_its_bytes_are_gone(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let page = send(shop, &lot, "a.jpg", from_a_phone()).await.ok();
    assert_eq!(files(shop).await, 2);
    let photo = shop.get(&page.attributes("#photos .album a", "href")[0]).await.ok();
    let remove = photo.form("form[action$='/remove']");
    let page = shop.submit(remove.clone()).await.ok();
    assert!(!page.has("#photos img"));
    assert_eq!(files(shop).await, 0);
    assert_eq!(shop.submit(remove).await.status, StatusCode::NOT_FOUND);
    assert_eq!(shop.get(&photo.url).await.status, StatusCode::NOT_FOUND);
}

async fn the_same_picture_of_two_lots_stays_for_the_other(shop: &TestShop) {
    let (one, two) = (shop.bag("Bag 1", "copper-2").await, shop.bag("Bag 2", "copper-2").await);
    let first = send(shop, &one, "a.jpg", from_a_phone()).await.ok();
    let second = send(shop, &two, "b.jpg", from_a_phone()).await.ok();
    let photo = shop.get(&first.attributes("#photos .album a", "href")[0]).await.ok();
    shop.submit(photo.form("form[action$='/remove']")).await.ok();
    assert_eq!(files(shop).await, 2);
    let other = second.attributes("#photos img", "src").remove(0);
    assert_eq!(shop.get(&other).await.status, StatusCode::OK);
}

async fn a_photo_of_another_shop_is_not_there(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let page = send(shop, &lot, "a.jpg", from_a_phone()).await.ok();
    let photo = shop.store.photos(&shop.id, Subject::Lot, &lot).await.expect("photos").remove(0);
    let next_door = shop.open_another().await;
    assert!(shop.store.photo(&next_door.shop_id, &photo.id).await.is_err());
    assert!(shop.store.remove_photo(&next_door, &photo.id).await.is_err());
    // Nor can one be hung on a lot of theirs.
    let mut strange = form_of(&page).attach("file", "b.jpg", "image/jpeg", from_a_phone());
    strange.action = format!("/lots/{}/photos", new_id());
    assert_eq!(shop.submit(strange).await.status, StatusCode::NOT_FOUND);
    assert_eq!(files(shop).await, 2);
}

/// Sends the bytes of a photo as a phone does that kept them while the wifi was away.
async fn send_kept(shop: &TestShop, address: &str, bytes: Vec<u8>) -> Page {
    let request = shop
        .phone()
        .request("POST", address)
        .header(CONTENT_TYPE, "image/jpeg")
        .header(ORIGIN, format!("http://{SHOP_HOST}"))
        .header("x-form-token", shop.phone().form_token().expect("somebody is signed in"));
    shop.phone().send(request.body(Body::from(bytes)).expect("a request")).await
}

async fn photos_come_in_from_a_phone_that_kept_them(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    // To the millisecond, as everything is stamped.
    let taken = Timestamp::now() - SignedDuration::from_hours(30);
    let taken = Timestamp::from_millisecond(taken.as_millisecond()).expect("a time");
    let id = new_id();
    let address = format!("/api/v1/lots/{lot}/photos?id={id}&at={taken}");
    let (first, second) =
        tokio::join!(send_kept(shop, &address, from_a_phone()), send_kept(shop, &address, from_a_phone()));
    for answer in [first, second, send_kept(shop, &address, from_a_phone()).await] {
        assert_eq!(answer.status, StatusCode::OK, "{answer}: {}", answer.body);
    }
    let kept = shop.store.photos(&shop.id, Subject::Lot, &lot).await.expect("photos");
    assert_eq!(kept.iter().map(|photo| (&photo.id, photo.at)).collect::<Vec<_>>(), [(&id, taken)]);

    let before = shop.everything().await;
    let to = |rest: &str| format!("/api/v1/{rest}");
    let id = new_id();
    for (address, bytes, status, words) in [
        (to(&format!("lots/{lot}/photos?id={id}")), b"GIF89a".to_vec(), 422, "no photo in JPEG, PNG or WebP"),
        (to(&format!("lots/{lot}/photos?id={id}")), Vec::new(), 422, "The file is empty"),
        (to(&format!("lots/{lot}/photos?id={id}")), vec![0; (20 << 20) + 1], 413, "over 20 MB"),
        (to(&format!("lots/{lot}/photos?id=7")), from_a_phone(), 400, "UUID"),
        (to(&format!("lots/{lot}/photos")), from_a_phone(), 400, "id"),
        (to(&format!("lots/{id}/photos?id={id}")), from_a_phone(), 404, "removed"),
        (to(&format!("pickups/{lot}/photos?id={id}")), from_a_phone(), 404, "removed"),
        (to(&format!("runs/stops/{lot}/photos?id={id}")), from_a_phone(), 404, "removed"),
    ] {
        let answer = send_kept(shop, &address, bytes).await;
        assert_eq!(answer.status.as_u16(), status, "{address}: {}", answer.body);
        assert!(answer.body.contains(words), "{address}: {}", answer.body);
    }
    assert_eq!(shop.everything().await, before);
}

#[tokio::test]
async fn the_child_makes_photos_small_and_a_bomb_ends_it_alone() {
    let program = Path::new(env!("CARGO_BIN_EXE_pennyweight"));
    let kept = reader::shrink(program, &from_a_phone()).await.expect("a photo");
    assert_eq!((kept.width, kept.height), (480, 640));
    assert!(image::load_from_memory(&kept.small).is_ok());
    // 15,000 × 15,000 pixels of one shade: a megabyte that would be 225 MB in gray alone.
    let mut bomb = Cursor::new(Vec::new());
    image::GrayImage::new(15_000, 15_000).write_to(&mut bomb, ImageFormat::Png).expect("a picture");
    assert!(bomb.get_ref().len() < 2 << 20, "{}", bomb.get_ref().len());
    let refused = reader::shrink(program, bomb.get_ref()).await.expect_err("it is too large");
    assert!(refused.to_string().contains("more pixels than this box can take in"), "{refused}");
    // Programs that are no reader.
    for other in ["/bin/false", "/bin/true", "/usr/bin/yes"] {
        let error = reader::shrink(Path::new(other), b"\xff\xd8").await.expect_err("it reads nothing");
        assert!(matches!(error, PhotoError::BeyondLimits), "{other}: {error}");
    }
}
