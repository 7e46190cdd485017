//! What visits tell of a day under way: work that stood still, jobs that went back and forth between crews, what took longer
//! before it broke off, and what people were exposed to in work that no stop has any more.

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_desk::changes::changes;
use forenoon_desk::problem::DayProblem;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_planner::problem::Progress;
use forenoon_store::entity::plan_stop;
use forenoon_store::value::{
    Disruptions, JobState, Overrun, Pause, Pauses, TaskKind, TaskLeft, Times, VisitState,
};

use crate::fixture::inputs;
use crate::replan::{begun, later, mowing, proposals, published};
use crate::stock::{broken_off, gone_on_with, minutes, tag_out};

/// The day gone on from a later plan, with the first visit as it was told.
fn gone_on(plan: &StoredPlan, first: &plan_stop::Model, now: DateTime<Utc>) -> DayInputs {
    let mut inputs = inputs();
    begun(first)(&mut inputs);
    inputs.base = Some((plan.clone(), now));
    inputs
}

/// When the last stop of a crew that has begun is expected to be over.
fn over_at(inputs: &DayInputs, crew: &str) -> DateTime<Utc> {
    let day = DayProblem::new(inputs).expect("a problem");
    let number = day.crew_ids.iter().position(|id| id == crew);
    match &day.problem.crews()[number.expect("the crew")].progress {
        Progress::UnderWay(way) => inputs
            .clock
            .instant(way.frozen.last().expect("a stop").finish),
        Progress::NotStarted => unreachable!("it is out"),
    }
}

/// Guards pauses: work that stood still for six minutes is over six minutes later, whether it goes on by now or not.
#[test]
fn work_that_stood_still_is_over_later() {
    let (stop, ..) = mowing();
    let paused = |from: i64, to: Option<i64>| {
        let now = stop.start_time + minutes(12);
        let day = later(
            now,
            |inputs| {
                begun(&stop)(inputs);
                let visit = inputs.visits.get_mut(&stop.job_id).expect("the visit");
                visit.pauses = Pauses(vec![Pause {
                    pause_time: stop.start_time + minutes(from),
                    reason: "rain".to_owned(),
                }]);
                visit.resume_times = Times(
                    to.map(|to| stop.start_time + minutes(to))
                        .into_iter()
                        .collect(),
                );
            },
            Disruptions::default(),
        );
        over_at(&day, &stop.crew_id)
    };
    let six_late = stop.finish_time + minutes(6);
    assert_eq!(paused(3, Some(9)), six_late);
    assert_eq!(paused(6, None), six_late);
    assert_eq!(paused(12, None), stop.finish_time);
}

/// A later plan in which the first crew has the rest of its job once more, after another crew had it in between.
fn back_again() -> (plan_stop::Model, StoredPlan, DateTime<Utc>) {
    let (stop, ..) = mowing();
    let (_, plan, at) = gone_on_with();
    (stop, plan, at)
}

/// Guards a job that went to another crew and came back: the first crew's visit was ended by the plan in between, so that it
/// is no job given up; and what a crew gave up itself is for another day still.
#[test]
fn a_job_that_comes_back_to_its_first_crew_is_planned_on() {
    let (stop, third, at) = back_again();
    let rest = third.stop_of(&stop.job_id).expect("its rest").clone();
    let planned = |by_plan: bool, now: DateTime<Utc>| {
        let mut day = gone_on(&third, &stop, now);
        let job = day.jobs.iter_mut().find(|job| job.id == stop.job_id);
        job.expect("the job").state = JobState::Open;
        let visit = day.visits.get_mut(&stop.job_id).expect("the visit");
        visit.state = VisitState::NotDone;
        visit.finish_time = Some(at);
        visit.ended_by_plan_id = by_plan.then(|| "2027-04-20-2".to_owned());
        let (_, mower, _) = mowing();
        tag_out(&mut day, &mower, at);
        day.take_stock(Disruptions::default());
        let mut plans = proposals(&day).into_iter();
        plans.find_map(|plan| plan.stop_of(&stop.job_id).cloned())
    };
    let soon = rest.start_time - minutes(1);
    let goes_on = planned(true, soon).expect("it is planned");
    assert_eq!(goes_on.tasks.0.len(), rest.tasks.0.len());
    let running = planned(true, rest.start_time + minutes(5)).expect("it runs");
    assert!(running.fixed);
    assert_eq!(running.start_time, rest.start_time);
    assert_eq!(planned(false, soon), None);
}

