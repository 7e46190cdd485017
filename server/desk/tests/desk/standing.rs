//! Goal: a day that is planned anew knows where its crews are, whatever became of the jobs that brought them there.
//! Method: a crew's job is taken from it at work or on the way, and the plan after the next asks where the crew goes on from.

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_desk::problem::DayProblem;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_planner::problem::{Progress, UnderWay};
use forenoon_store::entity::plan_stop;
use forenoon_store::value::{Disruptions, JobState, ProposalFacts, VisitState};

use crate::fixture::inputs;
use crate::planning::planned;
use crate::replan::{begun, mowing, proposals, published};
use crate::stock::{broken_off, minutes};

/// A day gone on with from a plan at an instant.
fn gone_on(
    (base, now): (&StoredPlan, DateTime<Utc>),
    edit: impl FnOnce(&mut DayInputs),
) -> DayInputs {
    let mut day = inputs();
    day.base = Some((base.clone(), now));
    edit(&mut day);
    day.take_stock(Disruptions::default());
    day
}

fn way_of(day: &DayProblem, crew: &str) -> UnderWay {
    let at = day.crew_ids.iter().position(|id| id == crew);
    match &day.problem.crews()[at.expect("the crew")].progress {
        Progress::UnderWay(way) => way.clone(),
        Progress::NotStarted => unreachable!("it is out"),
    }
}

/// Where a crew goes on from, and when: the site of one of the day's jobs, or none for the yard.
fn goes_on_from(inputs: &DayInputs, crew: &str) -> (Option<String>, DateTime<Utc>) {
    let day = DayProblem::new(inputs).expect("a problem");
    let way = way_of(&day, crew);
    let jobs = day.problem.jobs().iter().zip(&day.job_ids);
    let mut there = jobs.filter(|(job, _)| job.place == way.place);
    let site = there.next().map(|(_, id)| {
        let job = inputs.jobs.iter().find(|job| job.id == *id);
        job.expect("the job").site_id.clone()
    });
    (site, inputs.clock.instant(way.ready_at))
}

/// The visit as a plan ended it that took the job from its crew.
fn taken(stop: &plan_stop::Model, plan: &str, at: DateTime<Utc>) -> impl Fn(&mut DayInputs) {
    let (stop, plan) = (stop.clone(), plan.to_owned());
    move |day| {
        begun(&stop)(day);
        let job = day.jobs.iter_mut().find(|job| job.id == stop.job_id);
        job.expect("the job").state = JobState::Open;
        let visit = day.visits.get_mut(&stop.job_id).expect("the visit");
        visit.state = VisitState::NotDone;
        visit.finish_time = Some(at);
        visit.ended_by_plan_id = Some(plan.clone());
    }
}

fn facts_of(plan: &mut StoredPlan) -> &mut ProposalFacts {
    plan.plan.proposal.as_mut().expect("a proposal")
}

/// Guards a crew whose job was broken off and taken from it: the plan after stands by the site, by what the plan before it knew
/// or by what the crew has told, and the crew has aboard what it left with and nothing from the yard.
#[test]
fn a_crew_whose_job_was_taken_off_stands_where_it_was() {
    let (stop, mower, at) = mowing();
    let first = broken_off(&stop, &mower, at, Disruptions::default());
    let gone = |plan: &StoredPlan| {
        let rest = plan.stop_of(&stop.job_id);
        rest.is_none_or(|rest| rest.crew_id != stop.crew_id)
    };
    let second = proposals(&first).into_iter().find(gone);
    let mut second = second.expect("a way without it");
    let now = at + minutes(2);
    let by_both = gone_on((&second, now), taken(&stop, "second", at));
    let by_plan = gone_on((&second, now), |_| ());
    facts_of(&mut second).standing.clear();
    let by_word = gone_on((&second, now), taken(&stop, "second", at));
    let had: Vec<String> = published()
        .load_out_of(&stop.crew_id)
        .map(str::to_owned)
        .collect();
    for (how, day) in [("both", by_both), ("plan", by_plan), ("word", by_word)] {
        let (site, since) = goes_on_from(&day, &stop.crew_id);
        assert_eq!(site.as_ref(), Some(&stop.site_id), "{how}");
        assert!(since + minutes(1) > now, "{how}");
        let problem = DayProblem::new(&day).expect("a problem");
        let way = way_of(&problem, &stop.crew_id);
        let mut aboard = way.aboard.iter().map(|unit| problem.unit_id(*unit));
        assert!(
            aboard.all(|unit| had.iter().any(|had| had == unit)),
            "{how}"
        );
    }
}

