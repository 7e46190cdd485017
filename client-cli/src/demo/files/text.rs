//! Values of the contract as the cells of the import's tables: the other way round than `parse`.

use chrono::{DateTime, Utc};
use forenoon_proto::google::r#type::{Date, DateTime as WallTime, DayOfWeek, Money, TimeOfDay};
use forenoon_proto::v1::{DayTimeWindow, Length, Shift, Surface, Volume, length, surface, volume};
use prost_types::{Duration, Timestamp};

use crate::demo::measure::ZONE;
use crate::parse::word::{Word, word_of};

pub(super) fn words<E: Word>(values: &[i32]) -> String {
    values
        .iter()
        .map(|value| word_of::<E>(*value))
        .collect::<Vec<_>>()
        .join("; ")
}

pub(super) fn length(length: Option<&Length>) -> String {
    match length.and_then(|length| length.value) {
        None => String::new(),
        Some(length::Value::Metres(metres)) => format!("{metres} m"),
        Some(length::Value::Millimetres(millimetres)) => format!("{millimetres} mm"),
        Some(length::Value::Feet(feet)) => format!("{feet} ft"),
        Some(length::Value::Inches(inches)) => format!("{inches} in"),
    }
}

pub(super) fn surface(surface: Option<&Surface>) -> String {
    match surface.and_then(|surface| surface.value) {
        None => String::new(),
        Some(surface::Value::SquareMetres(square_metres)) => format!("{square_metres} m2"),
        Some(surface::Value::SquareFeet(square_feet)) => format!("{square_feet} sqft"),
        Some(surface::Value::Acres(acres)) => format!("{acres} ac"),
    }
}

pub(super) fn volume(volume: Option<&Volume>) -> String {
    match volume.and_then(|volume| volume.value) {
        None => String::new(),
        Some(volume::Value::Litres(litres)) => format!("{litres} l"),
        Some(volume::Value::CubicFeet(cubic_feet)) => format!("{cubic_feet} cuft"),
    }
}

/// An amount in the branch's currency. The demo's amounts have at most two decimals.
pub(super) fn money(money: Option<&Money>) -> String {
    money.map_or_else(String::new, |money| {
        format!("{}.{:02}", money.units, money.nanos / 10_000_000)
    })
}

pub(super) fn minutes(duration: Option<&Duration>) -> String {
    duration.map_or_else(String::new, |duration| {
        format!("{} min", duration.seconds / 60)
    })
}

pub(super) fn clock(time: Option<&TimeOfDay>) -> String {
    time.map_or_else(String::new, |time| {
        format!("{:02}:{:02}", time.hours, time.minutes)
    })
}

pub(super) fn day(date: Option<&Date>) -> String {
    date.map_or_else(String::new, |date| {
        format!("{:04}-{:02}-{:02}", date.year, date.month, date.day)
    })
}

pub(super) fn wall(time: Option<&WallTime>) -> String {
    time.map_or_else(String::new, |time| {
        format!(
            "{:04}-{:02}-{:02} {:02}:{:02}",
            time.year, time.month, time.day, time.hours, time.minutes
        )
    })
}

/// An instant on the branch's clock, with its offset: it may be one that the clock shows twice.
pub(super) fn moment(time: Option<&Timestamp>) -> String {
    let at = time.and_then(|time| DateTime::<Utc>::from_timestamp(time.seconds, 0));
    at.map_or_else(String::new, |at| {
        at.with_timezone(&ZONE)
            .format("%Y-%m-%d %H:%M%:z")
            .to_string()
    })
}

pub(super) fn day_times(times: &[DayTimeWindow]) -> String {
    let one = |window: &DayTimeWindow| {
        format!(
            "{}-{}",
            clock(window.start_time.as_ref()),
            clock(window.end_time.as_ref())
        )
    };
    times.iter().map(one).collect::<Vec<_>>().join("; ")
}

/// Shifts as rows of days, start and end: days with the same times, one after another, share a row.
pub(super) fn shifts(shifts: &[Shift]) -> Vec<(String, String, String)> {
    let mut rows: Vec<(String, String, String)> = Vec::new();
    for shift in shifts {
        let day = word_of::<DayOfWeek>(shift.day);
        let times = (
            clock(shift.start_time.as_ref()),
            clock(shift.end_time.as_ref()),
        );
        match rows.last_mut() {
            Some((days, start, end)) if (&*start, &*end) == (&times.0, &times.1) => {
                days.push_str("; ");
                days.push_str(&day);
            }
            _ => rows.push((day, times.0, times.1)),
        }
    }
    rows
}
