//! Crews as the planner sees them, and why some stay in.

use forenoon_planner::problem::limits::{CREW_SIZE_MAX, RATE_MAX};
use forenoon_planner::problem::{Break, Crew, Progress};
use forenoon_planner::{Seconds, SkillIx};
use forenoon_store::entity::{crew, unit, worker};

use crate::fleet::{litres_down, present};
use crate::inputs::DayInputs;
use crate::lessons::Lessons;
use crate::places::Places;
use crate::words::SkillNumbers;

/// A shift longer than this has the crew's break.
const BREAK_AFTER: Seconds = 6 * 3_600;
/// The break may begin so long after the shift does. Common practice, no source.
const BREAK_EARLIEST: Seconds = 3 * 3_600 + 1_800;
/// The break must have begun so long after the shift does. Common practice, no source.
const BREAK_LATEST: Seconds = 5 * 3_600 + 1_800;
/// How late the pause between two shifts of one day may begin.
const BETWEEN_SHIFTS_LATEST: Seconds = 1_800;
/// Overtime is paid half as much again. Common practice, no source.
const OVERTIME_EXTRA_DIVISOR: i64 = 2;

/// The most that an hour of work may cost, minor units: a crew's dearer hour is reckoned as this.
pub const WAGE_MINOR_MAX: i64 = RATE_MAX;

/// Why a crew stays in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StaysIn {
    /// It has no shift that day.
    NoShift,
    /// It can't go on: somebody said so.
    Absent,
    /// Nobody is in it.
    NoWorkers,
    /// Its vehicle is tagged out.
    VehicleTaggedOut(String),
    /// Its vehicle is away.
    VehicleAway(String),
    /// Another crew drives its vehicle that day.
    VehicleTaken(String),
}

/// A crew that goes out.
#[derive(Clone, Debug)]
pub(crate) struct Going {
    /// The crew's id.
    pub(crate) id: String,
    /// Vehicle and trailer that it takes.
    pub(crate) carriers: Vec<String>,
    /// The planner's crew.
    pub(crate) crew: Crew,
    /// It is out and can't go on: what it has done stands, and nothing more is planned for it.
    pub(crate) stuck: bool,
}

/// Who goes with a crew, when and with what.
pub(crate) struct Leaving<'a> {
    /// Its shifts in order, on the planner's axis; at least one.
    shifts: Vec<(Seconds, Seconds)>,
    workers: Vec<&'a worker::Model>,
    /// Vehicle and trailer.
    carriers: Vec<&'a unit::Model>,
}

/// Sorts the branch's crews into those that go out and those that stay in.
pub(crate) fn roster(
    inputs: &DayInputs,
    places: &Places,
    lessons: &Lessons,
    skills: &mut SkillNumbers,
) -> (Vec<Going>, Vec<(String, StaysIn)>) {
    let mut going: Vec<Going> = Vec::new();
    let mut staying = Vec::new();
    for (crew, leaving) in who_goes(inputs) {
        match leaving {
            Ok(leaving) => going.push(one(inputs, places, lessons, skills, crew, &leaving)),
            Err(_) if inputs.has_begun(&crew.id) => going.push(stuck(inputs, places, crew)),
            Err(why) => staying.push((crew.id.clone(), why)),
        }
    }
    (going, staying)
}

