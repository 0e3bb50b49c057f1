//! Who calls: a phone that is signed in, or a device with a key.

use axum::extract::FromRequestParts;
use axum::http::header::AUTHORIZATION;
use axum::http::request::Parts;
use axum::http::{HeaderMap, Method, StatusCode};
use jiff::Timestamp;

use super::Problem;
use crate::secret::Token;
use crate::store::sessions::SignedIn;
use crate::web::App;
use crate::web::page::Visitor;
use crate::web::session;

/// Whoever calls and may: a partner, or a helper where `Caller` is unpacked by hand.
#[derive(Debug, Clone)]
pub struct Caller(pub Visitor);

impl FromRequestParts<App> for Caller {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let now = Timestamp::now();
        let signed_in = match (key(&parts.headers), session::token(app, &parts.headers)) {
            (Some(key), _) => app.store.key_holder(&key.hash(), now).await?,
            (None, Some(token)) => app.store.signed_in(&token.hash(), now).await?,
            (None, None) => None,
        };
        match signed_in {
            Some(SignedIn { session_id, shop, partner }) => {
                let is_reading = parts.method == Method::GET;
                Ok(Caller(Visitor { shop, partner, session_id, now, is_reading }))
            }
            None => {
                let words =
                    "Sign in on this phone, or send the key of a device as `Authorization: Bearer …`.";
                Err(Problem::new(StatusCode::UNAUTHORIZED, "signed-out", "Not signed in", words))
            }
        }
    }
}

/// A device that calls with a key.
#[derive(Debug, Clone)]
pub struct Device {
    pub visitor: Visitor,
    pub key_id: String,
}

impl FromRequestParts<App> for Device {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let Caller(visitor) = Caller::from_request_parts(parts, app).await?;
        if key(&parts.headers).is_none() {
            let words = "A device comes in with a key of its own, which gives it its name.";
            return Err(Problem::new(StatusCode::FORBIDDEN, "for-devices", "This is for devices", words));
        }
        Ok(Device { key_id: visitor.session_id.clone(), visitor })
    }
}

/// The key in the header that came along (RFC 6750).
fn key(headers: &HeaderMap) -> Option<Token> {
    let (scheme, key) = headers.get(AUTHORIZATION)?.to_str().ok()?.split_once(' ')?;
    Token::brought(key.trim()).filter(|_| scheme.eq_ignore_ascii_case("bearer"))
}

impl Caller {
    /// The caller, if they are a partner.
    pub fn partner(self) -> Result<Visitor, Problem> {
        if self.0.partner.is_helper() {
            let words = "A helper can weigh in. For anything else, ask a partner.";
            return Err(Problem::new(StatusCode::FORBIDDEN, "for-partners", "This is for partners", words));
        }
        Ok(self.0)
    }
}
