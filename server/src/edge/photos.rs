//! Photographs as other messages name them: by the SHA-256 of their bytes.

use crate::work::Reason;

use super::checks::Checks;

/// Most photographs of one walk or case.
const PHOTOS_MAX: usize = 50;
/// Characters of a SHA-256 in hexadecimal.
const SHA256_LENGTH: usize = 64;

impl Checks {
    /// A SHA-256 in lower-case hexadecimal.
    pub(crate) fn sha256(&mut self, field: &str, value: String) -> Option<String> {
        let sound = value.len() == SHA256_LENGTH
            && value
                .bytes()
                .all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'));
        if sound {
            return Some(value);
        }
        self.fault(
            field,
            Reason::Malformed,
            "is no SHA-256 in lower-case hexadecimal; give the 64 characters of the upload's answer",
        )
    }

    /// Photographs, each once.
    pub(crate) fn photos(&mut self, field: &str, photos: Vec<String>) -> Option<Vec<String>> {
        let mut seen: Vec<String> = Vec::new();
        self.each(field, photos, PHOTOS_MAX, |checks, photo| {
            let sha256 = checks.sha256("", photo)?;
            if seen.contains(&sha256) {
                return checks.fault("", Reason::Duplicate, "is named already");
            }
            seen.push(sha256.clone());
            Some(sha256)
        })
    }
}
