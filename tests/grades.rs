//! Grades: what is it, how do I tell it, and what is it mistaken for?

use axum::http::StatusCode;
use pennyweight::catalogue::{End, GRADES, RECOGNISER};
use pennyweight::store::lots::LotRefusal;

use crate::common::{Form, Page, TestShop, on_both};

on_both![
    the_list_goes_by_family_and_is_searched,
    a_grades_page_says_how_to_tell_it_and_where_that_is_from,
    every_grade_of_the_catalogue_has_a_page,
    the_lots_of_a_grade_stand_on_its_page,
    a_grade_is_added_and_used,
    a_slug_that_cannot_be_is_refused_with_what_was_typed_kept,
    sent_twice_a_grade_is_there_once,
    a_grade_is_renamed_and_its_lots_show_the_new_name,
    two_partners_change_one_grade,
    a_retired_grade_keeps_its_lots_and_takes_no_new_ones,
    the_recogniser_asks_until_a_grade_is_left,
    every_end_of_the_recogniser_is_a_page,
    the_recogniser_uses_the_shops_own_names,
    hostile_answers_are_told_plainly,
    grades_that_came_later_are_added_and_nothing_is_overwritten,
];

const EDIT: &str = "form[action$='/edit']";

async fn the_list_goes_by_family_and_is_searched(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    shop.put(&lot, "2 lb 8 oz").await;
    let list = shop.get("/grades").await.ok();
    let families = list.texts("h2.family");
    assert_eq!(families[..3], ["Copper", "Wire", "Aluminium"]);
    assert_eq!(list.texts("ul a.ticket").len(), GRADES.len());
    assert_eq!(list.texts("ul a.ticket .number"), ["2 lb 8.0 oz"], "what is on the shelf, and nothing else");

    // ISRI Scrap Specifications Circular: Birch is No. 2 copper.
    for find in ["birch", "no. 2 COPPER", "copper-2"] {
        let page = shop.submit(list.form("form[role=search]").set("find", find)).await.ok();
        assert!(page.texts("ul a.ticket strong").contains(&"No. 2 copper".to_string()), "{find}");
        assert!(page.texts("ul a.ticket").len() < 10, "{find}");
        assert_eq!(page.form("form[role=search]").value("find"), find);
    }
    let none = shop.submit(list.form("form[role=search]").set("find", "<b>unobtainium")).await.ok();
    assert!(none.text("main").contains("No grade answers to “<b>unobtainium”"));
}

async fn a_grades_page_says_how_to_tell_it_and_where_that_is_from(shop: &TestShop) {
    let page = shop.get("/grades/copper-2").await.ok();
    assert_eq!(page.text("h1"), "No. 2 copper");
    assert!(page.has(".caution svg[aria-label]"), "a sign");
    assert!(page.text(".caution").contains("Caution."), "and words");
    let main = page.text("main");
    assert!(main.find("Caution.") < main.find("How to recognise it"), "the danger comes first");
    assert!(main.contains("“Birch”: 96 % copper") && main.contains("ISRI Scrap Specifications Circular"));
    // 1.10 g/cm3 × 28,316.846592 cm3 in a cubic foot / 453.59237 g in a pound (NIST SP 811) = 68.67 lb.
    assert!(main.contains("1.10 g/cm³. Loose, a cubic foot of it weighs about 69 lb."), "{main}");
    let confused = shop.get(&page.link("No. 1 copper")).await.ok();
    assert_eq!(confused.url, "/grades/copper-1");

    assert!(shop.get("/grades/wire-80").await.ok().text("main").contains("80 % of its weight is conductor"));
    for address in ["/grades/no-such-grade", "/grades/%01", "/grades/Copper/edit"] {
        let missing = shop.get(address).await;
        assert_eq!(missing.status, StatusCode::NOT_FOUND, "{address}");
        assert_eq!(missing.text("h1"), "There is no such grade");
    }
}

async fn every_grade_of_the_catalogue_has_a_page(shop: &TestShop) {
    for grade in GRADES.iter() {
        let page = shop.get(&format!("/grades/{}", grade.slug)).await.ok();
        assert_eq!(page.text("h1"), grade.details.name);
        assert_eq!(page.has(".caution"), grade.details.notes.caution.is_some(), "{}", grade.slug);
        let edit = shop.get(&format!("/grades/{}/edit", grade.slug)).await.ok();
        // Saved as it came, nothing of it changes.
        shop.submit(edit.form(EDIT)).await.ok();
        let stored = shop.store.grade(&shop.id, grade.slug.as_str()).await.expect("the grade");
        assert_eq!(stored.details, grade.details);
        assert_eq!(stored.version, 2);
    }
}

