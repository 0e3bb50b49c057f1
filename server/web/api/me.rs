//! Who is calling.

use axum::Json;
use axum::extract::State;
use axum::http::HeaderMap;
use serde::Serialize;
use utoipa::ToSchema;

use super::{Caller, Problem};
use crate::web::{App, session};

/// Who the caller is, in which shop.
#[derive(Debug, Serialize, ToSchema)]
pub struct Me {
    shop: String,
    partner_id: String,
    partner: String,
    role: &'static str,
    /// What the header `x-form-token` has to carry where the cookie says who calls; null where a key does.
    form_token: Option<String>,
}

/// Who am I?
#[utoipa::path(get, path = "/api/v1/me", tag = "me",
    responses((status = 200, body = Me), (status = 401, body = Problem)))]
pub async fn show(State(app): State<App>, Caller(visitor): Caller, headers: HeaderMap) -> Json<Me> {
    Json(Me {
        role: visitor.partner.role.code(),
        shop: visitor.shop.name,
        partner_id: visitor.partner.id,
        partner: visitor.partner.name,
        form_token: session::token(&app, &headers).map(|token| token.form_token()),
    })
}
