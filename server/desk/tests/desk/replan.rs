//! A day planned anew from how it stands: work broken off, crews and workers not there, work that has to wait.

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_desk::causes::with_causes;
use forenoon_desk::changes::changes;
use forenoon_desk::facts::facts;
use forenoon_desk::problem::DayProblem;
use forenoon_desk::warm::warm_start;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_planner::check::check;
use forenoon_planner::problem::Progress;
use forenoon_planner::replan::{ProposalSettings, propose};
use forenoon_planner::{Cancel, Iterations};
use forenoon_store::entity::visit;
use forenoon_store::value::{
    Disruptions, ForbiddenTasks, JobState, Overrun, Pause, Pauses, PlanChanges, PlannedTask,
    Severity, TaskActuals, TaskKind, Times, VisitState, Walkthroughs, WorkStop,
};

use crate::fixture::{inputs, tag};
use crate::planning::{planned, searched, told};

/// The easy day as published.
pub(crate) fn published() -> StoredPlan {
    planned(&inputs(), 500)
}

/// The day at an instant after something was written into its records.
pub(crate) fn later(
    at: DateTime<Utc>,
    edit: impl FnOnce(&mut DayInputs),
    new: Disruptions,
) -> DayInputs {
    let mut inputs = inputs();
    inputs.base = Some((published(), at));
    edit(&mut inputs);
    inputs.take_stock(new);
    inputs
}

/// The proposals for it, the cheapest first.
pub(crate) fn proposals(inputs: &DayInputs) -> Vec<StoredPlan> {
    let day = DayProblem::new(inputs).expect("a problem");
    let (base, _) = inputs.base.as_ref().expect("a base");
    let before = warm_start(inputs, &day, base);
    let settings = ProposalSettings {
        seed: 7,
        budget_each: &Iterations(500),
        cancel: &Cancel::new(),
    };
    propose(&day.problem, &before, &settings)
        .into_iter()
        .map(|proposal| {
            check(&day.problem, &proposal.plan).expect("a plan within its rules");
            let mut stored = told(inputs, &day, &proposal.plan);
            let changes = changes(inputs, base, &stored);
            stored.plan.proposal = Some(facts(inputs, base, &stored, (&[], &[])));
            let causes = with_causes(inputs, (base, &stored), &day, changes.list, &proposal);
            stored.plan.changes = PlanChanges(causes);
            stored
        })
        .collect()
}

/// The first stop of the day that mows, its mower, and the instant half-way through the mowing.
pub(crate) fn mowing() -> (
    forenoon_store::entity::plan_stop::Model,
    String,
    DateTime<Utc>,
) {
    let base = published();
    let stop = base
        .parts
        .stops
        .iter()
        .min_by_key(|stop| stop.start_time)
        .expect("a stop")
        .clone();
    let mut at = stop.start_time;
    for task in &stop.tasks.0 {
        let length = TimeDelta::seconds(i64::from(task.duration_seconds));
        if task.kind == TaskKind::Mow {
            at += length / 2;
            break;
        }
        at += length;
    }
    let mows = |task: &&PlannedTask| task.kind == TaskKind::Mow;
    let mowing = stop.tasks.0.iter().find(mows).expect("it is mown");
    let mower = mowing.unit_ids[0].clone();
    (stop, mower, at)
}

pub(crate) fn begun(
    stop: &forenoon_store::entity::plan_stop::Model,
) -> impl FnOnce(&mut DayInputs) + use<> {
    let stop = stop.clone();
    move |inputs| {
        let job = inputs.jobs.iter_mut().find(|job| job.id == stop.job_id);
        job.expect("the job").state = JobState::Running;
        inputs.visits.insert(
            stop.job_id.clone(),
            visit::Model {
                branch_id: "north".to_owned(),
                job_id: stop.job_id.clone(),
                plan_id: stop.plan_id.clone(),
                crew_id: stop.crew_id.clone(),
                attempt: 1,
                state: VisitState::Working,
                depart_time: None,
                arrive_time: None,
                start_time: Some(stop.start_time),
                finish_time: None,
                pauses: Pauses::default(),
                resume_times: Times::default(),
                task_actuals: TaskActuals::default(),
                bags: 0,
                note: String::new(),
                not_done_reason: String::new(),
                ended_by_plan_id: None,
                walkthroughs: Walkthroughs::default(),
            },
        );
    }
}