/// Guards a job given up: its crew stands at the site not only in the next plan, and the second of the plans needs no visit.
#[test]
fn a_crew_that_gave_a_job_up_stands_there_two_plans_later() {
    let (stop, _, at) = mowing();
    let given_up = |day: &mut DayInputs| {
        taken(&stop, "", at)(day);
        let visit = day.visits.get_mut(&stop.job_id).expect("the visit");
        visit.ended_by_plan_id = None;
    };
    let stands = |day: &DayInputs| {
        let elm = goes_on_from_sites(day, &stop.crew_id);
        assert_eq!(elm, stop.site_id);
    };
    let mut plan = published();
    // In the same minute, or it would be on the road to the next.
    let now = at + minutes(1);
    for _ in 0..3 {
        let day = gone_on((&plan, now), given_up);
        stands(&day);
        plan = proposals(&day).swap_remove(0);
    }
    let forgotten = gone_on((&plan, now), |day| {
        day.jobs.retain(|job| job.id != stop.job_id);
    });
    stands(&forgotten);
}

/// The site where a crew goes on from, by its drives: its job may be none of the day.
fn goes_on_from_sites(inputs: &DayInputs, crew: &str) -> String {
    let day = DayProblem::new(inputs).expect("a problem");
    let place = way_of(&day, crew).place.ix();
    // The yard comes first, then the sites.
    let mut sites = inputs.sites.keys();
    place
        .checked_sub(1)
        .and_then(|site| sites.nth(site))
        .expect("a site")
        .clone()
}

/// A stop on the way to which its crew is by the plan, and an instant half-way.
fn driving() -> (StoredPlan, plan_stop::Model, DateTime<Utc>) {
    let base = published();
    let second = |stop: &&plan_stop::Model| {
        let mut stops = base.stops_of(&stop.crew_id);
        stop.drive_seconds > 60 && stops.next().map(|first| &first.job_id) != Some(&stop.job_id)
    };
    let stop = base.parts.stops.iter().find(second).expect("a drive");
    let half = minutes(i64::from(stop.drive_seconds) / 120);
    (base.clone(), stop.clone(), stop.arrive_time - half)
}

/// Guards a crew on the road: it goes on to where it drives, arrives as expected, and nothing changes, over several plans; the
/// drive is told whole.
#[test]
fn a_crew_on_the_road_goes_on_to_where_it_drives() {
    let (base, stop, at) = driving();
    let mut plan = base;
    let mut now = at;
    for _ in 0..2 {
        let day = gone_on((&plan, now), |_| ());
        let (site, arrival) = goes_on_from(&day, &stop.crew_id);
        assert_eq!(site.as_ref(), Some(&stop.site_id));
        assert_eq!(arrival, stop.arrive_time);
        let best = proposals(&day).swap_remove(0);
        let next = best.stops_of(&stop.crew_id).find(|stop| !stop.fixed);
        let next = next.expect("a stop").clone();
        assert_eq!(next.job_id, stop.job_id);
        assert_eq!(next.arrive_time, stop.arrive_time);
        assert_eq!(next.start_time, stop.start_time);
        assert_eq!(next.drive_seconds, stop.drive_seconds);
        assert_eq!(
            best.plan.totals.travel_seconds,
            plan.plan.totals.travel_seconds
        );
        (plan, now) = (best, now + minutes(1));
    }
}

/// What is told of a drive, and when its crew is expected.
type Edit<'a> = (&'a dyn Fn(&mut DayInputs), DateTime<Utc>);