/// Guards a second attempt of the same crew at what is left: its own start counts, and not the plan's.
#[test]
fn a_rest_begun_anew_goes_by_its_own_visit() {
    let (stop, third, _) = back_again();
    let rest = third.stop_of(&stop.job_id).expect("its rest").clone();
    let started = rest.start_time + minutes(7);
    let mut day = gone_on(&third, &stop, started + minutes(1));
    let visit = day.visits.get_mut(&stop.job_id).expect("the visit");
    visit.attempt = 2;
    visit.plan_id.clone_from(&third.plan.id);
    visit.start_time = Some(started);
    day.take_stock(Disruptions::default());
    let over = over_at(&day, &rest.crew_id);
    assert_eq!(over - started, rest.finish_time - rest.start_time);
}

/// Guards what is left of a job that an earlier plan of the day left: done on the day after all, it is the rest and not all.
#[test]
fn a_job_left_half_done_comes_back_as_its_rest() {
    let (stop, third, at) = back_again();
    let mut plan = third.clone();
    let mut parts = (*plan.parts).clone();
    parts.stops.retain(|one| one.job_id != stop.job_id);
    plan.parts = parts.into();
    let left = |ended_by: Option<&str>| {
        let mut day = gone_on(&plan, &stop, at + minutes(30));
        let job = day.jobs.iter_mut().find(|job| job.id == stop.job_id);
        job.expect("the job").state = JobState::Open;
        let visit = day.visits.get_mut(&stop.job_id).expect("the visit");
        visit.state = VisitState::NotDone;
        visit.finish_time = Some(at);
        visit.ended_by_plan_id = ended_by.map(str::to_owned);
        day.take_stock(Disruptions::default());
        day.continued.get(&stop.job_id).cloned()
    };
    let facts = third.plan.proposal.as_ref().expect("facts");
    assert_eq!(left(Some("2027-04-20-2")).as_ref(), facts.continued.first());
    assert_eq!(left(None), None, "given up");
}

/// Guards jobs that are done elsewhere: on another day, or by the crew that had them before.
#[test]
fn a_job_done_by_another_visit_is_not_planned() {
    let base = published();
    let dawn = inputs().clock.instant(5 * 3_600);
    let stop = base.parts.stops.last().expect("a stop").clone();
    let planned = |visited_by: Option<&str>| {
        let day = later(
            dawn,
            |inputs| {
                begun(&stop)(inputs);
                let job = inputs.jobs.iter_mut().find(|job| job.id == stop.job_id);
                job.expect("the job").state = JobState::Done;
                let visit = inputs.visits.get_mut(&stop.job_id).expect("the visit");
                visit.state = VisitState::Done;
                visit.finish_time = Some(stop.start_time + minutes(20));
                match visited_by {
                    Some(crew) => crew.clone_into(&mut visit.crew_id),
                    None => inputs.visits.clear(),
                }
            },
            Disruptions::default(),
        );
        let plan = proposals(&day).swap_remove(0);
        let changed = changes(&day, &base, &plan);
        assert!(!changed.sites_to_phone.contains(&stop.site_id));
        let mut told = changed.list.iter();
        let of_job = told.find(|change| change.job_id.as_ref() == Some(&stop.job_id));
        let says = of_job.is_none_or(|change| change.text.contains("is done;"));
        assert!(says, "{of_job:?}");
        plan.stop_of(&stop.job_id).is_some()
    };
    assert!(!planned(None), "on another day");
    assert!(!planned(Some("somebody-else")));
    assert!(planned(Some(&stop.crew_id)), "it is on the day's record");
}

/// Guards a job that a crew began on another day and never told the end of: nobody else can begin it, and the plan says why.
#[test]
fn a_job_under_way_since_another_day_waits_for_its_end() {
    let base = published();
    let dawn = inputs().clock.instant(5 * 3_600);
    let stop = base.parts.stops.last().expect("a stop").clone();
    let day = later(
        dawn,
        |inputs| {
            begun(&stop)(inputs);
            inputs.visits.clear();
        },
        Disruptions::default(),
    );
    let plan = proposals(&day).swap_remove(0);
    assert_eq!(plan.stop_of(&stop.job_id), None);
    let told = changes(&day, &base, &plan).list;
    let says = |words: &str| told.iter().any(|change| change.text.contains(words));
    assert!(says("let them report its end"), "{told:?}");
}

