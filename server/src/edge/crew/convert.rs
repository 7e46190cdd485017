//! Crews, between wire and domain.

use chrono::{DateTime, Weekday};
use forenoon_proto::google::r#type::DayOfWeek;
use forenoon_proto::v1;
use forenoon_store::entity::{branch, crew};
use forenoon_store::value::{Place, Shift, Shifts};

use crate::edge::checks::Checks;
use crate::edge::mask::{Mask, updatable};
use crate::edge::{etag, place, time};
use crate::work::crew::CrewNow;
use crate::work::{self, Error, Reason};

/// The most shifts of a crew: four for each day of the week.
const SHIFTS_MAX: usize = 28;
/// Eight hours.
const OVERTIME_SECONDS_MAX: i32 = 8 * 3_600;
/// Two hours.
const BREAK_SECONDS_MAX: i32 = 2 * 3_600;

updatable!(v1::Crew {
    display_name, shifts, vehicle, trailer, overtime_allowed, base, break_length,
} fixed {
    name, size, skills, etag, create_time, update_time,
});

/// The fields an update can name, and those it cannot.
pub(super) fn mask_fields() -> (&'static [&'static str], &'static [&'static str]) {
    (UPDATABLE, FIXED)
}

/// The crew as an update makes it: the fields the mask names, over the crew as it is.
pub(super) fn edited(
    before: &crew::Model,
    branch: &branch::Model,
    change: v1::Crew,
    mask: &Mask,
) -> Result<crew::Model, Error> {
    let mut merged = to_wire(CrewNow {
        crew: before.clone(),
        size: 0,
        skills: std::collections::BTreeSet::new(),
    });
    overlay(&mut merged, change, mask);
    let mut checks = Checks::new();
    let row = checks.within("crew", |checks| {
        from_wire(checks, branch, before.id.clone(), merged)
    });
    checks.finish(row)
}

/// A crew as the wire has it.
pub(super) fn to_wire(now: CrewNow) -> v1::Crew {
    let CrewNow { crew, size, skills } = now;
    let etag = etag::of(&crew);
    let crew::Model {
        branch_id,
        id,
        display_name,
        shifts,
        vehicle_id,
        trailer_id,
        overtime_allowed_seconds,
        base_latitude,
        base_longitude,
        break_seconds,
        revision: _,
        create_time,
        update_time,
    } = crew;
    let unit = |id: Option<String>| {
        id.map(|id| work::unit::name(&branch_id, &id))
            .unwrap_or_default()
    };
    v1::Crew {
        name: work::crew::name(&branch_id, &id),
        display_name,
        shifts: shifts.0.into_iter().map(shift_to_wire).collect(),
        vehicle: unit(vehicle_id),
        trailer: unit(trailer_id),
        overtime_allowed: Some(time::duration(i64::from(overtime_allowed_seconds))),
        base: base_latitude
            .zip(base_longitude)
            .map(|(latitude, longitude)| {
                place::lat_lng(Place {
                    latitude,
                    longitude,
                })
            }),
        break_length: Some(time::duration(i64::from(break_seconds))),
        size: i32::try_from(size).unwrap_or(i32::MAX),
        skills: skills.into_iter().collect(),
        etag,
        create_time: Some(time::timestamp(create_time)),
        update_time: Some(time::timestamp(update_time)),
    }
}

