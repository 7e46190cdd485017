//! One thing that stands in a job's way.

use crate::Seconds;
use crate::index::{ClassIx, CrewIx, JobIx, PlaceIx, SkillIx, UnitIx};
use crate::problem::limits::{INSTANT_MAX, SHIFT_SECONDS_MAX, SPACE_MAX};
use crate::problem::{Bound, Crew, Job, Method, Parts, Progress, Unit, Window};

/// A cause. Crew, job and unit numbers are the problem's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// No unit of the branch can do the task.
    NoCapability {
        /// The task.
        task: usize,
    },
    /// Capable units are there, but none passes the gate.
    GateTooNarrow {
        /// The task.
        task: usize,
        /// Width of the narrowest capable tool that is only stopped by the gate, millimetres.
        narrowest_mm: u32,
    },
    /// Capable units are there, but none may work on such a slope.
    SlopeTooSteep {
        /// The task.
        task: usize,
        /// Steepest ground of the best capable tool that is only stopped by the slope, permille.
        steepest_permille: u32,
    },
    /// The unit is tagged out, in service, or due back in the course of the crew's day.
    UnitOut {
        /// The unit.
        unit: UnitIx,
        /// When it is available next, if ever.
        until: Option<Seconds>,
    },
    /// The unit is with another crew when it is wanted.
    UnitElsewhere {
        /// The unit.
        unit: UnitIx,
        /// Who has it.
        crew: CrewIx,
        /// Until that crew puts it down or is back.
        until: Seconds,
    },
    /// The crew is out, cannot call at the yard, and has no unit of the class aboard.
    NotAboard {
        /// The class.
        class: ClassIx,
        /// The crew.
        crew: CrewIx,
    },
    /// The unit stands at a yard where the crew does not load.
    UnitAtOtherYard {
        /// The unit.
        unit: UnitIx,
        /// The yard.
        yard: PlaceIx,
        /// The crew.
        crew: CrewIx,
    },
    /// The vehicle is full.
    LoadSpaceFull {
        /// The crew.
        crew: CrewIx,
    },
    /// Nobody in the crew has the skill.
    SkillMissing {
        /// The crew.
        crew: CrewIx,
        /// The skill.
        skill: SkillIx,
    },
    /// The crew is too small.
    CrewTooSmall {
        /// The crew.
        crew: CrewIx,
        /// People it has.
        people: u8,
    },
    /// The job is reserved for other crews.
    CrewNotListed {
        /// The crew.
        crew: CrewIx,
    },
    /// The crew's shift, with the overtime allowed, is full.
    ShiftFull {
        /// The crew.
        crew: CrewIx,
        /// How many seconds are missing.
        seconds_short: Seconds,
    },
    /// The job's windows do not let it in.
    WindowMissed,
    /// The customer was promised a time at which the crews are elsewhere.
    PromiseConflict,
    /// Noise is not allowed at the time that is left.
    QuietHours,
    /// Another stop of the crew would come too late for its own windows or promise.
    OtherStopLate {
        /// The crew.
        crew: CrewIx,
        /// The other job.
        job: JobIx,
    },
    /// The crew's break would begin too late.
    BreakMissed {
        /// The crew.
        crew: CrewIx,
    },
}

/// Longer than any problem.
pub(crate) const EVER: Window = Window {
    open: -INSTANT_MAX,
    close: INSTANT_MAX,
};

impl Cause {
    /// In which order a dispatcher would like to read them.
    pub(super) fn rank(&self) -> u8 {
        match self {
            Self::NoCapability { .. } => 0,
            Self::GateTooNarrow { .. } => 1,
            Self::SlopeTooSteep { .. } => 2,
            Self::UnitOut { .. } => 3,
            Self::UnitElsewhere { .. } => 4,
            Self::NotAboard { .. } => 5,
            Self::UnitAtOtherYard { .. } => 6,
            Self::SkillMissing { .. } => 7,
            Self::CrewTooSmall { .. } => 8,
            Self::CrewNotListed { .. } => 9,
            Self::WindowMissed => 10,
            Self::PromiseConflict => 11,
            Self::QuietHours => 12,
            Self::ShiftFull { .. } => 13,
            Self::LoadSpaceFull { .. } => 14,
            Self::OtherStopLate { .. } => 15,
            Self::BreakMissed { .. } => 16,
        }
    }

    /// The unit it is about.
    pub fn unit(&self) -> Option<UnitIx> {
        match *self {
            Self::UnitOut { unit, .. }
            | Self::UnitElsewhere { unit, .. }
            | Self::UnitAtOtherYard { unit, .. } => Some(unit),
            _ => None,
        }
    }

