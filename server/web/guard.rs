//! What is refused before a handler sees it, and the headers that every answer carries.

use std::net::IpAddr;

use axum::extract::{Request, State};
use axum::http::uri::Authority;
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;
use tower_http::csrf::ProtectionError;

use super::App;
use super::failure::Failure;

/// Answers only to names this machine is known by. Otherwise a page on the internet could point a name of its own at
/// the shop's box and read the shop's record through a partner's browser (DNS rebinding). A bare address cannot be
/// pointed elsewhere, so all addresses pass.
pub async fn known_host(State(app): State<App>, request: Request, next: Next) -> Response {
    let host = host(&request);
    if is_known(&host, &app.config.hosts) {
        return next.run(request).await;
    }
    Failure::refused(
        StatusCode::MISDIRECTED_REQUEST,
        "This address is not known here",
        format!(
            "The shop's box was called by the name “{host}”, which it does not go by. Use the address that it printed \
             when it started, or start it with --host {host}."
        ),
    )
    .page()
}

/// The name or address that a request was sent to, without its port: from its address in HTTP/2, and from its header in
/// HTTP/1.1.
pub fn host(request: &Request) -> String {
    let from_address = request.uri().authority().map(|authority| authority.host().to_string());
    let from_header = || {
        let host = request.headers().get(header::HOST)?.to_str().ok()?;
        host.parse::<Authority>().ok().map(|authority| authority.host().to_string())
    };
    from_address.or_else(from_header).unwrap_or_default()
}

fn is_known(host: &str, known: &[String]) -> bool {
    let host = host.trim_end_matches('.').to_ascii_lowercase();
    let bare = host.trim_start_matches('[').trim_end_matches(']');
    bare.parse::<IpAddr>().is_ok()
        || host == "localhost"
        || known.iter().any(|name| name.eq_ignore_ascii_case(&host))
}

/// Refuses an address with a zero byte in it: nothing here is called so, and Postgres holds no such text.
pub async fn readable_address(request: Request, next: Next) -> Response {
    let address = request.uri();
    if address.path().contains("%00") || address.query().is_some_and(|query| query.contains("%00")) {
        return Failure::missing("page").page();
    }
    next.run(request).await
}

/// The answer to a form that another site sent.
pub fn cross_site(_: ProtectionError) -> Response<axum::body::Body> {
    Failure::refused(
        StatusCode::FORBIDDEN,
        "That came from another site",
        "The form was not sent from a page of this shop, so nothing was saved. Open the page here and send it again.",
    )
    .page()
}

/// Headers of every answer. No page has inline script or style, so none is allowed.
pub async fn headers(mut response: Response) -> Response {
    let headers = response.headers_mut();
    for (name, value) in [
        (
            header::CONTENT_SECURITY_POLICY,
            "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; \
             form-action 'self'; base-uri 'none'; frame-ancestors 'none'; manifest-src 'self'",
        ),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "same-origin"),
        (header::X_FRAME_OPTIONS, "DENY"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

#[cfg(test)]
mod tests {
    use super::is_known;

    #[test]
    fn addresses_and_known_names_pass_and_other_names_do_not() {
        let known = ["shopbox.local".to_string()];
        for host in ["192.168.1.20", "[::1]", "localhost", "ShopBox.local", "shopbox.local."] {
            assert!(is_known(host, &known), "{host}");
        }
        for host in ["evil.example", "shopbox.local.evil.example", "192.168.1.20.evil.example", ""] {
            assert!(!is_known(host, &known), "{host}");
        }
    }
}
