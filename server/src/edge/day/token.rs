//! Resume tokens: a place among a branch's events, good for the day it was given for and for no other.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, NaiveDate};
use sha2::{Digest, Sha256};

use crate::work::day::Place;

/// Bytes of the digest of branch and day.
const DIGEST_LENGTH: usize = 8;

/// The token of a place.
pub(super) fn write(branch: &str, day: NaiveDate, place: Place) -> String {
    let mut bytes = digest(branch, day).to_vec();
    bytes.extend(place.seq.to_be_bytes());
    bytes.extend(place.at.timestamp_micros().to_be_bytes());
    URL_SAFE_NO_PAD.encode(bytes)
}

/// The place of a token; none where it is none of ours, or of another branch or day.
pub(super) fn read(branch: &str, day: NaiveDate, token: &str) -> Option<Place> {
    let bytes = URL_SAFE_NO_PAD.decode(token).ok()?;
    let rest = bytes.strip_prefix(&digest(branch, day))?;
    let (seq, at) = rest.split_first_chunk()?;
    let seq = i64::from_be_bytes(*seq);
    let at = i64::from_be_bytes(at.try_into().ok()?);
    Some(Place {
        seq: (seq >= 0).then_some(seq)?,
        at: DateTime::from_timestamp_micros(at)?,
    })
}

fn digest(branch: &str, day: NaiveDate) -> [u8; DIGEST_LENGTH] {
    let hash = Sha256::digest(format!("WatchDay\n{branch}\n{day}"));
    let mut digest = [0; DIGEST_LENGTH];
    digest.copy_from_slice(&hash[..DIGEST_LENGTH]);
    digest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_is_good_for_its_branch_and_day_alone() {
        let day = NaiveDate::from_ymd_opt(2027, 4, 20).expect("a date");
        let other = day.succ_opt().expect("a date");
        let place = Place {
            seq: 42,
            at: "2027-04-20T12:00:00.000001Z".parse().expect("an instant"),
        };
        let token = write("north", day, place);
        assert_eq!(read("north", day, &token), Some(place));
        assert_eq!(read("south", day, &token), None);
        assert_eq!(read("north", other, &token), None);
        assert_eq!(
            read("north", day, &write("north", day, Place::START)),
            Some(Place::START)
        );
        for cut in 0..token.len() {
            assert_eq!(read("north", day, &token[..cut]), None, "cut at {cut}");
        }
        for bad in ["?", "nonsense", &format!("{token}AAAA")] {
            assert_eq!(read("north", day, bad), None, "{bad}");
        }
    }
}
