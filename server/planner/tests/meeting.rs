//! Crews that are planned to meet on the road, where one hands units over to the other.

mod support;

use forenoon_planner::index::CrewIx;
use forenoon_planner::plan::{Stop, Visit};
use forenoon_planner::replan::as_of;
use forenoon_planner::{Plan, check};
use support::planned as plan;
use support::random_problem::{Kinds, problem};

fn is_meeting(stop: &Stop) -> bool {
    matches!(stop.visit, Visit::Meet { .. })
}

/// Crews that meet another.
fn meeting(plan: &Plan) -> Vec<CrewIx> {
    let crews = plan.crews.iter().enumerate();
    crews
        .filter(|(_, day)| day.stops.iter().any(is_meeting))
        .map(|(crew, _)| CrewIx::from_ix(crew))
        .collect()
}

/// Guards all rules where crews meet, and that they do.
#[test]
fn plans_with_meetings_pass_the_checker() {
    let mut count = 0;
    for seed in 0..3_000 {
        let problem = problem(seed, Kinds::MEETING);
        let plan = plan(&problem, seed, 300, None);
        let checked = check(&problem, &plan);
        assert!(checked.is_ok(), "seed {seed}: {checked:?}\n{plan:#?}");
        count += usize::from(!meeting(&plan).is_empty());
    }
    assert!(count >= 40, "{count} plans with a meeting");
}

/// A plan with meetings used as a warm start is not lost: the result is never worse.
#[test]
fn a_warm_start_keeps_meetings() {
    let mut count = 0;
    for seed in 0..1_500 {
        let problem = problem(seed, Kinds::MEETING);
        let first = plan(&problem, seed, 200, None);
        if meeting(&first).is_empty() {
            continue;
        }
        count += 1;
        let second = plan(&problem, 1, 0, Some(&first));
        let checked = check(&problem, &second);
        assert!(checked.is_ok(), "seed {seed}: {checked:?}");
        let (was, is) = (first.cost.total(), second.cost.total());
        assert!(is <= was, "seed {seed}: {was:?} then {is:?}");
    }
    assert!(count >= 12, "{count} plans with a meeting");
}

/// Guards that a day with meetings can be gone on with at any time, and that those still to come are kept.
#[test]
fn a_day_with_meetings_goes_on_from_any_stop() {
    let (mut count, mut kept) = (0, 0);
    for seed in 0..800 {
        let problem = problem(seed, Kinds::MEETING);
        let first = plan(&problem, seed, 200, None);
        for crew in meeting(&first) {
            for stop in &first.crews[crew.ix()].stops {
                let now = as_of(&problem, &first, stop.start);
                let second = plan(&now, 1, 0, Some(&first));
                let checked = check(&now, &second);
                assert!(checked.is_ok(), "seed {seed}: {checked:?}");
                count += 1;
                kept += usize::from(meeting(&second).contains(&crew));
            }
        }
    }
    assert!(count >= 20, "{count} instants");
    assert!(kept >= 10, "{kept} meetings kept");
}

/// A crew that comes late is waited for, where that is possible: the meeting is put off, and both still have it.
#[test]
fn a_late_crew_is_waited_for() {
    let (mut count, mut kept) = (0, 0);
    for seed in 0..800 {
        let problem = problem(seed, Kinds::MEETING);
        let first = plan(&problem, seed, 200, None);
        for crew in meeting(&first) {
            let day = &first.crews[crew.ix()];
            let Some(at) = day.stops.iter().position(is_meeting) else {
                continue;
            };
            let Some(before) = day.stops[..at].iter().rfind(|stop| !stop.frozen) else {
                continue;
            };
            let mut late = first.clone();
            let by = (day.stops[at].start - before.finish).max(0) + 600;
            for stop in &mut late.crews[crew.ix()].stops[..at] {
                if stop.start == before.start {
                    stop.finish += by;
                }
            }
            let now = as_of(&problem, &late, before.start);
            let second = plan(&now, 1, 0, Some(&first));
            let checked = check(&now, &second);
            assert!(checked.is_ok(), "seed {seed}: {checked:?}");
            count += 1;
            let met = second.crews[crew.ix()]
                .stops
                .iter()
                .find(|stop| is_meeting(stop));
            kept += usize::from(met.is_some_and(|stop| stop.start > day.stops[at].start));
        }
    }
    assert!(count >= 10, "{count} late crews");
    assert!(2 * kept >= count, "{kept} of {count} meetings put off");
}
