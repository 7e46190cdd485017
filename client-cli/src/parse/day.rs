//! Days as people name them: `today`, `tomorrow`, `fri`, `+3`, `2027-04-20`.

use chrono::{Datelike, Days, NaiveDate, Weekday};
use forenoon_proto::google::r#type::Date;

/// Reads a day. `today` is the branch's local date. The name of a weekday means its next coming; today's own name
/// means today.
///
/// # Errors
/// A sentence for anything else.
pub fn day(text: &str, today: NaiveDate) -> Result<NaiveDate, String> {
    let typed = text.trim().to_ascii_lowercase();
    let ahead = |days: u64| {
        today
            .checked_add_days(Days::new(days))
            .ok_or_else(|| format!("\"{text}\" lies beyond the calendar"))
    };
    match typed.as_str() {
        "today" => return Ok(today),
        "tomorrow" => return ahead(1),
        "yesterday" => {
            return today
                .pred_opt()
                .ok_or_else(|| format!("\"{text}\" lies beyond the calendar"));
        }
        _ => {}
    }
    if let Some(days) = typed.strip_prefix('+').and_then(|days| days.parse().ok()) {
        return ahead(days);
    }
    if let Ok(weekday) = typed.parse::<Weekday>() {
        return ahead(u64::from(weekday.days_since(today.weekday())));
    }
    NaiveDate::parse_from_str(&typed, "%Y-%m-%d").map_err(|_| {
        format!("\"{text}\" is not a day; write today, tomorrow, a weekday, +3 or a date like 2027-04-20")
    })
}

/// Reads a date as data has it: `2027-04-20` only, since a file must mean the same tomorrow.
///
/// # Errors
/// A sentence for anything else.
pub fn date(text: &str) -> Result<Date, String> {
    NaiveDate::parse_from_str(text.trim(), "%Y-%m-%d")
        .map(wire)
        .map_err(|_| format!("\"{text}\" is not a date; write it like 2027-04-20"))
}

/// A date for the wire.
pub fn wire(day: NaiveDate) -> Date {
    Date {
        year: day.year(),
        month: i32::try_from(day.month()).unwrap_or_default(),
        day: i32::try_from(day.day()).unwrap_or_default(),
    }
}

/// A date from the wire, where it is one.
pub fn from_wire(date: &Date) -> Option<NaiveDate> {
    NaiveDate::from_ymd_opt(
        date.year,
        u32::try_from(date.month).ok()?,
        u32::try_from(date.day).ok()?,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_reckoned_from_the_day_given() {
        // A Wednesday, by the calendar.
        let today = NaiveDate::from_ymd_opt(2027, 4, 21).unwrap();
        for (typed, meant) in [
            ("today", "2027-04-21"),
            ("Tomorrow", "2027-04-22"),
            ("yesterday", "2027-04-20"),
            ("wed", "2027-04-21"),
            ("friday", "2027-04-23"),
            ("tue", "2027-04-27"),
            ("+3", "2027-04-24"),
            ("2028-02-29", "2028-02-29"),
        ] {
            assert_eq!(day(typed, today).unwrap().to_string(), meant, "{typed}");
        }
        assert!(day("2027-02-29", today).is_err());
        assert!(day("someday", today).unwrap_err().contains("someday"));
        assert!(day("+99999999999", today).is_err());
    }

    #[test]
    fn dates_in_files_are_dates() {
        assert_eq!(
            date("2027-04-20"),
            Ok(Date {
                year: 2027,
                month: 4,
                day: 20
            })
        );
        assert!(date("tomorrow").is_err());
        assert_eq!(
            from_wire(&Date {
                year: 2027,
                month: 13,
                day: 1
            }),
            None
        );
    }
}
