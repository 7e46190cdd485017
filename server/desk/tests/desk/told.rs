//! What a re-plan tells: what it costs, which promises it keeps, who is phoned, and what was taken back.

use std::sync::Arc;

use chrono::{DateTime, DurationRound, TimeDelta, Utc};
use forenoon_desk::changes::changes;
use forenoon_desk::facts::facts;
use forenoon_desk::problem::DayProblem;
use forenoon_desk::reasons::reasons;
use forenoon_desk::sheets::stop_words;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_planner::Cancel;
use forenoon_store::entity::plan_stop;
use forenoon_store::value::{
    Contact, Disruptions, Overrun, PlanChange, PlanChangeKind, PlannedBreak, PlannedBreaks,
    Promise, Severity, TaskKind, VisitState, WalkOutcome, Walkthrough, Walkthroughs, WorkStop,
};

use crate::fixture::{inputs, tag};
use crate::planning::{searched, told};
use crate::replan::{begun, later, mowing, proposals, published};

/// The published day, edited: one crew's day is written anew.
fn edited(edit: impl FnOnce(&mut forenoon_store::entity::plan_crew_day::Model)) -> StoredPlan {
    let mut plan = published();
    let parts = Arc::make_mut(&mut plan.parts);
    let day = parts
        .crew_days
        .iter_mut()
        .find(|day| day.crew_id == "crew-1");
    edit(day.expect("the crew"));
    plan
}

fn extra_cost(inputs: &DayInputs, after: &StoredPlan) -> i64 {
    facts(inputs, &published(), after, (&[], &[])).extra_cost_minor
}

/// Guards the cost of a way on: a break on the way home is paid and not driven, whoever is not there is not paid, and a drive
/// costs what the plan reckons for it in the branch's currency.
#[test]
fn wages_are_of_those_who_are_there_and_drives_of_what_is_driven() {
    let longer = edited(|day| {
        let back = day.return_time.expect("it comes back");
        day.return_time = Some(back + TimeDelta::minutes(30));
        day.breaks
            .get_or_insert(PlannedBreaks::default())
            .0
            .push(PlannedBreak {
                start_time: back,
                end_time: back + TimeDelta::minutes(30),
            });
    });
    // Two people at 24.00 an hour.
    assert_eq!(extra_cost(&inputs(), &longer), 2_400);
    let mut alone = inputs();
    alone.disruptions.absent_workers = vec!["bo".to_owned()];
    assert_eq!(extra_cost(&alone, &longer), 1_200);

    let mut further = published();
    for stop in &mut Arc::make_mut(&mut further.parts).stops {
        if stop.job_id == "oak-mow" {
            stop.drive_seconds += 360;
        }
    }
    // A tenth of an hour at 40 km/h, at 0.60 a kilometre.
    assert_eq!(extra_cost(&inputs(), &further), 240);
    let mut dear = inputs();
    dear.branch.price.labour_per_hour_minor = Some(300_000);
    assert_eq!(extra_cost(&dear, &further), 24_000);
}

/// A promise for the first job of the day, to be met before the work, from so many minutes after its planned start on.
fn promised(inputs: &mut DayInputs, stop: &plan_stop::Model, after: i64) {
    let job = inputs.jobs.iter_mut().find(|job| job.id == stop.job_id);
    job.expect("the job").promise = Some(Promise {
        start_time: stop.start_time + TimeDelta::minutes(after),
        end_time: stop.start_time + TimeDelta::minutes(after + 30),
        before_work: true,
        contact: None,
    });
}

/// Guards what is said of promises: who begins before the customer is there does not keep them, unless both met.
#[test]
fn who_begins_too_early_does_not_keep_a_promise() {
    let (stop, _, at) = mowing();
    let keeps = |after: i64, met: bool| {
        let day = later(
            at,
            |day| {
                begun(&stop)(day);
                promised(day, &stop, after);
                if met {
                    let visit = day.visits.get_mut(&stop.job_id).expect("the visit");
                    visit.walkthroughs = Walkthroughs(vec![Walkthrough {
                        before_work: true,
                        outcome: WalkOutcome::Met,
                        walk_time: stop.start_time,
                        note: String::new(),
                        photos: Vec::new(),
                    }]);
                }
            },
            Disruptions::default(),
        );
        let facts = facts(&day, &published(), &published(), (&[], &[]));
        facts.kept_promises.contains(&stop.job_id)
    };
    assert!(keeps(-10, false));
    assert!(!keeps(60, false), "an hour before the customer is there");
    assert!(keeps(60, true), "they met all the same");
    assert!(!keeps(-60, false), "half an hour late");
}

