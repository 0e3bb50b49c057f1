//! The screens. One file per screen, named like its template folder: handler, form and page in one place.
//!
//! This file lists every address.

mod activity;
mod again;
mod api;
mod api_keys;
mod app;
mod arrival;
mod asset;
mod backup;
mod bag;
mod bench;
mod cartons;
mod certificate;
mod claims;
mod codes;
mod containers;
mod customs;
mod diverted;
mod download;
mod failure;
mod flips;
mod form;
mod form_token;
mod freight;
mod freight_table;
mod gauge;
mod grades;
mod guard;
mod interval;
mod join;
mod joint;
mod kept_back;
mod ladder;
mod live;
mod long_run;
mod lots;
mod measure;
mod money;
mod not_made;
mod offer;
mod outlet_form;
mod outlets;
mod pad;
mod page;
mod people;
mod photos;
mod pickups;
mod plan;
mod prices;
mod rates;
mod returns;
mod roads;
mod runs;
mod service_form;
mod services;
mod session;
mod settlements;
mod sheets;
mod shipments;
mod shop;
mod sign_in;
mod stale;
mod stepped;
mod teardowns;
mod thread;
mod today;
mod told;
mod tour;
mod track;
mod turns;
mod unpriced;
mod upload;
mod waybill;
mod weigh;
mod wire;

use std::time::Duration;

use axum::Router;
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::header;
use axum::http::{HeaderValue, StatusCode};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use intake::rates::LARGEST_LIST;
use tower::ServiceBuilder;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::csrf::CsrfLayer;
use tower_http::request_id::{MakeRequestUuid, PropagateRequestIdLayer, SetRequestIdLayer};
use tower_http::set_header::SetResponseHeaderLayer;
use tower_http::trace::TraceLayer;
use tracing::{info_span, warn};

pub use app::{App, Config};
pub(crate) use asset::address;
pub use certificate::HttpsAddress;

/// The largest body any address takes: a price sheet of 10 MB with the form around it.
pub const LARGEST_UPLOAD: usize = 10 * 1024 * 1024;