fn overrun(job: &str, seconds: i64) -> Disruptions {
    Disruptions {
        overruns: vec![Overrun {
            job_id: job.to_owned(),
            extra_seconds: seconds,
        }],
        ..Disruptions::default()
    }
}

fn left_of(day: &DayInputs, job: &str) -> Vec<TaskLeft> {
    day.continued[job].tasks.clone()
}

/// Guards a job that takes longer and then breaks off: what took longer was not mown, told at once or in an earlier plan; and
/// what is over by then is not added to the rest.
#[test]
fn what_took_longer_before_a_break_is_reckoned_with() {
    let (stop, mower, at) = mowing();
    let job = stop.job_id.as_str();
    // Half of the mowing, had nothing taken longer.
    let broken = |plan: &StoredPlan, now: DateTime<Utc>, new: Disruptions| {
        let mut day = gone_on(plan, &stop, now);
        tag_out(&mut day, &mower, now);
        day.take_stock(new);
        day
    };
    let half = left_of(&broken(&published(), at, Disruptions::default()), job);
    let late = at + minutes(30);
    let at_once = broken(&published(), late, overrun(job, 1_800));
    assert_eq!(left_of(&at_once, job), half);
    assert_eq!(at_once.disruptions.overruns, [], "it is over");

    let told = later(at, begun(&stop), overrun(job, 1_800));
    let accepted = proposals(&told).swap_remove(0);
    let fixed = accepted.stop_of(job).expect("it runs");
    let longer = fixed.tasks.0[0].duration_seconds - stop.tasks.0[0].duration_seconds;
    assert_eq!(longer, 1_800);
    let then = broken(&accepted, late, Disruptions::default());
    assert_eq!(left_of(&then, job), half);
    assert_eq!(then.disruptions.overruns, []);

    // In the first task, what takes longer is left in proportion.
    let first = i64::from(stop.tasks.0[0].duration_seconds);
    let early = stop.start_time + TimeDelta::seconds(i64::midpoint(first, 1_800));
    let in_first = broken(&accepted, early, Disruptions::default());
    assert_eq!(left_of(&in_first, job)[0].permille / 10, 50);
    assert_eq!(in_first.disruptions.overruns[0].extra_seconds / 20, 45);
}

/// Guards work done after a tool of an earlier task was tagged: nothing waited for it any more.
#[test]
fn a_tag_on_what_is_no_longer_wanted_takes_no_work_back() {
    let (stop, _, at) = mowing();
    let mow = stop
        .tasks
        .0
        .iter()
        .position(|task| task.kind == TaskKind::Mow)
        .expect("mowing");
    let (over, to_do) = stop.tasks.0.split_at(mow);
    let wanted = |unit: &String| to_do.iter().any(|task| task.unit_ids.contains(unit));
    let mut used = over.iter().flat_map(|task| &task.unit_ids);
    let edger = used.find(|unit| !wanted(unit)).expect("a tool of before");
    let absent = |tagged: bool| {
        let new = Disruptions {
            absent_crews: vec![stop.crew_id.clone()],
            ..Disruptions::default()
        };
        let now = at + minutes(2);
        let day = later(
            now,
            |inputs| {
                begun(&stop)(inputs);
                if tagged {
                    tag_out(inputs, edger, at - minutes(1));
                }
            },
            new,
        );
        left_of(&day, &stop.job_id)
    };
    assert_eq!(absent(true), absent(false));
}

