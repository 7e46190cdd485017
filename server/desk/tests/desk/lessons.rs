//! What past visits teach the plan.

use chrono::TimeDelta;
use forenoon_desk::DayInputs;
use forenoon_desk::lessons::PastVisit;
use forenoon_desk::problem::DayProblem;
use forenoon_planner::JobIx;
use forenoon_store::entity::{plan_stop, visit};
use forenoon_store::value::{
    Pauses, Promise, TaskActual, TaskActuals, TaskKind, Times, VisitState, Walkthroughs,
};

use crate::fixture::{inputs, lessons};
use crate::planning::planned;

/// Seconds the planner gives the mowing of the first job with the walk-behind mower and two people.
pub(crate) fn mowing_seconds(past: &[PastVisit]) -> u32 {
    let mut inputs = inputs();
    inputs.units.retain(|unit| unit.id != "ride-60");
    inputs.lessons = lessons(&inputs, past);
    let day = DayProblem::new(&inputs).expect("a problem");
    let task = inputs.jobs[0]
        .tasks
        .0
        .iter()
        .position(|task| task.task_id == mow())
        .expect("mowing");
    day.problem.tool_choices(JobIx(0), task, 2)[0].seconds
}

fn mow() -> String {
    let inputs = inputs();
    let mow = inputs.jobs[0]
        .tasks
        .0
        .iter()
        .find(|task| task.kind == TaskKind::Mow);
    mow.expect("mowing").task_id.clone()
}

pub(crate) fn visit_taking(seconds: i32, days_ago: i64) -> PastVisit {
    let inputs = inputs();
    let job = inputs.jobs[0].clone();
    let start_time = inputs.clock.instant(0) - TimeDelta::days(days_ago);
    PastVisit {
        site: inputs.sites[&job.site_id].clone(),
        visit: visit::Model {
            branch_id: "north".to_owned(),
            job_id: job.id.clone(),
            attempt: 1,
            plan_id: "2027-04-01-1".to_owned(),
            crew_id: "crew-1".to_owned(),
            state: VisitState::Done,
            depart_time: None,
            arrive_time: None,
            start_time: Some(start_time),
            finish_time: Some(start_time + TimeDelta::hours(1)),
            task_actuals: TaskActuals(vec![TaskActual {
                task_id: mow(),
                duration_seconds: seconds,
                unit_ids: vec!["walk-21".to_owned()],
            }]),
            pauses: Pauses::default(),
            resume_times: Times::default(),
            bags: 0,
            note: String::new(),
            not_done_reason: String::new(),
            ended_by_plan_id: None,
            walkthroughs: Walkthroughs::default(),
        },
        job,
        heat: None,
    }
}

/// Seconds that a plan of crew 1 gives the mowing of the first job, as its sheet tells them.
pub(crate) fn sheet_seconds() -> i32 {
    let stop = stop_of_two(&inputs());
    let mowing = stop.tasks.0.iter().find(|task| task.kind == TaskKind::Mow);
    mowing.expect("mowing").duration_seconds
}

/// The stop at the first job as two people do it with one walk-behind mower.
pub(crate) fn stop_of_two(inputs: &DayInputs) -> plan_stop::Model {
    let mut inputs = inputs.clone();
    inputs.units.retain(|unit| unit.id != "ride-60");
    inputs.crews.retain(|crew| crew.id == "crew-1");
    inputs.jobs.truncate(1);
    let plan = planned(&inputs, 300);
    plan.stop_of("elm-mow").expect("a stop").clone()
}

/// Guards the loop from actuals to plans: a site that always takes half as long again is planned longer, the more so the
/// more visits say it; one absurd report moves it little; a report of nothing is passed over.
#[test]
fn the_plan_learns_what_a_site_really_takes() {
    let rate = mowing_seconds(&[]);
    let long = sheet_seconds() * 3 / 2;
    let one = mowing_seconds(&[visit_taking(long, 7)]);
    let many = mowing_seconds(
        &(1..=12)
            .map(|week| visit_taking(long, week * 7))
            .collect::<Vec<_>>(),
    );
    assert!(rate < one && one < many, "{rate} {one} {many}");
    assert!(f64::from(many) > f64::from(rate) * 1.25 && f64::from(many) <= f64::from(rate) * 1.5);
    let mut spoilt: Vec<PastVisit> = (1..=12).map(|week| visit_taking(long, week * 7)).collect();
    spoilt.push(visit_taking(long * 20, 91));
    spoilt.push(visit_taking(0, 98));
    let spoilt = mowing_seconds(&spoilt);
    assert!(f64::from(spoilt) < f64::from(many) * 1.1, "{many} {spoilt}");
}

/// Guards the rates against units that are gone: what was mown with one that no record tells of teaches nothing, and what was
/// mown with a retired one teaches what it did before.
#[test]
fn a_unit_that_is_gone_spoils_no_rate() {
    let rate = mowing_seconds(&[]);
    let long = sheet_seconds() * 3 / 2;
    let with = |unit: &str| -> Vec<PastVisit> {
        let told = |week: i64| {
            let mut past = visit_taking(long, week * 7);
            past.visit.task_actuals.0[0].unit_ids = vec![unit.to_owned()];
            past
        };
        (1..=12).map(told).collect()
    };
    assert_eq!(mowing_seconds(&with("long-gone")), rate);
    assert!(mowing_seconds(&with("walk-21")) > rate);
}

/// Guards walks against meetings: a walk that took as long as it was planned, with a customer who came along, does not make
/// walks longer; and one after the day of the promise had no meeting in it.
#[test]
fn a_meeting_is_no_part_of_what_a_walk_teaches() {
    let mut plain = inputs();
    plain.jobs.truncate(1);
    let walk = plain.jobs[0].tasks.0[0].clone();
    assert_eq!(walk.kind, TaskKind::WalkBefore);
    let seconds = |past: &[PastVisit], promise: Option<Promise>| {
        let mut inputs = plain.clone();
        inputs.jobs[0].promise = promise;
        inputs.lessons = lessons(&inputs, past);
        let day = DayProblem::new(&inputs).expect("a problem");
        day.problem.tool_choices(JobIx(0), 0, 2)[0].seconds
    };
    let promised = |days_ago: i64| Promise {
        start_time: plain.clock.instant(9 * 3_600) - TimeDelta::days(days_ago),
        end_time: plain.clock.instant(10 * 3_600) - TimeDelta::days(days_ago),
        before_work: true,
        contact: None,
    };
    let (rate, met) = (seconds(&[], None), seconds(&[], Some(promised(0))));
    assert_eq!(met - rate, 480);
    let past = |seconds: u32, promised_before: i64| -> Vec<PastVisit> {
        let told = |week: i64| {
            let seconds = i32::try_from(seconds).expect("seconds");
            let mut past = visit_taking(seconds, week * 7);
            past.visit.task_actuals.0[0].task_id = walk.task_id.clone();
            past.visit.task_actuals.0[0].unit_ids.clear();
            past.visit.start_time = Some(promised(week * 7).start_time);
            past.job.promise = Some(promised(week * 7 + promised_before));
            past
        };
        (1..=12).map(told).collect()
    };
    let taught = seconds(&past(met, 0), None);
    assert!(taught.abs_diff(rate) <= 1, "{rate} {taught}");
    let taught = seconds(&past(rate, 30), None);
    assert!(taught.abs_diff(rate) <= 1, "{rate} {taught}");
    // What is learned of walks leaves the meeting as long as it is.
    let slow = past(2 * rate, 30);
    assert_eq!(
        seconds(&slow, Some(promised(0))) - seconds(&slow, None),
        480
    );
}
