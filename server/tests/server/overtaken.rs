//! Goal: a draft made from scratch is published only while the day is as it was when it was read for, and drafts that can
//! never be published do not pile up.

use chrono::Days;
use forenoon_proto::google::r#type::TimeOfDay;
use forenoon_proto::v1;
use forenoon_server::work::plan::sweep;
use forenoon_store::entity::{plan, plan_draft};
use forenoon_store::sea_orm::sea_query::Expr;
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, PaginatorTrait, QueryFilter,
};
use forenoon_store::{StoreError, Write};
use prost_types::FieldMask;
use tonic::{Code, Status};

use crate::actors::{Api, asking, date};
use crate::booking::job_client;
use crate::house::{House, on_both, reason};
use crate::mowing_yard::{first_day, furnish, name};
use crate::yard::{crew_client, unit_client};

fn mask(path: &str) -> FieldMask {
    FieldMask {
        paths: vec![path.into()],
    }
}

async fn change_job(house: &House, job: v1::Job, path: &str) {
    let request = v1::UpdateJobRequest {
        job: Some(job),
        update_mask: Some(mask(path)),
        request_id: String::new(),
    };
    let answer = job_client(house).update_job(asking(request)).await;
    answer.expect("changed");
}

async fn change_unit(house: &House, unit: v1::Unit, path: &str) {
    let request = v1::UpdateUnitRequest {
        unit: Some(unit),
        update_mask: Some(mask(path)),
        request_id: String::new(),
    };
    let answer = unit_client(house).update_unit(asking(request)).await;
    answer.expect("changed");
}

/// Puts a job off by a week.
async fn put_off(house: &House, job: &str) {
    let later = date(first_day() + Days::new(7));
    let job = v1::Job {
        name: job.into(),
        windows: vec![v1::VisitWindow {
            first_day: Some(later),
            last_day: Some(later),
            times: vec![],
        }],
        ..Default::default()
    };
    change_job(house, job, "windows").await;
}

async fn get(api: &mut Api, plan: &str) -> v1::Plan {
    let request = v1::GetPlanRequest { name: plan.into() };
    let answer = api.plans.get_plan(asking(request)).await;
    answer.expect("the plan").into_inner().plan.expect("a plan")
}

#[track_caller]
fn refused_for(refused: &Status, code: &str, words: &str) {
    let expected = (Code::FailedPrecondition, code.to_owned());
    assert_eq!(reason(refused), expected, "{refused:?}");
    assert!(refused.message().contains(words), "{refused:?}");
}

async fn documents(house: &House) -> u64 {
    let all = plan_draft::Entity::find();
    all.count(house.database.read()).await.expect("a count")
}

/// Takes from all plans what they were read from, as servers of the version before leave it.
struct Forget;

impl Write for Forget {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        plan::Entity::update_many()
            .col_expr(plan::Column::Proposal, Expr::cust("NULL"))
            .filter(plan::Column::State.eq("draft"))
            .exec(transaction)
            .await?;
        Ok(())
    }
}

/// Guards two dispatchers who plan the same day: who publishes second is told, and finds the plan that stands.
#[tokio::test]
async fn a_draft_is_not_published_over_a_plan_it_does_not_know() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let one = api.plan(first_day(), 300).await.expect("a plan");
        let other = api.plan(first_day(), 200).await.expect("a plan");
        assert_eq!(documents(house).await, 2);
        api.publish(one.name.clone()).await.expect("published");
        let counts = house.counts().await;
        let refused = api.publish(other.name.clone()).await.expect_err("unseen");
        refused_for(&refused, "BASE_REPLACED", &one.name);
        assert_eq!(house.counts().await, counts);
        // It went with the publishing of the first, and can be read still.
        assert_eq!(documents(house).await, 0);
        let gone = get(&mut api, &other.name).await;
        assert_eq!(gone.state(), v1::PlanState::Discarded);
        assert!(gone.crew_days.is_empty());
        assert_eq!(gone.totals, other.totals);
        // Who has seen what is published may put another in its place, while nobody is out.
        let again = api.plan(first_day(), 200).await.expect("a plan");
        api.publish(again.name.clone()).await.expect("published");
        let replaced = get(&mut api, &one.name).await;
        assert_eq!(replaced.state(), v1::PlanState::Replaced);
    })
    .await;
}

