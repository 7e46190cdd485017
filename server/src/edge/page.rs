//! Pages of lists, by key: stable while others write, and as quick at the end as at the start.
//!
//! A token carries the key of the last row and a digest of the query it belongs to, so that it
//! cannot go on with another one. It holds nothing secret.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use prost::Message;
use sha2::{Digest, Sha256};

use crate::work::Reason;

use super::checks::Checks;

/// Rows of a page where the caller does not say.
const SIZE_DEFAULT: u32 = 50;
/// Most rows of a page.
const SIZE_MAX: u32 = 1_000;
/// Bytes of the digest in a token.
const DIGEST_LENGTH: usize = 8;

/// A page that is asked for.
#[derive(Clone, Debug)]
pub(crate) struct Page {
    digest: Vec<u8>,
    size: usize,
    /// The parts of the key of the last row of the page before; none on the first page.
    pub after: Option<Vec<String>>,
}

impl Page {
    /// How many rows to read: one more than fit, to know whether a page follows.
    pub(crate) fn limit(&self) -> u64 {
        u64::try_from(self.size)
            .unwrap_or(u64::MAX)
            .saturating_add(1)
    }

    /// The single part of the key, for lists by one column.
    pub(crate) fn after_id(&self) -> Option<&str> {
        self.after.as_deref()?.first().map(String::as_str)
    }

    /// Cuts the rows to the page and makes the token of the next one; empty on the last.
    pub(crate) fn cut<R>(
        &self,
        mut rows: Vec<R>,
        key: impl FnOnce(&R) -> Vec<String>,
    ) -> (Vec<R>, String) {
        if rows.len() <= self.size {
            return (rows, String::new());
        }
        rows.truncate(self.size);
        let token = rows.last().map(|last| self.token(&key(last)));
        (rows, token.unwrap_or_default())
    }

    fn token(&self, key: &[String]) -> String {
        let mut bytes = self.digest.clone();
        bytes.extend_from_slice(key.join("\n").as_bytes());
        URL_SAFE_NO_PAD.encode(bytes)
    }
}

impl Checks {
    /// Reads the page asked for. `query` is the request without its page size and token.
    pub(crate) fn page<Q: Message>(
        &mut self,
        method: &str,
        query: &Q,
        size: i32,
        token: &str,
    ) -> Option<Page> {
        let size = match u32::try_from(size) {
            Ok(0) => Some(SIZE_DEFAULT),
            Ok(size) => Some(Ord::min(size, SIZE_MAX)),
            Err(_) => self.fault(
                "page_size",
                Reason::OutOfRange,
                format!("is {size}; give one from 0 to {SIZE_MAX}"),
            ),
        };
        let mut hash = Sha256::new();
        hash.update(method.as_bytes());
        hash.update([0]);
        hash.update(query.encode_to_vec());
        let digest: Vec<u8> = hash.finalize().into_iter().take(DIGEST_LENGTH).collect();
        let after = if token.is_empty() {
            None
        } else {
            let Some(key) = read_token(token, &digest) else {
                return self.fault(
                    "page_token",
                    Reason::Malformed,
                    "belongs to no page of this query; begin again without one",
                );
            };
            Some(key)
        };
        Some(Page {
            digest,
            size: usize::try_from(size?).ok()?,
            after,
        })
    }
}

fn read_token(token: &str, digest: &[u8]) -> Option<Vec<String>> {
    let bytes = URL_SAFE_NO_PAD.decode(token).ok()?;
    let key = bytes.strip_prefix(digest)?;
    let key = std::str::from_utf8(key).ok()?;
    Some(key.split('\n').map(str::to_owned).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::Error;

    fn page(method: &str, query: &str, size: i32, token: &str) -> Result<Page, Error> {
        let mut checks = Checks::new();
        let page = checks.page(method, &query.to_owned(), size, token);
        checks.finish(page)
    }

    #[test]
    fn a_token_goes_on_after_the_last_row_of_its_own_query() {
        let first = page("List", "north", 2, "").expect("a page");
        assert_eq!((first.limit(), first.after.clone()), (3, None));
        let (rows, token) = first.cut(vec!["a", "b", "c"], |row| vec![(*row).to_owned()]);
        assert_eq!(rows, ["a", "b"]);
        let next = page("List", "north", 2, &token).expect("the next page");
        assert_eq!(next.after_id(), Some("b"));
        let (rows, token_at_end) = next.cut(vec!["c"], |row| vec![(*row).to_owned()]);
        assert_eq!((rows, token_at_end), (vec!["c"], String::new()));
        for (method, query, token) in [
            ("List", "south", token.as_str()),
            ("Other", "north", token.as_str()),
            ("List", "north", "nonsense"),
            ("List", "north", "?"),
        ] {
            assert!(
                page(method, query, 2, token).is_err(),
                "{method} {query} {token}"
            );
        }
    }

    #[test]
    fn a_page_has_50_rows_unless_asked_and_1000_at_most() {
        assert_eq!(page("List", "", 0, "").expect("a page").limit(), 51);
        assert_eq!(page("List", "", 5_000, "").expect("a page").limit(), 1_001);
        assert!(page("List", "", -1, "").is_err());
    }
}
