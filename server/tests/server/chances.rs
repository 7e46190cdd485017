//! Goal: a plan tells how likely it goes as planned, from now on and with what has happened.
//! Method: the mowing yard; a promise is put where chance is known beforehand.

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_proto::v1;
use forenoon_store::entity::job;
use forenoon_store::sea_orm::{
    ActiveModelTrait, DatabaseTransaction, EntityTrait, IntoActiveModel, Set,
};
use forenoon_store::value::Promise;
use forenoon_store::{StoreError, Write};
use tonic::Code;

use crate::actors::{Api, asking, date};
use crate::house::{House, faults, on_both};
use crate::mowing_yard::{BRANCH, ID, MOWERS, first_day, furnish};

/// Promises somebody to be met when a job is done, by an instant at the latest.
struct Promised {
    job: String,
    end: DateTime<Utc>,
}

impl Write for Promised {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        let key = (ID.to_owned(), self.job.clone());
        let job = job::Entity::find_by_id(key).one(transaction).await?;
        let mut row = job.expect("the job").into_active_model();
        row.promise = Set(Some(Promise {
            start_time: self.end - TimeDelta::hours(6),
            end_time: self.end,
            before_work: false,
            contact: None,
        }));
        row.update(transaction).await?;
        Ok(())
    }
}

async fn chances(api: &mut Api, plan: &str, runs: i32) -> v1::AssessPlanResponse {
    let request = v1::AssessPlanRequest {
        name: plan.to_owned(),
        runs,
        seed: 7,
    };
    let answer = api.plans.assess_plan(asking(request)).await;
    answer.expect("chances").into_inner()
}

/// The first stops of two crews.
fn first_stops(plan: &v1::Plan) -> [&v1::Stop; 2] {
    let mut out = plan.crew_days.iter().filter_map(|day| day.stops.first());
    [out.next(), out.next()].map(|stop| stop.expect("a stop"))
}

/// Guards the chances themselves. Outside check: lengths are log-normal about their medians, so that work is done by its
/// planned end about as often as not, and hardly ever takes three times as long.
#[tokio::test]
async fn a_promise_at_the_planned_end_is_kept_as_often_as_not() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        for (stop, later) in first_stops(&plan).into_iter().zip([0, 2]) {
            let [start, finish] = [&stop.start_time, &stop.finish_time].map(|at| {
                let at = at.as_ref().expect("a time");
                DateTime::from_timestamp(at.seconds, 0).expect("an instant")
            });
            let promise = Promised {
                job: stop.job.rsplit('/').next().expect("an id").to_owned(),
                end: finish + (finish - start) * later,
            };
            house.database.write(ID, &promise).await.expect("promised");
        }
        let answer = chances(&mut api, &plan.name, 0).await;
        assert_eq!(
            (answer.runs, answer.plan.as_str()),
            (1_000, plan.name.as_str())
        );
        assert_eq!(answer.jobs_to_replan, [""; 0]);
        let jobs: Vec<&str> = answer.promises.iter().map(|one| one.job.as_str()).collect();
        assert_eq!(jobs, first_stops(&plan).map(|stop| stop.job.as_str()));
        let kept: Vec<f64> = answer.promises.iter().map(|one| one.kept).collect();
        // A thousand runs spread by 1.6 of a hundred.
        assert!((0.42..=0.58).contains(&kept[0]), "{kept:?}");
        assert!(kept[1] > 0.97, "{kept:?}");
        let out: Vec<&str> = plan
            .crew_days
            .iter()
            .filter(|day| !day.stops.is_empty())
            .map(|day| day.crew.as_str())
            .collect();
        let told: Vec<&str> = answer.crews.iter().map(|one| one.crew.as_str()).collect();
        assert_eq!(told, out);
        for crew in &answer.crews {
            assert!((0.0..=1.0).contains(&crew.overtime), "{crew:?}");
            assert!(crew.over_limit <= crew.overtime, "{crew:?}");
        }
        assert_eq!(answer, chances(&mut api, &plan.name, 1_000).await);
    })
    .await;
}

/// Guards the day in motion: what a tag makes impossible is named and wants a re-plan, and when the day is over nothing is left.
#[tokio::test]
async fn what_cannot_be_done_any_more_is_named() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        house.set_clock(&format!("{}T13:10:00Z", first_day()));
        let calm = chances(&mut api, &plan.name, 50).await;
        assert_eq!(calm.jobs_to_replan, [""; 0]);
        for mower in MOWERS {
            api.tag(mower).await.expect("tagged");
        }
        let answer = chances(&mut api, &plan.name, 50).await;
        assert!(!answer.jobs_to_replan.is_empty(), "{answer:?}");
        let planned = plan.crew_days.iter().flat_map(|day| &day.stops);
        let planned: Vec<&String> = planned.map(|stop| &stop.job).collect();
        assert!(
            answer
                .jobs_to_replan
                .iter()
                .all(|job| planned.contains(&job))
        );

        house.set_clock(&format!(
            "{}T05:00:00Z",
            first_day().succ_opt().expect("a day")
        ));
        let over = chances(&mut api, &plan.name, 50).await;
        assert_eq!((over.crews.len(), over.promises.len()), (0, 0), "{over:?}");
        house.set_clock(&format!(
            "{}T23:00:00Z",
            first_day().succ_opt().expect("a day")
        ));
        let over = chances(&mut api, &plan.name, 50).await;
        assert_eq!((over.crews.len(), over.promises.len()), (0, 0), "{over:?}");
    })
    .await;
}

