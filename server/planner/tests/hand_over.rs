//! Units that one crew uses after another: every plan passes the checker, and spoiled ones do not.

mod support;

use forenoon_planner::check::Violation;
use forenoon_planner::index::{CrewIx, UnitIx};
use forenoon_planner::plan::{Stop, Visit};
use forenoon_planner::{Plan, Problem, check};
use support::random_problem::{Kinds, problem, service};
use support::wanted_plans::{are_kept_by_a_warm_start, go_on_from_any_stop, pass_the_checker};
use support::{planned as plan, units_of};

/// Units that two crews have on one day, with the crews.
fn shared(problem: &Problem, plan: &Plan) -> Vec<(UnitIx, CrewIx, CrewIx)> {
    let mut found = Vec::new();
    for (one, first) in plan.crews.iter().enumerate() {
        for (two, second) in plan.crews.iter().enumerate().skip(one + 1) {
            let (one, two) = (CrewIx::from_ix(one), CrewIx::from_ix(two));
            if problem.crew(one).day == problem.crew(two).day {
                let both =
                    units_of(first).filter(|unit| units_of(second).any(|other| other == *unit));
                found.extend(both.map(|unit| (unit, one, two)));
            }
        }
    }
    found
}

fn has_shared(problem: &Problem, plan: &Plan) -> bool {
    !shared(problem, plan).is_empty()
}

/// Guards all rules where units change hands, and that they do.
#[test]
fn plans_with_shared_units_pass_the_checker() {
    let count = pass_the_checker(Kinds::SHARED, has_shared);
    assert!(count >= 40, "{count} plans with a shared unit");
}

/// A plan with hand-overs used as a warm start is not lost: the result is never worse.
#[test]
fn a_warm_start_keeps_hand_overs() {
    let count = are_kept_by_a_warm_start(Kinds::SHARED, has_shared);
    assert!(count >= 12, "{count} plans with a shared unit");
}

/// Guards that a day with hand-overs can be gone on with at any time: whoever is back has put down what another may have
/// taken since.
#[test]
fn a_day_with_hand_overs_goes_on_from_any_stop() {
    let takers = |problem: &Problem, plan: &Plan| {
        let shared = shared(problem, plan).into_iter();
        shared.map(|(_, _, taker)| taker).collect()
    };
    let count = go_on_from_any_stop(Kinds::SHARED, takers, |_, _| {});
    assert!(count >= 20, "{count} instants");
}

/// What a spoiler makes of a plan in which a unit changes hands: nothing if it does not apply.
type Spoiler = fn(&mut Plan, UnitIx, CrewIx) -> Option<fn(&Violation) -> bool>;

fn loads_of(plan: &mut Plan, crew: CrewIx) -> impl Iterator<Item = &mut Stop> {
    let stops = plan.crews[crew.ix()].stops.iter_mut();
    stops.filter(|stop| matches!(stop.visit, Visit::Yard { .. }))
}

/// The crew takes the unit earlier than it can.
fn taken_early(plan: &mut Plan, unit: UnitIx, crew: CrewIx) -> Option<fn(&Violation) -> bool> {
    for stop in loads_of(plan, crew) {
        if let Visit::Yard { load, .. } = &stop.visit
            && load.contains(&unit)
        {
            let by = 4 * 3_600;
            stop.arrival -= by;
            stop.start -= by;
            stop.finish -= by;
            return Some(|violation| {
                matches!(
                    violation,
                    Violation::TakenEarly { .. } | Violation::TwoPlaces { .. }
                )
            });
        }
    }
    None
}

/// The crew takes the unit although it has it.
fn taken_twice(plan: &mut Plan, unit: UnitIx, crew: CrewIx) -> Option<fn(&Violation) -> bool> {
    for stop in loads_of(plan, crew) {
        if let Visit::Yard { load, .. } = &mut stop.visit
            && load.contains(&unit)
        {
            load.push(unit);
            return Some(|violation| matches!(violation, Violation::TwoPlaces { .. }));
        }
    }
    None
}

/// The crew puts a unit down that it does not have.
fn put_down_by_another(
    plan: &mut Plan,
    unit: UnitIx,
    crew: CrewIx,
) -> Option<fn(&Violation) -> bool> {
    for stop in loads_of(plan, crew) {
        if let Visit::Yard { load, unload } = &mut stop.visit
            && load.contains(&unit)
        {
            unload.push(unit);
            return Some(|violation| matches!(violation, Violation::NotAboard { .. }));
        }
    }
    None
}

/// The crew does not put the unit down.
fn kept(plan: &mut Plan, unit: UnitIx, crew: CrewIx) -> Option<fn(&Violation) -> bool> {
    for stop in loads_of(plan, crew) {
        if let Visit::Yard { unload, .. } = &mut stop.visit
            && unload.contains(&unit)
        {
            unload.retain(|other| *other != unit);
            return Some(|violation| {
                matches!(
                    violation,
                    Violation::TakenEarly { .. } | Violation::TwoPlaces { .. }
                )
            });
        }
    }
    None
}

/// When the crew leaves for its first stop.
fn leaves(plan: &Plan, crew: CrewIx) -> i64 {
    let first = plan.crews[crew.ix()].stops.first();
    first.map_or(i64::MIN, |stop| stop.arrival - stop.drive_seconds)
}

/// Guards the checker's rules for units that change hands: each kind of spoiled plan is refused, for the right reason.
#[test]
fn spoiled_hand_overs_are_refused() {
    const KEPT: usize = 3;
    let spoilers: [Spoiler; 4] = [taken_early, taken_twice, put_down_by_another, kept];
    let mut counts = [0; 4];
    for seed in 0..1_500 {
        let problem = problem(seed, Kinds::SHARED);
        let plan = plan(&problem, seed, 200, None);
        for (unit, first, second) in shared(&problem, &plan) {
            for (kind, (spoil, count)) in spoilers.iter().zip(&mut counts).enumerate() {
                for crew in [first, second] {
                    let mut spoiled = plan.clone();
                    if let Some(expected) = spoil(&mut spoiled, unit, crew) {
                        let Err(found) = check(&problem, &spoiled) else {
                            // Who has it last may as well take it home, and so may who is back before the other leaves.
                            let is_back = plan.crews[first.ix()].back_at <= leaves(&plan, second);
                            assert!(kind == KEPT && (crew == second || is_back), "seed {seed}");
                            continue;
                        };
                        // It may be the first of the two that takes it early, or the second that keeps it: then the
                        // plan is refused for its times or its cost alone.
                        *count += usize::from(found.iter().any(expected));
                    }
                }
            }
        }
    }
    assert!(counts.iter().all(|count| *count >= 3), "{counts:?}");
}

/// Without leave to share units, a plan in which one changes hands is refused.
#[test]
fn sharing_needs_leave() {
    let mut count = 0;
    for seed in 0..1_000 {
        let problem = problem(seed, Kinds::SHARED);
        let plan = plan(&problem, seed, 200, None);
        let mut parts = problem.parts().clone();
        parts.share_units = false;
        let strict = Problem::new(parts, &mut service).expect("the same problem");
        if shared(&problem, &plan).is_empty() {
            assert!(check(&strict, &plan).is_ok());
        } else {
            count += 1;
            let found = check(&strict, &plan).expect_err("a shared unit");
            assert!(
                found
                    .iter()
                    .any(|violation| matches!(violation, Violation::TwoPlaces { .. }))
            );
        }
    }
    assert!(count >= 10, "{count} plans with a shared unit");
}
