//! Crews and the days they work.

use crate::Seconds;
use crate::index::{JobIx, PlaceIx, SkillIx, UnitIx};

/// One crew on one day. A crew that works five days stands in the list five times, once for each day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Crew {
    /// Day of the problem, from 0. A unit is with at most one crew each day, unless units are shared, and never with two at a
    /// time, whatever their days: a night shift may go on as the next day's early one begins.
    pub day: u16,
    /// When the crew leaves its start place. The crew is paid from here on.
    pub shift_start: Seconds,
    /// When it should be back. Later is overtime.
    pub shift_end: Seconds,
    /// Most overtime allowed, seconds.
    pub overtime_max: Seconds,
    /// Where the day begins and the vehicle is loaded.
    pub start: PlaceIx,
    /// Where it ends.
    pub end: PlaceIx,
    /// Skills the crew has among its people.
    pub skills: Vec<SkillIx>,
    /// People.
    pub size: u8,
    /// How long the crew takes for what crews of its size take 1,000 for: below for a quick one. 400 to 2,500.
    pub pace_permille: u16,
    /// Room on the vehicle, in the same unit as [`UnitClass::space`](super::UnitClass::space).
    pub load_space: u32,
    /// Wages of the whole crew, minor units per hour.
    pub wage_per_hour: i64,
    /// Extra paid for the whole crew in overtime, on top of the wage, minor units per hour.
    pub overtime_per_hour: i64,
    /// Breaks in order of time; none may begin before the one before it has ended for certain.
    pub breaks: Vec<Break>,
    /// Driving and working beyond this many seconds counts as unfair load.
    pub fair_load: Option<Seconds>,
    /// Exposure points (noise, vibration) the company allows for a day.
    pub exposure_limit: Option<u32>,
    /// Yards at which the crew may call on its way to change units, each at another place.
    pub yard_calls: Vec<YardCall>,
    /// Most such calls in the part of the day still to come, at any of these yards.
    pub calls_max: u8,
    /// How far the day has got.
    pub progress: Progress,
}

impl Crew {
    /// The yard at a place, if the crew may call there.
    pub fn yard_at(&self, place: PlaceIx) -> Option<&YardCall> {
        self.yard_calls
            .iter()
            .find(|call| call.place == place && self.calls_max > 0)
    }

    /// How long the crew takes to hand units over where it meets another: as long as at the first of its yards. `None`
    /// if it may not change units on its way.
    pub fn handing_over(&self) -> Option<Seconds> {
        let first = self.yard_calls.first().filter(|_| self.calls_max > 0)?;
        Some(first.seconds)
    }

    /// How many of its breaks can no longer begin at an instant, and count as taken.
    pub(crate) fn breaks_missed(&self, at: Seconds) -> usize {
        let missed = |rest: &&Break| rest.latest < at;
        self.breaks.iter().take_while(missed).count()
    }

    /// What is said of crews of its size, as it is for this one: rounded to the nearest, halves up.
    pub(crate) fn paced(&self, figure: u32) -> i64 {
        (i64::from(figure) * i64::from(self.pace_permille) + 500) / 1_000
    }
}

/// A call at a yard in the course of the day, to put units down and take others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct YardCall {
    /// The yard.
    pub place: PlaceIx,
    /// How long unloading and loading take.
    pub seconds: Seconds,
}

/// A break: taken as soon as the crew is not driving at or after `earliest`. Work under way is interrupted and goes on
/// after it; a drive is not interrupted. A crew that is back before it came to its break takes none, and a break whose
/// latest instant has passed before the part to be planned begins counts as taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Break {
    /// When it may begin.
    pub earliest: Seconds,
    /// When it must have begun.
    pub latest: Seconds,
    /// How long it is.
    pub seconds: Seconds,
}

/// How far a crew's day has got.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Progress {
    /// Nothing has happened; the load-out is open.
    NotStarted,
    /// The crew is out: what is done stays done, and it has what is aboard.
    UnderWay(UnderWay),
}

/// A crew that is out on its day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnderWay {
    /// Where it will be when it is free for something new.
    pub place: PlaceIx,
    /// When that is: the expected finish of the running stop, or now.
    pub ready_at: Seconds,
    /// Units aboard and fit for use. A tagged unit is left out here, and its space is taken off the load space.
    pub aboard: Vec<UnitIx>,
    /// Stops done or running, in order, with their actual times.
    pub frozen: Vec<FrozenStop>,
    /// How many of the breaks are taken already.
    pub breaks_taken: usize,
}

/// A stop that is done or running and cannot change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrozenStop {
    /// The job.
    pub job: JobIx,
    /// Actual arrival.
    pub arrival: Seconds,
    /// Actual start of work.
    pub start: Seconds,
    /// Actual finish, or the expected one of a running stop.
    pub finish: Seconds,
    /// Units used, for the record.
    pub units: Vec<UnitIx>,
}
