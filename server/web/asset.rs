//! The program's own files: stylesheet, scripts and icons, in the binary and with their content's hash in the address,
//! so that phones keep them for good and never hold an old one.

use std::sync::LazyLock;

use axum::extract::Path;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};

use super::failure::Failure;

struct Asset {
    name: &'static str,
    media_type: &'static str,
    body: &'static str,
    hash: LazyLock<String>,
}

macro_rules! asset {
    ($name:literal, $media_type:literal, $body:expr) => {
        Asset {
            name: $name,
            media_type: $media_type,
            body: $body,
            hash: LazyLock::new(|| {
                Sha256::digest($body).iter().take(6).map(|byte| format!("{byte:02x}")).collect()
            }),
        }
    };
}

static ASSETS: [Asset; 3] = [
    asset!(
        "pennyweight.css",
        "text/css; charset=utf-8",
        concat!(
            include_str!("../../static/css/tokens.css"),
            include_str!("../../static/css/base.css"),
            include_str!("../../static/css/frame.css"),
            include_str!("../../static/css/ticket.css"),
            include_str!("../../static/css/price.css"),
            include_str!("../../static/css/form.css"),
            include_str!("../../static/css/drawing.css"),
            include_str!("../../static/css/print.css"),
        )
    ),
    asset!("live.js", "text/javascript; charset=utf-8", include_str!("../../static/js/live.js")),
    asset!("icon.svg", "image/svg+xml", include_str!("../../static/icon.svg")),
];

/// The address of an asset: `/static/pennyweight-1a2b3c4d5e6f.css`.
pub fn address(name: &str) -> String {
    match ASSETS.iter().find(|asset| asset.name == name) {
        Some(asset) => {
            let (stem, ending) = name.split_once('.').unwrap_or((name, ""));
            format!("/static/{stem}-{}.{ending}", *asset.hash)
        }
        None => format!("/static/{name}"),
    }
}

pub async fn serve(Path(file): Path<String>) -> Response {
    let Some(asset) = ASSETS.iter().find(|asset| address(asset.name).strip_prefix("/static/") == Some(&file))
    else {
        return Failure::missing("file").page();
    };
    let headers = [
        (header::CONTENT_TYPE, asset.media_type),
        (header::CACHE_CONTROL, "public, max-age=31536000, immutable"),
    ];
    (headers, asset.body).into_response()
}