async fn the_lots_of_a_grade_stand_on_its_page(shop: &TestShop) {
    let lot = shop.bag("Bag 7", "copper-2").await;
    shop.put(&lot, "3 lb").await;
    shop.bag("Bag 8", "copper-1").await;
    let page = shop.get("/grades/copper-2").await.ok();
    assert!(page.text("main").contains("Bag 7 3 lb 0.0 oz") && !page.says("Bag 8"));
    assert_eq!(page.link("Weigh in on Bag 7"), format!("/lots/{lot}/weigh"));
    let form = shop.get(&page.link("Open a bag of it")).await.ok().form("form[action='/lots/new']");
    assert_eq!(form.value("grade"), "copper-2");
}

/// The form for a new grade, filled in as far as it has to be.
async fn new_grade(shop: &TestShop, name: &str) -> Form {
    let page = shop.get("/grades/new").await.ok();
    page.form("form[action='/grades/new']")
        .set("name", name)
        .set("family", "boards")
        .set("summary", "Boards out of doorbells.")
        .set("bulk_density", "0.25")
        .set("bulk_density_source", "weighed here")
}

async fn a_grade_is_added_and_used(shop: &TestShop) {
    let form = new_grade(shop, "Doorbell boards, No. 3")
        .await
        .set("recognise", "magnet: pulls at the speaker: strongly\n\ncolour:green")
        .set("confused-0", "board-set-top")
        .set("tell-0", "Those have a tuner can.")
        .set("spoils", "Batteries left in\nRain")
        .set("caution", "The cell inside burns.")
        .set("spec_code", "Ding")
        .set("spec_nominal", "no cases")
        .set("spec_source", "a buyer’s page")
        .set("recovery", "12,5");
    let page = shop.submit(form).await.ok();
    assert_eq!(page.url, "/grades/doorbell-boards-no-3", "the slug comes from the name");
    assert_eq!(page.text("h1"), "Doorbell boards, No. 3");
    assert_eq!(page.text(".caution p"), "Caution. The cell inside burns.");
    assert_eq!(page.texts(".tells dd")[..2], ["pulls at the speaker: strongly", "green"]);
    assert_eq!(page.link("Set-top boards"), "/grades/board-set-top");
    assert!(page.says("12.5 % of its weight is conductor"));

    let list = shop.get("/grades").await.ok();
    let names = list.texts("ul a.ticket strong");
    let at = |name: &str| names.iter().position(|known| known == name).expect("listed");
    let boards: Vec<_> = GRADES.iter().filter(|grade| grade.details.family == "boards").collect();
    let last = boards.last().expect("boards");
    assert_eq!(at("Doorbell boards, No. 3"), at(&last.details.name) + 1, "it stands last in its family");
    let lot = shop.bag("Bag 1", "doorbell-boards-no-3").await;
    assert_eq!(shop.lot(&lot).await.grade_name, "Doorbell boards, No. 3");
}

