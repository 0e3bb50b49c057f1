//! What a workbook's ZIP archive unpacks to, measured before anything in it is trusted.

use std::io::{Cursor, Read};

use zip::ZipArchive;
use zip::result::ZipError;

use crate::format::Unreadable;

/// All parts of a workbook together, unpacked.
const LARGEST_UNPACKED: u64 = 64 * 1024 * 1024;
/// So much of a manifest is looked at.
const LONGEST_MANIFEST: u64 = 1024 * 1024;
/// A price sheet's workbook has some tens of parts.
const MOST_PARTS: usize = 2_000;

/// Unpacks every part once within the bound, because the sizes that an archive declares may be lies.
pub(super) fn check(bytes: &[u8]) -> Result<(), Unreadable> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|error| damaged(&error))?;
    if archive.len() > MOST_PARTS {
        return Err(Unreadable::UnpacksTooLarge);
    }
    if is_encrypted(&mut archive) {
        return Err(Unreadable::Encrypted);
    }
    let mut left = LARGEST_UNPACKED;
    let mut content = Vec::new();
    for index in 0..archive.len() {
        let part = archive.by_index(index).map_err(|error| damaged(&error))?;
        if part.encrypted() {
            return Err(Unreadable::Encrypted);
        }
        if part.size() > left {
            return Err(Unreadable::UnpacksTooLarge);
        }
        let name = part.name().map_err(|error| damaged(&error))?.to_ascii_lowercase();
        content.clear();
        let read = part.take(left + 1).read_to_end(&mut content);
        left = left.checked_sub(content.len() as u64).ok_or(Unreadable::UnpacksTooLarge)?;
        // A damaged picture does not matter, a damaged sheet does.
        if name.ends_with(".xml") || name.ends_with(".rels") {
            read.map_err(|_| Unreadable::Damaged("a part of the workbook does not unpack".into()))?;
            xml(&content)?;
        }
    }
    Ok(())
}

/// Whether the manifest of an OpenDocument says how its parts are encrypted: those are then no XML to look at.
fn is_encrypted(archive: &mut ZipArchive<Cursor<&[u8]>>) -> bool {
    const MARK: &[u8] = b"encryption-data";
    let mut manifest = Vec::new();
    let read = archive
        .by_name("META-INF/manifest.xml")
        .is_ok_and(|part| part.take(LONGEST_MANIFEST).read_to_end(&mut manifest).is_ok());
    read && manifest.windows(MARK.len()).any(|window| window == MARK)
}

fn damaged(error: &ZipError) -> Unreadable {
    match error {
        ZipError::UnsupportedArchive(reason) if *reason == ZipError::PASSWORD_REQUIRED => {
            Unreadable::Encrypted
        }
        _ => Unreadable::Damaged("its archive has no proper end".into()),
    }
}

/// Refuses what would make the XML reader set aside more memory than the part can fill: a count of strings larger
/// than the part itself, and text in two bytes a character, in which such a count could hide.
fn xml(content: &[u8]) -> Result<(), Unreadable> {
    if content.iter().take(4).any(|byte| *byte == 0 || *byte >= 0xfe) {
        return Err(Unreadable::Damaged("a part of the workbook is not in UTF-8".into()));
    }
    const COUNT: &[u8] = b"uniqueCount";
    let mut rest = content;
    while let Some(at) = rest.windows(COUNT.len()).position(|window| window == COUNT) {
        rest = &rest[at + COUNT.len()..];
        let digits = rest
            .iter()
            .skip_while(|byte| byte.is_ascii_whitespace() || matches!(byte, b'=' | b'"' | b'\'' | b'+'))
            .take_while(|byte| byte.is_ascii_digit());
        let count = digits
            .fold(0usize, |count, digit| count.saturating_mul(10).saturating_add((digit - b'0').into()));
        if count > content.len() {
            return Err(Unreadable::Damaged("it counts more texts than it holds".into()));
        }
    }
    Ok(())
}
