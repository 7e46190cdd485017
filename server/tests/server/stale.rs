//! Goal: a proposal is published only while the day stands as it did when the proposal was made.

use forenoon_proto::v1;
use forenoon_server::work;
use forenoon_store::value::PlanState;
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
        let refused = api.accept(proposal).await.expect_err("stale");
        assert_eq!(
            reason(&refused),
            (Code::FailedPrecondition, "DAY_CHANGED".into())
        );
        let told = |job: &str| refused.message().contains(&name("jobs", job));
        assert!(told("today-0") && !told("today-1"), "{refused:?}");

        let proposal = proposed(&mut api).await;
        leave_note(house, "today-1", "no dog").await;
        api.accept(proposal).await.expect("accepted");
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

/// Guards a draft's way through the database: what is read of it before and after it is published is the same, and so is
/// what is read of one that is thrown away.
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

        let second = api.plan(first_day(), 300).await.expect("a plan");
        let before = stored(&second).await;
        api.discard(second.name.clone()).await.expect("discarded");
        let after = stored(&second).await;
        assert_eq!(after.plan.state, PlanState::Discarded);
        assert_eq!(after.parts, before.parts);
    })
    .await;
}
