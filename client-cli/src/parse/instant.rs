//! Instants: written on the branch's wall clock, sent in UTC.

use chrono::{
    DateTime, FixedOffset, LocalResult, NaiveDate, NaiveDateTime, NaiveTime, TimeZone, Utc,
};
use chrono_tz::Tz;
use prost_types::Timestamp;

/// Reads an instant: `10:10` on the day given, `2027-04-20 10:10` on the branch's clock, or with a UTC offset
/// (`2027-04-20 10:10-05:00`, `01:30-06:00`), or in UTC (`2027-04-20T15:10Z`).
///
/// # Errors
/// A sentence for anything else, for a time over which the clocks jump, and for one that comes twice and has no
/// offset.
pub fn instant(text: &str, day: NaiveDate, zone: Tz) -> Result<DateTime<Utc>, String> {
    let trimmed = text.trim();
    let written = if trimmed.contains(['T', ' ']) || trimmed.matches('-').count() >= 2 {
        trimmed.replacen(' ', "T", 1)
    } else {
        format!("{day}T{trimmed}")
    };
    let written = written
        .strip_suffix(['Z', 'z'])
        .map_or_else(|| written.clone(), |bare| format!("{bare}+00:00"));
    for form in ["%Y-%m-%dT%H:%M%:z", "%Y-%m-%dT%H:%M:%S%:z"] {
        if let Ok(time) = DateTime::<FixedOffset>::parse_from_str(&written, form) {
            return Ok(time.to_utc());
        }
    }
    let local = NaiveDateTime::parse_from_str(&written, "%Y-%m-%dT%H:%M")
        .or_else(|_| NaiveDateTime::parse_from_str(&written, "%Y-%m-%dT%H:%M:%S"))
        .map_err(|_| {
            format!("\"{text}\" is not a time; write it like 10:10 or 2027-04-20 10:10")
        })?;
    match zone.from_local_datetime(&local) {
        LocalResult::Single(time) => Ok(time.to_utc()),
        LocalResult::None => Err(format!(
            "\"{text}\" does not exist: the clocks of {zone} jump over it; write a time before or after"
        )),
        LocalResult::Ambiguous(first, second) => Err(format!(
            "\"{text}\" comes twice that day in {zone}; write it as {} or {}",
            first.format("%Y-%m-%d %H:%M%:z"),
            second.format("%Y-%m-%d %H:%M%:z")
        )),
    }
}

/// The first instant of a local day. Where clocks jump over midnight, the first that exists.
pub fn start_of_day(day: NaiveDate, zone: Tz) -> DateTime<Utc> {
    /// No zone of the IANA database has jumped further than a day; quarters of an hour find the edge.
    const QUARTERS: i64 = 96;
    let midnight = day.and_time(NaiveTime::MIN);
    (0..=QUARTERS)
        .find_map(|quarter| {
            zone.from_local_datetime(&(midnight + chrono::TimeDelta::minutes(15 * quarter)))
                .earliest()
        })
        .map_or_else(|| midnight.and_utc(), |time| time.to_utc())
}

/// An instant for the wire.
pub fn wire(time: DateTime<Utc>) -> Timestamp {
    Timestamp {
        seconds: time.timestamp(),
        nanos: i32::try_from(time.timestamp_subsec_nanos()).unwrap_or_default(),
    }
}

/// An instant from the wire, where it is one.
pub fn from_wire(time: &Timestamp) -> Option<DateTime<Utc>> {
    DateTime::from_timestamp(time.seconds, u32::try_from(time.nanos).ok()?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::America::Chicago;

    fn read(text: &str, day: &str) -> Result<String, String> {
        let day = day.parse().unwrap();
        instant(text, day, Chicago).map(|time| time.format("%Y-%m-%d %H:%M").to_string())
    }

    #[test]
    fn times_are_the_branchs() {
        assert_eq!(read("10:10", "2027-04-20").unwrap(), "2027-04-20 15:10");
        assert_eq!(
            read("2027-01-20 10:10", "2027-04-20").unwrap(),
            "2027-01-20 16:10"
        );
        assert_eq!(
            read("2027-04-20T15:10Z", "2027-01-01").unwrap(),
            "2027-04-20 15:10"
        );
        assert_eq!(
            read("10:10-06:00", "2027-04-20").unwrap(),
            "2027-04-20 16:10"
        );
        assert!(read("ten", "2027-04-20").is_err());
    }

    // The United States' rule: clocks go from 02:00 to 03:00 on the second Sunday of March, and back at 02:00 on
    // the first Sunday of November (15 U.S.C. 260a); in 2027 these are 14 March and 7 November.
    #[test]
    fn a_time_that_clocks_jump_over_is_refused() {
        assert!(
            read("02:30", "2027-03-14")
                .unwrap_err()
                .contains("does not exist")
        );
        assert_eq!(read("03:00", "2027-03-14").unwrap(), "2027-03-14 08:00");
    }

    #[test]
    fn a_time_that_comes_twice_needs_its_offset() {
        let said = read("01:30", "2027-11-07").unwrap_err();
        assert!(
            said.contains("2027-11-07 01:30-05:00 or 2027-11-07 01:30-06:00"),
            "{said}"
        );
        assert_eq!(
            read("01:30-05:00", "2027-11-07").unwrap(),
            "2027-11-07 06:30"
        );
        assert_eq!(
            read("2027-11-07 01:30-06:00", "2027-11-07").unwrap(),
            "2027-11-07 07:30"
        );
    }

    #[test]
    fn a_day_starts_at_midnight_or_when_it_first_can() {
        let start = |day: &str, zone| start_of_day(day.parse().unwrap(), zone).to_rfc3339();
        assert_eq!(start("2027-04-20", Chicago), "2027-04-20T05:00:00+00:00");
        // Havana's clocks jump at midnight: 2027-03-14 begins at 01:00 (IANA database, rule Cuba).
        assert_eq!(
            start("2027-03-14", chrono_tz::America::Havana),
            "2027-03-14T05:00:00+00:00"
        );
    }
}
