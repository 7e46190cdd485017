//! Times on the branch's clock.

use chrono::{DateTime, LocalResult, NaiveDate, TimeZone, Utc};
use chrono_tz::Tz;
use forenoon_proto::google::r#type as wire;
use prost_types::Timestamp;

use super::screen::Format;
use crate::parse::{day, instant};

/// The branch's clock.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    /// Its zone.
    pub zone: Tz,
}

impl Clock {
    /// An instant as hours and minutes; with the zone's abbreviation where the clock shows them twice that day.
    pub fn time(self, time: DateTime<Utc>) -> String {
        let local = time.with_timezone(&self.zone);
        let twice = matches!(
            self.zone.from_local_datetime(&local.naive_local()),
            LocalResult::Ambiguous(..)
        );
        local
            .format(if twice { "%H:%M %Z" } else { "%H:%M" })
            .to_string()
    }

    /// An instant from the wire as hours and minutes; `-` where it is absent.
    pub fn hm(self, time: Option<&Timestamp>) -> String {
        time.and_then(instant::from_wire)
            .map_or_else(|| "-".to_owned(), |time| self.time(time))
    }

    /// An instant from the wire with its day, short: `Tue 20 Apr 10:10`; empty where it is absent.
    pub fn day_hm(self, time: Option<&Timestamp>) -> String {
        time.and_then(instant::from_wire)
            .map_or_else(String::new, |time| {
                let local = time.with_timezone(&self.zone);
                format!("{} {}", local.format("%a %-d %b"), self.time(time))
            })
    }

    /// An instant from the wire with its day and year: `Tue 20 Apr 2027 10:10`; empty where it is absent.
    pub fn year_hm(self, time: Option<&Timestamp>) -> String {
        time.and_then(instant::from_wire)
            .map_or_else(String::new, |time| {
                let local = time.with_timezone(&self.zone);
                format!("{} {}", local.format("%a %-d %b %Y"), self.time(time))
            })
    }

    /// An instant from the wire as one speaks of it on a day: the time alone that day, else with its day.
    pub fn near(self, time: Option<&Timestamp>, day: Option<&wire::Date>) -> String {
        let same = time
            .and_then(instant::from_wire)
            .map(|time| self.date(time))
            == day.and_then(day::from_wire);
        if same {
            self.hm(time)
        } else {
            self.day_hm(time)
        }
    }

    /// An instant from the wire for scripts: RFC 3339 with the zone's offset; empty where it is absent.
    pub fn plain(self, time: Option<&Timestamp>) -> String {
        time.and_then(instant::from_wire)
            .map_or_else(String::new, |time| {
                time.with_timezone(&self.zone)
                    .format("%Y-%m-%dT%H:%M:%S%:z")
                    .to_string()
            })
    }

    /// The local date of an instant.
    pub fn date(self, time: DateTime<Utc>) -> NaiveDate {
        time.with_timezone(&self.zone).date_naive()
    }
}

/// Times of a grid, as whoever reads it wants them.
#[derive(Clone, Copy, Debug)]
pub enum Times {
    /// For people, of one day: hours and minutes, `-` where a time is absent.
    Hours(Clock),
    /// For people, of these days: `Tue 20 Apr 10:10`.
    Days(Clock),
    /// For people, of years: `Tue 20 Apr 2027 10:10`.
    Years(Clock),
    /// For scripts: RFC 3339 with the zone's offset.
    Plain(Clock),
}

impl Times {
    /// An instant from the wire.
    pub fn at(self, time: Option<&Timestamp>) -> String {
        match self {
            Self::Hours(clock) => clock.hm(time),
            Self::Days(clock) => clock.day_hm(time),
            Self::Years(clock) => clock.year_hm(time),
            Self::Plain(clock) => clock.plain(time),
        }
    }

    /// The same for a form of answer: scripts have whole times, whatever people are shown.
    #[must_use]
    pub fn in_form(self, format: Format) -> Self {
        let (Self::Hours(clock) | Self::Days(clock) | Self::Years(clock) | Self::Plain(clock)) =
            self;
        match format {
            Format::Plain => Self::Plain(clock),
            Format::Table | Format::Json => self,
        }
    }
}

/// A day in words: `Tue 20 Apr 2027`.
pub fn day_words(date: Option<&wire::Date>) -> String {
    date.and_then(day::from_wire).map_or_else(
        || "no day".to_owned(),
        |date| date.format("%a %-d %b %Y").to_string(),
    )
}

/// A day as data has it: `2027-04-20`; empty where it is absent.
pub fn day_plain(date: Option<&wire::Date>) -> String {
    date.and_then(day::from_wire)
        .map_or_else(String::new, |date| date.to_string())
}

