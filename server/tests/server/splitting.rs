//! Goal: a job whose mower broke is done in part today, and the rest becomes a job of its own.
//! Method: a yard whose lawns are trimmed by hand before they are mown; every mower is tagged out in the morning.

use chrono::NaiveDate;
use forenoon_proto::v1;
use forenoon_store::entity::{branch, job};
use forenoon_store::sea_orm::{
    ActiveModelTrait, DatabaseTransaction, EntityTrait, IntoActiveModel, Set,
};
use forenoon_store::value::{JobState, Task, TaskKind};
use forenoon_store::{StoreError, Write};

use crate::actors::Api;
use crate::house::{House, on_both};
use crate::mowing_yard::{MOWERS, first_day, furnish};

const ID: &str = "larkmoor";

/// Gives every job a first task that needs no tool, and a price.
struct TrimFirst;

impl Write for TrimFirst {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        for mut job in job::Entity::find().all(transaction).await? {
            job.tasks.0.insert(
                0,
                Task {
                    task_id: "trim".into(),
                    kind: TaskKind::Trim,
                    area_id: Some("lawn".into()),
                    capabilities: Vec::new(),
                    passes: 1,
                    agreed_minutes: Some(20.0),
                    composed: false,
                },
            );
            let tasks = job.tasks.clone();
            let mut row = job.into_active_model();
            row.tasks = Set(tasks);
            row.price_minor = Set(Some(9_000));
            row.update(transaction).await?;
        }
        Ok(())
    }
}

async fn stored(house: &House, id: &str) -> Option<job::Model> {
    let key = (ID.to_owned(), id.to_owned());
    job::Entity::find_by_id(key)
        .one(house.database.read())
        .await
        .expect("read")
}

fn tasks(job: &job::Model) -> Vec<&str> {
    job.tasks
        .0
        .iter()
        .map(|task| task.task_id.as_str())
        .collect()
}

fn is_split(change: &v1::PlanChange) -> bool {
    change.kind() == v1::PlanChangeKind::Split
}

/// Plans and publishes the day, tags the mowers out in its course, and answers with the ways to go on.
async fn without_mowers(house: &House, api: &mut Api) -> Vec<v1::Proposal> {
    let plan = api.plan(first_day(), 300).await.expect("a plan");
    api.publish(plan.name.clone()).await.expect("published");
    house.set_clock(&format!("{}T13:10:00Z", first_day()));
    for mower in MOWERS {
        api.tag(mower).await.expect("tagged");
    }
    api.propose(first_day(), 100).await.expect("proposals")
}

/// The one of them that does a job in part.
async fn split_proposed(house: &House, api: &mut Api) -> v1::Proposal {
    let proposals = without_mowers(house, api).await;
    proposals
        .into_iter()
        .find(|one| one.changes.iter().any(is_split))
        .expect("a proposal that splits")
}

