//! What a phone sends has to arrive within a time: one that sends a byte now and then holds nothing for long.

use std::io;
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::extract::Request;
use axum::middleware::Next;
use axum::response::Response;
use futures_util::{Stream, StreamExt, stream};
use tokio::time::{Instant, timeout_at};

/// As long as the answer is waited for: what arrives later is answered to nobody.
const LONGEST: Duration = Duration::from_secs(60);

pub async fn in_time(request: Request, next: Next) -> Response {
    let (head, body) = request.into_parts();
    let body = Body::from_stream(bounded(body.into_data_stream(), Instant::now() + LONGEST));
    next.run(Request::from_parts(head, body)).await
}

/// The same, cut off by an error at `last`.
fn bounded<S>(body: S, last: Instant) -> impl Stream<Item = Result<Bytes, axum::Error>> + Send + 'static
where
    S: Stream<Item = Result<Bytes, axum::Error>> + Send + Unpin + 'static,
{
    let data = stream::unfold(Some(body), move |body| async move {
        let mut body = body?;
        match timeout_at(last, body.next()).await {
            Ok(data) => data.map(|data| (data, Some(body))),
            Err(_) => Some((Err(axum::Error::new(io::Error::from(io::ErrorKind::TimedOut))), None)),
        }
    });
    // Some readers ask once more after the end.
    data.fuse()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn what_drips_in_is_cut_off_and_what_comes_in_time_is_whole() {
        let drops = || {
            Box::pin(stream::unfold(0_u8, |nth| async move {
                tokio::time::sleep(Duration::from_millis(20)).await;
                (nth < 10).then(|| (Ok(Bytes::from(vec![nth])), nth + 1))
            }))
        };
        let in_time: Vec<_> = bounded(drops(), Instant::now() + Duration::from_secs(30)).collect().await;
        assert!(in_time.len() == 10 && in_time.iter().all(Result::is_ok));
        let late: Vec<_> = bounded(drops(), Instant::now() + Duration::from_millis(70)).collect().await;
        assert!(late.len() < 10 && late.last().is_some_and(Result::is_err), "{late:?}");
    }
}
