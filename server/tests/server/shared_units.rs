//! Goal: one machine serves two crews of a day, one after the other, in plans, rows and re-plans.
//! Method: a yard with one mower left, a lawn for one crew in the morning and one for another after noon.

use forenoon_proto::v1;
use forenoon_store::entity::{job, plan_load_out, unit, worker};
use forenoon_store::sea_orm::{
    ActiveModelTrait, ColumnTrait, DatabaseTransaction, EntityTrait, IntoActiveModel, QueryFilter,
    QueryOrder, Set,
};
use forenoon_store::value::{DayTimes, JobState, Words};
use forenoon_store::{StoreError, Write};

use crate::actors::{Api, asking, date};
use crate::house::{House, on_both};
use crate::mowing_yard::{BRANCH, ID, first_day, furnish, name};

const MOWER: &str = "m-1";

/// Leaves the yard one mower and two lawns, each for one crew and one time of day.
struct OneMower;

impl Write for OneMower {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        for unit in unit::Entity::find()
            .filter(unit::Column::Id.starts_with("m-"))
            .filter(unit::Column::Id.ne(MOWER))
            .all(transaction)
            .await?
        {
            let mut row = unit.into_active_model();
            row.retired = Set(true);
            row.update(transaction).await?;
        }
        for crew in ["ash", "birch"] {
            let key = (ID.to_owned(), format!("lead-{crew}"));
            let lead = worker::Entity::find_by_id(key).one(transaction).await?;
            let mut row = lead.expect("the lead").into_active_model();
            row.skills = Set(Words(vec![crew.to_owned()]));
            row.update(transaction).await?;
        }
        for job in job::Entity::find().all(transaction).await? {
            let wanted = match job.id.as_str() {
                "weekly-0" => Some(("ash", [7, 11])),
                "weekly-1" => Some(("birch", [12, 15])),
                _ => None,
            };
            let mut windows = job.windows.clone();
            let mut row = job.into_active_model();
            match wanted {
                None => row.state = Set(JobState::Cancelled),
                Some((crew, [open, close])) => {
                    windows.0[0].times = vec![DayTimes {
                        start_second_of_day: open * 3_600,
                        end_second_of_day: close * 3_600,
                    }];
                    row.windows = Set(windows);
                    row.skills = Set(Words(vec![crew.to_owned()]));
                }
            }
            row.update(transaction).await?;
        }
        Ok(())
    }
}

/// The published day on which the mower changes hands, and when.
async fn published(house: &House, api: &mut Api) -> (v1::Plan, prost_types::Timestamp) {
    furnish(&house.database, &[]).await;
    house.database.write(ID, &OneMower).await.expect("written");
    let plan = api.plan(first_day(), 2_000).await.expect("a plan");
    assert!(plan.unplanned_jobs.is_empty(), "{plan:?}");
    api.publish(plan.name.clone()).await.expect("published");
    let taken = shared(&plan, "birch").from_time.expect("a time");
    (plan, taken)
}

/// What a crew's day says of the mower that it shares.
fn shared(plan: &v1::Plan, crew: &str) -> v1::SharedUnit {
    let day = plan
        .crew_days
        .iter()
        .find(|day| day.crew == name("crews", crew));
    let day = day.expect("the crew's day");
    assert!(day.load_out.contains(&name("units", MOWER)));
    let [shared] = <[_; 1]>::try_from(day.shared_units.clone()).expect("one unit");
    shared
}

fn names_mower(plan: &v1::Plan) -> bool {
    let mower = name("units", MOWER);
    plan.crew_days.iter().any(|day| {
        let calls = day.yard_calls.iter().flat_map(|call| &call.load);
        // What is over was done with it.
        let ahead = day.stops.iter().filter(|stop| !stop.fixed);
        let used = ahead
            .flat_map(|stop| &stop.tasks)
            .flat_map(|task| &task.units);
        let mut units = day.load_out.iter().chain(calls).chain(used);
        units.any(|unit| *unit == mower)
    })
}