/// Guards people: what they were exposed to before a job broke off, or was given up, stays with them, in this plan and the
/// next.
#[test]
fn what_was_worked_before_a_break_stays_with_the_crew() {
    let (stop, mower, at) = mowing();
    let limit = |day: &mut DayInputs| {
        day.branch.exposure.plan_within_limits = true;
        let problem = DayProblem::new(day).expect("a problem");
        let crew = problem.crew_ids.iter().position(|id| *id == stop.crew_id);
        problem.problem.crews()[crew.expect("the crew")].exposure_limit
    };
    let mut broken = broken_off(&stop, &mower, at, Disruptions::default());
    let after_break = limit(&mut broken).expect("a limit");
    assert!(after_break < 10_000, "{after_break}");

    let mut given_up = later(
        at,
        |inputs| {
            begun(&stop)(inputs);
            let job = inputs.jobs.iter_mut().find(|job| job.id == stop.job_id);
            job.expect("the job").state = JobState::Open;
            let visit = inputs.visits.get_mut(&stop.job_id).expect("the visit");
            visit.state = VisitState::NotDone;
            visit.finish_time = Some(at);
        },
        Disruptions::default(),
    );
    assert_eq!(limit(&mut given_up), Some(after_break));

    // The plan made then tells it, and so does the plan after: by what the mower is called, as no plan names what is out.
    let mut units = broken.units.iter();
    let called = &units
        .find(|unit| unit.id == mower)
        .expect("the mower")
        .display_name;
    let ran = |plan: &StoredPlan| {
        let day = plan.day_of(&stop.crew_id).expect("its day");
        let told = day.exposure.as_ref().expect("exposure");
        let mut parts = told.parts.iter();
        let of_mower = parts.find(|part| part.display_name == *called);
        assert!(of_mower.is_none_or(|part| part.unit_id.is_none()));
        of_mower.map_or(0, |part| part.run_seconds)
    };
    let (_, second, _) = back_again();
    let planned = stop
        .tasks
        .0
        .iter()
        .filter(|task| task.unit_ids.contains(&mower));
    let planned: i64 = planned.map(|task| i64::from(task.running_seconds)).sum();
    let worked = ran(&second);
    assert!(0 < worked && worked < planned, "{worked} of {planned}");
    let rest = second.stop_of(&stop.job_id).expect("its rest");
    let mut day = gone_on(&second, &stop, rest.start_time + minutes(1));
    tag_out(&mut day, &mower, at);
    day.take_stock(Disruptions::default());
    let third = proposals(&day).swap_remove(0);
    assert_eq!(ran(&third), worked);
    let facts = third.plan.proposal.as_ref().expect("facts");
    assert_eq!(facts.worked.len(), 1);
}

/// Guards the same where only one of a tool's two units is out: its work is over, and counts once in every later plan.
#[test]
fn what_was_done_with_half_a_tool_that_is_out_counts_once() {
    let (stop, mower, at) = mowing();
    let edging = stop.tasks.0.iter().find(|task| task.kind == TaskKind::Edge);
    let edging = edging.expect("it is edged first");
    assert_eq!(edging.unit_ids.len(), 2, "{edging:?}");
    let powerhead = edging.unit_ids.iter().find(|unit| unit.contains("power"));
    let powerhead = powerhead.expect("a powerhead");
    let day = broken_off(&stop, powerhead, at, Disruptions::default());
    let second = proposals(&day).swap_remove(0);
    let fixed = second.stop_of(&stop.job_id).expect("it goes on");
    assert!(fixed.fixed, "{fixed:?}");
    let ran = |plan: &StoredPlan| {
        let day = plan.day_of(&stop.crew_id).expect("its day");
        let told = day.exposure.as_ref().expect("exposure");
        let parts = told.parts.iter();
        let mut parts: Vec<_> = parts
            .map(|part| (part.display_name.clone(), part.run_seconds))
            .collect();
        parts.sort();
        parts
    };
    let mut day = gone_on(&second, &stop, at + minutes(1));
    tag_out(&mut day, powerhead, at);
    day.take_stock(Disruptions::default());
    let third = proposals(&day).swap_remove(0);
    assert_eq!(ran(&third), ran(&second));

    // Nor does it count again where the other unit is tagged out as well, the job is broken off or it is given up.
    let counted = |day: &mut DayInputs| {
        tag_out(day, powerhead, at);
        day.take_stock(Disruptions::default());
        let third = proposals(day).swap_remove(0);
        let facts = third.plan.proposal.expect("facts");
        let of_crew = facts
            .worked
            .iter()
            .filter(|one| one.job_id == stop.job_id && one.crew_id == stop.crew_id);
        of_crew
            .flat_map(|one| one.tasks.clone())
            .filter(|task| task.task_id == edging.task_id)
            .count()
    };
    let mut other = edging.unit_ids.iter().filter(|unit| *unit != powerhead);
    let other = other.next().expect("what it drives");
    let now = at + minutes(2);
    let mut both = gone_on(&second, &stop, now);
    tag_out(&mut both, other, at + minutes(1));
    assert_eq!(counted(&mut both), 1);
    let mut broken = gone_on(&second, &stop, now);
    tag_out(&mut broken, &mower, now);
    assert_eq!(counted(&mut broken), 1);
    assert!(broken.continued.contains_key(&stop.job_id));
    let mut given_up = gone_on(&second, &stop, now);
    let job = given_up.jobs.iter_mut().find(|job| job.id == stop.job_id);
    job.expect("the job").state = JobState::Open;
    let visit = given_up.visits.get_mut(&stop.job_id).expect("the visit");
    visit.state = VisitState::NotDone;
    visit.finish_time = Some(now);
    assert_eq!(counted(&mut given_up), 1);
}

