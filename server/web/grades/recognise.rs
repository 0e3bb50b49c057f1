//! The recogniser: one yes-or-no question a page, until a grade is left. The answers so far are in the address, a letter
//! each, so that going back is following a link and a page can be sent to the other phone.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use trade::ids::GradeId;

use super::{About, about};
use crate::catalogue::{End, Question, RECOGNISER, Trail};
use crate::store::StoreError;
use crate::store::grades::SoldBy;
use crate::store::lots::LotState;
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::page::{Page, Screen, Visitor, html};

/// One answer given, and the address of the question it was given to.
struct Answered {
    ask: &'static str,
    yes: bool,
    path: String,
}

#[derive(Template)]
#[template(path = "grades/question.html")]
struct QuestionPage {
    page: Page,
    question: &'static Question,
    path: String,
    answered: Vec<Answered>,
    trouble: Option<String>,
}

#[derive(Template)]
#[template(path = "grades/answer.html")]
struct AnswerPage {
    page: Page,
    visitor: Visitor,
    answered: Vec<Answered>,
    /// `None` if the shop does not have the grade.
    about: Option<About>,
    id: &'static GradeId,
}

pub async fn recognise(
    State(app): State<App>,
    visitor: Visitor,
    Query(query): Query<Vec<(String, String)>>,
) -> Result<Response, Failure> {
    let path = query.into_iter().find(|(name, _)| name == "path").map(|(_, path)| path).unwrap_or_default();
    match RECOGNISER.follow(&path) {
        Ok(Trail { answered, end: End::Question(question) }) => {
            let answered = answers(&answered, &path);
            let page = visitor.page(Screen::Grades, question.ask.clone());
            html(&QuestionPage { page, question, path, answered, trouble: None })
        }
        Ok(Trail { answered, end: End::Grade(id) }) => {
            let about = match app.store.grade(&visitor.shop.id, id.as_str()).await {
                Ok(grade) => Some(about(&app, &visitor, grade).await?),
                Err(StoreError::Missing) => None,
                Err(other) => return Err(other.into()),
            };
            let page = visitor.page(Screen::Grades, "Which grade is this?");
            html(&AnswerPage { page, visitor, answered: answers(&answered, &path), about, id })
        }
        Err(trouble) => {
            let Some(question) = RECOGNISER.question(&RECOGNISER.start) else {
                return Err(Failure::missing("question"));
            };
            let page = visitor.page(Screen::Grades, question.ask.clone());
            let trouble = Some(trouble.to_string());
            let body = QuestionPage { page, question, path: String::new(), answered: Vec::new(), trouble };
            Ok((StatusCode::BAD_REQUEST, html(&body)?).into_response())
        }
    }
}

/// The answers in order, each with the path that stood before it.
fn answers(answered: &[(&'static Question, bool)], path: &str) -> Vec<Answered> {
    // The path has passed: it is letters of one byte.
    answered
        .iter()
        .zip(path.char_indices())
        .map(|((question, yes), (at, _))| Answered {
            ask: &question.ask,
            yes: *yes,
            path: path[..at].to_string(),
        })
        .collect()
}