/// A row from the wire; its revision and times are for the use case to set.
pub(crate) fn from_wire(
    checks: &mut Checks,
    branch: &branch::Model,
    id: String,
    wire: v1::Crew,
) -> Option<crew::Model> {
    let v1::Crew {
        name: _,
        display_name,
        shifts,
        vehicle,
        trailer,
        overtime_allowed,
        base,
        break_length,
        size: _,
        skills: _,
        etag: _,
        create_time: _,
        update_time: _,
    } = wire;
    let display_name = checks.line("display_name", display_name, 1..=200);
    let shifts = shifts_from_wire(checks, shifts);
    if vehicle.is_empty() && !trailer.is_empty() {
        let words = "has no vehicle to tow it; give the crew a vehicle too";
        checks.fault::<()>("trailer", Reason::Conflict, words);
    }
    let vehicle_id = checks.reference("vehicle", &branch.id, "units", &vehicle);
    let trailer_id = checks.reference("trailer", &branch.id, "units", &trailer);
    let overtime = checks.seconds("overtime_allowed", overtime_allowed, OVERTIME_SECONDS_MAX);
    let base = checks.land("base", base);
    let break_seconds = checks.seconds("break_length", break_length, BREAK_SECONDS_MAX);
    let base = base?;
    Some(crew::Model {
        branch_id: branch.id.clone(),
        id,
        display_name: display_name?,
        shifts: Shifts(shifts?),
        vehicle_id: vehicle_id?,
        trailer_id: trailer_id?,
        overtime_allowed_seconds: overtime?,
        base_latitude: base.map(|base| base.latitude),
        base_longitude: base.map(|base| base.longitude),
        break_seconds: break_seconds?,
        revision: 0,
        create_time: DateTime::UNIX_EPOCH,
        update_time: DateTime::UNIX_EPOCH,
    })
}

/// Shifts; each that overlaps one before it in the list is noted.
fn shifts_from_wire(checks: &mut Checks, wire: Vec<v1::Shift>) -> Option<Vec<Shift>> {
    let mut earlier: Vec<Option<Shift>> = Vec::new();
    checks.each("shifts", wire, SHIFTS_MAX, |checks, wire| {
        let shift = shift_from_wire(checks, wire);
        let met = shift.and_then(|shift| {
            earlier
                .iter()
                .position(|other| other.is_some_and(|other| overlap(&shift, &other)))
        });
        if let Some(index) = met {
            let words = format!("overlaps shifts[{index}]; give each hour once");
            checks.fault::<()>("", Reason::Overlap, words);
        }
        earlier.push(shift);
        shift
    })
}

/// Whether two shifts share time. One that begins when the other ends does not.
fn overlap(one: &Shift, other: &Shift) -> bool {
    one.day == other.day
        && one.times.start_second_of_day < other.times.end_second_of_day
        && other.times.start_second_of_day < one.times.end_second_of_day
}

fn shift_from_wire(checks: &mut Checks, wire: v1::Shift) -> Option<Shift> {
    let v1::Shift {
        day,
        start_time,
        end_time,
    } = wire;
    let day = checks.word("day", day, None, weekday);
    let times = checks.day_times(start_time, end_time);
    Some(Shift {
        day: day?,
        times: times?,
    })
}

fn shift_to_wire(shift: Shift) -> v1::Shift {
    let Shift { day, times } = shift;
    let day = match day {
        Weekday::Mon => DayOfWeek::Monday,
        Weekday::Tue => DayOfWeek::Tuesday,
        Weekday::Wed => DayOfWeek::Wednesday,
        Weekday::Thu => DayOfWeek::Thursday,
        Weekday::Fri => DayOfWeek::Friday,
        Weekday::Sat => DayOfWeek::Saturday,
        Weekday::Sun => DayOfWeek::Sunday,
    };
    v1::Shift {
        day: day.into(),
        start_time: Some(time::time_of_day(times.start_second_of_day)),
        end_time: Some(time::time_of_day(times.end_second_of_day)),
    }
}

fn weekday(day: DayOfWeek) -> Option<Weekday> {
    match day {
        DayOfWeek::Unspecified => None,
        DayOfWeek::Monday => Some(Weekday::Mon),
        DayOfWeek::Tuesday => Some(Weekday::Tue),
        DayOfWeek::Wednesday => Some(Weekday::Wed),
        DayOfWeek::Thursday => Some(Weekday::Thu),
        DayOfWeek::Friday => Some(Weekday::Fri),
        DayOfWeek::Saturday => Some(Weekday::Sat),
        DayOfWeek::Sunday => Some(Weekday::Sun),
    }
}
