//! What is left of work that is broken off: by reports that come twice or too late, by tags of other days, and over several
//! plans of one day.

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_desk::changes::changes;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_store::entity::plan_stop;
use forenoon_store::value::{
    Continued, Disruptions, ForbiddenTasks, Pause, Pauses, PlanChange, ProposalFacts, Severity,
    TaskKind, TaskLeft, Times,
};

use crate::fixture::{inputs, tag};
use crate::replan::{begun, later, mowing, proposals, published};

pub(crate) fn minutes(count: i64) -> TimeDelta {
    TimeDelta::minutes(count)
}

pub(crate) fn tag_out(inputs: &mut DayInputs, unit: &str, at: DateTime<Utc>) {
    let (unit, mut tag) = tag(unit, Severity::Unsafe);
    tag.create_time = at;
    inputs.tags.insert(unit, tag);
}

/// What is left of a stop whose mower is tagged out at an instant, after something was written into the day's records.
fn left(
    (stop, mower, at): &(plan_stop::Model, String, DateTime<Utc>),
    edit: impl FnOnce(&mut DayInputs),
) -> Vec<TaskLeft> {
    let mut day = later(
        *at,
        |inputs| {
            begun(stop)(inputs);
            tag_out(inputs, mower, *at);
            edit(inputs);
        },
        Disruptions::default(),
    );
    day.continued
        .remove(&stop.job_id)
        .expect("broken off")
        .tasks
}

/// Guards pauses that a telephone tells twice, and resumptions that come without their pause: time stands still once.
#[test]
fn a_pause_told_twice_stands_still_once() {
    let mowing = mowing();
    let (stop, _, at) = &mowing;
    let paused = |pauses: &[i64], resumed: &[i64]| {
        left(&mowing, |inputs| {
            let visit = inputs.visits.get_mut(&stop.job_id).expect("the visit");
            let before = |minutes: &i64| *at - TimeDelta::minutes(*minutes);
            let pause = |minutes: &i64| Pause {
                pause_time: before(minutes),
                reason: String::new(),
            };
            visit.pauses = Pauses(pauses.iter().map(pause).collect());
            visit.resume_times = Times(resumed.iter().map(before).collect());
        })
    };
    let once = paused(&[6], &[3]);
    assert_ne!(once, paused(&[], &[]));
    assert_eq!(paused(&[6, 5], &[3]), once, "told again while it lasts");
    assert_eq!(paused(&[6], &[8, 3]), once, "a resumption alone");
    assert_eq!(
        paused(&[9, 6], &[9, 3]),
        once,
        "nothing between the first two"
    );
}

/// Guards work that was done with a limited unit: a tag that forbids other work stopped nothing.
#[test]
fn a_tag_that_forbids_other_work_takes_no_work_back() {
    let mowing = mowing();
    let (stop, mower, at) = &mowing;
    let absent = |limited: bool| {
        let new = Disruptions {
            absent_crews: vec![stop.crew_id.clone()],
            ..Disruptions::default()
        };
        let mut day = later(
            *at,
            |inputs| {
                begun(stop)(inputs);
                if limited {
                    let (unit, mut tag) = tag(mower, Severity::Reduced);
                    tag.create_time = *at - minutes(24 * 60);
                    tag.forbidden_tasks = ForbiddenTasks(vec![TaskKind::SecondPass]);
                    inputs.tags.insert(unit, tag);
                }
            },
            new,
        );
        day.continued
            .remove(&stop.job_id)
            .expect("broken off")
            .tasks
    };
    assert_eq!(absent(true), absent(false));
}

/// The day in whose course a unit is tagged out while its first stop is at work.
pub(crate) fn broken_off(
    stop: &plan_stop::Model,
    unit: &str,
    at: DateTime<Utc>,
    new: Disruptions,
) -> DayInputs {
    let edit = |inputs: &mut DayInputs| {
        begun(stop)(inputs);
        tag_out(inputs, unit, at);
    };
    later(at, edit, new)
}

/// The day broken off once, gone on with by its own crew, and published so.
pub(crate) fn gone_on_with() -> (plan_stop::Model, StoredPlan, DateTime<Utc>) {
    let (stop, mower, at) = mowing();
    let day = broken_off(&stop, &mower, at, Disruptions::default());
    let own = proposals(&day).into_iter().find_map(|plan| {
        let rest = plan.stop_of(&stop.job_id)?;
        (rest.crew_id == stop.crew_id).then(|| (rest.clone(), plan.clone()))
    });
    let (rest, plan) = own.expect("its crew goes on");
    (rest, plan, at)
}

/// The day at an instant, its first mower out since the first break, gone on with from a later plan.
fn again(
    plan: &StoredPlan,
    first: &plan_stop::Model,
    broke: DateTime<Utc>,
    now: DateTime<Utc>,
) -> DayInputs {
    let (_, mower, _) = mowing();
    let mut inputs = inputs();
    begun(first)(&mut inputs);
    tag_out(&mut inputs, &mower, broke);
    inputs.base = Some((plan.clone(), now));
    inputs
}