    /// Lifts the cause for `job`: changes the parts as if it did not stand in the way. This is what "remove a cause"
    /// means here, and what the tests do. A missing capability cannot be lifted.
    ///
    /// References out of range are ignored.
    pub fn lift(&self, job: JobIx, parts: &mut Parts) {
        match *self {
            Self::NoCapability { .. } => {}
            Self::GateTooNarrow { task, .. } => {
                for method in methods(parts, job, task) {
                    method.gate_mm = None;
                }
            }
            Self::SlopeTooSteep { task, .. } => {
                for method in methods(parts, job, task) {
                    method.slope_permille = 0;
                }
            }
            Self::UnitOut { unit, .. } => {
                if let Some(unit) = parts.units.get_mut(unit.ix()) {
                    unit.available = vec![EVER];
                }
            }
            // Another unit just like it, free and fit.
            Self::UnitElsewhere { unit, .. } => {
                let twin = parts.units.get(unit.ix()).cloned();
                parts.units.extend(twin);
            }
            Self::NotAboard { class, crew } => {
                if class.ix() < parts.classes.len()
                    && let Some(crew) = parts.crews.get_mut(crew.ix())
                {
                    if let Progress::UnderWay(way) = &mut crew.progress {
                        way.aboard.push(UnitIx::from_ix(parts.units.len()));
                    }
                    parts.units.push(Unit {
                        class,
                        home: crew.start,
                        available: vec![EVER],
                    });
                }
            }
            // Another unit just like it, at the crew's yard.
            Self::UnitAtOtherYard { unit, crew, .. } => {
                let twin = parts.units.get(unit.ix()).zip(parts.crews.get(crew.ix()));
                let twin = twin.map(|(unit, crew)| Unit {
                    home: loads_at(crew),
                    ..unit.clone()
                });
                parts.units.extend(twin);
            }
            Self::CrewTooSmall { .. }
            | Self::CrewNotListed { .. }
            | Self::WindowMissed
            | Self::PromiseConflict
            | Self::QuietHours => {
                if let Some(job) = parts.jobs.get_mut(job.ix()) {
                    self.lift_from_job(job);
                }
            }
            Self::LoadSpaceFull { crew }
            | Self::SkillMissing { crew, .. }
            | Self::ShiftFull { crew, .. }
            | Self::BreakMissed { crew } => {
                if let Some(crew) = parts.crews.get_mut(crew.ix()) {
                    self.lift_from_crew(crew);
                }
            }
            Self::OtherStopLate { job: other, .. } => {
                if let Some(other) = parts.jobs.get_mut(other.ix()) {
                    let_be_late(other);
                }
            }
        }
    }

    fn lift_from_job(&self, job: &mut Job) {
        match self {
            Self::CrewTooSmall { .. } => job.crew_size_min = 0,
            Self::CrewNotListed { .. } => job.crews = None,
            Self::WindowMissed => job.windows = vec![EVER],
            Self::PromiseConflict => job.promise = None,
            Self::QuietHours => job.quiet.clear(),
            _ => {}
        }
    }

    fn lift_from_crew(&self, crew: &mut Crew) {
        match self {
            Self::LoadSpaceFull { .. } => crew.load_space = SPACE_MAX,
            Self::SkillMissing { skill, .. } if !crew.skills.contains(skill) => {
                crew.skills.push(*skill);
            }
            Self::ShiftFull { .. } => crew.overtime_max = SHIFT_SECONDS_MAX,
            Self::BreakMissed { .. } => {
                // Later breaks stay apart from it.
                crew.breaks.truncate(1);
                for rest in &mut crew.breaks {
                    rest.latest = INSTANT_MAX;
                }
            }
            _ => {}
        }
    }
}

/// The methods of a task, none if it is not there.
fn methods(parts: &mut Parts, job: JobIx, task: usize) -> impl Iterator<Item = &mut Method> {
    let job = parts.jobs.get_mut(job.ix());
    let task = job.and_then(|job| job.tasks.get_mut(task));
    task.into_iter().flat_map(|task| &mut task.methods)
}

/// Where the crew loads in the part of its day still to come.
fn loads_at(crew: &Crew) -> PlaceIx {
    match (&crew.progress, crew.yard_calls.first()) {
        (Progress::UnderWay(_), Some(call)) if crew.calls_max > 0 => call.place,
        _ => crew.start,
    }
}

fn let_be_late(job: &mut Job) {
    job.bound = Bound::Start;
    if let Some(last) = job.windows.last_mut() {
        last.close = INSTANT_MAX;
    }
    if let Some(promise) = &mut job.promise {
        promise.hard = false;
    }
}