#[tokio::test]
async fn bad_requests_are_refused_by_field() {
    let house = House::on_sqlite().await;
    furnish(&house.database, &[]).await;
    let mut api = Api::of(&house);
    for (name, runs, field) in [
        ("branches/larkmoor/plans/2027-04-20-1", -1, "runs"),
        ("branches/larkmoor/plans/2027-04-20-1", 10_001, "runs"),
        ("branches/larkmoor/jobs/weekly-0", 1, "name"),
        ("", 1, "name"),
    ] {
        let request = v1::AssessPlanRequest {
            name: name.to_owned(),
            runs,
            seed: 0,
        };
        let refused = api.plans.assess_plan(asking(request)).await;
        let refused = refused.expect_err("refused");
        assert_eq!(refused.code(), Code::InvalidArgument, "{refused:?}");
        let fields: Vec<String> = faults(&refused).into_iter().map(|one| one.0).collect();
        assert_eq!(fields, [field]);
    }
    let request = v1::AssessPlanRequest {
        name: "branches/larkmoor/plans/2027-04-20-1".to_owned(),
        ..Default::default()
    };
    let refused = api.plans.assess_plan(asking(request)).await;
    assert_eq!(refused.expect_err("refused").code(), Code::NotFound);
}

/// Guards the remedy: a day planned for nine tasks in ten is safer than one planned for the median, says so, and a re-plan of
/// it keeps to it.
#[tokio::test]
async fn a_plan_for_more_than_the_median_is_safer() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let mut plans = Vec::new();
        for confidence_percent in [0, 90] {
            let request = v1::PlanDayRequest {
                parent: BRANCH.into(),
                day: Some(date(first_day())),
                seed: 1,
                iterations: 300,
                confidence_percent,
                ..Default::default()
            };
            let answer = api.plans.plan_day(asking(request)).await.expect("planned");
            plans.push(answer.into_inner().plan.expect("a plan"));
        }
        let [median, safe] = <[_; 2]>::try_from(plans).expect("two plans");
        assert_eq!(
            (median.confidence_percent, safe.confidence_percent),
            (50, 90)
        );
        let work = |plan: &v1::Plan| {
            let totals = plan.totals.as_ref().expect("totals");
            assert_eq!(totals.unplanned_jobs, 0);
            totals.work.as_ref().expect("work").seconds
        };
        assert!(
            work(&safe) > work(&median),
            "{} and {}",
            work(&safe),
            work(&median)
        );

        // Somebody is to be met when the last lawn of each plan is done, by the planned end.
        let mut kept = Vec::new();
        for plan in [&median, &safe] {
            let longest = plan.crew_days.iter().max_by_key(|day| day.stops.len());
            let stop = longest.and_then(|day| day.stops.last()).expect("a stop");
            let finish = stop.finish_time.as_ref().expect("a time");
            let promise = Promised {
                job: stop.job.rsplit('/').next().expect("an id").to_owned(),
                end: DateTime::from_timestamp(finish.seconds, 0).expect("an instant"),
            };
            house.database.write(ID, &promise).await.expect("promised");
            let answer = chances(&mut api, &plan.name, 1_000).await;
            let told = answer.promises.iter().find(|one| one.job == stop.job);
            kept.push(told.expect("the promise").kept);
        }
        assert!(kept[1] > kept[0] + 0.2, "{kept:?}");

        api.publish(safe.name.clone()).await.expect("published");
        house.set_clock(&format!("{}T13:10:00Z", first_day()));
        let proposals = api.propose(first_day(), 50).await.expect("proposals");
        let again = proposals[0].plan.as_ref().expect("its plan");
        assert_eq!(again.confidence_percent, 90);
    })
    .await;
}

#[tokio::test]
async fn confidence_has_its_bounds() {
    let house = House::on_sqlite().await;
    furnish(&house.database, &[]).await;
    let mut api = Api::of(&house);
    for confidence_percent in [-1, 1, 49, 96, 100] {
        let request = v1::PlanDayRequest {
            parent: BRANCH.into(),
            day: Some(date(first_day())),
            iterations: 1,
            confidence_percent,
            ..Default::default()
        };
        let refused = api.plans.plan_day(asking(request)).await;
        let refused = refused.expect_err("refused");
        let fields: Vec<String> = faults(&refused).into_iter().map(|one| one.0).collect();
        assert_eq!(fields, ["confidence_percent"]);
    }
}
