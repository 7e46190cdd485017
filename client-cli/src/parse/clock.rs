//! Times of day and local date-times as the contract's wall-clock types. Whether a clock ever shows such a time is
//! the server's to judge; here only the writing is read.

use chrono::{FixedOffset, NaiveDateTime, NaiveTime, Timelike};
use forenoon_proto::google::r#type::{DateTime, DayOfWeek, TimeOfDay, date_time};
use forenoon_proto::v1::DayTimeWindow;

use super::word::Word;

/// Reads a time of day: `6:30` or `06:30`; `24:00` ends a day.
///
/// # Errors
/// A sentence for anything else.
pub fn time_of_day(text: &str) -> Result<TimeOfDay, String> {
    let trimmed = text.trim();
    if trimmed == "24:00" {
        return Ok(TimeOfDay {
            hours: 24,
            ..TimeOfDay::default()
        });
    }
    let time = NaiveTime::parse_from_str(trimmed, "%H:%M")
        .or_else(|_| NaiveTime::parse_from_str(trimmed, "%H:%M:%S"))
        .map_err(|_| format!("\"{text}\" is not a time of day; write it like 06:30"))?;
    Ok(wire_time(time))
}

/// A time of day for the wire.
fn wire_time(time: NaiveTime) -> TimeOfDay {
    TimeOfDay {
        hours: small(time.hour()),
        minutes: small(time.minute()),
        seconds: small(time.second()),
        nanos: 0,
    }
}

/// Parts of dates and times, all far below the limit.
fn small(part: u32) -> i32 {
    i32::try_from(part).unwrap_or(i32::MAX)
}

/// Reads a stretch of the day: `08:00-12:00`.
///
/// # Errors
/// A sentence for anything else, and for an end that is not after its start.
pub fn day_time_window(text: &str) -> Result<DayTimeWindow, String> {
    let (start, end) = text.split_once(['-', '–']).ok_or_else(|| {
        format!("\"{text}\" is not a stretch of the day; write it like 08:00-12:00")
    })?;
    let (start, end) = (time_of_day(start)?, time_of_day(end)?);
    if minute_of_day(&end) <= minute_of_day(&start) {
        return Err(format!(
            "\"{text}\" ends before it starts; write the earlier time first"
        ));
    }
    Ok(DayTimeWindow {
        start_time: Some(start),
        end_time: Some(end),
    })
}

/// Minutes since midnight by the clock.
pub fn minute_of_day(time: &TimeOfDay) -> i32 {
    time.hours * 60 + time.minutes
}

/// Reads a local date and time, with its UTC offset where it needs one: `2027-04-20 17:00`,
/// `2027-11-07T01:30-06:00`.
///
/// # Errors
/// A sentence for anything else.
pub fn date_time(text: &str) -> Result<DateTime, String> {
    let written = text.trim().replacen(' ', "T", 1);
    for form in ["%Y-%m-%dT%H:%M%:z", "%Y-%m-%dT%H:%M:%S%:z"] {
        if let Ok(time) = chrono::DateTime::<FixedOffset>::parse_from_str(&written, form) {
            let offset = prost_types::Duration {
                seconds: i64::from(time.offset().local_minus_utc()),
                nanos: 0,
            };
            return Ok(DateTime {
                time_offset: Some(date_time::TimeOffset::UtcOffset(offset)),
                ..wire_date_time(time.naive_local())
            });
        }
    }
    NaiveDateTime::parse_from_str(&written, "%Y-%m-%dT%H:%M")
        .or_else(|_| NaiveDateTime::parse_from_str(&written, "%Y-%m-%dT%H:%M:%S"))
        .map(wire_date_time)
        .map_err(|_| {
            format!(
                "\"{text}\" is not a date and time; write it like 2027-04-20 17:00, or with its UTC offset like \
                 2027-11-07 01:30-06:00 where the clock shows it twice"
            )
        })
}

fn wire_date_time(time: NaiveDateTime) -> DateTime {
    use chrono::Datelike;
    DateTime {
        year: time.year(),
        month: small(time.month()),
        day: small(time.day()),
        hours: small(time.hour()),
        minutes: small(time.minute()),
        seconds: small(time.second()),
        nanos: 0,
        time_offset: None,
    }
}

/// Reads days of the week: `tue`, `monday; friday`, `mon-fri`.
///
/// # Errors
/// A sentence for a word that is no day, or a stretch that runs backwards.
pub fn days_of_week(text: &str) -> Result<Vec<DayOfWeek>, String> {
    let mut days = Vec::new();
    for part in super::list(text) {
        match part.split_once(['-', '–']) {
            None => days.push(day_of_week(&part)?),
            Some((first, last)) => {
                let (first, last) = (day_of_week(first)?, day_of_week(last)?);
                if last < first {
                    return Err(format!(
                        "\"{part}\" runs backwards; the week begins on Monday"
                    ));
                }
                days.extend(
                    DayOfWeek::all()
                        .into_iter()
                        .filter(|day| (first..=last).contains(day)),
                );
            }
        }
    }
    if days.is_empty() {
        return Err("a day of the week is missing; write it like mon or mon-fri".to_owned());
    }
    Ok(days)
}

fn day_of_week(text: &str) -> Result<DayOfWeek, String> {
    /// Two letters tell the days of the week apart.
    const LEAST_LETTERS: usize = 2;
    let typed = text.trim().to_ascii_lowercase();
    DayOfWeek::all()
        .into_iter()
        .find(|day| typed.len() >= LEAST_LETTERS && day.word().starts_with(&typed))
        .ok_or_else(|| format!("\"{text}\" is no day of the week; write it like mon or monday"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_of_day() {
        let read = |text| time_of_day(text).map(|time| (time.hours, time.minutes));
        assert_eq!(read("6:05"), Ok((6, 5)));
        assert_eq!(read("24:00"), Ok((24, 0)));
        assert!(read("24:01").is_err());
        assert!(read("7").unwrap_err().contains("06:30"));
        let window = day_time_window("08:00 - 12:30").unwrap();
        assert_eq!(minute_of_day(&window.end_time.unwrap()), 750);
        assert!(
            day_time_window("12:00-08:00")
                .unwrap_err()
                .contains("ends before")
        );
        assert!(day_time_window("12:00").is_err());
    }

    #[test]
    fn local_date_times_carry_an_offset_only_where_written() {
        let plain = date_time("2027-04-20 17:00").unwrap();
        assert_eq!((plain.month, plain.day, plain.hours), (4, 20, 17));
        assert!(plain.time_offset.is_none());
        let twice = date_time("2027-11-07T01:30-06:00").unwrap();
        assert_eq!((twice.hours, twice.minutes), (1, 30));
        assert_eq!(
            twice.time_offset,
            Some(date_time::TimeOffset::UtcOffset(prost_types::Duration {
                seconds: -21_600,
                nanos: 0
            }))
        );
        assert!(date_time("2027-02-30 10:00").is_err());
    }

    #[test]
    fn weeks() {
        assert_eq!(days_of_week("mon-wed").unwrap().len(), 3);
        assert_eq!(
            days_of_week("Tu; friday").unwrap(),
            [DayOfWeek::Tuesday, DayOfWeek::Friday]
        );
        assert!(days_of_week("fri-mon").unwrap_err().contains("backwards"));
        assert!(days_of_week("t").is_err());
        assert!(days_of_week("").is_err());
    }
}
