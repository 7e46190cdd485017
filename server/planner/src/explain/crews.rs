//! Which crews are asked about a job, and in which order.

use super::Cause;
use crate::index::{CrewIx, JobIx, SkillIx};
use crate::plan::Plan;
use crate::problem::Problem;
use crate::search::model::on_its_day;

/// Something that keeps a crew from a job whatever its day looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Bar {
    /// The job is reserved for others.
    List,
    /// Too few people.
    Size,
    /// A skill that nobody has.
    Skill(SkillIx),
    /// None of the job's windows lies in the crew's day.
    Day,
}

/// A crew that is asked.
pub(super) struct Asked {
    pub(super) crew: CrewIx,
    bars: Vec<Bar>,
}

impl Asked {
    /// So many causes at the least must be lifted for the crew.
    pub(super) const fn least(&self) -> usize {
        self.bars.len()
    }

    /// Whether nothing keeps the crew from the job once the causes are lifted, as far as can be told without its day.
    pub(super) fn may_with(&self, lifted: &[Cause]) -> bool {
        self.bars
            .iter()
            .all(|bar| lifted.iter().any(|cause| self.lifts(cause, *bar)))
    }

    fn lifts(&self, cause: &Cause, bar: Bar) -> bool {
        match (cause, bar) {
            (Cause::CrewNotListed { .. }, Bar::List)
            | (Cause::CrewTooSmall { .. }, Bar::Size)
            | (Cause::WindowMissed, Bar::Day) => true,
            (Cause::SkillMissing { crew, skill }, Bar::Skill(missing)) => {
                *crew == self.crew && *skill == missing
            }
            // A longer day may come to a window.
            (Cause::ShiftFull { crew, .. }, Bar::Day) => *crew == self.crew,
            _ => false,
        }
    }

    /// Whether lifting the cause may help this crew, and not another one only.
    pub(super) fn is_helped_by(&self, cause: &Cause) -> bool {
        match cause {
            Cause::NotAboard { crew, .. }
            | Cause::LoadSpaceFull { crew }
            | Cause::SkillMissing { crew, .. }
            | Cause::ShiftFull { crew, .. }
            | Cause::OtherStopLate { crew, .. }
            | Cause::BreakMissed { crew } => *crew == self.crew,
            _ => true,
        }
    }
}

/// All crews, the likeliest first: those that least keeps from the job, and of them those whose stops are nearest.
pub(super) fn in_order(problem: &Problem, plan: &Plan, job: JobIx) -> Vec<Asked> {
    let place = problem.job(job).place;
    let travel = problem.travel();
    let crews = plan.crews.iter().enumerate().map(|(ix, day)| {
        let crew = CrewIx::from_ix(ix);
        let stops = day
            .stops
            .iter()
            .filter(|stop| !stop.frozen)
            .map(|stop| stop.place);
        let near = stops.map(|stop| travel.table_seconds(stop, place)).min();
        let start = problem.crew(crew).start;
        let asked = Asked {
            crew,
            bars: bars(problem, crew, job),
        };
        (
            near.unwrap_or_else(|| travel.table_seconds(start, place)),
            asked,
        )
    });
    let mut crews: Vec<(i64, Asked)> = crews.collect();
    crews.sort_by_key(|(near, asked)| (asked.least(), *near, asked.crew));
    crews.into_iter().map(|(_, asked)| asked).collect()
}

fn bars(problem: &Problem, crew_ix: CrewIx, job: JobIx) -> Vec<Bar> {
    let (crew, job) = (problem.crew(crew_ix), problem.job(job));
    let listed = |crews: &Vec<CrewIx>| crews.contains(&crew_ix);
    let mut bars = Vec::new();
    if !job.crews.as_ref().is_none_or(listed) {
        bars.push(Bar::List);
    }
    if crew.size < job.crew_size_min {
        bars.push(Bar::Size);
    }
    if !on_its_day(crew, job) {
        bars.push(Bar::Day);
    }
    let skills = job.skills.iter().copied();
    let missing = skills.filter(|skill| !crew.skills.contains(skill));
    bars.extend(missing.map(Bar::Skill));
    bars
}