/// Guards work broken off: half the mowing and what comes after it is left, the crew stands at the site, and no proposal
/// names the tagged mower anywhere.
#[test]
fn a_running_stop_whose_mower_is_tagged_is_broken_off() {
    let (stop, mower, at) = mowing();
    let inputs = later(
        at,
        |inputs| {
            begun(&stop)(inputs);
            let (unit, mut tag) = tag(&mower, Severity::Unsafe);
            tag.create_time = at;
            inputs.tags.insert(unit, tag);
        },
        Disruptions::default(),
    );
    let left = &inputs.continued[&stop.job_id];
    let mow = stop
        .tasks
        .0
        .iter()
        .position(|task| task.kind == TaskKind::Mow)
        .expect("mowing");
    let names: Vec<&str> = left
        .tasks
        .iter()
        .map(|task| task.task_id.as_str())
        .collect();
    let rest: Vec<&str> = stop.tasks.0[mow..]
        .iter()
        .map(|task| task.task_id.as_str())
        .collect();
    assert_eq!(names, rest, "what was done is done");
    assert!((495..=505).contains(&left.tasks[0].permille), "{left:?}");
    let proposals = proposals(&inputs);
    for plan in &proposals {
        assert!(plan.parts.load_outs.iter().all(|row| row.unit_id != mower));
        assert!(
            plan.parts
                .stops
                .iter()
                .all(|stop| !stop.tasks.unit_ids().contains(mower.as_str()))
        );
        let mut used = plan
            .parts
            .stops
            .iter()
            .flat_map(|stop| &stop.tasks.0)
            .flat_map(|task| &task.unit_ids);
        assert!(used.all(|unit| *unit != mower));
    }
    let goes_on = proposals
        .iter()
        .find_map(|plan| plan.stop_of(&stop.job_id))
        .expect("somebody finishes the lawn");
    assert!(goes_on.start_time >= at && !goes_on.fixed);
    assert_eq!(goes_on.tasks.0.len(), rest.len());
}

/// Guards pauses: what stood still did no work.
#[test]
fn a_pause_did_no_work() {
    let (stop, mower, at) = mowing();
    let left = |paused: i64| {
        let inputs = later(
            at,
            |inputs| {
                begun(&stop)(inputs);
                let visit = inputs.visits.get_mut(&stop.job_id).expect("the visit");
                visit.pauses = Pauses(vec![Pause {
                    pause_time: at - TimeDelta::seconds(paused),
                    reason: String::new(),
                }]);
                let (unit, mut tag) = tag(&mower, Severity::Unsafe);
                tag.create_time = at;
                inputs.tags.insert(unit, tag);
            },
            Disruptions::default(),
        );
        inputs.continued[&stop.job_id]
            .tasks
            .iter()
            .map(|task| task.permille)
            .sum::<i64>()
    };
    assert!(left(300) > left(0), "{} and {}", left(300), left(0));
}

/// Guards a choice where there is one: fetch the other mower from the yard, or leave the lawns for another day.
#[test]
fn a_lost_mower_gives_a_choice_of_two_ways() {
    let (stop, mower, at) = mowing();
    let inputs = later(
        at,
        |inputs| {
            begun(&stop)(inputs);
            let (unit, mut tag) = tag(&mower, Severity::Unsafe);
            tag.create_time = at;
            inputs.tags.insert(unit, tag);
        },
        Disruptions::default(),
    );
    let titles: Vec<(usize, bool)> = proposals(&inputs)
        .iter()
        .map(|plan| {
            let calls = plan
                .parts
                .crew_days
                .iter()
                .any(|day| day.yard_call.is_some());
            (plan.parts.unplanned.len(), calls)
        })
        .collect();
    assert!(titles.iter().any(|(_, calls)| *calls), "{titles:?}");
    assert!(
        titles.iter().any(|(left, calls)| *left > 0 && !calls),
        "{titles:?}"
    );
}

/// Guards an absent worker: the crew is smaller.
#[test]
fn an_absent_worker_makes_the_crew_smaller() {
    let at = inputs().clock.instant(6 * 3_600);
    let new = Disruptions {
        absent_workers: vec!["bo".to_owned()],
        ..Disruptions::default()
    };
    let day = DayProblem::new(&later(at, |_| (), new)).expect("a problem");
    let sizes: Vec<u8> = day.problem.crews().iter().map(|crew| crew.size).collect();
    assert_eq!(sizes, [1, 1]);
}

/// Guards an absent crew: before the day it stays in; once out, what it has done stands, it gets nothing more, and what
/// holds of the day holds for the plan after the next.
#[test]
fn an_absent_crew_gets_nothing_more() {
    let (stop, _, at) = mowing();
    let new = || Disruptions {
        absent_crews: vec![stop.crew_id.clone()],
        ..Disruptions::default()
    };
    let dawn = inputs().clock.instant(5 * 3_600);
    let day = DayProblem::new(&later(dawn, |_| (), new())).expect("a problem");
    assert!(!day.crew_ids.contains(&stop.crew_id));
    let out = later(at, begun(&stop), new());
    let proposals = proposals(&out);
    for plan in &proposals {
        assert!(
            plan.stops_of(&stop.crew_id).all(|stop| stop.fixed),
            "nothing new for it"
        );
    }
    let mut next = inputs();
    next.base = Some((proposals[0].clone(), at + TimeDelta::minutes(5)));
    next.take_stock(Disruptions::default());
    assert_eq!(
        next.disruptions.absent_crews,
        std::slice::from_ref(&stop.crew_id)
    );
}

