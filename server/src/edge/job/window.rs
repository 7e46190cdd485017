//! When a visit may be made and what was promised, between wire and domain.

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use forenoon_proto::google::r#type as google;
use forenoon_proto::v1;
use forenoon_store::value::{DayTimes, Promise, VisitWindow};

use crate::edge::checks::Checks;
use crate::edge::{contact, time};
use crate::work::Reason;

/// The most windows of a job.
const WINDOWS_MAX: usize = 20;
/// The most stretches of a day in one window.
const TIMES_MAX: usize = 8;

pub(super) fn window_to_wire(window: VisitWindow) -> v1::VisitWindow {
    let VisitWindow {
        first_day,
        last_day,
        times,
    } = window;
    let times = times.into_iter().map(|times| v1::DayTimeWindow {
        start_time: Some(time::time_of_day(times.start_second_of_day)),
        end_time: Some(time::time_of_day(times.end_second_of_day)),
    });
    v1::VisitWindow {
        first_day: Some(time::date(first_day)),
        last_day: Some(time::date(last_day)),
        times: times.collect(),
    }
}

/// The windows of a job; at least one.
pub(super) fn windows_from_wire(
    checks: &mut Checks,
    field: &str,
    wire: Vec<v1::VisitWindow>,
) -> Option<Vec<VisitWindow>> {
    if wire.is_empty() {
        let words = "is empty; say on which days the work may be done";
        return checks.fault(field, Reason::Required, words);
    }
    checks.each(field, wire, WINDOWS_MAX, window_from_wire)
}

fn window_from_wire(checks: &mut Checks, wire: v1::VisitWindow) -> Option<VisitWindow> {
    let v1::VisitWindow {
        first_day,
        last_day,
        times,
    } = wire;
    let first_day = day(checks, "first_day", first_day);
    let last_day = day(checks, "last_day", last_day);
    let ordered = first_day
        .zip(last_day)
        .filter(|(first, last)| first <= last);
    if first_day.is_some() && last_day.is_some() && ordered.is_none() {
        let words = "is before the first day; give that day or a later one";
        checks.fault::<()>("last_day", Reason::EndBeforeStart, words);
    }
    let times = times_from_wire(checks, times);
    let (first_day, last_day) = ordered?;
    Some(VisitWindow {
        first_day,
        last_day,
        times: times?,
    })
}

fn day(checks: &mut Checks, field: &str, value: Option<google::Date>) -> Option<NaiveDate> {
    let value = checks.required(field, value)?;
    checks.date(field, value)
}

/// Stretches of a day; each that overlaps one before it in the list is noted.
fn times_from_wire(checks: &mut Checks, wire: Vec<v1::DayTimeWindow>) -> Option<Vec<DayTimes>> {
    let mut earlier: Vec<Option<DayTimes>> = Vec::new();
    checks.each("times", wire, TIMES_MAX, |checks, wire| {
        let v1::DayTimeWindow {
            start_time,
            end_time,
        } = wire;
        let times = checks.day_times(start_time, end_time);
        let met = times.and_then(|times| {
            earlier
                .iter()
                .position(|other| other.is_some_and(|other| overlap(times, other)))
        });
        if let Some(index) = met {
            let words = format!("overlaps times[{index}]; give each hour once");
            checks.fault::<()>("", Reason::Overlap, words);
        }
        earlier.push(times);
        times
    })
}

/// Whether two stretches share time. One that begins when the other ends does not.
fn overlap(one: DayTimes, other: DayTimes) -> bool {
    one.start_second_of_day < other.end_second_of_day
        && other.start_second_of_day < one.end_second_of_day
}

pub(super) fn promise_to_wire(promise: Promise, zone: Tz) -> v1::Promise {
    let Promise {
        start_time,
        end_time,
        before_work,
        contact,
    } = promise;
    v1::Promise {
        start_time: Some(time::local(start_time, zone)),
        end_time: Some(time::local(end_time, zone)),
        before_work,
        contact: contact.map(contact::contact),
    }
}

/// A promise; `windows` are the job's, where they are sound.
pub(super) fn promise_from_wire(
    checks: &mut Checks,
    wire: v1::Promise,
    zone: Tz,
    windows: Option<&[VisitWindow]>,
) -> Option<Promise> {
    let v1::Promise {
        start_time,
        end_time,
        before_work,
        contact,
    } = wire;
    let start = moment(checks, "start_time", start_time, zone);
    let end = moment(checks, "end_time", end_time, zone);
    let contact = checks.contact("contact", contact);
    let local_day = |instant: DateTime<Utc>| instant.with_timezone(&zone).date_naive();
    let (start_time, end_time) = start.zip(end)?;
    if end_time <= start_time {
        let words = "is not after the start; give a later one";
        return checks.fault("end_time", Reason::EndBeforeStart, words);
    }
    if local_day(start_time) != local_day(end_time) {
        let words = "is on another day than the start; a meeting is on one day";
        return checks.fault("end_time", Reason::Conflict, words);
    }
    let day = local_day(start_time);
    let in_a_window = |windows: &[VisitWindow]| {
        windows
            .iter()
            .any(|window| window.first_day <= day && day <= window.last_day)
    };
    if windows.is_some_and(|windows| !in_a_window(windows)) {
        let words = "is on a day that none of the windows has; the visit could never be made";
        return checks.fault("start_time", Reason::Conflict, words);
    }
    Some(Promise {
        start_time,
        end_time,
        before_work,
        contact: contact?,
    })
}

fn moment(
    checks: &mut Checks,
    field: &str,
    value: Option<google::DateTime>,
    zone: Tz,
) -> Option<DateTime<Utc>> {
    let value = checks.required(field, value)?;
    checks.local_time(field, value, zone)
}