async fn a_slug_that_cannot_be_is_refused_with_what_was_typed_kept(shop: &TestShop) {
    for (slug, problem) in [
        ("Doorbell", "Lowercase words"),
        ("door--bell", "Lowercase words"),
        ("../shop", "Lowercase words"),
        ("new", "another page"),
        ("recognise", "another page"),
        ("copper-2", "is No. 2 copper already"),
    ] {
        let form = new_grade(shop, "Doorbell boards").await.set("slug", slug).set("spoils", "Rain\nSnow");
        let back = shop.submit(form).await.ok();
        assert!(back.text("#slug-problem").contains(problem), "{slug}: {}", back.text("#slug-problem"));
        let form = back.form("form[action='/grades/new']");
        assert_eq!((form.value("name"), form.value("slug")), ("Doorbell boards", slug));
        assert_eq!(form.value("spoils"), "Rain\nSnow");
    }
    for (field, value, problem) in [
        ("name", "No. 2 copper", "Another grade has that name"),
        ("name", "", "needed"),
        ("recognise", "magnet pulls", "Line 1 needs the test, a colon"),
        ("spoils", "1\n2\n3\n4\n5\n6\n7\n8\n9\n10\n11\n12\n13", "13 lines; 12 are the most"),
        ("bulk_density", "26", "between 0.001 and 25"),
        ("recovery", "101", "between 1 and 100"),
        ("spec_code", "Ding", ""),
        ("confused-0", "copper-2", ""),
    ] {
        let back =
            shop.submit(new_grade(shop, "Doorbell boards").await.set("slug", "doorbell").set(field, value));
        let back = back.await.ok();
        assert!(back.has("[role=alert]"), "{field} {value}");
        if !problem.is_empty() {
            let said = back.text(&format!("#{field}-problem"));
            assert!(said.contains(problem), "{field} {value}: {said}");
        }
    }
    let half = shop.submit(new_grade(shop, "Doorbell boards").await.set("spec_code", "Ding")).await.ok();
    assert_eq!(
        half.texts("#spec_nominal-problem, #spec_source-problem"),
        ["This is needed.", "This is needed."]
    );
    let half = shop.submit(new_grade(shop, "Doorbell boards").await.set("confused-1", "copper-2")).await.ok();
    assert!(half.text("#tell-1-problem").contains("how to tell"));
    assert_eq!(half.form("form[action='/grades/new']").value("confused-1"), "copper-2");
    assert_eq!(shop.store.grades(&shop.id).await.expect("grades").len(), GRADES.len());
}

async fn sent_twice_a_grade_is_there_once(shop: &TestShop) {
    let form = new_grade(shop, "Doorbell boards").await;
    let (first, second) = tokio::join!(shop.submit(form.clone()), shop.submit(form.clone()));
    let third = shop.submit(form).await;
    for page in [first, second, third] {
        assert_eq!(page.ok().url, "/grades/doorbell-boards");
    }
    assert_eq!(shop.store.grades(&shop.id).await.expect("grades").len(), GRADES.len() + 1);
}

async fn a_grade_is_renamed_and_its_lots_show_the_new_name(shop: &TestShop) {
    let lot = shop.bag("Bag 1", "copper-2").await;
    let page = shop.get("/grades/copper-2/edit").await.ok();
    assert!(!page.has("#slug"), "the short name stays");
    let page = shop.submit(page.form(EDIT).set("name", "Number two").set("family", "wire")).await.ok();
    assert_eq!((page.url.as_str(), page.text("h1").as_str()), ("/grades/copper-2", "Number two"));
    assert_eq!(shop.lot(&lot).await.grade_name, "Number two");
    let wire = shop.get("/grades?find=number").await.ok();
    assert_eq!(wire.texts("h2.family"), ["Wire"]);

    let taken = shop.get("/grades/copper-1/edit").await.ok().form(EDIT).set("name", "Number two");
    assert!(shop.submit(taken).await.ok().text("#name-problem").contains("Another grade has that name"));
}

async fn two_partners_change_one_grade(shop: &TestShop) {
    let other = shop.phone_of(&shop.partners[1]);
    let mine = shop.get("/grades/copper-2/edit").await.ok().form(EDIT);
    let theirs = other.get("/grades/copper-2/edit").await.ok().form(EDIT);
    other.submit(theirs.set("summary", "Theirs.").set("spoils", "Rain\nSnow")).await.ok();

    let told = shop.submit(mine.set("summary", "Mine.")).await.ok();
    assert!(told.text("[role=alert]").contains("Changed meanwhile"));
    assert!(told.texts(".stored").iter().any(|stored| stored.contains("Theirs.")));
    let stored = async || shop.store.grade(&shop.id, "copper-2").await.expect("the grade").details.summary;
    assert_eq!(stored().await, "Theirs.", "nothing is overwritten unseen");
    let form = told.form(EDIT);
    assert_eq!(form.value("summary"), "Mine.");
    shop.submit(form).await.ok();
    assert_eq!(stored().await, "Mine.");
}