/// Guards the rest of a job over more than one further plan: it stays a rest with its own times, so that what was done of it
/// is neither done again nor lost.
#[test]
fn what_is_left_is_known_two_plans_later() {
    let (rest, second, broke) = gone_on_with();
    let (first, ..) = mowing();
    let now = rest.start_time + minutes(1);
    let mut day = again(&second, &first, broke, now);
    day.take_stock(Disruptions::default());
    assert!(day.continued.is_empty(), "it goes on as planned");
    let third = proposals(&day).swap_remove(0);
    let fixed = third.stop_of(&rest.job_id).expect("it runs");
    assert!(fixed.fixed);
    let facts = third.plan.proposal.clone().expect("facts");
    assert_eq!(
        facts.continued,
        second.plan.proposal.clone().expect("facts").continued
    );

    // The second mower breaks as well, a minute later.
    let now = now + minutes(1);
    let mut day = again(&third, &first, broke, now);
    let second_mower = fixed.tasks.0.iter().find(|task| task.kind == TaskKind::Mow);
    let second_mower = second_mower.expect("it is mown").unit_ids[0].clone();
    tag_out(&mut day, &second_mower, now);
    day.take_stock(Disruptions::default());
    let left = &day.continued[&rest.job_id];
    let before = facts.continued[0].tasks[0].permille;
    let still = left.tasks[0].permille;
    assert!(0 < still && still < before, "{still} of {before}");
}

/// Guards the rest of a job that another crew takes over: that crew's own start counts, and not the plan's.
#[test]
fn who_takes_a_rest_over_goes_by_their_own_start() {
    let (rest, mut plan, broke) = gone_on_with();
    let mut facts: ProposalFacts = plan.plan.proposal.clone().expect("facts");
    facts.continued = facts
        .continued
        .into_iter()
        .map(|left| Continued {
            crew_id: "somebody-else".to_owned(),
            ..left
        })
        .collect();
    let before = facts.continued[0].tasks[0].permille;
    plan.plan.proposal = Some(facts);
    let (first, ..) = mowing();
    let mower = rest.tasks.0[0].unit_ids[0].clone();
    let worked = |started_late: i64| {
        let started = rest.start_time + minutes(started_late);
        let now = started + minutes(2);
        let mut day = again(&plan, &first, broke, now);
        let visit = day.visits.get_mut(&rest.job_id).expect("a visit");
        visit.start_time = Some(started);
        tag_out(&mut day, &mower, now);
        day.take_stock(Disruptions::default());
        before - day.continued[&rest.job_id].tasks[0].permille
    };
    let on_time = worked(0);
    assert!(on_time > 0);
    assert_eq!(worked(3), on_time, "late");
    assert_eq!(worked(-3), on_time, "early");
}

/// Guards customers from calls about what they see for themselves: a visit that runs is not said to move, and one that is broken
/// off is said to go on where that takes a while.
#[test]
fn who_is_phoned_about_a_visit_that_has_begun_hears_when_it_goes_on() {
    let (stop, mower, at) = mowing();
    let late = minutes(45);
    let changed = |edit: &dyn Fn(&mut DayInputs)| {
        let day = later(
            at + late,
            |inputs| {
                begun(&stop)(inputs);
                let visit = inputs.visits.get_mut(&stop.job_id).expect("the visit");
                visit.start_time = Some(stop.start_time + late);
                edit(inputs);
            },
            Disruptions::default(),
        );
        let goes_on = |plan: &StoredPlan| {
            let new = plan.stop_of(&stop.job_id);
            new.is_some_and(|new| new.crew_id == stop.crew_id)
        };
        let plan = proposals(&day)
            .into_iter()
            .find(goes_on)
            .expect("it goes on");
        changes(&day, &published(), &plan)
    };
    let runs = changed(&|_| ());
    let of_job = |change: &&PlanChange| change.job_id.as_ref() == Some(&stop.job_id);
    assert_eq!(runs.list.iter().find(of_job), None);
    assert!(!runs.sites_to_phone.contains(&stop.site_id));

    // Another mower is fetched from the yard, which takes an hour.
    let broken_off = changed(&|day| tag_out(day, &mower, at + late));
    assert!(broken_off.sites_to_phone.contains(&stop.site_id));
    let told: Vec<&str> = broken_off
        .list
        .iter()
        .filter(of_job)
        .map(|change| change.text.as_str())
        .collect();
    assert!(
        told.iter().any(|text| text.contains("goes on at")),
        "{told:?}"
    );
    assert!(
        !told.iter().any(|text| text.contains("and not at")),
        "{told:?}"
    );
}

/// Guards what a proposal says of the day's drives: those that are over are part of the day still.
#[test]
fn drives_that_are_over_count_for_the_day() {
    let base = published();
    let last = base.parts.stops.iter().map(|stop| stop.start_time).max();
    let now = last.expect("a stop") + minutes(1);
    let day = later(now, |_| (), Disruptions::default());
    for plan in proposals(&day) {
        let drives: i64 = plan
            .parts
            .stops
            .iter()
            .map(|stop| i64::from(stop.drive_seconds))
            .sum();
        assert!(plan.parts.stops.iter().all(|stop| stop.fixed));
        assert!(
            plan.plan.totals.travel_seconds >= drives,
            "{:?}",
            plan.plan.totals
        );
        assert!(drives > 0);
    }
}
