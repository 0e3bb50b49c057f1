//! The shop's own certificate: the page that says how a phone comes to trust it, and the way from HTTP to HTTPS.

use askama::Template;
use axum::extract::{Request, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};

use super::App;
use super::failure::Failure;
use super::guard;
use super::page::html;
use crate::certificate::Root;

/// Where the shop is served by HTTPS.
#[derive(Debug, Clone)]
pub enum HttpsAddress {
    /// At the name or address that somebody came by, at another port.
    SameHost { port: u16 },
    /// At an address that was given, like `https://shop.example`.
    At(String),
}

#[derive(Template)]
#[template(path = "certificate/show.html")]
struct CertificatePage {
    fingerprint: String,
}

fn root(app: &App) -> Result<&Root, Failure> {
    app.config.root.as_ref().ok_or_else(|| Failure::missing("page"))
}

/// For everybody on the wifi, signed in or not.
pub async fn show(State(app): State<App>) -> Result<Response, Failure> {
    html(&CertificatePage { fingerprint: root(&app)?.fingerprint() })
}

pub async fn download(State(app): State<App>) -> Result<Response, Failure> {
    let headers = [
        (header::CONTENT_TYPE, "application/x-x509-ca-cert"),
        (header::CONTENT_DISPOSITION, "attachment; filename=\"pennyweight-shop.crt\""),
    ];
    Ok((headers, root(&app)?.der.clone()).into_response())
}

/// Leads to the same page by HTTPS. Only for now, and without HTTP Strict Transport Security (RFC 6797): a browser that
/// remembered either would not find the page on how to trust the certificate any more, nor the shop once it is served
/// without one again.
pub async fn to_https(target: HttpsAddress, request: Request) -> Response {
    let wanted = request.uri().path_and_query().map_or("/", |wanted| wanted.as_str());
    let to = match target {
        HttpsAddress::At(address) => address + wanted,
        HttpsAddress::SameHost { port: 443 } => format!("https://{}{wanted}", guard::host(&request)),
        HttpsAddress::SameHost { port } => format!("https://{}:{port}{wanted}", guard::host(&request)),
    };
    if wanted.starts_with('/') {
        Redirect::temporary(&to).into_response()
    } else {
        StatusCode::BAD_REQUEST.into_response()
    }
}
