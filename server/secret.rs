//! What lets somebody in: the token in a phone's cookie, and codes that are read off a screen. Only their hashes are
//! kept, so that whoever reads the record cannot use them.

use std::fmt::{self, Display, Write};

use sha2::{Digest, Sha256};

/// A random 256-bit value that a phone keeps.
#[derive(Clone, PartialEq, Eq)]
pub struct Token(String);

impl Token {
    /// A new one.
    ///
    /// # Panics
    /// When the system gives no random numbers: nothing that needs a secret could go on safely.
    pub fn random() -> Token {
        Token(hex(&random_bytes::<32>()))
    }

    /// The token that a phone brings; `None` if it cannot be one.
    pub fn brought(text: &str) -> Option<Token> {
        let is_one =
            text.len() == 64 && text.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b));
        is_one.then(|| Token(text.to_string()))
    }

    /// What is put into the cookie.
    pub fn text(&self) -> &str {
        &self.0
    }

    /// The form that is kept.
    pub fn hash(&self) -> String {
        sha256(&self.0)
    }

    /// What every form of this phone carries, so that no other site can send one: it can be worked out from the cookie,
    /// which other sites cannot read, and gives nothing away of it.
    pub fn form_token(&self) -> String {
        sha256(&format!("form {}", self.0))[..32].to_string()
    }
}

impl fmt::Debug for Token {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Token(…)")
    }
}

/// Digits and letters without those that are taken for others, in the manner of Crockford's Base32.
const ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const CODE_LENGTH: usize = 12;

/// A code of 60 bits that a person can read off one screen and type into another.
#[derive(Clone, PartialEq, Eq)]
pub struct Code(String);

impl Code {
    /// A new one; panics as [`Token::random`] does.
    pub fn random() -> Code {
        let bytes = random_bytes::<CODE_LENGTH>();
        // 256 is a multiple of 32, so every letter is as likely as the others.
        Code(bytes.iter().map(|byte| char::from(ALPHABET[usize::from(byte % 32)])).collect())
    }

    /// The code that somebody typed, however they wrote it; `None` if it cannot be one.
    pub fn typed(text: &str) -> Option<Code> {
        let code: String = text
            .chars()
            .filter(|c| !matches!(c, ' ' | '-' | '\u{a0}' | '\u{2013}'))
            .take(CODE_LENGTH + 1)
            .map(|c| match c.to_ascii_uppercase() {
                'O' => '0',
                'I' | 'L' => '1',
                other => other,
            })
            .collect();
        let is_one = code.len() == CODE_LENGTH && code.bytes().all(|byte| ALPHABET.contains(&byte));
        is_one.then_some(Code(code))
    }

    pub fn hash(&self) -> String {
        sha256(&self.0)
    }
}

/// In groups of four: `7K4M-Q2TD-0XHV`.
impl Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, letter) in self.0.chars().enumerate() {
            if index > 0 && index % 4 == 0 {
                f.write_char('-')?;
            }
            f.write_char(letter)?;
        }
        Ok(())
    }
}

impl fmt::Debug for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Code(…)")
    }
}

/// The SHA-256 of a text, in hexadecimal.
pub fn sha256(text: &str) -> String {
    hex(&Sha256::digest(text))
}

fn random_bytes<const N: usize>() -> [u8; N] {
    let mut bytes = [0; N];
    if let Err(error) = getrandom::fill(&mut bytes) {
        panic!("the system gives no random numbers: {error}");
    }
    bytes
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_is_read_however_it_is_typed() {
        let code = Code::random();
        let shown = code.to_string();
        assert_eq!(shown.len(), 14);
        for typed in [shown.clone(), shown.to_lowercase(), shown.replace('-', ""), shown.replace('-', " ")] {
            assert_eq!(Code::typed(&typed), Some(code.clone()), "{typed}");
        }
        assert_eq!(Code::typed("OIl0-0000-0000"), Code::typed("0110 0000 0000"));
        for typed in ["", "7K4M", "7K4M-Q2TD-0XHU", "7K4M-Q2TD-0XHV-1", "ünö", &"0".repeat(100_000)] {
            assert_eq!(Code::typed(typed), None);
        }
    }

    #[test]
    fn tokens_and_codes_do_not_show_themselves_in_a_log() {
        let (token, code) = (Token::random(), Code::random());
        assert_eq!(format!("{token:?} {code:?}"), "Token(…) Code(…)");
        assert_ne!(token.text(), Token::random().text());
        assert_eq!(Token::brought(token.text()), Some(token.clone()));
        for wrong in
            ["", &token.text()[1..], &token.text().to_uppercase().replace(char::is_numeric, "A"), "💥"]
        {
            assert_eq!(Token::brought(wrong), None, "{wrong}");
        }
    }

    /// The example of FIPS 180-2, appendix B.1, from memory.
    #[test]
    fn a_hash_is_a_sha_256() {
        assert_eq!(sha256("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }
}
