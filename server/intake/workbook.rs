//! XLSX workbooks.

use crate::document::Document;
use crate::format::Unreadable;

pub(crate) fn parse(_bytes: &[u8]) -> Result<Document, Unreadable> {
    Err(Unreadable::Encrypted)
}
