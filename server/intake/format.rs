//! What kind of file the bytes are: by what they hold; the name is only a hint between two kinds of text.

use serde::{Deserialize, Serialize};

use crate::{decode, delimited, web_page};

/// The largest file that is looked at.
pub const LARGEST_FILE: usize = 10 * 1024 * 1024;

/// A kind of file that can be read. Each has a file of its own in this crate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Format {
    /// Cells between commas, semicolons, tabs or bars.
    Delimited,
    Workbook(WorkbookKind),
    /// HTML, a whole page or a piece of one.
    WebPage,
    Pdf,
    /// A photo or a scan.
    Photo,
    /// Lines as people write or paste them.
    Text,
}

/// Whose workbook it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WorkbookKind {
    /// XLSX, and XLSM without its macros.
    Xlsx,
    /// The workbook of older Excel versions.
    Xls,
    /// OpenDocument.
    Ods,
}

/// Why a file cannot be read at all, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
#[serde(rename_all = "kebab-case")]
pub enum Unreadable {
    #[error("The file is empty. Choose the file again, or paste the prices as text.")]
    Empty,
    #[error("The file is larger than 10 MB, which no price sheet is. Save only the sheet with the prices.")]
    TooLarge,
    #[error("The file is {looks_like}, which is not read. {instead}")]
    NotASheet { looks_like: String, instead: String },
    #[error("The file is damaged or was not uploaded to its end ({0}). Save it again and upload it again.")]
    Damaged(String),
    #[error(
        "This box has no program that reads pictures. Type or paste the prices that it shows, or install tesseract-ocr."
    )]
    NoRecogniser,
    #[error("The file is protected by a password. Save it without one and upload that.")]
    Encrypted,
    #[error(
        "The workbook unpacks to more than 64 MB, which no price sheet does. Save only the prices as CSV."
    )]
    UnpacksTooLarge,
    #[error(
        "The workbook holds more text than a price sheet can. Delete the sheets and rows without prices."
    )]
    TooManyCells,
}

/// The kind of file that `bytes` are.
pub fn detect(name: &str, bytes: &[u8]) -> Result<Format, Unreadable> {
    if bytes.len() > LARGEST_FILE {
        return Err(Unreadable::TooLarge);
    }
    if bytes.iter().all(|b| b.is_ascii_whitespace() || *b == 0) {
        return Err(Unreadable::Empty);
    }
    if bytes.starts_with(b"PK") {
        return zipped(bytes);
    }
    let encrypted: Vec<u8> = "EncryptedPackage".encode_utf16().flat_map(u16::to_le_bytes).collect();
    if bytes.starts_with(OLE) && holds(bytes, &encrypted) {
        return Err(Unreadable::Encrypted);
    }
    if bytes.starts_with(OLE) {
        return old_office(bytes);
    }
    if bytes[..bytes.len().min(1_024)].windows(5).any(|start| start == b"%PDF-") {
        return Ok(Format::Pdf);
    }
    if PICTURES.iter().any(|start| bytes.starts_with(start)) || is_webp(bytes) {
        return Ok(Format::Photo);
    }
    if let Some((looks_like, instead)) = known_other(bytes) {
        return Err(not_a_sheet(looks_like, instead));
    }
    let Some(text) = decode::text(bytes) else {
        return Err(not_a_sheet(
            "no text and no workbook",
            "Upload a CSV or XLSX file, or paste the prices.",
        ));
    };
    if text.text.chars().all(char::is_whitespace) {
        return Err(Unreadable::Empty);
    }
    if web_page::looks_like_html(&text.text) {
        return Ok(Format::WebPage);
    }
    let named = name.rsplit_once('.').map(|(_, end)| end.to_ascii_lowercase());
    let named_delimited = matches!(named.as_deref(), Some("csv" | "tsv" | "tab"));
    let delimiter = delimited::delimiter(&text.text, named_delimited);
    Ok(if delimiter.is_some() { Format::Delimited } else { Format::Text })
}

/// Workbooks, documents and plain archives all begin alike; the names of their parts tell them apart.
fn zipped(bytes: &[u8]) -> Result<Format, Unreadable> {
    let holds = |needle: &str| holds(bytes, needle.as_bytes());
    if holds("xl/workbook.xml") || holds("xl/worksheets/") {
        return Ok(Format::Workbook(WorkbookKind::Xlsx));
    }
    if holds("opendocument.spreadsheet") {
        return Ok(Format::Workbook(WorkbookKind::Ods));
    }
    Err(if holds("xl/workbook.bin") {
        not_a_sheet("a binary Excel workbook", "Save it as XLSX or CSV and upload that.")
    } else if holds("word/document.xml") {
        not_a_sheet("a Word document", "Copy its text and paste it.")
    } else if holds("[Content_Types].xml") {
        Unreadable::Damaged("it begins like a workbook, but the workbook is missing".into())
    } else {
        not_a_sheet("a ZIP archive", "Unpack it and upload the price sheet in it.")
    })
}

/// Old workbooks and old documents come in one container; the names of its streams tell them apart.
fn old_office(bytes: &[u8]) -> Result<Format, Unreadable> {
    let named = |name: &str| {
        let name: Vec<u8> = name.encode_utf16().flat_map(u16::to_le_bytes).collect();
        holds(bytes, &name)
    };
    if named("Workbook") || named("Book") {
        Ok(Format::Workbook(WorkbookKind::Xls))
    } else if named("WordDocument") {
        Err(not_a_sheet("an old Word document", "Copy its text and paste it."))
    } else {
        Err(not_a_sheet("an old Office file without a workbook", "Save it as XLSX or CSV and upload that."))
    }
}

fn holds(bytes: &[u8], needle: &[u8]) -> bool {
    bytes.windows(needle.len()).any(|window| window == needle)
}

/// How the containers of older office programs begin; workbooks with a password come in one, too.
const OLE: &[u8] = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1";

/// How the pictures that are read begin: PNG, JPEG, GIF and TIFF of either byte order.
const PICTURES: [&[u8]; 5] = [b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"II*\0", b"MM\0*"];

fn is_webp(bytes: &[u8]) -> bool {
    bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP")
}

/// Kinds of file known by their first bytes (each format's own published signature).
fn known_other(bytes: &[u8]) -> Option<(&'static str, &'static str)> {
    const PASTE: &str = "Open it, copy its text and paste it.";
    const PHOTO: &str = "Send it as JPEG or PNG, or paste the prices that it shows.";
    let kinds: [(&[u8], &str, &str); 3] = [
        (b"{\\rtf", "a rich-text document", PASTE),
        (b"\0\0\0\x18ftyp", "a photo or film of a kind that is not read", PHOTO),
        (b"\x1f\x8b", "a packed archive", "Unpack it and upload the price sheet in it."),
    ];
    kinds.into_iter().find(|(start, ..)| bytes.starts_with(start)).map(|(_, kind, instead)| (kind, instead))
}

fn not_a_sheet(looks_like: &str, instead: &str) -> Unreadable {
    Unreadable::NotASheet { looks_like: looks_like.into(), instead: instead.into() }
}
