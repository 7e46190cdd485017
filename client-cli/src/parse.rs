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
    ungrouped(text.trim(), text)?
        .parse::<f64>()
        .ok()
        .filter(|value| value.is_finite())
        .ok_or_else(|| format!("\"{text}\" is not a number; write one like 12 or 12.5"))
}

/// Reads a whole number that fits 32 bits.
///
/// # Errors
/// A sentence for anything else.
pub fn whole(text: &str) -> Result<i32, String> {
    ungrouped(text.trim(), text)?
        .parse()
        .map_err(|_| format!("\"{text}\" is not a whole number; write one like 3"))
}

/// A figure without the commas that set off its thousands. A comma anywhere else is refused, not dropped: where it
/// stands for a decimal point, `70,50` would become 7050. `text` is what was typed, for the sentence.
fn ungrouped(figure: &str, text: &str) -> Result<String, String> {
    if has_commas_only_before_thousands(figure) {
        return Ok(figure.replace(',', ""));
    }
    Err(format!(
        "\"{text}\" cannot be read for certain; write decimals with a point, like 70.50, and thousands \
         like 1,250 or 1250"
    ))
}

/// Whether every comma stands between groups of three digits before the point: `12,500.25`.
fn has_commas_only_before_thousands(figure: &str) -> bool {
    /// Digits of a group.
    const GROUP: usize = 3;
    if !figure.contains(',') {
        return true;
    }
    let unsigned = figure.strip_prefix(['-', '+']).unwrap_or(figure);
    let (whole, decimals) = unsigned.split_once('.').unwrap_or((unsigned, ""));
    let digits = |part: &str| part.bytes().all(|sign| sign.is_ascii_digit());
    let mut groups = whole.split(',');
    let first = groups.next().unwrap_or_default();
    let starts = (1..=GROUP).contains(&first.len()) && digits(first) && !first.starts_with('0');
    starts && groups.all(|group| group.len() == GROUP && digits(group)) && digits(decimals)
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
    fn commas_set_off_thousands_and_nothing_else() {
        for (typed, meant) in [
            ("1,250", 1250.0),
            ("-12,500.25", -12_500.25),
            ("+999,999,999", 999_999_999.0),
            (" 1,250.125 ", 1250.125),
        ] {
            assert_eq!(number(typed), Ok(meant), "{typed}");
        }
        for wrong in [
            "70,50",
            "0,250",
            "012,500",
            "1,25,000",
            "1250,000",
            "1,2500",
            "1,,250",
            ",250",
            "1,250,",
            "1.250,50",
            "12.500,250",
            "1,250e3",
            "--1,250",
            ",",
        ] {
            let said = number(wrong).unwrap_err();
            assert!(said.contains("like 70.50"), "{said}");
            assert!(whole(wrong).is_err(), "{wrong}");
        }
        assert_eq!(
            number("70,50").unwrap_err(),
            "\"70,50\" cannot be read for certain; write decimals with a point, like 70.50, and thousands \
             like 1,250 or 1250"
        );
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