/// All addresses, with the layers around them.
pub fn router(app: App) -> Router {
    let pages = Router::new()
        // Today
        .route("/", get(today::show))
        // Weigh in
        .route("/weigh", get(weigh::choose))
        .route("/lots/{lot}/weigh", get(weigh::show).post(weigh::read))
        .route("/lots/{lot}/weighings", post(weigh::create))
        .route("/weighings/{weighing}", get(weigh::receipt))
        .route("/weighings/{weighing}/undo", post(weigh::undo))
        // Lots
        .route("/lots", get(lots::index))
        .route("/lots/new", get(lots::new).post(lots::create))
        .route("/lots/{lot}", get(lots::show).post(lots::update))
        .route("/lots/{lot}/split", get(lots::split_form).post(lots::split))
        .route("/lots/{lot}/merge", get(lots::merge_form).post(lots::merge))
        .route("/lots/{lot}/regrade", get(lots::regrade_form).post(lots::regrade))
        .route("/lots/{lot}/ship", get(bag::show))
        .route("/lots/{lot}/photos", post(photos::add_to_lot).layer(DefaultBodyLimit::disable()))
        // Yard runs
        .route("/runs", get(runs::index).post(runs::create))
        .route("/runs/new", get(runs::new))
        .route("/runs/stops/{stop}", get(runs::find))
        .route("/runs/stops/{stop}/photos", post(photos::add_to_ticket).layer(DefaultBodyLimit::disable()))
        .route("/runs/{run}", get(runs::show))
        .route("/runs/{run}/leave", post(runs::leave))
        .route("/runs/{run}/cancel", post(runs::cancel))
        .route("/runs/{run}/end", post(runs::end))
        .route("/runs/{run}/stops/{stop}", get(runs::show_stop).post(runs::take))
        .route("/runs/{run}/stops/{stop}/skip", post(runs::skip))
        // Kept out of landfill
        .route("/diverted", get(diverted::show))
        // Pickups
        .route("/pickups", get(pickups::index))
        .route("/pickups/new", get(pickups::new).post(pickups::create))
        .route("/pickups/log", get(pickups::log))
        .route("/pickups/{pickup}", get(pickups::show).post(pickups::update))
        .route("/pickups/{pickup}/withdraw", post(pickups::withdraw))
        .route("/pickups/{pickup}/photos", post(photos::add_to_pickup).layer(DefaultBodyLimit::disable()))
        // Photos
        .route("/photos/{photo}", get(photos::show))
        .route("/photos/{photo}/file", get(photos::file))
        .route("/photos/{photo}/small", get(photos::small))
        .route("/photos/{photo}/remove", post(photos::remove))
        // Sell plan
        .route("/plan", get(plan::show))
        .route("/plan/load-list", get(plan::load_list))
        .route("/plan/pins", post(plan::unpin))
        .route("/plan/lots/{lot}", post(plan::choose))
        .route("/plan/outlets/{outlet}", post(plan::open_or_close))
        // Bench
        .route("/bench", get(bench::index))
        .route("/bench/compare", get(bench::compare))
        .route("/bench/tonight", get(bench::tonight))
        .route("/bench/{kind}", get(bench::show))
        .route("/bench/{kind}/card", get(bench::card))
        .route("/bench/{kind}/teardowns", post(teardowns::create))
        // Teardowns
        .route("/teardowns", get(teardowns::index))
        .route("/teardowns/{teardown}", get(teardowns::show))
        .route("/teardowns/{teardown}/parts", post(teardowns::weigh_part))
        .route("/teardowns/{teardown}/whole", post(teardowns::weigh_whole))
        .route("/teardowns/{teardown}/waste", post(teardowns::weigh_waste))
        .route("/teardowns/{teardown}/timer", post(teardowns::turn_timer))
        .route("/teardowns/{teardown}/entries/{entry}/take-back", post(teardowns::take_back))
        .route("/teardowns/{teardown}/finish", post(teardowns::finish))
        .route("/teardowns/{teardown}/reopen", post(teardowns::reopen))
        .route("/teardowns/{teardown}/drop", post(teardowns::give_up))
        // Shipments
        .route("/shipments", get(shipments::index).post(shipments::create))
        .route("/shipments/{shipment}", get(shipments::show))
        .route("/shipments/{shipment}/waybill", get(waybill::show).post(waybill::create))
        .route("/shipments/{shipment}/customs", get(customs::show))
        .route("/shipments/{shipment}/labels", get(customs::labels))
        .route("/shipments/{shipment}/send", post(shipments::send))
        .route("/shipments/{shipment}/cancel", post(shipments::cancel))
        .route("/shipments/{shipment}/receive", post(shipments::receive))
        .route("/shipments/{shipment}/lose", post(shipments::lose))
        .route("/shipments/{shipment}/find", post(shipments::find))
        .route("/shipments/{shipment}/write-off", post(shipments::write_off))
        .route("/shipments/{shipment}/dispute", post(shipments::dispute))
        .route("/shipments/{shipment}/return", get(returns::show).post(returns::create))
        .route("/shipments/{shipment}/settlement", post(settlements::begin))
        .route("/shipments/{shipment}/claim", get(claims::show).post(claims::create))
        // Settlements
        .route("/settlements/drafts/{draft}", get(settlements::show_draft).post(settlements::update_draft))
        .route(
            "/settlements/drafts/{draft}/paper",
            post(settlements::paper).layer(DefaultBodyLimit::disable()),
        )
        .route("/settlements/drafts/{draft}/review", get(settlements::review))
        .route("/settlements/drafts/{draft}/save", post(settlements::save))
        .route("/settlements/drafts/{draft}/discard", post(settlements::discard))
        .route("/settlements/{settlement}", get(settlements::show))
        .route("/settlements/{settlement}/correct", post(settlements::correct))
        .route("/settlements/{settlement}/letter", get(settlements::letter))
        .route("/settlements/{settlement}/paper", get(settlements::file))
        .route("/settlements/{settlement}/withdraw", post(settlements::withdraw))
        // Money
        .route("/money", get(money::index))
        .route("/money/entries", get(money::entries))
        .route("/money/entries/new", get(money::new).post(money::create))
        .route("/money/entries/{entry}", get(money::entry))
        .route("/money/entries/{entry}/undo", post(money::reverse))
        .route("/money/entries/{entry}/rate", post(money::give_rate))
        .route("/money/unrated", get(money::unrated))
        .route("/money/hours", get(money::hours).post(money::write_hours))
        .route("/money/hours/{hours}/undo", post(money::undo_hours))
        .route("/money/shares", get(money::shares))
        .route("/money/split", post(money::set_split))
        .route("/money/payments", post(money::pay))
        .route("/money/book.csv", get(money::csv))
        .route("/money/book.xlsx", get(money::workbook))
        .route("/money/book.beancount", get(money::journal))
        // Prices
        .route("/prices", get(prices::index))
        .route("/prices/{grade}", get(prices::show))
        // Price sheets
        .route("/sheets", get(sheets::index))
        .route(
            "/sheets/new",
            // The handler bounds what it keeps itself, and reads on past that so that a browser sees its answer.
            get(sheets::new).post(sheets::create).layer(DefaultBodyLimit::disable()),
        )
        .route("/sheets/drafts/{draft}", get(sheets::show_draft).post(sheets::update_draft))
        .route("/sheets/drafts/{draft}/discard", post(sheets::discard))
        .route("/sheets/{sheet}", get(sheets::show))
        .route("/sheets/{sheet}/file", get(sheets::file))
        // Containers
        .route("/containers", get(containers::index))
        .route("/containers/{container}", get(containers::open).post(containers::update))
        .route("/containers/{container}/edit", get(containers::edit))
        .route("/containers/{container}/label", get(containers::label))
        .route("/containers/{container}/retire", post(containers::retire))
        .route("/containers/{container}/return", post(containers::bring_back))
        // Grades
        .route("/grades", get(grades::index))
        .route("/grades/new", get(grades::new).post(grades::create))
        .route("/grades/recognise", get(grades::recognise))
        .route("/grades/more", get(grades::more).post(grades::add_more))
        .route("/grades/{grade}", get(grades::show))
        .route("/grades/{grade}/edit", get(grades::edit).post(grades::update))
        .route("/grades/{grade}/retire", post(grades::retire))
        .route("/grades/{grade}/return", post(grades::bring_back))
        // Wire, and what is small and precious
        .route("/wire", get(wire::show))
        .route("/kept-back", get(kept_back::index))
        // Exchange rates
        .route("/rates", get(rates::index).post(rates::create))
        .route("/rates/new", get(rates::new).post(rates::read))
        .route(
            "/rates/lists",
            get(rates::upload_form)
                .post(rates::upload)
                .layer(DefaultBodyLimit::max(LARGEST_LIST + 64 * 1024)),
        )
        .route("/rates/{base}/{quote}", get(rates::history))
        // Shop
        .route("/shop", get(shop::show).post(shop::update))
        .route("/shop/new", get(shop::new).post(shop::create))
        // People and phones
        .route("/people", get(people::index).post(people::create))
        .route("/people/passphrase", get(people::passphrase).post(people::change_passphrase))
        .route("/people/{person}", get(people::show).post(people::update))
        .route("/people/{person}/code", post(people::make_code))
        .route("/people/{person}/leave", post(people::let_go))
        .route("/people/{person}/return", post(people::take_back))
        .route("/phones/{phone}/sign-out", post(people::end_phone))
        .route("/sign-in", get(sign_in::show).post(sign_in::sign_in))
        .route("/sign-out", post(sign_in::sign_out))
        .route("/join", get(join::show).post(join::join))
        // Entries made without a network
        .route("/pad", get(pad::show))
        // What is saved, as it happens
        .route("/live", get(live::listen))
        // Keys for devices
        .route("/keys", get(api_keys::index).post(api_keys::create))
        .route("/keys/{key}/end", post(api_keys::end))
        // The shop's own certificate
        .route("/certificate", get(certificate::show))
        .route("/certificate.crt", get(certificate::download))
        // Backup
        .route("/backup", get(backup::index).post(backup::create))
        .route("/backup/shop", get(backup::export))
        // Activity
        .route("/activity", get(activity::index))
        // Outlets
        .route("/outlets", get(outlets::index))
        .route("/outlets/new", get(outlet_form::new).post(outlet_form::create))
        .route("/outlets/record", get(track::index).post(track::choose))
        .route("/outlets/{outlet}", get(outlets::show))
        .route("/outlets/{outlet}/record", get(track::show))
        .route("/outlets/{outlet}/edit", get(outlet_form::edit).post(outlet_form::update))
        .route("/outlets/{outlet}/roads", get(roads::edit).post(roads::update))
        .route("/outlets/{outlet}/close", post(outlets::close))
        .route("/outlets/{outlet}/reopen", post(outlets::reopen))
        // Freight and boxes
        .route("/freight", get(freight::index))
        .route("/freight/services/new", get(service_form::new).post(service_form::create))
        .route("/freight/services/{service}", get(services::show))
        .route("/freight/services/{service}/edit", get(service_form::edit).post(service_form::update))
        .route("/freight/services/{service}/retire", post(services::retire))
        .route("/freight/services/{service}/return", post(services::bring_back))
        .route("/freight/boxes/new", get(cartons::new).post(cartons::create))
        .route("/freight/boxes/{carton}", get(cartons::edit).post(cartons::update))
        .route("/freight/boxes/{carton}/retire", post(cartons::retire))
        .route("/freight/boxes/{carton}/return", post(cartons::bring_back));

    let guarded = Router::new()
        .merge(pages)
        .merge(api::router())
        .fallback(failure::no_such_page)
        // The last layer is the outermost.
        .layer(middleware::from_fn(again::keep_form))
        .layer(middleware::from_fn_with_state(app.clone(), form_token::layer))
        .layer(middleware::from_fn(in_a_task_of_its_own))
        .layer(middleware::from_fn(arrival::in_time))
        .layer(DefaultBodyLimit::max(LARGEST_UPLOAD + 64 * 1024))
        .layer(CsrfLayer::new().with_rejection_response(guard::cross_site))
        .layer(middleware::from_fn(guard::readable_address))
        .layer(middleware::from_fn_with_state(app.clone(), guard::known_host))
        .layer(SetResponseHeaderLayer::if_not_present(
            header::CACHE_CONTROL,
            HeaderValue::from_static("no-store"),
        ))
        .route("/worker.js", get(asset::worker))
        .route("/manifest.webmanifest", get(asset::manifest))
        .route("/static/{file}", get(asset::serve))
        .route("/healthz", get(healthz));

    around(guarded).with_state(app)
}

