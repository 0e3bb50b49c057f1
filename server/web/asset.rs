//! The program's own files: stylesheet, scripts and icons, in the binary and with their content's hash in the address,
//! so that phones keep them for good and never hold an old one.

use std::sync::LazyLock;

use axum::extract::Path;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde_json::json;
use sha2::{Digest, Sha256};

use super::failure::Failure;
use crate::secret::sha256;

const SCRIPT: &str = "text/javascript; charset=utf-8";

struct Asset {
    name: &'static str,
    media_type: &'static str,
    body: LazyLock<Vec<u8>>,
    hash: LazyLock<String>,
}

macro_rules! asset {
    ($at:literal, $name:literal, $media_type:expr, $body:expr) => {
        Asset {
            name: $name,
            media_type: $media_type,
            body: LazyLock::new(|| Vec::from($body)),
            hash: LazyLock::new(|| {
                Sha256::digest(&*ASSETS[$at].body).iter().take(6).map(|byte| format!("{byte:02x}")).collect()
            }),
        }
    };
}

static ASSETS: [Asset; 9] = [
    asset!(
        0,
        "pennyweight.css",
        "text/css; charset=utf-8",
        concat!(
            include_str!("../../static/css/tokens.css"),
            include_str!("../../static/css/base.css"),
            include_str!("../../static/css/frame.css"),
            include_str!("../../static/css/ticket.css"),
            include_str!("../../static/css/price.css"),
            include_str!("../../static/css/photo.css"),
            include_str!("../../static/css/form.css"),
            include_str!("../../static/css/drawing.css"),
            include_str!("../../static/css/print.css"),
        )
    ),
    asset!(1, "icon.svg", "image/svg+xml", include_str!("../../static/icon.svg")),
    asset!(2, "live.js", SCRIPT, include_str!("../../static/js/live.js")),
    asset!(3, "queue.js", SCRIPT, include_str!("../../static/js/queue.js")),
    asset!(4, "waiting.js", SCRIPT, importing(include_str!("../../static/js/waiting.js"))),
    asset!(5, "pad.js", SCRIPT, importing(include_str!("../../static/js/pad.js"))),
    asset!(6, "icon-192.png", "image/png", include_bytes!("../../static/icon-192.png").as_slice()),
    asset!(7, "icon-512.png", "image/png", include_bytes!("../../static/icon-512.png").as_slice()),
    asset!(8, "bench.js", SCRIPT, include_str!("../../static/js/bench.js")),
];

/// A script that imports another one: by the address that the other one has.
fn importing(script: &str) -> String {
    script.replace("./queue.js", &address("queue.js"))
}

/// What the pad needs to be opened with no network.
const OF_THE_PAD: [&str; 4] = ["pennyweight.css", "icon.svg", "queue.js", "pad.js"];

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

/// The script that opens the pad where there is no network. It stands at the root, since it is for all pages.
pub async fn worker() -> Response {
    let files: Vec<String> = OF_THE_PAD
        .iter()
        .map(|name| address(name))
        .chain(["/pad".into()])
        .map(|file| format!("'{file}'"))
        .collect();
    let files = files.join(", ");
    // Another list is another version.
    let script = include_str!("../../static/js/worker.js")
        .replace("VERSION", &sha256(&files)[..12])
        .replace("FILES_OF_THE_PAD", &files);
    ([(header::CONTENT_TYPE, SCRIPT), (header::CACHE_CONTROL, "no-cache")], script).into_response()
}

/// What a phone needs to know to put the shop on its home screen (W3C Web Application Manifest).
pub async fn manifest() -> Response {
    let icon = |name: &str, sizes: &str| json!({ "src": address(name), "sizes": sizes, "type": "image/png", "purpose": "any maskable" });
    let manifest = json!({
        "name": "Pennyweight",
        "short_name": "Pennyweight",
        "id": "/",
        "start_url": "/",
        "display": "standalone",
        "background_color": "#d5d9da",
        "theme_color": "#22272a",
        "icons": [icon("icon-192.png", "192x192"), icon("icon-512.png", "512x512")],
    });
    ([(header::CONTENT_TYPE, "application/manifest+json")], manifest.to_string()).into_response()
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
    (headers, asset.body.as_slice()).into_response()
}
