//! Instants, dates, times of day and local times, between wire and domain.

use chrono::{
    DateTime, Datelike, MappedLocalTime, NaiveDate, NaiveDateTime, NaiveTime, Offset, TimeZone,
    Timelike, Utc,
};
use chrono_tz::Tz;
use forenoon_proto::google::r#type as wire;
use forenoon_store::value::DayTimes;
use prost_types::{Duration, Timestamp};

use crate::work::Reason;

use super::checks::Checks;

/// Seconds of a day on the wall clock.
const SECONDS_PER_DAY: i32 = 86_400;
/// The years in which dates make sense: nobody plans lawns outside of them.
const YEARS: std::ops::RangeInclusive<i32> = 1970..=2200;

/// An instant as the wire has it.
pub(crate) fn timestamp(instant: DateTime<Utc>) -> Timestamp {
    Timestamp {
        seconds: instant.timestamp(),
        nanos: i32::try_from(instant.timestamp_subsec_nanos()).unwrap_or(0),
    }
}

/// A length of time as the wire has it.
pub(crate) fn duration(seconds: i64) -> Duration {
    Duration { seconds, nanos: 0 }
}

/// A date as the wire has it.
pub(crate) fn date(date: NaiveDate) -> wire::Date {
    wire::Date {
        year: date.year(),
        month: i32::try_from(date.month()).unwrap_or(0),
        day: i32::try_from(date.day()).unwrap_or(0),
    }
}

/// A time of day as the wire has it; 86,400 is 24:00.
pub(crate) fn time_of_day(second_of_day: i32) -> wire::TimeOfDay {
    wire::TimeOfDay {
        hours: second_of_day / 3_600,
        minutes: second_of_day / 60 % 60,
        seconds: second_of_day % 60,
        nanos: 0,
    }
}

/// An instant on the wall clock of a zone, with the offset that makes it one of a kind.
pub(crate) fn local(instant: DateTime<Utc>, zone: Tz) -> wire::DateTime {
    let there = instant.with_timezone(&zone);
    let field = |value: u32| i32::try_from(value).unwrap_or(0);
    wire::DateTime {
        year: there.year(),
        month: field(there.month()),
        day: field(there.day()),
        hours: field(there.hour()),
        minutes: field(there.minute()),
        seconds: field(there.second()),
        nanos: field(instant.timestamp_subsec_nanos()),
        time_offset: Some(wire::date_time::TimeOffset::UtcOffset(duration(i64::from(
            there.offset().fix().local_minus_utc(),
        )))),
    }
}

impl Checks {
    /// An instant, in whole microseconds.
    pub(crate) fn instant(&mut self, field: &str, value: Timestamp) -> Option<DateTime<Utc>> {
        let Timestamp { seconds, nanos } = value;
        let instant = u32::try_from(nanos)
            .ok()
            .filter(|nanos| *nanos < 1_000_000_000)
            .and_then(|nanos| DateTime::from_timestamp(seconds, nanos / 1_000 * 1_000))
            .filter(|instant| YEARS.contains(&instant.year()));
        instant.or_else(|| {
            self.fault(
                field,
                Reason::OutOfRange,
                format!(
                    "is no instant of the years {} to {}",
                    YEARS.start(),
                    YEARS.end()
                ),
            )
        })
    }

    /// A length of time in whole seconds, at most `seconds_max`. Absent is zero.
    pub(crate) fn seconds(
        &mut self,
        field: &str,
        value: Option<Duration>,
        seconds_max: i32,
    ) -> Option<i32> {
        let Duration { seconds, nanos } = value.unwrap_or_default();
        if nanos != 0 {
            return self.fault(
                field,
                Reason::OutOfRange,
                "has fractions of a second; give whole seconds",
            );
        }
        match i32::try_from(seconds) {
            Ok(seconds) if (0..=seconds_max).contains(&seconds) => Some(seconds),
            _ => self.fault(
                field,
                Reason::OutOfRange,
                format!("is {seconds} seconds; give 0 to {seconds_max}"),
            ),
        }
    }

    /// A whole date: neither year nor day left out.
    pub(crate) fn date(&mut self, field: &str, value: wire::Date) -> Option<NaiveDate> {
        let wire::Date { year, month, day } = value;
        calendar_date(year, month, day).or_else(|| {
            self.fault(
                field,
                Reason::OutOfRange,
                format!(
                    "{year}-{month}-{day} is no date of the years {} to {}",
                    YEARS.start(),
                    YEARS.end()
                ),
            )
        })
    }

    /// A time of day in whole seconds since midnight; 24:00 is the midnight that ends the day.
    pub(crate) fn time_of_day(&mut self, field: &str, value: wire::TimeOfDay) -> Option<i32> {
        let wire::TimeOfDay {
            hours,
            minutes,
            seconds,
            nanos,
        } = value;
        let sound = (0..=24).contains(&hours)
            && (0..60).contains(&minutes)
            && (0..60).contains(&seconds)
            && nanos == 0;
        let second_of_day = if sound {
            hours * 3_600 + minutes * 60 + seconds
        } else {
            SECONDS_PER_DAY + 1
        };
        if second_of_day > SECONDS_PER_DAY {
            return self.fault(
                field,
                Reason::OutOfRange,
                format!("{hours}:{minutes}:{seconds} is no time of day from 0:00 to 24:00 in whole seconds"),
            );
        }
        Some(second_of_day)
    }