/// The branch's crews in order, each with how it leaves, or why it does not. Of crews with one vehicle the first has it.
pub(crate) fn who_goes(inputs: &DayInputs) -> Vec<(&crew::Model, Result<Leaving<'_>, StaysIn>)> {
    let mut found: Vec<(&crew::Model, Result<Leaving<'_>, StaysIn>)> = Vec::new();
    for crew in &inputs.crews {
        let taken = |id: &str| {
            let others = found
                .iter()
                .filter_map(|(_, leaving)| leaving.as_ref().ok());
            let mut carriers = others.flat_map(|other| &other.carriers);
            carriers.any(|unit| unit.id == id)
        };
        let leaving = leaving(inputs, crew, &taken);
        found.push((crew, leaving));
    }
    found
}

fn leaving<'a>(
    inputs: &'a DayInputs,
    crew: &crew::Model,
    taken: &dyn Fn(&str) -> bool,
) -> Result<Leaving<'a>, StaysIn> {
    let shifts = shifts(inputs, crew);
    let (Some(&(start, _)), Some(&(_, end))) = (shifts.first(), shifts.last()) else {
        return Err(StaysIn::NoShift);
    };
    let workers: Vec<&worker::Model> = inputs
        .workers
        .iter()
        .filter(|worker| worker.crew_id.as_deref() == Some(crew.id.as_str()))
        .filter(|worker| !inputs.is_absent(&worker.id))
        .collect();
    if inputs.disruptions.absent_crews.contains(&crew.id) {
        return Err(StaysIn::Absent);
    }
    if workers.is_empty() {
        return Err(StaysIn::NoWorkers);
    }
    // What was away before now keeps nobody in who is out with it.
    let from = match &inputs.base {
        Some((_, now)) if inputs.has_begun(&crew.id) => {
            Ord::max(start, Ord::min(inputs.clock.nearest(*now), end - 1))
        }
        _ => start,
    };
    let carriers = carriers(inputs, crew, (from, end), taken)?;
    Ok(Leaving {
        shifts,
        workers,
        carriers,
    })
}

fn one(
    inputs: &DayInputs,
    places: &Places,
    lessons: &Lessons,
    skills: &mut SkillNumbers,
    crew: &crew::Model,
    leaving: &Leaving<'_>,
) -> Going {
    let Leaving {
        shifts,
        workers,
        carriers,
    } = leaving;
    let start = shifts.first().map_or(0, |(start, _)| *start);
    let end = shifts.last().map_or(start, |(_, end)| *end);
    let load_space: u32 = carriers
        .iter()
        .map(|unit| litres_down(unit.carries_litres))
        .sum();
    let labour = inputs.branch.price.labour_per_hour_minor.unwrap_or(0);
    let wage: i64 = workers
        .iter()
        .map(|worker| worker.cost_per_hour_minor.unwrap_or(labour))
        .sum();
    // A slip of the pen makes one crew dear, and not the day impossible.
    let wage = wage.min(WAGE_MINOR_MAX);
    let mut crew_skills: Vec<SkillIx> = workers
        .iter()
        .flat_map(|worker| &worker.skills.0)
        .map(|skill| skills.number(skill))
        .collect();
    crew_skills.sort_unstable();
    crew_skills.dedup();
    // Machines stand in the yard: a crew with a base of its own comes by first.
    let base = places.base(crew);
    let to_yard = places.drive(base, places.yard());
    Going {
        id: crew.id.clone(),
        carriers: carriers.iter().map(|unit| unit.id.clone()).collect(),
        crew: Crew {
            day: 0,
            shift_start: start + to_yard,
            shift_end: end.max(start + to_yard + 1),
            overtime_max: Seconds::from(crew.overtime_allowed_seconds),
            start: places.yard(),
            end: base,
            skills: crew_skills,
            size: size(workers.len()),
            pace_permille: lessons.pace_permille(&crew.id),
            load_space,
            wage_per_hour: wage,
            overtime_per_hour: wage / OVERTIME_EXTRA_DIVISOR,
            breaks: breaks(crew, shifts),
            fair_load: None,
            exposure_limit: None,
            yard_calls: Vec::new(),
            calls_max: 0,
            progress: Progress::NotStarted,
        },
        stuck: false,
    }
}

/// How many people the planner counts in a crew: more than it takes work no faster than so many.
pub(crate) fn size(workers: usize) -> u8 {
    u8::try_from(workers).map_or(CREW_SIZE_MAX, |size| size.min(CREW_SIZE_MAX))
}