/// Guards two days that are planned side by side: the first that is published has the job.
#[tokio::test]
async fn a_draft_does_not_take_a_job_from_another_days_plan() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let one = api.plan(first_day(), 300).await.expect("a plan");
        let other = api
            .plan(first_day() + Days::new(1), 300)
            .await
            .expect("a plan");
        api.publish(one.name.clone()).await.expect("published");
        let counts = house.counts().await;
        let refused = api.publish(other.name.clone()).await;
        let refused = refused.expect_err("it is Tuesday's");
        refused_for(&refused, "DAY_CHANGED", &one.name);
        assert_eq!(house.counts().await, counts);
        // And not once a crew is at it.
        let out = one.crew_days.iter().find(|day| !day.stops.is_empty());
        let out = out.expect("a crew with stops");
        house.set_clock_after(out.stops[0].start_time.expect("a start"), 60);
        let begun = &out.stops[0].job;
        api.start(begun, &out.crew).await.expect("begun");
        let refused = api.publish(other.name).await.expect_err("it is begun");
        let words = format!("{begun}: a crew is at it");
        assert!(refused.message().contains(&words), "{refused:?}");
    })
    .await;
}

/// Guards the drafts of servers that did not keep what they were read from.
#[tokio::test]
async fn an_older_draft_is_published_where_nothing_was_since() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let one = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(one.name.clone()).await.expect("published");
        let other = api.plan(first_day(), 200).await.expect("a plan");
        let forgot = house.database.write("", &Forget).await;
        forgot.expect("written");
        api.publish(other.name).await.expect("published");
    })
    .await;
}

/// Guards a day under way: it is neither planned nor published from scratch, but gone on with.
#[tokio::test]
async fn a_running_day_is_not_planned_from_scratch() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        let left_over = api.plan(first_day(), 200).await.expect("a plan");
        let out = plan.crew_days.iter().find(|day| !day.stops.is_empty());
        let out = out.expect("a crew with stops");
        // Before anybody was to leave, one does.
        house.set_clock("2027-04-20T11:50:00Z");
        let request = v1::DepartForJobRequest {
            job: out.stops[0].job.clone(),
            crew: out.crew.clone(),
            ..Default::default()
        };
        let departed = api.visits.depart_for_job(asking(request)).await;
        departed.expect("heard");
        let refused = api
            .publish(left_over.name)
            .await
            .expect_err("crews are out");
        refused_for(&refused, "DAY_CHANGED", "has set out");
        let refused = api.plan(first_day(), 200).await.expect_err("crews are out");
        refused_for(&refused, "DAY_UNDER_WAY", &plan.name);
        let proposals = api.propose(first_day(), 100).await.expect("proposals");
        let best = proposals[0].plan.clone().expect("its plan");
        api.accept(best.name).await.expect("accepted");
    })
    .await;
}

/// Guards the same where nobody reports: once the first crew should have left, the day is gone on with.
#[tokio::test]
async fn a_day_whose_first_crew_should_be_out_is_not_planned_from_scratch() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        let departs = plan.crew_days.iter().filter_map(|day| day.depart_time);
        let first = departs.min_by_key(|at| at.seconds).expect("a departure");
        house.set_clock_after(first, -1);
        api.plan(first_day(), 200).await.expect("nobody is out");
        house.set_clock_after(first, 0);
        let refused = api.plan(first_day(), 200).await.expect_err("one is out");
        refused_for(&refused, "DAY_UNDER_WAY", "was to leave");
    })
    .await;
}

/// Guards a draft that lay about while the crews stood in the yard: work by it would count as begun. What is over is kept for
/// the record.
#[tokio::test]
async fn a_draft_by_which_crews_should_be_gone_is_not_published() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        let departs = plan.crew_days.iter().filter_map(|day| day.depart_time);
        let first = departs.min_by_key(|at| at.seconds).expect("a departure");
        house.set_clock_after(first, 30 * 60 + 1);
        let refused = api.publish(plan.name.clone()).await.expect_err("too late");
        refused_for(&refused, "DAY_CHANGED", "was to leave by it");
        house.set_clock_after(first, 30 * 60);
        api.publish(plan.name).await.expect("in the yard still");
    })
    .await;
}

/// Guards the same for a day that is over.
#[tokio::test]
async fn a_day_that_is_over_is_published_for_the_record() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        house.set_clock("2027-04-22T15:00:00Z");
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name).await.expect("published");
    })
    .await;
}

