//! Codes that somebody reads off another screen, and how often an address may try them.

use axum::http::request::Parts;
use jiff::Timestamp;
use tracing::warn;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::session;
use crate::secret::Code;
use crate::store::StoreError;
use crate::store::codes::GoodCode;
use crate::store::tries::Tried;

/// Counts one more try; `Err` with the words for it where there were too many.
pub async fn may_try(app: &App, tried: Tried<'_>, now: Timestamp) -> Result<Result<(), String>, StoreError> {
    let counted = app.store.count_try(tried, now).await?;
    Ok(counted.map_err(|wait| format!("Too many tries. Wait {} minutes.", wait.as_mins().max(0) + 1)))
}

/// The code in the form, if it is good and `fits` what the page is for. Otherwise the form says what is wrong, with
/// `advice` on what to do.
pub async fn brought(
    app: &App,
    parts: &Parts,
    form: &mut Form,
    fits: impl Fn(&GoodCode) -> bool,
    advice: &str,
) -> Result<Option<(Code, GoodCode)>, Failure> {
    let now = Timestamp::now();
    let from = session::address(app, parts);
    if let Err(too_many) = may_try(app, Tried::Address(&from), now).await? {
        warn!(from, "a code was refused: too many tries");
        form.refuse("code", too_many);
        return Ok(None);
    }
    if let Some(code) = Code::typed(form.value("code"))
        && let Some(good) = app.store.code(&code.hash(), now).await?
        && fits(&good)
    {
        app.store.forget_tries(Tried::Address(&from)).await?;
        return Ok(Some((code, good)));
    }
    warn!(from, "a code was refused: it is not good");
    form.refuse("code", format!("That code is not good: {advice}"));
    Ok(None)
}
