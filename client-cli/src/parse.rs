//! What people type, read into what the contract wants.
//!
//! Every reader takes text and gives a value or a sentence that says what is wrong with the text and how to write
//! it instead. None knows a clock: the day it is comes in as an argument.

pub mod clock;
pub mod day;
pub mod instant;
pub mod measure;
pub mod money;
pub mod word;

/// Reads a flag: `yes` or `no`, in the ways people and spreadsheets write them.
///
/// # Errors
/// A sentence for anything else.
pub fn flag(text: &str) -> Result<bool, String> {
    match text.trim().to_ascii_lowercase().as_str() {
        "yes" | "y" | "true" | "1" | "x" => Ok(true),
        "no" | "n" | "false" | "0" => Ok(false),
        other => Err(format!(
            "\"{other}\" is neither yes nor no; write one of them"
        )),
    }
}

/// Reads a finite number. Thousands may be set off by commas.
///
/// # Errors
/// A sentence for anything else.
pub fn number(text: &str) -> Result<f64, String> {
    let bare = text.trim().replace(',', "");
    bare.parse::<f64>()
        .ok()
        .filter(|value| value.is_finite())
        .ok_or_else(|| format!("\"{text}\" is not a number; write one like 12 or 12.5"))
}

/// Reads a whole number that fits 32 bits.
///
/// # Errors
/// A sentence for anything else.
pub fn whole(text: &str) -> Result<i32, String> {
    text.trim()
        .replace(',', "")
        .parse()
        .map_err(|_| format!("\"{text}\" is not a whole number; write one like 3"))
}

/// Splits a list at semicolons, commas or bars, and drops empty parts.
pub fn list(text: &str) -> Vec<String> {
    text.split([';', ',', '|'])
        .map(str::trim)
        .filter(|part| !part.is_empty())
        .map(str::to_owned)
        .collect()
}

/// The known word nearest to a mistyped one, where one is near.
pub fn nearest<'a>(typed: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    /// Below this likeness a proposal confuses more than it helps.
    const LEAST_LIKENESS: f64 = 0.75;
    known
        .into_iter()
        .map(|word| (strsim::jaro_winkler(typed, word), word))
        .filter(|(likeness, _)| *likeness >= LEAST_LIKENESS)
        .max_by(|(left, _), (right, _)| left.total_cmp(right))
        .map(|(_, word)| word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_flags_numbers_and_lists() {
        assert_eq!(flag("Yes"), Ok(true));
        assert_eq!(flag("0"), Ok(false));
        assert!(flag("maybe").unwrap_err().contains("maybe"));
        assert_eq!(number("12,000.5"), Ok(12_000.5));
        assert!(number("NaN").is_err());
        assert!(number("inf").is_err());
        assert_eq!(whole("1,200"), Ok(1200));
        assert!(whole("3.5").is_err());
        assert_eq!(list("a; b|c,,"), ["a", "b", "c"]);
    }

    #[test]
    fn proposes_only_what_is_near() {
        assert_eq!(
            nearest("serial_no", ["serial_number", "model"]),
            Some("serial_number")
        );
        assert_eq!(nearest("zzz", ["serial_number", "model"]), None);
    }
}
