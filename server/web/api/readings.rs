//! What a scale shows, from its bridge.

use axum::Json;
use axum::extract::State;
use axum::extract::rejection::JsonRejection;
use serde::{Deserialize, Serialize};
use trade::reading::{self, Reading};
use utoipa::ToSchema;

use super::weighings::{malformed, refused_reading};
use super::{Device, Problem};
use crate::store::is_id;
use crate::web::App;

/// What a scale shows.
#[derive(Debug, Deserialize, ToSchema)]
pub struct NewReading {
    /// A UUID that the bridge makes: a reading that is sent twice is the same one.
    #[schema(format = "uuid")]
    id: String,
    /// With its unit: `1.24 kg`, `645.2 oz`.
    reading: String,
}

/// A reading that the shop's phones are offered.
#[derive(Debug, Serialize, ToSchema)]
pub struct ReadingBody {
    id: String,
    reading: String,
    grams: String,
}

/// Shows the shop's phones what a scale shows, for two minutes or until it shows something else. Nothing is put on a lot
/// by it: a partner takes it over, or does not. The scale is called what its key is called.
#[utoipa::path(post, path = "/api/v1/readings", tag = "readings", request_body = NewReading,
    responses((status = 200, body = ReadingBody), (status = 400, body = Problem), (status = 401, body = Problem),
        (status = 403, body = Problem), (status = 422, description = "It is no weight.", body = Problem)))]
pub async fn create(
    State(app): State<App>,
    device: Device,
    body: Result<Json<NewReading>, JsonRejection>,
) -> Result<Json<ReadingBody>, Problem> {
    let Json(NewReading { id, reading }) = body.map_err(|error| malformed(error.body_text()))?;
    if !is_id(&id) {
        return Err(malformed("`id` has to be a UUID in lower case that the bridge makes."));
    }
    // A scale shows decimal pounds as such; nobody has typed them.
    let mass = match reading::read(&reading) {
        Ok(Reading::Sure { meaning, .. }) => meaning.mass,
        Ok(Reading::Ask { why, .. }) => return Err(refused_reading(why)),
        Err(problem) => return Err(refused_reading(problem.to_string())),
    };
    let reading = reading.trim().to_string();
    app.store.keep_scale_reading(&device.visitor.by(), &device.key_id, &id, &reading).await?;
    Ok(Json(ReadingBody { id, reading, grams: mass.grams().normalize().to_string() }))
}
