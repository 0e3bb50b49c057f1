//! A form with a file in it.

use axum::extract::multipart::Field;
use axum::extract::{FromRequest, Multipart, Request};
use axum::http::StatusCode;

use super::failure::Failure;
use super::form::Form;

/// What a body that is too large is read up to, without being kept: a browser that is still sending shows no answer.
const LARGEST_DRAINED: usize = 128 * 1024 * 1024;
/// The longest value of a field other than the file and a pasted text.
const LONGEST_FIELD: usize = 1024;
/// The longest file name that is kept, in characters.
const LONGEST_NAME: usize = 120;
const MEGABYTE: usize = 1024 * 1024;

/// The form as a browser sends it with a file in it, which may have `MOST` bytes.
pub struct Upload<const MOST: usize> {
    pub form: Form,
    pub file: Option<File>,
    /// The field, the file's or the text's, that went beyond `MOST` and was not kept.
    pub too_large: Option<&'static str>,
}

pub struct File {
    pub name: String,
    pub bytes: Vec<u8>,
}

impl<S: Send + Sync, const MOST: usize> FromRequest<S> for Upload<MOST> {
    type Rejection = Failure;

    async fn from_request(request: Request, state: &S) -> Result<Self, Failure> {
        let mut parts = Multipart::from_request(request, state).await.map_err(|_| cut_short())?;
        let mut upload = Upload { form: Form::default(), file: None, too_large: None };
        let mut room = LARGEST_DRAINED;
        while let Some(field) = parts.next_field().await.map_err(|_| cut_short())? {
            upload.take(field, &mut room).await?;
        }
        Ok(upload)
    }
}

impl<const MOST: usize> Upload<MOST> {
    async fn take(&mut self, field: Field<'_>, room: &mut usize) -> Result<(), Failure> {
        let name = field.name().unwrap_or_default().to_string();
        let file_name = field.file_name().map(clean_name);
        let most = if matches!(name.as_str(), "file" | "text") { MOST } else { LONGEST_FIELD };
        let (bytes, whole) = read_field(field, most, room).await?.ok_or_else(far_too_large::<MOST>)?;
        match (name.as_str(), file_name) {
            // A file field that was left alone comes with an empty name.
            ("file", Some(file_name)) if !file_name.is_empty() || !bytes.is_empty() => {
                if !whole {
                    self.too_large = Some("file");
                }
                self.file = Some(File { name: file_name, bytes });
            }
            ("file", _) => {}
            ("text", _) if !whole => self.too_large = Some("text"),
            (_, _) if whole => self.form.set(&name, String::from_utf8_lossy(&bytes)),
            _ => return Err(cut_short()),
        }
        Ok(())
    }
}

/// The bytes of a field, and whether they are all of it: what is beyond `most` is read and dropped, as long as there
/// is `room` for it; nothing where there is not.
async fn read_field(
    mut field: Field<'_>,
    most: usize,
    room: &mut usize,
) -> Result<Option<(Vec<u8>, bool)>, Failure> {
    let mut bytes = Vec::new();
    let mut whole = true;
    while let Some(chunk) = field.chunk().await.map_err(|_| cut_short())? {
        let Some(left) = room.checked_sub(chunk.len()) else { return Ok(None) };
        *room = left;
        whole &= bytes.len() + chunk.len() <= most;
        if whole {
            bytes.extend_from_slice(&chunk);
        } else {
            bytes = Vec::new();
        }
    }
    Ok(Some((bytes, whole)))
}

/// The last part of the name, as some browsers send a whole path, without control characters.
fn clean_name(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    last.chars().filter(|c| !c.is_control()).take(LONGEST_NAME).collect()
}

fn cut_short() -> Failure {
    Failure::refused(
        StatusCode::BAD_REQUEST,
        "The upload was cut short",
        "It did not arrive to its end, so nothing was saved. Go back and send it again.",
    )
}

fn far_too_large<const MOST: usize>() -> Failure {
    let most = MOST / MEGABYTE;
    Failure::refused(
        StatusCode::PAYLOAD_TOO_LARGE,
        "That is far too large",
        format!("A file here may have {most} MB. Nothing was saved. Go back and send a smaller one."),
    )
}