/// Guards the day as it is told and stored: each crew says until or from when it has the mower and who has it else, and the
/// database holds two spells that do not meet.
#[tokio::test]
async fn one_mower_serves_two_crews() {
    on_both(async |house| {
        let mut api = Api::of(house);
        let (plan, taken) = published(house, &mut api).await;
        let [first, second] = ["ash", "birch"].map(|crew| shared(&plan, crew));
        assert_eq!((first.from_crew.as_str(), first.from_time), ("", None));
        assert_eq!(first.to_crew, name("crews", "birch"));
        assert_eq!(second.from_crew, name("crews", "ash"));
        assert_eq!((second.to_crew.as_str(), second.until_time), ("", None));
        let put_down = first.until_time.expect("a time");
        assert!(put_down.seconds <= taken.seconds);

        let rows = plan_load_out::Entity::find()
            .filter(plan_load_out::Column::UnitId.eq(MOWER))
            .order_by_asc(plan_load_out::Column::Spell)
            .all(house.database.read())
            .await
            .expect("read");
        let spells: Vec<_> = rows
            .iter()
            .map(|row| (row.crew_id.as_str(), row.from_time, row.until_time))
            .collect();
        let time = |at: prost_types::Timestamp| {
            chrono::DateTime::from_timestamp(at.seconds, at.nanos.unsigned_abs())
        };
        assert_eq!(
            spells,
            [("ash", None, time(put_down)), ("birch", time(taken), None)]
        );
        let request = v1::GetPublishedPlanRequest {
            parent: BRANCH.into(),
            day: Some(date(first_day())),
        };
        let read = api.plans.get_published_plan(request).await.expect("read");
        let read = read.into_inner().plan.expect("the plan");
        assert_eq!(read.crew_days, plan.crew_days);
    })
    .await;
}

/// Guards a day gone on with: as long as nothing is amiss each crew keeps its part, before and after the mower changed hands.
#[tokio::test]
async fn the_mower_changes_hands_as_planned() {
    on_both(async |house| {
        let mut api = Api::of(house);
        let (plan, taken) = published(house, &mut api).await;
        let put_down = shared(&plan, "ash").until_time.expect("a time");
        for (instant, seconds, has) in [(put_down, -60, "ash"), (taken, 60, "birch")] {
            house.set_clock_after(instant, seconds);
            let proposals = api.propose(first_day(), 100).await.expect("proposals");
            let best = proposals[0].plan.as_ref().expect("its plan");
            assert!(best.unplanned_jobs.is_empty(), "{best:?}");
            let mower = name("units", MOWER);
            let holds = |day: &&v1::CrewDay| day.load_out.contains(&mower);
            let holders: Vec<&str> = best
                .crew_days
                .iter()
                .filter(holds)
                .map(|day| day.crew.as_str())
                .collect();
            assert!(
                holders.contains(&name("crews", has).as_str()),
                "{holders:?}"
            );
            assert!(
                proposals[0].changes.is_empty(),
                "{:?}",
                proposals[0].changes
            );
        }
    })
    .await;
}

/// Guards the tag, set when the first crew has put the mower down: the plan is named once, though two crews have the mower in
/// it, and no way on has it with anybody.
#[tokio::test]
async fn a_tag_takes_the_mower_from_both() {
    on_both(async |house| {
        let mut api = Api::of(house);
        let (plan, taken) = published(house, &mut api).await;
        house.set_clock_after(taken, -1);
        let request = v1::TagOutRequest {
            parent: BRANCH.into(),
            tag_out: Some(v1::TagOut {
                unit: name("units", MOWER),
                symptom: v1::Symptom::Vibration.into(),
                severity: v1::Severity::Unsafe.into(),
                found_by: name("workers", "lead-ash"),
                ..Default::default()
            }),
            ..Default::default()
        };
        let answer = api.tags.tag_out(asking(request)).await;
        let answer = answer.expect("tagged").into_inner();
        assert_eq!(answer.affected_plans, [plan.name]);
        for proposal in api.propose(first_day(), 100).await.expect("proposals") {
            let plan = proposal.plan.expect("its plan");
            assert!(!names_mower(&plan), "{plan:?}");
        }
    })
    .await;
}
