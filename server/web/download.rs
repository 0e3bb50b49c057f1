//! Files that are put together on the disk and sent from there, so that none has to fit into memory.

use std::fs::File;
use std::io::{self, Read};

use axum::body::Bytes;
use futures_util::{Stream, stream};

/// What goes out at a time.
const CHUNK: usize = 64 * 1024;

/// A file from where it stands to its end, in pieces.
pub fn chunks(file: File) -> impl Stream<Item = io::Result<Bytes>> + Send {
    stream::try_unfold(file, async |file| {
        let read = tokio::task::spawn_blocking(move || {
            let mut file = file;
            let mut bytes = vec![0; CHUNK];
            let read = file.read(&mut bytes)?;
            bytes.truncate(read);
            Ok((read > 0).then(|| (Bytes::from(bytes), file)))
        });
        read.await.map_err(io::Error::other)?
    })
}
