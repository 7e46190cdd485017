//! Where units are over several plans of one day: aboard and tagged, left by the road, or in the yard against the load-out.

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_desk::problem::DayProblem;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_planner::problem::{Crew, Progress};
use forenoon_store::entity::{crew_load, plan_stop};
use forenoon_store::value::{Absence, Absences, Disruptions, Severity, TaskKind, UnitMoved, Words};

use crate::fixture::{inputs, tag};
use crate::planning::planned;
use crate::replan::{begun, proposals};

/// The only mower rides on the trailer of the first crew.
fn ridden() -> DayInputs {
    let mut inputs = inputs();
    inputs.units.retain(|unit| unit.id != "walk-21");
    inputs
}

/// The same with a small mower in the yard, which came in once crews had left.
fn with_spare() -> DayInputs {
    let mut with_spare = ridden();
    let spare = inputs().units.into_iter().find(|unit| unit.id == "walk-21");
    with_spare.units.push(spare.expect("the small mower"));
    with_spare
}

/// The day as published, its first stop and an instant in its mowing.
fn morning() -> (StoredPlan, plan_stop::Model, DateTime<Utc>) {
    let base = planned(&ridden(), 500);
    let stop = base.stops_of("crew-1").next().expect("a stop").clone();
    let before: i64 = stop
        .tasks
        .0
        .iter()
        .take_while(|task| task.kind != TaskKind::Mow)
        .map(|task| i64::from(task.duration_seconds))
        .sum();
    let at = stop.start_time + TimeDelta::seconds(before + 60);
    assert!(base.leaves_with("crew-1", "ride-60"));
    (base, stop, at)
}

/// The day gone on with from a plan at an instant.
fn gone_on(
    mut day: DayInputs,
    (base, at): (&StoredPlan, DateTime<Utc>),
    edit: impl FnOnce(&mut DayInputs),
) -> DayInputs {
    day.base = Some((base.clone(), at));
    edit(&mut day);
    day.take_stock(Disruptions::default());
    day
}

fn tag_out(unit: &'static str, at: DateTime<Utc>) -> impl Fn(&mut DayInputs) {
    move |day| {
        let (unit, mut tag) = tag(unit, Severity::Unsafe);
        tag.create_time = at;
        day.tags.insert(unit, tag);
    }
}

fn crew_of(day: &DayProblem, crew: &str) -> Crew {
    let at = day.crew_ids.iter().position(|id| id == crew);
    day.problem.crews()[at.expect("the crew")].clone()
}

fn aboard(day: &DayProblem, crew: &str) -> Vec<String> {
    match crew_of(day, crew).progress {
        Progress::UnderWay(way) => way
            .aboard
            .iter()
            .map(|unit| day.unit_id(*unit).to_owned())
            .collect(),
        Progress::NotStarted => Vec::new(),
    }
}

/// Whether a unit can be used at all.
fn is_to_be_had(day: &DayProblem, unit: &str) -> bool {
    let at = day.unit_ids.iter().position(|id| id == unit);
    !day.problem.parts().units[at.expect("the unit")]
        .available
        .is_empty()
}

/// A way on with the day, published, and an instant some minutes later.
fn accepted(day: &DayInputs, minutes: i64) -> (StoredPlan, DateTime<Utc>) {
    let (_, at) = day.base.as_ref().expect("a base");
    let plan = proposals(day).swap_remove(0);
    (plan, *at + TimeDelta::minutes(minutes))
}

/// The day after the crew's trailer was tagged out in the mowing and a way on was accepted, and an instant some minutes later.
fn left_by_the_road() -> (StoredPlan, plan_stop::Model, DateTime<Utc>) {
    let (base, stop, at) = morning();
    let first = gone_on(ridden(), (&base, at), |day| {
        begun(&stop)(day);
        tag_out("trailer-1", at)(day);
    });
    assert!(first.stranded.contains("ride-60"));
    let (plan, now) = accepted(&first, 5);
    (plan, stop, now)
}

/// Guards what was left by the road with a trailer over further plans: as long as the trailer is tagged nobody has it and nobody
/// fetches it from the yard. Mended where its crew stands still, the trailer brings back what rode on it.
#[test]
fn what_was_left_with_a_trailer_stays_there_until_it_is_mended() {
    let (mut plan, stop, mut now) = left_by_the_road();
    for released in [false, false, true] {
        let later = gone_on(ridden(), (&plan, now), |day| {
            begun(&stop)(day);
            if !released {
                tag_out("trailer-1", now)(day);
            }
        });
        let day = DayProblem::new(&later).expect("a problem");
        assert_eq!(is_to_be_had(&day, "ride-60"), released);
        let has_it = aboard(&day, "crew-1").contains(&"ride-60".to_owned());
        assert_eq!(has_it, released, "released: {released}");
        let room = if released { 8_000 } else { 2_000 };
        assert_eq!(crew_of(&day, "crew-1").load_space, room);
        (plan, now) = accepted(&later, 5);
    }
    // The plan has it on a load-out again.
    let later = gone_on(ridden(), (&plan, now), begun(&stop));
    assert!(later.out.is_empty() && later.stranded.is_empty());
}

