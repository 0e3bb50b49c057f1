//! Bytes to text: UTF-8, UTF-16 in either order, Windows-1252, or what Central Europe wrote in before.

use encoding_rs::{Encoding, ISO_8859_2, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1250, WINDOWS_1252};

/// So many signs within words show that the words were written in another encoding.
const FEWEST_STRAY: usize = 3;

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
    let mut tidy = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            // Letters that a typesetter joined.
            'ﬀ' => tidy.push_str("ff"),
            'ﬁ' => tidy.push_str("fi"),
            'ﬂ' => tidy.push_str("fl"),
            'ﬃ' => tidy.push_str("ffi"),
            'ﬄ' => tidy.push_str("ffl"),
            'ﬅ' | 'ﬆ' => tidy.push_str("st"),
            _ => tidy.push(if is_stray(c) { '\u{fffd}' } else { c }),
        }
    }
    tidy
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
        by_letters(bytes)
    }
}

/// `p³yta` is a word with a sign in it in Windows-1252, and `płyta` in an encoding of Central Europe.
fn by_letters(bytes: &[u8]) -> &'static Encoding {
    let stray = |encoding: &'static Encoding| {
        let text = encoding.decode_without_bom_handling(bytes).0;
        let (before, at) = (text.chars(), text.chars().skip(1));
        let amid = before.zip(at).zip(text.chars().skip(2));
        amid.filter(|((before, c), after)| {
            before.is_alphabetic() && after.is_alphabetic() && is_stray_sign(*c)
        })
        .count()
    };
    let western = stray(WINDOWS_1252);
    // What Windows writes here are controls in the other one.
    let of_windows = bytes.iter().any(|byte| (0x80..0xa0).contains(byte));
    let eastern: &[&'static Encoding] =
        if of_windows { &[WINDOWS_1250] } else { &[WINDOWS_1250, ISO_8859_2] };
    let best = eastern.iter().copied().min_by_key(|encoding| stray(encoding));
    best.filter(|encoding| western >= FEWEST_STRAY && stray(encoding) * 4 <= western).unwrap_or(WINDOWS_1252)
}

/// A sign that no word has within it.
fn is_stray_sign(c: char) -> bool {
    !c.is_ascii() && !c.is_alphabetic() && !matches!(c, '‘' | '’' | '·' | '–' | '—' | '\u{ad}' | '\u{a0}')
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
        check(b"p\xb3yty g\xb3\xf3wne, mied\x9f, mosi\xb9dz", "płyty główne, miedź, mosiądz");
        let spanish = b"\xbfTienes cobre? \xbfLat\xf3n? \xbfCa\xf1o?";
        check(spanish, "¿Tienes cobre? ¿Latón? ¿Caño?");
        check(b"p\xb3yty g\xb3\xf3wne, mied\xbc, mosi\xb1dz", "płyty główne, miedź, mosiądz");
        check(
            b"Fl\xe4che 3 m\xb2, N\xb0 1, 8\xbd c, 1\xaa, Tel.\xa0555 \x96 \x80",
            "Fläche 3 m², N° 1, 8½ c, 1ª, Tel.\u{a0}555 – €",
        );
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
