//! Short names for the contract's measures, days and places, as the demo's tables use them.

#![expect(
    clippy::unnecessary_wraps,
    reason = "the contract's message fields are all optional: wrapped here, the tables stay legible"
)]

use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveDateTime, TimeZone, Timelike, Utc};
use forenoon_proto::google::r#type::{Date, DateTime as WallTime, LatLng, Money, TimeOfDay};
use forenoon_proto::v1::{
    DayTimeWindow, Length, Surface, VisitWindow, Volume, length, surface, volume,
};
use prost_types::Timestamp;

pub(super) const CURRENCY: &str = "USD";
pub(super) const ZONE: chrono_tz::Tz = chrono_tz::America::Chicago;

pub(super) fn inches(value: f64) -> Option<Length> {
    Some(Length {
        value: Some(length::Value::Inches(value)),
    })
}

pub(super) fn feet(value: f64) -> Option<Length> {
    Some(Length {
        value: Some(length::Value::Feet(value)),
    })
}

pub(super) fn square_feet(value: f64) -> Option<Surface> {
    Some(Surface {
        value: Some(surface::Value::SquareFeet(value)),
    })
}

pub(super) fn cubic_feet(value: f64) -> Option<Volume> {
    Some(Volume {
        value: Some(volume::Value::CubicFeet(value)),
    })
}

pub(super) fn dollars(units: i64) -> Option<Money> {
    Some(Money {
        currency_code: CURRENCY.to_owned(),
        units,
        nanos: 0,
    })
}

/// A time of day from hours and minutes.
pub(super) fn clock(hours: i32, minutes: i32) -> Option<TimeOfDay> {
    Some(TimeOfDay {
        hours,
        minutes,
        seconds: 0,
        nanos: 0,
    })
}

/// A window of the day, each end as hours and minutes.
pub(super) fn hours(from: (i32, i32), to: (i32, i32)) -> DayTimeWindow {
    DayTimeWindow {
        start_time: clock(from.0, from.1),
        end_time: clock(to.0, to.1),
    }
}

pub(super) fn date(day: NaiveDate) -> Date {
    Date {
        year: day.year(),
        month: i32::try_from(day.month()).unwrap_or(0),
        day: i32::try_from(day.day()).unwrap_or(0),
    }
}

/// Days on which a visit may be made: `first_day` and so many after it.
pub(super) fn window(
    first_day: NaiveDate,
    days_after: u64,
    times: Vec<DayTimeWindow>,
) -> VisitWindow {
    VisitWindow {
        first_day: Some(date(first_day)),
        last_day: Some(date(later(first_day, days_after))),
        times,
    }
}

/// The day so many days later; the same day at the end of the calendar.
pub(super) fn later(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_add_days(Days::new(days)).unwrap_or(day)
}

/// A moment on the branch's wall clock.
pub(super) fn wall(day: NaiveDate, hours: u32, minutes: u32) -> Option<WallTime> {
    let at = day.and_hms_opt(hours, minutes, 0)?;
    let number = |value: u32| i32::try_from(value).unwrap_or(0);
    Some(WallTime {
        year: at.year(),
        month: number(at.month()),
        day: number(at.day()),
        hours: number(at.hour()),
        minutes: number(at.minute()),
        ..WallTime::default()
    })
}

/// The instant of a moment on the branch's wall clock.
pub(super) fn instant(day: NaiveDate, hours: u32, minutes: u32) -> Option<Timestamp> {
    let local: NaiveDateTime = day.and_hms_opt(hours, minutes, 0)?;
    let at: DateTime<Utc> = ZONE.from_local_datetime(&local).earliest()?.to_utc();
    Some(Timestamp {
        seconds: at.timestamp(),
        nanos: 0,
    })
}

/// A place so many kilometres east and north of the yard.
pub(super) fn place(east_km: f64, north_km: f64) -> Option<LatLng> {
    // Kilometres in a degree on a sphere of the Earth's mean radius; the town is small enough for a plane.
    const KM_PER_DEGREE: f64 = 111.195;
    let longitude = YARD_LONGITUDE + east_km / (KM_PER_DEGREE * YARD_LATITUDE.to_radians().cos());
    let round = |degrees: f64| (degrees * 1e6).round() / 1e6;
    Some(LatLng {
        latitude: round(YARD_LATITUDE + north_km / KM_PER_DEGREE),
        longitude: round(longitude),
    })
}

/// Open grassland in the zone of the branch, where no town stands.
const YARD_LATITUDE: f64 = 42.15;
const YARD_LONGITUDE: f64 = -99.70;
