//! The checker takes the plan made by hand, and finds each fault that is put into it.

use std::collections::BTreeSet;

use forenoon_proto::v1::{Absence, Crew, Plan, SharedUnit, Stop, Unit};
use forenoon_tests::make::{instant, litres, minutes};
use forenoon_tests::small_branch::{ASH, BIRCH, job_name, unit_name};
use prost_types::{Duration, Timestamp};

use super::hand_plan::{hand_plan, world};
use super::world::World;
use super::{Rule, breaches};

/// Puts one fault into the world or the plan.
type Fault = fn(&mut World, &mut Plan);

const FAULTS: &[(&str, Rule, Fault)] = &[
    ("a visit before its window", Rule::Window, |_, plan| {
        move_stop(stop(plan, "court-mow"), -3600);
    }),
    ("a slack that leaves the window", Rule::Window, |_, plan| {
        stop(plan, "court-mow").slack = Some(minutes(90));
    }),
    ("a departure before the shift", Rule::Shift, |_, plan| {
        shift_time(&mut plan.crew_days[0].depart_time, -1800);
    }),
    (
        "a return after shift and overtime",
        Rule::Shift,
        |world, _| {
            let crew = world.crews.get_mut(ASH).expect("a crew");
            crew.shifts[1].end_time.as_mut().expect("an end").hours = 13;
        },
    ),
    ("a crew that is off", Rule::Shift, |world, _| {
        crew(world, BIRCH).shifts.clear();
    }),
    ("overtime that is not there", Rule::Overtime, |_, plan| {
        plan.crew_days[1].overtime = Some(minutes(20));
    }),
    ("no room for the break", Rule::Break, |world, _| {
        crew(world, BIRCH).break_length = Some(minutes(6 * 60));
    }),
    ("a drive that is too short", Rule::Drive, |_, plan| {
        stop(plan, "school-mow").drive = Some(minutes(2));
    }),
    ("a way home that is too short", Rule::Drive, |_, plan| {
        shift_time(&mut plan.crew_days[0].return_time, -400);
    }),
    (
        "an arrival before the way is driven",
        Rule::Sequence,
        |_, plan| {
            shift_time(&mut stop(plan, "bank-mow").arrive_time, -300);
        },
    ),
    ("two visits at once", Rule::Sequence, |_, plan| {
        move_stop(stop(plan, "bank-mow"), -1200);
    }),
    (
        "less time than the tasks take",
        Rule::Duration,
        |_, plan| {
            shift_time(&mut stop(plan, "alley-mow").finish_time, -600);
        },
    ),
    ("a task shorter than agreed", Rule::Duration, |_, plan| {
        let stop = stop(plan, "alley-mow");
        stop.tasks[0].duration = Some(minutes(10));
        shift_time(&mut stop.finish_time, -1800);
    }),
    ("tasks in another order", Rule::TaskOrder, |_, plan| {
        stop(plan, "corner-edge").tasks.swap(0, 2);
    }),
    ("a task left out", Rule::TaskOrder, |_, plan| {
        stop(plan, "corner-edge").tasks.pop();
    }),
    ("a job planned twice", Rule::Job, |_, plan| {
        let again = stop(plan, "alley-mow").clone();
        plan.crew_days[0].stops.push(again);
    }),
    ("a job of another day", Rule::Job, |_, plan| {
        stop(plan, "court-mow").job = job_name("later-mow");
    }),
    ("a job at another site", Rule::Job, |_, plan| {
        stop(plan, "court-mow").site.push_str("-two");
    }),
    ("a job forgotten", Rule::Unplanned, |_, plan| {
        plan.unplanned_jobs.clear();
    }),
    (
        "a job left out for no reason",
        Rule::Unplanned,
        |_, plan| {
            plan.unplanned_jobs[0].reasons.clear();
        },
    ),
    ("a skill that the crew has not", Rule::Skill, |world, _| {
        let job = world.jobs.get_mut(&job_name("alley-mow")).expect("a job");
        job.skills.push("chainsaw".to_owned());
    }),
    (
        "an engine at the school too early",
        Rule::Quiet,
        |_, plan| {
            move_stop(stop(plan, "school-mow"), -660);
        },
    ),
    ("a customer who waits", Rule::Promise, |_, plan| {
        move_stop(stop(plan, "corner-edge"), 2400);
    }),
    ("a deadline missed", Rule::Deadline, |_, plan| {
        move_stop(stop(plan, "lot-brush"), 4 * 3600);
    }),
    ("a unit with two crews", Rule::LoadOut, |_, plan| {
        plan.crew_days[1].load_out.push(unit_name("ride-60"));
    }),
    (
        "a unit at work that is not aboard",
        Rule::LoadOut,
        |_, plan| {
            plan.crew_days[1]
                .load_out
                .retain(|unit| *unit != unit_name("blower-2"));
        },
    ),
    (
        "a unit at work that another has by then",
        Rule::LoadOut,
        |_, plan| {
            let day = &mut plan.crew_days[1];
            day.shared_units = vec![SharedUnit {
                unit: unit_name("blower-2"),
                until_time: day.depart_time,
                ..SharedUnit::default()
            }];
        },
    ),
    ("more load than space", Rule::LoadSpace, |world, _| {
        unit(world, "walk-21").load_space = Some(litres(5_000.0));
    }),
    ("a load told wrong", Rule::LoadSpace, |_, plan| {
        plan.crew_days[1].load_taken = Some(litres(900.0));
    }),
    ("a unit tagged out", Rule::Fit, |world, _| {
        world.tagged_out.insert(unit_name("blower-1"));
    }),
    ("a truck tagged out", Rule::Fit, |world, _| {
        world.tagged_out.insert(unit_name("truck-2"));
    }),
    ("a unit retired", Rule::Fit, |world, _| {
        unit(world, "walk-30").retired = true;
    }),
    ("a unit away", Rule::Fit, |world, plan| {
        let depart = plan.crew_days[1].depart_time.expect("a departure").seconds;
        unit(world, "walk-30").absences.push(Absence {
            start_time: Some(instant(depart + 3600)),
            end_time: Some(instant(depart + 7200)),
            reason: "service".to_owned(),
        });
    }),
    ("a unit that cannot", Rule::Capability, |_, plan| {
        stop(plan, "corner-edge").tasks[2].units = vec![unit_name("blower-1")];
    }),
    ("work with nothing", Rule::Capability, |_, plan| {
        stop(plan, "corner-edge").tasks[2].units.clear();
    }),
    ("an attachment alone", Rule::Coupling, |_, plan| {
        stop(plan, "corner-edge").tasks[0].units = vec![unit_name("edger-a")];
    }),
    (
        "an attachment on another coupling",
        Rule::Coupling,
        |_, plan| {
            stop(plan, "corner-edge").tasks[0].units[1] = unit_name("head-b");
        },
    ),
    ("a machine wider than the gate", Rule::Gate, |_, plan| {
        stop(plan, "alley-mow").tasks[0].units = vec![unit_name("walk-30")];
    }),
    ("a machine on too steep a slope", Rule::Slope, |_, plan| {
        stop(plan, "bank-mow").tasks[0].units = vec![unit_name("walk-30")];
    }),
    ("a wrong number of jobs", Rule::Totals, |_, plan| {
        plan.totals.as_mut().expect("sums").planned_jobs = 7;
    }),
    ("a wrong sum of work", Rule::Totals, |_, plan| {
        plan.totals.as_mut().expect("sums").work = Some(minutes(200));
    }),
    ("a wrong sum of travel", Rule::Totals, |_, plan| {
        plan.totals.as_mut().expect("sums").travel = Some(minutes(10));
    }),
];

