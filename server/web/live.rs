//! What one partner saves, told to every open page of the shop as it happens (server-sent events of the HTML standard).
//!
//! An event says only who changed what kind of thing; the page fetches itself once more and takes over what is new.

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::State;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::{Stream, StreamExt};
use jiff::Timestamp;
use serde::Serialize;
use tokio_stream::wrappers::errors::BroadcastStreamRecvError;
use tokio_stream::wrappers::{BroadcastStream, WatchStream};

use super::App;
use super::page::{Anyone, Visitor};
use super::session;
use crate::store::Change;
use crate::store::activity::Noun;

/// Said so often that nothing between phone and box takes the line for dead.
const BREATH: Duration = Duration::from_secs(15);

/// Somebody changed something.
#[derive(Serialize)]
struct Changed<'a> {
    who: &'a str,
    what: Noun,
}

pub async fn listen(
    State(app): State<App>,
    Anyone(visitor): Anyone,
    headers: axum::http::HeaderMap,
) -> Response {
    let token = session::token(&app, &headers).map(|token| token.hash()).unwrap_or_default();
    // Listening starts before the answer does: what is saved from then on is heard.
    let changes = BroadcastStream::new(app.store.news().listen());
    let closing = WatchStream::from_changes(app.closing.subscribe());
    let events = events(app, visitor, token, changes);
    // A box that is to stop does not wait for phones that only listen.
    let until_closing = events.take_until(async move {
        let mut closing = closing;
        closing.next().await
    });
    Sse::new(until_closing).keep_alive(KeepAlive::new().interval(BREATH)).into_response()
}

fn events(
    app: App,
    visitor: Visitor,
    token: String,
    changes: BroadcastStream<Change>,
) -> impl Stream<Item = Result<Event, Infallible>> {
    let of_this_shop = changes.filter_map(move |change| {
        let (app, visitor, token) = (app.clone(), visitor.clone(), token.clone());
        async move {
            match change {
                Ok(change) if change.shop_id != visitor.shop.id => None,
                Ok(change) => Some(heard(&app, &visitor, &token, &change).await),
                // Too much at once for this phone: it is told that something changed, and looks for itself.
                Err(BroadcastStreamRecvError::Lagged(_)) => {
                    Some(Some(Event::default().event("change").data("{}")))
                }
            }
        }
    });
    // `None` once the phone has been signed out: then there is no more for it.
    of_this_shop
        .take_while(|event| std::future::ready(event.is_some()))
        .filter_map(async |event| event.map(Ok))
}

async fn heard(app: &App, visitor: &Visitor, token: &str, change: &Change) -> Option<Event> {
    if matches!(change.noun, Noun::Session | Noun::Partner) {
        app.store.signed_in(token, Timestamp::now()).await.ok()??;
    }
    let who = app.store.person(&visitor.shop.id, &change.partner_id).await;
    let who = who.map_or_else(|_| "Somebody".to_string(), |record| record.partner.name);
    let changed = Changed { who: &who, what: change.noun };
    Some(Event::default().event("change").json_data(changed).unwrap_or_default())
}