/// Guards crews from a meeting that was: the sheet of a job's rest asks for none before the work.
#[test]
fn the_rest_of_a_job_asks_for_no_second_meeting() {
    let (stop, mower, at) = mowing();
    let day = later(
        at,
        |day| {
            begun(&stop)(day);
            promised(day, &stop, -10);
            let (unit, mut tag) = tag(&mower, Severity::Unsafe);
            tag.create_time = at;
            day.tags.insert(unit, tag);
        },
        Disruptions::default(),
    );
    let goes_on = |plan: &StoredPlan| plan.stop_of(&stop.job_id).is_some();
    let plan = proposals(&day)
        .into_iter()
        .find(goes_on)
        .expect("it goes on");
    let facts = plan.plan.proposal.as_ref().expect("facts");
    assert!(facts.kept_promises.contains(&stop.job_id));
    let meeting = |base: StoredPlan, before_work: bool| {
        let mut inputs = inputs();
        promised(&mut inputs, &stop, -10);
        let job = inputs.jobs.iter_mut().find(|job| job.id == stop.job_id);
        let job = job.expect("the job");
        job.promise.as_mut().expect("a promise").before_work = before_work;
        let job = job.clone();
        let stop = base.stop_of(&stop.job_id).expect("a stop").clone();
        inputs.base = Some((base, at));
        let site = inputs.sites[&stop.site_id].clone();
        stop_words(&inputs, &stop, &job, &site).meeting
    };
    assert!(!meeting(published(), true).is_empty());
    assert!(meeting(plan.clone(), true).is_empty());
    assert!(
        !meeting(plan, false).is_empty(),
        "after the work they meet still"
    );
}

/// Guards titles: a job that an earlier plan gave to a second crew is not split again by a plan that leaves it there.
#[test]
fn a_job_is_split_between_two_crews_once() {
    let (stop, mower, at) = mowing();
    let day = later(
        at,
        |day| {
            begun(&stop)(day);
            let (unit, mut tag) = tag(&mower, Severity::Unsafe);
            tag.create_time = at;
            day.tags.insert(unit, tag);
        },
        Disruptions::default(),
    );
    let mut plan = published();
    for rest in &mut Arc::make_mut(&mut plan.parts).stops {
        if rest.job_id == stop.job_id {
            rest.crew_id = format!("not {}", stop.crew_id);
        }
    }
    let title = |before: &StoredPlan| facts(&day, before, &plan, (&[], &[])).title;
    assert!(title(&published()).contains("split 1 job between two crews"));
    assert!(!title(&plan).contains("split"), "{}", title(&plan));
}

/// Guards customers from calls about what they know: that they called a visit off, or that the crew gave it up before them.
#[test]
fn nobody_is_phoned_about_a_job_that_is_over() {
    let (first, _, at) = mowing();
    let last = published()
        .parts
        .stops
        .iter()
        .max_by_key(|stop| stop.start_time)
        .cloned();
    let last = last.expect("a stop");
    let told = |edit: &dyn Fn(&mut DayInputs), stop: &plan_stop::Model| {
        let day = later(at, edit, Disruptions::default());
        let plan = proposals(&day).swap_remove(0);
        assert!(plan.stop_of(&stop.job_id).is_none());
        let found = changes(&day, &published(), &plan);
        assert!(!found.sites_to_phone.contains(&stop.site_id));
        let dropped = found.list.iter().find(|change| {
            change.kind == PlanChangeKind::Dropped && change.job_id.as_ref() == Some(&stop.job_id)
        });
        let all = [stop.site_id.clone()];
        let facts = facts(&day, &published(), &plan, (&found.list, &all));
        assert_eq!(facts.calls[0].text, "", "nothing to tell");
        assert!(!facts.title.contains("defer"), "{}", facts.title);
        dropped.expect("a change").text.clone()
    };
    let called_off = told(&|day| day.jobs.retain(|job| job.id != last.job_id), &last);
    assert!(called_off.contains("is called off"), "{called_off}");
    let given_up = told(
        &|day| {
            begun(&first)(day);
            let visit = day.visits.get_mut(&first.job_id).expect("the visit");
            visit.state = VisitState::NotDone;
            visit.finish_time = Some(at);
        },
        &first,
    );
    assert!(given_up.contains("was given up"), "{given_up}");
}

