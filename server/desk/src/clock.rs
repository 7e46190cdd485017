//! A branch's day on the time axis of the planner: whole seconds from local midnight, counted in UTC, so that a day on
//! which clocks change has its true length.

use chrono::{
    DateTime, Days, MappedLocalTime, NaiveDate, NaiveTime, Offset, TimeDelta, TimeZone, Utc,
};
use chrono_tz::Tz;

const SECONDS_PER_DAY: i32 = 86_400;
/// How far before and after the day the planner's axis goes, in seconds.
const MARGIN: i64 = 12 * 3_600;

/// A day in a zone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DayClock {
    zone: Tz,
    day: NaiveDate,
    origin: DateTime<Utc>,
    end: DateTime<Utc>,
}

impl DayClock {
    /// The day in the zone; none at the very end of the calendar.
    pub fn new(zone: Tz, day: NaiveDate) -> Option<Self> {
        let next = day.checked_add_days(Days::new(1))?;
        Some(Self {
            zone,
            day,
            origin: resolve(zone, day, 0)?,
            end: resolve(zone, next, 0)?,
        })
    }

    /// The local date.
    pub const fn day(&self) -> NaiveDate {
        self.day
    }

    /// The zone.
    pub const fn zone(&self) -> Tz {
        self.zone
    }

    /// The instant of a second on the planner's axis.
    pub fn instant(&self, seconds: i64) -> DateTime<Utc> {
        self.origin + TimeDelta::seconds(seconds)
    }

    /// The second on the planner's axis of an instant.
    pub fn seconds(&self, instant: DateTime<Utc>) -> i64 {
        (instant - self.origin).num_seconds()
    }

    /// The second on the planner's axis that is nearest to an instant somebody gave, such as a report by a clock that was
    /// wrong, or a deadline years ahead.
    pub(crate) fn nearest(&self, instant: DateTime<Utc>) -> i64 {
        self.on_axis(self.seconds(instant))
    }

    /// The second on the planner's axis that is nearest.
    pub(crate) fn on_axis(&self, seconds: i64) -> i64 {
        let (begins, ends) = self.axis();
        seconds.clamp(begins, ends)
    }

    /// The ends of the planner's axis.
    pub(crate) fn axis(&self) -> (i64, i64) {
        (-MARGIN, self.length() + MARGIN)
    }

    /// The second on the planner's axis of a time on the wall clock; 86,400 is the midnight that ends the day.
    pub fn wall(&self, second_of_day: i32) -> i64 {
        if second_of_day >= SECONDS_PER_DAY {
            return self.length();
        }
        resolve(self.zone, self.day, second_of_day).map_or(0, |instant| self.seconds(instant))
    }

    /// Seconds from midnight to midnight: 82,800 or 90,000 where clocks change by an hour.
    pub fn length(&self) -> i64 {
        (self.end - self.origin).num_seconds()
    }

    /// The wall clock at an instant, as `07:45`.
    pub fn words(&self, instant: DateTime<Utc>) -> String {
        instant
            .with_timezone(&self.zone)
            .format("%H:%M")
            .to_string()
    }

    /// The branch's date at an instant.
    pub fn day_of(&self, instant: DateTime<Utc>) -> NaiveDate {
        instant.with_timezone(&self.zone).date_naive()
    }

    /// A date, as `Mon 19 Apr`.
    pub fn day_words(day: NaiveDate) -> String {
        day.format("%a %-d %b").to_string()
    }

    /// The wall clock at an instant, with its day where that is another: `08:12`, or `Mon 19 Apr 08:12`.
    pub fn words_with_day(&self, instant: DateTime<Utc>) -> String {
        let there = instant.with_timezone(&self.zone);
        if there.date_naive() == self.day {
            return there.format("%H:%M").to_string();
        }
        there.format("%a %-d %b %H:%M").to_string()
    }
}

/// The instant of a recurring wall-clock time. Where clocks jump over it, the offset before the jump holds; where it
/// comes twice, its first occurrence does (RFC 5545, section 3.3.5).
fn resolve(zone: Tz, day: NaiveDate, second_of_day: i32) -> Option<DateTime<Utc>> {
    let seconds = u32::try_from(second_of_day).ok()?;
    let local = day.and_time(NaiveTime::from_num_seconds_from_midnight_opt(seconds, 0)?);
    match zone.from_local_datetime(&local) {
        MappedLocalTime::Single(instant) | MappedLocalTime::Ambiguous(instant, _) => {
            Some(instant.with_timezone(&Utc))
        }
        MappedLocalTime::None => {
            // No jump is longer than a day, so the offset of a day earlier is the one before it.
            let earlier = local.checked_sub_days(Days::new(1))?;
            let offset = zone.offset_from_local_datetime(&earlier).earliest()?.fix();
            local
                .checked_sub_offset(offset)
                .map(|utc| DateTime::from_naive_utc_and_offset(utc, Utc))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chicago(year: i32, month: u32, day: u32) -> DayClock {
        let day = NaiveDate::from_ymd_opt(year, month, day).unwrap();
        DayClock::new(chrono_tz::America::Chicago, day).unwrap()
    }

    fn utc(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    /// Guards shifts on the short day: transitions as computed by Python's zoneinfo from the IANA database (2027-03-14
    /// 08:00 UTC, clocks from 02:00 to 03:00).
    #[test]
    fn the_short_day_has_23_hours() {
        let day = chicago(2027, 3, 14);
        assert_eq!(day.length(), 23 * 3_600);
        assert_eq!(day.instant(0), utc("2027-03-14T06:00:00Z"));
        assert_eq!(day.wall(7 * 3_600), 6 * 3_600);
        // 02:30 does not exist: the offset before the jump makes it 08:30 UTC, which reads 03:30.
        let missing = day.instant(day.wall(9_000));
        assert_eq!(missing, utc("2027-03-14T08:30:00Z"));
        assert_eq!(day.words(missing), "03:30");
    }

    /// Guards shifts on the long day (2027-11-07 07:00 UTC, clocks from 02:00 to 01:00).
    #[test]
    fn the_long_day_has_25_hours() {
        let day = chicago(2027, 11, 7);
        assert_eq!(day.length(), 25 * 3_600);
        assert_eq!(day.wall(7 * 3_600), 8 * 3_600);
        // 01:30 comes twice: its first occurrence holds.
        assert_eq!(day.instant(day.wall(5_400)), utc("2027-11-07T06:30:00Z"));
        assert_eq!(day.wall(86_400), 25 * 3_600);
    }

    /// Guards a re-plan after reports by a clock that was wrong by years.
    #[test]
    fn a_report_by_a_wrong_clock_is_on_the_axis() {
        let day = chicago(2027, 4, 20);
        assert_eq!(day.nearest(utc("2027-04-20T15:00:00Z")), 10 * 3_600);
        assert_eq!(day.nearest(utc("2031-01-01T00:00:00Z")), 36 * 3_600);
        assert_eq!(day.nearest(utc("1999-01-01T00:00:00Z")), -12 * 3_600);
    }

    /// Guards a zone whose clocks jump by half an hour (Lord Howe, 2027-10-02 15:30 UTC).
    #[test]
    fn a_half_hour_jump_is_read_right() {
        let day = NaiveDate::from_ymd_opt(2027, 10, 3).unwrap();
        let day = DayClock::new(chrono_tz::Australia::Lord_Howe, day).unwrap();
        assert_eq!(day.length(), 23 * 3_600 + 1_800);
        assert_eq!(day.words(day.instant(day.wall(2 * 3_600 + 900))), "02:45");
    }
}
