//! Goal: work that runs late is planned anew when the unit that it wants may not do it any more, however little its crew has
//! told, and nobody is sent to mow with nothing.
//! Method: the first stop's mower is limited at different times of a day on which the crew has told nothing, that it set out,
//! or that it is there.

use chrono::{DateTime, Utc};
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_store::entity::visit;
use forenoon_store::value::{
    Disruptions, ForbiddenTasks, JobState, PlannedTask, Severity, TaskKind, VisitState,
};

use crate::fixture::{inputs, tag};
use crate::replan::{begun, later, mowing, proposals};
use crate::stock::minutes;

const MOWS: [TaskKind; 2] = [TaskKind::Mow, TaskKind::SecondPass];

/// What a crew has told of its first stop before it began work there.
#[derive(Clone, Copy)]
enum Told {
    Nothing,
    SetOut(DateTime<Utc>),
    There(DateTime<Utc>),
}

impl Told {
    fn write(self, inputs: &mut DayInputs) {
        let (stop, ..) = mowing();
        let edit: Box<dyn Fn(&mut visit::Model)> = match self {
            Self::Nothing => return,
            Self::SetOut(at) => Box::new(move |visit| {
                visit.state = VisitState::UnderWay;
                visit.depart_time = Some(at);
            }),
            Self::There(at) => Box::new(move |visit| {
                visit.state = VisitState::Arrived;
                visit.arrive_time = Some(at);
            }),
        };
        begun(&stop)(inputs);
        let job = inputs.jobs.iter_mut().find(|job| job.id == stop.job_id);
        job.expect("the job").state = JobState::Open;
        let visit = inputs.visits.get_mut(&stop.job_id).expect("the visit");
        visit.start_time = None;
        edit(visit);
    }
}

/// The first stop's mower may go out and must not mow.
fn limit(inputs: &mut DayInputs, at: DateTime<Utc>) {
    let (_, mower, _) = mowing();
    let (unit, mut tag) = tag(&mower, Severity::Reduced);
    tag.create_time = at;
    tag.forbidden_tasks = ForbiddenTasks(MOWS.to_vec());
    inputs.tags.insert(unit, tag);
}

fn limited(told: Told, tagged: DateTime<Utc>, now: DateTime<Utc>) -> DayInputs {
    let edit = |inputs: &mut DayInputs| {
        told.write(inputs);
        limit(inputs, tagged);
    };
    later(now, edit, Disruptions::default())
}

/// Tasks of the plan that mow: none with nothing, and none with what must not.
#[track_caller]
fn mown_with_something(plan: &StoredPlan) {
    let (_, mower, _) = mowing();
    let tasks = plan.parts.stops.iter().flat_map(|stop| &stop.tasks.0);
    let mows = |task: &&PlannedTask| MOWS.contains(&task.kind);
    for task in tasks.filter(mows) {
        assert!(!task.unit_ids.is_empty(), "with nothing: {task:?}");
        assert!(!task.unit_ids.contains(&mower), "{task:?}");
    }
}

/// Guards crews that are late or early at a stop and have not begun there: all of it is planned anew, also by the plan after.
#[test]
fn what_has_not_begun_with_a_limited_unit_is_planned_anew() {
    let (stop, ..) = mowing();
    let (start, end) = (stop.start_time, stop.finish_time);
    for (told, tagged, now) in [
        (Told::SetOut(start), end + minutes(5), end + minutes(6)),
        (Told::There(end), end + minutes(5), end + minutes(6)),
        (Told::There(start), end + minutes(5), end + minutes(6)),
        (
            Told::There(start - minutes(9)),
            start - minutes(8),
            start - minutes(7),
        ),
        // It did not come to its planned end.
        (Told::Nothing, start + minutes(1), end + minutes(6)),
    ] {
        let day = limited(told, tagged, now);
        let left = day.continued.get(&stop.job_id).expect("broken off");
        assert_eq!(left.tasks.len(), stop.tasks.0.len());
        assert!(left.tasks.iter().all(|task| task.permille == 1_000));
        let proposals = proposals(&day);
        proposals.iter().for_each(mown_with_something);
        let somebody = proposals
            .iter()
            .find(|plan| plan.stop_of(&stop.job_id).is_some());
        let second = somebody.expect("somebody mows");

        let mut day = inputs();
        told.write(&mut day);
        limit(&mut day, tagged);
        day.base = Some((second.clone(), now + minutes(1)));
        day.take_stock(Disruptions::default());
        for third in crate::replan::proposals(&day) {
            mown_with_something(&third);
        }
    }
}

/// Guards the record of a day on which a crew tells nothing: what should have been over when the tag came is over.
#[test]
fn what_should_have_been_over_and_nobody_told_of_is_over() {
    let (stop, ..) = mowing();
    let end = stop.finish_time;
    let day = limited(Told::Nothing, end + minutes(5), end + minutes(6));
    assert!(!day.continued.contains_key(&stop.job_id));
    for plan in proposals(&day) {
        let kept = plan.stop_of(&stop.job_id).expect("it is on record");
        assert!(kept.fixed);
        assert_eq!(kept.tasks, stop.tasks);
    }
}