/// What the plain port answers where the shop is served by HTTPS: how to come to trust it, and the way there.
pub fn plain_router(app: App, target: HttpsAddress) -> Router {
    let mut pages = Router::new();
    if app.config.root.is_some() {
        pages = pages
            .route("/certificate", get(certificate::show))
            .route("/certificate.crt", get(certificate::download));
    }
    let pages = pages
        .fallback(move |request: Request| certificate::to_https(target, request))
        .layer(middleware::from_fn_with_state(app.clone(), guard::known_host))
        .layer(SetResponseHeaderLayer::if_not_present(
            header::CACHE_CONTROL,
            HeaderValue::from_static("no-store"),
        ))
        .route("/static/{file}", get(asset::serve))
        .route("/healthz", get(healthz));
    around(pages).with_state(app)
}

/// The layers around everything that is answered.
fn around(router: Router<App>) -> Router<App> {
    router.layer(
        ServiceBuilder::new()
            .layer(SetRequestIdLayer::x_request_id(MakeRequestUuid))
            .layer(TraceLayer::new_for_http().make_span_with(|request: &Request| {
                let id = request.headers().get("x-request-id").and_then(|id| id.to_str().ok()).unwrap_or("-");
                info_span!("request", id, method = %request.method(), path = request.uri().path())
            }))
            .layer(PropagateRequestIdLayer::x_request_id())
            .layer(middleware::map_response(guard::headers))
            .layer(middleware::from_fn(failure::log_cause))
            .layer(CatchPanicLayer::custom(failure::panicked))
            .layer(CompressionLayer::new())
            .layer(middleware::map_response(failure::worded)),
    )
}

/// Runs the handler in a task of its own, so that a phone that drops off the wifi does not cancel it between two
/// statements of a transaction. The time limit stands outside: it gives the phone an answer, not the work an end.
async fn in_a_task_of_its_own(request: Request, next: Next) -> Response {
    let work = tokio::spawn(next.run(request));
    match tokio::time::timeout(Duration::from_secs(60), work).await {
        Ok(Ok(response)) => response,
        Ok(Err(broken)) => match broken.try_into_panic() {
            // The layer outside turns it into a page.
            Ok(panic) => std::panic::resume_unwind(panic),
            Err(_) => StatusCode::SERVICE_UNAVAILABLE.into_response(),
        },
        Err(_) => failure::too_slow(),
    }
}

/// Whether the program and its database answer, for a supervisor.
async fn healthz(State(app): State<App>) -> Response {
    match app.store.answers().await {
        Ok(()) => "ok\n".into_response(),
        Err(error) => {
            warn!(%error, "the database does not answer");
            (StatusCode::SERVICE_UNAVAILABLE, "the database does not answer\n").into_response()
        }
    }
}
