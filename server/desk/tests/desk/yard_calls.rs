//! A day in which a crew comes by the yard to change units, because not all it needs fits its truck.

use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_desk::problem::DayProblem;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_planner::CrewIx;
use forenoon_planner::problem::Progress;
use forenoon_store::entity::plan_stop;
use forenoon_store::value::{Disruptions, TaskKind, YardStop, YardStops};

use crate::fixture::inputs;
use crate::planning::planned;
use crate::replan::proposals;

/// One crew, whose truck takes the mower for one job or the edger for the other.
fn crowded() -> DayInputs {
    let mut inputs = inputs();
    inputs.crews.truncate(1);
    inputs.crews[0].trailer_id = None;
    inputs
        .workers
        .retain(|worker| worker.crew_id.as_deref() == Some("crew-1"));
    for unit in &mut inputs.units {
        if ["walk-21", "edger-1"].contains(&unit.id.as_str()) {
            unit.load_space_litres = 1_500.0;
        }
    }
    inputs.jobs.truncate(2);
    for (job, kind) in inputs.jobs.iter_mut().zip([TaskKind::Mow, TaskKind::Edge]) {
        job.tasks.0.retain(|task| task.kind == kind);
    }
    inputs
}

/// The two stops and the call between them.
fn day_of(stored: &StoredPlan) -> ([&plan_stop::Model; 2], &YardStop) {
    let stops: Vec<_> = stored.stops_of("crew-1").collect();
    let calls: Vec<_> = stored.calls_of("crew-1").collect();
    let [first, second] = stops.try_into().expect("two stops");
    let [call] = calls.try_into().expect("one call");
    ([first, second], call)
}

/// Whether the crew has the unit aboard at an instant, where all goes as planned.
fn has(stored: &StoredPlan, unit: &str, at: DateTime<Utc>) -> bool {
    stored.is_aboard("crew-1", unit, &|_, instant| instant <= at)
}

/// The day gone on with at an instant.
fn at(base: &StoredPlan, at: DateTime<Utc>) -> DayInputs {
    let mut inputs = crowded();
    inputs.base = Some((base.clone(), at));
    inputs.take_stock(Disruptions::default());
    inputs
}

/// Guards the morning's plan: what does not fit is fetched in between, and each tool is aboard when it is used.
#[test]
fn what_does_not_fit_is_fetched_in_between() {
    let stored = planned(&crowded(), 500);
    assert!(stored.parts.unplanned.is_empty());
    let ([first, second], call) = day_of(&stored);
    assert!(first.finish_time <= call.arrive_time && call.leave_time <= second.arrive_time);
    for (stop, other) in [(first, second), (second, first)] {
        let unit = &stop.tasks.0[0].unit_ids[0];
        assert!(has(&stored, unit, stop.start_time), "{unit}");
        assert!(!has(&stored, unit, other.start_time), "{unit}");
    }
    let day = &stored.parts.crew_days[0];
    assert!(day.load_taken_litres <= day.load_space_litres);
}

/// Guards the day in motion: before the call it is planned still, after it the crew has what it took, and it stays on record.
#[test]
fn a_call_is_kept_and_stays_on_record() {
    let base = planned(&crowded(), 500);
    let ([first, second], call) = day_of(&base);
    for instant in [first.start_time, second.start_time] {
        let inputs = at(&base, instant + TimeDelta::minutes(1));
        let proposals = proposals(&inputs);
        let best = &proposals[0];
        assert!(best.parts.unplanned.is_empty(), "{best:?}");
        let (_, kept) = day_of(best);
        assert_eq!((&kept.load, &kept.unload), (&call.load, &call.unload));
        let facts = best.plan.proposal.as_ref().expect("a proposal");
        assert!(!facts.title.contains("fetch"), "{}", facts.title);
    }
}

/// Guards where a crew is taken to be: at the yard from its arrival on, with what it takes there.
#[test]
fn a_crew_at_the_yard_goes_on_from_there() {
    let base = planned(&crowded(), 500);
    let (_, call) = day_of(&base);
    let inputs = at(&base, call.arrive_time + TimeDelta::minutes(1));
    let day = DayProblem::new(&inputs).expect("a problem");
    let crew = day.problem.crew(CrewIx(0));
    let way = match &crew.progress {
        Progress::UnderWay(way) => Some(way),
        Progress::NotStarted => None,
    };
    let way = way.expect("the crew is out");
    assert_eq!(way.place, crew.start);
    assert_eq!(inputs.clock.instant(way.ready_at), call.leave_time);
    let mut aboard: Vec<&str> = way
        .aboard
        .iter()
        .map(|unit| day.unit_ids[unit.ix()].as_str())
        .collect();
    aboard.sort_unstable();
    let expected: Vec<&str> = base
        .load_out_of("crew-1")
        .filter(|unit| *unit != "truck-1")
        .filter(|unit| has(&base, unit, call.leave_time))
        .collect();
    aboard.retain(|unit| *unit != "truck-1");
    assert_eq!(aboard, expected);
    assert!(call.load.iter().all(|unit| aboard.contains(&unit.as_str())));
    assert!(
        !call
            .unload
            .iter()
            .any(|unit| aboard.contains(&unit.as_str()))
    );
}

/// Guards plans made before spells were kept, on a day with several calls: the last one that bears on a unit says where it
/// is.
#[test]
fn a_unit_put_down_may_be_taken_again() {
    let mut stored = planned(&crowded(), 500);
    let (_, call) = day_of(&stored);
    let [first, second] = [call.leave_time, call.leave_time + TimeDelta::hours(1)];
    let back = YardStop {
        arrive_time: second,
        start_time: Some(second),
        leave_time: second,
        load: call.unload.clone(),
        unload: call.load.clone(),
        ..call.clone()
    };
    let (put_down, taken) = (call.unload[0].clone(), call.load[0].clone());
    let parts = Arc::make_mut(&mut stored.parts);
    parts.crew_days[0].later_yard_calls = YardStops(vec![back]);
    for row in &mut parts.load_outs {
        (row.from_time, row.until_time) = (None, None);
    }
    assert_eq!(stored.calls_of("crew-1").count(), 2);
    for (unit, expected) in [
        (put_down, [true, false, true]),
        (taken, [false, true, false]),
    ] {
        let found = [DateTime::<Utc>::MIN_UTC, first, second].map(|at| has(&stored, &unit, at));
        assert_eq!(found, expected, "{unit}");
    }
}