/// A local date and time: `2027-04-20 17:00`, with its offset where it carries one.
pub fn date_time(time: &wire::DateTime) -> String {
    let mut text = format!(
        "{:04}-{:02}-{:02} {:02}:{:02}",
        time.year, time.month, time.day, time.hours, time.minutes
    );
    if let Some(wire::date_time::TimeOffset::UtcOffset(offset)) = &time.time_offset {
        let minutes = offset.seconds.abs() / 60;
        let sign = if offset.seconds < 0 { '-' } else { '+' };
        super::text::add(
            &mut text,
            format_args!("{sign}{:02}:{:02}", minutes / 60, minutes % 60),
        );
    }
    text
}

/// The hours and minutes of a local date and time.
pub fn date_time_hm(time: &wire::DateTime) -> String {
    format!("{:02}:{:02}", time.hours, time.minutes)
}

/// The date of a local date and time.
pub fn date_of(time: &wire::DateTime) -> wire::Date {
    wire::Date {
        year: time.year,
        month: time.month,
        day: time.day,
    }
}

/// A time of day: `06:30`.
pub fn time_of_day(time: &wire::TimeOfDay) -> String {
    format!("{:02}:{:02}", time.hours, time.minutes)
}

/// The instant of a local date and time, where the clock of the zone shows it; of two, the one its offset names,
/// else the first.
pub fn instant_of(time: &wire::DateTime, zone: Tz) -> Option<DateTime<Utc>> {
    let local = day::from_wire(&date_of(time))?.and_hms_opt(
        u32::try_from(time.hours).ok()?,
        u32::try_from(time.minutes).ok()?,
        u32::try_from(time.seconds).ok()?,
    )?;
    match &time.time_offset {
        Some(wire::date_time::TimeOffset::UtcOffset(offset)) => {
            Some((local - chrono::TimeDelta::try_seconds(offset.seconds)?).and_utc())
        }
        _ => zone
            .from_local_datetime(&local)
            .earliest()
            .map(|time| time.to_utc()),
    }
}

/// Whole minutes of a stretch of time, rounded to the nearest.
pub fn minutes(stretch: Option<&prost_types::Duration>) -> i64 {
    stretch.map_or(0, |stretch| {
        let half_up = if stretch.seconds < 0 { -30 } else { 30 };
        (stretch.seconds + half_up) / 60
    })
}

/// Minutes in words: `25 min`, `2 h 05`.
pub fn stretch(minutes: i64) -> String {
    let sign = if minutes < 0 { "-" } else { "" };
    let (hours, rest) = (minutes.abs() / 60, minutes.abs() % 60);
    if hours == 0 {
        format!("{sign}{rest} min")
    } else {
        format!("{sign}{hours} h {rest:02}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CHICAGO: Clock = Clock {
        zone: chrono_tz::America::Chicago,
    };

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    #[test]
    fn times_are_the_branchs_through_the_year() {
        assert_eq!(CHICAGO.hm(Some(&at("2027-04-20T15:10:00Z"))), "10:10");
        assert_eq!(CHICAGO.hm(Some(&at("2027-01-20T15:10:00Z"))), "09:10");
        assert_eq!(
            CHICAGO.day_hm(Some(&at("2027-04-21T03:10:00Z"))),
            "Tue 20 Apr 22:10"
        );
        assert_eq!(
            CHICAGO.plain(Some(&at("2027-04-20T15:10:00Z"))),
            "2027-04-20T10:10:00-05:00"
        );
        assert_eq!(CHICAGO.hm(None), "-");
    }

    // Clocks go back on 7 November 2027 at 02:00 (15 U.S.C. 260a): 01:30 comes twice.
    #[test]
    fn an_hour_that_comes_twice_says_which_it_is() {
        assert_eq!(CHICAGO.hm(Some(&at("2027-11-07T06:30:00Z"))), "01:30 CDT");
        assert_eq!(CHICAGO.hm(Some(&at("2027-11-07T07:30:00Z"))), "01:30 CST");
        assert_eq!(CHICAGO.hm(Some(&at("2027-11-07T08:30:00Z"))), "02:30");
    }

    #[test]
    fn stretches_read_well() {
        let read = |seconds| stretch(minutes(Some(&prost_types::Duration { seconds, nanos: 0 })));
        assert_eq!(read(1500), "25 min");
        assert_eq!(read(7529), "2 h 05");
        assert_eq!(read(-90), "-2 min");
        assert_eq!(read(0), "0 min");
    }

    #[test]
    fn local_times_keep_their_offset() {
        let read = |text| crate::parse::clock::date_time(text).unwrap();
        assert_eq!(date_time(&read("2027-04-20 17:00")), "2027-04-20 17:00");
        assert_eq!(
            date_time(&read("2027-11-07 01:30-06:00")),
            "2027-11-07 01:30-06:00"
        );
        let zone = CHICAGO.zone;
        let instant = |text| instant_of(&read(text), zone).map(|time| time.to_rfc3339());
        assert_eq!(
            instant("2027-11-07 01:30-06:00").as_deref(),
            Some("2027-11-07T07:30:00+00:00")
        );
        assert_eq!(
            instant("2027-11-07 01:30").as_deref(),
            Some("2027-11-07T06:30:00+00:00")
        );
        assert_eq!(instant("2027-03-14 02:30"), None);
    }
}