/// Guards the same where the crew has driven on: what is mended then is in the yard, where the bench is, and may be fetched.
#[test]
fn what_is_mended_behind_its_crew_is_in_the_yard() {
    let (plan, stop, now) = left_by_the_road();
    let driven_on = |released: bool| {
        gone_on(ridden(), (&plan, now), |day| {
            begun(&stop)(day);
            let visit = day.visits.get_mut(&stop.job_id).expect("the visit");
            visit.finish_time = Some(now - TimeDelta::minutes(3));
            let mut next = visit.clone();
            let other = day.jobs.iter().find(|job| job.id != stop.job_id);
            next.job_id = other.expect("another job").id.clone();
            next.finish_time = None;
            next.start_time = Some(now - TimeDelta::minutes(1));
            day.visits.insert(next.job_id.clone(), next);
            if !released {
                tag_out("trailer-1", now)(day);
            }
        })
    };
    let day = DayProblem::new(&driven_on(false)).expect("a problem");
    assert!(!is_to_be_had(&day, "ride-60"));
    let day = DayProblem::new(&driven_on(true)).expect("a problem");
    assert!(is_to_be_had(&day, "ride-60"));
    for crew in ["crew-1", "crew-2"] {
        assert!(!aboard(&day, crew).contains(&"ride-60".to_owned()));
    }
}

/// Says where units are, in the words of a re-plan.
fn told_moved(day: &mut DayInputs, units: &[(&str, Option<&str>)]) {
    let moved = units.iter().map(|(unit, crew)| UnitMoved {
        unit_id: (*unit).to_owned(),
        crew_id: crew.map(str::to_owned),
    });
    day.take_stock(Disruptions {
        units_moved: moved.collect(),
        ..Disruptions::default()
    });
}

/// Guards what is told to have been moved, with the tag and after it: a crew that is out has it aboard, in the yard it may be
/// fetched, and a trailer takes along what was left with it, but never out while it is tagged.
#[test]
fn what_was_moved_is_where_it_is_said_to_be() {
    let (base, stop, at) = morning();
    let (second, _, now) = left_by_the_road();
    for (plan, now) in [(&base, at), (&second, now)] {
        let told = |units: &[(&str, Option<&str>)]| {
            let mut day = ridden();
            day.base = Some((plan.clone(), now));
            begun(&stop)(&mut day);
            tag_out("trailer-1", at)(&mut day);
            told_moved(&mut day, units);
            day
        };
        let in_yard = told(&[("ride-60", None)]);
        let with_trailer = told(&[("trailer-1", None)]);
        for day in [&in_yard, &with_trailer] {
            let problem = DayProblem::new(day).expect("a problem");
            assert!(is_to_be_had(&problem, "ride-60"));
            assert!(!aboard(&problem, "crew-1").contains(&"ride-60".to_owned()));
            assert_eq!(crew_of(&problem, "crew-1").load_space, 2_000);
            for plan in proposals(day) {
                let mut spells = plan.spells_of("ride-60");
                assert!(spells.all(|spell| spell.from_time.is_some() || spell.crew_id != "crew-1"));
                assert!(plan.spells_of("trailer-1").next().is_none());
            }
        }
        let with_crew = told(&[("ride-60", Some("crew-1"))]);
        let problem = DayProblem::new(&with_crew).expect("a problem");
        assert!(aboard(&problem, "crew-1").contains(&"ride-60".to_owned()));

        // The plans after it know.
        for (day, aboard_again) in [(&in_yard, false), (&with_crew, true)] {
            let (plan, now) = accepted(day, 5);
            let later = gone_on(ridden(), (&plan, now), |day| {
                begun(&stop)(day);
                tag_out("trailer-1", at)(day);
            });
            let problem = DayProblem::new(&later).expect("a problem");
            assert!(is_to_be_had(&problem, "ride-60"));
            let has_it = aboard(&problem, "crew-1").contains(&"ride-60".to_owned());
            assert_eq!(has_it, aboard_again);
        }
    }
}