    /// A stretch of the day; its end is after its start.
    pub(crate) fn day_times(
        &mut self,
        start: Option<wire::TimeOfDay>,
        end: Option<wire::TimeOfDay>,
    ) -> Option<DayTimes> {
        let start = self.required("start_time", start);
        let end = self.required("end_time", end);
        let start = start.and_then(|start| self.time_of_day("start_time", start));
        let end = end.and_then(|end| self.time_of_day("end_time", end));
        let (start_second_of_day, end_second_of_day) = start.zip(end)?;
        if end_second_of_day <= start_second_of_day {
            return self.fault(
                "end_time",
                Reason::EndBeforeStart,
                "is not after the start; a stretch past midnight is two, one a day",
            );
        }
        Some(DayTimes {
            start_second_of_day,
            end_second_of_day,
        })
    }

    /// An IANA time zone.
    pub(crate) fn time_zone(&mut self, field: &str, name: String) -> Option<String> {
        if name.is_empty() {
            return self.fault(
                field,
                Reason::Required,
                "is empty; give an IANA time zone, as America/Chicago",
            );
        }
        if name.parse::<Tz>().is_err() {
            return self.fault(
                field,
                Reason::Malformed,
                "is no IANA time zone; give one as America/Chicago",
            );
        }
        Some(name)
    }

    /// An instant given on the wall clock of the branch's zone.
    ///
    /// One that clocks jump over is refused. One that comes twice needs its UTC offset, which must
    /// be one of the two that hold then.
    pub(crate) fn local_time(
        &mut self,
        field: &str,
        value: wire::DateTime,
        zone: Tz,
    ) -> Option<DateTime<Utc>> {
        let wire::DateTime {
            year,
            month,
            day,
            hours,
            minutes,
            seconds,
            nanos,
            time_offset,
        } = value;
        let part = |value: i32| u32::try_from(value).ok();
        let time = part(hours)
            .zip(part(minutes))
            .zip(part(seconds))
            .filter(|_| nanos == 0)
            .and_then(|((hours, minutes), seconds)| {
                NaiveTime::from_hms_opt(hours, minutes, seconds)
            });
        let Some((date, time)) = calendar_date(year, month, day).zip(time) else {
            return self.fault(
                field,
                Reason::OutOfRange,
                "is no date and time of day in whole seconds",
            );
        };
        let offset_seconds = match time_offset {
            None => None,
            Some(wire::date_time::TimeOffset::UtcOffset(Duration { seconds, nanos: 0 })) => {
                Some(seconds)
            }
            Some(wire::date_time::TimeOffset::UtcOffset(_)) => {
                return self.fault(field, Reason::OutOfRange, "has an offset in fractions");
            }
            Some(wire::date_time::TimeOffset::TimeZone(named)) if named.id == zone.name() => None,
            Some(wire::date_time::TimeOffset::TimeZone(_)) => {
                return self.fault(
                    field,
                    Reason::Conflict,
                    format!(
                        "names a zone; times are on the branch's clock, {}",
                        zone.name()
                    ),
                );
            }
        };
        self.resolve(field, date.and_time(time), zone, offset_seconds)
    }

    fn resolve(
        &mut self,
        field: &str,
        local: NaiveDateTime,
        zone: Tz,
        offset_seconds: Option<i64>,
    ) -> Option<DateTime<Utc>> {
        let (first, second) = match zone.from_local_datetime(&local) {
            MappedLocalTime::Single(only) => (only, only),
            MappedLocalTime::Ambiguous(first, second) => (first, second),
            MappedLocalTime::None => {
                return self.fault(
                    field,
                    Reason::NonexistentLocalTime,
                    format!(
                        "{local} does not exist in {}: clocks jump over it",
                        zone.name()
                    ),
                );
            }
        };
        let offset_of =
            |instant: &DateTime<Tz>| i64::from(instant.offset().fix().local_minus_utc());
        match offset_seconds {
            None if first == second => Some(first.to_utc()),
            None => self.fault(
                field,
                Reason::AmbiguousLocalTime,
                format!(
                    "{local} comes twice in {}; give its UTC offset, {} or {} seconds",
                    zone.name(),
                    offset_of(&first),
                    offset_of(&second)
                ),
            ),
            Some(offset) if offset == offset_of(&first) => Some(first.to_utc()),
            Some(offset) if offset == offset_of(&second) => Some(second.to_utc()),
            Some(offset) => self.fault(
                field,
                Reason::Conflict,
                format!(
                    "an offset of {offset} seconds does not hold in {} at {local}; {} does",
                    zone.name(),
                    offset_of(&first)
                ),
            ),
        }
    }
}

