//! A phone at the shop: it sends what a browser sends, keeps cookies and follows redirects.

use std::collections::BTreeMap;
use std::sync::Mutex;

use axum::Router;
use axum::body::Body;
use axum::http::header::{CONTENT_TYPE, COOKIE, HOST, LOCATION, ORIGIN, SET_COOKIE};
use axum::http::{HeaderMap, HeaderValue, Request, Response, StatusCode, request};
use http_body_util::BodyExt;
use pennyweight::secret::Token;
use tower::ServiceExt;

use super::form::{Field, Form};
use super::page::Page;

/// The address that the phone reaches the shop's box at.
pub const SHOP_HOST: &str = "192.168.1.20:8080";

const BOUNDARY: &str = "pennyweight-test-boundary-6f1d2c";

pub struct Phone {
    router: Router,
    cookies: Mutex<BTreeMap<String, String>>,
}

impl Phone {
    pub fn new(router: Router) -> Phone {
        Phone { router, cookies: Mutex::default() }
    }

    /// Opens an address, and what it redirects to.
    pub async fn get(&self, url: &str) -> Page {
        let request = self.request("GET", url).body(Body::empty()).expect("a request");
        self.follow(request).await
    }

    /// Sends a form by its first button or the one pressed, and opens what it redirects to.
    pub async fn submit(&self, form: Form) -> Page {
        self.follow(self.posted(form)).await
    }

    /// The request that [`Phone::submit`] sends.
    pub fn posted(&self, form: Form) -> Request<Body> {
        let mut form = form.sent();
        // A form that was put together by hand, or read before somebody signed in, goes out as from a page just opened.
        if let Some(token) = self.form_token() {
            form.fields.retain(|field| field.name != "form_token");
            form.fields.insert(0, Field { name: "form_token".into(), value: token, file: None });
        }
        if form.method != "POST" {
            let path = form.action.split('?').next().unwrap_or_default();
            let url = format!("{path}?{}", url_encoded(&form.fields));
            return self.request("GET", &url).body(Body::empty()).expect("a request");
        }
        let (content_type, body) = if form.is_multipart {
            (format!("multipart/form-data; boundary={BOUNDARY}"), multipart(&form.fields))
        } else {
            ("application/x-www-form-urlencoded".to_string(), url_encoded(&form.fields).into_bytes())
        };
        self.request("POST", &form.action)
            .header(ORIGIN, format!("http://{SHOP_HOST}"))
            .header("sec-fetch-site", "same-origin")
            .header(CONTENT_TYPE, content_type)
            .header("content-length", body.len())
            .body(Body::from(body))
            .expect("a request")
    }

    /// A request with what a browser adds to every one.
    pub fn request(&self, method: &str, url: &str) -> request::Builder {
        let mut request = Request::builder().method(method).uri(url).header(HOST, SHOP_HOST);
        let cookies = self.cookies.lock().expect("cookies");
        if !cookies.is_empty() {
            let pairs: Vec<_> = cookies.iter().map(|(name, value)| format!("{name}={value}")).collect();
            request = request.header(COOKIE, pairs.join("; "));
        }
        request
    }

    /// The answer to exactly this request, with a body that is still to come.
    pub async fn answer(&self, request: Request<Body>) -> Response<Body> {
        self.router.clone().oneshot(request).await.expect("the router always answers")
    }

    /// Sends exactly this request and takes its answer, redirect or not.
    pub async fn send(&self, request: Request<Body>) -> Page {
        let url = request.uri().path_and_query().map(ToString::to_string).unwrap_or_default();
        let response = self.answer(request).await;
        let (parts, body) = response.into_parts();
        self.keep_cookies(&parts.headers);
        let bytes = body.collect().await.expect("the whole body arrives").to_bytes();
        let body = String::from_utf8_lossy(&bytes).into_owned();
        Page { url, status: parts.status, headers: parts.headers, body }
    }

    /// Puts the cookie into the phone that a sign-in would.
    pub fn sign_in(&self, token: &Token) {
        self.set_cookie("session", token.text());
    }

    /// What the cookie stands for in a form; `None` where nobody is signed in.
    pub fn form_token(&self) -> Option<String> {
        let cookies = self.cookies.lock().expect("cookies");
        Some(Token::brought(cookies.get("session")?)?.form_token())
    }

    pub fn set_cookie(&self, name: &str, value: &str) {
        self.cookies.lock().expect("cookies").insert(name.into(), value.into());
    }

    async fn follow(&self, request: Request<Body>) -> Page {
        let mut page = self.send(request).await;
        for _ in 0..5 {
            if page.status != StatusCode::SEE_OTHER {
                return page;
            }
            let location =
                page.headers.get(LOCATION).and_then(|to| to.to_str().ok()).expect("a redirect's address");
            let request = self.request("GET", location).body(Body::empty()).expect("a request");
            page = self.send(request).await;
        }
        panic!("{} redirects without end", page.url)
    }

    fn keep_cookies(&self, headers: &HeaderMap<HeaderValue>) {
        let mut cookies = self.cookies.lock().expect("cookies");
        for line in headers.get_all(SET_COOKIE).iter().filter_map(|line| line.to_str().ok()) {
            let mut parts = line.split(';').map(str::trim);
            let Some((name, value)) = parts.next().and_then(|pair| pair.split_once('=')) else { continue };
            if parts.any(|attribute| attribute.eq_ignore_ascii_case("max-age=0")) {
                cookies.remove(name);
            } else {
                cookies.insert(name.into(), value.into());
            }
        }
    }
}

/// WHATWG URL standard, `application/x-www-form-urlencoded`; line ends are sent as CR LF, as the HTML standard says.
fn url_encoded(fields: &[Field]) -> String {
    let pairs =
        fields.iter().map(|field| (&field.name, field.value.replace("\r\n", "\n").replace('\n', "\r\n")));
    form_urlencoded::Serializer::new(String::new()).extend_pairs(pairs).finish()
}

/// RFC 7578.
fn multipart(fields: &[Field]) -> Vec<u8> {
    let mut body = Vec::new();
    for field in fields {
        body.extend(
            format!("--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"{}\"", field.name).bytes(),
        );
        match &field.file {
            None => body.extend(format!("\r\n\r\n{}", field.value).bytes()),
            Some(file) => {
                let head =
                    format!("; filename=\"{}\"\r\nContent-Type: {}\r\n\r\n", file.file_name, file.media_type);
                body.extend(head.bytes());
                body.extend(&file.bytes);
            }
        }
        body.extend(b"\r\n");
    }
    body.extend(format!("--{BOUNDARY}--\r\n").bytes());
    body
}