/// Guards the same for a crew that goes home after it: others do all that is left.
#[test]
fn what_was_worked_is_told_of_a_crew_without_stops() {
    let (stop, mower, at) = mowing();
    let absent = Disruptions {
        absent_crews: vec![stop.crew_id.clone()],
        ..Disruptions::default()
    };
    let day = broken_off(&stop, &mower, at, absent);
    for plan in proposals(&day) {
        let mut stops = plan.parts.stops.iter();
        assert!(stops.all(|later| later.crew_id != stop.crew_id));
        let row = plan.day_of(&stop.crew_id).expect("its day");
        let told = row.exposure.as_ref().expect("exposure");
        assert!(!told.parts.is_empty(), "{row:?}");
    }
}

/// Guards the same over all later plans of the day, and for as many as the crew had: nothing else of it is in them.
#[test]
fn what_was_worked_is_told_of_all_of_a_crew_to_the_end_of_the_day() {
    let (stop, mower, at) = mowing();
    let absent = Disruptions {
        absent_crews: vec![stop.crew_id.clone()],
        ..Disruptions::default()
    };
    let day = broken_off(&stop, &mower, at, absent);
    let mut plan = proposals(&day).swap_remove(0);
    let told = |plan: &StoredPlan| {
        let row = plan.day_of(&stop.crew_id).expect("its day");
        row.exposure.clone().expect("exposure")
    };
    let first = told(&plan);
    let workers = day.crew_size(&stop.crew_id);
    assert!(workers > 1, "{workers}");
    assert_eq!(usize::try_from(first.workers), Ok(workers));
    for later in 1..=3 {
        let mut day = gone_on(&plan, &stop, at + minutes(later));
        let job = day.jobs.iter_mut().find(|job| job.id == stop.job_id);
        job.expect("the job").state = JobState::Open;
        let visit = day.visits.get_mut(&stop.job_id).expect("the visit");
        visit.state = VisitState::NotDone;
        visit.finish_time = Some(at);
        visit.ended_by_plan_id = Some("2027-04-20-2".to_owned());
        tag_out(&mut day, &mower, at);
        day.take_stock(Disruptions::default());
        plan = proposals(&day).swap_remove(0);
        assert!(plan.stops_of(&stop.crew_id).next().is_none());
        assert_eq!(told(&plan), first, "plan {later} after it");
    }
}

/// Guards a crew of which one stayed away and the other goes home: it was one who worked.
#[test]
fn who_was_not_there_did_not_take_turns() {
    let (stop, mower, at) = mowing();
    let names: Vec<String> = inputs()
        .workers
        .iter()
        .filter(|worker| worker.crew_id.as_ref() == Some(&stop.crew_id))
        .map(|worker| worker.id.clone())
        .collect();
    let alone = Disruptions {
        absent_workers: vec![names[0].clone()],
        absent_crews: vec![stop.crew_id.clone()],
        ..Disruptions::default()
    };
    let day = broken_off(&stop, &mower, at, alone);
    let plan = proposals(&day).swap_remove(0);
    let row = plan.day_of(&stop.crew_id).expect("its day");
    assert_eq!(row.exposure.as_ref().expect("exposure").workers, 1);
}