/// Guards a tagged unit: wherever it is said to be, no plan has it.
#[test]
fn a_tagged_unit_that_was_moved_is_on_no_load_out() {
    let (base, stop, at) = morning();
    for to in [None, Some("crew-1"), Some("crew-2")] {
        let mut day = ridden();
        day.base = Some((base.clone(), at));
        begun(&stop)(&mut day);
        tag_out("ride-60", at)(&mut day);
        told_moved(&mut day, &[("ride-60", to)]);
        let problem = DayProblem::new(&day).expect("a problem");
        assert!(!is_to_be_had(&problem, "ride-60"));
        for plan in proposals(&day) {
            assert!(plan.spells_of("ride-60").next().is_none(), "{to:?}");
        }
    }
}

/// Guards the same for a truck that broke down: what it has aboard stays with it, and goes on with it once it is mended.
#[test]
fn what_is_on_a_broken_truck_stays_with_it_until_it_is_mended() {
    let (base, stop, at) = morning();
    let first = gone_on(ridden(), (&base, at), |day| {
        begun(&stop)(day);
        tag_out("truck-1", at)(day);
    });
    let (plan, now) = accepted(&first, 5);
    assert!(plan.spells_of("ride-60").next().is_none());
    let later = |released: bool| {
        let later = gone_on(ridden(), (&plan, now), |day| {
            begun(&stop)(day);
            if !released {
                tag_out("truck-1", at)(day);
            }
        });
        let day = DayProblem::new(&later).expect("a problem");
        (is_to_be_had(&day, "ride-60"), aboard(&day, "crew-1"))
    };
    assert_eq!(later(false), (false, vec![]));
    let (to_be_had, aboard) = later(true);
    assert!(to_be_had && aboard.contains(&"ride-60".to_owned()));
}

/// Guards the room on a truck: a tagged mower rides along and takes it over further plans. Released where it is, it is aboard,
/// and no plan has it fetched from the yard.
#[test]
fn a_tagged_mower_rides_along_over_further_plans() {
    let (base, stop, at) = morning();
    let first = gone_on(ridden(), (&base, at), |day| {
        begun(&stop)(day);
        tag_out("ride-60", at)(day);
    });
    let room = |day: &DayInputs| {
        let day = DayProblem::new(day).expect("a problem");
        crew_of(&day, "crew-1").load_space
    };
    assert_eq!(room(&first), 5_000);
    let (second, now) = accepted(&first, 5);
    let tagged = gone_on(ridden(), (&second, now), |day| {
        begun(&stop)(day);
        tag_out("ride-60", at)(day);
    });
    assert_eq!(room(&tagged), 5_000);
    let (third, now) = accepted(&tagged, 5);
    let released = gone_on(ridden(), (&third, now), begun(&stop));
    let day = DayProblem::new(&released).expect("a problem");
    assert_eq!(crew_of(&day, "crew-1").load_space, 8_000);
    assert!(aboard(&day, "crew-1").contains(&"ride-60".to_owned()));
    for plan in proposals(&released) {
        assert!(plan.calls().all(|(_, call)| call.load.is_empty()));
        let mut spells = plan.spells_of("ride-60");
        assert!(spells.all(|spell| spell.crew_id == "crew-1" && spell.from_time.is_none()));
    }
}

/// Guards the end of it: what nobody can use is put down when its crew comes by the yard.
#[test]
fn a_tagged_mower_is_put_down_at_the_yard() {
    let (base, stop, at) = morning();
    let first = gone_on(with_spare(), (&base, at), |day| {
        begun(&stop)(day);
        tag_out("ride-60", at)(day);
    });
    let fetches = |plan: &StoredPlan| plan.calls_of("crew-1").next().is_some();
    let plan = proposals(&first).into_iter().find(fetches).expect("a call");
    let call = plan.calls_of("crew-1").next().expect("a call");
    for (now, out) in [
        (call.arrive_time - TimeDelta::minutes(1), true),
        (call.leave_time + TimeDelta::minutes(1), false),
    ] {
        let later = gone_on(with_spare(), (&plan, now), |day| {
            begun(&stop)(day);
            let visit = day.visits.get_mut(&stop.job_id).expect("the visit");
            visit.finish_time = Some(at);
            tag_out("ride-60", at)(day);
        });
        assert_eq!(later.out.iter().any(|one| one.unit_id == "ride-60"), out);
    }
}

/// What becomes of a record, in words and done.
type Edit<'a> = (&'a str, &'a dyn Fn(&mut DayInputs));

