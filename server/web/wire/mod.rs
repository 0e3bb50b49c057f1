//! Wire: what is it, how much of it is copper, and is it worth stripping?

mod answer;
mod asked;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use form_urlencoded::Serializer;

use trade::ids::GradeId;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::page::{Page, Screen, Visitor, html};
use answer::Told;

#[derive(Template)]
#[template(path = "wire/show.html")]
struct WirePage {
    page: Page,
    visitor: Visitor,
    form: Form,
    scratches: Vec<(String, String)>,
    magnets: Vec<(String, String)>,
    ways: Vec<(String, String)>,
    strandings: Vec<(String, String)>,
    plastics: Vec<(String, String)>,
    looks: Vec<(String, String)>,
    minutes_label: String,
    told: Option<Told>,
}

/// The page with a lot's grade and weight filled in.
pub fn address(grade: &GradeId, weight: &str) -> String {
    let fields = [("look", grade.as_str()), ("weight", weight)];
    format!("/wire?{}", Serializer::new(String::new()).extend_pairs(fields).finish())
}

/// The fields stand in the address, so that an answer can be shown to somebody, and nothing is stored.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Query(fields): Query<Vec<(String, String)>>,
) -> Result<Response, Failure> {
    let grades = app.store.grades(&visitor.shop.id).await?;
    let mut form = asked::blank();
    for (name, value) in &fields {
        form.set(name, value.replace('\0', "\u{fffd}"));
    }
    let told = match form.has("asked").then(|| asked::asked(&mut form)).flatten() {
        Some(asked) => {
            let answered = app.answered(app.shelf(&visitor).await?, &visitor.shop.id).await;
            let look = form.value("look");
            Some(answer::told(&asked, look, &grades, &answered.shelf, &answered.answer, &visitor))
        }
        None => None,
    };
    let wires = grades.iter().filter(|grade| !grade.retired && grade.details.family == "wire");
    let mut looks = vec![(String::new(), "building wire or loose wires: by how much is copper".to_string())];
    looks.extend(wires.map(|grade| (grade.id.to_string(), grade.details.name.clone())));
    let page = visitor.page(Screen::Wire, "Wire");
    html(&WirePage {
        page,
        form,
        scratches: options(&[
            ("", "nobody has scratched it"),
            ("red", "red right through"),
            ("white-skin", "silver skin, red inside"),
            ("red-skin", "red skin, silver inside"),
            ("white", "silver right through"),
            ("yellow", "yellow right through"),
        ]),
        magnets: options(&[("", "does not pull"), ("pulls", "pulls")]),
        ways: options(&[
            ("sample", "from a sample, stripped and weighed"),
            ("make", "from gauge, layers and outside"),
        ]),
        strandings: options(&[("solid", "solid"), ("stranded", "stranded")]),
        plastics: options(&[
            ("pvc", "PVC, the usual"),
            ("polyethylene", "polyethylene, waxy"),
            ("rubber", "rubber"),
            ("ptfe", "PTFE, slippery and white"),
        ]),
        looks,
        minutes_label: format!("Minutes to strip one {}", visitor.style().unit()),
        told,
        visitor,
    })
}

fn options(all: &[(&str, &str)]) -> Vec<(String, String)> {
    all.iter().map(|(code, words)| ((*code).to_string(), (*words).to_string())).collect()
}
