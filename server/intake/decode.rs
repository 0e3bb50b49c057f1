//! Bytes to text: UTF-8, UTF-16 in either order, or Windows-1252.

use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

/// The text of a file, without its byte order mark, and with `\n` at the end of each line.
///
/// Control characters other than tab and line ends become `�`: they have no meaning on a price sheet, and a NUL
/// cannot be stored as text.
#[derive(Debug)]
pub(crate) struct Decoded {
    pub text: String,
    /// Some bytes were no character of the encoding.
    pub damaged: bool,
}

/// `None` where the bytes are no text in any of the encodings.
pub(crate) fn text(bytes: &[u8]) -> Option<Decoded> {
    let (encoding, mark) = Encoding::for_bom(bytes).unwrap_or_else(|| (guess(bytes), 0));
    let (text, damaged) = encoding.decode_without_bom_handling(&bytes[mark..]);
    let controls = text.chars().filter(|c| is_stray(*c)).count();
    if controls * 20 > text.chars().count() {
        return None;
    }
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    Some(Decoded { text: tidy(&text), damaged })
}

/// Replaces control characters; see [`Decoded`].
pub(crate) fn tidy(text: &str) -> String {
    text.chars().map(|c| if is_stray(c) { '\u{fffd}' } else { c }).collect()
}

fn is_stray(c: char) -> bool {
    c.is_control() && !matches!(c, '\t' | '\n' | '\r')
}

/// Without a byte order mark, UTF-16 shows by its NULs: on one side of each pair in any Western text.
fn guess(bytes: &[u8]) -> &'static Encoding {
    let sample = &bytes[..bytes.len().min(4096)];
    let nuls = |offset: usize| sample.iter().skip(offset).step_by(2).filter(|b| **b == 0).count();
    let pairs = sample.len() / 2;
    if pairs > 0 && nuls(1) * 10 > pairs * 6 && nuls(0) == 0 {
        UTF_16LE
    } else if pairs > 0 && nuls(0) * 10 > pairs * 6 && nuls(1) == 0 {
        UTF_16BE
    } else if std::str::from_utf8(bytes).is_ok() {
        UTF_8
    } else {
        WINDOWS_1252
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(bytes: &[u8], expect: &str) {
        assert_eq!(text(bytes).map(|decoded| decoded.text).as_deref(), Some(expect));
    }

    #[test]
    fn each_encoding() {
        check("Kabel 5,80 €".as_bytes(), "Kabel 5,80 €");
        check(b"\xef\xbb\xbfCopper", "Copper");
        check(b"5,80 \x80", "5,80 €");
        check(b"\xff\xfeC\0u\0", "Cu");
        check(b"\xfe\xff\0C\0u", "Cu");
        check(b"C\0o\0p\0p\0e\0r\0", "Copper");
    }

    #[test]
    fn half_a_character_at_the_end_is_marked() {
        let decoded = text(b"\xff\xfeC\0u\0x").unwrap();
        assert_eq!((decoded.text.as_str(), decoded.damaged), ("Cu\u{fffd}", true));
    }

    #[test]
    fn bytes_that_are_no_text() {
        assert!(text(&[1, 2, 3, 4, 5, 6, 7, 8]).is_none());
        check(b"one stray \0 in a long enough line", "one stray \u{fffd} in a long enough line");
    }
}