/// Guards a branch's day from one record edited at noon: whatever becomes of vehicle, trailer and shift of a crew that is out,
/// the day can be planned anew.
#[test]
fn no_record_of_a_crew_that_is_out_makes_its_day_impossible() {
    let (base, stop, at) = morning();
    let hours = |count: i64| TimeDelta::hours(count);
    let away = |from: DateTime<Utc>, until| {
        Absences(vec![Absence {
            start_time: from,
            end_time: until,
            reason: String::new(),
        }])
    };
    let unit = |day: &mut DayInputs, id: &str| {
        day.units.iter().position(|unit| unit.id == id).expect("it")
    };
    let edits: [Edit<'_>; 4] = [
        ("the truck is away at noon", &|day| {
            let at_noon = away(at + hours(3), at + hours(5));
            let truck = unit(day, "truck-1");
            day.units[truck].absences = at_noon;
        }),
        ("its shift is taken off", &|day| {
            day.crews[0].shifts.0.clear();
        }),
        ("the trailer is away at noon", &|day| {
            let noon = away(at + hours(3), at + hours(5));
            let trailer = unit(day, "trailer-1");
            day.units[trailer].absences = noon;
        }),
        ("the trailer is smaller than was thought", &|day| {
            let trailer = unit(day, "trailer-1");
            day.units[trailer].carries_litres = 10.0;
        }),
    ];
    for (what, edit) in edits {
        let later = gone_on(ridden(), (&base, at), |day| {
            begun(&stop)(day);
            edit(day);
        });
        let day = DayProblem::new(&later);
        assert!(day.is_ok(), "{what}: {:?}", day.err());
        for plan in proposals(&later) {
            assert!(plan.stop_of(&stop.job_id).is_some_and(|stop| stop.fixed));
        }
    }
    // What was away before the crew is out with it, and is back, keeps nobody in.
    let back = gone_on(ridden(), (&base, at), |day| {
        begun(&stop)(day);
        let truck = unit(day, "truck-1");
        day.units[truck].absences = away(stop.start_time - hours(3), stop.start_time);
    });
    assert!(back.stranded.is_empty());
}

/// Guards a mower that goes away in the afternoon: it is aboard until then.
#[test]
fn what_goes_away_later_is_aboard_until_then() {
    let (base, stop, at) = morning();
    let later = gone_on(ridden(), (&base, at), |day| {
        begun(&stop)(day);
        for unit in day.units.iter_mut().filter(|unit| unit.id == "ride-60") {
            unit.absences = Absences(vec![Absence {
                start_time: day.clock.instant(16 * 3_600),
                end_time: day.clock.instant(30 * 3_600),
                reason: "dealer".to_owned(),
            }]);
        }
    });
    let day = DayProblem::new(&later).expect("a problem");
    assert!(aboard(&day, "crew-1").contains(&"ride-60".to_owned()));
}

/// What a crew confirms to have loaded for a plan, but for the mower.
fn without_mower(plan: &StoredPlan) -> crew_load::Model {
    crew_load::Model {
        branch_id: "north".to_owned(),
        plan_id: plan.plan.id.clone(),
        crew_id: "crew-1".to_owned(),
        load_time: plan.plan.create_time,
        missing_unit_ids: Words(vec!["ride-60".to_owned()]),
    }
}

/// Guards what a crew says that it did not load: it is in the yard, to be fetched, whatever the load-out says; and once it is
/// fetched by a later plan, the report for the first one holds no more.
#[test]
fn what_a_crew_did_not_load_is_in_the_yard() {
    let (base, stop, _) = morning();
    let at = stop.start_time - TimeDelta::minutes(1);
    let load = without_mower(&base);
    let day = gone_on(ridden(), (&base, at), |day| day.loads = vec![load.clone()]);
    let problem = DayProblem::new(&day).expect("a problem");
    assert!(is_to_be_had(&problem, "ride-60"));
    assert!(
        aboard(&problem, "crew-1")
            .iter()
            .all(|unit| unit != "ride-60")
    );

    let takes = |plan: &StoredPlan| {
        let mut calls = plan.calls_of("crew-1");
        calls.any(|call| call.load.contains(&"ride-60".to_owned()))
    };
    let mut fetched = proposals(&day).into_iter().find(takes).expect("a call");
    fetched.plan.id = "second".to_owned();
    let call = fetched.calls_of("crew-1").next().expect("a call");
    let has_it = |now: DateTime<Utc>| {
        let day = gone_on(ridden(), (&fetched, now), |day| {
            day.loads = vec![load.clone()];
        });
        let problem = DayProblem::new(&day).expect("a problem");
        aboard(&problem, "crew-1").contains(&"ride-60".to_owned())
    };
    assert!(!has_it(call.arrive_time - TimeDelta::minutes(1)));
    assert!(has_it(call.leave_time + TimeDelta::minutes(1)));
}
