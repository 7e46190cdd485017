//! Crews that are planned to meet on the road, where one hands units over to the other.

mod support;

use forenoon_planner::plan::{Stop, Visit};
use forenoon_planner::replan::as_of;
use forenoon_planner::{CrewIx, Plan, Problem, check};
use support::planned as plan;
use support::random_problem::Kinds;
use support::wanted_plans::{
    are_kept_by_a_warm_start, go_on_from_any_stop, pass_the_checker, with_crews,
};

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

fn has_meeting(_: &Problem, plan: &Plan) -> bool {
    !meeting(plan).is_empty()
}

/// Guards all rules where crews meet, and that they do.
#[test]
fn plans_with_meetings_pass_the_checker() {
    let count = pass_the_checker(Kinds::MEETING, has_meeting);
    assert!(count >= 40, "{count} plans with a meeting");
}

/// A plan with meetings used as a warm start is not lost: the result is never worse.
#[test]
fn a_warm_start_keeps_meetings() {
    let count = are_kept_by_a_warm_start(Kinds::MEETING, has_meeting);
    assert!(count >= 12, "{count} plans with a meeting");
}

/// Guards that a day with meetings can be gone on with at any time, and that those still to come are kept.
#[test]
fn a_day_with_meetings_goes_on_from_any_stop() {
    let mut kept = 0;
    let count = go_on_from_any_stop(
        Kinds::MEETING,
        |_, plan| meeting(plan),
        |crew, plan| kept += usize::from(meeting(plan).contains(&crew)),
    );
    assert!(count >= 20, "{count} instants");
    assert!(kept >= 10, "{kept} meetings kept");
}

/// A crew that comes late is waited for, where that is possible: the meeting is put off, and both still have it.
#[test]
fn a_late_crew_is_waited_for() {
    let (mut count, mut kept) = (0, 0);
    with_crews(
        Kinds::MEETING,
        |_, plan| meeting(plan),
        |seed, problem, first, crew| {
            let day = &first.crews[crew.ix()];
            let Some(at) = day.stops.iter().position(is_meeting) else {
                return;
            };
            let Some(before) = day.stops[..at].iter().rfind(|stop| !stop.frozen) else {
                return;
            };
            let mut late = first.clone();
            let by = (day.stops[at].start - before.finish).max(0) + 600;
            for stop in &mut late.crews[crew.ix()].stops[..at] {
                if stop.start == before.start {
                    stop.finish += by;
                }
            }
            let now = as_of(problem, &late, before.start);
            let second = plan(&now, 1, 0, Some(first));
            let checked = check(&now, &second);
            assert!(checked.is_ok(), "seed {seed}: {checked:?}");
            count += 1;
            let mut stops = second.crews[crew.ix()].stops.iter();
            let met = stops.find(|stop| is_meeting(stop));
            kept += usize::from(met.is_some_and(|stop| stop.start > day.stops[at].start));
        },
    );
    assert!(count >= 10, "{count} late crews");
    assert!(2 * kept >= count, "{kept} of {count} meetings put off");
}