/// Guards weather: no stop with mowing stands in the time in which mowing has to wait.
#[test]
fn mowing_waits_for_the_rain_to_pass() {
    let clock = inputs().clock;
    let (from, until) = (clock.instant(6 * 3_600), clock.instant(13 * 3_600));
    let new = Disruptions {
        work_stops: vec![WorkStop {
            kinds: vec![TaskKind::Mow],
            start_time: from,
            end_time: until,
        }],
        ..Disruptions::default()
    };
    let inputs = later(from, |_| (), new);
    for plan in proposals(&inputs) {
        for stop in &plan.parts.stops {
            let mows = stop.tasks.0.iter().any(|task| task.kind == TaskKind::Mow);
            assert!(!mows || stop.start_time >= until, "{stop:?}");
        }
    }
}

/// Guards overruns: a running job is over later by what was said; one to come takes longer by as much.
#[test]
fn an_overrun_lengthens_a_running_job_and_one_to_come() {
    let (stop, _, at) = mowing();
    let late = |job: &str| Disruptions {
        overruns: vec![Overrun {
            job_id: job.to_owned(),
            extra_seconds: 1_800,
        }],
        ..Disruptions::default()
    };
    let ready = |inputs: &DayInputs| {
        let day = DayProblem::new(inputs).expect("a problem");
        let crew = day.crew_ids.iter().position(|id| *id == stop.crew_id);
        match &day.problem.crews()[crew.expect("the crew")].progress {
            Progress::UnderWay(way) => way.frozen.last().expect("a stop").finish,
            Progress::NotStarted => unreachable!("it is out"),
        }
    };
    let plain = ready(&later(at, begun(&stop), Disruptions::default()));
    let over = ready(&later(at, begun(&stop), late(&stop.job_id)));
    assert_eq!(over - plain, 1_800);
    let base = published();
    let other = base
        .parts
        .stops
        .iter()
        .find(|other| other.job_id != stop.job_id && other.start_time > at)
        .expect("another stop");
    let inputs = later(at, begun(&stop), late(&other.job_id));
    let longest = proposals(&inputs)
        .iter()
        .filter_map(|plan| {
            let new = plan.stop_of(&other.job_id)?;
            (new.tasks.0.len() == other.tasks.0.len()).then(|| {
                i64::from(new.tasks.0[0].duration_seconds)
                    - i64::from(other.tasks.0[0].duration_seconds)
            })
        })
        .max();
    assert_eq!(longest, Some(1_800));
}

/// Guards limits: a mower of reduced severity goes on for what its tag does not forbid, and not for the rest.
#[test]
fn a_limited_unit_is_kept_from_what_its_tag_forbids() {
    let loaded = |forbidden: TaskKind| {
        let mut inputs = inputs();
        inputs.units.retain(|unit| unit.id != "ride-60");
        let (unit, mut tag) = tag("walk-21", Severity::Reduced);
        tag.forbidden_tasks = ForbiddenTasks(vec![forbidden]);
        inputs.tags.insert(unit, tag);
        let day = DayProblem::new(&inputs).expect("a problem");
        searched(&day, 500).unplanned.len()
    };
    assert_eq!(loaded(TaskKind::SecondPass), 0, "it still mows once");
    assert_eq!(loaded(TaskKind::Mow), 3, "the only mower must not mow");
}

/// Guards a tagged trailer on a day under way: what does not fit the truck stays with it, the largest first.
#[test]
fn what_rides_on_a_tagged_trailer_is_out() {
    let (stop, _, at) = mowing();
    let inputs = later(
        at,
        |inputs| {
            begun(&stop)(inputs);
            let (unit, mut tag) = tag("trailer-1", Severity::Unsafe);
            tag.create_time = at;
            inputs.tags.insert(unit, tag);
        },
        Disruptions::default(),
    );
    let base = published();
    let on_crew_1: Vec<&str> = base.load_out_of("crew-1").collect();
    if inputs.stranded.is_empty() {
        let litres: f64 = inputs
            .units
            .iter()
            .filter(|unit| on_crew_1.contains(&unit.id.as_str()))
            .map(|unit| unit.load_space_litres)
            .sum();
        assert!(litres <= 2_000.0, "all fits the truck: {on_crew_1:?}");
    } else {
        assert!(inputs.stranded.contains("ride-60"), "{:?}", inputs.stranded);
    }
    for plan in proposals(&inputs) {
        assert!(
            plan.parts
                .load_outs
                .iter()
                .all(|row| row.unit_id != "trailer-1")
        );
        for unit in &inputs.stranded {
            assert!(plan.parts.load_outs.iter().all(|row| row.unit_id != *unit));
        }
    }
}