#[test]
fn the_plan_made_by_hand_breaks_no_rule() {
    assert_eq!(breaches(&world(), &hand_plan()), []);
}

#[test]
fn each_fault_is_found() {
    for (name, rule, fault) in FAULTS {
        let (mut world, mut plan) = (world(), hand_plan());
        fault(&mut world, &mut plan);
        let found = breaches(&world, &plan);
        assert!(
            found.iter().any(|breach| breach.rule == *rule),
            "{name}: {rule:?} expected, found {found:?}"
        );
    }
}

#[test]
fn every_rule_has_a_fault() {
    let tried: BTreeSet<Rule> = FAULTS.iter().map(|(_, rule, _)| *rule).collect();
    let last = usize::from(Rule::Totals as u8);
    assert_eq!(tried.len(), last + 1, "{tried:?}");
}

fn stop<'plan>(plan: &'plan mut Plan, job: &str) -> &'plan mut Stop {
    plan.crew_days
        .iter_mut()
        .flat_map(|crew_day| &mut crew_day.stops)
        .find(|stop| stop.job == job_name(job))
        .expect("a stop of that job")
}

fn crew<'world>(world: &'world mut World, name: &str) -> &'world mut Crew {
    world.crews.get_mut(name).expect("a crew")
}

fn unit<'world>(world: &'world mut World, id: &str) -> &'world mut Unit {
    world.units.get_mut(&unit_name(id)).expect("a unit")
}

/// Moves start and finish of a stop; the arrival goes along where it would come after the start.
fn move_stop(stop: &mut Stop, by: i64) {
    shift_time(&mut stop.start_time, by);
    shift_time(&mut stop.finish_time, by);
    if stop.arrive_time.map(|at| at.seconds) > stop.start_time.map(|at| at.seconds) {
        stop.arrive_time = stop.start_time;
    }
    stop.slack = Some(Duration::default());
}

fn shift_time(time: &mut Option<Timestamp>, by: i64) {
    time.as_mut().expect("a time").seconds += by;
}