/// Guards a crew whose next job is called off while it drives there: it turns round there and not where
/// it came from, by the plan or by its own word, in the next plan and in the one after.
#[test]
fn a_crew_whose_job_is_called_off_on_the_way_turns_round_there() {
    let (base, stop, at) = driving();
    let called_off = |day: &mut DayInputs| day.jobs.retain(|job| job.id != stop.job_id);
    let set_out = |day: &mut DayInputs| {
        taken(&stop, "", at)(day);
        let visit = day.visits.get_mut(&stop.job_id).expect("the visit");
        visit.ended_by_plan_id = None;
        visit.start_time = None;
        visit.depart_time = Some(at - minutes(1));
        called_off(day);
    };
    let drive = TimeDelta::seconds(i64::from(stop.drive_seconds));
    let told = at - minutes(1) + drive;
    let ways: [Edit<'_>; 2] = [(&called_off, stop.arrive_time), (&set_out, told)];
    for (edit, arrival) in ways {
        let day = gone_on((&base, at), edit);
        let ready = |day: &DayInputs| {
            assert_eq!(goes_on_from_sites(day, &stop.crew_id), stop.site_id);
            let problem = DayProblem::new(day).expect("a problem");
            day.clock.instant(way_of(&problem, &stop.crew_id).ready_at)
        };
        assert_eq!(ready(&day), arrival);
        let next = proposals(&day).swap_remove(0);
        let later = gone_on((&next, at + minutes(1)), called_off);
        assert_eq!(ready(&later), arrival);
    }
}

/// Guards what a crew tells against the plan: who left late arrives late, and who is done early stands there until it says that
/// it leaves.
#[test]
fn a_crew_that_leaves_late_arrives_late() {
    let (base, stop, at) = driving();
    let late = minutes(3);
    let day = gone_on((&base, at + late), |day| {
        begun(&stop)(day);
        let job = day.jobs.iter_mut().find(|job| job.id == stop.job_id);
        job.expect("the job").state = JobState::Open;
        let visit = day.visits.get_mut(&stop.job_id).expect("the visit");
        visit.state = VisitState::UnderWay;
        visit.start_time = None;
        let drive = i64::from(stop.drive_seconds);
        let left = stop.arrive_time - TimeDelta::seconds(drive);
        visit.depart_time = Some(left + late);
    });
    let (site, arrival) = goes_on_from(&day, &stop.crew_id);
    assert_eq!(site.as_ref(), Some(&stop.site_id));
    assert_eq!(arrival, stop.arrive_time + late);

    let before = base
        .stops_of(&stop.crew_id)
        .take_while(|known| known.job_id != stop.job_id)
        .last()
        .expect("a stop before");
    let early = before.finish_time - minutes(5);
    let day = gone_on((&base, early + minutes(1)), |day| {
        begun(before)(day);
        let job = day.jobs.iter_mut().find(|job| job.id == before.job_id);
        job.expect("the job").state = JobState::Done;
        let visit = day.visits.get_mut(&before.job_id).expect("the visit");
        visit.state = VisitState::Done;
        visit.finish_time = Some(early);
    });
    let (site, ready) = goes_on_from(&day, &stop.crew_id);
    assert_eq!(site.as_ref(), Some(&before.site_id));
    assert_eq!(ready, early + minutes(1));
}

/// Guards the first drive of the day, and the yard before it: who should have left is on the road to its first job.
#[test]
fn who_has_left_the_yard_is_on_the_road_to_its_first_job() {
    let base = planned(&inputs(), 500);
    let stop = base.parts.stops.iter().min_by_key(|stop| stop.start_time);
    let stop = stop.expect("a stop");
    let depart = base.day_of(&stop.crew_id).and_then(|day| day.depart_time);
    let depart = depart.expect("it leaves");
    let day = gone_on((&base, depart + minutes(1)), |_| ());
    let (site, arrival) = goes_on_from(&day, &stop.crew_id);
    assert_eq!(site.as_ref(), Some(&stop.site_id));
    assert_eq!(arrival, stop.arrive_time);
    for plan in proposals(&day) {
        let again = plan.day_of(&stop.crew_id).and_then(|day| day.depart_time);
        assert_eq!(again, Some(depart));
    }
}
