//! Goal: a proposal is published only while the day stands as it did when the proposal was made.

use std::collections::BTreeMap;

use forenoon_desk::drives::Drives;
use forenoon_proto::v1;
use forenoon_server::work;
use forenoon_server::work::plan::{
    Learning, LeaseLimits, Leases, PlanRequest, ReplanRequest, SearchLimits, SearchSettings,
    Searches, StorePlan, StoreProposals, make, plan_scope, propose, replan_scope,
};
use forenoon_server::work::{Call, Error, Outcome, run_command};
use forenoon_store::value::{Disruptions, PlanState};
use prost_types::FieldMask;
use tonic::Code;

use crate::actors::{Api, asking};
use crate::booking::{job_client, remove_job};
use crate::house::{House, on_both, reason};
use crate::mowing_yard::{ID, first_day, furnish, name};

/// Leaves a note on a job.
async fn leave_note(house: &House, job: &str, note: &str) {
    let request = v1::UpdateJobRequest {
        job: Some(v1::Job {
            name: name("jobs", job),
            note: note.into(),
            ..Default::default()
        }),
        update_mask: Some(FieldMask {
            paths: vec!["note".into()],
        }),
        request_id: String::new(),
    };
    let answer = job_client(house).update_job(asking(request)).await;
    answer.expect("changed");
}

/// Proposes ways on with the day, and gives the name of the first plan.
async fn proposed(api: &mut Api) -> String {
    let proposals = api.propose(first_day(), 100).await.expect("proposals");
    proposals[0].plan.clone().expect("its plan").name
}

/// Guards stale proposals: after a tag the proposal made before it is refused, and says what changed.
#[tokio::test]
async fn a_proposal_is_stale_after_a_tag() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name).await.expect("published");
        let proposals = api.propose(first_day(), 100).await.expect("proposals");
        let tag = api.tag("m-7").await.expect("tagged");
        let proposal = proposals[0].plan.clone().expect("its plan").name;
        let refused = api.accept(proposal).await.expect_err("stale");
        assert_eq!(
            reason(&refused),
            (Code::FailedPrecondition, "DAY_CHANGED".into())
        );
        assert!(refused.message().contains(&tag.name), "{refused:?}");
    })
    .await;
}

/// Guards a proposal that lay about while crews went by what they were told: what it moves would count as begun. One that is
/// accepted some minutes late is told of in time.
#[tokio::test]
async fn a_proposal_by_which_crews_should_be_gone_is_not_accepted() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        // What comes after a visit that is called off comes earlier.
        let busy = plan.crew_days.iter().find(|day| day.stops.len() > 1);
        let first = &busy.expect("a crew with stops").stops[0];
        let request = v1::CancelJobRequest {
            name: first.job.clone(),
            reason: "sold".into(),
            ..Default::default()
        };
        let cancelled = job_client(house).cancel_job(asking(request)).await;
        cancelled.expect("off");
        let stops = |plan: &v1::Plan| {
            let days = plan.crew_days.iter();
            let stops = days.flat_map(|day| day.stops.iter().map(|stop| (&day.crew, stop)));
            let told = stops.map(|(crew, stop)| {
                let start = stop.start_time.expect("a start");
                (stop.job.clone(), (crew.clone(), start))
            });
            told.collect::<Vec<_>>()
        };
        let before: BTreeMap<_, _> = stops(&plan).into_iter().collect();
        let proposals = api.propose(first_day(), 100).await.expect("proposals");
        let moved = proposals.iter().find_map(|one| {
            let plan = one.plan.as_ref()?;
            let moved = stops(plan).into_iter().filter(|(job, (crew, start))| {
                before
                    .get(job)
                    .is_none_or(|(known, at)| known != crew || start.seconds < at.seconds)
            });
            let first = moved.map(|(_, (_, start))| start);
            Some((plan.name.clone(), first.min_by_key(|at| at.seconds)?))
        });
        let (proposal, first) = moved.expect("they come earlier");
        for late in [3 * 3_600, 30 * 60 + 1] {
            house.set_clock_after(first, late);
            let refused = api.accept(proposal.clone()).await.expect_err("too late");
            assert_eq!(
                reason(&refused),
                (Code::FailedPrecondition, "DAY_CHANGED".into())
            );
            let told = refused.message().contains("should have gone by it");
            assert!(told, "{refused:?}");
        }
        house.set_clock_after(first, 20 * 60);
        api.accept(proposal).await.expect("told of in time");
    })
    .await;
}

