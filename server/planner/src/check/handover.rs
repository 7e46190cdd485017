//! Meetings of crews: each has its like on the other's day, with the same place and times.

use super::{Moment, Violation};
use crate::Seconds;
use crate::index::CrewIx;
use crate::plan::{Plan, Stop, Visit};
use crate::problem::{Crew, Problem};

/// How long handing over takes, if both crews may change units on the way.
pub(super) fn seconds(problem: &Problem, crew: &Crew, stop: &Stop) -> Option<Seconds> {
    let Visit::Meet { with, .. } = &stop.visit else {
        return None;
    };
    let other = problem.crews().get(with.ix())?;
    Some(call_seconds(crew)?.max(call_seconds(other)?))
}

fn call_seconds(crew: &Crew) -> Option<Seconds> {
    match crew.yard_calls[..] {
        [first, ..] if crew.calls_max > 0 => Some(first.seconds),
        _ => None,
    }
}

pub(super) fn check(problem: &Problem, plan: &Plan, found: &mut Vec<Violation>) {
    for (ix, day) in plan.crews.iter().enumerate() {
        let this = CrewIx::from_ix(ix);
        let meets = |stop: &&Stop| matches!(stop.visit, Visit::Meet { .. });
        let once = day.stops.iter().filter(meets).count() <= 1;
        for (position, stop) in day.stops.iter().enumerate() {
            let Visit::Meet { with, give, take } = &stop.visit else {
                continue;
            };
            let other_day = problem.crews().get(with.ix()).map(|crew| crew.day);
            let mirrored = plan.crews.get(with.ix()).is_some_and(|other| {
                other.stops.iter().any(|there| {
                    let same_time = (there.place, there.start, there.finish)
                        == (stop.place, stop.start, stop.finish);
                    same_time
                        && matches!(&there.visit, Visit::Meet { with, give: theirs, take: ours }
                            if *with == this && theirs == take && ours == give)
                })
            });
            let with_itself = *with == this;
            if !once
                || !mirrored
                || with_itself
                || other_day != Some(problem.crew(this).day)
                || seconds(problem, problem.crew(this), stop).is_none()
            {
                found.push(Violation::Meeting {
                    at: Moment {
                        crew: this,
                        stop: position,
                    },
                });
            }
        }
    }
}
