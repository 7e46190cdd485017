//! Crews' breaks: told, and not given twice when the day is planned anew.

use std::slice::from_ref;

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_desk::problem::DayProblem;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_planner::problem::{Progress, UnderWay};
use forenoon_store::value::{Disruptions, PlannedBreak};

use crate::fixture::inputs;
use crate::planning::planned;
use crate::replan::{begun, proposals};

/// The small branch's day in which crews have a break of half an hour, with more to do than one morning.
fn day() -> DayInputs {
    let mut inputs = inputs();
    for crew in &mut inputs.crews {
        crew.break_seconds = 1_800;
    }
    // One crew does it all, past noon.
    inputs.crews.truncate(1);
    for job in &mut inputs.jobs {
        for task in &mut job.tasks.0 {
            task.agreed_minutes = Some(20.0);
        }
    }
    inputs
}

fn breaks(plan: &StoredPlan) -> Vec<PlannedBreak> {
    let kept = plan.parts.crew_days[0].breaks.clone();
    kept.expect("breaks are kept").0
}

fn at(plan: &StoredPlan, now: DateTime<Utc>, late: bool) -> DayInputs {
    let mut inputs = day();
    for stop in plan
        .parts
        .stops
        .iter()
        .filter(|stop| stop.start_time <= now)
    {
        begun(stop)(&mut inputs);
        let visit = inputs.visits.get_mut(&stop.job_id).expect("a visit");
        if stop.finish_time <= now && !late {
            visit.finish_time = Some(stop.finish_time);
            visit.state = forenoon_store::value::VisitState::Done;
        }
    }
    inputs.base = Some((plan.clone(), now));
    inputs.take_stock(Disruptions::default());
    inputs
}

fn under_way(inputs: &DayInputs) -> UnderWay {
    let day = DayProblem::new(inputs).expect("a problem");
    let way = match &day.problem.parts().crews[0].progress {
        Progress::UnderWay(way) => Some(way.clone()),
        Progress::NotStarted => None,
    };
    way.expect("it is out")
}

/// Guards the break that a crew has had: it stays on record, and no later plan gives another.
#[test]
fn a_break_that_was_had_is_not_given_again() {
    let plan = planned(&day(), 500);
    let [pause] = &breaks(&plan)[..] else {
        panic!("one break: {:?}", breaks(&plan));
    };
    assert_eq!(pause.end_time - pause.start_time, TimeDelta::minutes(30));
    let halfway = pause.start_time + TimeDelta::minutes(10);
    let inputs = at(&plan, halfway, false);
    let way = under_way(&inputs);
    assert_eq!(way.breaks_taken, 1);
    assert!(
        inputs.clock.instant(way.ready_at) >= pause.end_time,
        "it is still at it"
    );
    for later in proposals(&inputs) {
        assert_eq!(breaks(&later), from_ref(pause));
    }
    // Ten minutes before: still to come, but where the work that runs has it in it.
    let before = at(&plan, pause.start_time - TimeDelta::minutes(10), false);
    for later in proposals(&before) {
        assert_eq!(breaks(&later).len(), 1, "{:?}", breaks(&later));
    }
}

/// Guards a crew that is late: while it still works at what was to be over before, it has had no break.
#[test]
fn who_is_still_at_work_has_had_no_break() {
    let plan = planned(&day(), 500);
    let pause = breaks(&plan).remove(0);
    let works = |stop: &&forenoon_store::entity::plan_stop::Model| {
        stop.start_time <= pause.start_time && pause.start_time < stop.finish_time
    };
    let now = pause.start_time + TimeDelta::minutes(10);
    let expected = usize::from(plan.parts.stops.iter().any(|stop| works(&stop)));
    assert_eq!(under_way(&at(&plan, now, true)).breaks_taken, expected);
}

/// Guards the same for a crew that has its break at the yard, before it leaves.
#[test]
fn a_break_before_the_crew_leaves_is_not_given_again() {
    let mut plan = planned(&day(), 500);
    let pause = breaks(&plan).remove(0);
    let parts = std::sync::Arc::make_mut(&mut plan.parts);
    let later = pause.end_time - parts.stops[0].start_time + TimeDelta::minutes(5);
    parts.crew_days[0].depart_time = Some(pause.end_time);
    for stop in &mut parts.stops {
        stop.arrive_time += later;
        stop.start_time += later;
        stop.finish_time += later;
    }
    let inputs = at(&plan, pause.start_time + TimeDelta::minutes(10), false);
    let day = DayProblem::new(&inputs).expect("a problem");
    let crew = &day.problem.parts().crews[0];
    assert_eq!(crew.progress, Progress::NotStarted);
    assert!(crew.breaks.is_empty(), "{:?}", crew.breaks);
    assert_eq!(inputs.clock.instant(crew.shift_start), pause.end_time);
}

/// Guards a day that is planned from scratch once it has begun: no crew leaves before, and a break that had to begin by then
/// is not given any more.
#[test]
fn a_day_that_has_begun_is_planned_from_then_on() {
    for hour in [10, 13] {
        let mut inputs = day();
        let now = inputs.clock.instant(hour * 3_600);
        inputs.not_before = Some(now);
        let plan = planned(&inputs, 500);
        assert!(!plan.parts.stops.is_empty());
        let departs = plan.parts.crew_days.iter();
        for depart in departs.filter_map(|day| day.depart_time) {
            assert!(depart >= now, "{depart} is before {now}");
        }
        let given = breaks(&plan);
        assert!(given.iter().all(|one| one.start_time >= now), "{given:?}");
    }
}
