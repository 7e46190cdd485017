//! Words for people, kept within the contract's bounds.

/// Most characters of a name for screens and sheets.
pub(crate) const NAME_LENGTH_MAX: usize = 200;
/// Most characters of a reason.
pub(crate) const REASON_LENGTH_MAX: usize = 500;
/// Most characters of what is wrong with a unit.
pub(crate) const DESCRIPTION_LENGTH_MAX: usize = 1_000;
/// Most characters of a note.
pub(crate) const NOTE_LENGTH_MAX: usize = 2_000;

/// The text, or as much of its beginning as may be.
pub(crate) fn cut(text: String, length_max: usize) -> String {
    if text.chars().count() <= length_max {
        text
    } else {
        text.chars().take(length_max).collect()
    }
}
