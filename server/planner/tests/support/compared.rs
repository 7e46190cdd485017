//! Searches whose every move is compared with a full evaluation.

use forenoon_planner::{Compared, Plan, Problem, compared};

use super::branch_day::{self, Size};
use super::planned;
use super::random_problem::{Kinds, problem};

/// Searches problems of all kinds, one after the other, until so many insertions and removals have been compared. Returns how
/// many problems that took, and what was compared.
pub fn each_move(wanted: u64, mut each: impl FnMut(u64, &Problem, &Plan)) -> (u64, Compared) {
    let before = compared();
    let since = || {
        let now = compared();
        Compared {
            insertions: now.insertions - before.insertions,
            removals: now.removals - before.removals,
            kept: now.kept - before.kept,
        }
    };
    for seed in 0.. {
        let found = since();
        if found.insertions + found.removals >= wanted {
            return (seed, found);
        }
        // Many small ones, and now and then a branch's whole day.
        let problem = match seed % 16 {
            15 => branch_day::problem(seed, Size::BRANCH),
            0 | 4 | 8 | 12 => problem(seed, Kinds::SHARED),
            1 | 5 | 9 | 13 => problem(seed, Kinds::MEETING),
            _ => problem(seed, Kinds::ALL),
        };
        let plan = planned(&problem, seed, 400, None);
        each(seed, &problem, &plan);
    }
    unreachable!("seeds do not run out")
}