/// Guards a draft against what changed since it was read for, in what it goes by; what it does not go by does not matter.
#[tokio::test]
async fn a_draft_is_stale_after_a_change_of_what_it_plans_with() {
    on_both(async |house| {
        let tomorrow = first_day() + Days::new(1);
        furnish(&house.database, &[first_day(), tomorrow]).await;
        let mut api = Api::of(house);
        let draft = api.plan(first_day(), 300).await.expect("a plan");
        let out = draft.crew_days.iter().find(|day| !day.stops.is_empty());
        let out = out.expect("a crew with stops").clone();
        let job = out.stops[0].job.clone();
        let noted = v1::Job {
            name: job.clone(),
            note: "dog".into(),
            ..Default::default()
        };
        change_job(house, noted, "note").await;
        put_off(house, &name("jobs", "today-1")).await;
        api.publish(draft.name).await.expect("it is as it was");

        let draft = api.plan(first_day(), 300).await.expect("a plan");
        put_off(house, &job).await;
        let refused = api.publish(draft.name).await.expect_err("next week");
        refused_for(&refused, "DAY_CHANGED", &job);

        let draft = api.plan(first_day(), 300).await.expect("a plan");
        let shorter = v1::Crew {
            name: out.crew.clone(),
            shifts: vec![v1::Shift {
                day: forenoon_proto::google::r#type::DayOfWeek::Tuesday.into(),
                start_time: Some(TimeOfDay {
                    hours: 9,
                    ..Default::default()
                }),
                end_time: Some(TimeOfDay {
                    hours: 12,
                    ..Default::default()
                }),
            }],
            ..Default::default()
        };
        let request = v1::UpdateCrewRequest {
            crew: Some(shorter),
            update_mask: Some(mask("shifts")),
            request_id: String::new(),
        };
        let changed = crew_client(house).update_crew(asking(request)).await;
        changed.expect("changed");
        let refused = api.publish(draft.name).await.expect_err("half a day");
        refused_for(&refused, "DAY_CHANGED", &out.crew);
    })
    .await;
}

/// Guards a draft against a unit that is used no more, and against work that is done by now.
#[tokio::test]
async fn a_draft_with_a_retired_unit_is_not_published() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let draft = api.plan(first_day(), 300).await.expect("a plan");
        let mower = draft
            .crew_days
            .iter()
            .flat_map(|day| &day.load_out)
            .find(|unit| unit.contains("/units/m-"));
        let mower = mower.expect("a mower").clone();
        let retired = v1::Unit {
            name: mower.clone(),
            retired: true,
            ..Default::default()
        };
        change_unit(house, retired, "retired").await;
        let refused = api.publish(draft.name).await.expect_err("it is retired");
        refused_for(&refused, "DAY_CHANGED", &mower);
        assert!(refused.message().contains("retired"), "{refused:?}");
    })
    .await;
}

/// Guards the database against drafts that were thrown away by a call: their documents go like those of all others, and the
/// answer is the last that tells their stops.
#[tokio::test]
async fn a_draft_that_is_discarded_leaves_no_document() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let draft = api.plan(first_day(), 300).await.expect("a plan");
        assert_eq!(documents(house).await, 1);
        let request = v1::DiscardPlanRequest {
            name: draft.name.clone(),
            ..Default::default()
        };
        let answer = api.plans.discard_plan(asking(request)).await;
        let told = answer.expect("discarded").into_inner().plan;
        let told = told.expect("a plan");
        assert_eq!(told.state(), v1::PlanState::Discarded);
        assert_eq!(told.crew_days, draft.crew_days);
        assert_eq!(documents(house).await, 0);
        let gone = get(&mut api, &draft.name).await;
        assert_eq!((gone.state(), &gone.etag), (told.state(), &told.etag));
        assert!(gone.crew_days.is_empty());
        assert_eq!(gone.totals, draft.totals);
        let last = house.events().await.pop().expect("an event");
        assert_eq!(last.kind, "plan.discarded");
        let again = api.discard(draft.name).await.expect_err("no draft");
        refused_for(&again, "NOT_A_DRAFT", "only a draft");
    })
    .await;
}

/// Guards the database against drafts of days that are over: they go, and are read still.
#[tokio::test]
async fn drafts_of_days_that_are_over_are_thrown_away() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let old = api.plan(first_day(), 300).await.expect("a plan");
        let next_week = first_day() + Days::new(7);
        api.plan(next_week, 300).await.expect("a plan");
        let at = |time: &str| format!("2027-04-{time}:00Z").parse().expect("an instant");
        let swept = sweep(&house.database, at("22T08:00")).await;
        assert_eq!(swept.expect("swept"), 0, "it may be gone on with");
        let swept = sweep(&house.database, at("23T08:00")).await;
        assert_eq!(swept.expect("swept"), 1);
        assert_eq!(documents(house).await, 1);
        let gone = get(&mut api, &old.name).await;
        assert_eq!(gone.state(), v1::PlanState::Discarded);
        let refused = api.publish(old.name).await.expect_err("no draft");
        refused_for(&refused, "NOT_A_DRAFT", "only a draft");
        let last = house.events().await.pop().expect("an event");
        assert_eq!(last.kind, "plan.discarded");
    })
    .await;
}