/// Guards the same for jobs: a change of one that the proposal plans makes it stale, a change of another day's does not.
#[tokio::test]
async fn a_proposal_is_stale_after_a_change_of_its_jobs() {
    on_both(async |house| {
        let tomorrow = first_day().succ_opt().expect("a date");
        furnish(&house.database, &[first_day(), tomorrow]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name).await.expect("published");

        let proposal = proposed(&mut api).await;
        leave_note(house, "today-1", "dog").await;
        leave_note(house, "today-0", "gate code is new").await;
        let refused = api.accept(proposal.clone()).await.expect_err("stale");
        assert_eq!(
            reason(&refused),
            (Code::FailedPrecondition, "DAY_CHANGED".into())
        );
        let told = |job: &str| refused.message().contains(&name("jobs", job));
        assert!(told("today-0") && !told("today-1"), "{refused:?}");

        let refused = api.publish(proposal).await.expect_err("by whatever call");
        assert_eq!(
            reason(&refused),
            (Code::FailedPrecondition, "DAY_CHANGED".into())
        );

        let proposal = proposed(&mut api).await;
        leave_note(house, "today-1", "no dog").await;
        // Nor does another day's plan.
        let plan = api.plan(tomorrow, 300).await.expect("a plan");
        api.publish(plan.name).await.expect("published");
        api.accept(proposal).await.expect("accepted");
    })
    .await;
}

/// Guards the evening before: what crews report of today's work says nothing of a proposal for tomorrow.
#[tokio::test]
async fn a_proposal_for_tomorrow_outlasts_todays_reports() {
    on_both(async |house| {
        let tomorrow = first_day().succ_opt().expect("a date");
        furnish(&house.database, &[first_day(), tomorrow]).await;
        let mut api = Api::of(house);
        let today = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(today.name.clone()).await.expect("published");
        let plan = api.plan(tomorrow, 300).await.expect("a plan");
        api.publish(plan.name).await.expect("published");
        let out = today.crew_days.iter().find(|day| !day.stops.is_empty());
        let (crew, stop) = out.map(|day| (&day.crew, &day.stops[0])).expect("a stop");
        house.set_clock_after(stop.start_time.expect("a start"), 60);
        let next = api.propose(tomorrow, 100).await.expect("proposals");
        let own = proposed(&mut api).await;
        api.start(&stop.job, crew).await.expect("begun");
        let next = next[0].plan.clone().expect("its plan").name;
        api.accept(next).await.expect("accepted");
        // One for today was made by what stood planned; that it is so now is no news.
        api.accept(own).await.expect("the stop is as it was");
    })
    .await;
}

/// A branch's searches as a server has them.
struct Planning {
    searches: Searches,
    learning: Learning,
    leases: Leases,
}

impl Planning {
    fn of(house: &House) -> Self {
        Self {
            searches: Searches::new(SearchLimits::default()),
            learning: Learning::default(),
            leases: Leases::new(house.database.clone(), LeaseLimits::default()),
        }
    }
}

fn settings() -> SearchSettings {
    SearchSettings {
        seed: 1,
        iterations: Some(100),
        time: None,
    }
}

fn call(method: &'static str) -> Call {
    Call {
        actor: "dispatcher".into(),
        branch: ID.into(),
        method,
        retry: None,
    }
}

fn no_words<A>(_: &A) -> Vec<u8> {
    Vec::new()
}

