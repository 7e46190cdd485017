//! What holds of all plans, asked of those in which something is met with.

use forenoon_planner::replan::as_of;
use forenoon_planner::{CrewIx, Plan, Problem, check};

use super::planned;
use super::random_problem::{Kinds, problem};

/// Plans of so many random problems pass the checker. Returns how many are wanted.
pub fn pass_the_checker(kinds: Kinds, wanted: impl Fn(&Problem, &Plan) -> bool) -> usize {
    let mut count = 0;
    for seed in 0..3_000 {
        let problem = problem(seed, kinds);
        let plan = planned(&problem, seed, 300, None);
        let checked = check(&problem, &plan);
        assert!(checked.is_ok(), "seed {seed}: {checked:?}\n{plan:#?}");
        count += usize::from(wanted(&problem, &plan));
    }
    count
}

/// A wanted plan used as a warm start is not lost: the result is never worse. Returns how many there were.
pub fn are_kept_by_a_warm_start(kinds: Kinds, wanted: impl Fn(&Problem, &Plan) -> bool) -> usize {
    let mut count = 0;
    for seed in 0..1_500 {
        let problem = problem(seed, kinds);
        let first = planned(&problem, seed, 200, None);
        if !wanted(&problem, &first) {
            continue;
        }
        count += 1;
        let second = planned(&problem, 1, 0, Some(&first));
        let checked = check(&problem, &second);
        assert!(checked.is_ok(), "seed {seed}: {checked:?}");
        let (was, is) = (first.cost.total(), second.cost.total());
        assert!(is <= was, "seed {seed}: {was:?} then {is:?}");
    }
    count
}

/// A plan for each of 800 random problems, with the crews of it that are wanted.
pub fn with_crews(
    kinds: Kinds,
    wanted: impl Fn(&Problem, &Plan) -> Vec<CrewIx>,
    mut each: impl FnMut(u64, &Problem, &Plan, CrewIx),
) {
    for seed in 0..2_400 {
        let problem = problem(seed, kinds);
        let plan = planned(&problem, seed, 200, None);
        for crew in wanted(&problem, &plan) {
            each(seed, &problem, &plan, crew);
        }
    }
}

/// A day of which wanted crews are a part can be gone on with at any of their stops. Tells the crew and the plan gone on
/// with, and returns how often.
pub fn go_on_from_any_stop(
    kinds: Kinds,
    wanted: impl Fn(&Problem, &Plan) -> Vec<CrewIx>,
    mut told: impl FnMut(CrewIx, &Plan),
) -> usize {
    let mut count = 0;
    with_crews(kinds, wanted, |seed, problem, first, crew| {
        for stop in &first.crews[crew.ix()].stops {
            let now = as_of(problem, first, stop.start);
            let second = planned(&now, 1, 0, Some(first));
            let checked = check(&now, &second);
            assert!(checked.is_ok(), "seed {seed}: {checked:?}");
            count += 1;
            told(crew, &second);
        }
    });
    count
}