/// Guards the split: the proposal says so, the customers are told what waits; accepting leaves today's part in the job and
/// in the plan, and makes a job of the rest with clearing up in both, later days, and no second price. Not accepting makes
/// nothing.
#[tokio::test]
async fn a_job_is_done_in_part_and_the_rest_is_a_job_of_its_own() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        house.database.write(ID, &TrimFirst).await.expect("written");
        let mut api = Api::of(house);
        let split = split_proposed(house, &mut api).await;
        assert!(split.title.contains("do a part of"), "{}", split.title);
        let change = split.changes.iter().find(|one| is_split(one)).expect("it");
        assert!(change.text.contains("mowing waits"), "{}", change.text);
        let waits = |call: &v1::CustomerCall| call.text.contains("mowing is not done today");
        assert!(split.calls.iter().any(waits), "{:?}", split.calls);
        let id = change.job.rsplit('/').next().expect("an id").to_owned();
        let rest = format!("{id}-rest");
        assert_eq!(stored(house, &rest).await, None);

        let accepted = api
            .accept(split.plan.as_ref().expect("its plan").name.clone())
            .await
            .expect("accepted");
        let stop = accepted
            .crew_days
            .iter()
            .flat_map(|crew| &crew.stops)
            .find(|stop| stop.job == change.job)
            .expect("its stop");
        let kinds: Vec<v1::TaskKind> = stop.tasks.iter().map(v1::PlannedTask::kind).collect();
        assert_eq!(kinds, [v1::TaskKind::Trim, v1::TaskKind::BlowOff]);
        let today = stored(house, &id).await.expect("the job");
        assert_eq!(tasks(&today), ["trim", "blow"]);
        assert_eq!(today.price_minor, Some(9_000));
        let rest = stored(house, &rest).await.expect("the rest");
        assert_eq!(tasks(&rest), ["mow", "blow"]);
        assert_eq!(rest.price_minor, Some(0));
        assert_eq!(rest.state, JobState::Open);
        assert_eq!(rest.site_id, today.site_id);
        let tomorrow = NaiveDate::from_ymd_opt(2027, 4, 21).expect("a date");
        assert_eq!(rest.first_day, tomorrow);
        assert!(rest.note.contains(&id), "{}", rest.note);
        // What came of it is told to those who follow the branch.
        let events = house.events().await;
        let told = |kind: &str, job: &str| {
            events
                .iter()
                .any(|event| event.kind == kind && event.subject.ends_with(&format!("/jobs/{job}")))
        };
        assert!(told("job.created", &rest.id) && told("job.changed", &id));
    })
    .await;
}

/// Guards what is not split: a lawn that is only mown and blown off waits as a whole, for clearing up alone is no visit.
#[tokio::test]
async fn a_job_with_nothing_else_to_do_is_not_split() {
    let house = House::on_sqlite().await;
    furnish(&house.database, &[]).await;
    let mut api = Api::of(&house);
    let proposals = without_mowers(&house, &mut api).await;
    assert!(!proposals.is_empty());
    assert!(
        proposals
            .iter()
            .all(|one| !one.changes.iter().any(is_split))
    );
}

/// As `TrimFirst` leaves the jobs, with no price agreed, at sites that nobody has worked on, in a branch with a minimum charge.
struct NewCustomers;

impl Write for NewCustomers {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        for job in job::Entity::find().all(transaction).await? {
            let mut condition = job.condition;
            condition.first_service = true;
            let mut row = job.into_active_model();
            row.condition = Set(condition);
            row.price_minor = Set(None);
            row.update(transaction).await?;
        }
        for branch in branch::Entity::find().all(transaction).await? {
            let mut price = branch.price;
            price.minimum_charge_minor = Some(4_500);
            let mut row = branch.into_active_model();
            row.price = Set(price);
            row.update(transaction).await?;
        }
        Ok(())
    }
}

/// Guards what a dispatcher and the next crew go by: with no price agreed the minimum charge falls twice, which the change
/// says; and the lawn that was trimmed today is no first service tomorrow, as it is today.
#[tokio::test]
async fn a_split_job_tells_of_its_second_price_and_of_what_is_begun() {
    let house = House::on_sqlite().await;
    furnish(&house.database, &[]).await;
    house.database.write(ID, &TrimFirst).await.expect("written");
    house
        .database
        .write(ID, &NewCustomers)
        .await
        .expect("written");
    let mut api = Api::of(&house);
    let split = split_proposed(&house, &mut api).await;
    let change = split.changes.iter().find(|one| is_split(one)).expect("it");
    assert!(
        change.text.contains("minimum charge falls on both"),
        "{}",
        change.text
    );
    let plan = split.plan.as_ref().expect("its plan").name.clone();
    api.accept(plan).await.expect("accepted");
    let id = change.job.rsplit('/').next().expect("an id");
    let today = stored(&house, id).await.expect("the job");
    let rest = stored(&house, &format!("{id}-rest"))
        .await
        .expect("the rest");
    assert!(today.condition.first_service && !rest.condition.first_service);
    assert_eq!((today.price_minor, rest.price_minor), (None, None));
}