/// Guards what happens while a proposal is searched for: it was read before, so that the proposal does not know of it.
#[tokio::test]
async fn a_proposal_is_stale_after_what_happened_while_it_was_searched_for() {
    on_both(async |house| {
        furnish(&house.database, &[first_day()]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name).await.expect("published");
        let planning = Planning::of(house);
        let scope = replan_scope(first_day());
        let held = planning.leases.hold(ID, &scope).await.expect("a lease");
        let now = "2027-04-20T11:45:00Z".parse().expect("an instant");
        let request = ReplanRequest {
            branch: ID.into(),
            day: first_day(),
            from: None,
            cause: String::new(),
            disruptions: Disruptions::default(),
            service_due_keeps_in: false,
            drives: Drives::default(),
            heat: None,
            settings: settings(),
            actor: "dispatcher".into(),
        };
        let means = (&planning.searches, &planning.learning, &None);
        let drafts = propose(&house.database, means, now, &request).await;
        leave_note(house, "today-0", "gate code is new").await;
        let command = StoreProposals {
            drafts: drafts.expect("proposals"),
            lease: held.lease().clone(),
        };
        let clock = move || now;
        let call = call("forenoon.v1.PlanService/ProposeReplan");
        let stored = run_command(&house.database, &clock, &call, &command, &no_words).await;
        let Ok(Outcome::Done(stored)) = stored else {
            panic!("{stored:?}");
        };
        let refused = api.accept(name("plans", &stored[0].plan.id)).await;
        let refused = refused.expect_err("stale");
        assert_eq!(
            reason(&refused),
            (Code::FailedPrecondition, "DAY_CHANGED".into())
        );
        assert!(refused.message().contains("today-0"), "{refused:?}");
    })
    .await;
}

/// Guards a first plan against a time zone that changes while it is searched for: its shifts would be hours off.
#[tokio::test]
async fn a_plan_of_another_time_zone_is_not_stored() {
    on_both(async |house| {
        furnish(&house.database, &[first_day()]).await;
        let planning = Planning::of(house);
        let scope = plan_scope(first_day());
        let held = planning.leases.hold(ID, &scope).await.expect("a lease");
        let read = house.database.read();
        let branch = work::branch::get(read, ID).await.expect("the branch");
        let now = "2027-04-20T11:45:00Z".parse().expect("an instant");
        let request = PlanRequest {
            branch: ID.into(),
            day: first_day(),
            service_due_keeps_in: false,
            drives: Drives::default(),
            heat: None,
            confidence_percent: 0,
            meetings: false,
            settings: settings(),
            actor: "dispatcher".into(),
        };
        let means = (&planning.searches, &planning.learning, &None);
        let draft = make(&house.database, means, now, &request).await;
        let update = v1::UpdateBranchRequest {
            branch: Some(v1::Branch {
                name: format!("branches/{ID}"),
                time_zone: "America/Denver".into(),
                ..Default::default()
            }),
            update_mask: Some(FieldMask {
                paths: vec!["time_zone".into()],
            }),
            request_id: String::new(),
        };
        let updated = house.branches().update_branch(update).await;
        updated.expect("no plan yet");
        let command = StorePlan {
            draft: draft.expect("a plan"),
            lease: held.lease().clone(),
            branch,
        };
        let clock = move || now;
        let call = call("forenoon.v1.PlanService/PlanDay");
        let stored = run_command(&house.database, &clock, &call, &command, &no_words).await;
        assert!(matches!(stored, Err(Error::StaleEtag { .. })), "{stored:?}");
        drop(held);
        assert!(Api::of(house).plan(first_day(), 100).await.is_ok());
    })
    .await;
}