/// Guards who waits for a crew to be done: work under way that takes longer breaks a promise of after the work, though no start
/// moves.
#[test]
fn who_waits_for_the_end_of_an_overrun_is_phoned() {
    let (stop, _, at) = mowing();
    let waits = Contact {
        display_name: "the gardener".to_owned(),
        ..Contact::default()
    };
    let told = |extra_seconds: i64| {
        let disruptions = Disruptions {
            overruns: vec![Overrun {
                job_id: stop.job_id.clone(),
                extra_seconds,
            }],
            ..Disruptions::default()
        };
        let day = later(
            at,
            |day| {
                begun(&stop)(day);
                let job = day.jobs.iter_mut().find(|job| job.id == stop.job_id);
                job.expect("the job").promise = Some(Promise {
                    start_time: stop.finish_time - TimeDelta::minutes(30),
                    end_time: stop.finish_time + TimeDelta::minutes(5),
                    before_work: false,
                    contact: Some(waits.clone()),
                });
            },
            disruptions,
        );
        let plan = proposals(&day).swap_remove(0);
        let found = changes(&day, &published(), &plan);
        let told = facts(
            &day,
            &published(),
            &plan,
            (&found.list, &found.sites_to_phone),
        );
        let of_job = |change: &&PlanChange| change.job_id.as_ref() == Some(&stop.job_id);
        let change = found.list.iter().find(of_job).cloned();
        let call = told
            .calls
            .into_iter()
            .find(|call| call.site_id == stop.site_id);
        (change, call, told.broken_promises)
    };
    let (change, call, broken) = told(120);
    assert_eq!((change, call, broken.len()), (None, None, 0));

    let (change, call, broken) = told(1_200);
    let after = |minutes: i64| stop.finish_time + TimeDelta::minutes(minutes);
    let done = after(20).duration_round_up(TimeDelta::minutes(1));
    let late = format!(
        "done at {}, not by {} as promised",
        inputs().clock.words(done.expect("a minute")),
        inputs().clock.words(after(5))
    );
    assert_eq!(broken, [stop.job_id.as_str()]);
    let change = change.expect("a change");
    assert_eq!(
        (change.kind, change.shift_seconds),
        (PlanChangeKind::Time, 0)
    );
    assert!(change.text.contains(&late), "{change:?}");
    let call = call.expect("a call");
    assert_eq!((call.text, call.contact), (late, Some(waits.clone())));
}

/// Guards the reason of a job that a way on leaves although it would be worth it: it is not called too dear.
#[test]
fn what_could_be_done_is_not_called_too_dear() {
    let inputs = inputs();
    let day = DayProblem::new(&inputs).expect("a problem");
    let mut plan = searched(&day, 500);
    let (crew, at) = plan
        .crews
        .iter()
        .enumerate()
        .find_map(|(crew, days)| {
            let last = days.stops.len().checked_sub(1)?;
            Some((crew, last))
        })
        .expect("a stop");
    let job = plan.crews[crew].stops.remove(at).job().expect("a job");
    plan.unplanned.push(job);
    let found = reasons(&inputs, &day, &plan, &Cancel::new());
    let text = &found[0].0[0].text;
    assert!(
        text.contains("could go to") && text.contains("leaves it for another day"),
        "{text}"
    );
}

fn no_mowing(from: DateTime<Utc>, until: DateTime<Utc>) -> WorkStop {
    WorkStop {
        kinds: vec![TaskKind::Mow, TaskKind::SecondPass],
        start_time: from,
        end_time: until,
    }
}

/// Guards what holds of a day: told again it counts once, and it can be taken back, in part and together with something new.
#[test]
fn what_was_told_of_a_day_is_taken_back() {
    let dawn = inputs().clock.instant(6 * 3_600);
    let hours = |count: i64| TimeDelta::hours(count);
    let rain = no_mowing(dawn, dawn + hours(6));
    let told = Disruptions {
        absent_crews: vec!["crew-1".to_owned()],
        absent_workers: vec!["cy".to_owned(), "bo".to_owned()],
        work_stops: vec![rain.clone()],
        ..Disruptions::default()
    };
    let mut base = told_plan(&told);
    let next = |base: &StoredPlan, new: Disruptions| {
        let mut day = inputs();
        day.base = Some((base.clone(), dawn + hours(1)));
        day.take_stock(new);
        day.disruptions
    };
    let again = Disruptions {
        work_stops: vec![no_mowing(dawn + hours(1), rain.end_time)],
        ..Disruptions::default()
    };
    let known = next(&base, again);
    assert_eq!(known.work_stops, std::slice::from_ref(&rain));

    let more_rain = no_mowing(dawn + hours(8), dawn + hours(9));
    let back = Disruptions {
        present_crews: vec!["crew-1".to_owned()],
        present_workers: vec!["cy".to_owned()],
        resumed_kinds: vec![TaskKind::Mow],
        work_stops: vec![more_rain.clone()],
        ..Disruptions::default()
    };
    let left = next(&base, back.clone());
    assert_eq!(left.absent_crews, Vec::<String>::new());
    assert_eq!(left.absent_workers, ["bo"]);
    let second_pass = WorkStop {
        kinds: vec![TaskKind::SecondPass],
        ..rain
    };
    assert_eq!(left.work_stops, [second_pass, more_rain]);
    assert_eq!(left.present_crews, Vec::<String>::new(), "it holds already");

    // And the crew goes out again.
    let mut day = inputs();
    base = told_plan(&Disruptions {
        absent_crews: vec!["crew-1".to_owned()],
        ..Disruptions::default()
    });
    day.base = Some((base, dawn));
    day.take_stock(back);
    let day = DayProblem::new(&day).expect("a problem");
    assert!(day.crew_ids.contains(&"crew-1".to_owned()));
}

/// The published day as a way on that was told so.
fn told_plan(disruptions: &Disruptions) -> StoredPlan {
    let inputs = inputs();
    let day = DayProblem::new(&inputs).expect("a problem");
    let mut plan = told(&inputs, &day, &searched(&day, 500));
    let mut known = facts(&inputs, &plan, &plan, (&[], &[]));
    known.disruptions = disruptions.clone();
    plan.plan.proposal = Some(known);
    plan
}
