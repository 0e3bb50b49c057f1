//! The cookie that says who holds a phone: set when somebody signs in, taken when they sign out.

use std::net::{IpAddr, SocketAddr};

use axum::extract::ConnectInfo;
use axum::http::header::{COOKIE, SET_COOKIE, USER_AGENT};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue, Method};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::cookie::CookieJar;

use super::App;
use super::failure::{self, Failure};
use crate::secret::Token;
use crate::store::sessions::{LASTS, NewSession, begin_session};
use crate::store::{By, StoreError, Tx, new_id};

const COOKIE_NAME: &str = "session";
/// The name by HTTPS. Browsers take it from nobody on the wifi who answers by HTTP in the shop's place (RFC 6265bis,
/// 4.1.3.2), and it is not in the way of the other once the shop is served by HTTP again.
const SECURE_COOKIE_NAME: &str = "__Host-session";

/// The token in the cookie that came along.
pub fn token(app: &App, headers: &HeaderMap) -> Option<Token> {
    if !headers.contains_key(COOKIE) {
        return None;
    }
    // One that may have gone over the wifi in the clear is worth nothing where the shop is served by HTTPS.
    let name = if app.config.is_https() { SECURE_COOKIE_NAME } else { COOKIE_NAME };
    Token::brought(CookieJar::from_headers(headers).get(name)?.value())
}

/// Lets the phone in inside `tx`, with a token that nobody has seen yet, and gives the token for its cookie.
pub async fn begin(tx: &mut Tx, by: &By, headers: &HeaderMap) -> Result<Token, StoreError> {
    let (id, token) = (new_id(), Token::random());
    let session = NewSession { id: &id, token_sha256: &token.hash(), phone: &phone(headers) };
    begin_session(tx, by, &session).await?;
    Ok(token)
}

/// The answer to somebody who has just signed in: on to `to`, with the cookie.
pub fn welcome(app: &App, token: &Token, to: &str) -> Response {
    set(app, token.text(), LASTS.as_secs(), to)
}

/// The answer to somebody who has signed out.
pub fn farewell(app: &App) -> Response {
    set(app, "", 0, "/sign-in")
}

fn set(app: &App, value: &str, seconds: i64, to: &str) -> Response {
    let cookie = |name: &str, value: &str, seconds: i64, secure: &str| {
        format!("{name}={value}; Max-Age={seconds}; Path=/; HttpOnly; SameSite=Lax{secure}")
    };
    let cookies = if app.config.is_https() {
        // What was set before the shop was served by HTTPS goes, so that it does not travel in the clear any more.
        vec![cookie(SECURE_COOKIE_NAME, value, seconds, "; Secure"), cookie(COOKIE_NAME, "", 0, "; Secure")]
    } else {
        vec![cookie(COOKIE_NAME, value, seconds, "")]
    };
    let mut response = Redirect::to(to).into_response();
    for cookie in cookies {
        if let Ok(cookie) = HeaderValue::from_str(&cookie) {
            response.headers_mut().append(SET_COOKIE, cookie);
        }
    }
    response
}

/// What somebody gets who is not signed in: the page to sign in on, that leads back to where they wanted to go; or the
/// page to set a shop up, where there is none yet.
pub async fn sign_in_first(app: &App, parts: &Parts) -> Response {
    if !matches!(parts.method, Method::GET | Method::HEAD) {
        return failure::not_signed_in().page();
    }
    match app.store.shops().await {
        Err(error) => Failure::from(error).page(),
        Ok(shops) if shops.is_empty() => Redirect::to("/shop/new").into_response(),
        Ok(_) => {
            let wanted = parts.uri.path_and_query().map_or("/", |wanted| wanted.as_str());
            let query = form_urlencoded::Serializer::new(String::new()).append_pair("to", wanted).finish();
            let to = if wanted == "/" { "/sign-in".to_string() } else { format!("/sign-in?{query}") };
            Redirect::to(&to).into_response()
        }
    }
}

/// A page of this shop to go on to, or Today: an address that leads elsewhere is not followed.
pub fn page_here(wanted: &str) -> &str {
    let is_here = wanted.starts_with('/')
        && !wanted.starts_with("//")
        && wanted.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'\\');
    if is_here { wanted } else { "/" }
}

/// Where a request came from, as far as it can be told.
pub fn address(app: &App, parts: &Parts) -> String {
    // The last address that was added is the one that the proxy in front saw; those before it were sent along.
    let forwarded = parts
        .headers
        .get_all("x-forwarded-for")
        .iter()
        .filter_map(|line| line.to_str().ok())
        .flat_map(|line| line.split(','))
        .next_back()
        .and_then(|address| address.trim().parse::<IpAddr>().ok());
    let ConnectInfo(peer) =
        parts.extensions.get::<ConnectInfo<SocketAddr>>().copied().unwrap_or(ConnectInfo(NOWHERE));
    forwarded.filter(|_| app.config.behind_proxy).unwrap_or(peer.ip()).to_string()
}

const NOWHERE: SocketAddr = SocketAddr::new(IpAddr::V4(std::net::Ipv4Addr::UNSPECIFIED), 0);

/// What a phone is called in the list of phones: `Firefox on Android`, as far as it says.
fn phone(headers: &HeaderMap) -> String {
    let says = headers.get(USER_AGENT).and_then(|says| says.to_str().ok()).unwrap_or_default();
    // What comes first is told more exactly: Chrome also says Safari, and Android also says Linux.
    let first = |known: &[(&'static str, &'static str)]| {
        known.iter().find(|(mark, _)| says.contains(mark)).map(|(_, name)| *name)
    };
    let browser = first(&[
        ("Firefox/", "Firefox"),
        ("FxiOS/", "Firefox"),
        ("Edg", "Edge"),
        ("OPR/", "Opera"),
        ("SamsungBrowser/", "Samsung Internet"),
        ("CriOS/", "Chrome"),
        ("Chrome/", "Chrome"),
        ("Safari/", "Safari"),
    ]);
    let system = first(&[
        ("iPhone", "iPhone"),
        ("iPad", "iPad"),
        ("Android", "Android"),
        ("Windows", "Windows"),
        ("Macintosh", "Mac"),
        ("CrOS", "Chromebook"),
        ("Linux", "Linux"),
    ]);
    match (browser, system) {
        (Some(browser), Some(system)) => format!("{browser} on {system}"),
        (Some(one), None) | (None, Some(one)) => one.to_string(),
        (None, None) => "a device that does not say what it is".to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_pages_of_this_shop_are_gone_on_to() {
        for (wanted, to) in [
            ("/lots/abc?x=1#y", "/lots/abc?x=1#y"),
            ("/", "/"),
            ("", "/"),
            ("//evil.example/", "/"),
            ("/\\evil.example", "/"),
            ("https://evil.example", "/"),
            ("javascript:alert(1)", "/"),
            ("/a\r\nset-cookie: x=1", "/"),
            ("/ü", "/"),
        ] {
            assert_eq!(page_here(wanted), to, "{wanted}");
        }
    }

    #[test]
    fn a_phone_is_called_what_it_says() {
        for (says, name) in [
            ("Mozilla/5.0 (Android 16; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0", "Firefox on Android"),
            (
                "Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 Version/18.5 Safari/604.1",
                "Safari on iPhone",
            ),
            ("curl/8", "a device that does not say what it is"),
        ] {
            let headers = HeaderMap::from_iter([(USER_AGENT, HeaderValue::from_static(says))]);
            assert_eq!(phone(&headers), name);
        }
    }
}