async fn a_retired_grade_keeps_its_lots_and_takes_no_new_ones(shop: &TestShop) {
    for label in ["Bag 1", "Bag 2"] {
        let lot = shop.bag(label, "copper-2").await;
        shop.put(&lot, "1 lb").await;
    }
    let page = shop.get("/grades/copper-2").await.ok();
    assert!(page.says("The 2 open lots that have it keep it."), "said before it is done");
    let edit = shop.get("/grades/copper-2/edit").await.ok().form(EDIT);
    let retired = shop.submit(page.form("form[action$='/retire']")).await.ok();
    assert_eq!(retired.url, "/grades/copper-2");
    assert!(retired.text(".notice:not(.caution)").contains("2 open lots still have it and keep it"));
    assert_eq!(retired.texts("main a").iter().filter(|link| link.contains("Open a bag")).count(), 0);
    assert!(retired.link("Regrade Bag 1").ends_with("/regrade"));
    assert_eq!(shop.store.open_lots(&shop.id).await.expect("lots").len(), 2);
    assert!(shop.get("/grades?find=copper-2").await.ok().texts(".stamp").contains(&"retired".to_string()));
    // Whoever had it open to edit is told.
    assert!(shop.submit(edit).await.ok().text("[role=alert]").contains("Changed meanwhile"));
    // Retiring twice changes nothing.
    shop.submit(page.form("form[action$='/retire']")).await.ok();

    let new = shop.get("/lots/new?grade=copper-2").await.ok().form("form[action='/lots/new']");
    assert!(!new.options("grade").contains(&"copper-2".to_string()));
    let refused = shop.submit(new.forge("grade", "copper-2").set("label", "Bag 3")).await.ok();
    assert!(refused.text("[role=alert]").contains(&LotRefusal::GradeRetired.to_string()));

    let back = shop.submit(retired.form("form[action$='/return']")).await.ok();
    assert_eq!(back.url, "/grades/copper-2");
    shop.bag("Bag 3", "copper-2").await;
    let mut elsewhere = back.form("form[action$='/retire']");
    elsewhere.action = "/grades/none/retire".into();
    assert_eq!(shop.submit(elsewhere).await.status, StatusCode::NOT_FOUND);
}

async fn the_recogniser_asks_until_a_grade_is_left(shop: &TestShop) {
    let mut page = shop.get("/grades/recognise").await.ok();
    assert_eq!(page.text("h1"), "Is it a battery, a cell or a battery pack?");
    assert!(page.says("How to test:"));
    assert!(!page.says("So far"), "nothing has been answered");
    page = follow(shop, &page, "Yes").await;
    page = follow(shop, &page, "No").await;
    assert_eq!(page.url, "/grades/recognise?path=yn");
    assert_eq!(
        page.texts("ol li"),
        [
            "Is it a battery, a cell or a battery pack? Yes",
            "Is it swollen, dented, leaking, smelly or warm? No",
        ]
    );
    let back = follow(shop, &page, "Back a step").await;
    assert_eq!(back.text("h1"), "Is it swollen, dented, leaking, smelly or warm?");
    let again = follow(shop, &page, "Is it a battery").await;
    assert_eq!(again.url, "/grades/recognise?path=");

    page = follow(shop, &page, "Yes").await;
    assert_eq!(page.text("h1"), "Lead-acid batteries");
    assert!(
        page.has(".caution") && page.says("How to recognise it") && page.says("What it is confused with")
    );
    let form = follow(shop, &page, "Open a bag of it").await.form("form[action='/lots/new']");
    assert_eq!(form.value("grade"), "lead-acid");
}

async fn follow(shop: &TestShop, page: &Page, words: &str) -> Page {
    shop.get(&page.link(words)).await.ok()
}

async fn every_end_of_the_recogniser_is_a_page(shop: &TestShop) {
    let mut paths = vec![String::new()];
    let mut ends = 0;
    while let Some(path) = paths.pop() {
        match RECOGNISER.follow(&path).expect("a path of answers").end {
            End::Question(question) => {
                paths.extend(["y", "n"].map(|answer| format!("{path}{answer}")));
                let page = shop.get(&format!("/grades/recognise?path={path}")).await.ok();
                assert_eq!(page.text("h1"), question.ask);
                for (words, answer) in [("Yes", 'y'), ("No", 'n')] {
                    assert_eq!(page.link(words), format!("/grades/recognise?path={path}{answer}"));
                }
            }
            End::Grade(grade) => {
                ends += 1;
                let page = shop.get(&format!("/grades/recognise?path={path}")).await.ok();
                assert_eq!(page.attributes("h1 a", "href"), [format!("/grades/{grade}")]);
                assert!(page.has(&format!("a[href='/lots/new?grade={grade}']")));
                assert_eq!(page.texts("ol li").len(), path.len());
            }
        }
    }
    assert!(ends >= 60, "{ends} ends");
}