/// Guards a job that a crew gives up past midnight: it is of the day that is planned so late, and may be done on the next.
#[tokio::test]
async fn a_job_given_up_past_midnight_is_planned_for_the_next_day() {
    on_both(async |house| {
        let tomorrow = first_day().succ_opt().expect("a date");
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        let stops = plan.crew_days.iter().flat_map(|crew| &crew.stops);
        let last = stops.max_by_key(|stop| stop.start_time.map(|at| at.seconds));
        let job = last.expect("a stop").job.clone();
        let with_job = |crew: &&v1::CrewDay| crew.stops.iter().any(|stop| stop.job == job);
        let crew = plan
            .crew_days
            .iter()
            .find(with_job)
            .expect("a crew")
            .crew
            .clone();
        api.publish(plan.name.clone()).await.expect("published");
        // Half past midnight in America/Chicago.
        house.set_clock("2027-04-21T05:30:00Z");
        let not_done = v1::ReportNotDoneRequest {
            job: job.clone(),
            crew,
            reason: "too dark".into(),
            ..Default::default()
        };
        let answer = api.visits.report_not_done(asking(not_done)).await;
        answer.expect("heard");
        let next = api.plan(tomorrow, 300).await.expect("a plan");
        let planned = |plan: &v1::Plan| {
            let mut stops = plan.crew_days.iter().flat_map(|crew| &crew.stops);
            stops.any(|stop| stop.job == job)
        };
        assert!(planned(&next), "{job} waits for nothing");
        for proposal in api.propose(first_day(), 100).await.expect("proposals") {
            let plan = proposal.plan.expect("its plan");
            assert!(!planned(&plan), "{job} was given up that day");
        }
    })
    .await;
}

/// Guards what a draft names and nothing holds for it: a job deleted since keeps the draft from being published, and is
/// told; the day planned again is published.
#[tokio::test]
async fn a_draft_whose_job_is_gone_is_not_published() {
    on_both(async |house| {
        furnish(&house.database, &[first_day()]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        let job = name("jobs", "today-0");
        remove_job(house, &job, "").await.expect("deleted");
        let counts = house.counts().await;
        let refused = api.publish(plan.name).await.expect_err("a job is gone");
        assert_eq!(
            reason(&refused),
            (Code::FailedPrecondition, "DAY_CHANGED".into())
        );
        assert!(refused.message().contains(&job), "{refused:?}");
        assert_eq!(house.counts().await, counts);
        let again = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(again.name).await.expect("published");
        let held = remove_job(house, &name("jobs", "weekly-0"), "").await;
        assert_eq!(
            reason(&held.expect_err("planned")),
            (Code::FailedPrecondition, "STILL_REFERRED_TO".into())
        );
    })
    .await;
}

/// Guards tidying up: a job that a draft only speaks of keeps nobody from publishing it once the job is gone.
#[tokio::test]
async fn a_draft_that_left_a_job_out_is_published_without_it() {
    on_both(async |house| {
        furnish(&house.database, &[first_day()]).await;
        let mut api = Api::of(house);
        house.set_clock("2027-04-21T11:00:00Z");
        let tomorrow = first_day().succ_opt().expect("a date");
        let job = name("jobs", "today-0");
        let draft = api.plan(tomorrow, 300).await.expect("a plan");
        let told = |plan: &v1::Plan| plan.unplanned_jobs.iter().any(|left| left.job == job);
        assert!(told(&draft), "its last day is over");
        remove_job(house, &job, "").await.expect("deleted");
        api.publish(draft.name.clone()).await.expect("published");
        let request = v1::GetPlanRequest { name: draft.name };
        let plan = api.plans.get_plan(asking(request)).await.expect("a plan");
        let plan = plan.into_inner().plan.expect("a plan");
        assert!(!told(&plan), "{plan:?}");
    })
    .await;
}

/// Guards a draft's way through the database: what is read of it before and after it is published is the same.
#[tokio::test]
async fn a_draft_is_read_alike_before_and_after_it_becomes_rows() {
    on_both(async |house| {
        furnish(&house.database, &[first_day()]).await;
        let mut api = Api::of(house);
        let drafted = api.plan(first_day(), 300).await.expect("a plan");
        let stored = async |plan: &v1::Plan| {
            let id = plan.name.rsplit('/').next().unwrap_or_default();
            let read = house.database.read();
            work::plan::load(read, ID, id).await.expect("the plan")
        };
        let before = stored(&drafted).await;
        assert!(!before.parts.stops.is_empty());
        api.publish(drafted.name.clone()).await.expect("published");
        let after = stored(&drafted).await;
        assert_eq!(after.plan.state, PlanState::Published);
        assert_eq!(after.parts, before.parts);
    })
    .await;
}