/// A crew that is out and can't go on.
fn stuck(inputs: &DayInputs, places: &Places, crew: &crew::Model) -> Going {
    let shifts = shifts(inputs, crew);
    let start = shifts.first().map_or(0, |(start, _)| *start);
    let end = shifts.last().map_or(start + 1, |(_, end)| *end);
    Going {
        id: crew.id.clone(),
        carriers: Vec::new(),
        crew: Crew {
            day: 0,
            shift_start: start,
            shift_end: end.max(start + 1),
            overtime_max: Seconds::from(crew.overtime_allowed_seconds),
            start: places.yard(),
            end: places.base(crew),
            skills: Vec::new(),
            size: 1,
            pace_permille: 1_000,
            load_space: 0,
            wage_per_hour: 0,
            overtime_per_hour: 0,
            breaks: Vec::new(),
            fair_load: None,
            exposure_limit: None,
            yard_calls: Vec::new(),
            calls_max: 0,
            progress: Progress::NotStarted,
        },
        stuck: true,
    }
}

/// The day's shifts in order, on the planner's axis.
fn shifts(inputs: &DayInputs, crew: &crew::Model) -> Vec<(Seconds, Seconds)> {
    use chrono::Datelike;
    let weekday = inputs.clock.day().weekday();
    let mut shifts: Vec<(Seconds, Seconds)> = crew
        .shifts
        .0
        .iter()
        .filter(|shift| shift.day == weekday)
        .map(|shift| {
            (
                inputs.clock.wall(shift.times.start_second_of_day),
                inputs.clock.wall(shift.times.end_second_of_day),
            )
        })
        // A shift that lies in an hour which clocks jump over has no length.
        .filter(|(start, end)| start < end)
        .collect();
    shifts.sort_unstable();
    shifts
}

/// The crew's break and the pauses between its shifts, in order.
fn breaks(crew: &crew::Model, shifts: &[(Seconds, Seconds)]) -> Vec<Break> {
    let mut breaks: Vec<Break> = shifts
        .windows(2)
        .filter_map(|pair| match pair {
            [(_, end), (start, _)] if start > end => Some(Break {
                earliest: *end,
                latest: end + BETWEEN_SHIFTS_LATEST,
                seconds: start - end,
            }),
            _ => None,
        })
        .collect();
    let length = Seconds::from(crew.break_seconds);
    if let ([(start, end)], true) = (shifts, length > 0)
        && end - start > BREAK_AFTER
    {
        breaks.push(Break {
            earliest: start + BREAK_EARLIEST,
            latest: start + BREAK_LATEST,
            seconds: length,
        });
    }
    breaks
}

/// Vehicle and trailer. A trailer that is tagged out, away or left by the road is not taken; a vehicle keeps its crew in.
fn carriers<'a>(
    inputs: &'a DayInputs,
    crew: &crew::Model,
    shift: (Seconds, Seconds),
    taken: &dyn Fn(&str) -> bool,
) -> Result<Vec<&'a unit::Model>, StaysIn> {
    let find = |id: &str| inputs.units.iter().find(|unit| unit.id == id);
    // Windows include their last second, and a shift does not include its end: what is away from that very second on is
    // there all shift long.
    let there = |unit: &unit::Model| {
        present(&inputs.clock, unit)
            .iter()
            .any(|window| window.covers(shift.0, shift.1 - 1))
    };
    let mut carriers = Vec::new();
    if let Some(id) = &crew.vehicle_id {
        if inputs.is_tagged_out(id) {
            return Err(StaysIn::VehicleTaggedOut(id.clone()));
        }
        match find(id) {
            Some(vehicle) if taken(id) => return Err(StaysIn::VehicleTaken(vehicle.id.clone())),
            Some(vehicle) if there(vehicle) => carriers.push(vehicle),
            // A retired vehicle is not among the units.
            _ => return Err(StaysIn::VehicleAway(id.clone())),
        }
    }
    let trailer = crew
        .trailer_id
        .as_deref()
        .filter(|id| !inputs.is_tagged_out(id) && !inputs.stranded.contains(*id) && !taken(id))
        .and_then(find)
        .filter(|trailer| there(trailer));
    carriers.extend(trailer);
    Ok(carriers)
}