fn calendar_date(year: i32, month: i32, day: i32) -> Option<NaiveDate> {
    if !YEARS.contains(&year) {
        return None;
    }
    NaiveDate::from_ymd_opt(year, u32::try_from(month).ok()?, u32::try_from(day).ok()?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::Error;

    const CHICAGO: Tz = chrono_tz::America::Chicago;

    fn wall(month: i32, day: i32, hours: i32, minutes: i32) -> wire::DateTime {
        wire::DateTime {
            year: 2027,
            month,
            day,
            hours,
            minutes,
            ..wire::DateTime::default()
        }
    }

    fn with_offset(mut value: wire::DateTime, hours: i64) -> wire::DateTime {
        value.time_offset = Some(wire::date_time::TimeOffset::UtcOffset(duration(
            hours * 3_600,
        )));
        value
    }

    fn resolved(value: wire::DateTime) -> Result<String, Reason> {
        let mut checks = Checks::new();
        let instant = checks.local_time("deadline", value, CHICAGO);
        match checks.finish(instant) {
            Ok(instant) => Ok(instant.to_rfc3339()),
            Err(Error::Invalid(found)) => Err(found[0].reason),
            Err(other) => panic!("{other}"),
        }
    }

    /// In 2027 the zone's clocks jump from 2:00 to 3:00 on March 14 and fall back from 2:00 to 1:00
    /// on November 7 (IANA time zone database, rules of the Energy Policy Act of 2005: second Sunday
    /// of March, first Sunday of November).
    #[test]
    fn a_local_time_is_resolved_or_refused_on_the_days_clocks_change() {
        for (value, expected) in [
            (wall(4, 20, 7, 30), Ok("2027-04-20T12:30:00+00:00")),
            (wall(1, 20, 7, 30), Ok("2027-01-20T13:30:00+00:00")),
            (wall(3, 14, 2, 30), Err(Reason::NonexistentLocalTime)),
            (wall(3, 14, 3, 0), Ok("2027-03-14T08:00:00+00:00")),
            (wall(11, 7, 1, 30), Err(Reason::AmbiguousLocalTime)),
            (
                with_offset(wall(11, 7, 1, 30), -5),
                Ok("2027-11-07T06:30:00+00:00"),
            ),
            (
                with_offset(wall(11, 7, 1, 30), -6),
                Ok("2027-11-07T07:30:00+00:00"),
            ),
            (with_offset(wall(11, 7, 1, 30), -7), Err(Reason::Conflict)),
            (wall(2, 29, 7, 0), Err(Reason::OutOfRange)),
            (wall(4, 20, 24, 0), Err(Reason::OutOfRange)),
            (wall(4, 20, -1, 0), Err(Reason::OutOfRange)),
        ] {
            assert_eq!(
                resolved(value.clone()),
                expected.map(str::to_owned),
                "{value:?}"
            );
        }
    }

    #[test]
    fn what_is_resolved_reads_back_the_same_with_its_offset() {
        for hours in [-5, -6] {
            let twice = with_offset(wall(11, 7, 1, 30), hours);
            let instant: DateTime<Utc> = resolved(twice.clone())
                .expect("resolved")
                .parse()
                .expect("an instant");
            assert_eq!(local(instant, CHICAGO), twice);
        }
    }

    #[test]
    fn instants_keep_microseconds_and_refuse_nonsense() {
        let mut checks = Checks::new();
        let value = Timestamp {
            seconds: 1_808_200_000,
            nanos: 123_456_789,
        };
        let instant = checks.instant("t", value).expect("an instant");
        assert_eq!(timestamp(instant).nanos, 123_456_000);
        for nanos in [-1, 1_000_000_000] {
            assert!(
                checks
                    .instant("t", Timestamp { seconds: 0, nanos })
                    .is_none()
            );
        }
        let far = Timestamp {
            seconds: i64::MAX,
            nanos: 0,
        };
        assert!(checks.instant("t", far).is_none());
    }

    #[test]
    fn a_day_ends_at_24_and_a_stretch_after_its_start() {
        let time = |hours, minutes| {
            Some(wire::TimeOfDay {
                hours,
                minutes,
                seconds: 0,
                nanos: 0,
            })
        };
        let mut checks = Checks::new();
        assert_eq!(
            checks.day_times(time(7, 0), time(24, 0)),
            Some(DayTimes {
                start_second_of_day: 25_200,
                end_second_of_day: 86_400
            })
        );
        assert!(checks.day_times(time(7, 0), time(7, 0)).is_none());
        assert!(checks.day_times(time(7, 0), time(24, 1)).is_none());
        assert!(checks.day_times(time(7, 60), None).is_none());
        let Err(Error::Invalid(found)) = checks.finish(Some(())) else {
            panic!("four faults");
        };
        let reasons: Vec<_> = found.iter().map(|fault| fault.reason).collect();
        assert_eq!(
            reasons,
            [
                Reason::EndBeforeStart,
                Reason::OutOfRange,
                Reason::Required,
                Reason::OutOfRange
            ]
        );
    }
}
