//! Passphrases: which are good enough, how they are kept, and whether one is right.
//!
//! Kept as argon2id with the first parameters that the OWASP Password Storage Cheat Sheet recommends (19 MiB, 2 passes,
//! 1 lane: the crate's default). Length and strength rules follow OWASP ASVS 4.0, 2.1: at least 12 characters, up to
//! 128, any character, no rule of composition, but nothing that is guessed soon.

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use tokio::sync::Semaphore;
use unicode_normalization::UnicodeNormalization;
use zxcvbn::Score;

pub const SHORTEST: usize = 12;
pub const LONGEST: usize = 128;

/// Each hash takes 19 MiB for a while: so many are worked out at once, and the others wait.
static AT_ONCE: Semaphore = Semaphore::const_new(2);

/// What a name that nobody has is checked against, so that it takes as long as one that somebody has.
const OF_NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$cGVubnl3ZWlnaHRzYWx0$\
                         RdescudvJCsgt3ub+b9dWRWJTmaaJObGtg3ko+eVUjk";

/// A passphrase that will do. It shows itself nowhere.
#[derive(Clone)]
pub struct Passphrase(String);

impl std::fmt::Debug for Passphrase {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Passphrase(…)")
    }
}

/// Why a passphrase will not do. The text says what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Weakness {
    #[error(
        "That is too short: {SHORTEST} characters are the least. Three or four words that have nothing to do with each other are easy to keep in mind."
    )]
    TooShort,
    #[error("That is too long: {LONGEST} characters are the most.")]
    TooLong,
    #[error("That would be guessed soon. Take three or four words that have nothing to do with each other.")]
    SoonGuessed,
}

impl Passphrase {
    /// Takes a passphrase that is chosen by somebody called one of `names` (their own, the shop's).
    pub fn chosen(typed: &str, names: &[&str]) -> Result<Passphrase, Weakness> {
        let passphrase = Passphrase::typed(typed);
        match passphrase.0.chars().count() {
            ..SHORTEST => return Err(Weakness::TooShort),
            length if length > LONGEST => return Err(Weakness::TooLong),
            _ => {}
        }
        if zxcvbn::zxcvbn(&passphrase.0, names).score() < Score::Three {
            return Err(Weakness::SoonGuessed);
        }
        Ok(passphrase)
    }

    /// A passphrase as it is typed to sign in, good or not. One that is too long to be right is cut, so that nobody can
    /// make the box work on megabytes.
    pub fn typed(typed: &str) -> Passphrase {
        // The same letters from any keyboard: phones differ in how they compose an accent.
        Passphrase(typed.nfkc().take(LONGEST + 1).collect())
    }

    /// The form that is kept.
    pub async fn hash(self) -> String {
        worked_out(move || match Argon2::default().hash_password(self.0.as_bytes()) {
            Ok(hash) => hash.to_string(),
            // Nothing that is typed leads here: lengths are in bounds, and what is left is a system without random
            // numbers for the salt, on which nothing secret can go on.
            Err(error) => panic!("no passphrase can be kept on this system: {error}"),
        })
        .await
    }

    /// Whether this is the passphrase that `kept` was made from. `None` is nobody's: it is wrong, and found to be wrong
    /// in the same time.
    pub async fn is(self, kept: Option<String>) -> bool {
        worked_out(move || {
            let is_somebodys = kept.is_some();
            let kept = kept.as_deref().unwrap_or(OF_NOBODY);
            let right = PasswordHash::new(kept)
                .is_ok_and(|hash| Argon2::default().verify_password(self.0.as_bytes(), &hash).is_ok());
            right && is_somebodys
        })
        .await
    }
}

async fn worked_out<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> T {
    // It is never closed.
    let _permit = AT_ONCE.acquire().await.ok();
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done,
        // The work has panicked, as above, or the program is being stopped: the request ends with either.
        Err(stopped) => match stopped.try_into_panic() {
            Ok(panic) => std::panic::resume_unwind(panic),
            Err(stopped) => panic!("{stopped}"),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_short_long_or_soon_guessed_will_not_do() {
        let names = ["Imke", "Heron Street Salvage"];
        for (typed, weakness) in [
            ("", Weakness::TooShort),
            ("kettle", Weakness::TooShort),
            ("password1234", Weakness::SoonGuessed),
            ("aaaaaaaaaaaaaaaa", Weakness::SoonGuessed),
            ("123456789012345", Weakness::SoonGuessed),
            ("Heron Street Salvage", Weakness::SoonGuessed),
            (&"ab ".repeat(43), Weakness::TooLong),
        ] {
            assert_eq!(Passphrase::chosen(typed, &names).expect_err(typed), weakness, "{typed}");
        }
        for good in ["copper kettle on thursday", "Süße Zitronen im Hafen", "jämsä 7 vattenfall ruota"] {
            Passphrase::chosen(good, &names).expect(good);
        }
    }

    #[tokio::test]
    async fn the_right_one_is_told_from_wrong_ones() {
        let hash = Passphrase::typed("copper kettle on thursday").hash().await;
        // The parameters of the OWASP Password Storage Cheat Sheet for argon2id, from memory.
        assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hash}");
        assert!(Passphrase::typed("copper kettle on thursday").is(Some(hash.clone())).await);
        assert!(!Passphrase::typed("copper kettle on Thursday").is(Some(hash.clone())).await);
        assert!(!Passphrase::typed("").is(Some(hash)).await);
        assert!(!Passphrase::typed("copper kettle on thursday").is(None).await);
        assert!(!Passphrase::typed("anything").is(Some("not a hash".into())).await);
    }

    #[tokio::test]
    async fn an_accent_is_the_same_composed_either_way() {
        let hash = Passphrase::typed("caf\u{e9} au bord du lac").hash().await;
        assert!(Passphrase::typed("cafe\u{301} au bord du lac").is(Some(hash)).await);
    }

    #[test]
    fn nobodys_passphrase_takes_the_same_work_as_a_new_one() {
        let hash = PasswordHash::new(OF_NOBODY).expect("a hash that can be read");
        assert_eq!(hash.params.to_string(), "m=19456,t=2,p=1");
    }
}
