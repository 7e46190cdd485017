//! What the checker can find.

use crate::Seconds;
use crate::cost::Breakdown;
use crate::index::{CrewIx, JobIx, PlaceIx, SkillIx, UnitIx};

/// A stop of a crew.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moment {
    /// The crew.
    pub crew: CrewIx,
    /// Position among its stops.
    pub stop: usize,
}

/// One thing wrong with a plan.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Violation {
    /// The plan has another number of crews than the problem.
    CrewCount {
        /// In the plan.
        planned: usize,
        /// In the problem.
        crews: usize,
    },
    /// The plan names a job that does not exist.
    UnknownJob {
        /// The job.
        job: JobIx,
    },
    /// The plan names a unit that does not exist.
    UnknownUnit {
        /// The unit.
        unit: UnitIx,
    },
    /// The plan names a place that does not exist.
    UnknownPlace {
        /// The place.
        place: PlaceIx,
    },
    /// A job does not stand in the plan exactly once.
    JobCount {
        /// The job.
        job: JobIx,
        /// How often it stands there.
        times: usize,
    },
    /// A meeting is not in the other crew's day with the same place and times, or one of the two may not meet.
    Meeting {
        /// The stop.
        at: Moment,
    },
    /// Done or running stops are not as they were.
    FrozenChanged {
        /// The crew.
        crew: CrewIx,
    },
    /// A stop is not at its job's or yard's place.
    WrongPlace {
        /// The stop.
        at: Moment,
    },
    /// The drive to a stop takes another time.
    Drive {
        /// The stop.
        at: Moment,
        /// Stated seconds.
        stated: Seconds,
        /// Seconds it takes.
        needed: Seconds,
    },
    /// Time between two stops, or between arrival and start, is not accounted for.
    Gap {
        /// The stop.
        at: Moment,
        /// Unaccounted seconds; negative if two things overlap.
        seconds: Seconds,
    },
    /// The work at a stop takes another time.
    Work {
        /// The stop.
        at: Moment,
        /// Stated seconds without breaks.
        stated: Seconds,
        /// Seconds it takes.
        needed: Seconds,
    },
    /// Work outside the job's windows.
    Window {
        /// The stop.
        at: Moment,
    },
    /// Work before the customer is there, or after the latest start of a promise that must be kept.
    Promise {
        /// The stop.
        at: Moment,
    },
    /// Noisy work in a quiet time.
    Quiet {
        /// The stop.
        at: Moment,
    },
    /// A crew without a skill.
    Skill {
        /// The stop.
        at: Moment,
        /// The skill.
        skill: SkillIx,
    },
    /// A crew that may not do the job, by list or by size.
    Crew {
        /// The stop.
        at: Moment,
    },
    /// A break too early, too late, too short, while driving, or missing.
    Break {
        /// The crew.
        crew: CrewIx,
        /// Which of the crew's breaks.
        which: usize,
    },
    /// Back later than shift and overtime allow, or not when stated.
    Back {
        /// The crew.
        crew: CrewIx,
        /// Stated.
        stated: Seconds,
        /// Latest allowed, or the instant reckoned.
        expected: Seconds,
    },
    /// A task has no plan, or one with a tool that does not serve.
    Task {
        /// The stop.
        at: Moment,
        /// The task.
        task: usize,
    },
    /// A quicker tool is aboard.
    NotQuickest {
        /// The stop.
        at: Moment,
        /// The task.
        task: usize,
    },
    /// A unit used that is not aboard.
    NotAboard {
        /// The stop.
        at: Moment,
        /// The unit.
        unit: UnitIx,
    },
    /// A unit loaded or put down where it does not stand.
    NotAtYard {
        /// The crew.
        crew: CrewIx,
        /// The unit.
        unit: UnitIx,
    },
    /// A load-out other than what is aboard already.
    AboardChanged {
        /// The crew.
        crew: CrewIx,
    },
    /// A call at a yard beyond those the crew may make.
    YardCall {
        /// The stop.
        at: Moment,
    },
    /// More aboard than fits.
    LoadSpace {
        /// The crew.
        crew: CrewIx,
        /// Needed.
        needed: u64,
        /// There is.
        available: u32,
    },
    /// A unit out while it is tagged out or in service.
    NotAvailable {
        /// The crew.
        crew: CrewIx,
        /// The unit.
        unit: UnitIx,
    },
    /// A unit taken by one crew before another has put it down.
    TakenEarly {
        /// The unit.
        unit: UnitIx,
        /// Who has it.
        giver: CrewIx,
        /// Who takes it.
        taker: CrewIx,
        /// When it is put down.
        put_down: Seconds,
        /// When it is taken.
        taken: Seconds,
    },
    /// A unit taken where the crew before has not put it down.
    NotThere {
        /// The unit.
        unit: UnitIx,
        /// Who takes it.
        crew: CrewIx,
    },
    /// A unit with two crews at a time, or on one day where units are not shared, or taken by a crew that has it. Of
    /// whatever days the crews are.
    TwoPlaces {
        /// The unit.
        unit: UnitIx,
        /// One crew.
        first: CrewIx,
        /// The other.
        second: CrewIx,
    },
    /// Totals that do not follow from the stops.
    Totals {
        /// The crew.
        crew: CrewIx,
    },
    /// The stated cost is wrong.
    Cost {
        /// Stated.
        stated: Breakdown,
        /// Reckoned.
        reckoned: Breakdown,
    },
}
