//! Goal: a plan tells what one change would bring, by searching again.
//! Method: a yard with one mower for three crews and little time, where what more would bring is plain.

use forenoon_proto::v1;
use forenoon_proto::v1::try_change_request::Change;
use forenoon_store::entity::{job, unit};
use forenoon_store::sea_orm::{
    ActiveModelTrait, ColumnTrait, DatabaseTransaction, EntityTrait, IntoActiveModel, QueryFilter,
    Set,
};
use forenoon_store::value::DayTimes;
use forenoon_store::{StoreError, Write};

use crate::actors::{Api, asking};
use crate::house::{House, faults, on_both};
use crate::mowing_yard::{ID, MOWERS, first_day, furnish, name};

/// Leaves the yard one mower, and three hours for all lawns.
struct OneMower;

impl Write for OneMower {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        let rest = unit::Entity::find()
            .filter(unit::Column::Id.is_in(MOWERS.into_iter().skip(1)))
            .all(transaction)
            .await?;
        for unit in rest {
            let mut row = unit.into_active_model();
            row.retired = Set(true);
            row.update(transaction).await?;
        }
        for job in job::Entity::find().all(transaction).await? {
            let mut windows = job.windows.clone();
            windows.0[0].times = vec![DayTimes {
                start_second_of_day: 7 * 3_600,
                end_second_of_day: 10 * 3_600,
            }];
            let mut row = job.into_active_model();
            row.windows = Set(windows);
            row.update(transaction).await?;
        }
        Ok(())
    }
}

async fn planned(house: &House, api: &mut Api) -> v1::Plan {
    furnish(&house.database, &[]).await;
    house.database.write(ID, &OneMower).await.expect("written");
    api.plan(first_day(), 2_000).await.expect("a plan")
}

async fn tried(
    api: &mut Api,
    plan: &v1::Plan,
    change: Option<Change>,
) -> Result<v1::TryChangeResponse, tonic::Status> {
    let request = v1::TryChangeRequest {
        name: plan.name.clone(),
        change,
        iterations: 1_000,
        seed: 3,
    };
    let answer = api.plans.try_change(asking(request)).await?;
    Ok(answer.into_inner())
}

/// Guards the answers where they are plain: a second mower gets lawns mown that one has no time for, a job less costs no
/// more, and the same question has the same answer.
#[tokio::test]
async fn one_more_mower_brings_lawns() {
    on_both(async |house| {
        let mut api = Api::of(house);
        let plan = planned(house, &mut api).await;
        assert!(!plan.unplanned_jobs.is_empty(), "one mower does it all");
        let more = Some(Change::OneMoreLike(name("units", MOWERS[0])));
        let answer = tried(&mut api, &plan, more.clone()).await.expect("tried");
        assert_eq!(answer.plan, plan.name);
        assert!(
            answer.cost_points_with < answer.cost_points_without,
            "{answer:?}"
        );
        assert!(
            answer.jobs_gained.len() > answer.jobs_lost.len(),
            "{answer:?}"
        );
        assert_eq!(answer, tried(&mut api, &plan, more).await.expect("tried"));

        let job = plan.crew_days.iter().find_map(|day| day.stops.first());
        let job = job.expect("a stop").job.clone();
        let less = tried(&mut api, &plan, Some(Change::WithoutJob(job.clone()))).await;
        let less = less.expect("tried");
        assert!(
            less.cost_points_with <= less.cost_points_without,
            "{less:?}"
        );
        assert!(less.jobs_lost.contains(&job), "{less:?}");
    })
    .await;
}

#[tokio::test]
async fn a_change_that_is_none_is_refused_by_field() {
    let house = House::on_sqlite().await;
    let mut api = Api::of(&house);
    let plan = planned(&house, &mut api).await;
    let longer = |crew: &str, seconds| {
        Some(Change::LongerShift(v1::LongerShift {
            crew: crew.to_owned(),
            by: Some(prost_types::Duration { seconds, nanos: 0 }),
        }))
    };
    let ash = name("crews", "ash");
    for (change, field) in [
        (None, "change"),
        (Some(Change::WithoutJob(String::new())), "without_job"),
        (
            Some(Change::WithoutJob(name("jobs", "none"))),
            "without_job",
        ),
        (
            Some(Change::OneMoreLike(name("units", "truck-ash"))),
            "one_more_like",
        ),
        (longer(&ash, 0), "longer_shift.by"),
        (longer(&ash, 100_000), "longer_shift.by"),
        (longer("branches/other/crews/ash", 600), "longer_shift.crew"),
    ] {
        let refused = tried(&mut api, &plan, change.clone()).await;
        let refused = refused.expect_err("refused");
        let fields: Vec<String> = faults(&refused).into_iter().map(|one| one.0).collect();
        assert_eq!(fields, [field], "{change:?}");
    }
    let answer = tried(&mut api, &plan, longer(&ash, 3_600))
        .await
        .expect("tried");
    assert!(
        answer.cost_points_with <= answer.cost_points_without,
        "{answer:?}"
    );
}
