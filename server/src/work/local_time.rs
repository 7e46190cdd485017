//! Times that recur on the branch's wall clock, as instants.

use chrono::{DateTime, MappedLocalTime, NaiveDate, NaiveTime, Offset, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;

/// The instant of a recurring local time, as of a shift, on one day.
///
/// Where clocks jump over it, the offset before the jump holds; where it comes twice, its first
/// occurrence does (RFC 5545, section 3.3.5). 86,400 is the midnight that ends the day.
pub fn recurring(day: NaiveDate, second_of_day: i32, zone: Tz) -> DateTime<Utc> {
    let local = day.and_time(NaiveTime::MIN) + TimeDelta::seconds(i64::from(second_of_day));
    match zone.from_local_datetime(&local) {
        MappedLocalTime::Single(only) => only.to_utc(),
        MappedLocalTime::Ambiguous(first, _) => first.to_utc(),
        MappedLocalTime::None => {
            // No jump is longer than a day, so the offset of a day before is the one before the jump.
            let before = zone.offset_from_utc_datetime(&(local - TimeDelta::days(1)));
            let offset = TimeDelta::seconds(i64::from(before.fix().local_minus_utc()));
            (local - offset).and_utc()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CHICAGO: Tz = chrono_tz::America::Chicago;

    /// In 2027 the zone's clocks jump from 2:00 to 3:00 on March 14 and fall back from 2:00 to 1:00
    /// on November 7 (IANA time zone database).
    #[test]
    fn a_recurring_time_follows_the_calendar_standard() {
        let day = |month, day| NaiveDate::from_ymd_opt(2027, month, day).expect("a date");
        for (day, second, expected) in [
            (day(4, 20), 7 * 3_600, "2027-04-20T12:00:00+00:00"),
            (day(4, 20), 86_400, "2027-04-21T05:00:00+00:00"),
            // 2:30 does not exist: read at the offset before the jump it is 8:30 UTC, 3:30 local.
            (day(3, 14), 9_000, "2027-03-14T08:30:00+00:00"),
            // 1:30 comes twice: the first.
            (day(11, 7), 5_400, "2027-11-07T06:30:00+00:00"),
        ] {
            assert_eq!(recurring(day, second, CHICAGO).to_rfc3339(), expected);
        }
    }
}
