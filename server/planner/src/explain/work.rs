//! How much may be tried.

use std::cell::Cell;

/// Tries for all jobs of one plan together, about. Each lays out one crew's day and puts a job into it, some tenths of a
/// millisecond.
const FOR_ALL: u32 = 60_000;
/// Tries for one job in one stage of its explanation: at the least what a dozen crews take.
const FOR_ONE: (u32, u32) = (600, 4_000);

/// Counts tries, so that the time that an explanation takes is bounded however many crews there are. What is begun with a
/// crew is done in any case: the bound decides how many crews are gone through in full.
pub(super) struct Work {
    granted: u32,
    left: Cell<u32>,
    #[cfg(test)]
    tried: Cell<u32>,
}

impl Work {
    /// For one of so many jobs.
    pub(super) fn for_one_of(jobs: usize) -> Self {
        let jobs = u32::try_from(jobs.max(1)).unwrap_or(u32::MAX);
        let granted = (FOR_ALL / jobs).clamp(FOR_ONE.0, FOR_ONE.1);
        Self {
            granted,
            left: Cell::new(granted),
            #[cfg(test)]
            tried: Cell::new(0),
        }
    }

    /// A new stage begins.
    pub(super) fn begin(&self) {
        self.left.set(self.granted);
    }

    /// One more try.
    pub(super) fn one_more(&self) {
        self.left.set(self.left.get().saturating_sub(1));
        #[cfg(test)]
        self.tried.set(self.tried.get() + 1);
    }

    /// Whether the stage has had its share.
    pub(super) fn is_spent(&self) -> bool {
        self.left.get() == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::explain::held::Held;
    use crate::explain::trial::Case;
    use crate::explain::{Reasons, reasons};
    use crate::index::{JobIx, PlaceIx};
    use crate::problem::{Crew, Problem};
    use crate::routing::Cancel;
    use crate::support::plain::{class, crew, job, parts, problem, road, unit};
    use crate::support::planned;

    /// Crews with full days, and a job that nothing makes fit, or only much together.
    fn full_days(crews: usize) -> Problem {
        let busy = Crew {
            shift_end: 2_400,
            load_space: 0,
            start: PlaceIx(0),
            ..crew()
        };
        let mut jobs = vec![job(1, &[]); crews];
        let mut wanted = job(2, &[0]);
        wanted.crew_size_min = 4;
        jobs.push(wanted);
        let places = road(&[0, 300, 4_000]);
        problem(parts(
            places,
            vec![class(0)],
            vec![unit(0, 0)],
            vec![busy; crews],
            jobs,
        ))
    }

    fn tried(crews: usize, share_of: usize) -> u32 {
        let problem = full_days(crews);
        let plan = planned(&problem, 1, 20, None);
        let wanted = JobIx::from_ix(crews);
        assert!(plan.unplanned.contains(&wanted));
        let work = Work::for_one_of(share_of);
        let told = reasons(Case {
            problem: &problem,
            plan: &plan,
            job: wanted,
            held: &Held::of_plan(&problem, &plan),
            work: &work,
            cancel: &Cancel::new(),
        });
        assert!(matches!(told, Reasons::AllOf(_)), "{told:?}");
        work.tried.get()
    }

    /// However many crews there are, no more is tried than the bound allows: a share for each of three stages, one try for
    /// each crew as it is, and what is begun with the last crew of a stage.
    #[test]
    fn what_is_tried_is_bounded() {
        let (few, many) = (tried(10, 1_000_000), tried(300, 1_000_000));
        assert!(few > 20, "{few}");
        assert!(
            many <= 3 * FOR_ONE.0 + 300 + 3 * few / 10 + 20,
            "{many} of {few}"
        );
    }
}
