//! The key itself: drawn by chance, shown once, kept as a digest alone.

use std::fmt::{self, Display, Formatter};

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};

use crate::work::digest::hexadecimal;

/// What keys begin with, so that one that has got into a file or a message is recognised.
const PREFIX: &str = "fnk_";
/// Random bytes of a key. So many cannot be guessed, so a plain digest of them is enough: there is nothing to slow down.
const BYTES: usize = 32;
/// Bytes of the digest that a key is called by.
const ID_BYTES: usize = 4;

/// A key, as its holder has it.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// A new one.
    ///
    /// # Errors
    /// Where the system gives no random bytes.
    pub(super) fn draw() -> Result<Self, getrandom::Error> {
        let mut bytes = [0; BYTES];
        getrandom::fill(&mut bytes)?;
        Ok(Self(format!("{PREFIX}{}", URL_SAFE_NO_PAD.encode(bytes))))
    }

    /// A key as a caller gives it; none where it has not a key's form.
    pub fn read(text: &str) -> Option<Self> {
        let bytes = URL_SAFE_NO_PAD.decode(text.strip_prefix(PREFIX)?).ok()?;
        (bytes.len() == BYTES).then(|| Self(text.to_owned()))
    }

    /// What the database keeps of it.
    pub fn digest(&self) -> Vec<u8> {
        Sha256::digest(&self.0).to_vec()
    }
}

/// The key in full: for the one who issues it.
impl Display for Secret {
    fn fmt(&self, formatter: &mut Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.0)
    }
}

/// Never in a log.
impl fmt::Debug for Secret {
    fn fmt(&self, formatter: &mut Formatter<'_>) -> fmt::Result {
        formatter.write_str("Secret(..)")
    }
}

/// What a key is called by, once it is given out.
pub(super) fn id(digest: &[u8]) -> String {
    hexadecimal(&digest[..ID_BYTES.min(digest.len())])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_read_back_and_no_two_are_alike() {
        let (one, other) = (Secret::draw().expect("one"), Secret::draw().expect("other"));
        assert_ne!(one.digest(), other.digest());
        let read = Secret::read(&one.to_string()).expect("a key");
        assert_eq!(read.digest(), one.digest());
        assert!(!format!("{one:?}").contains(&one.to_string()[8..]));
    }

    #[test]
    fn what_has_not_the_form_of_a_key_is_none() {
        let key = Secret::draw().expect("a key").to_string();
        for text in [
            "",
            "fnk_",
            "fnk_abc",
            &key[4..],
            &key[..key.len() - 1],
            &format!("{key}A"),
        ] {
            assert!(Secret::read(text).is_none(), "{text}");
        }
    }
}