async fn the_recogniser_uses_the_shops_own_names(shop: &TestShop) {
    let edit = shop.get("/grades/lead-acid/edit").await.ok().form(EDIT);
    shop.submit(edit.set("name", "Lead bricks")).await.ok();
    let page = shop.get("/grades/recognise?path=yny").await.ok();
    assert_eq!(page.text("h1"), "Lead bricks");

    shop.retire_grade("lead-acid").await;
    let page = shop.get("/grades/recognise?path=yny").await.ok();
    assert!(page.says("Retired.") && !page.has("a[href^='/lots/new']"));

    let mut connection = shop.connect().await;
    sqlx::query("DELETE FROM grades WHERE id = 'lead-acid'").execute(&mut connection).await.expect("deleted");
    let page = shop.get("/grades/recognise?path=yny").await.ok();
    assert!(page.text(".notice").contains("The shop does not have this grade"));
    assert_eq!(page.link("Back a step"), "/grades/recognise?path=yn");
}

async fn hostile_answers_are_told_plainly(shop: &TestShop) {
    let long = "n".repeat(5000);
    for (path, says) in [
        ("yyy", "more answers than questions"),
        (long.as_str(), "more answers than questions"),
        ("ynx", "“x” is no answer"),
        ("%3Cscript%3E", "“<” is no answer"),
        ("%FF%01", "is no answer"),
        ("%F0%9F%94%8B", "“🔋” is no answer"),
        ("yn&path=yy&other=1", ""),
    ] {
        let page = shop.get(&format!("/grades/recognise?path={path}")).await;
        if says.is_empty() {
            assert_eq!(page.ok().texts("ol li").len(), 2, "the first of two paths counts");
            continue;
        }
        assert_eq!(page.status, StatusCode::BAD_REQUEST, "{path}");
        assert!(page.text("[role=alert]").contains(says), "{path}: {}", page.text("[role=alert]"));
        assert_eq!(page.text("h1"), "Is it a battery, a cell or a battery pack?", "it starts again");
    }
}

/// A shop from before two grades were in the catalogue, and which calls one of its own like one of them.
async fn grades_that_came_later_are_added_and_nothing_is_overwritten(shop: &TestShop) {
    let list = shop.get("/grades").await.ok();
    assert!(!list.says("More grades"), "it has them all");
    assert!(shop.get("/grades/more").await.ok().says("The shop has every grade of the catalogue."));
    let mut connection = shop.connect().await;
    for sql in [
        "DELETE FROM grades WHERE id IN ('aluminium-wire', 'cable-coax', 'copper-heavy')",
        "UPDATE grades SET name = 'Coaxial cable', summary = 'Ours' WHERE id = 'wire-ribbon'",
    ] {
        sqlx::query(sql).execute(&mut connection).await.expect("an update");
    }
    let list = shop.get("/grades").await.ok();
    let more = shop.get(&list.link("More grades: 3")).await.ok();
    assert!(more.says("Bare aluminium wire") && more.says("another grade of yours"), "{}", more.text("main"));
    let form = more.form("form[action='/grades/more']");
    let none = shop.submit(form.clone()).await.ok();
    assert!(none.text("[role=alert]").contains("Choose a grade"));
    let both = || form.clone().set("grade", "aluminium-wire").set("grade", "copper-heavy");
    let (one, two) = tokio::join!(shop.submit(both()), shop.submit(both()));
    assert_eq!((one.ok().url, two.ok().url), ("/grades".to_string(), "/grades".to_string()));
    // One that the shop has, one that is called like another, and one that is nowhere.
    for odd in ["copper-2", "cable-coax", "gold-bar"] {
        shop.submit(form.clone().forge("grade", odd)).await.ok();
    }
    let grades = shop.store.grades(&shop.id).await.expect("the grades");
    let has = |id: &str| grades.iter().filter(|grade| grade.id.as_str() == id).count();
    assert_eq!(
        (has("aluminium-wire"), has("copper-heavy"), has("cable-coax"), has("gold-bar")),
        (1, 1, 0, 0)
    );
    let ribbon = grades.iter().find(|grade| grade.id.as_str() == "wire-ribbon").expect("the ribbon");
    assert_eq!(ribbon.details.summary, "Ours");
    let copper = grades.iter().find(|grade| grade.id.as_str() == "copper-2").expect("the copper");
    assert_eq!(copper.version, 1, "what the shop has stays as it is");
    assert!(shop.get("/grades").await.ok().says("More grades: 1"));
}
